"""What each page read, so that the next build makes only those again of which something has changed.

A *key* names something that can be read: ("variant", id) a record, ("variant", "*") all records of a kind, ("in", family) all
that lies in a folder of a family or slot type, ("drawings", home) its drawings, ("file", path) a file below the root, HISTORY the
history of the repository, ("made", address) the bytes of another file of the site, ("made", "*") which files there are,
("made", "**") those of the stages before with their bytes; or ("?", question, ...) the answer to a question about the whole, such
as in which sets a variant came.  Everything a key stands for has a digest.

A page is made again when the digest of a key it read has changed.  An answer counts as changed only when the answer has another
digest: it is worked out anew when something it read has changed, and a variant renamed in one set leaves the pages of all the
others alone.  A *lasting* answer is itself kept for the next build, since it costs more to work out than to keep.
"""

import os
import subprocess
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cached_property
from hashlib import blake2b, sha256
from pathlib import Path
from typing import Any, NamedTuple, ParamSpec, Protocol, TypeAlias, TypeVar

from ..kb import noting
from ..kb.cache import State, piece_of, pieces, states_read, unchanged
from ..kb.load import FIELDS, Entries
from ..kb.noting import Key, Noted, Reads

Q = ParamSpec("Q")
R = TypeVar("R")
#: Those that lie in the folder of a family or slot type and say something of it.
HOMELY = ("variant", "set", "part")
ALL, IN, DRAWINGS, FILE, MADE, SUMS, QUESTION = "*", "in", "drawings", "file", "made", "**", "?"
HISTORY: Key = ("history", "")
#: What a digest says of a record that does not exist.
NOTHING = "-"
#: {an answer: (its digest, what was read for it)}; None for what an earlier build has read for it
Answers: TypeAlias = dict[Key, tuple[str, Reads | None]]


class Sum(NamedTuple):
    """What a file of the site holds: its size in bytes and its SHA-256."""

    size: int
    sha256: str

    @classmethod
    def of(cls, content: bytes) -> "Sum":
        """Of what is to be written."""
        return cls(len(content), sha256(content).hexdigest())


def digest(*texts: str | bytes) -> str:
    """A short name that two different contents do not share."""
    made = blake2b(digest_size=12)
    for text in texts:
        data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
        made.update(len(data).to_bytes(8, "big"))
        made.update(data)
    return made.hexdigest()


# Writing down what is read -----------------------------------------------------------------------------------------------


class Earlier(Protocol):
    """What an earlier build found out."""

    def answer(self, key: Key) -> tuple[Any, str] | None:
        """(a lasting answer, its digest) as it was, if it would be the same now."""


class Memo(noting.Memo):
    """Writes down the keys that are read while something is made, and keeps what was made before, and answers to questions."""

    def __init__(self) -> None:
        super().__init__()
        self._questions: dict[str, Callable[..., Any]] = {}
        self._lasting: set[str] = set()
        #: key of an answer -> the answer, its digest, and what was read for it
        self.answers: dict[Key, tuple[Any, str, Reads | None]] = {}
        #: Those that were worked out here and that nobody has fetched yet.
        self._new: list[Key] = []
        #: What an earlier build found out, where there was one.
        self.earlier: Earlier | None = None

    def question(self, name: str, make: Callable[Q, R], *, lasting: bool = False) -> Callable[Q, R]:
        """A question about the whole, for texts that name something; whoever asks has read nothing but the answer.

        The answer is plain: texts, numbers, lists, dictionaries and tuples, with equal digests where it is equal.  About what is
        gone since an earlier build `make` raises KeyError and nothing else.
        lasting: the next build has the answer from this one, unless something that was read for it has changed.
        """
        self._questions[name] = make
        if lasting:
            self._lasting.add(name)

        def ask(*args: Q.args, **_: Q.kwargs) -> R:
            key = (QUESTION, name, *[str(one) for one in args])
            self.note(key)
            return self._answer(key)

        return ask

    def _answer(self, key: Key) -> Any:
        if key not in self.answers:
            kept = self.earlier.answer(key) if self.earlier and key[1] in self._lasting else None
            if kept is not None:
                self.answers[key] = (*kept, None)
            else:
                value, read = self.reading(lambda: self._questions[key[1]](*key[2:]))
                self.answers[key] = (value, digest(repr(value)), read)
                self._new.append(key)
        return self.answers[key][0]

    def found(self) -> tuple[Answers, dict[Key, Any]]:
        """(what has been worked out here since it was last asked, those of the answers that last with what they say)."""
        new, self._new = self._new, []
        lasting = {key: self.answers[key][0] for key in new if key[1] in self._lasting}
        return {key: self.answers[key][1:] for key in new}, lasting

    def learn(self, lasting: Mapping[Key, Any], answers: Answers) -> None:
        """Takes over the lasting answers that another process has worked out, with what it says of them."""
        self.answers |= {key: (value, *answers[key]) for key, value in lasting.items()}

    def digest_of(self, key: Key) -> str:
        """The digest of an answer, which is worked out if it was not before; NOTHING where there is nothing left to ask about."""
        try:
            self._answer(key)
        except KeyError:
            return NOTHING
        return self.answers[key][1]


def noted(entries: Entries, memo: Memo) -> Entries:
    """The same entries, every reading of which is written down. `about` and `root` are not: all pages lean on them."""

    def records(kind: str) -> Noted[str, Any]:
        return Noted(entries.of(kind), memo, lambda ident: (kind, ident), ((kind, ALL),))

    kinds = tuple((kind, ALL) for kind in FIELDS)
    fields = {name: records(kind) for kind, name in FIELDS.items()}
    places = Noted(entries.places, memo, lambda at: at, kinds)
    home = Noted(entries.home, memo, lambda at: at, kinds)
    return replace(entries, **fields, places=places, home=home)


# Digests of what entries hold --------------------------------------------------------------------------------------------


class Known(NamedTuple):
    """What a build knew.

    pieces   {(kind, folder or file): a digest of the records there};  records: {(kind, id): a digest of the record}
    files    every file below the root as it was;  drawn: {path: a digest of the file} of drawings and photographs
    history  the digest of HISTORY
    """

    pieces: Mapping[tuple[str, str], str] = {}
    records: Mapping[Key, str] = {}
    files: Mapping[str, State] = {}
    drawn: Mapping[str, str] = {}
    history: str = NOTHING


class Digests:
    """The digests of records, folders and drawings as they are now."""

    def __init__(self, entries: Entries, known: Known) -> None:
        self.entries = entries
        self._known = known
        self._files = states_read(entries)
        self._drawn: dict[str, str] = {}
        self._found: dict[Key, str] = {}

    @property
    def nothing_changed(self) -> bool:
        """Whether no file below the root is another, and the history goes no further."""
        root, then, now = self.entries.root, self._known.files, self._files
        sure = now and now.keys() == then.keys() and not any(one.digest for one in now.values())
        same = sure and all(unchanged(root, path, then[path], one) for path, one in now.items())
        return bool(same) and self(HISTORY) == self._known.history

    @property
    def known(self) -> Known:
        """What the next build is told."""
        return Known(self._pieces, self.records, self._files, self._drawn, self(HISTORY))

    @cached_property
    def _pieces(self) -> dict[tuple[str, str], str]:
        return pieces(self.entries)

    def __call__(self, key: Key) -> str:
        """The digest of a key that is no question, and no file of the site."""
        if key not in self._found:
            self._found[key] = self._work_out(key)
        return self._found[key]

    def _work_out(self, key: Key) -> str:
        kind, ident = key
        if kind == IN:
            return digest(*(text for one in self._folders.get(ident, []) for text in (*one, self(one))))
        if key == HISTORY:
            return head_of(self.entries.root)
        if kind == FILE:
            return self._file(ident)
        if kind == DRAWINGS:
            return digest(*(self._file(path) for folder in _drawing_folders(ident) for path in self._drawings(folder)))
        if kind not in FIELDS:
            return NOTHING  # the knowledge base itself: all pages lean on it
        records = self.entries.of(kind)
        if ident == ALL:
            return digest(*(text for one in records for text in (one, self((kind, one)))))  # pages show them in their order
        if ident not in records:
            return NOTHING
        home, place = self.entries.home.get((kind, ident)), self.entries.places.get((kind, ident))
        return f"{home} {place} {self.records[key]}"

    @cached_property
    def records(self) -> dict[Key, str]:
        """{(kind, id): a digest of what the record says}; not worked out anew where it lies among those that are the same."""
        known, same = self._known, self._same
        return {
            (kind, ident): known.records[kind, ident]
            if (kind, ident) in known.records and (kind, piece_of(self.entries, kind, ident)) in same
            else digest(record.model_dump_json())
            for kind in FIELDS
            for ident, record in self.entries.of(kind).items()
        }

    @cached_property
    def _same(self) -> set[tuple[str, str]]:
        return {piece for piece, now in self._pieces.items() if self._known.pieces.get(piece) == now}

    @cached_property
    def _folders(self) -> dict[str, list[Key]]:
        found: dict[str, list[Key]] = {}
        for one, home in self.entries.home.items():
            if one[0] in HOMELY:
                found.setdefault(home, []).append(one)
        return found

    def _file(self, path: str) -> str:
        """Of a file below the root."""
        if path not in self._drawn:
            state, known = self._files.get(path), self._known
            same = state is not None and not state.digest and state == known.files.get(path) and path in known.drawn
            self._drawn[path] = known.drawn[path] if same else self._read(path)
        return self._drawn[path]

    def _read(self, path: str) -> str:
        """Of what the disk has; like nothing else where the file was saved after the entries were read, and pages may differ."""
        file, state = self.entries.root / path, self._files.get(path)
        if not file.is_file():
            return NOTHING
        seen = file.stat()
        if state is not None and (seen.st_size, seen.st_mtime_ns) != (state.size, state.written):
            return digest(os.urandom(16))
        return digest(file.name, file.read_bytes())

    def _drawings(self, folder: str) -> list[str]:
        if self._files:
            return self._drawings_read.get(folder, [])
        place = self.entries.root / folder
        return [f"{folder}/{one.name}" for one in sorted(place.glob("*.svg"))] if place.is_dir() else []

    @cached_property
    def _drawings_read(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for path in sorted(path for path in self._files if path.endswith(".svg")):
            found.setdefault(path.rpartition("/")[0], []).append(path)
        return found


def head_of(root: Path) -> str:
    """The commit that a repository is at; NOTHING without one."""
    try:
        said = subprocess.run(["git", "-C", str(root), "rev-parse", "HEAD"], capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return NOTHING
    return said.stdout.strip()


def drawings_of(root: Path, home: str) -> list[Path]:
    """The files of the drawings of a home: "" for the common ones, else a family or a slot type."""
    folders = [root / folder for folder in _drawing_folders(home)]
    return [path for folder in folders if folder.is_dir() for path in sorted(folder.glob("*.svg"))]


def _drawing_folders(home: str) -> list[str]:
    return [f"families/{home}/drawings", f"parts/{home}"] if home else ["drawings"]
