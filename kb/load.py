"""A folder of entries, read whole: every record in its place, or every problem at once."""

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from pydantic import BaseModel

from .findings import BadInput, Finding, Kind
from .forked import processes_for, spread, stepped
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

if TYPE_CHECKING:
    from .one_file import Given, One
    from .yaml_text import Places


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
    from .one_file import read_file  # here and below: entries from the store are not read, and what reads them takes long to load

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
    for some in stepped(spread(tasks, partial(_read_some, root), processes, helping=True), steps):
        found |= some
    return found


def _read_some(root: Path, tasks: Iterable[Sequence[str]]) -> "Iterator[dict[str, Given] | int]":
    """After each task how many files it were, and at the end what they all give, so that what they share is packed once."""
    from .one_file import read_file

    found: dict[str, Given] = {}
    for files in tasks:
        for shown in files:
            found[shown] = read_file(root, shown)
        yield len(files)
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


def _places_in(root: Path, path: str) -> "Places":
    from .yaml_text import places_in

    return places_in((root / path).read_text("utf-8-sig", errors="replace"), path)


class _Loader:
    """Puts together what the files give, in their order."""

    def __init__(self, empty: Entries) -> None:
        self.entries = empty
        self.findings: list[Finding] = []
        self._places = lru_cache(maxsize=4)(partial(_places_in, empty.root))

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

    def take(self, shown: str, given: "Given") -> None:
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

    def record(self, one: "One") -> None:
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
        return self._places(place.path).at(place.loc, key=True)


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
