"""The page reads a seller's text as Python does: the same claims in the same places, on every text and on texts gone wrong; and
it says the same of them as `tellmark listing --json`.

Python and JavaScript read each text; only whether they agree is looked at, so that texts which are kept unread stay so: a failure
names numbers and files, never a text.
"""

import json
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, NamedTuple, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import OSA
from ruamel.yaml import YAML
from tellmark.identify.claims import claims
from tellmark.identify.listing import read_listing, report_listing
from tellmark.identify.session import Session
from tellmark.identify.start import start
from tellmark.identify.vocabulary import Vocabulary, vocabulary
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries
from tellmark.kb.plain_text import tidy
from tellmark.kb.values import Answer
from tellmark.site_builder.joined import joined
from tellmark.site_builder.packed import packed as packed_arrays
from tellmark.site_builder.packed_listing import packed, packed_records
from tellmark.site_builder.packed_words import packed_words
from whoosh.lang.porter import stem

ROOT = Path(__file__).parents[2]
LISTINGS = ROOT / "tests" / "outside" / "listings"
NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(NODE is None, reason="no node here")

MODULES = {
    "claims": "listing/claims.js",
    "words": "listing/vocabulary.js",
    "distance": "listing/distance.js",
    "stems": "listing/stem.js",
    "unpacking": "kernel/unpack.js",
    "wording": "kernel/wording.js",
    "sessions": "kernel/session.js",
    "typed": "kernel/typed.js",
    "spoken": "listing/listing_words.js",
    "listings": "listing/listing.js",
}
#: What stands between phrases that are thrown together.
FIGURES = [
    "$40",
    "424",
    "6 1/2 in",
    "19 mm",
    "1954",
    "late 50s",
    "no",
    "or",
    "I think",
    "missing",
    "?",
    ":",
    "both",
    "A.",
    "is it",
]
#: Answers each line of JSON, [what is asked, of what], with one line.
LOOP = """
let known, records;
const families = new Map();
function report({ family, text, views, answers }) {
  const { words, compiled } = families.get(family);
  const base = new sessions.Session(compiled);
  const atHand = views.length ? views.map((view) => compiled.views.indexOf(view)) : null;
  let seen = atHand || Object.keys(answers).length ? new sessions.Session(compiled, { views: atHand }) : null;
  for (const [trait, reading] of typed.readAll(words, family, answers).readings) seen = seen.answer(trait, reading);
  const found = claims.claims(text, known);
  return listings.reportListing(listings.readListing(new spoken.Spoken(words, records), text, found, base, seen));
}
const answers = {
  vocabulary: (packed) => { known = words.vocabularyOf(packed); return known.finder.phrases.length; },
  claims: (texts) => texts.map((text) => claims.claims(text, known)),
  mistakes: (rows) => rows.map(([one, other, most]) => distance.mistakes(one, other, most ?? undefined)),
  stem: (some) => some.map(stems.stem),
  records: (packed) => { records = packed; return Object.keys(packed.families).length; },
  family: ({ family, arrays, words }) => {
    const compiled = unpacking.unpack(arrays);
    families.set(family, { compiled, words: new wording.Words(compiled, words) });
    return compiled.candidates;
  },
  report,
};
require("readline").createInterface({ input: process.stdin }).on("line", (line) => {
  const [asked, of] = JSON.parse(line);
  process.stdout.write(`${JSON.stringify(answers[asked](of))}\\n`);
});
"""
#: Letters, figures and marks of several scripts, some beyond the first 65,536 characters, that texts are spoiled with.
STRANGE = "abcdefghijklmnopqrstuvwxyz0123456789 .,;:-'\"$/#&+()!?½¼²ÉßİΣσς٣Ⅷ\u2019\u2013\u201d\u00a0𝐁𝟒😀\n"


class Node:
    """JavaScript that answers one question after the other."""

    def __init__(self, script: Path) -> None:
        self._running = subprocess.Popen([str(NODE), str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(self, what: str, of: object) -> Any:
        stdin, stdout = self._running.stdin, self._running.stdout
        assert stdin is not None
        assert stdout is not None
        stdin.write(f"{json.dumps([what, of])}\n")
        stdin.flush()
        return json.loads(stdout.readline())

    def close(self) -> None:
        self._running.communicate(timeout=10)


@cache
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


@cache
def words() -> Vocabulary:
    return vocabulary(entries())


@cache
def base(family: str | None) -> Session:
    return start(entries(), family)


@pytest.fixture(scope="module")
def node(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Node]:
    script = tmp_path_factory.mktemp("listing") / "loop.js"
    script.write_text("".join(joined(entry, name) for name, entry in MODULES.items()) + LOOP, "utf-8")
    running = Node(script)
    assert running.ask("vocabulary", packed(words())) == len(words().finder.phrases)
    yield running
    running.close()


def texts(folder: str) -> dict[str, str]:
    """The texts of a folder by the names of their files."""
    reader = YAML(typ="safe")
    return {path.stem: tidy(reader.load(path.read_text("utf-8"))["text"]) for path in sorted((LISTINGS / folder).glob("*.yaml"))}


def disagreeing(node: Node, some: Sequence[str]) -> list[int]:
    """The places of the texts that are read differently; there is something to read in them."""
    read = node.ask("claims", list(some))
    mine = [[{**asdict(one), "says": list(one.says)} for one in claims(text, words())] for text in some]
    assert any(mine)
    return [n for n, (one, other) in enumerate(zip(mine, read, strict=True)) if one != other]


@pytest.mark.parametrize("folder", ["seen", "practice", "held-out"])
def test_the_same_claims_on_every_text(node: Node, folder: str) -> None:
    held = texts(folder)
    wrong = disagreeing(node, list(held.values()))
    print(f"{folder}: {len(held)} texts, {len(wrong)} read differently")
    assert not wrong, f"{len(wrong)} of {len(held)}" + ("" if folder == "held-out" else f": {[list(held)[n] for n in wrong]}")


def spoiled(text: str, others: Sequence[str], rng: Random) -> str:
    """A text with slips of letters, capitals, joined and torn lines, and words from elsewhere."""
    held = list(text)
    for _ in range(rng.randint(1, 20)):
        i, slip = rng.randrange(len(held)), rng.randrange(9)
        if slip == 0:
            held[i] = rng.choice(STRANGE)
        elif slip == 1 and len(held) > 1:
            del held[i]
        elif slip == 2:
            held.insert(i, rng.choice(STRANGE))
        elif slip == 3:
            held[i : i + 2] = reversed(held[i : i + 2])
        elif slip == 4:
            held[i] = held[i].upper()
        elif slip == 5:
            held[i:i] = f" {rng.choice(others)} "
        elif slip == 6:
            held = [" " if one == "\n" and rng.random() < 0.5 else one for one in held]
        elif slip == 7:
            held.insert(i, "\n")
        elif rng.random() < 0.2:
            held = list("".join(held).upper())
    return tidy("".join(held))


@pytest.mark.parametrize("seed", range(3))
def test_the_same_claims_on_spoiled_texts(node: Node, seed: int) -> None:
    rng = Random(seed)
    held = [*texts("seen").values(), *texts("practice").values()]
    others = " ".join(held).split()
    some = [text for text in (spoiled(rng.choice(held), others, rng) for _ in range(150)) if text]
    assert disagreeing(node, some) == []


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_the_same_claims_on_phrases_thrown_together(node: Node, data: st.DataObject) -> None:
    """Every phrase of the vocabulary, figures and marks between them, in any order."""
    phrase = st.sampled_from([one.written.replace("_", "it").replace("+", "") for one in words().finder.phrases])
    figure = st.sampled_from(FIGURES)
    between = st.sampled_from([" ", ", ", ". ", "\n", "\n\n", " - ", ": ", " and "])
    pieces = st.lists(st.tuples(st.one_of(phrase, figure, st.text(max_size=6)), between), max_size=25)
    rows = [[*row, ("green coupler", "")] for row in data.draw(st.lists(pieces, min_size=5, max_size=5))]
    some = [tidy("".join(one + mark for one, mark in row)) for row in rows]
    assert disagreeing(node, [*some, "green coupler missing"]) == []


ENDINGS = r"[a-z]{1,7}(ed|ing|s|es|ational|iveness|ement|ion|ll|ies|y)"
WORDS = st.text("aeiouylsztb", max_size=9) | st.from_regex(ENDINGS, fullmatch=True)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(WORDS, WORDS, st.sampled_from([0, 1, 2, None])), min_size=100, max_size=100))
def test_mistakes_are_counted_as_rapidfuzz_does(node: Node, rows: list[tuple[str, str, int | None]]) -> None:
    wanted = [OSA.distance(one, other, score_cutoff=most) for one, other, most in rows]
    assert node.ask("mistakes", rows) == wanted


@settings(max_examples=30, deadline=None)
@given(st.lists(WORDS, min_size=100, max_size=100))
def test_stems_are_those_of_whoosh(node: Node, some: list[str]) -> None:
    assert node.ask("stem", some) == [stem(one) for one in some]


# What is said of the claims --------------------------------------------------------------------------------------------


class Case(NamedTuple):
    """A text of the corpus, with what its photographs show."""

    text: str
    family: str | None = None
    views: tuple[str, ...] = ()
    answers: tuple[tuple[str, str], ...] = ()


CAB = "cab-diesel-420"
SIDE = ("side", "nose")
CASES = {
    "one unit, named well": Case("auction-426-a"),
    "in capitals": Case("caps-424-b"),
    "claims that exclude one another": Case("wrong-424-first-batch"),
    "repainted": Case("wrong-426-repaint"),
    "its own photographs do not fit": Case("contradiction-424-photos"),
    "measures": Case("inches-424-a"),
    "hardly anything is said": Case("hedged-421-a"),
    "loose parts": Case("lot-parts-couplers"),
    "a loose motor": Case("hedged-loose-motor"),
    "a hazard": Case("misspelled-power-pack"),
    "units of one set": Case("estate-423-aba"),
    "several units, some of no set": Case("lot-freight-five"),
    "a family that is known": Case("terse-424-a", CAB),
    "of another family than is said": Case("terse-314-box", CAB),
    "photographs that agree": Case("enthusiast-425-a", None, SIDE, (("number-place", "nose-door"), ("horn", "missing"))),
    "photographs that do not": Case(
        "auction-426-a", CAB, SIDE, (("number", "4242"), ("nose-emblem", "round"), ("body-length", "275 mm"))
    ),
    "views and no answer": Case("negative-423-a", None, SIDE),
    "photographs of one of several": Case("dealer-71-pair", None, ("side",), (("number", "71"),)),
    "what nothing can show together": Case("dealer-424-a3", CAB, (), (("front-coupler", "missing"), ("number", "9999"))),
}


@pytest.fixture(scope="module")
def reporting(node: Node) -> Node:
    """The same with arrays, words and records."""
    assert node.ask("records", packed_records(entries())) == len(entries().families)
    for family in {one.family for one in CASES.values()}:
        compiled = base(family).compiled
        made = {"family": family, "arrays": packed_arrays(compiled), "words": packed_words(entries(), compiled)}
        assert node.ask("family", made) == compiled.candidates
    return node


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_the_page_says_the_same_as_the_command(reporting: Node, case: Case) -> None:
    text = texts("seen")[case.text]
    answers = {key: Answer.model_validate({"is": value}) for key, value in case.answers}
    found = read_listing(entries(), text, claims(text, words()), base(case.family), case.family, case.views or None, answers)
    mine = json.loads(json.dumps(report_listing(found)))
    theirs = reporting.ask(
        "report", {**case._asdict(), "text": text, "answers": {key: {"is": value} for key, value in case.answers}}
    )
    assert list(differing(mine, theirs)) == []


def differing(one: Any, other: Any, place: str = "") -> Iterator[str]:
    """The places where two plain values differ; whole numbers may be written with a point or without."""
    if isinstance(one, dict) and isinstance(other, dict):
        first, second = cast("dict[str, Any]", one), cast("dict[str, Any]", other)
        for key in {**first, **second}:
            yield from differing(first.get(key, "nothing"), second.get(key, "nothing"), f"{place}.{key}")
    elif isinstance(one, list) and isinstance(other, list) and len(cast("list[Any]", one)) == len(cast("list[Any]", other)):
        for n, (first, second) in enumerate(zip(cast("list[Any]", one), cast("list[Any]", other), strict=True)):
            yield from differing(first, second, f"{place}[{n}]")
    elif one != other:
        yield f"{place}: {one!r}, in the page {other!r}"
