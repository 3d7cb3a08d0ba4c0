"""`tellmark measure` as people and programs meet it."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from tellmark.cli.main import main

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "tests" / "examples" / "marks-on-a-photograph.yaml"
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "measure.json").read_text("utf-8"))


def run(*arguments: str | Path, typed: str | None = None) -> Result:
    words = ["--entries", str(ROOT / "entries"), "measure", *map(str, arguments)]
    return CliRunner().invoke(main, words, input=typed, catch_exceptions=False)


def found(file: str) -> dict[str, dict[str, Any]]:
    result = run("-", "--json", typed=file)
    assert result.exit_code == 0, result.stderr
    plain = json.loads(result.stdout)
    jsonschema.validate(plain, SCHEMA, cls=jsonschema.Draft202012Validator)
    return {one["name"]: one for one in plain["lengths"]}


def file(known: str, wanted: str = "{between: [c, d]}", points: str = "a: [0, 0], b: [100, 0], c: [0, 50], d: [50, 50]") -> str:
    return f"points: {{{points}}}\nknown:\n  k: {known}\nlengths:\n  w: {wanted}\n"


def test_the_example() -> None:
    both = found(EXAMPLE.read_text("utf-8"))
    assert {name: (one["by"], one["way"]) for name, one in both.items()} == {
        "number": ("card", "plane"),
        "pilot": ("track", "scale"),
    }
    assert both["number"]["mm"] == pytest.approx(4.8, abs=2 * both["number"]["plus_minus_mm"])
    assert both["pilot"]["mm"] == pytest.approx(1.2675 * 25.4 * 276 / 414, abs=0.02)
    assert not both["pilot"]["guess"]


def test_file_and_standard_input_say_the_same() -> None:
    assert {one["name"]: one for one in json.loads(run(EXAMPLE, "--json").stdout)["lengths"]} == found(EXAMPLE.read_text("utf-8"))


def test_people_read_it_in_80_columns() -> None:
    result = run(EXAMPLE)
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert result.stdout.splitlines()[0].startswith("  number  4.7")


RECTANGLE = "a: [0, 0], b: [200, 0], x: [200, 100], y: [0, 100], c: [0, 0], d: [100, 0]"
#: (known, points, mm, sd of what is known)
WAYS = {
    "a length": ("{between: [a, b], length: 40 +- 0.4 mm}", None, 20, 0.2),
    "a length without a tolerance is good to half of its last place": ("{between: [a, b], length: 40 mm}", None, 20, 0.25),
    "inches": ("{between: [a, b], length: 1 1/4 in}", None, 15.875, 25.4 / 16),
    "a gauge that is a range": ("{between: [a, b], gauge: nmra-s}", None, 11.3538, 0.5 * 0.022 * 25.4 / 12**0.5),
    "a gauge that is one figure": ("{between: [a, b], gauge: nem-0}", None, 16, 0.25),
    "a rectangle": ("{corners: [a, b, x, y], sides: [20 +- 0.1 mm, 10 +- 0.1 mm]}", RECTANGLE, 10, 0.05),
    "four points": (
        "{at: {a: [0 mm, 0 mm], b: [2 cm, 0 mm], x: [20 mm, 10 mm], y: [-0 +- 0 mm, 1 cm]}}",
        RECTANGLE,
        10,
        None,
    ),
    "a trait of a variant": (
        "{between: [a, b], trait: number-height, of: 424-prairie-meridian-a-b2}",
        None,
        2.4,
        0.1,
    ),
}


@pytest.mark.parametrize(("known", "points", "mm", "of_known"), WAYS.values(), ids=WAYS)
def test_what_may_be_known(known: str, points: str | None, mm: float, of_known: float | None) -> None:
    one = found(file(known, points=points) if points else file(known))["w"]
    assert one["mm"] == pytest.approx(mm, abs=1e-4)
    assert one["inches"] * 25.4 == pytest.approx(one["mm"])
    assert of_known is None or one["of_known_mm"] == pytest.approx(of_known, abs=1e-4)
    assert one["plus_minus_mm"] ** 2 == pytest.approx(one["of_marking_mm"] ** 2 + one["of_known_mm"] ** 2)


def test_a_line_that_runs_away() -> None:
    points = "a: [0, 0], b: [55, 0], c: [70, 0], d: [310, 0]"
    one = found(file("{along: [a, b, c], lengths: [36 in, 9 in]}", points=points))["w"]
    assert (one["way"], one["inches"]) == ("line", pytest.approx(110))


def test_one_click_serves_twice() -> None:
    """From a to b is what is known and what is wanted: no click can change it."""
    known = "{between: [a, b], length: 40 +- 1 mm}"
    one = found(file(known, "{between: [a, b]}"))["w"]
    assert (one["mm"], one["of_marking_mm"]) == (pytest.approx(40), pytest.approx(0, abs=1e-12))
    assert one["of_known_mm"] == pytest.approx(1)


def test_each_point_may_have_its_own_uncertainty() -> None:
    points = "a: [0, 0, 0.001], b: [100, 0, 0.001], c: [0, 50, 3], d: [50, 50, 4]"
    one = found(file("{between: [a, b], length: 100 +- 0 mm}", points=points))["w"]
    assert one["plus_minus_mm"] == pytest.approx(5, abs=1e-3)


def test_an_answer_to_a_trait() -> None:
    result = run(EXAMPLE, "--trait", "number-height", "--of", "number")
    assert (result.exit_code, result.stderr) == (0, "")
    line = result.stdout.strip()
    assert line.startswith("number-height: 4.7")
    answers = f"family: cab-diesel-420\nanswers:\n  {line}\n"
    words = ["--entries", str(ROOT / "entries"), "identify", "--answers", "-", "--json"]
    identified = CliRunner().invoke(main, words, input=answers, catch_exceptions=False)
    assert json.loads(identified.stdout)["answers"][0]["trait"] == "number-height"


#: (reason, file, the beginnings of all messages)
BAD = {
    "nothing": ("an empty file", "", ["1:1: found no key"] * 3),
    "no unit": (
        "a known length needs a unit",
        file("{between: [a, b], length: 32}"),
        ['3:32: found "32", expected a length with its unit'],
    ),
    "no length": ("nothing is not known", file("{between: [a, b], length: 0 mm}"), ['3:32: found "0 mm", expected']),
    "misspelled gauge": ("the nearest name", file("{between: [a, b], gauge: nmra-q}"), ['3:31: found "nmra-q", expected nem-0']),
    "two forms": ("one or the other", file("{between: [a, b], along: [a, b, c]}"), ["3:6: found between and along together"]),
    "two sizes": (
        "one or the other",
        file("{between: [a, b], length: 3 mm, gauge: nem-0}"),
        ["3:6: found gauge and length together"],
    ),
    "no size": ("of what is marked", file("{between: [a, b]}"), ["3:6: found no size, expected gauge, length or trait"]),
    "a size of another form": (
        "sides are of a rectangle",
        file("{between: [a, b], gauge: nem-0, sides: [1 mm, 2 mm]}"),
        ['3:38: found the key "sides", expected gauge, length or trait beside between'],
    ),
    "a trait of nothing": (
        "trait and of go together",
        file("{between: [a, b], trait: number-height}"),
        ['3:24: found "trait" without "of", expected both'],
    ),
    "a trait that nobody has": (
        "traits of that variant that are lengths",
        file("{between: [a, b], trait: number-hight, of: 424-prairie-meridian-a-b2}"),
        ['3:31: found "number-hight", expected one of '],
    ),
    "a variant that is none": (
        "the nearest",
        file("{between: [a, b], trait: number-height, of: 424-prairie-meridian-a-b99}"),
        ['3:50: found "424-prairie-meridian-a-b99", expected the id of a variant or a part'],
    ),
    "everything at once": (
        "every problem of every part of the file, in its order",
        "click: 0\npoints: {aa: [0, 0], b: [x, 0], c: [1]}\nknown:\n"
        "  k: {between: [aab, b], gauge: nem-0}\n  j: {along: [b, c]}\n"
        "  i: {between: [b, b], gauge: nem-0}\nlengths:\n  w: {between: [aa, b]}\n"
        "  v: {between: [aa, cc], by: kk}\n  u: {by: k}\ncolor: red\n",
        [
            '1:8: found "0", expected more than 0',
            '2:26: found "x", expected a number',
            "2:36: found a list, expected at least 2 of them",
            '4:17: found the point "aab", expected a name under points; did you mean "aa"?',
            "5:14: found a list, expected at least 3 of them",
            '6:20: found the point "b" again, expected another point',
            '8:6: found no key "by", expected the key "by" with one of i, j or k',
            '9:21: found the point "cc"',
            '9:30: found "kk", expected one of i, j or k',
            '10:6: found no key "between"',
            '11:1: found the key "color"',
        ],
    ),
    "one place": (
        "a known length between two marks at one place",
        file("{between: [a, b], gauge: nem-0}", points="a: [5, 5], b: [5, 5], c: [0, 50], d: [50, 50]"),
        ["3:3: found two marks of the known length are at one place"],
    ),
    "no wanted length": (
        "the same of what is wanted",
        file("{between: [a, b], gauge: nem-0}", points="a: [0, 5], b: [5, 5], c: [50, 50], d: [50, 50]"),
        ["5:3: found the two marks of the wanted length are at one place"],
    ),
    "crossed corners": (
        "they do not go around",
        file("{corners: [a, b, c, d], rectangle: card}"),
        ["3:3: found the four marks do not go around in the order"],
    ),
    "beyond": (
        "behind the vanishing point",
        file("{along: [a, b, c], lengths: [5 mm, 5 mm]}", "{between: [a, d]}", "a: [0, 0], b: [10, 0], c: [12, 0], d: [200, 0]"),
        ["5:3: found a mark lies beyond the horizon"],
    ),
}


@pytest.mark.parametrize(("reason", "typed", "messages"), BAD.values(), ids=BAD)
def test_bad_input(reason: str, typed: str, messages: list[str]) -> None:
    result = run("-", typed=typed)
    lines = result.stderr.splitlines()
    assert (result.exit_code, result.stdout) == (2, ""), reason
    assert len(lines) == len(messages), lines
    for line, beginning in zip(lines, messages, strict=True):
        assert line.removeprefix("standard input:").startswith(beginning), (line, beginning)


OPTIONS = {
    "which": (["--trait", "number-height"], "found 2 lengths, expected --of with one of number, pilot"),
    "no such length": (["--trait", "number-height", "--of", "nunber"], 'did you mean "number"?'),
    "no such trait": (["--trait", "number-hight", "--of", "number"], 'did you mean "number-height"?'),
    "a trait that is no length": (["--trait", "horn", "--of", "number"], 'found the trait "horn", expected one of '),
    "both": (["--trait", "number-height", "--json"], "found --trait beside --json"),
    "lonely": (["--of", "number"], "found --of without --trait"),
}


@pytest.mark.parametrize(("options", "message"), OPTIONS.values(), ids=OPTIONS)
def test_wrong_options(options: list[str], message: str) -> None:
    result = run(EXAMPLE, *options)
    assert (result.exit_code, result.stdout) == (2, "")
    assert message in result.stderr


def test_no_such_file() -> None:
    result = run("no-such-marks.yaml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "no-such-marks.yaml" in result.stderr
