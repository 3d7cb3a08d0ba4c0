"""Drawings of units and parts: one drawing of a view holds every alternative of every trait seen there.

Where a drawing lies, and whose traits it draws:

    drawings/<view>.svg                              the common traits of `traits.yaml`
    families/<family>/drawings/<view>.svg            the family's own traits in that view
    families/<family>/drawings/<view>-<kind>.svg     the same for one kind, as far as it looks different
    parts/<slot type>/drawing.svg                    the traits of a loose part, from every side

It is plain SVG (`kb.svg` says what is let through) with these marks of ours:

    <g data-trait="horn-seat" data-state="no-hole">  one alternative; its <title> says what distinguishes it.  All but one
                                                     state of a trait carry display="none".  A state may stand in several
                                                     groups, the later ones without a title.
    <g data-trait="number-height" data-measured="" display="none">   the dimension line of a measured trait
    <g data-trait="number" data-marking="">          the area and a sample of a marking
    <g data-panel="horn-seat">                       a part of the sheet that stands by itself, such as an enlarged detail
    <g data-only="picture">                          in an alternative: for its own picture alone, such as the dashed outline
                                                     of what is absent
    <g data-slot="horn">                             what belongs to a slot
    <path data-paint="main-color" ...>               in a whole view: drawn in the color that the state of this trait has in its
                                                     own picture; as written where no state is known
    <g data-damage="roof-warp" display="none">       where a damage spot is
    <view id="crop-horn-seat" viewBox="..."/>        what the pictures of a trait show of the sheet; it stands in the panel it
                                                     frames, and then the pictures hold nothing but that panel
    <view id="body" viewBox="..."/>                  the whole body, without air around it and without panels

Colors are `currentColor`, `var(--paper, ...)`, `var(--shade, ...)` and `var(--mark, ...)`; a color of its own is for
alternatives alone, where color is what tells states apart.  Traits that nobody can see in a drawing need none: those of
the views in `NOT_DRAWN`.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property, partial
from pathlib import Path

from .files import read_bytes
from .findings import BadInput, Finding, Kind, listed, nearest, quoted
from .load import Entries
from .models import Trait
from .resolve import slots_of, traits_of, views_of
from .stencils import Stencil
from .svg import COLOR, Node, parse

#: Views in which a trait is heard, measured on the bench or read, so that it need not be drawn.
NOT_DRAWN = frozenset({"running", "bench", "paper", "box"})

#: So many trees are kept at most.
MOST_KEPT = 1_000

PLACES = "drawings/*.svg, families/*/drawings/*.svg or parts/*/drawing.svg"
#: The attributes that name the form of what is drawn, and all that may name something of the entries.
FORMS = ("data-state", "data-measured", "data-marking")
MARKS = frozenset({"data-trait", "data-paint", "data-slot", "data-damage", "id", *FORMS})
COMMON, FAMILY, PART = "common", "family", "slot type"


class Tree:
    """What a file draws: its elements, and where to find them.  Files with the same content share one, and nobody changes it."""

    def __init__(self, root: Node) -> None:
        self.root = root

    @cached_property
    def nodes(self) -> tuple[Node, ...]:
        """Every element, in the order of the file."""
        return tuple(self.root.all())

    @cached_property
    def panels(self) -> list[tuple[Node, set[int]]]:
        """Each panel, with the identities of the elements in it."""
        return [(node, {id(inner) for inner in node.all()}) for node in self.nodes if "data-panel" in node.attributes]

    @cached_property
    def around_panels(self) -> Mapping[str, set[int]]:
        """{panel: the identities of the elements that it stands in}."""
        found: dict[str, set[int]] = {}

        def look(node: Node, around: frozenset[int]) -> None:
            if "data-panel" in node.attributes:
                found.setdefault(node.attributes["data-panel"], set()).update(around)
            if not node.fixed:
                for child in node.elements:
                    look(child, around | {id(node)})

        look(self.root, frozenset())
        return found

    @cached_property
    def _by_trait(self) -> Mapping[str, list[Node]]:
        found: dict[str, list[Node]] = {}
        for node in self.nodes:
            if "data-trait" in node.attributes:
                found.setdefault(node.attributes["data-trait"], []).append(node)
        return found

    @cached_property
    def _by_id(self) -> Mapping[str, Node]:
        return {node.attributes["id"]: node for node in reversed(self.nodes) if "id" in node.attributes}

    def groups(self, trait: str) -> list[Node]:
        """The alternatives, dimension line or lettering area of a trait."""
        return self._by_trait.get(trait, [])

    def crop(self, trait: str) -> Node | None:
        """The `view` element that frames the pictures of a trait."""
        return self._by_id.get(f"crop-{trait}")

    def panel(self, trait: str) -> Node | None:
        """The panel in which the crop of a trait stands; None: in the main drawing."""
        crop = self.crop(trait)
        return next((panel for panel, inside in self.panels if id(crop) in inside), None)

    def framed(self, trait: str) -> list[Node]:
        """The groups of a trait that its pictures show: those in the same panel as its crop."""
        if trait not in self._framed:
            crop = self.crop(trait)
            home = [id(crop) in inside for _, inside in self.panels]
            groups = self.groups(trait)
            self._framed[trait] = [node for node in groups if [id(node) in inside for _, inside in self.panels] == home]
        return self._framed[trait]

    @cached_property
    def stencils(self) -> dict[tuple[str, str | None], Stencil]:
        """For pictures of it, as far as `kb.pictures` has cut them."""
        return {}

    @cached_property
    def _framed(self) -> dict[str, list[Node]]:
        return {}


@dataclass(frozen=True)
class Drawing:
    """One file.  `home`: the family or slot type ("": common traits); `view`: "" for a part; `kind`: the one it is for."""

    path: str
    level: str
    home: str
    view: str
    kind: str | None
    tree: Tree


@dataclass(frozen=True)
class Drawings:
    """All drawings that could be read, by path below the root, and the entries they draw."""

    entries: Entries
    files: Mapping[str, Drawing]

    @cached_property
    def traits(self) -> Callable[[str], Mapping[str, Trait]]:
        """All traits of a family by its id, worked out once."""
        return cache(partial(traits_of, self.entries))

    def of(self, level: str, home: str) -> list[Drawing]:
        """The drawings of a family, a slot type, or of the common traits; those of a single kind last."""
        found = [one for one in self.files.values() if (one.level, one.home) == (level, home)]
        return sorted(found, key=lambda one: (one.kind is not None, one.path))


def read_drawings(entries: Entries) -> tuple[Drawings, list[Finding]]:
    """Every drawing below the root of the entries, and everything that is wrong with them."""
    read = [_read(entries, path) for path in _paths(entries.root)]
    findings = [finding for _, found in read for finding in found]
    safe = {drawing.path: drawing for drawing, found in read if drawing is not None and not found}
    drawings = Drawings(entries, safe)
    findings += [finding for drawing in safe.values() for finding in _Checker(entries, drawing, drawings.traits).all()]
    return drawings, sorted(set(findings))


def check_drawing(entries: Entries, shown: str, traits: Callable[[str], Mapping[str, Trait]]) -> list[Finding]:
    """Everything that is wrong with the drawing at a path below the root; nothing with a link that leads out of the folder.

    traits: all traits of a family by its id.
    """
    path = entries.root / shown
    if path.is_symlink() and not path.resolve().is_relative_to(entries.root.resolve()):
        return []
    drawing, unsafe = _read(entries, path)
    return unsafe if drawing is None or unsafe else [*_Checker(entries, drawing, traits).all()]


def safe_drawings(entries: Entries, paths: Iterable[Path]) -> dict[str, Drawing]:
    """{path below the root: drawing} of those of the files that hold nothing but what is let through."""
    read = (_read(entries, path) for path in paths)
    return {drawing.path: drawing for drawing, findings in read if drawing is not None and not findings}


def _read(entries: Entries, path: Path) -> tuple[Drawing | None, list[Finding]]:
    """A drawing, if it could be read, and what is in it that may not be there."""
    shown = path.relative_to(entries.root).as_posix()
    place = _place(entries, shown)
    if place is None or isinstance(place, Finding):
        return None, [place] if place else []
    try:
        tree, unsafe = _tree(read_bytes(path, shown), shown)
    except BadInput as error:
        return None, error.findings
    return Drawing(shown, *place, tree), unsafe


def _tree(data: bytes, shown: str) -> tuple[Tree, list[Finding]]:
    """As `parse` has it. A long-lived process reads the same drawings for build after build."""
    if data in _SOUND:
        return _SOUND[data], []
    root, unsafe = parse(data, shown)
    tree = Tree(root)
    if not unsafe:
        if len(_SOUND) >= MOST_KEPT:
            _SOUND.clear()
        _SOUND[data] = tree
    return tree, unsafe


#: The trees of the files in which nothing was found that may not be there, by their content.
_SOUND: dict[bytes, Tree] = {}


def traits_in(entries: Entries, drawing: Drawing) -> Mapping[str, Trait]:
    """The traits that may be drawn in a file, by the id it uses."""
    if drawing.level == COMMON:
        return entries.traits
    if drawing.level == PART:
        return entries.slot_types[drawing.home].traits
    return traits_of(entries, drawing.home)


def traits_due(entries: Entries, drawing: Drawing) -> Mapping[str, Trait]:
    """The traits that a file must draw: those of its home and view; a drawing of one kind owes none."""
    if drawing.kind is not None:
        return {}
    own = entries.families[drawing.home].traits if drawing.level == FAMILY else traits_in(entries, drawing)
    return {
        name: trait
        for name, trait in own.items()
        if trait.view not in NOT_DRAWN and (drawing.level == PART or trait.view == drawing.view)
    }


def _paths(root: Path) -> list[Path]:
    inside = root.resolve()
    found = [path for path in root.rglob("*.svg") if path.resolve().is_relative_to(inside)]
    hidden = (".", "__")
    return sorted(path for path in found if not any(step.startswith(hidden) for step in path.relative_to(root).parts))


def _place(entries: Entries, shown: str) -> tuple[str, str, str, str | None] | Finding | None:
    """(level, home, view, kind) of a drawing by its path; a finding when none lies there; None when its home is unreadable."""
    steps = shown.removesuffix(".svg").split("/")
    match steps:
        case ["drawings", name]:
            return _viewed(entries, shown, COMMON, "", name)
        case ["families", home, "drawings", name]:
            level = FAMILY
        case ["parts", home, "drawing"]:
            level, name = PART, ""
        case _:
            return Finding(shown, 0, 0, Kind.MISPLACED, "a drawing where none lies", PLACES)
    records = entries.families if level == FAMILY else entries.slot_types
    if home not in records and (level, home) in entries.places:
        return None
    if home not in records:
        known = sorted(records)
        return Finding(shown, 0, 0, Kind.DANGLING, f"a drawing of {quoted(home)}", f"the id of a {level}", nearest(home, known))
    return _viewed(entries, shown, FAMILY, home, name) if level == FAMILY else (PART, home, "", None)


def _viewed(entries: Entries, shown: str, level: str, home: str, name: str) -> tuple[str, str, str, str | None] | Finding | None:
    views = views_of(entries, home or None)
    kinds = entries.families[home].kinds if home else {}
    names = {view: (view, None) for view in views} | {f"{view}-{kind}": (view, kind) for view in views for kind in kinds}
    if name not in names and "knowledge base" in entries.lost:
        return None
    if name not in names:
        expected = f"a view, or a view and a kind: {listed(views)}" if kinds else f"a view: {listed(views)}"
        return Finding(shown, 0, 0, Kind.DANGLING, f"a drawing named {quoted(name)}", expected, nearest(name, names))
    view, kind = names[name]
    return level, home, view, kind


class _Checker:
    """What must hold between a drawing and the entries."""

    def __init__(self, entries: Entries, drawing: Drawing, traits: Callable[[str], Mapping[str, Trait]]) -> None:
        self.entries, self.drawing = entries, drawing
        self.traits = traits(drawing.home) if drawing.level == FAMILY else traits_in(entries, drawing)
        family = entries.families.get(drawing.home) if drawing.level == FAMILY else None
        self.slots = slots_of(entries, drawing.home) if family else {}
        self.damage = family.damage if family else {}

    def all(self) -> Iterator[Finding]:
        root = self.drawing.tree.root
        for tag in ("title", "desc"):
            if not root.words(tag):
                yield self.say(root, Kind.MISSING_KEY, f"no <{tag}> of the whole drawing", f"a <{tag}> below <svg>")
        if len(root.attributes.get("viewBox", "").split()) != 4:
            yield self.say(root, Kind.MISSING_KEY, "no viewBox of four numbers", 'viewBox="0 0 width height"')
        yield from self.marks()
        for name in self.named:
            yield from self.drawn(name, self.traits[name])
        for name in traits_due(self.entries, self.drawing):
            if name not in self.named:
                yield self.say(
                    root, Kind.MISSING_KEY, f"no drawing of the trait {quoted(name)}", "every trait of this view drawn"
                )

    def say(self, node: Node, kind: Kind, found: str, expected: str, near: str | None = None) -> Finding:
        return Finding(self.drawing.path, node.line, node.column, kind, found, expected, near)

    @cached_property
    def named(self) -> dict[str, None]:
        """The known traits that some group names."""
        names = (node.attributes.get("data-trait", "") for node in self.drawing.tree.nodes)
        return dict.fromkeys(name for name in names if name in self.traits)

    def marks(self) -> Iterator[Finding]:
        """Ids that mean nothing, and colors outside alternatives."""
        waiting: list[tuple[Node, bool]] = [(self.drawing.tree.root, False)]
        while waiting:
            node, inside = waiting.pop()
            inside = inside or "data-trait" in node.attributes
            if not MARKS.isdisjoint(node.attributes):
                yield from self.mark(node)
            if not inside:
                yield from self.color(node)
            waiting += [(child, inside) for child in node.children if isinstance(child, Node)]

    def mark(self, node: Node) -> Iterator[Finding]:
        """What is wrong with the marks of one element."""
        given = node.attributes
        known = (
            ("data-trait", self.traits, "trait"),
            ("data-paint", self.traits, "trait"),
            ("data-slot", self.slots, "slot"),
            ("data-damage", self.damage, "damage spot"),
        )
        for mark, ids, word in known:
            if mark in given and given[mark] not in ids:
                expected = f"the id of a {word}: {listed(ids)}" if ids else f"no {word} here"
                yield self.say(node, Kind.DANGLING, f"{mark}={quoted(given[mark])}", expected, nearest(given[mark], ids))
        forms = [form for form in FORMS if form in given]
        if ("data-trait" in given) != (len(forms) == 1):
            found = f"data-trait with {listed(forms) or 'none of them'}" if "data-trait" in given else f"{forms[0]} alone"
            yield self.say(node, Kind.WRONG_VALUE, found, "data-trait with one of data-state, data-measured and data-marking")
        if given.get("id", "").startswith("crop-") and given["id"].removeprefix("crop-") not in self.named:
            near = nearest(given["id"].removeprefix("crop-"), self.named)
            yield self.say(node, Kind.DANGLING, f"id={quoted(given['id'])}", '"crop-" and the id of a trait drawn here', near)

    def color(self, node: Node) -> Iterator[Finding]:
        """A color of its own, where an element is in no alternative."""
        for paint in ("fill", "stroke"):
            written = node.attributes.get(paint, "")
            if written.startswith("#") and re.fullmatch(COLOR, written):
                found = f"{paint}={quoted(written)} outside an alternative"
                yield self.say(node, Kind.WRONG_VALUE, found, "currentColor, or var(--paper), var(--shade) or var(--mark)")

    def drawn(self, name: str, trait: Trait) -> Iterator[Finding]:
        """Whether a drawn trait has the right form and known states; and, if it is due here, is drawn whole and framed."""
        groups = self.drawing.tree.groups(name)
        form = "data-state" if trait.states is not None else "data-measured" if trait.measured else "data-marking"
        wrong = [node for node in groups if form not in node.attributes]
        for node in wrong:
            yield self.say(
                node, Kind.WRONG_VALUE, f"the trait {quoted(name)} without {form}", f"{form}, as the trait is of that form"
            )
        if wrong:
            return
        due = name in traits_due(self.entries, self.drawing)
        if trait.states is not None:
            yield from self.states(name, trait.states, groups, due)
        if due and self.drawing.tree.crop(name) is None:
            expected = f'<view id="crop-{name}" viewBox="..."/>'
            yield self.say(groups[0], Kind.MISSING_KEY, f"no crop of the trait {quoted(name)}", expected)
        elif due:
            yield from self.whole(name, trait, groups)

    def whole(self, name: str, trait: Trait, groups: list[Node]) -> Iterator[Finding]:
        """Whether there is a titled alternative for every state where the pictures are taken from."""
        framed = self.drawing.tree.framed(name)
        titled = {node.attributes.get("data-state", "") for node in framed if node.words("title")}
        drawn = {node.attributes.get("data-state", ""): node for node in reversed(framed)}
        for state in trait.states or [""]:
            if state not in drawn:
                found = f"no alternative for the state {quoted(state)}" if state else f"no group of {name} where its crop is"
                yield self.say(groups[0], Kind.MISSING_KEY, found, f"one for each state of {name}" if state else "one there")
            elif state not in titled:
                expected = "a <title> that says what distinguishes it"
                yield self.say(drawn[state], Kind.MISSING_KEY, "an alternative without <title>", expected)

    def states(self, name: str, states: Mapping[str, object], groups: list[Node], due: bool) -> Iterator[Finding]:
        """Whether the states exist, and one of them is shown; of a trait that is drawn besides, at most one."""
        for node in groups:
            state = node.attributes["data-state"]
            if state not in states:
                expected = f"a state of {name}: {listed(states)}"
                yield self.say(node, Kind.UNKNOWN_STATE, f"data-state={quoted(state)}", expected, nearest(state, states))
        shown = {node.attributes["data-state"] for node in groups if "display" not in node.attributes}
        if len(shown) > 1 or (due and not shown):
            found = f"{listed(shown) or 'no state'} of {name} shown"
            yield self.say(groups[0], Kind.WRONG_VALUE, found, 'one state shown, the others with display="none"')
