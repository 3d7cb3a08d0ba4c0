"""Every entry of the demonstration says what a hobbyist would ask of it."""

import statistics
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from tellmark.kb.drawings import NOT_DRAWN, read_drawings
from tellmark.kb.load import Entries, load
from tellmark.kb.models import Trait
from tellmark.kb.pictures import picture

ROOT = Path(__file__).parents[2] / "entries"


@cache
def entries() -> Entries:
    return load(ROOT).entries


def traits() -> Iterator[tuple[str, Trait]]:
    """Every trait with its full name."""
    yield from entries().traits.items()
    for kind in ("family", "slot type"):
        for home, record in entries().of(kind).items():
            yield from ((f"{home}/{name}", trait) for name, trait in record.traits.items())


TRAITS = dict(traits())


@pytest.mark.parametrize("name", TRAITS)
def test_trait_says_where_to_look_and_how_it_changes(name: str) -> None:
    trait = TRAITS[name]
    assert trait.look
    assert trait.changes


@pytest.mark.parametrize("name", TRAITS)
def test_trait_is_asked_in_plain_words(name: str) -> None:
    trait = TRAITS[name]
    asked = [state.ask for state in trait.states.values()] if trait.states else [trait.ask]
    assert all(ask and ask.rstrip().endswith("?") for ask in asked)
    assert len(set(asked)) == len(asked)


def test_what_is_mistaken_for_what_is_often_known() -> None:
    with_states = [trait for trait in TRAITS.values() if trait.states]
    told = [trait for trait in with_states if any(state.mistaken_for for state in (trait.states or {}).values())]
    assert len(told) >= len(with_states) / 3


def test_parts_can_be_found_bought_and_told() -> None:
    for ident, part in entries().parts.items():
        assert part.fits, ident
        assert part.shows, ident
        assert part.tell or not part.reproduction_of, ident
    unpriced = [ident for ident, part in entries().parts.items() if part.cost is None or part.minutes is None]
    assert len(unpriced) <= len(entries().parts) / 10


def test_parts_cross_families_and_makers() -> None:
    parts = entries().parts.values()
    assert sum(len(part.fits) > 1 for part in parts) >= 10
    assert {part.maker for part in parts} >= {"pellworth", "ashgrove", "kiln-lane"}
    assert sum(part.reproduction_of is not None for part in parts) >= 5


def test_damage_is_not_always_mended_invisibly() -> None:
    spots = [spot for family in entries().families.values() for spot in family.damage.values()]
    assert any(spot.invisible for spot in spots)
    assert sum(not spot.invisible for spot in spots) >= 10
    assert sum(spot.procedure is not None for spot in spots) >= 8


def test_mains_work_defers_to_local_codes_and_licensed_practice() -> None:
    caution = entries().about.hazards["mains"].caution
    assert "local" in caution
    assert "licensed" in caution
    assert any("mains" in procedure.hazards for procedure in entries().procedures.values())
    assert "mains" in (entries().families["power-pack-tx"].about or "").lower()


@pytest.mark.parametrize(
    ("what", "least"),
    [("label", 12), ("swapped", 31), ("measured", 30), ("views", 50)],
    ids=["wrong-label", "a-fifth-swapped", "measured", "limited-views"],
)
def test_sightings_are_as_varied_as_life(what: str, least: int) -> None:
    counts = {
        "label": lambda: sum(one.label is not None for one in entries().sightings.values()),
        "swapped": lambda: sum(bool(one.verdict.swapped) for one in entries().sightings.values()),
        "measured": lambda: sum(
            any("+-" in str(answer) or "±" in str(answer) for answer in one.answers.values())
            for one in entries().sightings.values()
        ),
        "views": lambda: sum(one.views is not None for one in entries().sightings.values()),
    }
    assert counts[what]() >= least


def prices(least: float, most: float) -> list[float]:
    """Prices of single units within a span of grades."""
    return [
        sale.price for sale in entries().sales.values() if sale.variant and sale.grade is not None and least <= sale.grade < most
    ]


def test_prices_rise_with_the_grade() -> None:
    assert statistics.median(prices(8, 11)) > statistics.median(prices(6, 8)) > statistics.median(prices(1, 6))


def test_a_few_prices_are_absurd() -> None:
    """Far beyond any other sale of the same thing, each with a note of what happened."""
    by_thing: dict[str, list[float]] = {}
    for sale in entries().sales.values():
        by_thing.setdefault(sale.variant or sale.set or "", []).append(sale.price)
    absurd = [
        sale
        for sale in entries().sales.values()
        if len(row := by_thing[sale.variant or sale.set or ""]) > 2 and not 1 / 3 < sale.price / statistics.median(row) < 3
    ]
    assert 3 <= len(absurd) <= 30
    assert any(sale.note for sale in absurd)


def test_every_state_of_every_visual_trait_has_its_picture() -> None:
    """In its family, or loose on the bench; legibility is looked at on the sheet that tests/contact_sheet.py makes."""
    drawings, findings = read_drawings(entries())
    assert findings == []
    without: list[str] = []
    count = 0
    for home, trait_id, trait, family in drawn_traits():
        if trait.view not in NOT_DRAWN:
            for state in [*(trait.states or {})] or [None]:
                shown = picture(drawings, family, trait_id, state)
                count += 1
                if shown is None or "<title" not in shown or "<desc" not in shown:
                    without.append(f"{home}/{trait_id}: {state}")
    assert without == []
    assert count >= 500


def drawn_traits() -> Iterator[tuple[str, str, Trait, str | None]]:
    """(home, id for `picture`, trait, family)."""
    for family, record in entries().families.items():
        for name, trait in record.traits.items():
            yield family, name, trait, family
    for home, record in entries().slot_types.items():
        for name, trait in record.traits.items():
            yield home, f"{home}.{name}", trait, None
    for name, trait in entries().traits.items():
        yield "common", name, trait, None


def test_every_family_is_drawn_from_the_side_and_an_end() -> None:
    for family in entries().families:
        folder = ROOT / "families" / family / "drawings"
        assert (folder / "side.svg").is_file(), family
        assert any((folder / f"{view}.svg").is_file() for view in ("nose", "end")), family


def test_drawings_name_slots_and_damage_spots() -> None:
    text = "".join(path.read_text("utf-8") for path in ROOT.rglob("*.svg"))
    for family, record in entries().families.items():
        for spot, damage in record.damage.items():
            assert damage.view in NOT_DRAWN or f'data-damage="{spot}"' in text, (family, spot)
