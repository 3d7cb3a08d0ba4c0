"""The search against what is known of spelling mistakes, and the two libraries behind it against each other.

F. J. Damerau, A technique for computer detection and correction of spelling errors, Communications of the ACM 7 (1964):
171-176: over four of five misspelled words have one letter wrong, missing or extra, or two neighbors swapped (the share from
memory).  The edit distances of textbooks: kitten and sitting are 3 apart (Levenshtein); where no piece is edited twice, ca and
abc are 3 apart as well (optimal string alignment).

The command searches a Whoosh index and the page a MiniSearch one.  They share nothing but the documents and the rules of rank,
so each is a check of the other.
"""

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from tellmark.kb.cache import sound
from tellmark.kb.describe import NAMED_KINDS
from tellmark.kb.documents import words
from tellmark.kb.load import Entries
from tellmark.kb.resolve import living, stated
from tellmark.kb.search import Index, Store, index_of
from tellmark.site_builder import search_pages
from tellmark.site_builder.tables import Site

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "site_builder" / "static"
LETTERS = "abcdefghijklmnopqrstuvwxyz"


@pytest.fixture(scope="module")
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


@pytest.fixture(scope="module")
def index(entries: Entries) -> Index:
    return index_of(entries)


# Spelling ----------------------------------------------------------------------------------------------------------------


def one_mistake(word: str, chance: random.Random) -> Iterator[tuple[str, str]]:
    """(kind, word with one mistake): one of each of Damerau's four kinds."""
    at = chance.randrange(len(word))
    yield "wrong letter", word[:at] + chance.choice(LETTERS) + word[at + 1 :]
    yield "missing letter", word[:at] + word[at + 1 :]
    yield "extra letter", word[:at] + chance.choice(LETTERS) + word[at:]
    at = chance.randrange(len(word) - 1)
    yield "swapped neighbors", word[:at] + word[at + 1] + word[at] + word[at + 2 :]


@pytest.mark.parametrize("kind", ["wrong letter", "missing letter", "extra letter", "swapped neighbors"])
def test_every_word_with_one_mistake_is_found(index: Index, kind: str) -> None:
    """Any word of five letters or more, so that four are left of it."""
    chance = random.Random(1964)
    tried = 0
    for word in sorted(index.vocabulary):
        if len(word) < 5 or not word.isascii() or not word.isalpha():
            continue
        wrong = dict(one_mistake(word, chance))[kind]
        if wrong in index.vocabulary:
            continue
        tried += 1
        assert (word, 1) in index.near(wrong), (wrong, word)
    assert tried > 1000


DISTANCES = [
    ("kitten and sitting are three apart", "kitten", "sitting", None),
    ("two apart is too far for six letters", "kitten", "sittin", None),
    ("one apart", "kitten", "mitten", 1),
    ("two apart in eight letters", "tamarack", "tamaracc", 1),
    ("two mistakes in eight letters", "tamarack", "tammarac", 2),
    ("a piece that is edited twice counts twice", "abcdefgh", "bacdefhg", 2),
    ("swapped letters with one between them are three mistakes", "abcd", "bxac", None),
]


@pytest.mark.parametrize(("word", "typed", "mistakes"), [case[1:] for case in DISTANCES], ids=[case[0] for case in DISTANCES])
def test_known_distances(word: str, typed: str, mistakes: int | None) -> None:
    found = dict(Index(Store([], {}, {word: 1}, frozenset())).near(typed))
    assert found == ({} if mistakes is None else {word: mistakes})


# Two libraries -----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def finder(browser: Browser, entries: Entries, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """A page that has nothing but the records and the page's own search."""
    folder = tmp_path_factory.mktemp("finder")
    made = {one.address: one.content() for one in search_pages.files(Site(entries))}
    made |= {"minisearch.js": (STATIC / "vendor" / "minisearch.js").read_bytes(), "find.js": (STATIC / "find.js").read_bytes()}
    for name, content in made.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    scripts = "".join(f'<script src="{name}"></script>' for name in made)
    (folder / "index.html").write_text(f'<!doctype html><meta charset="utf-8"><title>x</title>{scripts}', "utf-8")
    page = browser.new_page()
    page.goto((folder / "index.html").as_uri())
    page.evaluate("window.finder = tellmarkFinder(tellmarkSearchData, tellmarkSearchRows, MiniSearch)")
    yield page
    page.close()


def both(index: Index, finder: Page, queries: list[str], limit: int = 2000) -> Iterator[tuple[str, Any, Any]]:
    """(query, what the command finds, what the page finds), of the kinds that the page has."""
    kinds = [kind for kind in NAMED_KINDS if search_pages.place(kind)]
    pages: list[Any] = finder.evaluate("([all, limit]) => all.map(one => finder.search(one, '', limit))", [queries, limit])
    for query, page in zip(queries, pages, strict=True):
        yield query, index.search(query, kinds, limit), page


def test_first_of_every_catalog_number_and_name(index: Index, finder: Page, entries: Entries) -> None:
    """What a number or a name finds first, and that it is one which has it."""
    numbers = sorted({number for one in index.documents for number in one.numbers})
    names = sorted({stated(entries, ident).name for ident in living(entries)})
    for query, command, page in both(index, finder, [*numbers, *names], 1):
        first = command.hits[0].document
        assert page["hits"][0]["id"] == first.id, query
        assert query in (*first.numbers, first.name)


QUERIES = [
    *("tamarak nothern", "levre cuopler", "424-9", "hron", "twin-gear motor", "1953-1956 motor", "tx80", "lense", "couplers"),
    *("blue mesa 1955", "mains cord", "Holloway's", "holloways edition", "4241", "lake harow third", "h 5208", "zzzz", "H5208"),
    *(
        "lever coupler submarine",
        "s",
        "424",
        "424-",
        "powered a",
        "kiln lane",
        "heat-stampd",
        "the",
        "xx yy zz",
        "ÉTÉ",
        "o'clock",
    ),
    *(
        "reversing unit drum",
        "pilot short",
        "Mésa",
        "blue  mesa",
        "BLUE-MESA",
        "first/second",
        "no. 424-1 engine",
        "tires traktion",
    ),
]


def test_the_same_records_and_suggestions(index: Index, finder: Page) -> None:
    """Whatever the order by score: both find the same, say the same of what was meant, and mark the same."""
    for query, command, page in both(index, finder, QUERIES):
        assert (page["count"], page["allWords"]) == (command.count, command.all_words), query
        assert page["suggestions"] == list(command.suggestions), query
        mine = {(hit.document.kind, hit.document.id): hit for hit in command.hits}
        theirs = {(hit["kind"], hit["id"]): hit for hit in page["hits"]}
        assert mine.keys() == theirs.keys(), query
        for key, hit in mine.items():
            shown = [{"field": one.field, "text": one.text, "marks": [list(mark) for mark in one.marks]} for one in hit.where]
            assert theirs[key]["where"] == shown, (query, key)


def test_words_that_a_person_would_call_best_come_first_in_both(index: Index, finder: Page) -> None:
    named = {"lever coupler": "lever-coupler", "twin-gear motor": "twin-gear"}
    for query, command, page in both(index, finder, list(named)):
        assert (command.hits[0].document.id, page["hits"][0]["id"]) == (named[query], named[query])


WORDS = [
    "Twin-gear's 1953/54",
    "Łódź MÜNCHEN ﬁx ½ x²",
    "a--b _c_ d.e.f 'g' h’i",
    "naïve ΣΑΣ İstanbul ß",
    "٣ ४ 五",
    "a\u0301b",
    "𝟜𝟚 😀 e",
]


def test_texts_fall_into_the_same_words(finder: Page) -> None:
    split: list[list[str]] = finder.evaluate("all => all.map(one => finder.words(one).map(word => word.text))", WORDS)
    assert split == [[word.text for word in words(text)] for text in WORDS]
