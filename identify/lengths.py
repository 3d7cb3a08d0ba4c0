"""Lengths from marks on a photograph, each with what it is good to.

A *mark* is a point of the photograph in pixels, x to the right and y down.  Known lengths and what comes out are in one unit,
whichever; the standard deviations of marks are in pixels, those of known lengths in that unit.  Three ways, by what is known:

  by_scale       one length, in a plane parallel to the sensor: lengths there are in the ratio of their pictures
  along_line     two lengths between three marks of a line, which may run away from the camera: four points of a line have the
                 same cross-ratio in every picture of them
  in_plane       four points of a plane (in_rectangle: the corners of a rectangle): the plane's homography

Each gives the length with its derivatives, and `to_length` makes of them its standard deviation to first order (the law of
propagation of JCGM 100:2008, 5.1.2, without correlations).  Lines are taken to be straight in the picture: nothing here takes
out the distortion of a lens.  `modules/measure/lengths.js` has the same formulas.
"""

from collections.abc import Sequence
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Standard deviation in pixels of a mark, in x and in y alike, where none is stated.
CLICK = 1.0
#: A length with a larger share of uncertainty is a guess: the first order no longer tells.
GUESS = 0.2
#: Two marks are one, and three are in a line, below this share of the largest distance between marks.
NO_ROOM = 1e-6
#: A mark counts as off the line when it is this many of its standard deviations away, and this share of the line's length.
OFF_SDS, OFF_SHARE = 5.0, 0.02
#: A mark is beyond the horizon when the scale there is less than this share of that at the known points.
HORIZON = 1e-6


class Problem(StrEnum):
    """What keeps marks from being measured, in words for a person."""

    NOT_KNOWN = "a known length is zero or less"
    ONE_PLACE = "two marks of the known length are at one place"
    NO_LENGTH = "the two marks of the wanted length are at one place"
    NOT_BETWEEN = "the middle mark of the line does not lie between the other two"
    OFF_LINE = "a mark does not lie on the line"
    IN_LINE = "three of the four marks are in a line"
    KNOWN_IN_LINE = "three of the four known points are in a line"
    NOT_IN_ORDER = "the four marks do not go around in the order of the known points"
    BEYOND_HORIZON = "a mark lies beyond the horizon of what is known"


class CannotMeasure(Exception):
    """The marks cannot be measured; says the one reason that comes first."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


class Derived(NamedTuple):
    """A length with its derivatives: by_marks[i] by x and y of mark i, per pixel; by_known[j...] by each known number."""

    value: float
    by_marks: Array
    by_known: Array


class Length(NamedTuple):
    """A length and its standard deviation, and the shares of it: of marking, and of what is known; they add up in squares."""

    value: float
    plus_minus: float
    of_marking: float
    of_known: float

    @property
    def guess(self) -> bool:
        """Whether it is too uncertain to be called measured."""
        return self.plus_minus > GUESS * self.value


def to_length(found: Derived, which: Sequence[int], clicks: Array, known_sd: Array) -> Length:
    """The length with its uncertainty.

    which[i]: the point that mark i is (a point that serves twice was marked once); clicks: the sd of each point in pixels;
    known_sd: of the shape of `found.by_known`.
    """
    by_point = np.zeros((len(clicks), 2))
    np.add.at(by_point, np.asarray(which, int), found.by_marks)
    marking = float(np.sqrt(np.sum((by_point * clicks[:, None]) ** 2)))
    known = float(np.sqrt(np.sum((found.by_known * known_sd) ** 2)))
    return Length(found.value, float(np.hypot(marking, known)), marking, known)


def _refuse(wrong: Any, problem: Problem) -> None:
    if bool(wrong):
        raise CannotMeasure(problem)


# One known length ------------------------------------------------------------------------------------------------------


def by_scale(marks: Array, known: Array) -> Derived:
    """The length between marks 2 and 3, of which `known[0]` lies between marks 0 and 1. Raises CannotMeasure."""
    _refuse(known[0] <= 0, Problem.NOT_KNOWN)
    given, asked = marks[1] - marks[0], marks[3] - marks[2]
    pixels, across = float(np.hypot(given[0], given[1])), float(np.hypot(asked[0], asked[1]))
    _refuse(pixels <= NO_ROOM * _largest(marks), Problem.ONE_PLACE)
    _refuse(across <= NO_ROOM * _largest(marks), Problem.NO_LENGTH)
    value = float(known[0]) * across / pixels
    by_given, by_asked = -value * given / pixels**2, value * asked / across**2
    return Derived(value, np.array([-by_given, by_given, -by_asked, by_asked]), np.array([across / pixels]))


def _largest(marks: Array) -> float:
    """The largest distance between two marks."""
    apart = marks[:, None] - marks[None]
    return float(np.max(np.hypot(apart[..., 0], apart[..., 1])))


# A line ------------------------------------------------------------------------------------------------------------------


def cross_ratio(places: Array) -> float:
    """The cross-ratio of four different places along a line, |12||34| / (|13||24|).

    Hartley and Zisserman, Multiple View Geometry in Computer Vision, 2nd edition, 2.5 (The projective geometry of 1D): |ij| is
    the determinant of the homogeneous coordinates of i and j, here (x, 1), and so x_i - x_j.
    """
    one, two, three, four = (float(place) for place in places)
    return (one - two) * (three - four) / ((one - three) * (two - four))


def along_line(marks: Array, known: Array, clicks: Array) -> Derived:
    """The length between marks 3 and 4 of a line whose marks 0, 1, 2 are known[0] and known[1] apart. Raises CannotMeasure.

    clicks: the sd of each mark in pixels, by which one is found to lie off the line.
    """
    _refuse((known <= 0).any(), Problem.NOT_KNOWN)
    _refuse(_nearest(marks[:3]) <= NO_ROOM * _largest(marks), Problem.ONE_PLACE)
    _refuse(_nearest(marks[3:]) <= NO_ROOM * _largest(marks), Problem.NO_LENGTH)
    turn, by_turn = _direction(marks)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    middle = marks - marks.mean(axis=0)
    places, off = middle @ along, middle @ across
    _refuse((places[1] - places[0]) * (places[2] - places[1]) <= 0, Problem.NOT_BETWEEN)
    _refuse((np.abs(off) > np.maximum(OFF_SDS * clicks, OFF_SHARE * np.ptp(places))).any(), Problem.OFF_LINE)
    first, by_first = _place(places[[0, 1, 2, 3]], known)
    second, by_second = _place(places[[0, 1, 2, 4]], known)
    side = 1.0 if second >= first else -1.0
    by_places = side * np.array([*(by_second[:3] - by_first[:3]), -by_first[3], by_second[3]])
    by_marks = by_places[:, None] * along + float(by_places @ off) * by_turn
    return Derived(side * (second - first), by_marks, side * (by_second[4:] - by_first[4:]))


def _nearest(marks: Array) -> float:
    """The least distance between two marks."""
    apart = marks[:, None] - marks[None]
    return float(np.min(np.hypot(apart[..., 0], apart[..., 1])[~np.eye(len(marks), dtype=bool)]))


def _direction(marks: Array) -> tuple[float, Array]:
    """(the angle of the line that leaves least in squares between it and the marks, its derivatives by each mark)."""
    x, y = (marks - marks.mean(axis=0)).T
    sine, cosine = 2 * float(x @ y), float(x @ x - y @ y)
    by_x, by_y = cosine * y - sine * x, cosine * x + sine * y
    return 0.5 * float(np.arctan2(sine, cosine)), np.array([by_x, by_y]).T / (sine**2 + cosine**2)


def _place(places: Array, known: Array) -> tuple[float, Array]:
    """(how far along the line the fourth place is from the first, derivatives by the four places and the two known lengths).

    The cross-ratio k of the four is that of 0, a, s, X, with a = known[0], s = known[0] + known[1]: solved for X,
    X = a s (1 - k) / (a - k s). With k = n/m it holds where two places are one as well.
    """
    t1, t2, t3, t4 = (float(place) for place in places)
    a, s = float(known[0]), float(known[0] + known[1])
    n, m = (t1 - t2) * (t3 - t4), (t1 - t3) * (t2 - t4)
    below = a * m - s * n  # of one sign on this side of the vanishing point: it is that of m where the second place is the first
    _refuse(below <= HORIZON * (s - a) * abs((t1 - t2) * (t1 - t3)), Problem.BEYOND_HORIZON)
    by_n = np.array([t3 - t4, t4 - t3, t1 - t2, t2 - t1])
    by_m = np.array([t2 - t4, t1 - t3, t4 - t2, t3 - t1])
    place = a * s * (m - n) / below
    by_places = (a * s * (by_m - by_n) - place * (a * by_m - s * by_n)) / below
    by_a, by_s = (s * (m - n) - place * m) / below, (a * (m - n) + place * n) / below
    return place, np.array([*by_places, by_a + by_s, by_s])


# A plane -----------------------------------------------------------------------------------------------------------------


def homography(marks: Array, points: Array) -> Array:
    """The 3 x 3 matrix, scaled to 1 in its last place, that takes four marks (4, 2) to the known points (4, 2).

    Raises CannotMeasure.
    """
    plane = _Plane(marks, points)
    matrix = plane.points.back @ plane.matrix @ plane.marks.forth
    return matrix / matrix[2, 2]


def in_plane(marks: Array, points: Array) -> Derived:
    """The length between marks 4 and 5 in the plane where marks 0 to 3 are at `points` (4, 2); by_known is (4, 2).

    Raises CannotMeasure.
    """
    plane = _Plane(marks[:4], points)
    _refuse(_nearest(marks[4:]) <= NO_ROOM * _largest(marks), Problem.NO_LENGTH)
    first, second = plane.place(marks[4]), plane.place(marks[5])
    apart = second.at - first.at
    value = float(np.hypot(apart[0], apart[1]))
    toward = apart / value
    by_entries = toward @ (second.by_entries - first.by_entries)
    by_four, by_points = plane.by_given(by_entries)
    shrunk = plane.points.scale / plane.marks.scale
    by_marks = np.array([*by_four, -toward @ first.by_mark, toward @ second.by_mark]) * shrunk
    return Derived(value * plane.points.scale, by_marks, by_points)


def in_rectangle(marks: Array, known: Array) -> Derived:
    """The length between marks 4 and 5 in the plane of a rectangle with marks 0 to 3 as its corners, one after the other.

    known: from corner 0 to 1, and from 1 to 2. Raises CannotMeasure.
    """
    _refuse((known <= 0).any(), Problem.NOT_KNOWN)
    found = in_plane(marks, np.array([[0.0, 0.0], [known[0], 0.0], known, [0.0, known[1]]]))
    by_points = found.by_known
    return found._replace(by_known=np.array([by_points[1, 0] + by_points[2, 0], by_points[2, 1] + by_points[3, 1]]))


class _Frame:
    """Points moved to their middle and scaled to a mean distance of 1 from it, so that rounding stays small."""

    def __init__(self, points: Array) -> None:
        self.middle: Array = points.mean(axis=0)
        off = points - self.middle
        self.scale = float(np.mean(np.hypot(off[:, 0], off[:, 1])))
        self.inside = self.into(points)
        x, y = self.middle
        self.forth = np.array([[1, 0, -x], [0, 1, -y], [0, 0, self.scale]]) / self.scale
        self.back = np.array([[self.scale, 0, x], [0, self.scale, y], [0, 0, 1]])

    def into(self, points: Array) -> Array:
        """The points in this frame."""
        return (points - self.middle) / self.scale


class _Placed(NamedTuple):
    """Where a mark is in the plane, with the derivatives by the mark (2, 2) and by the entries of the matrix (2, 8)."""

    at: Array
    by_mark: Array
    by_entries: Array


class _Plane:
    """The homography h of a plane from four points, in the frames of both; its last entry is 1.

    Two equations a point, (h0 x + h1 y + h2) - X (h6 x + h7 y + 1) = 0 and the like for Y (Hartley and Zisserman, 4.1): `rows`
    is their matrix.
    """

    def __init__(self, marks: Array, points: Array) -> None:
        _refuse(_narrow(marks), Problem.IN_LINE)
        _refuse(_narrow(points), Problem.KNOWN_IN_LINE)
        _refuse(abs(np.sum(np.sign(_turns(marks)) * np.sign(_turns(points)))) < 4, Problem.NOT_IN_ORDER)
        self.marks, self.points = _Frame(marks), _Frame(points)
        (x, y), (to_x, to_y) = self.marks.inside.T, self.points.inside.T
        none, one = np.zeros(4), np.ones(4)
        self.rows = np.array(
            [
                *np.array([x, y, one, none, none, none, -x * to_x, -y * to_x]).T,
                *np.array([none, none, none, x, y, one, -x * to_y, -y * to_y]).T,
            ]
        )
        self.matrix = np.append(_solved(self.rows, np.concatenate([to_x, to_y])), 1.0).reshape(3, 3)
        self.depths = self.matrix[2, :2] @ self.marks.inside.T + 1

    def place(self, mark: Array) -> _Placed:
        """Where a mark is, in the frame of the points. Raises CannotMeasure."""
        x, y = self.marks.into(mark)
        depth = float(self.matrix[2] @ (x, y, 1))
        _refuse(depth <= HORIZON * float(np.max(self.depths)), Problem.BEYOND_HORIZON)
        at = self.matrix[:2] @ (x, y, 1) / depth
        by_mark = (self.matrix[:2, :2] - np.outer(at, self.matrix[2, :2])) / depth
        row, none = np.array([x, y, 1.0]), np.zeros(3)
        by_entries = np.array([[*row, *none, *(-at[0] * row[:2])], [*none, *row, *(-at[1] * row[:2])]]) / depth
        return _Placed(at, by_mark, by_entries)

    def by_given(self, by_entries: Array) -> tuple[Array, Array]:
        """Derivatives by the four marks and the four points, by way of the equations, of what has these by the entries."""
        pull = _solved(self.rows.T, by_entries).reshape(2, 4)
        h, at = self.matrix, self.points.inside.T
        by_x = -sum(pull[axis] * (h[axis, 0] - h[2, 0] * at[axis]) for axis in (0, 1))
        by_y = -sum(pull[axis] * (h[axis, 1] - h[2, 1] * at[axis]) for axis in (0, 1))
        return np.array([by_x, by_y]).T, (pull * self.depths).T


def _solved(rows: Array, right: Array) -> Array:
    """The solution of square linear equations."""
    found: Array = np.asarray(np.linalg.solve(rows, right), np.float64)
    return found


#: The four ways to take three of four points.
THREES = ((0, 1, 2), (1, 2, 3), (2, 3, 0), (3, 0, 1))


def _turns(points: Array) -> Array:
    """Twice the area of the triangle of each three, with the sign of the way around."""
    corners = points[np.array(THREES)]
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    return ax * by - ay * bx


def _narrow(points: Array) -> bool:
    """Whether three of the points are in a line, or at one place."""
    return bool((np.abs(_turns(points)) <= NO_ROOM * _largest(points) ** 2).any())
