"""A small sound knowledge base for tests, and how to break it on purpose."""

import importlib.util
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import pytest
from tellmark.kb.check import check

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

#: axe-core as `make test` installs it (version in tests/package.json), and the rules of WCAG 2.0 to 2.2, levels A and AA.
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]

#: Path below the root -> text. Short enough to count lines in: messages name them.
SOUND = {
    "knowledge-base.yaml": """\
title: Streetcars of one shelf
license: CC0-1.0
views:
  side: {name: Side, effort: 1}
  below: {name: Underside, effort: 2}
hazards:
  heat: {caution: The iron burns skin., brought_by: [soldering iron]}
""",
    "sources.yaml": "notes:\n  name: Shelf notes\n  kind: notes\n",
    "makers.yaml": "wrenfield:\n  name: Wrenfield Toys\n  made: 1948..1961\n",
    "liveries.yaml": "gull:\n  name: Gull Harbor Transit\n  shows:\n    stripe: painted\n",
    "traits.yaml": """\
stripe:
  name: Stripe
  slot: finish
  view: side
  states: {painted: Painted, decal: Decal, bare: No stripe}
""",
    "families/tram/family.yaml": """\
name: Streetcar
maker: wrenfield
kinds:
  motor: {name: Motor car}
  trailer: {name: Trailer}
slots:
  wheels: {name: Wheels, type: wheel}
traits:
  roof:
    name: Roof
    view: side
    states: {plain: Plain, ribbed: Ribbed}
  length:
    name: Length
    view: side
    measured: {unit: mm, least: 50, most: 300}
  number:
    name: Number
    view: below
    marking: {}
damage:
  pole:
    name: Trolley pole
    view: side
    how_common: usual
    found: It hangs.
    grade: -1
    mend: Solder it.
    invisible: true
""",
    "families/tram/variants/gull-a.yaml": """\
name: Gull Harbor streetcar, first batch
kind: motor
livery: gull
shows:
  roof: plain
  length: 120 +- 1 mm
  number: "41"
fitted:
  wheels: spoked
""",
    "families/tram/variants/gull-b.yaml": """\
name: Gull Harbor streetcar, second batch
like: gull-a
shows:
  roof: {ribbed: usual, plain: sometimes}
sources: [notes]
""",
    "families/tram/sets/gull-pair.yaml": """\
name: Gull Harbor pair
positions:
  - variants: gull-a
  - variants: {gull-b: usual, gull-a: sometimes}
    fitted:
      wheels: disc
""",
    "parts/wheel/slot-type.yaml": """\
name: Wheel
traits:
  rim:
    name: Rim
    view: below
    states: {thin: Thin, thick: Thick}
""",
    "parts/wheel/spoked.yaml": "name: Spoked wheel\nshows:\n  rim: thin\nfits:\n  tram: [wheels]\n",
    "parts/wheel/disc.yaml": "name: Disc wheel\nshows:\n  rim: thick\nfits:\n  tram: [wheels]\n",
    "procedures/oil-axles.yaml": "name: Oil the axles\nserves: [wheel]\ntools: [rag]\nminutes: 5\nsteps: [Oil them.]\n",
    "sightings/tram/shelf-1.yaml": """\
seen: 2021-05-02
by: Ines Calloway
answers:
  roof: plain
  rim: thin
verdict:
  variant: gull-a
  set: gull-pair
  position: 1
""",
    "sales/2021.csv": "date,variant,set,price\n2021-06-01,gull-a,,85\n2021-06-08,,gull-pair,240\n",
}

#: A whole text; None for no such file; or pairs of (what stands there once, what to write instead).
Change = str | None | list[tuple[str, str]]


@pytest.fixture(scope="session")
def loaded() -> Callable[[Path], ModuleType]:
    """A module that is no test, by its path, loaded once: test modules cannot import one another."""

    def load(path: Path) -> ModuleType:
        name = f"tellmark_{path.stem}"
        if name not in sys.modules:
            spec = importlib.util.spec_from_file_location(name, path)
            assert spec is not None
            assert spec.loader is not None
            module = importlib.util.module_from_spec(spec)
            sys.modules[name] = module
            spec.loader.exec_module(module)
        return sys.modules[name]

    return load


@pytest.fixture(scope="session")
def random_kb(loaded: Callable[[Path], ModuleType]) -> ModuleType:
    """The module `tests/identify/random_kb.py`: random knowledge bases for the laws of belief and of questions."""
    return loaded(Path(__file__).parent / "identify" / "random_kb.py")


@pytest.fixture
def folder(tmp_path: Path) -> Callable[[Mapping[str, Change]], Path]:
    """Writes the sound knowledge base with these changes, and returns its root."""

    def write(changes: Mapping[str, Change]) -> Path:
        root = tmp_path / "record"
        for path in [*SOUND, *(path for path in changes if path not in SOUND)]:
            change = changes.get(path, SOUND.get(path))
            if isinstance(change, list):
                text = SOUND[path]
                for old, new in change:
                    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {path}"
                    text = text.replace(old, new)
            else:
                text = change
            if text is not None:
                (root / path).parent.mkdir(parents=True, exist_ok=True)
                (root / path).write_text(text, "utf-8", newline="")
        return root

    return write


@pytest.fixture
def say() -> Callable[[Path], list[str]]:
    """Everything that is wrong with a folder, as a person reads it."""

    def said(root: Path) -> list[str]:
        return [str(finding) for finding in check(root)[1]]

    return said


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """A real browser that asks nobody for anything by itself. Skips where there is none, but not where a submission is tested."""
    chromium = shutil.which("chromium")
    if chromium is None and os.environ.get("CI"):
        pytest.fail("there must be a chromium where a submission is tested")
    if chromium is None:
        pytest.skip("no chromium here")
    from playwright.sync_api import sync_playwright

    quiet = ["quic", "background-networking", "component-update", "sync"]
    arguments = ["--no-sandbox", "--disable-gpu", "--no-first-run", *(f"--disable-{one}" for one in quiet)]
    with sync_playwright() as started:
        opened = started.chromium.launch(executable_path=chromium, args=arguments)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def breaches() -> "Callable[[Page], list[str]]":
    """The rules of accessibility that a page breaks, with the first place where it does; opened with `bypass_csp`.

    axe-core, https://github.com/dequelabs/axe-core.  Skips where it is not installed, but not where a submission is tested.
    """
    if not AXE.is_file() and os.environ.get("CI"):
        pytest.fail("there must be tests/node_modules (npm ci in tests/) where a submission is tested")
    if not AXE.is_file():
        pytest.skip("no tests/node_modules (npm ci in tests/) here")
    axe = AXE.read_text("utf-8")

    def found(page: "Page") -> list[str]:
        page.evaluate(axe)
        applied, broken = page.evaluate(
            """async rules => {
                 const options = {runOnly: {type: "tag", values: rules}, resultTypes: ["violations"], preload: false};
                 const {passes, violations} = await axe.run(document, options);
                 return [passes.length, violations.map(one => `${one.id}: ${one.nodes[0].html}`)];
               }""",
            RULES,
        )
        assert applied, "some rules must have been applied"
        return broken

    return found
