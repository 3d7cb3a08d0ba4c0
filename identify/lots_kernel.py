"""Several units at once: which of them left the factory in one box. Arrays in, arrays out.

A lot is taken for a number of finds put together.  A find is one unit on its own, or what is left of one boxed set:

    alone[u]       = finds (1 - boxed) * sum over c of prior[c] L[u, c]
    together[s, G] = finds boxed * share[s] * pattern(m of P) * sum over seatings of product over u in G of V_s[u, seat of u]

L[u, c] is the chance of unit u's answers if it is candidate c.  V_s[u, p] is the same if it sat in position p of set s: the mean
over the variants that sat there, by how common each is.  share[s] is how common a set is among the sets of two positions or more
(the mean of its candidates' priors over its positions).  pattern is the chance that just these m of its P positions are still
together, when each unit has stayed with the chance `stayed`, and at least two have.  The number of finds is Poisson, so that an
explanation, a partition of the units into finds, weighs the product of its finds, and nothing has to be said of their order.

So a set wins against as many strays when its share is more than the product of what its units are worth one by one, which is
nearly always when all the answers fit, and a part that does not belong costs what a swap of it costs.

Exact: the sum over seatings, by dynamic programming over positions; the sum over partitions, over units with the set of those
that are taken, in every group of units that some set links.  Beyond `MOST_STATES`, `MOST_OPTIONS` and `MOST_GROUPS` only the
best are followed; `Solved.exact` then is False, the total is too small, and so every probability is at most what is said.
With more than `EXACT_UNITS` units, seats that are not plausible (`NOT_THERE`) are not tried; what that leaves out is at
most 1.5 % of the total in eight lots of ten of the demonstration's sightings, and never the best explanation.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from heapq import nlargest
from typing import Any

import numpy as np

from .arrays import Compiled, Floats, Ints

#: So many partitions are given.
MOST_EXPLANATIONS = 5
#: Up to so many units nothing is left out.
EXACT_UNITS = 10
#: Beyond that: groups of one set, groups that begin with one unit, and states of the search that are followed.
MOST_GROUPS, MOST_OPTIONS, MOST_STATES = 500, 150, 150
#: Beyond that: a seat is not plausible, and not tried, where a unit's answers are by this less likely than in its best seat.
NOT_THERE = 1e-4
#: Up to so many units in one set the chance of every seat is summed over all seatings; beyond, the best seating is taken.
MOST_SEATED = 12
#: A group this unlikely moves no candidate's probability that is shown.
NEGLIGIBLE = 1e-9
#: Stands for a seat that cannot be, where costs must be finite; far above any sum of true costs.
FORBIDDEN = 1e9


@dataclass(frozen=True)
class Prior:
    """How lots come about.

    finds    finds in a lot, on average: a box of trains from one household, or one seller's table
    boxed    share of the finds that are (part of) one boxed set: most trains were sold in sets, most are sold on singly
    stayed   chance that a unit of such a find is still there: one in five was sold, given away or broken
    """

    finds: float = 3.0
    boxed: float = 0.3
    stayed: float = 0.8


USUAL = Prior()


@dataclass(frozen=True, eq=False)
class Boxed:
    """One set: weight without those who sit there, by how many do (weight[m]); fit[u, p] = V; seats[p][v]: (candidate, share)."""

    set: int
    weight: Floats
    fit: Floats
    seats: tuple[tuple[Ints, Floats], ...]


@dataclass(frozen=True, eq=False)
class Lot:
    """alone[u], and the sets of at least two positions."""

    alone: Floats
    sets: tuple[Boxed, ...]


@dataclass(frozen=True)
class Group:
    """Units (ascending) of one set (its place in `Lot.sets`)."""

    boxed: int
    units: tuple[int, ...]


@dataclass(frozen=True)
class Explained:
    """A partition: its groups, all other units being strays, and its probability."""

    probability: float
    groups: tuple[Group, ...]


@dataclass(frozen=True)
class Solved:
    """The best partitions; used[group]: the probability of every group that was considered."""

    explanations: tuple[Explained, ...]
    used: Mapping[Group, float]
    log_total: float
    exact: bool


def assign(costs: Floats) -> tuple[Ints, float]:
    """(column of every row, total) of the cheapest assignment of all rows to different columns; rows <= columns.

    Solved exactly by scipy.optimize.linear_sum_assignment (Crouse 2016, a shortest augmenting path). An infinite cost is a pair
    that cannot be; the total is infinite when there is no other way.
    """
    from scipy import optimize  # pyright: ignore[reportMissingTypeStubs]

    solver: Any = optimize
    finite = np.where(np.isfinite(costs), costs, FORBIDDEN)
    rows, columns = solver.linear_sum_assignment(finite)
    found = np.empty(len(costs), dtype=np.int64)
    found[rows] = columns
    return found, float(costs[np.arange(len(costs)), found].sum())


def describe_lot(compiled: Compiled, likelihood: Floats, sizes: Sequence[int], prior: Prior = USUAL) -> Lot:
    """The lot of units with likelihood[u, c], each row up to a factor; sizes[s]: how many positions a set has."""
    alone = prior.finds * (1.0 - prior.boxed) * (likelihood @ compiled.prior)
    large = [s for s, size in enumerate(sizes) if size >= 2]
    common = np.array([compiled.prior[compiled.set_of == s].sum() / sizes[s] for s in large])
    total = common.sum()
    sets = [
        _boxed(compiled, likelihood, s, sizes[s], prior, float(one / total))
        for s, one in zip(large, common.tolist(), strict=True)
        if one > 0
    ]
    return Lot(alone, tuple(sets))


def _boxed(compiled: Compiled, likelihood: Floats, s: int, size: int, prior: Prior, share: float) -> Boxed:
    seats: list[tuple[Ints, Floats]] = []
    fit = np.zeros((len(likelihood), size))
    for p in range(size):
        mine = np.flatnonzero((compiled.set_of == s) & (compiled.position == p + 1))
        weights = compiled.prior[mine]
        weights = weights / weights.sum() if len(mine) else weights
        seats.append((mine, weights))
        fit[:, p] = likelihood[:, mine] @ weights
    stayed, gone = prior.stayed, 1.0 - prior.stayed
    several = 1.0 - gone**size - size * stayed * gone ** (size - 1)
    weight = np.array([prior.finds * prior.boxed * share * stayed**m * gone ** (size - m) / several for m in range(size + 1)])
    return Boxed(s, weight, fit, tuple(seats))


# Groups ----------------------------------------------------------------------------------------------------------------


def groups_of(boxed: Boxed, alone: Floats, best: Floats) -> tuple[dict[int, float], bool]:
    """({units as bits: weight of the group over that of as many strays}, whether none was left out).

    best[u]: the most that V / alone of a unit comes to in any seat of any set
    """
    units = len(alone)
    small = units <= EXACT_UNITS
    ratio = np.divide(boxed.fit, alone[:, None], out=np.zeros_like(boxed.fit), where=alone[:, None] > 0)
    least = np.zeros(units) if small else NOT_THERE * best
    sums: dict[int, float] = {0: 1.0}
    whole = True
    for p in range(boxed.fit.shape[1]):
        here = [(1 << int(u), float(ratio[u, p])) for u in np.flatnonzero((ratio[:, p] > 0) & (ratio[:, p] >= least))]
        grown = dict(sums)
        for mask, weight in sums.items():
            for bit, fits in here:
                if not mask & bit:
                    grown[mask | bit] = grown.get(mask | bit, 0.0) + weight * fits
        if not small and len(grown) > MOST_GROUPS:
            grown = dict(nlargest(MOST_GROUPS, grown.items(), key=lambda one: (one[1], -one[0])))
            whole = False
        sums = grown
    found = {mask: weight * float(boxed.weight[mask.bit_count()]) for mask, weight in sums.items() if mask.bit_count() >= 2}
    return {mask: weight for mask, weight in found.items() if weight > 0}, whole


@dataclass
class _Option:
    """A group of units and what it weighs as each set."""

    mask: int
    sets: dict[int, float] = field(default_factory=dict[int, float])

    @property
    def weight(self) -> float:
        return math.fsum(self.sets.values())


#: A partition that is being built: its weight, and its groups as (units as bits, set).
_Partial = tuple[float, tuple[tuple[int, int], ...]]


def explain_lot(lot: Lot) -> Solved:
    """The best partitions of the lot, and the probability of every group."""
    options: dict[int, _Option] = {}
    whole = True
    best_seat = np.max([one.fit.max(axis=1) / lot.alone for one in lot.sets], axis=0, initial=0.0)
    for b, boxed in enumerate(lot.sets):
        found, kept = groups_of(boxed, lot.alone, best_seat)
        whole = whole and kept
        for mask, weight in found.items():
            options.setdefault(mask, _Option(mask)).sets[b] = weight
    parts = [_search(units, [options[mask] for mask in masks], len(lot.alone)) for units, masks in _linked(options)]
    total = math.prod(part.total for part in parts)
    best: list[_Partial] = [(1.0, ())]
    for part in parts:
        both = [(w * more, (*groups, *others)) for w, groups in best for more, others in part.best]
        best = nlargest(MOST_EXPLANATIONS, both, key=lambda one: one[0])
    used = {Group(b, _units(mask)): share for part in parts for (mask, b), share in part.used.items()}
    return Solved(
        explanations=tuple(
            Explained(weight / total, tuple(sorted((Group(b, _units(mask)) for mask, b in groups), key=lambda one: one.units)))
            for weight, groups in best
        ),
        used=used,
        log_total=math.log(total) + float(np.log(lot.alone).sum()),
        exact=whole and all(part.exact for part in parts),
    )


def _units(mask: int) -> tuple[int, ...]:
    return tuple(u for u in range(mask.bit_length()) if mask >> u & 1)


def _linked(options: Mapping[int, _Option]) -> list[tuple[int, list[int]]]:
    """(units as bits, groups) of every part of the lot that no group links to another."""
    parts: list[tuple[int, list[int]]] = []
    for mask in options:
        touching = [part for part in parts if part[0] & mask]
        apart = [part for part in parts if not part[0] & mask]
        units, groups = mask, [mask]
        for more, theirs in touching:
            units, groups = units | more, groups + theirs
        parts = [*apart, (units, groups)]
    return sorted((units, sorted(groups)) for units, groups in parts)


@dataclass(frozen=True)
class _Part:
    """The weights are over those of as many strays."""

    total: float
    best: list[_Partial]
    used: dict[tuple[int, int], float]
    exact: bool


def _search(linked: int, options: Sequence[_Option], size: int) -> _Part:
    """All partitions of linked units: unit by unit, each alone or in a group of which it is the first.

    A state is which later units are taken; it holds the sum and the best of all the ways to get there.
    """
    units, exact = _units(linked), True
    promise = {u: max([1.0, *(one.weight ** (1 / one.mask.bit_count()) for one in options if one.mask >> u & 1)]) for u in units}

    def promised(mask: int) -> float:
        """At most so much the units of a mask can bring: each its share of the best group it is in."""
        return math.prod(promise[u] for u in _units(mask))

    first: dict[int, list[_Option]] = {u: [] for u in units}
    for one in options:
        first[(one.mask & -one.mask).bit_length() - 1].append(one)
    if size > EXACT_UNITS:
        exact = all(len(some) <= MOST_OPTIONS for some in first.values())
        first = {u: nlargest(MOST_OPTIONS, some, key=lambda one: one.weight / promised(one.mask)) for u, some in first.items()}
    layers: list[dict[int, float]] = [{0: 1.0}]
    left = linked
    best: dict[int, list[_Partial]] = {0: [(1.0, ())]}
    for u in units:
        sums, best = _step(layers[-1], best, u, first[u])
        left &= ~(1 << u)
        if size > EXACT_UNITS and len(sums) > MOST_STATES:
            ranked = {mask: weight * promised(left & ~mask) for mask, weight in sums.items()}
            sums = {mask: sums[mask] for mask in nlargest(MOST_STATES, ranked, key=lambda mask: (ranked[mask], -mask))}
            exact = False
        layers.append(sums)
    return _Part(layers[-1][0], best[0], _used(units, first, layers), exact)


def _step(
    before: Mapping[int, float], best: Mapping[int, list[_Partial]], u: int, options: Sequence[_Option]
) -> tuple[dict[int, float], dict[int, list[_Partial]]]:
    """(sum, best partitions) of every state after unit u."""
    sums: dict[int, float] = {}
    found: dict[int, list[_Partial]] = {}
    weighed = [(one.mask, one.weight, nlargest(MOST_EXPLANATIONS, one.sets.items(), key=lambda s: s[1])) for one in options]
    bit = 1 << u
    for mask, weight in before.items():
        alone = mask & ~bit
        sums[alone] = sums.get(alone, 0.0) + weight
        _keep(found, alone, best[mask])
        if mask & bit:
            continue
        for units, more, sets in weighed:
            if mask & units:
                continue
            after = mask | units & ~bit
            sums[after] = sums.get(after, 0.0) + weight * more
            kept = found.get(after, [])
            if len(kept) < MOST_EXPLANATIONS or best[mask][0][0] * sets[0][1] > kept[-1][0]:
                _keep(found, after, [(w * r, (*groups, (units, b))) for w, groups in best[mask] for b, r in sets])
    return sums, found


def _keep(found: dict[int, list[_Partial]], state: int, more: Sequence[_Partial]) -> None:
    found[state] = nlargest(MOST_EXPLANATIONS, [*found.get(state, ()), *more], key=lambda one: one[0])


def _used(
    units: Sequence[int], first: Mapping[int, Sequence[_Option]], layers: Sequence[Mapping[int, float]]
) -> dict[tuple[int, int], float]:
    """The probability of every (group, set): all ways to get to it times all ways to go on."""
    rest: dict[int, float] = {0: 1.0}
    used: dict[tuple[int, int], float] = {}
    total = layers[-1][0]
    for u, before in zip(reversed(units), reversed(layers[:-1]), strict=True):
        bit = 1 << u
        weighed = [(one, one.weight) for one in first[u]]
        through = [0.0] * len(weighed)
        going: dict[int, float] = {}
        for mask, weight in before.items():
            ways = rest.get(mask & ~bit, 0.0)
            if not mask & bit:
                for o, (one, more) in enumerate(weighed):
                    onward = 0.0 if mask & one.mask else rest.get(mask | one.mask & ~bit, 0.0) * more
                    ways += onward
                    through[o] += weight * onward
            going[mask] = ways
        for (one, more), flow in zip(weighed, through, strict=True):
            used |= {(one.mask, b): flow / total * ratio / more for b, ratio in one.sets.items()}
        rest = going
    return used


# Seats -----------------------------------------------------------------------------------------------------------------


def seated(boxed: Boxed, units: Sequence[int]) -> Ints:
    """The likeliest position (from 0) of every unit of a group."""
    with np.errstate(divide="ignore"):
        return assign(-np.log(boxed.fit[list(units)]))[0]


def seat_shares(boxed: Boxed, units: Sequence[int]) -> Floats:
    """P(unit i of the group sat in position p | the group is of this set), shape [m, P]; rows sum to 1."""
    fit = boxed.fit[list(units)]
    many, size = fit.shape
    if many > MOST_SEATED:
        shares = np.zeros(fit.shape)
        shares[np.arange(many), seated(boxed, units)] = 1.0
        return shares
    fit = fit / fit.max(axis=1, keepdims=True)
    masks: Ints = np.arange(1 << many, dtype=np.int64)
    forward = [_only(0, len(masks))]
    for p in range(size):
        forward.append(_one_more(forward[-1], fit[:, p], masks))
    shares = np.zeros(fit.shape)
    onward = _only(len(masks) - 1, len(masks))
    for p in reversed(range(size)):
        going = onward.copy()
        for i in range(many):
            free = masks[masks >> i & 1 == 0]
            ways = fit[i, p] * onward[free | 1 << i]
            shares[i, p] = forward[p][free] @ ways
            going[free] += ways
        onward = going
    return shares / shares.sum(axis=1, keepdims=True)


def _only(place: int, size: int) -> Floats:
    found = np.zeros(size)
    found[place] = 1.0
    return found


def _one_more(before: Floats, fit: Floats, masks: Ints) -> Floats:
    """Sums by who is seated, after one more position, which may stay empty."""
    after = before.copy()
    for i, chance in enumerate(fit.tolist()):
        free = masks[masks >> i & 1 == 0]
        after[free | 1 << i] += chance * before[free]
    return after


def candidates_given(lot: Lot, compiled: Compiled, likelihood: Floats, used: Mapping[Group, float]) -> Floats:
    """P(candidate c | answers of the whole lot), shape [u, c], from the probability of every group."""
    single = likelihood * compiled.prior
    single = single / single.sum(axis=1, keepdims=True)
    found = np.zeros(likelihood.shape)
    left = np.ones(len(likelihood))
    for group, share in used.items():
        if share < NEGLIGIBLE:
            continue
        boxed = lot.sets[group.boxed]
        for i, row in enumerate(seat_shares(boxed, group.units)):
            u = group.units[i]
            left[u] -= share
            for p in np.flatnonzero(row):
                mine, weights = boxed.seats[p]
                found[u, mine] += share * row[p] * likelihood[u, mine] * weights / boxed.fit[u, p]
    found += np.maximum(left, 0.0)[:, None] * single
    return found / found.sum(axis=1, keepdims=True)


# Exchanges -------------------------------------------------------------------------------------------------------------


def exchanges(belongs: Floats, changed: Floats) -> list[tuple[tuple[int, ...], float]]:
    """Parts that came off one another's places: (places, each with the place behind it whose part belongs there; chance).

    belongs[i, j]: chance that the part now in place j is what place i was issued with, if both were changed; changed[i]: chance
    that place i was.  Every place takes one part, so that the product of the chances that they are right is greatest (an
    assignment, cost -log chance); a part that goes elsewhere closes a ring, and its chance is that all its places were changed
    and all moves are right.
    """
    moved = belongs * np.sqrt(changed[:, None] * changed[None, :])
    stays = np.diag(1.0 - changed)
    off = ~np.eye(len(changed), dtype=bool)
    with np.errstate(divide="ignore"):
        takes, _ = assign(-np.log(np.maximum(np.where(off, moved, stays), 1e-12)))
    found: list[tuple[tuple[int, ...], float]] = []
    seen: set[int] = set()
    for start in range(len(takes)):
        ring: list[int] = []
        place = start
        while place not in seen:
            seen.add(place)
            ring.append(place)
            place = int(takes[place])
        if len(ring) > 1:
            right = [float(belongs[i, takes[i]]) for i in ring]
            found.append((tuple(ring), math.prod(right) * math.prod(float(changed[i]) for i in ring)))
    return found
