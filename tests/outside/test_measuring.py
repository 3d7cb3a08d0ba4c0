"""Lengths on photographs against what others give.

Sources: OpenCV's getPerspectiveTransform and scikit-image's ProjectiveTransform (reference libraries); the example of four
points in scikit-image's gallery and documentation ("Types of homographies", projective); Hartley and Zisserman, Multiple View
Geometry in Computer Vision, 2nd edition, 2.5, for the cross-ratio (from memory); a worked example of measuring a flag pole on a
photograph, "Photogrammetry, an introduction" (https://draftingod.com/photogrammetry-an-introduction/), which prints
109.999991 in and rounds on its way; JCGM 101:2008 for propagating by drawing, JCGM 100:2008 for the first order and for a value
that lies anywhere between two limits (4.3.7).  NMRA S-3.2 and NEM 010 give gauges (figures from memory).
"""

# scikit-image comes with few types.
# pyright: reportUnknownMemberType=false

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform
from tellmark.identify.lengths import (
    Array,
    CannotMeasure,
    Derived,
    Problem,
    along_line,
    by_scale,
    cross_ratio,
    homography,
    in_plane,
    in_rectangle,
    to_length,
)
from tellmark.kb.marks import GAUGES, RECTANGLES

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])


def through(matrix: Array, points: Array) -> Array:
    """Points taken by a homography."""
    taken = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return taken[:, :2] / taken[:, 2:]


def photographed(seed: int, width: float, height: float) -> tuple[Array, Array]:
    """(the corners of a rectangle as some camera sees them, the homography from the rectangle's plane to the picture)."""
    chance = np.random.default_rng(seed)
    corners = SQUARE * (width, height)
    around = corners - corners.mean(axis=0)
    spin = chance.uniform(0, 2 * np.pi)
    turn = np.array([[np.cos(spin), -np.sin(spin)], [np.sin(spin), np.cos(spin)]]) * chance.uniform(5, 20)
    tilt = chance.uniform(-0.35, 0.35, 2) / (width + height)
    matrix = np.eye(3)
    matrix[:2, :2], matrix[2, :2] = turn, tilt
    matrix = np.array([[1, 0, 1500], [0, 1, 1000], [0, 0, 1.0]]) @ matrix
    matrix = matrix @ np.array([[1, 0, around[0, 0]], [0, 1, around[0, 1]], [0, 0, 1.0]])
    return through(matrix, corners), matrix


# The plane ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(25))
def test_homography_is_that_of_opencv_and_of_scikit_image(seed: int) -> None:
    chance = np.random.default_rng(seed)
    width, height = chance.uniform(20, 300, 2)
    marks = photographed(seed, width, height)[0] + chance.normal(0, 2, (4, 2))
    points = SQUARE * (width, height)
    ours = homography(marks, points)
    single = marks.astype(np.float32), points.astype(np.float32)  # all that it takes
    theirs = cv2.getPerspectiveTransform(*single)
    assert homography(*(one.astype(float) for one in single)) == pytest.approx(theirs, rel=1e-6, abs=1e-9)
    exact = ProjectiveTransform.from_estimate(marks, points).params
    inside = marks.mean(axis=0) + chance.uniform(-0.3, 0.3, (20, 2)) * np.ptp(marks, axis=0)
    assert through(ours, inside) == pytest.approx(through(exact, inside), rel=1e-8, abs=1e-8 * width)


@pytest.mark.parametrize("seed", range(10))
def test_lengths_are_those_of_opencv(seed: int) -> None:
    """Both ends taken through OpenCV's homography of the marks, single precision as it wants them, then the distance."""
    chance = np.random.default_rng(100 + seed)
    marks = photographed(seed, 85.6, 53.98)[0].astype(np.float32)
    ends = (marks.mean(axis=0) + chance.uniform(-0.4, 0.4, (2, 2)) * np.ptp(marks, axis=0)).astype(np.float32)
    points = (SQUARE * (85.6, 53.98)).astype(np.float32)
    taken = cv2.perspectiveTransform(ends[None].astype(np.float64), cv2.getPerspectiveTransform(marks, points))[0]
    ours = in_plane(np.vstack([marks, ends]).astype(float), points.astype(float))
    assert ours.value == pytest.approx(float(np.hypot(*(taken[1] - taken[0]))), rel=1e-7)


def test_the_example_of_the_gallery() -> None:
    """Four corners of a text of 300 by 50 to where they are seen; (150, 25) goes to (200.97247, 65.35080)."""
    text = np.array([[0.0, 0.0], [0.0, 50.0], [300.0, 50.0], [300.0, 0.0]])
    seen = np.array([[155.0, 15.0], [65.0, 40.0], [260.0, 130.0], [360.0, 95.0]])
    assert through(homography(text, seen), np.array([[150.0, 25.0]])) == pytest.approx(
        np.array([[200.97247, 65.35080]]), abs=5e-6
    )


@given(st.integers(0, 10_000), st.floats(10, 300), st.floats(10, 300))
def test_what_a_camera_saw_is_measured_as_it_was(seed: int, width: float, height: float) -> None:
    chance = np.random.default_rng(seed)
    corners, matrix = photographed(seed, width, height)
    ends = chance.uniform(-0.2, 1.2, (2, 2)) * (width, height)
    apart = float(np.hypot(*(ends[1] - ends[0])))
    assume(apart > 1)
    marks = np.vstack([corners, through(matrix, ends)])
    assert in_rectangle(marks, np.array([width, height])).value == pytest.approx(apart, rel=1e-8)


# The line ----------------------------------------------------------------------------------------------------------------

Far = st.floats(-100, 100)


@given(st.lists(Far, min_size=4, max_size=4), st.tuples(*[st.floats(-3, 3)] * 4))
def test_the_cross_ratio_is_the_same_in_every_projection(places: list[float], entries: tuple[float, ...]) -> None:
    """Hartley and Zisserman, 2.5: invariant under x -> (a x + b) / (c x + d)."""
    a, b, c, d = entries
    x = np.array(places)
    below = c * x + d
    ordered = np.sort(x)
    assume(float(np.min(np.diff(ordered))) > 0.5 and abs(a * d - b * c) > 0.1 and float(np.min(np.abs(below))) > 0.1)
    assert cross_ratio((a * x + b) / below) == pytest.approx(cross_ratio(x), rel=1e-5)


def test_the_definition_by_determinants() -> None:
    """|12||34| / (|13||24|) of homogeneous coordinates, whatever their scale."""
    chance = np.random.default_rng(4)
    for _ in range(50):
        x, scale = chance.uniform(-5, 5, 4), chance.uniform(0.5, 3, 4)
        pairs = np.array([x * scale, scale]).T

        def area(one: int, other: int, pairs: Array = pairs) -> float:
            return float(pairs[one, 0] * pairs[other, 1] - pairs[one, 1] * pairs[other, 0])

        assert cross_ratio(x) == pytest.approx(area(0, 1) * area(2, 3) / (area(0, 2) * area(1, 3)), rel=1e-9)


def on_a_line(*steps: float) -> Array:
    """Marks one behind the other, with these many pixels between them, on a line that slants."""
    along = np.cumsum([0.0, *steps])
    return np.array([10.0, 20.0]) + along[:, None] * np.array([0.6, 0.8])


def test_the_flag_pole() -> None:
    """55, 15 and 240 pixels one behind the other; the first two are 36 and 9 in: the third is 110 in."""
    a, b, c, d = on_a_line(55, 15, 240)
    found = along_line(np.array([a, b, c, c, d]), np.array([36.0, 9.0]), np.ones(5))
    assert found.value == pytest.approx(110, rel=1e-12)
    assert found.value == pytest.approx(109.999991, abs=1e-5), "as it is printed"


@given(st.integers(0, 10_000))
def test_a_line_in_perspective_is_measured_as_it_was(seed: int) -> None:
    chance = np.random.default_rng(seed)
    x = np.array([0.0, *np.cumsum(chance.uniform(5, 60, 2)), *chance.uniform(-20, 150, 2)])
    assume(abs(x[4] - x[3]) > 1)
    seen = (3 * x + 40) / (chance.uniform(-0.004, 0.004) * x + 1)
    turn = chance.uniform(0, 2 * np.pi)
    marks = seen[:, None] * np.array([np.cos(turn), np.sin(turn)])
    assert along_line(marks, np.diff(x[:3]), np.ones(5)).value == pytest.approx(abs(x[4] - x[3]), rel=1e-7)


# What it is good to --------------------------------------------------------------------------------------------------------

Way = Callable[[Array, Array], Derived]
CORNERS = np.array([[310.0, 190.0], [2010.0, 340.0], [1930.0, 1250.0], [270.0, 1010.0]])
ENDS = np.array([[700.0, 500.0], [1500.0, 900.0]])


def line(marks: Array, known: Array) -> Derived:
    return along_line(marks, known, np.full(5, 100.0))


WAYS: dict[str, tuple[Way, Array, Array, Array]] = {
    "scale": (by_scale, np.vstack([CORNERS[:2], ENDS]), np.array([32.2]), np.array([0.26])),
    "line": (line, on_a_line(300, 250, 200, 500)[[0, 1, 2, 3, 4]], np.array([40.0, 40.0]), np.array([0.3, 0.2])),
    "rectangle": (in_rectangle, np.vstack([CORNERS, ENDS]), np.array([85.6, 53.98]), np.array([0.5, 0.4])),
    "plane": (in_plane, np.vstack([CORNERS, ENDS]), SQUARE * (85.6, 53.98), np.full((4, 2), 0.2)),
}


@pytest.mark.parametrize("name", WAYS)
def test_uncertainty_is_that_of_drawing(name: str) -> None:
    """JCGM 101: 20,000 draws of every mark and every known number; the first order is right to 3 %, the draws to 0.5 %."""
    way, marks, known, spreads = WAYS[name]
    chance = np.random.default_rng(11)
    click = 1.5
    drawn = np.array(
        [
            way(marks + chance.normal(0, click, marks.shape), known + chance.normal(0, 1, known.shape) * spreads).value
            for _ in range(20_000)
        ]
    )
    found = to_length(way(marks, known), range(len(marks)), np.full(len(marks), click), spreads)
    assert found.plus_minus == pytest.approx(float(drawn.std()), rel=0.03)
    assert found.value == pytest.approx(float(drawn.mean()), abs=0.05 * found.plus_minus)


@pytest.mark.parametrize("name", WAYS)
def test_derivatives_are_those_of_small_steps(name: str) -> None:
    way, marks, known, _ = WAYS[name]
    marks = marks + np.random.default_rng(3).normal(0, 1, marks.shape)
    found = way(marks, known)

    def by_marks(moved: Array) -> float:
        return way(moved, known).value

    def by_known(moved: Array) -> float:
        return way(marks, moved).value

    for array, by, value in ((marks, found.by_marks, by_marks), (known, found.by_known, by_known)):
        for at in np.ndindex(array.shape):
            step = np.zeros_like(array)
            step[at] = 1e-5
            assert by[at] == pytest.approx((value(array + step) - value(array - step)) / 2e-5, rel=1e-5, abs=1e-8)


# What is known of itself ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gauge", "least", "most"), [("nmra-o", 1.250, 1.285), ("nmra-s", 0.883, 0.905)])
def test_a_gauge_given_by_limits(gauge: str, least: float, most: float) -> None:
    """NMRA S-3.2. Anywhere between its limits: the middle, and half the width over the root of 3 (JCGM 100, 4.3.7)."""
    length = GAUGES[gauge].length
    assert length.value == pytest.approx(25.4 * (least + most) / 2, rel=1e-12)
    assert length.plus_minus == pytest.approx(25.4 * (most - least) / 2 / 3**0.5, rel=1e-12)


@pytest.mark.parametrize(("gauge", "figure", "other"), [("nem-0", 32.0, "nmra-o"), ("nem-s", 22.5, "nmra-s")])
def test_a_gauge_given_by_one_figure(gauge: str, figure: float, other: str) -> None:
    """MOROP NEM 010. Both standards speak of the same track: the figure is within two deviations of the other's middle."""
    assert GAUGES[gauge].length.value == figure
    theirs = GAUGES[other].length
    assert abs(figure - theirs.value) < 2 * (theirs.plus_minus or 0)


def test_a_bank_card() -> None:
    """ISO/IEC 7810, ID-1: 85.60 by 53.98 mm, within 85.47 to 85.72 and 53.92 to 54.03 (from memory)."""
    for side, (figure, least, most) in zip(RECTANGLES["card"].sides, [(85.60, 85.47, 85.72), (53.98, 53.92, 54.03)], strict=True):
        assert side.value == figure
        assert side.plus_minus == pytest.approx((most - least) / 12**0.5, abs=0.005)


# What cannot be measured ---------------------------------------------------------------------------------------------------

APART = np.vstack([CORNERS, ENDS])
TWO = np.array([85.6, 53.98])
ON = on_a_line(300, 250, 200, 500)


def changed(marks: Array, at: int, to: tuple[float, float]) -> Array:
    found = marks.copy()
    found[at] = to
    return found


CANNOT: dict[str, tuple[Way, Array, Array, Problem]] = {
    "a scale of nothing": (by_scale, APART[[0, 1, 4, 5]], np.array([0.0]), Problem.NOT_KNOWN),
    "a scale of one place": (by_scale, APART[[0, 0, 4, 5]], np.array([32.0]), Problem.ONE_PLACE),
    "all at one place": (by_scale, APART[[0, 0, 0, 0]], np.array([32.0]), Problem.ONE_PLACE),
    "nothing asked": (by_scale, APART[[0, 1, 4, 4]], np.array([32.0]), Problem.NO_LENGTH),
    "a line of nothing": (line, ON, np.array([40.0, -1.0]), Problem.NOT_KNOWN),
    "two of the line at one place": (line, ON[[0, 1, 1, 3, 4]], TWO, Problem.ONE_PLACE),
    "nothing asked on a line": (line, ON[[0, 1, 2, 3, 3]], TWO, Problem.NO_LENGTH),
    "the middle mark is outside": (line, ON[[0, 2, 1, 3, 4]], TWO, Problem.NOT_BETWEEN),
    "beyond the vanishing point": (line, on_a_line(100, 20, 10, 900), np.array([40.0, 40.0]), Problem.BEYOND_HORIZON),
    "a rectangle of nothing": (in_rectangle, APART, np.array([85.6, 0.0]), Problem.NOT_KNOWN),
    "three corners in a line": (in_rectangle, changed(APART, 1, (290.0, 600.0)), TWO, Problem.IN_LINE),
    "two corners at one place": (in_rectangle, APART[[0, 1, 1, 3, 4, 5]], TWO, Problem.IN_LINE),
    "corners across": (in_rectangle, APART[[0, 2, 1, 3, 4, 5]], TWO, Problem.NOT_IN_ORDER),
    "a corner inside": (in_rectangle, changed(APART, 2, (700.0, 500.0)), TWO, Problem.NOT_IN_ORDER),
    "known points in a line": (in_plane, APART, SQUARE * (1, 0), Problem.KNOWN_IN_LINE),
    "nothing asked in a plane": (in_rectangle, APART[[0, 1, 2, 3, 4, 4]], TWO, Problem.NO_LENGTH),
    "beyond the horizon": (
        in_rectangle,
        np.array([[0.0, 0.0], [900.0, 0.0], [700.0, -200.0], [200.0, -200.0], [400.0, -100.0], [400.0, -900.0]]),
        TWO,
        Problem.BEYOND_HORIZON,
    ),
}


@pytest.mark.parametrize(("way", "marks", "known", "problem"), CANNOT.values(), ids=CANNOT)
def test_what_cannot_be_measured_says_why(way: Way, marks: Array, known: Array, problem: Problem) -> None:
    with pytest.raises(CannotMeasure) as raised:
        way(marks, known)
    assert raised.value.problem == problem


def test_a_mark_beside_the_line() -> None:
    """Sixty pixels beside a line of 1250 are too many for clicks of one pixel; four are not."""
    for off, wrong in ((60.0, True), (4.0, False)):
        marks = ON + np.array([[0, 0], [0, 0], [-0.8 * off, 0.6 * off], [0, 0], [0, 0]])
        try:
            along_line(marks, TWO, np.ones(5))
            problem = None
        except CannotMeasure as error:
            problem = error.problem
        assert problem == (Problem.OFF_LINE if wrong else None)
