"""What is left on the way through a fixed key, and which yes/no question comes next.

The belief is carried down the tree: one answer more multiplies it by the chance of that answer given all before it.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from .arrays import SAME, Bools, Floats, Ints
from .belief import slot_factor
from .key_asking import PLACES, Asking, at_first, states_by_row
from .plan import Game, best
from .questions import NEGLIGIBLE, NO_NEWS, TINY, alike_rows, as_bytes, xlog2
from .session import MOST_CANDIDATES, RARE

#: So many of the best questions are planned with; with more of them the keys of the demonstration are no shorter by 1 %.
PLANNED = 12


@dataclass(frozen=True, eq=False)
class Asked:
    """A question: whether the nth trait asked about is in one of named[k]; `cut`: whether it measures more than this."""

    n: int
    named: Bools
    cut: float | None


@dataclass(frozen=True, eq=False)
class _Ways:
    """Questions one below the other, trait by trait.

    of[q], more[q], effort[q]  the place of its trait, how many states it names after the first, and what it takes
    yes[q, h]                  P(yes | candidate, answers so far) of those left
    """

    of: Ints
    more: Floats
    effort: Floats
    yes: Floats


@dataclass(frozen=True, eq=False)
class Left:
    """After some answers.

    live, path  the candidates that may still be there, and P(all answers | candidate) of each
    chances     P(state | candidate, answers so far), shape [states in the row of `asking`, live]
    parts       of each slot with parts of which something was answered: P(answers | part i), and P(state | part i, answers)
    answers     the states that may be there, of each trait that was answered, by its place
    at          the view one is looking at
    """

    asking: Asking
    live: Ints
    path: Floats
    chances: Floats
    at: int
    parts: dict[int, tuple[Floats, Floats]] = field(default_factory=dict)
    answers: dict[int, Bools] = field(default_factory=dict)

    # Answers -----------------------------------------------------------------------------------------------------------

    def told(self, n: int, named: Bools) -> "Left":
        """With one more answer: the nth trait is in one of these states."""
        a, b = self.asking.first[n : n + 2]
        chance = named.astype(np.float64) @ self.chances[a:b]
        fit = (chance > 0).nonzero()[0]
        live, chance, chances = self.live[fit], chance[fit], self.chances.T[fit].T
        s, parts = self.asking.trait(n).slot, self.parts
        slot = self.asking.issued.slots[s]
        if slot.parts:  # what was seen of a part tells which it is
            evidence, shown = parts.get(s, (np.ones(len(slot.parts)), self.asking.shown[s]))
            mine = (self.asking.columns[s] >= a) & (self.asking.columns[s] < b)
            seen = shown[:, mine] @ named
            shown = shown.copy()
            shown[:, mine] *= named / np.maximum(seen, TINY)[:, None]
            parts = {**parts, s: (evidence * seen, shown)}
            chances[self.asking.columns[s]] = states_by_row(slot, *parts[s])[slot.row[live]].T
        else:
            chances[a:b] *= named[:, None] / chance
        answers = {**self.answers, n: self.answers.get(n, named) & named}
        return Left(self.asking, live, self.path[fit] * chance, chances, self.asking.trait(n).view, parts, answers)

    @cached_property
    def belief(self) -> Floats:
        """The belief in each candidate that is left."""
        weight = self.asking.prior[self.live] * self.path
        return weight / weight.sum()

    @cached_property
    def _begins(self) -> Ints:
        """Where among those left each variant begins."""
        variant = self.asking.issued.variant[self.live]
        return np.concatenate([[0], (variant[1:] != variant[:-1]).nonzero()[0] + 1])

    @cached_property
    def lead(self) -> tuple[int, float]:
        """(the likeliest variant and its twins, as `Asking.twins` has them; the belief in them together)."""
        variants, twins = self.asking.issued.variant[self.live].tolist(), self.asking.twins[self.live].tolist()
        shares: dict[int, float] = {}
        together: dict[int, float] = {}
        for variant, twin, share in zip(variants, twins, self.belief.tolist(), strict=True):
            shares[variant] = shares.get(variant, 0.0) + share
            together[twin] = together.get(twin, 0.0) + share
        leader = max(shares, key=lambda variant: round(shares[variant], PLACES))
        leader = twins[variants.index(leader)]
        return leader, together[leader]

    # What to say -------------------------------------------------------------------------------------------------------

    @property
    def leaders(self) -> tuple[int, ...]:
        """The likeliest variant and those that cannot be told from it, the likeliest first."""
        mine = np.flatnonzero(self.asking.twins[self.live] == self.lead[0])
        shares: dict[int, float] = {}
        for v, share in zip(self.asking.issued.variant[self.live[mine]].tolist(), self.belief[mine].tolist(), strict=True):
            shares[v] = shares.get(v, 0.0) + share
        names = self.asking.issued.variants
        return tuple(sorted(shares, key=lambda v: (-round(shares[v], PLACES), names[v])))

    @property
    def shares(self) -> tuple[tuple[int, float], ...]:
        """The variants that may still be there, the likeliest first."""
        chance = np.add.reduceat(self.asking.as_found.prior[self.live] * self.path, self._begins)
        shares: list[float] = (chance / max(chance.sum(), TINY)).tolist()
        found = zip(self.asking.issued.variant[self.live[self._begins]].tolist(), shares, strict=True)
        return tuple(sorted(found, key=lambda one: (-round(one[1], PLACES), one[0])))

    @property
    def chance(self) -> float:
        """The share of the units on record that give all answers so far."""
        return float(self.asking.common[self.live] @ self.path)

    @property
    def right(self) -> float:
        """The share of all units as they are found that give these answers and are one of the leaders."""
        compiled = self.asking.as_found
        mine = np.flatnonzero(self.asking.twins == self.lead[0])
        found = compiled.prior[mine]
        seen: dict[int, Floats] = {}
        for n, named in self.answers.items():
            slot = self.asking.trait(n).slot
            seen[slot] = seen.get(slot, 1.0) * self.asking.read(n, named)
        for s, evidence in seen.items():
            found = found * slot_factor(compiled.slots[s], evidence)[compiled.slots[s].row[mine]]
        return float(found.sum())

    def sides(self, asked: Asked) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The states that a yes names, and the others that are left; none of a measured trait."""
        if asked.cut is not None:
            return (), ()
        states = self.asking.trait(asked.n).states
        named, others = np.flatnonzero(asked.named).tolist(), np.flatnonzero(self._left_of(asked.n) & ~asked.named).tolist()
        return tuple(states[k] for k in named), tuple(states[k] for k in others)

    def _left_of(self, n: int) -> Bools:
        """The states of a trait that some candidate left may show."""
        chances = self.chances[self.asking.first[n] : self.asking.first[n + 1]]
        return chances.max(axis=1) > 0

    # What to ask -------------------------------------------------------------------------------------------------------

    def next(self, settled: float) -> Asked | None:
        """The question to ask; None where the variant is as sure as this, or nothing that is left to ask tells anything."""
        if self.lead[1] >= settled - SAME or not self.asking.traits:
            return None
        ways = self._ways
        order = self._most_telling(ways)
        if not order:
            return None
        game = self._game(ways, order, settled) if len(order) > 1 else None
        return self._asked(ways, order[0 if game is None else best(game)])

    @property
    def _ways(self) -> _Ways:
        """Every question about a trait in which those left differ."""
        asking, chances, first = self.asking, self.chances, self.asking.first
        most = chances.max(axis=1)
        left: Bools = most > 0
        differ = np.logical_or.reduceat(most > chances.min(axis=1), asking.begins)
        of_two, more_of_two, yes_of_two = self._ways_of_two(left, differ)
        differ[of_two] = False
        others, states = differ.nonzero()[0], left.tobytes()
        sets = [(a := first[n], b := first[n + 1], *asking.questions_of(n, states[a:b])) for n in others.tolist()]
        of = np.concatenate([of_two, others.repeat([len(more) for _, _, _, more in sets])])
        more = np.concatenate([more_of_two, *(more for _, _, _, more in sets)])
        yes = np.concatenate([yes_of_two, *(named @ chances[a:b] for a, b, named, _ in sets)]).round(PLACES)
        order = of.argsort(kind="stable")
        of, more = of[order], more[order]
        return _Ways(of, more, asking.effort(of, more, asking.view == self.at), yes[order])

    def _ways_of_two(self, left: Bools, differ: Bools) -> tuple[Ints, Floats, Floats]:
        """(place, states named after the first, P(yes)) of the traits of which two states are left: there is one question.

        It names the first of the two; where the other is that there is none, all that there can be.
        """
        asking = self.asking
        count = np.add.reduceat(left, asking.begins, dtype=np.int64)
        of = (differ & (count == 2) & ~asking.measured).nonzero()[0]
        last = asking.last[of]
        more = np.where(asking.can_be_missing[of] & left[last], last - asking.begins[of] - 1.0, 0.0)
        return of, more, self.chances[left.nonzero()[0][(count.cumsum() - count)[of]]]

    def _asked(self, ways: _Ways, q: int) -> Asked:
        n = int(ways.of[q])
        named = self.asking.questions(n, self._left_of(n))[0][q - int(ways.of.searchsorted(n))] > 0
        cuts = self.asking.trait(n).cuts
        return Asked(n, named, float(cuts[int(named.argmax()) - 1]) if len(cuts) else None)

    def _most_telling(self, ways: _Ways) -> list[int]:
        """The questions with news in them, by news for effort, best first, one for each way of parting what is left.

        The best of them alone: the plan takes long over many.  Without those that need a tool, where one without tells
        anything for as little effort.
        """
        bits, by_eye = self._bits(ways.yes), ~self.asking.measured[ways.of]
        tells = bits >= NO_NEWS
        tells &= by_eye | (ways.effort < ways.effort[tells & by_eye].min(initial=np.inf))
        found = tells.nonzero()[0]
        effort = ways.effort[found]
        found = found[np.lexsort((effort.round(PLACES), -(bits[found] / effort).round(PLACES)))]
        yes = ways.yes[found]
        parted: set[bytes] = set()
        planned: list[int] = []
        for q, one, other in zip(found.tolist(), as_bytes(yes), as_bytes((1.0 - yes).round(PLACES)), strict=True):
            if one not in parted:
                parted |= {one, other}
                planned.append(q)
                if len(planned) == PLANNED:
                    break
        return planned

    def _bits(self, yes: Floats) -> Floats:
        """The news about the variant in answers that are yes with these chances [questions, left]; see `questions.news`."""
        weight = np.where(self.belief > NEGLIGIBLE * self.belief.max(), self.belief, 0.0)
        weight /= weight.sum()
        share: Floats = np.add.reduceat(weight, self._begins)
        mine: Floats = np.add.reduceat(yes * weight, self._begins, axis=1)
        total = mine.sum(axis=1)
        inside = xlog2(np.concatenate([mine, share - mine], axis=1)).sum(axis=1) - xlog2(share).sum()
        return inside - xlog2(total) - xlog2(1.0 - total)

    def _game(self, ways: _Ways, order: list[int], settled: float) -> Game | None:
        """What is left to find out over these questions; as `Session.game`."""
        likely = (self.belief > RARE * self.belief.max()).nonzero()[0]
        if not 2 <= len(likely) <= MOST_CANDIDATES:
            return None
        groups: dict[int, int] = {}
        group = np.array([groups.setdefault(twin, len(groups)) for twin in self.asking.twins[self.live[likely]].tolist()])
        if len(groups) == 1:
            return None
        yes = ways.yes[order][:, likely]
        first, same = alike_rows(np.concatenate([group[None], yes]).T)
        yes = yes[:, first]
        of, more = ways.of[order], ways.more[order]
        return Game(
            weight=np.bincount(same, weights=self.belief[likely]).astype(np.float64),
            group=group[first],
            chances=[*np.array([yes, 1.0 - yes]).transpose(1, 2, 0)],
            view=self.asking.view[of].tolist(),
            there=self.asking.effort(of, more, False),
            here=self.asking.effort(of, more, True),
            at=self.at,
            settled=settled,
            kin=self.asking.kin[of].tolist(),
        )


def begun(asking: Asking) -> Left:
    """Before any answer."""
    live = np.flatnonzero(asking.prior > 0)
    return Left(asking, live, np.ones(len(live)), at_first(asking, live), asking.at)
