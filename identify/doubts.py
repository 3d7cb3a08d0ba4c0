"""Which answer is likely a misreading: the chance that it names what is not there, all answers considered. Pure.

    P(misread) = sum over rows i of P(row i now | answers) * sum_k truth[i, k] (1 - w_k) L_k / sum_k truth[i, k] L_k

w_k is 1 where the answer names state k, and L_k the chance of everything that was read of the trait when it is truly in k.  A
measured value is misread when it is a blunder, or was read where there is no such thing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Bools, Compiled, Floats, Slot, Trait
from .belief import (
    Belief,
    Evidence,
    anyhow,
    apart_from_told,
    between,
    blended,
    likelihood,
    looks,
    row_weights,
    share_between,
    swapped,
    worth,
)

#: An answer looks wrong from this chance on.  At one in three, a second look costs less than living with the mistake.
LOOKS_WRONG = 0.3
#: And only where the chance is so many times that of a misreading of its kind, or any answer to a tricky trait looked wrong.
WELL_ABOVE = 3.0
#: A typed text names the markings that it fits at least so well as the best of them.
AS_GOOD = 0.5
#: A row where the trait is read less often than this has no such thing.
THERE = 0.5


@dataclass(frozen=True)
class Doubt:
    """The chance that one look (counted from 0) names what is not there; `usual` is that of any answer of its kind."""

    trait: int
    look: int
    chance: float
    usual: float

    @property
    def looks_wrong(self) -> bool:
        """Whether a person should be told."""
        return self.chance >= LOOKS_WRONG and self.chance >= WELL_ABOVE * self.usual


def doubts(compiled: Compiled, belief: Belief, evidence: Sequence[Evidence]) -> list[Doubt]:
    """The doubt about every look, in the order of the answers; none of an answer that names nothing that is recorded."""
    found: list[Doubt] = []
    for one in evidence:
        trait = compiled.traits[one.trait]
        rows = rows_now(compiled.slots[trait.slot], belief, trait.slot)
        found += [Doubt(one.trait, n, float(min(rows @ wrong, 1.0)), usual) for n, wrong, usual in _misread(trait, one)]
    return found


def rows_now(slot: Slot, belief: Belief, s: int) -> Floats:
    """P(row or part i is what the slot shows now | answers); sums to 1."""
    rows, factor = belief.evidence[s], belief.factor[s]
    weight = row_weights(slot, belief.probability)
    if slot.parts:
        return (_share(weight, factor) @ slot.fitted) * rows
    redone = weight * swapped(slot, rows, factor)
    now = weight - redone
    np.add.at(now, slot.redone, redone)
    return now


def named(evidence: Evidence, look: int = 0) -> Bools:
    """The states that one look names: those of the answer, or the markings that a typed text fits best."""
    assert evidence.weights is not None
    weights = (evidence.weights, *evidence.again)[look]
    return weights >= AS_GOOD * weights.max() if evidence.typed and weights.any() else weights > 0


def told_wrong(compiled: Compiled, belief: Belief, evidence: Evidence) -> list[float]:
    """The chance that each of those who tell of a trait names what is not there, all that was answered and told considered."""
    trait = compiled.traits[evidence.trait]
    now = rows_now(compiled.slots[trait.slot], belief, trait.slot)
    return [float(min(now @ wrong, 1.0)) for wrong in told_wrong_by_row(trait, evidence)]


def told_wrong_by_row(trait: Trait, evidence: Evidence) -> list[Floats]:
    """P(what is told is not there | row i, everything read and told of the trait) of each who tells of it."""
    if evidence.by_state and not trait.measured:
        all_of_it, whole = looks(trait, evidence), likelihood(trait, evidence)
        rest = [np.where(named(one.said), 0.0, all_of_it) for one in evidence.told]
        return [_share(trait.truth @ one, whole) for one in rest]
    found: list[Floats] = []
    for one in evidence.told:
        chance, by_chance = likelihood(trait, one.said), anyhow(trait, one.said)
        missed = [wrong for _, wrong, _ in _misread(trait, one.said)]
        right = (1.0 - one.wrong) * chance * (1.0 - missed[0] if missed else 1.0)
        if not trait.measured and one.said.weights is not None:  # what is said anyhow may be so; of a value that is next to never
            right = right + one.wrong * by_chance * (trait.truth @ named(one.said).astype(float))
        found.append(1.0 - _share(right, worth(one, chance, by_chance)))
    return found


def _misread(trait: Trait, one: Evidence) -> list[tuple[int, Floats, float]]:
    """(look, P(misread | row i, everything read of the trait), the usual chance of it) of every look."""
    alone = apart_from_told(trait, one)
    if alone is None or not alone.seen:
        return []
    one = alone
    if one.weights is None:
        blunder = trait.blunders if not one.gone else 0.0
        return [(0, _misread_measure(trait, one), blunder)]
    all_looks = (one.weights, *one.again)
    if trait.measured or not all(look.any() for look in all_looks):
        return []
    read = one.weights if one.typed else looks(trait, one)
    usual = 0.0 if one.typed else float(1.0 - trait.confusion.diagonal().min())
    whole = likelihood(trait, one)
    return [(n, _share(trait.truth @ np.where(named(one, n), 0.0, read), whole), usual) for n in range(len(all_looks))]


def _misread_measure(trait: Trait, one: Evidence) -> Floats:
    """P(misread | row i, what was measured): nothing is there, or it was a blunder."""
    nothing = trait.applies < THERE
    if one.gone:
        return np.where(nothing, 0.0, 1.0)
    if one.value is not None:
        flat = trait.blunders / max(trait.most - trait.least, 1e-12)
        blunder = blended(trait, np.full(len(trait.mean), flat), flat)
    else:
        assert one.interval is not None
        share = share_between(trait, *one.interval)
        inside = (between(trait, *one.interval) - trait.blunders * share) / max(1.0 - trait.blunders, 1e-12)
        blunder = blended(trait, trait.blunders * share * (1.0 - inside), trait.blunders * share * (1.0 - share))
    return np.where(nothing, 1.0, _share(trait.applies * blunder, likelihood(trait, one)))


def _share(part: Floats, whole: Floats) -> Floats:
    return np.divide(part, whole, out=np.zeros_like(whole), where=whole > 0)
