"""Simulated units are what belief takes them for: every frequency of the draws is the probability that the kernel computes."""

from collections import Counter
from types import ModuleType

import numpy as np
import pytest
from numpy.random import SeedSequence
from numpy.typing import NDArray
from tellmark.identify.arrays import MISSING, Compiled
from tellmark.identify.belief import Evidence, believe, swapped
from tellmark.identify.compile import Assumed, compile_entries
from tellmark.identify.questions import Question, another_look, chance_of, outcome_rows, whole, yes_no
from tellmark.identify.trial import read_off
from tellmark.identify.units import Unit, draw
from tellmark.kb.reading import Between, Gone, Measured, Reading, Seen, Typed

#: Draws for each law; a frequency may be so many standard deviations off. At 4.5 one comparison in 150,000 fails by chance.
DRAWS, OFF = 400, 4.5
SEEDS = range(3)

MEASURED = {
    "height": {
        "name": "Height",
        "view": "side",
        "mistakes": 0.2,
        "measured": {"unit": "mm", "least": 0, "most": 40, "read_to": 0.5},
    },
    "plate": {"name": "Plate", "view": "side", "mistakes": 0.1, "marking": {"worn": 0.05}},
}


def units(compiled: Compiled, seed: int) -> list[Unit]:
    return [draw(compiled, one) for one in SeedSequence(seed).spawn(DRAWS)]


def off(counts: NDArray[np.int64], chances: NDArray[np.float64]) -> float:
    """How many standard deviations the frequencies are off at most; what cannot happen must not."""
    total = counts.sum()
    assert not counts[chances <= 1e-12].any()
    spread = np.sqrt(np.maximum(total * chances * (1 - chances), 1.0))
    return float(np.max(np.abs(counts - total * chances) / spread))


def chances(compiled: Compiled, question: Question, evidence: tuple[Evidence, ...] = ()) -> NDArray[np.float64]:
    """P(outcome) of a question over the prior, given what was answered before."""
    belief = believe(compiled, evidence)
    before = next((one for one in evidence if one.trait == question.trait), None)
    s = compiled.traits[question.trait].slot
    rows = chance_of(compiled, belief, s, outcome_rows(compiled.traits[question.trait], question, before))
    return belief.probability @ rows[compiled.slots[s].row]


def outcome(compiled: Compiled, question: Question, reading: Reading) -> int:
    """Which outcome of the question an answer is."""
    trait = compiled.traits[question.trait]
    if isinstance(reading, Measured):
        return int(np.searchsorted(trait.cuts, reading.value))
    if isinstance(reading, Between):
        return int(reading.high < np.inf)
    if isinstance(reading, Gone):
        return len(question.outcomes) if trait.measured else question.outcomes.index((trait.states.index(MISSING),))
    assert isinstance(reading, Seen)
    return question.outcomes.index(tuple(k for k, state in enumerate(trait.states) if state in reading.states))


@pytest.mark.parametrize("seed", SEEDS)
def test_candidates_changes_and_parts(seed: int, random_kb: ModuleType) -> None:
    compiled = compile_entries(random_kb.random_entries(seed))
    drawn = units(compiled, seed)
    assert off(np.bincount([one.candidate for one in drawn], minlength=compiled.candidates), compiled.prior) < OFF
    for s, slot in enumerate(compiled.slots):
        weight = np.bincount(slot.row, weights=compiled.prior, minlength=len(slot.swap))
        share = float(weight @ slot.swap)
        changed = sum(one.swapped[s] for one in drawn)
        assert off(np.array([changed, DRAWS - changed]), np.array([share, 1 - share])) < OFF
        if slot.parts:
            there = np.bincount([one.now[s] for one in drawn], minlength=len(slot.parts))
            assert off(there, weight @ slot.fitted) < OFF


@pytest.mark.parametrize("seed", SEEDS)
def test_answers_to_every_question(seed: int, random_kb: ModuleType) -> None:
    compiled = compile_entries(random_kb.random_entries(seed))
    drawn = units(compiled, seed)
    for t in range(len(compiled.traits)):
        question = yes_no(compiled, t)[0] if t % 2 else whole(compiled, t)
        said = [outcome(compiled, question, read_off(one, question)) for one in drawn]
        expected = chances(compiled, question)
        assert off(np.bincount(said, minlength=len(expected)), expected) < OFF, compiled.traits[t].id


@pytest.mark.parametrize("seed", SEEDS)
def test_two_traits_of_one_part_and_its_change(seed: int, random_kb: ModuleType) -> None:
    """What one trait shows tells of another trait of the same slot, and of a change, just as much as belief says."""
    compiled = compile_entries(random_kb.random_entries(seed))
    drawn = units(compiled, seed)
    for s, slot in enumerate(compiled.slots):
        traits = [t for t, trait in enumerate(compiled.traits) if trait.slot == s]
        if len(traits) < 2:
            continue
        first, *others = traits
        trait = compiled.traits[first]
        read = np.array([one.read_state(first) for one in drawn])
        for k in range(len(trait.states)):
            mine = [one for one, state in zip(drawn, read, strict=True) if state == k]
            evidence = (Evidence(first, weights=np.eye(len(trait.states))[k]),)
            belief = believe(compiled, evidence)
            if len(mine) < DRAWS / 10:
                continue
            found = swapped(slot, belief.evidence[s], belief.factor[s])
            share = float(belief.probability @ found[slot.row])
            changed = sum(one.swapped[s] for one in mine)
            assert off(np.array([changed, len(mine) - changed]), np.array([share, 1 - share])) < OFF
            for t in others:
                counts = np.bincount([one.read_state(t) for one in mine], minlength=len(compiled.traits[t].states))
                assert off(counts, chances(compiled, whole(compiled, t), evidence)) < OFF


@pytest.mark.parametrize("seed", SEEDS)
def test_second_look(seed: int, random_kb: ModuleType) -> None:
    """The same thing is looked at, and the mistakes are made anew."""
    compiled = compile_entries(random_kb.random_entries(seed))
    drawn = units(compiled, seed)
    for t, trait in enumerate(compiled.traits):
        read = [one.read_state(t) for one in drawn]
        k = Counter(read).most_common(1)[0][0]
        evidence = Evidence(t, weights=np.eye(len(trait.states))[k])
        question = another_look(compiled, evidence)
        assert question is not None
        mine = [one for one, state in zip(drawn, read, strict=True) if state == k]
        said = [outcome(compiled, question, read_off(one, question, 1)) for one in mine]
        expected = chances(compiled, question, (evidence,))
        assert off(np.bincount(said, minlength=len(expected)), expected) < OFF, trait.id


def measuring(random_kb: ModuleType, assumed: Assumed) -> Compiled:
    """Four variants: a height, a wide one, none recorded; markings; a part with a value, and one that says nothing."""
    entries = random_kb.knowledge_base(
        about={"blunders": 0.1, "not_in_the_record": 0.2},
        family={"slots": {"wheels": {"name": "Wheels", "type": "wheel", "swapped": 0.4}}, "traits": MEASURED},
        variants={
            "a": {"shows": {"height": "10 +- 1 mm", "plate": "4241"}, "fitted": {"wheels": "disc"}},
            "b": {
                "shows": {"height": "14 +- 3 mm", "plate": {"4261": "usual", "88": "sometimes"}},
                "fitted": {"wheels": "plain"},
            },
            "c": {"shows": {"plate": "512"}, "fitted": {"wheels": "disc"}},
            "d": {"shows": {"height": "30 +- 0.2 mm"}},
        },
        slot_types={"wheel": {"traits": {"width": MEASURED["height"] | {"slot": "body"}}}},
        parts={
            "disc": {"type": "wheel", "fits": {"railcar": ["wheels"]}, "shows": {"width": "8 +- 1 mm"}},
            "plain": {"type": "wheel", "fits": {"railcar": ["wheels"]}, "shows": {"width": "12 +- 1 mm"}},
            "odd": {"type": "wheel", "fits": {"railcar": ["wheels"]}},
        },
    )
    return compile_entries(entries, assumed=assumed)


ASSUMED = {"as recorded": Assumed(), "no mistakes": Assumed(0.0), "many": Assumed(0.3, 0.5), "no swaps": Assumed(swaps=0.0)}


@pytest.mark.parametrize("assumed", ASSUMED.values(), ids=ASSUMED)
@pytest.mark.parametrize("name", ["height", "wheels.width"])
def test_measured(name: str, assumed: Assumed, random_kb: ModuleType) -> None:
    compiled = measuring(random_kb, assumed)
    t = next(t for t, trait in enumerate(compiled.traits) if trait.id == name)
    drawn = units(compiled, 3)
    for question in [*yes_no(compiled, t)[:1], whole(compiled, t)]:
        said = [outcome(compiled, question, read_off(one, question)) for one in drawn]
        expected = chances(compiled, question)
        assert off(np.bincount(said, minlength=len(expected)), expected) < OFF
    # between the cuts: the whole distribution of one row, by its mean and spread
    mine = [value for one in drawn if one.candidate == 0 and (value := one.true_value(t)) is not None and not one.swapped[-1]]
    trait = compiled.traits[t]
    row = int(compiled.slots[trait.slot].row[0]) if name == "height" else compiled.slots[trait.slot].parts.index("disc")
    assert abs(np.mean(mine) - trait.mean[row]) < OFF * trait.sd[row] / np.sqrt(len(mine))


@pytest.mark.parametrize("assumed", ASSUMED.values(), ids=ASSUMED)
def test_markings(assumed: Assumed, random_kb: ModuleType) -> None:
    """A recorded text comes out clean as often as none of its characters is misread, and a new one on units not in the record."""
    compiled = measuring(random_kb, assumed)
    t = next(t for t, trait in enumerate(compiled.traits) if trait.id == "plate")
    trait, question = compiled.traits[t], whole(compiled, t)
    drawn = [one for one in units(compiled, 4) if one.candidate == 0]
    said = [read_off(one, question) for one in drawn]
    clean = (1 - trait.worn + trait.worn / 36) ** len("4241")
    right = sum(isinstance(one, Typed) and one.text == "4241" for one in said)
    assert off(np.array([right, len(said) - right]), np.array([clean, 1 - clean])) < OFF
    if assumed.mistakes is not None:
        assert 1 - (1 - trait.worn) ** 4 == pytest.approx(assumed.mistakes, rel=0.2, abs=1e-9)
    new = [read_off(one, question) for one in units(compiled, 5) if compiled.variant[one.candidate] < 0]
    unheard = sum(isinstance(one, Typed) and one.text not in trait.states for one in new)
    assert unheard >= 0.05 * len(new)


def test_same_unit_whatever_is_asked(random_kb: ModuleType) -> None:
    """The reading of one look is one reading: it does not depend on what was asked before."""
    compiled = compile_entries(random_kb.random_entries(1))
    seed = SeedSequence(9)
    forth = draw(compiled, seed)
    back = draw(compiled, seed)
    traits = range(len(compiled.traits))
    first = {t: forth.read_state(t) for t in traits}
    assert {t: back.read_state(t) for t in reversed(traits)} == first
    assert [forth.read_state(t, 1) for t in traits] == [back.read_state(t, 1) for t in traits]


def test_rates_are_replaced_where_there_are_any(random_kb: ModuleType) -> None:
    entries = random_kb.random_entries(0)
    own, supposed = compile_entries(entries), compile_entries(entries, assumed=Assumed(0.25, 0.5))
    for before, after in zip(own.slots, supposed.slots, strict=True):
        assert np.array_equal(after.swap, np.where(before.swap > 0, 0.5, 0.0))
    for trait in supposed.traits:
        if not trait.can_be_missing:
            assert np.allclose(np.diag(trait.confusion), 0.75)
        assert trait.blunders == 0.25
    none = compile_entries(entries, assumed=Assumed(0.0, 0.0))
    assert all(np.array_equal(trait.confusion, np.eye(len(trait.states))) for trait in none.traits)
