"""An answer as written, read against the trait or slot it answers: what exactly does it say was seen?"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from .findings import Kind, Unreadable, listed, nearest, quoted
from .models import State, Trait
from .values import Answer, Measure, half_place, read_measure


@dataclass(frozen=True)
class Seen:
    """One of these states; none of them when empty (the unit shows something nobody recorded)."""

    states: frozenset[str]


@dataclass(frozen=True)
class Measured:
    """A value in the trait's unit; `plus_minus` is the reading's own uncertainty, one standard deviation.

    A reading that states none is taken to be good to half of the last place written.
    """

    value: float
    plus_minus: float


@dataclass(frozen=True)
class Between:
    """A value between two bounds in the trait's unit, either of which may be infinite."""

    low: float
    high: float


@dataclass(frozen=True)
class Typed:
    """A marking as far as it can be read; `?` stands for one character that cannot."""

    text: str


@dataclass(frozen=True)
class Gone:
    """The part is missing."""


@dataclass(frozen=True)
class CannotTell:
    """Looked, and could not judge."""


#: As it is written in files, and as the screen says it.
CANNOT_TELL = ("cannot-tell", "cannot tell")

Reading = Seen | Measured | Between | Typed | Gone | CannotTell


def read_reading(answer: Answer, trait: Trait) -> Reading:
    """What the answer says of the trait. Raises Unreadable."""
    if answer.is_ == "missing":
        return Gone()
    if answer.is_ in CANNOT_TELL:
        return CannotTell()
    if trait.measured:
        return _measured(answer, trait)
    if trait.marking:
        return _marking(answer)
    return Seen(_states(answer, trait.states or {}, "state", trait.states or {}))


def read_part(answer: Answer, parts: Collection[str]) -> Reading:
    """What an answer to a bare slot says: which of the parts that fit it is there. Raises Unreadable."""
    if answer.is_ == "missing":
        return Seen(frozenset({"none"}))
    if answer.is_ in CANNOT_TELL:
        return CannotTell()
    return Seen(_states(answer, [*parts, "none", "unlisted"], "part", {}))


def _states(answer: Answer, states: Collection[str], noun: str, names: Mapping[str, State]) -> frozenset[str]:
    """The ids of the states an answer leaves; a state may be called by its id or its name."""
    named = [answer.is_] if answer.is_ is not None else (answer.one_of if answer.not_ is None else answer.not_)
    if not named:
        raise Unreadable("a bound" if named is None else f"no {noun}s", f"one of the {noun}s {listed(states)}")
    called = {state.name.lower(): ident for ident, state in names.items()}
    named = [state if state in states else called.get(" ".join(state.lower().split()), state) for state in named]
    for state in named:
        if state not in states:
            expected = f"one of the {noun}s {listed(states)}"
            raise Unreadable(quoted(state), expected, nearest(state, states), Kind.UNKNOWN_STATE)
    return frozenset(states) - frozenset(named) if answer.not_ else frozenset(named)


def _measured(answer: Answer, trait: Trait) -> Reading:
    unit = trait.measured.unit if trait.measured else ""
    if answer.is_ is not None:
        found = in_unit(answer.is_, unit, half_place(answer.is_))
        _within_reach(answer.is_, found.value, trait)
        return Measured(found.value, found.plus_minus or 0.0)
    if answer.more_than is None and answer.less_than is None:
        raise Unreadable("states", f"a measured value such as {example(unit)}")
    low = in_unit(answer.more_than, unit).value if answer.more_than is not None else -math.inf
    high = in_unit(answer.less_than, unit).value if answer.less_than is not None else math.inf
    if low >= high:
        raise Unreadable(f"more than {low:g} and less than {high:g}", "bounds with room between them")
    return Between(low, high)


def _within_reach(written: str, value: float, trait: Trait) -> None:
    """A reading far outside everything that the trait can be is a slip of the hand. Raises Unreadable."""
    if trait.measured is None:
        return
    least, most, unit = trait.measured.least, trait.measured.most, trait.measured.unit
    span = most - least
    if not least - span <= value <= most + span or value < 0 <= least:
        raise Unreadable(quoted(written), f"something nearer to {least:g} to {most:g} {unit}".strip())


def _marking(answer: Answer) -> Typed:
    if answer.is_ is None or not answer.is_.strip():
        found = "nothing" if answer.is_ is not None else "choices or bounds"
        raise Unreadable(found, "the text that can be read, with ? for each character that cannot")
    return Typed(answer.is_.strip())


def in_unit(written: str, unit: str, plus_minus: float | None = None) -> Measure:
    """A measured value in the trait's unit, with this uncertainty where it states none. Raises Unreadable."""
    measure = read_measure(written)
    if measure is not None and measure.plus_minus is None:
        measure = measure._replace(plus_minus=plus_minus)
    if measure is None:
        raise Unreadable(quoted(written), f"a measured value such as {example(unit)}")
    try:
        return measure.to(unit)
    except ValueError:
        raise Unreadable(quoted(written), f"a value in {unit or 'no unit'}") from None


def example(unit: str) -> str:
    """How a measured value is written."""
    return f"4.8 +- 0.3 {unit}".strip()
