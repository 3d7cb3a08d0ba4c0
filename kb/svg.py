"""SVG text to a small tree with the place of every element, and back; whatever could run, fetch or blow up is refused.

Only the elements and attributes below are let through: shapes, groups, text, and references that stay in the file.
There is no script, no style, no link, no image, no document type and so no entity, and no animation.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache, cached_property
from html import escape
from typing import Any

from .findings import BadInput, Finding, Kind, listed, nearest, quoted

MOST_BYTES = 200_000
MOST_DEPTH = 20
MOST_ELEMENTS = 4_000

SVG = "http://www.w3.org/2000/svg"
SHAPES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "text", "tspan", "use"})
ELEMENTS = SHAPES | {"svg", "title", "desc", "defs", "g", "clipPath", "pattern", "view"}
#: Elements whose text counts; elsewhere there may only be white space.
WORDED = frozenset({"title", "desc", "text", "tspan"})

NUMBERS = r"[-+.,\s\de]+"
LENGTH = r"-?\d*\.?\d+%?"
COLOR = r"#(?:[0-9a-f]{3}){1,2}"
PAINT = r"none|currentColor|var\(--(?:paper|shade|mark), #(?:[0-9a-f]{3}){1,2}\)|url\(#[a-z0-9-]+\)"
ID = r"[a-z0-9]+(?:-[a-z0-9]+)*"

#: What each attribute may hold, as (a pattern for the whole value, the words for it).
ATTRIBUTES: dict[str, tuple[str, str]] = {
    "xmlns": (re.escape(SVG), SVG),
    "id": (ID, "lower-case letters and digits in words joined by hyphens"),
    "href": (rf"#{ID}", "#id, of an element in this file"),
    "clip-path": (rf"url\(#{ID}\)", "url(#id), of a clipPath in this file"),
    "transform": (r"(?:(?:translate|scale|rotate|skewX|skewY|matrix)\([-+.,\s\d]+\)\s*)+", "translate, scale, rotate, skew"),
    "patternTransform": (r"(?:(?:translate|scale|rotate)\([-+.,\s\d]+\)\s*)+", "translate, scale, rotate"),
    "d": (r"[MmLlHhVvCcSsQqTtAaZz\s\d.,e+-]+", "path commands and numbers"),
    "display": (r"none", '"none", or no such attribute'),
    "font-family": (r"serif|sans-serif|monospace", "serif, sans-serif or monospace"),
    "font-weight": (r"bold|normal", "bold or normal"),
    "font-style": (r"italic|normal", "italic or normal"),
    "text-anchor": (r"start|middle|end", "start, middle or end"),
    "stroke-linecap": (r"round|butt|square", "round, butt or square"),
    "stroke-linejoin": (r"round|miter|bevel", "round, miter or bevel"),
    "fill-rule": (r"evenodd|nonzero", "evenodd or nonzero"),
    "clip-rule": (r"evenodd|nonzero", "evenodd or nonzero"),
    "lengthAdjust": (r"spacing|spacingAndGlyphs", "spacing or spacingAndGlyphs"),
    "patternUnits": (r"userSpaceOnUse", "userSpaceOnUse"),
    **dict.fromkeys(
        ["fill", "stroke"],
        (rf"{PAINT}|{COLOR}", "none, currentColor, var(--paper, #fff), var(--shade, #ddd), var(--mark, #a33) or a color #rgb"),
    ),
    **dict.fromkeys(["viewBox", "points", "stroke-dasharray"], (NUMBERS, "numbers")),
    **dict.fromkeys(["x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "dx", "dy"], (LENGTH, "a number")),
    **dict.fromkeys(["width", "height", "stroke-width"], (LENGTH, "a number")),
    **dict.fromkeys(["opacity", "fill-opacity", "stroke-opacity"], (LENGTH, "a number")),
    **dict.fromkeys(["font-size", "letter-spacing", "textLength"], (LENGTH, "a number")),
    **dict.fromkeys(
        ["data-trait", "data-state", "data-slot", "data-damage", "data-panel", "data-paint"],
        (r"[a-z0-9]+(?:[-.][a-z0-9]+)*", "an id"),
    ),
    **dict.fromkeys(["data-measured", "data-marking"], (r"", "nothing between the quotes")),
    "data-only": (r"picture", "picture"),
}
#: The attributes that may refer to an id in the file, and how they do.
REFERRING = frozenset({"href", "fill", "stroke", "clip-path"})
#: The elements and the attributes for which an element may be shown in one picture and not, or otherwise, in another.
TOLD = frozenset({"text", "tspan", "title", "desc", "view", "defs"})
TELLING = frozenset({"id", "display", *(name for name in ATTRIBUTES if name.startswith("data-"))})
_REFERENCE = re.compile(r"(?:url\()?#([a-z0-9-]+)\)?")


@dataclass
class Node:
    """One element: its attributes in order, its children (text as str), and where its tag starts, counting from 1."""

    tag: str
    attributes: dict[str, str]
    line: int
    column: int
    children: list["Node | str"] = field(default_factory=list["Node | str"])

    @property
    def elements(self) -> list["Node"]:
        """The children that are elements."""
        return [child for child in self.children if isinstance(child, Node)]

    def all(self) -> Iterator["Node"]:
        """The element and everything in it, in the order of the file."""
        waiting = [self]
        while waiting:
            node = waiting.pop()
            yield node
            waiting += [child for child in reversed(node.children) if isinstance(child, Node)]

    @cached_property
    def fixed(self) -> str | None:
        """The element as text, where no picture shows it in another way: nothing in it is told, named or referred to."""
        given = self.attributes
        if self.tag in TOLD or not TELLING.isdisjoint(given) or next(references(self), None):
            return None
        return None if any(child.fixed is None for child in self.elements) else write(self)

    def words(self, tag: str) -> str | None:
        """The text of the first child of this name, its white space made single."""
        child = next((child for child in self.elements if child.tag == tag), None)
        return None if child is None else " ".join(" ".join(text for text in child.children if isinstance(text, str)).split())


def parse(data: bytes, shown: str) -> tuple[Node, list[Finding]]:
    """The tree of an SVG file, and everything in it that may not be there. Raises BadInput when there is no tree to give."""
    if len(data) > MOST_BYTES:
        expected = f"at most {MOST_BYTES // 1000} kB; a drawing by hand is far shorter"
        raise BadInput([Finding(shown, 0, 0, Kind.LIMIT, f"a file over {MOST_BYTES // 1000} kB", expected)])
    builder = _Builder(data, shown)
    root = builder.tree()
    findings = [*_allowed(root, shown), *_references(root, shown)]
    if root.tag != "svg" or root.attributes.get("xmlns") != SVG:
        expected = f'<svg xmlns="{SVG}">'
        findings.append(Finding(shown, root.line, root.column, Kind.WRONG_VALUE, f"<{root.tag}> at the top", expected))
    return root, findings


class _Builder:
    """Feeds expat, and stops it at the first thing that cannot belong to a drawing."""

    def __init__(self, data: bytes, shown: str) -> None:
        from xml.parsers import expat  # here, since most builds parse no drawing

        self.data, self.shown = data, shown
        self.count = 0
        self.open: list[Node] = []
        self.root: Node | None = None
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.text
        self.parser.StartDoctypeDeclHandler = self.stopper("a document type", "a drawing without one")
        self.parser.ProcessingInstructionHandler = self.stopper("a processing instruction", "a drawing without one")

    def tree(self) -> Node:
        from xml.parsers import expat

        try:
            self.parser.Parse(self.data, True)
        except expat.ExpatError as error:
            line, column = error.lineno, error.offset + 1
            found = expat.ErrorString(error.code) or "an error"
            raise BadInput([Finding(self.shown, line, column, Kind.UNREADABLE, found, "well-formed XML in UTF-8")]) from None
        except (ValueError, LookupError):
            found = "an unknown encoding"
            raise BadInput([Finding(self.shown, 1, 1, Kind.UNREADABLE, found, "well-formed XML in UTF-8")]) from None
        assert self.root is not None  # expat calls a document without an element an error
        return self.root

    def here(self) -> tuple[int, int]:
        return self.parser.CurrentLineNumber, self.parser.CurrentColumnNumber + 1

    def stop(self, kind: Kind, found: str, expected: str) -> BadInput:
        return BadInput([Finding(self.shown, *self.here(), kind, found, expected)])

    def stopper(self, found: str, expected: str) -> Callable[..., None]:
        def refuse(*_: Any) -> None:
            raise self.stop(Kind.HAZARD, found, expected)

        return refuse

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if len(self.open) >= MOST_DEPTH:
            raise self.stop(Kind.LIMIT, f"more than {MOST_DEPTH} levels", f"at most {MOST_DEPTH} levels")
        if self.count > MOST_ELEMENTS:
            raise self.stop(Kind.LIMIT, f"more than {MOST_ELEMENTS:,} elements", "fewer")
        node = Node(tag, dict(attributes), *self.here())
        if self.open:
            self.open[-1].children.append(node)
        else:
            self.root = node
        self.open.append(node)

    def end(self, _: str) -> None:
        self.open.pop()

    def text(self, text: str) -> None:
        if self.open and (text.strip() or self.open[-1].tag in WORDED):
            self.open[-1].children.append(text)


def _allowed(root: Node, shown: str) -> Iterator[Finding]:
    """Elements, attributes, values and texts that are not let through."""
    for node in root.all():
        at = (shown, node.line, node.column)
        if node.tag not in ELEMENTS:
            expected = f"an element of the drawing grammar: {listed(ELEMENTS, most=20)}"
            yield Finding(*at, Kind.HAZARD, f"the element {quoted(node.tag)}", expected, nearest(node.tag, ELEMENTS))
            continue
        if node.tag not in WORDED and any(isinstance(child, str) for child in node.children):
            yield Finding(*at, Kind.MISPLACED, f"text in <{node.tag}>", "text only in text, title or desc")
        for name, value in node.attributes.items():
            if name not in ATTRIBUTES:
                near = nearest(name, ATTRIBUTES)
                yield Finding(*at, Kind.HAZARD, f"the attribute {quoted(name)}", "an attribute of the drawing grammar", near)
            elif not _whole(name).fullmatch(value):
                yield Finding(*at, Kind.WRONG_VALUE, f"{name}={quoted(value)}", ATTRIBUTES[name][1])


@cache
def _whole(attribute: str) -> re.Pattern[str]:
    """What the whole value of an attribute must match."""
    return re.compile(ATTRIBUTES[attribute][0])


def reference(name: str, value: str) -> str | None:
    """The id in this file that an attribute of this name and value refers to."""
    if name in REFERRING and (value.startswith("url(#") or (name == "href" and value.startswith("#"))):
        found = _REFERENCE.fullmatch(value)
        return found[1] if found else None
    return None


def references(node: Node) -> Iterator[str]:
    """The ids in this file that an element refers to."""
    for name, value in node.attributes.items():
        if found := reference(name, value):
            yield found


def _references(root: Node, shown: str) -> Iterator[Finding]:
    """Ids given twice, references to nothing, and copies of copies, which could multiply without end."""
    owners: dict[str, Node] = {}
    for node in root.all():
        ident = node.attributes.get("id")
        if ident in owners:
            expected = f"it once; it is on line {owners[ident].line} already"
            yield Finding(shown, node.line, node.column, Kind.DUPLICATE, f"the id {quoted(ident)} again", expected)
        elif ident is not None:
            owners[ident] = node
    copied = 0
    for node in root.all():
        for target in references(node):
            at = (shown, node.line, node.column)
            copied += sum(1 for _ in owners[target].all()) if target in owners else 0
            if target not in owners:
                yield Finding(*at, Kind.DANGLING, f'"#{target}"', "the id of an element in this file", nearest(target, owners))
            elif any(
                "href" in inner.attributes or ("href" not in node.attributes and [*references(inner)])
                for inner in owners[target].all()
            ):
                yield Finding(*at, Kind.CYCLE, f'"#{target}", which refers on', "an element that refers to no other")
    if copied > MOST_ELEMENTS:
        yield Finding(shown, root.line, root.column, Kind.LIMIT, f"{copied:,} copied elements", f"at most {MOST_ELEMENTS:,}")


def write(node: Node) -> str:
    """The element as text, without white space between elements."""
    if known := node.__dict__.get("fixed"):
        return known
    attributes = "".join(f' {name}="{escape(value)}"' for name, value in node.attributes.items())
    inner = "".join(escape(child, quote=False) if isinstance(child, str) else write(child) for child in node.children)
    return f"<{node.tag}{attributes}>{inner}</{node.tag}>" if inner else f"<{node.tag}{attributes}/>"
