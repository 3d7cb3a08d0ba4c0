"""Which question next: the expected news of every answer about a target, for the effort of the view it needs.

A question is a row of outcomes: for yes/no the two sets of states, and "missing" where a part can be; for a choice every state.
The news is the mutual information between the outcome and the target group of the unit (Shannon 1948), in bits.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Compiled, Floats, Ints, Trait
from .belief import Belief, Evidence, between, blended, fitted, likelihood, swapped

#: News below this is no news: rounding, or an answer that would move nothing.
NO_NEWS = 1e-3
#: Candidates below this share of the leader's probability are left out when news is counted.
NEGLIGIBLE = 1e-9


@dataclass(frozen=True)
class Question:
    """Outcomes of one trait. States: sets of state indices; measured: `cut`, asked as "more than"."""

    trait: int
    outcomes: tuple[tuple[int, ...], ...]
    cut: float | None = None


def yes_no(compiled: Compiled, t: int) -> list[Question]:
    """Every yes/no question about a trait: one for each state (one for both of two), or one for each cut."""
    trait = compiled.traits[t]
    if trait.measured:
        return [Question(t, ((0,), (1,)), float(cut)) for cut in trait.cuts]
    named = len(trait.states) - trait.can_be_missing
    gone = ((named,),) if trait.can_be_missing else ()
    asked = range(named if named > 2 else named - 1)
    return [Question(t, ((k,), tuple(j for j in range(named) if j != k), *gone)) for k in asked]


def choice(compiled: Compiled, t: int) -> Question:
    """All states of a trait at once."""
    return Question(t, tuple((k,) for k in range(len(compiled.traits[t].states))))


def news(
    compiled: Compiled, belief: Belief, questions: Sequence[Question], groups: Ints, evidence: Sequence[Evidence] = ()
) -> Floats:
    """Expected news of each question in bits about groups[c], the target group of every candidate.

    `evidence` is what was answered already: a trait answered in part is asked within what is left of it.
    """
    live = np.flatnonzero(belief.probability > NEGLIGIBLE * belief.probability.max())
    order = live[np.argsort(groups[live], kind="stable")]
    weight = belief.probability[order]
    starts = np.flatnonzero(np.r_[True, np.diff(groups[order]) != 0])
    given = {one.trait: one for one in evidence}
    result = np.zeros(len(questions))
    by_slot: dict[int, list[int]] = {}
    for q, question in enumerate(questions):
        by_slot.setdefault(compiled.traits[question.trait].slot, []).append(q)
    for s, asked in by_slot.items():
        columns = [outcome_rows(compiled.traits[questions[q].trait], questions[q], given.get(questions[q].trait)) for q in asked]
        sizes = [column.shape[1] for column in columns]
        chances = chance_of(compiled, belief, s, np.concatenate(columns, axis=1))[compiled.slots[s].row[order]]
        joint = np.add.reduceat(chances * weight[:, None], starts, axis=0)
        share = np.add.reduceat(weight, starts)
        # I(outcome; group) = sum p(g, o) log p(g, o) / (p(g) p(o))
        total = joint.sum(axis=0)
        bits = _xlog2(joint).sum(axis=0) - _xlog2(total) - (joint * _log2(share)[:, None]).sum(axis=0)
        firsts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(int)
        result[asked] = np.add.reduceat(bits, firsts)
    return np.maximum(result, 0.0)


def original_share(compiled: Compiled, belief: Belief) -> float:
    """The chance that nothing on the unit was changed since it left the factory."""
    return float(belief.probability @ np.prod(_unchanged(compiled, belief), axis=0))


def original_news(compiled: Compiled, belief: Belief, questions: Sequence[Question], evidence: Sequence[Evidence] = ()) -> Floats:
    """Expected news of each question in bits about whether everything on the unit is original."""
    unchanged = _unchanged(compiled, belief)
    given = {one.trait: one for one in evidence}
    result = np.zeros(len(questions))
    for q, question in enumerate(questions):
        s = compiled.traits[question.trait].slot
        slot = compiled.slots[s]
        rows = outcome_rows(compiled.traits[question.trait], question, given.get(question.trait))
        others = np.prod(np.delete(unchanged, s, axis=0), axis=0) * belief.probability
        seen = belief.evidence[s][:, None] * rows
        kept = (1.0 - slot.swap)[:, None] * (slot.issued @ seen if slot.parts else seen)
        factor = belief.factor[s][:, None]
        kept = np.divide(kept, factor, out=np.zeros_like(kept), where=factor > 0)
        original = others @ kept[slot.row]
        total = belief.probability @ chance_of(compiled, belief, s, rows)[slot.row]
        joint = np.stack([original, np.maximum(total - original, 0.0)])
        share = joint.sum(axis=1)
        result[q] = _xlog2(joint).sum() - _xlog2(total).sum() - _xlog2(share).sum()
    return np.maximum(result, 0.0)


def _unchanged(compiled: Compiled, belief: Belief) -> Floats:
    """P(slot s was not changed | candidate c, answers), shape [s, c]."""
    found = zip(compiled.slots, belief.evidence, belief.factor, strict=True)
    return np.array([(1.0 - swapped(slot, rows, factor))[slot.row] for slot, rows, factor in found])


def chance_of(compiled: Compiled, belief: Belief, s: int, rows: Floats) -> Floats:
    """P(outcome | row u of slot s, answers so far) from P(outcome | part or row i, answers so far), shape [u, outcomes]."""
    slot, found, factor = compiled.slots[s], belief.evidence[s], belief.factor[s]
    if slot.parts:
        joint = (fitted(slot) * found) @ rows
    else:
        seen = found[:, None] * rows
        joint = (1.0 - slot.swap)[:, None] * seen + slot.swap[:, None] * seen[slot.redone]
    return np.divide(joint, factor[:, None], out=np.zeros_like(joint), where=factor[:, None] > 0)


def outcome_rows(trait: Trait, question: Question, given: Evidence | None) -> Floats:
    """P(outcome | row i, what is left of the trait), shape [i, outcomes]."""
    if question.cut is not None:
        low, high = given.interval if given and given.interval else (-np.inf, np.inf)
        cut = min(max(question.cut, low), high)
        rows = trait.applies[:, None] * blended(trait, np.stack([between(trait, cut, high), between(trait, low, cut)], axis=1))
        if given is None:
            rows = np.column_stack([rows, 1.0 - trait.applies])
    else:
        left = given.weights if given is not None and given.weights is not None else np.ones(len(trait.states))
        rows = np.stack([trait.table[:, list(outcome)] @ left[list(outcome)] for outcome in question.outcomes], axis=1)
    whole = likelihood(trait, given) if given is not None else rows.sum(axis=1)
    return np.divide(rows, whole[:, None], out=np.zeros_like(rows), where=whole[:, None] > 0)


def _log2(values: Floats) -> Floats:
    return np.log2(values, out=np.zeros_like(values), where=values > 0)


def _xlog2(values: Floats) -> Floats:
    return values * _log2(values)


def entropy(weights: Floats) -> float:
    """Shannon's entropy in bits of weights that need not sum to 1."""
    total = weights.sum()
    return float(-_xlog2(weights / total).sum()) if total > 0 else 0.0


def variant_groups(compiled: Compiled) -> Ints:
    """One group for each variant; units not in the record form one of each family."""
    return compiled.variant


def set_groups(compiled: Compiled) -> Ints:
    """One group for each set of origin; -1 alone, and each unit that is not in the record apart."""
    return np.where(compiled.variant < 0, -1 + compiled.variant, compiled.set_of)


def twin_groups(compiled: Compiled, traits: Sequence[int]) -> Ints:
    """group[c]: variants that nothing among these traits can separate share one, named by its first variant."""
    looks = np.unique(compiled.looks[:, list(traits)], axis=0, return_inverse=True)[1].reshape(-1)
    shown: dict[int, set[int]] = {}
    for variant, look in zip(compiled.variant.tolist(), looks.tolist(), strict=True):
        shown.setdefault(variant, set()).add(look)
    first: dict[tuple[int, ...], int] = {}
    label: dict[int, int] = {}
    for variant, found in shown.items():
        key = (*sorted(found), variant if variant < 0 else 0)
        label[variant] = first.setdefault(key, variant)
    return np.array([label[variant] for variant in compiled.variant.tolist()], dtype=np.int64)
