"""The page measures as the command does: `modules/measure/lengths.js` against `identify/lengths.py`, on random marks."""

import json
import shutil
import subprocess
from typing import Any

import numpy as np
import pytest
from tellmark.identify.lengths import (
    Array,
    CannotMeasure,
    Derived,
    Problem,
    along_line,
    by_scale,
    cross_ratio,
    homography,
    in_plane,
    in_rectangle,
    to_length,
)
from tellmark.identify.measuring import rounded
from tellmark.kb.marks import in_mm
from tellmark.site_builder.joined import joined

NODE = shutil.which("node")
CASES = 1500
#: Reads the cases on standard input and writes what each gives.
PROGRAM = """
const { byScale, alongLine, inPlane, inRectangle, toLength, homography, CannotMeasure } = globalThis.lengths;
const cases = JSON.parse(require("fs").readFileSync(0, "utf-8"));
const ways = { by_scale: byScale, along_line: alongLine, in_plane: inPlane, in_rectangle: inRectangle };
const found = cases.map(({ way, marks, known, which, clicks, spreads }) => {
  try {
    const derived = ways[way](marks, known, which.map((point) => clicks[point]));
    const length = toLength(derived, which, clicks, spreads);
    const matrix = way.startsWith("in_plane") ? homography(marks.slice(0, 4), known) : [];
    const { value, plusMinus, ofMarking, ofKnown } = length;
    return { value, numbers: [plusMinus, ofMarking, ofKnown, ...derived.byMarks.flat(), ...derived.byKnown, ...matrix] };
  } catch (error) {
    if (!(error instanceof CannotMeasure)) throw error;
    return { problem: error.problem, said: error.message };
  }
});
process.stdout.write(JSON.stringify(found));
"""


def case(chance: np.random.Generator) -> dict[str, Any]:
    """Marks as somebody might make them, a few of them wrongly."""
    way = str(chance.choice(["by_scale", "along_line", "in_plane", "in_rectangle"]))
    clicks = chance.uniform(0.3, 3, 6)
    if way == "by_scale":
        marks, known = chance.uniform(0, 4000, (4, 2)), chance.uniform(1, 100, 1)
    elif way == "along_line":
        x = np.array([0.0, *np.cumsum(chance.uniform(5, 60, 2)), *chance.uniform(-40, 200, 2)])
        seen = (20 * x + 40) / (chance.uniform(-0.004, 0.004) * x + 1)
        turn = chance.uniform(0, 2 * np.pi)
        marks = 500 + seen[:, None] * np.array([np.cos(turn), np.sin(turn)]) + chance.normal(0, 1, (5, 2))
        known = np.diff(x[:3])
    else:
        corners = np.array([[0, 0], [2400, 0], [2400, 1600], [0, 1600]]) + chance.uniform(-600, 600, (4, 2))
        marks = np.vstack([corners, chance.uniform(-400, 2800, (2, 2))])
        known = chance.uniform(20, 200, 2)
        if way == "in_plane":
            known = np.array([[0, 0], [known[0], 0], known, [0, known[1]]]) + chance.normal(0, 3, (4, 2))
    which = np.arange(len(marks))
    spoiled = chance.uniform()
    if spoiled < 0.1:
        one, other = chance.choice(len(marks), 2, replace=False)
        marks[one], which[one] = marks[other], which[other]
    elif spoiled < 0.15:
        marks[[0, 1]] = marks[[1, 0]]
    elif spoiled < 0.18:
        known = known * 0
    spreads = chance.uniform(0, 0.5, known.shape)
    return {"way": way, "marks": marks, "known": known, "which": which, "clicks": clicks, "spreads": spreads}


WAYS = {"by_scale": by_scale, "in_plane": in_plane, "in_rectangle": in_rectangle}


def expected(one: dict[str, Any]) -> tuple[float, Array] | CannotMeasure:
    marks, known, which, clicks = one["marks"], one["known"], one["which"], one["clicks"]
    try:
        derived: Derived = (
            along_line(marks, known, clicks[which]) if one["way"] == "along_line" else WAYS[one["way"]](marks, known)
        )
    except CannotMeasure as error:
        return error
    length = to_length(derived, which, clicks, one["spreads"])
    numbers = [length.plus_minus, length.of_marking, length.of_known, *derived.by_marks.ravel(), *derived.by_known.ravel()]
    if one["way"] == "in_plane":
        numbers += [*homography(marks[:4], known).ravel()]
    return length.value, np.array(numbers)


def run(script: str, typed: str) -> Any:
    if NODE is None:
        pytest.skip("no node here")
    done = subprocess.run([NODE, "-e", script], input=typed, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def test_python_and_javascript_agree() -> None:
    chance = np.random.default_rng(2)
    cases = [case(chance) for _ in range(CASES)]
    plain = [
        {key: one[key].tolist() if isinstance(one[key], np.ndarray) else one[key] for key in one}
        | ({"spreads": one["spreads"].ravel().tolist()})
        for one in cases
    ]
    found = run(joined("measure/lengths.js", "lengths") + PROGRAM, json.dumps(plain))
    problems: set[Problem] = set()
    for one, theirs in zip(cases, found, strict=True):
        ours = expected(one)
        if isinstance(ours, CannotMeasure):
            assert (theirs.get("problem"), theirs.get("said")) == (ours.problem.name, str(ours.problem)), one
            problems.add(ours.problem)
            continue
        value, numbers = ours
        assert theirs["value"] == pytest.approx(value, rel=1e-9), one
        assert np.array(theirs["numbers"]) == pytest.approx(numbers, rel=1e-9, abs=1e-9 * max(1.0, numbers[0])), one
    assert problems >= set(Problem) - {Problem.OFF_LINE}, "the cases must hold every problem"


def test_the_cross_ratio_is_the_same() -> None:
    places = np.random.default_rng(3).uniform(-100, 100, (50, 4))
    program = "process.stdout.write(JSON.stringify(JSON.parse(require('fs').readFileSync(0)).map(lengths.crossRatio)));"
    found = run(joined("measure/lengths.js", "lengths") + program, json.dumps(places.tolist()))
    assert found == pytest.approx([cross_ratio(one) for one in places], rel=1e-12)


def test_lengths_are_written_alike() -> None:
    chance = np.random.default_rng(5)
    values, spreads = 10 ** chance.uniform(-1, 3, 500), 10 ** chance.uniform(-4, 2, 500)
    pairs = [*zip(values.tolist(), spreads.tolist(), strict=True)]
    pairs += [(4.8, 0.0), (9.96, 0.0996), (9.94, 0.0994), (250.0, 100.0), (0.5, 1e-12)]
    program = (
        "process.stdout.write(JSON.stringify(JSON.parse(require('fs').readFileSync(0)).map(([v, s]) => spread.rounded(v, s))));"
    )
    found = run(joined("measure/spread.js", "spread") + program, json.dumps(pairs))
    assert found == [list(rounded(value, spread)) for value, spread in pairs]


LENGTHS = ["32 mm", "57.2 +- 0.1 mm", "1 1/4 in", '1.25"', "3 3/8 in +- 1/64 in", "8.5 cm", "12.70 mm", "4.8 ± 0.3 mm", " 5 mm "]
NO_LENGTHS = ["32", "", "five mm", "3 W", "1 mm +- 1 in", "-4 mm", "0 mm"]


def test_lengths_are_read_alike() -> None:
    program = "process.stdout.write(JSON.stringify(JSON.parse(require('fs').readFileSync(0)).map(known.lengthOf)));"
    found = run(joined("measure/known.js", "known") + program, json.dumps([*LENGTHS, *NO_LENGTHS]))
    for one, written in zip(found[: len(LENGTHS)], LENGTHS, strict=True):
        length = in_mm(written)
        assert (one["value"], one["spread"]) == (
            pytest.approx(length.value, rel=1e-12),
            pytest.approx(length.plus_minus, rel=1e-9),
        )
    assert found[len(LENGTHS) :] == [None] * len(NO_LENGTHS)
