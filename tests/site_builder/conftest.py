"""The site of the packaged demonstration, and one of entries that mean harm in every text, each built once."""

import csv
import io
import json
from collections.abc import Callable, Collection, Iterator
from functools import partial
from hashlib import sha256
from html import escape
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import quote, urlsplit

import pytest
from tellmark.kb.check import check
from tellmark.kb.yaml_text import read
from tellmark.site_builder.build import build

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

ENTRIES = Path(__file__).parents[2] / "entries"


@pytest.fixture(scope="session")
def random_sessions(loaded: Callable[[Path], ModuleType]) -> ModuleType:
    """The module `random_sessions.py`: random knowledge bases of more sorts of traits, and sessions."""
    return loaded(Path(__file__).with_name("random_sessions.py"))


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("built") / "site"
    build(check(ENTRIES)[0], out)
    return out


# Hostile texts -----------------------------------------------------------------------------------------------------------

EVIL = (
    "<script>alert(1)</script> \"'><img src=x onerror=alert(1)> {{ 7*7 }} </title></style><svg onload=alert(1)> "
    "[press](javascript:alert(1)) [or](JaVaScRiPt&#58;alert(1)) [data](data:text/html,x) [up](../../x.html) "
    '![seen](https://tracker.example/x.png) <https://fine.example/?a=1&b="2"> <javascript:alert(1)>\n\n'
    "<iframe src='https://evil.example'></iframe>\n\n# Heading\n\n[ref]\n\n[ref]: javascript:alert(1) 'x\" onclick=\"alert(1)'"
)
TRAIT = {"name": EVIL, "look": EVIL, "ask": EVIL, "changes": EVIL, "about": EVIL, "view": "side"}
STATES = {"states": {"red": {"name": EVIL, "ask": EVIL, "about": EVIL}, "blue": EVIL}}
WORD = {"sources": {"web": "doubts", "book": "proves"}, "verified": "2024-02-03", "note": EVIL}
HOSTILE: dict[str, Any] = {
    "knowledge-base.yaml": {
        "title": EVIL,
        "about": EVIL,
        "license": EVIL,
        "maintainers": [EVIL, EVIL],
        "currency": EVIL,
        "edit_at": "https://code.example.org/edit/{file}?t={title}",
        "report_at": "https://code.example.org/new?title={title}&body={body}",
        "views": {"side": {"name": EVIL, "effort": 1, "how": EVIL}},
        "hazards": {"dust": {"caution": EVIL, "brought_by": [EVIL]}},
    },
    "sources.yaml": {
        "web": {"name": EVIL, "about": EVIL, "kind": "web", "author": EVIL, "where": "javascript:alert(1)"},
        "book": {"name": EVIL, "kind": "book", "where": 'https://x.example/"onclick="alert(1)', "sources": {"web": "supports"}},
        "notes": {"name": EVIL, "kind": "notes", "where": EVIL},
    },
    "makers.yaml": {"maker": {"name": EVIL, "about": EVIL, "place": EVIL, "sources": ["web"]}},
    "liveries.yaml": {
        "livery": {"name": EVIL, "about": EVIL, "railroad": EVIL, "colors": [EVIL], "shows": {"color": {"is": "red", **WORD}}}
    },
    "traits.yaml": {"color": {**TRAIT, "slot": "finish", **STATES}},
    "families/one/family.yaml": {
        "name": EVIL,
        "about": EVIL,
        "maker": "maker",
        "kinds": {"engine": {"name": EVIL, "about": EVIL}},
        "slots": {"wheel": {"name": EVIL, "type": "wheel"}},
        "traits": {"shape": {**TRAIT, **STATES}, "number": {**TRAIT, "marking": {}}},
        "damage": {
            "step": {
                "name": EVIL,
                "view": "side",
                "how_common": "usual",
                "found": EVIL,
                "grade": -1,
                "mend": EVIL,
                "procedure": "mend",
                "invisible": True,
            }
        },
        "sources": ["web"],
    },
    "families/one/variants/a.yaml": {
        "name": EVIL,
        "about": EVIL,
        "kind": "engine",
        "livery": "livery",
        "catalog_number": EVIL,
        "shows": {"shape": {"is": {"red": 0.7, "blue": 0.3}, **WORD}, "number": {"is": EVIL, **WORD}},
        "fitted": {"wheel": {"is": {"w": 0.5, "v": 0.5}, **WORD}},
        "sources": ["web", "book"],
    },
    "families/one/variants/b.yaml": {"name": EVIL, "like": "a", "about": EVIL, "shows": {"shape": "blue", "number": "7"}},
    "families/one/variants/c.yaml": {"name": EVIL, "like": "b", "livery": "livery"},
    "sightings/one/seen.yaml": {
        "name": EVIL,
        "seen": "2024-02-03",
        "by": EVIL,
        "label": EVIL,
        "note": EVIL,
        "evidence": [EVIL],
        "answers": {"shape": "red"},
        "verdict": {"variant": "a", "set": "s", "position": 1, "swapped": ["wheel"]},
        "exception": EVIL,
    },
    "families/one/variants/old.yaml": {"name": EVIL, "about": EVIL, "moved_to": "a"},
    "families/one/sets/s.yaml": {
        "name": EVIL,
        "about": EVIL,
        "catalog_number": EVIL,
        "positions": [{"variants": {"a": 0.5, "b": 0.5}, "fitted": {"wheel": {"is": "v", **WORD}}, "about": EVIL}],
    },
    "parts/wheel/slot-type.yaml": {"name": EVIL, "about": EVIL, "traits": {"rim": {**TRAIT, **STATES}}, "sources": ["web"]},
    "parts/wheel/w.yaml": {
        "name": EVIL,
        "about": EVIL,
        "maker": "maker",
        "shows": {"rim": {"is": "red", **WORD}},
        "fits": {"one": ["wheel"]},
        "tell": EVIL,
        "cost": 3,
    },
    "parts/wheel/v.yaml": {"name": EVIL, "shows": {"rim": "blue"}, "reproduction_of": "w", "tell": EVIL},
    "procedures/mend.yaml": {
        "name": EVIL,
        "about": EVIL,
        "serves": ["wheel"],
        "symptom": EVIL,
        "tools": [EVIL],
        "consumables": [EVIL],
        "hazards": ["dust"],
        "minutes": 5,
        "steps": [EVIL, EVIL],
    },
}
#: A drawing of a family that hostile words are said of, with hostile words of its own.
DRAWN = f"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 30" fill="none" stroke="currentColor">
<title>{escape(EVIL)}</title><desc>{escape(EVIL)}</desc>
<view id="crop-shape" viewBox="0 0 40 30"/>
<g data-trait="shape" data-state="red"><title>{escape(EVIL)}</title><path d="M0 0h9"/></g>
<g data-trait="shape" data-state="blue" display="none"><title>{escape(EVIL)}</title><path d="M0 9h9"/></g>
<g data-trait="number" data-marking=""><title>{escape(EVIL)}</title><text x="1" y="9">{escape(EVIL)}</text></g>
<view id="crop-number" viewBox="0 0 40 30"/>
</svg>"""


def sales() -> str:
    """A table of sales with hostile cells."""
    made = io.StringIO()
    rows = csv.writer(made, lineterminator="\n")
    rows.writerow(["date", "variant", "set", "price", "shipping", "grade", "complete", "place", "note"])
    for day, variant, boxed, price in (("2024-01-13", "a", "", 10), ("2024-02-13", "a", "", 900), ("2024-03-13", "", "s", 20)):
        rows.writerow([day, variant, boxed, price, 5, 7, 0.5, EVIL, EVIL])
    return made.getvalue()


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("hostile")
    for path, plain in HOSTILE.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(json.dumps(plain), "utf-8")
    (root / "sales").mkdir()
    (root / "sales" / "2024.csv").write_text(sales(), "utf-8", newline="")
    (root / "families/one/drawings").mkdir()
    (root / "families/one/drawings/side.svg").write_text(DRAWN, "utf-8")
    entries, findings = check(root)
    assert [str(finding) for finding in findings] == []
    build(entries, root / "site")
    return root / "site"


# The page that identifies -------------------------------------------------------------------------------------------------


@pytest.fixture
def opened(browser: "Browser", site: Path) -> "Iterator[Callable[..., Page]]":
    """Opens a page of the site with what is in its address; nothing may go wrong there, and nothing be asked of anybody."""
    contexts: list[BrowserContext] = []
    said: list[str] = []
    asked: list[str] = []
    own = {"file", "data"}

    def go(name: str, fragment: str = "", width: int = 1000, makes: Collection[str] = (), **options: Any) -> "Page":
        """`makes`: schemes of addresses that the page makes for itself."""
        own.update(makes)
        context = browser.new_context(viewport={"width": width, "height": 800}, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("dialog", lambda dialog: said.append(dialog.message) or dialog.dismiss())
        page.goto((site / name).as_uri() + fragment)
        return page

    yield go
    for context in contexts:
        context.close()
    assert said == []
    assert {urlsplit(url).scheme for url in asked} <= own


@pytest.fixture
def identify(opened: "Callable[..., Page]") -> "Callable[..., Page]":
    """The page that identifies; it makes the file of a sighting to be saved."""
    return partial(opened, "identify.html", makes=["blob"])


@pytest.fixture(scope="session")
def contents() -> Callable[[Path], dict[str, str]]:
    """What a folder holds, as {path: sum}: two of them are quickly told apart, where pytest would take hours over the bytes."""

    def sums(root: Path) -> dict[str, str]:
        files = (path for path in sorted(root.rglob("*")) if path.is_file())
        return {path.relative_to(root).as_posix(): sha256(path.read_bytes()).hexdigest() for path in files}

    return sums


@pytest.fixture(scope="session")
def late_motor() -> str:
    """The address of the example with a motor that is too late for its body."""
    example = ENTRIES.parent / "tests/examples/late-motor.yaml"
    file = cast("dict[str, Any]", read(example.read_text("utf-8"), example.name))
    answers = cast("dict[str, str]", file["answers"])
    said = "".join(f"&{key}={quote(value)}" for key, value in answers.items())
    return f"#family={file['family']}&views={','.join(file['views'])}{said}"
