"""A table as a knowledge base: one row a variant, columns as traits; and how it is written as a folder of entries."""

import re
import shlex
import shutil
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import uuid4

from .check import check
from .columns import Column, Ids, can_name, column_of
from .files import MOST_BYTES
from .findings import BadInput, Finding, Kind, Unreadable, listed, nearest, printable, quoted
from .table import MOST_NAME, SHOWN_INPUT, Progress, Table, plain_measure, read_table, silently
from .values import Measure
from .yaml_text import MOST_VALUES

MOST_VARIANTS_A_FILE = 200


@dataclass(frozen=True)
class Wishes:
    """What the person who imports says of the table. `tolerances` are texts such as "Length=0.3"."""

    sheet: str | None = None
    title: str | None = None
    family: str | None = None
    name_column: str | None = None
    leave_out: Sequence[str] = ()
    tolerances: Sequence[str] = ()


@dataclass(frozen=True)
class OddCell:
    """The first cell that keeps a column from being measured; `row` is where it stands in the table."""

    column: str
    row: int
    cell: str


@dataclass(frozen=True)
class Imported:
    """A knowledge base made of a table; `variants` are (id, name), one a row in the order of the rows.

    `unknown` says how many cells of a column were words for nobody knows.  `sheet` was read of a workbook, `other_sheets`
    were not.
    """

    table: str
    title: str
    family: str
    family_name: str
    name_column: str | None
    variants: list[tuple[str, str]]
    columns: list[Column]
    left_out: list[str] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)
    unknown: dict[str, int] = field(default_factory=dict)
    not_measured: list[OddCell] = field(default_factory=list)
    sheet: str | None = None
    other_sheets: list[str] = field(default_factory=list)

    def inseparable(self) -> list[list[str]]:
        """The groups of variants that are the same in all traits, in the order of the rows."""
        groups: dict[Hashable, list[str]] = {}
        for (ident, _), look in zip(self.variants, zip(*(column.looks() for column in self.columns), strict=True), strict=True):
            groups.setdefault(look, []).append(ident)
        return [group for group in groups.values() if len(group) > 1]


class Unsound(Exception):
    """What was written does not read back without findings: a fault of this file, not of the table."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__("\n".join(map(str, findings)))
        self.findings = list(findings)


def import_table(
    name: str, into: Path, wishes: Wishes | None = None, piped: bytes = b"", progress: Progress = silently
) -> Imported:
    """Reads the table `name` (`-`: the bytes in `piped`) and writes it to the folder `into`.

    Raises BadInput with everything wrong with the table, the wishes and the folder; then nothing is written.
    """
    problems = list(place_problems(into))
    wishes = wishes or Wishes()
    try:
        imported = imported_from(read_table(name, piped, progress, wishes.sheet), wishes, progress)
    except BadInput as error:
        raise BadInput([*problems, *error.findings]) from None
    if problems:
        raise BadInput(problems)
    write(imported, into, progress)
    return imported


# The table with the wishes -------------------------------------------------------------------------------------------


def imported_from(table: Table, wishes: Wishes, progress: Progress = silently) -> Imported:
    """The knowledge base that the table becomes. Raises BadInput with everything wrong with either."""
    problems = [*table.problems, *_wish_problems(table, wishes)]
    if problems:
        raise BadInput(problems)
    named_by = wishes.name_column or _name_column(table)
    used = [name for name in table.columns if name != named_by and name not in wishes.leave_out]
    tolerances = dict(filter(None, map(_tolerance, wishes.tolerances)))
    problems += (_no_tolerance(name, Unreadable(*_NO_TRAIT)) for name in tolerances if name not in used)
    columns, empty, wrong = _columns(table, used, tolerances, progress)
    problems += wrong
    if len(empty) == len(used):
        expected = "a column besides the names, those left out and empty ones"
        problems.append(Finding(table.shown, 0, 0, Kind.WRONG_VALUE, "no column to make a trait of", expected))
    if problems:
        raise BadInput(problems)
    family_name = wishes.family or _table_name(table)
    taken = [name for name in table.columns if name == named_by or name in used]
    return Imported(
        table=_printable(Path(table.shown).name),
        title=wishes.title or family_name,
        family=Ids("table").give(family_name),
        family_name=family_name,
        name_column=named_by,
        variants=_variants(table, named_by, family_name),
        columns=columns,
        left_out=[name for name in table.columns if name in wishes.leave_out and name != named_by],
        empty=empty,
        unknown={name: number for name in taken if (number := table.said_unknown(name))},
        not_measured=[
            OddCell(one.header, table.lines[one.odd], table.column(one.header)[one.odd]) for one in columns if one.odd is not None
        ],
        sheet=table.sheet,
        other_sheets=table.other_sheets,
    )


def _columns(
    table: Table, used: Sequence[str], tolerances: dict[str, Measure], progress: Progress
) -> tuple[list[Column], list[str], list[Finding]]:
    """(traits, names of the empty columns, tolerances that do not fit)."""
    ids, columns, empty, wrong = Ids("column"), list[Column](), list[str](), list[Finding]()
    for name in progress(used, "reading columns"):
        cells = table.column(name)
        try:
            if any(cells):
                columns.append(column_of(ids, name, cells, tolerances.get(name), table.free_of_commas))
            else:
                empty.append(name)
        except Unreadable as problem:
            wrong.append(_no_tolerance(name, problem))
    return columns, empty, wrong


_NO_TRAIT = ("a column that makes no trait", "a column of numbers")


def _no_tolerance(name: str, problem: Unreadable) -> Finding:
    return Finding("--tolerance", 0, 0, Kind.WRONG_VALUE, f"{problem.found} ({quoted(name)})", problem.expected)


def _table_name(table: Table) -> str:
    """What the table is called: its file's name without the ending."""
    return "table" if table.shown == SHOWN_INPUT else _printable(Path(table.shown).stem)


def _printable(name: str) -> str:
    """A file name as it can be written anywhere; bytes that are no text become question marks."""
    return name.encode("utf-8", "replace").decode()


def _wish_problems(table: Table, wishes: Wishes) -> Iterator[Finding]:
    for option, text in (("--family", wishes.family), ("--title", wishes.title)):
        if text is not None and not (text.strip() and text.isprintable() and len(text) <= MOST_NAME):
            expected = f"a name of printable characters, at most {MOST_NAME}"
            yield Finding(option, 0, 0, Kind.WRONG_VALUE, quoted(text), expected)
    named = [("--name-column", name) for name in [wishes.name_column] if name is not None]
    named += [("--leave-out", name) for name in wishes.leave_out]
    told: set[str] = set()
    for written in wishes.tolerances:
        tolerance = _tolerance(written)
        if tolerance is None:
            expected = "COLUMN=VALUE with a value above 0, such as Length=0.3"
            yield Finding("--tolerance", 0, 0, Kind.WRONG_VALUE, quoted(written), expected)
            continue
        name = tolerance[0]
        named.append(("--tolerance", name))
        if name in told:
            yield Finding("--tolerance", 0, 0, Kind.DUPLICATE, f"the column {quoted(name)} again", "one tolerance a column")
        told.add(name)
    columns = [name for name in table.columns if name]
    for option, name in named:
        if name not in columns and columns:
            expected = f"a column of the table: {listed(columns)}"
            yield Finding(option, 0, 0, Kind.UNKNOWN_KEY, f"the column {quoted(name)}", expected, nearest(name, columns))


def _tolerance(written: str) -> tuple[str, Measure] | None:
    """(column, tolerance) from "Length=0.3" or "Length=0.3 mm"."""
    name, equals, value = written.rpartition("=")
    measure = plain_measure(value.strip())
    if not equals or measure is None or measure.value <= 0 or measure.plus_minus is not None:
        return None
    return name.strip(), measure


def _name_column(table: Table) -> str | None:
    """A column called name, else the first that can name the rows."""
    called = (name for name in table.columns if name.casefold() == "name")
    able = (name for name in table.columns if can_name(name, table.column(name), table.free_of_commas))
    return next(called, None) or next(able, None)


def _variants(table: Table, named_by: str | None, family_name: str) -> list[tuple[str, str]]:
    """(id, name) of each row; a row whose name is empty is called after the family and counted."""
    ids = Ids("row")
    cells = table.column(named_by) if named_by else [""] * len(table.rows)
    names = [cell or f"{family_name} {number}" for number, cell in enumerate(cells, 1)]
    return [(ids.give(name), name) for name in names]


# Writing -------------------------------------------------------------------------------------------------------------

_ABOUT = """\
title: {title}
# A table does not say who may use it. Name a license before you share these entries.
license: unstated

# What a table cannot know stands here as numbers. Change them with experience; each is a share from 0 to 1.

frequencies:
  # How often a state is found, for entries that come to say more than one.
  always: 1.0
  usual: 0.8
  sometimes: 0.2
  rarely: 0.04

scarcity:
  # How many there are of a variant, for entries that come to say so. Rows of a table all count alike.
  common: 1.0
  uncommon: 0.4
  scarce: 0.15
  rare: 0.05
  never: 0.0

mistakes:
  # How often a trait is read wrong.
  plain: 0.01
  fair: 0.03
  tricky: 0.08
  # For every column of the table, which says nothing of how often it is misread. Raise it with experience.
  imported: 0.002

# The share of units that the table does not list. It says nothing of that either; raise it with experience.
not_in_the_record: 0.002

views:
  # One view for all traits. Name those you need (underside, inside ...) and say in each trait which one it takes.
  side:
    name: Side
    effort: 1
"""

_PLAIN = re.compile(r"\w(?:[\w ,.()/+'\"?!;&=%-]*[\w.)%+?])?")


def yaml_text(text: str) -> str:
    """The text as YAML writes it: bare where that is safe, else in quotes with everything odd escaped."""
    if _PLAIN.fullmatch(text) and text.lower() != "null":
        return text
    escapes = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return '"' + "".join(escapes.get(one) or (one if one.isprintable() else f"\\U{ord(one):08x}") for one in text) + '"'


def yaml_lines(value: dict[str, Any], indent: int = 0) -> Iterator[str]:
    """A mapping of mappings, texts and numbers, one line a key."""
    for key, inner in value.items():
        start = " " * indent + yaml_text(key) + ":"
        if isinstance(inner, dict) and inner:
            yield start
            yield from yaml_lines(inner, indent + 2)  # pyright: ignore[reportUnknownArgumentType]
        elif isinstance(inner, dict):
            yield f"{start} {{}}"
        else:
            yield f"{start} {yaml_text(inner) if isinstance(inner, str) else inner}"


def place_problems(into: Path) -> Iterator[Finding]:
    """What keeps a knowledge base from being written to `into`, which must not exist or be an empty folder."""
    try:
        if into.is_symlink() or (into.exists() and not into.is_dir()):
            yield Finding(str(into), 0, 0, Kind.MISPLACED, "something that is no folder", "the name of a new folder")
        elif into.is_dir() and any(into.iterdir()):
            yield Finding(str(into), 0, 0, Kind.MISPLACED, "a folder with files in it", "a new or an empty folder")
        elif not into.resolve().parent.is_dir():
            parent = quoted(into.parent)
            yield Finding(str(into), 0, 0, Kind.MISPLACED, f"no folder {parent}", "a folder to make the new one in")
    except (OSError, ValueError) as error:
        yield _unwritable(into, error)


def _unwritable(into: Path, error: OSError | ValueError) -> Finding:
    problem = (getattr(error, "strerror", None) or "an impossible folder name").lower()
    return Finding(str(into), 0, 0, Kind.UNREADABLE, problem, "a folder that can be written")


def write(imported: Imported, into: Path, progress: Progress = silently) -> None:
    """Writes the entries to `into`, all or nothing. Raises BadInput, or Unsound when they do not read back."""
    files = entry_files(imported)
    target = into.resolve()
    beside = target.parent / f".{target.name}.{uuid4().hex[:12]}"
    try:
        for name, text in progress(files, "writing entries"):
            (beside / name).parent.mkdir(parents=True, exist_ok=True)
            (beside / name).write_text(text, "utf-8", newline="\n")
        _, findings = check(beside, lambda files: progress(files, "checking entries"))
        if findings:
            raise Unsound(findings)
        _settle(beside, target)
    except OSError as error:
        raise BadInput([_unwritable(into, error)]) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _settle(beside: Path, target: Path) -> None:
    """Gives the finished folder its name; an empty folder that is there already is filled, for it may be in use."""
    if not target.is_dir():
        beside.rename(target)
        return
    moved: list[Path] = []
    try:
        for child in sorted(beside.iterdir()):
            moved.append(child.rename(target / child.name))
    except OSError:
        for child in moved:
            child.rename(beside / child.name)
        raise


def entry_files(imported: Imported) -> Iterator[tuple[str, str]]:
    """(path in the folder, text) of every file. Raises BadInput when one record is too large for a file."""
    yield "knowledge-base.yaml", _ABOUT.format(title=yaml_text(imported.title))
    home = f"families/{imported.family}"
    yield f"{home}/family.yaml", _family_text(imported)
    for number, text in enumerate(_row_files(imported), 1):
        yield f"{home}/variants/rows-{number:04}.yaml", text


def _family_text(imported: Imported) -> str:
    traits = {column.id: column.trait.model_dump(exclude_unset=True) for column in imported.columns}
    about = f"Imported from {imported.table}: one row, one variant."
    lines = [*_about_tolerances(imported), *yaml_lines({"name": imported.family_name, "about": about, "traits": traits})]
    text = "\n".join(lines) + "\n"
    if not _fits(text):
        widest = sorted(imported.columns, key=lambda column: -len(column.trait.states or ()))[:3]
        names = ", ".join(quoted(column.trait.name) for column in widest)
        found = f"columns whose states take {len(text.encode()) >> 10:,} KiB"
        expected = f"at most {MOST_BYTES >> 10:,} KiB; leave some out, such as {names}"
        raise BadInput([Finding(imported.table, 0, 0, Kind.LIMIT, found, expected)])
    return text


def _about_tolerances(imported: Imported) -> Iterator[str]:
    """Comment lines: which tolerances nobody stated, and how to state them."""
    estimated = [column for column in imported.columns if column.estimated]
    if estimated:
        yield "# Nobody stated how sure these values are; one standard deviation is estimated from the places written:"
        for column in estimated:
            yield f"#   {column.id}: {(column.tolerance or '').partition(',')[0]}"
        yield "# If they are better or worse than that, import the table again with your own figure, such as"
        yield f"#   --tolerance {shlex.quote(f'{printable(estimated[0].header)}=0.3')}"
        yield "# or change the number after +- where a variant in the folder variants shows the trait."
        yield ""


def _fits(text: str) -> bool:
    """Whether a file of this text stays within what is read back; a line holds at most three values."""
    return len(text.encode()) <= MOST_BYTES and 3 * text.count("\n") < MOST_VALUES


def _row_files(imported: Imported) -> Iterator[str]:
    """The variants in lists as long as a file may be."""
    texts: list[str] = []
    size = lines = 0
    for row in range(len(imported.variants)):
        text = _variant_text(imported, row)
        if not _fits(text):
            found = f"a row of {len(text.encode()) >> 10:,} KiB ({quoted(imported.variants[row][1])})"
            raise BadInput([Finding(imported.table, 0, 0, Kind.LIMIT, found, f"at most {MOST_BYTES >> 10:,} KiB a row")])
        size, lines = size + len(text.encode()), lines + text.count("\n")
        if len(texts) == MOST_VARIANTS_A_FILE or size > MOST_BYTES or 3 * lines >= MOST_VALUES:
            yield "".join(texts)
            texts, size, lines = [], len(text.encode()), text.count("\n")
        texts.append(text)
    yield "".join(texts)


def _variant_text(imported: Imported, row: int) -> str:
    ident, name = imported.variants[row]
    shows = {column.id: fact for column in imported.columns if (fact := column.facts[row]) is not None}
    record = {"id": ident, "name": name, **({"shows": shows} if shows else {})}
    first, *rest = yaml_lines(record, 2)
    return "\n".join(["- " + first.strip(), *rest]) + "\n"
