"""Laws of belief, whatever the record: they hold for random knowledge bases and random answers."""

from collections.abc import Callable
from random import Random
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tellmark.identify.arrays import NOT_IN_THE_RECORD, Trait
from tellmark.identify.belief import parts_now
from tellmark.identify.given import Given
from tellmark.identify.questions import yes_no
from tellmark.identify.report import report
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.identify.wording import Words
from tellmark.kb.models import Variant
from tellmark.kb.reading import Between, CannotTell, Gone, Measured, Reading, Seen
from tellmark.kb.values import Answer

CLOSE = 1e-12
seeds = st.integers(0, 10**6)
laws = settings(max_examples=40, deadline=None, derandomize=True)


def seen(*states: str) -> Seen:
    return Seen(frozenset(states))


def chances(session: Session) -> dict[str, float]:
    return dict(session.variants)


def random_reading(rng: Random, trait: Trait) -> Reading:
    """Any answer to a trait of states: some of them, none of them, missing, or cannot tell."""
    roll = rng.random()
    if roll < 0.1:
        return CannotTell()
    if roll < 0.2 and trait.can_be_missing:
        return Gone()
    return Seen(frozenset(rng.sample(trait.states, rng.randint(1, len(trait.states)))))


@pytest.fixture(scope="session")
def random_session(random_kb: ModuleType) -> Callable[[int], Session]:
    """A random knowledge base with up to six random answers, more than one to some traits, not impossible together."""

    def make(seed: int) -> Session:
        session, rng = start(random_kb.random_entries(seed)), Random(seed)
        for _ in range(rng.randint(0, 6)):
            t = rng.randrange(len(session.compiled.traits))
            more = session.answer(t, random_reading(rng, session.compiled.traits[t]))
            session = more if more.belief.plausible else session
        return session

    return make


def trait_kb(random_kb: ModuleType, rows: dict[str, dict[str, Any]], mistakes: float = 0.02, **about: Any) -> Any:
    """Variants that show these states of traits of the body; every trait has the states a to d."""
    names = dict.fromkeys(name for row in rows.values() for name in row)
    one = {"view": "side", "mistakes": mistakes, "states": {state: state.upper() for state in "abcd"}}
    return random_kb.knowledge_base(
        about=about,
        traits={name: {"name": name} | one for name in names},
        variants={v: {"shows": row} for v, row in rows.items()},
    )


# Probabilities ---------------------------------------------------------------------------------------------------------


@laws
@given(seeds)
def test_chances_sum_to_one(random_session: Callable[[int], Session], seed: int) -> None:
    session = random_session(seed)
    compiled, belief = session.compiled, session.belief
    assert belief.probability.sum() == pytest.approx(1, abs=CLOSE)
    assert (belief.probability >= 0).all()
    assert sum(chance for _, chance in session.variants) == pytest.approx(1, abs=CLOSE)
    assert sum(chance for *_, chance in session.positions) == pytest.approx(1, abs=CLOSE)
    for slot, rows, factor in zip(compiled.slots, belief.evidence, belief.factor, strict=True):
        if slot.parts:
            assert parts_now(slot, rows, factor).sum(axis=1) == pytest.approx(1, abs=CLOSE)
    for trait in compiled.traits:
        assert trait.table.sum(axis=1) == pytest.approx(1, abs=CLOSE)


@laws
@given(seeds, st.randoms(use_true_random=False))
def test_the_order_of_answers_does_not_matter(random_session: Callable[[int], Session], seed: int, rng: Random) -> None:
    session = random_session(seed)
    shuffled = list(session.given)
    rng.shuffle(shuffled)
    again = Session(session.compiled, tuple(shuffled))
    assert again.belief.probability == pytest.approx(session.belief.probability, abs=CLOSE)


@laws
@given(seeds)
def test_the_mean_of_what_the_answers_would_say_is_what_is_believed_now(
    random_session: Callable[[int], Session], seed: int
) -> None:
    """Sum over the outcomes of a question of P(outcome) times the belief after it."""
    session = random_session(seed)
    prior, mean = total_chance(session), np.zeros(session.compiled.candidates)
    free = [t for t in range(len(session.compiled.traits)) if t not in {one.trait for one in session.given}]
    assume(free)
    for state in session.compiled.traits[free[0]].states:
        after = session.answer(free[0], Gone() if state == "missing" else seen(state))
        mean += total_chance(after) / prior * after.belief.probability
    assert mean == pytest.approx(session.belief.probability, abs=1e-9)


def total_chance(session: Session) -> float:
    """P(all answers): the sum that belief divides by; 0 when they are impossible."""
    chance = session.compiled.prior.copy()
    for slot, factor in zip(session.compiled.slots, session.belief.factor, strict=True):
        chance = chance * factor[slot.row]
    return float(chance.sum())


# Answers ---------------------------------------------------------------------------------------------------------------


@laws
@given(seeds)
def test_cannot_tell_changes_nothing(random_session: Callable[[int], Session], seed: int) -> None:
    session = random_session(seed)
    for t in range(len(session.compiled.traits)):
        assert (session.answer(t, CannotTell()).belief.probability == session.belief.probability).all()


@laws
@given(seeds)
def test_no_to_a_then_yes_to_b_is_b(random_session: Callable[[int], Session], seed: int) -> None:
    session = random_session(seed)
    free = [t for t in range(len(session.compiled.traits)) if t not in {one.trait for one in session.given}]
    for t in free:
        states = [state for state in session.compiled.traits[t].states if state != "missing"]
        for b in states[1:]:
            step = session.answer(t, Seen(frozenset(states) - {states[0]})).answer(t, seen(b))
            once = session.answer(t, seen(b))
            assert step.belief.probability == pytest.approx(once.belief.probability, abs=CLOSE)


@laws
@given(seeds)
def test_nothing_left_of_the_states_moves_nothing(random_session: Callable[[int], Session], seed: int) -> None:
    session = random_session(seed)
    free = [t for t in range(len(session.compiled.traits)) if t not in {one.trait for one in session.given}]
    for t in free:
        states = session.compiled.traits[t].states
        for readings in ([seen()], [seen(states[0]), seen(states[1])]):
            after = session
            for reading in readings:
                after = after.answer(t, reading)
            assert after.belief.plausible
            assert after.belief.probability == pytest.approx(session.belief.probability, abs=CLOSE)


@laws
@given(seeds, st.randoms(use_true_random=False))
def test_back_undoes_an_answer(random_session: Callable[[int], Session], seed: int, rng: Random) -> None:
    session = random_session(seed)
    t = rng.randrange(len(session.compiled.traits))
    again = session.answer(t, random_reading(rng, session.compiled.traits[t])).back()
    assert again == session
    assert (again.belief.probability == session.belief.probability).all()


@laws
@given(seeds, st.randoms(use_true_random=False))
def test_a_changed_answer_is_as_if_it_had_been_given_so(random_session: Callable[[int], Session], seed: int, rng: Random) -> None:
    session = random_session(seed)
    assume(session.given)
    index = rng.randrange(len(session.given))
    reading = random_reading(rng, session.compiled.traits[session.given[index].trait])
    from_the_start = Session(session.compiled)
    trait = session.given[index].trait
    for i, one in enumerate(session.given):
        if i == index or one.trait != trait:
            from_the_start = from_the_start.answer(one.trait, reading if i == index else one.reading)
    changed = session.change(index, reading)
    assert changed.given == from_the_start.given
    assert [one for one in changed.given if one.trait == trait] == [Given(trait, reading)]
    assert (changed.belief.probability == from_the_start.belief.probability).all()


def test_going_back_and_changing_keep_the_views_and_the_target(random_kb: ModuleType) -> None:
    session = start(trait_kb(random_kb, {"one": {"x": "a"}, "two": {"x": "b"}}), views=["side"], target="all")
    t = session.compiled.trait("x")
    for other in (
        session.answer(t, seen("a")),
        session.answer(t, seen("a")).back(),
        session.answer(t, seen("a")).change(0, seen("b")),
    ):
        assert (other.views, other.target) == (session.views, "all")


# Unknown ---------------------------------------------------------------------------------------------------------------


@laws
@given(seeds)
def test_unknown_neither_helps_nor_hurts(random_kb: ModuleType, seed: int) -> None:
    """Where nothing is recorded of a variant, whatever is answered first leaves its chance as it was.

    Holds to the letter where every other variant's share is recorded whole and every unit has every slot; the unit that is
    not in the record is the same case.
    """
    entries = random_kb.random_entries(seed, random_kb.Mix(partial=False, unknown=False, kinds=False))
    blank = {"name": "Nobody looked", "how_common": "uncommon", "sold_alone": "common"}
    entries.variants["blank"] = Variant.model_validate(blank)
    entries.home["variant", "blank"] = random_kb.FAMILY
    session = start(entries)
    before = chances(session)
    for t, trait in enumerate(session.compiled.traits):
        for state in trait.states:
            after = chances(session.answer(t, Gone() if state == "missing" else seen(state)))
            for label in ("blank", NOT_IN_THE_RECORD):
                assert after[label] == pytest.approx(before[label], abs=1e-9), f"{trait.id} {state}"


@pytest.mark.parametrize("written", ["100 mm", "112 +- 1 mm"])
def test_an_unknown_measure_neither_helps_nor_hurts(written: str, random_kb: ModuleType) -> None:
    length = {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": 50, "most": 200}}
    shows = {"short": {"length": "100 +- 2 mm"}, "long": {"length": "120 +- 5 mm"}, "blank": {}}
    entries = random_kb.knowledge_base(traits={"length": length}, variants={v: {"shows": row} for v, row in shows.items()})
    session = start(entries)
    after = answered(session, entries, None, {"length": Answer.model_validate({"is": written})})
    assert chances(after)["short"] != pytest.approx(chances(session)["short"], abs=0.01)
    recorded = {label: chance for label, chance in chances(after).items() if label != NOT_IN_THE_RECORD}
    before = {label: chance for label, chance in chances(session).items() if label != NOT_IN_THE_RECORD}
    assert recorded["blank"] / sum(recorded.values()) == pytest.approx(before["blank"] / sum(before.values()), abs=1e-9)


def test_a_slot_nobody_recorded_anything_of_can_be_answered(random_kb: ModuleType) -> None:
    """The slot is known and parts fit it, yet no variant says what it was issued with: a record at its beginning."""
    horn = {"name": "Tone", "view": "below", "states": {"low": "Low", "high": "High"}}
    entries = random_kb.knowledge_base(
        family={"slots": {"horn": {"name": "Horn", "type": "horn"}}},
        variants={"one": {"how_common": "common"}, "two": {"how_common": "scarce"}},
        slot_types={"horn": {"traits": {"tone": horn}}},
        parts={p: {"type": "horn", "fits": {random_kb.FAMILY: ["horn"]}, "shows": {"tone": p}} for p in ("low", "high")},
    )
    session = start(entries)
    before = chances(session)
    after = answered(session, entries, None, {"horn.tone": Answer.model_validate({"is": "low"})})
    assert chances(after) == pytest.approx(before, abs=CLOSE)


# Verdicts --------------------------------------------------------------------------------------------------------------


def test_only_questions_in_the_views_at_hand_are_asked(random_kb: ModuleType) -> None:
    for seed in range(15):
        entries = random_kb.random_entries(seed)
        for views in (["side"], ["below"], []):
            session = start(entries, views=views)
            at_hand = {session.compiled.views[session.compiled.traits[q.trait].view] for q in session.questions}
            assert at_hand <= set(views)
            assert bool(at_hand) == any(
                trait.view >= 0 and session.compiled.views[trait.view] in views for trait in session.compiled.traits
            )


TWINS = {"one": {"x": "a", "y": "a"}, "twin": {"x": "a", "y": "a"}, "other": {"x": "b", "y": "a"}, "fourth": {"x": "b", "y": "c"}}


def test_twins_settle_together_and_are_named(random_kb: ModuleType) -> None:
    session = start(trait_kb(random_kb, TWINS))
    x, y = session.compiled.trait("x"), session.compiled.trait("y")
    found = session.answer(x, seen("a")).answer(y, seen("a"))
    assert found.leading[0] == ["one", "twin"]
    assert chances(found)["one"] < session.compiled.settled
    assert found.leading[1] >= session.compiled.settled
    assert found.settled
    assert found.next is None
    assert found.inseparable == ["one", "twin"]


def test_the_report_names_twins(random_kb: ModuleType) -> None:
    entries = trait_kb(random_kb, TWINS)
    session = start(entries)
    session = session.answer(session.compiled.trait("x"), seen("a")).answer(session.compiled.trait("y"), seen("a"))
    found = report(session, Words(entries, session.compiled))
    assert (found["cannot_be_told_apart"], found["settled"], found["next"]) == (["one", "twin"], True, None)


def test_variants_without_a_twin_are_not_said_to_be_inseparable(random_kb: ModuleType) -> None:
    session = start(trait_kb(random_kb, TWINS))
    found = session.answer(session.compiled.trait("x"), seen("b")).answer(session.compiled.trait("y"), seen("c"))
    assert found.settled
    assert found.leading[0] == ["fourth"]
    assert found.inseparable == []


@pytest.fixture
def told_apart_below(random_kb: ModuleType) -> Any:
    """Two variants that differ only underneath, and a third."""
    entries = trait_kb(
        random_kb,
        {"one": {"x": "a", "y": "a"}, "two": {"x": "a", "y": "b"}, "three": {"x": "b", "y": "b"}},
        not_in_the_record=0.01,
    )
    entries.traits["y"] = entries.traits["y"].model_copy(update={"view": "below"})
    return entries


def test_what_the_views_at_hand_cannot_separate_is_named(told_apart_below: Any) -> None:
    session = start(told_apart_below, views=["side"])
    found = session.answer(session.compiled.trait("x"), seen("a"))
    assert found.settled
    assert found.inseparable == ["one", "two"]
    whole = start(told_apart_below).answer(session.compiled.trait("x"), seen("a"))
    assert not whole.settled
    assert whole.inseparable == []


def test_what_one_cannot_tell_separates_nobody(told_apart_below: Any) -> None:
    session = start(told_apart_below)
    x, y = session.compiled.trait("x"), session.compiled.trait("y")
    found = session.answer(x, seen("a")).answer(y, CannotTell())
    assert found.settled
    assert found.inseparable == ["one", "two"]


def test_cannot_tell_does_not_take_back_what_was_told(told_apart_below: Any) -> None:
    """The earlier answer still counts, so it still separates."""
    session = start(told_apart_below)
    x, y = session.compiled.trait("x"), session.compiled.trait("y")
    told = session.answer(x, seen("a")).answer(y, seen("b"))
    assert told.leading[0] == ["two"]
    again = told.answer(y, CannotTell())
    assert again.belief.probability == pytest.approx(told.belief.probability, abs=CLOSE)
    assert again.leading == told.leading


@laws
@given(seeds)
def test_nothing_is_asked_once_it_is_settled(random_session: Callable[[int], Session], seed: int) -> None:
    session, rng = random_session(seed), Random(seed)
    for _ in range(200):
        assert not (session.settled and session.next)
        if session.next is None:
            break
        question = session.next.question
        states = session.compiled.traits[question.trait].states
        session = session.answer(question.trait, Seen(frozenset(states[k] for k in rng.choice(question.outcomes[:2]))))
    assert session.next is None, "it never ends"


def test_a_mixture_of_variants_is_not_in_the_record(random_kb: ModuleType) -> None:
    names = [f"trait-{i}" for i in range(6)]
    rows = {f"variant-{state}": dict.fromkeys(names, state) for state in "abcd"}
    session = start(trait_kb(random_kb, rows, mistakes=0.01))
    assert session.variants[-1][0] == NOT_IN_THE_RECORD
    for i, name in enumerate(names):
        session = session.answer(session.compiled.trait(name), seen("ab"[i % 2]))
    label, chance = session.variants[0]
    assert label == NOT_IN_THE_RECORD
    assert chance > 0.9
    assert session.settled


@pytest.mark.parametrize("mistakes", [0.0, 0.01])
def test_a_state_that_no_candidate_shows_is_impossible_only_without_mistakes(mistakes: float, random_kb: ModuleType) -> None:
    session = start(trait_kb(random_kb, {"one": {"x": "a"}, "two": {"x": "b"}}, mistakes=mistakes))
    after = session.answer(session.compiled.trait("x"), seen("c"))
    assert after.belief.plausible == (mistakes > 0)
    assert after.belief.probability == pytest.approx(session.belief.probability)
    if not after.belief.plausible:
        assert not after.settled
        assert after.next is None


def test_two_answers_no_variant_shows_together_are_plausible_as_an_unrecorded_unit(random_kb: ModuleType) -> None:
    rows = {"one": {"x": "a", "y": "a"}, "two": {"x": "b", "y": "b"}}
    session = start(trait_kb(random_kb, rows, mistakes=0.0))
    after = session.answer(session.compiled.trait("x"), seen("a")).answer(session.compiled.trait("y"), seen("b"))
    assert after.belief.plausible
    assert chances(after) == {NOT_IN_THE_RECORD: 1.0, "one": 0.0, "two": 0.0}


# Measured values and missing parts -------------------------------------------------------------------------------------


@pytest.fixture
def shelf(random_kb: ModuleType) -> Any:
    """Two bodies of unlike length and color, with a coupler that has a jaw and a shank one measures."""
    shank = {"name": "Shank", "view": "below", "measured": {"unit": "mm", "least": 5, "most": 50}}
    jaw = {"name": "Jaw", "view": "side", "mistakes": 0.01, "states": {"fixed": "Fixed", "opening": "Opening"}}
    length = {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": 50, "most": 350}}
    color = {"name": "Color", "view": "side", "mistakes": 0.01, "states": {"red": "Red", "blue": "Blue"}}
    roof = {"name": "Roof", "view": "side", "mistakes": 0.01, "states": {"plain": "Plain", "ribbed": "Ribbed"}}
    return random_kb.knowledge_base(
        about={"blunders": 0.02},
        traits={"length": length, "color": color, "roof": roof},
        family={"slots": {"coupler": {"name": "Coupler", "type": "coupler", "swapped": 0.3, "missing": 0.5, "unlisted": 0.1}}},
        variants={
            "long": {"shows": {"length": "271 +- 1 mm", "color": "red", "roof": "plain"}, "fitted": {"coupler": "hook"}},
            "short": {"shows": {"length": "254 +- 1 mm", "color": "blue", "roof": "ribbed"}, "fitted": {"coupler": "claw"}},
        },
        slot_types={"coupler": {"traits": {"jaw": jaw, "shank": shank}}},
        parts={
            "hook": {
                "type": "coupler",
                "fits": {random_kb.FAMILY: ["coupler"]},
                "shows": {"jaw": "fixed", "shank": "14 +- 0.5 mm"},
            },
            "claw": {
                "type": "coupler",
                "fits": {random_kb.FAMILY: ["coupler"]},
                "shows": {"jaw": "opening", "shank": "19 +- 0.5 mm"},
            },
        },
    )


def fitted_now(session: Session, part: str) -> float:
    """The chance that this part sits in the coupler slot."""
    compiled, belief = session.compiled, session.belief
    s = next(i for i, slot in enumerate(compiled.slots) if slot.id == "coupler")
    slot = compiled.slots[s]
    now = belief.probability @ parts_now(slot, belief.evidence[s], belief.factor[s])[slot.row]
    return float(now[slot.parts.index(part)])


def test_a_blunder_in_measuring_does_not_exclude(shelf: Any) -> None:
    session = start(shelf)
    wild = session.answer(session.compiled.trait("length"), Measured(12.0, 0.5))
    assert wild.belief.plausible
    recorded = {name: chance for name, chance in chances(wild).items() if name != NOT_IN_THE_RECORD}
    before = {name: chance for name, chance in chances(session).items() if name != NOT_IN_THE_RECORD}
    assert len({round(chance / before[name], 9) for name, chance in recorded.items()}) == 1, "it tells no variant from another"
    assert chances(wild)[NOT_IN_THE_RECORD] > chances(session)[NOT_IN_THE_RECORD], "it speaks for one that nobody recorded"
    wrong = session.answer(session.compiled.trait("length"), Measured(254.0, 0.5))
    assert chances(wrong)["short"] > 0.9
    right = wrong
    for key, state in {"color": "red", "roof": "plain", "coupler": "hook"}.items():
        right = right.answer(session.compiled.trait(key), seen(state))
    assert chances(right)["long"] > 10 * chances(right)["short"], "one slip of the ruler against three good answers"


def test_bounds_that_cross_move_nothing(shelf: Any) -> None:
    session = start(shelf)
    t = session.compiled.trait("length")
    inf = float("inf")
    crossed = session.answer(t, Between(260, inf)).answer(t, Between(-inf, 240))
    assert crossed.belief.plausible
    assert crossed.belief.probability == pytest.approx(session.belief.probability, abs=CLOSE)


def test_a_coupler_whose_jaw_was_seen_is_there(shelf: Any) -> None:
    session = start(shelf)
    assert fitted_now(session, "none") > 0.1
    assert fitted_now(session.answer(session.compiled.trait("coupler.jaw"), seen("fixed")), "none") < 0.01


def test_a_coupler_whose_shank_was_measured_is_there(shelf: Any) -> None:
    """What is not there has no length."""
    session = start(shelf)
    assert fitted_now(session.answer(session.compiled.trait("coupler.shank"), Measured(14.0, 0.2)), "none") < 0.01


@pytest.mark.parametrize("key", ["coupler", "coupler.jaw", "coupler.shank"])
def test_missing_says_so_whichever_trait_was_asked(key: str, shelf: Any) -> None:
    after = answered(start(shelf), shelf, None, {key: Answer.model_validate({"is": "missing"})})
    assert fitted_now(after, "none") > 0.9


def test_every_question_has_two_sides(shelf: Any) -> None:
    """Yes and no share the states between them; a part can also be missing."""
    compiled = start(shelf).compiled
    for t, trait in enumerate(compiled.traits):
        for question in yes_no(compiled, t):
            if not trait.measured:
                sides = [k for outcome in question.outcomes for k in outcome]
                assert sorted(sides) == list(range(len(trait.states)))


def test_what_is_told_replaces_what_was_answered(random_kb: ModuleType) -> None:
    """Told twice, the last counts; told that one cannot tell, the answers before are taken back."""
    session = start(trait_kb(random_kb, {"one": {"x": "a"}, "two": {"x": "b"}}))
    t = session.compiled.trait("x")
    assert session.answer(t, seen("a")).tell(t, seen("b")).given == (Given(t, seen("b")),)
    taken_back = session.answer(t, seen("a")).tell(t, CannotTell())
    assert (taken_back.belief.probability == session.belief.probability).all()
