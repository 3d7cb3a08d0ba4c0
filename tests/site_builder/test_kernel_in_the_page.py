"""The kernel in JavaScript says what the one in numpy says: belief, news, the next question, what is settled and doubted."""

import json
import math
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any, cast, get_args

import numpy as np
import pytest
from numpy.random import SeedSequence
from tellmark.identify.arrays import Compiled, Floats
from tellmark.identify.compile import compile_entries
from tellmark.identify.doubts import told_wrong
from tellmark.identify.part_compile import compile_parts
from tellmark.identify.questions import Question
from tellmark.identify.session import Proposal, Session, Target
from tellmark.identify.trial import read_off
from tellmark.identify.units import draw
from tellmark.kb.check import check
from tellmark.kb.reading import CannotTell, Reading
from tellmark.site_builder.joined import joined
from tellmark.site_builder.packed import LETTERS, letters, packed

NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(NODE is None, reason="no node here")

HERE = Path(__file__).parent
ENTRIES = HERE.parents[1] / "entries"
#: So many knowledge bases, each with so many sets of answers.
BASES, EACH = 500, 20
#: And knowledge bases where the plan turns on what is rare: answers of one part that leave each other open; a marking of parts
#: that nobody recorded.
TELLING = (5079, 6483)
#: Units that are questioned to the end: of the demonstration as a whole, and of each of its families.
UNITS, OF_A_FAMILY = 30, 9
CLOSE = 1e-9
Plain = dict[str, Any]


def in_node(lines: Sequence[Plain], folder: Path) -> Iterator[Plain]:
    """What the kernel of the page makes of these knowledge bases and answers."""
    modules = {"kernelUnpack": "unpack", "kernelSession": "session", "kernelDoubts": "doubts"}
    scripts = [joined(f"kernel/{module}.js", name) for name, module in modules.items()]
    script = folder / "kernel.js"
    script.write_text("\n".join([*scripts, (HERE / "kernel_lines.js").read_text("utf-8")]), "utf-8")
    given = "\n".join(json.dumps(line, ensure_ascii=False, allow_nan=False) for line in lines)
    ran = subprocess.run([str(NODE), str(script)], input=given, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]
    return map(json.loads, ran.stdout.splitlines())


# What both say, as plain values --------------------------------------------------------------------------------------------


def plain_question(one: Question) -> list[Any]:
    return [one.trait, [list(outcome) for outcome in one.outcomes], one.cut, one.form]


def plain_proposal(one: Proposal | None) -> list[Any] | None:
    return None if one is None else [plain_question(one.question), one.bits, one.effort]


def found(session: Session, everything: bool) -> Plain:
    belief = session.belief
    first: Plain = {
        "probability": belief.probability.tolist(),
        "factor": [one.tolist() for one in belief.factor],
        "plausible": belief.plausible,
        "open": session.open_traits,
        "questions": [plain_question(one) for one in session.questions],
        "news": news_of(session),
        "settled": session.settled,
        "doubts": [[one.trait, one.look, one.chance, one.usual, one.looks_wrong] for one in session.doubts],
    }
    return first | rest(session) if everything else first


def news_of(session: Session) -> list[float]:
    return session._news(session.questions).tolist()  # pyright: ignore[reportPrivateUsage]


def rest(session: Session) -> Plain:
    return {
        "proposals": [plain_proposal(one) for one in session.proposals],
        "next": plain_proposal(session.next),
        "lookAgain": plain_proposal(session.look_again),
        "toAsk": plain_proposal(session.to_ask),
        "doubtfulSwap": plain_proposal(session.doubtful_swap),
        "secondLooks": [plain_proposal(one) for one in session.second_looks],
        "variants": [list(one) for one in session.variants],
        "positions": [list(one) for one in session.positions],
        "origins": [list(one) for one in session.origins.items()],
        "leading": [*session.leading],
        "inseparable": session.inseparable,
        "wantedViews": session.wanted_views,
        "twins": session.twins,
        "toldWrong": [told_wrong(session.compiled, session.belief, one) for one in session.evidence],
    }


def differences(mine: object, theirs: object, where: str, close: float = CLOSE) -> list[str]:
    """Where two plain values differ, with what stands there; null is what is not a number."""
    if isinstance(mine, dict) and isinstance(theirs, dict):
        ours, others = cast("Plain", mine), cast("Plain", theirs)
        if ours.keys() != others.keys():
            return [f"{where}: {sorted(ours.keys() ^ others.keys())}"]
        return [one for key in ours for one in differences(ours[key], others[key], f"{where}.{key}", close)]
    if isinstance(mine, list) and isinstance(theirs, list):
        row, other = cast("list[object]", mine), cast("list[object]", theirs)
        if len(row) != len(other):
            return [f"{where}: {row} and {other}"]
        pairs = enumerate(zip(row, other, strict=True))
        return [one for i, pair in pairs for one in differences(*pair, f"{where}[{i}]", close)]
    if isinstance(mine, float) and isinstance(theirs, int | float):
        same = mine == theirs or abs(mine - theirs) <= close
    else:
        same = mine == theirs or (isinstance(mine, float) and math.isnan(mine) and theirs is None)
    return [] if same else [f"{where}: {mine} and {theirs}"]


def camel(name: str) -> str:
    first, *others = name.split("_")
    return {"new": "isNew"}.get(name, first + "".join(one.title() for one in others))


def plain_array(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return cast("Floats", value).tolist()
    if isinstance(value, tuple):
        return list(cast("tuple[object, ...]", value))
    return dict(cast("Mapping[str, float]", value)) if isinstance(value, Mapping) else value


def plain_arrays(compiled: Compiled) -> Plain:
    def record(one: Any, *more: str) -> Plain:
        names = [*(field.name for field in fields(one)), *more]
        return {camel(name): plain_array(getattr(one, name)) for name in names if name not in ("slots", "traits")}

    empty: list[float] = []
    slots: list[Plain] = []
    for slot in compiled.slots:
        slots.append(record(slot, "redone_alike") | {"fitted": slot.fitted.tolist() if slot.parts else empty})
    traits: list[Plain] = []
    for trait in compiled.traits:
        traits.append(record(trait, "measured") | ({"confusion": empty} if trait.measured else {}))
    return record(compiled) | {"slots": slots, "traits": traits}


# Random knowledge bases ----------------------------------------------------------------------------------------------------


def test_random_knowledge_bases_say_the_same_in_both_languages(
    random_kb: ModuleType, random_sessions: ModuleType, tmp_path: Path
) -> None:
    lines: list[Plain] = []
    expected: list[list[Plain]] = []
    for seed in [*range(BASES), *TELLING]:
        compiled = compile_entries(random_sessions.random_base(random_kb, seed))
        rng = Random(-1 - seed)
        sessions = [random_sessions.random_session(compiled, rng) for _ in range(EACH)]
        cases = [random_sessions.plain_case(one) | {"all": True} for one in sessions]
        lines.append({"packed": packed(compiled), "cases": cases})
        expected.append([found(one, everything=True) for one in sessions])
    there = [one["results"] for one in in_node(lines, tmp_path)]
    assert differences(expected, there, "base") == []
    assert sum(map(len, expected)) >= 10_000
    assert covered(lines) == dict.fromkeys(COVERED, True), "everything that may occur must occur"


COVERED = (
    "values",
    "markings",
    "markings that nobody recorded",
    "missing",
    "families",
    "second looks",
    "told",
    "views",
    "every target",
    "every kind of reading",
)


def covered(lines: Sequence[Plain]) -> dict[str, bool]:
    """Whether the cases have what they are meant to have."""
    cases = [case for line in lines for case in line["cases"]]
    traits = [trait for line in lines for trait in line["packed"]["traits"]]
    readings = [one["reading"]["kind"] for case in cases for one in case["given"]]
    has = (
        any("cuts" in trait for trait in traits),
        any("worn" in trait for trait in traits),
        any("worn" in trait and "states" not in trait for trait in traits),
        any(trait.get("canBeMissing") for trait in traits),
        any(len(line["packed"]["families"]) > 1 for line in lines),
        any(one["look"] for case in cases for one in case["given"]),
        any(case["heard"] for case in cases),
        any(case["views"] for case in cases),
        {case["target"] for case in cases} == set(get_args(Target)),
        len(set(readings)) == len(get_args(Reading)),
    )
    return dict(zip(COVERED, has, strict=True))


# The demonstration ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demonstration() -> dict[str, Compiled]:
    """The arrays of all families together, of each family, and of all loose parts."""
    entries, findings = check(ENTRIES)
    assert not findings
    families = {family: compile_entries(entries, [family]) for family in entries.families}
    return {"all families": compile_entries(entries), "loose parts": compile_parts(entries), **families}


def questioned(start: Session, seed: int) -> list[Session]:
    """A drawn unit, question by question: the session before every one, and at the end."""
    unit = draw(start.compiled, SeedSequence(seed))
    sessions = [start]
    while (asked := sessions[-1].to_ask) and len(sessions) < 40:
        look = sessions[-1].look_of(asked.question)
        unclear = (seed + len(sessions)) % 17 == 0
        reading = CannotTell() if unclear else read_off(unit, asked.question, look)
        sessions.append(sessions[-1].reply(asked.question, reading))
    return sessions


def test_units_of_the_demonstration_are_asked_the_same_questions(
    random_sessions: ModuleType, demonstration: dict[str, Compiled], tmp_path: Path
) -> None:
    lines: list[Plain] = []
    expected: list[list[Plain]] = []
    for name, compiled in demonstration.items():
        sessions: list[tuple[Session, bool]] = []
        for seed in range(UNITS if name == "all families" else OF_A_FAMILY):
            target = get_args(Target)[seed % 4] if seed % 3 == 0 and compiled.sets else "variant"
            mine = questioned(Session(compiled, target=target, ask="any" if seed % 2 else "yes-no"), seed)
            sessions += [(one, one is mine[-1]) for one in mine]
        lines.append(
            {
                "packed": packed(compiled),
                "cases": [random_sessions.plain_case(one) | {"all": last} | {"asked": True} for one, last in sessions],
            }
        )
        expected.append([{**found(one, last), "toAsk": plain_proposal(one.to_ask)} for one, last in sessions])
    there = [one["results"] for one in in_node(lines, tmp_path)]
    assert differences(expected, there, "demonstration") == []
    assert sum(map(len, expected)) > 500


# Packing -------------------------------------------------------------------------------------------------------------------


def test_arrays_come_out_as_they_were_packed(
    random_kb: ModuleType, random_sessions: ModuleType, demonstration: dict[str, Compiled], tmp_path: Path
) -> None:
    bases = [*demonstration.values(), *(compile_entries(random_sessions.random_base(random_kb, seed)) for seed in range(60))]
    there = in_node([{"packed": packed(one), "cases": [], "whole": True} for one in bases], tmp_path)
    expected = [plain_arrays(one) for one in bases]
    assert differences(expected, [one["arrays"] for one in there], "arrays", close=1e-12) == []


@pytest.mark.parametrize(
    "numbers",
    [list(range(3000)), [LETTERS - 1, 0, 56, 57, 90, 91, 92, 93], [LETTERS, 3], []],
    ids=["many", "edges of the letters", "too large for a letter", "none"],
)
def test_whole_numbers_come_out_of_their_letters(numbers: list[int], tmp_path: Path) -> None:
    text = letters(numbers)
    assert isinstance(text, list) == (LETTERS in numbers)
    script = tmp_path / "letters.js"
    told = f"console.log(JSON.stringify([...kernel.numbers({json.dumps(text, ensure_ascii=False)})]));"
    script.write_text(joined("kernel/unpack.js", "kernel") + told, "utf-8")
    ran = subprocess.run([str(NODE), str(script)], capture_output=True, text=True, check=True)
    assert json.loads(ran.stdout) == numbers


def test_letters_need_no_escape_in_json() -> None:
    text = letters(range(LETTERS))
    assert isinstance(text, str)
    assert json.dumps(text, ensure_ascii=False) == f'"{text}"'


@pytest.mark.parametrize(
    ("field", "message"), [("variant", "sorted by variant"), ("row", "the rows of the slot body")], ids=["candidates", "own rows"]
)
def test_arrays_in_another_order_are_refused(
    random_kb: ModuleType, random_sessions: ModuleType, field: str, message: str
) -> None:
    compiled = compile_entries(random_sessions.random_base(random_kb, 1))
    if field == "variant":
        other = replace(compiled, variant=compiled.variant[::-1].copy())
    else:
        slots = [replace(one, row=one.row[::-1].copy()) if one.id == "body" else one for one in compiled.slots]
        other = replace(compiled, slots=tuple(slots))
    with pytest.raises(ValueError, match=message):
        packed(other)
