"""YAML text to plain values, with the line and column of each, within limits a hostile file cannot pass.

A scalar stays the text that was written (`0421` is not a number yet); the models decide what it must be.
"""

import re
from collections.abc import Callable, Iterator
from functools import cache, cached_property, lru_cache
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLStreamError
from ruamel.yaml.events import (
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from ruamel.yaml.reader import ReaderError
from ruamel.yaml.resolver import VersionedResolver

from .files import Loc
from .findings import BadInput, Finding, Kind, quoted

MOST_DEPTH = 20
MOST_VALUES = 200_000
#: Nesting the C composer survives with a wide margin; deeper text is refused before it is composed.
SAFE_NESTING = 1_000

#: The indicators a line begins with; a line may end in more ways than one.
INDENT = re.compile(r"(?:^|(?<=[\r\x85\u2028\u2029]))[ \t\-?:]+", re.MULTILINE)
#: Plain scalars that stand for no value.
NULLS = frozenset({"", "~", "null", "Null", "NULL"})


def _nesting(text: str) -> int:
    """An upper bound of how deep the text nests, without parsing it."""
    indent = max(map(len, INDENT.findall(text)), default=0)
    return text.count("[") + text.count("{") + indent


class _AsWritten(VersionedResolver):
    """Gives no scalar a type: what `0421` is, the models decide."""

    def resolve(self, kind: type[Node], value: object, implicit: object) -> str:  # noqa: ARG002
        """The tag of a node that was written without one."""
        return TAGS[kind]


TAGS: dict[type[Node], str] = {
    ScalarNode: "tag:yaml.org,2002:str",
    SequenceNode: "tag:yaml.org,2002:seq",
    MappingNode: "tag:yaml.org,2002:map",
}


@cache
def _yaml() -> YAML:
    """The parser on the C library; it keeps nothing between documents."""
    yaml = YAML(typ="safe", pure=False)
    yaml.Resolver = _AsWritten
    return yaml


def compose(text: str, shown: str) -> Node | None:
    """The node tree of one YAML document; None when it is empty. Raises BadInput."""
    if _nesting(text) > SAFE_NESTING and _deepest(text) > SAFE_NESTING:
        raise BadInput([Finding(shown, 0, 0, Kind.LIMIT, "very deep nesting", f"at most {MOST_DEPTH} levels")])
    try:
        return _yaml().compose(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        problem = " ".join(str(part) for part in (error.context, error.problem) if part).removeprefix("found ")
        expected = (
            "a closing } or ], or quotes around a text with ? : , # inside them" if "flow" in problem else "one YAML document"
        )
        raise BadInput([Finding(shown, line, column, Kind.UNREADABLE, problem, expected)]) from None
    except (ReaderError, YAMLStreamError):
        raise BadInput([Finding(shown, *_control(text), Kind.UNREADABLE, "a control character", "printable text")]) from None


def _control(text: str) -> tuple[int, int]:
    """Line and column of the first character YAML does not allow; (0, 0) when there is none."""
    for number, line in enumerate(text.split("\n"), 1):
        for column, character in enumerate(line, 1):
            if character != "\t" and (character < " " or "\x7f" <= character <= "\x9f" or character in "\ufffe\uffff"):
                return number, column
    return 0, 0


def _deepest(text: str) -> int:
    """How deep the text really nests, from its events (which need no recursion); 0 when it cannot be parsed."""
    depth = deepest = 0
    try:
        for event in _yaml().parse(text):
            name = type(event).__name__
            depth += name in ("MappingStartEvent", "SequenceStartEvent")
            depth -= name in ("MappingEndEvent", "SequenceEndEvent")
            deepest = max(deepest, depth)
            if deepest > SAFE_NESTING:
                break
    except (MarkedYAMLError, ReaderError, YAMLStreamError):
        pass
    return deepest


class _Values:
    """Turns nodes into plain values; collects the findings on the way. `tagged`: there may be tags to refuse."""

    def __init__(self, shown: str, tagged: bool) -> None:
        self.shown, self.tagged = shown, tagged
        self.findings: list[Finding] = []
        self.left = MOST_VALUES

    def _say(self, node: Node, kind: Kind, found: str, expected: str) -> None:
        mark = node.start_mark
        self.findings.append(Finding(self.shown, mark.line + 1, mark.column + 1, kind, found, expected))

    def value(self, node: Node, depth: int = 0) -> Any:
        self.left -= 1
        if self.left == 0:
            self._say(node, Kind.LIMIT, f"more than {MOST_VALUES:,} values", "fewer; mind what the aliases repeat")
        if self.left <= 0:
            return None
        if depth > MOST_DEPTH:
            self._say(node, Kind.LIMIT, f"more than {MOST_DEPTH} levels", f"at most {MOST_DEPTH} levels")
            self.left = 0
            return None
        if self.tagged and str(node.tag) != TAGS.get(type(node)):
            self._say(node, Kind.WRONG_VALUE, f"the tag {node.tag}", "a value without a tag")
            return None
        if isinstance(node, ScalarNode):
            plain = not node.style
            return None if plain and node.value in NULLS else str(node.value)
        if isinstance(node, SequenceNode):
            return [self.value(item, depth + 1) for item in node.value]
        return self._mapping(node, depth) if isinstance(node, MappingNode) else None

    def _mapping(self, node: MappingNode, depth: int) -> dict[str, Any]:
        values: dict[str, Any] = {}
        first: dict[str, int] = {}
        for key_node, value_node in node.value:
            key = self.value(key_node, depth + 1)
            if self.left <= 0:
                break
            if not isinstance(key, str):
                self._say(key_node, Kind.WRONG_VALUE, f"{quoted(key)} as a key", "a text as a key")
                continue
            if key in first:
                self._say(key_node, Kind.DUPLICATE, f'the key "{key}" again', f"it once; it is on line {first[key]} already")
                continue
            first[key] = key_node.start_mark.line + 1
            values[key] = self.value(value_node, depth + 1)
        return values


@cache
def _events_of() -> Callable[[str], Callable[[], Event]] | None:
    """What gives the events of a text one by one; None on an interpreter that the C library is not made for."""
    try:
        from _ruamel_yaml import CParser
    except ImportError:
        return None
    return lambda text: CParser(text).get_event


class _Odd(Exception):
    """There is something in the document that is looked at closely, with its place."""


class _Quick:
    """Plain values straight from the parser's events, for documents with nothing odd in them: most of them, in half the time.

    It goes no deeper than a document may, and what it takes in grows only with the text, so that nothing need be known of either.
    """

    def __init__(self, events: Callable[[], Event]) -> None:
        self.next = events
        self.values = 0

    def document(self) -> Any:
        """The only document; None when there is none. Raises _Odd."""
        self.next()
        if isinstance(self.next(), StreamEndEvent):
            return None
        plain = self.value(self.next(), 0)
        self.next()
        if not isinstance(self.next(), StreamEndEvent) or self.values >= MOST_VALUES:
            raise _Odd
        return plain

    def value(self, event: Event, depth: int) -> Any:
        """The value that begins with this event."""
        self.values += 1
        if event.anchor is not None or event.tag is not None:  # type: ignore[attr-defined]
            raise _Odd
        if isinstance(event, ScalarEvent):
            return self.scalar(event)
        if isinstance(event, SequenceStartEvent):
            return self.sequence(depth + 1)
        if isinstance(event, MappingStartEvent):
            return self.mapping(depth + 1)
        raise _Odd

    def scalar(self, event: ScalarEvent) -> str | None:
        value: str = event.value
        return None if not event.style and value in NULLS else value

    def ahead(self, depth: int) -> Callable[[], Event]:
        """What gives the events of a level. Raises _Odd where no level may be."""
        if depth > MOST_DEPTH:
            raise _Odd
        return self.next

    # In both of these, what is said again of scalars, of which nearly all there is consists, spares them the way through `value`.

    def sequence(self, depth: int) -> list[Any]:
        found: list[Any] = []
        ahead = self.ahead(depth)
        while not isinstance(event := ahead(), SequenceEndEvent):
            if isinstance(event, ScalarEvent) and event.tag is None and event.anchor is None:
                found.append(event.value if event.style or event.value not in NULLS else None)
            else:
                found.append(self.value(event, depth))
        self.values += len(found)
        return found

    def mapping(self, depth: int) -> dict[str, Any]:
        found: dict[str, Any] = {}
        ahead = self.ahead(depth)
        while not isinstance(event := ahead(), MappingEndEvent):
            if not isinstance(event, ScalarEvent) or event.tag is not None or event.anchor is not None:
                raise _Odd
            key = event.value
            if key in found or (not event.style and key in NULLS):
                raise _Odd
            event = ahead()
            if isinstance(event, ScalarEvent) and event.tag is None and event.anchor is None:
                found[key] = event.value if event.style or event.value not in NULLS else None
            else:
                found[key] = self.value(event, depth)
        self.values += 2 * len(found)
        return found


def read(text: str, shown: str) -> Any:
    """Plain values of a document: dict, list, str, None. Raises BadInput with every finding."""
    events_of = _events_of()
    if events_of:
        try:
            return _Quick(events_of(text)).document()
        except (_Odd, MarkedYAMLError, ReaderError, YAMLStreamError):
            pass
    return _read_closely(text, shown)


def _read_closely(text: str, shown: str) -> Any:
    """The same, from nodes that know their places."""
    node = compose(text, shown)
    if node is None:
        return None
    values = _Values(shown, tagged="!" in text)
    plain = values.value(node)
    if values.findings:
        raise BadInput(values.findings)
    return plain


class Places:
    """Finds the line and column of a value by its path in the document; composes the text once, when first asked."""

    def __init__(self, text: str, shown: str) -> None:
        self.shown = shown
        self._text = text

    @cached_property
    def _root(self) -> Node | None:
        return compose(self._text, self.shown)

    def at(self, loc: Loc, key: bool = False) -> tuple[int, int]:
        """1-based line and column of the value at `loc` (with `key`: of its key); of the deepest part of `loc` that exists."""
        node = mark_node = self._root
        for number, step in enumerate(loc, 1):
            found = next(_children(node, step), None)
            if found is not None:
                key_node, node = found
                mark_node = key_node if key and number == len(loc) else node
        if mark_node is None:
            return 1, 1
        return mark_node.start_mark.line + 1, mark_node.start_mark.column + 1


@lru_cache(maxsize=4)
def places_in(text: str, shown: str) -> Places:
    """The places of a document, so that a file with a thousand mistakes is composed once."""
    return Places(text, shown)


def _children(node: Node | None, step: str | int) -> Iterator[tuple[Node, Node]]:
    """(key node or item, value node) of the child called `step`; a list of names has the child of each name."""
    if isinstance(node, MappingNode):
        yield from ((key, value) for key, value in node.value if isinstance(key, ScalarNode) and key.value == str(step))
    elif isinstance(node, SequenceNode) and isinstance(step, int):
        yield from ((item, item) for item in node.value[step : step + 1])
    elif isinstance(node, SequenceNode):
        yield from ((item, item) for item in node.value if isinstance(item, ScalarNode) and item.value == step)
