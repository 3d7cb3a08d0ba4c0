"""A file of marks measured: what is known becomes millimeters, every wanted length a value with its uncertainty."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..kb.findings import BadInput, Finding, Kind, Unreadable
from ..kb.load import Entries
from ..kb.marks import GAUGES, MM_PER_INCH, RECTANGLES, Known, MarksFile, Wanted
from ..kb.values import UNITS, Measure
from ..kb.yaml_text import Places
from .lengths import (
    Array,
    CannotMeasure,
    Derived,
    Length,
    Problem,
    along_line,
    by_scale,
    in_plane,
    in_rectangle,
    to_length,
)
from .recorded_lengths import recorded

FORMAT = "tellmark/measure/1"
#: What is expected instead of each problem, and whether the known thing is to be marked anew or the length.
EXPECTED = {
    Problem.NOT_KNOWN: "a length of more than nothing",
    Problem.ONE_PLACE: "marks that are apart",
    Problem.NO_LENGTH: "marks that are apart",
    Problem.NOT_BETWEEN: "the three marks in their order along the line",
    Problem.OFF_LINE: "all marks on one straight line",
    Problem.IN_LINE: "the corners of a rectangle that is not seen from its edge",
    Problem.KNOWN_IN_LINE: "four points of which no three are in a line",
    Problem.NOT_IN_ORDER: "the marks one after the other, around the rectangle",
    Problem.BEYOND_HORIZON: "a mark in the plane, or on the line, of what is known",
}
OF_THE_LENGTH = {Problem.NO_LENGTH, Problem.OFF_LINE, Problem.BEYOND_HORIZON}
#: How each form of a known thing is called in the output.
WAYS = {"between": "scale", "along": "line", "corners": "plane", "at": "plane"}


@dataclass(frozen=True)
class Found:
    """One wanted length in mm, what it was measured by, and in which way."""

    name: str
    by: str
    way: str
    length: Length


def needs_entries(file: MarksFile) -> bool:
    """Whether the size of a known thing is looked up in the record."""
    return any(one.trait is not None for one in file.known.values())


def measure(file: MarksFile, places: Places, entries: Entries | None = None) -> list[Found]:
    """Every wanted length. `entries`: where a known thing is a trait. Raises BadInput with everything that cannot be measured."""
    findings: list[Finding] = []
    sizes: dict[str, Measure] = {}
    for name, one in file.known.items():
        if one.trait is not None and one.of is not None and entries is not None:
            try:
                sizes[name] = recorded(entries, one.of, one.trait)
            except Unreadable as problem:
                key = "of" if problem.kind == Kind.DANGLING else "trait"
                at = places.at(["known", name, key])
                findings.append(Finding(places.shown, *at, problem.kind, problem.found, problem.expected, problem.nearest))
        elif one.length or one.gauge:
            sizes[name] = one.length or GAUGES[str(one.gauge)].length
    found: list[Found] = []
    for name, wanted in file.lengths.items():
        by = wanted.by or next(iter(file.known))
        if file.known[by].between and by not in sizes:
            continue
        try:
            found.append(Found(name, by, _way(file.known[by]), _length(file, file.known[by], wanted, sizes.get(by))))
        except CannotMeasure as error:
            there = ["lengths", name] if error.problem in OF_THE_LENGTH else ["known", by]
            at = places.at(there, key=True)
            findings.append(Finding(places.shown, *at, Kind.WRONG_VALUE, str(error), EXPECTED[error.problem]))
    if findings:
        raise BadInput(findings)
    return found


def _way(known: Known) -> str:
    return next(way for form, way in WAYS.items() if getattr(known, form) is not None)


def _length(file: MarksFile, known: Known, wanted: Wanted, size: Measure | None) -> Length:
    """One wanted length in mm. Raises CannotMeasure."""
    names = [*known.marks, *wanted.between]
    points = list(dict.fromkeys(names))
    which = [points.index(name) for name in names]
    clicks = np.array([(file.points[name][2:] or [file.click])[0] for name in points])
    marks = np.array([file.points[name][:2] for name in names])
    found, spreads = _derived(known, marks, clicks[which], size)
    return to_length(found, which, clicks, spreads)


def _derived(known: Known, marks: Array, clicks: Array, size: Measure | None) -> tuple[Derived, Array]:
    """(the length with its derivatives, the standard deviations of the known numbers)."""
    if size is not None:
        values, spreads = _numbers([size])
        return by_scale(marks, values), spreads
    if known.lengths:
        values, spreads = _numbers(known.lengths)
        return along_line(marks, values, clicks), spreads
    if known.at:
        values, spreads = _numbers([one for both in known.at.values() for one in both])
        return in_plane(marks, values.reshape(4, 2)), spreads.reshape(4, 2)
    sides = known.sides or RECTANGLES[str(known.rectangle)].sides
    values, spreads = _numbers(list(sides))
    return in_rectangle(marks, values), spreads


def _numbers(measures: list[Measure]) -> tuple[Array, Array]:
    return np.array([one.value for one in measures]), np.array([one.plus_minus or 0.0 for one in measures])


# In words -------------------------------------------------------------------------------------------------------------------


def report(found: list[Found]) -> dict[str, Any]:
    """As plain values, for JSON."""
    return {"format": FORMAT, "lengths": [_plain(one) for one in found]}


def _plain(one: Found) -> dict[str, Any]:
    length = one.length
    return {
        "name": one.name,
        "by": one.by,
        "way": one.way,
        "mm": length.value,
        "plus_minus_mm": length.plus_minus,
        "of_marking_mm": length.of_marking,
        "of_known_mm": length.of_known,
        "inches": length.value / MM_PER_INCH,
        "plus_minus_inches": length.plus_minus / MM_PER_INCH,
        "guess": length.guess,
    }


def rounded(value: float, spread: float) -> tuple[str, str]:
    """(value, spread): the spread to two digits, the value to the same place; to four places where nothing is uncertain."""
    if spread <= 0:
        return f"{value:.4f}", "0"
    places = 1 - math.floor(math.log10(float(f"{spread:.1e}")))
    places = min(max(places, 0), 9)
    return f"{value:.{places}f}", f"{spread:.{places}f}"


def lines(found: list[Found]) -> Iterator[str]:
    """What a person reads: a line for each length, and one on what its uncertainty is made of."""
    widest = max(len(one.name) for one in found)
    for one in found:
        length = one.length
        mm = " +- ".join(rounded(length.value, length.plus_minus))
        inches = " +- ".join(rounded(length.value / MM_PER_INCH, length.plus_minus / MM_PER_INCH))
        yield f"  {one.name:<{widest}}  {mm} mm   {inches} in"
        yield f"      by {one.by}: +- {length.of_marking:.2g} mm from marking, +- {length.of_known:.2g} mm from what is known"
        if length.guess:
            yield "      A guess: the marks are too close together, or too far from what is known."


def answer_line(key: str, length: Length, unit: str) -> str:
    """The line of an answers file that says the length, in a trait's unit."""
    factor = UNITS[unit][1]
    return f"{key}: {' +- '.join(rounded(length.value / factor, length.plus_minus / factor))} {unit}"
