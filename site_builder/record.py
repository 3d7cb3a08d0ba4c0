"""The record of a build: what each file of the site was made from, so that the next build makes only what leans on a change.

What can be read has a number, which it keeps from build to build as long as somebody leans on it.  Whatever leans on a change,
however far, is *doubtful*: that is found by numbers alone, and takes no longer than the change is large.  It is cleared when
every answer that it read is the same still.  Where few answers lean on what has changed, they are asked first, and then those
that lean on the ones that say something else now: all that is never reached so is cleared without a look.
"""

import pickle
from collections.abc import Callable, Iterable, Mapping, Set
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeAlias, cast

from ..kb.noting import Bundle, Key, Reads
from .folder import MARKER, Seen
from .reads import ALL, MADE, QUESTION, SUMS, Answers, Known, Memo, Sum

Numbers: TypeAlias = tuple[int, ...]
#: What nobody leans on any more is looked for when there are so many times more keys than after the last time.
MUCH_UNREAD = 1.2
#: So many answers and bundles that lean on what has changed are asked one after another, before anything is made.
FEW_ASKED = 1000


class Written(NamedTuple):
    """A file of the site that was made now: what was read for it, the time it was written (ns), and what it holds."""

    read: Reads
    at: int
    sum: Sum


class Stood(NamedTuple):
    """A file of the site as the record has it: the numbers of what was read, when it was written, its size and SHA-256."""

    read: Numbers
    at: int
    size: int
    sha256: str


@dataclass
class Record:
    """What a build wrote and from what, kept for the next one, which may lean on it where all pages lean on the same.

    keys      {number: what can be read}, but for bundles
    digests   {number: its digest}, but for the files of the site, whose sums stand with them
    reads     {number of an answer or a bundle: what was read for it}
    lasting   {number: an answer that lasts, pickled}
    outputs   every file of the site
    known     what the build knew of the entries;  pages: how many of the files are pages
    read      how many keys and bundles somebody leaned on when that was last looked at
    """

    keys: dict[int, Key] = field(default_factory=dict)
    digests: dict[int, str] = field(default_factory=dict)
    reads: dict[int, Numbers] = field(default_factory=dict)
    lasting: dict[int, bytes] = field(default_factory=dict)
    outputs: dict[str, Stood] = field(default_factory=dict)
    known: Known = Known()  # noqa: RUF009 (nobody changes it)
    pages: int = 0
    read: int = 0

    def stands(self, present: Mapping[str, Seen]) -> bool:
        """Whether a folder holds these files as they were written, and nothing else but the list of them."""
        written = {address: (one.size, one.at) for address, one in self.outputs.items()}
        return written == {path: seen for path, seen in present.items() if path != MARKER}

    def __getstate__(self) -> dict[str, Any]:
        """Plain tuples, which are pickled in a third of the time."""
        return vars(self) | {"outputs": {address: tuple(one) for address, one in self.outputs.items()}}

    def __setstate__(self, state: dict[str, Any]) -> None:
        vars(self).update(state | {"outputs": {address: Stood(*one) for address, one in state["outputs"].items()}})


class Changes:
    """What has changed since a build. `digests`: of what is no question and no file of the site, as it is now.

    Of all that has a number, what is another now is in `_changed`.  What leans on that is in `_doubtful` until it is looked at,
    and in `cleared` if it is not another after all.
    """

    def __init__(self, old: Record, digests: Callable[[Key], str], memo: Memo) -> None:
        self.old, self.memo = old, memo
        self.numbers = {key: number for number, key in old.keys.items()}
        self._changed = set(self._differing(digests))
        self._doubtful, self.cleared = set[int](), set[int]()
        self._lean_on(self._changed)

    def _differing(self, digests: Callable[[Key], str]) -> Iterable[int]:
        """Of what it can be told at once that it is another than it was."""
        keys, before = self.old.keys, self.old.digests
        told = {number: key for number, key in keys.items() if key[0] not in (QUESTION, MADE)}
        yield from (number for number in keys.keys() - before.keys() if keys[number][0] != MADE)
        yield from (number for number, key in told.items() if number in before and digests(key) != before[number])

    def files_made(self, written: Mapping[str, Written], addresses: Set[str]) -> None:
        """Tells which files of the site were made by now, and of all there will be the addresses."""
        old, found = self.old.outputs, set[Key]()
        if old.keys() != addresses:
            found.update((MADE, one) for one in (ALL, *(old.keys() - addresses)))
        found.update((MADE, one) for one, made in written.items() if one not in old or old[one].sha256 != made.sum.sha256)
        found.update([(MADE, SUMS)] if found else [])
        changed = {self.numbers[key] for key in found if key in self.numbers}
        self._changed |= changed
        self._lean_on(changed)
        self._settle()

    def any(self, read: Numbers) -> bool:
        """Whether something of what was read has changed, or was not there then."""
        if not self._changed.isdisjoint(read):
            return True
        doubtful = self._doubtful.intersection(read) if self._doubtful else ()
        return any(self._look_at(one) for one in doubtful)  # to look at one may tell of others

    def answer(self, key: Key) -> tuple[Any, str] | None:
        """(a lasting answer, its digest) as it was, if it would be the same now."""
        number = self.numbers.get(key)
        if number is None or number not in self.old.lasting or self.any(self.old.reads[number]):
            return None
        self.clear([number])
        return pickle.loads(self.old.lasting[number]), self.old.digests[number]

    def clear(self, numbers: Iterable[int]) -> None:
        """What might have been another now, and is not; also as another process has found."""
        self._doubtful.difference_update(numbers)
        self.cleared.update(numbers)

    def uncleared(self) -> set[Key]:
        """The answers that may be others now."""
        keys = self.old.keys
        return {keys[one] for one in self._changed | self._doubtful if one in keys and keys[one][0] == QUESTION}

    def _lean_on(self, changed: set[int]) -> None:
        """Whatever leans on these, however far, may be another too."""
        new = changed
        while new:
            known = self._changed | self._doubtful
            new = {one for one, read in self.old.reads.items() if not (one in known or new.isdisjoint(read))}
            self._doubtful |= new
            self.cleared -= new  # of what had changed by then

    def _settle(self) -> None:
        """Finds all that is another, from the change outwards, as long as few lean on it."""
        reads, spread = self.old.reads, set[int]()
        while new := self._changed - spread:
            spread |= new
            leaning = [one for one in self._doubtful if not new.isdisjoint(reads[one])]
            if len(leaning) > FEW_ASKED:
                return
            for one in leaning:
                self._look_at(one)
        self.clear(set(self._doubtful))

    def _look_at(self, number: int) -> bool:
        """Whether what was doubtful is another: an answer that says something else, a bundle if anything in it has changed."""
        if number in self._doubtful:
            key, another = self.old.keys.get(number), self.any(self.old.reads[number])
            if another and key is not None:
                another = self.memo.digest_of(key) != self.old.digests.get(number)
            self._doubtful.discard(number)
            (self._changed if another else self.cleared).add(number)
        return number in self._changed


class Recorder:
    """Makes the record of a build out of that of the last one, if there was one, bit by bit as the build goes on."""

    def __init__(self, digests: Callable[[Key], str], changes: Changes | None) -> None:
        old = changes.old if changes else Record()
        self._digests = digests
        self._numbers: dict[Key | Bundle, int] = {**changes.numbers} if changes else {}
        self._next = max([-1, *old.keys, *old.reads]) + 1
        self._record = Record(dict(old.keys), dict(old.digests), dict(old.reads), dict(old.lasting), dict(old.outputs))
        self._changes = changes
        self._answered: set[Key] = set()

    def learn(self, written: Mapping[str, Written], answers: Answers, lasting: Mapping[Key, Any]) -> None:
        """Takes down files that were written now, and the answers that were worked out: their digests and what was read for them.

        lasting: those of the answers that are kept.
        """
        record = self._record
        for key, (mine, read) in answers.items():
            if read is None:
                continue
            number = self._number(key)
            record.digests[number], record.reads[number] = mine, self._all(read)
            if key in lasting:
                record.lasting[number] = pickle.dumps(lasting[key], protocol=pickle.HIGHEST_PROTOCOL)
        record.outputs |= {address: Stood(self._all(one.read), one.at, *one.sum) for address, one in written.items()}
        self._answered.update(answers)

    def recorded(self, addresses: Iterable[str]) -> Record:
        """The record of a build that has files of these addresses, once all that was made now is taken down."""
        record = self._record
        record.read = self._changes.old.read if self._changes else 0
        self._forget_changed()
        record.outputs = {one: record.outputs[one] for one in addresses}
        if len(record.keys) + len(record.reads) > MUCH_UNREAD * record.read:
            self._forget_unread()
        return record

    def _forget_changed(self) -> None:
        """What has changed has its digest of now; an answer that nobody has worked out anew has none."""
        if self._changes is None:
            return
        record = self._record
        for key in self._changes.uncleared() - self._answered:
            for held in (record.digests, record.lasting, record.reads):
                held.pop(self._numbers[key], None)
        for number, key in record.keys.items():
            if key[0] not in (QUESTION, MADE):
                record.digests[number] = self._digests(key)

    def _forget_unread(self) -> None:
        record = self._record
        seen = set(record.lasting)
        for one in record.outputs.values():
            seen.update(one.read)
        waiting = list(seen)
        while waiting:
            new = set(record.reads.get(waiting.pop(), ())) - seen
            seen |= new
            waiting += new
        for held in (record.keys, record.digests, record.reads):
            for number in held.keys() - seen:
                del held[number]
        record.read = len(record.keys) + len(record.reads)

    def _all(self, read: Reads) -> Numbers:
        found = set(map(self._numbers.get, read))
        if None in found:
            found = {self._number(one) for one in read}
        return tuple(cast("set[int]", found))

    def _number(self, one: Key | Bundle) -> int:
        if one in self._numbers:
            return self._numbers[one]
        number = self._numbers[one] = self._next
        self._next += 1
        record = self._record
        if isinstance(one, Bundle):
            record.reads[number] = self._all(one.read)
        else:
            record.keys[number] = one
            if one[0] not in (QUESTION, MADE):
                record.digests[number] = self._digests(one)
        return number
