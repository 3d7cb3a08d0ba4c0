"""How well a typed text fits a marking: worn characters, misread ones, and ends that cannot be read."""

import math
from functools import lru_cache

#: Letters and digits a worn character may be taken for.
ALPHABET = 36
#: Chance of a character too many or too few, relative to a misread one.
SLIP = 0.1
#: Chance that only a stretch of the marking was typed.
STRETCH = 0.3


def folded(text: str) -> str:
    """Capitals with single spaces: how a marking is compared."""
    return " ".join(text.upper().split())


@lru_cache(maxsize=65536)
def fit(typed: str, marking: str, worn: float) -> float:
    """P(typed | marking), the best alignment; `?` in the typed text is a character that could not be read.

    worn: chance that one character is misread. A typed stretch ("PRAIRIE M") fits wherever it lies in the marking.
    """
    said, there = folded(typed), folded(marking)
    same, other, slip = math.log(1 - worn), math.log(worn / ALPHABET), math.log(worn * SLIP / ALPHABET)
    stretch = math.log(STRETCH)
    # best[j]: log chance of the text typed so far ending before character j of the marking; starts are free at a price
    best = [0.0] + [stretch] * len(there)
    for character in said:
        previous, best = best, [best[0] + slip]
        for j, real in enumerate(there, 1):
            step = 0.0 if character == "?" else same if character == real else other
            best.append(max(previous[j - 1] + step, previous[j] + slip, best[j - 1] + slip))
    if not said:
        return 1.0
    return math.exp(max(best[-1], max(best) + stretch))
