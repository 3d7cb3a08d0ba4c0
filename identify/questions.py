"""Which question next: the expected news of every answer about a target, for the effort of the view it needs.

A question is a row of outcomes: for yes/no the two sets of states, and "missing" where a part can be; for a choice every state;
for a value the stretches between the cuts; for a reading every known marking; for another look what it confirms and what not.
The news is the mutual information between the outcome and the target group of the unit (Shannon 1948), in bits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Literal, get_args

import numpy as np

from .arrays import Compiled, Floats, Ints, Trait
from .belief import (
    Belief,
    Evidence,
    apart_from_told,
    between,
    blended,
    heard,
    likelihood,
    looks,
    share_between,
    slot_factor,
    swapped,
)

#: News below this is no news: rounding, or an answer that would move nothing.
NO_NEWS = 1e-3
#: Candidates below this share of the leader's probability are left out when news is counted.
NEGLIGIBLE = 1e-9
TINY = 1e-300


#: yes-no: is it this one?  choice: which of these?  value: measure it.  reading: type what can be read.
#: again: look once more at what was answered.
Form = Literal["yes-no", "choice", "value", "reading", "again"]
FORMS: tuple[Form, ...] = get_args(Form)


@dataclass(frozen=True)
class Question:
    """Outcomes of one trait: sets of state indices; measured: `cut`, asked as "more than", or by value between the cuts."""

    trait: int
    outcomes: tuple[tuple[int, ...], ...]
    cut: float | None = None
    form: Form = "yes-no"

    @cached_property
    def key(self) -> int:
        """The hash, computed once: questions are looked up often."""
        return hash((self.trait, self.outcomes, self.cut, FORMS.index(self.form)))  # of numbers only: equal in every process

    def __hash__(self) -> int:
        """As equality has it."""
        return self.key


@lru_cache(maxsize=16384)
def yes_no(compiled: Compiled, t: int) -> tuple[Question, ...]:
    """Every yes/no question about a trait: one for each state (one for both of two), or one for each cut."""
    trait = compiled.traits[t]
    if trait.measured:
        return tuple(Question(t, ((0,), (1,)), float(cut)) for cut in trait.cuts)
    named = len(trait.states) - trait.can_be_missing
    gone = ((named,),) if trait.can_be_missing else ()
    asked = range(named if named > 2 else named - 1)
    return tuple(Question(t, ((k,), tuple(j for j in range(named) if j != k), *gone)) for k in asked)


def whole(compiled: Compiled, t: int) -> Question:
    """A trait asked for all at once: its states as a choice, its value, or what can be read."""
    trait = compiled.traits[t]
    if trait.measured:
        return Question(t, tuple((k,) for k in range(len(trait.cuts) + 1)), form="value")
    return Question(t, tuple((k,) for k in range(len(trait.states))), form="reading" if trait.worn else "choice")


def another_look(compiled: Compiled, given: Evidence) -> Question | None:
    """Once more what was answered; None where there were no states to choose from, or a second look was taken."""
    trait = compiled.traits[given.trait]
    if trait.measured or given.typed or given.again or given.weights is None or not given.weights.any():
        return None
    named = len(trait.states) - trait.can_be_missing
    said = tuple(k for k in range(len(trait.states)) if given.weights[k])
    rest = tuple(k for k in range(named) if k not in said)
    gone = ((named,),) if trait.can_be_missing and named not in said else ()
    sides = sorted([said, rest], key=lambda side: (len(side), side)) if rest else [said]  # as it was asked: for one state
    return Question(given.trait, (*sides, *gone), form="again") if rest or gone else None


def news(
    compiled: Compiled, belief: Belief, questions: Sequence[Question], groups: Ints, evidence: Sequence[Evidence] = ()
) -> Floats:
    """Expected news of each question in bits about groups[c], the target group of every candidate.

    `evidence` is what was answered already: a trait answered in part is asked within what is left of it.
    """
    live = np.flatnonzero(belief.probability > NEGLIGIBLE * belief.probability.max())
    live = live[np.argsort(groups[live], kind="stable")]
    weight = belief.probability[live] / belief.probability[live].sum()
    more = np.diff(groups[live]) == 0
    group, pairs = np.cumsum(np.r_[False, ~more]), np.flatnonzero(more)
    given = {one.trait: one for one in evidence}
    result = np.zeros(len(questions))
    for s, asked in _by_look(compiled, questions).items():
        slot = compiled.slots[s[0]]
        columns = [_outcomes(compiled, questions[q], given.get(questions[q].trait)) for q in asked]
        look = slot.row[live]
        if s[1] >= 0:
            look, columns = _alike(compiled.traits[s[1]], look, columns)
            chances = np.concatenate(columns, axis=1)
        else:
            chances = chance_of(compiled, belief, s[0], np.concatenate(columns, axis=1))
        firsts = np.cumsum([0, *(column.shape[1] for column in columns[:-1])])
        result[asked] = np.add.reduceat(_information(chances, look, group, pairs, weight), firsts)
    return np.maximum(result, 0.0)


def outcome_chances(
    compiled: Compiled, belief: Belief, questions: Sequence[Question], live: Ints, evidence: Sequence[Evidence]
) -> list[Floats]:
    """P(outcome | candidate, answers so far) of each question for these candidates, shape [live, outcomes]."""
    given = {one.trait: one for one in evidence}
    found: list[Floats] = []
    for question in questions:
        s = compiled.traits[question.trait].slot
        rows = _outcomes(compiled, question, given.get(question.trait))
        found.append(chance_of(compiled, belief, s, rows)[compiled.slots[s].row[live]])
    return found


def alike_together(weight: Floats, group: Ints, chances: Sequence[Floats]) -> tuple[Floats, Ints, list[Floats]]:
    """Candidates of one group that answer everything alike, taken as one."""
    plain = np.round(np.concatenate(chances, axis=1), 9)
    first, same = alike_rows(np.concatenate([group[:, None].astype(np.float64), plain], axis=1))
    together: Floats = np.bincount(same, weights=weight).astype(np.float64)
    return together, group[first], [one[first] for one in chances]


def alike_rows(rows: Floats) -> tuple[Ints, Ints]:
    """(first row of each kind, kind of each row), in the order they come: rows are of one kind when all in them is the same."""
    first: dict[bytes, int] = {}
    same = np.array([first.setdefault(row, n) for n, row in enumerate(as_bytes(rows))], dtype=np.int64)
    firsts = np.array([*first.values()], dtype=np.int64)
    return firsts, firsts.searchsorted(same)


def as_bytes(rows: Floats) -> list[bytes]:
    """Each row as bytes, which are the same where its numbers are."""
    plain = np.ascontiguousarray(rows + 0.0)  # no zero is below zero
    size = plain.itemsize * plain.shape[1]
    found: list[bytes] = plain.view(f"V{size}")[:, 0].tolist() if size else [b""] * len(plain)
    return found


def _by_look(compiled: Compiled, questions: Sequence[Question]) -> dict[tuple[int, int], list[int]]:
    """The questions that share one table: (slot, -1), or (slot, trait) where nothing is ever changed and traits stand alone."""
    found: dict[tuple[int, int], list[int]] = {}
    for q, question in enumerate(questions):
        s = compiled.traits[question.trait].slot
        fixed = not compiled.slots[s].parts and not compiled.slots[s].swap.any()
        found.setdefault((s, question.trait if fixed else -1), []).append(q)
    return found


def _alike(trait: Trait, row: Ints, columns: Sequence[Floats]) -> tuple[Ints, list[Floats]]:
    """Rows that show the same of a trait taken together: look[c], and the columns by look."""
    first, same = rows_alike(trait)
    return same[row], [column[first] for column in columns]


@lru_cache(maxsize=4096)
def rows_alike(trait: Trait) -> tuple[Ints, Ints]:
    """(first row of each look, look of each row) of a trait's table."""
    values = (trait.mean, trait.sd, trait.applies, trait.blend_of, trait.new)
    shown = np.stack(values, axis=1).astype(np.float64) if trait.measured else trait.table
    return alike_rows(np.nan_to_num(shown, nan=-1.0))


def _information(chances: Floats, look: Ints, group: Ints, pairs: Ints, weight: Floats) -> Floats:
    """Each outcome's part of I(outcome; group): sum over groups of p(g, o) log2 p(o | g) / p(o); sums to it over a question.

    chances[look, o]; look, group (ascending) and weight of each candidate; pairs: the candidates that the next one shares its
    group with.  Groups that show one look are counted by look.
    """
    mixed = group[pairs[look[pairs] != look[pairs + 1]]]
    several = np.bincount(mixed, minlength=group[-1] + 1)[group] > 0 if len(mixed) else mixed
    by_look = np.bincount(look, weights=np.where(several, 0.0, weight) if len(mixed) else weight, minlength=len(chances))
    inside = by_look @ xlog2(chances)
    total = by_look @ chances
    if len(mixed):
        starts = np.flatnonzero(np.r_[True, np.diff(group[several]) != 0])
        joint = np.add.reduceat(chances[look[several]] * weight[several, None], starts, axis=0)
        share = np.add.reduceat(weight[several], starts)
        inside = inside + xlog2(joint).sum(axis=0) - log2(share) @ joint
        total = total + joint.sum(axis=0)
    return inside - xlog2(total)


def _outcomes(compiled: Compiled, question: Question, given: Evidence | None) -> Floats:
    """As `outcome_rows`; those of a trait that was never answered are kept."""
    trait = compiled.traits[question.trait]
    return _fresh_outcomes(trait, question) if given is None else outcome_rows(trait, question, given)


@lru_cache(maxsize=16384)
def _fresh_outcomes(trait: Trait, question: Question) -> Floats:
    return outcome_rows(trait, question, None)


def original_share(compiled: Compiled, belief: Belief) -> float:
    """The chance that nothing on the unit was changed since it left the factory."""
    return float(belief.probability @ np.prod(_unchanged(compiled, belief), axis=0))


def original_news(
    compiled: Compiled,
    belief: Belief,
    questions: Sequence[Question],
    evidence: Sequence[Evidence] = (),
    its_slot_alone: bool = False,
) -> Floats:
    """Expected news of each question in bits about whether everything on the unit is original, or the slot it looks at alone."""
    unchanged = _unchanged(compiled, belief)
    given = {one.trait: one for one in evidence}
    result = np.zeros(len(questions))
    for q, question in enumerate(questions):
        s = compiled.traits[question.trait].slot
        slot = compiled.slots[s]
        rows = outcome_rows(compiled.traits[question.trait], question, given.get(question.trait))
        others = belief.probability
        if not its_slot_alone:
            others = others * np.prod(np.delete(unchanged, s, axis=0), axis=0)
        seen = belief.evidence[s][:, None] * rows
        kept = (1.0 - slot.swap)[:, None] * (slot.issued @ seen if slot.parts else seen)
        factor = belief.factor[s][:, None]
        kept = np.divide(kept, factor, out=np.zeros_like(kept), where=factor > 0)
        original = others @ kept[slot.row]
        total = belief.probability @ chance_of(compiled, belief, s, rows)[slot.row]
        joint = np.stack([original, np.maximum(total - original, 0.0)])
        share = joint.sum(axis=1)
        result[q] = xlog2(joint).sum() - xlog2(total).sum() - xlog2(share).sum()
    return np.maximum(result, 0.0)


def _unchanged(compiled: Compiled, belief: Belief) -> Floats:
    """P(slot s was not changed | candidate c, answers), shape [s, c]."""
    found = zip(compiled.slots, belief.evidence, belief.factor, strict=True)
    return np.array([(1.0 - swapped(slot, rows, factor))[slot.row] for slot, rows, factor in found])


def chance_of(compiled: Compiled, belief: Belief, s: int, rows: Floats) -> Floats:
    """P(outcome | row u of slot s, answers so far) from P(outcome | part or row i, answers so far), shape [u, outcomes]."""
    joint = slot_factor(compiled.slots[s], belief.evidence[s][:, None] * rows)
    return joint / np.maximum(belief.factor[s], TINY)[:, None]


def outcome_rows(trait: Trait, question: Question, given: Evidence | None) -> Floats:
    """P(outcome | row i, what was answered to the trait so far), shape [i, outcomes]."""
    given = apart_from_told(trait, given) if given is not None else None
    if trait.measured:
        rows = _measured_rows(trait, question, given)
    elif question.form == "again":
        assert given is not None
        read = np.stack([trait.confusion[:, list(outcome)].sum(axis=1) for outcome in question.outcomes], axis=1)
        rows = trait.truth @ (looks(trait, given)[:, None] * read)
    else:
        left = given.weights if given is not None and given.weights is not None else np.ones(len(trait.states))
        told = heard(trait, given) if given is not None else []
        table = trait.confusion if told else trait.table
        rows = np.stack([table[:, list(outcome)] @ left[list(outcome)] for outcome in question.outcomes], axis=1)
        if told:
            rows = trait.truth @ (np.prod(told, axis=0)[:, None] * rows)
    whole = likelihood(trait, given) if given is not None else rows.sum(axis=1)
    return np.divide(rows, whole[:, None], out=np.zeros_like(rows), where=whole[:, None] > 0)


def _measured_rows(trait: Trait, question: Question, given: Evidence | None) -> Floats:
    """P(the value lies there and was not excluded before | row i); the last outcome of a free trait is that there is none."""
    low, high = given.interval if given and given.interval else (-np.inf, np.inf)
    if question.cut is not None:
        cut = min(max(question.cut, low), high)
        bounds, reading = [(cut, high), (low, cut)], 0.0
    else:
        edges = np.clip([-np.inf, *trait.cuts, np.inf], low, high).tolist()
        bounds, reading = list(pairwise(edges)), trait.reads
    inside = np.stack([between(trait, *bound, reading) for bound in bounds], axis=1)
    anywhere = np.array([share_between(trait, *bound) for bound in bounds])
    rows = trait.applies[:, None] * blended(trait, inside, anywhere)
    return np.column_stack([rows, 1.0 - trait.applies]) if given is None else rows


def log2(values: Floats) -> Floats:
    """Binary logarithms; of nothing a number that nothing times it is nothing."""
    logs: Floats = np.log2(np.maximum(values, TINY))
    return logs


def xlog2(values: Floats) -> Floats:
    """x log2 x, and nothing of nothing."""
    return values * log2(values)


def entropy(weights: Floats) -> float:
    """Shannon's entropy in bits of weights that need not sum to 1."""
    total = weights.sum()
    return float(-xlog2(weights / total).sum()) if total > 0 else 0.0


def variant_groups(compiled: Compiled) -> Ints:
    """One group for each variant; units not in the record form one of each family."""
    return compiled.variant


def set_groups(compiled: Compiled) -> Ints:
    """One group for each set of origin; -1 alone, and each unit that is not in the record apart."""
    return np.where(compiled.variant < 0, -1 + compiled.variant, compiled.set_of)


def set_names(compiled: Compiled) -> list[str | None]:
    """The set of every candidate; None alone, and `not-in-the-record`."""
    groups = set_groups(compiled)
    found: list[str | None] = []
    for c in range(compiled.candidates):
        group = int(groups[c])
        found.append(compiled.sets[group] if group >= 0 else None if group == -1 else compiled.label(c))
    return found


@lru_cache(maxsize=256)
def twin_groups(compiled: Compiled, traits: tuple[int, ...]) -> Ints:
    """group[c]: variants that nothing among these traits can separate share one, named by its first variant."""
    return twins_by_look(compiled.variant, alike_rows(compiled.looks[:, list(traits)].astype(np.float64))[1])


def twins_by_look(variants: Ints, looks: Ints) -> Ints:
    """group[c]: variants whose candidates have the same looks between them share one, named by its first variant."""
    shown: dict[int, set[int]] = {}
    for variant, look in zip(variants.tolist(), looks.tolist(), strict=True):
        shown.setdefault(variant, set()).add(look)
    first: dict[tuple[int, ...], int] = {}
    label: dict[int, int] = {}
    for variant, found in shown.items():
        key = (*sorted(found), variant if variant < 0 else 0)
        label[variant] = first.setdefault(key, variant)
    return np.array([label[variant] for variant in variants.tolist()], dtype=np.int64)
