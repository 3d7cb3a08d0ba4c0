"""Why each conclusion: the weight of every answer against the runner-up, what speaks against, and what would turn it over."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kb.reading import Between, Gone, Measured, Reading, Seen
from .arrays import MISSING, SAME, Compiled, Floats, Trait
from .belief import Evidence, can_be_changed, changed_share, likelihood
from .doubts import named
from .flips import MOST_CHANGED, Alternatives, Flip
from .given import Given, merge
from .hypotheses import (
    Answered,
    Hypotheses,
    by_slot,
    original_hypotheses,
    set_hypotheses,
    slot_hypotheses,
    variant_hypotheses,
    weights_of_evidence,
)
from .questions import original_share
from .session import Session

#: A slot that no answer touched is explained from this chance of a swap on.
DOUBTFUL = 0.25
#: Answers at or below these bits speak against a conclusion.
AGAINST = -0.1
#: A flip of what became of one slot is looked for up to so many answers; of what it is, up to three.
SLOT_CHANGED = 2
#: A recorded value nearer to the measured one than this many standard deviations is no other answer.
NEAR = 2.0

#: What a conclusion says: variants that nothing separates, a set (None: no set), or whether.
Conclusion = tuple[str, ...] | str | bool | None


@dataclass(frozen=True)
class Turn:
    """The smallest change of answers that makes another conclusion the leader; none of up to `tried` does where it is empty."""

    changes: tuple[Given, ...]
    to: object
    tried: int


@dataclass(frozen=True)
class Why:
    """One conclusion.

    about        "variant", "set", "slot" or "original"; `slot` is the index of the slot
    bits[t]      weight of the answer to trait t for the conclusion; over[t]: against the runner-up alone; below 0 it speaks
                 against: twin gears are right for a powered unit of either batch, and wrong for the earlier one
    turn         what would turn it over; None where that is not looked for
    """

    about: str
    conclusion: Conclusion
    probability: float
    runner_up: Conclusion
    runner_up_probability: float
    bits: dict[int, float]
    over: dict[int, float]
    turn: Turn | None
    slot: int | None = None

    @property
    def against(self) -> list[int]:
        """The traits whose answers speak for the runner-up, the strongest first."""
        return sorted((t for t, bits in self.over.items() if bits <= AGAINST), key=lambda t: round(self.over[t], 9))


def explain(session: Session) -> list[Why]:
    """The variant, the set, the slots that an answer touched or that are in doubt, and whether all is original.

    Where nothing can have been changed, as on a loose part, the variant alone.  Nothing without answers, or where they are
    impossible together.
    """
    if not session.evidence or not session.belief.plausible:
        return []
    compiled = session.compiled
    answered = by_slot(compiled, session.evidence)
    found = [_variant(session, answered)]
    found += [_set(session, answered)] if compiled.sets else []
    found += [_slot(session, answered, s, chance) for s, chance in slots_in_question(session)]
    found += [_original(session, answered)] if any(slot.swap.any() for slot in compiled.slots) else []
    readings = [other_readings(compiled.traits[one.trait], one) for one in session.evidence]
    others = [_chances(compiled, one, some) for one, some in zip(session.evidence, readings, strict=True)]
    flips = Alternatives(compiled, answered, others)
    weights = weights_of_evidence(compiled, answered, [one for _, one in found])
    return [
        replace(
            why,
            bits={one.trait: weight.over_all[e] for e, one in enumerate(session.evidence)},
            over={one.trait: weight.over_rival[e] for e, one in enumerate(session.evidence)},
            turn=_turn(session, hypotheses, flips, readings, why.about),
        )
        for (why, hypotheses), weight in zip(found, weights, strict=True)
    ]


def slots_in_question(session: Session) -> list[tuple[int, float]]:
    """(slot, chance that it was changed) of each that an answer is about or that is in doubt, if it can have been changed."""
    compiled, belief = session.compiled, session.belief
    touched = {compiled.traits[one.trait].slot for one in session.evidence}
    found: list[tuple[int, float]] = []
    for s in range(len(compiled.slots)):
        chance = changed_share(compiled, belief, s)
        if can_be_changed(compiled, belief, s) and (s in touched or chance >= DOUBTFUL - SAME):
            found.append((s, chance))
    return found


def other_readings(trait: Trait, one: Evidence) -> list[Reading]:
    """What could have been answered in the place of an answer, and contradicts it.

    Each single state that it does not name (a marking as if read without a doubt), each recorded value that it does not agree
    with, the other side of a bound, and that it is missing.
    """
    if not one.seen:
        return []  # told, not answered
    gone: list[Reading] = [Gone()] if trait.can_be_missing and not one.gone else []
    if not trait.measured:
        if one.weights is None:
            return []
        looks = [named(one, n) for n in range(1 + len(one.again))]
        told = np.all(looks, axis=0)
        states = [state for state, mine in zip(trait.states, told, strict=True) if not mine]
        some: list[Reading] = [Seen(frozenset({state})) for state in states if state != MISSING]
        return some + (gone if MISSING in states else [])
    if one.interval is not None:
        low, high = one.interval
        below: list[Reading] = [Between(-np.inf, low)] if np.isfinite(low) else []
        above: list[Reading] = [Between(high, np.inf)] if np.isfinite(high) else []
        return below + above + gone
    value, spread = one.value if one.value is not None else (np.nan, trait.reads)
    far = np.abs(trait.mean - value) > NEAR * np.hypot(trait.sd, spread) if one.value is not None else np.isfinite(trait.mean)
    means = np.unique(np.round(trait.mean[far & np.isfinite(trait.mean)], 9))
    return [*(Measured(float(mean), spread) for mean in means), *gone]


def _chances(compiled: Compiled, one: Evidence, readings: Sequence[Reading]) -> Floats:
    """chance[i, a] of each other reading of an answer.

    A part that is gone has a probability, a measured value a density: it is made one by the width of the reading.
    """
    trait = compiled.traits[one.trait]
    columns: list[Floats] = []
    for reading in readings:
        other = merge(trait, one.trait, [reading])
        assert other is not None
        width = np.sqrt(2 * np.pi) * max(one.value[1], trait.reads, 1e-9) if one.value is not None and other.gone else 1.0
        columns.append(likelihood(trait, other) / width)
    rows = len(trait.truth) if not trait.measured else len(trait.mean)
    return np.stack(columns, axis=1) if columns else np.zeros((rows, 0))


def _turn(
    session: Session, hypotheses: Hypotheses, flips: Alternatives, readings: Sequence[list[Reading]], about: str
) -> Turn | None:
    if about == "original":
        return None
    flip: Flip = flips.smallest(hypotheses, SLOT_CHANGED if about == "slot" else MOST_CHANGED)
    changes = tuple(Given(session.evidence[e].trait, readings[e][a]) for e, a in flip.changes)
    return Turn(changes, hypotheses.names[flip.to] if changes else None, flip.tried)


def _variant(session: Session, answered: Answered) -> tuple[Why, Hypotheses]:
    group, chance = session.leading
    best = next((ident for ident, _ in session.variants if ident not in group), None)
    shares = dict(session.variants)
    rival = sorted(session.twins[best], key=lambda one: (-round(shares[one], 9), one)) if best is not None else []
    other = sum(shares[one] for one in rival)
    hypotheses = variant_hypotheses(session.compiled, answered, group, rival)
    return Why("variant", tuple(group), chance, tuple(rival), other, {}, {}, None), hypotheses


def _set(session: Session, answered: Answered) -> tuple[Why, Hypotheses]:
    (best, share), (second, other) = list(session.origins.items())[:2]
    hypotheses = set_hypotheses(session.compiled, answered, best, second)
    return Why("set", best, share, second, other, {}, {}, None), hypotheses


def _slot(session: Session, answered: Answered, s: int, chance: float) -> tuple[Why, Hypotheses]:
    changed = chance >= 0.5 - SAME
    hypotheses = slot_hypotheses(session.compiled, answered, s, changed)
    sure = max(chance, 1.0 - chance)
    return Why("slot", changed, sure, not changed, 1.0 - sure, {}, {}, None, s), hypotheses


def _original(session: Session, answered: Answered) -> tuple[Why, Hypotheses]:
    chance = original_share(session.compiled, session.belief)
    original = chance >= 0.5 - SAME
    sure = max(chance, 1.0 - chance)
    hypotheses = original_hypotheses(session.compiled, answered, original)
    return Why("original", original, sure, not original, 1.0 - sure, {}, {}, None), hypotheses
