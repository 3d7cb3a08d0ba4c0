"""Where on the drawing of a unit one has to look: a box around each trait and each slot, in the units of the drawing."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from ..kb.drawings import FAMILY, Drawing, Drawings
from ..kb.pictures import drawing
from ..kb.svg import Node
from .drawn import body, box
from .page import Values
from .tables import Site

#: A place is marked with so much air around it, and is never smaller than this; both in units of a drawing.
AIR, LEAST = 4.0, 22.0
Matrix = tuple[float, float, float, float, float, float]
Point = tuple[float, float]
SAME: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
_STEP = re.compile(r"([MmLlHhVvCcSsQqTtAaZz])([^MmLlHhVvCcSsQqTtAaZz]*)")
_NUMBER = re.compile(r"[-+]?(?:\d*\.\d+|\d+\.?)(?:[eE][-+]?\d+)?")
_TRANSFORM = re.compile(r"(translate|scale|matrix)\(([^)]*)\)")
#: How many numbers each command of a path takes.
_TAKES = {"M": 2, "L": 2, "T": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "A": 7}


def places(site: Site, family: str) -> dict[str, Values]:
    """{view, or view/kind: its drawing, its box, and {trait, or slot: box of the place}} of everything drawn of a family."""
    sheets = site.pictures.drawings.of(FAMILY, family)
    bodies = Drawings(site.entries, {one.path: replace(one, root=body(one, frozenset())) for one in sheets})
    found: dict[str, Values] = {}
    for sheet in sheets:
        svg = drawing(bodies, family, sheet.view, {}, sheet.kind)
        if svg is None:
            continue
        marks = {name: list(at) for name, at in _marks(sheet)}
        name = f"{sheet.view}/{sheet.kind}" if sheet.kind else sheet.view
        found[name] = {"svg": svg, "box": [round(one, 1) for one in box(sheet)], "marks": marks}
    return found


def _marks(sheet: Drawing) -> Iterator[tuple[str, tuple[float, ...]]]:
    """The traits and slots that the body shows, each with its place: what is drawn of it there, else its frame."""
    whole = body(sheet, frozenset())
    named = {node.attributes["id"]: node for node in sheet.nodes if "id" in node.attributes}
    drawn: dict[str, list[Point]] = {}
    for node, moved in _moved(whole, SAME):
        for name in (node.attributes.get("data-trait"), node.attributes.get("data-slot")):
            if name:
                drawn.setdefault(name, []).extend(_points(node, moved, named))
    area = box(sheet)
    for name in dict.fromkeys(node.attributes["data-trait"] for node in sheet.nodes if "data-trait" in node.attributes):
        crop = sheet.crop(name)
        if not drawn.get(name) and crop is not None and sheet.panel(name) is None:
            x, y, width, height = map(float, crop.attributes["viewBox"].split())
            drawn[name] = [(x, y), (x + width, y + height)]
    for name, points in drawn.items():
        if points and (at := _around(points, area)):
            yield name, at


def _around(points: Iterable[Point], area: tuple[float, float, float, float]) -> tuple[float, ...] | None:
    """A box around points, with air, inside the area; None where they lie outside of it."""
    found = list(points)
    spans: list[tuple[float, float]] = []
    for axis in (0, 1):
        low, high = min(one[axis] for one in found) - AIR, max(one[axis] for one in found) + AIR
        more = max(0.0, LEAST - (high - low)) / 2
        least, most = area[axis], area[axis] + area[axis + 2]
        spans.append((max(low - more, least + 1), min(high + more, most - 1)))
    (left, right), (top, bottom) = spans
    if right <= left or bottom <= top:
        return None
    return tuple(round(one, 1) for one in (left, top, right - left, bottom - top))


def _moved(node: Node, matrix: Matrix) -> Iterator[tuple[Node, Matrix]]:
    """Every element with what moves it, definitions left out."""
    if node.tag in ("defs", "clipPath", "pattern"):
        return
    yield node, matrix
    inner = _times(matrix, node.attributes.get("transform", ""))
    for child in node.elements:
        yield from _moved(child, inner)


def _times(matrix: Matrix, transform: str) -> Matrix:
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


def _points(node: Node, matrix: Matrix, named: Mapping[str, Node]) -> Iterator[Point]:
    """Corners of everything in an element, in the units of the drawing; `named`: what may be used in several places, by id."""
    for inner, moved in _moved(node, matrix):
        own = _times(moved, inner.attributes.get("transform", ""))
        a, b, c, d, e, f = own
        used = named.get(inner.attributes.get("href", "#")[1:]) if inner.tag == "use" else None
        if used is not None and used.tag != "use":
            given = inner.attributes
            at = _times(own, f"translate({given.get('x', '0')} {given.get('y', '0')})")
            yield from _points(used, at, {})
        else:
            yield from ((a * x + c * y + e, b * x + d * y + f) for x, y in _corners(inner))


def _corners(node: Node) -> Iterator[Point]:
    """Points of one shape that its outline hardly leaves."""
    given = {name: float(value) for name, value in node.attributes.items() if _NUMBER.fullmatch(value)}
    x, y = given.get("x", 0.0), given.get("y", 0.0)
    if node.tag == "path":
        yield from _of_path(node.attributes.get("d", ""))
    elif node.tag == "rect":
        yield from ((x, y), (x + given.get("width", 0.0), y + given.get("height", 0.0)))
    elif node.tag in ("circle", "ellipse"):
        across = given.get("r", given.get("rx", 0.0))
        down = given.get("r", given.get("ry", 0.0))
        cx, cy = given.get("cx", 0.0), given.get("cy", 0.0)
        yield from ((cx - across, cy - down), (cx + across, cy + down))
    elif node.tag == "line":
        yield from ((given.get("x1", 0.0), given.get("y1", 0.0)), (given.get("x2", 0.0), given.get("y2", 0.0)))
    elif node.tag in ("polyline", "polygon"):
        numbers = [float(one) for one in _NUMBER.findall(node.attributes.get("points", ""))]
        yield from zip(numbers[::2], numbers[1::2], strict=False)
    elif node.tag in ("text", "use"):
        yield x, y


def _of_path(d: str) -> Iterator[Point]:
    """The points that a path goes through, and those that its curves lean towards."""
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
                yield from ((from_x + one, from_y + other) for one, other in pairs)
                x, y = from_x + pairs[-1][0], from_y + pairs[-1][1]
            if kind == "M" and at == 0:
                start_x, start_y = x, y
            yield x, y
