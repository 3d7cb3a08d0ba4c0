"""`tellmark check` as it is called: what it prints where, for people and for programs, and its exit status."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator
from tellmark.cli.check import annotation
from tellmark.cli.common import problems_said
from tellmark.cli.main import main
from tellmark.kb.findings import Finding, Kind
from tellmark.kb.forked import spread

OIL = "procedures/oil-axles.yaml"
BROKEN = {OIL: [("minutes: 5", "minutes: five"), ("tools:", "tols:")], "stray.yaml": "x: y\n"}
PLACES = (
    "families/*/family.yaml, families/*/sets/*.yaml, families/*/variants/*.yaml, knowledge-base.yaml, liveries.yaml, "
    "makers.yaml, parts/*/*.yaml, parts/*/slot-type.yaml, procedures/*.yaml, sales/*.csv, sellers.yaml, sightings/*/*.yaml, "
    "sources.yaml or traits.yaml"
)
KEYS = "about, consumables, hazards, minutes, name, serves, sources, steps, symptom, tools or verified"


def run(*words: str | Path, env: dict[str, str] | None = None) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], env=env)


WRITTEN: Any = json.loads((files("tellmark.cli") / "schemas" / "check.json").read_text("utf-8"))


@pytest.fixture
def schema() -> Callable[[Any], bool]:
    """Whether a document is what the schema says."""
    Draft202012Validator.check_schema(WRITTEN)
    validator: Any = Draft202012Validator(WRITTEN)
    return validator.is_valid


def test_sound_folder_is_passed_in_silence(folder: Callable[..., Path]) -> None:
    result = run("check", "--entries", folder({}))
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", "")


@pytest.mark.parametrize("how", ["before", "after", "environment"])
def test_folder_may_be_named_in_three_places(how: str, folder: Callable[..., Path]) -> None:
    root = folder({"stray.yaml": "x: y\n"})
    words, env = {
        "before": (["--entries", root, "check"], None),
        "after": (["check", "--entries", root], None),
        "environment": (["check"], {"TELLMARK_ENTRIES": str(root)}),
    }[how]
    result = run(*words, env=env)
    assert (result.exit_code, result.stdout.split(": ")[0]) == (1, f"{root}/stray.yaml")


def test_people_get_a_line_each_and_their_number(folder: Callable[..., Path]) -> None:
    root = folder(BROKEN)
    result = run("check", "--entries", root)
    assert result.exit_code == 1
    assert result.stdout.splitlines() == [
        f'{root}/{OIL}:3:1: found the key "tols", expected {KEYS}; did you mean "tools"?',
        f'{root}/{OIL}:4:10: found "five", expected a number',
        f"{root}/stray.yaml: found a file no record lies in, expected {PLACES}",
    ]
    assert result.stderr == "3 findings\n"


def test_one_finding_is_no_plural(folder: Callable[..., Path]) -> None:
    assert run("check", "--entries", folder({"stray.yaml": "x: y\n"})).stderr == "1 finding\n"


def test_json_of_a_sound_folder(folder: Callable[..., Path], schema: Callable[[Any], bool]) -> None:
    result = run("check", "--json", "--entries", folder({}))
    said = json.loads(result.stdout)
    assert schema(said)
    assert (result.exit_code, result.stderr) == (0, "")
    assert said == {
        "format": "tellmark/check/1",
        "records": {"family": 1, "variant": 2, "set": 1, "part": 2, "sighting": 1},
        "findings": [],
    }


def test_json_of_a_broken_folder(folder: Callable[..., Path], schema: Callable[[Any], bool]) -> None:
    root = folder(BROKEN)
    result = run("check", "--json", "--entries", root)
    said = json.loads(result.stdout)
    assert schema(said)
    assert (result.exit_code, result.stderr) == (1, "")
    assert said["findings"] == [
        {
            "path": f"{root}/{OIL}",
            "line": 3,
            "column": 1,
            "kind": "unknown-key",
            "found": 'the key "tols"',
            "expected": KEYS,
            "nearest": "tools",
        },
        {
            "path": f"{root}/{OIL}",
            "line": 4,
            "column": 10,
            "kind": "wrong-value",
            "found": '"five"',
            "expected": "a number",
            "nearest": None,
        },
        {
            "path": f"{root}/stray.yaml",
            "line": 0,
            "column": 0,
            "kind": "misplaced",
            "found": "a file no record lies in",
            "expected": PLACES,
            "nearest": None,
        },
    ]


def test_schema_knows_every_kind_of_finding() -> None:
    assert WRITTEN["$defs"]["finding"]["properties"]["kind"]["enum"] == [str(kind) for kind in Kind]


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (["extra"], 1),
        (["format"], "tellmark/check/2"),
        (["records", "unit"], 1),
        (["findings", 0, "kind"], "odd"),
        (["findings", 0, "line"], -1),
        (["findings", 0, "path"], None),
        (["findings", 0, "text"], "x"),
    ],
    ids=["key", "format", "count", "kind", "line", "no-path", "key-of-finding"],
)
def test_schema_refuses(place: list[str | int], value: Any, folder: Callable[..., Path], schema: Callable[[Any], bool]) -> None:
    said = json.loads(run("check", "--json", "--entries", folder({"stray.yaml": ""})).stdout)
    assert schema(said)
    inner = said
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = value
    assert not schema(said)


# Workflow commands -----------------------------------------------------------------------------------------------------

#: In a value `%` and line breaks are escaped, in a property `:` and `,` as well.
ANNOTATIONS = {
    "plain": (
        Finding("entries/a.yaml", 3, 5, Kind.WRONG_VALUE, '"x"', "a number"),
        '::error file=entries/a.yaml,line=3,col=5,title=wrong-value::found "x", expected a number',
    ),
    "nearest": (
        Finding("a.yaml", 3, 5, Kind.DANGLING, '"x"', "an id", "y"),
        '::error file=a.yaml,line=3,col=5,title=dangling::found "x", expected an id; did you mean "y"?',
    ),
    "whole-file": (
        Finding("a.yaml", 0, 0, Kind.LIMIT, "much", "less"),
        "::error file=a.yaml,title=limit::found much, expected less",
    ),
    "path": (
        Finding("a:b,c%d\r\n.yaml", 1, 1, Kind.LIMIT, "much", "less"),
        "::error file=a%3Ab%2Cc%25d\\r\\n.yaml,line=1,col=1,title=limit::found much, expected less",
    ),
    "message": (
        Finding("a.yaml", 1, 1, Kind.LIMIT, "5%\r\n::stop-commands::x", "a, b: c"),
        "::error file=a.yaml,line=1,col=1,title=limit::found 5%25\\r\\n::stop-commands::x, expected a, b: c",
    ),
    "escaped-already": (
        Finding("a%3A.yaml", 1, 1, Kind.LIMIT, "%0A", "less"),
        "::error file=a%253A.yaml,line=1,col=1,title=limit::found %250A, expected less",
    ),
}


@pytest.mark.parametrize(("finding", "line"), ANNOTATIONS.values(), ids=ANNOTATIONS)
def test_annotation(finding: Finding, line: str) -> None:
    assert annotation(finding) == line


def test_annotate(folder: Callable[..., Path]) -> None:
    root = folder({OIL: [("minutes: 5", 'minutes: "5%, a:b"')]})
    result = run("check", "--annotate", "--entries", root)
    assert (result.exit_code, result.stderr) == (1, "")
    assert result.stdout == (f'::error file={root}/{OIL},line=4,col=10,title=wrong-value::found "5%25, a:b", expected a number\n')


@pytest.mark.parametrize("options", [[], ["--json"], ["--annotate"]], ids=["people", "json", "annotate"])
def test_text_of_an_entry_cannot_begin_a_line(options: list[str], folder: Callable[..., Path]) -> None:
    """A line that begins with :: would command the host's runner."""
    root = folder({OIL: [("minutes: 5", 'minutes: "5\\n::warning::x"')]})
    result = run("check", *options, "--entries", root)
    assert result.exit_code == 1
    assert [line for line in result.stdout.splitlines() if line.startswith("::warning")] == []


# Wrong usage -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("options", [[], ["--json"], ["--annotate"]], ids=["people", "json", "annotate"])
@pytest.mark.parametrize("kind", ["empty", "absent", "file", "no-knowledge-base"])
def test_no_folder_of_entries(kind: str, options: list[str], folder: Callable[..., Path], tmp_path: Path) -> None:
    root = tmp_path / kind
    if kind == "empty":
        root.mkdir()
    elif kind == "file":
        root.write_text("x")
    elif kind == "no-knowledge-base":
        root = folder({"knowledge-base.yaml": None})
    result = run("check", *options, "--entries", root)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"{root}: found no knowledge-base.yaml, expected a folder of entries, which has one\n"


@pytest.mark.parametrize("options", [[], ["--json"], ["--annotate"]], ids=["people", "json", "annotate"])
def test_file_name_that_is_no_text_is_printed(options: list[str], folder: Callable[..., Path]) -> None:
    """In a process of its own, whose output is as strict as that of a shell."""
    root = folder({})
    Path(os.fsdecode(os.fsencode(root / "procedures") + b"/\xff.yaml")).write_text("name: X\nminutes: 5\nsteps: [a]\n")
    words = [sys.executable, "-m", "tellmark.cli.main", "check", *options, "--entries", str(root)]
    done = subprocess.run(words, capture_output=True, timeout=20, check=False, env={**os.environ, "PYTHONIOENCODING": "utf-8"})
    assert (done.returncode, b"Traceback" in done.stderr) == (1, False)
    assert b"procedures/" in done.stdout


def test_a_process_that_was_killed_is_said_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever kills it, such as a system that is out of memory, is not told; that nothing was lost is."""
    with pytest.raises(SystemExit) as ended, problems_said():
        list(spread([1, 2], lambda tasks: (os.kill(os.getpid(), signal.SIGKILL) for _ in tasks), 2))
    said = capsys.readouterr().err
    assert ended.value.code == 2
    assert said == (
        "found that a process was killed that made a part of it, expected it to end by itself; nothing was written "
        "(is there memory left?)\n"
    )


def test_a_file_that_is_gone_in_the_midst_is_said_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended, problems_said():
        (tmp_path / "disc.yaml").read_bytes()
    assert ended.value.code == 2
    assert (
        capsys.readouterr().err == f'found "{tmp_path}/disc.yaml" (no such file or directory), expected a file that can be read\n'
    )
