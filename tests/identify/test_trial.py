"""Trials: what is concluded at p is right in a share p, whoever counts and on however many cores."""

import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import ModuleType

import pytest
from distributed import Client, LocalCluster
from joblib import effective_n_jobs, parallel_config
from numpy.random import SeedSequence
from tellmark.identify.arrays import NOT_IN_THE_RECORD
from tellmark.identify.compile import Assumed
from tellmark.identify.questions import Question
from tellmark.identify.trial import (
    Examined,
    Questioner,
    Slots,
    Terms,
    Trial,
    examine,
    prepared,
    prior_entropy,
    run_trial,
    shows_swap,
    summed,
)
from tellmark.identify.units import draw
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries

ROOT = Path(__file__).parents[2]
#: A share may be so many standard deviations away from what it should be.
OFF = 3.5


@pytest.fixture(scope="module")
def demonstration() -> Entries:
    entries, findings = sound(ROOT / "entries")
    assert findings == []
    return entries


@pytest.fixture(scope="module")
def tenders(demonstration: Entries) -> Trial:
    return run_trial(demonstration, Terms(family="tender-70"), n=200, seed=3, jobs=1)


def off(found: Trial) -> float:
    """How far the share of right verdicts is from the stated one, in standard deviations."""
    spread = math.sqrt(sum(one.n * one.stated * (1 - one.stated) for one in found.calibration)) / found.n
    return abs(found.right - found.stated) / spread


def test_right_as_often_as_stated(tenders: Trial) -> None:
    assert off(tenders) < OFF
    for one in tenders.calibration:
        spread = math.sqrt(one.stated * (1 - one.stated) / one.n)
        assert one.low < one.stated <= one.high
        assert abs(one.right - one.stated) < OFF * spread + 1 / one.n


def test_sums_agree(tenders: Trial) -> None:
    assert sum(one.n for one in tenders.calibration) == tenders.n == 200
    whole = sum(one.n * one.right for one in tenders.calibration)
    assert whole / tenders.n == pytest.approx(tenders.right)
    wrong = round((1 - tenders.right) * tenders.n)
    assert sum(n for _, _, n in tenders.confused) == wrong or len(tenders.confused) == 10
    assert 0 < tenders.mean_questions < tenders.worst_questions
    n, found, false = tenders.unlisted
    assert 0 < found <= n
    assert false <= wrong
    slots = tenders.slots
    assert 0 < slots.named <= slots.shown <= slots.swapped < slots.unchanged


#: (why, terms beside the family)
TERMS = {
    "variant": ("as recorded", Terms()),
    "set": ("the set of origin; without a set, alone", Terms(target="set")),
    "any": ("choices, values and texts as well", Terms(ask="any")),
    "blind": ("with half of the views", Terms(views=["side"])),
    "wrong": ("a tenth of the readings wrong, half of the parts changed", Terms(assumed=Assumed(0.1, 0.5))),
}


@pytest.mark.parametrize(("why", "terms"), TERMS.values(), ids=TERMS)
def test_calibration_on_random_knowledge_bases(why: str, terms: Terms, random_kb: ModuleType) -> None:
    trials = [run_trial(random_kb.random_entries(seed), terms, n=60, seed=seed, jobs=1) for seed in range(3)]
    spread = math.sqrt(sum(one.n * one.stated * (1 - one.stated) for found in trials for one in found.calibration))
    assert abs(sum(found.n * (found.right - found.stated) for found in trials)) < OFF * spread, why


def plain(random_kb: ModuleType) -> Entries:
    """Eight variants, equally common, each of them a different combination of three traits, and nothing else."""
    colors = ["red", "green"]
    traits = {
        f"panel-{i}": {"name": f"Panel {i}", "view": "side", "states": {color: {"name": color} for color in colors}}
        for i in range(3)
    }
    variants = {
        f"variant-{v}": {"name": f"Variant {v}", "shows": {f"panel-{i}": colors[v >> i & 1] for i in range(3)}} for v in range(8)
    }
    return random_kb.knowledge_base(about={"not_in_the_record": 0.001}, traits=traits, variants=variants)


def test_without_mistakes_every_verdict_is_right(random_kb: ModuleType) -> None:
    """Three yes/no questions for eight variants: as many as the entropy has bits."""
    found = run_trial(plain(random_kb), Terms(assumed=Assumed(0.0, 0.0)), n=60, jobs=1)
    assert (found.right, found.settled, found.confused) == (1.0, 1.0, ())
    assert (found.mean_questions, found.worst_questions) == (3.0, 3)
    assert found.entropy_bits == pytest.approx(3.0, abs=0.02)
    assert found.slots == Slots()


def test_without_mistakes_truth_is_never_excluded(demonstration: Entries) -> None:
    questioner = Questioner(prepared(demonstration, Terms(family="tender-70", assumed=Assumed(0.0, 0.0))))
    found = [examine(questioner, seed) for seed in SeedSequence(5).spawn(80)]
    assert all(one.settled for one in found)
    doubt = sum(1 - one.stated for one in found)
    assert sum(not one.right for one in found) <= doubt + OFF * math.sqrt(doubt)


def test_mistakes_cost_questions(random_kb: ModuleType) -> None:
    never, often = (run_trial(plain(random_kb), Terms(assumed=Assumed(rate, 0.0)), n=60, jobs=1) for rate in (0.0, 0.1))
    assert often.mean_questions > never.mean_questions + 1
    assert off(often) < OFF


def text(found: Trial) -> str:
    return json.dumps(found.as_dict())


def test_any_number_of_jobs_gives_the_same(random_kb: ModuleType) -> None:
    entries = random_kb.random_entries(2)
    told: list[int] = []
    one = run_trial(entries, n=40, seed=7, jobs=1, done=told.append)
    assert sum(told) == 40
    assert text(run_trial(entries, n=40, seed=7, jobs=2)) == text(one)
    assert text(run_trial(entries, n=40, seed=8, jobs=1)) != text(one)


@pytest.fixture
def cluster() -> Iterator[Client]:
    workers = LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0")
    with workers, Client(workers) as client:
        yield client


def test_on_a_cluster(cluster: Client, random_kb: ModuleType) -> None:
    entries = random_kb.random_entries(2)
    with parallel_config(backend="dask"):
        assert effective_n_jobs() == 2, cluster
        found = run_trial(entries, n=40, seed=7)
    assert text(found) == text(run_trial(entries, n=40, seed=7, jobs=1))


def test_what_is_kept_changes_nothing(random_kb: ModuleType) -> None:
    """A unit comes out the same first or last, and alone or among others."""
    start = prepared(random_kb.random_entries(3), Terms())
    seeds = SeedSequence(1).spawn(15)
    shared = Questioner(start)
    assert [examine(shared, seed) for seed in reversed(seeds)] == [examine(Questioner(start), seed) for seed in reversed(seeds)]


def test_entropy_counts_twins_once(demonstration: Entries) -> None:
    start = prepared(demonstration, Terms(family="cab-diesel-420"))
    blind = prepared(demonstration, Terms(family="tender-70", views=[]))
    shares = dict(start.variants)
    first, second = (shares[ident] for ident in ("426-lake-harrow-a-b4", "426-lake-harrow-a-holloways"))
    pair = first + second
    apart = -sum(share * math.log2(share) for share in shares.values())
    within = -sum(share * math.log2(share / pair) for share in (first, second))
    assert prior_entropy(start) == pytest.approx(apart - within)
    # nothing can be seen: recorded or not is all there is, and that is one in twenty
    assert prior_entropy(blind) == pytest.approx(-(0.05 * math.log2(0.05) + 0.95 * math.log2(0.95)))
    assert run_trial(demonstration, Terms(family="tender-70", views=[]), n=5, jobs=1).worst_questions == 0


ONE, TWO, THREE, GONE = range(4)
#: (the part there now, trait, outcomes, cut, whether the true answer shows that it is not the low one)
SHOWN = {
    "same-part": ("low", "teeth", ((ONE,), (TWO, THREE), (GONE,)), None, False),
    "other-answer": ("high", "teeth", ((ONE,), (TWO, THREE), (GONE,)), None, True),
    "neither-is-asked-for": ("high", "teeth", ((THREE,), (ONE, TWO), (GONE,)), None, False),
    "choice": ("high", "teeth", ((ONE,), (TWO,), (THREE,), (GONE,)), None, True),
    "nothing-there": ("none", "teeth", ((THREE,), (ONE, TWO), (GONE,)), None, True),
    "above-the-cut": ("high", "height", ((0,), (1,)), 14.0, True),
    "both-below-the-cut": ("high", "height", ((0,), (1,)), 30.0, False),
    "measured": ("high", "height", ((0,), (1,)), None, True),
    "measured-the-same": ("low", "height", ((0,), (1,)), None, False),
    "nothing-to-measure": ("none", "height", ((0,), (1,)), 14.0, True),
}


@pytest.mark.parametrize(("part", "trait", "outcomes", "cut", "shown"), SHOWN.values(), ids=SHOWN)
def test_what_shows_a_swap(
    part: str, trait: str, outcomes: tuple[tuple[int, ...], ...], cut: float | None, shown: bool, random_kb: ModuleType
) -> None:
    teeth = {"name": "Teeth", "view": "side", "states": {name: {"name": name} for name in ("one", "two", "three")}}
    height = {"name": "Height", "view": "side", "mistakes": 0, "measured": {"unit": "mm", "least": 0, "most": 40}}
    fits = {"type": "gear", "fits": {"railcar": ["gear"]}}
    entries = random_kb.knowledge_base(
        family={"slots": {"gear": {"name": "Gear", "type": "gear", "swapped": 0.9}}},
        variants={"a": {"fitted": {"gear": "low"}}},
        slot_types={"gear": {"traits": {"teeth": teeth, "height": height}}},
        parts={
            "low": fits | {"shows": {"teeth": "one", "height": "10 +- 0.1 mm"}},
            "high": fits | {"shows": {"teeth": "two", "height": "20 +- 0.1 mm"}},
        },
    )
    compiled = prepared(entries, Terms()).compiled
    s = next(s for s, slot in enumerate(compiled.slots) if slot.id == "gear")
    low, now = (compiled.slots[s].parts.index(name) for name in ("low", part))
    drawn = (draw(compiled, seed) for seed in SeedSequence(1).spawn(200))
    changed = next(one for one in drawn if one.swapped[s] and (one.original[s], one.now[s]) == (low, now))
    question = Question(compiled.trait(f"gear.{trait}"), outcomes, cut, "yes-no" if cut or trait == "teeth" else "value")
    assert shows_swap(changed, question) is shown


NONE = Slots()


def unit(truth: str | None, verdict: str | None, stated: float, questions: int = 3, slots: Slots = NONE) -> Examined:
    return Examined(truth, verdict, truth == verdict, stated, stated >= 0.95, questions, 2.0 * questions, slots)


def test_summing_up() -> None:
    found: Sequence[Examined] = [
        unit("a", "a", 0.97, 2, Slots(swapped=2, shown=1, named=1, unchanged=3)),
        unit("a", "b", 0.96, 5, Slots(unchanged=5, false=1)),
        unit("b", None, 0.4),
        unit(None, "b", 0.8),
        unit("a", "b", 1.0),
        unit(NOT_IN_THE_RECORD, NOT_IN_THE_RECORD, 0.995),
        unit(NOT_IN_THE_RECORD, "a", 0.96),
        unit("b", NOT_IN_THE_RECORD, 0.51),
    ]
    trial = summed(found, 4, 1.5).as_dict()
    assert trial["calibration"] == [
        {"from": 0.0, "to": 0.5, "n": 1, "stated": 0.4, "right": 0.0},
        {"from": 0.5, "to": 0.8, "n": 2, "stated": 0.655, "right": 0.0},
        {"from": 0.95, "to": 0.98, "n": 3, "stated": 0.963333, "right": 0.333333},
        {"from": 0.98, "to": 0.995, "n": 1, "stated": 0.995, "right": 1.0},
        {"from": 0.995, "to": 1.0, "n": 1, "stated": 1.0, "right": 0.0},
    ]
    assert trial["confused"][0] == {"truth": "a", "verdict": "b", "n": 2}
    assert [one["truth"] for one in trial["confused"][1:]] == [None, "b", "b", NOT_IN_THE_RECORD]
    assert trial["swaps"] == {"swapped": 2, "shown": 1, "named": 1, "false": 1, "unchanged": 8}
    assert trial["not_in_the_record"] == {"n": 2, "found": 1, "false": 1}
    assert (trial["mean_questions"], trial["worst_questions"], trial["mean_effort"]) == (3.125, 5, 6.25)
    assert (trial["n"], trial["seed"], trial["entropy_bits"], trial["right"], trial["settled"]) == (8, 4, 1.5, 0.25, 0.625)
