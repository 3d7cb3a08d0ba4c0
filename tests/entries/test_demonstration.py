"""The packaged demonstration: sound, rich enough, and its sightings come out as what they were found to be."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML
from tellmark.identify.arrays import NOT_IN_THE_RECORD
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.check import check
from tellmark.kb.load import Entries, rule_for
from tellmark.kb.resolve import living, moved
from tellmark.kb.schema import file_schema
from tellmark.kb.values import Answer

ROOT = Path(__file__).parents[2] / "entries"
FILES = sorted(path for path in ROOT.rglob("*.yaml"))

#: Sightings whose verdict does not come out on top from the answers alone. May only fall.
MOST_EXCEPTIONS = 3

#: At least so many of each in the demonstration; may only rise.
AT_LEAST = {
    "family": 6,
    "variant": 90,
    "set": 24,
    "part": 45,
    "slot type": 20,
    "source": 30,
    "procedure": 14,
    "sighting": 150,
    "sale": 400,
}


@cache
def checked() -> tuple[Entries, list[str]]:
    entries, findings = check(ROOT)
    return entries, [str(finding) for finding in findings]


def test_check_is_silent() -> None:
    assert checked()[1] == []


@pytest.mark.parametrize("kind", AT_LEAST)
def test_rich_enough(kind: str) -> None:
    entries = checked()[0]
    count = len(living(entries)) if kind == "variant" else len(entries.of(kind))
    assert count >= AT_LEAST[kind]


def test_enough_traits_and_damage_spots() -> None:
    entries = checked()[0]
    own = sum(len(family.traits) for family in entries.families.values())
    of_parts = sum(len(slot_type.traits) for slot_type in entries.slot_types.values())
    assert len(entries.traits) + own + of_parts >= 60
    assert sum(len(family.damage) for family in entries.families.values()) >= 30


def test_sales_reach_over_twelve_years() -> None:
    assert len({sale.date[:4] for sale in checked()[0].sales.values()}) >= 12


def test_motors_trucks_and_couplers_have_traits_of_their_own() -> None:
    entries = checked()[0]
    for slot_type in ("motor", "truck", "coupler"):
        assert len(entries.slot_types[slot_type].traits) >= 2
        assert sum(home == slot_type for (kind, _), home in entries.home.items() if kind == "part") >= 4


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_file_fits_its_json_schema(path: Path) -> None:
    rule = rule_for(path.relative_to(ROOT).as_posix())
    assert rule is not None
    plain: Any = json.loads(json.dumps(YAML(typ="safe").load(path.read_text("utf-8")), default=str))
    jsonschema.validate(plain, schema(rule.kind), cls=jsonschema.Draft202012Validator)


@cache
def schema(kind: str) -> dict[str, Any]:
    return file_schema(kind)


@cache
def sessions(family: str) -> Session:
    return start(checked()[0], family)


def leaders(ident: str) -> list[str]:
    """The variants that share the first place for a sighting, from its answers alone."""
    entries = checked()[0]
    family = entries.home["sighting", ident]
    session = answered(sessions(family), entries, family, entries.sightings[ident].answers)
    best = session.variants[0][1]
    return [name for name, chance in session.variants if chance > best - 1e-9]


def test_sightings_come_out_as_their_verdict() -> None:
    """The knowledge base's own tests. A sighting that cannot come out right says why in `exception`."""
    entries = checked()[0]
    wrong: list[str] = []
    for ident, sighting in entries.sightings.items():
        verdict = sighting.verdict.variant
        right = moved(entries, verdict) if verdict else [NOT_IN_THE_RECORD]
        if not set(leaders(ident)) & set(right):
            wrong.append(ident)
    assert [ident for ident in wrong if not entries.sightings[ident].exception] == []
    assert len(wrong) <= MOST_EXCEPTIONS


def test_exactly_one_pair_cannot_be_told_apart() -> None:
    entries = checked()[0]
    groups = {tuple(group) for family in entries.families for group in sessions(family).twins.values() if len(group) > 1}
    assert groups == {("426-lake-harrow-a-b4", "426-lake-harrow-a-holloways")}


def test_some_pairs_look_the_same_from_the_side() -> None:
    entries = checked()[0]
    groups = start(entries, "cab-diesel-420", ["side"]).twins.values()
    assert sum(len(group) > 1 for group in groups) >= 4


def test_some_sets_differ_only_in_what_is_fitted() -> None:
    entries = checked()[0]
    held: dict[tuple[tuple[str, ...], ...], list[str]] = {}
    for ident, one in entries.sets.items():
        held.setdefault(tuple(tuple(sorted(position.variants)) for position in one.positions), []).append(ident)
    assert any(len(same) > 1 for same in held.values())


def test_a_quarter_of_the_sightings_have_swapped_parts() -> None:
    sightings = checked()[0].sightings.values()
    assert sum(bool(sighting.verdict.swapped) for sighting in sightings) >= len(sightings) / 5


def test_swapped_slots_of_sightings_are_found() -> None:
    """Where a sighting names a swapped slot and answers a trait of it, the slot comes out more likely swapped than at first."""
    from tellmark.identify.report import slots

    entries = checked()[0]
    for ident, sighting in entries.sightings.items():
        family = entries.home["sighting", ident]
        at_first = {one["slot"]: one["swapped"] for one in slots(sessions(family))}
        session = answered(sessions(family), entries, family, sighting.answers)
        found = {one["slot"]: one["swapped"] for one in slots(session)}
        for slot in sighting.verdict.swapped:
            seen = any(key == slot or key.startswith(f"{slot}.") for key in sighting.answers)
            if seen and slot in found and not sighting.exception:
                assert found[slot] > at_first.get(slot, 0.0), (ident, slot)


@pytest.mark.parametrize("family", [None, "tank-engine-70"])
def test_an_engine_whose_name_nobody_recorded_may_have_any(family: str | None) -> None:
    """Two of thirteen tank engines have their railroad's name on record, and it is another one: that says little of the rest."""
    entries, _ = checked()
    answers = {"body-shape": "boiler", "road-name": "PRAIRIE MERIDIAN"}
    read = {key: Answer.model_validate({"is": value}) for key, value in answers.items()}
    session = answered(start(entries, family), entries, family, read)
    assert session.variants[0][0].startswith("74-prairie-meridian-engine")
    assert all(not one.looks_wrong for one in session.doubts)
