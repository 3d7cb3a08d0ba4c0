"""`tellmark compare` on the packaged demonstration: what differs, and how to tell one from the other."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "compare.json").read_text("utf-8"))
EARLY, LATER, THIRD = (f"424-prairie-meridian-a-b{batch}" for batch in (1, 2, 3))
TWINS = "426-lake-harrow-a-b4", "426-lake-harrow-a-holloways"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["--entries", str(ROOT / "entries"), "compare", *arguments], catch_exceptions=False)


def compared(*idents: str) -> dict[str, Any]:
    result = run("--json", *idents)
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    jsonschema.validate(found, SCHEMA, cls=jsonschema.Draft202012Validator)
    return found


def test_two_variants_are_told_by_the_cheapest_look_first() -> None:
    found = compared(EARLY, LATER)["tell_apart"]
    assert (found[0]["trait"], found[0]["view"]) == ("number-height", "nose")
    assert found[0]["values"] == {EARLY: "6.2 +- 0.2 mm", LATER: "4.8 +- 0.2 mm"}
    assert found[0]["right"] > 0.9
    views = [one["view"] for one in found]
    assert sorted(views, key=["nose", "underside", "inside"].index) == views


def test_what_tells_them_is_among_what_differs() -> None:
    found = compared(EARLY, LATER)
    differs = {one["trait"] for one in found["differences"]}
    assert {one["trait"] for one in found["tell_apart"]} <= differs


def test_the_screen_says_how_many_of_a_hundred() -> None:
    shown = run(EARLY, LATER).stdout
    _, _, telling = shown.partition("How to tell A from B")
    assert telling.splitlines()[1] == "  96  Height of the road number [nose, three-quarter]: A 6.2 +- 0.2 mm, B"
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_nothing_recorded_tells_the_inseparable_pair() -> None:
    assert compared(*TWINS)["tell_apart"] == []
    said = "Nothing that is recorded tells them apart: it would take evidence outside the record."
    assert said in " ".join(run(*TWINS).stdout.split())


@pytest.mark.parametrize("idents", [(EARLY, LATER, THIRD), ("single-gear", "twin-gear")], ids=["three variants", "two parts"])
def test_only_two_variants_are_told_apart(idents: tuple[str, ...]) -> None:
    assert "tell_apart" not in compared(*idents)
    assert "How to tell" not in run(*idents).stdout


def test_variants_of_two_families_are_told_by_what_all_families_show() -> None:
    found = compared(EARLY, "71-tamarack-northern-tender-b2")["tell_apart"]
    assert found
    assert all(one["right"] > 0.8 for one in found)
