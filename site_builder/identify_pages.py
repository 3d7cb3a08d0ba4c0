"""The page that identifies a unit, and the scripts it loads: what a family is as arrays and words, and its pictures.

    identify-data.js             the families, what one can see of each, and where on the site things are; with the page itself
    identify.js                  the modules of `modules/page/` and `modules/kernel/`, joined
    identify/<family>.js         a family as arrays and words, and all families together (`all--`)
    identify/<family>-places.js  its views with where each trait is, and which pictures there are of its traits

Pictures are files of their own (`images.py`).  A script is loaded when it is needed, so that a phone that asks about one family
loads that family.
"""

from collections.abc import Iterable, Iterator
from functools import partial

from ..kb.models import Trait, View
from ..kb.resolve import slots_of, traits_of, views_of
from .data_scripts import added, added_json, assigned
from .exports import FOLDER as DATA
from .joined import joined
from .packed_together import packed_together
from .page import File, Page, Values
from .pocket import MOST_VARIANTS, pocket_address
from .reads import ALL
from .tables import Site
from .texts import address, sentence

FOLDER = "identify"
#: No family can be called so: an id has single hyphens, with letters or digits on both sides.
EVERYTHING = "all--"
#: A view that takes no more than this, in glances at the side, is what sellers photograph; and what one sees of a unit in hand.
#: One that takes as much as the last takes power, tools or loosened screws.
PHOTOGRAPHED, IN_HAND, CAREFUL = 1.0, 2.5, 4.0
#: So many photographs a short advertisement shows.
FEW = 2


def pages(site: Site) -> Iterator[Page]:
    """The page."""
    scripts = ("identify-data.js", "identify.js")
    yield Page(
        "identify.html",
        "identify.html",
        "What is it?",
        partial(_values, site),
        styles=("identified.css", "identify.css"),
        scripts=scripts,
    )


def files(site: Site) -> Iterator[File]:
    """The scripts."""
    families = sorted(site.plain.families)
    yield File("identify-data.js", partial(_index, site))
    yield File("identify.js", _script)
    for family in families:
        yield File(f"{FOLDER}/{family}.js", partial(_family, site, family), family)
        yield File(f"{FOLDER}/{family}-places.js", partial(_places, site, family), family)
    yield File(f"{FOLDER}/{EVERYTHING}.js", partial(_everything, site), stage=1)
    yield File(f"{FOLDER}/{EVERYTHING}-places.js", partial(_common_places, site), DATA)  # which reads all variants as well


def _script() -> bytes:
    return joined("page/main.js", "tellmarkIdentifier").encode("utf-8")


def _values(site: Site) -> Values:
    """The families with their drawings, and the sheets for those without scripts."""
    found: list[Values] = []
    for ident in site.bare.families():
        sheet = pocket_address(ident) if 1 < len(site.bare.variants(ident)) <= MOST_VARIANTS else None
        picture = next(iter(site.pictures.heads(ident, None)), None)
        found.append(site.link("family", ident) | {"id": ident, "picture": picture, "sheet": sheet})
    return {"families": found}


# What there is -------------------------------------------------------------------------------------------------------------


def _index(site: Site) -> bytes:
    """See the type IdentifyData at the head of `modules/page/data.js`."""
    site.memo.note(*((kind, ALL) for kind in ("family", "part", "slot type", "trait")))
    plain = site.plain
    families = [
        {
            "id": ident,
            "name": plain.families[ident].name,
            "views": _views(views_of(plain, ident), site.families[ident].all_traits.values()),
            "types": {slot: one.type for slot, one in slots_of(plain, ident).items() if one.type},
        }
        for ident in sorted(plain.families)
    ]
    every = [trait for family in sorted(plain.families) for trait in site.families[family].all_traits.values()]
    everywhere = {view: one for family in [*sorted(plain.families), None] for view, one in views_of(plain, family).items()}
    index: Values = {
        "families": families,
        "views": _views(everywhere, every),
        "known": {view: one.name for view, one in everywhere.items()},
        "cautions": [[sentence(name.replace("-", " ")), one.caution] for name, one in site.about.hazards.items()],
        "addresses": {kind: address(kind, "a").replace("/a.", "/*.") for kind in ("variant", "set", "part", "family")},
        "report": site.about.report_at,
        "everything": EVERYTHING,
    }
    return assigned("var tellmarkIdentifyData", index)


def _views(views: dict[str, View], traits: Iterable[Trait]) -> list[list[object]]:
    """[id, name, how to get to see it, sort] of each view that some trait needs, the easiest first.

    sort: 0 in a short advertisement, 1 in any photographs, 2 in hand, 3 with more trouble, 4 with care.
    """
    needed = [trait.view for trait in traits]
    used = sorted({view for view in needed if view in views}, key=lambda view: (views[view].effort, list(views).index(view)))
    pictured = [view for view in used if views[view].effort <= PHOTOGRAPHED]
    few = sorted(pictured, key=lambda view: -needed.count(view))[:FEW]

    def sort(view: str) -> int:
        if view in few:
            return 0
        effort = views[view].effort
        return 1 if effort <= PHOTOGRAPHED else 2 if effort <= IN_HAND else 3 if effort < CAREFUL else 4

    return [[view, views[view].name, views[view].how, sort(view)] for view in used]


# Arrays and words ----------------------------------------------------------------------------------------------------------


def _family(site: Site, family: str) -> bytes:
    """One family as arrays and words."""
    from .packed_words import packed_words  # here and below: a build in which little has changed needs no arrays

    silent = site.alone(family)["silent"]  # the rest is for all families together, which come at a later stage
    words = packed_words(site.bare.of_family(family), site.compiled(family), silent)
    return added("tellmarkIdentify", family, {"packed": site.packed(family), "words": words})


def _everything(site: Site) -> bytes:
    """All families together."""
    each = [site.alone(family) for family in site.bare.families()]
    return added_json("tellmarkIdentify", EVERYTHING, packed_together(site.in_common(), each))


# Pictures ------------------------------------------------------------------------------------------------------------------


def _places(site: Site, family: str) -> bytes:
    """The views of a family, the pictures of its traits, and those of its variants."""
    from .unit_places import places

    entries = site.bare.of_family(family)
    variants = site.bare.stated(family).values()
    sides = {one.id: image["src"] for one in variants if (image := site.images.of_variant(one))}
    found = {
        "views": places(site, family),
        "pictures": {name: _pictures(site, family, name, trait) for name, trait in traits_of(entries, family).items()},
        "kinds": {one.id: one.kind for one in variants if one.kind},
        "sides": sides,
    }
    return added("tellmarkIdentifyPlaces", family, found)


def _common_places(site: Site) -> bytes:
    """The pictures of what any unit shows, by trait; of a part's trait by slot type and trait."""
    # Worked out here, while others make something too: what needs it is made at a later stage, where one process is at work.
    site.memo.reading(site.in_common)
    traits = dict(site.entries.traits)
    for kind, one in site.entries.slot_types.items():
        traits |= {f"{kind}.{name}": trait for name, trait in one.traits.items()}
    pictures = {name: _pictures(site, None, name, trait) for name, trait in traits.items()}
    return added("tellmarkIdentifyPlaces", EVERYTHING, {"views": {}, "pictures": pictures, "kinds": {}, "sides": {}})


def _pictures(site: Site, family: str | None, name: str, trait: Trait) -> dict[str, list[str]]:
    """{state, or "" of what is measured or read: [the file, what distinguishes it]} of what is drawn."""
    images = {state or "": site.images.of_state(family, name, state) for state in trait.states or [None]}
    return {state: [image["src"], image["alt"]] for state, image in images.items() if image}
