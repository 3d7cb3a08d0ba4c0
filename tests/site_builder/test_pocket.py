"""The pocket sheets: every answer leads somewhere, every variant is there, cautions stand where they belong, and it prints."""

import re
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from tellmark.kb.cache import sound
from tellmark.kb.check import check
from tellmark.kb.load import Entries
from tellmark.site_builder import build as builder
from tellmark.site_builder import pocket
from tellmark.site_builder.tables import Site

ENTRIES = Path(__file__).parents[2] / "entries"
FAMILIES = sorted(path.name for path in (ENTRIES / "families").iterdir())
#: The sheet of the largest family takes so many sides of paper at most.
MOST_SIDES = 6


@pytest.fixture(scope="module")
def record() -> Entries:
    return sound(ENTRIES)[0]


@pytest.fixture(scope="module")
def sheets(record: Entries, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheets of the demonstration alone, as pages of a site."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(builder, "PRODUCERS", (pocket,))
        patch.setenv("TELLMARK_CACHE", "off")
        out = tmp_path_factory.mktemp("sheets") / "site"
        builder.build(record, out)
    return out


@pytest.mark.parametrize("family", FAMILIES)
def test_every_answer_leads_somewhere(sheets: Path, record: Entries, family: str) -> None:
    text = (sheets / "pocket-sheets" / f"{family}.html").read_text("utf-8")
    ids = Counter(re.findall(r' id="([^"]+)"', text))
    assert [ident for ident, count in ids.items() if count > 1] == []
    steps = [int(number) for number in re.findall(r'id="step-(\d+)"', text)]
    assert steps == [*range(1, len(steps) + 1)]
    led = {int(number) for number in re.findall(r'class="go" href="#step-(\d+)"', text)}
    assert led - set(steps) == set()
    begins = {int(number) for number in re.findall(r"go to (\d+)</a>\.</p>", text)} or {1}
    assert set(steps) - led == begins - led, "each is led to, but the first where nothing was read"
    named = set(re.findall(r'href="\.\./variants/([^"]+)\.html"', text))
    mine = {ident for ident, one in record.variants.items() if record.home["variant", ident] == family and not one.signpost}
    assert named == mine


def test_the_words_of_a_step(sheets: Path) -> None:
    text = re.sub(r"<svg.*?</svg>", "", (sheets / "pocket-sheets" / "cab-diesel-420.html").read_text("utf-8"), flags=re.DOTALL)
    plain = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))
    assert "44 variants, 2.7 questions on average" in plain
    assert re.search(r"takes every part and every coat of paint for original .* it names about 8\d rightly", plain)
    assert "Road number: what can be read?" in plain
    assert re.search(r"\d+\. Are the grab irons separate pieces of wire\? for 4211 · Side: .* yes go to \d+ Wire no ", plain)
    assert re.search(r"Height of the road number: is it more than 5.5 mm\? from \d+", plain)
    assert "By now most likely 424 Prairie Meridian, powered A, first batch; what follows only rules out the rarer." in plain


def test_opening_and_running_are_cautioned_at_the_step(folder: Callable[[Mapping[str, object]], Path]) -> None:
    root = folder(
        {
            "knowledge-base.yaml": [
                ("below: {name: Underside, effort: 2}", "below: {name: Under <it>, effort: 6, how: Take out the screws first.}"),
            ],
            "families/tram/family.yaml": [("name: Roof\n    view: side", "name: Roof\n    view: below")],
            "families/tram/variants/gull-b.yaml": [("  roof: {ribbed: usual, plain: sometimes}", "  roof: ribbed")],
        }
    )
    entries, findings = check(root)
    assert findings == []
    found = pocket.pocket(Site(entries), "tram")
    (step,) = found["rows"]
    assert step["caution"] == "Take out the screws first."
    assert [(one["name"], one["text"]) for one in found["cautions"]] == [("Heat", "The iron burns skin.")]
    assert [[variant["text"] for variant in branch["end"]["often"]] for branch in step["branches"]] == [
        ["Gull Harbor streetcar, first batch"],
        ["Gull Harbor streetcar, second batch"],
    ]


def test_looking_alone_needs_no_caution(folder: Callable[[Mapping[str, object]], Path]) -> None:
    found = pocket.pocket(Site(check(folder({}))[0]), "tram")
    assert {step["caution"] for step in found["rows"]} == {None}
    assert found["cautions"] == []


def test_a_family_with_nothing_to_tell_apart_has_no_sheet(folder: Callable[[Mapping[str, object]], Path]) -> None:
    alone = {
        "families/tram/variants/gull-b.yaml": None,
        "families/tram/sets/gull-pair.yaml": "name: Pair\npositions:\n  - variants: gull-a\n",
    }
    assert list(pocket.pages(Site(check(folder(alone))[0]))) == []


def test_a_family_too_large_for_a_pocket_has_no_sheet(folder: Callable[[Mapping[str, object]], Path]) -> None:
    many = "".join(f"- {{id: many-{n}, name: M, like: gull-a}}\n" for n in range(pocket.MOST_VARIANTS))
    assert list(pocket.pages(Site(check(folder({"families/tram/variants/many.yaml": many}))[0]))) == []


def test_on_paper_and_on_a_phone(sheets: Path, browser: Browser) -> None:
    page = browser.new_page(viewport={"width": 320, "height": 800})
    for family in ("cab-diesel-420", "power-pack-tx"):
        page.goto((sheets / "pocket-sheets" / f"{family}.html").as_uri())
        assert page.evaluate("document.querySelector('main').scrollWidth") <= 320
        for size in ("A4", "Letter"):
            sides = len(re.findall(rb"/Type /Page\b", page.pdf(format=size)))
            assert 1 <= sides <= (MOST_SIDES if family == "cab-diesel-420" else 2), (family, size)
    page.close()
