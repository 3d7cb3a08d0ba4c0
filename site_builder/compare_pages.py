"""The page that puts two to six variants or parts side by side, and the scripts it loads: an index, and two for each group.

A group is the variants of one family, or the parts of one slot type.  What each group says is in a file of its own, and its
pictures in another, so that a page loads only what is compared, and a corrected variant leaves the pictures as they are.  What
is drawn for a slot type, or for all families, is in the file of that slot type, or in the common one.
"""

from collections.abc import Iterator, Mapping
from functools import partial

from ..kb.describe import NOT_RECORDED, Comparer, Difference, compare_parts
from ..kb.drawings import COMMON, FAMILY, PART
from ..kb.load import Entries
from ..kb.models import Trait
from ..kb.resolve import moved, slots_of, traits_of, views_of
from .data_scripts import added, assigned
from .page import File, Page, Values
from .tables import Site
from .texts import address, plus_minus, sentence

FOLDER = "compare"
#: The first character of the codes: every value of a row has the next one.
FIRST_CODE = ord("0")


def pages(site: Site) -> Iterator[Page]:
    """The page."""
    scripts = ("compare-data.js", "compare.js")
    yield Page("compare.html", "compare.html", "Compare", partial(_values, site), styles=("compare.css",), scripts=scripts)


def files(site: Site) -> Iterator[File]:
    """The index, and what each group says and shows."""
    yield File("compare-data.js", partial(_index_file, site))
    for kind, group in _groups(site):
        yield File(f"{FOLDER}/{kind}-{group}.js", partial(_said_file, site, kind, group), home=group)
    for kind, group in (*_groups(site), (COMMON, COMMON)):
        yield File(f"{FOLDER}/{kind}-{group}-pictures.js", partial(_pictures_file, site, kind, group), home=group)


def _values(site: Site) -> Values:
    """What the page says to those without scripts: where the tables are."""
    return {"families": [site.link("family", ident) for ident in site.entries.families]}


# Groups ------------------------------------------------------------------------------------------------------------------


def _groups(site: Site) -> Iterator[tuple[str, str]]:
    """(kind, family or slot type) of what can be compared."""
    yield from (("variant", family) for family in sorted(site.plain.families))
    yield from (("part", slot_type) for slot_type in sorted(site.plain.slot_types))


def _members(entries: Entries, kind: str, group: str) -> list[str]:
    """The ids of a group, in order."""
    records = entries.of(kind)
    return sorted(one for one in entries.inside(kind, group) if kind == "part" or not records[one].signpost)


def _index_file(site: Site) -> bytes:
    """Every group with the ids and names of its members; where ids that were moved or split live now."""
    entries = site.bare.names()
    groups: list[Values] = []
    for kind, group in _groups(site):
        holder = (entries.families if kind == "variant" else entries.slot_types)[group]
        members = [[ident, entries.of(kind)[ident].name or ident] for ident in _members(entries, kind, group)]
        groups += [{"kind": kind, "id": group, "name": holder.name, "members": members}] if members else []
    index = {
        "groups": groups,
        "moved": {ident: moved(entries, ident) for ident, one in sorted(entries.variants.items()) if one.signpost},
        "addresses": {kind: address(kind, "a").replace("/a.", "/*.") for kind in ("variant", "part")},
        "unsaid": NOT_RECORDED,
    }
    return assigned("var tellmarkCompareData", index)


# What a group says -------------------------------------------------------------------------------------------------------


def _said_file(site: Site, kind: str, group: str) -> bytes:
    entries = site.bare.of_family(group) if kind == "variant" else site.bare.shared()
    members = _members(entries, kind, group)
    if kind == "variant":
        rows = Comparer(entries, site.bare.stated(group).__getitem__).variants(members, every=True)
        traits, types = traits_of(entries, group), {name: slot.type or "" for name, slot in slots_of(entries, group).items()}
    else:
        rows, traits, types = compare_parts(entries, members, every=True), entries.slot_types[group].traits, dict[str, str]()
    views = views_of(entries, group if kind == "variant" else None)
    said = [
        _row(
            row,
            traits.get(row.trait),
            views[row.view].name if row.view in views else None,
            types.get(row.trait.partition(".")[0]),
        )
        for row in rows
    ]
    return added("tellmarkCompareRows", f"{kind}/{group}", said)


def _row(row: Difference, trait: Trait | None, view: str | None, slot_type: str | None) -> list[object]:
    """[trait, name, where to look, effort, [[words, states], ...], the code of each member's words, slot type or ""]."""
    values: dict[tuple[str, tuple[str, ...]], int] = {}
    codes = "".join(chr(FIRST_CODE + values.setdefault((one.text, one.choices), len(values))) for one in row.said)
    pictured = trait is not None and trait.states
    said = [[plus_minus(text, trait), list(choices) if pictured else []] for text, choices in values]
    return [row.trait, sentence(row.name), ": ".join(filter(None, [view, row.look])), row.effort, said, codes, slot_type or ""]


# Pictures ----------------------------------------------------------------------------------------------------------------


def _pictures_file(site: Site, kind: str, group: str) -> bytes:
    """{trait/state: drawing} of what is drawn in the folder of a family or slot type itself, or in the common one."""
    level, family, traits = PART, None, {f"{group}.{name}": trait for name, trait in _traits_of_type(site, group).items()}
    if kind == "variant":
        level, family, traits = FAMILY, group, site.families[group].all_traits
    elif kind == COMMON:
        level, traits = COMMON, site.entries.traits
    found: dict[str, str] = {}
    for name, trait in traits.items():
        drawn = site.images.where_drawn(family, name)
        if trait.states and drawn and drawn.drawing.level == level:
            key = name.removeprefix(f"{group}.") if level == PART else name
            pictures = {f"{key}/{state}": site.pictures.of_state(family, name, state) for state in trait.states}
            found |= {key: str(picture) for key, picture in pictures.items() if picture}
    return added("tellmarkComparePictures", f"{kind}/{group}", found)


def _traits_of_type(site: Site, slot_type: str) -> Mapping[str, Trait]:
    record = site.entries.slot_types.get(slot_type)
    return record.traits if record else {}
