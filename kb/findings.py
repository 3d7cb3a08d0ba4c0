"""A finding: one thing that is wrong, where it stands, what was found, and what was expected instead."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Kind(StrEnum):
    """What sort of thing is wrong."""

    UNREADABLE = "unreadable"
    LIMIT = "limit"
    MISPLACED = "misplaced"
    UNKNOWN_KEY = "unknown-key"
    MISSING_KEY = "missing-key"
    WRONG_VALUE = "wrong-value"
    DUPLICATE = "duplicate"
    DANGLING = "dangling"
    CYCLE = "cycle"
    UNKNOWN_STATE = "unknown-state"
    HAZARD = "hazard"
    ASTRAY = "astray"


@dataclass(frozen=True, order=True)
class Finding:
    """One problem. `line` and `column` count from 1; 0 where a whole file is meant."""

    path: str
    line: int
    column: int
    kind: Kind
    found: str
    expected: str
    nearest: str | None = None

    def __post_init__(self) -> None:
        """No text of an entry or a file name may steer a terminal, begin a line, or be no text at all."""
        for name in ("path", "found", "expected", "nearest"):
            value = getattr(self, name)
            if value is not None and not value.isprintable():
                object.__setattr__(self, name, printable(value))

    @property
    def message(self) -> str:
        """One sentence without the place."""
        hint = f'; did you mean "{self.nearest}"?' if self.nearest else ""
        return f"found {self.found}, expected {self.expected}{hint}"

    @property
    def place(self) -> str:
        """`file:line:column`, as far as known."""
        return ":".join([self.path, *(str(number) for number in (self.line, self.column) if number)])

    def __str__(self) -> str:
        return f"{self.place}: {self.message}"

    def as_dict(self) -> dict[str, Any]:
        """For `--json`."""
        return {
            "path": self.path,
            "line": self.line,
            "column": self.column,
            "kind": str(self.kind),
            "found": self.found,
            "expected": self.expected,
            "nearest": self.nearest,
        }


class BadInput(Exception):
    """Input that cannot be used; carries every finding, never only the first."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = sorted(set(findings))
        super().__init__(self.findings)  # so that it can be sent from one process to another

    def __str__(self) -> str:
        return "\n".join(map(str, self.findings))


class Unreadable(Exception):
    """A written value that does not fit where it stands: what was found, what was expected, the nearest valid name."""

    def __init__(self, found: str, expected: str, nearest: str | None = None, kind: Kind = Kind.WRONG_VALUE) -> None:
        super().__init__(found, expected, nearest, kind)  # so that it can be sent from one process to another
        self.found, self.expected, self.nearest, self.kind = found, expected, nearest, kind

    def __str__(self) -> str:
        return f"found {self.found}, expected {self.expected}"


def nearest(name: str, names: Iterable[str]) -> str | None:
    """The valid name that resembles `name` most, if any does."""
    from difflib import get_close_matches  # here, since mostly nothing is wrong

    close = get_close_matches(name[:80], [*names], n=1, cutoff=0.6)
    return close[0] if close else None


def printable(text: str) -> str:
    """The text with everything that is not printable written out, such as `\\x1b`."""
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode("ascii") for one in text)


def quoted(value: Any) -> str:
    """How a found value is shown."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = printable(str(value))
    return f'"{text if len(text) <= 60 else text[:57] + "..."}"'


def listed(names: Iterable[str], most: int = 12) -> str:
    """Names in a row: "a, b or c"; a long row is cut."""
    row = sorted(names)
    if len(row) > most:
        return ", ".join(row[:most]) + f" or {len(row) - most} more"
    return " or ".join([", ".join(row[:-1]), row[-1]]) if len(row) > 1 else "".join(row)
