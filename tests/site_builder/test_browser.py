"""The static site in a real browser, opened from its folder: no request elsewhere, no sideways scrolling, colors one can read."""

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser

SHOWN = [
    "index.html",
    "families/cab-diesel-420.html",
    "variants/424-prairie-meridian-a-b2.html",
    "sets/54-4-prairie-meridian-a-b-a.html",
    "procedures/service-commutator-and-brushes.html",
    "parts/kiln-lane-horn.html",
    "families/cab-diesel-420/stripe-shape.html",
    "traits/main-color.html",
    "liveries.html",
    "wanted.html",
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 360, 1200])
def test_pages_in_the_browser(site: Path, browser: Browser, scheme: Any, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    for name in SHOWN:
        page.goto((site / name).as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        assert page.evaluate("getComputedStyle(document.querySelector('h1')).lineHeight") != "normal", "styles apply"
        sizes: list[list[float]] = page.evaluate(
            "[...document.querySelectorAll('nav a, .kicker a, .masthead a, .links a, .who a, tbody th a')]"
            ".map(a => a.getBoundingClientRect()).map(box => [box.width, box.height])"
        )
        assert min(height for _, height in sizes) >= 44, name
        assert min(across for across, _ in sizes) >= 44, name
    context.close()
    assert said == []
    assert {urlsplit(url).scheme for url in asked} <= {"file", "data"}


@pytest.mark.parametrize(
    ("name", "unfolded"),
    [
        pytest.param("traits/body-shape.html", True, id="who has a state"),
        pytest.param("wanted.html", True, id="what to look at"),
        pytest.param("variants/424-prairie-meridian-a-b2.html", False, id="the table behind a chart"),
    ],
)
def test_nobody_can_unfold_paper(site: Path, browser: Browser, name: str, unfolded: bool) -> None:
    page = browser.new_page()
    page.goto((site / name).as_uri())
    folded = page.locator("details:not([open]) > :not(summary)").first
    visible = "one => one.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true})"
    assert not folded.evaluate(visible), "it is folded on the screen"
    page.emulate_media(media="print")
    assert folded.evaluate(visible) is unfolded
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colors_can_be_read(site: Path, browser: Browser, scheme: Any) -> None:
    """Text against its ground: 4.5 to 1; strong lines: 3 to 1 (WCAG 2.2, relative luminance)."""
    page = browser.new_page(color_scheme=scheme)
    page.goto((site / "index.html").as_uri())
    names = ["paper", "raised", "ink", "soft", "link", "warn", "strong"]
    style = "getComputedStyle(document.documentElement)"
    values = {name: str(page.evaluate(f"{style}.getPropertyValue('--{name}').trim()")) for name in names}
    page.close()
    for ground in ("paper", "raised"):
        for name in ("ink", "soft", "link", "warn"):
            assert contrast(values[name], values[ground]) >= 4.5, (name, ground)
        assert contrast(values["strong"], values[ground]) >= 3, ground


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(color: str) -> float:
    channels = [int(color[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
