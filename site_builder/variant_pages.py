"""The page of a variant: what to look for and where, what was fitted, where it came in, what it could be taken for, what it
was sold for, who has seen one, and on whose word all that is said."""

from collections.abc import Iterable, Mapping

from ..kb.describe import Difference
from ..kb.resolve import Stated
from ..kb.values import Fact
from .family_pages import damage, viewed
from .page import Values
from .photographs import shown as photographs
from .seen_and_paid import SeenAndPaid
from .set_pages import fitted
from .tables import FamilyTables, Site
from .texts import labeled, markdown, plus_minus, sentence, weight, years

#: How a comparison shows a trait of a part that is not there; the line of the slot says that already.
NO_PART = "—"


def variant(site: Site, seen: SeenAndPaid, ident: str) -> Values:
    """Everything the page says."""
    one = site.whole[ident]
    tables = site.families[one.family]
    rows: dict[str, list[Values]] = {}
    shared: list[Values] = []
    for name, trait in tables.traits.items():
        if name in one.shows:
            row = site.shown(one.family, name, one.shows[name])
            (shared if name in tables.shared else rows.setdefault(trait.view, [])).append(row)
    labels = [
        ("Kind", tables.kind(one)),
        ("Catalog number", one.catalog_number),
        ("Batch", one.batch),
        ("Made", years(one.made)),
        ("How common", weight(one.how_common)),
        ("Sold alone", weight(one.sold_alone)),
    ]
    return {
        "id": ident,
        "family": site.link("family", one.family),
        "livery": site.place("livery", one.livery) if one.livery else None,
        "labels": labeled(labels),
        "about": markdown(one.about),
        "drawings": site.pictures.heads(one.family, one),
        "photographs": photographs(site, site.entries.variants[ident].photographs),
        "views": viewed(tables, rows),
        "shared": shared,
        "unrecorded": _unrecorded(tables, one),
        "fitted": [site.sat_in(slot.name, one.fitted[name]) for name, slot in tables.slots.items() if name in one.fitted],
        "sets": [_came_in(site, one, name, number) for name, number in site.seats.get(ident, [])],
        "twins": [site.link("variant", twin) for twin in site.twins.get(ident, [])],
        "look_alikes": [_look_alike(site, tables, one, other) for other in site.look_alikes(one)],
        "sales": seen.sales("variant", ident),
        "sightings": seen.sightings(ident),
        "damage": damage(site, tables, one),
        "facts_by_day": _verified(tables, one),
        **site.footing(one),
        **site.forms("variant", ident),
    }


def _unrecorded(tables: FamilyTables, one: Stated) -> list[str]:
    """The traits and the slots of the variant that nobody has said anything of."""
    traits = [trait.name for name, trait in tables.traits.items() if name not in one.shows]
    filled = {name: slot for name, slot in tables.slots.items() if slot.type and tables.has(one, name)}
    return traits + [slot.name for name, slot in filled.items() if name not in one.fitted]


def _came_in(site: Site, one: Stated, name: str, number: int) -> Values:
    record = site.entries.sets[name]
    return site.link("set", name) | {
        "number": number,
        "of": len(record.positions),
        "fitted": fitted(site, record.positions[number - 1], [one]),
    }


def _look_alike(site: Site, tables: FamilyTables, one: Stated, other: Stated) -> Values:
    found = site.comparer.variants([one.id, other.id])
    both = [row for row in found if NO_PART not in row.values]
    address = f"compare.html#{one.id},{other.id}"
    return site.link("variant", other.id) | {"rows": [_difference(tables, row) for row in both], "compare": address}


def _difference(tables: FamilyTables, found: Difference) -> Values:
    view = tables.views.get(found.view or "")
    mine, theirs = (plus_minus(value, tables.all_traits.get(found.trait)) for value in found.values)
    where = ": ".join(filter(None, [view.name if view else None, found.look]))
    return {"name": sentence(found.name), "where": where or None, "mine": mine, "theirs": theirs}


def _verified(tables: FamilyTables, one: Stated) -> list[Values]:
    """The facts that were verified by themselves, by the day it was last done, the latest first."""
    days: dict[str, list[str]] = {}
    facts: Iterable[tuple[Mapping[str, Fact], Mapping[str, str]]] = (
        (one.shows, {name: trait.name for name, trait in tables.traits.items()}),
        (one.fitted, {name: slot.name for name, slot in tables.slots.items()}),
    )
    for some, names in facts:
        for name, fact in some.items():
            if fact.verified:
                days.setdefault(fact.verified, []).append(names.get(name, name))
    return [{"day": day, "names": names} for day, names in sorted(days.items(), reverse=True)]


def signpost(site: Site, ident: str) -> Values:
    """An id that lives elsewhere now."""
    one = site.entries.variants[ident]
    return {
        "id": ident,
        "family": site.link("family", site.entries.family_of(ident)),
        "about": markdown(one.about),
        "now": [site.link("variant", name) for name in site.moved(ident)],
        **site.footing(one),
    }
