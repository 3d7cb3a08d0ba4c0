"""`tellmark trial`: what it prints, what it refuses."""

import json
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "cli/schemas/trial.json").read_text("utf-8"))


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, ["trial", *(str(word) for word in words)], catch_exceptions=False)


def demonstration(*words: str) -> Result:
    return run("--entries", ROOT / "entries", "--family", "power-pack-tx", "--n", "12", *words)


#: (reason, options)
ASKED: dict[str, tuple[str, list[str]]] = {
    "as-it-is": ("nothing supposed", []),
    "sets": ("the set of origin, one of which is none", ["--target", "set"]),
    "forms": ("every form of question", ["--ask", "any"]),
    "sure": ("no reading goes wrong, nothing is changed", ["--mistakes", "0", "--swaps", "0"]),
    "worst": ("the highest rates there are", ["--mistakes", "0.5", "--swaps", "0.5", "--n", "1"]),
    "views": ("only what two views show", ["--views", "side, nose"]),
}


@pytest.mark.parametrize(("reason", "options"), ASKED.values(), ids=ASKED)
def test_json_is_as_its_schema_says(reason: str, options: list[str]) -> None:
    result = demonstration("--jobs", "1", "--json", *options)
    found = json.loads(result.stdout)
    jsonschema.validate(found, SCHEMA)
    assert (result.exit_code, result.stderr, found["n"]) == (0, "", 1 if "--n" in options else 12), reason


def test_same_seed_same_bytes_on_two_cores() -> None:
    assert demonstration("--jobs", "2", "--json").stdout == demonstration("--jobs", "1", "--json").stdout


def test_fewer_views_tell_less_apart() -> None:
    few, all_ = (json.loads(demonstration("--jobs", "1", "--json", *more).stdout) for more in (["--views", "running"], []))
    assert few["entropy_bits"] < all_["entropy_bits"]
    assert few["stated"] < all_["stated"]


def test_people_see_the_same_figures() -> None:
    found = json.loads(demonstration("--jobs", "1", "--json").stdout)
    shown = demonstration("--jobs", "1").stdout.splitlines()
    assert max(map(len, shown)) <= 80
    assert shown[0] == "12 simulated units   seed 1"
    figures = [line.split() for line in shown]
    assert " ".join(figures[1]).startswith(f"Questions asked, mean {found['mean_questions']:.2f} ")
    assert " ".join(figures[2]).startswith(f"Bits to find out before any {found['entropy_bits']:.2f} ")
    right = next(line for line in figures if line[:1] == ["Right"])
    assert (right[1], right[4]) == (f"{found['right'] * 100:.1f}", f"{found['stated'] * 100:.1f}")
    rows = [line for line in shown if " to " in line and "%" in line]
    assert len(rows) == len(found["calibration"])
    assert sum(line.startswith("        for ") for line in shown) == len(found["confused"])


FAMILIES = "cab-diesel-420, freight-car-310, lighted-coach-840, power-pack-tx, road-switcher-160, tank-engine-70 or tender-70"

#: (options, the one message)
REFUSED = {
    "mistakes": (["--mistakes", "0.6"], "found the rate 0.6 for --mistakes, expected a share from 0 to 0.5"),
    "swaps": (["--swaps", "-0.1"], "found the rate -0.1 for --swaps, expected a share from 0 to 0.5"),
    "nan": (["--swaps", "nan"], "found the rate nan for --swaps, expected a share from 0 to 0.5"),
    "none": (["--n", "0"], "found 0 for --n, expected a number of units from 1 to 1000000"),
    "seed": (["--seed", "-1"], "found -1 for --seed, expected a number from 0"),
    "jobs": (["--jobs", "0"], "found 0 for --jobs, expected a number of processes from 1, or -1 for one a core"),
    "family": (
        ["--family", "tender-7"],
        f'found the family "tender-7", expected one of {FAMILIES}; did you mean "tender-70"?',
    ),
}


@pytest.mark.parametrize(("options", "message"), REFUSED.values(), ids=REFUSED)
def test_refused(options: list[str], message: str) -> None:
    result = run("--entries", ROOT / "entries", *options)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"{message}\n")


def test_unknown_view() -> None:
    result = demonstration("--views", "undersid")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith('found the view "undersid", expected one of ')
    assert result.stderr.endswith('did you mean "underside"?\n')


def test_not_a_number() -> None:
    result = run("--mistakes", "often")
    assert result.exit_code == 2
    assert "'often' is not a valid float" in result.stderr


NO_VARIANTS = ["families/tram/variants/gull-a.yaml", "families/tram/variants/gull-b.yaml", "families/tram/sets/gull-pair.yaml"]
NOTHING = [*NO_VARIANTS, "sightings/tram/shelf-1.yaml", "sales/2021.csv"]
NO_FAMILIES = [*NOTHING, "families/tram/family.yaml", "parts/wheel/spoked.yaml", "parts/wheel/disc.yaml"]


@pytest.mark.parametrize("gone", [NOTHING, NO_FAMILIES], ids=["no-variants", "no-families"])
def test_nothing_recorded(gone: list[str], folder: Callable[..., Path]) -> None:
    result = run("--entries", folder(dict.fromkeys(gone)), "--n", "5", "--jobs", "1")
    message = "found no variants, expected something to draw units from\n"
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message)
