"""The report in JavaScript is the one that `tellmark identify --json` prints; what is typed is read alike; words are the same."""

import json
import math
import shutil
import subprocess
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any, cast

import jsonschema
import numpy as np
import pytest
from numpy.random import SeedSequence
from tellmark.cli.screen import standing
from tellmark.identify.arrays import NOT_IN_THE_RECORD, Compiled
from tellmark.identify.compile import compile_entries
from tellmark.identify.history import origin, story
from tellmark.identify.questions import Question, whole, yes_no
from tellmark.identify.report import report
from tellmark.identify.session import Session
from tellmark.identify.start import answered
from tellmark.identify.units import draw
from tellmark.identify.wording import Words, confidence, lower_first, percent
from tellmark.kb.answers import read_all
from tellmark.kb.check import check
from tellmark.kb.findings import nearest
from tellmark.kb.load import Entries
from tellmark.kb.models import AnswersFile
from tellmark.kb.reading import Between, CannotTell, Gone, Measured, Reading, Seen, Typed
from tellmark.kb.values import Answer
from tellmark.kb.yaml_text import read
from tellmark.site_builder.joined import joined
from tellmark.site_builder.packed import packed
from tellmark.site_builder.packed_words import packed_words

NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(NODE is None, reason="no node here")

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
SCHEMA = json.loads((ROOT / "cli" / "schemas" / "identify.json").read_text("utf-8"))
MODULES = ("unpack", "session", "wording", "report", "history", "typed", "nearest", "written")
#: So many random knowledge bases, each with so many sessions; so many simulated units of each family.
BASES, EACH, UNITS = 100, 3, 3
#: Of all families together, each of so many sightings.
EVERY = 5
Plain = dict[str, Any]
Line = tuple[str, Any]


def in_node(lines: Iterable[Line], folder: Path) -> list[Any]:
    """What the page says to each line."""
    scripts = [joined(f"kernel/{module}.js", f"kernel{module.title()}") for module in MODULES]
    script = folder / "report.js"
    script.write_text("\n".join([*scripts, (HERE / "report_lines.js").read_text("utf-8")]), "utf-8")
    given = "\n".join(json.dumps(line, ensure_ascii=False, allow_nan=False) for line in lines)
    ran = subprocess.run([str(NODE), str(script)], input=given, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]
    return [json.loads(line) for line in ran.stdout.split("\n") if line]


def base(entries: Entries, compiled: Compiled) -> Line:
    return "base", {"packed": packed(compiled), "words": packed_words(entries, compiled)}


def reported(session: Session, words: Words) -> Plain:
    """The report as JSON has it, and the sentences that are made of it."""
    found = report(session, words)
    said = {
        "report": found,
        "standing": standing(session, words),
        "story": story(words, found, percent),
        "origins": [origin(words, found, one) for one in found["sets"]],
    }
    return json.loads(json.dumps(said))


def unlike(mine: Any, theirs: Any, where: str = "") -> Iterator[str]:
    """Where two plain values differ, the order of keys included."""
    pairs: list[tuple[Any, Any, Any]] = []
    if isinstance(mine, dict) and isinstance(theirs, dict):
        ours, others = cast("Plain", mine), cast("Plain", theirs)
        pairs = [(list(ours), list(others), "keys"), *((ours[key], others.get(key), key) for key in ours)]
    elif isinstance(mine, list) and isinstance(theirs, list):
        row, other = cast("list[Any]", mine), cast("list[Any]", theirs)
        pairs = [(len(row), len(other), "length"), *((one, two, i) for i, (one, two) in enumerate(zip(row, other, strict=False)))]
    elif mine != theirs or isinstance(mine, bool) != isinstance(theirs, bool):
        yield f"{where}: {mine!r} and {theirs!r}"
    for one, two, key in pairs:
        yield from unlike(one, two, f"{where}.{key}")


def all_alike(sessions: Sequence[tuple[Entries, Sequence[Session]]], random_sessions: ModuleType, folder: Path) -> list[Plain]:
    """The reports of these sessions, which must be the same in both languages."""
    lines: list[Line] = []
    expected: list[Plain | None] = []
    for entries, some in sessions:
        words = Words(entries, some[0].compiled)
        lines += [base(entries, some[0].compiled), *(("reported", random_sessions.plain_case(one)) for one in some)]
        expected += [None, *(reported(one, words) for one in some)]
    found = in_node(lines, folder)
    assert len(found) == len(expected)
    differences = [f"{n}{one}" for n, pair in enumerate(zip(expected, found, strict=True)) for one in unlike(*pair)]
    assert differences == []
    return [one["report"] for one in found if one is not None]


# Reports ---------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def entries() -> Entries:
    return check(ROOT / "entries")[0]


FAMILIES = [*sorted(path.name for path in (ROOT / "entries" / "families").iterdir() if path.is_dir()), None]


def seen_units(entries: Entries, family: str | None) -> list[tuple[Any, list[str] | None]]:
    """(answers, views) of the sightings of a family, and of the examples that name it; of all families, each of some."""
    sightings = sorted(entries.sightings.items())
    mine = [one for ident, one in sightings if family in (None, entries.home["sighting", ident])]
    found: list[tuple[Any, list[str] | None]] = [(one.answers, None) for one in (mine if family else mine[::EVERY])]
    for path in sorted((ROOT / "tests" / "examples").glob("*.yaml")):
        plain: Any = read(path.read_text("utf-8"), str(path))
        if plain.get("family") and family in (None, plain["family"]):
            file = AnswersFile.model_validate(plain)
            found.append((file.answers, file.views))
    return found


def simulated(compiled: Compiled, seed: int) -> Session:
    """A unit drawn from the record, with what one reads off it."""
    unit, rng = draw(compiled, SeedSequence(seed)), Random(seed)
    session = Session(compiled)
    for t in rng.sample(range(len(compiled.traits)), 6):
        trait = compiled.traits[t]
        if trait.measured:
            value = unit.read_value(t, carefully=True)
            reading: Reading = Gone() if value is None else Measured(round(value, 1), 0.1)
        elif trait.worn:
            text = unit.read_text(t)
            reading = Gone() if text is None else Typed(text)
        else:
            state = trait.states[unit.read_state(t)]
            reading = Gone() if trait.can_be_missing and state == "missing" else Seen(frozenset({state}))
        session = session.answer(t, reading)
    return session


def circumstances(session: Session, rng: Random, random_sessions: ModuleType) -> Iterator[Session]:
    """The answers in some views and for some target; then some of them only, with others that contradict, and second looks."""
    views = frozenset(rng.sample(range(len(session.compiled.views)), 3)) if session.views is None and rng.random() < 0.5 else None
    target = rng.choice(["variant", "set", "original", "all"])
    yield replace(session, views=session.views or views, target=target, ask=rng.choice(["yes-no", "any"]))
    other = replace(session, given=session.given[: rng.randint(0, len(session.given))], views=None)
    for _ in range(rng.randint(0, 3)):
        again = [one.trait for one in other.given] if rng.random() < 0.5 else []
        t = rng.choice(again or range(len(session.compiled.traits)))
        give = rng.choice([other.answer, other.again, other.tell])
        other = give(t, random_sessions.random_reading(session.compiled.traits[t], rng))
    yield other


@pytest.mark.parametrize("family", FAMILIES, ids=str)
def test_the_report_of_the_demonstration(
    family: str | None, entries: Entries, random_sessions: ModuleType, tmp_path: Path
) -> None:
    compiled, rng = compile_entries(entries, [family] if family else None), Random(str(family))
    sessions = [Session(compiled)]
    for n, (answers, views) in enumerate(seen_units(entries, family)):
        at_hand = None if views is None else frozenset(compiled.views.index(one) for one in views)
        session = answered(Session(compiled, views=at_hand), entries, family, answers)
        sessions += list(circumstances(session, rng, random_sessions))[: 1 + n % 2]
    sessions += [simulated(compiled, seed) for seed in range(UNITS)]
    found = all_alike([(entries, sessions)], random_sessions, tmp_path)
    for one in found[:: max(1, len(found) // 5)]:
        jsonschema.validate(one, SCHEMA, cls=jsonschema.Draft202012Validator)
    said = {key for one in found for key, value in one.items() if value}
    assert {"explanations", "explanation", "tell_apart", "next", "cannot_be_told_apart"} <= said


def test_the_report_of_random_knowledge_bases(random_kb: ModuleType, random_sessions: ModuleType, tmp_path: Path) -> None:
    bases: list[tuple[Entries, list[Session]]] = []
    for seed in range(10_000, 10_000 + BASES):
        entries: Entries = random_sessions.random_base(random_kb, seed)
        compiled, rng = compile_entries(entries), Random(seed)
        bases.append((entries, [random_sessions.random_session(compiled, rng) for _ in range(EACH)]))
    found = all_alike(bases, random_sessions, tmp_path)
    assert len(found) == BASES * EACH
    flips = [why["flip"] for one in found for why in one["explanation"] if why.get("flip")]
    assert {len(one["changes"]) for one in flips} == {1, 2, 3}
    assert {why["about"] for one in found for why in one["explanation"]} == {"variant", "set", "slot", "original"}
    for what in ("doubts", "look_again", "tell_apart", "views", "cannot_be_told_apart"):
        assert any(one[what] for one in found), f"some report must have {what}"


# Words -----------------------------------------------------------------------------------------------------------------


def questions(compiled: Compiled, t: int) -> list[Question]:
    """Every way to ask for a trait, another look included."""
    asked = yes_no(compiled, t)
    again = [replace(one, form="again") for one in asked[:2] if not compiled.traits[t].measured]
    return [*asked, whole(compiled, t), *again]


def readings(compiled: Compiled, t: int) -> list[Reading]:
    trait = compiled.traits[t]
    named = [state for state in trait.states if state != "missing"]
    if trait.measured:
        return [Measured(21.46, 0.25), Measured(1234567.0, 0.0), Between(-math.inf, 12.345678), Between(3.0, 5.0), Gone()]
    some = [Seen(frozenset(named[:k])) for k in (0, 1, 2, len(named) - 1)]
    return [*some, Typed("PRAIRIE M?"), Gone(), CannotTell()]


def said(words: Words, t: int) -> Plain:
    compiled = words.compiled
    return {
        "key": words.key(t),
        "name": words.trait(t),
        "view": words.view(t),
        "look": words.look(t),
        "unit": words.unit(t),
        "states": [words.state(t, state) for state in compiled.traits[t].states],
        "questions": [words.ask(one) for one in questions(compiled, t)],
        "readings": [[words.reading(t, one), words.plain(t, one)] for one in readings(compiled, t)],
    }


def ask_there(compiled: Compiled, random_sessions: ModuleType) -> Line:
    """The same, as a line for the page."""
    asked: list[Plain] = [
        {
            "trait": t,
            "questions": [[list(map(list, one.outcomes)), one.cut, one.form] for one in questions(compiled, t)],
            "readings": [random_sessions.plain_reading(one) for one in readings(compiled, t)],
        }
        for t in range(len(compiled.traits))
    ]
    return "said", asked


def test_words_of_traits(entries: Entries, random_kb: ModuleType, random_sessions: ModuleType, tmp_path: Path) -> None:
    some: list[tuple[Entries, Compiled]] = [
        (entries, compile_entries(entries, [family] if family else None)) for family in FAMILIES
    ]
    bases: list[Entries] = [random_sessions.random_base(random_kb, seed) for seed in range(40)]
    some += [(one, compile_entries(one)) for one in bases]
    lines = [line for one in some for line in (base(*one), ask_there(one[1], random_sessions))]
    expected = [[said(Words(*one), t) for t in range(len(one[1].traits))] for one in some]
    assert list(unlike(json.loads(json.dumps(expected)), in_node(lines, tmp_path)[1::2])) == []


def test_words_of_everything_else(entries: Entries, tmp_path: Path) -> None:
    compiled = compile_entries(entries)
    words = Words(entries, compiled)
    named = {
        "slots": [*(slot.id for slot in compiled.slots), "no-such-slot"],
        "parts": [*sorted({part for slot in compiled.slots for part in slot.parts}), "constructor"],
        "views": [*compiled.views, "no-such-view"],
        "variants": [*compiled.variants, NOT_IN_THE_RECORD],
    }
    assert in_node([base(entries, compiled), ("named", named)], tmp_path)[1] == [
        [words.slot(one) for one in named["slots"]],
        [words.part(one) for one in named["parts"]],
        [[words.view_name(one), words.where(one)] for one in named["views"]],
        [words.variant(one) for one in named["variants"]],
    ]


TEXTS = [
    *("A unit", "AB unit", "O gauge", "Öse", "ÄB", "ß", "", "a", "A", "I", "É long", "Éclair", "ǅ mixed", "aǅ", "𐐀 deseret"),
    *("Z\ufffd", "Z\U0001f600", "Z\U00010000", "Z\ue000", "z", "Zz", "10", "9", "É", "E\u0301"),
]


def test_texts_and_numbers_are_written_as_python_does(tmp_path: Path) -> None:
    rng = Random(3)
    numbers = [0.0, 0.5, 1.5, 2.5, 0.0625, 0.015625, 0.005, 0.995, 0.485, 1234.5]
    numbers += [99999.5, 1e-5, 1.2e-5, 123456789.0, 1e15, 9.9995]
    numbers += [rng.uniform(-1, 1) for _ in range(300)] + [rng.lognormvariate(0, 8) for _ in range(300)]
    numbers += [rng.randint(-100_000, 100_000) / 2 ** rng.randint(0, 20) for _ in range(300)]
    numbers += [round(rng.uniform(0, 1000), rng.randint(0, 8)) for _ in range(300)]
    shares: list[tuple[list[float], float]] = [
        ([0.96, 0.02], 0.95),
        ([0.7, 0.2], 0.95),
        ([0.5, 0.3], 0.95),
        ([0.5, 0.4], 0.95),
        ([0.0], 0.95),
        ([], 0.95),
    ]
    lines: list[Line] = [("written", numbers), ("sorted", TEXTS), ("lowered", TEXTS), ("confident", shares)]
    written, in_order, lowered, confident = in_node(lines, tmp_path)
    forms = [*(f"{{:.{digits}f}}" for digits in (0, 1, 3, 6, 12)), *(f"{{:.{digits}g}}" for digits in (2, 4, 5, 6))]
    expected = [[*(form.format(one) for form in forms), percent(one)] for one in numbers]
    assert list(unlike(expected, written)) == []
    assert in_order == sorted(TEXTS)
    assert lowered == [lower_first(one) for one in TEXTS]
    assert confident == [confidence(*one) for one in shares]


# What is typed ---------------------------------------------------------------------------------------------------------

#: Texts for measured values, and for states and parts; each must be read, or refused, in the same words.
MEASURES = [
    *("4.8 +- 0.3 mm", "4.8±0.3", "4.8 mm +- 0.03 cm", " 4.8 ", "4.8 +/- .3 mm", "13/16 in", '1 1/2"', "6 1/2 inches"),
    *("2″", "5e-1", "1.5e1 mm", "+7", "-3", "-1 1/2", ".5", "5.", "0", "00.10 cm", "7 V", "7 furlongs", "4,8", "4.8 +- x"),
    *("4.8 +- -1", "1/0", "mm", "", " ", "4.8 mm wide", "9" * 70, "1e12 mm", "3 MM", "4.8 +- 0.3 in", "4.8 mm +- 0.3"),
    *("1 2 mm", "0.3 +- 0", "nan", "inf"),
]
STATES = [
    *("painted", "Painted", "  painted  ", "PAINTED", "paintd", "decal", "stripe\tpainted", "missing", "cannot-tell", ""),
    *("cannot tell", "a\u0085b\u200b\U000e0001", "x" * 100, "\n", "\u00a0painted", "none", "unlisted", "constructor"),
    *("Nose door", "nose-dor", "twin-gaer"),
]
MARKINGS = [*STATES, "4241", "42?1", " PRAIRIE M?", "\ttext\n"]
KEYS = [
    *("nose-stripe", "nose-strpie", "cab-diesel-420/nose-stripe", "cab-diesel-420/nose-strip", "no-family/nose-stripe"),
    *("motor", "motor.gearing", "gearing", "release", "front-coupler.release", "tank-engine-70/gearing", "", "/", "a/b/c"),
    *("Motor", "body-length", "tank-engine-70/body-length", "number", "freight-car-310/number", "cab-diesel-420/load"),
    "freight-car-310/load",
]
NAMED: tuple[list[str], ...] = (["painted"], ["twin-gear", "none"], ["decla", "x"], [])
BOUNDS: list[Plain] = [
    *({"more_than": "4.5 mm"}, {"less_than": "0.2 in"}, {"more_than": "5", "less_than": "4 mm"}),
    *({"more_than": "4 mm", "less_than": "5 mm"}, {"more_than": "4 V"}, {"less_than": "much"}),
]
TYPED = {
    **dict.fromkeys(("number-height", "body-length", "unit-weight", "motor.field-resistance"), MEASURES),
    **dict.fromkeys(("nose-stripe", "motor.gearing", "motor", "front-coupler", "body-shape"), STATES),
    **dict.fromkeys(("road-name", "number"), MARKINGS),
}


def table(compiled: Compiled) -> list[tuple[str, Plain]]:
    """[(key, answer)]: good and bad texts for traits of every sort; keys of families that are not compiled are left out."""
    found: list[tuple[str, Plain]] = [(key, {"is": "missing"}) for key in KEYS]
    found += [(key, {"is": text}) for key, texts in TYPED.items() for text in texts]
    for key in ("nose-stripe", "motor", "number-height", "road-name"):
        found += [(key, {form: some}) for form in ("not", "one_of") for some in NAMED]
        found += [(key, bounds) for bounds in BOUNDS]
    for trait in compiled.traits[::5]:
        found += [(trait.id, {"is": f"{state[:-1]}q"}) for state in trait.states[:2]]
    strange = set(FAMILIES) - {*compiled.families}
    return [(key, answer) for key, answer in found if key.partition("/")[0] not in strange]


def read_there(words: Words, family: str | None, key: str, answer: Plain, random_sessions: ModuleType) -> Plain:
    """What Python reads; the answer is taken as it is, since a person may type what no file can hold."""
    form = Answer.model_construct(**{{"is": "is_", "not": "not_"}.get(name, name): value for name, value in answer.items()})
    found, problems = read_all(words.entries, family, {key: form})
    plain = [[words.compiled.trait(one.id, one.family), random_sessions.plain_reading(reading)] for one, reading in found]
    said = [[key, {"found": one.found, "expected": one.expected, "nearest": one.nearest}] for key, one in problems]
    return json.loads(json.dumps({"readings": plain, "problems": said}))


def plain_there(found: Plain) -> Plain:
    """What the page reads; states in order, and no bound where there is none."""
    for _, reading in found["readings"]:
        reading.update({name: sorted(value) if name == "states" else value for name, value in reading.items()})
        for bound in [name for name, value in reading.items() if value is None]:
            del reading[bound]
    return found


@pytest.mark.parametrize("family", ["cab-diesel-420", None], ids=str)
def test_what_is_typed_is_read_alike(family: str | None, entries: Entries, random_sessions: ModuleType, tmp_path: Path) -> None:
    words = Words(entries, compile_entries(entries, [family] if family else None))
    rows = table(words.compiled)
    lines: list[Line] = [base(entries, words.compiled), ("typed", [(family, *row) for row in rows])]
    found = [plain_there(one) for one in in_node(lines, tmp_path)[1]]
    expected = [read_there(words, family, *row, random_sessions) for row in rows]
    wrong = [f"{row} {one}" for row, mine, theirs in zip(rows, expected, found, strict=True) for one in unlike(mine, theirs)]
    assert wrong == []
    assert sum(bool(one["problems"]) for one in expected) > 100
    assert sum(bool(one["readings"]) for one in expected) > 80
    assert any(problem["nearest"] for one in expected for _, problem in one["problems"])


def test_the_nearest_name_is_that_of_difflib(entries: Entries, tmp_path: Path) -> None:
    rng = Random(11)
    names = [*entries.variants, *entries.parts, "", "a", "aa", "ab", "ba"]
    pairs: list[tuple[str, list[str]]] = []
    for _ in range(600):
        some, word = rng.sample(names, 12), list(rng.choice(names))
        for _ in range(rng.randint(0, 4)):
            at = rng.randint(0, len(word))
            word[at : at + rng.randint(0, 2)] = rng.choice(["", "x", "-", "a1", "é"])
        pairs.append(("".join(word) * rng.choice([1, 1, 1, 6]), some))
    found = in_node([("nearest", pairs)], tmp_path)[0]
    expected = [nearest(name, some) for name, some in pairs]
    assert found == expected
    assert 0.2 < np.mean([one is None for one in expected]) < 0.9
