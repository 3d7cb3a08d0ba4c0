"""The record of a build: what each file of the site was made from, so that the next build makes only what leans on a change.

What can be read has a number, which it keeps from build to build as long as somebody leans on it.  Whatever leans on a change,
however far, is *suspect*: that is found by numbers alone, and takes no longer than the change is large.  Only what is suspect is
looked at, and it is cleared when every answer that it read is the same still.
"""

import pickle
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeAlias, cast

from ..kb.noting import Bundle, Key, Reads
from .folder import MARKER, Seen
from .reads import ALL, MADE, QUESTION, SUMS, Answers, Known, Memo, Sum

Numbers: TypeAlias = tuple[int, ...]
#: What nobody leans on any more is looked for when there are so many times more keys than after the last time.
MUCH_UNREAD = 1.2


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
    """What has changed since a build. `digests`: of what is no question and no file of the site, as it is now."""

    def __init__(self, old: Record, digests: Callable[[Key], str], memo: Memo) -> None:
        self.old, self.memo = old, memo
        self.numbers = {key: number for number, key in old.keys.items()}
        #: {number: whether it is another now} of what has been looked at.
        self._changed = {number: True for number, key in old.keys.items() if self._differs(number, key, digests)}
        self._suspect: set[int] = set()
        self._suspect_too(self._changed)

    def _differs(self, number: int, key: Key, digests: Callable[[Key], str]) -> bool:
        """Whether it can be told at once that something is another than it was."""
        if key[0] == MADE:
            return False
        before = self.old.digests.get(number)
        return before is None or (key[0] != QUESTION and digests(key) != before)

    def files_made(self, sums: Mapping[str, Sum], addresses: Collection[str]) -> None:
        """Tells which files of the site there are by now, and of all there will be the addresses."""
        old, found = self.old.outputs, set[Key]()
        if old.keys() != set(addresses):
            found.update((MADE, one) for one in (ALL, *(old.keys() - set(addresses))))
        found.update((MADE, one) for one, made in sums.items() if one not in old or old[one].sha256 != made.sha256)
        found.update([(MADE, SUMS)] if found else [])
        changed = [self.numbers[key] for key in found if key in self.numbers]
        self._changed.update(dict.fromkeys(changed, True))
        self._suspect_too(changed)

    def any(self, read: Numbers) -> bool:
        """Whether something of what was read has changed, or was not there then."""
        return not self._suspect.isdisjoint(read) and any(self._of(one) for one in read if one in self._suspect)

    def answer(self, key: Key) -> tuple[Any, str] | None:
        """(a lasting answer, its digest) as it was, if it would be the same now."""
        number = self.numbers.get(key)
        if number is None or number not in self.old.lasting or self.any(self.old.reads[number]):
            return None
        self._changed[number] = False
        return pickle.loads(self.old.lasting[number]), self.old.digests[number]

    @property
    def cleared(self) -> set[int]:
        """What might have been another now, and is not."""
        return {number for number, changed in self._changed.items() if not changed}

    def clear(self, numbers: Iterable[int]) -> None:
        """Takes over what another process has cleared."""
        self._changed.update(dict.fromkeys(numbers, False))

    def uncleared(self) -> set[Key]:
        """The answers that may be others now."""
        keys = self.old.keys
        return {keys[one] for one in self._suspect if one in keys and keys[one][0] == QUESTION and self._changed.get(one, True)}

    def _suspect_too(self, changed: Iterable[int]) -> None:
        """These, and whatever leans on them, however far."""
        new = set(changed)
        while new:
            self._suspect |= new
            looked_at = {one for one in self._suspect if self._changed.get(one) is not False}
            new = {one for one, read in self.old.reads.items() if one not in looked_at and not new.isdisjoint(read)}
            for one in new:
                self._changed.pop(one, None)  # it was cleared of what had changed by then

    def _of(self, number: int) -> bool:
        """Whether what has the number has changed, or something in the bundle."""
        if number not in self._changed:
            changed = self.any(self.old.reads[number])
            if changed and number in self.old.keys:
                changed = self.memo.digest_of(self.old.keys[number]) != self.old.digests.get(number)
            self._changed[number] = changed
        return self._changed[number]


class Recorder:
    """Makes the record of a build out of that of the last one, if there was one."""

    def __init__(self, digests: Callable[[Key], str], changes: Changes | None) -> None:
        old = changes.old if changes else Record()
        self._digests = digests
        self._numbers: dict[Key | Bundle, int] = {**changes.numbers} if changes else {}
        self._next = max([-1, *old.keys, *old.reads]) + 1
        self._record = Record(dict(old.keys), dict(old.digests), dict(old.reads), dict(old.lasting), dict(old.outputs))
        self._changes = changes

    def recorded(
        self,
        addresses: Iterable[str],
        written: Mapping[str, Written],
        answers: Answers,
        lasting: Mapping[Key, Any],
    ) -> Record:
        """The record of a build that has files of these addresses, of which some were written now.

        answers: of the questions that were answered now, the digest and what was read;  lasting: those answers that are kept.
        """
        record = self._record
        record.read = self._changes.old.read if self._changes else 0
        self._forget_changed(answers)
        for key, (mine, read) in answers.items():
            if read is None:
                continue
            number = self._number(key)
            record.digests[number], record.reads[number] = mine, self._all(read)
            if key in lasting:
                record.lasting[number] = pickle.dumps(lasting[key], protocol=pickle.HIGHEST_PROTOCOL)
        record.outputs = {one: record.outputs[one] for one in addresses if one not in written}
        record.outputs |= {at: Stood(self._all(one.read), one.at, *one.sum) for at, one in written.items()}
        if len(record.keys) + len(record.reads) > MUCH_UNREAD * record.read:
            self._forget_unread()
        return record

    def _forget_changed(self, answers: Answers) -> None:
        """What has changed has its digest of now; an answer that nobody has worked out anew has none."""
        if self._changes is None:
            return
        record = self._record
        for key in self._changes.uncleared() - answers.keys():
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
