"""`tellmark lot` as people and programs meet it, on the packaged demonstration."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
THREE = ROOT / "tests" / "examples" / "lot-of-three.yaml"
TRUCKS = ROOT / "tests" / "examples" / "lot-with-swapped-trucks.yaml"
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "lot.json").read_text("utf-8"))


def run(*arguments: str | Path, typed: str | None = None) -> Result:
    words = ["--entries", str(ROOT / "entries"), "lot", *map(str, arguments)]
    return CliRunner().invoke(main, words, input=typed, catch_exceptions=False)


def found(file: str) -> dict[str, Any]:
    result = run("-", "--json", typed=file)
    assert result.exit_code == 0, result.stderr
    plain = json.loads(result.stdout)
    jsonschema.validate(plain, SCHEMA, cls=jsonschema.Draft202012Validator)
    return plain


def test_two_of_one_set_and_a_stray() -> None:
    plain = found(THREE.read_text("utf-8"))
    best = plain["explanations"][0]
    (pair,) = best["sets"]
    assert pair["set"] == "53-1-prairie-meridian-a-a"
    assert [(one["unit"], one["position"]) for one in pair["units"]] == [(1, 1), (2, 2)]
    assert pair["missing"] == []
    assert best["strays"] == [3]
    assert best["probability"] > 0.9
    assert [one["stray"] for one in plain["units"]] == [False, False, True]
    assert plain["units"][2]["sets"][0]["id"] == "53-3-blue-mesa-a-a"
    assert plain["exact"]
    assert sum(one["probability"] for one in plain["explanations"]) <= 1 + 1e-6


def test_couplers_decide_the_set() -> None:
    """Outfits 53-1 and 55-8 hold the same two units; with opening couplers at the joint it is the other one."""
    other = THREE.read_text("utf-8").replace("rear-coupler: fixed-short", "rear-coupler: plate-coupler")
    (pair,) = [one for one in found(other)["explanations"][0]["sets"] if 1 in [unit["unit"] for unit in one["units"]]]
    assert pair["set"] == "55-8-prairie-meridian-a-a"


def test_swapped_trucks_and_a_missing_unit() -> None:
    plain = found(TRUCKS.read_text("utf-8"))
    best = plain["explanations"][0]
    assert [one["set"] for one in best["sets"]] == ["51-2-prairie-meridian-a-a", "57-4-prairie-meridian-a-b-a"]
    assert best["sets"][1]["missing"] == [{"position": 3, "variants": ["424-prairie-meridian-t-b3"]}]
    (one,) = plain["exchanges"]
    assert (one["slot"], one["between"], one["parts"]) == ("truck", [1, 3], ["coil-plain", "leaf-plain"])
    assert one["chance"] > 0.7


def test_right_trucks_are_left_alone() -> None:
    text = TRUCKS.read_text("utf-8")
    first, *others = text.split("  - name: ")
    swapped = [*others]
    swapped[0] = others[0].replace("coil-plain", "leaf-plain")
    swapped[2] = others[2].replace("leaf-plain", "coil-plain")
    assert found("  - name: ".join([first, *swapped]))["exchanges"] == []


def test_file_and_standard_input_say_the_same() -> None:
    assert json.loads(run(THREE, "--json").stdout) == found(THREE.read_text("utf-8"))


@pytest.mark.parametrize("path", [THREE, TRUCKS], ids=["three", "trucks"])
def test_people_read_it_in_80_columns(path: Path) -> None:
    result = run(path)
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert result.stdout.startswith("Settled   ")
    assert "Units 1 and 2 are of one set: " in result.stdout
    assert ("Exchange between them" in result.stdout) == (path == TRUCKS)


def test_nobody_recorded_it_and_twins() -> None:
    """What is not in the record stays so, and what nothing separates is named together."""
    plain = found(
        "units:\n- answers: {road-name: LAKE HARROW, number: 4261, motor: economy-gear, rear-truck: molded-shoe}\n"
        "- answers: {road-name: NORTH QUAY, number: 9999, axles-per-truck: three}\n"
    )
    twins = ["426-lake-harrow-a-b4", "426-lake-harrow-a-holloways"]
    assert plain["units"][0]["cannot_be_told_apart"] == twins
    assert plain["units"][1]["variants"][0]["id"] == "not-in-the-record"
    assert plain["explanations"][0]["strays"] == [1, 2]


def test_what_cannot_be_told_is_not_stated() -> None:
    """Four units of which nobody said more than the railroad: no explanation leads, and the screen says so."""
    result = run("-", typed="units:\n" + "- {family: cab-diesel-420, answers: {road-name: PRAIRIE MERIDIAN}}\n" * 4)
    assert result.exit_code == 0
    assert result.stdout.startswith("Open; first among several   ")
    assert "Or else" in result.stdout


def units(*answers: str) -> str:
    return "units:\n" + "".join(f"- answers: {{{one}}}\n" for one in answers)


#: (reason, file, the beginnings of all messages)
BAD = {
    "one unit": ("identify is for one", units("horn: missing"), ["standard input:2:1: found a list, expected at least 2"]),
    "too many": (
        "thirty at most",
        units(*["horn: missing"] * 31),
        ["standard input:2:1: found a list, expected at most 30"],
    ),
    "nothing": ("an empty file", "", ['standard input:1:1: found no key "units"']),
    "no list": ("units are a list", "units: {a: 1}", ["standard input:1:8: found a mapping, expected a list"]),
    "everything at once": (
        "every problem of every unit in one run, in the order of the file",
        "units:\n- family: cab-diesel-42\n  answers: {}\n- views: [sid]\n  answers: {hron: missing}\n"
        "- name: 7\n  answers: {number-place: roof}\n- answers: {horn: {is: []}}\n  color: red\n",
        [
            'standard input:2:11: found the family "cab-diesel-42"',
            'standard input:4:11: found the view "sid"',
            'standard input:5:13: found the key "hron"',
            'standard input:7:27: found "roof"',
            "standard input:8:",
            'standard input:9:3: found the key "color"',
        ],
    ),
}


@pytest.mark.parametrize(("reason", "file", "messages"), BAD.values(), ids=BAD)
def test_bad_input(reason: str, file: str, messages: list[str]) -> None:
    result = run("-", typed=file)
    lines = result.stderr.splitlines()
    assert (result.exit_code, result.stdout) == (2, ""), reason
    assert len(lines) == len(messages), lines
    for line, beginning in zip(lines, messages, strict=True):
        assert line.startswith(beginning), (line, beginning)


def test_no_such_file() -> None:
    result = run("no-such-lot.yaml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "no-such-lot.yaml" in result.stderr
