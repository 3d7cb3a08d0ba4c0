"""Side by side in a real browser, opened from its folder: the same as the command says, shareable, by keyboard, on a phone."""

import json
import random
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect
from tellmark.kb.cache import sound
from tellmark.kb.describe import Difference, compare_parts, compare_variants
from tellmark.kb.load import Entries
from tellmark.kb.resolve import living

ROOT = Path(__file__).parents[2]
EARLY, LATER, THIRD = (f"424-prairie-meridian-a-b{batch}" for batch in (1, 2, 3))
Open = Callable[..., Page]


@pytest.fixture(scope="module")
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


@pytest.fixture
def compare(opened: Open) -> Open:
    """The page with what is asked for in its address."""
    return partial(opened, "compare.html")


def table(page: Page) -> dict[str, list[str]]:
    """{name of a trait: what each column says} of the table as it is shown."""
    status(page)
    rows: list[list[str]] = page.evaluate(
        """[...document.querySelectorAll(".side-by-side tbody tr")].map(row =>
             [row.querySelector("th").firstChild, ...row.querySelectorAll(".value")].map(one => one.textContent))"""
    )
    return {name: values for name, *values in rows}


def status(page: Page) -> str:
    where = page.locator("#compare-page [role=status]")
    expect(where).not_to_be_empty()
    return where.inner_text()


def as_shown(found: list[Difference]) -> dict[str, list[str]]:
    return {one.name[:1].upper() + one.name[1:]: [value.replace(" +- ", " ± ") for value in one.values] for one in found}


def chosen(entries: Entries) -> list[tuple[str, ...]]:
    """Pairs and threes of one family, six, two families, parts."""
    chance = random.Random(6)
    variants = living(entries)
    by_family: dict[str, list[str]] = {}
    for ident in variants:
        by_family.setdefault(entries.family_of(ident), []).append(ident)
    picked = [tuple(chance.sample(members, chance.choice((2, 3)))) for members in by_family.values()]
    motors = sorted(part for part in entries.parts if entries.home["part", part] == "motor")
    return [
        *picked,
        tuple(chance.sample(variants, 6)),
        tuple(chance.sample(variants, 2)),
        tuple(motors[:3]),
        ("single-gear", "long-pilot"),
    ]


def test_the_same_as_the_command(compare: Open, entries: Entries) -> None:
    for idents in chosen(entries):
        page = compare("#" + ",".join(idents))
        find = compare_parts if idents[0] in entries.parts else compare_variants
        assert table(page) == as_shown(find(entries, idents)), idents
        page.close()


def test_what_differs_can_be_seen_without_color(compare: Open, entries: Entries) -> None:
    """A bar, weight, and a word where a later column is as an earlier one."""
    idents = (EARLY, THIRD, f"{THIRD}-door")
    names = [one.name for one in compare_variants(entries, idents) if one.values[0] != one.values[1] == one.values[2]]
    page = compare("#" + ",".join(idents))
    assert len(table(page)) == int(status(page).split()[0])
    row = page.locator("tr", has=page.get_by_role("rowheader", name=names[0])).first
    for column, like in ((0, None), (1, ""), (2, "as B")):
        cell = row.locator("td").nth(column)
        weight = int(cell.locator(".value").evaluate("one => getComputedStyle(one).fontWeight"))
        bar = str(cell.evaluate("one => getComputedStyle(one).borderLeftColor"))
        assert (weight >= 600, bar != "rgba(0, 0, 0, 0)") == (like is not None, like is not None)
        assert (like or "") in cell.inner_text()
    assert status(page) == f"{len(table(page))} of {total(page)} traits and fitted parts differ between A, B and C."


def total(page: Page) -> int:
    return int(re.search(r"of (\d+) ", status(page))[1])  # type: ignore[index] (the sentence has it, or the test fails)


def test_all_of_it_when_asked(compare: Open) -> None:
    page = compare(f"#{EARLY},{LATER}")
    fewer = len(table(page))
    page.get_by_role("checkbox").check()
    expect(page).to_have_url(re.compile(rf"#{EARLY},{LATER}&every$"))
    expect(page.locator(".side-by-side tr.same").first).to_be_visible()
    assert fewer < len(table(page)) == total(page)
    again = compare(f"#{EARLY},{LATER}&every")
    assert table(again) == table(page)
    expect(again.get_by_role("checkbox")).to_be_checked()


def test_pictures_of_states(compare: Open) -> None:
    page = compare("#single-gear,twin-gear")
    pictures = page.locator("tr", has_text="Gearing").first.locator("svg[role=img]")
    expect(pictures).to_have_count(2)
    ids: list[str] = page.evaluate("[...document.querySelectorAll('[id]')].map(one => one.id)")
    assert len(ids) == len(set(ids))
    lost: list[str] = page.evaluate(
        """[...document.querySelectorAll("svg use, svg [fill^=url], svg [aria-labelledby], svg[aria-labelledby]")]
             .map(one => one.getAttribute("href")?.slice(1) ?? one.getAttribute("aria-labelledby"))
             .filter(id => id && !document.getElementById(id))"""
    )
    assert lost == []


def test_pictures_of_a_family_of_its_slots_and_of_all_families(compare: Open) -> None:
    page = compare(f"#{EARLY},164-prairie-meridian-b1")
    for name in ("Body shape", "Place of the road number"):
        expect(page.locator("tr", has_text=name).first.locator("svg").first).to_be_visible()


ODD = [
    ("nothing", "", "Choose two to six variants, or parts.", ""),
    ("one", f"#{EARLY}", "Choose another to put beside it.", ""),
    ("one twice", f"#{EARLY},{EARLY}", "Choose another to put beside it.", ""),
    ("unknown", f"#{EARLY},nonsense,{LATER}", "differ between A and B", "There is no variant or part called “nonsense”."),
    ("markup", f"#%3Cimg%20src=x%3E,{EARLY}", "Choose another", "called “<img src=x>”"),
    ("both kinds", f"#{EARLY},twin-gear,{LATER}", "differ between A and B", "only the variants are shown"),
    ("cannot be decoded", f"#%E0%A4%A,{EARLY}", "Choose another", "called “%E0%A4%A”"),
    ("an old id that was split", "#424-prairie-meridian-a", "differ between A and B", ""),
    (
        "seven",
        "#" + ",".join(f"424-prairie-meridian-{one}" for one in ("a-b1", "a-b2", "a-b3", "a-b4", "b-b1", "b-b2", "b-b3")),
        "between A, B, C, D, E and F",
        "Only the first six are shown.",
    ),
    ("those nothing tells apart", "#426-lake-harrow-a-b4,426-lake-harrow-a-holloways", "Nothing that is recorded differs", ""),
]


@pytest.mark.parametrize(("fragment", "said", "problem"), [case[1:] for case in ODD], ids=[case[0] for case in ODD])
def test_odd_addresses(compare: Open, fragment: str, said: str, problem: str) -> None:
    page = compare(fragment)
    expect(page.locator("#compare-page [role=status]")).to_contain_text(said)
    expect(page.locator(".problem")).to_contain_text(problem)
    assert page.locator("#compare-page img").count() == 0


def test_by_keyboard(compare: Open) -> None:
    """Two are chosen and one is taken away again, without a pointer; the way back leads back."""
    page = compare()
    expect(page.get_by_role("heading", name="Compare")).to_be_visible()
    page.get_by_label("From").focus()
    page.keyboard.type("Motor")
    page.keyboard.press("Tab")
    page.keyboard.type("Single-gear")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("#single-gear$"))
    page.keyboard.press("Shift+Tab")
    page.keyboard.type("Twin-gear motor")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("#single-gear,twin-gear$"))
    expect(page.locator(".compared li")).to_have_count(2)
    page.keyboard.press("Enter")
    expect(page.locator(".problem")).to_have_text("Twin-gear motor is there already.")
    page.get_by_role("button", name="Take away Single-gear motor").focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("#twin-gear$"))
    page.go_back()
    expect(page).to_have_url(re.compile("#single-gear,twin-gear$"))
    expect(page.locator(".side-by-side tbody tr").first).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 360, 1000])
def test_on_a_phone(compare: Open, width: int, scheme: str) -> None:
    page = compare(f"#{EARLY},{LATER},{THIRD}", width, color_scheme=scheme)
    table(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    sizes: list[float] = page.evaluate(
        "[...document.querySelectorAll('#compare-page :is(select, button, .compared a, .every label)')]"
        ".map(one => one.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 44


def test_without_scripts(compare: Open) -> None:
    page = compare(f"#{EARLY},{LATER}", java_script_enabled=False)
    expect(page.locator("main")).to_contain_text("Putting units side by side needs scripts")
    expect(page.get_by_role("link", name="420 series cab diesel")).to_be_visible()
    expect(page.get_by_role("button")).to_have_count(0)


def test_only_what_is_compared_is_loaded(browser: Browser, site: Path) -> None:
    page = browser.new_page()
    names: list[str] = []
    page.on("request", lambda request: names.append(urlsplit(request.url).path.rsplit("/", 1)[-1]))
    page.goto((site / "compare.html").as_uri() + "#single-gear,twin-gear")
    expect(page.locator(".side-by-side svg").first).to_be_visible()
    page.close()
    groups = [name for name in names if name.startswith(("variant-", "part-", "common-"))]
    assert groups == ["part-motor.js", "part-motor-pictures.js", "common-common-pictures.js"]


def test_index_has_everything_once(site: Path, entries: Entries) -> None:
    data = json.loads((site / "compare-data.js").read_text("utf-8").partition(" = ")[2].rstrip(";\n"))
    members = [(group["kind"], ident) for group in data["groups"] for ident, _ in group["members"]]
    assert sorted(members) == sorted([*(("variant", one) for one in living(entries)), *(("part", one) for one in entries.parts)])
    assert set(data["moved"]) == {ident for ident, one in entries.variants.items() if one.signpost}
