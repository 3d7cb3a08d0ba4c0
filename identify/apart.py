"""How to tell one variant from another: the looks that separate them, the cheapest first. Pure but for the form of a reading."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kb.reading import Gone, Measured, Reading, Seen
from .arrays import MISSING, SAME, Bools, Compiled, Floats, Ints, Trait
from .belief import Belief, Evidence, believe
from .questions import Question, entropy, outcome_chances, whole, yes_no

#: Looks that tell less, in bits about which of the two it is, are left out: half a thousand units would not show it.
TELLING = 0.02
#: What is recorded of less than this share of a variant's units is not recorded.
RECORDED = 0.5 - SAME
#: What a smaller share of a variant's units shows is not said.
SAID = 0.15 - SAME
#: Shares that differ by no more are the same.
ALIKE = 0.05 + SAME


@dataclass(frozen=True)
class Look:
    """One trait that tells the first from the second.

    view, form     effort of getting to see it, and on top of that of its form of question
    bits           expected news about which of the two it is, at even odds, changes since and misreadings counted
    right          share of cases that this look alone decides rightly, at even odds
    first, second  what each shows as it left the factory: (share, reading), the commonest first
    """

    question: Question
    view: float
    form: float
    bits: float
    right: float
    first: tuple[tuple[float, Reading], ...]
    second: tuple[tuple[float, Reading], ...]


def tell_apart(
    compiled: Compiled,
    first: Bools,
    second: Bools,
    belief: Belief | None = None,
    evidence: Sequence[Evidence] = (),
    at_hand: Collection[int] | None = None,
) -> list[Look]:
    """The looks that tell candidates first[c] from candidates second[c]: those in views at hand, then by effort, then by news.

    With a belief and its evidence: what has not been answered yet, all answers considered.  Empty when nothing tells.
    """
    belief = even_odds(compiled, first, second, believe(compiled, ()) if belief is None else belief)
    live = np.flatnonzero(first | second)
    side = np.stack([first[live], second[live]]) * belief.probability[live]
    told = {one.trait for one in evidence}
    traits = [
        t for t, trait in enumerate(compiled.traits) if trait.asked and t not in told and _of_both(compiled, t, first | second)
    ]
    questions = [_one_look(compiled, t) for t in traits]
    found: list[Look] = []
    for question, chances in zip(questions, outcome_chances(compiled, belief, questions, live, ()), strict=True):
        joint = side @ chances
        bits = entropy(joint.sum(axis=0)) + entropy(joint.sum(axis=1)) - entropy(joint.ravel())
        shown = [_shown(compiled, question.trait, mine[live], belief.probability[live], live) for mine in (first, second)]
        if bits >= TELLING and shown[0] and shown[1] and _differ(*shown):
            trait = compiled.traits[question.trait]
            view = float(compiled.effort[trait.view]) if trait.view >= 0 else 1.0
            right = float(joint.max(axis=0).sum() / joint.sum())
            either_or = question.form == "choice" and len(shown[0]) == len(shown[1]) == 1
            form = compiled.asking["yes-no" if either_or else question.form]
            found.append(Look(question, view, form, bits, right, shown[0], shown[1]))
    return sorted(found, key=lambda one: _order(compiled, one, at_hand))


def even_odds(compiled: Compiled, first: Bools, second: Bools, belief: Belief) -> Belief:
    """The belief if it were one of the two, and as likely one as the other; within each as believed."""
    probability = np.zeros(compiled.candidates)
    for mine in (first, second):
        weights = belief.probability * mine
        weights = weights if weights.sum() > 0 else compiled.prior * mine
        probability += 0.5 * weights / weights.sum()
    return replace(belief, probability=probability)


def _order(compiled: Compiled, one: Look, at_hand: Collection[int] | None) -> tuple[bool, float, float, float]:
    view = compiled.traits[one.question.trait].view
    return at_hand is not None and view not in at_hand, one.view, one.form, -round(one.bits, 9)


def _of_both(compiled: Compiled, t: int, either: Bools) -> bool:
    """Whether it can tell them: its slot is not the same on both, and it is common or of the one family that both are of."""
    family, slot = compiled.traits[t].family, compiled.slots[compiled.traits[t].slot]
    if slot.parts and len(np.unique(slot.row[either])) < 2:
        return False
    return family is None or bool((compiled.family[either] == compiled.families.index(family)).all())


def _one_look(compiled: Compiled, t: int) -> Question:
    """The trait asked for at once; of two states, by yes or no."""
    trait = compiled.traits[t]
    plain = not trait.measured and not trait.worn and len(trait.states) - trait.can_be_missing <= 2
    return next(iter(yes_no(compiled, t)), whole(compiled, t)) if plain else whole(compiled, t)


def _shown(compiled: Compiled, t: int, mine: Bools, weight: Floats, live: Ints) -> tuple[tuple[float, Reading], ...]:
    """(share, reading) of what these candidates show of a trait as issued, the commonest first; empty if it is not recorded."""
    trait = compiled.traits[t]
    slot = compiled.slots[trait.slot]
    row = slot.row[live]
    rows = np.zeros(len(slot.parts) or len(slot.redone))
    if slot.parts:
        rows = (weight * mine) @ slot.issued[row]
    else:
        np.add.at(rows, row, weight * mine)
    rows = rows / rows.sum()
    if rows @ recorded(trait) < RECORDED:
        return ()
    shares: dict[Reading, float] = {}
    for i in np.flatnonzero(rows > 0):
        for share, reading in _readings(trait, int(i)):
            shares[reading] = shares.get(reading, 0.0) + share * float(rows[i])
    said = [(share, reading) for reading, share in shares.items() if share >= SAID]
    return tuple(sorted(said, key=lambda one: -round(one[0], 9)))


def _differ(first: Sequence[tuple[float, Reading]], second: Sequence[tuple[float, Reading]]) -> bool:
    """Whether they do not show the same as they left the factory: what only later changes tell is no mark of a variant."""
    ours, theirs = ({reading: share for share, reading in some} for some in (first, second))
    return ours.keys() != theirs.keys() or any(abs(ours[one] - theirs[one]) > ALIKE for one in ours)


def recorded(trait: Trait) -> Bools:
    """Whether something is recorded of row i: what it shows, or that it has no such thing."""
    return (trait.blend_of < 0) | _nothing(trait)


def _nothing(trait: Trait) -> Bools:
    if trait.measured:
        return trait.applies < 0.5
    return trait.truth[:, -1] > 0.5 if trait.can_be_missing else np.zeros(len(trait.truth), dtype=bool)


def _readings(trait: Trait, i: int) -> list[tuple[float, Reading]]:
    if trait.measured:
        gone = bool(_nothing(trait)[i])
        known = bool(np.isfinite(trait.mean[i]))
        return [(1.0, Gone())] if gone else [(1.0, Measured(float(trait.mean[i]), float(trait.sd[i])))] if known else []
    return [
        (float(share), Gone() if state == MISSING and trait.can_be_missing else Seen(frozenset({state})))
        for state, share in zip(trait.states, trait.truth[i], strict=True)
        if share > 0
    ]
