"""A whole table as a knowledge base: names, wishes, the folder that is written, and that every cell reads back."""

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tellmark.kb.check import check
from tellmark.kb.columns import number_text
from tellmark.kb.findings import BadInput
from tellmark.kb.imported import Imported, OddCell, Wishes, import_table, imported_from
from tellmark.kb.load import Entries
from tellmark.kb.table import UNKNOWN_WORDS, Table, read_table
from tellmark.kb.values import RESERVED, Fact

Rows = list[list[Any]]


def as_csv(rows: Rows, delimiter: str = ",") -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode()


def read_rows(rows: Rows) -> Table:
    return read_table("-", as_csv(rows))


def imported_rows(rows: Rows, **wishes: Any) -> Imported:
    return imported_from(read_rows(rows), Wishes(**wishes))


def problems(attempt: Callable[[], object]) -> list[str]:
    with pytest.raises(BadInput) as caught:
        attempt()
    return [str(finding) for finding in caught.value.findings]


def written(tmp_path: Path, rows: Rows, **wishes: Any) -> tuple[Imported, Entries]:
    made = import_table("-", tmp_path / "made", Wishes(**wishes), as_csv(rows))
    entries, findings = check(tmp_path / "made")
    assert findings == []
    return made, entries


# The whole table -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "wishes", "variants", "traits"),
    [
        pytest.param([["Color", "NAME"], ["red", "x"], ["red", "x"]], {}, ["x", "x-2"], ["color"], id="a-column-called-name"),
        pytest.param([["color", "No"], ["red", "7"], ["red", "8"]], {}, ["7", "8"], ["color"], id="the-first-that-can"),
        pytest.param(
            [["length", "no"], ["1.5", "7"], ["2.5", "8"]], {}, ["7", "8"], ["length"], id="measured-values-are-no-names"
        ),
        pytest.param([["horn", "no"], ["yes", "7"], ["no", "8"]], {}, ["7", "8"], ["horn"], id="yes-and-no-are-no-names"),
        pytest.param([["color"], ["red"], ["red"]], {"family": "Cab 420"}, ["cab-420-1", "cab-420-2"], ["color"], id="counted"),
        pytest.param([["name", "b"], ["", "x"], ["q", "x"]], {}, ["table-1", "q"], ["b"], id="one-without-a-name"),
        pytest.param([["name", "b"], ["?", "x"], ["q", "x"]], {}, ["table-1", "q"], ["b"], id="one-whose-name-nobody-knows"),
        pytest.param(
            [["no", "b"], ["-", "7"], ["x", "8"]],
            {},
            ["7", "8"],
            ["no"],
            id="a-column-with-a-sign-for-nobody-knows-names-nothing",
        ),
        pytest.param(
            [["length", "no"], ["1,5", "x"], ["2,5", "y"]], {}, ["x", "y"], ["length"], id="measured-with-a-decimal-comma"
        ),
        pytest.param([["name", "b"], ["p", "x"], ["q", "x"]], {"name_column": "b"}, ["x", "x-2"], ["name"], id="as-told"),
        pytest.param([["name", "b", "c"], ["p", "x", "y"]], {"leave_out": ["b"]}, ["p"], ["c"], id="left-out"),
        pytest.param(
            [["name", "is", "b b", "B-b"], ["p", "x", "y", "z"]], {}, ["p"], ["is-column", "b-b", "b-b-2"], id="trait-ids"
        ),
    ],
)
def test_names_and_traits(rows: Rows, wishes: dict[str, Any], variants: list[str], traits: list[str]) -> None:
    made = imported_rows(rows, **wishes)
    assert [ident for ident, _ in made.variants] == variants
    assert [one.id for one in made.columns] == traits


def test_what_is_told_of_the_cells() -> None:
    rows = [
        ["name", "color", "length", "empty"],
        ["?", "red", "9 in", ""],
        ["b", "-", '10 1/2"', "tbd"],
        ["c", "n/a", "11 in", ""],
        [],
        ["d", "blue", "12 in - 12 1/4 in", ""],
        ["e", "blue", "11 in", ""],
        ["f", "blue", "about 9", ""],
        *[["g", "blue", "9 in", ""]] * 4,
    ]
    made = imported_rows(rows)
    assert made.unknown == {"name": 1, "color": 2, "empty": 1}
    assert made.not_measured == [OddCell("length", 6, "12 in - 12 1/4 in")]
    assert made.empty == ["empty"]
    assert imported_rows(rows, leave_out=["color", "length"], name_column="empty").unknown == {"name": 1, "empty": 1}


def test_rows_that_are_the_same_in_all_traits_are_listed() -> None:
    rows = [
        ["name", "color", "length_mm", "mark"],
        ["a", "red", "1.50", "Cab 7"],
        ["b", "red", "1.5", "CAB  7"],
        ["c", "", "1.5", "Cab 7"],
        ["d", "red", "1.6", "Cab 7"],
        ["e", "", "1.5", "cab 7"],
        *([f"row {number}", "red", "1.5", f"cab number {number}"] for number in range(41)),
    ]
    made = imported_rows(rows)
    assert [one.kind for one in made.columns] == ["states", "measured", "marking"]
    assert made.inseparable() == [["a", "b"], ["c", "e"]]


def test_everything_wrong_with_the_wishes_is_said_at_once(tmp_path: Path) -> None:
    (tmp_path / "made").mkdir()
    (tmp_path / "made" / "mine.txt").write_text("mine")
    wishes = Wishes(
        title=" ",
        family="a\nb",
        name_column="Nmae",
        leave_out=["Colr"],
        tolerances=["Length", "Length=0", "Length=0.2", "Length=0.3", "Lenght=1"],
    )
    data = as_csv([["Name", "Color", "Length"], ["a", "red"]])
    expects = "expected a column of the table: Color, Length or Name"
    assert problems(lambda: import_table("-", tmp_path / "made", wishes, data)) == [
        '--family: found "a\\nb", expected a name of printable characters, at most 200',
        f'--leave-out: found the column "Colr", {expects}; did you mean "Color"?',
        f'--name-column: found the column "Nmae", {expects}; did you mean "Name"?',
        '--title: found " ", expected a name of printable characters, at most 200',
        '--tolerance: found the column "Length" again, expected one tolerance a column',
        f'--tolerance: found the column "Lenght", {expects}; did you mean "Length"?',
        '--tolerance: found "Length", expected COLUMN=VALUE with a value above 0, such as Length=0.3',
        '--tolerance: found "Length=0", expected COLUMN=VALUE with a value above 0, such as Length=0.3',
        f"{tmp_path / 'made'}: found a folder with files in it, expected a new or an empty folder",
        "standard input:2:2: found 2 cells, expected 3, one for each column",
    ]
    assert (tmp_path / "made" / "mine.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("rows", "wishes", "expected"),
    [
        pytest.param(
            [["name", "color"], ["a", "red"]],
            {"tolerances": ["color=1"]},
            ['--tolerance: found a column that is not measured ("color"), expected a column of numbers'],
            id="a-tolerance-for-text",
        ),
        pytest.param(
            [["name", "Length (mm)"], ["a", "1.5"]],
            {"tolerances": ["Length (mm)=1 g"]},
            ['--tolerance: found a tolerance in g ("Length (mm)"), expected one in mm'],
            id="a-tolerance-in-another-dimension",
        ),
        pytest.param(
            [["name", "length"], ["a", "1.5"]],
            {"tolerances": ["name=1"]},
            ['--tolerance: found a column that makes no trait ("name"), expected a column of numbers'],
            id="a-tolerance-for-the-names",
        ),
        pytest.param(
            [["name", "a", "b"], ["x", "", "1"]],
            {"leave_out": ["b"]},
            [
                "standard input: found no column to make a trait of, "
                "expected a column besides the names, those left out and empty ones"
            ],
            id="no-trait-left",
        ),
    ],
)
def test_wishes_that_do_not_fit_the_columns(rows: Rows, wishes: dict[str, Any], expected: list[str]) -> None:
    assert problems(lambda: imported_rows(rows, **wishes)) == expected


# Writing -------------------------------------------------------------------------------------------------------------


def test_the_folder_that_is_written(tmp_path: Path) -> None:
    rows = [["name", "color"], *([f"unit {number}", "red" if number % 2 else "blue"] for number in range(1, 202))]
    made, entries = written(tmp_path, rows, family="Cab: diesel", title="My #1 shelf")
    root = tmp_path / "made"
    assert sorted(path.relative_to(root).as_posix() for path in root.rglob("*.yaml")) == [
        "families/cab-diesel/family.yaml",
        "families/cab-diesel/variants/rows-0001.yaml",
        "families/cab-diesel/variants/rows-0002.yaml",
        "knowledge-base.yaml",
    ]
    assert [path.name for path in tmp_path.iterdir()] == ["made"]
    assert (entries.about.title, entries.about.license, entries.about.not_in_the_record) == ("My #1 shelf", "unstated", 0.002)
    assert entries.about.mistakes == {"plain": 0.01, "fair": 0.03, "tricky": 0.08, "imported": 0.002}
    assert {name: view.effort for name, view in entries.about.views.items()} == {"side": 1}
    assert entries.families["cab-diesel"].name == "Cab: diesel"
    assert (root / "families/cab-diesel/variants/rows-0002.yaml").read_text() == (
        "- id: unit-201\n  name: unit 201\n  shows:\n    color: red\n"
    )
    assert list(entries.variants) == [ident for ident, _ in made.variants]


def test_an_empty_folder_is_filled_and_stays_the_same_folder(tmp_path: Path) -> None:
    (tmp_path / "made").mkdir(mode=0o750)
    before = (tmp_path / "made").stat().st_ino
    written(tmp_path, [["name", "color"], ["a", "red"]])
    assert (tmp_path / "made").stat().st_ino == before
    assert [path.name for path in tmp_path.iterdir()] == ["made"]


@pytest.mark.parametrize(
    ("into", "message"),
    [
        pytest.param("file", "found something that is no folder, expected the name of a new folder", id="a-file"),
        pytest.param("file/made", 'found no folder "{into.parent}", expected a folder to make the new one in', id="below-a-file"),
        pytest.param(
            "none/made", 'found no folder "{into.parent}", expected a folder to make the new one in', id="below-nothing"
        ),
        pytest.param("x" * 300, "found file name too long, expected a folder that can be written", id="an-impossible-name"),
    ],
)
def test_a_place_one_cannot_write_to(into: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    target = tmp_path / into
    attempt = lambda: import_table("-", target, Wishes(), as_csv([["name", "color"], ["a", "red"]]))  # noqa: E731
    shown = str(target.parent)
    expected = message.replace("{into.parent}", shown if len(shown) <= 60 else shown[:57] + "...")
    assert problems(attempt) == [f"{target}: {expected}"]
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_states_that_do_not_fit_into_one_file(tmp_path: Path) -> None:
    long = "y" * 10_000
    rows = [["name", *(f"c{number}" for number in range(60))]]
    rows += [[f"unit {row}", *(f"{long}{row % 2}" for _ in range(60))] for row in range(4)]
    assert problems(lambda: import_table("-", tmp_path / "made", Wishes(), as_csv(rows))) == [
        "standard input: found columns whose states take 1,202 KiB, "
        'expected at most 1,024 KiB; leave some out, such as "c0", "c1", "c2"'
    ]
    assert list(tmp_path.iterdir()) == []


def test_rows_are_spread_over_as_many_files_as_their_size_needs(tmp_path: Path) -> None:
    rows = [["name", *(f"c{number}" for number in range(50))]]
    rows += [[f"unit {row}", *(f"{row} {number} {'y' * 4_000}" for number in range(50))] for row in range(12)]
    _, entries = written(tmp_path, rows)
    assert len(entries.variants) == 12
    assert len(list((tmp_path / "made").rglob("rows-*.yaml"))) == 3


def test_one_row_that_does_not_fit_into_a_file(tmp_path: Path) -> None:
    rows = [["name", *(f"c{number}" for number in range(70))]]
    rows += [[f"unit {row}", *(f"{row} {number} {'y' * 18_000}" for number in range(70))] for row in range(2)]
    assert problems(lambda: import_table("-", tmp_path / "made", Wishes(), as_csv(rows))) == [
        'standard input: found a row of 1,231 KiB ("unit 0"), expected at most 1,024 KiB a row'
    ]
    assert list(tmp_path.iterdir()) == []


def test_estimated_tolerances_are_owned_to_in_the_family(tmp_path: Path) -> None:
    rows = [["name", "Length (mm)", "Weight (g)", "Height (mm)"], ["a", "1.5", "2", "3 +- 1"], ["b", "1.6", "3", "4 +- 1"]]
    written(tmp_path, rows, tolerances=["Weight (g)=1"])
    text = (tmp_path / "made/families/table/family.yaml").read_text()
    assert text.partition("name: ")[0].splitlines() == [
        "# Nobody stated how sure these values are; one standard deviation is estimated from the places written:",
        "#   length: +- 0.05 mm",
        "# If they are better or worse than that, import the table again with your own figure, such as",
        "#   --tolerance 'Length (mm)=0.3'",
        "# or change the number after +- where a variant in the folder variants shows the trait.",
        "",
    ]


def test_no_comment_where_nothing_is_estimated(tmp_path: Path) -> None:
    written(tmp_path, [["name", "Height (mm)", "color"], ["a", "3 +- 1", "red"]])
    assert (tmp_path / "made/families/table/family.yaml").read_text().startswith("name: table\n")


# Whatever is in the cells, it reads back -------------------------------------------------------------------------------

ODD = [
    *(
        *RESERVED,
        "null",
        "null ",
        "~",
        "",
        " x ",
        "a: b",
        "- a",
        "#1",
        "'",
        '"',
        "[",
        "{a}",
        "*a",
        "&a",
        "!tag",
        "%",
        "@",
        "|",
        ">",
    ),
    *(
        "?",
        ":",
        "\\n",
        "yes",
        "0421",
        "1e5",
        "4",
        "4.0",
        "1_000",
        "0x10",
        "2001-01-01",
        "true",
        "---",
        "...",
        "a\nb",
        "\ta",
        "a #b",
    ),
    *("é\u2028b", "\ufeffa", "3 mm", "1/2", "1/0", "٣", "+", "-", "=", "<<", "\U0001f682", "\u00ad", "\u0085", "a\u00a0b"),
]
CELL = st.one_of(
    st.sampled_from(ODD),
    st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff"), max_size=12),
    st.decimals(-1000, 1000, places=2).map(str),
)


@st.composite
def tables(draw: st.DrawFn) -> Rows:
    columns = draw(st.lists(CELL.map(lambda cell: "c " + " ".join(cell.split())), min_size=1, max_size=4, unique_by=str.strip))
    pools = [draw(st.lists(CELL, min_size=1, max_size=6)) for _ in columns]
    row = st.tuples(CELL, *(st.sampled_from(pool) for pool in pools)).map(list)
    cells = (pool[0].strip() for pool in pools)
    first = ["first", *("x" if cell.casefold() in {"", *UNKNOWN_WORDS} else cell for cell in cells)]
    return [["name", *columns], first, *draw(st.lists(row, max_size=6))]


def stated_cell(made: Imported, index: int, fact: Fact) -> str:
    """The cell that a fact of a variant was written for, as far as an entry keeps it."""
    trait = made.columns[index].trait
    (said,) = fact.is_
    if trait.states:
        return trait.states[said].name
    return said.split(" +- ")[0] if trait.measured else said


def same_cell(kind: str, cell: str, said: str) -> bool:
    """Whether a fact says what the cell does; spellings of one state and of one number may differ."""
    if said in ("yes", "no"):
        return cell.lower() in ({"yes", "true", "1"} if said == "yes" else {"no", "false", "0"})
    if kind == "states" and cell.lstrip("+-").isdigit() and cell.isascii():
        return said in (cell, str(int(cell)))
    if kind == "measured":
        return number_text(cell, commas=False).startswith(said)
    if kind == "states":
        return " ".join(said.lower().split()) == " ".join(cell.lower().split())
    return said == (cell.capitalize() if cell in RESERVED else cell)


@settings(max_examples=150, deadline=None)
@given(rows=tables())
def test_any_table_reads_back_as_it_was_written(rows: Rows, tmp_path_factory: pytest.TempPathFactory) -> None:
    made, entries = written(tmp_path_factory.mktemp("any"), rows)
    assert len(entries.variants) == len(made.variants)
    table = read_rows(rows)
    for row, (ident, name) in zip(table.rows, made.variants, strict=True):
        variant = entries.variants[ident]
        cells = {
            header: "" if cell.casefold() in UNKNOWN_WORDS else cell for header, cell in zip(table.columns, row, strict=True)
        }
        assert variant.name == name == (cells["name"] or name)
        filled = [name for name in table.columns[1:] if name not in made.empty]
        for index, (header, one) in enumerate(zip(filled, made.columns, strict=True)):
            if cells[header]:
                said = stated_cell(made, index, variant.shows[one.id])
                assert same_cell(one.kind, cells[header], said), (header, cells[header], said)
            else:
                assert one.id not in variant.shows
        assert set(variant.shows) <= {one.id for one in made.columns}
    assert {one.id: one.trait for one in made.columns} == entries.families["table"].traits
