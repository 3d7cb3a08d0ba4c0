"""Answers as they were given, and what all answers to one trait say together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kb.reading import Between, Gone, Measured, Reading, Seen, Typed
from .arrays import MISSING, Floats, Trait
from .belief import Evidence, Told
from .marking import fit


@dataclass(frozen=True)
class Given:
    """One answer: to which trait, what was seen, and how many looks at it went before."""

    trait: int
    reading: Reading
    look: int = 0


@dataclass(frozen=True)
class Heard:
    """What somebody else says of a trait, and how often such a statement is wrong."""

    trait: int
    reading: Reading
    wrong: float


def merge(trait: Trait, t: int, readings: Sequence[Reading]) -> Evidence | None:
    """One piece of evidence from all answers to a trait; None when they say nothing."""
    if any(isinstance(one, Gone) for one in readings) and trait.measured:
        return Evidence(t, gone=True) if trait.can_be_missing else None
    value = next((one for one in reversed(readings) if isinstance(one, Measured)), None)
    if value is not None:
        return Evidence(t, value=(value.value, value.plus_minus))
    bounds = [one for one in readings if isinstance(one, Between)]
    if bounds:
        low, high = max(one.low for one in bounds), min(one.high for one in bounds)
        return Evidence(t, interval=(low, high)) if low < high else Evidence(t, weights=np.zeros(1))
    typed = next((one for one in reversed(readings) if isinstance(one, Typed)), None)
    if typed is not None:
        fits = [0.0 if state == MISSING else fit(typed.text, state, trait.worn) for state in trait.states]
        return Evidence(t, weights=np.array(fits), typed=True)
    masks = [mask for one in readings if (mask := _mask(trait, one)) is not None]
    return Evidence(t, weights=np.prod(masks, axis=0)) if masks else None


def merge_looks(trait: Trait, t: int, given: Sequence[Given]) -> Evidence | None:
    """One piece of evidence from all looks at a trait; None when they say nothing."""
    rows = [[one.reading for one in given if one.look == look] for look in sorted({one.look for one in given})]
    found = [one for row in rows if (one := merge(trait, t, row)) is not None]
    if len(found) < 2 or any(one.weights is None or one.typed for one in found):
        return found[-1] if found else None
    first, *more = [one.weights for one in found if one.weights is not None]
    return Evidence(t, weights=first, again=tuple(more))


def with_heard(trait: Trait, t: int, own: Evidence | None, heard: Sequence[Heard]) -> Evidence | None:
    """One piece of evidence from one's own answers to a trait and what others say of it; None when all of it says nothing."""
    said = [(merge(trait, t, [one.reading]), one.wrong) for one in heard]
    told = tuple(Told(one, wrong) for one, wrong in said if one is not None)
    if not told:
        return own
    return replace(own, told=told) if own is not None else Evidence(t, told=told)


def _mask(trait: Trait, reading: Reading) -> Floats | None:
    if isinstance(reading, Gone):
        return np.array([float(state == MISSING) for state in trait.states]) if trait.can_be_missing else None
    if isinstance(reading, Seen):
        return np.array([1.0 if state in reading.states else 0.0 for state in trait.states])
    return None
