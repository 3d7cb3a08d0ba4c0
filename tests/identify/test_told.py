"""What others say of a trait, as one piece of evidence with one's own answers: the laws of its worth, and of what to ask then."""

from dataclasses import replace
from itertools import pairwise
from random import Random
from types import ModuleType

import numpy as np
import pytest
from tellmark.identify.arrays import Floats
from tellmark.identify.given import Heard
from tellmark.identify.questions import entropy, news, variant_groups, yes_no
from tellmark.identify.session import Session
from tellmark.identify.start import start
from tellmark.identify.swaps import explanations
from tellmark.identify.views import NewsOfViews
from tellmark.kb.reading import Gone, Measured, Reading, Seen, Typed

SEEDS = range(40)


def told(session: Session, rng: Random, wrong: float, most: int = 3) -> tuple[Heard, ...]:
    traits = rng.sample(range(len(session.compiled.traits)), min(most, len(session.compiled.traits)))
    states = [session.compiled.traits[t].states for t in traits]
    return tuple(Heard(t, Seen(frozenset({rng.choice(some)})), wrong) for t, some in zip(traits, states, strict=True))


@pytest.mark.parametrize("seed", SEEDS)
def test_worthless_words_move_nothing(seed: int, random_kb: ModuleType) -> None:
    session = start(random_kb.random_entries(seed))
    after = replace(session, heard=told(session, Random(seed), 1.0))
    assert after.belief.probability == pytest.approx(session.belief.probability, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_words_that_are_always_right_are_answers(seed: int, random_kb: ModuleType) -> None:
    session = start(random_kb.random_entries(seed))
    heard = told(session, Random(seed), 0.0)
    seen = session
    for one in heard:
        seen = seen.answer(one.trait, one.reading)
    after = replace(session, heard=heard)
    assert after.belief.plausible == seen.belief.plausible
    assert after.belief.probability == pytest.approx(seen.belief.probability, abs=1e-12)
    if seen.belief.plausible:
        ours, theirs = (explanations(one.compiled, one.belief, one.evidence) for one in (after, seen))
        assert [(one.variant, one.changed, one.misread) for one in ours] == [(o.variant, o.changed, o.misread) for o in theirs]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_less_it_is_wrong_the_more_it_moves(seed: int, random_kb: ModuleType) -> None:
    """The chance of what is told, of the variant that shows it best."""
    session = start(random_kb.random_entries(seed))
    (one,) = told(session, Random(seed), 0.0, most=1)
    shares: list[float] = []
    for wrong in (1.0, 0.6, 0.2, 0.0):
        after = replace(session, heard=(replace(one, wrong=wrong),))
        sure = replace(session, heard=(one,)).belief.factor[session.compiled.traits[one.trait].slot]
        best = sure[session.compiled.slots[session.compiled.traits[one.trait].slot].row].argmax()
        shares.append(float(after.belief.probability[best]))
    assert all(later >= sooner - 1e-12 for sooner, later in pairwise(shares))


@pytest.mark.parametrize("seed", SEEDS)
def test_news_after_words_is_what_the_answers_would_bring(seed: int, random_kb: ModuleType) -> None:
    """Expected news against the belief after each answer, for a trait that is told of and was not looked at, and for another."""
    rng = Random(seed)
    session = replace(start(random_kb.random_entries(seed)), heard=told(start(random_kb.random_entries(seed)), rng, 0.2))
    compiled, belief = session.compiled, session.belief
    groups = variant_groups(compiled)

    def open_bits(probability: Floats) -> float:
        shares: Floats = np.zeros(int(groups.max() - groups.min()) + 1)
        np.add.at(shares, groups - groups.min(), probability)
        return entropy(shares)

    before = open_bits(belief.probability)
    for t in range(len(compiled.traits)):
        if not compiled.traits[t].asked:
            continue
        for question in yes_no(compiled, t):
            after = 0.0
            for outcome in question.outcomes:
                states = frozenset(compiled.traits[t].states[k] for k in outcome)
                reading: Reading = Gone() if states == frozenset({"missing"}) else Seen(states)
                then = session.answer(t, reading)
                chance = np.array([(then.belief.factor[s] / belief.factor[s])[slot.row] for s, slot in enumerate(compiled.slots)])
                whole = float(belief.probability @ np.prod(chance, axis=0))
                after += whole * open_bits(then.belief.probability)
            (found,) = news(compiled, belief, [question], groups, [one for one in session.evidence if one.trait == t])
            assert found == pytest.approx(before - after, abs=1e-9), (t, question)


VALUES = [
    ("a value", "length", Measured(120.0, 0.5), Measured(300.0, 0.5)),
    ("a marking", "mark", Typed("AB12"), Typed("QQ99")),
]


@pytest.mark.parametrize(("trait", "right", "far"), [case[1:] for case in VALUES], ids=[case[0] for case in VALUES])
def test_values_and_markings_are_told_as_well(trait: str, right: Reading, far: Reading, random_kb: ModuleType) -> None:
    entries = random_kb.knowledge_base(
        traits={
            "length": {"name": "Length", "view": "side", "measured": {"unit": "mm", "least": 50, "most": 350}},
            "mark": {"name": "Mark", "view": "side", "marking": {}},
        },
        variants={
            "one": {"name": "One", "shows": {"length": "120 +- 1 mm", "mark": "AB12"}},
            "two": {"name": "Two", "shows": {"length": "200 +- 1 mm", "mark": "CD34"}},
        },
    )
    session = start(entries)
    t = session.compiled.trait(trait)

    def share(reading: Reading, wrong: float, own: Reading | None = None) -> float:
        seen = session if own is None else session.answer(t, own)
        return dict(replace(seen, heard=(Heard(t, reading, wrong),)).variants)["one"]

    plain = dict(session.variants)["one"]
    assert share(right, 1.0) == pytest.approx(plain)
    assert share(right, 0.0) == pytest.approx(dict(session.answer(t, right).variants)["one"])
    assert plain < share(right, 0.3) < share(right, 0.1) < share(right, 0.0)
    assert share(far, 0.1) == pytest.approx(plain, abs=0.03)
    assert share(far, 0.1, own=right) > 0.9
    open_questions = {one.trait for one in replace(session, heard=(Heard(t, right, 0.1),)).questions}
    assert t in open_questions, "what one is told, one can still look at"


@pytest.mark.parametrize("seed", range(12))
def test_news_of_views_adds_up(seed: int, random_kb: ModuleType) -> None:
    session = start(random_kb.random_entries(seed))
    views = range(len(session.compiled.views))
    worth = NewsOfViews(session.compiled, session.belief, session.seen)
    assert worth.of([]) == 0.0
    whole = worth.of(list(views))
    assert all(0.0 <= worth.of([v]) <= whole + 0.1 for v in views)
