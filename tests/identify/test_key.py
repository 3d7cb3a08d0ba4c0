"""The fixed key: every variant is in it, truthful answers end where it is, and it takes few steps more than the questioner."""

from collections.abc import Callable, Iterator
from functools import cache, partial
from itertools import pairwise, product
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.random import SeedSequence
from tellmark.identify.arrays import MISSING, Compiled
from tellmark.identify.compile import Assumed, compile_entries
from tellmark.identify.key import Key, Leaf, Sheet, Step, fixed_key, pocket_sheet
from tellmark.identify.session import Session
from tellmark.identify.trial import Questioner
from tellmark.identify.units import Unit, pick
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries

ENTRIES = Path(__file__).parents[2] / "entries"
FAMILIES = sorted(path.name for path in (ENTRIES / "families").iterdir())
#: As many steps as the questioner without mistakes, times this at most.
MOST = 1.1
DRAWS = 3
SEEDS = st.integers(0, 10_000)


@pytest.fixture(scope="module")
def record() -> Entries:
    return sound(ENTRIES)[0]


@pytest.fixture(scope="module")
def sheets(record: Entries) -> Callable[[str], tuple[Compiled, Sheet]]:
    """The arrays and the sheet of a family, made once."""

    def made(family: str) -> tuple[Compiled, Sheet]:
        compiled = compile_entries(record, [family])
        return compiled, pocket_sheet(compiled)

    return cache(made)


def walked(key: Key, answer: Callable[[Step], bool]) -> tuple[Leaf, int]:
    """(the leaf, the number of steps) of whoever answers a step so."""
    here, count = 0 if key.steps else -1, 0
    while here >= 0:
        here, count = key.steps[here].yes if answer(key.steps[here]) else key.steps[here].no, count + 1
    return key.leaves[~here], count


def issued(compiled: Compiled, candidate: int, seed: int) -> Unit:
    """A unit as it left the factory."""
    rng = np.random.default_rng(seed)
    rows = [int(slot.row[candidate]) for slot in compiled.slots]
    now = tuple(pick(rng, slot.issued[row]) if slot.parts else row for slot, row in zip(compiled.slots, rows, strict=True))
    return Unit(compiled, SeedSequence(seed), candidate, tuple(False for _ in now), now, now)


def says_yes(unit: Unit, step: Step) -> bool:
    """What somebody with the unit in hand answers to a step."""
    if step.cut is not None:
        value = unit.true_value(step.trait)
        return value is not None and value > step.cut
    return unit.compiled.traits[step.trait].states[unit.true_state(step.trait)] in step.states


def read_in(states: dict[int, str]) -> Callable[[Step], bool]:
    """Answers as these states of traits are."""
    return lambda step: states[step.trait] in step.states


def recorded(compiled: Compiled) -> list[int]:
    return [c for c in range(compiled.candidates) if compiled.variant[c] >= 0]


# The demonstration -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("family", FAMILIES)
def test_as_few_steps_as_the_questioner(record: Entries, family: str) -> None:
    """Both ask units as issued, read rightly, until they are as sure as the knowledge base asks; reading a number is a step."""
    compiled = compile_entries(record, [family], Assumed(mistakes=0.0, swaps=0.0))
    sheet, questioner = pocket_sheet(compiled), Questioner(Session(compiled))
    asked = [np.mean([len(questioner.ask_all(issued(compiled, c, d))[1]) for d in range(DRAWS)]) for c in recorded(compiled)]
    usual = float(np.average(asked, weights=compiled.prior[recorded(compiled)]))
    print(f"{family}: {sheet.mean_steps:.2f} steps, to the end {sheet.mean_to_the_end:.2f}; questioner {usual:.2f}")
    assert sheet.mean_steps <= MOST * usual


@pytest.mark.parametrize("family", FAMILIES)
def test_every_variant_has_a_place(record: Entries, sheets: Callable[[str], tuple[Compiled, Sheet]], family: str) -> None:
    compiled, sheet = sheets(family)
    assert places(sheet.otherwise) == set(range(len(compiled.variants)))
    if sheet.by_text:
        assert set[int]().union(*(places(key) for key in sheet.by_text.values())) == set(range(len(compiled.variants)))
    for key in [sheet.otherwise, *sheet.by_text.values()]:
        sound_tree(key)
    assert 0.5 < sheet.right <= 1 - record.about.not_in_the_record


def test_the_same_every_time(record: Entries, sheets: Callable[[str], tuple[Compiled, Sheet]]) -> None:
    assert pocket_sheet(compile_entries(record, ["power-pack-tx"])) == sheets("power-pack-tx")[1]


@pytest.mark.parametrize("family", FAMILIES)
def test_truthful_answers_of_the_demonstration(sheets: Callable[[str], tuple[Compiled, Sheet]], family: str) -> None:
    """Whatever is within the tolerance of a measured trait; a unit in a hundred is not."""
    compiled, sheet = sheets(family)
    for c, d in product(recorded(compiled), range(DRAWS)):
        unit = issued(compiled, c, 1000 * c + d)
        keys = [sheet.otherwise]
        if sheet.read is not None:
            keys.append(sheet.by_text[compiled.traits[sheet.read].states[unit.true_state(sheet.read)]])
        for key in keys:
            leaf, _ = walked(key, partial(says_yes, unit))
            assert int(compiled.variant[c]) in dict(leaf.shares), f"{compiled.label(c)} ends elsewhere"


def places(key: Key) -> set[int]:
    """The variants that some leaf holds."""
    return {v for leaf in key.leaves for v, _ in leaf.shares}


def sound_tree(key: Key) -> None:
    """Steps are numbered as they are come to, each leads on twice, every leaf and step is led to once."""
    led = [(step.yes, i) for i, step in enumerate(key.steps)] + [(step.no, i) for i, step in enumerate(key.steps)]
    assert sorted(to for to, _ in led) == sorted([*range(~len(key.leaves) + 1, 0), *range(1, len(key.steps))] if led else [])
    for to, back in led:
        assert (key.steps[to].back if to >= 0 else key.leaves[~to].back) == back
        assert to < 0 or to > back
    for i, step in enumerate(key.steps):
        assert step.yes < 0 or step.yes == i + 1, "a yes goes on with the step below"
    for leaf in key.leaves:
        shares = [share for _, share in leaf.shares]
        assert sum(shares) == pytest.approx(1.0)
        assert all(one >= other - 1e-9 for one, other in pairwise(shares)), "the likeliest first"


# Any record ------------------------------------------------------------------------------------------------------------


@given(seed=SEEDS)
@settings(max_examples=30, deadline=None)
def test_truthful_answers_end_where_the_variant_is(random_kb: ModuleType, seed: int) -> None:
    """Whatever a variant shows only sometimes, and whatever nobody recorded of it."""
    compiled = compile_entries(random_kb.random_entries(seed))
    key = fixed_key(compiled)
    sound_tree(key)
    assert places(key) == set(range(len(compiled.variants)))
    for c in recorded(compiled):
        for _, states in units(compiled, c, asked(key)):
            leaf, _ = walked(key, read_in(states))
            assert int(compiled.variant[c]) in dict(leaf.shares)


@given(seed=SEEDS)
@settings(max_examples=25, deadline=None)
def test_mean_steps_counted_one_by_one(random_kb: ModuleType, seed: int) -> None:
    """Every unit that can have left the factory goes through the key; the steps it takes, times how common it is."""
    compiled = compile_entries(random_kb.random_entries(seed))
    key = fixed_key(compiled)
    weight = {c: float(compiled.prior[c]) for c in recorded(compiled)}
    total, ends = 0.0, [0.0] * len(key.leaves)
    for c, common in weight.items():
        for chance, states in units(compiled, c, asked(key)):
            leaf, count = walked(key, read_in(states))
            total += common * chance * count
            ends[key.leaves.index(leaf)] += common * chance
    assert key.mean_to_the_end == pytest.approx(total / sum(weight.values()), abs=1e-9)
    assert sum(leaf.chance for leaf in key.leaves) == pytest.approx(1.0)
    assert [leaf.chance for leaf in key.leaves] == pytest.approx([end / sum(weight.values()) for end in ends], abs=1e-9)
    assert key.mean_steps <= key.mean_to_the_end + 1e-12


@given(seed=SEEDS)
@settings(max_examples=8, deadline=None)
def test_right_as_often_as_counted_one_by_one(random_kb: ModuleType, seed: int) -> None:
    """The same with all that was changed and misread since: how many are the leader of their leaf, or nothing tells from it."""
    compiled = compile_entries(random_kb.random_entries(seed, random_kb.Mix(most_variants=3, sets=False)))
    key, twins = fixed_key(compiled), Session(compiled).twins
    right = 0.0
    for c in recorded(compiled):
        for chance, states in units(compiled, c, asked(key), as_found=True):
            leader = compiled.variants[walked(key, read_in(states))[0].shares[0][0]]
            right += float(compiled.prior[c]) * chance * (compiled.label(c) in twins[leader])
    assert key.right == pytest.approx(right, abs=1e-9)


def asked(key: Key) -> list[int]:
    return sorted({step.trait for step in key.steps})


def units(compiled: Compiled, c: int, traits: list[int], as_found: bool = False) -> Iterator[tuple[float, dict[int, str]]]:
    """(chance, trait -> state read) of every unit of a candidate, counted out part by part and state by state."""
    slots = sorted({compiled.traits[t].slot for t in traits})
    for rows in product(*(sitting(compiled, s, int(compiled.slots[s].row[c]), as_found) for s in slots)):
        row = dict(zip(slots, (one for one, _ in rows), strict=True))
        tables = [
            (compiled.traits[t].table if as_found else compiled.traits[t].truth)[row[compiled.traits[t].slot]] for t in traits
        ]
        for states in product(*([k for k in range(len(table)) if table[k] > 0] for table in tables)):
            chance = float(np.prod([share for _, share in rows])) * float(
                np.prod([table[k] for table, k in zip(tables, states, strict=True)])
            )
            yield chance, {t: compiled.traits[t].states[k] for t, k in zip(traits, states, strict=True)}


def sitting(compiled: Compiled, s: int, row: int, as_found: bool) -> list[tuple[int, float]]:
    """(row or part, chance) of what sits in a slot."""
    slot = compiled.slots[s]
    if slot.parts:
        shares = slot.fitted[row] if as_found else slot.issued[row]
        return [(r, float(share)) for r, share in enumerate(shares) if share > 0]
    swap = float(slot.swap[row]) if as_found else 0.0
    return [(row, 1.0 - swap), *([(int(slot.redone[row]), swap)] if swap else [])]


# What is asked, and in which order --------------------------------------------------------------------------------------


def shelf(random_kb: ModuleType, traits: dict[str, Any], shows: list[dict[str, Any]]) -> Entries:
    """A record of variants v0, v1, ... that show this."""
    usual = {"view": "side", "slot": "body"}
    return random_kb.knowledge_base(
        traits={name: {"name": name, **usual, **one} for name, one in traits.items()},
        variants={f"v{number}": {"name": f"V{number}", "shows": one} for number, one in enumerate(shows)},
    )


def common(entries: Entries, shares: list[float]) -> Entries:
    """The record with v0, v1, ... as common as this."""
    for number, share in enumerate(shares):
        entries.variants[f"v{number}"] = entries.variants[f"v{number}"].model_copy(update={"how_common": share})
    return entries


COLORS: dict[str, dict[str, str]] = {"states": {"red": "Red", "green": "Green", "blue": "Blue", "gray": "Gray"}}
PAIR: list[dict[str, Any]] = [{"color": "red"}, {"color": "blue"}]
LENGTH = {"measured": {"unit": "mm", "least": 10, "most": 60}}


def test_without_variants_there_is_no_key(random_kb: ModuleType) -> None:
    assert fixed_key(compile_entries(shelf(random_kb, {"color": COLORS}, []))) == Key((), ())


def test_one_variant_needs_no_step(random_kb: ModuleType) -> None:
    key = fixed_key(compile_entries(shelf(random_kb, {"color": COLORS}, [{"color": "red"}])))
    assert key.steps == ()
    assert [leaf.shares for leaf in key.leaves] == [((0, 1.0),)]


def test_twins_end_together(random_kb: ModuleType) -> None:
    key = fixed_key(compile_entries(shelf(random_kb, {"color": COLORS}, [{"color": one} for one in ("red", "red", "blue")])))
    assert [sorted(dict(leaf.shares)) for leaf in key.leaves] == [[0, 1], [2]]


def test_a_question_may_name_two_states(random_kb: ModuleType) -> None:
    """Of four equally common colors the best question names two."""
    compiled = compile_entries(shelf(random_kb, {"color": COLORS}, [{"color": one} for one in COLORS["states"]]))
    key = fixed_key(compiled)
    assert (key.steps[0].states, key.steps[0].others) == (("red", "green"), ("blue", "gray"))
    assert key.mean_to_the_end == pytest.approx(2.0)


def test_a_measure_is_the_last_resort(random_kb: ModuleType) -> None:
    """The length alone would tell, and halves them better; the color is seen without a tool."""
    shows = [{"color": "red" if v == 0 else "blue", "length": f"{20 + 8 * v} +- 0.5 mm"} for v in range(4)]
    compiled = compile_entries(shelf(random_kb, {"length": LENGTH, "color": COLORS}, shows))
    key = fixed_key(compiled)
    assert key.steps[0].states == ("red",)
    assert [step.cut for step in key.steps[1:]] == [40, 32] or [step.cut for step in key.steps[1:]] == [32, 40]


def test_a_measure_near_the_cut_goes_on_along_both_branches(random_kb: ModuleType) -> None:
    shows = [{"length": "20 +- 0.5 mm"}, {"length": "30 +- 3.5 mm"}]
    compiled = compile_entries(shelf(random_kb, {"length": LENGTH}, shows))
    key = fixed_key(compiled)
    assert key.steps[0].cut == 25
    assert [sorted(dict(leaf.shares)) for leaf in key.leaves] == [[1], [0, 1]], "7 % of the second are shorter than 25 mm"


def test_the_easier_view_first(random_kb: ModuleType) -> None:
    traits = {"hidden": {"states": {"a": "A", "b": "B"}, "view": "below"}, "plain": {"states": {"a": "A", "b": "B"}}}
    shows = [{"hidden": "a", "plain": "a"}, {"hidden": "b", "plain": "b"}]
    compiled = compile_entries(shelf(random_kb, traits, shows))
    key = fixed_key(compiled)
    assert [compiled.traits[step.trait].id for step in key.steps] == ["plain"]


def test_unknown_and_sometimes_end_in_several_leaves(random_kb: ModuleType) -> None:
    shows = [{"color": "red"}, {"color": {"blue": "usual", "red": "rarely"}}, {}]
    key = fixed_key(compile_entries(shelf(random_kb, {"color": COLORS}, shows)))
    assert [sorted(dict(leaf.shares)) for leaf in key.leaves] == [[0, 1, 2], [1, 2]]


def test_a_number_is_read_first_and_those_without_one_on_record_stay(random_kb: ModuleType) -> None:
    colors = [*COLORS["states"]] * 2
    shows: list[dict[str, Any]] = [{"number": f"{40 + v}", "color": color} for v, color in enumerate(colors)]
    traits: dict[str, Any] = {"number": {"marking": {}}, "color": COLORS}
    compiled = compile_entries(common(shelf(random_kb, traits, [*shows, {"color": "red"}]), [*[1.0] * 8, 0.1]))
    sheet = pocket_sheet(compiled)
    assert sheet.read == compiled.trait("number")
    assert sheet.unrecorded == (8,)
    assert list(sheet.by_text) == [f"{40 + v}" for v in range(8)]
    assert all(8 in places(key) and not key.steps for key in sheet.by_text.values())
    assert sheet.mean_steps == pytest.approx(1.0)
    assert all(compiled.traits[step.trait].id == "color" for step in sheet.otherwise.steps), "whoever cannot read it is not asked"


def test_a_number_that_many_have_none_of_is_not_read_first(random_kb: ModuleType) -> None:
    """Whatever has none on record would be taken for something else."""
    shows: list[dict[str, Any]] = [{"number": f"{40 + v}", "color": color} for v, color in enumerate(COLORS["states"])]
    traits: dict[str, Any] = {"number": {"marking": {}}, "color": COLORS}
    assert pocket_sheet(compile_entries(shelf(random_kb, traits, shows))).read == 0
    assert pocket_sheet(compile_entries(shelf(random_kb, traits, [*shows, {"color": "red"}]))).read is None


@pytest.mark.parametrize("rare", [0.001, 0.0])
def test_a_rare_variant_has_a_leaf_of_its_own(random_kb: ModuleType, rare: float) -> None:
    """The questioner stops when a leader is sure enough; the key says so there, and goes on."""
    key = fixed_key(
        compile_entries(common(shelf(random_kb, {"color": COLORS}, [{"color": "red"}, {"color": "blue"}]), [1.0, rare]))
    )
    assert [sorted(dict(leaf.shares)) for leaf in key.leaves] == [[0], [1]]
    assert [step.likely for step in key.steps] == [(0,)]
    assert (key.mean_steps, key.mean_to_the_end) == (0.0, pytest.approx(1.0))


def test_a_record_of_nothing_but_what_never_was(random_kb: ModuleType) -> None:
    key = fixed_key(
        compile_entries(common(shelf(random_kb, {"color": COLORS}, [{"color": "red"}, {"color": "blue"}]), [0.0, 0.0]))
    )
    assert [sorted(dict(leaf.shares)) for leaf in key.leaves] == [[0], [1]]


def test_a_part_that_is_not_there_is_a_no(random_kb: ModuleType) -> None:
    entries = random_kb.knowledge_base(
        family={"slots": {"horn": {"name": "Horn", "type": "horn"}}},
        slot_types={"horn": {"traits": {"bells": {"name": "Bells", "view": "side", "states": {"one": "One", "two": "Two"}}}}},
        parts={
            ident: {"type": "horn", "shows": {"bells": ident}, "fits": {random_kb.FAMILY: ["horn"]}} for ident in ("one", "two")
        },
        variants={f"v{v}": {"name": "V", "fitted": {"horn": part}} for v, part in enumerate(("one", "two", "none"))},
    )
    compiled = compile_entries(entries)
    key = fixed_key(compiled)
    assert sorted(sorted(dict(leaf.shares)) for leaf in key.leaves) == [[0], [1], [2]]
    assert all(MISSING not in step.states for step in key.steps)
    assert any(MISSING in step.others for step in key.steps)
