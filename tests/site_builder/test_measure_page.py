"""Measuring on a photograph in a real browser, opened from its folder: by mouse, by keyboard, by typing, on a phone."""

import json
import re
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
from playwright.sync_api import Page, expect

ROOT = Path(__file__).parents[2]
WIDTH, HEIGHT = 900, 600
#: Two black squares on white, and where their upper left corners are.
SQUARES = ((100, 150), (700, 150))
Open = Callable[..., Page]


def png(width: int, height: int) -> bytes:
    """A picture with the two squares."""
    rows = [bytearray(b"\xff\xff\xff" * width) for _ in range(height)]
    for left, top in SQUARES:
        for row in rows[top : top + 20]:
            row[3 * left : 3 * (left + 20)] = bytes(3 * 20)

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return (
        b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"".join(b"\0" + row for row in rows))) + chunk(b"IEND", b"")
    )


@pytest.fixture(scope="module")
def photograph(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("photographs") / "squares.png"
    path.write_bytes(png(WIDTH, HEIGHT))
    return path


@pytest.fixture
def measuring(opened: Open, photograph: Path) -> Open:
    """The page, with the photograph."""

    def go(fragment: str = "", file: Path | None = photograph, **options: Any) -> Page:
        page: Page = opened("measure.html", fragment, **options)
        if file is not None:
            page.set_input_files("#measure-file", file)
            expect(page.locator(".stage.open")).to_be_visible()
        return page

    return go


def on_stage(page: Page, *points: tuple[float, float]) -> list[tuple[float, float]]:
    """Where points of the photograph are on the stage, while the whole of it is seen."""
    width, height = page.evaluate("(stage => [stage.clientWidth, stage.clientHeight])(document.querySelector('#measure-stage'))")
    scale = min(width / WIDTH, height / HEIGHT)
    return [((width - WIDTH * scale) / 2 + x * scale, (height - HEIGHT * scale) / 2 + y * scale) for x, y in points]


def click(page: Page, *points: tuple[float, float]) -> None:
    """Clicks on points of the photograph, the whole of which is seen. The stage has a border of one pixel."""
    stage = page.locator("#measure-stage")
    stage.scroll_into_view_if_needed()
    for x, y in on_stage(page, *points):
        stage.click(position={"x": x + 1, "y": y + 1})


def places(page: Page) -> dict[str, tuple[float, float]]:
    """Where each mark is, as the form says it."""
    rows: dict[str, list[str]] = page.evaluate(
        """Object.fromEntries([...document.querySelectorAll("#measure-list fieldset")].map(row =>
             [row.querySelector("legend").textContent[0], [...row.querySelectorAll("input")].map(one => one.value)]))"""
    )
    return {letter: (float(x), float(y)) for letter, (x, y) in rows.items() if x}


def type_marks(page: Page, **marks: tuple[float, float]) -> None:
    for letter, (x, y) in marks.items():
        page.locator(f"#mark-{letter}-x").fill(str(x))
        page.locator(f"#mark-{letter}-y").fill(str(y))


def length(page: Page) -> str:
    return page.locator("#measure-length").inner_text()


def test_by_mouse(measuring: Open) -> None:
    """Four clicks, one after the other: 600 pixels are 120 mm, so 300 are 60."""
    page = measuring()
    page.get_by_label("Its length").fill("120 +- 0 mm")
    expect(page.locator("#measure-now")).to_contain_text("Mark A: one end of the known length")
    click(page, SQUARES[0], SQUARES[1], (200, 400))
    expect(page.locator("#measure-now")).to_contain_text("Mark Q")
    expect(page.locator("#measure-length")).to_have_text("Still to mark: Q.")
    click(page, (500, 400))
    assert set(places(page)) == set("ABPQ")
    for mark, point in zip("ABPQ", [*SQUARES, (200, 400), (500, 400)], strict=True):
        assert places(page)[mark] == pytest.approx(point, abs=1)
    value, spread = map(float, re.findall(r"[\d.]+", length(page))[:2])
    assert value == pytest.approx(60, abs=0.3)
    assert spread == pytest.approx(120 / 600 * (2 + 2 * 0.25) ** 0.5, abs=0.01)
    expect(page.locator("#measure-aloud")).to_contain_text("mm")


def test_by_keyboard(measuring: Open) -> None:
    """The photograph is moved under the middle, Enter puts the mark, arrows bring it to the tenth of a pixel."""
    page = measuring()
    page.locator("#known-scale").focus()
    page.keyboard.type("O gauge")
    page.locator("#measure-stage").focus()
    page.keyboard.press("Enter")
    assert places(page) == {"A": (WIDTH / 2, HEIGHT / 2)}
    focused = "document.activeElement.textContent"
    assert page.evaluate(focused) == "A"
    for key in ("ArrowLeft", "ArrowLeft", "ArrowUp", "Shift+ArrowRight", "Shift+ArrowDown"):
        page.keyboard.press(key)
    assert places(page)["A"] == (448.1, 299.1)
    page.keyboard.press("+")
    page.keyboard.press("+")
    assert places(page)["A"] == (448.1, 299.1)
    page.locator("#measure-stage").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    assert places(page)["B"][0] > 470
    page.keyboard.press("Delete")
    assert set(places(page)) == {"A"}
    page.get_by_role("button", name="Mark A", exact=True).press("Enter")
    assert page.evaluate(focused) == "A"
    page.keyboard.press("-")
    page.keyboard.press("0")
    assert places(page)["A"] == (448.1, 299.1)
    page.get_by_role("button", name="Mark P", exact=True).press("Enter")
    page.keyboard.press("Enter")
    assert set(places(page)) == {"A", "P"}


def test_by_typing_alone(measuring: Open) -> None:
    """Without the photograph: somebody else may have told where the marks are."""
    page = measuring(file=None)
    page.get_by_label("Its length").fill("1 1/4 in +- 0.02 in")
    type_marks(page, A=(0, 0), B=(125, 0), P=(0, 10), Q=(0, 50))
    expect(page.locator("#measure-length")).to_contain_text("10.1")
    page.get_by_label("How well a mark is put").fill("0.5")
    assert length(page).startswith("10.16 ± 0.25 mm")
    expect(page.locator("#measure-share")).to_contain_text("± 0.19 mm from marking, ± 0.16 mm from what is known")


#: (what is known, marks, the length): the cases of `tests/outside/test_measuring.py`, through the page.
WAYS = {
    "line": (
        {"#known-first": "36 in", "#known-second": "9 in"},
        {"A": (0, 0), "B": (55, 0), "C": (70, 0), "P": (70, 0), "Q": (310, 0)},
        r"110\.0+ in|1[01]\d ± \d+ in",
    ),
    "plane": (
        {"#known-width": "300 mm", "#known-height": "50 mm"},
        {"A": (155, 15), "B": (360, 95), "C": (260, 130), "D": (65, 40), "P": (155, 15), "Q": (200.97247, 65.3508)},
        r"15[12]\.\d ± ",
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_other_ways(measuring: Open, way: str) -> None:
    known, marks, expected = WAYS[way]
    page = measuring(file=None)
    page.locator(f"#way-{way}").check()
    for field, text in known.items():
        page.locator(field).fill(text)
    type_marks(page, **marks)
    assert re.search(expected, length(page)), length(page)


def test_what_cannot_be_measured(measuring: Open) -> None:
    page = measuring(file=None)
    problem = page.locator("#measure-problem")
    page.get_by_label("Its length").fill("32")
    expect(page.locator("#measure-known-problem")).to_have_text("A length needs its unit: 32 mm, 57.2 +- 0.1 mm or 1 1/4 in.")
    expect(page.get_by_label("Its length")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("Its length").fill("32 mm")
    type_marks(page, A=(0, 0), B=(0, 0), P=(0, 10), Q=(0, 50))
    expect(problem).to_have_text("This cannot be measured: two marks of the known length are at one place.")
    expect(page.locator("#answer-link")).to_be_hidden()
    type_marks(page, B=(4, 0))
    expect(problem).to_contain_text("A guess")
    type_marks(page, B=(400, 0))
    expect(problem).to_be_empty()
    page.locator("#mark-B-x").fill("four")
    expect(page.locator("#mark-B-x")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#measure-length")).to_have_text("Still to mark: B.")
    page.get_by_label("How well a mark is put").fill("-1")
    expect(problem).to_contain_text("more than nothing")


def test_what_is_no_picture(measuring: Open, tmp_path: Path) -> None:
    page = measuring(file=None)
    (tmp_path / "notes.jpg").write_text("no picture", "utf-8")
    page.set_input_files("#measure-file", tmp_path / "notes.jpg")
    expect(page.locator("#measure-file-problem")).to_have_text(
        "“notes.jpg” cannot be shown as a picture. A photograph as JPEG, PNG or WebP can."
    )


def test_the_length_reaches_the_page_that_identifies(measuring: Open) -> None:
    """With what was answered before; and that page reads it."""
    page = measuring("#family=cab-diesel-420&views=side,nose&number-place=nose-door&at=tell.number-height", file=None)
    expect(page.get_by_label("Family", exact=True)).to_have_value("cab-diesel-420")
    expect(page.get_by_label("What was measured")).to_have_value("number-height")
    page.get_by_label("Its length").fill("50 +- 0 mm")
    type_marks(page, A=(0, 0), B=(1000, 0), P=(0, 0), Q=(0, 96))
    link = page.locator("#answer-link")
    expect(link).to_have_text("Answer with 4.800 ± 0.071 mm")
    to = urlsplit(str(link.get_attribute("href")))
    pairs = [unquote(pair) for pair in to.fragment.split("&")]
    assert to.path == "identify.html"
    assert pairs == ["family=cab-diesel-420", "views=side,nose", "number-place=nose-door", "number-height=4.800 +- 0.071 mm"]
    type_marks(page, Q=(0, 960))
    expect(link).to_be_hidden()
    expect(page.locator("#answer-none")).to_have_text(
        "Height of the road number: from 2 to 12 mm. What was measured is something else."
    )
    type_marks(page, Q=(0, 96))
    link.click()
    expect(page).to_have_url(re.compile("identify.html#family=cab-diesel-420"))
    expect(page.locator("main")).to_contain_text("4.8")


def test_only_traits_that_are_lengths_are_offered(measuring: Open, site: Path) -> None:
    page = measuring(file=None)
    offered = page.locator("#answer-trait option")
    expect(offered).to_have_text(["Length of the body", "Height of the body"])
    page.get_by_label("Family", exact=True).select_option("power-pack-tx")
    expect(offered).to_have_text(["Length of the body", "Height of the body"])
    page.get_by_label("Family", exact=True).select_option("cab-diesel-420")
    names: list[str] = offered.all_inner_texts()
    assert {"Height of the road number", "Pilot: length of the pilot"} <= set(names)
    assert len(names) == len(set(names))
    data = (site / "measure" / "cab-diesel-420.js").read_text("utf-8")
    rows = json.loads(data.partition("\n")[2].partition(" = ")[2].rstrip(";\n"))["recorded"]
    assert any(name.startswith("Height of the road number: ") and (mm, spread) == (4.8, 0.2) for name, mm, spread in rows)


def test_what_is_recorded_can_be_what_is_known(measuring: Open) -> None:
    page = measuring(file=None)
    option = page.locator("#known-scale optgroup[label='Recorded: 420 series cab diesel'] option", has_text="Length of the body")
    page.locator("#known-scale").select_option(option.first.get_attribute("value"))
    expect(page.get_by_label("Its length")).to_be_hidden()
    type_marks(page, A=(0, 0), B=(500, 0), P=(0, 0), Q=(0, 250))
    assert re.match(r"1\d\d\.\d+ ± ", length(page)), length(page)


def test_a_drawing_is_laid_over_the_photograph(measuring: Open) -> None:
    """Its two points stand on the two marks; turned as well; as strong as one likes, by keyboard."""
    page = measuring()
    page.get_by_label("Variant").select_option("424-prairie-meridian-a-b2")
    laid = page.locator(".stage .laid")
    expect(laid).to_be_hidden()
    type_marks(page, R=(100, 400), S=(700, 300))
    expect(laid).to_be_visible()
    for turned in (False, True):
        page.locator("#lay-turned").set_checked(turned)
        found: list[list[float]] = page.evaluate(
            """(() => {
              const image = document.querySelector(".stage .laid"), matrix = new DOMMatrix(getComputedStyle(image).transform);
              return ["R", "S"].map(pin => {
                const at = ["x", "y"].map(axis => Number(document.querySelector(`#pin-${pin}-${axis}`).value) / 100);
                const to = matrix.transformPoint(new DOMPoint(at[0] * image.width, at[1] * image.height));
                return [to.x, to.y];
              });
            })()"""
        )
        assert found == [pytest.approx(point, abs=0.5) for point in on_stage(page, (100, 400), (700, 300))]
    before = laid.evaluate("one => getComputedStyle(one).opacity")
    page.get_by_label("How strong it is drawn").press("ArrowRight")
    assert float(laid.evaluate("one => getComputedStyle(one).opacity")) == pytest.approx(float(before) + 0.05)
    page.locator(".sheet").click(position={"x": 20, "y": 20})
    assert float(page.locator("#pin-R-y").input_value()) < 60


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 360, 1000])
def test_on_a_phone(measuring: Open, width: int, scheme: str) -> None:
    page = measuring(width=width, color_scheme=scheme, has_touch=width < 500)
    page.locator("#way-plane").check()
    page.get_by_label("Variant").select_option("424-prairie-meridian-a-b2")
    page.get_by_label("Known rectangle").select_option("card")
    click(page, (100, 100), (800, 120), (780, 500), (90, 480), (300, 300), (600, 300))
    assert len(places(page)) == 6
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    fields = "button, select, input:not([type=radio], [type=checkbox]), .onward, .way label, .tick label"
    sizes: list[float] = page.locator(f"#measure-page :is({fields})").evaluate_all(
        """all => all.filter(one => one.checkVisibility()).map(one => one.getBoundingClientRect())
             .map(box => Math.min(box.width, box.height))"""
    )
    assert min(sizes) >= 44


def test_one_can_do_without_dragging(measuring: Open) -> None:
    """A rough click, closer to it, and a second click there; the buttons look around."""
    page = measuring()
    click(page, (300, 300))
    page.get_by_role("button", name="Closer").click()
    page.get_by_role("button", name="Closer").click()
    page.get_by_role("button", name="Mark A", exact=True).click()
    middle = page.evaluate("(stage => [stage.clientWidth / 2, stage.clientHeight / 2])(document.querySelector('#measure-stage'))")
    page.locator("#measure-stage").click(position={"x": middle[0] + 11, "y": middle[1] + 1})
    assert 300 < places(page)["A"][0] < 310
    before = places(page)["A"]
    page.get_by_role("button", name="Look further right").click()
    page.get_by_role("button", name="Mark A", exact=True).click()
    page.locator("#measure-stage").click(position={"x": middle[0] + 11, "y": middle[1] + 1})
    assert places(page)["A"][0] >= before[0]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(measuring: Open, breaches: Callable[[Page], list[str]], scheme: str) -> None:
    """With everything open."""
    page = measuring("", color_scheme=scheme, bypass_csp=True)
    page.get_by_label("Variant").select_option("424-prairie-meridian-a-b2")
    page.get_by_label("Its length").fill("32 mm")
    type_marks(page, A=(100, 100), B=(800, 100), P=(300, 300), Q=(300, 400), R=(100, 400), S=(700, 300))
    page.locator("summary").click()
    assert breaches(page) == []


def test_without_scripts(measuring: Open) -> None:
    page = measuring(file=None, java_script_enabled=False)
    expect(page.locator("main")).to_contain_text("The command tellmark measure does the same")
    expect(page.locator("#measure-page")).to_be_hidden()
