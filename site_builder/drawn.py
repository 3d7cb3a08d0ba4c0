"""Drawings on pages: the picture of a state, and a view of a unit as a variant left the factory."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache, partial
from typing import NamedTuple

from markupsafe import Markup

from ..kb.drawings import FAMILY, MOST_KEPT, Drawing, Drawings, Tree, safe_drawings
from ..kb.load import Entries
from ..kb.pictures import drawing, picture, where_drawn
from ..kb.resolve import Stated, number, on_kind, traits_of
from ..kb.stencils import shape
from ..kb.svg import Node
from ..kb.values import Fact
from .reads import DRAWINGS, Memo, drawings_of

#: The views at the head of a page.
SIDE, NOSE, END = "side", "nose", "end"
#: The `view` element that frames the whole body.
BODY = "body"
#: How a panel says where its upper left corner is.
MOVED = r"translate\(([-.\d]+)[ ,]+([-.\d]+)\)"
Pairs = tuple[tuple[str, str], ...]
#: What a fitted slot says when there is no part in it.
NONE = "none"


def trusted(svg: str | None) -> Markup | None:
    """The one place where the text of a drawing goes into a page as it is.

    It may, as no byte of the file gets here: `kb.svg` reads the file into elements and attributes of a short list, each value
    matched whole, and `safe_drawings` leaves out a file with anything else in it; `kb.svg.write` then spells the elements out
    anew, and escapes every text, the names from the entries among them.
    """
    return Markup(svg) if svg else None


class _Lazily(Drawings):
    """Drawings that are read when somebody asks for those of their home."""

    def __init__(self, entries: Entries, memo: Memo) -> None:
        super().__init__(entries, {})
        self.__dict__["memo"] = memo
        self.__dict__["of"] = memo.kept(self._read)
        self.__dict__["traits"] = memo.kept(partial(traits_of, entries))

    def _read(self, level: str, home: str) -> list[Drawing]:
        memo: Memo = self.__dict__["memo"]
        memo.note((DRAWINGS, home))
        files = safe_drawings(self.entries, drawings_of(self.entries.root, home))
        return Drawings(self.entries, files).of(level, home)


class Unit(NamedTuple):
    """How a variant is drawn: the state of each trait that drawings tell of, what is painted, and the slots that are bare."""

    states: dict[str, str]
    colors: Pairs
    bare: list[str]


class Pictures:
    """The drawings of some entries. Each picture is made once, however many pages show it.

    stated  a variant as it is stated;  unit  how it is drawn, by its id
    """

    def __init__(self, entries: Entries, memo: Memo, stated: Callable[[str], Stated]) -> None:
        self.entries, self._stated = entries, stated
        self.unit = memo.kept(self._unit)
        self.drawings: Drawings = _Lazily(entries, memo)
        self.of_state = memo.kept(self._of_state)
        self._traits = self.drawings.traits
        self._named, self._told = memo.kept(self._traits_drawn), memo.kept(self._states_told)
        self._samples, self._face = memo.kept(self._samples_drawn), memo.kept(self._face_of)
        self.color = memo.kept(self._color)
        self._body = memo.kept(self._bodies)

    def _of_state(self, family: str | None, trait: str, state: str | None) -> Markup | None:
        return trusted(picture(self.drawings, family, trait, state))

    def heads(self, family: str, one: Stated | None) -> list[Markup]:
        """The side of a unit; of a variant with its own states, kind and fitted slots, and its nose or else its end besides."""
        states, colors, bare = self.unit(one.id) if one else Unit({}, (), [])
        texts, kind = (self._texts(one), one.kind) if one else ({}, None)
        views = [SIDE, *([self._face(family, kind)] if one else [])]
        found: list[Markup] = []
        for view in filter(None, views):
            chosen = {name: states[name] for name in self._named(family, view) if name in states}
            sheets = self._body(family, view)
            seen = trusted(drawing(sheets, family, view, chosen, kind, colors=dict(colors), bare=bare, texts=texts))
            found += [seen] if seen else []
        return found

    def _unit(self, ident: str) -> Unit:
        one = self._stated(ident)
        states = self._states_of(one)
        return Unit(states, self._colors(one.family, states), self._bare_of(one))

    def _colors(self, family: str, states: Mapping[str, str]) -> Pairs:
        """(trait, color) of what is painted on a unit in these states."""
        painted = self._named(family, None)
        found = ((name, self.color(family, name, states[name])) for name in painted if name in states)
        return tuple((name, color) for name, color in found if color)

    def _color(self, family: str, trait: str, state: str) -> str | None:
        found = where_drawn(self.drawings, family, trait)
        return found.color(state) if found else None

    def _texts(self, one: Stated) -> dict[str, str]:
        """{shape of a sample text: what this variant reads there}; nothing to read where nobody recorded it."""
        found: dict[str, str] = {}
        for trait, sample in self._samples(one.family):
            fact = one.shows.get(trait)
            found[sample] = self.ranked(fact)[0] if fact and not fact.unknown else ""
        return found

    def _samples_drawn(self, family: str) -> Pairs:
        """(trait, shape of a sample text) of the markings in a family's drawings."""
        marked = [n for sheet in self.drawings.of(FAMILY, family) for n in sheet.tree.nodes if "data-marking" in n.attributes]
        shapes = ((n.attributes.get("data-trait", ""), shape(t)) for n in marked for inner in n.all() for t in _texts_in(inner))
        return tuple(dict.fromkeys(shapes))

    def _traits_drawn(self, family: str, view: str | None) -> list[str]:
        """The traits that a view can show: variants that are alike in these share one drawing. None: that paint any view."""
        mark = "data-trait" if view else "data-paint"
        sheets = (sheet for sheet in self.drawings.of(FAMILY, family) if view in (None, sheet.view))
        return sorted({node.attributes[mark] for sheet in sheets for node in sheet.tree.nodes if mark in node.attributes})

    def _face_of(self, family: str, kind: str | None) -> str | None:
        """The nose if units of this kind have one, else the end.

        Where a kind has a side of its own but no nose of its own, the nose that is drawn belongs to another body.
        """
        drawn = {(sheet.view, sheet.kind) for sheet in self.drawings.of(FAMILY, family)}
        own = {view for view, its in drawn if its == kind}
        if NOSE in own or ((NOSE, None) in drawn and SIDE not in own):
            return NOSE
        return END if END in own or (END, None) in drawn else None

    def _bodies(self, family: str, view: str) -> Drawings:
        sheets = [sheet for sheet in self.drawings.of(FAMILY, family) if sheet.view == view]
        bodies = Drawings(self.entries, {sheet.path: replace(sheet, tree=body(sheet.tree)) for sheet in sheets})
        bodies.__dict__["traits"] = self.drawings.traits
        return bodies

    def ranked(self, fact: Fact) -> list[str]:
        """The choices of a fact, the most frequent first; of equals the one written first."""
        if len(fact.is_) == 1:
            return list(fact.is_)
        words = self.entries.about.frequencies
        return sorted(fact.is_, key=lambda choice: -number(words, fact.is_[choice]))

    def _states_of(self, one: Stated) -> dict[str, str]:
        """The commonest state of each trait of a variant that drawings tell of, and of the parts it was commonly fitted with."""
        found: dict[str, str] = {}
        for name, slot, trait in self._told(one.family):
            shows = self._part_in(one, slot) if slot else one.shows
            fact = shows.get(trait)
            if fact and not fact.unknown:
                found[name] = self.ranked(fact)[0]
        return found

    def _part_in(self, one: Stated, slot: str) -> Mapping[str, Fact]:
        fitted = one.fitted.get(slot)
        part = self.entries.parts.get(self.ranked(fitted)[0]) if fitted else None
        return part.shows if part else {}

    def _states_told(self, family: str) -> list[tuple[str, str, str]]:
        """(trait, the slot of its part or "", its id there) of the traits with states that some drawing of a family names."""
        nodes = [node for sheet in self.drawings.of(FAMILY, family) for node in sheet.tree.nodes]
        named = {node.attributes[mark] for node in nodes for mark in ("data-trait", "data-paint") if mark in node.attributes}
        traits = self._traits(family)
        stated = [name for name in sorted(named) if name in traits and traits[name].states]
        return [(name, slot, trait) for name in stated for slot, _, trait in [name.rpartition(".")]]

    def _bare_of(self, one: Stated) -> list[str]:
        """The slots of a variant that commonly hold nothing, or that units of its kind do not have."""
        slots = self.entries.families[one.family].slots
        empty = {slot for slot, fact in one.fitted.items() if NONE in fact.is_ and self.ranked(fact)[0] == NONE}
        return [name for name, slot in slots.items() if name in empty or not on_kind(slot, one.kind)]


@lru_cache(maxsize=MOST_KEPT)
def body(tree: Tree) -> Tree:
    """The body alone, without the enlarged details, which the facts of the page show larger."""
    root = _without_panels(tree.root)
    x, y, width, height = box(tree)
    root.attributes["viewBox"] = f"{x:g} {y:g} {width:g} {height:g}"
    root.children = [child for child in root.children if isinstance(child, str) or not _beyond(child, x + width, y + height)]
    return Tree(root)


def _texts_in(node: Node) -> list[str]:
    """The texts of an element that shows one."""
    return [child for child in node.children if isinstance(child, str)] if node.tag in ("text", "tspan") else []


def _beyond(node: Node, right: float, bottom: float) -> bool:
    """Whether this is a caption of a panel: a text outside the box."""
    given = node.attributes
    return node.tag == "text" and (float(given.get("x", 0)) > right or float(given.get("y", 0)) > bottom)


def _without_panels(node: Node) -> Node:
    """A copy of the element without panels."""
    if node.fixed:
        return node
    inner = [
        child if isinstance(child, str) else _without_panels(child)
        for child in node.children
        if isinstance(child, str) or "data-panel" not in child.attributes
    ]
    return Node(node.tag, dict(node.attributes), node.line, node.column, inner)


def box(tree: Tree) -> tuple[float, float, float, float]:
    """What a whole view shows of a sheet: x, y, width, height.

    It is the `view` called body where there is one, else the largest box from the upper left corner that no panel begins in.
    """
    framed = next((node for node in tree.nodes if node.tag == "view" and node.attributes.get("id") == BODY), None)
    if framed is not None:
        x, y, width, height = map(float, framed.attributes["viewBox"].split())
        return x, y, width, height
    x, y, width, height = map(float, tree.root.attributes["viewBox"].split())
    moved = (re.match(MOVED, panel.attributes.get("transform", "")) for panel, _ in tree.panels)
    corners = [(float(found[1]) - x, float(found[2]) - y) for found in moved if found]
    best = (0.0, 0.0)
    for right in {width, *(across for across, _ in corners if across > 0)}:
        below = min((down for across, down in corners if across < right), default=height)
        best = max(best, (right, below), key=lambda size: size[0] * size[1])
    return x, y, *best
