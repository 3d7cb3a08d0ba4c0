"""Laws of the next question: what its news is, and which one comes first."""

from collections.abc import Callable
from random import Random
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tellmark.identify.arrays import Floats, Ints
from tellmark.identify.questions import (
    Question,
    entropy,
    news,
    original_news,
    original_share,
    set_groups,
    variant_groups,
    whole,
    yes_no,
)
from tellmark.identify.session import Session, Target
from tellmark.identify.start import start
from tellmark.kb.reading import Between, Gone, Reading, Seen

seeds = st.integers(0, 10**6)
laws = settings(max_examples=40, deadline=None, derandomize=True)


def seen(*states: str) -> Seen:
    return Seen(frozenset(states))


def reading_of(session: Session, question: Question, outcome: tuple[int, ...]) -> Reading:
    """What the unit is said to show when a question comes out so."""
    if question.cut is not None:
        return Between(question.cut, float("inf")) if outcome == (0,) else Between(float("-inf"), question.cut)
    states = [session.compiled.traits[question.trait].states[k] for k in outcome]
    return Gone() if states == ["missing"] else seen(*states)


@pytest.fixture(scope="session")
def random_session(random_kb: ModuleType) -> Callable[[int], Session]:
    """A random knowledge base with up to three random answers to questions, some of them in part."""

    def make(seed: int) -> Session:
        rng = Random(seed)
        session = start(random_kb.random_entries(seed))
        for _ in range(rng.randint(0, 3)):
            open_now = [q for t in range(len(session.compiled.traits)) for q in yes_no(session.compiled, t)]
            question = rng.choice(open_now)
            more = session.answer(question.trait, reading_of(session, question, rng.choice(question.outcomes)))
            session = more if more.belief.plausible else session
        return session

    return make


def total_chance(session: Session) -> float:
    """P(all answers): the sum that belief divides by."""
    chance: Floats = session.compiled.prior.copy()
    for slot, factor in zip(session.compiled.slots, session.belief.factor, strict=True):
        chance = chance * factor[slot.row]
    return float(chance.sum())


def trials(session: Session, question: Question) -> list[tuple[float, Session]]:
    """(chance, session after it) of every answer that what was said already leaves open."""
    before, found = total_chance(session), list[tuple[float, Session]]()
    for outcome in question.outcomes:
        after = session.answer(question.trait, reading_of(session, question, outcome))
        nothing_left = any(
            one.weights is not None and not one.weights.any() for one in after.evidence if one.trait == question.trait
        )
        if after.belief.plausible and not nothing_left:
            found.append((total_chance(after) / before, after))
    return found


def by_trial(session: Session, tried: list[tuple[float, Session]], uncertainty: Callable[[Session], float]) -> float:
    """News by giving every answer in turn: the uncertainty now less what is left on average."""
    return uncertainty(session) - sum(chance * uncertainty(after) for chance, after in tried)


def of_groups(groups: Callable[[Session], Ints]) -> Callable[[Session], float]:
    def uncertainty(session: Session) -> float:
        own = groups(session)
        return entropy(np.array([session.belief.probability[own == group].sum() for group in np.unique(own)]))

    return uncertainty


def of_original(session: Session) -> float:
    share = original_share(session.compiled, session.belief)
    return entropy(np.array([share, 1 - share]))


TARGETS: dict[str, Callable[[Session], Ints]] = {
    "variant": lambda session: variant_groups(session.compiled),
    "set": lambda session: set_groups(session.compiled),
    "candidate": lambda session: np.arange(session.compiled.candidates),
}


def free_questions(session: Session) -> list[Question]:
    """All yes/no questions, and the choice of all states, on traits without an answer."""
    said = {one.trait for one in session.given}
    free = [t for t in range(len(session.compiled.traits)) if t not in said]
    asked = [q for t in free for q in yes_no(session.compiled, t)]
    return asked + [whole(session.compiled, t) for t in free if not session.compiled.traits[t].measured]


# News ------------------------------------------------------------------------------------------------------------------


@laws
@given(seeds)
def test_news_is_neither_negative_nor_more_than_there_is_to_know(random_session: Callable[[int], Session], seed: int) -> None:
    session = random_session(seed)
    asked = free_questions(session) + session.questions
    for groups in TARGETS.values():
        bits = news(session.compiled, session.belief, asked, groups(session), session.evidence)
        assert (bits >= 0).all()
        assert (bits <= of_groups(groups)(session) + 1e-9).all()
    bits = original_news(session.compiled, session.belief, asked, session.evidence)
    assert (bits >= 0).all()
    assert (bits <= of_original(session) + 1e-9).all()


@laws
@given(seeds)
def test_news_is_what_the_answers_would_change(random_session: Callable[[int], Session], seed: int) -> None:
    """Against giving every answer in turn, for free traits and for those answered in part."""
    session = random_session(seed)
    asked = free_questions(session) + session.questions
    tried = [trials(session, question) for question in asked]
    for groups in TARGETS.values():
        bits = news(session.compiled, session.belief, asked, groups(session), session.evidence)
        expected = [by_trial(session, one, of_groups(groups)) for one in tried]
        assert bits == pytest.approx(expected, abs=1e-7)


@laws
@given(seeds)
def test_original_news_is_what_the_answers_would_change(random_session: Callable[[int], Session], seed: int) -> None:
    session = random_session(seed)
    asked = free_questions(session) + session.questions
    bits = original_news(session.compiled, session.belief, asked, session.evidence)
    assert bits == pytest.approx([by_trial(session, trials(session, question), of_original) for question in asked], abs=1e-7)


def length_kb(random_kb: ModuleType, swap: float = 0.2) -> Any:
    """Four lengths painted on, so to say: a measured trait of a finish that may be redone."""
    length = {"name": "Length", "slot": "finish", "view": "side", "measured": {"unit": "mm", "least": 50, "most": 350}}
    return random_kb.knowledge_base(
        traits={"length": length},
        family={"slots": {"finish": {"name": "Finish", "swapped": swap}}},
        variants={
            "tiny": {"shows": {"length": "100 +- 4 mm"}},
            "small": {"shows": {"length": "104 +- 4 mm"}},
            "large": {"shows": {"length": "130 +- 2 mm"}},
            "blank": {},
        },
    )


@pytest.mark.parametrize("low", [None, 103.0])
def test_news_of_a_cut_is_what_the_answers_would_change(low: float | None, random_kb: ModuleType) -> None:
    session = start(length_kb(random_kb))
    if low is not None:
        session = session.answer(session.compiled.trait("length"), Between(low, float("inf")))
    asked = [question for question in session.questions if question.cut is not None]
    assert len(asked) == (2 if low is None else 1)
    groups = TARGETS["variant"](session)
    bits = news(session.compiled, session.belief, asked, groups, session.evidence)
    assert bits == pytest.approx(
        [by_trial(session, trials(session, one), of_groups(TARGETS["variant"])) for one in asked], abs=1e-9
    )
    original = original_news(session.compiled, session.belief, asked, session.evidence)
    assert original == pytest.approx([by_trial(session, trials(session, question), of_original) for question in asked], abs=1e-9)
    assert bits.max() > 0.01


# Asking ----------------------------------------------------------------------------------------------------------------


@laws
@given(seeds)
def test_an_answered_question_is_not_asked_again(random_kb: ModuleType, seed: int) -> None:
    session, rng = start(random_kb.random_entries(seed)), Random(seed)
    before: set[tuple[int, tuple[int, ...]]] = set()
    while session.next is not None:
        question = session.next.question
        key = question.trait, question.outcomes[0]
        assert key not in before
        before.add(key)
        session = session.answer(question.trait, reading_of(session, question, rng.choice(question.outcomes)))
        still = {(q.trait, q.outcomes[0]) for q in session.questions}
        assert not before & still, "an answered question is still open"


def test_a_yes_and_a_measured_value_close_their_trait(random_kb: ModuleType) -> None:
    session = start(length_kb(random_kb))
    t = session.compiled.trait("length")
    inf = float("inf")
    narrowed = session.answer(t, Between(103, inf)).answer(t, Between(-inf, 110))
    assert {question.cut for question in session.questions} == {102.0, 117.0}
    assert narrowed.questions == []


@pytest.fixture
def efforts(random_kb: ModuleType) -> Callable[..., Session]:
    """A glance that tells much, and a look inside that tells a little more, for this effort."""

    def make(inside: float, **about: Any) -> Session:
        states = {"a": "A", "b": "B"}
        glance = {"name": "Glance", "view": "side", "mistakes": 0.05, "states": states}
        look = {"name": "Look inside", "view": "inside", "mistakes": 0.01, "states": states}
        entries = random_kb.knowledge_base(
            about={"views": {"side": {"name": "Side", "effort": 1}, "inside": {"name": "Inside", "effort": inside}}, **about},
            traits={"glance": glance, "look": look},
            variants={"one": {"shows": {"glance": "a", "look": "a"}}, "two": {"shows": {"glance": "b", "look": "b"}}},
        )
        return start(entries)

    return make


@pytest.mark.parametrize(("inside", "first"), [(1.0, "look"), (6.0, "glance")])
def test_news_is_weighed_against_the_effort(inside: float, first: str, efforts: Callable[..., Session]) -> None:
    session = efforts(inside)
    found = {session.compiled.traits[one.question.trait].id: one for one in session.proposals}
    assert found["look"].bits > found["glance"].bits
    assert found["look"].value == pytest.approx(found["look"].bits / inside)
    assert found["glance"].value == pytest.approx(found["glance"].bits)
    assert session.next is session.proposals[0]
    assert session.compiled.traits[session.proposals[0].question.trait].id == first


@pytest.mark.parametrize("views", [["side", "bench"], ["bench", "side"]])
def test_naming_a_part_outright_costs_the_same_whatever_view_is_listed_last(views: list[str], random_kb: ModuleType) -> None:
    """A slot type without traits is asked about as a whole, which needs no view of its own: a glance, effort 1."""
    efforts = {"side": 1, "bench": 8}
    entries = random_kb.knowledge_base(
        about={"views": {view: {"name": view, "effort": efforts[view]} for view in views}},
        family={"slots": {"horn": {"name": "Horn", "type": "horn", "swapped": 0.1}}},
        variants={"one": {"fitted": {"horn": "brass"}}, "two": {"fitted": {"horn": "tin"}}},
        slot_types={"horn": {}},
        parts={part: {"type": "horn", "fits": {random_kb.FAMILY: ["horn"]}} for part in ("brass", "tin")},
    )
    session = start(entries)
    assert {session.compiled.traits[one.question.trait].id for one in session.proposals} == {"horn"}
    assert {one.effort for one in session.proposals} == {1.0}


# Targets ---------------------------------------------------------------------------------------------------------------


@pytest.fixture
def pair(random_kb: ModuleType) -> Any:
    """Two liveries, each in two sets.

    The color tells the livery, the coupler the set; the truck was one in livery and set together (either alone says nothing
    of it); the motor was always the same, and only a replacement looks different.
    """

    def trait(mistakes: float, *states: str) -> dict[str, Any]:
        return {"name": "Look", "view": "side", "mistakes": mistakes, "states": {state: state for state in states}}

    def part(slot: str, state: str) -> dict[str, Any]:
        return {"type": slot, "fits": {random_kb.FAMILY: [slot]}, "shows": {"look": state}}

    def position(variant: str, coupler: str, truck: str) -> dict[str, Any]:
        return {"variants": variant, "fitted": {"coupler": coupler, "truck": truck}}

    slots = {"coupler": 0.0, "truck": 0.0, "motor": 0.3}
    return random_kb.knowledge_base(
        about={"not_in_the_record": 0.001},
        traits={"color": trait(0.06, "red", "blue")},
        family={
            "slots": {
                name: {"name": name, "type": name, "swapped": swap, "missing": 0, "unlisted": 0} for name, swap in slots.items()
            }
        },
        variants={v: {"sold_alone": "never", "shows": {"color": v}, "fitted": {"motor": "maker"}} for v in ("red", "blue")},
        sets={
            "early": {"positions": [position("red", "hook", "plain"), position("blue", "hook", "sprung")]},
            "late": {"positions": [position("red", "claw", "sprung"), position("blue", "claw", "plain")]},
        },
        slot_types={
            "coupler": {"traits": {"look": trait(0.06, "hook", "claw")}},
            "truck": {"traits": {"look": trait(0.0, "plain", "sprung")}},
            "motor": {"traits": {"look": trait(0.0, "maker", "copy")}},
        },
        parts={
            state: part(slot, state)
            for slot, states in {"coupler": ("hook", "claw"), "truck": ("plain", "sprung"), "motor": ("maker", "copy")}.items()
            for state in states
        },
    )


@pytest.mark.parametrize(
    ("target", "first"), [("variant", "color"), ("set", "coupler.look"), ("original", "motor.look"), ("all", "truck.look")]
)
def test_each_target_has_its_own_first_question(target: Target, first: str, pair: Any) -> None:
    session = start(pair, target=target)
    assert session.next is not None
    assert session.compiled.traits[session.next.question.trait].id == first


@pytest.mark.parametrize("target", ["variant", "set", "original", "all"])
def test_truthful_answers_settle_every_target(target: Target, pair: Any) -> None:
    """A red unit of the late set with its own motor."""
    session = start(pair, target=target)
    truth = {"color": "red", "coupler.look": "claw", "truck.look": "sprung", "motor.look": "maker"}
    while session.next is not None:
        question, states = session.next.question, session.compiled.traits[session.next.question.trait].states
        true = states.index(truth[session.compiled.traits[question.trait].id])
        outcome = next(outcome for outcome in question.outcomes if true in outcome)
        session = session.answer(question.trait, reading_of(session, question, outcome))
    if target in ("variant", "all"):
        assert session.variants[0][0] == "red"
    if target in ("set", "all"):
        assert session.positions[0][:2] == ("late", 1)
    if target in ("original", "all"):
        assert original_share(session.compiled, session.belief) > 0.7
    assert session.given


def test_a_slot_known_to_be_changed_tells_nothing_of_the_variant(random_kb: ModuleType) -> None:
    """Only a copy has a bare jaw; once that is seen, whatever else the coupler shows is news of the copy alone."""

    def trait(*states: str) -> dict[str, Any]:
        return {"name": "Look", "view": "side", "mistakes": 0, "states": {state: state for state in states}}

    def part(jaw: str, back: Any) -> dict[str, Any]:
        return {"type": "coupler", "fits": {random_kb.FAMILY: ["coupler"]}, "shows": {"jaw": jaw, "back": back}}

    entries = random_kb.knowledge_base(
        family={"slots": {"coupler": {"name": "Coupler", "type": "coupler", "swapped": 0.3, "unlisted": 0}}},
        variants={"one": {"fitted": {"coupler": "hook"}}, "two": {"fitted": {"coupler": "claw"}}},
        slot_types={"coupler": {"traits": {"jaw": trait("worn", "bare"), "back": trait("pin", "smooth")}}},
        parts={
            "hook": part("worn", "pin"),
            "claw": part("worn", "smooth"),
            "copy": part("bare", {"pin": 0.5, "smooth": 0.5}),
        },
    )
    session = start(entries)
    back = yes_no(session.compiled, session.compiled.trait("coupler.back"))
    groups = variant_groups(session.compiled)
    assert news(session.compiled, session.belief, back, groups).max() > 0.2
    changed = session.answer(session.compiled.trait("coupler.jaw"), seen("bare"))
    assert news(changed.compiled, changed.belief, back, groups, changed.evidence) == pytest.approx(0, abs=1e-12)
    assert changed.belief.probability[:2] == pytest.approx(session.belief.probability[:2], abs=0.02)
    assert all(changed.compiled.traits[one.question.trait].slot != 2 for one in changed.proposals)
