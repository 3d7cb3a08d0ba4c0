"""`tellmark import` as people and programs meet it."""

import json
import sys
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.import_table import bar
from tellmark.cli.main import main
from tellmark.kb import imported
from tellmark.kb.findings import Finding, Kind

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "import.json").read_text("utf-8"))

SHELF = """\
Name,Shell color,Axles,Length (mm),Has a horn,Cab number,Remarks,Price
Blue tram,dark blue,4,210.5,yes,0421,,12
Gray tram,gray,4,211,no,7-A,,15
Gray tram,gray,4,211,no,7-A,,9
Works car,,6,,,,,30
"""


def run(*arguments: str, typed: str | bytes | None = None) -> Result:
    return CliRunner().invoke(main, ["import", *arguments], input=typed, catch_exceptions=False)


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A table in a folder one is in."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "shelf.csv"
    path.write_text(SHELF, "utf-8")
    return path


def test_the_report_says_what_was_made_and_what_to_type_next(shelf: Path) -> None:
    result = run("shelf.csv", "--into", "my shelf", "--leave-out", "Price", "--tolerance", "Length (mm)=0.4")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines() == [
        'my shelf: 4 variants of shelf, named by the column "Name"',
        "states, 4 traits: shell-color, axles, has-a-horn, cab-number",
        "measured, 1 trait: length (+- 0.4 mm, as told)",
        "left out as told: Price",
        "left out because empty: Remarks",
        "cannot be told apart: gray-tram, gray-tram-2",
        "next: tellmark --entries 'my shelf' identify",
    ]
    assert sorted(path.name for path in shelf.parent.iterdir()) == ["my shelf", "shelf.csv"]


def test_the_next_command_works(shelf: Path) -> None:
    assert run(str(shelf), "--into", "made").exit_code == 0
    arguments = ["--entries", "made", "identify", "--answers", "-", "--json"]
    found = CliRunner().invoke(main, arguments, input="answers: {axles: '6'}", catch_exceptions=False)
    assert json.loads(found.stdout)["variants"][0]["id"] == "works-car"
    checked = CliRunner().invoke(main, ["--entries", "made", "check"], catch_exceptions=False)
    assert (checked.exit_code, checked.output) == (0, "")


def test_json_keeps_to_its_schema(shelf: Path) -> None:
    result = run(str(shelf), "--into", "made", "--family", "Streetcar", "--leave-out", "Price", "--json")
    found: dict[str, Any] = json.loads(result.stdout)
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(found, SCHEMA, cls=jsonschema.Draft202012Validator)
    assert found == {
        "format": "tellmark/import/1",
        "into": "made",
        "family": "streetcar",
        "variants": 4,
        "traits": [
            {"id": "shell-color", "name": "Shell color", "kind": "states", "states": ["dark-blue", "gray"]},
            {"id": "axles", "name": "Axles", "kind": "states", "states": ["4", "6"]},
            {"id": "length", "name": "Length", "kind": "measured"},
            {"id": "has-a-horn", "name": "Has a horn", "kind": "states", "states": ["yes", "no"]},
            {"id": "cab-number", "name": "Cab number", "kind": "states", "states": ["0421", "7-a"]},
        ],
        "sheet": None,
        "other_sheets": [],
        "left_out": ["Price", "Remarks"],
        "unknown": [],
        "not_measured": [],
        "suggested": [],
        "inseparable": [["gray-tram", "gray-tram-2"]],
    }


MESSY = """\
Name;Shell color;Body length;Wheels;Remarks;Shop
Yard engine;Red;9 5/8";?;bought at the fair in the old hall, with a cracked pilot;www.shop.example/1
Express;red;11 in.;4;runs, but the seller of it said that the coil gets warm;www.shop.example/2
Mixed;red;9-7/8";4;-;www.shop.example/3
Work car;unk.;12 in - 12 1/4 in;6;-;www.shop.example/4
Tram;Dark blue;10½";tbd;-;www.shop.example/5
"""


@pytest.fixture
def messy(shelf: Path) -> Path:
    """A workbook of two sheets, the second one messy."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "Prices"
    sheet = book.create_sheet("Shelf 3")
    for line in MESSY.splitlines():
        sheet.append(line.split(";"))
    book.save(shelf.with_name("messy.xlsx"))
    return shelf.with_name("messy.xlsx")


def test_the_report_says_what_was_made_of_messy_cells(messy: Path) -> None:
    result = run(messy.name, "--sheet", "Shelf 3", "--into", "made")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines() == [
        'made: 5 variants of messy, named by the column "Name"',
        "sheet: Shelf 3; not read: Prices (choose with --sheet)",
        "states, 2 traits: shell-color, wheels",
        "marking, 3 traits: body-length, remarks, shop",
        "taken as unknown, 6 cells: Shell color (1), Wheels (2), Remarks (3)",
        'Body length: not measured, because of row 5, "12 in - 12 1/4 in"',
        "Remarks: looks like remarks; to make no trait of it, add --leave-out Remarks",
        "Shop: looks like links; to make no trait of it, add --leave-out Shop",
        "next: tellmark --entries made identify",
    ]
    found = json.loads(run(str(messy), "--sheet", "Shelf 3", "--into", "again", "--json").stdout)
    jsonschema.validate(found, SCHEMA, cls=jsonschema.Draft202012Validator)
    told = ("sheet", "other_sheets", "unknown", "not_measured", "suggested")
    assert {key: found[key] for key in told} == {
        "sheet": "Shelf 3",
        "other_sheets": ["Prices"],
        "unknown": [
            {"column": "Shell color", "cells": 1},
            {"column": "Wheels", "cells": 2},
            {"column": "Remarks", "cells": 3},
        ],
        "not_measured": [{"column": "Body length", "row": 5, "cell": "12 in - 12 1/4 in"}],
        "suggested": [{"column": "Remarks", "looks_like": "remarks"}, {"column": "Shop", "looks_like": "links"}],
    }


@pytest.mark.parametrize(
    "lengths",
    [
        pytest.param(["190.2", "290", "290", "291"], id="others-to-a-whole-millimeter"),
        pytest.param(["190.2", "290.0", "290.0", "290.0"], id="others-to-a-tenth"),
    ],
)
def test_an_estimated_tolerance_forgives_another_hand(lengths: list[str], shelf: Path) -> None:
    table = "name,Length (mm)\n" + "".join(f"unit {number},{length}\n" for number, length in enumerate(lengths))
    assert run("-", "--into", "made", typed=table).exit_code == 0
    arguments = ["--entries", "made", "identify", "--answers", "-", "--json"]
    found = CliRunner().invoke(main, arguments, input="answers: {length: 190.6 mm}", catch_exceptions=False)
    first = json.loads(found.stdout)["variants"][0]
    assert first["id"] == "unit-0"
    assert first["probability"] > 0.95
    assert shelf.is_file()


@pytest.mark.parametrize(
    "change",
    [
        pytest.param({"traits": [{"id": "a", "name": "A", "kind": "states"}]}, id="states-without-states"),
        pytest.param({"traits": [{"id": "a", "name": "A", "kind": "marking", "states": ["b"]}]}, id="a-marking-with-states"),
        pytest.param({"inseparable": [["a"]]}, id="a-group-of-one"),
        pytest.param({"not_measured": [{"column": "a", "row": 0, "cell": "b"}]}, id="a-row-before-the-first"),
        pytest.param({"suggested": [{"column": "a", "looks_like": "b"}]}, id="a-look-nobody-knows"),
        pytest.param({"more": 1}, id="another-key"),
        pytest.param({"variants": 0}, id="no-variants"),
    ],
)
def test_the_schema_refuses_what_is_never_printed(change: dict[str, Any]) -> None:
    sound: dict[str, Any] = {"format": "tellmark/import/1", "into": "made", "family": "a", "variants": 1}
    sound |= {"traits": [{"id": "a", "name": "A", "kind": "measured"}], "left_out": [], "inseparable": []}
    sound |= {"sheet": None, "other_sheets": [], "unknown": [], "not_measured": [], "suggested": []}
    validator = jsonschema.Draft202012Validator(SCHEMA)
    assert validator.is_valid(sound)  # pyright: ignore[reportUnknownMemberType]
    assert not validator.is_valid(sound | change)  # pyright: ignore[reportUnknownMemberType]


def test_standard_input_and_a_workbook_say_the_same_as_the_file(shelf: Path) -> None:
    book = openpyxl.Workbook()
    for line in SHELF.splitlines():
        cells = line.split(",")
        book.worksheets[0].append([float(cell) if cell.replace(".", "").isdigit() and cell[0] != "0" else cell for cell in cells])
    book.save("shelf.xlsx")
    told = ["--family", "Streetcar", "--json", "--into"]
    from_file = json.loads(run(str(shelf), *told, "a").stdout)
    assert json.loads(run("-", *told, "b", typed=b"\xef\xbb\xbf" + SHELF.encode()).stdout) == from_file | {"into": "b"}
    assert json.loads(run("shelf.xlsx", *told, "c").stdout) == from_file | {"into": "c", "sheet": "Sheet"}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(
            ["shelf.csv", "--into", "made", "--leave-out", "Prise"],
            '--leave-out: found the column "Prise", expected a column of the table: Axles, Cab number, Has a horn, Length (mm), '
            'Name, Price, Remarks or Shell color; did you mean "Price"?',
            id="a-misspelled-column",
        ),
        pytest.param(
            ["shelf.csv", "--into", "made", "--sheet", "Shelf 3"],
            '--sheet: found "Shelf 3", expected no such option: only a workbook has sheets',
            id="a-sheet-of-a-text",
        ),
        pytest.param(
            ["shelf.csv", "--into", "."],
            ".: found a folder with files in it, expected a new or an empty folder",
            id="a-folder-in-use",
        ),
        pytest.param(
            ["none.csv", "--into", "made"],
            "none.csv: found no such file or directory, expected a file that can be read",
            id="no-such-table",
        ),
    ],
)
def test_bad_input_ends_with_status_2_and_leaves_nothing(arguments: list[str], message: str, shelf: Path) -> None:
    result = run(*arguments)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message + "\n")
    assert [path.name for path in shelf.parent.iterdir()] == ["shelf.csv"]


def test_entries_that_fail_their_own_check_are_not_kept(shelf: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    finding = Finding("families/shelf/family.yaml", 3, 1, Kind.WRONG_VALUE, '"a"', '"b"')

    def check(root: Path, progress: object) -> tuple[None, list[Finding]]:
        assert callable(progress)
        assert (root / "knowledge-base.yaml").is_file()
        return None, [finding]

    monkeypatch.setattr(imported, "check", check)
    result = run("shelf.csv", "--into", "made")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        "Nothing was written: the entries made of this table do not pass their own check. This is a fault of tellmark:",
        'families/shelf/family.yaml:3:1: found "a", expected "b"',
    ]
    assert [path.name for path in shelf.parent.iterdir()] == ["shelf.csv"]


def test_the_bar_is_silent_off_a_terminal_and_hands_everything_through(capsys: pytest.CaptureFixture[str]) -> None:
    assert not sys.stderr.isatty()
    assert list(bar(range(5), "reading rows")) == [0, 1, 2, 3, 4]
    assert capsys.readouterr() == ("", "")
