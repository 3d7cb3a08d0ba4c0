"""A knowledge base as arrays: all the kernel ever sees.

The letters used throughout:

    c   candidate: a variant in one set position, or sold alone; and one "not in the record" for each family.
        Of loose parts: each part is a variant, and its slot type the family (see part_compile.py)
    s   slot;  r  part that sits in it ("none" and "unlisted" are parts here)
    u   row of a slot's tables that a candidate points at.  Part slots: one for each way a unit was issued there.
        Own slots (body, finish): one for each variant, then one for each family (all of it together)
    t   trait;  k  state of it.  Traits of parts have one state more than they name, "missing", as the last
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NOT_IN_THE_RECORD = "not-in-the-record"
MISSING = "missing"
#: Numbers closer than this are the same: they may have been summed in another order.
SAME = 1e-9


@dataclass(frozen=True, eq=False)
class Slot:
    """Where parts sit.

    row[c]        the row each candidate points at
    swap[u]       chance that the slot was changed since
    part slots:   parts (names, length R); issued[u, r], replaced[u, r]: chance of each part as issued, and once changed
    own slots:    parts is empty; redone[u]: the row that a redone finish shows (all of the family together)
    """

    id: str
    parts: tuple[str, ...]
    row: Ints
    swap: Floats
    issued: Floats
    replaced: Floats
    redone: Ints

    @cached_property
    def redone_alike(self) -> bool:
        """Whether every row of an own slot would be redone alike, as in a single family."""
        return bool((self.redone == self.redone[:1]).all())

    @cached_property
    def fitted(self) -> Floats:
        """W[u, r] of a part slot: chance of each part that sits there now."""
        return (1.0 - self.swap)[:, None] * self.issued + self.swap[:, None] * self.replaced


@dataclass(frozen=True, eq=False)
class Trait:
    """What one can look at.

    table[i, k]   chance that state k is read off row i (of an own slot) or part i (of a part slot), mistakes included
    truth[i, k]   the same without mistakes; confusion[k, j]: chance that state k is read as state j (table = truth @ confusion)
    measured:     mean[i], sd[i] in the trait's unit; cuts[j]: values worth asking about; least, most: what it can be at all;
                  blunders: share of readings that are nowhere near; reads: uncertainty of a careful reading, one sd
    applies[i]    chance that somebody reads it there at all: small on a unit of another family, which has no such thing
    new[i]        row i stands for what is not in the record, and may show a value that nobody recorded
    at_once       it is always asked as a choice among all its states
    can_be_missing   whether some row has no such thing; a trait with states then has the state "missing" as its last
    blend[f, i], blend_of[i]   what is not recorded is the blend of what is: row i takes blend[blend_of[i]] (-1: it is recorded);
                  one blend for each family, and a single one of a trait that one family has alone
    """

    id: str
    family: str | None
    slot: int
    view: int
    states: tuple[str, ...]
    table: Floats
    truth: Floats
    confusion: Floats
    mean: Floats
    sd: Floats
    applies: Floats
    blend: Floats
    blend_of: Ints
    new: Bools
    cuts: Floats
    least: float
    most: float
    blunders: float
    reads: float
    worn: float
    asked: bool
    can_be_missing: bool
    at_once: bool = False

    @property
    def measured(self) -> bool:
        """Whether one measures it."""
        return not self.states


@dataclass(frozen=True, eq=False)
class Compiled:
    """Everything. Candidates are sorted by variant; `variant[c]` is -1 - f for the unit of family f that is not in the record.

    prior[c] sums to 1; set_of[c] is -1 for a unit sold alone; position[c] counts from 1 (0: alone).
    effort[view]: what it takes to get to see it; a glance is 1.  asking[form]: what a form of question takes on top of that
    """

    variants: tuple[str, ...]
    families: tuple[str, ...]
    sets: tuple[str, ...]
    views: tuple[str, ...]
    effort: Floats
    asking: Mapping[str, float]
    prior: Floats
    variant: Ints
    family: Ints
    set_of: Ints
    position: Ints
    slots: tuple[Slot, ...]
    traits: tuple[Trait, ...]
    settled: float
    family_leads: float

    @property
    def candidates(self) -> int:
        """How many candidates there are."""
        return len(self.prior)

    def trait(self, ident: str, family: str | None = None) -> int:
        """The index of a trait. Raises KeyError."""
        for index, trait in enumerate(self.traits):
            if trait.id == ident and trait.family == family:
                return index
        raise KeyError(ident)

    @cached_property
    def looks(self) -> Ints:
        """looks[c, t]: equal for two candidates when trait t looks the same on both as issued."""
        columns: list[Ints] = []
        for trait in self.traits:
            slot = self.slots[trait.slot]
            shown = np.stack([trait.mean, trait.sd], axis=1) if trait.measured else trait.table
            shown = np.nan_to_num(shown, nan=-1.0)
            rows = np.round(slot.issued @ shown if slot.parts else shown, 9)
            same = np.unique(rows, axis=0, return_inverse=True)[1].reshape(-1) if rows.shape[1] else np.zeros(len(rows), np.int64)
            columns.append(same[slot.row])
        return np.stack(columns, axis=1) if columns else np.zeros((self.candidates, 0), dtype=np.int64)

    def label(self, candidate: int) -> str:
        """The variant's id, or `not-in-the-record`."""
        variant = int(self.variant[candidate])
        return self.variants[variant] if variant >= 0 else NOT_IN_THE_RECORD
