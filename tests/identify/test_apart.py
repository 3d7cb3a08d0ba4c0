"""How to tell one variant from another: against the news of questions, and by cases known by hand."""

from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tellmark.identify.apart import TELLING, Look, even_odds, tell_apart
from tellmark.identify.belief import believe
from tellmark.identify.questions import news
from tellmark.identify.report import apart, two_apart
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.identify.wording import Words
from tellmark.kb.reading import Gone, Measured, Seen

seeds = st.integers(0, 10**6)
laws = settings(max_examples=40, deadline=None, derandomize=True)


def seen(*states: str) -> Seen:
    return Seen(frozenset(states))


def between(session: Session, first: str, second: str, considered: bool = False) -> list[Look]:
    compiled = session.compiled
    mine, other = (np.array([compiled.label(c) == one for c in range(compiled.candidates)]) for one in (first, second))
    if not considered:
        return tell_apart(compiled, mine, other)
    return tell_apart(compiled, mine, other, session.belief, session.evidence, session.views)


def names(session: Session, looks: list[Look]) -> list[str]:
    return [session.compiled.traits[one.question.trait].id for one in looks]


def by_name(session: Session, looks: list[Look]) -> dict[str, Look]:
    return dict(zip(names(session, looks), looks, strict=True))


@laws
@given(seeds)
def test_the_bits_are_the_news_about_which_of_the_two_it_is(random_kb: ModuleType, seed: int) -> None:
    """Of a session's belief held to the two at even odds; `questions.news` is checked by giving every answer in turn."""
    entries = random_kb.random_entries(seed)
    session = answered(start(entries), entries, random_kb.FAMILY, random_kb.random_answers(entries, seed, 2))
    compiled = session.compiled
    first, second = compiled.variants[:2]
    assume(session.belief.plausible)
    mine, other = (np.array([compiled.label(c) == one for c in range(compiled.candidates)]) for one in (first, second))
    belief = even_odds(compiled, mine, other, session.belief)
    assert (belief.probability[mine].sum(), belief.probability[other].sum()) == (pytest.approx(0.5), pytest.approx(0.5))
    looks = between(session, first, second, considered=True)
    found = news(compiled, belief, [one.question for one in looks], compiled.variant)
    assert found == pytest.approx([one.bits for one in looks], abs=1e-7)
    for one in looks:
        assert one.bits >= TELLING
        assert 0.5 < one.right <= 1
        # Fano (1961): with the share e of wrong guesses between two, at most H(e) bits are missing.
        wrong = 1 - one.right
        missing = 0.0 if wrong == 0 else -wrong * np.log2(wrong) - one.right * np.log2(one.right)
        assert 1 - one.bits <= missing + 1e-9


@laws
@given(seeds)
def test_telling_b_from_a_takes_the_same_looks(random_kb: ModuleType, seed: int) -> None:
    session = start(random_kb.random_entries(seed))
    first, second = session.compiled.variants[:2]
    ways = between(session, first, second), between(session, second, first)
    assert names(session, ways[0]) == names(session, ways[1])
    assert [one.bits for one in ways[0]] == pytest.approx([one.bits for one in ways[1]])
    assert [(one.first, one.second) for one in ways[0]] == [(one.second, one.first) for one in ways[1]]


SIDE: dict[str, Any] = {"view": "side", "mistakes": 0.1, "states": {"a": "A", "b": "B"}}


def entries_of(random_kb: ModuleType) -> Any:
    """Two batches: told by a roof, a length, a number, and a look underneath; alike in the color; nobody recorded the door."""
    return random_kb.knowledge_base(
        about={"not_in_the_record": 0.01, "blunders": 0.001},
        traits={
            "below": SIDE | {"name": "Floor", "view": "below", "mistakes": 0.0},
            "roof": SIDE | {"name": "Roof"},
            "color": SIDE | {"name": "Color"},
            "door": SIDE | {"name": "Door"},
            "length": {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": 50, "most": 300}},
            "number": {"name": "Number", "view": "side", "marking": {}},
        },
        variants={
            "early": {"shows": {"below": "a", "roof": "a", "color": "a", "door": "a", "length": "100 +- 1 mm", "number": "41"}},
            "late": {"shows": {"below": "b", "roof": "b", "color": "a", "length": "200 +- 1 mm", "number": "77"}},
            "other": {"shows": {"below": "b", "roof": "b", "color": "b", "door": "b", "length": "150 +- 1 mm", "number": "78"}},
            "blank": {},
        },
        family={"slots": {"body": {"name": "Body", "swapped": 0}}},
    )


def test_the_cheapest_look_comes_first(random_kb: ModuleType) -> None:
    """A glance at the side by yes or no, a number to read, a length to measure, then to turn it over."""
    session = start(entries_of(random_kb))
    looks = between(session, "early", "late")
    assert names(session, looks) == ["roof", "number", "length", "below"]
    assert [(one.view, one.form) for one in looks] == [
        (1.0, session.compiled.asking["yes-no"]),
        (1.0, session.compiled.asking["reading"]),
        (1.0, session.compiled.asking["value"]),
        (2.0, session.compiled.asking["yes-no"]),
    ]


def test_the_share_that_is_decided_rightly_is_that_of_the_readings(random_kb: ModuleType) -> None:
    """Nothing is ever changed: a trait read wrongly one time in ten is right in nine; one without mistakes always."""
    session = start(entries_of(random_kb))
    looks = by_name(session, between(session, "early", "late"))
    assert looks["roof"].right == pytest.approx(0.9)
    assert looks["below"].right == pytest.approx(1.0)
    assert looks["roof"].bits == pytest.approx(1 + 0.9 * np.log2(0.9) + 0.1 * np.log2(0.1))


def test_what_each_shows_is_said(random_kb: ModuleType) -> None:
    session = start(entries_of(random_kb))
    looks = by_name(session, between(session, "early", "late"))
    assert (looks["roof"].first, looks["roof"].second) == (((1.0, seen("a")),), ((1.0, seen("b")),))
    assert looks["length"].first == ((1.0, Measured(100.0, 1.0)),)


def test_nothing_recorded_tells_apart(random_kb: ModuleType) -> None:
    """A variant of which nothing is recorded, and twins."""
    session = start(entries_of(random_kb))
    assert between(session, "early", "blank") == []
    twins = random_kb.knowledge_base(
        traits={"roof": SIDE | {"name": "Roof"}}, variants={v: {"shows": {"roof": "a"}} for v in ("one", "two")}
    )
    assert between(start(twins), "one", "two") == []


def test_what_was_answered_is_not_asked_again_and_views_at_hand_come_first(random_kb: ModuleType) -> None:
    session = start(entries_of(random_kb), views=["below"])
    session = session.answer(session.compiled.trait("number"), seen("41"))
    assert names(session, between(session, "early", "late", considered=True)) == ["below", "roof", "length"]


def horns(random_kb: ModuleType, swapped: float, late: dict[str, Any]) -> Any:
    """Two batches that differ in the horn alone."""
    tone = {"name": "Tone", "view": "below", "mistakes": 0.0, "states": {"low": "Low", "high": "High"}}
    return random_kb.knowledge_base(
        about={"replaced": {"missing": 0.0, "unlisted": 0.0}},
        family={"slots": {"horn": {"name": "Horn", "type": "horn", "swapped": swapped}}},
        variants={"early": {"fitted": {"horn": "low"}}, "late": late},
        slot_types={"horn": {"traits": {"tone": tone}}},
        parts={p: {"type": "horn", "fits": {random_kb.FAMILY: ["horn"]}, "shows": {"tone": p}} for p in ("low", "high")},
    )


@pytest.mark.parametrize("swapped", [0.0, 0.2, 0.6])
def test_a_part_tells_less_the_oftener_it_was_swapped(swapped: float, random_kb: ModuleType) -> None:
    """A swapped one is either of the two: half of the swaps lead astray."""
    session = start(horns(random_kb, swapped, {"fitted": {"horn": "high"}}))
    (look,) = between(session, "early", "late")
    assert look.right == pytest.approx(1 - swapped / 2)


def test_a_part_that_came_with_none(random_kb: ModuleType) -> None:
    entries = horns(random_kb, 0.1, {"fitted": {"horn": "none"}})
    session = start(entries)
    (look,) = between(session, "early", "late")
    assert look.second == ((1.0, Gone()),)
    words = Words(entries, session.compiled)
    (shown,) = [apart(words, one, "early", "late") for one in two_apart(words, "early", "late")]
    assert shown["values"] == {"early": "Low", "late": "nothing there"}


def test_a_part_nobody_recorded_tells_nothing(random_kb: ModuleType) -> None:
    """The arrays hold the family's blend there; the record says nothing."""
    entries = horns(random_kb, 0.0, {})
    entries.variants["third"] = entries.variants["early"].model_copy(
        update={"fitted": {"horn": entries.variants["early"].fitted["horn"].model_copy(update={"is_": {"high": 1.0}})}}
    )
    entries.home["variant", "third"] = random_kb.FAMILY
    words = Words(entries, start(entries).compiled)
    assert two_apart(words, "early", "late") == []
    assert [words.key(one.question.trait) for one in two_apart(words, "early", "third")] == ["horn.tone"]


def test_a_belief_without_answers_is_that_of_the_record(random_kb: ModuleType) -> None:
    session = start(entries_of(random_kb))
    plain = between(session, "early", "late")
    assert [one.bits for one in plain] == [one.bits for one in between(session, "early", "late", considered=True)]
    assert believe(session.compiled, ()).plausible
