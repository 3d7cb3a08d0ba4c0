"""Small drawings of variants, put together from pieces.

A view of a unit is cut into *pieces*: what all variants share between two alternatives is one piece, each alternative is one, and
so is whatever is painted.  A variant's image holds the pieces it shows, and names them back to front, each painted piece with its
color.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from html import escape

from ..kb.drawings import FAMILY, MOST_KEPT, Drawing, Tree
from ..kb.pictures import paint_of, painted
from ..kb.resolve import Stated
from ..kb.stencils import MARK
from ..kb.svg import SVG, Node, references, write
from .drawn import SIDE, Pairs, Pictures, body
from .reads import Memo, digest

#: Attributes of ours that a piece has no use for.
MARKS = (
    "data-trait",
    "data-state",
    "data-measured",
    "data-marking",
    "data-only",
    "data-panel",
    "data-slot",
    "data-damage",
    "data-paint",
    "display",
)
#: What has one of these is left out: a marking is a sample, and nobody could read it this small.
LEFT_OUT = ("data-damage", "data-only", "data-marking")
#: What one of these is told of may differ between variants.
TOLD = ("data-trait", "data-slot", "data-paint")
#: Elements that are no part of the picture.
WORDS = ("title", "desc", "view")


@dataclass(frozen=True)
class _Kept:
    """A definition or a piece as text, and the ids that it refers to."""

    text: str
    uses: frozenset[str]

    @classmethod
    def of(cls, node: Node, names: Mapping[str, str]) -> "_Kept":
        """An element, its ids made those that images have."""
        return cls(write(_renamed(node, names)), frozenset(names[to] for one in node.all() for to in references(one)))


@dataclass
class _Sheet:
    """One drawing cut up: the box, what all of it is drawn with, its definitions and pieces by id, and the whole as a tree.

    MARK stands before every id until an image is made.
    """

    box: str
    drawn: str
    traits: frozenset[str]
    kit: dict[str, _Kept] = field(default_factory=dict[str, _Kept])
    tree: list["_Piece"] = field(default_factory=list["_Piece"])


@dataclass(frozen=True)
class _Piece:
    """What is shown at one place: an element of the kit, or a group with pieces in it; `start`: the tag of that, without its end.

    trait, state  shown where a variant is in that state; `usual`: where nothing says so
    slot          not shown where a variant has nothing in it
    paint         the element that is painted, if it is one: its own paint stands where it is shown, not in the kit
    """

    ident: str | None
    start: str
    inner: tuple["_Piece", ...] = ()
    trait: str | None = None
    state: str | None = None
    usual: bool = True
    slot: str | None = None
    paint: Node | None = None


class Thumbnails:
    """The sides of variants as images."""

    def __init__(self, pictures: Pictures, memo: Memo) -> None:
        self.pictures = pictures
        self._drawing, self._image = memo.kept(self._drawing_of), memo.kept(self._drawn)

    def alone(self, one: Stated) -> str | None:
        """A variant's image with its pieces in it, as SVG text; None where nobody drew its family."""
        own = self._drawing(one.family, one.kind)
        return self._image(one.family, one.kind, *self._look(one, _cut(own.tree))) if own else None

    def size(self, family: str, kind: str | None) -> tuple[float, float] | None:
        """How wide and high the images of a kind of unit are, in units of the drawing; None where nobody drew it."""
        own = self._drawing(family, kind)
        if own is None:
            return None
        _, _, width, height = map(float, _cut(own.tree).box.split())
        return width, height

    def kinds(self, family: str) -> list[str | None]:
        """The kinds that somebody drew; None: all that have no drawing of their own."""
        return sorted({one.kind for one in self.pictures.drawings.of(FAMILY, family) if one.view == SIDE}, key=str)

    def _look(self, one: Stated, sheet: _Sheet) -> tuple[Pairs, Pairs, frozenset[str]]:
        """What an image depends on: the states it can show, the colors, and the bare slots."""
        unit = self.pictures.unit(one.id)
        shown = tuple(sorted((name, state) for name, state in unit.states.items() if name in sheet.traits))
        return shown, unit.colors, frozenset(unit.bare)

    def _drawn(self, family: str, kind: str | None, states: Pairs, colors: Pairs, bare: frozenset[str]) -> str:
        own = self._drawing(family, kind)
        assert own is not None  # whoever asks has asked for it
        sheet = _cut(own.tree)
        used = dict[str, None]()
        inner = _shown(sheet.tree, dict(states), dict(colors), bare, used)
        needed = _needed(sheet.kit, used)
        kit = "".join(kept.text for name, kept in sheet.kit.items() if name in needed)
        svg = f'<svg xmlns="{SVG}" viewBox="{sheet.box}"{sheet.drawn}><defs>{kit}</defs>{inner}</svg>'
        return svg.replace(MARK, f"k{digest(own.path)[:5]}-")

    def _drawing_of(self, family: str, kind: str | None) -> Drawing | None:
        """The drawing of a kind of unit: the one for it alone, where there is one."""
        sheets = [one for one in self.pictures.drawings.of(FAMILY, family) if one.view == SIDE and one.kind in (None, kind)]
        return sheets[-1] if sheets else None


def _needed(kit: Mapping[str, _Kept], used: Iterable[str]) -> set[str]:
    """What is used of a kit, and what that refers to in its turn."""
    needed, waiting = set[str](), [*used]
    while waiting:
        name = waiting.pop()
        if name in kit and name not in needed:
            needed.add(name)
            waiting += kit[name].uses
    return needed


def _shown(
    tree: Iterable[_Piece],
    states: Mapping[str, str],
    colors: Mapping[str, str],
    bare: frozenset[str],
    used: dict[str, None],
) -> str:
    """The pieces of a variant as text, back to front; those of the kit are added to what is used."""
    out: list[str] = []
    for piece in tree:
        there = piece.slot not in bare
        if piece.trait is not None and piece.trait in states:
            there &= states[piece.trait] == piece.state
        elif piece.trait is not None:
            there &= piece.usual
        if not there:
            continue
        if piece.ident is not None:
            used[piece.ident] = None
            out.append(f"{piece.start}{_spelled(_paint(piece.paint, colors)) if piece.paint else ''}/>")
        elif inner := _shown(piece.inner, states, colors, bare, used):
            out.append(f"{piece.start}>{inner}</g>")
    return "".join(out)


def _spelled(attributes: Mapping[str, str]) -> str:
    return "".join(f' {name}="{escape(value)}"' for name, value in attributes.items())


def _paint(node: Node, colors: Mapping[str, str]) -> dict[str, str]:
    """The attribute that paints an element: in its color, else as it is drawn."""
    name = paint_of(node)
    return painted(node, colors) or ({name: node.attributes[name]} if name in node.attributes else {})


@lru_cache(maxsize=MOST_KEPT)
def _cut(tree: Tree) -> _Sheet:
    """A drawing in pieces."""
    root = body(tree).root
    names = {node.attributes["id"]: MARK + node.attributes["id"] for node in root.all() if "id" in node.attributes}
    attributes = {
        name: value for name, value in root.attributes.items() if name not in ("viewBox", "xmlns", "id", "width", "height")
    }
    traits = frozenset(node.attributes["data-trait"] for node in root.all() if "data-trait" in node.attributes)
    sheet = _Sheet(root.attributes["viewBox"], _spelled(attributes), traits)
    for node in root.elements:
        if node.tag == "defs":
            named = ((one.attributes["id"], one) for one in node.elements if "id" in one.attributes)
            sheet.kit |= {names[ident]: _Kept.of(one, names) for ident, one in named}
    sheet.tree = list(_pieces(sheet, [one for one in root.elements if one.tag != "defs"], names))
    return sheet


def _pieces(sheet: _Sheet, nodes: Sequence[Node], names: Mapping[str, str]) -> Iterator[_Piece]:
    """These elements as pieces; what is never told apart is put together."""
    same: list[Node] = []
    for node in nodes:
        given = node.attributes
        if node.tag in WORDS or not given.keys().isdisjoint(LEFT_OUT):
            continue
        trait, state, slot = given.get("data-trait"), given.get("data-state"), given.get("data-slot")
        told = state is not None or slot is not None or "data-paint" in given
        if not told and not any(not one.attributes.keys().isdisjoint(TOLD) for one in node.all()):
            if "display" not in given:
                same.append(node)
            continue
        if same:
            yield _kept(sheet, same, names)
            same = []
        if "data-paint" in given:
            yield replace(_kept(sheet, [_unpainted(node)], names), paint=node)
            continue
        plain = {name: value for name, value in given.items() if name not in MARKS} if node.tag == "g" else {}
        inner = _pieces(sheet, node.elements, names) if node.tag == "g" else [_kept(sheet, [node], names)]
        usual = "display" not in given
        own = trait if state is not None or not usual else None
        yield _Piece(None, f"<g{_spelled(plain)}", tuple(inner), own, state, usual, slot)
    if same:
        yield _kept(sheet, same, names)


def _unpainted(node: Node) -> Node:
    """A copy that takes its paint from where it is shown."""
    attributes = {name: value for name, value in node.attributes.items() if name != paint_of(node)}
    return Node(node.tag, attributes, node.line, node.column, node.children)


def _kept(sheet: _Sheet, nodes: Sequence[Node], names: Mapping[str, str]) -> _Piece:
    """Puts the elements into the kit, as one; returns the piece that shows them."""
    ident = f"{len(sheet.kit)}-"
    whole = Node("g", {"id": ident}, 0, 0, [*nodes])
    sheet.kit[MARK + ident] = _Kept.of(whole, {**names, ident: MARK + ident})
    return _Piece(MARK + ident, f'<use href="#{MARK}{ident}"')


def _renamed(node: Node, names: Mapping[str, str]) -> Node:
    """A copy of the element without our marks and words, its ids made the page's own."""
    attributes = {name: value for name, value in node.attributes.items() if name not in MARKS}
    if "id" in attributes:
        attributes["id"] = names[attributes["id"]]
    for target in references(node):
        for name, value in attributes.items():
            if name != "id" and value in (f"#{target}", f"url(#{target})"):
                attributes[name] = value.replace(f"#{target}", f"#{names[target]}")
    children = [
        child if isinstance(child, str) else _renamed(child, names)
        for child in node.children
        if isinstance(child, str) or child.tag not in WORDS
    ]
    return Node(node.tag, attributes, node.line, node.column, children)
