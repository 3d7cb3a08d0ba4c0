"""Identifying a unit in a real browser, opened from its folder: by mouse, by keyboard, on a phone; as the command does it."""

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote, urlsplit

import pytest
from playwright.sync_api import Browser, Locator, Page, expect
from tellmark.identify.arrays import MISSING, NOT_IN_THE_RECORD
from tellmark.identify.questions import Question
from tellmark.identify.report import report
from tellmark.identify.session import Session
from tellmark.identify.start import give, start
from tellmark.identify.wording import Words, percent
from tellmark.kb.answers import read_all
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries
from tellmark.kb.values import Answer
from tellmark.site_builder.joined import joined

ROOT = Path(__file__).parents[2]
NODE = shutil.which("node")
DIESEL = "#family=cab-diesel-420&views=side,nose,underside"
Open = Callable[..., Page]
Truth = Callable[[Session, Question], str]


@pytest.fixture(scope="module")
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


# The address -------------------------------------------------------------------------------------------------------------

EMPTY: dict[str, Any] = {"family": None, "views": None, "target": "variant", "ask": "yes-no", "at": "", "answers": []}
#: address -> what it says, what is wrong with it, and how the same is written by the page where it is not as it came
ADDRESSES: dict[str, tuple[str, dict[str, Any], int, str | None]] = {
    "nothing at all is the start": ("", {"at": "start"}, 0, "#views=all&at=start"),
    "a link from a family": (
        "#family=tender-70",
        {"family": "tender-70", "at": "start"},
        0,
        "#family=tender-70&views=all&at=start",
    ),
    "what can be seen": ("#views=side,nose", {"views": ["side", "nose"]}, 0, None),
    "an answer alone": ("#horn=twin", {"answers": [["horn", "twin", 0]]}, 0, "#views=all&horn=twin"),
    "answers keep their order, and a key may come twice": (
        "#views=all&a=not:x&b=any:y,z&a=w",
        {"answers": [["a", "not:x", 0], ["b", "any:y,z", 0], ["a", "w", 0]]},
        0,
        None,
    ),
    "a second look": ("#views=all&a=x&a@2=y", {"answers": [["a", "x", 0], ["a", "y", 1]]}, 0, None),
    "a measure, a text and hard signs": (
        "#views=all&p.l=21.5%20+-%200.5%20mm&n=A%26B%3D%23%25%22%C3%A9",
        {"answers": [["p.l", "21.5 +- 0.5 mm", 0], ["n", 'A&B=#%"é', 0]]},
        0,
        None,
    ),
    "a trait called as a word of the address": ("#views=all&trait:views=x", {"answers": [["views", "x", 0]]}, 0, None),
    "a family's own trait": ("#views=all&f-1/t=x", {"answers": [["f-1/t", "x", 0]]}, 0, None),
    "all else": (
        "#family=f&views=a&target=set&ask=any&at=change.2",
        {"family": "f", "views": ["a"], "target": "set", "ask": "any", "at": "change.2"},
        0,
        None,
    ),
    "telling what nobody asked": ("#views=all&at=tell.pilot.length", {"at": "tell.pilot.length"}, 0, None),
    "what is wrong is left out and said": (
        "#views=all&%E0%A4%A=x&target=gold&at=moon&ask=me&views=A!&family=../x&b=y&C=d&e=&f@0=g&lone",
        {"answers": [["b", "y", 0]]},
        10,
        "#views=all&b=y",
    ),
}


@pytest.mark.skipif(NODE is None, reason="no node here")
def test_address_and_state() -> None:
    script = joined("page/state.js", "state")
    hashes = json.dumps([one[0] for one in ADDRESSES.values()])
    each = "const { state: s, problems } = state.readAddress(hash); return [s, problems.length, state.address(s)];"
    run = f"{script}; console.log(JSON.stringify({hashes}.map((hash) => {{ {each} }})))"
    done = subprocess.run([str(NODE), "-e", run], capture_output=True, text=True, check=True)
    for (name, (hash_, said, wrong, back)), (state, problems, again) in zip(
        ADDRESSES.items(), json.loads(done.stdout), strict=True
    ):
        state["answers"] = [[one["key"], one["value"], one["look"]] for one in state["answers"]]
        assert (state, problems, again) == ({**EMPTY, **said}, wrong, back or hash_), name


def test_sent_addresses_keep_their_meaning(identify: Open) -> None:
    """What is wrong or outdated is said, and everything else is kept."""
    page = identify("#family=cab-diesel-42&views=side,hat&number=4241&color-of-roof=red&nose-stripe=purple&%E0%A4%A")
    problem = page.locator("#identify-problem")
    expect(problem).to_contain_text("cannot be used")
    for text in ["cab-diesel-42", "hat", "color-of-roof", "purple", "painted", "%E0%A4%A"]:
        expect(problem).to_contain_text(text)
    expect(page.locator("#identify-answers li")).to_have_count(1)
    expect(page.locator("#identify-answers")).to_contain_text('reads "4241"')
    expect(page.locator("#identify-answers .seen")).to_contain_text("side")


# A whole identification --------------------------------------------------------------------------------------------------


def session_of(entries: Entries, hash_: str) -> Session:
    """The session that an address stands for, by the command's own means."""
    pairs = [one.split("=", 1) for one in urlsplit(hash_).fragment.split("&")]
    plain = {key: unquote(value) for key, value in pairs if "@" not in key}
    views = None if plain.get("views", "all") == "all" else plain["views"].split(",")
    family, target, ask = plain.get("family"), plain.get("target", "variant"), plain.get("ask", "yes-no")
    session = start(entries, family, views, target, ask)  # type: ignore[arg-type]
    for key, value in pairs:
        if key in ("family", "views", "target", "ask", "at"):
            continue
        form, _, rest = unquote(value).rpartition(":")
        forms: dict[str, Any] = {
            "": {"is": rest},
            "not": {"not": rest.split(",")},
            "any": {"one_of": rest.split(",")},
            "more": {"more_than": rest},
            "less": {"less_than": rest},
        }
        key, _, look = unquote(key).partition("@")
        readings, problems = read_all(entries, family, {key: Answer.model_validate(forms[form])})
        assert problems == []
        for asked, reading in readings:
            if look:
                session = session.again(session.compiled.trait(asked.id, asked.family), reading)
            else:
                session = give(session, asked, reading)
    return session


def as_made(variant: str) -> Truth:
    """What a unit of this variant, as it left the factory, answers to a question: the value of the button, or what is typed."""

    def answer(session: Session, question: Question) -> str:
        compiled, trait = session.compiled, session.compiled.traits[question.trait]
        slot = compiled.slots[trait.slot]
        row = slot.row[[compiled.label(c) for c in range(compiled.candidates)].index(variant)]
        i = int(slot.issued[row].argmax()) if slot.parts else int(row)
        if trait.blend_of[i] >= 0:
            return "cannot-tell"
        if trait.measured:
            return ("yes" if trait.mean[i] > question.cut else "no") if question.cut is not None else f"{trait.mean[i]:.1f}"
        k = int(trait.truth[i].argmax())
        if trait.states[k] == MISSING:
            return "missing"
        if question.form in ("choice", "reading"):
            return trait.states[k]
        return "yes" if k in question.outcomes[0] else "no"

    return answer


def by_mouse(page: Page, choice: Locator) -> None:
    choice.click()
    page.locator(".question button[type=submit]").click()


def by_keyboard(page: Page, choice: Locator) -> None:
    """From the heading, where one is after every step: Tab to the buttons, arrows to the right one, Tab to Continue."""
    wanted = choice.get_attribute("id")
    page.keyboard.press("Tab")
    for _ in range(20):
        if page.evaluate("document.activeElement.id") == wanted:
            break
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    expect(choice).to_be_checked()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")


def identified(page: Page, entries: Entries, truth: Truth, step: Callable[[Page, Locator], None]) -> Session:
    """Answers every question to the verdict; each must be the one that the command asks."""
    for _ in range(40):
        session = session_of(entries, page.url)
        proposal = session.to_ask
        if session.settled or proposal is None:
            return session
        words = Words(entries, session.compiled)
        expect(page.locator("#identify-now h1")).to_have_text(words.ask(proposal.question))
        said = truth(session, proposal.question)
        buttons = page.locator(".question input[name=answer]")
        before = page.url
        if page.locator("#typed").count() and said != "cannot-tell":
            page.locator("#typed").focus()
            page.keyboard.type(said)
            page.keyboard.press("Enter")
        elif said in ("yes", "no"):
            step(page, buttons.nth(0 if said == "yes" else 1))
        else:
            step(page, page.locator(f'.question input[value="{said}"]'))
        page.wait_for_url(lambda url, before=before: url != before)
    raise AssertionError("no verdict after 40 questions")


def shown_as_reported(page: Page, entries: Entries, session: Session) -> None:
    """The verdict as the command gives it: variants, sets, slots, weights, and the sentences of its history."""
    words = Words(entries, session.compiled)
    found = report(session, words)
    first = found["variants"][0]
    verdict = page.locator(".verdict")
    expect(verdict.locator("h1")).to_have_text(first["name"])
    chances = dict(session.variants)  # not rounded: what is nearly certain is never said to be certain
    expect(verdict.locator(".sure b")).to_have_text(percent(chances[first["id"]]))
    named = [one for one in found["variants"][:4] if one is first or one["probability"] >= 0.005]
    leading = page.locator("#identify-leading li")
    expect(leading).to_have_count(len(named))
    for row, one in zip(leading.all(), named, strict=True):
        expect(row.locator(".who")).to_contain_text(one["name"])
        expect(row.locator(".chance")).to_have_text(percent(chances[one["id"]]))
    rows = page.locator(".slots tbody tr").all()
    shown = [(row.locator("th").inner_text(), row.locator("td[data-label=Changed]").inner_text()) for row in rows]
    assert shown == [(words.slot(one["slot"]), percent(one["swapped"])) for one in found["slots"]]
    sets = [one for one in found["sets"] if one["probability"] >= 0.05][:4]
    if any(one["id"] for one in sets):
        assert page.locator(".chances .chance").all_inner_texts() == [percent(one["probability"]) for one in sets]
    weights = [abs(float(text.replace("\N{MINUS SIGN}", "-"))) for text in page.locator(".weights .bits").all_inner_texts()]
    told = [one for one in found["answers"] if one["answer"] != "cannot tell"]
    assert sorted(weights) == sorted(abs(round(one["bits"], 1)) for one in told)


@pytest.mark.parametrize(
    ("step", "width", "family", "variant"),
    [
        (by_mouse, 1000, "cab-diesel-420", "426-lake-harrow-a-b3"),
        (by_keyboard, 1000, "tender-70", "75-sable-river-western-tender-b3-whistle"),
        (by_mouse, 360, "road-switcher-160", "164-prairie-meridian-b2"),
    ],
    ids=["mouse", "keyboard", "phone"],
)
def test_from_the_start_to_the_verdict(
    identify: Open, entries: Entries, step: Any, width: int, family: str, variant: str
) -> None:
    page = identify(width=width)
    begin(page, family, step is by_keyboard)
    expect(page.locator("#identify-now legend")).to_be_focused()
    session = identified(page, entries, as_made(variant), step)
    shown_as_reported(page, entries, session)
    assert variant in session.leading[0]
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def begin(page: Page, family: str, keyboard: bool) -> None:
    """Chooses a family and everything one sees of a unit in hand."""
    if not keyboard:
        page.locator(f"#family-{family}").click()
        page.get_by_role("button", name="The unit in hand").click()
        page.get_by_role("button", name="Begin").click()
        return
    tab_to(page, 'document.activeElement.name === "family"')
    for _ in range(20):
        if page.evaluate("document.activeElement.value") == family:
            break
        page.keyboard.press("ArrowDown")
    tab_to(page, 'document.activeElement.textContent === "The unit in hand"')
    page.keyboard.press("Enter")
    tab_to(page, 'document.activeElement.textContent === "Begin"')
    page.keyboard.press("Enter")


def tab_to(page: Page, there: str) -> None:
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate(there):
            return
    raise AssertionError(f"never came to {there}")


def test_verdict_of_the_example_is_that_of_the_command(identify: Open, entries: Entries, late_motor: str) -> None:
    page = identify(late_motor)
    session = session_of(entries, page.url)
    shown_as_reported(page, entries, session)
    said = page.locator(".verdict").inner_text()
    for text in [
        "Settled",
        "For 424 Prairie Meridian, powered A, second batch instead: Motor: gearing (2.9 bits).",
        "“Height of the road number” were 4.8 ± 0.1 mm instead of 6.2 ± 0.1 mm",
        "Told by: rear coupler: release and height of the road number.",
        "The motor is from 1953 or later, the body is from 1950 to 1952.",
        "the motor was changed.",
        "belongs there: Single-gear motor",
    ]:
        assert text in said, text


def values_of(answer: Answer) -> list[str]:
    """An answer as an address has it; of bounds, one for each."""
    if answer.is_ is not None:
        return [answer.is_]
    if answer.not_ or answer.one_of:
        return [f"not:{','.join(answer.not_)}" if answer.not_ else f"any:{','.join(answer.one_of or [])}"]
    return [f"{form}:{bound}" for form, bound in (("more", answer.more_than), ("less", answer.less_than)) if bound]


def test_examined_units_come_out_as_the_command_says(identify: Open, entries: Entries) -> None:
    page = identify()
    for n, ident in enumerate(sorted(entries.sightings)[::11]):
        one, target = entries.sightings[ident], ("variant", "set", "original", "all")[n % 4]
        said = "".join(f"&{key}={quote(value)}" for key, answer in one.answers.items() for value in values_of(answer))
        views = ",".join(one.views) if one.views else "all"
        fragment = f"#family={entries.home['sighting', ident]}&views={views}&target={target}{said}&at=verdict"
        page.goto(page.url.partition("#")[0] + fragment)
        page.reload()
        shown_as_reported(page, entries, session_of(entries, page.url))
        expect(page.locator("#identify-problem")).to_be_empty()


NOT_RECORDED = f"{DIESEL}&number=9999&body-length=230%20mm&nose-emblem=winged&portholes=glazed&road-name=ZZZ"


def test_a_unit_that_nobody_recorded(identify: Open, entries: Entries) -> None:
    page = identify(NOT_RECORDED + "&at=verdict")
    assert session_of(entries, page.url).variants[0][0] == NOT_IN_THE_RECORD
    expect(page.locator(".verdict h1")).to_have_text("Not in the record")
    expect(page.locator(".verdict")).to_contain_text("Nobody has recorded a unit like this.")
    expect(page.locator(".verdict")).to_contain_text("save it below as a sighting")
    expect(page.locator(".slots")).to_have_count(0)
    expect(page.locator("#identify-standing")).to_contain_text("left")


# Going back and forth ----------------------------------------------------------------------------------------------------


def heading(page: Page) -> str:
    expect(page.locator("#identify-now h1")).to_be_visible()
    return page.locator("#identify-now h1").inner_text()


def test_a_reload_and_a_sent_link_lose_nothing(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=4?61&nose-stripe=not:decal&nose-stripe@2=painted")
    before = heading(page), page.locator("#identify-answers").inner_text(), page.locator("#identify-standing").inner_text()
    assert "second look" in before[1]
    page.reload()
    assert (heading(page), page.locator("#identify-answers").inner_text()) == before[:2]
    other = identify("#" + urlsplit(page.url).fragment)
    assert heading(other) == before[0]
    assert other.locator("#identify-answers").inner_text() == before[1]
    assert other.locator("#identify-standing").inner_text() == before[2]


def test_back_restores_the_question_and_its_answer(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=4?61")
    first, url = heading(page), page.url
    assert page.locator(".question input:checked").count() == 0, "nothing is chosen beforehand"
    by_mouse(page, page.locator("#choice-1"))
    page.wait_for_url(lambda now: now != url)
    second = heading(page)
    assert second != first
    page.locator(".question .back").click()
    expect(page.locator("#identify-now h1")).to_have_text(first)
    expect(page.locator("#choice-1")).to_be_checked()
    expect(page.locator("#identify-now legend")).to_be_focused()
    page.go_back()
    expect(page.locator("#identify-now h1")).to_have_text(second)
    page.go_back()
    expect(page.locator("#identify-now h1")).to_have_text(first)
    page.go_forward()
    expect(page.locator("#identify-now h1")).to_have_text(second)


def test_an_answer_can_be_changed_and_taken_back(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=4241&stripe-shape=not:chevron&stripe-shape=not:none&pilot.length=16.4%20mm")
    page.get_by_role("link", name="Change: Shape of the nose stripe").first.click()
    expect(page.locator("#identify-now h1")).to_have_text("Shape of the nose stripe: which is it?")
    by_mouse(page, page.locator('input[value="level-band"]'))
    page.wait_for_url(re.compile("stripe-shape=level-band"))
    assert page.url.count("stripe-shape=") == 1, "the whole of the trait was told"
    page.get_by_role("link", name="Change: Pilot: length of the pilot").click()
    expect(page.locator("#typed")).to_have_value("16.4 mm")
    page.get_by_role("link", name="Take this answer back").click()
    expect(page.locator("#identify-answers li")).to_have_count(2)


def test_what_cannot_be_told_and_what_is_missing(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=4241&at=tell.pilot.length")
    by_mouse(page, page.locator('input[value="missing"]'))
    expect(page.locator("#identify-answers")).to_contain_text("missing")
    first = heading(page)
    by_mouse(page, page.locator('input[value="cannot-tell"]'))
    expect(page.locator("#identify-answers")).to_contain_text("cannot tell")
    expect(page.locator("#identify-now h1")).not_to_have_text(first)


def test_something_is_told_that_nobody_asked(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=4241")
    page.locator("#identify-else").select_option("motor.gearing")
    page.get_by_role("button", name="Tell").click()
    expect(page.locator("#identify-now h1")).to_have_text("Motor: gearing: which is it?")
    expect(page.locator(".choice img")).not_to_have_count(0)
    by_mouse(page, page.locator('input[value="twin"]'))
    expect(page.locator("#identify-answers")).to_contain_text("Two geared axles")


SETTLED = (
    "#family=cab-diesel-420&views=all&number-place=nose-door&number=4241&number-height=6.2 mm&nose-stripe=painted"
    "&portholes=glazed&road-name=PRAIRIE MERIDIAN&rear-coupler.release=thumb-lever"
)


@pytest.mark.parametrize(
    ("answer", "question", "next_answer"),
    [
        ("front-truck.side-frame=equalizer", "Front truck: are the backs of the wheels turned flat?", "front-truck.wheel-back="),
        ("motor.motor-mark=diamond-a", "Look again: is an A in a diamond stamped on the motor?", "motor.motor-mark@2=diamond-a"),
    ],
    ids=["another trait of the part", "the same once more"],
)
def test_going_on_after_the_verdict_about_a_part_in_doubt(identify: Open, answer: str, question: str, next_answer: str) -> None:
    page = identify(f"{SETTLED}&{answer}")
    expect(page.locator(".verdict .kicker")).to_have_text("Settled")
    page.get_by_role("link", name="Look at that part").click()
    expect(page.locator("#identify-now h1")).to_have_text(question)
    expect(page.locator(".question .note").first).to_contain_text("The variant is settled. One more")
    if "@" in next_answer:
        expect(page.locator(".question")).to_contain_text("You said:")
    by_mouse(page, page.locator("#choice-0"))
    page.wait_for_url(re.compile(re.escape(next_answer)))
    expect(page.locator(".verdict .kicker")).to_have_text("Settled")


def test_a_view_can_be_added_that_would_settle_more(identify: Open) -> None:
    page = identify("#family=cab-diesel-420&views=side&number=4241&at=verdict")
    page.get_by_role("link", name=re.compile("I can look there now")).first.click()
    page.wait_for_url(re.compile("views=side,"))
    expect(page.locator(".question")).to_be_visible()


def test_a_measure_is_asked_with_an_example_that_could_be_its_own(identify: Open) -> None:
    page = identify(f"{DIESEL}&at=tell.pilot.length")
    hint = page.locator("#typed-hint").inner_text()
    page.locator("#typed").fill(hint.removeprefix("Such as ").split(";")[0])
    page.get_by_role("button", name="Continue").click()
    expect(page.locator("#identify-answers li")).to_have_count(1)
    other = identify("#family=cab-diesel-420&views=side,nose&at=tell.number-height").locator("#typed-hint").inner_text()
    assert other != hint, "each has its own range"


def test_each_of_several_pictures_says_which_it_is(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=4?61")
    names = page.locator(".choice .one-of small").all_inner_texts()
    assert len(names) > 1
    assert page.locator(".choice:has(.one-of) .words").first.inner_text() == "No: " + "; ".join(names)


# Errors and words --------------------------------------------------------------------------------------------------------


def test_errors_say_what_is_wrong_and_lead_there(identify: Open) -> None:
    page = identify()
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("#identify-problem")).to_contain_text("Choose a family")
    expect(page.locator("input[name=family]").first).to_be_focused()
    page.locator("#family-tender-70").click()
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("#identify-problem")).to_contain_text("Tick at least one")
    page = identify(f"{DIESEL}&number=4241&at=tell.pilot.length")
    page.locator(".question button[type=submit]").click()
    expect(page.locator("#question-problem")).to_contain_text("Choose one of these")
    expect(page.locator(".question input").first).to_be_focused()
    for typed, said in [("21,5", "measured value such as 4.8 +- 0.3 mm"), ("900 mm", "nearer to"), ("3 V", "a value in mm")]:
        page.locator("#typed").fill(typed)
        page.locator(".question button[type=submit]").click()
        expect(page.locator("#question-problem")).to_contain_text(said)
        expect(page.locator("#typed")).to_be_focused()
        expect(page.locator("#typed")).to_have_attribute("aria-invalid", "true")
    page.locator("#typed").fill("21.5 +- 0.5 mm")
    page.locator(".question button[type=submit]").click()
    expect(page.locator("#identify-answers")).to_contain_text("21.5 ± 0.5 mm")


def test_why_a_question_is_asked(identify: Open, entries: Entries) -> None:
    page = identify(f"{DIESEL}&number=4?61")
    page.get_by_text("Why this question").click()
    proposal = session_of(entries, page.url).to_ask
    assert proposal is not None
    expect(page.locator(".why")).to_contain_text(f"It is worth {proposal.bits:.2f} bits")
    expect(page.locator(".why")).to_contain_text(re.compile("Yes: .* left; .* leads with"))
    expect(page.locator(".why")).to_contain_text(re.compile("No: .* left; .* leads with"))


def test_what_takes_tools_says_what_can_hurt(identify: Open) -> None:
    page = identify("#family=cab-diesel-420&views=all&at=tell.mold-mark")
    expect(page.locator(".care")).to_contain_text("Take out the body screws")
    expect(page.locator(".care")).to_contain_text("Mains voltage can kill")
    page.locator("#identify-else").select_option("portholes")
    page.get_by_role("button", name="Tell").click()
    expect(page.locator("#identify-now h1")).to_contain_text("Portholes")
    expect(page.locator(".care")).to_have_count(0)


def test_a_text_that_nobody_recorded_is_said(identify: Open) -> None:
    page = identify(f"{DIESEL}&number=9Q9Q9Q")
    expect(page.locator("#identify-standing")).to_contain_text("Nothing recorded reads “9Q9Q9Q”")


def test_without_scripts_it_says_so(identify: Open) -> None:
    page = identify(java_script_enabled=False)
    expect(page.locator(".unscripted")).to_contain_text("needs scripts")
    sheets = [one.get_attribute("href") for one in page.locator(".unscripted a").all()]
    assert "pocket-sheets/cab-diesel-420.html" in sheets
    expect(page.locator("#identify-page")).to_be_hidden()


def test_it_is_reached_from_everywhere(browser: Browser, site: Path) -> None:
    page = browser.new_page()
    for name in ["index.html", "families/tender-70.html", "parts/kiln-lane-horn.html"]:
        page.goto((site / name).as_uri())
        page.locator("header nav a", has_text="What is it?").click()
        expect(page.locator("#identify-start")).to_be_visible()
    page.goto((site / "families/tender-70.html").as_uri())
    page.get_by_role("link", name="Identify one by what you can see").click()
    expect(page.locator("#family-tender-70")).to_be_checked()
    page.close()
