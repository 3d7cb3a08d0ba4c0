"""A second reading of the records, in plain Python, for checks that must not lean on our own compiler.

It follows `design.md` word for word and knows no arrays: dictionaries of chances by name.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from tellmark.identify.arrays import Compiled
from tellmark.identify.belief import parts_now, swapped
from tellmark.identify.questions import original_share
from tellmark.identify.session import Session
from tellmark.kb.load import Entries
from tellmark.kb.models import Slot, Trait, Variant
from tellmark.kb.values import Answer, Fact

Chances = dict[str, float]
#: The row of the family's overall table, which a redone finish shows and a unit that is not in the record.
OVERALL = "overall"
#: What the compiler assumes where no record says it: how mistakes fall out, and how often a part in hand is misnamed.
TO_THE_CONFUSED, TO_MISSING, MISNAMED = 0.9, 0.05, 0.02


@dataclass(frozen=True)
class PlainTrait:
    """truth[row][state]: chance that a row or part has the state; misread[state][read]: chance that it is read so."""

    key: str
    states: list[str]
    truth: dict[str, Chances]
    misread: dict[str, Chances]


@dataclass(frozen=True)
class PlainSlot:
    """By candidate: how often it is changed, what it was issued with, and what it is replaced with."""

    id: str
    has_parts: bool
    swap: list[float]
    issued: list[Chances]
    replaced: list[Chances]
    traits: dict[str, PlainTrait]


@dataclass(frozen=True)
class Candidate:
    """variant is None for the unit that is not in the record; set is None for a unit sold alone."""

    variant: str | None
    set: str | None
    position: int
    weight: float


@dataclass(frozen=True)
class World:
    """One way a slot can be and look: changed or not, the row or part there, and its chance with all its readings."""

    changed: bool
    row: str
    chance: float


@dataclass(frozen=True)
class PlainModel:
    """Everything; `prior` sums to 1 over the candidates."""

    candidates: list[Candidate]
    prior: list[float]
    slots: list[PlainSlot]

    def worlds(self, slot: PlainSlot, c: int, allowed: Mapping[str, list[str]]) -> Iterator[World]:
        """Every combination of changed, part, true states and readings of one slot that agrees with the answers to it."""
        answered = [trait for key, trait in slot.traits.items() if key in allowed]
        for changed in (False, True):
            of_change = slot.swap[c] if changed else 1.0 - slot.swap[c]
            for row, of_row in (slot.replaced if changed else slot.issued)[c].items():
                if of_change * of_row == 0:
                    continue
                for true in product(*(trait.truth[row] for trait in answered)):
                    for read in product(*(allowed[trait.key] for trait in answered)):
                        chance = of_change * of_row
                        for trait, state, seen in zip(answered, true, read, strict=True):
                            chance *= trait.truth[row][state] * trait.misread[state][seen]
                        if chance > 0:
                            yield World(changed, row, chance)


@dataclass
class _Reader:
    """One family's records to a plain model."""

    entries: Entries

    def __post_init__(self) -> None:
        (self.family_id,) = self.entries.families
        self.family = self.entries.families[self.family_id]
        self.about = self.entries.about
        own = {"body": Slot(name="Body", fastened="molded"), "finish": Slot(name="Finish", fastened="painted")}
        self.slots = own | self.family.slots
        said = {v: one.how_common for v, one in self.entries.variants.items()}
        known = [self.scarcity(weight) for weight in said.values() if weight is not None]
        usual = sum(known) / len(known) if known else 1.0
        self.common = {v: usual if weight is None else self.scarcity(weight) for v, weight in said.items()}
        self.candidates = list(self.places())

    def scarcity(self, weight: str | float) -> float:
        return self.about.scarcity[weight] if isinstance(weight, str) else weight

    def often(self, weight: str | float) -> float:
        return self.about.frequencies[weight] if isinstance(weight, str) else weight

    def shares(self, fact: Fact | None) -> Chances | None:
        """None: nothing recorded. One choice keeps its number, several share the whole."""
        if fact is None or "unknown" in fact.is_:
            return None
        numbers = {choice: self.often(weight) for choice, weight in fact.is_.items()}
        return numbers if len(numbers) == 1 else {choice: value / sum(numbers.values()) for choice, value in numbers.items()}

    def model(self) -> PlainModel:
        total = sum(one.weight for one in self.candidates)
        slots = [self.part_slot(s, slot) if slot.type else self.own_slot(s, slot) for s, slot in self.slots.items()]
        return PlainModel(self.candidates, [one.weight / total for one in self.candidates], slots)

    def places(self) -> Iterator[Candidate]:
        """Prior: how common the variant is, times the share of the position; the unrecorded unit has its stated share."""
        listed = 0.0
        for v, variant in self.entries.variants.items():
            alone = 1.0 if variant.sold_alone is None else self.scarcity(variant.sold_alone)
            found: dict[tuple[str | None, int], float] = {(None, 0): alone}
            for s, one in self.entries.sets.items():
                for p, position in enumerate(one.positions, 1):
                    if v in position.variants:
                        found[s, p] = self.scarcity(one.how_common) * self.often(position.variants[v])
            whole = sum(found.values())
            for (s, p), share in found.items():
                part = share / whole if whole else 1 / len(found)
                if part > 0:
                    listed += self.common[v] * part
                    yield Candidate(v, s, p, self.common[v] * part)
        share = self.about.not_in_the_record
        yield Candidate(None, None, 0, listed * share / (1 - share))

    # Rows --------------------------------------------------------------------------------------------------------------

    def own_slot(self, ident: str, slot: Slot) -> PlainSlot:
        swap = self.about.fastened[slot.fastened] if slot.swapped is None else slot.swapped
        traits = {**self.entries.traits, **self.family.traits}
        size = len(self.candidates)
        return PlainSlot(
            ident,
            has_parts=False,
            swap=[swap] * size,
            issued=[{one.variant or OVERALL: 1.0} for one in self.candidates],
            replaced=[{OVERALL: 1.0}] * size,
            traits={key: self.own_trait(key, trait) for key, trait in traits.items() if trait.slot == ident},
        )

    def own_trait(self, key: str, trait: Trait) -> PlainTrait:
        rows = {v: self.shares(one.shows.get(key)) for v, one in self.entries.variants.items()}
        states = list(trait.states or {})
        blend = _blend([(self.common[v], row) for v, row in rows.items() if row is not None], states)
        truth = {v: _completed(row, blend, states) for v, row in rows.items()} | {OVERALL: blend}
        return PlainTrait(key, states, truth, self.misreading(trait, states))

    def part_slot(self, ident: str, slot: Slot) -> PlainSlot:
        fitting = [p for p, part in self.entries.parts.items() if ident in part.fits.get(self.family_id, [])]
        choices = [*fitting, "none", "unlisted"]
        swap = self.about.fastened[slot.fastened] if slot.swapped is None else slot.swapped
        variants = [self.entries.variants[one.variant] if one.variant else None for one in self.candidates]
        has = [v is None or slot.kinds is None or v.kind is None or v.kind in slot.kinds for v in variants]
        said = [
            self.as_issued(one, v, ident) if there else {"none": 1.0}
            for one, v, there in zip(self.candidates, variants, has, strict=True)
        ]
        known = [
            (one.weight, row, there)
            for one, row, there in zip(self.candidates, said, has, strict=True)
            if row is not None and one.variant is not None
        ]
        of_all = _blend([(weight, row) for weight, row, _ in known], choices)
        of_having = _blend([(weight, row) for weight, row, there in known if there], choices)
        size = len(self.candidates)
        return PlainSlot(
            ident,
            has_parts=True,
            swap=[swap if there else 0.0 for there in has],
            issued=[
                _completed(row, of_having if one.variant else of_all, choices)
                for one, row in zip(self.candidates, said, strict=True)
            ],
            replaced=[self.replacements(slot, fitting)] * size,
            traits={trait.key: trait for trait in self.part_traits(ident, slot, choices)},
        )

    def as_issued(self, one: Candidate, variant: Variant | None, slot: str) -> Chances | None:
        if variant is None:
            return None
        fact = variant.fitted.get(slot)
        if one.set is not None:
            fact = self.entries.sets[one.set].positions[one.position - 1].fitted.get(slot, fact)
        return self.shares(fact)

    def replacements(self, slot: Slot, fitting: list[str]) -> Chances:
        missing = self.about.replaced.missing if slot.missing is None else slot.missing
        unlisted = self.about.replaced.unlisted if slot.unlisted is None else slot.unlisted
        common = {part: self.scarcity(self.entries.parts[part].how_common) for part in fitting}
        rest = 1.0 - missing - unlisted
        return {part: rest * weight / sum(common.values()) for part, weight in common.items()} | {
            "none": missing,
            "unlisted": unlisted,
        }

    def part_traits(self, ident: str, slot: Slot, choices: list[str]) -> Iterator[PlainTrait]:
        """The traits of the part with the state "missing", and the part itself, named."""
        for name, trait in self.entries.slot_types[slot.type or ""].traits.items():
            states = list(trait.states or {})
            rows = {p: self.shares(self.entries.parts[p].shows.get(name)) for p in choices if p in self.entries.parts}
            blend = _blend([(1.0, row) for row in rows.values() if row is not None], states)
            truth = {p: _completed(row, blend, states) for p, row in rows.items()}
            truth |= {"none": {"missing": 1.0}, "unlisted": blend}
            mistakes = self.mistakes(trait)
            misread: dict[str, Chances] = {}
            for state, row in self.misreading(trait, states).items():
                kept = 1 - mistakes * TO_MISSING
                misread[state] = {read: chance * kept for read, chance in row.items()} | {"missing": 1 - kept}
            misread["missing"] = dict.fromkeys(states, mistakes / len(states)) | {"missing": 1 - mistakes}
            yield PlainTrait(f"{ident}.{name}", [*states, "missing"], truth, misread)
        off = MISNAMED / (len(choices) - 1)
        misnamed = {true: {named: 1 - MISNAMED if named == true else off for named in choices} for true in choices}
        yield PlainTrait(ident, choices, {part: {part: 1.0} for part in choices}, misnamed)

    def mistakes(self, trait: Trait) -> float:
        return self.about.mistakes[trait.mistakes] if isinstance(trait.mistakes, str) else trait.mistakes

    def misreading(self, trait: Trait, states: list[str]) -> dict[str, Chances]:
        """Nine mistakes in ten go to the states it is said to be mistaken for, where there are such and others."""
        mistakes = self.mistakes(trait)
        rows: dict[str, Chances] = {}
        for true in states:
            named = (trait.states or {})[true].mistaken_for
            others = [state for state in states if state != true and state not in named]
            to_named = 0.0 if not named else TO_THE_CONFUSED if others else 1.0
            rows[true] = {true: 1 - mistakes}
            rows[true] |= {state: mistakes * to_named / len(named) for state in named}
            rows[true] |= {state: mistakes * (1 - to_named) / len(others) for state in others}
        return rows


def _blend(known: list[tuple[float, Chances]], states: list[str]) -> Chances:
    """What is recorded, all together by weight; even where nothing is."""
    total = sum(weight for weight, _ in known)
    if not total:
        return {state: 1 / len(states) for state in states}
    return {state: sum(w * row.get(state, 0.0) / sum(row.values()) for w, row in known) / total for state in states}


def _completed(row: Chances | None, blend: Chances, states: list[str]) -> Chances:
    """What is not recorded, in whole or in part, is as the blend."""
    said = row or {}
    rest = 1.0 - sum(said.values())
    return {state: said.get(state, 0.0) + rest * blend[state] for state in states}


def readings_allowed(model: PlainModel, answers: Mapping[str, Answer]) -> dict[str, list[str]]:
    """By key: the readings that agree with each answer. Left out: what one cannot tell, and what leaves nothing recorded.

    "None of all that is recorded" gives every candidate the same small chance, so it can be left out.
    """
    found: dict[str, list[str]] = {}
    traits = {key: (slot, trait) for slot in model.slots for key, trait in slot.traits.items()}
    for key, answer in answers.items():
        slot, trait = traits[key]
        bare = key == slot.id
        named = [state for state in trait.states if bare or state != "missing"]
        if answer.is_ == "cannot-tell":
            continue
        if answer.is_ == "missing":
            left = ["none" if bare else "missing"]
        elif answer.is_ is not None:
            left = [answer.is_]
        else:
            left = [state for state in named if (state in answer.one_of if answer.one_of else state not in (answer.not_ or []))]
        if left:
            found[key] = left
    return found


def candidate_of(compiled: Compiled, c: int) -> tuple[str | None, str | None, int]:
    """The variant (none: not in the record), the set (none: sold alone) and the position of a candidate."""
    of_set = compiled.sets[int(compiled.set_of[c])] if compiled.set_of[c] >= 0 else None
    return compiled.label(c) if compiled.variant[c] >= 0 else None, of_set, int(compiled.position[c])


def deviation_of(model: PlainModel, session: Session, joint: Mapping[Any, float], total: float) -> float:
    """The largest difference between our posteriors and the enumerated ones."""
    compiled, belief = session.compiled, session.belief
    ours = {candidate_of(compiled, c): c for c in range(compiled.candidates)}
    assert len(ours) == len(model.candidates) == compiled.candidates
    worst = abs(original_share(compiled, belief) - joint["original",] / total)
    slots = {slot.id: s for s, slot in enumerate(compiled.slots)}
    for theirs, one in enumerate(model.candidates):
        c = ours[one.variant, one.set, one.position]
        worst = max(worst, abs(belief.probability[c] - joint["candidate", theirs] / total))
        for plain in model.slots:
            s = slots[plain.id]
            slot, rows, factor = compiled.slots[s], belief.evidence[s], belief.factor[s]
            row = slot.row[c]
            changed = belief.probability[c] * swapped(slot, rows, factor)[row]
            worst = max(worst, abs(changed - joint["changed", theirs, plain.id] / total))
            if plain.has_parts:
                now = belief.probability[c] * parts_now(slot, rows, factor)[row]
                for r, part in enumerate(slot.parts):
                    worst = max(worst, abs(now[r] - joint["part", theirs, plain.id, part] / total))
    return worst


@pytest.fixture(scope="session")
def deviation() -> Callable[[PlainModel, Session, Mapping[Any, float], float], float]:
    """The largest difference of what a session believes from the chances that an enumeration counted, and their total."""
    return deviation_of


@pytest.fixture(scope="session")
def candidate() -> Callable[[Compiled, int], tuple[str | None, str | None, int]]:
    """The name of a candidate, as `PlainModel` has it."""
    return candidate_of


@pytest.fixture(scope="session")
def plain_model() -> Callable[[Entries], PlainModel]:
    """Reads the records of one family without our compiler."""
    return lambda entries: _Reader(entries).model()


@pytest.fixture(scope="session")
def allowed() -> Callable[[PlainModel, Mapping[str, Answer]], dict[str, list[str]]]:
    """Reads answers without our reader: for each key the readings that agree with the answer."""
    return readings_allowed


@pytest.fixture(scope="session")
def games(loaded: Callable[[Path], ModuleType]) -> ModuleType:
    """The module `question_games.py`."""
    return loaded(Path(__file__).with_name("question_games.py"))
