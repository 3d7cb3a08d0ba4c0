"""The page that identifies in all its states: on any screen, on paper, for a screen reader; and what it saves."""

import json
import shutil
import subprocess
import threading
from collections.abc import Callable
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect
from tellmark.kb.check import check
from tellmark.kb.yaml_text import read
from tellmark.site_builder.joined import joined

ROOT = Path(__file__).parents[2]
NODE = shutil.which("node")
DIESEL = "#family=cab-diesel-420&views=side,nose,underside"
NOT_RECORDED = f"{DIESEL}&number=9999&body-length=230%20mm&nose-emblem=winged&portholes=glazed&road-name=ZZZ"
Open = Callable[..., Page]
SHOWN = "!document.querySelector('#identify-start').hidden || document.querySelector('#identify-now h1')"

# On every screen ---------------------------------------------------------------------------------------------------------

#: In the place of the address of the example with a late motor.
LATE = "LATE"
STATES = {
    "start": "",
    "a marking": f"{DIESEL}",
    "yes or no with pictures": f"{DIESEL}&number=4?61",
    "a choice": f"{DIESEL}&number=4261&at=tell.stripe-shape",
    "a measure": f"{DIESEL}&at=tell.pilot.length",
    "any family": "#views=all&ask=any",
    "an answer to change": f"{DIESEL}&number=4241&nose-stripe=not:decal&at=change.2",
    "the verdict": LATE,
    "so far": "#family=cab-diesel-420&views=side&number=4241&at=verdict",
    "not in the record": NOT_RECORDED + "&at=verdict",
    "saving": f"{LATE}&at=save",
    "a wrong address": "#family=nobody&number=4241&hat=red",
}


@pytest.mark.parametrize("fragment", STATES.values(), ids=STATES)
def test_no_state_is_wider_than_a_narrow_screen(identify: Open, late_motor: str, fragment: str) -> None:
    page = identify(fragment.replace(LATE, late_motor), width=320)
    page.wait_for_function(SHOWN)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    small = page.evaluate(
        """[...document.querySelectorAll("#identify-page :is(a, button, select, .choice, summary)")]
             .filter(one => one.checkVisibility() && getComputedStyle(one).display !== "inline")
             .map(one => [one.textContent.slice(0, 30), one.getBoundingClientRect()])
             .filter(([, box]) => box.height < 24)"""
    )
    assert small == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_any_state(
    browser: Browser, breaches: Callable[[Page], list[str]], site: Path, late_motor: str, scheme: Any
) -> None:
    context = browser.new_context(viewport={"width": 1000, "height": 800}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    found: list[str] = []
    for name, fragment in STATES.items():
        page.goto("about:blank")
        page.goto((site / "identify.html").as_uri() + fragment.replace(LATE, late_motor))
        page.wait_for_function(SHOWN)
        found += [f"{name}: {one}" for one in breaches(page)]
    context.close()
    assert found == []


def test_on_paper_there_is_the_verdict_and_nothing_to_press(identify: Open, late_motor: str) -> None:
    page = identify(late_motor)
    page.wait_for_function(SHOWN)
    page.emulate_media(media="print")
    expect(page.locator(".verdict h1")).to_be_visible()
    expect(page.locator("#identify-answers ol")).to_be_visible()
    for pressed in [".after", ".else", "#identify-answers li a"]:
        expect(page.locator(pressed).first).to_be_hidden()


def test_under_any_address_it_asks_nobody_else(browser: Browser, site: Path, tmp_path: Path) -> None:
    (tmp_path / "some" / "where").mkdir(parents=True)
    (tmp_path / "some" / "where" / "else").symlink_to(site, target_is_directory=True)

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(tmp_path)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    home = f"http://127.0.0.1:{server.server_address[1]}/some/where/else/"
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{home}identify.html{DIESEL}&number=4?61")
    page.locator("#choice-1").click()
    page.get_by_role("button", name="Continue").click()
    expect(page.locator("#identify-answers li")).to_have_count(2)
    page.close()
    server.shutdown()
    server.server_close()
    assert [url for url in asked if not url.startswith(home)] == []


EVIL_STATES = [
    *(
        "",
        "#family=one&views=all",
        "#family=one&at=tell.shape",
        "#family=one&at=tell.number",
        "#family=one&shape=red&at=change.1",
    ),
    *(f"#family=one&number=<img src=x onerror=alert(1)>&wheel=w&at={at}" for at in ("", "verdict", "save")),
    "#family=<b>one</b>&<script>alert(1)</script>=x&views=<i>",
]


def test_hostile_texts_stay_texts(browser: Browser, hostile: Path) -> None:
    page = browser.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: said.append(request.url) if urlsplit(request.url).scheme not in ("file", "data") else None)
    for fragment in EVIL_STATES:
        page.goto("about:blank")
        page.goto((hostile / "identify.html").as_uri() + fragment)
        page.wait_for_function(SHOWN)
        odd = "main :is(script, iframe, object, style, b b, i, [onload], [onerror], [onclick]), main a[href^='javascript' i]"
        assert page.locator(odd).count() == 0, fragment
        if fragment.endswith("save"):
            assert "<script>" in saved(page, "<script>alert(1)</script>")
    page.close()
    assert said == []


# Saving ------------------------------------------------------------------------------------------------------------------

HOSTILE = (
    "a: b # c\n- 'x' \"y\" \\ {z} [w] & * ! | > % @ `\n\n\t\u0007 \u2028 \u00a0 \U0001f682 é\r\n---\n...\nnote: |\n  x\n<<: *y"
)


def saved(page: Page, notes: str) -> str:
    page.locator("#save-by").fill('Ada "Quote" O\'Neil: yes')
    page.locator("#save-seen").fill("2025-03-01")
    page.locator("#save-evidence").fill("photographs LM-1 to 5\n- seller's tag: #7")
    page.locator("#save-label").fill(notes.replace("\n", " ").strip())
    page.locator("#save-grade").fill("7")
    page.locator("#save-note").fill(notes)
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator(".made h2")).to_be_focused()
    return str(page.locator(".made pre").text_content())


SAVED = {
    "the example": LATE,
    "what was said in parts": f"{DIESEL}&number=424?&stripe-shape=not:chevron&stripe-shape=not:none&pilot.length=more:18"
    "&pilot.length=less:23&motor.gearing=missing&lettering=cannot-tell&nose-stripe=painted&nose-stripe@2=not:decal-film",
    "nothing that is recorded": f"{DIESEL}&nose-emblem=any:&rear-coupler=any:lever,plate&number=4241",
    "a unit that nobody recorded": NOT_RECORDED,
    "no family named": "#views=all&body-shape=streamlined-nose&number=4241&number-height=4.8%20mm&road-name=PRAIRIE%20MERIDIAN",
}


@pytest.mark.parametrize("fragment", SAVED.values(), ids=SAVED)
def test_what_is_saved_passes_the_check(identify: Open, late_motor: str, tmp_path: Path, fragment: str) -> None:
    page = identify(fragment.replace(LATE, late_motor) + "&at=save")
    text = saved(page, HOSTILE)
    place = page.locator(".made code").inner_text()
    root = tmp_path / "entries"
    shutil.copytree(ROOT / "entries", root)
    (root / place).write_text(text, "utf-8", newline="")
    entries, findings = check(root)
    assert [str(one) for one in findings] == []
    sighting = entries.sightings[Path(place).stem]
    assert (sighting.by, sighting.grade) == ('Ada "Quote" O\'Neil: yes', 7)
    assert sighting.note == HOSTILE.replace("\r\n", "\n").strip()
    assert sighting.evidence == ["photographs LM-1 to 5", "- seller's tag: #7"]
    if fragment == LATE:
        assert (sighting.verdict.variant, sighting.verdict.swapped) == ("424-prairie-meridian-a-b1", ["motor"])


@pytest.mark.skipif(NODE is None, reason="no node here")
def test_every_sign_is_written_as_yaml_reads_it(tmp_path: Path) -> None:
    """Texts of 48 signs each, up to the last of the first plane and some beyond it; half a pair becomes the sign for no sign."""
    signs = [chr(code) for code in [*range(0xD800), *range(0xE000, 0x10000), *range(0x1F600, 0x1F650)]]
    texts = ["".join(signs[at : at + 48]) for at in range(0, len(signs), 48)]
    script = tmp_path / "write.js"
    write = f"console.log(JSON.stringify([...{json.dumps(texts)}, 'a\\ud800b\\udc00'].map(sighting.quoted)))"
    script.write_text(f"{joined('page/sighting.js', 'sighting')}\n{write}", "utf-8")
    written = json.loads(subprocess.run([str(NODE), str(script)], capture_output=True, text=True, check=True).stdout)
    assert [read(one, "a text") for one in written] == [*texts, "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}"]


def test_a_file_can_be_taken_along(identify: Open, late_motor: str) -> None:
    page = identify(f"{late_motor}&at=save")
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#save-problem")).to_contain_text("Say who examined it")
    expect(page.locator("#save-by")).to_be_focused()
    text = saved(page, "plain")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download").click()
    assert Path(waiting.value.path()).read_text("utf-8") == text
    assert waiting.value.suggested_filename == "2025-03-01-424-prairie-meridian-a-b1.yaml"
    href = str(page.get_by_role("link", name="Send it").get_attribute("href"))
    assert href.startswith("https://code.example.org/galena-bluff/pellworth-record/issues/new?title=Sighting")
    assert text in unquote(href)
