"""The reading of sellers' texts: small texts with the whole of what is read in them, and what must hold of any text."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tellmark.identify.claims import Claim, claims
from tellmark.identify.vocabulary import Vocabulary, vocabulary
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries
from tellmark.kb.said import OPPOSITE, parts_of, unfolded

ROOT = Path(__file__).parents[2]


@cache
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


@cache
def words() -> Vocabulary:
    return vocabulary(entries())


def shown(claim: Claim) -> str:
    """A claim in one line: kind, meaning, and - where it is denied, ? where it is doubted."""
    return f"{claim.kind} {'|'.join(claim.says)}" + " -" * claim.denied + " ?" * claim.hedged


PART_LIST = ["part horn", "defect dent", "price 5 USD", "part lens", "state lens.tint=amber", "price 4 USD"]
WHISTLE = ["number 74", "name tender-70/whistle", "condition poor"]
HORN = ["number 424", "part horn", "state horn.substance=gray-casting"]
OTHER = ["number 424", "state main-color=black", "hedge hearsay", "state main-color=dark-green ?"]
ZINC = ["name tender-70", "number 74", "name tank-engine-70", "defect frame-zinc-rot"]

TEXTS: list[tuple[str, str, list[str], str]] = [
    ("number", "424 Prairie Meridian", ["number 424", "name prairie-meridian"], "a catalog number and the livery"),
    ("joined-number", "TX80", ["number TX-80"], "a hyphen that was left out"),
    ("number-with-space", "tx 80", ["number TX-80"], "a space instead of the hyphen"),
    ("set-number", "outfit 52-5", ["number 52-5"], "a set's number needs its hyphen"),
    ("price-is-no-number", "asking $424", ["price 424 USD"], "the amount is that of a catalog number"),
    ("measure-is-no-number", "421, length 271 mm", ["number 421", "measure body-length=271 mm"], "figures with a unit"),
    ("fraction", '424, body 10 11/16" long', ["number 424", "measure body-length=10.6875 in"], "inches and a fraction"),
    ("year", "424 from 1953", ["number 424", "year 1953"], "a plain year"),
    ("short-year", "a 424 made in '53", ["number 424", "year 1953"], "two digits after an apostrophe"),
    ("decade", "424, early fifties", ["number 424", "year 1950..1953"], "a decade in words, and which part of it"),
    ("paid", "Paid $5 for it. Now $90.", ["price 90 USD"], "what was paid is no price"),
    ("shipping", "$90, shipping $12", ["price 90 USD", "shipping 12 USD"], "each amount once"),
    ("shipping-first", "$12 shipping, $90", ["shipping 12 USD", "price 90 USD"], "the word behind its amount"),
    ("range", "estimate $180 to $220", ["price 180..220 USD"], "a range is one price"),
    ("amount-in-words", "asking two hundred", ["price 200 USD"], "an amount in words"),
    ("denied-part", "424, no horn", ["number 424", "part horn -"], "the negation before"),
    ("missing-part", "424, horn is missing", ["number 424", "part horn -"], "the negation behind"),
    ("denied-list", "424: no cracks or rust", ["number 424", "defect crack -", "defect rust -"], "or carries a negation on"),
    ("denial-ends", "424. No cracks. Rust on roof.", ["number 424", "defect crack -", "defect rust"], "a full stop ends it"),
    ("opposite", "424, does not run", ["number 424", "condition dead"], "a negation that is a word of its own"),
    ("never", "424, never repainted", ["number 424", "condition repainted -"], "never, of what would be a claim"),
    ("hedge", "I think it is from 1953. 424.", ["hedge unsure", "year 1953 ?", "number 424"], "doubt ends with its sentence"),
    ("hedge-behind", "made in 1953, I think", ["year 1953 ?", "hedge unsure"], "doubt behind the claim"),
    ("untested", "424, untested", ["number 424", "hedge untested"], "of the whole sale; makes nothing doubtful"),
    ("misspelled", "blu messa deisel 422", ["name blue-mesa", "number 422"], "a letter or two wrong in each word"),
    ("capitals", "424 B UNIT RUNS", ["number 424", "name cab-diesel-420/trailing-b", "condition runs"], "all in capitals"),
    ("abbreviated", "313-H IC, plate cplrs", ["number 313-H", "name iron-coast", "part coupler=plate-coupler"], "letters"),
    ("ordinary-pm", "call after 3 pm", [], "letters of a livery in an ordinary word"),
    ("place", "424, plate coupler on the rear", ["number 424", "part rear-coupler=plate-coupler"], "which of two slots"),
    ("family-decides", "TX-25, ivory knob", ["number TX-25", "part handle=ivory-knob"], "a part of the family that is named"),
    ("two-colors", "424, orange & brown", ["number 424", "state main-color=orange", "state trim-color=brown"], "trim second"),
    ("vague", "a blue 421", ["state main-color=dark-blue|main-color=light-blue", "number 421"], "either blue"),
    ("spot", "424. Hairline in the nose door.", ["number 424", "defect nose-door-crack"], "damage and its place are one claim"),
    ("far-spot", "424. The roof of the front one is warped.", ["number 424", "defect roof-warp"], "a few words apart"),
    ("idle", "424. Good luck with your bids.", ["number 424"], "a word of condition in an ordinary phrase"),
    ("again", "424 Prairie Meridian. This 424 runs.", ["number 424", "name prairie-meridian", "condition runs"], "read once"),
    ("answer", "424. Restored? No.", ["number 424", "condition restored -"], "a question and its answer"),
    ("marks", "424 \u2014 \u201cdoesn\u2019t run\u201d\u00a0", ["number 424", "condition dead"], "marks as a printer sets them"),
    ("to-the-door", "424, $40 plus $9 to your door", ["number 424", "price 40 USD", "shipping 9 USD"], "paid for sending"),
    ("rising", "Shipping is $8 for one and $2 for each other", ["shipping 8 USD"], "what more pieces add is no price"),
    ("paid-and-asked", "424. Worth $80, yours for $50", ["number 424", "price 50 USD"], "a word of worth is for one amount"),
    ("reduced", "424. Reduced from $80 to $50", ["number 424", "price 50 USD"], "what falls is no range"),
    ("not-the-train", "424. He had a good appetite.", ["number 424"], "praise of somebody else"),
    ("sh", "424, $40 + $9 S/H", ["number 424", "price 40 USD", "shipping 9 USD"], "its abbreviation"),
    ("expense", "424, carriage at the buyer's expense", ["number 424", "shipping buyer-pays"], "in formal words"),
    ("and-in-words", "a hundred and ten dollars", ["price 110 USD"], "one amount, not two"),
    ("that-amount", "he left me the ten dollars", [], "an amount that was spoken of is no price"),
    ("long-decimal", "accession 1992.03", [], "a museum's number is no amount"),
    ("short-run", "424 of '53-56", ["number 424", "year 1953..1956"], "a run of years, short"),
    ("slash-run", "424, c1953/54", ["number 424", "year 1953..1954"], "with what stands before and between"),
    ("between", "424 between 1953 and 1956", ["number 424", "year 1953..1956"], "one run, not two years"),
    ("mended-later", "424, rewired in 1958", ["number 424"], "the year of a repair"),
    ("half-inches", "424, body ten and a half inches", ["number 424", "measure body-length=10.5 in"], "values in words"),
    ("inch-and", "424, pilot is an inch and a quarter", ["number 424", "measure pilot.length=1.25 in"], "the part behind"),
    ("two-weights", "164, weighs 1 lb 8 oz", ["number 164", "measure unit-weight=1.5 lb"], "pounds and ounces"),
    ("colon-no", "424. Rust: none.", ["number 424", "defect rust -"], "an answer behind a colon"),
    ("listed-no", "424, no rust, dents or cracks", ["number 424", "defect rust -", "defect dent -", "defect crack -"], "a list"),
    ("shared-word", "164. Horn and bell are missing.", ["number 164", "part horn -", "part bell -"], "one word for two things"),
    ("colon-gone", "424. Horn: missing", ["number 424", "part horn -"], "a form filled in"),
    ("never-painted", "424, never painted", ["number 424", "condition repainted -"], "the opposite in a phrase of its own"),
    ("one-way", "424, runs forward only", ["number 424", "condition runs-poorly"], "more than runs"),
    ("crossed", "424. Pilot bent, lens cracked.", ["number 424", "defect bent", "defect crack"], "the crack is the lens's"),
    ("other-thing", "TX-25, cord: black", ["number TX-25"], "a color of what is no trait's thing"),
    ("part-list", "Horn, dented - $5\nLens, amber - $4", PART_LIST, "each line of a list is about its own part"),
    ("part-list-inline", "horn $5, lens $4", ["part horn", "price 5 USD", "part lens", "price 4 USD"], "or behind a price"),
    ("torn-name", "TX-25. Knob, it is ivory", ["number TX-25", "state handle.grip-color=ivory-grip"], "no name of a part"),
    ("consonants", "164, hdlt missing", ["number 164", "part headlight -"], "only the consonants of a word are kept"),
    ("beginning", "424, porth rim chipped", ["number 424", "defect porthole-rim-chip"], "or only its beginning"),
    ("money-is-no-word", "424, USD 40", ["number 424", "price 40 USD"], "what money is called is short for nothing"),
    ("of-an-inch", "424, number 3/16 of an inch", ["number 424", "measure number-height=0.1875 in"], "a fraction with its unit"),
    ("next-item", "1. 314-B, rough\n2. 314-B, rough", ["number 314-B", "condition poor"] * 2, "another item is another unit"),
    ("kind-again", "74, whistle tender. Tender is rough.", WHISTLE, "a family is no news behind its kind"),
    ("freight-cars", "Five freight cars, $40", ["name freight-car-310", "price 40 USD"], "freight that costs nothing"),
    ("plus-in-words", "424, plus 12 for shipping", ["number 424", "shipping 12 USD"], "an amount says it, not who pays"),
    ("bears", "424, and I gladly bear the carriage", ["number 424", "shipping free"], "who pays, in other words"),
    ("none-sent", "424. Nothing gets sent by parcel.", ["number 424", "shipping pickup"], "nor is it sent"),
    ("taken-up", "424. There is a horn. It is gray.", HORN, "what a pronoun takes up"),
    ("asked-and-told", "424. Horn? Yes, gray.", HORN, "what an answer is about"),
    ("other-color", "424, black, though he says it is dark green", OTHER, "two who differ about a color are both heard"),
    ("engine-of-two", "Tender 74 and tank engine. Engine has zinc rot.", ZINC, "a family by the last word of its name"),
    ("nothing", "", [], "no text at all"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected", "why"), [row[1:] for row in TEXTS], ids=[row[0] for row in TEXTS])
def test_small_texts(text: str, expected: list[str], why: str) -> None:
    assert [shown(claim) for claim in claims(text, words())] == expected, why


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param("424, and Carl says it is from 1954", ["number 424", "hedge hearsay", "year 1954 ?"], id="a person"),
        pytest.param("424, and the label says 1954", ["number 424", "year 1954"], id="a thing"),
        pytest.param("424. Label says 1954", ["number 424", "year 1954"], id="a thing at the beginning of a sentence"),
    ],
)
def test_what_a_person_says_is_hearsay(text: str, expected: list[str]) -> None:
    assert [shown(claim) for claim in claims(text, words())] == expected


def spoken() -> list[tuple[str, str, str, str]]:
    """(family's name, phrase, kind, meaning) of what states and places of damage are said to be, where nothing is put in."""
    found: list[tuple[str, str, str, str]] = []
    for family in entries().families.values():
        for trait, record in family.traits.items():
            for state, one in (record.states or {}).items():
                found += [(family.name, phrase, "state", f"{trait}={state}") for phrase in one.said[:2]]
        for spot, one in family.damage.items():
            found += [(family.name, phrase, "defect", spot) for phrase in one.said[:2]]
    return [row for row in found if "_" not in row[1] and not row[1].startswith(OPPOSITE)]


@pytest.mark.parametrize("family", [family.name for family in entries().families.values()])
def test_most_of_what_is_said_is_read_back_within_its_family(family: str) -> None:
    """Phrases that fit two traits of a family alike, or a longer one better, may read as those."""
    rows = [row for row in spoken() if row[0] == family]
    missed: list[tuple[str, str]] = []
    for _, phrase, kind, says in rows:
        text = f"{family}. It is this: {' '.join(parts_of(unfolded(phrase)[0])).replace('=', '')}."
        if not any(claim.kind == kind and says in claim.says for claim in claims(text, words())):
            missed.append((phrase, says))
    assert len(missed) <= 0.1 * len(rows), missed


@pytest.mark.parametrize("slot_type", sorted(entries().slot_types))
def test_every_part_is_read_by_its_name_or_by_what_it_shows(slot_type: str) -> None:
    for part, record in entries().parts.items():
        if entries().home["part", part] == slot_type:
            found = claims(f"Loose part from a parts box: {record.name}", words())
            of_it = [says for claim in found for says in claim.says if says.startswith((f"{slot_type}=", f"{slot_type}."))]
            assert of_it, record.name


@pytest.mark.parametrize("livery", sorted(entries().liveries))
def test_one_mistake_in_a_long_word_does_not_hide_it(livery: str) -> None:
    name = entries().liveries[livery].name
    for at, word in enumerate(name.split()):
        if len(word) >= 6:
            for k in range(1, len(word) - 1):
                slip = [*name.split()]
                slip[at] = word[:k] + word[k + 1 :]
                found = claims(" ".join(slip), words())
                assert [claim.says for claim in found if claim.kind == "name"] == [(livery,)], slip


@given(st.text(max_size=300))
def test_any_text_is_read(text: str) -> None:
    lawful(text)


WORDS = st.sampled_from(
    [
        *(
            "no",
            "not",
            "missing",
            "without",
            "or",
            "and",
            ",",
            ".",
            "\n",
            "blue",
            "roof",
            "horn",
            "plate",
            "coupler",
            "crack",
            "nose",
        ),
        *(
            "424",
            "TX-80",
            "1953",
            "$20",
            "door",
            "runs",
            "inches",
            "3 1/2",
            "\u00bd",
            '"',
            "shipping",
            "I think",
            "B unit",
            "Prairie Meridian",
        ),
    ]
)


@given(st.lists(WORDS, max_size=40))
def test_any_words_of_sellers_are_read(row: list[str]) -> None:
    lawful(" ".join(row))


def lawful(text: str) -> None:
    """What holds of every reading: places slice to quotes, in order, none over another, each with a meaning."""
    found = claims(text, words())
    for claim in found:
        assert text[claim.start : claim.end] == claim.quote != ""
        assert claim.says
        assert all(claim.says)
    assert all(a.end <= b.start for a, b in pairwise(found))


@pytest.mark.parametrize("row", TEXTS, ids=lambda row: row[0])
def test_capitals_do_not_matter_to_words(row: tuple[str, str, list[str], str]) -> None:
    text = row[1]
    lower = [claim for claim in claims(text.lower(), words()) if claim.kind not in ("name", "condition")]
    usual = [claim for claim in claims(text, words()) if claim.kind not in ("name", "condition")]
    assert [shown(one) for one in lower] == [shown(one) for one in usual]
