"""What is asked first when views, forms, mistakes and what is known already are counted."""

# scipy comes without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false

from collections.abc import Callable
from random import Random
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from tellmark.identify.belief import Evidence, changed_share, likelihood
from tellmark.identify.plan import Game, best, least_effort
from tellmark.identify.questions import Question, entropy, news, variant_groups, whole, yes_no
from tellmark.identify.session import Session
from tellmark.identify.start import start
from tellmark.kb.reading import Between, Measured, Seen, Typed

seeds = st.integers(0, 10**6)
laws = settings(max_examples=40, deadline=None, derandomize=True)


def seen(*states: str) -> Seen:
    return Seen(frozenset(states))


def look(view: str, *states: str, mistakes: float = 0.0) -> dict[str, Any]:
    return {"name": "Look", "view": view, "mistakes": mistakes, "states": {state: state for state in states}}


def asked(session: Session) -> str:
    """The trait that is asked about next."""
    assert session.to_ask is not None
    return session.compiled.traits[session.to_ask.question.trait].id


# Effort ------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def grid(random_kb: ModuleType) -> Callable[[float], Session]:
    """Nine variants, three by three. The top tells the row in two questions at 1.5 each, the underside both row and column:
    once the unit is turned over, every further look there is a glance."""

    def make(under: float) -> Session:
        views = {view: {"name": view, "effort": effort} for view, effort in {"top": 1.5, "under": under, "inside": 30}.items()}
        traits = {
            "row-top": look("top", "r0", "r1", "r2"),
            "row-under": look("under", "r0", "r1", "r2"),
            "column": look("under", "k0", "k1", "k2"),
            "row-inside": look("inside", "r0", "r1", "r2"),
        }
        variants = {
            f"v{r}{k}": {"shows": {"row-top": f"r{r}", "row-under": f"r{r}", "row-inside": f"r{r}", "column": f"k{k}"}}
            for r in range(3)
            for k in range(3)
        }
        return start(
            random_kb.knowledge_base(
                about={"views": views, "not_in_the_record": 1e-6, "settled": 0.99}, traits=traits, variants=variants
            )
        )

    return make


def played(session: Session, truth: dict[str, str]) -> Session:
    """To the end with truthful answers."""
    while (proposal := session.to_ask) is not None:
        trait = session.compiled.traits[proposal.question.trait]
        k = trait.states.index(truth[trait.id])
        outcome = next(outcome for outcome in proposal.question.outcomes if k in outcome)
        session = session.reply(proposal.question, seen(*(trait.states[j] for j in outcome)))
    return session


@pytest.mark.parametrize("row", range(3))
@pytest.mark.parametrize("column", range(3))
def test_questions_that_share_a_view_are_asked_together(row: int, column: int, grid: Callable[[float], Session]) -> None:
    """The column needs the underside in any case, so the row is asked there as well, at a glance each."""
    truth = {"row-top": f"r{row}", "row-under": f"r{row}", "row-inside": f"r{row}", "column": f"k{column}"}
    session = played(grid(4.0), truth)
    assert session.settled
    assert {session.compiled.traits[one.trait].id for one in session.given} == {"row-under", "column"}


def test_a_view_is_dear_to_get_to_and_a_glance_once_there(grid: Callable[[float], Session]) -> None:
    session = grid(4.0)
    by_id = {session.compiled.traits[q.trait].id: q for q in session.questions}
    assert (session.effort(by_id["column"]), session.effort(by_id["row-top"])) == (4.0, 1.5)
    turned = session.reply(by_id["column"], seen("k0"))
    again = {session.compiled.traits[q.trait].id: q for q in turned.questions}
    assert (turned.effort(again["row-under"]), turned.effort(again["row-top"])) == (1.0, 1.5)


def test_views_that_are_not_at_hand_are_not_asked_for(grid: Callable[[float], Session]) -> None:
    from dataclasses import replace

    session = grid(4.0)
    limited = replace(session, views=frozenset({session.compiled.views.index("top")}))
    assert {session.compiled.traits[q.trait].id for q in limited.questions} == {"row-top"}
    assert not played(limited, {"row-top": "r1"}).proposals


# The plan itself ----------------------------------------------------------------------------------------------------------


def game(weights: list[float], tables: list[list[int]], settled: float = 1 - 1e-7) -> Game:
    """Yes/no questions at one effort; tables[q][h] is 1 for yes."""
    chances = [np.array([[row, 1 - row] for row in table], dtype=float) for table in tables]
    ones = np.ones(len(tables))
    groups = np.arange(len(weights))
    return Game(np.array(weights), groups, chances, [0] * len(tables), ones, ones, 0, settled)


@pytest.mark.parametrize(
    ("weights", "tables", "effort", "first"),
    [
        pytest.param([0.5, 0.5], [[1, 0]], 1.0, 0, id="one question"),
        pytest.param([0.25] * 4, [[1, 0, 0, 0], [1, 1, 0, 0], [1, 0, 1, 0]], 2.0, 1, id="two even splits before one off"),
        pytest.param([0.5, 0.25, 0.125, 0.125], [[1, 1, 0, 0], [1, 0, 0, 0], [1, 0, 1, 0]], 1.75, 1, id="heaviest first"),
        pytest.param([0.25] * 4, [[1, 1, 0, 0], [1, 1, 0, 0]], 1.0, 0, id="ties go to the first; twins are left"),
    ],
)
def test_small_games_by_hand(weights: list[float], tables: list[list[int]], effort: float, first: int) -> None:
    found = game(weights, tables)
    assert least_effort(found) == pytest.approx(effort, abs=1e-9)
    assert best(found) == first


def test_a_settled_share_ends_the_game() -> None:
    """At 90 % the leader is enough: nothing is asked to be surer."""
    assert least_effort(game([0.92, 0.05, 0.03], [[1, 0, 0], [1, 1, 0]], settled=0.9)) == 0.0


@laws
@given(seeds)
def test_more_hypotheses_than_can_be_solved_still_get_a_telling_question(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tables = rng.integers(0, 2, size=(20, 60))
    found = game(list(rng.dirichlet(np.ones(60))), tables.tolist())
    q = best(found)
    yes = float(found.weight @ tables[q])
    assert 0.2 < yes < 0.8


# Parts that are known to be swapped -----------------------------------------------------------------------------------------


def test_a_part_known_to_be_swapped_says_nothing_more_of_the_variant(random_kb: ModuleType) -> None:
    """The body is the early one without doubt; its motor was named and is a late one; so its look is worth nothing."""
    motors = {
        "early-motor": {"type": "motor", "fits": {random_kb.FAMILY: ["motor"]}, "shows": {"gears": "one", "brushes": "flat"}},
        "late-motor": {"type": "motor", "fits": {random_kb.FAMILY: ["motor"]}, "shows": {"gears": "two", "brushes": "round"}},
    }
    session = start(
        random_kb.knowledge_base(
            about={"settled": 0.999},
            traits={"body": look("side", "early", "late", mistakes=0.05), "roof": look("side", "plain", "vented", mistakes=0.05)},
            family={"slots": {"motor": {"name": "Motor", "type": "motor", "swapped": 0.2, "unlisted": 0}}},
            variants={
                "early": {"shows": {"body": "early", "roof": "plain"}, "fitted": {"motor": "early-motor"}},
                "late": {"shows": {"body": "late", "roof": "vented"}, "fitted": {"motor": "late-motor"}},
            },
            slot_types={"motor": {"traits": {"gears": look("below", "one", "two"), "brushes": look("below", "flat", "round")}}},
            parts=motors,
        )
    )
    trait = {one.id: t for t, one in enumerate(session.compiled.traits)}
    ask = [yes_no(session.compiled, trait[name])[0] for name in ("motor.brushes", "roof")]

    def worth(now: Session) -> list[float]:
        return news(now.compiled, now.belief, ask, variant_groups(now.compiled), now.evidence).tolist()

    before = worth(session)
    after = worth(session.answer(trait["body"], seen("early")).answer(trait["motor.gears"], seen("two")))
    assert before[0] > 0.2, "the motor tells much while nothing is known of it"
    assert after[0] < 0.02 * before[0], "the second trait of a swapped motor is the same piece of news"
    assert after[1] > 10 * after[0]


def test_a_part_in_doubt_is_looked_at_once_more_when_the_variant_is_settled(random_kb: ModuleType) -> None:
    """One trait of the motor looks late: a slip or a swap?  The other trait tells, and then nothing more is asked."""
    motor = {"type": "motor", "fits": {random_kb.FAMILY: ["motor"]}}
    session = start(
        random_kb.knowledge_base(
            about={"not_in_the_record": 0.001},
            traits={"body": look("side", "early", "late", mistakes=0.001)},
            family={"slots": {"motor": {"name": "Motor", "type": "motor", "swapped": 0.1, "unlisted": 0, "missing": 0}}},
            variants={v: {"shows": {"body": v}, "fitted": {"motor": "old"}} for v in ("early", "late")},
            slot_types={
                "motor": {"traits": {n: look("below", "one", "two", mistakes=0.1) for n in ("gears", "brushes", "wires")}}
            },
            parts={
                "old": motor | {"shows": {"gears": "one", "brushes": "one", "wires": "one"}},
                "new": motor | {"shows": {"gears": "two", "brushes": "two", "wires": "two"}},
            },
        )
    )
    trait = {one.id: t for t, one in enumerate(session.compiled.traits)}
    settled = session.answer(trait["body"], seen("early"))
    assert settled.to_ask is None, "nothing speaks for a swap, and the variant is all that was wanted"
    doubtful = settled.answer(trait["motor.gears"], seen("two"))
    assert (doubtful.settled, doubtful.next) == (True, None)
    assert doubtful.to_ask is not None
    assert asked(doubtful) in ("motor.brushes", "motor.wires")
    confirmed = played(doubtful, {"motor.brushes": "two", "motor.wires": "two", "motor.gears": "two"})
    cleared = played(doubtful, {"motor.brushes": "one", "motor.wires": "one", "motor.gears": "one"})
    slot = settled.compiled.traits[trait["motor.gears"]].slot
    for session, low, high in ((confirmed, 0.85, 1.0), (cleared, 0.0, 0.15)):
        assert low <= changed_share(session.compiled, session.belief, slot) <= high


# Second looks ---------------------------------------------------------------------------------------------------------------


@pytest.fixture
def pair(random_kb: ModuleType) -> Session:
    """Two variants that one trait separates well and three others separate less well."""
    return start(
        random_kb.knowledge_base(
            about={"not_in_the_record": 1e-4, "settled": 0.97},
            traits={
                "stripe": look("side", "wide", "thin", mistakes=0.04),
                **{f"mark-{i}": look("side", "left", "right", mistakes=0.2) for i in range(3)},
            },
            variants={
                "one": {"shows": {"stripe": "wide", **{f"mark-{i}": "left" for i in range(3)}}},
                "two": {"shows": {"stripe": "thin", **{f"mark-{i}": "right" for i in range(3)}}},
            },
        )
    )


def test_an_answer_that_the_others_contradict_is_asked_again(pair: Session) -> None:
    stripe = pair.compiled.trait("stripe")
    session = pair.answer(stripe, seen("wide"))
    assert asked(session) != "stripe", "nothing speaks against it yet, and there is more to ask"
    for i in range(3):
        session = session.answer(pair.compiled.trait(f"mark-{i}"), seen("right"))
    assert session.look_again is not None
    assert asked(session) == "stripe"
    assert session.to_ask is session.look_again
    question = session.look_again.question
    confirmed = session.reply(question, seen("wide"))
    corrected = session.reply(question, seen("thin"))
    assert confirmed.variants[0][0] == "one"
    assert corrected.variants[0][0] == "two"
    assert corrected.variants[0][1] > session.variants[0][1]


def test_nobody_is_asked_a_third_time(pair: Session) -> None:
    session = pair
    for _ in range(20):
        if session.to_ask is None:
            break
        session = session.reply(session.to_ask.question, seen(session.compiled.traits[session.to_ask.question.trait].states[0]))
    looks = [one.look for one in session.given]
    assert session.to_ask is None
    assert max(looks) <= 1


@laws
@given(seeds)
def test_two_looks_are_one_truth_read_twice(random_kb: ModuleType, seed: int) -> None:
    """The likelihood of both by summing over what is there; each look goes wrong by itself."""
    compiled, rng = start(random_kb.random_entries(seed)).compiled, Random(seed)
    trait = rng.choice([one for one in compiled.traits if one.states])
    first, second = (np.array([float(rng.random() < 0.5) for _ in trait.states]) for _ in range(2))
    if not first.any() or not second.any():
        return
    for i, row in enumerate(trait.truth):
        expected = 0.0
        for k, share in enumerate(row):
            read = [sum(trait.confusion[k, j] for j in range(len(trait.states)) if answer[j]) for answer in (first, second)]
            expected += share * read[0] * read[1]
        assert likelihood(trait, Evidence(0, weights=first, again=(second,)))[i] == pytest.approx(expected, abs=1e-12)


@laws
@given(seeds)
def test_news_of_another_look_is_what_it_would_change(random_kb: ModuleType, seed: int) -> None:
    session, rng = start(random_kb.random_entries(seed)), Random(seed)
    for _ in range(rng.randint(1, 3)):
        t = rng.randrange(len(session.compiled.traits))
        states = session.compiled.traits[t].states
        session = session.answer(t, seen(rng.choice(states))) if not any(one.trait == t for one in session.given) else session
    groups = variant_groups(session.compiled)

    def uncertainty(now: Session) -> float:
        return entropy(np.array([now.belief.probability[groups == group].sum() for group in np.unique(groups)]))

    for look_again in session.second_looks:
        question, states = look_again.question, session.compiled.traits[look_again.question.trait].states
        left = 0.0
        for outcome in question.outcomes:
            after = session.reply(question, seen(*(states[k] for k in outcome)))
            left += total_chance(after) / total_chance(session) * uncertainty(after)
        assert look_again.bits == pytest.approx(uncertainty(session) - left, abs=1e-7)


def total_chance(session: Session) -> float:
    """P(all answers): the sum that belief divides by."""
    chance = session.compiled.prior.copy()
    for slot, factor in zip(session.compiled.slots, session.belief.factor, strict=True):
        chance = chance * factor[slot.row]
    return float(chance.sum())


# Choices, values and readings -----------------------------------------------------------------------------------------------


@pytest.fixture
def forms(random_kb: ModuleType) -> Session:
    """Four variants that a color (four states), a length and a number would each separate."""
    lengths, colors, numbers = ["100 +- 1 mm", "104 +- 1 mm", "110 +- 1 mm", "125 +- 1 mm"], "abcd", ["21", "47", "363", "9018"]
    entries = random_kb.knowledge_base(
        about={"not_in_the_record": 1e-4, "blunders": 0.01},
        traits={
            "color": look("side", *colors, mistakes=0.01),
            "length": {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": 80, "most": 150, "read_to": 0.5}},
            "number": {"name": "Number", "view": "side", "marking": {}},
        },
        variants={f"v{i}": {"shows": {"color": colors[i], "length": lengths[i], "number": {"is": numbers[i]}}} for i in range(4)},
    )
    return start(entries, ask="any")


def test_every_form_competes_by_its_news_for_its_effort(forms: Session) -> None:
    found = {(forms.compiled.traits[one.question.trait].id, one.question.form): one for one in forms.proposals}
    assert set(found) == {
        ("color", "yes-no"),
        ("color", "choice"),
        ("length", "yes-no"),
        ("length", "value"),
        ("number", "reading"),
    }
    assert found["color", "choice"].bits == pytest.approx(2.0, abs=0.15)
    assert found["length", "value"].bits == pytest.approx(1.8, abs=0.1), "the two shortest overlap"
    assert [found[key].effort for key in (("color", "choice"), ("length", "value"), ("number", "reading"))] == [1.5, 3.0, 1.5]


def test_yes_no_alone_asks_for_no_pictures_and_no_caliper(forms: Session) -> None:
    from dataclasses import replace

    plain = replace(forms, ask="yes-no")
    assert {one.question.form for one in plain.proposals} == {"yes-no", "reading"}


def test_news_of_a_value_against_the_normal_distribution(forms: Session) -> None:
    """The stretches between the cuts, by scipy, for a reading good to 0.5 mm."""
    t = forms.compiled.trait("length")
    trait, question = forms.compiled.traits[t], whole(forms.compiled, t)
    edges = [-np.inf, *trait.cuts, np.inf]
    below = np.array([norm.cdf(edges, loc=mean, scale=np.hypot(1, 0.5)) for mean in (100, 104, 110, 125)], dtype=float)  # pyright: ignore
    table = 0.99 * np.diff(below, axis=1) + 0.01 * np.diff(np.clip(edges, 80, 150)) / 70
    expected = entropy(table.mean(axis=0)) - np.mean([entropy(row) for row in table])
    found = news(forms.compiled, forms.belief, [question], variant_groups(forms.compiled))[0]
    assert found == pytest.approx(expected, abs=5e-3), "the unit that is not in the record has a ten-thousandth"


def test_the_cut_that_tells_most_is_asked(forms: Session) -> None:
    t = forms.compiled.trait("length")
    cuts = [one for one in forms.proposals if one.question.trait == t and one.question.cut is not None]
    assert cuts[0].question.cut == 107.0, "halfway between the middle two"


def test_a_typed_text_and_a_measured_value_are_answers(forms: Session) -> None:
    number, length = forms.compiled.trait("number"), forms.compiled.trait("length")
    assert forms.answer(number, Typed("?018")).variants[0][0] == "v3"
    assert forms.answer(length, Measured(103.8, 0.5)).variants[0][0] == "v1"
    assert forms.answer(length, Between(115, np.inf)).variants[0][0] == "v3"


@pytest.mark.parametrize("value", [60.0, 95.0, 117.0, 148.0])
def test_a_value_outside_every_tolerance_is_a_blunder_and_no_proof(value: float, forms: Session) -> None:
    """It moves no two recorded variants against each other by more than the share of blunders allows."""
    color = forms.compiled.trait("color")
    sure = forms.answer(color, seen("b"))
    after = sure.answer(forms.compiled.trait("length"), Measured(value, 0.5))
    assert after.variants[0][0] == "v1"
    assert after.variants[0][1] > 0.9


def test_an_open_question_of_one_trait_at_a_time(forms: Session) -> None:
    """What was asked as a whole is not asked again state by state."""
    t = forms.compiled.trait("color")
    after = forms.reply(Question(t, whole(forms.compiled, t).outcomes, form="choice"), seen("a"))
    assert all(question.trait != t for question in after.questions)


def test_a_question_settles_at_once_only_by_the_chances_that_the_plan_is_made_with() -> None:
    """With the answer that would be a mistake the first question leaves its leader above the line; without it, just below."""
    weight = np.array([0.6, 0.034, 0.366])
    nearly = np.array([[1.0, 0.0], [0.9, 0.1], [0.0, 1.0]])
    game = Game(weight, np.arange(3), [nearly, np.eye(3)], [-1, -1], np.ones(2), np.ones(2), -1, 0.95)
    assert best(game) == 1
