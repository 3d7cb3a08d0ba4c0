"""The table of a family's variants in a real browser: chosen among, sorted, by keyboard, on a phone; whole without scripts."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

FAMILY = "families/cab-diesel-420.html"
Open = Callable[..., Page]
#: Adds up how far things have moved on the page (the Layout Instability API of the browser).
SHIFTS = """
window.shifts = 0;
new PerformanceObserver(list => list.getEntries().forEach(one => { window.shifts += one.value; }))
    .observe({type: "layout-shift", buffered: true});
"""


@pytest.fixture
def family(browser: Browser, site: Path) -> Iterator[Open]:
    contexts: list[Any] = []
    said: list[str] = []

    def go(width: int = 1200, fragment: str = "", **options: Any) -> Page:
        context = browser.new_context(viewport={"width": width, "height": 900}, **options)
        contexts.append(context)
        page = context.new_page()
        page.add_init_script(SHIFTS)
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto((site / FAMILY).as_uri() + fragment)
        return page

    yield go
    for context in contexts:
        context.close()
    assert said == []


def column(page: Page, label: str) -> list[str]:
    """What the rows that are shown say in a column."""
    return page.locator(f".variants tbody tr:not([hidden]) td[data-label='{label}']").all_inner_texts()


def status(page: Page) -> str:
    return page.locator(".table-place [role=status]").inner_text()


def test_chosen_among(family: Open) -> None:
    page = family()
    whole = len(column(page, "Livery"))
    assert status(page) == f"All {whole} are shown."
    page.get_by_label("Livery", exact=True).select_option("Lake Harrow")
    some = column(page, "Livery")
    assert 0 < len(some) < whole
    assert set(some) == {"Lake Harrow"}
    assert status(page) == f"{len(some)} of {whole} are shown."
    page.get_by_label("Kind", exact=True).select_option("Trailing B")
    assert set(column(page, "Kind")) == {"Trailing B"}
    assert len(column(page, "Kind")) < len(some)
    page.get_by_role("button", name="Show all").click()
    assert len(column(page, "Livery")) == whole
    expect(page.get_by_label("Livery", exact=True)).to_be_focused()
    expect(page.get_by_role("button", name="Show all")).to_have_count(0)


def test_nothing_fits(family: Open) -> None:
    page = family()
    page.get_by_label("Livery", exact=True).select_option("Copper Hollow")
    page.get_by_label("Batch", exact=True).select_option("1")
    assert status(page).startswith("0 of ")
    assert column(page, "Livery") == []


def test_sorted_by_keyboard(family: Open) -> None:
    page = family()
    head = page.get_by_role("columnheader", name="Made")
    head.get_by_role("button").focus()
    page.keyboard.press("Enter")
    expect(head).to_have_attribute("aria-sort", "ascending")
    first = [made[:4] for made in column(page, "Made") if made[:1].isdigit()]
    assert first == sorted(first)
    assert status(page) == "Sorted by made."
    page.keyboard.press("Enter")
    expect(head).to_have_attribute("aria-sort", "descending")
    last = [made[:4] for made in column(page, "Made") if made[:1].isdigit()]
    assert last == sorted(last, reverse=True)
    expect(head.get_by_role("button")).to_be_focused()


def test_numbers_sort_as_numbers_and_what_is_not_recorded_comes_last(family: Open) -> None:
    page = family()
    head = page.get_by_role("columnheader", name="Batch").get_by_role("button")
    for descending in (False, True):
        head.click()
        batches = column(page, "Batch")
        said = [int(batch) for batch in batches if batch.isdigit()]
        assert said == sorted(said, reverse=descending)
        assert all(not batch.isdigit() for batch in batches[len(said) :])


@pytest.mark.parametrize("width", [320, 360])
def test_on_a_phone(family: Open, width: int) -> None:
    """The heads cannot be seen there, so a list sorts, and no unseen button takes the focus."""
    page = family(width)
    page.get_by_label("Sorted by", exact=True).select_option("Made")
    first = [made[:4] for made in column(page, "Made") if made[:1].isdigit()]
    assert first == sorted(first)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    expect(page.get_by_role("button", name="Made")).to_have_count(0)
    sizes: list[float] = page.evaluate(
        "[...document.querySelectorAll('.table-tools :is(select, button:not([hidden]))')]"
        ".map(one => one.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 44


@pytest.mark.parametrize("width", [360, 1200])
@pytest.mark.parametrize("fragment", ["", "#variants"])
def test_nothing_jumps(family: Open, width: int, fragment: str) -> None:
    page = family(width, fragment)
    page.wait_for_timeout(300)
    assert page.evaluate("window.shifts") <= 0.01


def test_whole_without_scripts(family: Open) -> None:
    page = family(java_script_enabled=False)
    assert len(column(page, "Livery")) > 40
    expect(page.locator(".table-place select")).to_have_count(0)
    assert page.locator(".table-place").evaluate("one => one.getBoundingClientRect().height") == 0
