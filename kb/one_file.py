"""What one file of entries gives, whatever stands in the others."""

import csv
import io
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, cast

from pydantic import BaseModel

from .files import Loc, decode, read_bytes
from .findings import BadInput, Finding, Kind, listed, nearest, quoted
from .load import LAYOUT, Place, Rule, rule_for
from .validate import build, keys_of
from .values import ID_PATTERN, RESERVED
from .yaml_text import places_in, read

_ID = re.compile(ID_PATTERN.strip("^$"))


@dataclass
class TableRow:
    """A row of a table as the place of its cells: the line it begins on, and columns counted from 1."""

    shown: str
    line: int
    header: Sequence[str]

    def at(self, loc: Loc, key: bool = False) -> tuple[int, int]:  # noqa: ARG002
        """Line and column of the cell that `loc` begins with."""
        return self.line, self.header.index(str(loc[0])) + 1 if loc and str(loc[0]) in self.header else 1


class Given(NamedTuple):
    """What one file gives, whatever stands in the others.

    records   in their order;  whole: the one record that it is, where it is one of which there is one
    findings  what is wrong with it, and with everything in it that is no record;  lost: whether it could not be read whole
    """

    records: "list[One]"
    findings: list[Finding]
    whole: BaseModel | None = None
    lost: bool = False


class One(NamedTuple):
    """A record of a file: its kind and id, where it stands, the folder it belongs to; None, and why, if it cannot be read."""

    key: tuple[str, str]
    place: Place
    home: str
    record: BaseModel | None
    findings: list[Finding]


def read_file(root: Path, shown: str) -> Given:
    """Reads the file at a path below the root."""
    rule = rule_for(shown)
    if rule is not None:
        return _Reader(root, shown, rule).read()
    if not shown.endswith((".yaml", ".yml", ".csv")):
        return Given([], [])
    places = listed((rule.pattern for rule in LAYOUT), most=20)
    return Given([], [Finding(shown, 0, 0, Kind.MISPLACED, "a file no record lies in", places)])


class _Reader:
    """Reads one file."""

    def __init__(self, root: Path, shown: str, rule: Rule) -> None:
        self.root, self.shown, self.rule = root, shown, rule
        self.text = ""
        self.records: list[One] = []
        self.findings: list[Finding] = []
        self.lost = False

    def read(self) -> Given:
        whole = None
        try:
            whole = self._read()
        except BadInput as error:
            self.findings += error.findings
            self.lost = True
        return Given(self.records, self.findings, whole, self.lost)

    def _read(self) -> BaseModel | None:
        """Goes through the file; returns what it is as a whole."""
        path = self.root / self.shown
        if path.is_symlink() and not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(self.root)):
            found = Finding(self.shown, 0, 0, Kind.MISPLACED, "a link that leads out of the folder", "the file itself")
            raise BadInput([found])
        self.text = decode(read_bytes(path, self.shown), self.shown)
        if self.rule.shape == "table":
            self.table()
            return None
        plain = read(self.text, self.shown)
        if self.rule.shape == "whole":
            return build(self.rule.model, {} if plain is None else plain, places_in(self.text, self.shown))
        self.document(plain)
        return None

    def document(self, plain: Any) -> None:
        parts = self.shown.split("/")
        stem, folder = parts[-1].removesuffix(".yaml"), parts[1] if len(parts) > 2 else ""
        if self.rule.shape == "folder":
            self.record(folder, plain)
        elif self.rule.shape == "mapping":
            if plain is not None and not isinstance(plain, dict):
                self.say((), Kind.WRONG_VALUE, quoted(plain), f"a mapping from id to {self.rule.kind}")
                self.lost = True
                return
            for ident, value in cast("dict[str, Any]", plain or {}).items():
                self.record(ident, value, (ident,))
        elif isinstance(plain, list):
            for index, value in enumerate(cast("list[Any]", plain)):
                self.listed(index, value, folder)
        else:
            ident, own = _apart(plain)
            if ident not in (None, stem):
                self.say(("id",), Kind.WRONG_VALUE, quoted(ident), f'the id "{stem}", as the file is called', stem)
            self.record(stem, own, (), folder)

    def listed(self, index: int, value: Any, folder: str) -> None:
        """One record of a list in one file; it says its id itself."""
        ident, own = _apart(value)
        if not isinstance(ident, str):
            kind = Kind.MISSING_KEY if isinstance(value, dict) else Kind.WRONG_VALUE
            found = 'no key "id"' if isinstance(value, dict) else quoted(value)
            self.say((index,), kind, found, f'a {self.rule.kind} with the key "id", as in every list')
            return
        self.record(ident, own, (index,), folder)

    def record(self, ident: str, plain: Any, loc: tuple[str | int, ...] = (), folder: str = "") -> None:
        if not _ID.fullmatch(ident) or len(ident) > 80:
            expected = "an id: lower-case letters and digits in words joined by hyphens"
            self.say(loc, Kind.WRONG_VALUE, quoted(ident), expected, key=True)
            return
        if ident in RESERVED:
            self.say(loc, Kind.WRONG_VALUE, quoted(ident), "an id that is not a reserved word", key=True)
            return
        record, findings = None, list[Finding]()
        try:
            record = build(self.rule.model, {} if plain is None else plain, places_in(self.text, self.shown), loc)
        except BadInput as error:
            findings = error.findings
        self.records.append(One((self.rule.kind, ident), Place(self.shown, loc), folder, record, findings))

    def table(self) -> None:
        """Rows of a CSV table, a record each; empty cells are left out."""
        rows = csv.reader(io.StringIO(self.text, newline=None), strict=True)
        line = 1
        try:
            empty: list[str] = []
            first = next(rows, empty)
            header = [cell.strip() for cell in first]
            if not header:
                expected = "a first line with the names of the columns"
                raise BadInput([Finding(self.shown, 0, 0, Kind.MISSING_KEY, "an empty table", expected)])
            self.header(header, keys_of(self.rule.model))
            line = rows.line_num + 1
            for row in rows:
                if len(row) not in (0, len(header)):
                    found = f"{len(row)} cells"
                    self.findings.append(Finding(self.shown, line, 1, Kind.WRONG_VALUE, found, f"{len(header)} cells"))
                elif row:
                    self.row(dict(zip(header, row, strict=True)), TableRow(self.shown, line, header))
                line = rows.line_num + 1
        except csv.Error as error:
            found = str(error)
            if "field larger" in found:
                found = f"a cell over {csv.field_size_limit()} characters"
            raise BadInput([Finding(self.shown, line, 1, Kind.UNREADABLE, found, "a CSV table")]) from None

    def header(self, header: list[str], keys: list[str]) -> None:
        """The first line of a table. Raises BadInput when a column is no column, or there twice."""
        findings: list[Finding] = []
        for column, name in enumerate(header, 1):
            if name not in keys:
                found = f"the column {quoted(name)}"
                findings.append(Finding(self.shown, 1, column, Kind.UNKNOWN_KEY, found, listed(keys), nearest(name, keys)))
            elif name in header[: column - 1]:
                findings.append(Finding(self.shown, 1, column, Kind.DUPLICATE, f"the column {quoted(name)} again", "it once"))
        if findings:
            raise BadInput(findings)

    def row(self, cells: dict[str, str], where: TableRow) -> None:
        ident = f"{self.shown.rsplit('/', 1)[-1].removesuffix('.csv')}-{where.line}"
        plain = {name: cell.strip() for name, cell in cells.items() if cell.strip()}
        try:
            record = build(self.rule.model, plain, where)
        except BadInput as error:
            self.findings += error.findings
        else:
            self.records.append(One((self.rule.kind, ident), Place(self.shown, (where.line, *where.header)), "", record, []))

    def say(self, loc: Loc, kind: Kind, found: str, expected: str, near: str | None = None, key: bool = False) -> None:
        line, column = places_in(self.text, self.shown).at(loc, key=key)
        self.findings.append(Finding(self.shown, line, column, kind, found, expected, near))


def _apart(plain: Any) -> tuple[Any, Any]:
    """The id a record says, and the record without it."""
    if not isinstance(plain, dict):
        return None, plain
    own = cast("dict[str, Any]", plain)
    return own.get("id"), {key: value for key, value in own.items() if key != "id"}
