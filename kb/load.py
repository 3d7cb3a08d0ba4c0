"""A folder of entries, read whole: every record in its place, or every problem at once."""

import csv
import io
import os
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple, cast

from pydantic import BaseModel

from .findings import BadInput, Finding, Kind, listed, nearest, quoted
from .forked import processes_for, spread
from .models import (
    Family,
    KnowledgeBase,
    Livery,
    Maker,
    Part,
    Procedure,
    Sale,
    Sellers,
    Set,
    Sighting,
    SlotType,
    Source,
    Trait,
    Variant,
)
from .validate import build, keys_of
from .values import ID_PATTERN, RESERVED
from .yaml_text import Loc, decode, places_in, read, read_bytes


class Rule(NamedTuple):
    """Where one kind of record lies. `shape`: the whole file, a mapping of ids, or one record or a list of them."""

    kind: str
    model: type[BaseModel]
    pattern: str
    shape: str


#: Every place a record can lie in, the more particular first; `*` is one folder or file name.
LAYOUT = [
    Rule("knowledge base", KnowledgeBase, "knowledge-base.yaml", "whole"),
    Rule("sellers", Sellers, "sellers.yaml", "whole"),
    Rule("source", Source, "sources.yaml", "mapping"),
    Rule("maker", Maker, "makers.yaml", "mapping"),
    Rule("livery", Livery, "liveries.yaml", "mapping"),
    Rule("trait", Trait, "traits.yaml", "mapping"),
    Rule("family", Family, "families/*/family.yaml", "folder"),
    Rule("variant", Variant, "families/*/variants/*.yaml", "records"),
    Rule("set", Set, "families/*/sets/*.yaml", "records"),
    Rule("slot type", SlotType, "parts/*/slot-type.yaml", "folder"),
    Rule("part", Part, "parts/*/*.yaml", "records"),
    Rule("procedure", Procedure, "procedures/*.yaml", "records"),
    Rule("sighting", Sighting, "sightings/*/*.yaml", "records"),
    Rule("sale", Sale, "sales/*.csv", "table"),
]
#: The field of `Entries` that holds the records of a kind.
FIELDS = {
    "source": "sources",
    "maker": "makers",
    "livery": "liveries",
    "trait": "traits",
    "family": "families",
    "variant": "variants",
    "set": "sets",
    "slot type": "slot_types",
    "part": "parts",
    "procedure": "procedures",
    "sighting": "sightings",
    "sale": "sales",
}
MODELS: dict[str, type[BaseModel]] = {rule.kind: rule.model for rule in LAYOUT}
#: The kind of the records in a field.
KINDS = {field: kind for kind, field in FIELDS.items()}
#: The rules with the steps of their patterns, by how many there are and the first of them, which is a word in every pattern.
_STEPS: dict[tuple[int, str], list[tuple[Rule, list[str]]]] = {}
for _rule in LAYOUT:
    _pattern = _rule.pattern.split("/")
    _STEPS.setdefault((len(_pattern), _pattern[0]), []).append((_rule, _pattern))
#: The files that are one record of their kind, of which there is one.
WHOLE = {rule.pattern: rule for rule in LAYOUT if rule.shape == "whole"}


Progress = Callable[[Sequence[str]], Iterable[str]]
#: So many files are read one after another by one process, and fewer than this for each are not worth a fork.
FILES_AT_ONCE, FILES_EACH = 20, 150
_ID = re.compile(ID_PATTERN.strip("^$"))


class Place(NamedTuple):
    """Where a record stands: its file below the root, and the path inside the document (of a table: the line, the columns)."""

    path: str
    loc: tuple[str | int, ...]


@dataclass
class Entries:
    """All records by kind and id, and where each stands.

    home: the folder a record belongs to (a family or a slot type).  lost: kinds of which some file could not be read at all.
    """

    root: Path
    about: KnowledgeBase
    sellers: Sellers = field(default_factory=Sellers)
    sources: dict[str, Source] = field(default_factory=dict)
    makers: dict[str, Maker] = field(default_factory=dict)
    liveries: dict[str, Livery] = field(default_factory=dict)
    traits: dict[str, Trait] = field(default_factory=dict)
    families: dict[str, Family] = field(default_factory=dict)
    variants: dict[str, Variant] = field(default_factory=dict)
    sets: dict[str, Set] = field(default_factory=dict)
    slot_types: dict[str, SlotType] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    procedures: dict[str, Procedure] = field(default_factory=dict)
    sightings: dict[str, Sighting] = field(default_factory=dict)
    sales: dict[str, Sale] = field(default_factory=dict)
    places: dict[tuple[str, str], Place] = field(default_factory=dict)
    home: dict[tuple[str, str], str] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)

    def of(self, kind: str) -> dict[str, Any]:
        """The records of one kind, by id."""
        records: dict[str, Any] = getattr(self, FIELDS[kind])
        return records

    def family_of(self, variant: str) -> str:
        """The family whose folder holds the variant."""
        return self.home["variant", variant]

    def ids(self, kind: str) -> list[str]:
        """All ids of a kind, those of records that could not be read included."""
        return [ident for one, ident in self.places if one == kind]

    def inside(self, kind: str, home: str) -> list[str]:
        """The ids of the records of a kind that belong to a folder."""
        return [ident for ident in self.of(kind) if self.home[kind, ident] == home]


@dataclass
class Loaded:
    """What a folder gave: the records that could be read, and what is wrong with the others. `files`: all there are."""

    entries: Entries
    files: list[str]
    findings: list[Finding]


class Known(NamedTuple):
    """Entries that were sound, the files (by path below the root) that have not changed since, and all that there are now."""

    entries: Entries
    unchanged: set[str]
    files: Collection[str]


def load(root: Path, progress: Progress = iter, known: Known | None = None, processes: int | None = None) -> Loaded:
    """Reads every file below `root`, but for those known. Raises BadInput only when there is no knowledge base there at all.

    progress: wraps the list of their paths, to show how far it is.
    processes: how many read a part of them each; as many as the machine has for it where not given.
    """
    if not (root / "knowledge-base.yaml").is_file():
        raise BadInput([Finding(str(root), 0, 0, Kind.MISPLACED, "no knowledge-base.yaml", "a folder of entries, which has one")])
    loader = _Loader(_empty(root, known))
    there = known.files if known else (shown for shown, _ in files_below(root))
    files = sorted(there, key=lambda shown: shown.split("/"))
    held = _held(known.entries) if known else {}
    steps = _steps(progress, files)
    given = _given(root, [shown for shown in files if known is None or shown not in known.unchanged], steps, processes)
    for shown in files:
        if known and shown in known.unchanged and loader.keep(known.entries, shown, held.get(shown, [])):
            continue
        loader.take(shown, given[shown] if shown in given else read_file(root, shown))
    for _ in steps:
        pass  # those that were not read
    for kind, ident in loader.entries.home:
        home_kind = "slot type" if kind == "part" else "family"
        loader.homeless(kind, ident, home_kind)
    return Loaded(loader.entries, files, sorted(set(loader.findings)))


def _steps(progress: Progress, files: Sequence[str]) -> Iterator[str]:
    """Begins to show how far it is with the first step: a bar has a thread of its own, and the fork comes before it."""
    yield from progress(files)


def _given(root: Path, files: Sequence[str], steps: Iterator[str], processes: int | None) -> "dict[str, Given]":
    """What each of the files gives, a step for each."""
    tasks = [files[n : n + FILES_AT_ONCE] for n in range(0, len(files), FILES_AT_ONCE)]
    processes = processes or processes_for(len(files), FILES_EACH)
    if processes > 1:
        for rule in LAYOUT:
            rule.model.model_rebuild()  # once for all of them
    found: dict[str, Given] = {}
    for some in spread(tasks, partial(_read_some, root), processes, helping=True):
        if some is None:
            next(steps, None)
        else:
            found |= some
    return found


def _read_some(root: Path, tasks: Iterable[Sequence[str]]) -> "Iterator[dict[str, Given] | None]":
    """Nothing after each file, and at the end what they all give, so that what they share is packed once."""
    found: dict[str, Given] = {}
    for files in tasks:
        for shown in files:
            found[shown] = read_file(root, shown)
            yield None
    yield found


def _empty(root: Path, known: Known | None) -> Entries:
    """Entries to be filled. What there is one of is taken over where it is known: an empty one takes as long as ten files."""
    if known and all(one in known.unchanged or one not in known.files for one in WHOLE) and _same_sellers(known):
        return Entries(root, known.entries.about, known.entries.sellers)
    return Entries(root, KnowledgeBase(title="unreadable", license="unknown"))


def _same_sellers(known: Known) -> bool:
    """Whether there is a file of them as there was one before."""
    return ("sellers.yaml" in known.files) == (("sellers", "") in known.entries.places)


def _held(entries: Entries) -> dict[str, list[tuple[str, str]]]:
    """The records that each file holds, as (kind, id) in their order."""
    found: dict[str, list[tuple[str, str]]] = {}
    for key, place in entries.places.items():
        found.setdefault(place.path, []).append(key)
    return found


def files_below(root: Path) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """(path below the root, what the disk says of it) of every file but hidden ones; a link to a folder is passed over."""
    waiting = [(str(root), "")]
    while waiting:
        folder, below = waiting.pop()
        try:
            listed = list(os.scandir(folder))
        except OSError:
            continue
        for one in listed:
            if one.name.startswith((".", "__")):
                continue
            if not _is_folder(one):
                yield below + one.name, one
            elif not one.is_symlink():
                waiting.append((one.path, f"{below}{one.name}/"))


def _is_folder(one: os.DirEntry[str]) -> bool:
    try:
        return one.is_dir()
    except OSError:  # a link to itself
        return False


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


class _Loader:
    """Puts together what the files give, in their order."""

    def __init__(self, empty: Entries) -> None:
        self.entries = empty
        self.findings: list[Finding] = []

    def keep(self, old: Entries, shown: str, held: Sequence[tuple[str, str]]) -> bool:
        """Takes over what a file gave before; not if another file has come to say the same."""
        if shown in WHOLE:
            self.whole(old.about if WHOLE[shown].model is KnowledgeBase else old.sellers)
            return True
        places, home = self.entries.places, self.entries.home
        if any(key in places for key in held):
            return False
        for key in held:
            kind, ident = key
            places[key] = old.places[key]
            self.entries.of(kind)[ident] = old.of(kind)[ident]
            if key in old.home:
                home[key] = old.home[key]
        return True

    def take(self, shown: str, given: Given) -> None:
        """Takes what a file gives."""
        self.findings += given.findings
        if given.whole is not None:
            self.whole(given.whole)
        for one in given.records:
            self.record(one)
        rule = rule_for(shown)
        if given.lost and rule is not None:
            self.lose(rule, shown)

    def lose(self, rule: Rule, shown: str) -> None:
        """Remembers what could not be read, so that nothing which leans on it is called wrong for that."""
        steps = shown.split("/")
        if rule.shape == "folder":
            self.entries.places.setdefault((rule.kind, steps[1]), Place(shown, ()))
        elif rule.shape == "records" and (rule.kind, steps[-1].removesuffix(".yaml")) in self.entries.places:
            return
        else:
            self.entries.lost.add(rule.kind)

    def whole(self, record: BaseModel) -> None:
        """A file that is one record of its kind, of which there is one."""
        if isinstance(record, KnowledgeBase):
            self.entries.about = record
        elif isinstance(record, Sellers):
            self.entries.sellers = record
            self.entries.places["sellers", ""] = Place("sellers.yaml", ())

    def record(self, one: One) -> None:
        """A record that no file before gave."""
        kind, ident = one.key
        before = self.entries.places.get(one.key)
        if before:
            where = f"{before.path}:{self.at(before)[0]}"
            found, expected = f'the {kind} "{ident}" again', f"it once; it is in {where} already"
            self.findings.append(Finding(one.place.path, *self.at(one.place), Kind.DUPLICATE, found, expected))
            return
        self.entries.places[one.key] = one.place
        if one.home:
            self.entries.home[one.key] = one.home
        if one.record is not None:
            self.entries.of(kind)[ident] = one.record
        self.findings += one.findings

    def homeless(self, kind: str, ident: str, home_kind: str) -> None:
        """A record in a folder that is no family or no slot type."""
        folder = self.entries.home[kind, ident]
        if (home_kind, folder) not in self.entries.places:
            file = f"families/{folder}/family.yaml" if home_kind == "family" else f"parts/{folder}/slot-type.yaml"
            path = self.entries.places[kind, ident].path
            finding = Finding(path, 0, 0, Kind.DANGLING, f'a {kind} of the {home_kind} "{folder}"', f"the file {file}")
            self.findings.append(finding)

    def at(self, place: Place) -> tuple[int, int]:
        """Line and column of the key of a record."""
        text = (self.entries.root / place.path).read_text("utf-8-sig", errors="replace")
        return places_in(text, place.path).at(place.loc, key=True)


def _apart(plain: Any) -> tuple[Any, Any]:
    """The id a record says, and the record without it."""
    if not isinstance(plain, dict):
        return None, plain
    own = cast("dict[str, Any]", plain)
    return own.get("id"), {key: value for key, value in own.items() if key != "id"}


def rule_for(shown: str) -> Rule | None:
    """The rule for a file at this path below the root."""
    steps = shown.split("/")
    for rule, pattern in _STEPS.get((len(steps), steps[0]), ()):
        if all(_fits(step, wanted) for step, wanted in zip(steps, pattern, strict=True)):
            return rule
    return None


def _fits(step: str, wanted: str) -> bool:
    before, star, after = wanted.partition("*")
    return step == wanted if not star else step.startswith(before) and step.endswith(after) and len(step) > len(wanted) - 1
