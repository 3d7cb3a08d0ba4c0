"""Reading a seller's text in a real browser, opened from its folder: pasted or from a file, with answers, on a phone."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from playwright.sync_api import Page, expect
from ruamel.yaml import YAML
from tellmark.identify.claims import claims
from tellmark.identify.listing import read_listing, report_listing
from tellmark.identify.start import start
from tellmark.identify.vocabulary import vocabulary
from tellmark.kb.cache import sound
from tellmark.kb.plain_text import plain_text
from tellmark.kb.values import Answer

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "tests" / "examples" / "listing-solid-floor.txt"
SEVERAL = ROOT / "tests" / "outside" / "listings" / "seen" / "estate-423-aba.yaml"
LOOKED = YAML(typ="safe").load(EXAMPLE.with_suffix(".yaml").read_text("utf-8"))
#: The evaluation of a text takes a second; of a slow machine a few.
PATIENT = 60_000
Open = Callable[..., Page]


def address(**more: str) -> str:
    """What the photographs of the example show, as the page that identifies writes it."""
    answers: dict[str, Any] = {key: str(value) for key, value in LOOKED["answers"].items()}
    pairs = {"family": LOOKED["family"], "views": ",".join(LOOKED["views"]), **answers, **more}
    return "#" + "&".join(f"{quote(key)}={quote(value)}" for key, value in pairs.items())


@pytest.fixture
def reading(opened: Open) -> Open:
    """The page, which may take its time."""

    def go(fragment: str = "", page: str = "listing.html", **options: Any) -> Page:
        found: Page = opened(page, fragment, **options)
        found.set_default_timeout(PATIENT)
        return found

    return go


def read(page: Page, text: str) -> None:
    page.fill("#listing-text", text)
    page.get_by_role("button", name="Read it").click()
    expect(page.locator("#listing-message")).to_be_visible(timeout=PATIENT)


def marks(page: Page) -> list[str]:
    """What is marked, without what is said of it."""
    held = "(marks => marks.map(mark => [...mark.childNodes].filter(one => one.nodeType === 3).map(one => one.data).join('')))"
    return page.evaluate(f"{held}([...document.querySelectorAll('.seller mark')])")


def listed(page: Page, section: str) -> list[str]:
    return [re.sub(r"\s+", " ", text).strip() for text in page.locator(f"{section} li").all_inner_texts()]


def expected(text: str, looked: bool = True) -> dict[str, Any]:
    """The report of the command, with what the photographs of the example show."""
    entries, _ = sound(ROOT / "entries")
    if not looked:
        return json.loads(
            json.dumps(report_listing(read_listing(entries, text, claims(text, vocabulary(entries)), start(entries))))
        )
    answers = {key: Answer.model_validate({"is": str(value)}) for key, value in LOOKED["answers"].items()}
    base = start(entries, LOOKED["family"])
    found = read_listing(entries, text, claims(text, vocabulary(entries)), base, LOOKED["family"], LOOKED["views"], answers)
    return json.loads(json.dumps(report_listing(found)))


# What is shown -----------------------------------------------------------------------------------------------------------


def test_a_text_and_its_photographs_are_held_against_each_other(reading: Open) -> None:
    text = EXAMPLE.read_text("utf-8").strip()
    page = reading(address())
    read(page, text)
    wanted = expected(text)
    (unit,) = wanted["units"]
    assert marks(page) == [claim["quote"] for claim in wanted["claims"]]
    wrong = [one["says"] for one in unit["findings"] if one["kind"] != "caution"]
    assert wrong
    assert listed(page, "#unit-1-wrong") == [re.sub(r"\s+", " ", one) for one in wrong]
    assert len(listed(page, "#unit-1-photographs")) == len(LOOKED["answers"])
    assert [row.split(" (")[0] for row in listed(page, "#unit-1-silent")] == [one["name"] for one in unit["silent"]]
    assert page.locator("#listing-costs p").inner_text() == wanted["price"]["says"]
    assert page.locator("#listing-message-text").input_value() == wanted["message"]
    best = unit["identified"]["variants"][0]
    assert page.locator("#unit-1-verdict a").first.get_attribute("href") == f"variants/{best['id']}.html"


def test_every_mark_says_what_it_is_understood_as_and_that_it_is_doubtful(reading: Open) -> None:
    text = EXAMPLE.read_text("utf-8").strip()
    page = reading(address())
    read(page, text)
    for n, claim in enumerate(expected(text)["claims"], 1):
        mark = page.locator(".seller mark").nth(n - 1)
        said = mark.locator(".means").text_content() or ""
        assert said.startswith(f" (claim {n}, {claim['kind']}: {claim['means']}")
        words = re.search(r"; (wrong: .*|against)\)$", said)
        assert (mark.get_attribute("class") == "doubtful") == bool(words)
    doubtful = page.locator("mark.doubtful").first.evaluate("mark => getComputedStyle(mark).borderBottomStyle")
    assert doubtful == "double", "not by color alone"


def test_several_units_are_told_apart_and_put_together(reading: Open) -> None:
    page = reading()
    text = YAML(typ="safe").load(SEVERAL.read_text("utf-8"))["text"]
    read(page, text)
    units = expected(text, looked=False)["units"]
    assert len(units) > 1
    assert [row.split(": claims")[0] for row in listed(page, "#listing-units")] == [one["name"] for one in units]
    assert page.get_by_role("heading", name=re.compile("^Unit 2: ")).count() > 1
    assert "are of one set" in page.locator("#lot").inner_text()


def test_whoever_read_a_text_stands_at_what_was_found_and_a_new_text_takes_its_place(reading: Open) -> None:
    page = reading()
    read(page, "424 powered A, one horn missing")
    assert page.evaluate("document.activeElement.textContent") == "The text, its claims marked"
    read(page, "Pellworth caboose, dark red")
    expect(page.locator("#listing-found mark").first).to_contain_text("Pellworth")
    assert marks(page)[0] == "Pellworth"
    page.get_by_role("button", name="Clear").click()
    assert page.locator("#listing-found").inner_text() == ""
    assert page.evaluate("document.activeElement.id") == "listing-text"


def test_a_text_without_claims_says_so(reading: Open) -> None:
    page = reading()
    read(page, "Qqq vvv zzz")
    expect(page.locator("#listing-claims")).to_contain_text("The text claims nothing that the record has a word for.")


# What is given -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["", "  \n \t"], ids=["nothing", "blanks"])
def test_no_text_is_refused_in_words(reading: Open, text: str) -> None:
    page = reading()
    page.fill("#listing-text", text)
    page.get_by_role("button", name="Read it").click()
    alert = "Found no text, expected what a seller wrote, as plain text or as a saved page."
    expect(page.locator("#listing-problem")).to_have_text(alert)
    assert page.locator("#listing-text").get_attribute("aria-invalid") == "true"
    assert page.evaluate("document.activeElement.id") == "listing-text"


def test_a_text_that_is_too_long_is_refused_in_words(reading: Open) -> None:
    page = reading()
    page.fill("#listing-text", "coupler " * 8000)
    page.get_by_role("button", name="Read it").click()
    alert = "Found a text of 63,999 characters, expected at most 60,000 characters; keep the description alone."
    expect(page.locator("#listing-problem")).to_have_text(alert)


PAGES: dict[str, bytes] = {
    "a page": b"<!doctype html><title>x</title><body><h1>424 A</h1><p>One horn<br>is missing.</p><ul><li>dents<li>rust</ul>",
    "what is not read": b"<html><body><script>x = '<p>'</script><p hidden>no</p><div>Orange <b>stri</b>pe</div><style>p{}",
    "hidden in hidden": b"<div hidden><div>no</div>no</div><!-- <p>no</p> -->yes<p title='hidden'>yes<br/>yes",
    "a table": b"<table><tr><td>Motor</td><td>runs</td></tr><tr><td>Horn</td><td>gone</td></tr></table>",
    "names of characters": b"<p>6&frac12;&quot; &amp; 4&nbsp;mm &#8212; &lt;new&gt;</p>",
    "never closed": b"<div><p>424 A<p>one <i>horn<div>bent",
    "western": "<p>Caf\u00e9 coach, \u00bd price</p>".encode("cp1252"),
    "what it says it is": '<meta charset="iso-8859-2"><p>Ko\u0161ice coach</p>'.encode("iso-8859-2"),
    "with a mark": "424 A\r\n\r\n\r\n\r\nwith  horn\t!".encode("utf-16"),
    "plain": "\ufeff424 A \u200b with horn  \n  bent ".encode(),
}


@pytest.mark.parametrize("saved", PAGES.values(), ids=PAGES)
def test_a_file_is_read_as_the_command_reads_it(reading: Open, saved: bytes) -> None:
    page = reading()
    page.set_input_files("#listing-file", {"name": "saved.html", "mimeType": "text/html", "buffer": saved})
    expect(page.locator("#listing-message")).to_be_visible(timeout=PATIENT)
    assert page.locator("#listing-text").input_value() == plain_text(saved, "saved.html")


def test_a_file_that_is_no_text_is_refused_in_words(reading: Open) -> None:
    page = reading()
    page.set_input_files("#listing-file", {"name": "x.txt", "mimeType": "text/plain", "buffer": b"\x00\x01\x02binary"})
    expect(page.locator("#listing-problem")).to_have_text("Found a binary file, expected a text, or a saved web page.")


def test_what_is_pasted_never_becomes_markup(reading: Open) -> None:
    page = reading()
    read(page, '424 powered A <img src=x onerror=alert(1)> "><script>alert(2)</script> horn missing')
    assert page.locator("#listing-found :is(img, script)").count() == 0
    expect(page.locator(".seller")).to_contain_text("<img src=x onerror=alert(1)>")


# Answers -----------------------------------------------------------------------------------------------------------------


def test_the_way_to_the_questions_and_back(reading: Open) -> None:
    page = reading("#family=cab-diesel-420&views=side")
    page.fill("#listing-text", "424 powered A, one horn missing")
    page.get_by_role("link", name="Answer what you see on the photographs").click()
    expect(page.locator("#identify-page")).to_be_visible()
    assert page.url.endswith("identify.html#family=cab-diesel-420&views=side")
    page.goto(page.url.split("#")[0] + "#family=cab-diesel-420&views=side&number=4241&at=verdict")
    page.get_by_role("link", name="Back to the seller’s text with these answers").click()
    expect(page.locator("#listing-message")).to_be_visible(timeout=PATIENT)
    assert page.locator("#listing-text").input_value() == "424 powered A, one horn missing"
    assert listed(page, "#listing-photographs .answers") == ['Road number: reads "4241"']
    assert page.locator("#listing-family").input_value() == "cab-diesel-420"
    page.get_by_role("link", name="Leave these answers out").click()
    expect(page.locator("#listing-photographs .none")).to_have_text("Nothing is answered yet.")


def test_answers_are_taken_over_from_a_link(reading: Open) -> None:
    page = reading()
    page.get_by_text("Take over answers from a link").click()
    page.fill("#listing-address", "https://records.example/identify.html#views=side&number=4241&horn-x=no&at=verdict")
    page.get_by_role("button", name="Take them over").click()
    expect(page.locator("#listing-photographs .answers li")).to_have_text(['Road number: reads "4241"'])
    expect(page.locator("#listing-photographs .problem")).to_contain_text("horn-x")


def test_the_message_is_copied(reading: Open) -> None:
    page = reading(permissions=["clipboard-read", "clipboard-write"])
    read(page, "424 powered A, one horn missing")
    page.get_by_role("button", name="Copy the message").click()
    expect(page.locator("#listing-message [role=status]")).to_have_text("The message is copied.")
    assert page.evaluate("navigator.clipboard.readText()") == page.locator("#listing-message-text").input_value()


# How it is shown ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [320, 360, 1000])
def test_nothing_is_wider_than_the_screen_and_targets_are_large(reading: Open, width: int) -> None:
    page = reading(address(), width=width)
    read(page, EXAMPLE.read_text("utf-8"))
    page.get_by_text("Take over answers from a link").click()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    boxes = page.evaluate(
        "[...document.querySelectorAll('#listing-page :is(a, button, input, select, textarea, summary)')].map(one => "
        "[one.textContent.trim() || one.id, one.getBoundingClientRect().height])"
    )
    assert len(boxes) > 10
    assert [name for name, height in boxes if height < 44] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(reading: Open, breaches: Callable[[Page], list[str]], scheme: str) -> None:
    """With a text read and everything open."""
    page = reading(address(), color_scheme=scheme, bypass_csp=True)
    read(page, EXAMPLE.read_text("utf-8"))
    page.get_by_text("Take over answers from a link").click()
    assert breaches(page) == []


def test_on_paper_the_form_is_left_out(reading: Open) -> None:
    page = reading()
    read(page, "424 powered A, one horn missing")
    page.emulate_media(media="print")
    assert not page.locator("#listing-form").is_visible()
    assert page.locator(".seller").is_visible()


def test_without_scripts_there_are_the_tables(reading: Open) -> None:
    page = reading(java_script_enabled=False)
    assert not page.locator("#listing-page").is_visible()
    assert page.locator(".unscripted a").count() > 5
