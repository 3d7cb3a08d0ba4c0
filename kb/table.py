"""A spreadsheet table as plain text cells: CSV in its usual dialects, or the first sheet of an Excel workbook.

Every cell is a text without outer spaces; an empty cell is "".  What is wrong with single rows is collected, so that one
run names all of it; a file that is no table at all raises `BadInput`.
"""

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, time
from itertools import islice
from pathlib import Path
from typing import Protocol, TypeVar

from .findings import BadInput, Finding, Kind, listed, quoted
from .values import Measure, read_measure
from .yaml_text import decode

MOST_BYTES = 50 << 20
#: A workbook is a zip archive; what it unpacks to is held as well, since a small one can hide a huge one.
MOST_UNPACKED = 4 * MOST_BYTES
MOST_ROWS = 200_000
MOST_COLUMNS = 2_000
MOST_CELLS = 10_000_000
#: As long as a text of an entry may be.
MOST_CHARACTERS = 20_000
MOST_NAME = 200
#: Rows and columns with the empty ones at their end included: the most a spreadsheet program writes.
MOST_SHEET_ROWS = 1_048_576
MOST_SHEET_COLUMNS = 16_384
#: Wrong rows are named one by one up to here, then counted.
MOST_NAMED = 100

TEXT_SUFFIXES = frozenset({".csv", ".tsv", ".tab", ".txt"})
WORKBOOK_SUFFIXES = frozenset({".xlsx", ".xlsm"})
DELIMITERS = (",", ";", "\t", "|")
STANDARD_INPUT = "-"
SHOWN_INPUT = "standard input"

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
_SAMPLE = 1 << 16
#: What the workbook reader is known to raise on damaged or hostile files.
_DAMAGED = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    MemoryError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    zipfile.BadZipFile,
    zlib.error,
)

Item = TypeVar("Item")
Row = tuple[int, list[str]]


class Progress(Protocol):
    """Hands through what it is given, and may show how far it has come."""

    def __call__(self, things: Iterable[Item], doing: str) -> Iterable[Item]:
        """The same things in the same order."""
        ...


def silently(things: Iterable[Item], doing: str) -> Iterable[Item]:  # noqa: ARG001 - the shape of Progress
    """Shows nothing."""
    return things


@dataclass
class Table:
    """Column names, and rows of one cell a column.

    `lines` says where each row stands (in a workbook: its row), `problems` what is wrong with the table.
    """

    shown: str
    columns: list[str]
    rows: list[list[str]]
    lines: list[int]
    problems: list[Finding] = field(default_factory=list)

    def column(self, name: str) -> list[str]:
        """The cells below a column name, one a row."""
        at = self.columns.index(name)
        return [row[at] for row in self.rows]


def read_table(name: str, piped: bytes = b"", progress: Progress = silently) -> Table:
    """The table in the file `name`, or for `-` in `piped` (the bytes of standard input). Raises BadInput."""
    if name == STANDARD_INPUT:
        data = _within(piped, SHOWN_INPUT)
        return _assembled(progress(_text_rows(data, SHOWN_INPUT, ".csv"), "reading rows"), SHOWN_INPUT, ragged=False)
    suffix = Path(name).suffix.lower()
    if suffix not in TEXT_SUFFIXES | WORKBOOK_SUFFIXES:
        found = f"a file that ends in {quoted(suffix)}" if suffix else "a file name without an ending"
        raise _unreadable(name, found, f"a table: {listed(TEXT_SUFFIXES | WORKBOOK_SUFFIXES)}")
    data = _file_bytes(name)
    if suffix in WORKBOOK_SUFFIXES:
        return _assembled(progress(_workbook_rows(data, name), "reading rows"), name, ragged=True)
    return _assembled(progress(_text_rows(data, name, suffix), "reading rows"), name, ragged=False)


def _file_bytes(name: str) -> bytes:
    try:
        with Path(name).open("rb") as file:
            return _within(file.read(MOST_BYTES + 1), name)
    except (OSError, ValueError) as error:
        problem = (getattr(error, "strerror", None) or "an impossible file name").lower()
        raise _unreadable(name, problem, "a file that can be read") from None


def _within(data: bytes, shown: str) -> bytes:
    if len(data) > MOST_BYTES:
        raise BadInput([Finding(shown, 0, 0, Kind.LIMIT, "a table over 50 MB", "at most 50 MB; split it")])
    return data


def _unreadable(shown: str, found: str, expected: str, line: int = 0) -> BadInput:
    return BadInput([Finding(shown, line, 1 if line else 0, Kind.UNREADABLE, found, expected)])


# Text ----------------------------------------------------------------------------------------------------------------


def _text_rows(data: bytes, shown: str, suffix: str) -> Iterator[Row]:
    """(line it starts on, cells) of each row of a CSV text."""
    if data.startswith(b"PK\x03\x04"):
        raise _unreadable(shown, "a zip archive", "a CSV table; the name of an Excel workbook ends in .xlsx")
    text = decode(data, shown)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text, suffix), strict=True)
    start = 1
    try:
        for row in rows:
            yield start, row
            start = rows.line_num + 1
    except csv.Error as error:
        problem = "a quote that is never closed" if str(error) == "unexpected end of data" else str(error)
        raise _unreadable(shown, problem, "a CSV table", start) from None


def delimiter_of(text: str, suffix: str = ".csv") -> str:
    """The delimiter that cuts the first rows into most cells, and all of them alike; a comma where none does."""
    sample = text[:_SAMPLE]
    if suffix in (".tsv", ".tab") and "\t" in sample:
        return "\t"
    fits = {delimiter: _fit(sample, delimiter, whole=len(sample) == len(text)) for delimiter in DELIMITERS}
    return max(DELIMITERS, key=lambda delimiter: fits[delimiter])


def _fit(sample: str, delimiter: str, whole: bool) -> tuple[float, int]:
    """(share of rows as wide as the first, that width); (0, 0) when the delimiter does not cut the first row."""
    widths: list[int] = []
    try:
        widths += (len(row) for row in islice(csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter), 50) if any(row))
    except csv.Error:
        return 0.0, 0
    if not whole and 1 < len(widths) < 50:
        widths.pop()
    if not widths or widths[0] == 1:
        return 0.0, 0
    return widths.count(widths[0]) / len(widths), widths[0]


# Workbooks -----------------------------------------------------------------------------------------------------------


def _workbook_rows(data: bytes, shown: str) -> Iterator[Row]:
    """(row number, cells) of each row of the first sheet; rows are as wide as what they hold."""
    expected = "an Excel workbook (.xlsx) without a password"
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked <= MOST_UNPACKED:
            for number, row in enumerate(_sheet(data), 1):
                if number > MOST_SHEET_ROWS:
                    break
                yield number, [_cell_text(cell) for cell in row]
    except _DAMAGED:
        raise _unreadable(shown, "a damaged workbook, or none", expected) from None
    if unpacked > MOST_UNPACKED:
        found = f"a workbook that unpacks to {unpacked >> 20:,} MB"
        raise BadInput([Finding(shown, 0, 0, Kind.LIMIT, found, f"at most {MOST_UNPACKED >> 20} MB")])


def _sheet(data: bytes) -> Iterator[tuple[object, ...]]:
    """The cells of the first sheet, row after row; formulas as the values they were saved with."""
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        # The library warns of charts, styles and validations it skips; none of them is in a cell.
        warnings.simplefilter("ignore")
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        sheet = book.worksheets[0]
        # The stored size of a sheet can be wrong or a lie; without it every row is as wide as its own cells.
        sheet.reset_dimensions()  # pyright: ignore[reportAttributeAccessIssue, reportUnknownMemberType]
        yield from sheet.iter_rows(values_only=True)


def _cell_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        # Twelve digits drop the noise of binary fractions and keep everything anybody typed.
        return f"{cell:.0f}" if cell.is_integer() and abs(cell) < 1e15 else f"{cell:.12g}"
    if isinstance(cell, datetime) and cell.time() == time.min:
        # A day without an hour: workbooks know no other kind.
        return cell.date().isoformat()
    return str(cell)


# Rows to a table -----------------------------------------------------------------------------------------------------


def _assembled(rows: Iterable[Row], shown: str, ragged: bool) -> Table:
    """The table; `ragged` where rows leave out the empty cells at their end."""
    builder = _Builder(shown, ragged)
    for line, row in rows:
        builder.hold(line, len(row) > MOST_SHEET_COLUMNS, f"{len(row):,} columns", f"at most {MOST_COLUMNS:,}")
        cells = [cell.strip() for cell in row]
        if any(cells):
            builder.add(line, cells)
    return builder.table()


class _Builder:
    """Collects rows below the first one, the header, with everything that is wrong with them."""

    def __init__(self, shown: str, ragged: bool) -> None:
        self.shown, self.ragged = shown, ragged
        self.header: list[str] = []
        self.header_line = 0
        self.rows: list[list[str]] = []
        self.lines: list[int] = []
        self.problems: list[Finding] = []
        self.unnamed = 0
        self.last_unnamed = 0

    def add(self, line: int, cells: list[str]) -> None:
        self.characters(line, cells)
        if not self.header_line:
            self.header, self.header_line = [" ".join(cell.split()) for cell in cells], line
            self.hold(line, len(cells) > MOST_COLUMNS, f"{len(cells):,} columns", f"at most {MOST_COLUMNS:,}")
            return
        self.hold(line, len(self.rows) >= MOST_ROWS, f"more than {MOST_ROWS:,} rows", f"at most {MOST_ROWS:,}; split the table")
        cells_now = (len(self.rows) + 1) * len(self.header)
        self.hold(line, cells_now > MOST_CELLS, f"more than {MOST_CELLS:,} cells", f"at most {MOST_CELLS:,}; split the table")
        width = len(self.header)
        if self.ragged:
            while len(cells) > width and not cells[-1]:
                cells.pop()
            cells += [""] * (width - len(cells))
        if len(cells) != width:
            column = min(len(cells), width) + (len(cells) > width)
            found = f"{len(cells)} cell{'s' * (len(cells) != 1)}"
            self.say(line, column, Kind.WRONG_VALUE, found, f"{width}, one for each column")
            # Kept in step, so that what else is wrong with the table is still found in this run.
            cells = [*cells[:width], *[""] * (width - len(cells))]
        self.rows.append(cells)
        self.lines.append(line)

    def hold(self, line: int, passed: bool, found: str, expected: str) -> None:
        """Ends the reading when a limit is passed: what follows may be without end."""
        if passed:
            raise BadInput([*self.problems, Finding(self.shown, line, 1, Kind.LIMIT, found, expected)])

    def characters(self, line: int, cells: list[str]) -> None:
        for column, cell in enumerate(cells, 1):
            if len(cell) > MOST_CHARACTERS:
                found = f"a cell of {len(cell):,} characters"
                self.say(line, column, Kind.LIMIT, found, f"at most {MOST_CHARACTERS:,}")
            if not cell.isprintable() and (control := _CONTROL.search(cell)):
                self.say(line, column, Kind.UNREADABLE, f"the character U+{ord(control[0]):04X}", "printable text")

    def say(self, line: int, column: int, kind: Kind, found: str, expected: str) -> None:
        if len(self.problems) < MOST_NAMED:
            self.problems.append(Finding(self.shown, line, column, kind, found, expected))
        else:
            self.unnamed += 1
            self.last_unnamed = line

    def table(self) -> Table:
        if self.unnamed:
            found = f"{self.unnamed:,} more like these up to here"
            self.problems.append(Finding(self.shown, self.last_unnamed, 1, Kind.LIMIT, found, "a table"))
        self.trim()
        self.problems += self.header_problems()
        if not self.rows and self.header:
            self.problems.append(
                Finding(self.shown, 0, 0, Kind.WRONG_VALUE, "no rows below the column names", "one row for each variant")
            )
        return Table(self.shown, self.header, self.rows, self.lines, self.problems)

    def trim(self) -> None:
        """Drops columns at the end without a name or a cell: spreadsheets leave them behind."""
        while self.header and not self.header[-1] and not any(row[-1] for row in self.rows):
            self.header.pop()
            for row in self.rows:
                row.pop()

    def header_problems(self) -> Iterator[Finding]:
        if not self.header:
            yield Finding(self.shown, 0, 0, Kind.WRONG_VALUE, "an empty table", "a row of column names, then one row a variant")
            return
        if all(map(plain_measure, self.header)):
            yield Finding(self.shown, self.header_line, 1, Kind.WRONG_VALUE, "numbers only", "a header: a row of column names")
        first: dict[str, int] = {}
        for column, name in enumerate(self.header, 1):
            if len(name) > MOST_NAME:
                found, expected = f"a column name of {len(name):,} characters", f"at most {MOST_NAME}"
                yield Finding(self.shown, self.header_line, column, Kind.LIMIT, found, expected)
            elif not name:
                found, expected = "an empty column name", "a name for each column"
                yield Finding(self.shown, self.header_line, column, Kind.MISSING_KEY, found, expected)
            elif name in first:
                found, expected = f"the column {quoted(name)} again", f"each name once; it is column {first[name]} already"
                yield Finding(self.shown, self.header_line, column, Kind.DUPLICATE, found, expected)
            else:
                first[name] = column


def plain_measure(cell: str) -> Measure | None:
    """The number or measured value in a cell; None for one in zeros such as 0421, which is a name, and for an endless one."""
    if len(cell) > 60 or not re.match(r"[+-]?(?!0\d)[\d.]", cell) or re.search(r"[^ -~±″]|[eE][+-]?\d{3}", cell):
        return None
    return read_measure(cell)
