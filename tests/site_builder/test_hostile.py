"""Entries that mean harm in every text, in a real browser: nothing of them runs, asks for anything, or leads anywhere."""

import re
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Browser

#: What an image that is no photograph may show.
OUR_DRAWING = re.compile(r"(\.\./)*pictures(/[a-z0-9.-]+)+\.svg")


def test_nothing_of_hostile_entries_runs(hostile: Path, browser: Browser) -> None:
    context = browser.new_context(viewport={"width": 1000, "height": 800})
    context.add_init_script(
        "globalThis.ran = []; for (const name of ['alert', 'confirm', 'prompt']) globalThis[name] = () => ran.push(name);"
    )
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: asked.append(request.url))
    pages = sorted(hostile.rglob("*.html"))
    assert len(pages) > 20
    for path in pages:
        page.goto(path.as_uri())
        page.wait_for_function("document.readyState === 'complete'")
        assert page.evaluate("ran") == [], path
        assert (
            page.evaluate(
                "[...document.querySelectorAll('main *')].filter(one => [...one.attributes].some(a => a.name.startsWith('on')))"
            )
            == []
        )
        assert page.evaluate("document.querySelectorAll('iframe, object, embed, base').length") == 0, path
        shown = "[...document.querySelectorAll('img[src]:not([srcset])')].map(one => one.getAttribute('src'))"
        sources: list[str] = page.evaluate(shown)
        assert [src for src in sources if not OUR_DRAWING.fullmatch(src)] == [], path
    context.close()
    assert said == []
    assert {urlsplit(url).scheme for url in asked} <= {"file", "data"}


def test_policy_stops_what_a_page_should_not_hold(site: Path, browser: Browser) -> None:
    """If the escaping failed one day, the policy would still hold: scripts in the text and requests to elsewhere are stopped."""
    page = browser.new_page()
    stopped: list[str] = []
    page.on("console", lambda message: stopped.append(message.text))
    page.goto((site / "parts.html").as_uri())
    page.evaluate(
        """() => {
            const script = document.createElement('script');
            script.textContent = 'globalThis.ran = 1';
            document.body.append(script);
            const picture = document.createElement('img');
            picture.src = 'https://tracker.example/x.png';
            document.body.append(picture);
        }"""
    )
    page.wait_for_timeout(300)
    assert page.evaluate("typeof ran") == "undefined"
    page.close()
    assert any("inline script" in one for one in stopped)
    assert any("tracker.example" in one for one in stopped)
