"""What the columns of a table become, beside a column of names: ids, questions, states, measured values, markings."""

from typing import Any

import pytest
from tellmark.kb.columns import Ids, column_of, header_unit, number_text, slug, state_question, yes_no_questions
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
        pytest.param("4", "Body length: is it 4?", id="number"),
        pytest.param("red", "Body length: is it red?", id="text"),
        pytest.param('9 5/8"', 'Is the body length 9 5/8"?', id="inches"),
        pytest.param("24.5 cm", "Is the body length 24.5 cm?", id="a-measure"),
        pytest.param('12" - 12 1/4"', 'Body length: is it 12" - 12 1/4"?', id="marks-are-not-doubled"),
        pytest.param("dark\nred", "Body length: is it dark red?", id="line-break"),
        pytest.param("short!", 'Body length: is it "short!"?', id="sign"),
        pytest.param("x" * 101, f'Body length: is it "{"x" * 97}..."?', id="long"),
    ],
)
def test_question_for_a_state(value: str, expected: str) -> None:
    assert state_question("Body length?", value) == state_question("Body length", value) == expected


@pytest.mark.parametrize(
    ("header", "value", "expected"),
    [
        pytest.param("color", "red", "Color: is it red?", id="a-small-letter-in-front"),
        pytest.param('Length (")', '9 5/8"', 'Is the length 9 5/8"?', id="the-unit-is-said-once"),
        pytest.param("Length (mm)", "118", "Length (mm): is it 118?", id="a-number-needs-the-unit-of-its-header"),
        pytest.param("OAL", "245 mm", "Is the OAL 245 mm?", id="an-abbreviation"),
        pytest.param("?", "red", "?: is it red?", id="nothing-else"),
    ],
)
def test_question_for_a_column_name(header: str, value: str, expected: str) -> None:
    assert state_question(header, value) == expected


@pytest.mark.parametrize(
    ("cell", "commas", "expected"),
    [
        pytest.param('9 5/8"', False, '9 5/8"', id="inch-mark"),
        pytest.param("9-5/8”", False, '9 5/8"', id="hyphen-and-a-curly-mark"),
        pytest.param("9⅝ In.", False, "9 5/8 in", id="one-sign-for-the-fraction"),
        pytest.param("½''", False, '1/2"', id="two-apostrophes"),
        pytest.param("10\u00a0MM", False, "10 mm", id="capitals-and-a-space-that-does-not-break"),
        pytest.param("2.6 \N{GREEK CAPITAL LETTER OMEGA}", False, "2.6 ohm", id="ohm"),
        pytest.param("12 ounces", False, "12 oz", id="a-word"),
        pytest.param("12 wheels", False, "12 wheels", id="no-unit"),
        pytest.param("about 12 inches", False, "about 12 inches", id="no-number-in-front"),
        pytest.param("245,5 ± 0,3 mm", True, "245.5 ± 0.3 mm", id="decimal-commas"),
        pytest.param("0,125", True, "0.125", id="below-one-are-no-thousands"),
        pytest.param("1,234", True, "1,234", id="thousands"),
        pytest.param("1,234.5", True, "1,234.5", id="thousands-and-a-point"),
        pytest.param("1,2,3", True, "1,2,3", id="a-list"),
        pytest.param("245,5", False, "245,5", id="no-decimal-commas-here"),
    ],
)
def test_how_numbers_are_written(cell: str, commas: bool, expected: str) -> None:
    assert number_text(cell, commas) == expected


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
    return {value: {"name": value, "ask": f"Trim: is it {value}?"} for value in values}


@pytest.mark.parametrize(
    ("cells", "made", "facts"),
    [
        pytest.param(["red", "blue", "", "red"], states("red", "blue"), ["red", "blue", None, "red"], id="text"),
        pytest.param(["10", "2", "", "10"], states("2", "10"), ["10", "2", None, "10"], id="whole-numbers-in-their-order"),
        pytest.param(["4", "?", "few", "4"], states("4", "few"), ["4", None, "few", "4"], id="numbers-and-text"),
        pytest.param(["4", "?", "n/a", "4"], states("4"), ["4", None, None, "4"], id="numbers-and-nobody-knows"),
        pytest.param(
            ["Red", "red", " RED", "red", "dark  Blue", "Dark blue"],
            {"red": states("red")["red"], "dark-blue": {"name": "dark  Blue", "ask": "Trim: is it dark Blue?"}},
            ["red", "red", "red", "red", "dark-blue", "dark-blue"],
            id="letter-case-and-spaces-do-not-count",
        ),
        pytest.param(["0421", "0422", "0421"], states("0421", "0422"), ["0421", "0422", "0421"], id="zeros-in-front-are-text"),
        pytest.param(["yes", "No", "", "YES"], YES_NO, ["yes", "no", None, "yes"], id="yes-and-no"),
        pytest.param(["TRUE", "false", "true"], YES_NO, ["yes", "no", "yes"], id="true-and-false"),
        pytest.param(["0", "1", "1"], YES_NO, ["no", "yes", "yes"], id="zero-and-one"),
        pytest.param(["yes", "-", "yes"], YES_NO, ["yes", None, "yes"], id="yes-and-nobody-knows"),
        pytest.param(["yes", "", "yes"], YES_NO, ["yes", None, "yes"], id="yes-alone-still-has-its-no"),
        pytest.param(["1", "", "1"], states("1"), ["1", None, "1"], id="ones-alone-are-a-count"),
        pytest.param(
            ["none", "none", "missing"],
            {
                "none-value": {"name": "none", "ask": "Trim: is it none?"},
                "missing-value": {"name": "missing", "ask": "Trim: is it missing?"},
            },
            ["none-value", "none-value", "missing-value"],
            id="reserved-words",
        ),
        pytest.param(
            ["424 A", "424 A", "427 A"],
            {
                "424-a": {"name": "424 A", "ask": "Trim: is it 424 A?"},
                "427-a": {"name": "427 A", "ask": "Trim: is it 427 A?"},
            },
            ["424-a", "424-a", "427-a"],
            id="a-unit-and-its-letter-are-no-current",
        ),
        pytest.param(["dented", "", "", "worn"], states("dented", "worn"), ["dented", None, None, "worn"], id="few-remarks"),
        pytest.param(
            ["1e999999999", "1e999999999", "x"],
            states("1e999999999", "x"),
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
        pytest.param(["Missing", "B-4", "C-9"], id="a-word-with-a-meaning-of-its-own"),
    ],
)
def test_columns_that_are_read_and_typed(cells: list[str]) -> None:
    made: dict[str, Any] = {"name": "Trim", **COMMON, "ask": 'What does "Trim" say?', "marking": {}}
    assert column([cell.lower() if cell == "Missing" else cell for cell in cells]) == {
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
        ["21.5 +- 0.05 mm", "22 +- 0.05 mm", None, "20.25 +- 0.05 mm"],
        "+- 0.05 mm, estimated from the places written",
        id="estimated-from-the-place-most-keep-to",
    ),
    pytest.param(
        ["190.2", "290", "290"],
        "Length (mm)",
        {},
        ("Length", "mm", 180.0, 300.0),
        ["190.2 +- 0.5 mm", "290 +- 0.5 mm", "290 +- 0.5 mm"],
        "+- 0.5 mm, estimated from the places written",
        id="half-of-one-where-half-are-whole",
    ),
    pytest.param(
        ["190.2", "290.0", "290.0"],
        "Length (mm)",
        {},
        ("Length", "mm", 180.0, 300.0),
        ["190.2 +- 0.5 mm", "290.0 +- 0.5 mm", "290.0 +- 0.5 mm"],
        "+- 0.5 mm, estimated from the places written",
        id="wider-where-values-lie-far-apart",
    ),
    pytest.param(
        ["190.2", "290.0", "290.4"],
        "Length (mm)",
        {},
        ("Length", "mm", 180.0, 310.0),
        ["190.2 +- 0.05 mm", "290.0 +- 0.05 mm", "290.4 +- 0.05 mm"],
        "+- 0.05 mm, estimated from the places written",
        id="no-wider-where-two-lie-close",
    ),
    pytest.param(
        ["0.121", "0.125"],
        "Gap, mm",
        {},
        ("Gap", "mm", 0.0, 0.3),
        ["0.121 +- 0.05 mm", "0.125 +- 0.05 mm"],
        "+- 0.05 mm, estimated from the places written",
        id="no-length-is-surer-than-a-twentieth-of-a-millimeter",
    ),
    pytest.param(
        ['9 5/8"', "9-1/2”", "10 in.", "10½ inches"],
        "Length",
        {},
        ("Length", "in", 9.3, 10.7),
        ["9 5/8 +- 0.0625 in", "9 1/2 +- 0.0625 in", "10 +- 0.0625 in", "10 1/2 +- 0.0625 in"],
        "+- 0.0625 in, estimated from the places written",
        id="inches-keep-the-finest-fraction",
    ),
    pytest.param(
        ["245,5", "246,0", "?"],
        "Length (mm)",
        {},
        ("Length", "mm", 245.3, 246.2),
        ["245.5 +- 0.05 mm", "246.0 +- 0.05 mm", None],
        "+- 0.05 mm, estimated from the places written",
        id="decimal-commas-where-no-cell-has-a-point",
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
    ask = f"What is the {name.lower()}{f' in {unit}' if unit else ''}?".replace(" in in?", " in inches?")
    trait = {"name": name, **COMMON, "ask": ask, "measured": {"unit": unit, "least": least, "most": most}}
    assert column(cells, header, **wishes) == {slug(name): trait, "facts": facts, "tolerance": tolerance}


def test_values_in_unlike_units_are_text() -> None:
    made = column(["3 mm", "3 g", "3 mm"])
    assert list(made["trim"]["states"]) == ["3-mm", "3-g"]


# What the report tells ----------------------------------------------------------------------------------------------------


def test_decimal_commas_beside_a_point_only_where_no_comma_cuts_columns() -> None:
    cells = ["245,5", "246.5", "246.5"]
    assert list(column(cells)["trim"]["states"]) == ["245-5", "246-5"]
    made = column_of(Ids("column"), "Trim", cells, free_of_commas=True)
    assert made.facts == ["245.5 +- 0.05", "246.5 +- 0.05", "246.5 +- 0.05"]
    thousands = column_of(Ids("column"), "Trim", ["1,234", "2,345", "2,345"], free_of_commas=True)
    assert thousands.kind == "states"


@pytest.mark.parametrize(
    ("cells", "header", "odd"),
    [
        pytest.param(['9"', "", '10"', '10"', "11 in", "12 in - 12 1/4 in"], "Length", 5, id="a-range"),
        pytest.param(['9"', '10"', '10"', "about 11"], "Length", None, id="three-in-four-are-too-few"),
        pytest.param(["9", "about 10"], "Length", None, id="one-is-too-few"),
        pytest.param(["9 g", "9 mm", "9 mm", "10 mm", "11 mm"], "Length", 0, id="another-unit-than-most"),
        pytest.param(["9 g", "9 g", "10 g", "11 g", "8"], "Length (mm)", None, id="another-unit-than-the-header"),
        pytest.param(["1,234", "1235", "1236", "1237", "1238"], "Weight", 0, id="thousands"),
        pytest.param(["424 A", "425 A", "426 A", "427 A", "x"], "Unit", None, id="powered-units"),
        pytest.param(["9", "10", "11"], "Length", None, id="all-are-numbers"),
    ],
)
def test_the_cell_that_keeps_a_column_from_being_measured(cells: list[str], header: str, odd: int | None) -> None:
    assert column_of(Ids("column"), header, cells).odd == odd


@pytest.mark.parametrize(
    ("cells", "aside", "kind"),
    [
        pytest.param(["x" * 41, "y" * 41, "", ""], "remarks", "marking", id="long-texts"),
        pytest.param(["x" * 41, "x" * 41, "y" * 41], "remarks", "states", id="long-texts-that-repeat"),
        pytest.param(["x" * 41, "y" * 39], None, "marking", id="not-long-on-average"),
        pytest.param(["https://shop.example/1", "www.shop.example"], "links", "marking", id="links"),
        pytest.param(["2001-01-02", "2001-01-02 10:30:00", "1/2/2003"], "dates", "marking", id="days"),
        pytest.param(["Jan 5, 2001", "Jan 5, 2001", "5. March 2002"], "dates", "marking", id="days-with-their-month"),
        pytest.param(["Mar 1953", "Mar 1953", "1954"], None, "states", id="a-month-may-be-when-it-was-made"),
    ],
)
def test_columns_one_may_want_to_leave_out(cells: list[str], aside: str | None, kind: str) -> None:
    made = column_of(Ids("column"), "Trim", cells)
    assert (made.aside, made.kind) == (aside, kind)
