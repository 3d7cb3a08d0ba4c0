"""The news of a question against published and independent figures for entropy and information.

Sources: J. R. Quinlan, Induction of Decision Trees, Machine Learning 1 (1986) 81-106 (the table of fourteen mornings and
the figures printed there, both from memory); C. E. Shannon, A Mathematical Theory of Communication, Bell System Technical
Journal 27 (1948) 379-423; scipy.stats.entropy; sklearn.metrics.mutual_info_score.
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

import csv
import math
from collections.abc import Callable
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import entropy as scipy_entropy
from sklearn.metrics import mutual_info_score
from tellmark.identify.questions import entropy, news, variant_groups, whole, yes_no
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.imported import Wishes, import_table
from tellmark.kb.load import Entries, load

#: Quinlan's Table 1: outlook, temperature, humidity, windy, class.
MORNINGS = [
    ("sunny", "hot", "high", "false", "N"),
    ("sunny", "hot", "high", "true", "N"),
    ("overcast", "hot", "high", "false", "P"),
    ("rain", "mild", "high", "false", "P"),
    ("rain", "cool", "normal", "false", "P"),
    ("rain", "cool", "normal", "true", "N"),
    ("overcast", "cool", "normal", "true", "P"),
    ("sunny", "mild", "high", "false", "N"),
    ("sunny", "cool", "normal", "false", "P"),
    ("rain", "mild", "normal", "false", "P"),
    ("sunny", "mild", "normal", "true", "P"),
    ("overcast", "mild", "high", "true", "P"),
    ("overcast", "hot", "normal", "false", "P"),
    ("rain", "mild", "high", "true", "N"),
]
ATTRIBUTES = ("outlook", "temperature", "humidity", "windy")
#: As printed, which is cut off rather than rounded after the third figure.
CLASS_ENTROPY, GAINS = 0.940, {"outlook": 0.246, "temperature": 0.029, "humidity": 0.151, "windy": 0.048}
#: The unit that is not in the record cannot be left out, so it is given next to nothing.
NOT_IN_THE_RECORD = 1e-12


# Quinlan 1986 ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def mornings(random_kb: ModuleType) -> Entries:
    """Each morning a variant that shows its four attributes."""
    traits = {
        name: {
            "name": name,
            "view": "side",
            "mistakes": 0,
            "states": {state: state for state in dict.fromkeys(row[a] for row in MORNINGS)},
        }
        for a, name in enumerate(ATTRIBUTES)
    }
    variants = {f"morning-{m:02}": {"shows": dict(zip(ATTRIBUTES, row[:4], strict=True))} for m, row in enumerate(MORNINGS)}
    return random_kb.knowledge_base(about={"not_in_the_record": NOT_IN_THE_RECORD}, traits=traits, variants=variants)


def check_gains(session: Session, class_of: dict[str, str], family: str | None = None) -> None:
    """The entropy of the class, and the gain of each attribute asked as a choice, as printed."""
    compiled, belief = session.compiled, session.belief
    groups = np.array([{"N": 0, "P": 1}.get(class_of.get(compiled.label(c), ""), -1) for c in range(compiled.candidates)])
    shares = np.array([belief.probability[groups == group].sum() for group in (0, 1)])
    assert entropy(shares) == pytest.approx(CLASS_ENTROPY, abs=1e-3)
    questions = [whole(compiled, compiled.trait(name, family)) for name in ATTRIBUTES]
    found = dict(zip(ATTRIBUTES, news(compiled, belief, questions, groups).tolist(), strict=True))
    assert found == pytest.approx(GAINS, abs=1e-3)


def test_gains_of_the_fourteen_mornings(mornings: Entries) -> None:
    check_gains(start(mornings), {f"morning-{m:02}": row[4] for m, row in enumerate(MORNINGS)})


def test_gains_of_the_fourteen_mornings_imported_from_a_table(tmp_path: Path) -> None:
    """The same through `tellmark import`, with its shares of mistakes and of unlisted units taken out."""
    with (tmp_path / "weather.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(
            [("morning", *ATTRIBUTES, "class"), *((f"morning-{m:02}", *row) for m, row in enumerate(MORNINGS))]
        )
    import_table(str(tmp_path / "weather.csv"), tmp_path / "record", Wishes(name_column="morning", leave_out=["class"]))
    loaded = load(tmp_path / "record")
    assert loaded.findings == []
    about = loaded.entries.about
    truthful = {"not_in_the_record": NOT_IN_THE_RECORD, "mistakes": dict.fromkeys(about.mistakes, 0.0)}
    loaded.entries.about = about.model_copy(update=truthful)
    session = start(loaded.entries)
    assert {trait.family for trait in session.compiled.traits} == {"weather"}
    check_gains(session, {f"morning-{m:02}": row[4] for m, row in enumerate(MORNINGS)}, "weather")


# Entropy and mutual information ----------------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.floats(0, 100), min_size=1, max_size=12).filter(lambda weights: sum(weights) > 1e-6))
def test_entropy_is_scipys(weights: list[float]) -> None:
    assert entropy(np.array(weights)) == pytest.approx(float(scipy_entropy(weights, base=2)), abs=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_news_is_scikit_learns_mutual_information(seed: int, random_kb: ModuleType) -> None:
    """A table of counts: each row a variant as common as its total, which shows every state as often as its cells say."""
    rng = Random(seed)
    states = [f"state-{k}" for k in range(rng.randint(2, 5))]
    counts = np.array([[rng.choice([0, 1, 3, 8, 20]) for _ in states] for _ in range(rng.randint(2, 7))])
    counts[:, 0] += 1
    totals = counts.sum(axis=1)
    entries = random_kb.knowledge_base(
        about={"not_in_the_record": NOT_IN_THE_RECORD},
        traits={"look": {"name": "Look", "view": "side", "mistakes": 0, "states": {state: state for state in states}}},
        variants={
            f"variant-{v}": {
                "how_common": totals[v] / totals.max(),
                "shows": {"look": {state: row[k] / totals[v] for k, state in enumerate(states) if row[k]}},
            }
            for v, row in enumerate(counts)
        },
    )
    session = start(entries)
    compiled, t = session.compiled, session.compiled.trait("look")
    every = news(compiled, session.belief, [whole(compiled, t)], variant_groups(compiled))[0]
    assert every == pytest.approx(mutual_info_score(None, None, contingency=counts) / math.log(2), abs=1e-8)
    for question in yes_no(compiled, t):
        yes = counts[:, list(question.outcomes[0])].sum(axis=1)
        expected = mutual_info_score(None, None, contingency=np.stack([yes, totals - yes], axis=1)) / math.log(2)
        assert news(compiled, session.belief, [question], variant_groups(compiled))[0] == pytest.approx(expected, abs=1e-8)


# Shannon's bound -------------------------------------------------------------------------------------------------------


def h2(error: float) -> float:
    """The entropy of a yes or no."""
    return float(scipy_entropy([error, 1 - error], base=2))


@pytest.mark.parametrize("batch", range(6))
def test_no_yes_or_no_tells_more_than_its_channel_lets_through(
    batch: int, random_kb: ModuleType, plain_model: Callable[[Entries], Any]
) -> None:
    """The news of a yes/no answer with mistake rate e is at most 1 - H2(e), Shannon's capacity of that channel.

    For a trait of two states both errors are its mistake rate e.  With more states the two errors of "is it this one?"
    differ: a yes is missed with the mistake rate, and a false yes comes only with the share of the mistakes that falls on
    this state.  A channel with two different errors is a worse copy of one that has the smaller error both ways, so the
    smaller of the two stands for e.  Only traits of the body and the finish: a part can also be missing, a third answer.
    """
    highest, checked = 0.0, 0
    for seed in range(20_000 + 25 * batch, 20_000 + 25 * (batch + 1)):
        entries = random_kb.random_entries(seed)
        traits = {key: trait for slot in plain_model(entries).slots for key, trait in slot.traits.items()}
        session = answered(start(entries), entries, random_kb.FAMILY, random_kb.random_answers(entries, seed, most=2))
        if not session.belief.plausible:
            continue
        said = {one.trait for one in session.given}
        for question in [q for t in range(len(session.compiled.traits)) if t not in said for q in yes_no(session.compiled, t)]:
            trait = session.compiled.traits[question.trait]
            if len(question.outcomes) != 2 or session.compiled.slots[trait.slot].parts:
                continue
            yes = trait.states[question.outcomes[0][0]]
            misread = traits[trait.id].misread
            missed = 1 - misread[yes][yes]
            false_yes = min(row[yes] for state, row in misread.items() if state != yes)
            bound = 1 - h2(min(missed, false_yes))
            for target in (variant_groups(session.compiled), np.arange(session.compiled.candidates)):
                found = news(session.compiled, session.belief, [question], target)[0]
                assert found <= bound + 1e-12, f"seed {seed}: {trait.id} {yes}"
                highest, checked = max(highest, found / bound), checked + 1
    print(f"batch {batch}: {checked} questions, the best at {highest:.3f} of its channel")
    assert checked > 50


@pytest.mark.parametrize("error", [0.01, 0.05, 0.2, 0.4])
def test_two_even_variants_fill_the_channel(error: float, random_kb: ModuleType) -> None:
    """The bound is met where it can be: two variants, equally common, told apart by one trait of two states."""
    trait = {"name": "Look", "view": "side", "mistakes": error, "states": {"plain": "Plain", "ribbed": "Ribbed"}}
    variants = {"one": {"shows": {"look": "plain"}}, "two": {"shows": {"look": "ribbed"}}}
    entries = random_kb.knowledge_base(about={"not_in_the_record": NOT_IN_THE_RECORD}, traits={"look": trait}, variants=variants)
    compiled, belief = start(entries).compiled, start(entries).belief
    (question,) = yes_no(compiled, compiled.trait("look"))
    assert news(compiled, belief, [question], variant_groups(compiled))[0] == pytest.approx(1 - h2(error), abs=1e-9)
