"""The search in a real browser, opened from its folder: loaded on first use, by keyboard alone, on a phone, without scripts."""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect
from tellmark.kb.cache import sound
from tellmark.kb.documents import WEIGHTS, documents
from tellmark.site_builder import search_pages
from tellmark.site_builder.build import build
from tellmark.site_builder.data_scripts import assigned

ROOT = Path(__file__).parents[2]
SOME_PAGES = ["index.html", "families/cab-diesel-420.html", "variants/424-prairie-meridian-a-b2.html", "parts.html"]


class Visit(NamedTuple):
    """A page, what the browser asked for, and what went wrong."""

    page: Page
    asked: list[str]
    said: list[str]

    def names(self) -> list[str]:
        return [urlsplit(url).path.rsplit("/", 1)[-1] for url in self.asked]


@pytest.fixture
def visit(browser: Browser, site: Path) -> Iterator[Callable[..., Visit]]:
    opened: list[tuple[Any, Visit]] = []

    def go(address: str, width: int = 1000, **options: Any) -> Visit:
        context = browser.new_context(viewport={"width": width, "height": 800}, **options)
        found = Visit(context.new_page(), [], [])
        found.page.on("request", lambda request: found.asked.append(request.url))
        found.page.on("console", lambda message: found.said.append(message.text))
        found.page.on("pageerror", lambda error: found.said.append(str(error)))
        found.page.goto(f"{(site / address.partition('#')[0]).as_uri()}{address[address.index('#') :] if '#' in address else ''}")
        opened.append((context, found))
        return found

    yield go
    for context, found in opened:
        context.close()
        assert found.said == []
        assert {urlsplit(url).scheme for url in found.asked} <= {"file", "data"}


@pytest.mark.parametrize("address", SOME_PAGES)
def test_nothing_is_loaded_before_it_is_used(visit: Callable[..., Visit], address: str) -> None:
    seen = visit(address)
    expect(seen.page.get_by_role("searchbox", name="Search")).to_be_visible()
    heavy = {"minisearch.js", "find.js", "search-data.js", "others--.js", "cab-diesel-420.js"}
    assert not heavy & set(seen.names())
    seen.page.get_by_role("searchbox", name="Search").focus()
    for _ in range(200):
        if heavy <= set(seen.names()):
            break
        seen.page.wait_for_timeout(50)
    assert [name for name in seen.names() if name in heavy][:3] == ["minisearch.js", "find.js", "search-data.js"]
    assert heavy <= set(seen.names())


@pytest.mark.parametrize("width", [360, 1000])
def test_by_keyboard_from_any_page(visit: Callable[..., Visit], width: int) -> None:
    """Tab to the field, type, down to a link, back up, Escape, and on to the record."""
    seen = visit("variants/424-prairie-meridian-a-b2.html", width)
    field = seen.page.get_by_role("searchbox", name="Search")
    for _ in range(30):
        seen.page.keyboard.press("Tab")
        if field.evaluate("one => one === document.activeElement"):
            break
    seen.page.keyboard.type("lever coupler")
    list_of = seen.page.locator(".search-found li a")
    expect(list_of.first).to_have_text("Lever coupler")
    expect(seen.page.locator(".search-found [role=status]")).to_have_text(re.compile(r"^\d+ records found\.$"))
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    heights: list[float] = list_of.evaluate_all("all => all.map(one => one.getBoundingClientRect().height)")
    assert min(heights) >= 24  # WCAG 2.2, 2.5.8; each has its own line of the list besides
    seen.page.keyboard.press("ArrowDown")
    expect(list_of.first).to_be_focused()
    seen.page.keyboard.press("ArrowUp")
    expect(field).to_be_focused()
    seen.page.keyboard.press("Escape")
    expect(list_of).to_have_count(0)
    expect(field).to_be_focused()
    field.fill("lever couplers")
    expect(list_of.first).to_be_visible()
    seen.page.keyboard.press("Tab")
    expect(seen.page.get_by_role("button", name="Find")).to_be_focused()
    seen.page.keyboard.press("Tab")
    expect(list_of.first).to_be_focused()
    seen.page.keyboard.press("Enter")
    expect(seen.page).to_have_url(re.compile(r"/parts/lever-coupler\.html$"))


def test_enter_leads_to_all_that_was_found(visit: Callable[..., Visit]) -> None:
    seen = visit("families/cab-diesel-420.html")
    seen.page.get_by_role("searchbox", name="Search").fill("tammarack norhtern")
    seen.page.keyboard.press("Enter")
    expect(seen.page).to_have_url(re.compile(r"/search\.html#q=tammarack%20norhtern$"))
    expect(seen.page.locator("#search-page li").first).to_contain_text("Tamarack Northern")
    suggestion = seen.page.get_by_role("link", name="tamarack northern", exact=True)
    suggestion.click()
    expect(seen.page).to_have_url(re.compile(r"#q=tamarack%20northern$"))
    expect(seen.page.get_by_role("searchbox")).to_have_value("tamarack northern")
    expect(seen.page.locator("#search-page [role=status]")).not_to_contain_text("Did you mean")


ASKED = [
    ("catalog number", "#q=424-1", "5 records found.", "424 Prairie Meridian, powered A, first batch"),
    ("number without its hyphen", "#q=tx80", "3 records found.", "TX-80"),
    ("one kind", "#q=lever%20coupler&kind=part", "found.", "Lever coupler"),
    ("a kind that is none", "#q=424-1&kind=nonsense", "5 records found.", "424 Prairie Meridian"),
    ("with marks and spaces", "#q=%20%C2%ABlever%C2%BB%20%20coupler!", "records found.", "Lever coupler"),
    ("some of the words", "#q=lever%20coupler%20submarine", "None has all of the words.", "Lever coupler"),
]


@pytest.mark.parametrize(("fragment", "said", "first"), [case[1:] for case in ASKED], ids=[case[0] for case in ASKED])
def test_what_is_asked_stands_in_the_address(visit: Callable[..., Visit], fragment: str, said: str, first: str) -> None:
    seen = visit(f"search.html{fragment}")
    expect(seen.page.locator("#search-page li a").first).to_contain_text(first)
    expect(seen.page.locator("#search-page [role=status]")).to_contain_text(said)


NOTHING = [
    ("a word nobody used", "#q=zzzzzz", "Nothing found for “zzzzzz”."),
    ("a number nobody used", "#q=424-9", "Nothing found for “424-9”. Did you mean 424-1 or 424-2 or 424-5?"),
    ("only marks", "#q=%3F%21*", "Nothing found for “?!*”."),
    ("markup", "#q=%3Cimg%7Fzzzzzz%3E", "Nothing found for “<img\x7fzzzzzz>”."),
    ("what cannot be decoded", "#q=%E0%A4", "Nothing found for"),
]


@pytest.mark.parametrize(("fragment", "said"), [case[1:] for case in NOTHING], ids=[case[0] for case in NOTHING])
def test_nothing_found(visit: Callable[..., Visit], fragment: str, said: str) -> None:
    seen = visit(f"search.html{fragment}")
    expect(seen.page.locator("#search-page [role=status]")).to_contain_text(said)
    assert seen.page.locator("#search-page img").count() == 0


def test_typing_changes_the_address_and_back_leads_back(visit: Callable[..., Visit]) -> None:
    seen = visit("index.html")
    seen.page.goto(seen.page.url.replace("index.html", "search.html"))
    field = seen.page.get_by_role("searchbox")
    expect(field).to_be_focused()
    field.fill("horn")
    expect(seen.page).to_have_url(re.compile("#q=horn$"))
    seen.page.get_by_role("combobox").select_option("part")
    expect(seen.page).to_have_url(re.compile("#q=horn&kind=part$"))
    expect(seen.page.locator("#search-page .meta").first).to_contain_text("part")
    field.fill("")
    expect(seen.page).to_have_url(re.compile(r"search\.html$"))
    expect(seen.page.locator("#search-page li")).to_have_count(0)
    seen.page.go_back()
    expect(seen.page).to_have_url(re.compile(r"index\.html$"))


def test_found_words_are_marked(visit: Callable[..., Visit]) -> None:
    seen = visit("search.html#q=couplers%20tied")
    expect(seen.page.locator("mark").first).to_be_visible()
    marked: list[str] = seen.page.locator("mark").all_text_contents()
    assert {one.lower() for one in marked} <= {"coupler", "couplers", "tied"}


@pytest.mark.parametrize("address", ["search.html", "families/cab-diesel-420.html"])
def test_without_scripts(visit: Callable[..., Visit], address: str) -> None:
    seen = visit(address, java_script_enabled=False)
    expect(seen.page.get_by_role("searchbox")).to_have_count(0)
    if address == "search.html":
        expect(seen.page.locator("main")).to_contain_text("Searching needs scripts")
        assert seen.page.locator("main a").count() >= 3


def assigned_in(path: Path) -> Any:
    """What a script with data assigns."""
    return json.loads(path.read_text("utf-8").rpartition("\n")[0].splitlines()[-1].partition(" = ")[2].rstrip(";"))


def rows_of(site: Path) -> list[tuple[str, str, str]]:
    """(kind, id, address) of every row of every group."""
    data = assigned_in(site / "search-data.js")
    rows = [row for name in data["groups"] for row in assigned_in(site / name)["rows"]]
    return [(data["kinds"][row[0]], row[1], data["places"][row[12]].replace("*", row[1])) for row in rows]


def test_every_address_leads_to_a_page(site: Path) -> None:
    for kind, ident, address in rows_of(site):
        path, _, anchor = address.partition("#")
        assert (site / path).is_file(), (kind, ident)
        assert not anchor or f'id="{anchor}"' in (site / path).read_text("utf-8"), (kind, ident)


def test_data_has_every_document_with_a_page_once(site: Path) -> None:
    found = [(one.kind, one.id) for one in documents(sound(ROOT / "entries")[0]) if search_pages.place(one.kind)]
    assert sorted((kind, ident) for kind, ident, _ in rows_of(site)) == sorted(found)
    assert list(assigned_in(site / "search-data.js")["weights"]) == list(WEIGHTS)


def test_script_holds_any_text() -> None:
    text = "</script>\u2028\u2029\"'\\\x00\ud83d\ude00<!--".encode("utf-16", "surrogatepass").decode("utf-16")
    written = assigned("var x", {"a": text}).decode()
    assert "\u2028" not in written
    assert json.loads(written.removeprefix("var x = ").rstrip(";\n")) == {"a": text}


def test_hostile_entries_run_nothing(folder: Callable[[Mapping[str, Any]], Path], tmp_path: Path, browser: Browser) -> None:
    evil = "<img src=x onerror=alert(1)></script><script>alert(1)</script>"
    root = folder({"procedures/oil-axles.yaml": f"name: '{evil} oil'\nminutes: 5\nsteps: ['{evil}']\n"})
    build(sound(root)[0], tmp_path / "site")
    page = browser.new_page()
    ran: list[str] = []
    page.on("dialog", lambda dialog: ran.append(dialog.message))
    page.on("pageerror", lambda error: ran.append(str(error)))
    page.goto((tmp_path / "site" / "search.html").as_uri() + "#q=oil")
    expect(page.locator("#search-page li a").first).to_have_text(f"{evil} oil")
    assert page.locator("#search-page img").count() == 0
    page.close()
    assert ran == []
