"""Which answer looks wrong: against plain enumeration, and by laws."""

from collections.abc import Callable, Iterator
from itertools import product
from random import Random
from statistics import NormalDist
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tellmark.identify.belief import NEW_VALUE
from tellmark.identify.doubts import LOOKS_WRONG, Doubt, doubts, rows_now
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.reading import Between, Gone, Measured, Reading, Seen, Typed
from tellmark.kb.values import Answer

seeds = st.integers(0, 10**6)
laws = settings(max_examples=40, deadline=None, derandomize=True)


def seen(*states: str) -> Seen:
    return Seen(frozenset(states))


def found(session: Session) -> list[Doubt]:
    return doubts(session.compiled, session.belief, session.evidence)


def by_trait(session: Session) -> dict[str, float]:
    return {session.compiled.traits[one.trait].id: one.chance for one in found(session)}


# Enumeration -----------------------------------------------------------------------------------------------------------


def worlds(session: Session, c: int, s: int) -> Iterator[tuple[float, int]]:
    """(chance, row or part there now) of slot s for candidate c, its answers left aside."""
    slot = session.compiled.slots[s]
    row, swap = int(slot.row[c]), float(slot.swap[slot.row[c]])
    if not slot.parts:
        yield from ((1 - swap, row), (swap, int(slot.redone[row])))
        return
    for part in range(len(slot.parts)):
        yield (1 - swap) * float(slot.issued[row, part]) + swap * float(slot.replaced[row, part]), part


def enumerated(session: Session) -> list[float]:
    """For every look of every answer: the share of all worlds, true states included, in which it names what is not there."""
    compiled = session.compiled
    looks: dict[int, list[list[float]]] = {}
    for one in session.evidence:
        assert one.weights is not None
        looks[one.trait] = [one.weights.tolist(), *(look.tolist() for look in one.again)]
    keys = [(t, n) for t in looks for n in range(len(looks[t]))]
    total, wrong = 0.0, dict.fromkeys(keys, 0.0)
    for c in range(compiled.candidates):
        chance_c, wrong_c = float(compiled.prior[c]), dict[tuple[int, int], float]()
        for s in range(len(compiled.slots)):
            mine = [t for t in looks if compiled.traits[t].slot == s]
            here, missed = 0.0, dict.fromkeys([key for key in keys if key[0] in mine], 0.0)
            for chance, row in worlds(session, c, s):
                for true in product(*(range(len(compiled.traits[t].states)) for t in mine)):
                    weight = chance
                    for t, k in zip(mine, true, strict=True):
                        weight *= compiled.traits[t].truth[row, k]
                        for look in looks[t]:
                            weight *= sum(float(compiled.traits[t].confusion[k, j]) * look[j] for j in range(len(look)))
                    here += weight
                    for t, k in zip(mine, true, strict=True):
                        for n, look in enumerate(looks[t]):
                            missed[t, n] += 0.0 if look[k] else weight
            # Of the worlds of the slots before, each now has these; of those missed here, each has those of the others.
            wrong_c = {key: some * here for key, some in wrong_c.items()}
            wrong_c |= {key: chance_c * some for key, some in missed.items()}
            chance_c *= here
        total += chance_c
        for key, some in wrong_c.items():
            wrong[key] += some
    return [wrong[key] / total for key in keys]


@pytest.mark.parametrize("batch", range(4))
def test_doubts_are_as_enumerated(batch: int, random_kb: ModuleType) -> None:
    checked = 0
    for seed in range(batch * 25, (batch + 1) * 25):
        entries, rng = random_kb.random_entries(seed), Random(seed)
        session = answered(start(entries), entries, random_kb.FAMILY, random_kb.random_answers(entries, seed))
        for one in session.evidence:
            states = [state for state in session.compiled.traits[one.trait].states if state != "missing"]
            if rng.random() < 0.5:
                session = session.again(one.trait, seen(rng.choice(states)))
        if session.belief.plausible and all(one.weights is not None and one.weights.any() for one in session.evidence):
            assert [one.chance for one in found(session)] == pytest.approx(enumerated(session), abs=1e-9), seed
            checked += len(session.evidence)
    assert checked > 20


@laws
@given(seeds)
def test_what_a_slot_shows_now_sums_to_one(random_kb: ModuleType, seed: int) -> None:
    entries = random_kb.random_entries(seed)
    session = answered(start(entries), entries, random_kb.FAMILY, random_kb.random_answers(entries, seed))
    assume(session.belief.plausible)
    for s, slot in enumerate(session.compiled.slots):
        assert rows_now(slot, session.belief, s).sum() == pytest.approx(1, abs=1e-12)


# Measured values -------------------------------------------------------------------------------------------------------

BLUNDERS, LEAST, MOST = 0.02, 50.0, 350.0


@pytest.fixture
def lengths(random_kb: ModuleType) -> Session:
    """Two variants, 100 and 200 mm long; nothing is ever changed."""
    length = {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": LEAST, "most": MOST}}
    return start(
        random_kb.knowledge_base(
            about={"blunders": BLUNDERS, "not_in_the_record": 0.1},
            traits={"length": length},
            variants={"short": {"shows": {"length": "100 +- 2 mm"}}, "long": {"shows": {"length": "200 +- 2 mm"}}},
        )
    )


MEASURES: list[tuple[str, Reading, Callable[[float], tuple[float, float]]]] = [
    # By hand, with the areas and densities of the standard library: (chance, chance of a blunder) at one variant.
    (
        "a value near the record",
        Measured(101.0, 1.0),
        lambda mean: (
            (1 - BLUNDERS) * NormalDist(mean, 5**0.5).pdf(101) + BLUNDERS / 300,
            BLUNDERS / 300,
        ),
    ),
    (
        "a value nowhere near",
        Measured(150.0, 1.0),
        lambda mean: ((1 - BLUNDERS) * NormalDist(mean, 5**0.5).pdf(150) + BLUNDERS / 300, BLUNDERS / 300),
    ),
    (
        "more than a bound",
        Between(150.0, float("inf")),
        lambda mean: (
            (1 - BLUNDERS) * (1 - NormalDist(mean, 2).cdf(150)) + BLUNDERS * 2 / 3,
            BLUNDERS * 2 / 3 * NormalDist(mean, 2).cdf(150),
        ),
    ),
]


@pytest.mark.parametrize(("reading", "chances"), [case[1:] for case in MEASURES], ids=[case[0] for case in MEASURES])
def test_a_measure_is_doubted_as_a_blunder(
    reading: Reading, chances: Callable[[float], tuple[float, float]], lengths: Session
) -> None:
    session = lengths.answer(lengths.compiled.trait("length"), reading)
    whole, blunder = np.array([chances(mean) for mean in (100.0, 200.0)]).T
    anywhere = 2 / 3 if isinstance(reading, Between) else 1 / 300
    of_anywhere = BLUNDERS * (2 / 9 if isinstance(reading, Between) else 1 / 300)
    new = (1 - NEW_VALUE) * whole.mean() + NEW_VALUE * anywhere
    of_new = (1 - NEW_VALUE) * blunder.mean() + NEW_VALUE * of_anywhere
    expected = (0.45 * blunder.sum() + 0.1 * of_new) / (0.45 * whole.sum() + 0.1 * new)
    assert by_trait(session) == pytest.approx({"length": expected}, abs=1e-9)


def test_a_value_that_fits_nothing_looks_wrong_or_is_new(lengths: Session) -> None:
    """With all recorded, a length of 150 mm is a slip of the caliper or a unit nobody recorded: as likely as they are."""
    session = lengths.answer(lengths.compiled.trait("length"), Measured(150.0, 1.0))
    (doubt,) = found(session)
    assert 0.1 < doubt.chance < dict(session.variants)["not-in-the-record"] + doubt.chance
    assert by_trait(lengths.answer(lengths.compiled.trait("length"), Measured(100.0, 1.0)))["length"] < BLUNDERS


# Laws ------------------------------------------------------------------------------------------------------------------


def batches(random_kb: ModuleType, mistakes: float = 0.05) -> Session:
    """An early and a late batch that differ in four traits; no swaps."""
    one: dict[str, Any] = {"view": "side", "mistakes": mistakes, "states": {state: state.upper() for state in "ab"}}
    names = [f"x{i}" for i in range(4)]
    return start(
        random_kb.knowledge_base(
            about={"not_in_the_record": 0.01},
            traits={name: {"name": name} | one for name in names},
            variants={v: {"shows": dict.fromkeys(names, state)} for v, state in (("early", "a"), ("late", "b"))},
        )
    )


def test_answers_without_contradiction_are_doubted_less_than_they_go_wrong(random_kb: ModuleType) -> None:
    session = batches(random_kb)
    for t in range(4):
        session = session.answer(t, seen("a"))
        assert all(one.chance <= one.usual + 1e-9 for one in found(session))
        assert not any(one.looks_wrong for one in found(session))


def test_two_later_answers_put_the_first_in_doubt(random_kb: ModuleType) -> None:
    session = batches(random_kb).answer(0, seen("b")).answer(1, seen("a"))
    assert by_trait(session)["x0"] == pytest.approx(by_trait(session)["x1"], abs=1e-9), "one against one: either"
    session = session.answer(2, seen("a"))
    chances = by_trait(session)
    assert max(chances, key=lambda key: chances[key]) == "x0"
    assert [one.trait for one in found(session) if one.looks_wrong] == [0]
    assert chances["x0"] > 0.8


def test_a_second_look_that_says_otherwise_puts_the_first_in_doubt(random_kb: ModuleType) -> None:
    session = batches(random_kb).answer(0, seen("b")).answer(1, seen("a")).again(0, seen("a"))
    looks = [(one.look, one.looks_wrong) for one in found(session) if one.trait == 0]
    assert looks == [(0, True), (1, False)]


def test_a_tricky_trait_is_not_said_to_look_wrong_for_being_tricky(random_kb: ModuleType) -> None:
    """At a rate of one in five, a doubt of one in three is nothing out of the common."""
    session = batches(random_kb, mistakes=0.2).answer(0, seen("b")).answer(1, seen("a"))
    doubt = found(session)[0]
    assert doubt.chance > LOOKS_WRONG
    assert not doubt.looks_wrong


def test_a_part_that_is_said_to_be_missing_and_has_a_trait(random_kb: ModuleType) -> None:
    """One of the two answers names what is not there."""
    horn = {"name": "Tone", "view": "below", "mistakes": 0.02, "states": {"low": "Low", "high": "High"}}
    bore = {"name": "Bore", "view": "below", "mistakes": 0.02, "measured": {"unit": "mm", "least": 1, "most": 20}}
    entries = random_kb.knowledge_base(
        family={"slots": {"horn": {"name": "Horn", "type": "horn"}}},
        variants={"one": {"fitted": {"horn": "low"}}},
        slot_types={"horn": {"traits": {"tone": horn, "bore": bore}}},
        parts={"low": {"type": "horn", "fits": {random_kb.FAMILY: ["horn"]}, "shows": {"tone": "low", "bore": "5 +- 1 mm"}}},
    )
    session = start(entries)
    tone, width = session.compiled.trait("horn.tone"), session.compiled.trait("horn.bore")
    chances = by_trait(session.answer(tone, seen("low")).answer(width, Gone()))
    assert chances["horn.tone"] + chances["horn.bore"] == pytest.approx(1, abs=0.01)
    chances = by_trait(session.answer(tone, Gone()).answer(width, Measured(5.0, 0.5)))
    assert chances["horn.tone"] + chances["horn.bore"] == pytest.approx(1, abs=0.01)
    assert by_trait(session.answer(tone, Gone()).answer(width, Gone()))["horn.bore"] < 0.02


def test_a_marking_read_nearly_as_another(random_kb: ModuleType) -> None:
    """A text is doubted where the other answers speak for another marking that it could be misread from."""
    number = {"name": "Number", "view": "side", "marking": {"worn": 0.1}}
    entries = random_kb.knowledge_base(
        about={"not_in_the_record": 0.001},
        traits={
            "number": number,
            "roof": {"name": "Roof", "view": "side", "mistakes": 0.001, "states": {"plain": "Plain", "ribbed": "Ribbed"}},
        },
        variants={"one": {"shows": {"number": "4241", "roof": "plain"}}, "two": {"shows": {"number": "4247", "roof": "ribbed"}}},
    )
    session = start(entries)
    number_at, roof = session.compiled.trait("number"), session.compiled.trait("roof")
    fits = answered(session, entries, None, {"number": Answer.model_validate({"is": "4241"})})
    assert fits.given[0].reading == Typed("4241")
    assert by_trait(fits.answer(roof, seen("plain")))["number"] < 0.01
    assert by_trait(fits.answer(roof, seen("ribbed")))["number"] > LOOKS_WRONG
    assert by_trait(session.answer(number_at, Typed("ZZZZ99")).answer(roof, seen("plain")))["number"] < 0.01, "a new marking"
