"""What becomes of a seller's claims, on the demonstration: they are marked by hand, so that nothing here leans on finding them.

A text is written with its claims as [quote](kind meaning flags); what the units show is in `entries/`.
"""

# The library of schemas and their references is typed in part.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from referencing import Registry, Resource
from ruamel.yaml import YAML
from tellmark.identify.claims import Claim
from tellmark.identify.listing import Listing, read_listing, report_listing
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries
from tellmark.kb.models import Worth
from tellmark.kb.values import Answer

ROOT = Path(__file__).parents[2]
SEEN = ROOT / "tests" / "outside" / "listings" / "seen"
SCHEMAS = {path.name: json.loads(path.read_text("utf-8")) for path in (ROOT / "cli" / "schemas").glob("*.json")}
MARKED = re.compile(r"\[([^\]]*)\]\((\S+) ([^)]*?)( denied)?( hedged)?\)")
FIRST_BATCH = (
    "[424](number 424) [Prairie Meridian](name prairie-meridian) [powered A](name cab-diesel-420/powered-a), "
    "[first batch](name batch-1)."
)

Read = Callable[..., Listing]


@pytest.fixture(scope="module")
def entries() -> Entries:
    found, findings = sound(ROOT / "entries")
    assert findings == []
    return found


@pytest.fixture(scope="module")
def base(entries: Entries) -> Session:
    return start(entries)


def with_worth(entries: Entries, wrong: float, hedged: float = 0.0) -> Entries:
    kinds = ("number", "year", "name", "state", "measure", "part", "condition")
    worth = Worth.model_validate({"wrong": dict.fromkeys(kinds, wrong), "hedged": hedged})
    return replace(entries, sellers=entries.sellers.model_copy(update={"worth": worth}))


def claims_in(marked: str) -> tuple[str, list[Claim]]:
    text, claims, at = "", list[Claim](), 0
    for found in MARKED.finditer(marked):
        text += marked[at : found.start()]
        says = tuple(found[3].split("|"))
        claims.append(
            Claim(len(text), len(text) + len(found[1]), found[1], found[2], says, denied=bool(found[4]), hedged=bool(found[5]))
        )
        text += found[1]
        at = found.end()
    return text + marked[at:], claims


def of_corpus(name: str) -> tuple[str, list[Claim]]:
    """A text of the corpus with its marks."""
    file: dict[str, Any] = YAML(typ="safe").load((SEEN / f"{name}.yaml").read_text("utf-8"))
    claims: list[Claim] = []
    for mark in file["claims"]:
        start = -1
        for _ in range(mark.get("occurrence", 1)):
            start = file["text"].find(mark["quote"], start + 1)
        says, flags = tuple(mark["says"].split("|")), {key: mark.get(key, False) for key in ("denied", "hedged")}
        claims.append(Claim(start, start + len(mark["quote"]), mark["quote"], mark["kind"], says, **flags))
    return file["text"], claims


@pytest.fixture
def read(entries: Entries, base: Session) -> Read:
    def make(marked: str, answers: Mapping[str, Any] | None = None, worth: Entries = entries, **more: Any) -> Listing:
        text, claims = of_corpus(marked) if " " not in marked else claims_in(marked)
        written = {key: Answer.model_validate({"is": one}) for key, one in (answers or {}).items()}
        start_from = base if "family" not in more else start(entries, more["family"])
        return read_listing(worth, text, claims, start_from, answers=written, **more)

    return make


def leading(listing: Listing, u: int = 0) -> tuple[str, float]:
    return listing.units[u].session.variants[0]


def remarks(listing: Listing, kind: str, u: int = 0) -> list[str]:
    return [one.says for one in listing.remarks[u] if one.kind == kind]


def bits(listing: Listing, quote: str) -> float:
    (one,) = listing.units
    return one.bits[[some.claim.quote for some in one.meanings].index(quote)]


# What a claim counts for ------------------------------------------------------------------------------------------------


CLAIMED = [
    ("a number", "[424](number 424)", "424-prairie-meridian-a-b"),
    ("a painted number", "[4222](number 4222)", "422-blue-mesa-t-b"),
    ("a name and a kind", "[IC](name iron-coast) [B unit](name cab-diesel-420/trailing-b)", "423-iron-coast-b-b1"),
    ("a set by its number", "[53-3](number 53-3) [powered](name cab-diesel-420/powered-a)", "422-blue-mesa-a-b2"),
    ("another family", "[164](number 164), [second batch](name batch-2), [no motor](name road-switcher-160/unpowered)", "164-"),
    ("a model", "[TX-80](number TX-80) [third](name batch-3)", "tx-80-b3"),
    ("a car's name", "[LADLE CREEK](state car-name=LADLE CREEK)", "844-prairie-meridian-c-"),
    ("inches", "[424](number 424) [A](name cab-diesel-420/powered-a), [1/4 in](measure number-height=0.25 in)",
     "424-prairie-meridian-a-b1"),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "variant"), [case[1:] for case in CLAIMED], ids=[case[0] for case in CLAIMED])
def test_what_is_claimed_leads(marked: str, variant: str, read: Read) -> None:
    assert leading(read(f"It is {marked}."))[0].startswith(variant)


@pytest.mark.parametrize("marked", [case[1] for case in CLAIMED], ids=[case[0] for case in CLAIMED])
def test_what_is_worth_nothing_moves_nothing(marked: str, read: Read, entries: Entries, base: Session) -> None:
    (one,) = read(f"It is {marked}, [repainted](condition repainted).", worth=with_worth(entries, 1.0)).units
    assert one.session.belief.probability == pytest.approx(base.belief.probability, abs=1e-12)
    assert one.bits == pytest.approx([0.0] * len(one.meanings), abs=1e-9)


ANSWERS = [
    ("a state", "[nose door](state number-place=nose-door)", {"number-place": "nose-door"}),
    ("a part's state", "[twin gears](state motor.gearing=twin)", {"motor.gearing": "twin"}),
    ("a part", "[twin-gear](part motor=twin-gear)", {"motor": "twin-gear"}),
    ("a part that is missing", "[no horn](part horn denied)", {"horn": "missing"}),
    ("a measured value", "[6.2 mm](measure number-height=6.2 mm)", {"number-height": "6.2 mm"}),
    ("a painted number", "[4241](number 4241)", {"number": "4241"}),
    ("several", "[4241](number 4241), [two](state side-stripes=two-narrow)", {"number": "4241", "side-stripes": "two-narrow"}),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "answers"), [case[1:] for case in ANSWERS], ids=[case[0] for case in ANSWERS])
def test_what_is_always_right_is_an_answer(
    marked: str, answers: dict[str, str], read: Read, entries: Entries, base: Session
) -> None:
    told = read(f"It has {marked}.", worth=with_worth(entries, 0.0)).units[0].session
    written = {key: Answer.model_validate({"is": one}) for key, one in answers.items()}
    seen = answered(base, entries, None, written)
    assert told.belief.probability == pytest.approx(seen.belief.probability, abs=1e-9)
    for ours, theirs in zip(told.belief.factor, seen.belief.factor, strict=True):
        assert ours == pytest.approx(theirs, rel=1e-9)


def test_what_is_always_right_leaves_only_what_it_names(read: Read, entries: Entries) -> None:
    session = (
        read("[422](number 422) [trailing A](name cab-diesel-420/trailing-a)", worth=with_worth(entries, 0.0)).units[0].session
    )
    named = {ident for ident, chance in session.variants if chance > 1e-12}
    assert named == {"422-blue-mesa-t-b2", "422-blue-mesa-t-b3", "not-in-the-record"}


def test_a_guess_weighs_less(read: Read) -> None:
    sure, guess = (read(f"[first batch](name batch-1{flag}) of the [424](number 424)") for flag in ("", " hedged"))
    assert 0 < bits(guess, "first batch") < bits(sure, "first batch")


def test_a_claim_that_follows_from_another_counts_once(read: Read) -> None:
    alone, twice = (read(f"[424](number 424){more}, an A") for more in ("", " [420 series](name cab-diesel-420)"))
    assert leading(twice) == pytest.approx(leading(alone))
    assert bits(twice, "420 series") == pytest.approx(0.0, abs=1e-9)


def test_a_wrong_claim_does_not_drown_the_record(read: Read) -> None:
    """A third batch that is called a first one, in a text full of what a third batch shows."""
    listing = read("wrong-424-first-batch")
    assert leading(listing)[0] == "424-prairie-meridian-a-b3"
    (one,) = listing.units
    doubts = {some.claim.quote: doubt for some, doubt in zip(one.meanings, one.doubts, strict=True)}
    assert {quote for quote, doubt in doubts.items() if doubt is not None and doubt > 0.5} == {"first batch", "1950"}


def test_what_is_denied_is_the_opposite(read: Read) -> None:
    said, denied = (read(f"[424](number 424), [batch one](name batch-1{flag})") for flag in ("", " denied"))
    shares = [dict(one.units[0].session.variants)["424-prairie-meridian-a-b1"] for one in (said, denied)]
    assert shares[0] > 0.4 > 0.02 > shares[1]


def test_one_of_several_meanings_is_enough(read: Read) -> None:
    """ "Blue" is either blue."""
    shares = dict(
        read("[blue](state main-color=dark-blue|main-color=light-blue) [A](name cab-diesel-420/powered-a)")
        .units[0]
        .session.variants
    )
    assert min(shares["422-blue-mesa-a-b2"], shares["426-lake-harrow-a-b2"]) > 10 * shares["424-prairie-meridian-a-b2"]


def test_a_part_of_one_of_two_slots_counts_for_the_candidates(read: Read) -> None:
    """Which of the two couplers it is, is not said: no slot is taken to hold it, but the sets that came with it are likelier."""
    plain, with_couplers = (
        read(f"{FIRST_BATCH}{more}").units[0].session for more in ("", " [lever](part coupler=lever-coupler)")
    )
    assert with_couplers.heard == plain.heard
    assert with_couplers.origins["50-1-prairie-meridian-a"] > plain.origins["50-1-prairie-meridian-a"]


@pytest.mark.parametrize(("flag", "more"), [("", True), (" denied", False)], ids=["repainted", "never repainted"])
def test_a_claim_of_repainting_counts_for_the_finish(flag: str, more: bool, read: Read, base: Session) -> None:
    finish = [slot.id for slot in base.compiled.slots].index("finish")
    shares: list[float] = []
    for marked in (FIRST_BATCH, f"{FIRST_BATCH} [paint](condition repainted{flag})"):
        session = read(marked).units[0].session
        shares.append(float(session.compiled.slots[finish].swap[session.compiled.slots[finish].row[0]]))
    assert (shares[1] > shares[0]) is more


# Own eyes ---------------------------------------------------------------------------------------------------------------


def test_photographs_count_in_full_beside_the_claim(read: Read) -> None:
    """The claim and the look are of one motor: they are not merged into one answer, and the look wins."""
    one = read(f"{FIRST_BATCH} [single-gear](state motor.gearing=single)", {"motor.gearing": "twin"}).units[0]
    (evidence,) = [some for some in one.session.evidence if one.session.compiled.traits[some.trait].id == "motor.gearing"]
    assert evidence.seen
    assert len(evidence.told) == 1
    with_look, without = one.doubts[-1], one.doubts_in(one.told)[-1]
    assert with_look is not None
    assert without is not None
    assert with_look > 20 * without


def test_text_against_photographs(read: Read) -> None:
    marked = "[424](number 424) [Prairie Meridian](name prairie-meridian) [powered A](name cab-diesel-420/powered-a)"
    listing = read(marked, {"floor-cutout": "solid-floor", "number": "4242"})
    (says,) = remarks(listing, "photographs")
    assert says.startswith(
        'The text says powered A; the photographs show opening in the floor: not cut out and road number: reads "4242", '
        "which no 424 Prairie Meridian, powered A left the factory with."
    )
    assert re.search(r'Probably wrong: "powered A" \(>?\d+ %\)\.$', says)
    assert leading(listing)[0].startswith("424-prairie-meridian-t")


def test_a_text_against_its_own_words_about_its_photographs(read: Read) -> None:
    listing = read("contradiction-424-photos")
    assert leading(listing)[0].startswith("424-prairie-meridian-t")
    (says,) = remarks(listing, "photographs")
    assert says.startswith('The text says powered A, and of its own photographs "solid floor" (recorded: cut out for a motor)')
    assert "4242" in remarks(listing, "contradiction")[0]


def test_a_claimed_part_against_what_is_seen_of_it(read: Read) -> None:
    listing = read(f"{FIRST_BATCH} [single gear motor](part motor=single-gear)", {"motor.gearing": "twin"})
    assert (
        'The text says "single gear motor" (motor: Single-gear motor); the photographs show motor: gearing: two geared axles.'
        in (remarks(listing, "photographs"))
    )


# What does not fit ------------------------------------------------------------------------------------------------------


def test_a_late_motor_in_an_early_body_called_all_original(read: Read) -> None:
    marked = f"{FIRST_BATCH} [On the nose door](state number-place=nose-door), [6.2 mm](measure number-height=6.2 mm). "
    marked += "[All original](condition original). [Twin-gear motor with tires](part motor=twin-gear-tire)."
    listing = read(marked)
    assert leading(listing)[0] == "424-prairie-meridian-a-b1"
    assert remarks(listing, "original")[0].startswith('The text says "All original". Probably changed since: the motor (')
    assert remarks(listing, "changed")[0].endswith(
        "twin-gear motor with traction tires (1957 to 1962) sits there, single-gear motor (1950 to 1953) belongs there."
    )
    assert remarks(listing, "years") == [
        "Twin-gear motor with traction tires was not made before 1957; 424 Prairie Meridian, powered A, first batch was made "
        "1950 to 1952."
    ]


FITS = [
    ("an unknown number", "[4249](number 4249) A unit", "unrecorded", 'Nothing in the record is or shows the number "4249".'),
    ("a number of another livery", "[4241](number 4241) [Blue Mesa](name blue-mesa) [A](name cab-diesel-420/powered-a)",
     "contradiction", "No Blue Mesa has the number 4241: it is that of 424 Prairie Meridian."),
    ("a year before the part", "[1953](year 1953) [424](number 424) [motor](part motor=twin-gear-tire)",
     "years", "Twin-gear motor with traction tires was not made before 1957; the text says 1953."),
    ("a year after the unit", "[1961](year 1961) [424](number 424) [first batch](name batch-1)",
     "contradiction", "The text says 1961, but 424 Prairie Meridian, first batch was made 1950 to 1952."),
    ("a color nobody made", "[424](number 424) [A](name cab-diesel-420/powered-a) in [red](state main-color=red)",
     "contradiction", 'No 420 series cab diesel left the factory with "red" (recorded: orange). If that is so, it was '),
    ("a part that is gone", f"{FIRST_BATCH} [6.2 mm](measure number-height=6.2 mm) [No horn](part horn denied)",
     "missing", "Probably missing: the horn ("),
    ("a cracked cord", "[power pack](name power-pack-tx), [crumbling](defect cracked-cord)", "caution",
     "Mains voltage can kill."),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "kind", "says"), [case[1:] for case in FITS], ids=[case[0] for case in FITS])
def test_what_does_not_fit_is_said(marked: str, kind: str, says: str, read: Read) -> None:
    found = remarks(read(marked), kind)
    assert [one for one in found if one.startswith(says)], found


def test_a_sound_text_has_nothing_that_does_not_fit(read: Read) -> None:
    marked = f"{FIRST_BATCH} [4241](number 4241) on the [nose door](state number-place=nose-door), [1951](year 1951), "
    marked += "[no front coupler](part front-coupler denied), [runs](condition runs), [All original](condition original)."
    assert read(marked).remarks == ((),)


# What is not said, and what to ask --------------------------------------------------------------------------------------


def test_what_is_said_is_not_missed(read: Read) -> None:
    silent, told = (
        {one.id for one in read(f"{FIRST_BATCH}{more}").silent[0]}
        for more in ("", " [Runs](condition runs). [No cracks](defect crack denied), [roof warped](defect roof-warp).")
    )
    assert {"runs", "roof-warp", "boss-split"} <= silent
    assert not {"runs", "roof-warp", "nose-door-crack"} & told
    assert len(silent) <= 6


def test_a_view_at_hand_is_not_asked_for(read: Read) -> None:
    views = [one.view for _, one in read(FIRST_BATCH).questions]
    assert {"underside", "nose"} <= set(views)
    fewer = read(FIRST_BATCH, {"motor.gearing": "single"}, views=["underside", "nose"]).questions
    assert not {"underside", "nose"} & {one.view for _, one in fewer}


def test_few_things_are_asked_and_each_is_worth_something(read: Read) -> None:
    for marked in (FIRST_BATCH, "lot-three-units", "hedged-421-a", "terse-tx25"):
        questions = read(marked).questions
        assert 0 < len(questions) <= 5
        assert all(one.bits > 0 for _, one in questions)


def test_nobody_is_asked_to_plug_in_a_pack(read: Read) -> None:
    listing = read("rambling-transformer-basement")
    assert [one.view for _, one in listing.questions if one.view == "running"] == []
    assert not re.search(r"plug (it )?in|does it (run|work)", report_listing(listing)["message"], re.IGNORECASE)


def test_the_message_is_ready_to_send(read: Read) -> None:
    found = report_listing(read(FIRST_BATCH))
    lines = found["message"].split("\n")
    assert lines[0] == "Hello,"
    assert lines[2] == "I am interested in the 424 Prairie Meridian powered A and would be grateful for a few things:"
    assert "A photograph of the underside, laid on a folded towel" in found["message"]
    assert lines[-1] == "Thank you for your trouble, and kind regards"
    assert [line[:2] for line in lines[4:-2]] == [f"{n}." for n in range(1, len(found["questions"]) + 1)]
    for word in ("trait", "variant", "bits", "swapped", "claim", "family"):
        assert word not in found["message"]


def test_nothing_needs_to_be_asked(read: Read, entries: Entries) -> None:
    """Everything that a seller could show was seen."""
    quiet = entries.about.buying.model_copy(update={"wanted": {}})
    bare = replace(entries, about=entries.about.model_copy(update={"buying": quiet}))
    views = [view for view, record in entries.about.views.items() if record.request]
    found = report_listing(read(FIRST_BATCH, {"number": "4241"}, worth=bare, family="cab-diesel-420", views=views))
    assert found["questions"] == []
    assert found["message"].startswith("Hello,\n\nthank you for your clear description of the 424 Prairie Meridian powered A.")


# Several units ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "firsts"),
    [
        ("lot-three-units", ["424-prairie-meridian-a-b2", "", ""]),
        ("long-yard-sale-420s", ["427-copper-hollow-a-b4", "422-blue-mesa-a-b3"]),
        ("dealer-71-pair", ["71-tamarack-northern-engine", "71-tamarack-northern-tender"]),
        ("contradiction-424-photos", ["424-prairie-meridian-t-b2"]),
        ("hedged-421-a", ["421-tamarack-northern"]),
        ("wrong-424-first-batch", ["424-prairie-meridian-a-b3"]),
        ("auction-426-a", ["426-lake-harrow-a-holloways"]),
    ],
)
def test_units_are_kept_apart(name: str, firsts: list[str], read: Read) -> None:
    """Contradictions, guesses and doubts do not make two of one."""
    listing = read(name)
    assert len(listing.units) == len(firsts)
    for u, first in enumerate(firsts):
        assert leading(listing, u)[0].startswith(first)


def test_what_comes_before_all_is_about_each(read: Read) -> None:
    listing = read("estate-423-aba")
    in_all = [n for n in range(len(listing.claims)) if all(n in mine for mine in listing.parts)]
    shared = {listing.claims[n].quote for n in in_all}
    assert shared == {"Iron Coast", "maroon", "gray"}
    assert {n for mine in listing.parts for n in mine} == set(range(len(listing.claims)))


def test_several_units_are_looked_at_as_a_lot(read: Read) -> None:
    found = report_listing(read("lot-three-units"))
    assert [one["name"] for one in found["lot"]["units"]] == [one["name"] for one in found["units"]]
    assert found["lot"]["explanations"][0]["sets"]


def test_photographs_are_of_the_unit_they_fit(read: Read) -> None:
    listing = read("lot-three-units", {"floor-cutout": "solid-floor", "body-shape": "streamlined-nose"})
    assert listing.shown == 1
    assert [bool(one.answers) for one in listing.units] == [False, True, False]


def test_a_text_about_parts_names_no_unit(read: Read) -> None:
    found = report_listing(read("lot-parts-couplers"))
    assert [(one["name"], one["identified"]) for one in found["units"]] == [("parts", None)]


# Price ------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("marked", "says"),
    [
        ("It is [$150](price 150 USD) and [$13](shipping 13 USD)", "Asked: 150 USD; 13 USD shipping: 163 USD in all."),
        ("It is [a lot](price 180..220 USD), [9.50](shipping 9.50 USD)",
         "Asked: 180 to 220 USD; 9.50 USD shipping: 189.50 to 229.50 USD in all."),
        ("It is [$10](price 10 USD), [postpaid](shipping free)", "Asked: 10 USD; shipping is included."),
        ("It is [$10](price 10 USD), [extra](shipping buyer-pays)",
         "Asked: 10 USD; shipping comes on top, how much is not said."),
        ("It is [$10](price 10 USD) or [$12](price 12 USD)", "Asked: 10 USD and 12 USD; nothing is said of shipping."),
        ("It is here, [no mail](shipping pickup)", "No price is said; it is not shipped."),
    ],
    ids=["both", "a range", "included", "on top", "several", "none"],
)  # fmt: skip
def test_what_is_asked(marked: str, says: str, read: Read) -> None:
    assert report_listing(read(marked))["price"]["says"] == says


# The whole --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(path.stem for path in SEEN.glob("*.yaml")))
def test_every_text_of_the_corpus_has_a_sound_report(name: str, read: Read) -> None:
    listing = read(name)
    found = report_listing(listing)
    registry = Registry().with_resources([(key, Resource.from_contents(schema)) for key, schema in SCHEMAS.items()])
    jsonschema.Draft202012Validator(SCHEMAS["listing.json"], registry=registry).validate(found)
    for claim in found["claims"]:
        assert found["text"][claim["start"] : claim["end"]] == claim["quote"]
    for one in found["units"]:
        for finding in one["findings"]:
            assert finding["says"].endswith((".", "?"))
            assert "  " not in finding["says"]


def test_nothing_in_the_text(read: Read) -> None:
    """The question is then the one that anybody would begin with."""
    found = report_listing(read("A nice old toy for sale, ask me."))
    assert found["claims"] == []
    assert found["units"][0]["identified"] is None
    assert found["questions"][0]["view"] is not None
