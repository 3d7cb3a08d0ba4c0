"""Which question first, counting what is asked after it: least expected effort until the target is settled.

Pure: arrays in, an index out.  With few hypotheses left the game is solved by dynamic programming over what can remain
(with costs and probabilities; answers that are only mistakes are left out of the plan, never of the belief).  With more it
looks two questions ahead, and guesses the effort after those from the bits that are left.  Where many answers would be mistakes
the question with the most news for its effort is asked instead: a plan stops nearer to the line, with less effort and somewhat
fewer right verdicts (`make bench` shows both).  Ties go to the question listed first.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from math import inf, log2

import numpy as np

from .arrays import SAME, Bools, Floats, Ints
from .questions import TINY, alike_rows, as_bytes, entropy, xlog2

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
        return np.repeat(sums, self._counts, axis=-1)

    def effort(self, at: int) -> Floats:
        """What each question takes, looking at a view now."""
        return np.where(np.array(self.view) == at, self.here, self.there)

    @cached_property
    def _counts(self) -> Ints:
        """How many outcomes each question has."""
        return self.first[1:] - self.first[:-1]


def best(game: Game, ahead: float = AHEAD) -> int:
    """The question to ask first. `chances` must not be empty; `ahead`: up to which share of mistakes a plan is made."""
    mistakes = _mistakes(game)
    if mistakes > ahead + SAME:
        return 0
    few = len(game.weight) <= FEW and mistakes <= TO_THE_END + SAME
    if _settles_at_once(game, _whole(game, _likely(game)) if few else game.outcomes):
        return 0
    if few:
        try:
            return max(_ToTheEnd(game).solved()[1], 0)
        except _TooLarge:
            pass
    return _Ahead(game).first_question()


def least_effort(game: Game) -> float:
    """The expected effort of the best way to ask on, solved to the end. For few hypotheses only."""
    return _ToTheEnd(game, most=10**9).solved()[0]


def _mistakes(game: Game) -> float:
    """The share of answers that would be taken for mistakes, over all questions."""
    dropped = np.where(game.outcomes < MISTAKE - SAME, game.outcomes, 0.0).sum(axis=1)
    return float(dropped @ game.weight / game.weight.sum() / len(game.chances))


def _settles_at_once(game: Game, outcomes: Floats) -> bool:
    """Whether the first question settles it whatever the answer, and takes no more than any other: no plan is needed.

    outcomes  the chances that the plan would be made with
    """
    effort = game.effort(game.at).round(9)
    if effort[0] > effort.min():
        return False
    first = outcomes[:, : game.first[1]]
    groups = [np.bincount(game.group, weights=one) for one in (game.weight[:, None] * first).T]
    return all(one.max() >= (game.settled - SAME) * one.sum() for one in groups)


class _TooLarge(Exception):
    """The game has more states than may be looked at."""


class _Solver:
    """A game with its hypotheses in the order of their groups, and what is found out about it beforehand."""

    def __init__(self, game: Game, chances: Floats) -> None:
        self.game = game
        self.order = game.group.argsort(kind="stable")
        self.weight: Floats = (game.weight / game.weight.sum())[self.order]
        #: P(outcome | hypothesis), shape [outcomes of all questions, h].
        self.outcome = np.ascontiguousarray(_whole(game, chances[self.order]).T)
        group = game.group[self.order]
        self.begins = np.concatenate([[0], (group[1:] != group[:-1]).nonzero()[0] + 1])
        self.alone = len(self.begins) == len(group)
        open_ = ((self.outcome > 0) & (self.outcome < 1)).any(axis=1)
        #: Whether some hypothesis leaves a question open, and of what kin it is.
        self.soft: Bools = np.logical_or.reduceat(open_, game.first[:-1])
        self.kin = game.kin or range(len(self.soft))
        self.cheapest = float(min(game.here.min(), game.there.min()))
        self.hidden = self._hidden()
        self.hides = bool(self.hidden.any())

    def grouped(self, weight: Floats) -> Floats:
        """Weights of hypotheses (the last axis) summed over each group."""
        return weight if self.alone else np.add.reduceat(weight, self.begins, axis=-1)

    def _hidden(self) -> Floats:
        """Bits about the group of each hypothesis that no question can tell: of those that answer everything alike."""
        looks, weight, bits = self.outcome.T.round(9), self.weight, np.zeros(len(self.weight))
        if len({*as_bytes(looks)}) == len(looks):
            return bits
        alike = alike_rows(looks)[1]
        for look in np.flatnonzero(np.bincount(alike) > 1):
            mine = alike == look
            share = self.grouped(np.where(mine, weight, 0.0))
            bits[mine] = entropy(share / share.sum()) if share.sum() > 0 else 0.0
        return bits


# To the end ------------------------------------------------------------------------------------------------------------


@dataclass(eq=False, slots=True)
class _Place:
    """The hypotheses that fit some answers: a state of the game, wherever one is looking.

    weight, chance      how likely each that is left is together with the answers, and all of them are
    fits, told          a bit for each that is left, and the outcomes so far of questions that some hypothesis leaves open
    open, least         whether anything is left to ask about here, and the effort that no way to settle it is below
    after               what comes after each question that has more than one answer here; None until somebody asks
    seen                the same from each view one may be looking at
    """

    weight: dict[int, float]
    chance: float
    fits: int
    told: tuple[int, ...]
    open: bool
    least: float
    after: "list[_After] | None" = None
    seen: "dict[int, _Seen] | None" = None


#: The least effort expected after a question, and (chance, place) of each outcome after which something is open.
_Leads = tuple[float, list[tuple[float, _Place]]]
#: The same, the question first.
_After = tuple[int, float, list[tuple[float, _Place]]]


@dataclass(eq=False, slots=True)
class _Seen:
    """A place from a view.

    ways        of the questions, the least first: the least effort expected, to nine decimals; the question; the same effort as
                it is; and (chance, place) of each outcome after which something is open
    known, low  the solution, and the effort that no solution is below
    """

    ways: list[tuple[int, int, float, list[tuple[float, _Place]]]]
    known: tuple[float, int] | None = None
    low: float = 0.0


class _ToTheEnd(_Solver):
    """Solves a game of few hypotheses.

    In numbers and lists, as most places are of two to five hypotheses: arrays of so few take far longer.
    """

    def __init__(self, game: Game, most: int = MOST_STATES) -> None:
        super().__init__(game, _likely(game))
        self.most, self.states = most, 0
        #: By the outcomes of questions that some hypothesis leaves open, and by the hypotheses that fit.
        self.places: dict[tuple[int, ...], dict[int, _Place]] = {(): {}}
        self.outcomes: list[list[float]] = self.outcome.tolist()
        #: Of each question its outcomes, each with a bit for every hypothesis that may give it; how it parts them; and its kin.
        answers = self._answers()
        self.questions = [*zip(answers, self._partings(answers), self.kin, strict=True)]
        self.widest = max(2, *map(len, answers))
        self.kin_of = [kin for mine, _, kin in self.questions for _ in mine]
        self.costs: dict[int, list[float]] = {at: game.effort(at).tolist() for at in {game.at, *game.view}}
        self.a_bit = self.cheapest / log2(self.widest)
        #: What stays of a hypothesis after its rarest answers; and how little others have beside a leader that settles it.
        self.shrunk: list[float] = self._least_chances().tolist()
        self.beside = (1.0 - game.settled + SAME) / (game.settled - SAME)
        self.group: list[int] = game.group[self.order].tolist()
        self.untold: list[float] = self.hidden.tolist()

    def _answers(self) -> list[list[tuple[int, int]]]:
        fits = [sum([1 << h for h, chance in enumerate(row) if chance > 0]) for row in self.outcomes]
        every = [*enumerate(fits)]
        return [every[a:b] for a, b in pairwise(self.game.first.tolist())]

    def _partings(self, answers: list[list[tuple[int, int]]]) -> list[int | None]:
        """How each question parts the hypotheses: the bits of all its outcomes side by side; None where one leaves it open.

        How it parts those that are left is what these bits have in common with theirs, repeated side by side.
        """
        wide = len(self.order)
        return [
            None if soft else sum([fits << k * wide for k, (_, fits) in enumerate(mine)])
            for mine, soft in zip(answers, self.soft.tolist(), strict=True)
        ]

    def _least_chances(self) -> Floats:
        """The chance of the rarest answers of each hypothesis to all questions."""
        least = np.minimum.reduceat(np.where(self.outcome > 0, self.outcome, 1.0), self.game.first[:-1])
        return np.multiply.reduce(least)

    @cached_property
    def _side_by_side(self) -> int:
        return sum([1 << k * len(self.order) for k in range(self.widest)])

    def solved(self) -> tuple[float, int]:
        """(expected effort, first question) of the best way to ask on; no question where nothing is open."""
        weight = {h: one for h, one in enumerate(self.weight.tolist()) if one > 0}
        start = self._place(weight, sum([1 << h for h in weight]), ())
        return self._solve(start, self.game.at, inf) if start.open else (0.0, -1)

    def _place(self, weight: dict[int, float], fits: int, told: tuple[int, ...]) -> _Place:
        groups = [*weight.values()] if self.alone else self._by_group(weight)
        chance, most = sum(groups), max(groups)
        if most >= (self.game.settled - SAME) * chance:
            return _Place(weight, chance, fits, told, False, 0.0)
        inside = sum([one * log2(one) for one in groups])
        if self.hides:
            inside += sum([one * self.untold[h] for h, one in weight.items()])
        bits = log2(chance) - inside / chance
        if bits <= SAME:
            return _Place(weight, chance, fits, told, False, 0.0)
        least = self.a_bit * bits
        if least > self.cheapest and min([one * self.shrunk[h] for h, one in weight.items()]) <= self.beside * most:
            least -= self.a_bit * _slack(self.game.settled, len(groups))
        return _Place(weight, chance, fits, told, True, max(self.cheapest, least))

    def _by_group(self, weight: dict[int, float]) -> list[float]:
        found: dict[int, float] = {}
        for h, one in weight.items():
            found[self.group[h]] = found.get(self.group[h], 0.0) + one
        return [*found.values()]

    def _after(self, place: _Place) -> list[_After]:
        """What comes after each question that has more than one answer here."""
        closed, here, wide = {self.kin_of[o] for o in place.told}, place.fits, len(self.order)
        fits = here * self._side_by_side
        # Most questions part the few that are left as another does, or not at all.
        parted: dict[int, _Leads | None] = {here: None, here << wide: None}
        found: list[_After] = []
        for q, (answers, parting, kin) in enumerate(self.questions):
            if kin in closed:
                continue
            if parting is None:
                leads = self._leads(place, answers, soft=True)
            elif (way := parting & fits) in parted:
                leads = parted[way]
            else:
                leads = parted[way] = self._leads(place, answers, soft=False)
                if leads is not None and len(answers) == 2:
                    parted[way >> wide | (way & here) << wide] = leads[0], leads[1][::-1]
            if leads is not None:
                found.append((q, *leads))
        return found

    def _leads(self, place: _Place, answers: list[tuple[int, int]], soft: bool) -> _Leads | None:
        """Where a question leads, which some hypothesis may leave open; None where it has one answer."""
        leads: list[tuple[float, _Place]] = []
        count, after, told = 0, 0.0, place.told
        beside = self.places[told]
        for o, fits in answers:
            left = place.fits & fits
            if left:
                if soft:  # what it leaves is the same whatever was asked first
                    told = tuple(sorted((*place.told, o)))
                    beside = self.places.setdefault(told, {})
                one = beside.get(left)
                if one is None:
                    answer = self.outcomes[o]
                    weight = {h: share * answer[h] for h, share in place.weight.items() if answer[h]}
                    one = beside[left] = self._place(weight, left, told)
                chance = one.chance / place.chance
                count += chance > SAME
                if one.open:
                    after += chance * one.least
                    leads.append((chance, one))
        return (after, leads) if count > 1 else None

    def _seen(self, place: _Place, at: int) -> _Seen:
        """A place from a view."""
        if place.seen is None:
            place.after, place.seen = self._after(place), {}
        if at not in place.seen:
            costs = self.costs[at]
            bounds = [(costs[q] + after, q, leads) for q, after, leads in place.after or ()]
            place.seen[at] = _Seen(sorted([(round(bound / SAME), q, bound, leads) for bound, q, leads in bounds]))
        return place.seen[at]

    def _solve(self, place: _Place, at: int, limit: float) -> tuple[float, int]:
        """(expected effort, first question) from here; infinite when it is no better than `limit`."""
        seen = self._seen(place, at)
        if seen.known is not None:
            return seen.known
        if seen.low >= limit - SAME:
            return inf, -1
        self.states += 1
        if self.states > self.most:
            raise _TooLarge
        found, first = (inf, -1) if seen.ways else (0.0, -1)
        for _, q, bound, leads in seen.ways:
            most = min(found, limit)
            if bound >= most - SAME:
                break
            effort = self._effort(bound, leads, self.game.view[q], most)
            if effort < found - SAME:
                found, first = effort, q
        if found < limit - SAME:
            seen.known = found, first
        else:
            seen.low = max(limit, seen.low)
        return found, first

    def _effort(self, bound: float, leads: list[tuple[float, _Place]], view: int, limit: float) -> float:
        """The effort of a question and of the best way on after each of its answers, which is at least `bound`."""
        effort = bound
        for chance, one in leads:
            effort += chance * (self._solve(one, view, (limit - effort) / chance + one.least)[0] - one.least)
            if effort >= limit - SAME:
                break
        return effort


# Two questions ahead ---------------------------------------------------------------------------------------------------


class _Ahead(_Solver):
    """Looks two questions ahead in a game of many hypotheses. Weights of hypotheses stand in the last axis."""

    def __init__(self, game: Game) -> None:
        super().__init__(game, game.outcomes)
        self.spread = xlog2(self.outcome)

    def first_question(self) -> int:
        """The question with the least effort expected, that of two questions counted and the rest guessed.

        Every bit left after that is guessed to take as long as it does with the best question there is now.
        """
        at, parts = self.game.at, self.parts(self.weight)
        each = 1.0 / max(float(np.max(self.news(self.weight, parts) / self.game.effort(at))), SAME)
        rough = self.rough(self.weight, parts, at, each)
        order = np.lexsort((np.arange(len(rough)), np.round(rough, 9)))[:WIDTH]
        found = [self._beyond(int(q), parts, each) for q in order]
        return int(order[int(np.argmin(np.round(found, 9)))])

    def _beyond(self, q: int, parts: Parts, each: float) -> float:
        """The effort of a question, of the best one after each of its answers, and of what is guessed to come then."""
        mine = slice(*self.game.first[q : q + 2])
        chance, open_ = parts[0][mine], parts[2][mine]
        effort = float(self.game.effort(self.game.at)[q])
        if not open_.any():
            return effort
        left = self.weight * self.outcome[mine][open_] / chance[open_, None]
        rough = self.rough(left, self.parts(left), self.game.view[q], each)
        closed = (np.array(self.kin) == self.kin[q]) & self.soft[q]
        after = np.where(closed, np.inf, rough).min(axis=1)
        return effort + float(chance[open_] @ np.where(np.isfinite(after), after, 0.0))

    def parts(self, weight: Floats) -> Parts:
        """(chance, bits left that can be told, whether unsettled) of every outcome of every question."""
        chance, joint = weight @ self.outcome.T, self.grouped(weight[..., None, :] * self.outcome)
        # Where every hypothesis is a group, the sum of xlog2(joint) takes the logarithms of the weights alone.
        inside = xlog2(weight) @ self.outcome.T + weight @ self.spread.T if self.alone else xlog2(joint).sum(axis=-1)
        if self.hides:
            inside += (weight * self.hidden) @ self.outcome.T
        some = np.maximum(chance, TINY)
        bits = np.log2(some) - inside / some
        some_left = bits > SAME
        unsettled = np.maximum.reduce(joint, axis=-1) < (self.game.settled - SAME) * chance
        return chance, np.where(some_left, bits, 0.0), some_left & unsettled

    def news(self, weight: Floats, parts: Parts) -> Floats:
        """Bits that each question tells about the group."""
        chance, bits, _ = parts
        before = -xlog2(self.grouped(weight)).sum(axis=-1, keepdims=True) - (weight @ self.hidden)[..., None]
        return before - np.add.reduceat(chance * bits, self.game.first[:-1], axis=-1)

    def rough(self, weight: Floats, parts: Parts, at: int, each: float) -> Floats:
        """The effort of each question and of what comes after it, guessed; infinite for a question without news."""
        chance, bits, open_ = parts
        guess = np.where(open_, np.maximum(self.cheapest, bits * each), 0.0)
        whole = self.game.effort(at) + np.add.reduceat(chance * guess, self.game.first[:-1], axis=-1)
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
    return chances / np.where(sums > 0, sums, 1.0)
