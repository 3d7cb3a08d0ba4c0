"""What the columns of a table become, beside a column of names: ids, questions, states, measured values, markings."""

from typing import Any

import pytest
from tellmark.kb.columns import Ids, header_unit, slug, state_question, yes_no_questions
from tellmark.kb.imported import Wishes, imported_from
from tellmark.kb.table import Table


def column(cells: list[str], header: str = "Trim", **wishes: Any) -> dict[str, Any]:
    """What a column of these cells becomes, beside a column of names."""
    rows = [[f"unit {number}", cell] for number, cell in enumerate(cells, 1)]
    table = Table("units.csv", ["name", header], rows, list(range(2, len(rows) + 2)))
    made = imported_from(table, Wishes(**wishes)).columns[0]
    return {made.id: made.trait.model_dump(exclude_unset=True), "facts": made.facts, "tolerance": made.tolerance}


# Ids and words -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param("Prairie Meridian", "prairie-meridian", id="words"),
        pytest.param("  O'Brien & Sons (1953) ", "o-brien-sons-1953", id="signs"),
        pytest.param("Crème brûlée", "creme-brulee", id="accents"),
        pytest.param("Straße", "strasse", id="sharp-s"),
        pytest.param("-3", "minus-3", id="a-negative-number-is-not-its-opposite"),
        pytest.param("?", "question-mark", id="one-sign-by-its-name"),
        pytest.param("赤い", "", id="nothing-left"),
        pytest.param("x" * 200, "x" * 60, id="long"),
    ],
)
def test_slug(text: str, expected: str) -> None:
    assert slug(text) == expected


def test_ids_are_unique_and_never_reserved() -> None:
    ids = Ids("value")
    texts = ["frog", "frog", "frog-2", "Frog!", "none", "赤い", "青い", "null"]
    expected = ["frog", "frog-2", "frog-2-2", "frog-3", "none-value", "value", "value-2", "null"]
    assert [ids.give(text) for text in texts] == expected


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        pytest.param("hair", ("Does this apply: hair?", "Is this not so: hair?"), id="a-thing"),
        pytest.param("Repainted?", ("Does this apply: repainted?", "Is this not so: repainted?"), id="a-quality"),
        pytest.param("AC motor", ("Does this apply: AC motor?", "Is this not so: AC motor?"), id="an-abbreviation"),
        pytest.param("has_a horn", ("Does it have a horn?", "Is it without a horn?"), id="has"),
        pytest.param("Is painted", ("Is it painted?", "Is it anything but painted?"), id="is"),
        pytest.param("?", ("Does this apply: ??", "Is this not so: ??"), id="nothing-else"),
    ],
)
def test_questions_from_a_column_name(header: str, expected: tuple[str, str]) -> None:
    assert yes_no_questions(header) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        pytest.param("4", 'Is "legs" 4?', id="number"),
        pytest.param("dark\nred", 'Is "legs" dark red?', id="line-break"),
        pytest.param("?", 'Is "legs" "?"?', id="sign"),
        pytest.param("x" * 101, f'Is "legs" "{"x" * 97}..."?', id="long"),
    ],
)
def test_question_for_a_state(value: str, expected: str) -> None:
    assert state_question("legs", value) == expected


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        pytest.param("Length (mm)", ("Length", "mm"), id="brackets"),
        pytest.param("Weight [Ounces]", ("Weight", "oz"), id="square-brackets-and-a-word"),
        pytest.param("length_mm", ("length", "mm"), id="underscore"),
        pytest.param("Length, in", ("Length", "in"), id="comma"),
        pytest.param("Coil (Ω)", ("Coil", "ohm"), id="sign"),
        pytest.param('Gauge (")', ("Gauge", "in"), id="inch-mark"),
        pytest.param("Class A", ("Class A", None), id="a-single-letter-is-no-unit"),
        pytest.param("Supply (V)", ("Supply", "V"), id="a-single-letter-in-brackets-is"),
        pytest.param("Weight (kg)", ("Weight (kg)", None), id="a-unit-nobody-converts"),
        pytest.param("(mm)", ("(mm)", None), id="a-unit-alone"),
    ],
)
def test_unit_of_a_header(header: str, expected: tuple[str, str | None]) -> None:
    assert header_unit(header) == expected


# Columns to traits ---------------------------------------------------------------------------------------------------

COMMON = {"slot": "body", "view": "side", "mistakes": "imported"}
YES_NO = {
    "yes": {"name": "yes", "ask": "Does this apply: trim?"},
    "no": {"name": "no", "ask": "Is this not so: trim?"},
}


def states(*values: str) -> dict[str, Any]:
    return {value: {"name": value, "ask": f'Is "Trim" {value}?'} for value in values}


@pytest.mark.parametrize(
    ("cells", "made", "facts"),
    [
        pytest.param(["red", "blue", "", "red"], states("red", "blue"), ["red", "blue", None, "red"], id="text"),
        pytest.param(["10", "2", "", "10"], states("2", "10"), ["10", "2", None, "10"], id="whole-numbers-in-their-order"),
        pytest.param(
            ["4", "?", "4"],
            {**states("4"), "question-mark": {"name": "?", "ask": 'Is "Trim" "?"?'}},
            ["4", "question-mark", "4"],
            id="numbers-and-text",
        ),
        pytest.param(["0421", "0422", "0421"], states("0421", "0422"), ["0421", "0422", "0421"], id="zeros-in-front-are-text"),
        pytest.param(["yes", "No", "", "YES"], YES_NO, ["yes", "no", None, "yes"], id="yes-and-no"),
        pytest.param(["TRUE", "false", "true"], YES_NO, ["yes", "no", "yes"], id="true-and-false"),
        pytest.param(["0", "1", "1"], YES_NO, ["no", "yes", "yes"], id="zero-and-one"),
        pytest.param(["yes", "", "yes"], YES_NO, ["yes", None, "yes"], id="yes-alone-still-has-its-no"),
        pytest.param(["1", "", "1"], states("1"), ["1", None, "1"], id="ones-alone-are-a-count"),
        pytest.param(
            ["none", "none", "unknown"],
            {
                "none-value": {"name": "none", "ask": 'Is "Trim" none?'},
                "unknown-value": {"name": "unknown", "ask": 'Is "Trim" unknown?'},
            },
            ["none-value", "none-value", "unknown-value"],
            id="reserved-words",
        ),
        pytest.param(
            ["424 A", "424 A", "427 A"],
            {"424-a": {"name": "424 A", "ask": 'Is "Trim" 424 A?'}, "427-a": {"name": "427 A", "ask": 'Is "Trim" 427 A?'}},
            ["424-a", "424-a", "427-a"],
            id="a-unit-and-its-letter-are-no-current",
        ),
        pytest.param(["dented", "", "", "worn"], states("dented", "worn"), ["dented", None, None, "worn"], id="few-remarks"),
        pytest.param(
            ["1e999999999", "1e999999999", "x"],
            {"1e999999999": {"name": "1e999999999", "ask": 'Is "Trim" 1e999999999?'}, "x": {"name": "x", "ask": 'Is "Trim" x?'}},
            ["1e999999999", "1e999999999", "x"],
            id="an-endless-number-is-text",
        ),
    ],
)
def test_columns_with_states(cells: list[str], made: dict[str, Any], facts: list[str | None]) -> None:
    assert column(cells) == {"trim": {"name": "Trim", **COMMON, "states": made}, "facts": facts, "tolerance": None}


@pytest.mark.parametrize(
    "cells",
    [
        pytest.param(["A-17", "B-4", "C-9"], id="a-different-text-in-every-row"),
        pytest.param([f"no. {number // 2}" for number in range(82)], id="more-than-forty-texts"),
        pytest.param([*(f"cab {number}" for number in range(13)), ""], id="many-texts-none-twice"),
        pytest.param(["Unknown", "B-4", "C-9"], id="a-word-with-a-meaning-of-its-own"),
    ],
)
def test_columns_that_are_read_and_typed(cells: list[str]) -> None:
    made: dict[str, Any] = {"name": "Trim", **COMMON, "ask": 'What does "Trim" say?', "marking": {}}
    assert column([cell.lower() if cell == "Unknown" else cell for cell in cells]) == {
        "trim": made,
        "facts": [cell or None for cell in cells],
        "tolerance": None,
    }


MEASURED = [
    pytest.param(
        ["21.5", "22", "", "20.25"],
        "Length (mm)",
        {},
        ("Length", "mm", 20.0, 22.2),
        ["21.5 +- 0.005 mm", "22 +- 0.005 mm", None, "20.25 +- 0.005 mm"],
        "+- 0.005 mm, estimated from the places written",
        id="estimated-from-the-finest-place",
    ),
    pytest.param(
        ["21.5 +- 0.5 mm", "2.2 ± 0.1 cm"],
        "Length",
        {},
        ("Length", "mm", 18.0, 25.0),
        ["21.5 +- 0.5 mm", "2.2 +- 0.1 cm"],
        "as its cells state it",
        id="stated-in-the-cells",
    ),
    pytest.param(
        ["4", "5", "5"],
        "Axle load",
        {"tolerances": ["Axle load=0.3"]},
        ("Axle load", "", 3.1, 5.9),
        ["4 +- 0.3", "5 +- 0.3", "5 +- 0.3"],
        "+- 0.3, as told",
        id="told-and-so-measured",
    ),
    pytest.param(
        ["13/16 in", "1 in"],
        "Width",
        {"tolerances": ["Width=1 mm"]},
        ("Width", "in", 0.6, 1.2),
        ["13/16 +- 0.0393701 in", "1 +- 0.0393701 in"],
        "+- 0.0393701 in, as told",
        id="told-in-another-unit",
    ),
    pytest.param(
        [str(number) for number in range(100, 113)],
        "Mass",
        {},
        ("Mass", "", 98.0, 114.0),
        [f"{number} +- 0.5" for number in range(100, 113)],
        "+- 0.5, estimated from the places written",
        id="more-than-twelve-whole-numbers",
    ),
    pytest.param(
        ["0.0", "0.0"],
        "Play",
        {},
        ("Play", "", 0.0, 0.2),
        ["0.0 +- 0.05"] * 2,
        "+- 0.05, estimated from the places written",
        id="one-value",
    ),
]


@pytest.mark.parametrize(("cells", "header", "wishes", "made", "facts", "tolerance"), MEASURED)
def test_columns_that_are_measured(
    cells: list[str],
    header: str,
    wishes: dict[str, Any],
    made: tuple[str, str, float, float],
    facts: list[str | None],
    tolerance: str,
) -> None:
    name, unit, least, most = made
    ask = f'What is "{name}"{f" in {unit}" if unit else ""}?'
    trait = {"name": name, **COMMON, "ask": ask, "measured": {"unit": unit, "least": least, "most": most}}
    assert column(cells, header, **wishes) == {slug(name): trait, "facts": facts, "tolerance": tolerance}


def test_values_in_unlike_units_are_text() -> None:
    made = column(["3 mm", "3 g", "3 mm"])
    assert list(made["trim"]["states"]) == ["3-mm", "3-g"]
