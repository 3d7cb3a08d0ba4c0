"""Small random knowledge bases, and random answers to them, each from a seed.

Loaded by the `conftest.py` of this folder and of `tests/outside`, so that all laws are tried on the same kind of record.
Nothing here computes a probability: a reader of the records has to do that by itself.
"""

from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from tellmark.kb.load import Entries
from tellmark.kb.models import Family, KnowledgeBase, Part, Set, SlotType, Trait, Variant
from tellmark.kb.values import Answer

FAMILY = "railcar"
Plain = dict[str, Any]


@dataclass(frozen=True)
class Mix:
    """What may occur in a random knowledge base; all of it unless told otherwise.

    partial  a single state or part with less than the whole share; the rest of it is not recorded
    unknown  facts nobody recorded
    kinds    part slots that only one of two kinds has
    """

    mistakes: bool = True
    swaps: bool = True
    sets: bool = True
    partial: bool = True
    unknown: bool = True
    kinds: bool = True
    parts: bool = True
    most_variants: int = 6


ALL = Mix()


def knowledge_base(about: Plain | None = None, traits: Plain | None = None, **records: Plain) -> Entries:
    """Entries in memory of one family, `railcar`, from plain values written as in the files.

    about: fields of knowledge-base.yaml; records: family (one), variants, sets, slot_types, parts (each with its `type`).
    """
    views = {"side": {"name": "Side", "effort": 1}, "below": {"name": "Underside", "effort": 2}}
    entries = Entries(
        Path(), KnowledgeBase.model_validate({"title": "Test shelf", "license": "CC0-1.0", "views": views} | (about or {}))
    )
    entries.families[FAMILY] = Family.model_validate({"name": "Railcar"} | records.get("family", {}))
    for ident, one in (traits or {}).items():
        entries.traits[ident] = Trait.model_validate(one)
    for ident, one in records.get("variants", {}).items():
        entries.variants[ident] = Variant.model_validate(one)
        entries.home["variant", ident] = FAMILY
    for ident, one in records.get("sets", {}).items():
        entries.sets[ident] = Set.model_validate({"name": ident} | one)
        entries.home["set", ident] = FAMILY
    for ident, one in records.get("slot_types", {}).items():
        entries.slot_types[ident] = SlotType.model_validate({"name": ident} | one)
    for ident, one in records.get("parts", {}).items():
        plain = dict(one)
        entries.home["part", ident] = plain.pop("type")
        entries.parts[ident] = Part.model_validate({"name": ident} | plain)
    return entries


def random_entries(seed: int, mix: Mix = ALL) -> Entries:
    """A family of 2 to 6 variants: 1 to 3 body traits, 0 to 2 of the finish, 1 or 2 part slots, 0 to 2 sets."""
    return _Maker(Random(seed), mix).entries()


class _Maker:
    def __init__(self, rng: Random, mix: Mix) -> None:
        self.rng, self.mix = rng, mix
        self.kinds = ["powered", "plain"] if mix.kinds and rng.random() < 0.4 else []

    def entries(self) -> Entries:
        rng = self.rng
        own = {f"body-{i}": self.trait("body") for i in range(rng.randint(1, 3))}
        own |= {f"finish-{i}": self.trait("finish") for i in range(rng.randint(0, 2))}
        common = {name: own.pop(name) for name in list(own) if rng.random() < 0.4}
        slots, slot_types, parts = self.fittings()
        variants = {
            f"variant-{v}": self.variant({**common, **own}, slots, parts) for v in range(rng.randint(2, self.mix.most_variants))
        }
        sets = {f"set-{s}": self.set(list(variants), slots, parts) for s in range(rng.randint(0, 2) if self.mix.sets else 0)}
        return knowledge_base(
            about={
                "not_in_the_record": round(rng.uniform(0.02, 0.2), 3),
                "replaced": {"missing": round(rng.uniform(0, 0.4), 2), "unlisted": round(rng.uniform(0, 0.3), 2)},
            },
            traits=common,
            family={
                "kinds": {kind: {"name": kind} for kind in self.kinds},
                "slots": slots | self.own_slots(),
                "traits": own,
            },
            variants=variants,
            sets=sets,
            slot_types=slot_types,
            parts=parts,
        )

    def own_slots(self) -> Plain:
        """The body and the finish are changed as often as by default, or as stated."""
        if not self.mix.swaps:
            return {"body": {"name": "Body", "swapped": 0}, "finish": {"name": "Finish", "swapped": 0}}
        stated = {"body": self.rng.choice([None, 0.1]), "finish": self.rng.choice([None, 0.0, 0.3])}
        held = {"body": "molded", "finish": "painted"}
        return {
            ident: {"name": ident, "fastened": held[ident], "swapped": share}
            for ident, share in stated.items()
            if share is not None
        }

    def fittings(self) -> tuple[Plain, Plain, Plain]:
        """(slots, slot types, parts); both slots may take parts of one type."""
        rng = self.rng
        if not self.mix.parts:
            return {}, {}, {}
        shared = rng.random() < 0.4
        slots: Plain = {}
        for i in range(rng.randint(1, 2)):
            slot: Plain = {"name": f"Slot {i}", "type": "type-0" if shared else f"type-{i}"}
            slot["fastened"] = rng.choice(["riveted", "clipped", "screwed"])
            if not self.mix.swaps:
                slot["swapped"] = 0
            elif rng.random() < 0.5:
                slot |= {"swapped": round(rng.uniform(0, 0.5), 2), "missing": round(rng.uniform(0, 0.5), 2), "unlisted": 0.1}
            if self.kinds and rng.random() < 0.5:
                slot["kinds"] = [self.kinds[0]]
            slots[f"slot-{i}"] = slot
        slot_types: Plain = {}
        parts: Plain = {}
        for ident in sorted({slot["type"] for slot in slots.values()}):
            traits = {f"mark-{i}": self.trait("body") for i in range(rng.randint(1, 2))}
            slot_types[ident] = {"traits": traits}
            fits = {FAMILY: [name for name, slot in slots.items() if slot["type"] == ident]}
            for p in range(rng.randint(2, 3)):
                shows = {name: fact for name, trait in traits.items() if (fact := self.fact(list(trait["states"]))) is not None}
                common = rng.choice(["common", "uncommon", "scarce", 0.7])
                parts[f"{ident}-part-{p}"] = {"type": ident, "how_common": common, "fits": fits, "shows": shows}
        return slots, slot_types, parts

    def trait(self, slot: str) -> Plain:
        rng = self.rng
        states: Plain = {state: {"name": state} for state in ["red", "green", "blue"][: rng.randint(2, 3)]}
        if len(states) == 3 and rng.random() < 0.4:
            states["red"]["mistaken_for"] = rng.choice([["green"], ["green", "blue"]])
        mistakes = rng.choice(["plain", "fair", "tricky", 0.15]) if self.mix.mistakes else 0.0
        return {"name": slot, "slot": slot, "view": rng.choice(["side", "below"]), "mistakes": mistakes, "states": states}

    def fact(self, choices: list[str]) -> Any:
        """What is said of a trait or a slot: one, one with a share, several, or (None) nothing."""
        rng, roll = self.rng, self.rng.random()
        if roll < 0.15 and self.mix.unknown:
            return None
        if roll < 0.25 and self.mix.partial:
            return {rng.choice(choices): rng.choice(["usual", 0.6])}
        if roll < 0.5:
            first, second = rng.sample(choices, 2)
            return {first: rng.choice(["usual", 0.9]), second: rng.choice(["sometimes", "rarely", 0.3])}
        return rng.choice(choices)

    def variant(self, traits: Plain, slots: Plain, parts: Plain) -> Plain:
        rng = self.rng
        said: Plain = {"name": "A variant"}
        if self.kinds:
            said["kind"] = rng.choice(self.kinds)
        if not self.mix.unknown or rng.random() < 0.8:
            said["how_common"] = rng.choice(["common", "uncommon", "scarce", 0.6])
        if rng.random() < 0.6:
            said["sold_alone"] = rng.choice(["common", "uncommon", "never"])
        shows = {name: self.fact(list(trait["states"])) for name, trait in traits.items()}
        fitted = {name: self.fact(self.fitting(slot["type"], parts)) for name, slot in slots.items()}
        said["shows"] = {name: fact for name, fact in shows.items() if fact is not None}
        said["fitted"] = {name: fact for name, fact in fitted.items() if fact is not None}
        return said

    def fitting(self, slot_type: str, parts: Plain) -> list[str]:
        return [
            *(ident for ident, part in parts.items() if part["type"] == slot_type),
            *(["none"] if self.rng.random() < 0.3 else []),
        ]

    def set(self, variants: list[str], slots: Plain, parts: Plain) -> Plain:
        rng = self.rng
        positions: list[Plain] = []
        for _ in range(rng.randint(1, 2)):
            there = rng.sample(variants, rng.randint(1, 2))
            fitted: Plain = {}
            for name, slot in slots.items():
                if rng.random() < 0.7:
                    fitted[name] = self.fact(self.fitting(slot["type"], parts)) or "unknown"
            if not self.mix.unknown:
                fitted = {name: fact for name, fact in fitted.items() if fact != "unknown"}
            positions.append(
                {"variants": {ident: rng.choice(["always", "usual", "sometimes"]) for ident in there}, "fitted": fitted}
            )
        return {"how_common": rng.choice(["common", "uncommon", 0.3]), "positions": positions}


def random_answers(entries: Entries, seed: int, most: int = 4) -> dict[str, Answer]:
    """Up to `most` answers of every form to traits and slots of the family, at most one for each."""
    rng = Random(seed)
    family = entries.families[FAMILY]
    traits = {name: (trait, False) for name, trait in (entries.traits | family.traits).items()}
    bare: dict[str, list[str]] = {}
    for slot_id, slot in family.slots.items():
        if slot.type:
            for name, trait in entries.slot_types[slot.type].traits.items():
                traits[f"{slot_id}.{name}"] = (trait, True)
            bare[slot_id] = [ident for ident in entries.parts if entries.home["part", ident] == slot.type]
    keys = [*traits, *bare]
    answers: dict[str, Answer] = {}
    for key in rng.sample(keys, min(len(keys), rng.randint(1, most))):
        if key in bare:
            choices, can_miss = [*bare[key], "none", "unlisted"], True
        else:
            choices, can_miss = list(traits[key][0].states or {}), traits[key][1]
        answers[key] = _answer(rng, choices, can_miss)
    return answers


def _answer(rng: Random, choices: list[str], can_miss: bool) -> Answer:
    roll = rng.random()
    if roll < 0.06:
        return Answer.model_validate({"is": "cannot-tell"})
    if roll < 0.10:
        return Answer.model_validate({"not": choices})
    if roll < 0.25 and can_miss:
        return Answer.model_validate({"is": "missing"})
    if roll < 0.5:
        return Answer.model_validate({"not": [rng.choice(choices)]})
    if roll < 0.7:
        return Answer.model_validate({"one_of": rng.sample(choices, 2)})
    return Answer.model_validate({"is": rng.choice(choices)})
