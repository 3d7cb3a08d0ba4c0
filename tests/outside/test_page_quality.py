"""The pages against what others say a page should be.

axe-core, the rules of WCAG 2.0 to 2.2, levels A and AA (https://github.com/dequelabs/axe-core, version in tests/package.json);
html-validate, its recommended rules (https://html-validate.org); Lighthouse 12.2.3 (https://github.com/GoogleChrome/lighthouse).
Lighthouse's fourth category, performance, is a matter of time and of what else the machine does: `make bench` prints it.
"""

import functools
import json
import os
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from tellmark.kb.check import check
from tellmark.site_builder.build import build

TESTS = Path(__file__).parents[1]
MODULES = TESTS / "node_modules"
NODE = shutil.which("node")
#: One of every kind of page.
KINDS = [
    "index.html",
    "families/tender-70.html",
    "variants/424-prairie-meridian-a-b2.html",
    "variants/424-prairie-meridian-a.html",
    "sets/54-4-prairie-meridian-a-b-a.html",
    "parts.html",
    "parts/kiln-lane-horn.html",
    "procedures.html",
    "procedures/service-commutator-and-brushes.html",
    "traits.html",
    "traits/main-color.html",
    "families/cab-diesel-420/stripe-shape.html",
    "families/cab-diesel-420/number-height.html",
    "sources.html",
    "sources/catalog-1954.html",
    "liveries.html",
    "makers.html",
    "wanted.html",
    "changes.html",
    "data.html",
    "search.html",
    "compare.html",
    "identify.html",
    "listing.html",
    "measure.html",
    "offline.html",
    "pocket-sheets/tender-70.html",
]
#: Pages that are audited: each takes ten seconds.
AUDITED = [
    "index.html",
    "families/tender-70.html",
    "variants/424-prairie-meridian-a-b2.html",
    "compare.html",
    "search.html",
    "identify.html",
]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("audited") / "site"
    build(check(TESTS.parent / "entries")[0], out)
    return out


@pytest.fixture(scope="module")
def node() -> str:
    """The program. Skips where it or what the Makefile installs for it is missing, but not where a submission is tested."""
    missing = "node" if NODE is None else "" if (MODULES / "axe-core").is_dir() else "tests/node_modules (npm ci in tests/)"
    if missing and os.environ.get("CI"):
        pytest.fail(f"there must be {missing} where a submission is tested")
    if missing:
        pytest.skip(f"no {missing} here")
    return str(NODE)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(built: Path, browser: Browser, breaches: Callable[[Page], list[str]], scheme: Any) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    found: list[str] = []
    for name in KINDS:
        page.goto((built / name).as_uri())
        found += [f"{name}: {one}" for one in breaches(page)]
    context.close()
    assert found == []


def test_html_validate_finds_nothing(built: Path, node: str) -> None:
    program = MODULES / "html-validate" / "bin" / "html-validate.mjs"
    settings = built.parent / "html-validate.json"
    settings.write_text(json.dumps({"root": True, "extends": ["html-validate:recommended"]}), "utf-8")
    command = [node, str(program), "--config", str(settings), "--formatter", "json", *KINDS]
    done = subprocess.run(command, cwd=built, capture_output=True, text=True, check=False)
    reports: list[dict[str, Any]] = json.loads(done.stdout)
    found = [f"{one['filePath']}: {said['ruleId']}: {said['message']}" for one in reports for said in one["messages"]]
    assert found == []
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def address(built: Path) -> Iterator[str]:
    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(built)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize("name", AUDITED)
def test_lighthouse_gives_full_marks(address: str, node: str, tmp_path: Path, name: str) -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("no chromium here")
    report = tmp_path / "report.json"
    flags = "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
    command = [
        *[node, str(MODULES / "lighthouse" / "cli" / "index.js"), address + name, "--quiet", "--output=json"],
        *[f"--output-path={report}", f"--chrome-flags={flags}", "--only-categories=accessibility,best-practices,seo"],
        "--disable-full-page-screenshot",
    ]
    subprocess.run(command, env=os.environ | {"CHROME_PATH": chromium}, capture_output=True, check=True, timeout=120)
    categories: dict[str, Any] = json.loads(report.read_text("utf-8"))["categories"]
    scores = {kind: round(100 * (one["score"] or 0)) for kind, one in categories.items()}
    assert scores == {"accessibility": 100, "best-practices": 100, "seo": 100}
