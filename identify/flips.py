"""The smallest change of answers that would make another conclusion the leader: exact, over every change of up to three. Pure.

Changes in different slots multiply, so each slot's terms are worked out once for every change of one, two and three of its own
answers, and then combined.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, permutations, product
from math import prod

import numpy as np

from .arrays import Bools, Compiled, Floats, Ints
from .hypotheses import Answered, Hypotheses, slot_terms

#: Changes of so many answers are looked at, if those of one number are not more than MOST_CELLS numbers.
MOST_CHANGED, MOST_CELLS = 3, 2_000_000
#: A leader leads by more than rounding; so does a likelier change.
MORE = 1.0 + 1e-9
#: So many numbers are worked on at a time.
BLOCK = 200_000


#: (answer's place among all, which of its alternatives) of every changed answer.
Pick = tuple[tuple[int, int], ...]
#: (slot's place among the answered, how many of its answers are changed) of every slot with changes.
Way = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Flip:
    """`to` is the new leader's group; tried: up to how many changes. Without a flip there are no changes."""

    changes: Pick
    to: int
    tried: int


@dataclass(frozen=True, eq=False)
class _Changes:
    """picks: every way to change k answers of one slot, as (answer's place, alternative); terms[mode, u, way]."""

    picks: list[Pick]
    terms: Floats


@dataclass(frozen=True, eq=False)
class Alternatives:
    """others[e][i, a]: the chance of the a-th alternative to answer e given row or part i of its slot."""

    compiled: Compiled
    answered: Answered
    others: Sequence[Floats]
    _known: dict[tuple[int, int], _Changes] = field(default_factory=dict)

    def within(self, n: int, k: int) -> _Changes:
        """The changes of k answers of the n-th answered slot."""
        if (n, k) not in self._known:
            self._known[n, k] = self._within(n, k)
        return self._known[n, k]

    def _within(self, n: int, k: int) -> _Changes:
        seen, places, scale = self.answered.seen[n], self.answered.evidence[n], self.answered.scale[n]
        picks, rows = list[Pick](), list[Floats]()
        for some in combinations(range(len(places)), k):
            others = [self.others[places[j]] / scale[j] for j in some]
            rest = np.delete(seen, some, axis=1).prod(axis=1)
            ways = product(*(range(one.shape[1]) for one in others))
            picks += [tuple(zip((places[j] for j in some), way, strict=True)) for way in ways]
            rows.append(_outer([rest[:, None], *others]))
        slot = self.compiled.slots[self.answered.slots[n]]
        return _Changes(picks, slot_terms(slot, np.concatenate(rows, axis=1)))

    def count(self, n: int, k: int) -> int:
        """How many changes of k answers of the n-th answered slot there are."""
        several = [self.others[e].shape[1] for e in self.answered.evidence[n]]
        return sum(prod(some) for some in combinations(several, k))

    def smallest(self, one: Hypotheses, most: int = MOST_CHANGED) -> Flip:
        """The smallest flip; of several, the one whose answers are likeliest together, then the first in order."""
        each = _Terms(self, one)
        for size in range(1, most + 1):
            ways = list(self._ways(size))
            if sum(prod(self.count(n, k) for n, k in way) for way in ways) * len(one.prior) > MOST_CELLS:
                return Flip((), -1, size - 1)
            found = [best for way in ways if (best := each.best(way)) is not None]
            if found:
                top = max(chance for chance, _, _ in found)
                _, changes, to = next(best for best in found if best[0] * MORE >= top)
                return Flip(changes, to, size)
        return Flip((), -1, most)

    def _ways(self, size: int) -> Iterator[Way]:
        """Every way to share out a number of changes among slots."""
        splits = {1: [(1,)], 2: [(2,), (1, 1)], 3: [(3,), (2, 1), (1, 1, 1)]}[size]
        for split in splits:
            slots = range(len(self.answered.slots))
            some = permutations(slots, 2) if split == (2, 1) else combinations(slots, len(split))
            for places in some:
                way = tuple(zip(places, split, strict=True))
                if all(self.count(n, k) for n, k in way):
                    yield way


@dataclass(frozen=True, eq=False)
class _Terms:
    """The terms of one conclusion, each worked out when it is needed."""

    changes: Alternatives
    hypotheses: Hypotheses
    _known: dict[tuple[int, int], Floats] = field(default_factory=dict)

    def of(self, n: int, k: int) -> Floats:
        """term[h, way] of every change of k answers of the n-th answered slot."""
        if (n, k) not in self._known:
            self._known[n, k] = self.hypotheses.term(self.changes.within(n, k).terms, n)
        return self._known[n, k]

    def best(self, way: Way) -> tuple[float, Pick, int] | None:
        """(chance of the changed answers, the changes, new leader) of the likeliest flip that changes these slots."""
        one, changed = self.hypotheses, dict(way)
        slots = range(len(self.changes.answered.slots))
        kept = one.prior * np.prod([self.of(n, 0)[:, 0] for n in slots if n not in changed], axis=0)
        first, *more = [self.of(n, k) for n, k in way]
        inner = _outer([np.ones((len(kept), 1)), *more])
        step = max(1, BLOCK // inner.size)
        best: tuple[float, int, int] | None = None
        for start in range(0, first.shape[1], step):
            sums = one.sums(_outer([kept[:, None] * first[:, start : start + step], inner]))
            flipped, chance, leader = _flipped(sums, one.concluded)
            if flipped.any():
                chance = np.where(flipped, chance, -1.0)
                at = int(np.argmax(chance * MORE >= chance.max()))
                if best is None or chance[at] > best[0] * MORE:
                    best = float(chance[at]), start * inner.shape[1] + at, int(leader[at])
        if best is None:
            return None
        where = np.unravel_index(best[1], [self.of(n, k).shape[1] for n, k in way])
        changes = [pick for (n, k), i in zip(way, where, strict=True) for pick in self.changes.within(n, k).picks[int(i)]]
        return best[0], tuple(sorted(changes)), best[2]


def _outer(columns: Sequence[Floats]) -> Floats:
    """[h, n1 * n2 * ...] from [h, n1], [h, n2] ...: all products, the last index running fastest."""
    found = columns[0]
    for one in columns[1:]:
        found = (found[:, :, None] * one[:, None, :]).reshape(len(found), -1)
    return found


def _flipped(sums: Floats, concluded: Bools) -> tuple[Bools, Floats, Ints]:
    """(whether another leads, chance of all the answers, the leader among the others) for sums[g, way]."""
    others = np.flatnonzero(~concluded)
    best = sums[others].max(axis=0)
    leader = others[(sums[others] * MORE >= best).argmax(axis=0)]
    return best > MORE * sums[concluded].max(axis=0), sums.sum(axis=0), leader
