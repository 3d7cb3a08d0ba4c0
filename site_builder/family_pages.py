"""The page of a family: its drawing, kinds and variants, its sets in order, its years, its traits, and what breaks."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from markupsafe import Markup

from ..kb.drawings import FAMILY
from ..kb.models import Trait
from ..kb.resolve import Stated
from ..kb.svg import Node
from ..kb.values import Fact, Years
from . import charts
from .damage import Damage
from .drawn import MOVED, SIDE, body, box
from .page import Values
from .pocket import MOST_VARIANTS, pocket_address
from .set_pages import Consists
from .tables import FamilyTables, Site
from .texts import labeled, markdown, weight, years

#: Marks of regions are at least so far apart, in units of a drawing that is some hundreds wide.
APART = 17.0


def family(site: Site, damage: Damage, consists: Consists, ident: str) -> Values:
    """Everything the page says."""
    tables = site.families[ident]
    one = tables.record
    variants = sorted(tables.variants, key=lambda one: (one.livery or "", one.made or (9999, 0), one.id))
    told = _liveries(site, variants)
    maker = site.place("maker", one.maker) if one.maker else None
    return {
        "id": ident,
        "maker": maker,
        "made": years(one.made),
        "labels": labeled([("Made", years(one.made)), ("How common", weight(one.how_common))]),
        "about": markdown(one.about),
        "regions": _regions(site, tables),
        "kinds": [{"name": kind.name, "about": markdown(kind.about)} for kind in one.kinds.values()],
        "variants": [_row(site, tables, told, each) for each in variants],
        "timeline": _timeline(told, variants),
        "varies": _varies(site, tables, variants),
        "sets": [_set_line(site, consists, name) for name in tables.sets],
        "views": _traits_by_view(site, ident),
        "damage": damage.of(tables, None),
        "pocket": pocket_address(ident) if 1 < len(variants) <= MOST_VARIANTS else None,
        **site.footing(one),
        **site.forms("family", ident),
    }


def _liveries(site: Site, variants: Sequence[Stated]) -> dict[str | None, str]:
    """The names of the liveries that are worn."""
    return {one.livery: site.name("livery", one.livery) if one.livery else "Without a livery" for one in variants}


def _row(site: Site, tables: FamilyTables, liveries: Mapping[str | None, str], one: Stated) -> Values:
    cells = [
        ("Catalog number", one.catalog_number, one.catalog_number),
        ("Livery", liveries[one.livery] if one.livery else None, None),
        ("Kind", tables.kind(one), None),
        ("Batch", one.batch, one.batch),
        ("Made", years(one.made), one.made.first if one.made else None),
        ("How common", weight(one.how_common), None),
    ]
    return site.link("variant", one.id) | {
        "picture": site.images.of_variant(one),
        "cells": [{"label": label, "value": value, "sort": sort} for label, value, sort in cells],
    }


def _timeline(liveries: Mapping[str | None, str], variants: Sequence[Stated]) -> Markup | None:
    """When each variant was made, by livery, as a chart; the table of variants has the same in figures."""
    groups: dict[str, list[charts.Bar]] = {}
    for one in variants:
        if one.made:
            groups.setdefault(liveries[one.livery], []).append(charts.Bar(one.name, *one.made))
    return charts.timeline(list(groups.items()), "When the variants were made", "timeline")


# What varies over the years ----------------------------------------------------------------------------------------------


def _varies(site: Site, tables: FamilyTables, variants: Sequence[Stated]) -> list[Values]:
    """The traits and slots of which some choice was made in a part of the years only, with those years."""
    dated = [one for one in variants if one.made]
    if not dated:
        return []
    whole = _span([one.made for one in dated if one.made])
    rows: list[Values] = []
    for name, trait in tables.traits.items():
        if trait.states:
            names = {ident: state.name for ident, state in trait.states.items()}
            rows += _row_of_years(trait.name, _years_of(dated, [one.shows.get(name) for one in dated]), names, whole)
    for name, slot in tables.slots.items():
        if slot.type:
            rows += _row_of_years(slot.name, _years_of(dated, [one.fitted.get(name) for one in dated]), site.part_names, whole)
    return rows


def _years_of(dated: Sequence[Stated], facts: Sequence[Fact | None]) -> dict[str, Years]:
    """{choice: the years it was made in} where they differ from all years for some choice; else nothing."""
    found: dict[str, list[Years]] = {}
    for one, said in zip(dated, facts, strict=True):
        for choice in said.is_ if said else ():
            if one.made:
                found.setdefault(choice, []).append(one.made)
    spans = {choice: _span(made) for choice, made in found.items()}
    if len(spans) < 2 or len({*spans.values()}) < 2:
        return {}
    return dict(sorted(spans.items(), key=lambda one: one[1]))


def _row_of_years(name: str, spans: Mapping[str, Years], names: Mapping[str, str], whole: Years) -> list[Values]:
    choices = [
        {"name": names.get(choice, choice), "years": years(span), "bar": charts.span_bar(span.first, span.last, whole)}
        for choice, span in spans.items()
    ]
    return [{"name": name, "choices": choices}] if choices else []


def _span(made: Sequence[Years]) -> Years:
    return Years(min(one.first for one in made), max(one.last for one in made))


# Sets and traits ------------------------------------------------------------------------------------------------------------


def _set_line(site: Site, consists: Consists, ident: str) -> Values:
    one = site.entries.sets[ident]
    facts = [fact for fact in (one.catalog_number, years(one.made), weight(one.how_common)) if fact]
    return site.link("set", ident) | {"facts": facts, "consist": consists.of(ident)}


def _traits_by_view(site: Site, family: str) -> list[Values]:
    """The traits that tell the variants of the family apart, each with the states that some of them show."""
    tables = site.families[family]
    used: dict[str, dict[str, None]] = {}
    shared = tables.shared
    for one in tables.variants:
        for name, fact in one.shows.items():
            used.setdefault(name, {}).update(dict.fromkeys(fact.is_))
    rows: dict[str, list[Values]] = {}
    for name, trait in tables.traits.items():
        if name in used and name not in shared:
            row = site.trait_link(family, name, trait.name) | {"id": name, "look": trait.look, "changes": trait.changes}
            rows.setdefault(trait.view, []).append(row | {"states": _states(site, family, name, trait, used[name])})
    return viewed(tables, rows)


def _states(site: Site, family: str, name: str, trait: Trait, used: Mapping[str, None]) -> list[Values]:
    """These states of a trait, each with its picture if there is one."""
    named: dict[str | None, str] = {ident: state.name for ident, state in (trait.states or {}).items() if ident in used}
    if trait.measured:
        named = {None: f"measured in {trait.measured.unit}" if trait.measured.unit else "measured"}
    elif not named:
        named = {None: "read off the unit"}
    return [{"name": text, "picture": site.images.of_state(family, name, state)} for state, text in named.items()]


def viewed(tables: FamilyTables, rows: Mapping[str, Sequence[Values]]) -> list[Values]:
    """Rows under the views that show them, the easiest view first."""
    views = [(ident, view) for ident, view in tables.views.items() if ident in rows]
    views.sort(key=lambda one: one[1].effort)
    return [{"id": ident, "name": view.name, "how": view.how, "facts": rows[ident]} for ident, view in views]


# The drawing with its regions ----------------------------------------------------------------------------------------------


def _regions(site: Site, tables: FamilyTables) -> Values | None:
    """The side of the family with a number at each slot and each trait that is seen there, and what the numbers mean."""
    sheets = [one for one in site.pictures.drawings.of(FAMILY, tables.ident) if one.view == SIDE]
    if not sheets:
        return None
    tree = sheets[0].tree
    x, y, width, height = box(tree)
    slots = tables.slots
    found: list[tuple[Values, float, float]] = []
    for node in body(tree).root.elements:
        slot = node.attributes.get("data-slot")
        if slot in slots and (at := _middle(node.all())):
            found.append(({"text": slots[slot].name, "href": None}, *at))
    for name, trait in tables.record.traits.items():
        crop = tree.crop(name)
        if crop is not None and tree.panel(name) is None:
            left, top, across, down = map(float, crop.attributes["viewBox"].split())
            found.append((site.trait_link(tables.ident, name, trait.name), left + across / 2, top + down / 2))
    inside = sorted((one for one in found if x <= one[1] <= x + width and y <= one[2] <= y + height), key=lambda one: one[1:])
    places = charts.labels([(at, down) for _, at, down in inside], APART)
    marks = [
        {"n": n, "x": f"{at:.1f}", "y": f"{down:.1f}", "text_y": f"{down + 3.6:.1f}"} for n, (at, down) in enumerate(places, 1)
    ]
    drawings = site.pictures.heads(tables.ident, None)
    return {
        "drawing": drawings[0] if drawings else None,
        "box": f"{x:g} {y:g} {width:g} {height:g}",
        "marks": marks,
        "legend": [one for one, _, _ in inside],
    }


def _middle(nodes: Iterable[Node]) -> tuple[float, float] | None:
    """About the middle of some elements: of the starts of their paths and the places of their shapes."""
    points = [point for node in nodes for point in _starts(node.tag, node.attributes)]
    if not points:
        return None
    across, down = ([point[axis] for point in points] for axis in (0, 1))
    return (min(across) + max(across)) / 2, (min(down) + max(down)) / 2


def _starts(tag: str, given: Mapping[str, str]) -> Iterator[tuple[float, float]]:
    """Points where an element is, as far as its attributes say it without working out curves."""
    if moved := re.match(MOVED, given.get("transform", "")):
        yield float(moved[1]), float(moved[2])
    elif tag == "path":
        yield from ((float(x), float(y)) for x, y in re.findall(r"M\s*([-.\d]+)[ ,]+([-.\d]+)", given.get("d", "")))
    else:
        for horizontal, vertical in (("x", "y"), ("cx", "cy"), ("x1", "y1")):
            if horizontal in given and vertical in given:
                yield float(given[horizontal]), float(given[vertical])
