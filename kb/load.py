"""A folder of entries, read whole: every record in its place, or every problem at once."""

import csv
import io
import os
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple, cast

from pydantic import BaseModel

from .findings import BadInput, Finding, Kind, listed, nearest, quoted
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


def load(root: Path, progress: Progress = iter, known: Known | None = None) -> Loaded:
    """Reads every file below `root`, but for those known. Raises BadInput only when there is no knowledge base there at all.

    `progress` wraps the list of their paths, to show how far it is.
    """
    if not (root / "knowledge-base.yaml").is_file():
        raise BadInput([Finding(str(root), 0, 0, Kind.MISPLACED, "no knowledge-base.yaml", "a folder of entries, which has one")])
    loader = _Loader(_empty(root, known))
    there = known.files if known else (shown for shown, _ in files_below(root))
    files = sorted(there, key=lambda shown: shown.split("/"))
    held = _held(known.entries) if known else {}
    for shown in progress(files):
        if known is None or shown not in known.unchanged or not loader.keep(known.entries, shown, held.get(shown, [])):
            loader.file(root / shown, shown)
    for kind, ident in loader.entries.home:
        home_kind = "slot type" if kind == "part" else "family"
        loader.homeless(kind, ident, home_kind)
    return Loaded(loader.entries, files, sorted(set(loader.findings)))


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


class _Loader:
    def __init__(self, empty: Entries) -> None:
        self.root = empty.root
        self.inside = os.path.realpath(self.root)
        self.entries = empty
        self.findings: list[Finding] = []

    def keep(self, old: Entries, shown: str, held: Sequence[tuple[str, str]]) -> bool:
        """Takes over what a file gave before; not if another file has come to say the same."""
        if shown in WHOLE:
            self.whole(WHOLE[shown], old.about if WHOLE[shown].model is KnowledgeBase else old.sellers)
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

    def file(self, path: Path, shown: str) -> None:
        rule = rule_for(shown)
        if rule is None:
            if path.suffix in (".yaml", ".yml", ".csv"):
                places = listed((rule.pattern for rule in LAYOUT), most=20)
                self.findings.append(Finding(shown, 0, 0, Kind.MISPLACED, "a file no record lies in", places))
            return
        try:
            if path.is_symlink() and not Path(os.path.realpath(path)).is_relative_to(self.inside):
                raise BadInput([Finding(shown, 0, 0, Kind.MISPLACED, "a link that leads out of the folder", "the file itself")])
            text = decode(read_bytes(path, shown), shown)
            if rule.shape == "table":
                self.table(rule, text, shown)
            else:
                self.document(rule, text, shown)
        except BadInput as error:
            self.findings += error.findings
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

    def document(self, rule: Rule, text: str, shown: str) -> None:
        plain = read(text, shown)
        parts = shown.split("/")
        stem, folder = parts[-1].removesuffix(".yaml"), parts[1] if len(parts) > 2 else ""
        if rule.shape == "whole":
            self.whole(rule, build(rule.model, {} if plain is None else plain, places_in(text, shown)))
        elif rule.shape == "folder":
            self.record(rule, folder, plain, text, Place(shown, ()))
        elif rule.shape == "mapping":
            if plain is not None and not isinstance(plain, dict):
                self.say(text, Place(shown, ()), Kind.WRONG_VALUE, quoted(plain), f"a mapping from id to {rule.kind}")
                self.entries.lost.add(rule.kind)
                return
            for ident, value in cast("dict[str, Any]", plain or {}).items():
                self.record(rule, ident, value, text, Place(shown, (ident,)))
        elif isinstance(plain, list):
            for index, value in enumerate(cast("list[Any]", plain)):
                self.listed(rule, index, value, text, shown, folder)
        else:
            ident, own = _apart(plain)
            if ident not in (None, stem):
                said = quoted(ident)
                self.say(text, Place(shown, ("id",)), Kind.WRONG_VALUE, said, f'the id "{stem}", as the file is called', stem)
            self.record(rule, stem, own, text, Place(shown, ()), folder)

    def whole(self, rule: Rule, record: BaseModel) -> None:
        """A file that is one record of its kind, of which there is one."""
        if isinstance(record, KnowledgeBase):
            self.entries.about = record
        elif isinstance(record, Sellers):
            self.entries.sellers = record
            self.entries.places[rule.kind, ""] = Place(rule.pattern, ())

    def listed(self, rule: Rule, index: int, value: Any, text: str, shown: str, folder: str) -> None:
        """One record of a list in one file; it says its id itself."""
        place = Place(shown, (index,))
        ident, own = _apart(value)
        if not isinstance(ident, str):
            kind = Kind.MISSING_KEY if isinstance(value, dict) else Kind.WRONG_VALUE
            found = 'no key "id"' if isinstance(value, dict) else quoted(value)
            self.say(text, place, kind, found, f'a {rule.kind} with the key "id", as in every list')
            return
        self.record(rule, ident, own, text, place, folder)

    def record(self, rule: Rule, ident: str, plain: Any, text: str, place: Place, folder: str = "") -> None:
        if not re.fullmatch(ID_PATTERN.strip("^$"), ident) or len(ident) > 80:
            expected = "an id: lower-case letters and digits in words joined by hyphens"
            self.say(text, place, Kind.WRONG_VALUE, quoted(ident), expected, key=True)
            return
        if ident in RESERVED:
            self.say(text, place, Kind.WRONG_VALUE, quoted(ident), "an id that is not a reserved word", key=True)
            return
        before = self.entries.places.get((rule.kind, ident))
        if before:
            where = f"{before.path}:{self.line(before)}"
            self.say(
                text, place, Kind.DUPLICATE, f'the {rule.kind} "{ident}" again', f"it once; it is in {where} already", key=True
            )
            return
        self.entries.places[rule.kind, ident] = place
        if folder:
            self.entries.home[rule.kind, ident] = folder
        if plain is None:
            plain = {}
        try:
            self.entries.of(rule.kind)[ident] = build(rule.model, plain, places_in(text, place.path), place.loc)
        except BadInput as error:
            self.findings += error.findings

    def table(self, rule: Rule, text: str, shown: str) -> None:
        """Rows of a CSV table, a record each; empty cells are left out."""
        keys = keys_of(rule.model)
        rows = csv.reader(io.StringIO(text, newline=None), strict=True)
        line = 1
        try:
            empty: list[str] = []
            first = next(rows, empty)
            header = [cell.strip() for cell in first]
            if not header:
                expected = "a first line with the names of the columns"
                raise BadInput([Finding(shown, 0, 0, Kind.MISSING_KEY, "an empty table", expected)])
            self.header(header, keys, shown)
            line = rows.line_num + 1
            for row in rows:
                if len(row) not in (0, len(header)):
                    found = f"{len(row)} cells"
                    self.findings.append(Finding(shown, line, 1, Kind.WRONG_VALUE, found, f"{len(header)} cells"))
                elif row:
                    self.row(rule, dict(zip(header, row, strict=True)), TableRow(shown, line, header))
                line = rows.line_num + 1
        except csv.Error as error:
            found = str(error)
            if "field larger" in found:
                found = f"a cell over {csv.field_size_limit()} characters"
            raise BadInput([Finding(shown, line, 1, Kind.UNREADABLE, found, "a CSV table")]) from None

    def header(self, header: list[str], keys: list[str], shown: str) -> None:
        """The first line of a table. Raises BadInput when a column is no column, or there twice."""
        findings: list[Finding] = []
        for column, name in enumerate(header, 1):
            if name not in keys:
                found = f"the column {quoted(name)}"
                findings.append(Finding(shown, 1, column, Kind.UNKNOWN_KEY, found, listed(keys), nearest(name, keys)))
            elif name in header[: column - 1]:
                findings.append(Finding(shown, 1, column, Kind.DUPLICATE, f"the column {quoted(name)} again", "it once"))
        if findings:
            raise BadInput(findings)

    def row(self, rule: Rule, cells: dict[str, str], where: "TableRow") -> None:
        ident = f"{where.shown.rsplit('/', 1)[-1].removesuffix('.csv')}-{where.line}"
        plain = {name: cell.strip() for name, cell in cells.items() if cell.strip()}
        try:
            self.entries.of(rule.kind)[ident] = build(rule.model, plain, where)
            self.entries.places[rule.kind, ident] = Place(where.shown, (where.line, *where.header))
        except BadInput as error:
            self.findings += error.findings

    def homeless(self, kind: str, ident: str, home_kind: str) -> None:
        """A record in a folder that is no family or no slot type."""
        folder = self.entries.home[kind, ident]
        if (home_kind, folder) not in self.entries.places:
            file = f"families/{folder}/family.yaml" if home_kind == "family" else f"parts/{folder}/slot-type.yaml"
            path = self.entries.places[kind, ident].path
            finding = Finding(path, 0, 0, Kind.DANGLING, f'a {kind} of the {home_kind} "{folder}"', f"the file {file}")
            self.findings.append(finding)

    def line(self, place: Place) -> int:
        """The line of a record that stands somewhere already."""
        text = (self.root / place.path).read_text("utf-8-sig", errors="replace")
        return places_in(text, place.path).at(place.loc, key=True)[0]

    def say(
        self, text: str, place: Place, kind: Kind, found: str, expected: str, near: str | None = None, key: bool = False
    ) -> None:
        line, column = places_in(text, place.path).at(place.loc, key=key)
        self.findings.append(Finding(place.path, line, column, kind, found, expected, near))


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
