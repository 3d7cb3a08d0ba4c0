"""The page of a variant: what to look for and where, what was fitted, where it came in, what it could be taken for, what it
was sold for, who has seen one, and on whose word all that is said."""

from ..kb.resolve import Stated
from .damage import Damage
from .family_pages import viewed
from .look_alikes import LookAlikes
from .page import Values
from .photographs import shown as photographs
from .seen_and_paid import SeenAndPaid
from .set_pages import fitted
from .tables import FamilyTables, Site
from .texts import labeled, markdown, weight, years


def variant(site: Site, seen: SeenAndPaid, damage: Damage, look_alikes: LookAlikes, ident: str) -> Values:
    """Everything the page says."""
    one = site.whole[ident]
    tables = site.families[one.family]
    rows: dict[str, list[Values]] = {}
    shared: list[Values] = []
    alike = tables.shared
    for name, trait in tables.traits.items():
        if name in one.shows:
            row = site.shown(one.family, name, one.shows[name])
            (shared if name in alike else rows.setdefault(trait.view, [])).append(row)
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
        "look_alikes": look_alikes.of(one),
        "sales": seen.sales("variant", ident),
        "sightings": seen.sightings(ident),
        "damage": damage.of(tables, one),
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


def _verified(tables: FamilyTables, one: Stated) -> list[Values]:
    """The facts that were verified by themselves, by the day it was last done, the latest first."""
    days: dict[str, list[str]] = {}
    for facts, known in ((one.shows, tables.traits), (one.fitted, tables.slots)):
        for name, fact in facts.items():
            if fact.verified:
                days.setdefault(fact.verified, []).append(known[name].name if name in known else name)
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
