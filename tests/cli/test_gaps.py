"""`tellmark gaps`, and what `tellmark check` says of sightings that come out otherwise than their verdict."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
PAIR = ["426-lake-harrow-a-b4", "426-lake-harrow-a-holloways"]


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)


def test_the_intended_pair_and_no_other() -> None:
    found = json.loads(run("gaps", "--entries", ROOT / "entries", "--json").stdout)
    jsonschema.validate(found, json.loads((ROOT / "cli/schemas/gaps.json").read_text("utf-8")))
    assert [group for one in found["families"] for group in one["inseparable"]] == [PAIR]


def test_people_see_the_same() -> None:
    shown = run("gaps", "--entries", ROOT / "entries", "--family", "cab-diesel-420").stdout
    assert shown.startswith("420 series cab diesel   44 variants\n  Cannot be told apart by anything recorded: ")
    assert "say nothing of: " in shown


def test_misspelled_family() -> None:
    result = run("gaps", "--entries", ROOT / "entries", "--family", "cab-diesel-42")
    families = "cab-diesel-420, freight-car-310, lighted-coach-840, power-pack-tx, road-switcher-160, tank-engine-70 or tender-70"
    message = f'found the family "cab-diesel-42", expected one of {families}; did you mean "cab-diesel-420"?\n'
    assert (result.exit_code, result.stderr) == (2, message)


def test_what_is_not_recorded_is_counted(folder: Callable[..., Path]) -> None:
    root = folder({"families/tram/variants/gull-c.yaml": "name: Gull C\nkind: motor\n"})
    (one,) = json.loads(run("gaps", "--entries", root, "--json").stdout)["families"]
    assert one["of_variants"]["gull-c"] >= 2
    assert one["unrecorded"]["roof"] == 1


#: (reason, change of the sound sighting, change of the knowledge base, how many findings)
ASTRAY = {
    "wrong": ("the answers show the other variant", "", "", 1),
    "explained": ("one may have an exception", "exception: Repainted.\n", "exceptions: 1\n", 0),
    "one-too-many": ("an exception is no use when none is allowed", "exception: Repainted.\n", "", 1),
}


@pytest.mark.parametrize(("reason", "more", "allowed", "count"), ASTRAY.values(), ids=ASTRAY)
def test_sighting_gone_astray(reason: str, more: str, allowed: str, count: int, folder: Callable[..., Path]) -> None:
    root = folder({})
    path = root / "sightings/tram/shelf-1.yaml"
    written = path.read_text("utf-8")
    right = re.search(r"variant: (gull-\w)", written)
    assert right is not None
    other = "gull-b" if right[1] == "gull-a" else "gull-a"
    path.write_text(written.replace(f"variant: {right[1]}", f"variant: {other}") + more, "utf-8")
    about = root / "knowledge-base.yaml"
    about.write_text(about.read_text("utf-8") + allowed, "utf-8")
    result = run("check", "--entries", root)
    lines = result.stdout.splitlines()
    assert (len(lines), result.exit_code) == (count, int(count > 0)), reason
    if count:
        assert (
            f": found answers that lead to {right[1]}, expected the verdict, {other}, to come first, or an exception; 0 may"
            in lines[0]
        )
        assert re.match(rf"{re.escape(str(path))}:\d+:\d+: ", lines[0])
