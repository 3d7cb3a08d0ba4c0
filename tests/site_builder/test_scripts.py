"""The scripts of the site: typed throughout, strict, small, and the one library that is not ours as it was published."""

import hashlib
import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "site_builder" / "static"
OURS = sorted(STATIC.glob("*.js"))
COMPILER = ROOT / "tests" / "node_modules" / ".bin" / "tsc"
#: dist/umd/index.js of minisearch 7.2.0 on the npm registry, without its last line, which names a source map.
MINISEARCH = "4e02b9fa52f244c377d737c7d06cda6bce967d137254e8532d6c79f68469bef3"


def test_types() -> None:
    """`tsc` on every script, with the types their comments say."""
    if shutil.which("node") is None:
        pytest.skip("no node here")
    assert COMPILER.is_file(), "npm install in tests/ first, as `make test` does"
    done = subprocess.run(
        [str(COMPILER), "-p", str(ROOT / "tests" / "tsconfig.json")], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, "")


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.name)
def test_plain_scripts(path: Path) -> None:
    """Classic scripts in strict mode, that ask for nothing, run no text, and put none into a page as markup but drawings."""
    text = path.read_text("utf-8")
    assert text.startswith('"use strict";\n')
    assert not re.search(r"^\s*(import|export)\b", text, re.MULTILINE)
    assert not re.search(
        r"\b(eval|Function|fetch|XMLHttpRequest|importScripts|document\.write|insertAdjacentHTML|outerHTML)\b", text
    )
    markup = [line for line in text.splitlines() if "innerHTML" in line]
    assert len(markup) <= (path.name == "compare.js"), markup
    assert "https:" not in text
    assert len(text.splitlines()) <= 600


def test_what_every_page_loads_is_small() -> None:
    assert (STATIC / "search.js").stat().st_size < 12_000


def test_library_is_as_it_was_published() -> None:
    first, _, rest = (STATIC / "vendor" / "minisearch.js").read_text("utf-8").partition("\n")
    assert "MiniSearch 7.2.0" in first
    assert "minisearch.LICENSE.txt" in first
    assert hashlib.sha256(rest.encode()).hexdigest() == MINISEARCH
    assert "Permission is hereby granted" in (STATIC / "vendor" / "minisearch.LICENSE.txt").read_text("utf-8")
