"""Finding records by words, on the packaged demonstration: numbers first, misspelled or not, and never a crash."""

import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tellmark.kb.cache import sound
from tellmark.kb.describe import NAMED_KINDS
from tellmark.kb.documents import NAMED_RANK, Document, documents, pieces, rank, spelled, squeezed, words
from tellmark.kb.findings import Unreadable
from tellmark.kb.load import Entries
from tellmark.kb.resolve import living, stated
from tellmark.kb.search import MOST_CHARACTERS, Index, Store, index_of, make

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


@pytest.fixture(scope="module")
def index(entries: Entries) -> Index:
    return index_of(entries)


def first(index: Index, text: str) -> str:
    return index.search(text).hits[0].document.id


# What is found first -----------------------------------------------------------------------------------------------------

FIRST = [
    ("catalog number", "424-1", "424-prairie-meridian-a-b1"),
    ("of a set", "52-5", "52-5-prairie-meridian-a-b-a"),
    ("with a space in it", "h 5208", "166-lake-harrow-holloways"),
    ("without its hyphen", "tx80", "tx-80-b1"),
    ("number on the unit", "4241", "424-prairie-meridian-a-b1"),
    ("name of a livery", "Tamarack Northern", "tamarack-northern"),
    ("the same in capitals", "TAMARACK NORTHERN", "tamarack-northern"),
    ("misspelled twice", "tammarack norhtern", "tamarack-northern"),
    ("letters swapped", "levre cuopler", "lever-coupler"),
    ("a part by its name", "lever coupler", "lever-coupler"),
    ("words of the name in another order", "motor twin-gear", "twin-gear"),
    ("a plural", "lever couplers", "lever-coupler"),
    ("only begun", "lev coup", "lever-coupler"),
    ("an id", "kiln-lane-horn", "kiln-lane-horn"),
    ("a procedure", "replace a mains cord", "replace-a-cord"),
    ("a trait of a slot type", "bore of the bells", "horn/bore"),
]


@pytest.mark.parametrize(("text", "ident"), [case[1:] for case in FIRST], ids=[case[0] for case in FIRST])
def test_first_found(index: Index, text: str, ident: str) -> None:
    assert first(index, text) == ident


def test_every_catalog_number_finds_its_own_first(index: Index) -> None:
    for document in index.documents:
        for number in document.numbers:
            found = index.search(number, limit=1000)
            own = [place for place, hit in enumerate(found.hits) if number in hit.document.numbers]
            assert own == list(range(len(own))), number
            assert document in [hit.document for hit in found.hits], number


def test_every_name_finds_its_own_first(entries: Entries, index: Index) -> None:
    names = {ident: stated(entries, ident).name for ident in living(entries)}
    assert {ident: first(index, name) for ident, name in names.items()} == {ident: ident for ident in names}


def test_every_kind_has_documents_and_each_is_found_by_its_id(index: Index) -> None:
    assert {document.kind for document in index.documents} == set(NAMED_KINDS)
    for document in index.documents[::9]:
        hit = index.search(document.id, limit=1).hits[0]
        assert rank(hit.document, spelled(document.id)) <= NAMED_RANK, document.id


RANKS = [
    ("catalog number", "424-1", 0),
    ("its case does not matter", "tx-9 b", 0),
    ("id", "a-b1", 1),
    ("name", "prairie meridian  POWERED a", 1),
    ("marking", "4241", 2),
    ("catalog number without its hyphen", "tx9b", 3),
    ("catalog number among words", "prairie 424-1", 4),
    ("one of two words among words", "old TX-9 b pack", 4),
    ("marking among words", "4241 nose", 5),
    ("a marking without a digit among words singles out nothing", "meridian nose", 6),
    ("only part of a number", "424", 6),
    ("a number within a longer one", "1424-1", 6),
]


@pytest.mark.parametrize(("query", "level"), [case[1:] for case in RANKS], ids=[case[0] for case in RANKS])
def test_rank(query: str, level: int) -> None:
    one = Document("variant", "a-b1", "Prairie Meridian, powered A", numbers=("424-1", "TX-9 b"), markings=("4241", "MERIDIAN"))
    assert rank(one, spelled(query)) == level


# What else is said -------------------------------------------------------------------------------------------------------

SUGGESTED: list[tuple[str, str, list[str]]] = [
    ("one word", "tamarak", ["tamarack"]),
    ("two words", "tamarak nothern", ["tamarack northern"]),
    ("several choices, the commonest first", "hron", ["horn", "heron", "iron"]),
    ("a number nobody used", "424-9", ["424-1", "424-2", "424-5"]),
    ("the rest stays as it was typed", "the Tamarak (horn)", ["the tamarack (horn)"]),
    ("a word that is there", "tamarack", []),
    ("a word that is only begun", "tamara", []),
    ("a plural", "horns", []),
    ("nothing near", "zzzzzz", []),
    ("never what is only kept because people misspell it", "nowthren", ["northern"]),
]
SPELLING = make(
    [
        Document("livery", "t-n", "Tamarack Northern", said=("northen", "tamerack northren"), about="The heron."),
        *(Document("variant", f"v{kind}", "Unit", numbers=(f"424-{kind}",)) for kind in (1, 2, 5)),
        *(Document("part", f"h{number}", "Horn", about=about) for number, about in enumerate(("Iron.", "Brass.", "A heron."))),
    ]
)


@pytest.mark.parametrize(("text", "suggestions"), [case[1:] for case in SUGGESTED], ids=[case[0] for case in SUGGESTED])
def test_suggestions(text: str, suggestions: list[str]) -> None:
    assert list(Index(SPELLING).search(text).suggestions) == suggestions


def test_all_words_else_most_of_them(index: Index) -> None:
    every = index.search("lever coupler boxcar")
    assert every.all_words
    most = index.search("lever coupler submarine")
    assert not most.all_words
    assert most.hits[0].document.id == "lever-coupler"
    assert index.search("submarine").hits == ()


def test_kinds_and_limit(index: Index) -> None:
    whole = index.search("coupler", limit=1000)
    assert len(whole.hits) == whole.count
    parts = index.search("coupler", kinds=["part"], limit=2)
    assert [hit.document.kind for hit in parts.hits] == ["part", "part"]
    assert parts.count == sum(hit.document.kind == "part" for hit in whole.hits)


def test_marks_cover_the_words(index: Index) -> None:
    for text in ("tamarak nothern", "twin-gear motor", "couplers", "tx80", "mains cord 1953"):
        for hit in index.search(text, limit=1000).hits:
            marked = [shown.text[a:b] for shown in hit.where for a, b in shown.marks]
            assert marked, hit.document.id
            assert all(len(words(one)) == 1 for one in marked), marked
            assert all(len(shown.text) <= 2 * 140 for shown in hit.where)


def test_fields_that_say_nothing_more_are_left_out(index: Index) -> None:
    hit = index.search("twin brass horn").hits[0]
    assert [(shown.field, shown.text) for shown in hit.where] == [("name", "Twin brass horn")]


def test_years_within_a_span(index: Index) -> None:
    made = [hit.document for hit in index.search("422 powered 1954", kinds=["variant"]).hits]
    assert made
    assert all(one.years and one.years.first <= 1954 <= one.years.last for one in made)


def test_what_people_say_is_found() -> None:
    """A document of its own: phrases count more than a text about it, less than its name."""
    said = Document("part", "nose-cap", "Nose cap", said=("snoot", "beak"))
    told = Document("part", "end-cap", "End cap", about="Not a snoot.")
    named = Document("part", "snoot", "Snoot")
    found = Index(make([told, said, named])).search("snoot")
    assert [hit.document.id for hit in found.hits] == ["snoot", "nose-cap", "end-cap"]


# Words -------------------------------------------------------------------------------------------------------------------

SPELLED: list[tuple[str, str, list[str]]] = [
    ("joined words stay joined", "Twin-gear motor, 1953/54", ["twin-gear", "motor", "1953/54"]),
    ("apostrophes go", "Holloway's Holloway’s", ["holloways", "holloways"]),
    ("accents go", "Łódź MÜNCHEN", ["łodz", "munchen"]),
    ("marks around go", "«424-1» (first)… -x- a--b", ["424-1", "first", "x", "a", "b"]),
    ("underscores part", "snake_case", ["snake", "case"]),
    ("nothing", " -–… ", []),
]


@pytest.mark.parametrize(("text", "plain"), [case[1:] for case in SPELLED], ids=[case[0] for case in SPELLED])
def test_words(text: str, plain: list[str]) -> None:
    assert [word.text for word in words(text)] == plain


def test_pieces() -> None:
    text = "A twin-gear's end"
    assert [(one.text, text[one.start : one.end]) for one in pieces(text)] == [
        ("a", "A"),
        ("twin-gears", "twin-gear's"),
        ("twin", "twin"),
        ("gears", "gear's"),
        ("end", "end"),
    ]
    assert squeezed(text) == "atwingearsend"


# Bad queries -------------------------------------------------------------------------------------------------------------

REFUSED = [
    ("nothing", "", "found nothing, expected a word or a number to search for"),
    ("blanks", "  \t", "found nothing, expected a word or a number to search for"),
    ("only marks", "?!*", 'found "?!*", expected a word or a number to search for'),
    ("too much", "a" * 201, f"found 201 characters, expected at most {MOST_CHARACTERS} to search for"),
]


@pytest.mark.parametrize(("text", "message"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED])
def test_refused(index: Index, text: str, message: str) -> None:
    with pytest.raises(Unreadable) as problem:
        index.search(text)
    assert f"found {problem.value.found}, expected {problem.value.expected}" == message


@settings(max_examples=150, deadline=None)
@given(text=st.text(max_size=MOST_CHARACTERS))
def test_no_text_is_too_strange(text: str) -> None:
    index = Index(_SMALL)
    try:
        found = index.search(text)
    except Unreadable:
        return
    assert found.count >= len(found.hits)


_SMALL: Store = make(
    [Document("part", "a-b", "A and b", about="NOT (a OR b) [a TO b] a~2 a^3 name:b *"), Document("set", "c", "C")]
)

OPERATORS = [
    "NOT",
    "a AND",
    "OR OR",
    "name:a",
    "(a",
    '"a',
    "a~",
    "a^x",
    "[a TO",
    "*",
    "a*",
    "\x00a",
    "\ud800a",
    "a\u202eb",
    "%s{0}",
]


@pytest.mark.parametrize("text", OPERATORS)
def test_operators_are_words(text: str) -> None:
    if words(text):
        assert Index(_SMALL).search(text).count <= len(_SMALL.documents)
    else:
        with pytest.raises(Unreadable):
            Index(_SMALL).search(text)


# The store ---------------------------------------------------------------------------------------------------------------


def test_same_from_the_store(
    folder: Callable[[Mapping[str, Any]], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)
    root = folder({})
    fresh = index_of(sound(root)[0]).search("gull")
    store = list((tmp_path / "cache").rglob("*.search.pickle"))
    assert len(store) == 1
    assert index_of(sound(root)[0]).search("gull") == fresh
    store[0].write_bytes(b"damaged")
    assert index_of(sound(root)[0]).search("gull") == fresh
    (root / "procedures/oil-axles.yaml").write_text("name: Grease the gull\nminutes: 5\nsteps: [Oil.]\n", "utf-8")
    assert index_of(sound(root)[0]).search("grease gull").hits[0].document.id == "oil-axles"
    monkeypatch.setenv("TELLMARK_CACHE", "off")
    assert index_of(sound(root)[0]).search("grease gull").hits[0].document.id == "oil-axles"


def test_an_index_is_made_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The library's own way of putting one together is a folder that all processes share, and take from each other."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "nowhere"))
    assert first(Index(make([Document("part", "horn", "Horn")])), "horn") == "horn"


def test_documents_of_a_small_folder(folder: Callable[[Mapping[str, Any]], Path]) -> None:
    found = {(one.kind, one.id): one for one in documents(sound(folder({}))[0])}
    gull = found["variant", "gull-a"]
    assert gull.markings == ("41",)
    assert gull.livery == "Gull Harbor Transit"
    assert gull.states == ("Motor car", "Painted", "Plain")
    assert gull.parts == ("Spoked wheel",)
    assert found["sighting", "shelf-1"].years == (2021, 2021)
    assert found["trait", "tram/roof"].states == ("Plain", "Ribbed")
    assert ("trait", "stripe") in found


def test_nobody_sees_the_librarys_warnings(tmp_path: Path) -> None:
    """The library's files compiled anew, with every warning on."""
    command = [
        sys.executable,
        "-W",
        "always",
        "-m",
        "tellmark.cli.main",
        "--entries",
        str(ROOT / "entries"),
        "search",
        "tammarack",
    ]
    environment = os.environ | {"PYTHONPYCACHEPREFIX": str(tmp_path / "compiled"), "XDG_CACHE_HOME": str(tmp_path / "cache")}
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment, cwd=ROOT)
    assert "whoosh" not in done.stderr.lower()
    assert "Tamarack Northern" in done.stdout
