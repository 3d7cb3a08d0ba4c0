"""Which question first, counting what is asked after it: least expected effort until the target is settled.

Pure: arrays in, an index out.  With few hypotheses left the game is solved by dynamic programming over what can remain
(with costs and probabilities; answers that are only mistakes are left out of the plan, never of the belief).  With more it
looks two questions ahead, and guesses the effort after those from the bits that are left.  Where many answers would be mistakes
the question with the most news for its effort is asked instead: a plan stops nearer to the line, with less effort and somewhat
fewer right verdicts (`make bench` shows both).  Ties go to the question listed first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from .arrays import SAME, Bools, Floats, Ints
from .questions import TINY, alike_rows, entropy, xlog2

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

    @cached_property
    def outcomes(self) -> Floats:
        """The chances of the outcomes of all questions side by side, shape [h, outcomes]."""
        return np.concatenate(self.chances, axis=1)

    @cached_property
    def first(self) -> Ints:
        """The first of each question's outcomes among those of all, and last how many there are."""
        return np.cumsum([0, *(one.shape[1] for one in self.chances)])

    def summed(self, outcomes: Floats) -> Floats:
        """Each question's sum over its own outcomes, the last axis: in the place of every outcome its question's."""
        sums: Floats = np.add.reduceat(outcomes, self.first[:-1], axis=-1)
        return np.repeat(sums, self.first[1:] - self.first[:-1], axis=-1)


def best(game: Game, ahead: float = AHEAD) -> int:
    """The question to ask first. `chances` must not be empty; `ahead`: up to which share of mistakes a plan is made."""
    mistakes = _mistakes(game)
    if mistakes > ahead + SAME:
        return 0
    if len(game.weight) <= FEW and mistakes <= TO_THE_END + SAME:
        try:
            return max(_Solver(game, likely=True).to_the_end()[1], 0)
        except _TooLarge:
            pass
    return _Solver(game, likely=False).ahead()


def least_effort(game: Game) -> float:
    """The expected effort of the best way to ask on, solved to the end. For few hypotheses only."""
    return _Solver(game, likely=True, most=10**9).to_the_end()[0]


def _mistakes(game: Game) -> float:
    """The share of answers that would be taken for mistakes, over all questions."""
    dropped = np.where(game.outcomes < MISTAKE - SAME, game.outcomes, 0.0).sum(axis=1)
    return float(dropped @ game.weight / game.weight.sum() / len(game.chances))


class _TooLarge(Exception):
    """The game has more states than may be looked at."""


@dataclass(eq=False, slots=True)
class _Place:
    """The hypotheses that fit some answers, each as likely as these leave it: a state of the game, wherever one is looking.

    weight[h], fits   how likely each is, and a bit for each that is left
    told              the outcomes so far of questions that some hypothesis leaves open
    chance, least, open   of every outcome of every question its chance, the least effort after it, and whether it is unsettled
    after[q]          the least effort expected after each question
    tells             the questions that have more than one answer here
    ways[at]          [(least effort expected, question)] from a view, the least first; known[at], low[at]: the solution, and
                      the effort that no solution is below
    """

    weight: Floats
    fits: int
    told: tuple[int, ...]
    chance: list[float]
    least: list[float]
    open: list[bool]
    after: Floats
    tells: set[int]
    ways: dict[int, list[tuple[float, int]]] = field(default_factory=dict)
    known: dict[int, tuple[float, int]] = field(default_factory=dict)
    low: dict[int, float] = field(default_factory=dict)


@dataclass
class _Solver:
    game: Game
    likely: bool
    most: int = MOST_STATES
    states: int = 0
    places: dict[tuple[int, tuple[int, ...]], _Place] = field(default_factory=dict)

    def __post_init__(self) -> None:
        game = self.game
        self.order = np.argsort(game.group, kind="stable")
        chances = (_likely(game) if self.likely else game.outcomes)[self.order]
        self.outcome = np.ascontiguousarray(_whole(game, chances).T)
        self.spread = xlog2(self.outcome)
        self.first = game.first.tolist()
        self.begins = np.concatenate([[0], np.flatnonzero(np.diff(game.group[self.order])) + 1])
        self.alone = len(self.begins) == len(self.order)
        open_ = (self.outcome > 0) & (self.outcome < 1)
        self.soft = np.logical_or.reduceat(open_.any(axis=1), game.first[:-1])
        self.widest = max(2, int(np.diff(game.first).max()))
        self.kin = np.array(game.kin if len(game.kin) else range(len(self.soft)))
        views = np.array(game.view)
        self.cost = {at: np.where(views == at, game.here, game.there) for at in {game.at, *game.view}}
        self.cheapest = float(min(game.here.min(), game.there.min()))
        self.a_bit = self.cheapest / np.log2(self.widest)
        self.slack = _slack(game.settled, len(self.begins))
        self.hidden = self._hidden()
        self.hides = bool(self.hidden.any())

    @property
    def weight(self) -> Floats:
        """How likely each hypothesis is, in the solver's order."""
        return (self.game.weight / self.game.weight.sum())[self.order]

    def grouped(self, weight: Floats) -> Floats:
        """Weights of hypotheses (the last axis) summed over each group."""
        return weight if self.alone else np.add.reduceat(weight, self.begins, axis=-1)

    def _hidden(self) -> Floats:
        """Bits about the group of each hypothesis that no question can tell: of those that answer everything alike."""
        first, alike = alike_rows(np.round(self.outcome.T, 9))
        weight, bits = self.weight, np.zeros(len(alike))
        for look in np.flatnonzero(np.bincount(alike) > 1) if len(first) < len(alike) else ():
            mine = alike == look
            share = self.grouped(np.where(mine, weight, 0.0))
            bits[mine] = entropy(share / share.sum()) if share.sum() > 0 else 0.0
        return bits

    def parts(self, weight: Floats) -> Parts:
        """(chance, bits left that can be told, whether unsettled) of every outcome of every question."""
        chance, joint = self.outcome @ weight, self.grouped(self.outcome * weight)
        # Where every hypothesis is a group, the sum of xlog2(joint) takes the logarithms of the weights alone.
        inside = self.outcome @ xlog2(weight) + self.spread @ weight if self.alone else xlog2(joint).sum(axis=1)
        if self.hides:
            inside += self.outcome @ (weight * self.hidden)
        some = np.maximum(chance, TINY)
        bits = np.log2(some) - inside / some
        some_left = bits > SAME
        unsettled = np.maximum.reduce(joint, axis=1) < self.game.settled * chance - SAME
        return chance, np.where(some_left, bits, 0.0), some_left & unsettled

    def bits(self, weight: Floats) -> float:
        """Bits about the group that questions can tell."""
        return entropy(self.grouped(weight)) - float(weight @ self.hidden)

    # To the end --------------------------------------------------------------------------------------------------------

    def to_the_end(self) -> tuple[float, int]:
        """(expected effort, first question) of the best way to ask on; no question where nothing is open."""
        weight = self.weight
        if float(self.grouped(weight).max()) >= self.game.settled - SAME:
            return 0.0, -1
        everything = int.from_bytes(np.packbits(np.ones(len(weight), dtype=bool)).tobytes())
        return self._solve(self._place(weight, everything, ()), self.game.at, np.inf)

    @cached_property
    def _fits(self) -> list[int]:
        """A bit for each hypothesis that may give an outcome."""
        return [int.from_bytes(one.tobytes()) for one in np.packbits(self.outcome > 0, axis=1)]

    @cached_property
    def _is_soft(self) -> list[bool]:
        """Whether some hypothesis leaves a question open."""
        return self.soft.tolist()

    @cached_property
    def _kin(self) -> list[int]:
        """The kin of each question."""
        return self.kin.tolist()

    @cached_property
    def _kin_of(self) -> list[int]:
        """The kin of the question of each outcome."""
        return np.repeat(self.kin, np.diff(self.first)).tolist()

    def _place(self, weight: Floats, fits: int, told: tuple[int, ...]) -> _Place:
        chance, bits, open_ = self.parts(weight)
        least = np.where(open_, np.maximum(self.cheapest, self.a_bit * (bits - self.slack)), 0.0)
        several = np.add.reduceat(chance > SAME, self.game.first[:-1], dtype=np.int64) > 1
        after = np.add.reduceat(chance * least, self.game.first[:-1])
        closed = {self._kin_of[one] for one in told}
        tells = {q for q in several.nonzero()[0].tolist() if self._kin[q] not in closed}
        return _Place(weight, fits, told, chance.tolist(), least.tolist(), open_.tolist(), after, tells)

    def _behind(self, place: _Place, q: int, o: int) -> _Place:
        """Where outcome o of question q leads; what it leaves is the same whatever was asked first."""
        told = tuple(sorted((*place.told, o))) if self._is_soft[q] else place.told
        key = place.fits & self._fits[o], told
        found = self.places.get(key)
        if found is None:
            found = self.places[key] = self._place(place.weight * self.outcome[o] / place.chance[o], *key)
        return found

    def _solve(self, place: _Place, at: int, limit: float) -> tuple[float, int]:
        """(expected effort, first question) from here; infinite when it is no better than `limit`."""
        if at in place.known:
            return place.known[at]
        if place.low.get(at, 0.0) >= limit - SAME:
            return np.inf, -1
        self.states += 1
        if self.states > self.most:
            raise _TooLarge
        found, first = (np.inf, -1) if place.tells else (0.0, -1)
        for bound, q in self._ways(place, at):
            if bound >= min(found, limit) - SAME:
                break
            effort = self._after(q, place, bound, min(found, limit))
            if effort < found - SAME:
                found, first = effort, q
        if found < limit - SAME:
            place.known[at] = found, first
        else:
            place.low[at] = max(limit, place.low.get(at, 0.0))
        return found, first

    def _ways(self, place: _Place, at: int) -> list[tuple[float, int]]:
        if at not in place.ways:
            bound = self.cost[at] + place.after
            order, bounds = bound.round(9).argsort(kind="stable").tolist(), bound.tolist()
            place.ways[at] = [(bounds[q], q) for q in order if q in place.tells]
        return place.ways[at]

    def _after(self, q: int, place: _Place, bound: float, limit: float) -> float:
        effort = bound
        for o in range(self.first[q], self.first[q + 1]):
            if not place.open[o]:
                continue
            chance, least = place.chance[o], place.least[o]
            after = self._solve(self._behind(place, q, o), self.game.view[q], (limit - effort) / chance + least)[0]
            effort += chance * (after - least)
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
        found = [self._beyond(int(q), weight, parts, each) for q in order]
        return int(order[int(np.argmin(np.round(found, 9)))])

    def _beyond(self, q: int, weight: Floats, parts: Parts, each: float) -> float:
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
        return self.bits(weight) - np.add.reduceat(chance * bits, self.game.first[:-1])

    def rough(self, weight: Floats, parts: Parts, at: int, each: float) -> Floats:
        """The effort of each question and of what comes after it, guessed; infinite for a question without news."""
        chance, bits, open_ = parts
        guess = np.where(open_, np.maximum(self.cheapest, bits * each), 0.0)
        whole = self.cost[at] + np.add.reduceat(chance * guess, self.game.first[:-1])
        return np.where(self.news(weight, parts) > SAME, whole, np.inf)


@lru_cache(maxsize=256)
def _slack(settled: float, groups: int) -> float:
    """The bits that may be left where one of so many groups has its share."""
    spare = 1.0 - settled
    return entropy(np.array([spare, settled])) + spare * float(np.log2(max(groups - 1, 1)))


def _likely(game: Game) -> Floats:
    """The chances without the answers that would be mistakes; a hypothesis that has no others to a question keeps them."""
    kept = np.where(game.outcomes < MISTAKE - SAME, 0.0, game.outcomes)
    return np.where(game.summed(kept) > 0, kept, game.outcomes)


def _whole(game: Game, chances: Floats) -> Floats:
    """Of each hypothesis summing to 1 over a question's outcomes; as they are where they are nothing."""
    sums = game.summed(chances)
    return np.divide(chances, sums, out=np.zeros_like(chances), where=sums > 0)
