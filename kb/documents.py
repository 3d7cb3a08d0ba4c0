"""Records as what a search looks through: one document a record, its texts by field, and how texts fall into words.

The command's index (`kb.search`) and the page's are made of these same documents, and both count ranks by the same rule:

    0  the whole query is one of its catalog numbers
    1  the whole query is its id or its name
    2  the whole query is a marking read off it
    3  the whole query is one of its catalog numbers but for spaces and hyphens
    4  a catalog number of its stands in the query
    5  a marking of its with a digit stands in the query
    6  anything else that was found

Documents of ranks 0 to 3 come in the order of `order_key`, the others by their score.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import NamedTuple

from .describe import NAMED_KINDS
from .load import Entries
from .models import Trait
from .resolve import Stated, moved, stated, traits_of
from .said import OPPOSITE, VERY, parts_of, unfolded
from .values import Fact, Years

#: The searched fields, each with its weight in the score.
WEIGHTS: Mapping[str, float] = {
    "numbers": 8.0,
    "markings": 4.0,
    "name": 5.0,
    "said": 4.0,
    "id": 3.0,
    "livery": 2.0,
    "maker": 1.5,
    "years": 1.0,
    "parts": 1.2,
    "states": 1.0,
    "about": 0.8,
}
#: No more than so many years of a span are found one by one.
MOST_YEARS = 60
#: The rank of what no number and no name singles out.
LAST_RANK = 6
#: Up to this rank the whole query named the record, and no score counts.
NAMED_RANK = 3

_WORD = r"[^\W_]+(?:['’][^\W_]+)*"
_JOINED = re.compile(rf"{_WORD}(?:[-./]{_WORD})*")
_PIECE = re.compile(_WORD)


class Word(NamedTuple):
    """A word as it is compared, and where it stands in the text."""

    text: str
    start: int
    end: int


@dataclass(frozen=True)
class Document:
    """One record for the search. `numbers` are catalog numbers, `markings` what can be read off a unit.

    home, home_kind: the family or the slot type it belongs to, and which of the two that is ("" of what belongs to neither).
    """

    kind: str
    id: str
    name: str
    home: str = ""
    home_kind: str = ""
    numbers: tuple[str, ...] = ()
    markings: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    livery: str = ""
    maker: str = ""
    years: Years | None = None
    states: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    about: str = ""

    @property
    def order_key(self) -> tuple[int, int, str]:
        """The order of documents that a query names equally well: by kind, the earliest first, then by id."""
        return NAMED_KINDS.index(self.kind), self.years.first if self.years else 9999, self.id

    def texts(self) -> dict[str, tuple[str, ...]]:
        """{field: texts} of what is searched, the fields without any left out."""
        found: dict[str, tuple[str, ...]] = {
            "name": (self.name,),
            "numbers": self.numbers,
            "markings": self.markings,
            "said": self.said,
            "id": (self.id,),
            "livery": (self.livery,),
            "maker": (self.maker,),
            "years": (str(self.years).replace("..", " to "),) if self.years else (),
            "parts": self.parts,
            "states": self.states,
            "about": (self.about,),
        }
        return {field: texts for field, texts in found.items() if any(texts)}

    def words(self) -> dict[str, list[str]]:
        """{field: words} as they are indexed: joined words whole and in pieces, numbers also without hyphens, each year."""
        found = {field: [word.text for text in texts for word in pieces(text)] for field, texts in self.texts().items()}
        if self.numbers:
            found["numbers"] += [squeezed(number) for number in self.numbers]
        if self.years:
            found["years"] = year_words(self.years)
        return found


# Words -------------------------------------------------------------------------------------------------------------------


def plain(word: str) -> str:
    """A word as it is compared: small letters, no accents, no apostrophes."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", word) if not unicodedata.combining(c))
    return bare.replace("'", "").replace("’", "").lower()


def words(text: str) -> list[Word]:
    """The words of a text in order; what hyphens, dots or slashes join is one word (`twin-gear`, `424-1`)."""
    return [Word(plain(found[0]), found.start(), found.end()) for found in _JOINED.finditer(text)]


def pieces(text: str) -> list[Word]:
    """As `words`, and after each joined one what it is joined of."""
    found: list[Word] = []
    for whole in words(text):
        found.append(whole)
        inside = [(one, whole.start + one.start()) for one in _PIECE.finditer(text[whole.start : whole.end])]
        if len(inside) > 1:
            found += [Word(plain(one[0]), start, start + len(one[0])) for one, start in inside]
    return found


def spelled(text: str) -> str:
    """A text as its words, for telling whether two say the same."""
    return " ".join(word.text for word in words(text))


def squeezed(text: str) -> str:
    """The letters and digits of a text alone: `TX-80` and `tx 80` are `tx80`."""
    return "".join(c for c in plain(text) if c.isalnum())


def year_words(years: Years | None) -> list[str]:
    """Each year of a span."""
    return [str(year) for year in range(years.first, min(years.last, years.first + MOST_YEARS - 1) + 1)] if years else []


def rank(document: Document, query: str) -> int:
    """How a document is named by a query that went through `spelled`; see the head of this file."""
    numbers = [spelled(number) for number in document.numbers]
    markings = [spelled(marking) for marking in document.markings]
    if query in numbers:
        return 0
    if query in (document.id, spelled(document.name)):
        return 1
    if query in markings:
        return 2
    if squeezed(query) in map(squeezed, document.numbers):
        return 3
    within = f" {query} "
    if any(f" {number} " in within for number in numbers):
        return 4
    if any(f" {marking} " in within for marking in markings if any(c.isdigit() for c in marking)):
        return 5
    return LAST_RANK


# Documents ---------------------------------------------------------------------------------------------------------------


def documents(
    entries: Entries, whole: Callable[[str], Stated] | None = None, wanted: Mapping[str, Sequence[str]] | None = None
) -> list[Document]:
    """Every record one can ask for, and every trait, in the order of kinds and ids.

    whole: gives a variant as it is stated, where somebody has them already.  wanted: {kind: ids in order} of the records that
    are wanted, all where None; with a family or slot type come its traits, and with "" those that all families share.
    """
    resolved = whole or cache(partial(stated, entries))
    if wanted is None:
        wanted = {kind: sorted(entries.of(kind)) for kind in NAMED_KINDS if kind != "trait"} | {"": [""]}
    makers: dict[str, Callable[[Entries, Sequence[str]], Iterator[Document]]] = {
        "variant": partial(_variants, resolved),
        "part": _parts,
        "set": partial(_sets, resolved),
        "family": _families,
        "slot type": _slot_types,
        "procedure": _procedures,
        "livery": _liveries,
        "maker": _makers,
        "source": _sources,
        "sighting": _sightings,
    }
    found: list[Document] = []
    for kind in NAMED_KINDS:
        if kind == "trait":
            found += _traits(entries, wanted)
        else:
            found += makers[kind](entries, wanted.get(kind, ()))
    return found


def _joined(*texts: str | None) -> str:
    """The texts that are there, as one. Accents are put together first, so that no word falls apart."""
    return unicodedata.normalize("NFC", " ".join(filter(None, texts)))


def _prose(*texts: str | None) -> str:
    """The texts that are there as one, each closed by a full stop."""
    return _joined(*(text if text.rstrip()[-1:] in ".!?:" else f"{text}." for text in texts if text))


def _each(texts: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(unicodedata.normalize("NFC", text) for text in texts if text))


def _variants(whole: Callable[[str], Stated], entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    traits, said = cache(partial(traits_of, entries)), cache(partial(_said_of, entries))
    for ident in idents:
        one = whole(ident)
        if not entries.variants[ident].signpost:
            yield _variant(entries, one, traits(one.family), said(one.family, one.kind, one.livery))
        else:
            now = [whole(other).name for other in moved(entries, ident)]
            yield Document(
                "variant", ident, _joined(one.name), one.family, "family", about=_prose(one.about, "Now: " + ", ".join(now))
            )


def _variant(entries: Entries, one: Stated, traits: Mapping[str, Trait], said: tuple[str, ...]) -> Document:
    family = entries.families[one.family]
    kind = family.kinds[one.kind].name if one.kind in family.kinds else None
    seen = {name: fact for name, fact in one.shows.items() if name in traits}
    parts = [part for fact in one.fitted.values() for part in fact.is_ if part in entries.parts]
    return Document(
        "variant",
        one.id,
        _joined(one.name),
        one.family,
        "family",
        said=said,
        numbers=_each([one.catalog_number]),
        markings=_each(choice for name, fact in seen.items() if traits[name].marking for choice in fact.is_),
        livery=_livery(entries, one.livery),
        maker=_maker(entries, family.maker),
        years=one.made,
        states=_each([kind, *_shown(seen, traits)]),
        parts=_each(entries.parts[part].name for part in parts),
        about=_prose(one.about),
    )


def phrases(*lists: Iterable[str]) -> tuple[str, ...]:
    """What people say, in plain words, from phrases as entries keep them (`kb.said`); those that deny something left out."""
    written = (one for row in lists for one in row if not one.startswith(OPPOSITE))
    plain_ones = (" ".join(parts_of(one)) for row in written for one in unfolded(row))
    return _each(one.replace(VERY, "") for one in plain_ones)


def _said_of(entries: Entries, family: str, kind: str | None, livery: str | None) -> tuple[str, ...]:
    """What people call a variant: by its livery, and by its kind."""
    worn, role = entries.liveries.get(livery or ""), entries.families[family].kinds.get(kind or "")
    return phrases(worn.said if worn else [], role.said if role else [])


def _shown(facts: Mapping[str, Fact], traits: Mapping[str, Trait]) -> Iterator[str]:
    """The names of the states that some facts say. What people call a state stands with its trait, once."""
    for name, fact in facts.items():
        states = (traits[name].states or {}) if name in traits else {}
        yield from (states[choice].name for choice in fact.is_ if choice in states)


def _livery(entries: Entries, ident: str | None) -> str:
    one = entries.liveries.get(ident or "")
    return _joined(*dict.fromkeys([one.name, one.railroad]), *one.colors) if one else ""


def _maker(entries: Entries, ident: str | None) -> str:
    one = entries.makers.get(ident or "")
    return _joined(one.name) if one else ""


def _parts(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.parts[ident]) for ident in idents):
        home = entries.home["part", ident]
        copied = entries.parts.get(one.reproduction_of or "")
        fits = [entries.families[family].name for family in one.fits if family in entries.families]
        yield Document(
            "part",
            ident,
            _joined(one.name),
            home,
            "slot type",
            said=phrases(one.said),
            maker=_maker(entries, one.maker),
            years=one.made,
            states=_each(_shown(one.shows, entries.slot_types[home].traits)),
            parts=_each([entries.slot_types[home].name, copied.name if copied else None, *fits]),
            about=_prose(one.about, one.tell),
        )


def _sets(whole: Callable[[str], Stated], entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.sets[ident]) for ident in idents):
        sat = [now for position in one.positions for written in position.variants for now in moved(entries, written)]
        fitted = [part for position in one.positions for fact in position.fitted.values() for part in fact.is_]
        parts = [entries.parts[part].name for part in fitted if part in entries.parts]
        yield Document(
            "set",
            ident,
            _joined(one.name),
            entries.home["set", ident],
            "family",
            said=phrases(one.said),
            numbers=_each([one.catalog_number]),
            years=one.made,
            parts=_each([*(whole(variant).name for variant in sat), *parts]),
            about=_prose(one.about, *(position.about for position in one.positions)),
        )


def _families(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.families[ident]) for ident in idents):
        yield Document(
            "family",
            ident,
            _joined(one.name),
            ident,
            "family",
            said=phrases(one.said, *(kind.said for kind in one.kinds.values()), *(spot.said for spot in one.damage.values())),
            maker=_maker(entries, one.maker),
            years=one.made,
            states=_each([*(kind.name for kind in one.kinds.values()), *(spot.name for spot in one.damage.values())]),
            parts=_each(slot.name for slot in one.slots.values()),
            about=_prose(one.about, *(kind.about for kind in one.kinds.values())),
        )


def _traits(entries: Entries, wanted: Mapping[str, Sequence[str]]) -> Iterator[Document]:
    homes = [(kind, home) for kind in ("", "family", "slot type") for home in wanted.get(kind, ())]
    for kind, home in homes:
        traits: Mapping[str, Trait] = entries.of(kind)[home].traits if kind else entries.traits
        for ident, one in sorted(traits.items()):
            states = list((one.states or {}).values())
            yield Document(
                "trait",
                f"{home}/{ident}" if home else ident,
                _joined(one.name),
                home,
                kind,
                said=phrases(one.said, *(state.said for state in states)),
                states=_each(state.name for state in states),
                about=_prose(one.about, one.look, one.ask, one.changes, *(state.about for state in states)),
            )


def _slot_types(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.slot_types[ident]) for ident in idents):
        traits = _each(trait.name for trait in one.traits.values())
        named = phrases(one.said)
        yield Document(
            "slot type", ident, _joined(one.name), ident, "slot type", said=named, states=traits, about=_prose(one.about)
        )


def _procedures(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.procedures[ident]) for ident in idents):
        serves = [entries.slot_types[slot_type].name for slot_type in one.serves if slot_type in entries.slot_types]
        yield Document(
            "procedure",
            ident,
            _joined(one.name),
            states=_each([*one.tools, *one.consumables]),
            parts=_each(serves),
            about=_prose(one.about, one.symptom, *one.steps),
        )


def _liveries(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.liveries[ident]) for ident in idents):
        livery = _livery(entries, ident)
        yield Document("livery", ident, _joined(one.name), said=phrases(one.said), livery=livery, about=_prose(one.about))


def _makers(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.makers[ident]) for ident in idents):
        about = _prose(one.place, one.about)
        yield Document("maker", ident, _joined(one.name), said=phrases(one.said), years=one.made, about=about)


def _sources(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.sources[ident]) for ident in idents):
        years = Years(one.year, one.year) if one.year else None
        yield Document(
            "source", ident, _joined(one.name), maker=_joined(one.author), years=years, about=_prose(one.where, one.about)
        )


def _sightings(entries: Entries, idents: Sequence[str]) -> Iterator[Document]:
    for ident, one in ((ident, entries.sightings[ident]) for ident in idents):
        year = int(one.seen[:4])
        marks = _markings_read(entries, one.verdict.variant, {name: answer.is_ for name, answer in one.answers.items()})
        yield Document(
            "sighting",
            ident,
            _joined(one.name or ident),
            entries.home["sighting", ident],
            "family",
            markings=marks,
            years=Years(year, year),
            about=_prose(one.label, one.note, one.exception, *one.evidence),
        )


def _markings_read(entries: Entries, variant: str | None, answers: Mapping[str, str | None]) -> tuple[str, ...]:
    """What was read off an examined unit whose variant is known."""
    if variant is None or variant not in entries.variants:
        return ()
    traits = traits_of(entries, entries.family_of(variant))
    return _each(answer for name, answer in answers.items() if name in traits and traits[name].marking)
