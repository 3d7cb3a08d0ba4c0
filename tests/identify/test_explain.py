"""Why a conclusion, and what would turn it over: against sessions that leave an answer out, or change it."""

from collections.abc import Callable, Iterator
from itertools import combinations, product
from math import log2
from random import Random
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from tellmark.identify.belief import swapped
from tellmark.identify.explain import Why, explain, other_readings
from tellmark.identify.questions import original_share, set_groups
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.reading import Between, Gone, Measured, Reading, Seen

#: As close as a sum of products in another order can be.
CLOSE = 1e-9


def seen(*states: str) -> Seen:
    return Seen(frozenset(states))


@pytest.fixture(scope="session")
def random_session(random_kb: ModuleType) -> Callable[[int, int], Session]:
    """A random knowledge base with random answers, some of them looked at twice."""

    def make(seed: int, most: int) -> Session:
        entries, rng = random_kb.random_entries(seed), Random(seed)
        session = answered(start(entries), entries, random_kb.FAMILY, random_kb.random_answers(entries, seed, most))
        for one in session.evidence:
            if rng.random() < 0.15:
                session = session.again(one.trait, seen(rng.choice(session.compiled.traits[one.trait].states)))
        return session

    return make


# The conclusions, read off a session ------------------------------------------------------------------------------------


def variant_shares(session: Session) -> dict[Any, float]:
    return dict(session.variants)


def set_shares(session: Session) -> dict[Any, float]:
    """By set; None for no set, and what is not in the record apart."""
    shares: dict[Any, float] = {}
    groups = set_groups(session.compiled)
    for c in range(session.compiled.candidates):
        group = int(groups[c])
        name = session.compiled.sets[group] if group >= 0 else None if group == -1 else "not-in-the-record"
        shares[name] = shares.get(name, 0.0) + float(session.belief.probability[c])
    return shares


def slot_shares(session: Session, s: int) -> dict[Any, float]:
    slot = session.compiled.slots[s]
    changed = swapped(slot, session.belief.evidence[s], session.belief.factor[s])[slot.row]
    chance = float(session.belief.probability @ changed)
    kept = float(session.belief.probability @ (1 - changed))
    return {True: chance, False: kept}


def original_shares(session: Session) -> dict[Any, float]:
    chance = original_share(session.compiled, session.belief)
    return {True: chance, False: 1 - chance}


def shares(session: Session, why: Why) -> dict[Any, float]:
    if why.about == "slot":
        assert why.slot is not None
        return slot_shares(session, why.slot)
    return {"variant": variant_shares, "set": set_shares, "original": original_shares}[why.about](session)


def as_group(why: Why, said: Any) -> tuple[Any, ...]:
    return said if why.about == "variant" else (said,)


def without(session: Session, trait: int) -> Session:
    return Session(session.compiled, tuple(one for one in session.given if one.trait != trait))


def total_chance(session: Session) -> float:
    """P(all answers): the sum that belief divides by."""
    chance = session.compiled.prior.copy()
    for slot, factor in zip(session.compiled.slots, session.belief.factor, strict=True):
        chance = chance * factor[slot.row]
    return float(chance.sum())


# Weights ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("batch", range(4))
def test_bits_are_the_odds_with_and_without_an_answer(batch: int, random_session: Callable[[int, int], Session]) -> None:
    checked = 0
    for seed in range(batch * 25, (batch + 1) * 25):
        session = random_session(seed, 5)
        for why in explain(session):
            mine, other = as_group(why, why.conclusion), as_group(why, why.runner_up)
            all_of_it = shares(session, why)
            assert why.probability == pytest.approx(sum(all_of_it[one] for one in mine), abs=CLOSE)
            assert why.runner_up_probability == pytest.approx(sum(all_of_it[one] for one in other), abs=CLOSE)
            rest = tuple(one for one in all_of_it if one not in mine)
            for rival, bits_of in ((rest, why.bits), (other, why.over)):
                for trait, bits in bits_of.items():
                    less = shares(without(session, trait), why)
                    sums = [sum(some[one] for one in group) for some in (all_of_it, less) for group in (mine, rival)]
                    if min(sums) > 1e-6:
                        expected = log2(sums[0] / sums[1]) - log2(sums[2] / sums[3])
                        assert bits == pytest.approx(expected, abs=1e-6), (seed, why.about, trait)
                        checked += 1
    assert checked > 50


def test_what_is_concluded_is_what_the_session_says(random_session: Callable[[int, int], Session]) -> None:
    for seed in range(40):
        session = random_session(seed, 4)
        found = explain(session)
        if not session.evidence or not session.belief.plausible:
            assert found == []
            continue
        by = {why.about: why for why in found if why.about != "slot"}
        assert (list(by["variant"].conclusion or ()), by["variant"].probability) == (  # pyright: ignore[reportArgumentType]
            session.leading[0],
            pytest.approx(session.leading[1], abs=CLOSE),
        )
        if "set" in by:
            best = max(set_shares(session).values())
            assert by["set"].probability == pytest.approx(best, abs=CLOSE)
        for why in found:
            assert why.probability + why.runner_up_probability <= 1 + CLOSE
            assert why.against == sorted((t for t in why.over if why.over[t] <= -0.1), key=lambda t: why.over[t])
        touched = {session.compiled.traits[one.trait].slot for one in session.evidence}
        for why in found:
            if why.slot is not None:
                assert why.slot in touched or slot_shares(session, why.slot)[True] >= 0.25


# Flips -----------------------------------------------------------------------------------------------------------------


def changed(session: Session, some: dict[int, Reading]) -> Session:
    """The session with these answers in the place of those to their traits."""
    for trait, reading in some.items():
        session = session.tell(trait, reading)
    return session


def leaders(session: Session, why: Why) -> tuple[Any, float]:
    """(the first, how far it leads over everything outside the conclusion, relative to the first)."""
    found = shares(session, why)
    mine = max(found[one] for one in as_group(why, why.conclusion))
    other = max((one for one in found if one not in as_group(why, why.conclusion)), key=lambda one: found[one])
    return other, (found[other] - mine) / max(found[other], mine)


def tried(session: Session, why: Why, size: int) -> Iterator[tuple[dict[int, Reading], Session, Any, float]]:
    """Every change of so many answers, with what leads after it outside the conclusion, and by how much."""
    options = {one.trait: other_readings(session.compiled.traits[one.trait], one) for one in session.evidence}
    for traits in combinations(options, size):
        for readings in product(*(options[t] for t in traits)):
            some = dict(zip(traits, readings, strict=True))
            after = changed(session, some)
            if after.belief.plausible:
                yield some, after, *leaders(after, why)


@pytest.mark.parametrize("batch", range(5))
def test_the_smallest_flip_is_that_of_all_changes_tried(batch: int, random_session: Callable[[int, int], Session]) -> None:
    sizes: list[int] = []
    for seed in range(batch * 8, (batch + 1) * 8):
        session = random_session(seed, 4)
        for why in explain(session):
            if why.turn is None:
                assert why.about == "original"
                continue
            assert why.turn.tried == (len(why.turn.changes) or (2 if why.about == "slot" else 3))
            flips: list[tuple[dict[int, Reading], Session, Any, float]] = []
            for size in range(1, why.turn.tried + 1):
                flips = [(some, after, to, by) for some, after, to, by in tried(session, why, size) if by > 1e-7]
                if size < len(why.turn.changes) or not why.turn.changes:
                    assert flips == [], (seed, why.about)
            if why.turn.changes:
                some = {one.trait: one.reading for one in why.turn.changes}
                after = changed(session, some)
                to, by = leaders(after, why)
                assert by > 0, (seed, why.about)
                assert shares(after, why)[why.turn.to] == pytest.approx(shares(after, why)[to], abs=CLOSE)
                likeliest = max(total_chance(after) for _, after, _, _ in flips)
                assert total_chance(after) == pytest.approx(likeliest, rel=1e-6), (seed, why.about)
                sizes.append(len(some))
    assert len(sizes) > 5


def batches(random_kb: ModuleType, traits: int) -> Session:
    """An early and a late batch that differ in as many traits; no swaps, hardly any mistakes."""
    one: dict[str, Any] = {"view": "side", "mistakes": 0.02, "states": {state: state.upper() for state in "ab"}}
    names = [f"x{i}" for i in range(traits)]
    return start(
        random_kb.knowledge_base(
            about={"not_in_the_record": 0.0001},
            traits={name: {"name": name} | one for name in names},
            variants={v: {"shows": dict.fromkeys(names, state)} for v, state in (("early", "a"), ("late", "b"))},
        )
    )


@pytest.mark.parametrize(
    ("early", "late", "size"),
    [(1, 0, 1), (2, 0, 2), (3, 0, 2), (4, 0, 3), (5, 0, 3), (6, 0, None), (4, 2, 2), (3, 2, 1)],
    ids=["one answer", "two", "two of three", "three of four", "three of five", "none of six", "four to two", "three to two"],
)
def test_as_many_answers_must_change_as_give_the_other_the_lead(
    early: int, late: int, size: int | None, random_kb: ModuleType
) -> None:
    """Two of two must change: with one each neither leads.  Of three, two."""
    session = batches(random_kb, early + late)
    for t in range(early + late):
        session = session.answer(t, seen("a" if t < early else "b"))
    why = next(why for why in explain(session) if why.about == "variant")
    assert why.turn is not None
    assert (len(why.turn.changes) or None) == size
    if size:
        assert (why.turn.to, {one.reading for one in why.turn.changes}) == ("late", {seen("b")})
    assert why.against == list(range(early, early + late))


def test_of_several_flips_the_likeliest_answers_are_taken(random_kb: ModuleType) -> None:
    """Each of two answers alone would turn it; the one that goes wrong more often is named."""
    states = {"a": "A", "b": "B"}
    entries = random_kb.knowledge_base(
        about={"not_in_the_record": 0.0001},
        traits={
            name: {"name": name, "view": "side", "mistakes": mistakes, "states": states}
            for name, mistakes in (("sure", 0.01), ("tricky", 0.2))
        },
        variants={
            "early": {"shows": {"sure": "a", "tricky": "a"}},
            "late": {"shows": {"sure": "b", "tricky": {"b": 0.6, "a": 0.4}}},
            "odd": {"shows": {"sure": "a", "tricky": "b"}, "how_common": "common"},
        },
    )
    session = start(entries).answer(0, seen("a")).answer(1, seen("a"))
    why = explain(session)[0]
    assert why.turn is not None
    first = {one.trait: one.reading for one in why.turn.changes}
    chances = {
        trait: total_chance(changed(session, {trait: seen("b")}))
        for trait in (0, 1)
        if leaders(changed(session, {trait: seen("b")}), why)[1] > 0
    }
    assert len(chances) == 2
    assert list(first) == [max(chances, key=lambda trait: chances[trait])]


# What else could have been answered ------------------------------------------------------------------------------------


@pytest.fixture
def shelf(random_kb: ModuleType) -> Session:
    """A coupler with a trait and a length, a measured body, and a number to read."""
    jaw = {"name": "Jaw", "view": "below", "mistakes": 0.02, "states": {state: state for state in ("open", "fixed", "loop")}}
    shank = {"name": "Shank", "view": "below", "measured": {"unit": "mm", "least": 5, "most": 50}}
    return start(
        random_kb.knowledge_base(
            traits={
                "length": {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": 50, "most": 300}},
                "number": {"name": "Number", "view": "side", "marking": {}},
            },
            family={"slots": {"coupler": {"name": "Coupler", "type": "coupler"}}},
            variants={
                "one": {"shows": {"length": "100 +- 2 mm", "number": "41"}, "fitted": {"coupler": "plain"}},
                "two": {"shows": {"length": "200 +- 2 mm", "number": "77"}, "fitted": {"coupler": "hook"}},
                "three": {"shows": {"length": "103 +- 2 mm", "number": "78"}},
            },
            slot_types={"coupler": {"traits": {"jaw": jaw, "shank": shank}}},
            parts={
                part: {"type": "coupler", "fits": {random_kb.FAMILY: ["coupler"]}, "shows": {"jaw": jaw, "shank": shank}}
                for part, jaw, shank in (("plain", "fixed", "14 +- 1 mm"), ("hook", "open", "20 +- 1 mm"))
            },
        )
    )


OTHERS: list[tuple[str, str, list[Reading], list[Reading]]] = [
    ("a state", "coupler.jaw", [seen("open")], [seen("fixed"), seen("loop"), Gone()]),
    ("not a state", "coupler.jaw", [seen("open", "loop")], [seen("fixed"), Gone()]),
    ("missing", "coupler.jaw", [Gone()], [seen("open"), seen("fixed"), seen("loop")]),
    ("a value: those it does not agree with", "length", [Measured(101.0, 0.5)], [Measured(200.0, 0.5)]),
    ("a value of a part", "coupler.shank", [Measured(14.0, 0.5)], [Measured(20.0, 0.5), Gone()]),
    ("a missing part measured", "coupler.shank", [Gone()], [Measured(14.0, 0.5), Measured(20.0, 0.5)]),
    ("more than", "length", [Between(150.0, np.inf)], [Between(-np.inf, 150.0)]),
    ("between", "length", [Between(50.0, 150.0)], [Between(-np.inf, 50.0), Between(150.0, np.inf)]),
    ("a marking", "number", [seen("41")], [seen("77"), seen("78")]),
]


@pytest.mark.parametrize(("trait", "told", "others"), [case[1:] for case in OTHERS], ids=[case[0] for case in OTHERS])
def test_what_else_could_have_been_answered(trait: str, told: list[Reading], others: list[Reading], shelf: Session) -> None:
    session = shelf
    for reading in told:
        session = session.answer(session.compiled.trait(trait), reading)
    assert other_readings(session.compiled.traits[session.evidence[0].trait], session.evidence[0]) == others


def test_two_looks_that_differ_may_both_be_wrong(shelf: Session) -> None:
    t = shelf.compiled.trait("coupler.jaw")
    session = shelf.answer(t, seen("open")).again(t, seen("fixed"))
    assert other_readings(shelf.compiled.traits[t], session.evidence[0]) == [seen("open"), seen("fixed"), seen("loop"), Gone()]


def test_a_measured_value_turns_a_verdict(shelf: Session) -> None:
    session = shelf.answer(shelf.compiled.trait("length"), Measured(200.0, 0.5))
    why = explain(session)[0]
    assert why.conclusion == ("two",)
    assert why.turn is not None
    (change,) = why.turn.changes
    assert isinstance(change.reading, Measured)
    assert change.reading.value in (100.0, 103.0)
    after = changed(session, {change.trait: change.reading})
    assert after.variants[0][0] == why.turn.to
