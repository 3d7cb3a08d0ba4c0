"""What a command may not load: each of these takes longer to load than the command has, and is needed only for something else."""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any

import pytest

Folder = Callable[[Mapping[str, Any]], Path]
#: What each is for.
ARRAYS = {"numpy", "tellmark.identify.compile", "tellmark.identify.session"}
MAKING = {"jinja2", "markdown_it", "nh3", "PIL", "sqlite3", "xml", "xml.parsers.expat", "xml.etree.ElementTree"}
READING = {"ruamel.yaml", "rapidfuzz", "whoosh", "tellmark.kb.check", "tellmark.kb.one_file", "tellmark.kb.validate"}
SHARING = {"multiprocessing"}
MEASURING = {"tellmark.identify.measuring", "tellmark.identify.lengths"}
ANYTHING = {"pydantic", "tellmark.kb.load", "tellmark.kb.cache", "tellmark.site_builder"}
B = "families/tram/variants/gull-b.yaml"
ABOUT = [("like: gull-a\n", "like: gull-a\nabout: Seen at two meets.\n")]
#: Runs the command in one process, and says at the end what is loaded.
CODE = """
import json, os, sys
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from tellmark.cli.main import main
try:
    main()
finally:
    print(json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


def loaded(*words: str | Path, cache: Path) -> tuple[str, set[str]]:
    """What a command prints, and all modules that are loaded when it ends."""
    env = {name: value for name, value in os.environ.items() if name != "TELLMARK_CACHE"} | {"XDG_CACHE_HOME": str(cache)}
    done = subprocess.run([sys.executable, "-c", CODE, *map(str, words)], env=env, capture_output=True, text=True, check=True)
    return done.stdout, set(json.loads(done.stderr))


def test_help_loads_nothing_of_ours_but_the_names_of_commands(tmp_path: Path) -> None:
    said, modules = loaded("--help", cache=tmp_path)
    assert "site" in said
    assert not modules & (ANYTHING | ARRAYS | MAKING | READING | SHARING)


@pytest.mark.parametrize(
    ("changes", "made", "never"),
    [
        ({}, "; 0 of", ARRAYS | MAKING | READING | SHARING | MEASURING),
        ({B: ABOUT}, "files made now", ARRAYS | MEASURING | SHARING | {"PIL", "rapidfuzz", "xml.etree.ElementTree"}),
    ],
    ids=["nothing has changed", "a sentence has changed"],
)
def test_a_build_loads_what_it_makes_something_with(
    changes: Mapping[str, Any], made: str, never: Collection[str], folder: Folder, tmp_path: Path
) -> None:
    build = ("site", "build", "--out", tmp_path / "site", "--entries")
    root = folder({})
    loaded(*build, root, cache=tmp_path)
    if changes:
        folder(changes)
    said, modules = loaded(*build, root, cache=tmp_path)
    assert made in said
    assert ("; 0 of" in said) == (not changes)
    assert not modules.intersection(never)
