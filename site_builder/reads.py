"""What each page read, so that the next build makes only those again of which something has changed.

A *key* names something that can be read: ("variant", id) a record, ("variant", "*") all records of a kind, ("in", family) all
that lies in a folder of a family or slot type, ("drawings", home) its drawings, ("file", path) a file below the root, HISTORY the
history of the repository, ("made", address) the bytes of another file of the site, ("made", "*") which files there are; or
("?", question, ...) the answer to a question about the whole, such as in which sets a variant came.  Everything a key stands for
has a digest.

A page is made again when the digest of a key it read has changed.  An answer counts as changed only when the answer has another
digest: it is worked out anew when something it read has changed, and a variant renamed in one set leaves the pages of all the
others alone.  A *lasting* answer is itself kept for the next build, since it costs more to work out than to keep.
"""

import subprocess
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from hashlib import blake2b, sha256
from pathlib import Path
from typing import Any, NamedTuple, ParamSpec, TypeAlias, TypeVar

from ..kb import noting
from ..kb.load import FIELDS, Entries
from ..kb.noting import Bundle, Key, Noted, Reads

Q = ParamSpec("Q")
R = TypeVar("R")
#: Those that lie in the folder of a family or slot type and say something of it.
HOMELY = ("variant", "set", "part")
ALL, IN, DRAWINGS, FILE, MADE, QUESTION = "*", "in", "drawings", "file", "made", "?"
HISTORY: Key = ("history", "")
#: What a digest says of a record that does not exist.
NOTHING = "-"
#: {an answer: (its digest, what was read for it)}
Answers: TypeAlias = dict[Key, tuple[str, Reads]]


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


class Memo(noting.Memo):
    """Writes down the keys that are read while something is made, and keeps what was made before, and answers to questions."""

    def __init__(self) -> None:
        super().__init__()
        self._questions: dict[str, Callable[..., Any]] = {}
        self._lasting: set[str] = set()
        #: key of an answer -> the answer, its digest, and what was read for it
        self.answers: dict[Key, tuple[Any, str, Reads]] = {}
        #: What an earlier build found out, where there was one.
        self.earlier: Changes | None = None

    def question(self, name: str, make: Callable[Q, R], *, lasting: bool = False) -> Callable[Q, R]:
        """A question about the whole, for texts that name something; whoever asks has read nothing but the answer.

        The answer is plain: texts, numbers, lists, dictionaries and tuples, with equal digests where it is equal.
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
            if kept is None:
                value, read = self.reading(lambda: self._questions[key[1]](*key[2:]))
                kept = (value, digest(repr(value)), read)
            self.answers[key] = kept
        return self.answers[key][0]

    def lasting(self) -> dict[Key, Any]:
        """The lasting answers that are known by now."""
        return {key: one[0] for key, one in self.answers.items() if key[1] in self._lasting}

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


class Digests:
    """The digests of records, folders and drawings as they are now, and of the files of the site.

    made: what those files hold, as far as they are made.
    """

    def __init__(self, entries: Entries, made: Mapping[str, Sum]) -> None:
        self.entries = entries
        #: Of all files of the site; whoever lists them says so, before anybody asks which there are.
        self.addresses: list[str] = []
        self._made = made
        self._found: dict[Key, str] = {}

    def __call__(self, key: Key) -> str:
        """The digest of a key that is no question."""
        if key not in self._found:
            self._found[key] = self._work_out(key)
        return self._found[key]

    def _work_out(self, key: Key) -> str:
        kind, ident = key
        if kind == IN:
            return digest(*(text for one in self._folders.get(ident, []) for text in (*one, self(one))))
        if key == HISTORY:
            return head_of(self.entries.root)
        if kind == MADE:
            if ident == ALL:
                return digest(*sorted(self.addresses))
            return self._made[ident].sha256 if ident in self._made else NOTHING
        if kind == FILE:
            path = self.entries.root / ident
            return self._file(path) if path.is_file() else NOTHING
        if kind == DRAWINGS:
            return digest(*(self._file(path) for path in drawings_of(self.entries.root, ident)))
        if kind not in FIELDS:
            return NOTHING  # the knowledge base itself: all pages lean on it
        records = self.entries.of(kind)
        if ident == ALL:
            return digest(*(text for one in sorted(records) for text in (one, self((kind, one)))))
        if ident not in records:
            return NOTHING
        where = str((self.entries.home.get((kind, ident)), self.entries.places.get((kind, ident))))
        return digest(where, records[ident].model_dump_json())

    @property
    def _folders(self) -> dict[str, list[Key]]:
        if not hasattr(self, "_by_folder"):
            self._by_folder: dict[str, list[Key]] = {}
            for one in sorted(one for one in self.entries.home if one[0] in HOMELY):
                self._by_folder.setdefault(self.entries.home[one], []).append(one)
        return self._by_folder

    def _file(self, path: Path) -> str:
        return digest(path.name, path.read_bytes())


def head_of(root: Path) -> str:
    """The commit that a repository is at; NOTHING without one."""
    try:
        said = subprocess.run(["git", "-C", str(root), "rev-parse", "HEAD"], capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return NOTHING
    return said.stdout.strip()


def drawings_of(root: Path, home: str) -> list[Path]:
    """The files of the drawings of a home: "" for the common ones, else a family or a slot type."""
    folders = [root / "drawings"] if not home else [root / "families" / home / "drawings", root / "parts" / home]
    return [path for folder in folders if folder.is_dir() for path in sorted(folder.glob("*.svg"))]


# The record of a build -----------------------------------------------------------------------------------------------------


class Written(NamedTuple):
    """A file of the site: what was read for it, the time it was written (ns), and what it holds."""

    read: Reads
    at: int
    sum: Sum


@dataclass
class Record:
    """What a build wrote and from what, kept for the next one, which may lean on it where all pages lean on the same.

    digests   of every key that was read
    answers   what was read for each answer
    lasting   those answers that are kept themselves
    outputs   every file of the site
    """

    digests: dict[Key, str] = field(default_factory=dict)
    answers: dict[Key, Reads] = field(default_factory=dict)
    lasting: dict[Key, Any] = field(default_factory=dict)
    outputs: dict[str, Written] = field(default_factory=dict)


class Changes:
    """What has changed since a build."""

    def __init__(self, old: Record, digests: Callable[[Key], str], memo: Memo) -> None:
        self.old, self.digests, self.memo = old, digests, memo
        self._changed: dict[Key | Bundle, bool] = {}
        self._same: set[Key | Bundle] = set()

    def any(self, read: Reads) -> bool:
        """Whether something of what was read has changed, or was not there then."""
        return not self._same.issuperset(read) and any(self.of(one) for one in read)  # mostly nothing has, and all is known

    def of(self, one: Key | Bundle) -> bool:
        """Whether what the key stands for has changed, or something in the bundle."""
        if one not in self._changed:
            changed = self.any(one.read) if isinstance(one, Bundle) else self._look(one)
            self._changed[one] = changed
            if not changed:
                self._same.add(one)
        return self._changed[one]

    def answer(self, key: Key) -> tuple[Any, str, Reads] | None:
        """(a lasting answer, its digest, what was read for it) as it was, if it would be the same now."""
        if key not in self.old.lasting or self.any(self.old.answers[key]):
            return None
        return self.old.lasting[key], self.old.digests[key], self.old.answers[key]

    def _look(self, key: Key) -> bool:
        before = self.old.digests.get(key)
        if before is None:
            return True
        if key[0] != QUESTION:
            return self.digests(key) != before
        if not self.any(self.old.answers[key]):
            return False
        return self.memo.digest_of(key) != before


def recorded(
    outputs: Mapping[str, Written], answers: Answers, lasting: dict[Key, Any], digests: Callable[[Key], str], old: Record | None
) -> Record:
    """The record of a build: `outputs`, with every key that was read for them and whatever those lean on in turn.

    answers: of the questions that were asked now, the digest and what was read;  lasting: those answers that are kept.
    """
    made = Record(lasting=lasting, outputs=dict(outputs))
    seen: set[Bundle] = set()
    waiting = [*(one.read for one in outputs.values()), *((key,) for key in made.lasting)]
    while waiting:
        for one in waiting.pop():
            if isinstance(one, Bundle):
                if one not in seen:
                    seen.add(one)
                    waiting.append(one.read)
            elif one not in made.digests:
                if one[0] != QUESTION:
                    made.digests[one] = digests(one)
                    continue
                if one in answers:
                    made.digests[one], made.answers[one] = answers[one]
                else:
                    assert old is not None  # an answer that nobody worked out now is one that did not change
                    made.digests[one], made.answers[one] = old.digests[one], old.answers[one]
                    made.lasting |= {one: old.lasting[one]} if one in old.lasting else {}
                waiting.append(made.answers[one])
    return made
