"""What a fixed key can ask of a family: arrays without mistakes, every measured trait in stretches, the yes/no questions."""

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import combinations, pairwise
from math import comb

import numpy as np

from .arrays import MISSING, Bools, Compiled, Floats, Ints, Slot, Trait
from .belief import believe, blended, normal_cdf, row_weights, share_between, slot_factor
from .questions import TINY, alike_rows, news, twins_by_look, variant_groups, whole

#: A question names at most so many states, and fewer of a trait that would give more than so many questions.
MOST_NAMED, MOST_SETS = 3, 400
#: What each state named after the first adds to the effort, in glances.
EACH_MORE = 0.1
#: Values that less than this share of a variant's units have are left out.
TAIL = 0.01
#: A variant is taken to be at least this share as common as the average one, so that a rare one gets a leaf of its own.
LEAST = 0.01
#: What is left of a variant in which nothing is to be asked about.
FAINT = 1e-7
#: What is compared is rounded to so many places.
PLACES = 9


@dataclass(frozen=True, eq=False)
class Asking:
    """What stays as it is all through a tree. The states of the traits that may be asked about stand in one row, trait by trait.

    issued, as_found  the arrays without mistakes, and with all of them;  prior[c]: the belief before any answer
    traits, first     the traits, and where in the row the states of the nth begin; one more: the end
    columns[s]        where the states of slot s stand;  shown[s]: P(state | row or part i), shape [i, states of the slot]
    at, view[n]       the view one looks at first, and that of each trait;  there[n], here[n]: the effort coming from elsewhere,
                      and looking there already;  trust[n]: of how many units it is read as their variant left the factory
    kin[n]            as the plan has it;  twins[c]: variants that no question can separate share one
    ways              the questions about a trait in which certain states are left; see `_ways`
    """

    issued: Compiled
    as_found: Compiled
    prior: Floats
    traits: list[int]
    first: list[int]
    columns: list[Ints]
    shown: list[Floats]
    at: int
    view: Ints
    there: Floats
    here: Floats
    trust: Floats
    kin: Ints
    twins: Ints
    _read: dict[tuple[int, bytes], Floats] = field(default_factory=dict)

    def trait(self, n: int) -> Trait:
        """The trait that is the nth asked about."""
        return self.issued.traits[self.traits[n]]

    def questions(self, n: int, left: Bools) -> tuple[Floats, Floats]:
        """The yes/no questions about a trait with these states left: named[q, k], and how many each names after the first."""
        return self.questions_of(n, left.tobytes())

    def questions_of(self, n: int, left: bytes) -> tuple[Floats, Floats]:
        """The same, with the states that are left as bytes: of many traits they are cut from one text."""
        measured, can_be_missing = self.kinds[n]
        return _cuts(len(left), can_be_missing) if measured else _ways(left, can_be_missing)

    @cached_property
    def kinds(self) -> list[tuple[bool, bool]]:
        """Of each trait, whether it is asked about by cuts, and whether there may be none."""
        return [*zip(self.measured.tolist(), self.can_be_missing.tolist(), strict=True)]

    def read(self, n: int, named: Bools) -> Floats:
        """P(one of these states of a trait is read | row or part i), mistakes and changes of the table counted."""
        key = n, named.tobytes()
        if key not in self._read:
            self._read[key] = self.as_found.traits[self.traits[n]].table @ named.astype(np.float64)
        return self._read[key]

    def effort(self, of: Ints, more: Floats, looking: bool | Bools) -> Floats:
        """What questions take about traits of[q], naming more[q] states after the first; looking[n]: whether at its view.

        As of any question, and something for each state more; for as many tries as a right answer takes.
        """
        return (np.where(looking, self.here, self.there)[of] + EACH_MORE * more) / self.trust[of]

    @cached_property
    def begins(self) -> Ints:
        """`first`, without the end."""
        return np.array(self.first[:-1], dtype=np.int64)

    @cached_property
    def last(self) -> Ints:
        """Where in the row the last state of each trait stands."""
        return np.array(self.first[1:], dtype=np.int64) - 1

    @cached_property
    def common(self) -> Floats:
        """How common each candidate is among the units on record; summing to 1."""
        found = np.where(self.issued.variant >= 0, self.as_found.prior, 0.0)
        return found / max(float(found.sum()), TINY)

    @cached_property
    def can_be_missing(self) -> Bools:
        """Of which traits there may be none."""
        return np.array([self.trait(n).can_be_missing for n in range(len(self.traits))], dtype=bool)

    @cached_property
    def measured(self) -> Bools:
        """Which traits are asked about by cuts."""
        return np.array([len(self.trait(n).cuts) > 0 for n in range(len(self.traits))], dtype=bool)


def asking(issued: Compiled, as_found: Compiled, unread: int | None = None) -> Asking:
    """Of a family's arrays as they left the factory, and as they are found; `unread`: a trait that could not be read."""
    traits = [t for t, trait in enumerate(issued.traits) if trait.asked and t != unread]
    every = [issued.traits[t] for t in traits]
    first: list[int] = np.cumsum([0, *(len(trait.states) for trait in every)]).tolist()
    mine = [[n for n, trait in enumerate(every) if trait.slot == s] for s in range(len(issued.slots))]
    view = np.array([trait.view for trait in every], dtype=np.int64)
    glances = np.array([float(issued.effort[trait.view]) if trait.view >= 0 else 1.0 for trait in every])
    form = np.array([issued.asking["value" if len(trait.cuts) else "yes-no"] for trait in every])
    found = Asking(
        issued=issued,
        as_found=as_found,
        prior=issued.prior,
        traits=traits,
        first=first,
        columns=[np.concatenate([_NONE, *(np.arange(first[n], first[n + 1]) for n in ns)]) for ns in mine],
        shown=[
            np.concatenate([np.zeros((len(slot.parts) or len(slot.redone), 0)), *(every[n].table for n in ns)], axis=1)
            for slot, ns in zip(issued.slots, mine, strict=True)
        ],
        at=issued.traits[unread].view if unread is not None else -1,
        view=view,
        there=glances + form,
        here=np.minimum(glances, 1.0) + form,
        trust=np.array(_trust(as_found))[traits],
        kin=np.array([-1 - trait.slot if issued.slots[trait.slot].parts else t for t, trait in zip(traits, every, strict=True)]),
        twins=_NONE,
    )
    everyone = np.arange(issued.candidates)
    return replace(found, twins=twins_by_look(issued.variant, alike_rows(np.round(at_first(found, everyone).T, PLACES))[1]))


_NONE: Ints = np.zeros(0, dtype=np.int64)


def at_first(asked: Asking, candidates: Ints) -> Floats:
    """P(state | candidate) before any answer, shape [states in the row, candidates]."""
    found = np.zeros((len(candidates), asked.first[-1])).T  # what is done to it takes one candidate after another
    for slot, columns, shown in zip(asked.issued.slots, asked.columns, asked.shown, strict=True):
        found[columns] = states_by_row(slot, np.ones(len(shown)), shown)[slot.row[candidates]].T
    return found


def states_by_row(slot: Slot, evidence: Floats, shown: Floats) -> Floats:
    """P(state | row u) from the chance of all answers and that of each state given part or row i; see `belief.slot_factor`."""
    return slot_factor(slot, evidence[:, None] * shown) / np.maximum(slot_factor(slot, evidence), TINY)[:, None]


@lru_cache(maxsize=256)
def _cuts(states: int, can_be_missing: bool) -> tuple[Floats, Floats]:
    """The questions about a measured trait whose stretches are so many states: more than each cut."""
    cuts = states - can_be_missing - 1
    named = np.arange(states) > np.arange(cuts)[:, None]
    return (named & (np.arange(states) <= cuts)).astype(np.float64), np.zeros(cuts)


@lru_cache(maxsize=4096)
def _ways(left: bytes, can_be_missing: bool) -> tuple[Floats, Floats]:
    """Up to three states of those left; last whether there is any such thing. It is the same of all traits of so many states."""
    there = len(left) - can_be_missing
    states, missing = [k for k in range(there) if left[k]], any(left[there:])
    some = _some_of(len(states), not missing)
    named = np.zeros((len(some) + missing, len(left)))
    named[: len(some), states] = some
    named[len(some) :, :there] = 1.0
    return named, named.sum(axis=1) - 1.0


@lru_cache(maxsize=256)
def _some_of(count: int, nothing_else: bool) -> Floats:
    """Every choice of up to three, and not all, of so many, the smaller first; 0 or 1, shape [choices, count].

    Where there is nothing else, none of what an earlier choice leaves out: it would ask the same.
    """
    sizes = [size for size in range(1, MOST_NAMED + 1) if size < count and comb(count, size) <= MOST_SETS]
    chosen = [
        some
        for size in sizes
        for some in combinations(range(count), size)
        if not nothing_else or 2 * size < count or (2 * size == count and some[0] == 0)
    ]
    found = np.zeros((len(chosen), count))
    for row, some in zip(found, chosen, strict=True):
        row[list(some)] = 1.0
    return found


def _trust(compiled: Compiled) -> list[float]:
    """For each trait, the share of units of which it is read as their variant left the factory."""
    kept = [1.0 - float(row_weights(slot, compiled.prior) @ slot.swap) for slot in compiled.slots]
    return [kept[one.slot] * (float(one.confusion.trace()) / len(one.states) if one.states else 1.0) for one in compiled.traits]


# A marking ---------------------------------------------------------------------------------------------------------------


def marking(asked: Asking) -> int | None:
    """The marking of the body or the finish that tells most for its effort, where that is more than a yes or no can tell.

    It must be on record for nearly every unit, since whatever has none on record would be taken for another.
    """
    issued, found = asked.issued, dict[int, float]()
    traits = [asked.as_found.traits[t] for t in asked.traits]
    marked = [n for n, trait in enumerate(traits) if trait.worn and not issued.slots[trait.slot].parts]
    read = [whole(asked.as_found, asked.traits[n]) for n in marked]
    told: list[float] = news(issued, believe(issued, ()), read, variant_groups(issued)).tolist() if read else []
    for n, question, bits in zip(marked, read, told, strict=True):
        unknown = issued.prior[unrecorded(issued, question.trait)].sum()
        if bits > 1.0 and unknown <= 1.0 - issued.settled:
            glance = asked.here if asked.view[n] == asked.at else asked.there
            effort = float(glance[n]) - issued.asking["yes-no"] + issued.asking[question.form]
            found[question.trait] = bits * float(asked.trust[n]) / effort
    return max(found, key=lambda t: found[t], default=None)


def by_text(asked: Asking, t: int) -> Asking:
    """The same where marking t is read: with hardly any belief in variants of which it is not recorded."""
    prior = np.where(unrecorded(asked.issued, t), FAINT, 1.0) * asked.prior
    return replace(asked, prior=prior / prior.sum())


def unrecorded(compiled: Compiled, t: int) -> Bools:
    """The candidates of which trait t, one of the body or the finish, is not recorded."""
    return compiled.traits[t].blend_of[compiled.slots[compiled.traits[t].slot].row] >= 0


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


def in_stretches(compiled: Compiled) -> Compiled:
    """The same with every measured trait as one whose states are the stretches between its cuts, "0" the lowest.

    Its truth is without the tails of each row's tolerance; its table has them, and the blunders.
    """
    return replace(compiled, traits=tuple(_in_stretches(one) if one.measured else one for one in compiled.traits))


def _in_stretches(trait: Trait) -> Trait:
    edges = [-np.inf, *trait.cuts.tolist(), np.inf]
    sure, blunders = replace(trait, blunders=0.0), trait.blunders
    anywhere = np.array([share_between(trait, *bound) for bound in pairwise(edges)])
    inside = np.diff([normal_cdf((edge - trait.mean) / trait.sd) for edge in edges], axis=0).T
    truth = blended(sure, np.where(inside < TAIL, 0.0, inside), anywhere)
    table = blended(trait, (1.0 - blunders) * inside + blunders * anywhere, anywhere)  # as `belief.between` has it
    there = (trait.applies > 0.5)[:, None]
    truth = np.where(there, truth / np.maximum(truth.sum(axis=1, keepdims=True), TINY), 0.0)
    table = trait.applies[:, None] * table
    names = [str(k) for k in range(len(anywhere))]
    if trait.can_be_missing:
        truth, table = np.column_stack([truth, ~there]), np.column_stack([table, 1.0 - trait.applies])
        names = [*names, MISSING]
    blank = np.zeros(0)
    return replace(trait, states=tuple(names), truth=truth, table=table, confusion=np.eye(len(names)), mean=blank, sd=blank)
