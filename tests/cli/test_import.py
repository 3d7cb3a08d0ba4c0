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
        "left_out": ["Price", "Remarks"],
        "inseparable": [["gray-tram", "gray-tram-2"]],
    }


@pytest.mark.parametrize(
    "change",
    [
        pytest.param({"traits": [{"id": "a", "name": "A", "kind": "states"}]}, id="states-without-states"),
        pytest.param({"traits": [{"id": "a", "name": "A", "kind": "marking", "states": ["b"]}]}, id="a-marking-with-states"),
        pytest.param({"inseparable": [["a"]]}, id="a-group-of-one"),
        pytest.param({"more": 1}, id="another-key"),
        pytest.param({"variants": 0}, id="no-variants"),
    ],
)
def test_the_schema_refuses_what_is_never_printed(change: dict[str, Any]) -> None:
    sound: dict[str, Any] = {"format": "tellmark/import/1", "into": "made", "family": "a", "variants": 1}
    sound |= {"traits": [{"id": "a", "name": "A", "kind": "measured"}], "left_out": [], "inseparable": []}
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
    assert json.loads(run("shelf.xlsx", *told, "c").stdout) == from_file | {"into": "c"}


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
