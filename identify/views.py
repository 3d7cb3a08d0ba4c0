"""What one more view would buy: how likely it settles the variant, the set of origin, and the part in each slot; its news. Pure.

Units are drawn from the present belief, all that a view shows is read off them, mistakes included, and the belief after that is
looked at.  Everything is done for all units at once.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from random import Random

import numpy as np

from .arrays import SAME, Compiled, Floats, Ints, Trait
from .belief import NEW_VALUE, Belief, can_be_changed, density, row_weights, slot_factor, swapped
from .questions import set_groups, twin_groups, xlog2

#: So many units are drawn, always the same ones: a chance is good to 6 % (one standard deviation, at one half).
DRAWS, SEED = 64, 1
#: Sums of many chances closer than this are the same.
SUMMED = 1e-12
#: Subjects that a view would settle less often are not named.
WORTH_NAMING = 0.1


@dataclass(frozen=True)
class ViewWorth:
    """chances: how likely one view settles each subject that is open now: "variant", "set", or a slot; the likeliest first."""

    view: int
    effort: float
    chances: Mapping[str, float]

    @property
    def value(self) -> float:
        """Subjects settled on average for a unit of effort."""
        return sum(self.chances.values()) / self.effort


def views_worth(
    compiled: Compiled, belief: Belief, at_hand: Collection[int], told: Collection[int], unclear: Collection[int] = ()
) -> list[ViewWorth]:
    """The views that are not at hand, the best for its effort first; those that would settle nothing are left out.

    told: traits that were answered; unclear: those that were looked at without being able to tell.  The variant is settled with
    those that no view at all can separate from it: what the views at hand cannot tell apart is open.
    """
    if not belief.plausible or not compiled.candidates:
        return []
    twins = twin_groups(compiled, tuple(t for t, trait in enumerate(compiled.traits) if trait.asked and t not in unclear))
    now = _settled(compiled, belief, twins, _slots(compiled, belief))
    open_now = [subject for subject, sure in now.items() if not sure[0]]
    slots = [s for s, slot in enumerate(compiled.slots) if slot.id in open_now]
    units = _drawn(compiled, belief)
    found: list[ViewWorth] = []
    for view in sorted(set(range(len(compiled.views))) - set(at_hand)):
        fresh = fresh_traits(compiled, belief, [view], {*told, *unclear})
        if not fresh or not open_now:
            continue
        after = _after(compiled, belief, units, fresh)
        sure = _settled(compiled, after, twins, slots)
        chances = {subject: float(sure[subject].mean()) for subject in open_now}
        worth = {one: chance for one, chance in sorted(chances.items(), key=lambda pair: -pair[1]) if chance >= WORTH_NAMING}
        if worth:
            found.append(ViewWorth(view, float(compiled.effort[view]), worth))
    return sorted(found, key=lambda one: -one.value)


def fresh_traits(compiled: Compiled, belief: Belief, views: Collection[int], done: Collection[int]) -> list[int]:
    """The traits that these views show, that the unit most likely has, and that are not done with."""
    return [
        t
        for t, trait in enumerate(compiled.traits)
        if trait.asked and trait.view in views and t not in done and _there(compiled, belief, t)
    ]


@dataclass(frozen=True, eq=False)
class NewsOfViews:
    """Expected news, in bits, of everything that some views together show: of the variant and its set, and of what is original.

    done: traits that need no other look.  From the same drawn units every time, so that views can be compared, and added up.
    """

    compiled: Compiled
    belief: Belief
    done: Collection[int]

    def of(self, views: Collection[int]) -> float:
        """The news of these views together; 0 for none."""
        fresh = fresh_traits(self.compiled, self.belief, views, self.done)
        if not fresh or not self.belief.plausible:
            return 0.0
        after = _after(self.compiled, self.belief, self._units, fresh)
        return max(0.0, self._before - _unsettled(self.compiled, after))

    @cached_property
    def _units(self) -> "_Units":
        return _drawn(self.compiled, self.belief)

    @cached_property
    def _before(self) -> float:
        evidence, factor = ([one[:, None] for one in row] for row in (self.belief.evidence, self.belief.factor))
        now = Belief(self.belief.probability[:, None], tuple(evidence), tuple(factor), plausible=True)
        return _unsettled(self.compiled, now)


def _unsettled(compiled: Compiled, belief: Belief) -> float:
    """Mean bits that are still open for the units in the last axis: which candidate, and whether all of it is original."""
    original = belief.probability
    for slot, rows, factor in zip(compiled.slots, belief.evidence, belief.factor, strict=True):
        redone = slot.replaced @ rows if slot.parts else rows[slot.redone]
        changed = np.divide(slot.swap[:, None] * redone, factor, out=np.zeros_like(redone), where=factor > 0)
        original = original * (1.0 - changed)[slot.row]
    share = np.clip(original.sum(axis=0), 0.0, 1.0)
    bits = -xlog2(belief.probability).sum(axis=0) - xlog2(share) - xlog2(1.0 - share)
    return float(bits.mean())


def _there(compiled: Compiled, belief: Belief, t: int) -> bool:
    """Whether the unit most likely has such a thing: its slot, and the family whose own trait it is."""
    family, slot = compiled.traits[t].family, compiled.slots[compiled.traits[t].slot]
    if slot.parts and float(row_weights(slot, belief.probability) @ (slot.fitted[:, slot.parts.index("none")] < 1)) <= 0.5 + SAME:
        return False
    if family is None:
        return True
    mine = compiled.family == compiled.families.index(family)
    return bool(belief.probability[mine].sum() >= compiled.family_leads - SAME)


# Units -----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Units:
    """candidate[d] of every drawn unit, and for each slot the row or part it has now, shape [d]; `chance` draws on."""

    candidate: Ints
    now: tuple[Ints, ...]
    chance: Random


def _drawn(compiled: Compiled, belief: Belief) -> _Units:
    """Units from the belief; the candidates as evenly as they can be."""
    chance = Random(SEED)
    even = (np.arange(DRAWS) + 0.5) / DRAWS
    candidate = np.minimum(np.searchsorted(np.cumsum(belief.probability) + SUMMED, even), compiled.candidates - 1)
    now: list[Ints] = []
    for s, slot in enumerate(compiled.slots):
        row, found, factor = slot.row[candidate], belief.evidence[s], belief.factor[s]
        if slot.parts:
            now.append(_pick(chance, slot.fitted[row] * found))
        else:
            redone = _uniform(chance) < swapped(slot, found, factor)[row]
            now.append(np.where(redone, slot.redone[row], row))
    return _Units(candidate, tuple(now), chance)


def _uniform(chance: Random) -> Floats:
    return np.array([chance.random() for _ in range(DRAWS)])


def _pick(chance: Random, weights: Floats) -> Ints:
    """One column of each row, by its weights."""
    sums = np.cumsum(weights, axis=1)
    return np.minimum((sums < (_uniform(chance) * sums[:, -1])[:, None]).sum(axis=1), weights.shape[1] - 1)


# What is read ----------------------------------------------------------------------------------------------------------


def _read(trait: Trait, row: Ints, chance: Random) -> Floats:
    """P(what is read off a unit with row[d] | row i), shape [i, d]."""
    if not trait.measured:
        return trait.table[:, _pick(chance, trait.table[row])]
    value = _value(trait, row, chance)
    read = np.isfinite(value)
    there = density(trait, np.where(read, value, trait.least), trait.reads)
    return np.where(read[None, :], there, (1.0 - trait.applies)[:, None])


def _value(trait: Trait, row: Ints, chance: Random) -> Floats:
    """The value measured on each unit; nan where it is said that there is none."""
    anywhere = trait.least + _uniform(chance) * (trait.most - trait.least)
    source = row.copy()
    blank = np.flatnonzero(trait.blend_of[row] >= 0)
    blend = trait.blend[np.maximum(trait.blend_of[row], 0)]
    source[blank] = _pick(chance, blend)[blank]
    nowhere = (trait.blend_of[row] >= 0) & ((blend.sum(axis=1) == 0) | (trait.new[row] & (_uniform(chance) < NEW_VALUE)))
    normal = np.array([chance.gauss(0.0, 1.0) for _ in range(DRAWS)])
    value = trait.mean[source] + np.hypot(trait.sd[source], trait.reads) * normal
    value = np.where(nowhere | (_uniform(chance) < trait.blunders) | np.isnan(value), anywhere, value)
    return np.where(_uniform(chance) < trait.applies[row], value, np.nan)


def _after(compiled: Compiled, belief: Belief, units: _Units, traits: Sequence[int]) -> Belief:
    """The belief of every unit after these traits were read: all arrays have the units as their last axis."""
    evidence, factor = [one[:, None] for one in belief.evidence], [one[:, None] for one in belief.factor]
    chance = Random(SEED)
    moved = np.broadcast_to(belief.probability[:, None], (compiled.candidates, DRAWS))
    for s in dict.fromkeys(compiled.traits[t].slot for t in traits):
        slot = compiled.slots[s]
        mine = [t for t in traits if compiled.traits[t].slot == s]
        rows = [_read(compiled.traits[t], units.now[s], chance) for t in mine]
        evidence[s] = evidence[s] * np.prod(rows, axis=0)
        before, factor[s] = factor[s], slot_factor(slot, evidence[s])
        ratio = np.divide(factor[s], before, out=np.zeros_like(factor[s]), where=before > 0)
        moved = moved * ratio[slot.row]
    sums = moved.sum(axis=0)
    probability = np.divide(moved, sums, out=np.zeros_like(moved), where=sums > 0)
    return Belief(probability, tuple(evidence), tuple(factor), plausible=True)


# What is settled -------------------------------------------------------------------------------------------------------


def _settled(compiled: Compiled, belief: Belief, twins: Ints, slots: Sequence[int]) -> dict[str, Floats]:
    """By subject, whether it is as sure as the knowledge base asks: 1 or 0 for each unit."""
    probability = belief.probability if belief.probability.ndim > 1 else belief.probability[:, None]
    enough = compiled.settled - SAME
    found = {"variant": _leader_share(compiled, probability, twins) >= enough}
    if compiled.sets:
        found["set"] = _sums(probability, set_groups(compiled)).max(axis=0) >= enough
    for s, sure in _parts(compiled, belief, probability, slots):
        found[compiled.slots[s].id] = sure >= enough
    return {subject: sure.astype(np.float64) for subject, sure in found.items()}


def _leader_share(compiled: Compiled, probability: Floats, twins: Ints) -> Floats:
    """The share of the likeliest variant with everything that cannot be separated from it."""
    variants, groups = np.maximum(compiled.variant, -1), np.unique(twins, return_inverse=True)[1].reshape(-1)
    leader = np.unique(variants)[_sums(probability, variants).argmax(axis=0)]
    group = groups[[int(np.argmax(variants == one)) for one in leader]]
    shares: Floats = _sums(probability, groups)[group, np.arange(len(group))]
    unlisted = leader < 0
    shares[unlisted] = _sums(probability, variants)[0][unlisted]
    return shares


def _sums(probability: Floats, groups: Ints) -> Floats:
    """The share of each group, in ascending order, for each unit."""
    index = np.unique(groups, return_inverse=True)[1].reshape(-1)
    order = np.argsort(index, kind="stable")
    first = np.flatnonzero(np.diff(index[order], prepend=-1))
    return np.add.reduceat(probability[order], first, axis=0)


def _slots(compiled: Compiled, belief: Belief) -> list[int]:
    """The part slots that the unit most likely has; none before a family leads."""
    families = np.zeros(len(compiled.families))
    np.add.at(families, compiled.family, belief.probability)
    if families.max() < compiled.family_leads - SAME:
        return []
    return [s for s, slot in enumerate(compiled.slots) if slot.parts and can_be_changed(compiled, belief, s)]


def _parts(compiled: Compiled, belief: Belief, probability: Floats, slots: Sequence[int]) -> Iterator[tuple[int, Floats]]:
    """(slot, share of the likeliest part for each unit) of these slots."""
    for s in slots:
        slot, rows, factor = compiled.slots[s], belief.evidence[s], belief.factor[s]
        rows, factor = (one if one.ndim > 1 else one[:, None] for one in (rows, factor))
        mine = factor[slot.row]
        share = np.divide(probability, mine, out=np.zeros_like(probability), where=mine > 0)
        yield s, ((slot.fitted[slot.row].T @ share) * rows).max(axis=0)
