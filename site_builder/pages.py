"""Records to pages of plain values: home, families, variants, sets. Parts, service and sources are in `service_pages`."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..kb.describe import Difference, choices
from ..kb.load import Entries
from ..kb.models import Position, Trait
from ..kb.resolve import Stated, moved
from . import service_pages
from .tables import FamilyTables, Site, Values, how_often
from .texts import address, counted, labeled, markdown, plus_minus, sentence, weight, years

#: How a comparison shows a trait of a part that is not there; the line of the slot says that already.
NO_PART = "—"


@dataclass(frozen=True)
class Page:
    """One page: its address below the root, the template that draws it, and everything the template says."""

    address: str
    template: str
    values: Values


def pages(entries: Entries) -> Iterator[Page]:
    """Every page of the site."""
    site = Site(entries)
    yield _page(site, "index.html", "home", site.about.title, home(site))
    yield _page(site, "parts.html", "parts", "Parts", service_pages.parts(site))
    yield _page(site, "procedures.html", "procedures", "Procedures", service_pages.procedures(site))
    makers: dict[str, tuple[Iterable[str], Callable[[Site, str], Values]]] = {
        "family": (entries.families, family),
        "variant": (site.whole, variant),
        "set": (entries.sets, boxed_set),
        "part": (entries.parts, service_pages.part),
        "procedure": (entries.procedures, service_pages.procedure),
        "source": (entries.sources, service_pages.source),
    }
    for kind, (idents, values) in makers.items():
        for ident in sorted(idents):
            yield _page(site, address(kind, ident), kind, site.link(kind, ident)["text"], values(site, ident))
    for ident in sorted(entries.variants.keys() - site.whole.keys()):
        yield _page(site, address("variant", ident), "signpost", site.link("variant", ident)["text"], signpost(site, ident))


def _page(site: Site, where: str, template: str, title: str, values: Values) -> Page:
    about = {"title": site.about.title, "license": site.about.license, "maintainers": site.about.maintainers}
    return Page(where, f"{template}.html", {"site": about, "title": title, **values})


# Home and families -----------------------------------------------------------------------------------------------------


def home(site: Site) -> Values:
    """What the record is, and its families."""
    families = [
        site.link("family", ident)
        | {
            "maker": site.maker(tables.record.maker),
            "made": years(tables.record.made),
            "about": markdown(tables.record.about),
            "counts": [counted(n, noun) for n, noun in ((len(tables.variants), "variant"), (len(tables.sets), "set")) if n],
        }
        for ident, tables in site.families.items()
    ]
    lists = [
        {"text": "Parts", "href": "parts.html", "count": len(site.entries.parts)},
        {"text": "Procedures", "href": "procedures.html", "count": len(site.entries.procedures)},
    ]
    return {"about": markdown(site.about.about), "families": families, "lists": lists}


def family(site: Site, ident: str) -> Values:
    """A family: its kinds, variants by livery, sets in order, the traits that tell its variants, and what breaks."""
    tables = site.families[ident]
    one = tables.record
    labels = [("Maker", site.maker(one.maker)), ("Made", years(one.made))]
    return {
        "labels": labeled(labels),
        "about": markdown(one.about),
        "drawings": site.pictures.heads(ident, None),
        "kinds": [{"name": kind.name, "about": markdown(kind.about)} for kind in one.kinds.values()],
        "liveries": _by_livery(site, tables),
        "sets": [_set_line(site, name) for name in tables.sets],
        "views": _traits_by_view(site, ident),
        "damage": _damage(site, tables),
        **site.footing(one),
    }


def _by_livery(site: Site, tables: FamilyTables) -> list[Values]:
    """The family's variants in groups of one livery, the earliest first."""
    groups: dict[str, list[Values]] = {}
    for one in sorted(tables.variants, key=lambda one: (one.made or (9999, 0), one.id)):
        cells = [
            ("Catalog", one.catalog_number),
            ("Kind", tables.kind(one)),
            ("Batch", one.batch),
            ("Made", years(one.made)),
            ("How common", weight(one.how_common)),
        ]
        row = site.link("variant", one.id) | {"cells": [{"label": label, "value": value} for label, value in cells]}
        groups.setdefault(one.livery or "", []).append(row)
    names = {livery: record.name for livery, record in site.entries.liveries.items()} | {"": "Without a livery"}
    return [{"name": names[livery], "variants": rows} for livery, rows in groups.items()]


def _set_line(site: Site, ident: str) -> Values:
    one = site.entries.sets[ident]
    facts = [fact for fact in (one.catalog_number, years(one.made), weight(one.how_common)) if fact]
    return site.link("set", ident) | {"facts": facts, "positions": _positions(site, ident)}


def _traits_by_view(site: Site, family: str) -> list[Values]:
    """The traits that some variant of the family has a fact for."""
    tables = site.families[family]
    used = {name for one in tables.variants for name in one.shows}
    rows: dict[str, list[Values]] = {}
    for name, trait in tables.traits.items():
        if name in used:
            row = {"name": trait.name, "look": trait.look, "states": _states(site, family, name, trait), "changes": trait.changes}
            rows.setdefault(trait.view, []).append(row | {"about": markdown(trait.about)})
    return _viewed(tables, rows)


def _states(site: Site, family: str, name: str, trait: Trait) -> list[Values]:
    """The states of a trait, each with its picture if there is one."""
    states: dict[str | None, str] = {ident: state.name for ident, state in (trait.states or {}).items()}
    if trait.measured:
        states = {None: f"measured in {trait.measured.unit}" if trait.measured.unit else "measured"}
    elif not states:
        states = {None: "read off the unit"}
    return [{"name": text, "picture": site.pictures.of_state(family, name, state)} for state, text in states.items()]


def _viewed(tables: FamilyTables, rows: Mapping[str, Sequence[Values]]) -> list[Values]:
    """Rows under the views that show them, the easiest view first."""
    order = sorted(rows, key=lambda view: (tables.views[view].effort, list(tables.views).index(view)))
    return [{"id": view, "name": tables.views[view].name, "how": tables.views[view].how, "facts": rows[view]} for view in order]


def _damage(site: Site, tables: FamilyTables) -> list[Values]:
    return [
        {
            "name": spot.name,
            "view": tables.views[spot.view].name,
            "how_common": weight(spot.how_common),
            "found": spot.found,
            "mend": spot.mend,
            "procedure": site.link("procedure", spot.procedure) if spot.procedure else None,
        }
        for spot in tables.record.damage.values()
    ]


# Variants --------------------------------------------------------------------------------------------------------------


def variant(site: Site, ident: str) -> Values:
    """A variant: what to look for and where, what was fitted, where it came in, and what it could be taken for."""
    one = site.whole[ident]
    tables = site.families[one.family]
    rows: dict[str, list[Values]] = {}
    shared: list[Values] = []
    for name, trait in tables.traits.items():
        if name in one.shows:
            row = site.fact(trait.name, one.shows[name], trait)
            row["pictures"] = site.pictures.of_fact(one.family, name, trait, one.shows[name])
            (shared if name in tables.shared else rows.setdefault(trait.view, [])).append(row)
    labels = [
        ("Kind", tables.kind(one)),
        ("Livery", site.entries.liveries[one.livery].name if one.livery else None),
        ("Catalog number", one.catalog_number),
        ("Batch", one.batch),
        ("Made", years(one.made)),
        ("How common", weight(one.how_common)),
        ("Sold alone", weight(one.sold_alone)),
    ]
    return {
        "id": ident,
        "family": site.link("family", one.family),
        "labels": labeled(labels),
        "about": markdown(one.about),
        "drawings": site.pictures.heads(one.family, one),
        "views": _viewed(tables, rows),
        "shared": shared,
        "unrecorded": _unrecorded(tables, one),
        "fitted": [site.fact(slot.name, one.fitted[name], None) for name, slot in tables.slots.items() if name in one.fitted],
        "sets": [_came_in(site, one, name, number) for name, number in site.seats.get(ident, [])],
        "twins": [site.link("variant", twin) for twin in site.twins.get(ident, [])],
        "look_alikes": [_look_alike(site, tables, one, other) for other in site.look_alikes(one)],
        **site.footing(one),
    }


def _unrecorded(tables: FamilyTables, one: Stated) -> list[str]:
    """The traits and the slots of the variant that nobody has said anything of."""
    traits = [trait.name for name, trait in tables.traits.items() if name not in one.shows]
    filled = {name: slot for name, slot in tables.slots.items() if slot.type and tables.has(one, name)}
    return traits + [slot.name for name, slot in filled.items() if name not in one.fitted]


def _came_in(site: Site, one: Stated, name: str, number: int) -> Values:
    record = site.entries.sets[name]
    fitted = _fitted(site, record.positions[number - 1], [one])
    return site.link("set", name) | {"number": number, "of": len(record.positions), "fitted": fitted}


def _look_alike(site: Site, tables: FamilyTables, one: Stated, other: Stated) -> Values:
    found = site.comparer.variants([one.id, other.id])
    both = [row for row in found if NO_PART not in row.values]
    return site.link("variant", other.id) | {"rows": [_difference(tables, row) for row in both]}


def _difference(tables: FamilyTables, found: Difference) -> Values:
    view = tables.views.get(found.view or "")
    mine, theirs = (plus_minus(value, tables.all_traits.get(found.trait)) for value in found.values)
    where = ": ".join(filter(None, [view.name if view else None, found.look]))
    return {"name": sentence(found.name), "where": where or None, "mine": mine, "theirs": theirs}


def signpost(site: Site, ident: str) -> Values:
    """An id that lives elsewhere now."""
    one = site.entries.variants[ident]
    return {
        "id": ident,
        "family": site.link("family", site.entries.family_of(ident)),
        "about": markdown(one.about),
        "now": [site.link("variant", name) for name in moved(site.entries, ident)],
        **site.footing(one),
    }


# Sets ------------------------------------------------------------------------------------------------------------------


def boxed_set(site: Site, ident: str) -> Values:
    """A set: its units in order, and what was fitted to each there."""
    one = site.entries.sets[ident]
    home = site.entries.home["set", ident]
    labels = [("Catalog number", one.catalog_number), ("Made", years(one.made)), ("How common", weight(one.how_common))]
    return {
        "id": ident,
        "family": site.link("family", home),
        "labels": labeled(labels),
        "about": markdown(one.about),
        "positions": _positions(site, ident),
        **site.footing(one),
    }


def _positions(site: Site, ident: str) -> list[Values]:
    return [_position(site, number, one) for number, one in enumerate(site.entries.sets[ident].positions, 1)]


def _position(site: Site, number: int, one: Position) -> Values:
    sat = site.sat(one)
    variants = [site.link("variant", ident) | {"how": how_often(how, alone=len(sat) == 1)} for ident, how in sat.items()]
    fitted = _fitted(site, one, [site.whole[ident] for ident in sat])
    return {"number": number, "variants": variants, "fitted": fitted, "about": markdown(one.about)}


def _fitted(site: Site, position: Position, sat: Sequence[Stated]) -> list[Values]:
    """What was fitted there in the slots that tell sets apart; `on`: the variants a row holds for, where not for all."""
    rows: dict[tuple[str, str], Values] = {}
    for one in sat:
        tables = site.families[one.family]
        for slot, name in tables.telling.items():
            if tables.has(one, slot):
                fact = position.fitted.get(slot, one.fitted.get(slot))
                row = rows.setdefault((slot, choices(fact, {})), {"name": name, "choices": site.said(fact, None), "on": []})
                row["on"].append(one.name)
    return [row | {"on": row["on"] if len(row["on"]) < len(sat) else []} for row in rows.values()]
