"""Which question first, counting what is asked after it: least expected effort until the target is settled.

Pure: arrays in, an index out.  With few hypotheses left the game is solved by dynamic programming over what can remain
(with costs and probabilities; answers that are only mistakes are left out of the plan, never of the belief).  With more it
looks two questions ahead, and guesses the effort after those from the bits that are left.  Where many answers would be mistakes
the question with the most news for its effort is asked instead: a plan stops nearer to the line, with less effort and somewhat
fewer right verdicts (`make bench` shows both).  Ties go to the question listed first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .arrays import SAME, Bools, Floats, Ints
from .questions import TINY, entropy, xlog2

#: Solved to the end up to so many hypotheses, and so many states of the game; two questions ahead beyond that.
FEW, MOST_STATES = 20, 800
#: Answers rarer than this for a hypothesis are taken for mistakes.
MISTAKE = 0.12
#: The game is solved to its end, or two questions ahead, while no more than these shares of all answers are mistakes.
TO_THE_END, AHEAD = 0.005, 0.03
#: So many of the best questions are looked behind.
WIDTH = 6

#: Of every outcome of every question: its chance, the bits then left that can be told, and whether it is unsettled.
Parts = tuple[Floats, Floats, Bools]


@dataclass(frozen=True)
class Game:
    """What is left to find out.

    weight[h]    how likely each hypothesis is; group[h]: what settles it, from 0 without gaps
    chances[q]   P(outcome | hypothesis), shape [h, outcomes]; questions with the most news for their effort come first
    view[q]      where the question is looked up (-1: needs none); there[q], here[q]: its effort coming from elsewhere, and
                 when one is looking there already;  at: the view one is looking at
    settled      the share a group must have for the game to end
    kin[q]       questions of one kin are read off one thing: after one whose answer the hypotheses leave open, the others
                 count for nothing in the plan (their answers are not independent).  Empty: each stands alone
    """

    weight: Floats
    group: Ints
    chances: Sequence[Floats]
    view: Sequence[int]
    there: Floats
    here: Floats
    at: int
    settled: float
    kin: Sequence[int] = ()


def best(game: Game, ahead: float = AHEAD) -> int:
    """The question to ask first. `chances` must not be empty; `ahead`: up to which share of mistakes a plan is made."""
    mistakes = _mistakes(game)
    if mistakes > ahead + SAME:
        return 0
    if len(game.weight) <= FEW and mistakes <= TO_THE_END + SAME:
        solver = _Solver(game, likely=True)
        try:
            return max(solver.solve(solver.weight, (), game.at, np.inf)[1], 0)
        except _TooLarge:
            pass
    return _Solver(game, likely=False).ahead()


def least_effort(game: Game) -> float:
    """The expected effort of the best way to ask on, solved to the end. For few hypotheses only."""
    solver = _Solver(game, likely=True, most=10**9)
    return solver.solve(solver.weight, (), game.at, np.inf)[0]


def _mistakes(game: Game) -> float:
    """The share of answers that would be taken for mistakes, over all questions."""
    dropped = [np.where(one < MISTAKE - SAME, one, 0.0).sum(axis=1) for one in game.chances]
    return float(np.mean(np.array(dropped) @ game.weight) / game.weight.sum())


class _TooLarge(Exception):
    """The game has more states than may be looked at."""


@dataclass
class _Solver:
    game: Game
    likely: bool
    most: int = MOST_STATES
    states: int = 0
    known: dict[object, tuple[float, int]] = field(default_factory=dict)
    low: dict[object, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        game = self.game
        self.order = np.argsort(game.group, kind="stable")
        rows = [_likely(one) if self.likely else one for one in game.chances]
        rows = [_whole(one).T[:, self.order] for one in rows]
        self.outcome = np.concatenate(rows)
        self.first = np.cumsum([0, *(len(one) for one in rows)])
        self.of = np.repeat(np.arange(len(rows)), [len(one) for one in rows])
        self.begins = np.flatnonzero(np.r_[True, np.diff(game.group[self.order]) != 0])
        self.soft = np.add.reduceat(((self.outcome > 0) & (self.outcome < 1)).sum(axis=1), self.first[:-1]) > 0
        self.widest = max(2, *(len(one) for one in rows))
        self.kin = np.array(game.kin if len(game.kin) else range(len(rows)))
        views = np.array(game.view)
        self.cost = {at: np.where(views == at, game.here, game.there) for at in {game.at, *game.view}}
        self.cheapest = float(min(game.here.min(), game.there.min()))
        spare = 1.0 - game.settled
        self.slack = entropy(np.array([spare, 1.0 - spare])) + spare * np.log2(max(len(self.begins) - 1, 1))
        self.hidden = self._hidden()
        self.hides = bool(self.hidden.any())

    @property
    def weight(self) -> Floats:
        """How likely each hypothesis is, in the solver's order."""
        return (self.game.weight / self.game.weight.sum())[self.order]

    def grouped(self, weight: Floats) -> Floats:
        """Weights of hypotheses (the last axis) summed over each group."""
        return weight if len(self.begins) == weight.shape[-1] else np.add.reduceat(weight, self.begins, axis=-1)

    def _hidden(self) -> Floats:
        """Bits about the group of each hypothesis that no question can tell: of those that answer everything alike."""
        alike = np.unique(np.round(self.outcome, 9), axis=1, return_inverse=True)[1].reshape(-1)
        weight, bits = self.weight, np.zeros(len(alike))
        for look in np.flatnonzero(np.bincount(alike) > 1):
            mine = alike == look
            share = self.grouped(np.where(mine, weight, 0.0))
            bits[mine] = entropy(share / share.sum()) if share.sum() > 0 else 0.0
        return bits

    def parts(self, weight: Floats) -> Parts:
        """(chance, bits left that can be told, whether unsettled) of every outcome of every question."""
        joint = self.outcome * weight
        chance = joint.sum(axis=1)
        hidden = joint @ self.hidden if self.hides else 0.0
        joint = self.grouped(joint)
        some = np.maximum(chance, TINY)
        bits = np.log2(some) - (xlog2(joint).sum(axis=1) + hidden) / some
        bits = np.where(bits > SAME, bits, 0.0)
        return chance, bits, (bits > 0) & (joint.max(axis=1) < self.game.settled * chance - SAME)

    def bits(self, weight: Floats) -> float:
        """Bits about the group that questions can tell."""
        return entropy(self.grouped(weight)) - float(weight @ self.hidden)

    # To the end --------------------------------------------------------------------------------------------------------

    def solve(self, weight: Floats, told: tuple[int, ...], at: int, limit: float) -> tuple[float, int]:
        """(expected effort, first question) from here; infinite when it is no better than `limit`."""
        if float(self.grouped(weight).max()) >= self.game.settled - SAME:
            return 0.0, -1
        key = ((weight > 0).tobytes(), told, at)
        if key in self.known:
            return self.known[key]
        if self.low.get(key, 0.0) >= limit - SAME:
            return np.inf, -1
        self.states += 1
        if self.states > self.most:
            raise _TooLarge
        chance, bits, open_ = self.parts(weight)
        least = np.where(open_, np.maximum(self.cheapest, self.cheapest * (bits - self.slack) / np.log2(self.widest)), 0.0)
        tells = np.add.reduceat((chance > SAME).astype(int), self.first[:-1]) > 1
        if told:
            tells &= ~np.isin(self.kin, [self.kin[self.of[one]] for one in told])
        bound = self.cost[at] + np.add.reduceat(chance * least, self.first[:-1])
        found, first = np.inf, -1
        for q in np.argsort(np.round(bound, 9), kind="stable").tolist():
            if bound[q] >= min(found, limit) - SAME:
                break
            if tells[q]:
                effort = self._after(q, weight, told, (chance, least, open_), float(bound[q]), min(found, limit))
                if effort < found - SAME:
                    found, first = effort, q
        if not tells.any():
            found, first = 0.0, -1
        if found < limit - SAME:
            self.known[key] = found, first
        else:
            self.low[key] = max(limit, self.low.get(key, 0.0))
        return found, first

    def _after(self, q: int, weight: Floats, told: tuple[int, ...], parts: Parts, bound: float, limit: float) -> float:
        chance, least, open_ = parts
        effort = bound
        for o in range(self.first[q], self.first[q + 1]):
            if not open_[o]:
                continue
            left = weight * self.outcome[o] / chance[o]
            more = tuple(sorted((*told, o))) if self.soft[q] else told
            room = (limit - effort) / chance[o] + least[o]
            after = self.solve(left, more, self.game.view[q], room)[0]
            effort += chance[o] * (after - least[o])
            if effort >= limit - SAME:
                break
        return effort

    # Two questions ahead -----------------------------------------------------------------------------------------------

    def ahead(self) -> int:
        """The question with the least effort expected, that of two questions counted and the rest guessed.

        Every bit left after that is guessed to take as long as it does with the best question there is now.
        """
        weight, game = self.weight, self.game
        parts = self.parts(weight)
        each = 1.0 / max(float(np.max(self.news(weight, parts) / self.cost[game.at])), SAME)
        rough = self.rough(weight, parts, game.at, each)
        order = np.lexsort((np.arange(len(rough)), np.round(rough, 9)))[:WIDTH]
        found = [self._behind(int(q), weight, parts, each) for q in order]
        return int(order[int(np.argmin(np.round(found, 9)))])

    def _behind(self, q: int, weight: Floats, parts: Parts, each: float) -> float:
        chance, _, open_ = parts
        effort = float(self.cost[self.game.at][q])
        closed = (self.kin == self.kin[q]) & self.soft[q]
        for o in range(self.first[q], self.first[q + 1]):
            if open_[o]:
                left = weight * self.outcome[o] / chance[o]
                rough = self.rough(left, self.parts(left), self.game.view[q], each)
                after = float(np.where(closed, np.inf, rough).min())
                effort += float(chance[o]) * after if np.isfinite(after) else 0.0
        return effort

    def news(self, weight: Floats, parts: Parts) -> Floats:
        """Bits that each question tells about the group."""
        chance, bits, _ = parts
        return self.bits(weight) - np.add.reduceat(chance * bits, self.first[:-1])

    def rough(self, weight: Floats, parts: Parts, at: int, each: float) -> Floats:
        """The effort of each question and of what comes after it, guessed; infinite for a question without news."""
        chance, bits, open_ = parts
        guess = np.where(open_, np.maximum(self.cheapest, bits * each), 0.0)
        whole = self.cost[at] + np.add.reduceat(chance * guess, self.first[:-1])
        return np.where(self.news(weight, parts) > SAME, whole, np.inf)


def _likely(chances: Floats) -> Floats:
    """Without the answers that would be mistakes; a hypothesis that has no others keeps them."""
    kept = np.where(chances < MISTAKE - SAME, 0.0, chances)
    return np.where(kept.sum(axis=1, keepdims=True) > 0, kept, chances)


def _whole(chances: Floats) -> Floats:
    """Of each hypothesis summing to 1; as they are where they are nothing."""
    sums = chances.sum(axis=1, keepdims=True)
    return np.divide(chances, sums, out=np.zeros_like(chances), where=sums > 0)
