"""A spreadsheet table as plain text cells: CSV in its usual dialects, or one sheet of an Excel workbook.

Every cell is a text without outer spaces; an empty cell is "".  What is wrong with single rows is collected, so that one
run names all of it; a file that is no table at all raises `BadInput`.
"""

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Generator, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, time
from itertools import islice, takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

from .files import decode
from .findings import BadInput, Finding, Kind, listed, nearest, quoted
from .values import Measure, read_measure

if TYPE_CHECKING:
    from openpyxl import Workbook

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
#: A title stands in the first rows or nowhere.
MOST_TITLE_ROWS = 5

TEXT_SUFFIXES = frozenset({".csv", ".tsv", ".tab", ".txt"})
WORKBOOK_SUFFIXES = frozenset({".xlsx", ".xlsm"})
DELIMITERS = (",", ";", "\t", "|")
STANDARD_INPUT = "-"
SHOWN_INPUT = "standard input"
#: Where columns are cut at these, a comma can be a decimal comma.
FREE_OF_COMMAS = (";", "\t")
#: Cells that say nobody knows, in any letter case.
UNKNOWN_WORDS = frozenset({"?", "-", "–", "—", "n/a", "unknown", "unk.", "tbd"})

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

    `lines` says where each row stands (in a workbook: its row), `problems` what is wrong with the table. `sheet` is the
    one that was read of a workbook, `other_sheets` are the rest. With `free_of_commas` no comma cuts its columns.
    """

    shown: str
    columns: list[str]
    rows: list[list[str]]
    lines: list[int]
    problems: list[Finding] = field(default_factory=list)
    sheet: str | None = None
    other_sheets: list[str] = field(default_factory=list)
    free_of_commas: bool = False

    def column(self, name: str) -> list[str]:
        """The cells below a column name, one a row; one that says nobody knows is as empty as an empty one."""
        cells = self._cells(name)
        unknown = {cell for cell in set(cells) if cell.casefold() in UNKNOWN_WORDS}
        return ["" if cell in unknown else cell for cell in cells] if unknown else cells

    def said_unknown(self, name: str) -> int:
        """How many cells below a column name say in a word or a sign that nobody knows."""
        return sum(cell.casefold() in UNKNOWN_WORDS for cell in self._cells(name))

    def _cells(self, name: str) -> list[str]:
        at = self.columns.index(name)
        return [row[at] for row in self.rows]


def read_table(name: str, piped: bytes = b"", progress: Progress = silently, sheet: str | None = None) -> Table:
    """The table in the file `name`, or for `-` in `piped` (the bytes of standard input).

    Of a workbook it is the sheet of that name, or the first. Raises BadInput.
    """
    if name == STANDARD_INPUT:
        return _text_table(_within(piped, SHOWN_INPUT), SHOWN_INPUT, ".csv", progress, sheet)
    suffix = Path(name).suffix.lower()
    if suffix not in TEXT_SUFFIXES | WORKBOOK_SUFFIXES:
        found = f"a file that ends in {quoted(suffix)}" if suffix else "a file name without an ending"
        raise _unreadable(name, found, f"a table: {listed(TEXT_SUFFIXES | WORKBOOK_SUFFIXES)}")
    data = _file_bytes(name)
    if suffix in WORKBOOK_SUFFIXES:
        return _workbook_table(data, name, progress, sheet)
    return _text_table(data, name, suffix, progress, sheet)


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


def _text_table(data: bytes, shown: str, suffix: str, progress: Progress, sheet: str | None) -> Table:
    if data.startswith(b"PK\x03\x04"):
        raise _unreadable(shown, "a zip archive", "a CSV table; the name of an Excel workbook ends in .xlsx")
    text = decode(data, shown)
    delimiter = delimiter_of(text, suffix)
    table = _assembled(progress(_text_rows(text, delimiter, shown), "reading rows"), shown, ragged=False)
    table.free_of_commas = delimiter in FREE_OF_COMMAS
    if sheet is not None:
        expected = "no such option: only a workbook has sheets"
        table.problems.append(Finding("--sheet", 0, 0, Kind.UNKNOWN_KEY, quoted(sheet), expected))
    return table


def _text_rows(text: str, delimiter: str, shown: str) -> Iterator[Row]:
    """(line it starts on, cells) of each row of a CSV text."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
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
    """(share of rows as wide as the first, that width); (0, 0) when the delimiter does not cut the first row.

    Rows above that are not cut may be a title, which costs a tenth each, where nearly all rows below are alike.
    """
    widths: list[int] = []
    try:
        widths += (len(row) for row in islice(csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter), 50) if any(row))
    except csv.Error:
        return 0.0, 0
    if not whole and 1 < len(widths) < 50:
        widths.pop()
    above = sum(1 for _ in takewhile(lambda width: width == 1, widths))
    below = widths[above:]
    share = below.count(below[0]) / len(below) if below else 0.0
    if not below or (above and (above > MOST_TITLE_ROWS or len(below) == 1 or share < 0.9)):
        return 0.0, 0
    return share - above / 10, below[0]


# Workbooks -----------------------------------------------------------------------------------------------------------


@contextmanager
def _undamaged(shown: str) -> Generator[None]:
    try:
        yield
    except _DAMAGED:
        expected = "an Excel workbook (.xlsx) without a password"
        raise _unreadable(shown, "a damaged workbook, or none", expected) from None


def _workbook_table(data: bytes, shown: str, progress: Progress, wanted: str | None) -> Table:
    with _undamaged(shown):
        book = _book(data, shown)
        names = [sheet.title for sheet in book.worksheets]
        chosen = names[0] if wanted is None else wanted
    if chosen not in names:
        expected = f"a sheet of the workbook: {listed(names)}"
        hint = nearest(chosen, names)
        raise BadInput([Finding("--sheet", 0, 0, Kind.UNKNOWN_KEY, f"the sheet {quoted(chosen)}", expected, hint)])
    at = names.index(chosen)
    table = _assembled(progress(_sheet_rows(book, at, shown), "reading rows"), shown, ragged=True)
    table.sheet, table.other_sheets = chosen, [*names[:at], *names[at + 1 :]]
    return table


def _book(data: bytes, shown: str) -> "Workbook":
    """The workbook; formulas are the values they were saved with."""
    from openpyxl import load_workbook

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        unpacked = sum(entry.file_size for entry in archive.infolist())
    if unpacked > MOST_UNPACKED:
        found = f"a workbook that unpacks to {unpacked >> 20:,} MB"
        raise BadInput([Finding(shown, 0, 0, Kind.LIMIT, found, f"at most {MOST_UNPACKED >> 20} MB")])
    with warnings.catch_warnings():
        # The library warns of charts, styles and validations it skips; none of them is in a cell.
        warnings.simplefilter("ignore")
        return load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)


def _sheet_rows(book: "Workbook", at: int, shown: str) -> Iterator[Row]:
    """(row number, cells) of each row of a sheet; rows are as wide as what they hold."""
    with _undamaged(shown), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sheet = book.worksheets[at]
        # The stored size of a sheet can be wrong or a lie; without it every row is as wide as its own cells.
        sheet.reset_dimensions()  # pyright: ignore[reportAttributeAccessIssue, reportUnknownMemberType]
        for number, row in enumerate(sheet.iter_rows(values_only=True), 1):
            if number > MOST_SHEET_ROWS:
                break
            yield number, [_cell_text(cell) for cell in row]


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
        self.title(line, cells)
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

    def title(self, line: int, cells: list[str]) -> None:
        """Ends the reading at the first row with several cells when those above have one each: they are a title."""
        named = list(filter(None, self.header))
        if len(named) == 1 and sum(map(bool, cells)) > 1 and len(self.rows) < MOST_TITLE_ROWS:
            found = f"a title in place of column names ({quoted(named[0])})"
            expected = f"the column names first; row {line} looks like them, so delete what stands above it"
            raise BadInput([Finding(self.shown, self.header_line, 1, Kind.WRONG_VALUE, found, expected)])

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
