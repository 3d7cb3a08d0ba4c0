"""A text about several units: which claims are about which, so that they are not taken for one.

Two claims of one sort (the kind, the livery, a number, a car's name) that no unit fits both, and of which the later is neither
denied nor a guess, are about two units.  The later one begins the next unit, with what stands before it in its clause; what
stands before the first of all is about each.  A unit that is named again in the same words is meant again.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from .arrays import Bools
from .listing_evidence import POSSIBLE, Meaning
from .wording import Words

#: What ends a clause.
BOUNDARY = re.compile(r"[.;:\n!?]|\band\b|\bthen\b", re.IGNORECASE)
#: The sorts of claims that tell units apart; a family is a kind of unit too.
SORTS = {"kind": "kind", "family": "kind", "livery": "livery", "marking": "marking", "number": "number"}
MARK = "mark of "


def units_in(text: str, words: Words, meanings: Sequence[Meaning]) -> list[tuple[int, ...]]:
    """The claims about each unit of the text, those about all included; one unit with all where nothing tells several apart."""
    split = _Split(text, words.compiled.variant >= 0, meanings, [_sort(words, one) for one in meanings])
    begins = split.first()
    if begins is None:
        return [tuple(range(len(meanings)))]
    for n in range(begins, len(meanings)):
        split.take(n)
    return [tuple(sorted({*range(begins), *mine})) for mine in split.found]


def _sort(words: Words, one: Meaning) -> str:
    """What a claim tells units apart by; nothing for others, and for what is denied."""
    if one.claim.denied or one.fits is None:
        return ""
    if one.names:
        return SORTS.get(one.sort, "")
    trait = words.compiled.traits[one.heard.trait] if one.heard is not None else None
    return f"{MARK}{trait.id}" if trait is not None and trait.worn and one.claim.kind == "state" else ""


@dataclass
class _Split:
    """The units found so far, while the claims are taken in order."""

    text: str
    recorded: Bools
    meanings: Sequence[Meaning]
    sorts: Sequence[str]

    def __post_init__(self) -> None:
        self.found: list[list[int]] = [[]]
        self.at = 0

    def first(self) -> int | None:
        """Where the first of several units begins; None where there is one."""
        every = range(len(self.meanings))
        for n in every:
            if self.sorts[n] and any(self.other(m, [n]) is not None for m in every[n + 1 :]):
                return self.clause(n, 0)
        return None

    def take(self, n: int) -> None:
        """Gives the n-th claim to the unit it is about."""
        mine = self.found[self.at]
        before = self.other(n, mine)
        if before is None:
            self.found[self.whose(n)].append(n)
            return
        again = next((u for u, some in enumerate(self.found) if self.same(n, some)), None)
        if again is not None:
            self.at = again
            self.found[again].append(n)
            return
        if self.sorts[n] != self.sorts[before] and (earlier := self.fitting(n)) is not None:
            self.found[earlier].append(n)
            return
        since = self.clause(n, before + 1)
        moved = [m for m in mine if m >= since]
        self.found[self.at] = [m for m in mine if m < since]
        kept = [m for m in self.found[self.at] if self.meanings[m].names] if self.sorts[n].startswith(MARK) else []
        self.found.append([*kept, *moved, n])
        self.at = len(self.found) - 1

    def fitting(self, n: int) -> int | None:
        """The last unit before this one that a claim may be about; None where there is none."""
        return next((u for u in reversed(range(self.at)) if self.other(n, self.found[u]) is None), None)

    def whose(self, n: int) -> int:
        """The unit of a claim that begins no new one: this one, or the last before it that can be so where this one cannot."""
        for u in (self.at, *reversed(range(self.at))):
            if not any(self.apart(n, m) for m in self.found[u] if self.sorts[m] == SORTS["kind"]):
                return u
        return self.at

    def other(self, n: int, mine: Sequence[int]) -> int | None:
        """The last claim of a unit that shows the n-th to be about another; None where it may be about the same.

        Of the same sort; once there are several units, of any sort that names one.
        """
        if not self.sorts[n] or self.meanings[n].claim.hedged:
            return None
        several = len(self.found) > 1
        known = [m for m in mine if self.sorts[m] == self.sorts[n] or (several and self.sorts[m] and self.meanings[n].names)]
        return next((m for m in reversed(known) if self.apart(n, m)), None)

    def same(self, n: int, mine: Sequence[int]) -> bool:
        """Whether a unit is named in the same words."""
        return any(self.sorts[m] == self.sorts[n] and self.meanings[m].claim.says == self.meanings[n].claim.says for m in mine)

    def apart(self, n: int, m: int) -> bool:
        """Whether no recorded unit can be what both claims say."""
        a, b = self.meanings[n].fits, self.meanings[m].fits
        return a is not None and b is not None and not (self.recorded & (a > POSSIBLE) & (b > POSSIBLE)).any()

    def clause(self, n: int, least: int) -> int:
        """The first claim, not before `least`, that stands in one clause with the n-th."""
        while n > least and not BOUNDARY.search(self.text[self.meanings[n - 1].claim.end : self.meanings[n].claim.start]):
            n -= 1
        return n
