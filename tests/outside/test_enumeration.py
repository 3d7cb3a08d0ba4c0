"""The belief against plain enumeration: every combination of candidate, changes, parts, true states and readings.

The formula is the one of `design.md`; the combinations are made in `conftest.py` without our compiler or any array.
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

import math
from collections import defaultdict
from collections.abc import Callable
from itertools import product
from random import Random
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.stats import norm
from tellmark.identify.start import answered, start
from tellmark.kb.values import Answer

if TYPE_CHECKING:
    from .conftest import PlainModel

Read = Callable[[Any], "PlainModel"]
#: As close as `design.md` asks for.
CLOSE = 1e-9
BATCH, BATCHES = 30, 8


def enumerated(model: "PlainModel", allowed: dict[str, list[str]]) -> tuple[dict[Any, float], float]:
    """(chance of each event together with the answers, chance of the answers).

    Events: ("candidate", c), ("part", c, slot, part), ("changed", c, slot), ("original",).
    """
    joint: dict[Any, float] = defaultdict(float)
    total = 0.0
    for c, prior in enumerate(model.prior):
        by_slot = [list(model.worlds(slot, c, allowed)) for slot in model.slots]
        for worlds in product(*by_slot):
            chance = prior
            for world in worlds:
                chance *= world.chance
            total += chance
            joint["candidate", c] += chance
            for slot, world in zip(model.slots, worlds, strict=True):
                joint["part", c, slot.id, world.row] += chance
                if world.changed:
                    joint["changed", c, slot.id] += chance
            if not any(world.changed for world in worlds):
                joint["original",] += chance
    return joint, total


@pytest.mark.parametrize("batch", range(BATCHES))
def test_belief_parts_and_swaps_are_as_enumerated(
    batch: int,
    random_kb: ModuleType,
    plain_model: Read,
    allowed: Callable[..., dict[str, list[str]]],
    deviation: Callable[..., float],
) -> None:
    worst, moved = 0.0, 0
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        entries = random_kb.random_entries(seed)
        answers = random_kb.random_answers(entries, seed)
        session = answered(start(entries), entries, random_kb.FAMILY, answers)
        assert len(session.given) == len(answers), f"an answer was not read, seed {seed}"
        model = plain_model(entries)
        joint, total = enumerated(model, allowed(model, answers))
        assert session.belief.plausible == (total > 0)
        if total > 0:
            found = deviation(model, session, joint, total)
            assert found < CLOSE, f"seed {seed}: {answers}"
            worst = max(worst, found)
            moved += bool(np.abs(session.belief.probability - session.compiled.prior).max() > 1e-3)
    print(f"batch {batch}: largest deviation from enumeration {worst:.2e}; {moved} of {BATCH} moved by their answers")
    assert moved > BATCH / 2, "most of the answers should say something"


# Measured traits -------------------------------------------------------------------------------------------------------

LEAST, MOST, BLUNDERS = 50.0, 350.0, 0.02


@pytest.fixture
def measured(random_kb: ModuleType) -> Callable[[int], tuple[Any, list[tuple[float, float, float | None, float]], float]]:
    """From a seed: entries with one length on the finish; (how common, mean or nan, tolerance) of each variant; repaint share."""

    def make(seed: int) -> tuple[Any, list[tuple[float, float, float | None, float]], float]:
        rng = Random(seed)
        swap = rng.choice([0.0, 0.1, 0.4])
        rows: list[tuple[float, float, float | None, float]] = []
        for v in range(rng.randint(2, 5)):
            common = rng.choice([1.0, 0.4, 0.15])
            known = v == 0 or rng.random() < 0.75
            rows.append((common, rng.uniform(100, 300), rng.uniform(0.5, 20) if known else None, v))
        length = {"name": "Length", "slot": "finish", "view": "side", "measured": {"unit": "mm", "least": LEAST, "most": MOST}}
        variants = {
            f"variant-{v}": {
                "name": "Variant",
                "how_common": common,
                "shows": {} if sd is None else {"length": f"{mean!r} +- {sd!r} mm"},
            }
            for common, mean, sd, v in rows
        }
        entries = random_kb.knowledge_base(
            about={"not_in_the_record": 0.1, "blunders": BLUNDERS},
            traits={"length": length},
            family={"slots": {"finish": {"name": "Finish", "swapped": swap}}},
            variants=variants,
        )
        return entries, rows, swap

    return make


def posterior(
    rows: list[tuple[float, float, float | None, float]], swap: float, chance: Callable[[float, float], float], anywhere: float
) -> list[float]:
    """Bayes' rule by hand; the last is the unit not in the record.

    What is not recorded is as all that is recorded; a redone finish and a unit not in the record may be anywhere, one in ten.
    """
    known = [(common, chance(mean, sd)) for common, mean, sd, _ in rows if sd is not None]
    overall = sum(common * one for common, one in known) / sum(common for common, _ in known)
    new = 0.9 * overall + 0.1 * anywhere
    weights: list[float] = []
    for common, mean, sd, _ in rows:
        own = overall if sd is None else chance(mean, sd)
        weights.append(common * ((1 - swap) * own + swap * new))
    weights.append(sum(common for common, *_ in rows) * 0.1 / 0.9 * new)
    return [weight / sum(weights) for weight in weights]


@pytest.mark.parametrize("seed", range(20))
def test_a_measured_value_is_a_gaussian_with_a_flat_share_of_blunders(
    seed: int, measured: Callable[[int], Any], random_kb: ModuleType
) -> None:
    entries, rows, swap = measured(seed)
    rng = Random(seed)
    value, spread = rng.uniform(60, 340), rng.choice([0.0, 0.5, 5.0])

    def density(mean: float, sd: float) -> float:
        width = math.hypot(sd, spread)
        bell = math.exp(-((value - mean) ** 2) / (2 * width**2)) / (width * math.sqrt(2 * math.pi))
        return (1 - BLUNDERS) * bell + BLUNDERS / (MOST - LEAST)

    written = f"{value!r} +- {spread!r} mm" if spread else f"{value!r} mm"
    session = answered(start(entries), entries, random_kb.FAMILY, {"length": Answer.model_validate({"is": written})})
    assert session.belief.probability == pytest.approx(posterior(rows, swap, density, 1 / (MOST - LEAST)), abs=CLOSE)


@pytest.mark.parametrize("seed", range(20))
def test_bounds_of_a_measured_value_are_areas_of_the_gaussian(
    seed: int, measured: Callable[[int], Any], random_kb: ModuleType
) -> None:
    """The areas are scipy's (scipy.stats.norm)."""
    entries, rows, swap = measured(seed)
    low, high = sorted(Random(seed).sample(range(40, 360), 2))

    def area(mean: float, sd: float) -> float:
        bell = float(norm.cdf(high, mean, sd) - norm.cdf(low, mean, sd))
        flat = (min(high, MOST) - max(low, LEAST)) / (MOST - LEAST)
        return (1 - BLUNDERS) * bell + BLUNDERS * flat

    answer = Answer.model_validate({"more_than": f"{low} mm", "less_than": f"{high} mm"})
    session = answered(start(entries), entries, random_kb.FAMILY, {"length": answer})
    assert session.belief.probability == pytest.approx(
        posterior(rows, swap, area, (min(high, MOST) - max(low, LEAST)) / (MOST - LEAST)), abs=CLOSE
    )
