"""Conclusions as sums over hypotheses, so that an answer can be left out or changed without starting anew. Pure.

A hypothesis h is a candidate, for some conclusions with what became of its slots: changed or not.  Its weight is

    prior[h] * product over answered slots s of term_s[h],

where a term is the chance of the slot's answers: in all (whole), as issued (kept), or changed since.  Hypotheses that agree in
their group and their terms are taken as one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Bools, Compiled, Floats, Ints, Slot
from .belief import Evidence, likelihood
from .questions import log2, set_names

WHOLE, KEPT, CHANGED = 0, 1, 2


@dataclass(frozen=True, eq=False)
class Hypotheses:
    """Hypotheses by ascending group.

    names[g]       what each group is; concluded[g], rival[g]: the groups of the conclusion, and of its runner-up
    prior[h], first[g]: the first hypothesis of each group
    mode[h, n], row[h, n]: which term each takes of the n-th answered slot
    rest           the second of two groups holds the first as well, and stands for what is left of it
    """

    names: tuple[object, ...]
    concluded: Bools
    rival: Bools
    prior: Floats
    first: Ints
    mode: Ints
    row: Ints
    rest: bool = False

    def term(self, terms: Floats, n: int) -> Floats:
        """term[h, ...] of the n-th answered slot from its terms[mode, u, ...]."""
        return terms[self.mode[:, n], self.row[:, n]]

    def sums(self, weights: Floats) -> Floats:
        """The weight of each group from those of the hypotheses, shape [g, ...]."""
        found = np.add.reduceat(weights, self.first, axis=0)
        if self.rest:
            found[1] = np.maximum(found[1] - found[0], 0.0)
        return found


def slot_terms(slot: Slot, seen: Floats) -> Floats:
    """terms[mode, u, n] from seen[i, n], the chance of the n-th way to answer given each row or part."""
    swap = slot.swap[:, None]
    kept = (1.0 - swap) * (slot.issued @ seen if slot.parts else seen)
    changed = swap * (slot.replaced @ seen if slot.parts else seen[slot.redone])
    return np.stack([kept + changed, kept, changed])


@dataclass(frozen=True, eq=False)
class Answered:
    """The answers by slot: seen[n][i, j] is the chance of the j-th answer in the n-th answered slot given its row or part i.

    evidence[n][j]   that answer's place among all
    scale[n][j]      what its chances were divided by, so that the largest is 1: it moves nothing, and nothing underflows
    look[c]          equal for two candidates when every answered slot is the same on both
    """

    slots: tuple[int, ...]
    seen: tuple[Floats, ...]
    evidence: tuple[tuple[int, ...], ...]
    scale: tuple[Floats, ...]
    look: Ints


def by_slot(compiled: Compiled, evidence: Sequence[Evidence]) -> Answered:
    """The answers sorted by the slots they are about."""
    at: dict[int, list[int]] = {}
    for e, one in enumerate(evidence):
        at.setdefault(compiled.traits[one.trait].slot, []).append(e)
    slots = sorted(at)
    seen = [np.stack([likelihood(compiled.traits[evidence[e].trait], evidence[e]) for e in at[s]], axis=1) for s in slots]
    scale = [np.where(one.max(axis=0) > 0, one.max(axis=0), 1.0) for one in seen]
    seen = [one / most for one, most in zip(seen, scale, strict=True)]
    rows = np.stack([compiled.slots[s].row for s in slots], axis=1)
    look = np.unique(rows, axis=0, return_inverse=True)[1].reshape(-1)
    return Answered(tuple(slots), tuple(seen), tuple(tuple(at[s]) for s in slots), tuple(scale), look)


def gathered(
    compiled: Compiled,
    answered: Answered,
    names: Sequence[object],
    concluded: Bools,
    rival: Bools,
    blocks: Sequence[tuple[Ints | int, Ints]],
    rest: bool = False,
) -> Hypotheses:
    """Hypotheses from blocks of all candidates: (mode of every slot, or of all; group of each candidate)."""
    every = compiled.candidates
    modes = np.stack([np.broadcast_to(mode, len(compiled.slots)) for mode, _ in blocks])
    prior = np.concatenate([compiled.prior * _untouched(compiled, answered, mode) for mode in modes])
    group = np.concatenate([group for _, group in blocks])
    look = np.tile(answered.look, len(blocks))
    block = np.repeat(np.arange(len(blocks)), every)
    keys = (group * len(blocks) + block) * every + look
    _, where, same = np.unique(keys, return_index=True, return_inverse=True)
    slots = list(answered.slots)
    together: Floats = np.zeros(len(where))
    np.add.at(together, same.reshape(-1), prior)
    return Hypotheses(
        names=tuple(names),
        concluded=concluded,
        rival=rival,
        prior=together,
        first=np.searchsorted(group[where], np.arange(len(names))),
        mode=modes[block[where]][:, slots],
        row=np.stack([compiled.slots[s].row for s in slots], axis=1)[where % every],
        rest=rest,
    )


def _untouched(compiled: Compiled, answered: Answered, mode: Ints) -> Floats:
    """The product of the terms of all slots without an answer, for each candidate."""
    found = np.ones(compiled.candidates)
    for s in set(np.flatnonzero(mode != WHOLE).tolist()) - set(answered.slots):
        slot = compiled.slots[s]
        found *= (1.0 - slot.swap if mode[s] == KEPT else slot.swap)[slot.row]
    return found


def variant_hypotheses(compiled: Compiled, answered: Answered, concluded: Sequence[str], rival: Sequence[str]) -> Hypotheses:
    """Which variant it is; all that is not in the record together."""
    labels = [compiled.label(c) for c in range(compiled.candidates)]
    return _by_name(compiled, answered, labels, concluded, rival)


def set_hypotheses(compiled: Compiled, answered: Answered, concluded: str | None, rival: str | None) -> Hypotheses:
    """Which set it came from; None is alone or in no recorded set."""
    return _by_name(compiled, answered, set_names(compiled), [concluded], [rival])


def _by_name(
    compiled: Compiled,
    answered: Answered,
    named: Sequence[str | None],
    concluded: Sequence[str | None],
    rival: Sequence[str | None],
) -> Hypotheses:
    names = list(dict.fromkeys(named))
    at = {name: g for g, name in enumerate(names)}
    group = np.array([at[name] for name in named], dtype=np.int64)
    mine, other = (np.array([name in some for name in names], dtype=bool) for some in (concluded, rival))
    return gathered(compiled, answered, names, mine, other, [(WHOLE, group)])


def slot_hypotheses(compiled: Compiled, answered: Answered, s: int, changed: bool) -> Hypotheses:
    """Whether slot s was changed since."""
    modes = np.zeros((2, len(compiled.slots)), dtype=np.int64)
    modes[:, s] = KEPT, CHANGED
    blocks = [(mode, np.full(compiled.candidates, g)) for g, mode in enumerate(modes)]
    concluded = np.array([not changed, changed], dtype=bool)
    return gathered(compiled, answered, (False, True), concluded, ~concluded, blocks)


def original_hypotheses(compiled: Compiled, answered: Answered, original: bool) -> Hypotheses:
    """Whether nothing on the unit was changed since."""
    blocks: list[tuple[Ints | int, Ints]] = [(mode, np.full(compiled.candidates, g)) for g, mode in enumerate((KEPT, WHOLE))]
    concluded = np.array([original, not original], dtype=bool)
    return gathered(compiled, answered, (True, False), concluded, ~concluded, blocks, rest=True)


@dataclass(frozen=True)
class Weights:
    """By an answer's place among all, its weight for the conclusion in bits: against everything else, and the runner-up."""

    over_all: dict[int, float]
    over_rival: dict[int, float]


def weights_of_evidence(compiled: Compiled, answered: Answered, all_of_them: Sequence[Hypotheses]) -> list[Weights]:
    """The weight of every answer, by conclusion; below 0 it speaks against the conclusion.

    Good (1950): log2 of the odds with all answers over the odds without this one.
    """
    terms: list[Floats] = []
    for s, seen in zip(answered.slots, answered.seen, strict=True):
        without = [np.prod(np.delete(seen, j, axis=1), axis=1) for j in range(seen.shape[1])]
        terms.append(slot_terms(compiled.slots[s], np.stack([np.prod(seen, axis=1), *without], axis=1)))
    return [_weights(one, terms, answered) for one in all_of_them]


def _weights(one: Hypotheses, terms: Sequence[Floats], answered: Answered) -> Weights:
    each = [one.term(term, n) for n, term in enumerate(terms)]
    found = Weights({}, {})
    for n, term in enumerate(each):
        others = one.prior * np.prod([other[:, 0] for m, other in enumerate(each) if m != n], axis=0)
        sums = one.sums(others[:, None] * term)
        mine = log2(sums[one.concluded].sum(axis=0))
        for rival, bits in ((~one.concluded, found.over_all), (one.rival, found.over_rival)):
            odds = mine - log2(sums[rival].sum(axis=0))
            bits |= {e: float(odds[0] - odds[1 + j]) for j, e in enumerate(answered.evidence[n])}
    return found
