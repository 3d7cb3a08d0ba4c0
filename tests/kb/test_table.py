"""Tables are read whatever wrote them, and everything wrong with one is said at once."""

import csv
import io
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from tellmark.kb import table as table_module
from tellmark.kb.findings import BadInput
from tellmark.kb.imported import import_table
from tellmark.kb.table import Table, delimiter_of, read_table

Rows = list[list[Any]]


def as_csv(rows: Rows, delimiter: str = ",") -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode()


def read_rows(rows: Rows) -> Table:
    return read_table("-", as_csv(rows))


def problems(attempt: Callable[[], object]) -> list[str]:
    with pytest.raises(BadInput) as caught:
        attempt()
    return [str(finding) for finding in caught.value.findings]


# Reading -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "suffix", "delimiter"),
    [
        pytest.param("a,b\n1,2\n", ".csv", ",", id="commas"),
        pytest.param("a;b\n1,5;2\n2,5;3\n", ".csv", ";", id="semicolons-with-commas-in-cells"),
        pytest.param("a\tb\n1\t2\n", ".txt", "\t", id="tabs"),
        pytest.param("a|b\n1|2\n", ".csv", "|", id="bars"),
        pytest.param("name,notes\nx,a;b\ny,c;d\n", ".csv", ",", id="the-header-decides"),
        pytest.param("a,b c;d\n1,2\n", ".csv", ",", id="rows-that-agree-win"),
        pytest.param("a,b,c\td\n", ".tsv", "\t", id="a-name-that-says-tabs"),
        pytest.param("name\nx\n", ".csv", ",", id="one-column"),
        pytest.param('"a;b",c\n1,2\n', ".csv", ",", id="quoted-cells-are-whole"),
        pytest.param("My shelf\n\na;b\n1;2\n", ".csv", ";", id="below-a-title"),
        pytest.param("My shelf, 1954\na;b\n1;2\n3;4\n", ".csv", ";", id="below-a-title-with-a-comma"),
        pytest.param("name\nx;y\nz\nw\n", ".csv", ",", id="one-column-with-a-semicolon"),
    ],
)
def test_delimiter(text: str, suffix: str, delimiter: str) -> None:
    assert delimiter_of(text, suffix) == delimiter


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["bare", "byte-order-mark"])
@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r"], ids=["unix", "windows", "old-mac"])
def test_text_is_read_whatever_wrote_it(mark: bytes, ending: bytes, tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_bytes(mark + ending.join([b" name ,Shell  color", b'"a, b", red ', b"", b",", b"c,", b""]))
    table = read_table(str(path))
    assert (table.columns, table.rows, table.lines) == (["name", "Shell color"], [["a, b", "red"], ["c", ""]], [2, 5])
    assert table.problems == []


def test_columns_without_name_and_cells_at_the_end_are_dropped() -> None:
    table = read_rows([["name", "color", "", ""], ["a", "red", "", ""]])
    assert (table.columns, table.rows, table.problems) == (["name", "color"], [["a", "red"]], [])


def test_a_workbook_is_read_from_its_first_sheet(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Shelf 3"
    rows: Rows = [
        ["Name", "Axles", "Length (mm)", "Horn", "Bought", "Note"],
        ["A", 4, 210.5, True, datetime(1954, 11, 30), None],
        [],
        ["B", 6.0, 0.1 + 0.2, False, datetime(1955, 1, 2, 3, 4), "  dented "],
    ]
    for row in rows:
        sheet.append(row)
    book.create_sheet("Other").append(["not", "read"])
    book.save(tmp_path / "units.xlsx")
    table = read_table(str(tmp_path / "units.xlsx"))
    assert table.columns == ["Name", "Axles", "Length (mm)", "Horn", "Bought", "Note"]
    assert table.rows == [
        ["A", "4", "210.5", "true", "1954-11-30", ""],
        ["B", "6", "0.3", "false", "1955-01-02 03:04:00", "dented"],
    ]
    assert table.lines == [2, 4]
    assert (table.sheet, table.other_sheets) == ("Shelf 3", ["Other"])
    other = read_table(str(tmp_path / "units.xlsx"), sheet="Other")
    assert (other.columns, other.rows, other.sheet, other.other_sheets) == (["not", "read"], [], "Other", ["Shelf 3"])
    assert problems(lambda: read_table(str(tmp_path / "units.xlsx"), sheet="Shelf3")) == [
        '--sheet: found the sheet "Shelf3", expected a sheet of the workbook: Other or Shelf 3; did you mean "Shelf 3"?'
    ]


def test_a_title_in_a_workbook(tmp_path: Path) -> None:
    (tmp_path / "units.xlsx").write_bytes(workbook_bytes([["My shelf"], [], ["Name", "Color"], ["a", "red"], ["b", None]]))
    assert problems(lambda: read_table(str(tmp_path / "units.xlsx"))) == [
        f'{tmp_path / "units.xlsx"}:1:1: found a title in place of column names ("My shelf"), '
        "expected the column names first; row 3 looks like them, so delete what stands above it"
    ]


def test_a_text_has_no_sheets() -> None:
    assert [str(finding) for finding in read_table("-", b"name,color\na,red\n", sheet="Shelf 3").problems] == [
        '--sheet: found "Shelf 3", expected no such option: only a workbook has sheets'
    ]


@pytest.mark.parametrize(
    ("delimiter", "free"),
    [
        pytest.param(",", False, id="a-comma-cuts"),
        pytest.param(";", True, id="semicolons"),
        pytest.param("\t", True, id="tabs"),
        pytest.param("|", False, id="bars-say-nothing-of-commas"),
    ],
)
def test_tables_whose_commas_can_be_decimal(delimiter: str, free: bool) -> None:
    assert read_table("-", as_csv([["name", "color"], ["a", "red"]], delimiter)).free_of_commas == free


def test_cells_that_say_nobody_knows_are_empty() -> None:
    words = ["?", "-", "–", "—", "n/a", "N/A", "Unknown", "unk.", "TBD"]
    kept = ["??", "none", "unknown maker", "0"]
    table = read_rows([["name", "color"], *([str(row), word] for row, word in enumerate([*words, *kept, ""]))])
    assert table.column("color") == [*[""] * len(words), *kept, ""]
    assert (table.said_unknown("color"), table.said_unknown("name")) == (len(words), 0)


REFUSED = [
    pytest.param("units.pdf", b"", ['found a file that ends in ".pdf", expected a table: {endings}'], id="another-kind-of-file"),
    pytest.param("units", b"", ["found a file name without an ending, expected a table: {endings}"], id="no-ending"),
    pytest.param("units.csv", b"", ["found an empty table, expected a row of column names, then one row a variant"], id="empty"),
    pytest.param(
        "units.csv", b"\n,\n \n", ["found an empty table, expected a row of column names, then one row a variant"], id="blank"
    ),
    pytest.param(
        "units.csv", b"name,color\n", ["found no rows below the column names, expected one row for each variant"], id="no-rows"
    ),
    pytest.param(
        "units.csv", b"1,2.5\n3,4\n", ["1:1: found numbers only, expected a header: a row of column names"], id="no-header"
    ),
    pytest.param(
        "units.csv", b"name,,c\na,1,2\n", ["1:2: found an empty column name, expected a name for each column"], id="unnamed"
    ),
    pytest.param(
        "units.csv",
        b"a,b,a\n1,2,3\n",
        ['1:3: found the column "a" again, expected each name once; it is column 1 already'],
        id="repeated-column",
    ),
    pytest.param(
        "units.csv",
        b'name,color\na\nb,"red\nish",\n,,,\nc,x,y,z\nd,blue\n',
        [
            "2:1: found 1 cell, expected 2, one for each column",
            "3:3: found 3 cells, expected 2, one for each column",
            "6:3: found 4 cells, expected 2, one for each column",
        ],
        id="rows-of-another-width",
    ),
    pytest.param(
        "units.csv",
        b"My shelf\n\nname,color\na,red\nb,blue\nc\n",
        [
            '1:1: found a title in place of column names ("My shelf"), '
            "expected the column names first; row 3 looks like them, so delete what stands above it"
        ],
        id="a-title-alone-in-its-row",
    ),
    pytest.param(
        "units.csv",
        b"My shelf;;\nas of May;;\nname;color;color\na;red\n",
        [
            '1:1: found a title in place of column names ("My shelf"), '
            "expected the column names first; row 3 looks like them, so delete what stands above it"
        ],
        id="a-title-in-a-row-as-wide-as-the-others",
    ),
    pytest.param("units.csv", b"name,color\na,caf\xe9\n", ["2:6: found the byte 0xe9, expected UTF-8 text"], id="latin-1"),
    pytest.param("units.csv", b"\xff\xfen\0a\0", ["1:1: found the byte 0xff, expected UTF-8 text"], id="utf-16"),
    pytest.param(
        "units.csv", b"name,color\na,x\x1b[2J\n", ["2:2: found the character U+001B, expected printable text"], id="control"
    ),
    pytest.param(
        "units.csv",
        b'name,color\na,b\nc,"d\n',
        ["3:1: found a quote that is never closed, expected a CSV table"],
        id="open-quote",
    ),
    pytest.param(
        "units.csv",
        b'name,color\na,"b"c\n',
        ["2:1: found ',' expected after '\"', expected a CSV table"],
        id="quote-within-a-cell",
    ),
    pytest.param(
        "units.csv",
        b"name,x\na," + b"y" * 20_001,
        ["2:2: found a cell of 20,001 characters, expected at most 20,000"],
        id="long-cell",
    ),
    pytest.param(
        "units.csv",
        b"name," + b"y" * 201 + b"\na,b",
        ["1:2: found a column name of 201 characters, expected at most 200"],
        id="long-name",
    ),
    pytest.param("units.csv", b"a," * 2_001 + b"\n", ["1:1: found 2,002 columns, expected at most 2,000"], id="too-many-columns"),
    pytest.param(
        "units.csv",
        b"PK\x03\x04more",
        ["found a zip archive, expected a CSV table; the name of an Excel workbook ends in .xlsx"],
        id="a-workbook-called-csv",
    ),
    pytest.param(
        "units.xlsx",
        b"name,color\n",
        ["found a damaged workbook, or none, expected an Excel workbook (.xlsx) without a password"],
        id="a-text-called-xlsx",
    ),
]


@pytest.mark.parametrize(("name", "data", "messages"), REFUSED)
def test_a_table_that_cannot_be_used(name: str, data: bytes, messages: list[str], tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    endings = ".csv, .tab, .tsv, .txt, .xlsm or .xlsx"
    expected = [f"{path}:{' ' if not message[0].isdigit() else ''}{message.format(endings=endings)}" for message in messages]
    assert problems(lambda: import_table(str(path), tmp_path / "made")) == expected
    assert [inside.name for inside in tmp_path.iterdir()] == [name]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    missing = tmp_path / "none.csv"
    expected = f"{missing}: found no such file or directory, expected a file that can be read"
    assert problems(lambda: read_table(str(missing))) == [expected]
    assert problems(lambda: read_table("a\0b.csv")) == [
        "a\\x00b.csv: found an impossible file name, expected a file that can be read"
    ]


def archive(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)
    return out.getvalue()


def workbook_bytes(rows: Rows) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_sheet(xml: str) -> bytes:
    """A workbook whose sheet is this XML."""
    with zipfile.ZipFile(io.BytesIO(workbook_bytes([["name", "color"], ["a", "red"]]))) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    return archive(files | {"xl/worksheets/sheet1.xml": xml.encode()})


SHEET = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{}</worksheet>'
DAMAGED = "found a damaged workbook, or none, expected an Excel workbook (.xlsx) without a password"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        pytest.param(archive({"readme.txt": b"hello"}), DAMAGED, id="a-zip-of-something-else"),
        pytest.param(archive({"[Content_Types].xml": b"<a", "xl/workbook.xml": b""}), DAMAGED, id="broken-xml"),
        pytest.param(workbook_bytes([["name", "color"], ["a", "red"]])[:900], DAMAGED, id="cut-short"),
        pytest.param(with_sheet("<worksheet"), DAMAGED, id="broken-sheet"),
        pytest.param(
            with_sheet(SHEET.format('<sheetData><row r="1"><c r="A1" t="s"><v>999</v></c></row></sheetData>')),
            DAMAGED,
            id="a-text-that-is-not-there",
        ),
    ],
)
def test_a_hostile_workbook(data: bytes, message: str, tmp_path: Path) -> None:
    path = tmp_path / "units.xlsx"
    path.write_bytes(data)
    assert problems(lambda: read_table(str(path))) == [f"{path}: {message}"]


def test_a_workbook_that_unpacks_to_far_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_module, "MOST_UNPACKED", 1 << 20)
    path = tmp_path / "units.xlsx"
    path.write_bytes(archive({"a": bytes(3 << 20)}))
    assert path.stat().st_size < 10_000
    assert problems(lambda: read_table(str(path))) == [f"{path}: found a workbook that unpacks to 3 MB, expected at most 1 MB"]


def test_a_sheet_that_claims_endless_rows_ends(tmp_path: Path) -> None:
    cell = '<c t="inlineStr"><is><t>{}</t></is></c>'
    rows = f'<row r="1">{cell.format("name")}{cell.format("color")}</row><row r="99999999999">{cell.format("a")}</row>'
    path = tmp_path / "units.xlsx"
    path.write_bytes(with_sheet(SHEET.format(f'<dimension ref="A1:XFD1048576"/><sheetData>{rows}</sheetData>')))
    table = read_table(str(path))
    assert (table.columns, table.rows) == (["name", "color"], [])


@pytest.mark.parametrize(
    ("limit", "value", "message"),
    [
        pytest.param(
            "MOST_ROWS", 2, "standard input:4:1: found more than 2 rows, expected at most 2; split the table", id="rows"
        ),
        pytest.param(
            "MOST_CELLS", 4, "standard input:4:1: found more than 4 cells, expected at most 4; split the table", id="cells"
        ),
        pytest.param("MOST_BYTES", 20, "standard input: found a table over 50 MB, expected at most 50 MB; split it", id="bytes"),
    ],
)
def test_limits(limit: str, value: int, message: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_module, limit, value)
    assert problems(lambda: read_rows([["name", "color"], ["a", "red"], ["b", "red"], ["c", "red"]])) == [message]


def test_wrong_rows_are_named_up_to_a_hundred_then_counted() -> None:
    found = [str(finding) for finding in read_rows([["name", "color"], *[["a"]] * 250]).problems]
    assert len(found) == 101
    assert found[-1] == "standard input:251:1: found 150 more like these up to here, expected a table"
