"""The page of a set, and its units in order as other pages show them."""

from collections.abc import Sequence

from ..kb.describe import choices
from ..kb.models import Position
from ..kb.resolve import Stated
from .page import Values
from .seen_and_paid import SeenAndPaid
from .tables import Site, how_often
from .texts import labeled, markdown, weight, years


def boxed_set(site: Site, seen: SeenAndPaid, ident: str) -> Values:
    """A set: its units in order, and what was fitted to each there."""
    one = site.entries.sets[ident]
    home = site.entries.home["set", ident]
    labels = [("Catalog number", one.catalog_number), ("Made", years(one.made)), ("How common", weight(one.how_common))]
    return {
        "id": ident,
        "family": site.link("family", home),
        "labels": labeled(labels),
        "about": markdown(one.about),
        "positions": positions(site, ident),
        "sales": seen.sales("set", ident),
        **site.footing(one),
        **site.forms("set", ident),
    }


def positions(site: Site, ident: str) -> list[Values]:
    """The units of a set in order, each with the picture of the one that usually sat there."""
    return [_position(site, number, one) for number, one in enumerate(site.entries.sets[ident].positions, 1)]


def _position(site: Site, number: int, one: Position) -> Values:
    sat = site.sat(one)
    variants = [site.link("variant", ident) | {"how": how_often(how, alone=len(sat) == 1)} for ident, how in sat.items()]
    stated = [site.stated(ident) for ident in sat]
    picture = site.images.of_variant(stated[0]) if stated else None
    return {
        "number": number,
        "picture": picture,
        "variants": variants,
        "fitted": fitted(site, one, stated),
        "about": markdown(one.about),
    }


def fitted(site: Site, position: Position, sat: Sequence[Stated]) -> list[Values]:
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
