"""A fixed key: yes/no questions as a tree, to be printed and used without a screen. Arrays in, a tree out.

The tree is what the questioner would ask of units that are as they left the factory and are read without mistakes, every answer
written down beforehand.  A question may name several states ("is it painted or bare?"), and a part that is not there is a no.
A variant that shows a state only sometimes, and one of which nobody recorded the trait, goes on along both branches, so it may
end in several leaves; nothing unknown excludes it.  A measured value counts as what all but the rarest of a variant's units have,
and is asked for only where no question that needs no tool tells anything for as little effort.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import combinations, pairwise
from math import comb
from typing import Any

import numpy as np

from ..kb.reading import CannotTell, Seen
from .arrays import MISSING, Bools, Compiled, Floats, Ints, Trait
from .belief import believe, between, blended, row_weights, share_between
from .given import Given
from .questions import NEGLIGIBLE, NO_NEWS, TINY, Question, chance_of, outcome_chances, outcome_rows, whole, xlog2
from .session import Proposal, Session

#: A question names at most so many states, and fewer of a trait that would give more than so many questions.
MOST_NAMED, MOST_SETS = 3, 400
#: So many of the best questions are planned with.
PLANNED = 16
#: What each state named after the first adds to the effort, in glances.
EACH_MORE = 0.1
#: Values that less than this share of a variant's units have are left out.
TAIL = 0.01
#: A variant is taken to be at least this share as common as the average one, so that a rare one gets a leaf of its own.
LEAST = 0.01
#: What is left of a variant in which nothing is to be asked about.
FAINT = 1e-7
#: As good as certain.
CERTAIN = 1.0 - 1e-9
PLACES = 9


@dataclass(frozen=True)
class Step:
    """One question: whether the trait is in one of `states`, or (of a measured one) whether it is more than `cut`.

    others   the other states that are left here, for the branch of no; none of a measured trait
    yes, no  the index of the step that comes next, or ~index of the leaf;  back: the step one comes from, -1 at the first
    chance   that a unit comes here
    likely   the variants, a leader and those nothing tells from it, that together are as sure here as the knowledge base asks;
             what follows only rules out rarer ones.  Mostly empty
    """

    trait: int
    states: tuple[str, ...]
    others: tuple[str, ...]
    cut: float | None
    yes: int
    no: int
    back: int
    chance: float
    likely: tuple[int, ...]


@dataclass(frozen=True)
class Leaf:
    """Where the key ends.

    shares  (variant, probability there), the likeliest first, of every variant that may be there
    chance  that a unit ends here;  back: the step one comes from, -1 when there was none
    right   the chance that a unit as the record has them ends here and is the likeliest variant, or one nothing tells from it:
            parts changed, traits misread and units that are not in the record counted
    """

    shares: tuple[tuple[int, float], ...]
    chance: float
    back: int
    right: float


@dataclass(frozen=True)
class Key:
    """Steps in the order they are printed, each after the one it comes from and the branch of yes first; and the leaves.

    Units as they left the factory, read without mistakes, come to a step with a certain chance: the sum over the variants on
    record of how common the variant is, of all of them, times the share of its units that give every answer on the way there.
    """

    steps: tuple[Step, ...]
    leaves: tuple[Leaf, ...]

    @property
    def mean_steps(self) -> float:
        """Steps on average until the variant is as sure as the knowledge base asks: the chances of those without `likely`."""
        return sum(step.chance for step in self.steps if not step.likely)

    @property
    def mean_to_the_end(self) -> float:
        """Steps on average until a leaf: the chances of all steps."""
        return sum(step.chance for step in self.steps)

    @property
    def right(self) -> float:
        """The share of units as the record has them of which the key names the variant; see `Leaf`."""
        return sum(leaf.right for leaf in self.leaves)


@dataclass(frozen=True)
class Sheet:
    """A key that begins with a marking, where one tells more than a yes or no can.

    read        the trait that is read first, or None;  by_text: the key that follows each text it is known to have
    unrecorded  the variants of which nobody recorded it: they may have any
    otherwise   the key for whoever cannot read it, or reads something else; without a marking, the only one
    """

    read: int | None
    by_text: Mapping[str, Key]
    unrecorded: tuple[int, ...]
    otherwise: Key

    @property
    def mean_steps(self) -> float:
        """As of a key; the reading is one step."""
        return 1.0 + sum(one.mean_steps for one in self.by_text.values()) if self.by_text else self.otherwise.mean_steps

    @property
    def mean_to_the_end(self) -> float:
        """As of a key; the reading is one step."""
        return 1.0 + sum(one.mean_to_the_end for one in self.by_text.values()) if self.by_text else self.otherwise.mean_to_the_end

    @property
    def right(self) -> float:
        """As of a key."""
        return sum(one.right for one in self.by_text.values()) if self.by_text else self.otherwise.right


def pocket_sheet(compiled: Compiled) -> Sheet:
    """The keys to the variants of one family: by a marking, and without it.

    A variant whose marking nobody recorded may have any: it is named where every key by a text ends, but no step is spent on it.
    """
    if not compiled.variants:
        return Sheet(None, {}, (), Key((), ()))
    first = _begun(compiled)
    t = first.marking
    if t is None:
        return Sheet(None, {}, (), _grown(first))
    trait, unread = first.compiled.traits[t], first.answer(t, CannotTell())
    by_text = replace(first, compiled=_faint(first.compiled, t))
    found: dict[str, Key] = {}
    for k, text in enumerate(trait.states):
        asker = by_text.told(Question(t, ((k,),)), 0)
        if text != MISSING and asker.belief.plausible:
            found[text] = _grown(asker)
    unrecorded = np.unique(compiled.variant[_unrecorded(compiled, t) & (compiled.variant >= 0)])
    return Sheet(t, found, tuple(unrecorded.tolist()), _grown(replace(first, given=unread.given)))


def fixed_key(compiled: Compiled) -> Key:
    """The key of yes/no questions alone to the variants of one family. No variants: no steps and no leaves."""
    return _grown(_begun(compiled)) if compiled.variants else Key((), ())


def _begun(compiled: Compiled) -> "_Asker":
    as_found = in_stretches(compiled)
    return _Asker(as_issued(as_found), as_found=as_found)


def _grown(first: "_Asker") -> Key:
    """The tree from here on."""
    steps: list[Step] = []
    leaves: list[Leaf] = []
    waiting = [(first, -1, True)]
    while waiting:
        asker, back, yes = waiting.pop()
        asker, likely = (asker.certain, asker.leaders) if asker.settled else (asker, ())
        proposal = asker.next
        here = len(steps) if proposal else ~len(leaves)
        if back >= 0:
            steps[back] = replace(steps[back], yes=here) if yes else replace(steps[back], no=here)
        if proposal:
            question = proposal.question
            named, others = asker.sides(question)
            steps.append(Step(question.trait, named, others, question.cut, 0, 0, back, asker.chance, likely))
            waiting += [(asker.told(question, o), here, o == 0) for o in (1, 0)]
        else:
            leaves.append(Leaf(asker.shares, asker.chance, back, asker.right))
    return Key(tuple(steps), tuple(leaves))


# Asking ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Asker(Session):
    """A session that is only asked which question comes next, over sets of states; `as_found`: the arrays with all mistakes."""

    as_found: Compiled = field(kw_only=True)

    def told(self, question: Question, outcome: int) -> "_Asker":
        """With one more answer."""
        names = self.compiled.traits[question.trait].states
        session = self.answer(question.trait, Seen(frozenset(names[k] for k in question.outcomes[outcome])))
        return replace(self, given=session.given)

    def sides(self, question: Question) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The states that a yes names, and the others that are left; none of a measured trait."""
        if question.cut is not None:
            return (), ()
        states = self.compiled.traits[question.trait].states
        live = np.flatnonzero(self.belief.probability > 0)
        every = Question(question.trait, tuple((k,) for k in range(len(states))))
        (chances,) = outcome_chances(self.compiled, self.belief, [every], live, self.evidence)
        named, rest = question.outcomes
        return tuple(states[k] for k in named), tuple(states[k] for k in rest if chances[:, k].any())

    @property
    def marking(self) -> int | None:
        """The marking of the body or the finish that tells most for its effort, where that is more than a yes or no can tell.

        It must be on record for nearly every unit, since whatever has none on record would be taken for another.
        """
        compiled, found = self.as_found, dict[int, float]()
        traits = [t for t in self.open_traits if compiled.traits[t].worn and not compiled.slots[compiled.traits[t].slot].parts]
        asked = [whole(compiled, t) for t in traits]
        for question, bits in zip(asked, self._news(asked), strict=True):
            unknown = self.compiled.prior[_unrecorded(compiled, question.trait)].sum()
            if bits > 1.0 and unknown <= 1.0 - compiled.settled:
                found[question.trait] = float(bits) / self.effort(question)
        return max(found, key=lambda t: found[t], default=None)

    @property
    def certain(self) -> "_Asker":
        """The same, to be asked on until nothing is left to ask."""
        return replace(self, compiled=_certain(self.compiled))

    @property
    def leaders(self) -> tuple[int, ...]:
        """The likeliest variant and those that cannot be told from it, the likeliest first."""
        return tuple(self.compiled.variants.index(one) for one in self.leading[0])

    @property
    def shares(self) -> tuple[tuple[int, float], ...]:
        """The variants that may still be there, the likeliest first."""
        left = np.flatnonzero((self.belief.probability > 0) & (self.compiled.variant >= 0))
        chance = self.as_found.prior[left] * self._path(self.compiled)[left]
        found: dict[int, float] = {}
        for v, share in zip(self.compiled.variant[left].tolist(), (chance / max(chance.sum(), TINY)).tolist(), strict=True):
            found[v] = found.get(v, 0.0) + share
        return tuple(sorted(found.items(), key=lambda one: (-round(one[1], PLACES), one[0])))

    @property
    def chance(self) -> float:
        """The share of the units on record that give all answers so far."""
        common = np.where(self.compiled.variant >= 0, self.as_found.prior, 0.0)
        return float(common @ self._path(self.compiled) / max(float(common.sum()), TINY))

    @property
    def right(self) -> float:
        """The share of all units as they are found that give these answers and are one of the leaders."""
        mine = np.isin(self.compiled.variant, self.leaders)
        return float(self.as_found.prior[mine] @ self._path(self.as_found)[mine])

    def _path(self, compiled: Compiled) -> Floats:
        """P(all answers so far | candidate)."""
        belief, found = believe(compiled, self.evidence), np.ones(compiled.candidates)
        for slot, factor in zip(compiled.slots, belief.factor, strict=True):
            found = found * factor[slot.row]
        return found

    @cached_property
    def proposals(self) -> list[Proposal]:
        """The questions with news in them, the best of them alone: the plan takes long over many.

        Without those that need a tool, where one without tells anything for as little effort.
        """
        asked, efforts, yes = self._parting
        every = list(zip(asked, efforts, self._bits(yes), strict=True))
        by_eye = min((effort for one, effort, bits in every if one.cut is None and bits >= NO_NEWS), default=np.inf)
        found = [
            Proposal(one, bits, effort) for one, effort, bits in every if bits >= NO_NEWS and (one.cut is None or effort < by_eye)
        ]
        return sorted(found, key=lambda one: -round(one.value, PLACES))[:PLANNED]

    @property
    def _parting(self) -> tuple[list[Question], list[float], Floats]:
        """The questions that part what is left, one for each way of parting it, the least effort first; and of each

        its effort and P(yes | candidate, answers so far), shape [left, questions].
        """
        live = np.flatnonzero(self.belief.probability > 0)
        asked: list[Question] = []
        efforts, columns = [np.zeros(0)], [np.zeros((len(live), 0))]
        for t, chances in self._open_chances(live):
            sets = _sets(self.compiled.traits[t], t, tuple(np.flatnonzero(chances.max(axis=0) > 0).tolist()))
            if sets.questions:
                asked += sets.questions
                efforts.append((super().effort(sets.questions[0]) + EACH_MORE * sets.more) / _trust(self.as_found)[t])
                columns.append(np.round(chances @ sets.named, PLACES) + 0.0)
        effort, yes = np.concatenate(efforts), np.concatenate(columns, axis=1)
        parts = yes.max(axis=0) > yes.min(axis=0)
        ways, ways_of_no = np.ascontiguousarray(yes.T), np.ascontiguousarray(1.0 - yes.T)
        found: dict[bytes, int] = {}
        for j in np.argsort(np.round(effort, PLACES), kind="stable").tolist():
            if parts[j]:
                found.setdefault(min(ways[j].tobytes(), ways_of_no[j].tobytes()), j)
        one_each = list(found.values())
        return [asked[j] for j in one_each], effort[one_each].tolist(), yes[:, one_each]

    def _open_chances(self, live: Ints) -> Iterator[tuple[int, Floats]]:
        """(t, P(state | candidate, answers so far), shape [live, states]) of open traits in which these candidates differ."""
        open_, found = set(self.open_traits), dict[int, Floats]()
        for s, slot in enumerate(self.compiled.slots):
            given = tuple(one for one in self.given if self.compiled.traits[one.trait].slot == s)
            traits, firsts, rows = _slot_chances(self.compiled, s, given)
            if traits:
                chances = rows[slot.row[live]]
                unlike = np.logical_or.reduceat(chances.max(axis=0) > chances.min(axis=0), firsts)
                for n in np.flatnonzero(unlike).tolist():
                    if traits[n] in open_:
                        found[traits[n]] = chances[:, firsts[n] : [*firsts, rows.shape[1]][n + 1]]
        yield from sorted(found.items(), key=lambda one: one[0])

    def _bits(self, yes: Floats) -> list[float]:
        """The news about the variant in answers that are yes with these chances [left, questions]; see `questions.news`."""
        live = np.flatnonzero(self.belief.probability > 0)
        weight = self.belief.probability[live]
        weight = np.where(weight > NEGLIGIBLE * weight.max(), weight, 0.0)
        variants = np.unique(self.groups[live])
        mine: Floats = np.where(self.groups[live] == variants[:, None], weight / weight.sum(), 0.0)
        share: Floats = mine.sum(axis=1)
        joint = np.stack([mine @ yes, mine @ (1.0 - yes)])
        inside = xlog2(joint).sum(axis=(0, 1)) - xlog2(share).sum()
        bits: list[float] = np.maximum(inside - xlog2(joint.sum(axis=1)).sum(axis=0), 0.0).tolist()
        return bits

    def effort(self, question: Question, there: bool | None = None) -> float:
        """As of any question, and something for each state more that it names; for as many tries as a right answer takes."""
        return (super().effort(question, there) + EACH_MORE * _more(question)) / _trust(self.as_found)[question.trait]


@lru_cache(maxsize=64)
def _certain(compiled: Compiled) -> Compiled:
    return _same_looks(compiled, settled=CERTAIN)


@lru_cache(maxsize=64)
def _trust(compiled: Compiled) -> tuple[float, ...]:
    """For each trait, the share of units of which it is read as their variant left the factory."""
    found: list[float] = []
    for trait in compiled.traits:
        slot = compiled.slots[trait.slot]
        kept = 1.0 - float(row_weights(slot, compiled.prior) @ slot.swap)
        read = float(np.diag(trait.confusion).mean()) if len(trait.states) else 1.0
        found.append(kept * read)
    return tuple(found)


@lru_cache(maxsize=4096)
def _slot_chances(compiled: Compiled, s: int, given: tuple[Given, ...]) -> tuple[list[int], list[int], Floats]:
    """(traits of slot s, the first column of each, P(state | row u, these answers), shape [u, states of all of them]).

    given: the answers to traits of the slot.
    """
    traits = [t for t, trait in enumerate(compiled.traits) if trait.slot == s and trait.states]
    if not traits:
        return [], [], np.zeros((0, 0))
    every = [_states_of(compiled, t, tuple(one for one in given if one.trait == t)) for t in traits]
    firsts: list[int] = np.cumsum([0, *(rows.shape[1] for rows in every[:-1])]).tolist()
    chances = np.concatenate(every, axis=1)
    if compiled.slots[s].parts:  # what was seen of a part tells which it is; other rows stand by themselves
        chances = chance_of(compiled, Session(compiled, given).belief, s, chances)
    return traits, firsts, chances


@lru_cache(maxsize=4096)
def _states_of(compiled: Compiled, t: int, given: tuple[Given, ...]) -> Floats:
    """P(state | part or row i, the answers to trait t), shape [i, states]."""
    trait = compiled.traits[t]
    each = Question(t, tuple((k,) for k in range(len(trait.states))))
    return outcome_rows(trait, each, next(iter(Session(compiled, given).evidence), None))


@dataclass(frozen=True)
class _Sets:
    """Yes/no questions about one trait; named[k, j]: 1 where question j names state k; more[j]: how many after the first."""

    questions: tuple[Question, ...]
    named: Floats
    more: Floats


@lru_cache(maxsize=16384)
def _sets(trait: Trait, t: int, shown: tuple[int, ...]) -> _Sets:
    """The questions about a trait of which these states are left; the last asks whether there is any such thing."""
    found = list(_naming(trait, t, shown))
    named = np.zeros((len(trait.states), len(found)))
    for j, question in enumerate(found):
        named[list(question.outcomes[0]), j] = 1.0
    return _Sets(tuple(found), named, np.array([_more(question) for question in found], dtype=np.float64))


def _more(question: Question) -> int:
    return 0 if question.form != "yes-no" else len(question.outcomes[0]) - 1


def _naming(trait: Trait, t: int, shown: tuple[int, ...]) -> Iterator[Question]:
    if len(shown) < 2:
        return
    named = [k for k in shown if not (trait.can_be_missing and trait.states[k] == MISSING)]
    whole = set(range(len(trait.states)))
    if len(trait.cuts):
        for j, cut in enumerate(trait.cuts.tolist()):
            above = tuple(range(j + 1, len(trait.cuts) + 1))
            yield Question(t, (above, tuple(sorted(whole - {*above}))), cut, form="value")
        return
    for size in range(1, MOST_NAMED + 1):
        if size < len(named) and comb(len(named), size) <= MOST_SETS:
            for some in combinations(named, size):
                yield Question(t, (some, tuple(sorted(whole - {*some}))))
    if trait.can_be_missing and named:
        some = tuple(range(len(trait.states) - 1))
        yield Question(t, (some, (len(trait.states) - 1,)))


# Arrays as the key takes them ------------------------------------------------------------------------------------------


def as_issued(compiled: Compiled) -> Compiled:
    """The same without mistakes and changed parts, every unit being on record and no variant too rare to be told.

    `compiled` must have gone through `in_stretches`.
    """
    prior = np.where(compiled.variant >= 0, compiled.prior, 0.0)
    known = np.maximum(compiled.variant, 0)
    mine: Floats = np.bincount(known, weights=prior, minlength=len(compiled.variants)).astype(np.float64)
    size: Floats = np.bincount(
        known, weights=(compiled.variant >= 0).astype(np.float64), minlength=len(compiled.variants)
    ).astype(np.float64)
    within = np.where(mine[known] > 0, prior / np.maximum(mine[known], TINY), 1.0 / np.maximum(size[known], 1.0))
    prior = np.where(compiled.variant >= 0, within * np.maximum(mine, max(LEAST * float(mine.mean()), TINY))[known], 0.0)
    return replace(
        compiled,
        prior=prior / prior.sum(),
        slots=tuple(replace(slot, swap=np.zeros(len(slot.swap))) for slot in compiled.slots),
        traits=tuple(replace(one, table=one.truth, confusion=np.eye(len(one.states)), worn=0.0) for one in compiled.traits),
        family_leads=0.0,
    )


def _unrecorded(compiled: Compiled, t: int) -> Bools:
    """The candidates of which trait t, one of the body or the finish, is not recorded."""
    return compiled.traits[t].blend_of[compiled.slots[compiled.traits[t].slot].row] >= 0


def _faint(compiled: Compiled, t: int) -> Compiled:
    """The same with hardly any belief in variants of which trait t of the body or the finish is not recorded."""
    prior = np.where(_unrecorded(compiled, t), FAINT, 1.0) * compiled.prior
    return _same_looks(compiled, prior=prior / prior.sum())


def _same_looks(compiled: Compiled, **changes: Any) -> Compiled:
    """The same with other fields than slots and traits, so that nobody looks again which candidates look the same."""
    made = replace(compiled, **changes)
    vars(made)["looks"] = compiled.looks
    return made


def in_stretches(compiled: Compiled) -> Compiled:
    """The same with every measured trait as one whose states are the stretches between its cuts, "0" the lowest.

    Its truth is without the tails of each row's tolerance; its table has them, and the blunders.
    """
    return replace(compiled, traits=tuple(_in_stretches(one) if one.measured else one for one in compiled.traits))


def _in_stretches(trait: Trait) -> Trait:
    bounds = list(pairwise([-np.inf, *trait.cuts.tolist(), np.inf]))
    sure = replace(trait, blunders=0.0)
    anywhere = np.array([share_between(trait, *bound) for bound in bounds])
    inside = np.stack([between(sure, *bound) for bound in bounds], axis=1)
    truth = blended(sure, np.where(inside < TAIL, 0.0, inside), anywhere)
    table = blended(trait, np.stack([between(trait, *bound) for bound in bounds], axis=1), anywhere)
    there = (trait.applies > 0.5)[:, None]
    truth = np.where(there, truth / np.maximum(truth.sum(axis=1, keepdims=True), TINY), 0.0)
    table = trait.applies[:, None] * table
    names = [str(k) for k in range(len(bounds))]
    if trait.can_be_missing:
        truth, table = np.column_stack([truth, ~there]), np.column_stack([table, 1.0 - trait.applies])
        names = [*names, MISSING]
    blank = np.zeros(0)
    return replace(trait, states=tuple(names), truth=truth, table=table, confusion=np.eye(len(names)), mean=blank, sd=blank)
