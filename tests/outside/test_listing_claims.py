"""How many of the claims marked by hand in the sellers' texts of `listings/` are found, and how many found ones are marked.

The texts and their marks are the project's own (see `listings/README.md`); no published corpus of such texts is known.
What must be reached on the texts that were not looked at while the rules were written: precision 0.95, recall 0.90.  That is not
so yet: the floors of those texts are what is reached, and may only rise.  Only totals are printed, never a text.
"""

from collections import Counter
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
from ruamel.yaml import YAML
from tellmark.identify.claims import Claim, claims
from tellmark.identify.vocabulary import Vocabulary, vocabulary
from tellmark.kb.cache import sound

ROOT = Path(__file__).parents[2]
LISTINGS = Path(__file__).parent / "listings"
#: (precision, recall) that a folder's texts must reach at least.
FLOORS = {"seen": (0.98, 0.97), "practice": (0.935, 0.91), "held-out": (0.915, 0.84)}
HEDGED = 0.95


class Mark(NamedTuple):
    """A claim marked by hand, by its place in the text."""

    start: int
    end: int
    kind: str
    says: frozenset[str]
    denied: bool
    hedged: bool

    def says_the_same(self, found: Claim) -> bool:
        """Whether a found claim means the same, wherever it stands."""
        return (self.kind, self.denied) == (found.kind, found.denied) and bool(self.says & set(found.says))

    def agrees(self, found: Claim) -> bool:
        """Whether a found claim means the same and stands there."""
        return self.says_the_same(found) and found.start < self.end and self.start < found.end


@cache
def words() -> Vocabulary:
    return vocabulary(sound(ROOT / "entries")[0])


def marked(path: Path) -> tuple[str, list[Mark]]:
    """A text and its marks."""
    data = YAML(typ="safe").load(path.read_text("utf-8"))
    text: str = data["text"]
    marks: list[Mark] = []
    for claim in data["claims"]:
        start = -1
        for _ in range(claim.get("occurrence", 1)):
            start = text.index(claim["quote"], start + 1)
        says = frozenset(claim["says"].split("|"))
        end = start + len(claim["quote"])
        marks.append(Mark(start, end, claim["kind"], says, claim.get("denied", False), claim.get("hedged", False)))
    return text, marks


def compare(folder: str) -> tuple[Counter[str], Counter[str], Counter[str], Counter[bool]]:
    """(right, wrong and missed by kind; whether the hedges of right ones are as marked)."""
    right, wrong, missed, hedges = Counter[str](), Counter[str](), Counter[str](), Counter[bool]()
    for path in sorted((LISTINGS / folder).glob("*.yaml")):
        text, marks = marked(path)
        found = claims(text, words())
        for one in found:
            agreeing = [mark for mark in marks if mark.agrees(one)]
            if agreeing:
                right[one.kind] += 1
                hedges[agreeing[0].hedged == one.hedged] += 1
            elif not any(mark.says_the_same(one) for mark in marks):
                wrong[one.kind] += 1
        for mark in marks:
            missed[mark.kind] += not any(mark.agrees(one) for one in found)
    return right, wrong, missed, hedges


@pytest.mark.parametrize("folder", FLOORS)
def test_claims_are_found_and_little_else(folder: str) -> None:
    right, wrong, missed, hedges = compare(folder)
    kinds = sorted({*right, *wrong, *missed})
    for kind in kinds:
        print(f"{folder} {kind}: right {right[kind]}, wrong {wrong[kind]}, missed {missed[kind]}")
    precision = right.total() / (right.total() + wrong.total())
    recall = 1 - missed.total() / sum(len(marked(path)[1]) for path in (LISTINGS / folder).glob("*.yaml"))
    hedged = hedges[True] / hedges.total()
    print(f"{folder}: precision {precision:.3f}, recall {recall:.3f}, hedges {hedged:.3f}")
    assert precision >= FLOORS[folder][0]
    assert recall >= FLOORS[folder][1]
    assert hedged >= HEDGED
