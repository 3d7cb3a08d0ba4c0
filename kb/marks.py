"""A file of marks on a photograph: the points, what is known of some, which lengths are wanted; and known things one can choose.

Read with `read_marks`, which gives everything that is wrong with a file at once.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal, cast

from pydantic import BeforeValidator, Field, ValidationError

from .findings import BadInput, Finding, Kind, listed, nearest, quoted
from .models import Text
from .validate import build
from .values import Measure, Strict, half_place, read_measure, wrong
from .yaml_text import Places, places_in, read

EXAMPLE = "a length with its unit, such as 32 mm, 57.2 +- 0.1 mm or 1 1/4 in"
MM_PER_INCH = 25.4


def in_mm(written: str) -> Measure:
    """A written length in mm; one that states no uncertainty is good to half of its last place. Raises ValueError."""
    measure = read_measure(written)
    if measure is None or not measure.unit:
        raise ValueError(written)
    spread = half_place(written) if measure.plus_minus is None else measure.plus_minus
    return measure._replace(plus_minus=spread).to("mm")


def between(least: float, most: float) -> Measure:
    """A length in inches somewhere between two limits, all alike likely: its mean and standard deviation (JCGM 100, 4.3.7)."""
    return Measure((least + most) / 2, (most - least) / math.sqrt(12), "in").to("mm")


@dataclass(frozen=True)
class Gauge:
    """A track gauge: between the inner faces of the rails' heads."""

    name: str
    length: Measure


#: NMRA S-3.2 gives limits, NEM 010 one figure, which is taken to be good to half of its last place. Both from memory.
GAUGES = {
    "nmra-o": Gauge("O gauge by NMRA S-3.2, 1.250 to 1.285 in", between(1.250, 1.285)),
    "nmra-s": Gauge("S gauge by NMRA S-3.2, 0.883 to 0.905 in", between(0.883, 0.905)),
    "nem-0": Gauge("Gauge 0 by NEM 010, 32 mm", in_mm("32 mm")),
    "nem-s": Gauge("Gauge S by NEM 010, 22.5 mm", in_mm("22.5 mm")),
}


@dataclass(frozen=True)
class Rectangle:
    """A rectangle that lies about the house: its longer and its shorter side."""

    name: str
    sides: tuple[Measure, Measure]


#: ISO/IEC 7810, ID-1 (a bank card; its corners are round, so a mark stands where its edges would meet); ISO 216, A4, with its
#: allowance of 2 mm; a sheet of US letter paper is good to a sixteenth of an inch (common practice, no source). From memory.
RECTANGLES = {
    "card": Rectangle("Bank card, 85.60 by 53.98 mm", (in_mm("85.60 +- 0.07 mm"), in_mm("53.98 +- 0.03 mm"))),
    "a4": Rectangle("A4 sheet, 297 by 210 mm", (in_mm("297 +- 1.2 mm"), in_mm("210 +- 1.2 mm"))),
    "letter": Rectangle("Letter sheet, 11 by 8 1/2 in", (in_mm("11 +- 1/16 in"), in_mm("8.5 +- 1/16 in"))),
}


# The file -----------------------------------------------------------------------------------------------------------------


def read_length(written: Any) -> Any:
    """A length, more than nothing, in mm."""
    if isinstance(written, Measure):
        return written
    try:
        length = in_mm(str(written))
    except ValueError:
        raise wrong(EXAMPLE) from None
    if length.value <= 0:
        raise wrong("a length of more than nothing")
    return length


def read_coordinate(written: Any) -> Any:
    """A coordinate in mm; it may be zero or less."""
    if isinstance(written, Measure):
        return written
    try:
        return in_mm(str(written))
    except ValueError:
        raise wrong(EXAMPLE) from None


WrittenLength = Annotated[Measure, BeforeValidator(read_length)]
Coordinate = Annotated[Measure, BeforeValidator(read_coordinate)]
Pixels = Annotated[float, Field(gt=-1e6, lt=1e6)]
Click = Annotated[float, Field(gt=0, le=1000)]
Point = Annotated[list[Pixels], Field(min_length=2, max_length=3)]
GaugeId = Literal["nmra-o", "nmra-s", "nem-0", "nem-s"]
RectangleId = Literal["card", "a4", "letter"]


def _several(count: int) -> Any:
    return Field(default=None, min_length=count, max_length=count)


class Known(Strict):
    """Something in the photograph whose size is known: a length, a line with three marks, a rectangle, or four points."""

    between: list[str] | None = _several(2)
    length: WrittenLength | None = None
    gauge: GaugeId | None = None
    trait: str | None = Field(default=None, description="a measured trait of a variant or part; `of` names which")
    of: str | None = None
    along: list[str] | None = _several(3)
    lengths: list[WrittenLength] | None = _several(2)
    corners: list[str] | None = _several(4)
    sides: list[WrittenLength] | None = _several(2)
    rectangle: RectangleId | None = None
    at: dict[str, Annotated[list[Coordinate], Field(min_length=2, max_length=2)]] | None = _several(4)

    @property
    def marks(self) -> list[str]:
        """The points it is marked by."""
        return self.between or self.along or self.corners or list(self.at or {})


class Wanted(Strict):
    """A length to measure, between two points."""

    between: list[str] = Field(min_length=2, max_length=2)
    by: str | None = Field(default=None, description="the known thing it is measured by; may be left out where there is one")


class MarksFile(Strict):
    """What `measure` reads. Points are in pixels, x to the right and y down, each with its own uncertainty as a third number."""

    photograph: Text | None = None
    click: Click = Field(default=1.0, description="how well a point is marked: standard deviation in pixels")
    points: dict[Text, Point] = Field(min_length=2)
    known: dict[Text, Known] = Field(min_length=1)
    lengths: dict[Text, Wanted] = Field(min_length=1)


#: What each form of a known thing is marked by, and what may say its size; one of these, but trait and of together.
FORMS = {"between": ("length", "gauge", "trait"), "along": ("lengths",), "corners": ("sides", "rectangle"), "at": ()}


def read_marks(text: str, shown: str) -> tuple[MarksFile, Places]:
    """The file, and where everything in it stands. Raises BadInput with everything that is wrong."""
    plain: Any = read(text, shown)
    places = places_in(text, shown)
    findings: list[Finding] = []
    try:
        file = build(MarksFile, {} if plain is None else plain, places)
        points, known, lengths = set(file.points), file.known, file.lengths
    except BadInput as error:
        file, findings = None, error.findings
        points = set(_section(plain, "points"))
        known, lengths = _sound(Known, plain, "known"), _sound(Wanted, plain, "lengths")
    names = _section(plain, "known") if file is None else known
    findings += [*_known_findings(known, points, places), *_wanted_findings(lengths, list(names), points, places)]
    if findings or file is None:
        raise BadInput(findings)
    return file, places


def _section(plain: Any, key: str) -> dict[str, Any]:
    whole = cast("dict[str, Any]", plain) if isinstance(plain, dict) else {}
    inside = whole.get(key)
    return cast("dict[str, Any]", inside) if isinstance(inside, dict) else {}


def _sound(model: Any, plain: Any, key: str) -> dict[str, Any]:
    """The pieces of a section that can be read, so that they are checked in the same run."""
    found: dict[str, Any] = {}
    for name, one in _section(plain, key).items():
        try:
            found[name] = model.model_validate(one)
        except ValidationError:
            continue
    return found


def _known_findings(known: dict[str, Known], points: set[str], places: Places) -> Iterator[Finding]:
    for name, one in known.items():
        written = [key for key in FORMS if getattr(one, key) is not None]
        if len(written) != 1:
            found = f"{' and '.join(written)} together" if written else "nothing that is marked"
            yield _said(places, ["known", name], Kind.WRONG_VALUE, found, f"one of {listed(FORMS)}")
            continue
        yield from _size_findings(name, one, written[0], places)
        yield from _point_findings(["known", name, written[0]], one.marks, points, places)


def _size_findings(name: str, one: Known, form: str, places: Places) -> Iterator[Finding]:
    sizes = {size for some in FORMS.values() for size in some}
    given = [size for size in sorted(sizes) if getattr(one, size) is not None]
    wanted = FORMS[form]
    for size in given:
        if size not in wanted:
            expected = f"{listed(wanted)} beside {form}" if wanted else f"nothing beside {form}"
            yield _said(places, ["known", name, size], Kind.MISPLACED, f'the key "{size}"', expected, key=True)
    fitting = [size for size in given if size in wanted]
    if wanted and len(fitting) != 1:
        found = f"{' and '.join(fitting)} together" if fitting else "no size"
        yield _said(places, ["known", name], Kind.MISSING_KEY, found, listed(wanted))
    if (one.trait is None) != (one.of is None):
        lone, other = ("trait", "of") if one.of is None else ("of", "trait")
        yield _said(places, ["known", name, lone], Kind.MISSING_KEY, f'"{lone}" without "{other}"', "both", key=True)


def _wanted_findings(lengths: dict[str, Wanted], known: list[str], points: set[str], places: Places) -> Iterator[Finding]:
    for name, one in lengths.items():
        yield from _point_findings(["lengths", name, "between"], one.between, points, places)
        if one.by is None and len(known) > 1:
            expected = f'the key "by" with one of {listed(known)}'
            yield _said(places, ["lengths", name], Kind.MISSING_KEY, 'no key "by"', expected)
        elif one.by is not None and one.by not in known:
            at = ["lengths", name, "by"]
            yield _said(places, at, Kind.DANGLING, quoted(one.by), f"one of {listed(known)}", nearest(one.by, known))


def _point_findings(at: list[str], marks: list[str], points: set[str], places: Places) -> Iterator[Finding]:
    for index, mark in enumerate(marks):
        where = [*at, mark] if at[-1] == "at" else [*at, index]
        if mark not in points:
            yield _said(places, where, Kind.DANGLING, f"the point {quoted(mark)}", "a name under points", nearest(mark, points))
        elif mark in marks[:index]:
            yield _said(places, where, Kind.DUPLICATE, f"the point {quoted(mark)} again", "another point")


def _said(
    places: Places, at: Sequence[str | int], kind: Kind, found: str, expected: str, near: str | None = None, key: bool = False
) -> Finding:
    line, column = places.at(at, key=key)
    return Finding(places.shown, line, column, kind, found, expected, near)
