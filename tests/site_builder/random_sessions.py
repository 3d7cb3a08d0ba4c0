"""Random knowledge bases with values, markings and several families, and random sessions; what is given as plain values.

No test: the fixture `random_sessions` loads it from its path.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from random import Random
from types import ModuleType
from typing import Any

from tellmark.identify.arrays import MISSING, Compiled, Trait
from tellmark.identify.given import Heard
from tellmark.identify.session import Session
from tellmark.kb.load import Entries
from tellmark.kb.models import Trait as TraitRecord
from tellmark.kb.reading import Between, CannotTell, Gone, Measured, Reading, Seen, Typed
from tellmark.kb.values import Fact

Plain = dict[str, Any]


# As plain values -------------------------------------------------------------------------------------------------------


def plain_reading(reading: Reading) -> Plain:
    match reading:
        case Seen(states):
            return {"kind": "seen", "states": sorted(states)}
        case Measured(value, plus_minus):
            return {"kind": "measured", "value": value, "plusMinus": plus_minus}
        case Between(low, high):
            return {"kind": "between"} | {k: x for k, x in (("low", low), ("high", high)) if math.isfinite(x)}
        case Typed(text):
            return {"kind": "typed", "text": text}
        case Gone():
            return {"kind": "gone"}
        case CannotTell():
            return {"kind": "cannot-tell"}


def plain_case(session: Session) -> Plain:
    return {
        "given": [{"trait": one.trait, "reading": plain_reading(one.reading), "look": one.look} for one in session.given],
        "heard": [{"trait": one.trait, "reading": plain_reading(one.reading), "wrong": one.wrong} for one in session.heard],
        "views": None if session.views is None else sorted(session.views),
        "target": session.target,
        "ask": session.ask,
    }


# Random knowledge bases ----------------------------------------------------------------------------------------------------

LENGTHS = ["48 mm", "50 +- 0.5 mm", "50 mm", "61.5 +- 2 mm", {"48 mm": 0.7, "52 mm": 0.3}]
NUMBERS = ["GULL 12", "GULL 13", "Wren 7", {"GULL 12": 0.8, "Wren 7": 0.2}]
MEASURED: Plain = {"name": "length", "view": "below", "measured": {"unit": "mm", "least": 20, "most": 90}}
MARKING: Plain = {"name": "number", "view": "side", "marking": {}}


def fact(written: Any) -> Fact:
    return Fact.model_validate({"is": written if isinstance(written, dict) else {written: 1.0}})


def random_base(random_kb: ModuleType, seed: int) -> Entries:
    """A random knowledge base with values, markings and, at times, a second family and perfect readings."""
    rng = Random(seed)
    entries: Entries = random_kb.random_entries(
        seed, random_kb.Mix(most_variants=rng.choice([4, 6]), mistakes=rng.random() < 0.8)
    )
    family = entries.families[random_kb.FAMILY]
    if rng.random() < 0.3:
        _second_family(entries, random_kb, rng)
    for ident, record, choices in (("length", MEASURED, LENGTHS), ("number", MARKING, NUMBERS)):
        place = rng.choice(["nowhere", "common", "own", "part"])
        trait = TraitRecord.model_validate(record | {"slot": rng.choice(["body", "finish"])})
        if place == "common":
            entries.traits[ident] = trait
        elif place == "own":
            family.traits[ident] = trait
        elif place == "part":
            for slot_type in entries.slot_types.values():
                slot_type.traits[ident] = TraitRecord.model_validate(record)
        records: Mapping[str, Any] = entries.parts if place == "part" else entries.variants if place != "nowhere" else {}
        share = rng.choice([0.8, 0.8, 0.8, 0.0])
        for one in records.values():
            if rng.random() < share:
                one.shows[ident] = fact(rng.choice(choices))
    return entries


def _second_family(entries: Entries, random_kb: ModuleType, rng: Random) -> None:
    """Another family with traits of its own, beside what both have."""
    other: Entries = random_kb.random_entries(rng.randrange(10**6), random_kb.Mix(parts=False, sets=False, most_variants=3))
    family = other.families[random_kb.FAMILY]
    own = {f"other-{ident}": trait for ident, trait in {**other.traits, **family.traits}.items()}
    entries.families["other"] = family.model_copy(update={"traits": own})
    for ident, variant in other.variants.items():
        shows = {f"other-{trait}": told for trait, told in variant.shows.items()}
        shows |= {name: fact(rng.choice(list(trait.states or {}))) for name, trait in entries.traits.items() if trait.states}
        entries.variants[f"other-{ident}"] = variant.model_copy(update={"shows": shows})
        entries.home["variant", f"other-{ident}"] = "other"


def random_reading(trait: Trait, rng: Random) -> Reading:
    roll = rng.random()
    if roll < 0.06:
        return CannotTell()
    if roll < 0.12 or (trait.can_be_missing and roll < 0.2):
        return Gone()
    if trait.measured:
        low, high = sorted(rng.choice([-math.inf, 48.5, 51.0, round(rng.uniform(20, 90), 1), math.inf]) for _ in range(2))
        if roll < 0.6 and low < high:
            return Between(low, high)
        return Measured(rng.choice([48.0, 50.0, round(rng.uniform(10, 100), 1)]), rng.choice([0.0, 0.05, 0.5, 3.0]))
    named = [state for state in trait.states if state != MISSING]
    if trait.worn:
        text = rng.choice([*named, "GULL 1?", "gull", "ULL 1", "Harbor 99", "wren 17"])
        return Typed(text if rng.random() < 0.7 else text[1:] + "X")
    if roll < 0.16:
        return Seen(frozenset())
    if roll < 0.5:
        return Seen(frozenset(named) - {rng.choice(named)})
    return Seen(frozenset(rng.sample(named, rng.choice([1, 1, min(2, len(named))]))))


def random_session(compiled: Compiled, rng: Random) -> Session:
    """Answers, second looks and what others say, in any views, for any target."""
    traits = range(len(compiled.traits))
    session = Session(
        compiled,
        views=None if rng.random() < 0.6 else frozenset(rng.sample(range(-1, len(compiled.views)), 2)),
        target=rng.choice(["variant", "variant", "set", "original", "all"]),
        ask=rng.choice(["yes-no", "any"]),
    )
    for _ in range(rng.randint(0, 5)):
        t = rng.choice(traits)
        give = rng.choice([session.answer, session.answer, session.again, session.tell])
        session = give(t, random_reading(compiled.traits[t], rng))
    told = rng.sample(traits, min(len(traits), rng.choice([0, 0, 1, 2])))
    heard = [Heard(t, random_reading(compiled.traits[t], rng), rng.choice([0.0, 0.05, 0.3, 1.0])) for t in told]
    return replace(session, heard=tuple(heard) * rng.choice([1, 1, 2]))
