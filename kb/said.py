"""The language of the phrases that entries keep for reading sellers' texts, and what can be wrong with one.

plate coupler        these words in this order; small words (a, the, of, is ...) may stand between them
nose door + crack    both, in either order, a few words apart, in one sentence; the last part is the one that decides
_ black              what the trait or the slot is called, and "black", as if written with +
(bent/bowed) rail    either word
~all nuts there      says the opposite of what the phrases beside it say
EX                   up to four capitals are looked for in capitals
=works               this very word, no other form of it
"""

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cache, lru_cache
from typing import Any, NamedTuple, cast, get_args

from pydantic import BaseModel

from .files import Loc
from .findings import Kind, quoted
from .models import Sellers, Trait

#: Marks before a whole phrase and before a word.
OPPOSITE, VERY = "~", "="
#: What joins the parts of a phrase, and what stands for the thing it is said of.
JOINED, THING = "+", "_"
_WORDS = r"[^()+_]*[^\W_][^()+_]*"
#: A phrase in which nothing can be wrong, as nearly all are: words, and other words joined to them.
_PLAIN = re.compile(rf"~?(?:_ )?{_WORDS}(?: [+_] {_WORDS})*(?: _)?")
_JOINT = re.compile(r"(?<!\S)[_+](?!\S)")
#: How a field holds phrases: as a list, as lists by id, or in records by id.
LISTED, BY_ID, WITHIN = "listed", "by id", "within"


def unfolded(written: str) -> list[str]:
    """A phrase with each choice of its (alternatives/in brackets) made."""
    if "(" not in written:
        return [written]
    pieces = re.split(r"(\([^()]*\))", written)
    choices = [piece[1:-1].split("/") if piece.startswith("(") else [piece] for piece in pieces if piece]
    return ["".join(row) for row in itertools.product(*choices)]


def parts_of(unfolded_phrase: str) -> list[str]:
    """The parts that "+" and "_" join, without either."""
    if JOINED not in unfolded_phrase and THING not in unfolded_phrase:
        return [one] if (one := unfolded_phrase.strip()) else []
    return [piece.strip() for piece in _JOINT.split(unfolded_phrase) if piece.strip()]


class Wrong(NamedTuple):
    """One thing that is wrong with a phrase: the place in its record, what was found and what expected."""

    loc: Loc
    kind: Kind
    found: str
    expected: str


def check_said(record: BaseModel) -> Iterator[Wrong]:
    """Phrases of a record that nothing can be found by, and phrases that two states of one trait share."""
    if not _can_say(type(record)):
        return
    for loc, phrases in _phrases(record, ()):
        for index, written in enumerate(phrases):
            fault = _fault(written)
            if fault:
                yield Wrong([*loc, index], Kind.WRONG_VALUE, *fault)
    for loc, trait in _traits(record):
        yield from (Wrong([*loc, *more], kind, found, expected) for more, kind, found, expected in _shared(trait))


@cache
def _can_say(annotation: Any) -> bool:
    """Whether phrases can stand anywhere in values of this type; in most records, of which there are thousands, there cannot."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        fields = annotation.model_fields
        return annotation is Sellers or "said" in fields or any(_can_say(field.annotation) for field in fields.values())
    return any(_can_say(inner) for inner in get_args(annotation))


def _phrases(record: BaseModel, loc: Sequence[str | int]) -> Iterator[tuple[list[str | int], list[str]]]:
    """(place, phrases) of every list of phrases in a record."""
    for name, key, how in _where_said(type(record)):
        held = getattr(record, name)
        if how == LISTED:
            yield [*loc, key], held
        elif how == BY_ID:
            yield from (([*loc, key, ident], phrases) for ident, phrases in held.items())
        elif isinstance(held, dict):
            for ident, inner in cast("dict[object, BaseModel]", held).items():
                yield from _phrases(inner, [*loc, key, str(ident)])


@cache
def _where_said(model: type[BaseModel]) -> list[tuple[str, str, str]]:
    """(field, key, how it holds them) of the fields with phrases: a list, lists by id, or records by id that may say some."""
    found: list[tuple[str, str, str]] = []
    for name, field in model.model_fields.items():
        if name == "said" or (model is Sellers and name in ("idle", "loose", "speaking")):
            found.append((name, field.alias or name, LISTED))
        elif model is Sellers and name in ("condition", "defect", "shipping", "hedge"):
            found.append((name, field.alias or name, BY_ID))
        elif _can_say(field.annotation):
            found.append((name, field.alias or name, WITHIN))
    return found


@lru_cache(maxsize=1 << 14)
def _fault(written: str) -> tuple[str, str] | None:
    """(found, expected) where nothing can ever be found by a phrase; families that are alike say the same phrases."""
    if _PLAIN.fullmatch(written):
        return None
    bare = re.sub(r"\([^()]*\)", "", written)
    if "(" in bare or ")" in bare:
        return quoted(written), "each bracket of a phrase closed, none inside another"
    for one in unfolded(written.removeprefix(OPPOSITE)):
        if not parts_of(one) or not all(re.search(r"[^\W_]|[$&]", part) for part in parts_of(one)):
            return quoted(written), "a phrase with a word in each of its parts"
        if re.search(r"^\s*\+|\+\s*$|(?<!\S)\+\s+\+(?!\S)", one):
            return quoted(written), 'words on both sides of a "+"'
    return None


def _traits(record: BaseModel) -> Iterator[tuple[list[str | int], Trait]]:
    if isinstance(record, Trait):
        yield [], record
    held: Mapping[str, Trait] = getattr(record, "traits", {})
    yield from ((["traits", ident], trait) for ident, trait in held.items())


def _shared(trait: Trait) -> Iterator[tuple[list[str | int], Kind, str, str]]:
    """What is said of two states of a trait; and what is said to fit several that are none of it."""
    first: dict[str, str] = {}
    for state, record in (trait.states or {}).items():
        for index, written in enumerate(record.said):
            for one in unfolded(written):
                other = first.setdefault(" ".join(one.lower().split()), state)
                if other != state:
                    where = ["states", state, "said", index]
                    yield (
                        where,
                        Kind.DUPLICATE,
                        quoted(one),
                        f'a phrase of one state; "{other}" has it too (or under "vague", for both)',
                    )
    for phrase, states in trait.vague.items():
        for index, state in enumerate(states):
            if state not in (trait.states or {}):
                yield ["vague", phrase, index], Kind.UNKNOWN_STATE, quoted(state), "a state of the trait"
