"""`tellmark search` on the packaged demonstration."""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "search.json").read_text("utf-8"))


def run(*arguments: str, color: bool = False) -> Result:
    return CliRunner().invoke(
        main, ["--entries", str(ROOT / "entries"), "search", *arguments], catch_exceptions=False, color=color
    )


def found(*arguments: str, status: int = 0) -> dict[str, Any]:
    result = run("--json", *arguments)
    assert (result.exit_code, result.stderr) == (status, "")
    told = json.loads(result.stdout)
    jsonschema.validate(told, SCHEMA, cls=jsonschema.Draft202012Validator)
    return told


def test_people_see_what_and_where() -> None:
    shown = run("tammarack", "norhtern", "--kind", "livery", "--kind", "variant", "--limit", "2").stdout
    first, _, last = shown.rpartition("\n\n")
    assert first == (
        'Did you mean "tamarack northern"?\n'
        "\n"
        "Tamarack Northern   livery\n"
        "  tamarack-northern\n"
        "\n"
        "421 Tamarack Northern, powered A, first batch   variant\n"
        "  421-tamarack-northern-a-b1 · 421-1"
    )
    assert re.fullmatch(r"2 of (\d+)\. --limit \1 shows them all\.\n", last)


def test_a_catalog_number_first() -> None:
    told = found("424-1", "--limit", "50")
    assert told["count"] == len(told["hits"])
    assert [hit["numbers"] for hit in told["hits"]] == [["424-1"]] * 5
    assert told["hits"][0] | {"score": 0} == {
        "kind": "variant",
        "id": "424-prairie-meridian-a-b1",
        "name": "424 Prairie Meridian, powered A, first batch",
        "numbers": ["424-1"],
        "score": 0,
        "where": [{"field": "numbers", "text": "424-1", "marks": [[0, 5]]}],
    }


def test_found_words_are_bold_and_lines_short() -> None:
    plain, bold = run("fixed couplers cars hang"), run("fixed couplers cars hang", color=True)
    assert click.unstyle(bold.stdout) == plain.stdout
    assert "tied by short \x1b[1mfixed\x1b[0m \x1b[1mcouplers\x1b[0m." in bold.stdout
    assert all(len(line) <= 80 for line in plain.stdout.splitlines())
    assert "\x02" not in bold.stdout


def test_only_one_kind() -> None:
    told = found("horn lens cord", "--kind", "part", "--kind", "procedure", "--limit", "100")
    assert {hit["kind"] for hit in told["hits"]} == {"part", "procedure"}
    assert told["kinds"] == ["part", "procedure"]


def test_most_of_the_words() -> None:
    assert run("lever coupler submarine").stdout.startswith(
        "Nothing has all of these words; what has most of them:\n\nLever coupler "
    )
    assert not found("lever coupler submarine")["all_words"]


NOTHING = [
    ("a word nobody used", ["zzzzzz"], 1, 'nothing found for "zzzzzz"\n'),
    ("a number nobody used", ["424-9"], 1, 'nothing found for "424-9"; did you mean "424-1" or "424-2" or "424-5"?\n'),
    ("of another kind", ["tamarack", "--kind", "procedure"], 1, 'nothing found for "tamarack"\n'),
    ("only marks", ["???"], 2, 'found "???", expected a word or a number to search for\n'),
    ("an empty word", [""], 2, "found nothing, expected a word or a number to search for\n"),
    ("too long", ["x" * 300], 2, "found 300 characters, expected at most 200 to search for\n"),
]


@pytest.mark.parametrize(("arguments", "status", "message"), [case[1:] for case in NOTHING], ids=[case[0] for case in NOTHING])
def test_nothing_found(arguments: Sequence[str], status: int, message: str) -> None:
    result = run(*arguments)
    assert (result.exit_code, result.stdout, result.stderr) == (status, "", message)


def test_nothing_found_as_json() -> None:
    told = found("424-9", status=1)
    assert (told["hits"], told["count"], told["suggestions"]) == ([], 0, ["424-1", "424-2", "424-5"])


def test_no_words() -> None:
    result = run()
    assert result.exit_code == 2
    assert "WORDS" in result.stderr
    assert run("a", "--kind", "sale").exit_code == 2
    assert run("a", "--limit", "0").exit_code == 2


SHOWN = [
    "424-1",
    "lever coupler",
    "52-5",
    "release of the coupler",
    "body shape",
    "replace mains cord",
    "tamarack northern",
    "holloways",
]


@pytest.mark.parametrize("words", SHOWN)
def test_what_is_found_can_be_shown(words: str) -> None:
    for hit in found(words, "--limit", "6")["hits"]:
        kind = [] if hit["kind"] == "trait" else ["--kind", hit["kind"]]
        result = CliRunner().invoke(main, ["--entries", str(ROOT / "entries"), "show", hit["id"], *kind], catch_exceptions=False)
        assert result.exit_code == 0, hit["id"]
        assert hit["id"] in result.stdout or " is now: " in result.stdout
