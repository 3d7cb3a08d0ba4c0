"""Belief: what the answers say about every candidate. Arrays in, arrays out.

    E_s[r]   = product over answered traits t of slot s of P(answer to t | part r)
    belief[c] ~ prior[c] * product over s of sum over r of W_s[c, r] E_s[r],   W_s = (1 - swap) issued + swap replaced

For the body and the finish "the part" is the variant's own row or, once redone, the row of the whole family.

What somebody else says counts for what it is worth: it is wrong as often as `wrong`, and then says the same of any unit,

    P(says it | row i) = (1 - wrong) P(answer | row i) + wrong * anyhow

so that what is always right is an answer, and what is worth nothing moves nothing.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .arrays import SAME, Compiled, Floats, Slot, Trait

#: Chance that a unit shows a state nobody recorded; the same for every candidate, so it moves none of them.
UNRECORDED = 1e-3
#: Chance that a typed marking is none of the recorded ones, for any text of its length.
UNRECORDED_MARKING = 1e-6
#: A unit or part that is not in the record has with this chance a value or a marking that nobody recorded.
NEW_VALUE = 0.1
#: Chance of any one text among the markings that could be there.
ANY_TEXT = 1e-3
SQRT2 = math.sqrt(2.0)


@dataclass(frozen=True)
class Told:
    """What somebody says of a trait, put as an answer to it, and how often such a statement is wrong and so tells nothing."""

    said: "Evidence"
    wrong: float


@dataclass(frozen=True)
class Evidence:
    """What was answered to one trait: at most one of the four, none where others only tell of it.

    weights[k]  chance of the answer in each true or read state: 1 or 0 for a set of states; `typed` says it is of true states
    again       weights of further looks at the same thing: the unit is the same, the mistakes are made anew
    interval    (low, high) of a measured value
    value       (value, standard deviation of the reading)
    gone        nothing to measure: the part is missing, or the unit has no such thing
    told        what others say of it: the unit is the same, whether they are right is another matter for each
    """

    trait: int
    weights: Floats | None = None
    again: tuple[Floats, ...] = ()
    typed: bool = False
    interval: tuple[float, float] | None = None
    value: tuple[float, float] | None = None
    gone: bool = False
    told: tuple[Told, ...] = ()

    @property
    def seen(self) -> bool:
        """Whether it was answered, and not only told."""
        return self.weights is not None or self.interval is not None or self.value is not None or self.gone

    @property
    def by_state(self) -> bool:
        """Whether everything in it is of states that were read, so that it can be worked out state by state."""
        states = self.weights is not None and not self.typed and bool(self.weights.any())
        return (states or not self.seen) and all(one.said.by_state for one in self.told)


@dataclass(frozen=True)
class Belief:
    """probability[c]; and for each slot E[i] over its rows or parts and factor[u], the sum that belief multiplies.

    `plausible` is False when no candidate at all can show what was answered; probability is then the prior.
    """

    probability: Floats
    evidence: tuple[Floats, ...]
    factor: tuple[Floats, ...]
    plausible: bool


def believe(compiled: Compiled, evidence: Sequence[Evidence]) -> Belief:
    """The belief after these answers, at most one for each trait."""
    rows = slot_evidence(compiled, evidence)
    factors = tuple(slot_factor(slot, found) for slot, found in zip(compiled.slots, rows, strict=True))
    answered = {compiled.traits[one.trait].slot for one in evidence}
    with np.errstate(divide="ignore"):
        log = np.log(compiled.prior)
        for s in sorted(answered):
            log = log + np.log(factors[s])[compiled.slots[s].row]
    top = log.max() if len(log) else -math.inf
    if top == -math.inf:
        return Belief(compiled.prior, rows, factors, plausible=False)
    probability = np.exp(log - top)
    return Belief(probability / probability.sum(), rows, factors, plausible=True)


def slot_evidence(compiled: Compiled, evidence: Sequence[Evidence]) -> tuple[Floats, ...]:
    """E_s[i] for every slot: chance of all its answers given each row or part."""
    rows = [np.ones(len(slot.parts) or len(slot.redone)) for slot in compiled.slots]
    for one in evidence:
        trait = compiled.traits[one.trait]
        rows[trait.slot] = rows[trait.slot] * likelihood(trait, one)
    return tuple(rows)


def slot_factor(slot: Slot, evidence: Floats) -> Floats:
    """factor[u, ...]: chance of evidence[i, ...] given the row a candidate points at, changes since included."""
    if slot.parts:
        return slot.fitted @ evidence
    swap = slot.swap.reshape(-1, *[1] * (evidence.ndim - 1))
    redone = evidence[slot.redone[:1]] if slot.redone_alike else evidence[slot.redone]
    return (1.0 - swap) * evidence + swap * redone


def row_weights(slot: Slot, probability: Floats) -> Floats:
    """The belief in each row of a slot: weight[u] from probability[c]."""
    weight: Floats = np.zeros(len(slot.swap))
    np.add.at(weight, slot.row, probability)
    return weight


def can_be_changed(compiled: Compiled, belief: Belief, s: int) -> bool:
    """Whether the unit most likely has slot s, and the slot is one that can be changed."""
    slot = compiled.slots[s]
    return float(row_weights(slot, belief.probability) @ (slot.swap > 0)) > 0.5 + SAME


def changed_share(compiled: Compiled, belief: Belief, s: int) -> float:
    """The chance that slot s was changed since."""
    slot = compiled.slots[s]
    return float(row_weights(slot, belief.probability) @ swapped(slot, belief.evidence[s], belief.factor[s]))


def swapped(slot: Slot, evidence: Floats, factor: Floats) -> Floats:
    """P(changed since | row u, answers); the prior chance where the answers are impossible there."""
    redone = slot.replaced @ evidence if slot.parts else evidence[slot.redone]
    return np.divide(slot.swap * redone, factor, out=slot.swap.copy(), where=factor > 0)


def parts_now(slot: Slot, evidence: Floats, factor: Floats) -> Floats:
    """P(part r sits there | row u, answers) of a part slot."""
    joint = slot.fitted * evidence
    return np.divide(joint, factor[:, None], out=slot.fitted.copy(), where=factor[:, None] > 0)


def leaning(compiled: Compiled, factor: Floats) -> Compiled:
    """The same with factor[c], the chance of what is told of the whole unit given each candidate, counted into the prior.

    Unchanged where no candidate is left.
    """
    prior = compiled.prior * factor
    return replace(compiled, prior=prior / prior.sum()) if prior.sum() > 0 else compiled


def anyhow(trait: Trait, said: Evidence) -> float:
    """The chance that a statement about a trait is just this one when it is made whatever the unit is: all states alike."""
    if said.weights is not None:
        if not said.weights.any():
            return ANY_TEXT if said.typed else UNRECORDED
        return min(1.0, float(said.weights.mean()) + ANY_TEXT) if said.typed else float(said.weights.mean())
    if said.gone:
        return 0.5
    return share_between(trait, *said.interval) if said.interval else 1.0 / max(trait.most - trait.least, 1e-12)


def worth(one: Told, chance: Floats, by_chance: float) -> Floats:
    """The chance of what is told from that of the same as an answer."""
    return (1.0 - one.wrong) * chance + one.wrong * by_chance


def likelihood(trait: Trait, evidence: Evidence) -> Floats:
    """P(answer, and what is told | row i) of the trait's table.

    Of one true state, where all of it is of states; of values and typed texts, each given the row on its own.
    """
    if not evidence.told:
        return _answer(trait, evidence)
    if evidence.by_state and not trait.measured:
        return trait.truth @ looks(trait, evidence)
    seen = _answer(trait, evidence) if evidence.seen else np.ones(len(trait.applies))
    told = [worth(one, likelihood(trait, one.said), anyhow(trait, one.said)) for one in evidence.told]
    return np.prod([seen, *told], axis=0)


def _answer(trait: Trait, evidence: Evidence) -> Floats:
    """P(answer | row i)."""
    if evidence.weights is not None:
        if not all(look.any() for look in (evidence.weights, *evidence.again)):
            return np.full(len(trait.truth), UNRECORDED)
        if evidence.typed:
            known = trait.truth @ evidence.weights
            unknown = (trait.blend_of >= 0) & (trait.applies > 0.5)  # whoever is not recorded may read like nobody recorded
            return np.where(trait.new, 1.0 - NEW_VALUE, 1.0) * known + np.where(unknown, NEW_VALUE * ANY_TEXT, UNRECORDED_MARKING)
        return trait.truth @ looks(trait, evidence) if evidence.again else trait.table @ evidence.weights
    if evidence.gone:
        return 1.0 - trait.applies
    if evidence.value is not None:
        value, spread = evidence.value
        return density(trait, np.array([value]), spread)[:, 0]
    assert evidence.interval is not None
    low, high = evidence.interval
    return trait.applies * blended(trait, between(trait, low, high), share_between(trait, low, high))


def density(trait: Trait, values: Floats, spread: float) -> Floats:
    """Chance of each measured value, read with this uncertainty, given row i, shape [i, values]."""
    span = max(trait.most - trait.least, 1e-12)
    sd = np.hypot(trait.sd, spread)[:, None]
    normal = np.exp(-0.5 * ((values - trait.mean[:, None]) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    return trait.applies[:, None] * blended(trait, (1.0 - trait.blunders) * normal + trait.blunders / span, 1.0 / span)


def looks(trait: Trait, evidence: Evidence) -> Floats:
    """P(everything that was read or told | true state k) over all looks at a trait with states."""
    seen = [trait.confusion @ look for look in (*([] if evidence.weights is None else [evidence.weights]), *evidence.again)]
    return np.prod([np.ones(len(trait.states)), *seen, *heard(trait, evidence)], axis=0)


def apart_from_told(trait: Trait, evidence: Evidence) -> Evidence | None:
    """Without what is told where that is counted for each row on its own, and not by true state; None when that is all."""
    if not evidence.told or (evidence.by_state and not trait.measured):
        return evidence
    return replace(evidence, told=()) if evidence.seen else None


def heard(trait: Trait, evidence: Evidence) -> list[Floats]:
    """P(what is told | true state k) of every one who tells of a trait with states."""
    return [worth(one, looks(trait, one.said), anyhow(trait, one.said)) for one in evidence.told]


def between(trait: Trait, low: float, high: float, reading: float = 0.0) -> Floats:
    """P(low < value < high | row i) with blunders, read with this uncertainty; nan where nothing is recorded."""
    sd = np.hypot(trait.sd, reading)
    inside = normal_cdf((high - trait.mean) / sd) - normal_cdf((low - trait.mean) / sd)
    return (1.0 - trait.blunders) * inside + trait.blunders * share_between(trait, low, high)


def share_between(trait: Trait, low: float, high: float) -> float:
    """The part of all that the trait can be which lies between two bounds."""
    clipped = [min(max(bound, trait.least), trait.most) for bound in (low, high)]
    return (clipped[1] - clipped[0]) / max(trait.most - trait.least, 1e-12)


def blended(trait: Trait, rows: Floats, anywhere: float | Floats) -> Floats:
    """Rows with those that are not recorded (nan) replaced by the blend of the recorded ones; new ones may be `anywhere` too."""
    empty = trait.blend_of >= 0
    if not empty.any():
        return rows
    known = np.where(empty[:, None] if rows.ndim > 1 else empty, 0.0, rows)
    blends = trait.blend @ known
    nothing = trait.blend.sum(axis=1) == 0
    blends[nothing] = anywhere
    filled = known.copy()
    filled[empty] = blends[trait.blend_of[empty]]
    filled[trait.new] = (1.0 - NEW_VALUE) * filled[trait.new] + NEW_VALUE * anywhere
    return filled


def normal_cdf(z: Floats) -> Floats:
    """The standard normal distribution function; keeps nan."""
    return np.array([0.5 * (1.0 + math.erf(one / SQRT2)) for one in z.tolist()])
