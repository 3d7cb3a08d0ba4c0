"""Drawings as SVG text: the picture of one state, and a whole view with chosen states.  Nothing here reads a file."""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from html import escape

from .drawings import COMMON, FAMILY, PART, Drawing, Drawings, Tree
from .findings import Kind, Unreadable, listed, nearest, quoted
from .models import Trait
from .resolve import slots_of
from .stencils import MARK, Look, Rule, Stencil, Told, When
from .svg import COLOR, Node, write

#: Marks of the drawing grammar, which a picture has no use for.
OURS = ("data-trait", "data-state", "data-measured", "data-marking", "data-only", "data-panel", "data-slot", "data-paint")

#: A painted area is at least so bright (relative luminance, WCAG 2.2): a dark line on it then has a contrast of 2 to 1.
LEAST_BRIGHT = 0.085


@dataclass(frozen=True)
class Found:
    """Where a trait is drawn: the file, the id it has there, and the trait."""

    drawing: Drawing
    name: str
    trait: Trait

    def groups(self, state: str | None) -> list[Node]:
        """What its picture shows of a state; of a measured trait or a marking without one."""
        return [node for node in self.drawing.tree.framed(self.name) if node.attributes.get("data-state") == state]

    def words(self, state: str | None) -> tuple[str, str]:
        """The title of a state's picture: the trait and the state; and what distinguishes the state."""
        record = (self.trait.states or {}).get(state or "")
        title = f"{self.trait.name}: {record.name}" if record else self.trait.name
        return title, next((words for words in (node.words("title") for node in self.groups(state)) if words), title)

    def color(self, state: str) -> str | None:
        """The color of its own that a state is drawn in: of its text where it is about lettering, else of its first area."""
        nodes = sorted((node for group in self.groups(state) for node in group.all()), key=lambda node: node.tag != "text")
        colors = (node.attributes.get("fill", "") for node in nodes)
        return next((color for color in colors if re.fullmatch(COLOR, color)), None)


def where_drawn(drawings: Drawings, family: str | None, trait: str) -> Found | None:
    """The drawing that shows a trait of a family, best first: the family's own, the part's, the common one.

    `trait` is an id as `traits_of` gives it.  Without a family it is a common trait, or `slot-type.trait` of a loose part.
    """
    entries = drawings.entries
    slot, _, part_trait = trait.rpartition(".")
    slots = slots_of(entries, family) if family else {}
    slot_type = slots[slot].type if slot in slots else slot
    homes = [(FAMILY, family, trait)] if family else []
    homes += [(PART, slot_type, part_trait)] if slot else [(COMMON, "", trait)]
    for level, home, name in homes:
        for drawing in drawings.of(level, home or ""):
            if drawing.tree.groups(name) and drawing.tree.crop(name):
                known, ident = _traits(drawings, family, slot_type or ""), trait if family else name
                return Found(drawing, name, known[ident]) if ident in known else None
    return None


def _traits(drawings: Drawings, family: str | None, slot_type: str) -> Mapping[str, Trait]:
    if family:
        return drawings.traits(family)
    return drawings.entries.slot_types[slot_type].traits if slot_type else drawings.entries.traits


def picture(drawings: Drawings, family: str | None, trait: str, state: str | None = None) -> str | None:
    """The picture of one state as SVG text; of a measured trait or a marking without `state`.  None: nobody drew it.

    Its title is the trait and the state, its description what distinguishes the state; ids begin with those of all three, so
    that many pictures can stand in one page.  What is asked about is drawn in the color of marks.
    """
    found = where_drawn(drawings, family, trait)
    if found is None:
        return None
    crop = found.drawing.tree.crop(found.name)
    if not found.groups(state) or crop is None:
        return None
    title, desc = found.words(state)
    tree = found.drawing.tree
    apart = tree.panel(found.name)
    stencil = _stencil_of_panel(tree, apart.attributes["data-panel"] if apart else None)
    marked = {found.name: "var(--mark, #a33)"}
    prefix = "-".join(one.replace(".", "-") for one in ("picture", family or "any", trait, state or "value"))
    head = _head(tree.root, crop.attributes["viewBox"], title, desc)
    return stencil.picture(Look({found.name: state}, areas=marked, inks=marked), prefix, head) + "</svg>"


def _stencil_of_panel(tree: Tree, panel: str | None) -> Stencil:
    """For pictures of states in a panel, or in the main drawing: each asks about the trait whose state it looks like."""
    if ("panel", panel) in tree.stencils:
        return tree.stencils["panel", panel]

    def keep(around: frozenset[str], node: Node) -> Told | None:
        """`around`: the traits whose alternatives it stands in."""
        given = node.attributes
        if given.get("data-panel", panel) != panel or "data-damage" in given or node.tag in ("title", "desc", "view"):
            return None
        trait = given.get("data-trait")
        when = When(trait, given.get("data-state"), usual="display" not in given, only=around if "data-only" in given else None)
        inner = partial(keep, around | {trait}) if trait else rules.setdefault(around, partial(keep, around))
        return Told(inner, when, [*OURS, "display"], (trait, "color") if trait else None)

    def in_panel(node: Node) -> Told | None:
        """Definitions serve every panel, the main drawing none."""
        if panel is None or node.tag == "defs" or node.attributes.get("data-panel") == panel:
            return keep(frozenset(), node)
        return Told(in_panel, without=OURS, hollow=False) if id(node) in around_panel else None

    around_panel = tree.around_panels.get(panel or "", set())
    rules: dict[frozenset[str], Rule] = {}
    return tree.stencils.setdefault(("panel", panel), Stencil(tree.root.elements, in_panel))


def drawing(
    drawings: Drawings,
    family: str,
    view: str,
    states: Mapping[str, str],
    kind: str | None = None,
    damage: Sequence[str] = (),
    colors: Mapping[str, str] | None = None,
    bare: Collection[str] = (),
    texts: Mapping[str, str] | None = None,
) -> str | None:
    """A whole view of a family as SVG text, each trait in the state that `states` gives it, else as drawn.

    `damage`: the spots to show.  `colors`: what is painted, by the trait that says its color.  `bare`: the slots of which nothing
    is shown.  `texts`: what stands in the place of a sample, by its `shape`.  A state that this view does not show hides the
    others of its trait.  None: nobody drew the view.  Raises Unreadable for a state that its trait does not have.
    """
    sheets = [one for one in drawings.of(FAMILY, family) if one.view == view and one.kind in (None, kind)]
    if not sheets:
        return None
    sheet = sheets[-1]
    traits = drawings.traits(family)
    for trait, state in states.items():
        known = traits[trait].states if trait in traits else None
        if known is not None and state not in known:
            raise Unreadable(quoted(state), f"a state of {trait}: {listed(known)}", nearest(state, known), Kind.UNKNOWN_STATE)

    inks = colors or {}
    look = Look(states, damage, bare, {trait: bright(color) for trait, color in inks.items()}, inks, texts or {})
    return _stencil_of_view(sheet.tree).picture(look, f"drawing-{family}-{sheet.path.rsplit('/', 1)[-1][:-4]}") + "</svg>"


def _stencil_of_view(tree: Tree) -> Stencil:
    if ("view", None) not in tree.stencils:
        root = tree.root
        told = (one for one in root.elements if one.tag not in ("title", "desc"))
        head = _head(root, root.attributes["viewBox"], root.words("title") or "", root.words("desc") or "")
        tree.stencils["view", None] = Stencil(told, _in_view, head)
    return tree.stencils["view", None]


def _in_view(node: Node) -> Told | None:
    """How a whole view spells an element."""
    given = node.attributes
    if given.get("data-only") or node.tag == "view":
        return None
    state, trait = given.get("data-state"), given.get("data-trait", "")
    when = When(
        trait if state is not None else None, state, given.get("data-damage"), "display" not in given, given.get("data-slot")
    )
    return Told(_in_view, when, ["display"], paint=(given["data-paint"], paint_of(node)) if "data-paint" in given else None)


def painted(node: Node, colors: Mapping[str, str]) -> dict[str, str]:
    """The attribute that paints an element in the color of its trait; {} where it is not painted."""
    color = colors.get(node.attributes.get("data-paint", ""))
    if color is None:
        return {}
    return {paint_of(node): color if node.tag == "text" else bright(color)}


def paint_of(node: Node) -> str:
    """Which attribute paints an element: that of its area, or where it has none, of its line."""
    return "fill" if node.attributes.get("fill", "none") != "none" else "stroke"


@cache
def bright(color: str) -> str:
    """A color, mixed with white until dark lines can be seen on it."""
    channels = [int(color[k : k + 2], 16) for k in (1, 3, 5)] if len(color) == 7 else [17 * int(one, 16) for one in color[1:]]
    shares = (share / 20 for share in range(21))
    mixed = ([round(one + (255 - one) * share) for one in channels] for share in shares)
    return next(f"#{red:02x}{green:02x}{blue:02x}" for red, green, blue in mixed if _luminance(red, green, blue) >= LEAST_BRIGHT)


def _luminance(*channels: int) -> float:
    """Relative luminance of an sRGB color (WCAG 2.2)."""
    linear = [one / 255 / 12.92 if one <= 10 else ((one / 255 + 0.055) / 1.055) ** 2.4 for one in channels]
    return sum(weight * one for weight, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def drawn_in(drawings: Drawings, level: str, home: str) -> Iterator[tuple[str, str | None]]:
    """(trait, state) of every picture that the drawings of a home give, as `picture` takes them; None: the value itself."""
    names = {
        node.attributes["data-trait"]
        for sheet in drawings.of(level, home)
        for node in sheet.tree.nodes
        if "data-trait" in node.attributes
    }
    for name in sorted(names):
        trait = f"{home}.{name}" if level == PART else name
        found = where_drawn(drawings, home if level == FAMILY else None, trait)
        if found is not None and (found.drawing.level, found.name) == (level, name):
            yield from ((trait, state) for state in (found.trait.states or [None]) if found.groups(state))


def _head(root: Node, box: str, title: str, desc: str) -> str:
    """How a picture with this box begins: its element and its words, for a stencil."""
    words = "".join(
        f'<{tag} id="{MARK}{tag}">{escape(text, quote=False)}</{tag}>' for tag, text in (("title", title), ("desc", desc))
    )
    attributes = {name: value for name, value in root.attributes.items() if name not in ("viewBox", "id")} | {
        "viewBox": box,
        "role": "img",
        "aria-labelledby": f"{MARK}title",
        "aria-describedby": f"{MARK}desc",
    }
    return f"{write(Node('svg', attributes, 0, 0)).removesuffix('/>')}>{words}"
