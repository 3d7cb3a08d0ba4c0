"""Finding records by words: tolerant of typing mistakes, catalog numbers first.  The one module that knows the index's library.

The index is a Whoosh index in memory, pickled into the cache folder: making it takes about two milliseconds a record, reading
it back about ten for six hundred.  A score is Whoosh's BM25F with the weights of `kb.documents`; a word that only begins like
the asked one, or is spelled a little otherwise, counts for less.
"""

import importlib
import warnings
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from rapidfuzz import process
from rapidfuzz.distance import OSA

from .cache import derived
from .documents import NAMED_RANK, WEIGHTS, Document, Word, documents, pieces, rank, spelled, squeezed, words
from .findings import Unreadable, quoted
from .load import Entries

with warnings.catch_warnings():
    # Whoosh 2.7.4 has "\." and the like in plain strings, which newer Pythons complain of while they compile it.
    warnings.simplefilter("ignore")
    importlib.import_module("whoosh.codec.whoosh3")  # the library itself would import it late
    from whoosh import query as q
    from whoosh.analysis import SpaceSeparatedTokenizer
    from whoosh.fields import STORED, TEXT, Schema
    from whoosh.filedb.filestore import RamStorage
    from whoosh.index import Index as Inverted

MOST_CHARACTERS = 200
#: A word is taken for another at so many mistakes (a letter more, less, wrong, or two swapped), by its own length.
MISTAKES = ((8, 2), (4, 1))
#: What a word counts that is the asked one without a plural's ending, begins like it, or is spelled a little otherwise.
PLURAL, BEGINS, MISSPELLED = 0.9, 0.5, 0.4
#: A word stands for no more than so many others.
MOST_OTHERS = 40
MOST_SUGGESTIONS = 3
#: Characters of a text that are shown around what was found in it, and how far before it they begin.
SHOWN, BEFORE = 140, 40
#: So many fields of a hit are shown.
MOST_FIELDS = 3


class Shown(NamedTuple):
    """A piece of a field's text, and the (start, end) of what was found in it."""

    field: str
    text: str
    marks: tuple[tuple[int, int], ...]


class Meant(NamedTuple):
    """{word of the record: weight} for each piece of an asked word, and for it whole; no piece where nobody used the word."""

    each: list[dict[str, float]]
    whole: dict[str, float]


#: {word of the record: the (asked word, piece of it) it stands for}
Meaning = Mapping[str, Collection[tuple[int, int]]]


@dataclass(frozen=True)
class Hit:
    """A record that was found, and where."""

    document: Document
    score: float
    where: tuple[Shown, ...]

    def as_dict(self) -> dict[str, Any]:
        """For `--json`."""
        one = self.document
        numbers = {"numbers": list(one.numbers)} if one.numbers else {}
        where = [
            {"field": shown.field, "text": shown.text, "marks": [list(mark) for mark in shown.marks]} for shown in self.where
        ]
        return {"kind": one.kind, "id": one.id, "name": one.name, **numbers, "score": round(self.score, 3), "where": where}


@dataclass(frozen=True)
class Found:
    """What a search gave. `count`: of all, of which `hits` are the first; `all_words`: whether each hit has every word."""

    hits: tuple[Hit, ...]
    count: int
    all_words: bool
    suggestions: tuple[str, ...]


@dataclass(frozen=True)
class Store:
    """What is kept between runs: the documents, the files of their index, and in how many documents each word stands.

    proper: the words that stand anywhere but among what people say, where misspelled ones are kept on purpose.
    """

    documents: list[Document]
    files: dict[str, bytes]
    vocabulary: dict[str, int]
    proper: frozenset[str]


class _InMemory(RamStorage):
    """An index that works in memory as well: the library's own would use one folder on disk for all processes at once."""

    def temp_storage(self, name: str | None = None) -> RamStorage:  # noqa: ARG002 (the library sets the signature)
        """Where the index is put together."""
        return _InMemory()


def index_of(entries: Entries) -> "Index":
    """The index of all records, from the store when nothing has changed since."""
    return Index(derived(entries, "search", Store, lambda: make(documents(entries))))


def make(found: Sequence[Document]) -> Store:
    """Documents with their index."""
    fields: dict[str, Any] = {field: TEXT(analyzer=SpaceSeparatedTokenizer(), phrase=False) for field in WEIGHTS}
    storage = _InMemory()
    writer = storage.create_index(Schema(place=STORED(), **fields)).writer()
    vocabulary: dict[str, int] = {}
    proper: set[str] = set()
    for place, document in enumerate(found):
        by_field = document.words()
        writer.add_document(place=place, **{field: " ".join(row) for field, row in by_field.items()})
        for word in {word for row in by_field.values() for word in row}:
            vocabulary[word] = vocabulary.get(word, 0) + 1
        proper.update(word for field, row in by_field.items() if field != "said" for word in row)
    writer.commit()
    return Store(list(found), dict(storage.files), vocabulary, frozenset(proper))


def asked(text: str) -> list[Word]:
    """The words of a query, each once. Raises Unreadable when there is none, or too much."""
    if len(text) > MOST_CHARACTERS:
        raise Unreadable(f"{len(text)} characters", f"at most {MOST_CHARACTERS} to search for")
    found = list({word.text: word for word in reversed(words(text))}.values())[::-1]
    if not found:
        raise Unreadable(quoted(text) if text.strip() else "nothing", "a word or a number to search for")
    return found


class Index:
    """The documents, ready to be searched any number of times."""

    def __init__(self, store: Store) -> None:
        self.documents, self.vocabulary, self.proper = store.documents, store.vocabulary, store.proper
        self._files = store.files

    @cached_property
    def _inverted(self) -> Inverted:
        storage = RamStorage()
        storage.files = self._files
        return storage.open_index()

    def search(self, text: str, kinds: Collection[str] | None = None, limit: int = 10) -> Found:
        """The records that have every word, else those that have any; the best first. Raises Unreadable (see `asked`).

        kinds: only these kinds of record.  limit: no more hits than so many.
        """
        meant = [self._meant(word.text) for word in asked(text)]
        meaning = _meaning(meant)
        parts = [_of_word(one) for one in meant if one.each]
        every = len(parts) == len(meant)
        scored = self._scored(q.And(parts), kinds) if every else {}
        if not scored and len(meant) > 1:
            every = False
            scored = self._scored(q.Or(parts, scale=0.9), kinds) if parts else {}
        suggestions = self._suggestions(text)
        ordered = self._ordered(spelled(suggestions[0] if suggestions else text), scored)
        hits = tuple(Hit(one, scored[place], shown(one, meaning)) for place, one in ordered[:limit])
        return Found(hits, len(scored), every, tuple(suggestions))

    def _scored(self, query: q.Query, kinds: Collection[str] | None) -> dict[int, float]:
        """{place of a document: its score} of all that the query finds."""
        with self._inverted.searcher() as searcher:
            found = {int(hit["place"]): float(hit.score or 0.0) for hit in searcher.search(query, limit=None)}
        return {place: score for place, score in found.items() if kinds is None or self.documents[place].kind in kinds}

    def _ordered(self, query: str, scored: Mapping[int, float]) -> list[tuple[int, Document]]:
        """The documents in the order a reader should have them."""

        def key(place: int) -> tuple[int, float, tuple[int, int, str]]:
            one = self.documents[place]
            level = rank(one, query)
            return level, 0.0 if level <= NAMED_RANK else -scored[place], one.order_key

        return [(place, self.documents[place]) for place in sorted(scored, key=key)]

    # What a word stands for ---------------------------------------------------------------------------------------------

    def _meant(self, word: str) -> Meant:
        """What an asked word stands for: of a joined one each piece, and the whole besides; a number is never in pieces."""
        inside = _inside(word)
        each = [self._alternatives(one) for one in inside or [word]]
        return Meant(each if all(each) else [], self._alternatives(word) if inside else {})

    def _alternatives(self, word: str) -> dict[str, float]:
        """{word of the record: weight}: itself, its singular, longer words; of an unused one also those it may misspell."""
        begun = sorted((one for one in self.vocabulary if one.startswith(word) and one != word), key=lambda one: (len(one), one))
        found = {one: BEGINS * len(word) / len(one) for one in begun[:MOST_OTHERS]} if len(word) > 1 else {}
        found |= {
            one: PLURAL for one in (word.removesuffix("s"), word.removesuffix("es")) if one != word and one in self.vocabulary
        }
        if word in self.vocabulary:
            found[word] = 1.0
        elif not any(c.isdigit() for c in word):
            near = {one: mistakes for one, mistakes in self.near(word) if mistakes == 1 or not found}
            found = {one: MISSPELLED / mistakes for one, mistakes in near.items()} | found
        return found

    def near(self, word: str) -> list[tuple[str, int]]:
        """(word, mistakes) of the words that this one may be a misspelling of: the fewest mistakes first, then the commonest."""
        most = next((mistakes for length, mistakes in MISTAKES if len(word) >= length), 0)
        close = process.extract(word, self.vocabulary.keys(), scorer=OSA.distance, score_cutoff=most, limit=None) if most else []
        found = [(one, round(mistakes)) for one, mistakes, _ in close if one != word]
        return sorted(found, key=lambda one: (one[1], -self.vocabulary[one[0]], one[0]))[:MOST_OTHERS]

    def _suggestions(self, text: str) -> list[str]:
        """The query with each word that nobody used replaced by one it may be a misspelling of."""
        known = self.vocabulary
        unused = [one for one in words(text) if one.text not in known and not any(word.startswith(one.text) for word in known)]
        near = [(one, [word for word, _ in self.near(one.text) if word in self.proper]) for one in unused]
        near = [(one, choices) for one, choices in near if choices and not self._meant_exactly(one.text)]
        if not near:
            return []
        alone = near[0][1][:MOST_SUGGESTIONS] if len(near) == 1 else [near[0][1][0]]
        rest = {one: choices[0] for one, choices in near[1:]}
        return list(dict.fromkeys(_replaced(text, {near[0][0]: choice, **rest}) for choice in alone))

    def _meant_exactly(self, word: str) -> bool:
        """Whether a word that nobody used is a plural of one, or joined of words that are."""
        inside = _inside(word)
        return any(one in self.vocabulary for one in _singular(word)) or (
            bool(inside) and all(one in self.vocabulary for one in inside)
        )


def _singular(word: str) -> list[str]:
    """What a word is the plural of, as far as its ending tells."""
    return [word.removesuffix(ending) for ending in ("s", "es") if word.endswith(ending) and len(word) > len(ending) + 1]


def _inside(word: str) -> list[str]:
    """What a joined word is joined of; nothing for a number, unless it is years."""
    inside = [one.text for one in pieces(word)[1:]]
    years = all(one.isdigit() and len(one) == 4 for one in inside)
    return inside if years or not any(c.isdigit() for c in word) else []


def _of_word(meant: Meant) -> q.Query:
    """The query for what one asked word stands for."""
    pieces_of_it = q.And([_any(options) for options in meant.each])
    return q.Or([pieces_of_it, _any(meant.whole)]) if meant.whole else pieces_of_it


def _any(options: Mapping[str, float]) -> q.Query:
    return q.Or(
        [q.Term(field, word, boost=weight * count) for word, weight in options.items() for field, count in WEIGHTS.items()]
    )


def _replaced(text: str, changes: Mapping[Word, str]) -> str:
    for one in sorted(changes, key=lambda word: -word.start):
        text = text[: one.start] + changes[one] + text[one.end :]
    return " ".join(text.split())


# What is shown -----------------------------------------------------------------------------------------------------------


def _meaning(meant: Iterable[Meant]) -> Meaning:
    """{word of the record: what of the query it stands for}."""
    found: dict[str, set[tuple[int, int]]] = {}
    for at, one in enumerate(meant):
        for piece, options in enumerate(one.each):
            for word in options:
                found.setdefault(word, set()).add((at, piece))
        for word in one.whole:
            found.setdefault(word, set()).update((at, piece) for piece in range(len(one.each)))
    return found


def shown(document: Document, meaning: Meaning) -> tuple[Shown, ...]:
    """The fields of a document that have any of the words, with them marked.

    A field is left out when those before it have all of the query that it has, and so is each text of a field that has none.
    """
    found: list[Shown] = []
    told: set[tuple[int, int]] = set()
    for field, texts in document.texts().items():
        having = [
            (text, seen) for text in texts if (seen := {one for word in pieces(text) for one in _stands_for(word, meaning)})
        ]
        seen = {one for _, some in having for one in some}
        if not seen <= told and len(found) < MOST_FIELDS:
            found.append(_around(field, "; ".join(text for text, _ in having), meaning))
            told |= seen
    return tuple(found)


def _stands_for(word: Word, meaning: Meaning) -> Collection[tuple[int, int]]:
    return meaning.get(word.text) or meaning.get(squeezed(word.text)) or ()


def _around(field: str, text: str, meaning: Meaning) -> Shown:
    """A text with the words marked; of a long one what is around the first."""
    spans: list[tuple[int, int]] = []
    for word in pieces(text):
        if _stands_for(word, meaning) and not (spans and word.start < spans[-1][1]):
            spans.append((word.start, word.end))
    start = max(0, spans[0][0] - BEFORE) if len(text) > SHOWN else 0
    start = text.rfind(" ", 0, start) + 1 if start else 0
    end = len(text) if len(text) - start <= SHOWN else max(text.rfind(" ", start, start + SHOWN), spans[0][1])
    before, after = "… " if start else "", " …" if end < len(text) else ""
    marks = [(a - start + len(before), b - start + len(before)) for a, b in spans if b <= end]
    return Shown(field, before + text[start:end] + after, tuple(marks))
