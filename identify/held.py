"""Claims by the words they stand on, and which of them say again what was said of the same unit."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from .phrases import SENTENCE, Token
from .vocabulary import Vocabulary

#: How an item of a list opens its line.
ITEM = re.compile(r"\s*(?:[-*\u2022\u2013]|\(?\d{1,2}[.)]|\(?[a-zA-Z][.)])\s")


@dataclass(frozen=True, slots=True)
class Held:
    """A claim by its words. last: those that decide; chars: of a figure, its very characters."""

    kind: str
    says: tuple[str, ...]
    at: tuple[int, ...]
    last: tuple[int, ...] = ()
    trait: str = ""
    chars: tuple[int, int] | None = None
    denied: bool = False
    hedged: bool = False

    @property
    def place(self) -> int:
        """The word it begins with, a place or a thing named before it left out."""
        return (self.last or self.at)[0]


def once(held: Sequence[Held], text: str, tokens: Sequence[Token], vocabulary: Vocabulary) -> Iterator[Held]:
    """Without what is said again of the same unit; every hedge stays. Another item of a list is another unit.

    A family named again after one of its kinds, as tender after whistle tender, is not news either.
    """
    said: set[tuple[object, ...]] = set()
    unit: dict[str, tuple[str, ...]] = {}
    kinds: dict[str, int] = {}
    items, sentences, item = item_starts(text, tokens), starts(tokens), -1
    for one in held:
        if (here := max((k for k in items if k <= one.place), default=-1)) != item:
            item = here
            said.clear()
        family, _, kind = one.says[0].partition("/")
        if one.kind == "name" and family in vocabulary.slots:
            sentence = max(k for k in sentences if k <= one.place)
            if kind:
                kinds.setdefault(family, sentence)
            elif not one.denied and kinds.get(family, sentence) != sentence:
                continue
        sort = "kind" if one.kind == "name" and family in vocabulary.slots else one.kind
        if sort in ("kind", "number"):
            if unit.get(sort, one.says) != one.says:
                said.clear()
            unit[sort] = one.says
        words = tuple(tokens[i].canon for i in one.last or one.at) if one.kind == "condition" else ()
        key = (one.kind, one.says, one.denied, words)
        if one.kind in ("hedge", "price") or key not in said:
            yield one
        said.add(key)


def starts(tokens: Sequence[Token]) -> list[int]:
    """The first word of each sentence."""
    return [i for i, token in enumerate(tokens) if i == 0 or token.stop >= SENTENCE]


def item_starts(text: str, tokens: Sequence[Token]) -> list[int]:
    """The first word of each line that opens as an item of a list."""
    found: list[int] = []
    for i in starts(tokens):
        line = text.rfind("\n", 0, tokens[i].start) + 1
        if ITEM.match(text, line) and not any(c.isalnum() for c in text[line : tokens[i].start]):
            found.append(i)
    return found
