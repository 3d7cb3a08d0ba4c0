"""Where on the drawing of a unit one has to look: a box around each trait and each slot, in the units of the drawing."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from ..kb.drawings import FAMILY, Drawings, Tree
from ..kb.pictures import drawing
from ..kb.svg import Node
from .drawn import body, box
from .page import Values
from .tables import Site

#: A place is marked with so much air around it, and is never smaller than this; both in units of a drawing.
AIR, LEAST = 4.0, 22.0
Matrix = tuple[float, float, float, float, float, float]
Point = tuple[float, float]
#: Left, top, right and bottom.
Box = tuple[float, float, float, float]
SAME: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
#: Elements whose content is drawn nowhere else than where it is used; and those that draw something, beside paths.
HIDDEN = ("defs", "clipPath", "pattern")
SHAPES = ("rect", "circle", "ellipse", "line", "polyline", "polygon", "text", "use")
_STEP = re.compile(r"([MmLlHhVvCcSsQqTtAaZz])([^MmLlHhVvCcSsQqTtAaZz]*)")
_NUMBER = re.compile(r"[-+]?(?:\d*\.\d+|\d+\.?)(?:[eE][-+]?\d+)?")
_TRANSFORM = re.compile(r"(translate|scale|matrix)\(([^)]*)\)")
#: How many numbers each command of a path takes.
_TAKES = {"M": 2, "L": 2, "T": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "A": 7}


def places(site: Site, family: str) -> dict[str, Values]:
    """{view, or view/kind: its drawing, its box, and {trait, or slot: box of the place}} of everything drawn of a family."""
    sheets = site.pictures.drawings.of(FAMILY, family)
    bodies = Drawings(site.entries, {one.path: replace(one, tree=body(one.tree)) for one in sheets})
    found: dict[str, Values] = {}
    for sheet in sheets:
        svg = drawing(bodies, family, sheet.view, {}, sheet.kind)
        if svg is None:
            continue
        area = box(sheet.tree)
        marks = {name: list(at) for name, at in _marks(sheet.tree, area)}
        name = f"{sheet.view}/{sheet.kind}" if sheet.kind else sheet.view
        found[name] = {"svg": svg, "box": [round(one, 1) for one in area], "marks": marks}
    return found


def _marks(tree: Tree, area: Box) -> Iterator[tuple[str, tuple[float, ...]]]:
    """The traits and slots that the body shows, each with its place: what is drawn of it there, else its frame."""
    walk = _Walk({node.attributes["id"]: node for node in tree.nodes if "id" in node.attributes})
    walk.covered(body(tree).root, SAME, False)
    for name in dict.fromkeys(node.attributes["data-trait"] for node in tree.nodes if "data-trait" in node.attributes):
        crop = tree.crop(name)
        if not walk.drawn.get(name) and crop is not None and tree.panel(name) is None:
            x, y, width, height = map(float, crop.attributes["viewBox"].split())
            walk.drawn[name] = x, y, x + width, y + height
    for name, covered in walk.drawn.items():
        if covered and (at := _around(covered, area)):
            yield name, at


def _around(covered: Box, area: tuple[float, float, float, float]) -> tuple[float, ...] | None:
    """What is covered with air around it, inside the area; None where it lies outside of it."""
    spans: list[tuple[float, float]] = []
    for axis in (0, 1):
        low, high = covered[axis] - AIR, covered[axis + 2] + AIR
        more = max(0.0, LEAST - (high - low)) / 2
        least, most = area[axis], area[axis] + area[axis + 2]
        spans.append((max(low - more, least + 1), min(high + more, most - 1)))
    (left, right), (top, bottom) = spans
    if right <= left or bottom <= top:
        return None
    return tuple(round(one, 1) for one in (left, top, right - left, bottom - top))


class _Walk:
    """Goes through the elements of a drawing, and finds what those of each trait and slot cover.

    named   what may be used in several places, by id
    drawn   {trait or slot: the box around all that is drawn of it; None where it is nothing}
    """

    def __init__(self, named: Mapping[str, Node]) -> None:
        self.named = named
        self.drawn: dict[str, Box | None] = {}

    def covered(self, node: Node, matrix: Matrix, marked: bool) -> Box | None:
        """The box around an element, in the units of the drawing; looked for where it has a name, or (`marked`) one around it."""
        if node.tag in HIDDEN or (not marked and node.fixed is not None):  # what is fixed holds nothing with a name
            return None
        names = [name for mark in ("data-trait", "data-slot") if (name := node.attributes.get(mark))]
        for name in names:
            self.drawn.setdefault(name, None)
        marked = marked or bool(names)
        own = _times(matrix, node.attributes.get("transform", ""))
        found = self._shape(node, own) if marked else None
        for child in node.children:
            if not isinstance(child, str):
                found = _joined(found, self.covered(child, own, marked))
        for name in names:
            self.drawn[name] = _joined(self.drawn[name], found)
        return found

    def _shape(self, node: Node, own: Matrix) -> Box | None:
        """The box around what the element itself draws; what is used may use nothing in turn."""
        used = self.named.get(node.attributes.get("href", "#")[1:]) if node.tag == "use" else None
        if used is not None and used.tag != "use":
            given = node.attributes
            at = _times(own, f"translate({given.get('x', '0')} {given.get('y', '0')})")
            return _Walk({}).covered(used, at, True)
        corners = _corners(node)
        if not corners:
            return None
        a, b, c, d, e, f = own
        if own is SAME:
            across, down = zip(*corners, strict=True)
        else:
            across, down = [a * x + c * y + e for x, y in corners], [b * x + d * y + f for x, y in corners]
        return min(across), min(down), max(across), max(down)


def _joined(one: Box | None, other: Box | None) -> Box | None:
    """The box around two."""
    if one is None or other is None:
        return one or other
    return min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3])


def _times(matrix: Matrix, transform: str) -> Matrix:
    if not transform:
        return matrix
    for kind, written in _TRANSFORM.findall(transform):
        some = [float(one) for one in _NUMBER.findall(written)]
        if kind == "translate":
            other: Matrix = (1.0, 0.0, 0.0, 1.0, some[0], some[1] if len(some) > 1 else 0.0)
        elif kind == "scale":
            other = (some[0], 0.0, 0.0, some[1] if len(some) > 1 else some[0], 0.0, 0.0)
        else:
            other = (some[0], some[1], some[2], some[3], some[4], some[5])
        a, b, c, d, e, f = matrix
        g, h, i, j, k, m = other
        matrix = (a * g + c * h, b * g + d * h, a * i + c * j, b * i + d * j, a * k + c * m + e, b * k + d * m + f)
    return matrix


def _corners(node: Node) -> Sequence[Point]:
    """Points of one shape that its outline hardly leaves."""
    if node.tag == "path":
        return _of_path(node.attributes.get("d", ""))
    if node.tag not in SHAPES:
        return ()
    if node.tag == "rect":
        x, y, width, height = _numbers(node, "x", "y", "width", "height")
        return (x, y), (x + width, y + height)
    if node.tag in ("circle", "ellipse"):
        cx, cy, across, down = _numbers(node, "cx", "cy", *(("r", "r") if "r" in node.attributes else ("rx", "ry")))
        return (cx - across, cy - down), (cx + across, cy + down)
    if node.tag == "line":
        x, y, other_x, other_y = _numbers(node, "x1", "y1", "x2", "y2")
        return (x, y), (other_x, other_y)
    if node.tag in ("polyline", "polygon"):
        numbers = [float(one) for one in _NUMBER.findall(node.attributes.get("points", ""))]
        return list(zip(numbers[::2], numbers[1::2], strict=False))
    x, y = _numbers(node, "x", "y")
    return ((x, y),)


def _numbers(node: Node, *names: str) -> list[float]:
    """Attributes that are numbers; 0 for one that is none, or is not there."""
    written = (node.attributes.get(name, "") for name in names)
    return [float(value) if _NUMBER.fullmatch(value) else 0.0 for value in written]


@lru_cache(maxsize=1 << 14)
def _of_path(d: str) -> tuple[Point, ...]:
    """The points that a path goes through, and those that its curves lean towards."""
    found: list[Point] = []
    x = y = start_x = start_y = 0.0
    for letter, written in _STEP.findall(d):
        numbers = [float(one) for one in _NUMBER.findall(written)]
        kind, relative = letter.upper(), letter.islower()
        if kind == "Z":
            x, y = start_x, start_y
            continue
        takes = _TAKES[kind]
        for at in range(0, len(numbers) - takes + 1, takes):
            some = numbers[at : at + takes]
            from_x, from_y = (x, y) if relative else (0.0, 0.0)
            if kind == "H":
                x = from_x + some[0]
            elif kind == "V":
                y = from_y + some[0]
            else:
                pairs = list(zip(some[-takes + takes % 2 :: 2], some[-takes + takes % 2 + 1 :: 2], strict=False))
                pairs = [(some[5], some[6])] if kind == "A" else pairs
                found += [(from_x + one, from_y + other) for one, other in pairs]
                x, y = from_x + pairs[-1][0], from_y + pairs[-1][1]
            if kind == "M" and at == 0:
                start_x, start_y = x, y
            found.append((x, y))
    return tuple(found)
