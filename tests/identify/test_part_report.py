"""What is said of a loose part: makers and reproductions, what it fits, what was born with it, what to be careful of."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from tellmark.identify.part_report import Factory, described, part_report
from tellmark.identify.part_words import PartWords, cautions
from tellmark.identify.start import answered, start_part
from tellmark.kb.load import Entries, load
from tellmark.kb.values import Answer

ENTRIES = Path(__file__).parents[2] / "entries"
Folder = Callable[[Mapping[str, Any]], Path]


@pytest.fixture(scope="module")
def demonstration() -> Entries:
    loaded = load(ENTRIES)
    assert loaded.findings == []
    return loaded.entries


def reported(entries: Entries, home: str | None, **said: Any) -> dict[str, Any]:
    answers = {key.replace("_", "-"): Answer.model_validate({"is": value}) for key, value in said.items()}
    session = answered(start_part(entries, home), entries, home, answers, part=True)
    return part_report(session, PartWords(entries, session.compiled))


# Born with it ----------------------------------------------------------------------------------------------------------


def born(entries: Entries, part: str) -> list[tuple[str, str | None, int, str | None, float]]:
    found = Factory(entries).born_with(part)
    return [(one["variant"], one["set"], one["position"], one["how"], one["share"]) for one in found]


def test_born_with_counts_variants_and_places_in_sets(folder: Folder) -> None:
    """The second batch is like the first, so both have spoked wheels; in the second place of the pair disc wheels sat."""
    entries = load(folder({})).entries
    assert born(entries, "spoked") == [("gull-a", None, 0, "always", 1.0), ("gull-b", None, 0, "always", 1.0)]
    assert born(entries, "disc") == [("gull-a", "gull-pair", 2, "always", 1.0), ("gull-b", "gull-pair", 2, "always", 1.0)]


def test_a_set_that_had_something_else_is_named(folder: Folder) -> None:
    entries = load(folder({})).entries
    found = {one["variant"]: one["not_in"] for one in Factory(entries).born_with("spoked")}
    assert found == {ident: [{"set": "gull-pair", "position": 2}] for ident in ("gull-a", "gull-b")}


SOMETIMES = [("  wheels: spoked\n", "  wheels: {spoked: usual, disc: sometimes}\n")]
UNKNOWN = [("  wheels: spoked\n", "  wheels: unknown\n")]
NO_SETS = {"families/tram/sets/gull-pair.yaml": None, "sightings/tram/shelf-1.yaml": None, "sales/2021.csv": None}


def test_how_often_is_the_recorded_word_and_its_share(folder: Folder) -> None:
    entries = load(folder({**NO_SETS, "families/tram/variants/gull-a.yaml": SOMETIMES})).entries
    assert born(entries, "spoked") == [(ident, None, 0, "usual", 0.8) for ident in ("gull-a", "gull-b")]
    assert born(entries, "disc") == [(ident, None, 0, "sometimes", 0.2) for ident in ("gull-a", "gull-b")]


def test_unknown_is_neither_born_with_it_nor_without(folder: Folder) -> None:
    entries = load(folder({**NO_SETS, "families/tram/variants/gull-a.yaml": UNKNOWN})).entries
    assert born(entries, "spoked") == []
    assert Factory(entries).not_recorded("spoked") == [{"variant": ident, "slot": "wheels"} for ident in ("gull-a", "gull-b")]


def test_what_a_set_tells_is_recorded(folder: Folder) -> None:
    """The pair says what sat in its second place, so only in its first is nothing known; that counts as known."""
    entries = load(folder({"families/tram/variants/gull-a.yaml": UNKNOWN})).entries
    assert Factory(entries).not_recorded("disc") == []


def test_born_with_agrees_with_what_is_compiled(demonstration: Entries) -> None:
    """A coupler that only sets had: every place named is one where the arrays have it with that share."""
    from tellmark.identify.compile import compile_entries

    compiled = compile_entries(demonstration)
    slots = {slot.id: slot for slot in compiled.slots}
    found = list(Factory(demonstration).born_with("fixed-long"))
    assert len(found) > 20
    for one in found:
        c = next(
            c
            for c in range(compiled.candidates)
            if compiled.label(c) == one["variant"] and compiled.set_of[c] == compiled.sets.index(one["set"])
            if compiled.position[c] == one["position"]
        )
        slot = slots[one["slot"]]
        assert slot.issued[slot.row[c], slot.parts.index("fixed-long")] == pytest.approx(one["share"])


# What it fits, who made it ---------------------------------------------------------------------------------------------


def test_fits_every_recorded_slot(demonstration: Entries) -> None:
    found = {one["family"]: one["slots"] for one in Factory(demonstration).fits("fixed-short")}
    recorded = demonstration.parts["fixed-short"].fits
    assert set(recorded) <= set(found)
    assert all(set(slots) <= set(found[family]) for family, slots in recorded.items())


def test_makers_and_reproductions_are_sums_over_parts(demonstration: Entries) -> None:
    found = reported(demonstration, "motor", gearing="twin")
    chances = {one["id"]: one["probability"] for one in found["parts"]}
    records = demonstration.parts
    for maker in found["makers"]:
        mine = [ident for ident in chances if (records[ident].maker if ident in records else None) == maker["id"]]
        assert maker["probability"] == pytest.approx(sum(chances[ident] for ident in mine), abs=1e-3)
    copies = [ident for ident in chances if ident in records and records[ident].reproduction_of]
    assert found["reproduction"]["probability"] == pytest.approx(sum(chances[ident] for ident in copies), abs=1e-3)
    assert found["reproduction"]["unrecorded"] == pytest.approx(chances["not-in-the-record"], abs=1e-6)


def test_reproduction_names_what_it_copies_and_how_to_tell(demonstration: Entries) -> None:
    found = reported(demonstration, "motor", gearing="twin", brush_plate="hex-caps", motor_mark="unmarked")
    assert found["settled"]
    assert found["makers"][0]["id"] == "kiln-lane"
    assert found["reproduction"]["of"][0]["id"] == "twin-gear"
    first = found["described"][0]
    assert (first["id"], first["reproduction_of"], first["born_with"]) == ("kiln-lane-twin", "twin-gear", [])
    assert "Hexagonal" in first["tell"]


def test_original_names_its_copies(demonstration: Entries) -> None:
    one = described(Factory(demonstration), "twin-gear")
    assert [copy["id"] for copy in one["copied_by"]] == ["kiln-lane-twin"]
    assert one["reproduction_of"] is None
    assert len(one["born_with"]) > 10


def test_a_maker_nobody_recorded_is_null(demonstration: Entries) -> None:
    found = reported(demonstration, "cord", covering="smooth-vinyl", wires="three-wires")
    assert found["parts"][0]["id"] == "grounded-cord"
    assert found["makers"][0] == {"id": None, "name": "not recorded", "probability": pytest.approx(1, abs=0.02)}


# Cautions --------------------------------------------------------------------------------------------------------------

HAZARDS = [
    pytest.param("cord", {"mains"}, id="mains, since a cord is replaced by licensed people"),
    pytest.param("plug", {"mains"}, id="the same procedure serves plugs"),
    pytest.param("pilot", {"lead", "sharp"}, id="some castings hold lead"),
    pytest.param("reversing-unit", {"mains", "solvent"}, id="it is tested under current and cleaned"),
    pytest.param("lamp", {"heat"}, id="a lamp that was lit"),
]


@pytest.mark.parametrize(("slot_type", "hazards"), HAZARDS)
def test_hazards_of_the_work_are_said(slot_type: str, hazards: set[str], demonstration: Entries) -> None:
    """From the first question on, and with the words of the record."""
    found = reported(demonstration, slot_type)["cautions"]
    assert hazards <= {one["hazard"] for one in found}
    for one in found:
        assert one["caution"] == demonstration.about.hazards[one["hazard"]].caution
        assert one["procedures"]


def test_no_procedure_no_caution(demonstration: Entries) -> None:
    assert cautions(demonstration, ["bell"]) == []


def test_hazards_show_even_when_the_part_is_not_in_the_record(demonstration: Entries) -> None:
    found = reported(demonstration, None, slot_type="cord", **{"cord.covering": "woven-cloth", "relief": "molded-relief"})
    assert found["parts"][0]["id"] == "not-in-the-record"
    assert found["slot_types"][0]["id"] == "cord"
    assert "mains" in {one["hazard"] for one in found["cautions"]}
