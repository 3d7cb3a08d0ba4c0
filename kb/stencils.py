"""A drawing spelled once for many pictures of it: what is the same in all of them is text, and the rest is chosen.

A *stencil* is cut from the elements of a drawing by a rule, which says of each whether pictures show it at all, and when.  A
picture then says how it looks, and is put together from these texts.  Every id begins with what the picture puts before it; of
the definitions at the top those are left out that nothing in the picture refers to.
"""

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from html import escape
from typing import NamedTuple, TypeAlias

from .svg import Node, reference

#: Stands before every id until a picture is made; no XML text can hold it.
MARK = "\0"


@dataclass(frozen=True)
class Look:
    """How a picture looks.

    states       of traits: an element of another state of one of them is not shown
    damage       the spots that are shown
    bare         the slots of which nothing is shown
    areas, inks  the colors of areas and lines, and those of texts, by the trait that paints them
    texts        what stands in the place of a sample, by its shape
    """

    states: Mapping[str, str | None] = field(default_factory=dict[str, str | None])
    damage: Collection[str] = ()
    bare: Collection[str] = ()
    areas: Mapping[str, str] = field(default_factory=dict[str, str])
    inks: Mapping[str, str] = field(default_factory=dict[str, str])
    texts: Mapping[str, str] = field(default_factory=dict[str, str])


class When(NamedTuple):
    """When an element is shown.

    trait, state  where nothing is said of the trait, or this state of it
    damage        where this spot is among those that are shown
    usual         where neither decides
    slot          never where this slot is bare
    only          never but where something is said of one of these traits
    """

    trait: str | None = None
    state: str | None = None
    damage: str | None = None
    usual: bool = True
    slot: str | None = None
    only: Collection[str] | None = None

    def shown(self, look: Look) -> bool:
        """Whether a picture that looks like this shows it."""
        if self.slot is not None and self.slot in look.bare:
            return False
        if self.only is not None and not any(trait in look.states for trait in self.only):
            return False
        if self.trait is not None and self.trait in look.states:
            return look.states[self.trait] == self.state
        return self.damage in look.damage if self.damage is not None else self.usual


ALWAYS = When()


class Told(NamedTuple):
    """How an element is spelled, where a picture shows it.

    without  attributes that are left out
    paint    (the trait that paints it, which of its attributes)
    hollow   shown even with nothing in it
    inner    the rule for what is in it
    """

    inner: "Rule"
    when: When = ALWAYS
    without: Collection[str] = ()
    paint: tuple[str, str] | None = None
    hollow: bool = True


#: How an element is spelled; None: no picture shows it.
Rule: TypeAlias = Callable[[Node], Told | None]


@dataclass(frozen=True, slots=True)
class _Sample:
    """A text for which a picture may have another one."""

    shape: str
    text: str

    def fill(self, look: Look, out: list[str], _: set[str]) -> None:
        text = escape(look.texts[self.shape], quote=False) if self.shape in look.texts else self.text
        if text:
            out.append(text)


@dataclass(frozen=True, slots=True)
class _Paint:
    """What a trait paints: which attribute, the same as it is drawn, and the ids it then refers to."""

    trait: str
    name: str
    drawn: str
    uses: set[str]


@dataclass(frozen=True, slots=True)
class _Element:
    """An element that not all pictures show alike.

    start, rest  its tag as far as its paint, and from there on
    uses         the ids that it refers to, with all in it that is shown whenever it is
    """

    tag: str
    when: When
    start: str
    paint: _Paint | None
    rest: str
    inner: "list[_Piece]"
    hollow: bool
    uses: set[str]

    def fill(self, look: Look, out: list[str], used: set[str]) -> None:
        if not self.when.shown(look):
            return
        start = self.start
        if self.paint:
            start += self._painted(self.paint, look, used) + self.rest
        begin = len(out)
        out.append(start + ">")
        _fill(self.inner, look, out, used)
        if len(out) > begin + 1:
            out.append(f"</{self.tag}>")
        elif self.hollow:
            out[begin] = start + "/>"
        else:
            out.pop()
            return
        used |= self.uses

    def _painted(self, paint: _Paint, look: Look, used: set[str]) -> str:
        color = (look.inks if self.tag == "text" else look.areas).get(paint.trait)
        if color is not None:
            return f' {paint.name}="{escape(color)}"'
        used |= paint.uses
        return paint.drawn


#: A text stands for itself.
_Piece: TypeAlias = str | _Sample | _Element


def _fill(pieces: Iterable[_Piece], look: Look, out: list[str], used: set[str]) -> None:
    for piece in pieces:
        if isinstance(piece, str):
            out.append(piece)
        else:
            piece.fill(look, out, used)


@dataclass(frozen=True, slots=True)
class _Definitions:
    """A `defs` element at the top: its tag, and what is in it, by id."""

    start: str
    inner: list[tuple[str, list[_Piece], set[str]]]

    def filled(self, look: Look, used: set[str]) -> list[tuple[str, str]]:
        """(id, text) of each; what they refer to is added to what is used."""
        found: list[tuple[str, str]] = []
        for ident, pieces, uses in self.inner:
            out: list[str] = []
            _fill(pieces, look, out, used)
            used |= uses if out else set()
            found.append((ident, "".join(out)))
        return found


class Stencil:
    """The elements at the top of a drawing, ready for pictures. `head`: what stands before them, as text."""

    def __init__(self, nodes: Iterable[Node], rule: Rule, head: str = "") -> None:
        self._head = head
        self._uses = set[str]()
        self._pieces: list[_Piece | _Definitions] = []
        for node in nodes:
            if node.tag == "defs":
                self._pieces += _definitions(node, rule)
            else:
                self._pieces += _spelled(node, rule, self._uses, top=True)

    def picture(self, look: Look, prefix: str, head: str | None = None) -> str:
        """What a picture that looks like this holds, as text. `prefix`: what its ids begin with; `head`: not the usual."""
        out, used = [self._head if head is None else head], set(self._uses)
        waiting: list[tuple[int, _Definitions]] = []
        for piece in self._pieces:
            if isinstance(piece, _Definitions):
                waiting.append((len(out), piece))
                out.append("")
            else:
                _fill([piece], look, out, used)
        filled = [(at, piece, piece.filled(look, used)) for at, piece in waiting]
        for at, piece, found in filled:
            if inner := "".join(text for ident, text in found if ident in used):
                out[at] = f"{piece.start}>{inner}</defs>"
        return "".join(out).replace(MARK, escape(f"{prefix}-"))


# Cutting ---------------------------------------------------------------------------------------------------------------


def _definitions(node: Node, rule: Rule) -> list[_Definitions]:
    told = rule(node)
    if told is None:
        return []
    inner: list[tuple[str, list[_Piece], set[str]]] = []
    for one in node.elements:
        if "id" in one.attributes:
            uses = set[str]()
            inner.append((one.attributes["id"], _spelled(one, told.inner, uses), uses))
    return [_Definitions(_tag(node, told, set())[0], inner)]


def _spelled(node: Node, rule: Rule, uses: set[str], *, top: bool = False) -> list[_Piece]:
    """An element as pieces. What it refers to whenever what is around it is shown is added to `uses`."""
    told = rule(node)
    if told is None:
        return []
    if node.fixed:
        return [node.fixed]
    mine = set[str]()
    inner = _inside(node, told.inner, mine)
    hollow = told.hollow and not (top and node.tag == "g")
    if not inner and not hollow:
        return []
    start, paint, rest = _tag(node, told, mine)
    if told.when == ALWAYS and paint is None:
        if not inner:
            uses |= mine
            return [f"{start}/>"]
        if any(isinstance(one, str) for one in inner):
            uses |= mine
            return _joined([f"{start}>", *inner, f"</{node.tag}>"])
    return [_Element(node.tag, told.when, start, paint, rest, inner, hollow, mine)]


def _inside(node: Node, rule: Rule, uses: set[str]) -> list[_Piece]:
    found: list[_Piece] = []
    for child in node.children:
        if not isinstance(child, str):
            found += _spelled(child, rule, uses)
        elif node.tag in ("text", "tspan"):
            found.append(_Sample(shape(child), escape(child, quote=False)))
        elif child:
            found.append(escape(child, quote=False))
    return _joined(found)


def _joined(pieces: Iterable[_Piece]) -> list[_Piece]:
    """The same with texts that follow one another as one."""
    found: list[_Piece] = []
    for piece in pieces:
        if isinstance(piece, str) and found and isinstance(found[-1], str):
            found[-1] += piece
        else:
            found.append(piece)
    return found


def _tag(node: Node, told: Told, uses: set[str]) -> tuple[str, _Paint | None, str]:
    """(an opening tag without its end, as far as its paint; the paint; the rest of the tag)."""
    attributes = {name: value for name, value in node.attributes.items() if name not in told.without}
    trait, painted = told.paint or ("", None)
    uses.update(to for name, value in attributes.items() if name != painted and (to := reference(name, value)))
    spelled = {name: f' {name}="{escape(_marked(name, value))}"' for name, value in attributes.items()}
    if painted is None:
        return f"<{node.tag}{''.join(spelled.values())}", None, ""
    names = list(spelled)
    at = names.index(painted) if painted in spelled else len(names)
    before, after = ("".join(spelled[name] for name in some) for some in (names[:at], names[at + 1 :]))
    to = reference(painted, attributes.get(painted, ""))
    return f"<{node.tag}{before}", _Paint(trait, painted, spelled.get(painted, ""), {to} if to else set()), after


def _marked(name: str, value: str) -> str:
    """The value of an attribute, an id in it with the mark before it."""
    if name == "id":
        return MARK + value
    return value.replace("#", f"#{MARK}") if reference(name, value) else value


def shape(text: str) -> str:
    """A sample without its figures: a number in another place of a drawing is a sample of the same marking."""
    return re.sub(r"\d", "0", text.strip())
