"""What must hold between records. Every check is a generator of findings; `check` collects them all."""

import re
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from .answers import Asked, askable, read_all
from .drawings import read_drawings
from .findings import Finding, Kind, Unreadable, listed, nearest, quoted
from .load import LAYOUT, Entries, Known, Progress, TableRow, load
from .models import DamageSpot, Procedure, Set, Sighting, Trait, Variant
from .photographs import check_photographs
from .reading import in_unit
from .references import references
from .resolve import OWN_SLOTS, lineage, moved, slots_of, stated, traits_of, views_of
from .said import check_said
from .values import RESERVED, Fact, Ref, Weight
from .yaml_text import Loc, Places

PART_WORDS = frozenset({"none", "unlisted", "unknown"})


def check(root: Path, progress: Progress = iter, known: Known | None = None) -> tuple[Entries, list[Finding]]:
    """Loads a folder and returns it with everything that is wrong with it. Raises BadInput when there is no folder of entries."""
    loaded = load(root, progress, known)
    checker = _Checker(loaded.entries)
    _, drawn = read_drawings(loaded.entries)
    return loaded.entries, sorted({*loaded.findings, *checker.all(), *drawn, *check_photographs(loaded.entries)})


class _Checker:
    def __init__(self, entries: Entries) -> None:
        self.entries = entries
        self._places: dict[str, Places] = {}
        self._askable: dict[str, list[Asked]] = {}
        self._shown: dict[str, dict[str, Trait]] = {}
        self._whole: dict[str, bool] = {}

    def all(self) -> Iterator[Finding]:
        entries = self.entries
        for kind in (rule.kind for rule in LAYOUT if rule.shape != "whole"):
            for ident, record in entries.of(kind).items():
                for loc, ref, value in references(record):
                    yield from self.reference(kind, ident, loc, ref, value)
        yield from self.traits()
        yield from self.families()
        yield from self.liveries()
        for wrong in check_said(entries):
            yield self.say(*wrong)
        for ident, variant in entries.variants.items():
            yield from self.variant(ident, variant)
        for ident, one in entries.sets.items():
            yield from self.set(ident, one)
        yield from self.parts()
        for ident, procedure in entries.procedures.items():
            yield from self.procedure(ident, procedure)
        for ident, sighting in entries.sightings.items():
            yield from self.sighting(ident, sighting)
        for ident, sale in entries.sales.items():
            if (sale.variant is None) == (sale.set is None):
                yield self.say("sale", ident, (), Kind.WRONG_VALUE, "both" if sale.set else "neither", "a variant or a set")

    # Places ------------------------------------------------------------------------------------------------------------

    def say(
        self, kind: str, ident: str, loc: Loc, what: Kind, found: str, expected: str, near: str | None = None, key: bool = False
    ) -> Finding:
        place = self.entries.places[kind, ident]
        if place.path.endswith(".csv"):
            row = TableRow(place.path, int(place.loc[0]), [str(name) for name in place.loc[1:]])
            return Finding(place.path, *row.at(loc), what, found, expected, near)
        if place.path not in self._places:
            text = (self.entries.root / place.path).read_text("utf-8-sig")
            self._places[place.path] = Places(text, place.path)
        line, column = self._places[place.path].at([*place.loc, *loc], key=key)
        return Finding(place.path, line, column, what, found, expected, near)

    @cached_property
    def _names(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for kind, ident in self.entries.places:
            found.setdefault(kind, []).append(ident)
        return found

    def names(self, kind: str) -> list[str]:
        """All ids of a kind, those of records that could not be read included."""
        return self._names.get(kind, [])

    @cached_property
    def _parts(self) -> dict[str, list[str]]:
        """The ids of the parts of each slot type, those that could not be read included."""
        found: dict[str, list[str]] = {}
        for ident in self.names("part"):
            found.setdefault(self.entries.home["part", ident], []).append(ident)
        return found

    def reference(self, kind: str, ident: str, loc: Loc, ref: Ref, value: str) -> Iterator[Finding]:
        if (ref.kind, value) not in self.entries.places and ref.kind not in self.entries.lost:
            near = nearest(value, self.names(ref.kind))
            named = loc[-1] == value
            yield self.say(kind, ident, loc, Kind.DANGLING, quoted(value), f"the id of a {ref.kind}", near, key=named)

    def word(self, kind: str, ident: str, loc: Loc, scale: str, weight: Weight | str | None) -> Iterator[Finding]:
        words: Mapping[str, float] = getattr(self.entries.about, scale)
        if isinstance(weight, str) and weight not in words and "knowledge base" not in self.entries.lost:
            expected = f"a word of {scale}: {listed(words)}"
            yield self.say(kind, ident, loc, Kind.WRONG_VALUE, quoted(weight), expected, nearest(weight, words))

    def whole(self, family: str) -> bool:
        """Whether everything that the facts of a family lean on could be read."""
        if family not in self._whole:
            leaned_on = {"trait", "slot type", "part", "knowledge base"}
            types = {slot.type for slot in slots_of(self.entries, family).values() if slot.type}
            unread = types - set(self.entries.slot_types)
            unread |= set(self.names("trait")) - set(self.entries.traits)
            self._whole[family] = family in self.entries.families and not self.entries.lost & leaned_on and not unread
        return self._whole[family]

    # Traits and families -----------------------------------------------------------------------------------------------

    def traits(self) -> Iterator[Finding]:
        for ident, trait in self.entries.traits.items():
            yield from self.trait("trait", ident, (), ident, trait, OWN_SLOTS)
            yield from self.view("trait", ident, (), trait.view, None)
        for ident, slot_type in self.entries.slot_types.items():
            for name, trait in slot_type.traits.items():
                loc = ("traits", name)
                yield from self.trait("slot type", ident, loc, name, trait, {"body": None})
                yield from self.view("slot type", ident, loc, trait.view, None)

    def trait(self, kind: str, ident: str, loc: Loc, name: str, trait: Trait, slots: Mapping[str, Any]) -> Iterator[Finding]:
        forms = [form for form in ("states", "measured", "marking") if getattr(trait, form) is not None]
        if len(forms) != 1:
            found = " and ".join(forms) or "none of them"
            yield self.say(kind, ident, loc, Kind.WRONG_VALUE, found, "one of states, measured or marking")
        if name in RESERVED:
            yield self.say(kind, ident, loc, Kind.WRONG_VALUE, quoted(name), "an id that is not a reserved word", key=True)
        if trait.slot not in slots:
            expected = f"a slot without a part: {listed(slots)}"
            yield self.say(kind, ident, [*loc, "slot"], Kind.DANGLING, quoted(trait.slot), expected, nearest(trait.slot, slots))
        yield from self.word(kind, ident, [*loc, "mistakes"], "mistakes", trait.mistakes)
        if trait.measured and trait.measured.least >= trait.measured.most:
            found = f"least {trait.measured.least:g} and most {trait.measured.most:g}"
            yield self.say(kind, ident, [*loc, "measured"], Kind.WRONG_VALUE, found, "least below most")
        for state_id, state in (trait.states or {}).items():
            where = [*loc, "states", state_id]
            if state_id in RESERVED:
                yield self.say(
                    kind, ident, where, Kind.WRONG_VALUE, quoted(state_id), "a state that is no reserved word", key=True
                )
            for index, other in enumerate(state.mistaken_for):
                if other not in (trait.states or {}) or other == state_id:
                    others = [one for one in trait.states or {} if one != state_id]
                    at = [*where, "mistaken_for", index]
                    expected = f"another state: {listed(others)}"
                    yield self.say(kind, ident, at, Kind.UNKNOWN_STATE, quoted(other), expected, nearest(other, others))

    def view(self, kind: str, ident: str, loc: Loc, view: str, family: str | None) -> Iterator[Finding]:
        views = views_of(self.entries, family)
        if view not in views and "knowledge base" not in self.entries.lost:
            yield self.say(
                kind, ident, [*loc, "view"], Kind.DANGLING, quoted(view), f"a view: {listed(views)}", nearest(view, views)
            )

    def families(self) -> Iterator[Finding]:
        types: dict[str, tuple[str, str | None]] = {}
        for ident, family in self.entries.families.items():
            slots = slots_of(self.entries, ident)
            own = [slot for slot, record in slots.items() if not record.type]
            for name, trait in family.traits.items():
                loc = ("traits", name)
                yield from self.trait("family", ident, loc, name, trait, dict.fromkeys(own))
                yield from self.view("family", ident, loc, trait.view, ident)
                if name in self.entries.traits:
                    yield self.say(
                        "family", ident, loc, Kind.DUPLICATE, quoted(name), "a name that no common trait has", key=True
                    )
            for name, slot in family.slots.items():
                loc = ("slots", name)
                yield from self.word("family", ident, [*loc, "fastened"], "fastened", slot.fastened)
                for index, kind in enumerate(slot.kinds or []):
                    yield from self.kind("family", ident, [*loc, "kinds", index], kind, ident)
                home, other = types.setdefault(name, (ident, slot.type))
                if other != slot.type:
                    expected = f'the type "{other}", as in the family {home}'
                    yield self.say("family", ident, [*loc, "type"], Kind.WRONG_VALUE, quoted(slot.type), expected)
            yield from self.word("family", ident, ["how_common"], "scarcity", family.how_common)
            if self.whole(ident):
                yield from self.facts("family", ident, ("shows",), family.shows, self.shown(ident))
            for name, kind in family.kinds.items() if self.whole(ident) else ():
                yield from self.facts("family", ident, ("kinds", name, "shows"), kind.shows, self.shown(ident))
                yield from self.fitted("family", ident, ("kinds", name, "fitted"), kind.fitted, ident)
            for name, spot in family.damage.items():
                yield from self.damage(ident, name, spot, slots)

    def damage(self, family: str, name: str, spot: DamageSpot, slots: Mapping[str, Any]) -> Iterator[Finding]:
        loc = ("damage", name)
        yield from self.view("family", family, loc, spot.view, family)
        yield from self.word("family", family, [*loc, "how_common"], "frequencies", spot.how_common)
        if spot.slot not in slots:
            at = [*loc, "slot"]
            yield self.say(
                "family", family, at, Kind.DANGLING, quoted(spot.slot), f"a slot: {listed(slots)}", nearest(spot.slot, slots)
            )

    def kind(self, record: str, ident: str, loc: Loc, kind: str, family: str) -> Iterator[Finding]:
        kinds = self.entries.families[family].kinds if family in self.entries.families else {kind: None}
        if kind not in kinds:
            expected = f"a kind of {family}: {listed(kinds)}"
            yield self.say(record, ident, loc, Kind.DANGLING, quoted(kind), expected, nearest(kind, kinds))

    # Facts -------------------------------------------------------------------------------------------------------------

    def shown(self, family: str) -> dict[str, Trait]:
        """The traits that the body and finish of the family's variants show."""
        if family not in self._shown:
            traits = traits_of(self.entries, family).items()
            self._shown[family] = {ident: trait for ident, trait in traits if "." not in ident}
        return self._shown[family]

    def facts(self, kind: str, ident: str, loc: Loc, facts: Mapping[str, Fact], traits: Mapping[str, Trait]) -> Iterator[Finding]:
        for name, fact in facts.items():
            where = [*loc, name]
            if name not in traits:
                expected = (
                    "a trait of the body or the finish" if kind != "part" else f"a trait of its slot type: {listed(traits)}"
                )
                yield self.say(
                    kind, ident, where, Kind.UNKNOWN_KEY, f'the key "{name}"', expected, nearest(name, traits), key=True
                )
                continue
            yield from self.frequencies(kind, ident, where, fact)
            for choice in fact.is_:
                if choice != "unknown":
                    yield from self.choice(kind, ident, [*where, "is", choice], choice, traits[name])

    def frequencies(self, kind: str, ident: str, loc: Loc, fact: Fact) -> Iterator[Finding]:
        for choice, weight in fact.is_.items():
            yield from self.word(kind, ident, [*loc, "is", choice], "frequencies", weight)
        if fact.unknown and len(fact.is_) > 1:
            yield self.say(kind, ident, loc, Kind.WRONG_VALUE, "unknown among choices", "unknown alone, or the choices")

    def choice(self, kind: str, ident: str, loc: Loc, choice: str, trait: Trait) -> Iterator[Finding]:
        if trait.states is not None and choice not in trait.states:
            expected = f"a state of it: {listed(trait.states)}"
            near = nearest(choice, trait.states)
            yield self.say(kind, ident, loc, Kind.UNKNOWN_STATE, quoted(choice), expected, near, key=True)
        if trait.measured is not None:
            unit, least, most = trait.measured.unit, trait.measured.least, trait.measured.most
            try:
                value = in_unit(choice, unit).value
            except Unreadable as problem:
                yield self.say(kind, ident, loc, problem.kind, problem.found, problem.expected, key=True)
                return
            if least < most and not least <= value <= most:
                expected = f"a value from {least:g} to {most:g} {unit}".strip()
                yield self.say(kind, ident, loc, Kind.WRONG_VALUE, quoted(choice), expected, key=True)

    def fitted(self, kind: str, ident: str, loc: Loc, facts: Mapping[str, Fact], family: str) -> Iterator[Finding]:
        slots = {name: slot for name, slot in slots_of(self.entries, family).items() if slot.type}
        for name, fact in facts.items():
            where = [*loc, name]
            if name not in slots:
                expected = f"a slot of {family} that holds a part: {listed(slots)}"
                yield self.say(
                    kind, ident, where, Kind.UNKNOWN_KEY, f'the key "{name}"', expected, nearest(name, slots), key=True
                )
                continue
            yield from self.frequencies(kind, ident, where, fact)
            slot_type = slots[name].type or ""
            right = self._parts.get(slot_type, [])
            for choice in fact.is_:
                if choice not in right and choice not in PART_WORDS:
                    expected = f"a part of the type {slot_type}, or none"
                    at = [*where, "is", choice]
                    yield self.say(kind, ident, at, Kind.DANGLING, quoted(choice), expected, nearest(choice, right), key=True)

    def liveries(self) -> Iterator[Finding]:
        unread = "trait" in self.entries.lost or len(self.names("trait")) > len(self.entries.traits)
        for ident, livery in self.entries.liveries.items() if not unread else ():
            yield from self.facts("livery", ident, ("shows",), livery.shows, self.entries.traits)

    # Records -----------------------------------------------------------------------------------------------------------

    def variant(self, ident: str, variant: Variant) -> Iterator[Finding]:
        family = self.entries.family_of(ident)
        if variant.signpost:
            ends = [variant.moved_to, *variant.split_into]
            if not moved(self.entries, ident) and all(end in self.entries.variants for end in ends if end):
                yield self.say("variant", ident, (), Kind.CYCLE, "a signpost that leads nowhere", "a signpost to a variant")
            return
        if variant.name is None:
            yield self.say("variant", ident, (), Kind.MISSING_KEY, 'no key "name"', 'the key "name"')
        row = lineage(self.entries, ident)
        if row[-1].like == ident:
            found = f'"{ident}", which leads back to itself'
            yield self.say("variant", ident, ("like",), Kind.CYCLE, found, "a chain of like that ends")
        if variant.like in self.entries.variants and self.entries.family_of(variant.like) != family:
            yield self.say("variant", ident, ("like",), Kind.DANGLING, quoted(variant.like), f"a variant of {family}")
        kinds = self.entries.families[family].kinds if family in self.entries.families else {}
        kind = stated(self.entries, ident).kind
        if variant.kind is not None:
            yield from self.kind("variant", ident, ("kind",), variant.kind, family)
        elif kind is None and kinds and variant.like in (None, *self.entries.variants):
            yield self.say("variant", ident, (), Kind.MISSING_KEY, 'no key "kind"', f'the key "kind": {listed(kinds)}')
        yield from self.word("variant", ident, ("how_common",), "scarcity", variant.how_common)
        yield from self.word("variant", ident, ("sold_alone",), "scarcity", variant.sold_alone)
        if self.whole(family):
            yield from self.facts("variant", ident, ("shows",), variant.shows, self.shown(family))
            yield from self.fitted("variant", ident, ("fitted",), variant.fitted, family)
            slots = slots_of(self.entries, family)
            for name, fact in variant.fitted.items():
                having = slots[name].kinds if name in slots else None
                if having is not None and kind is not None and kind not in having and set(fact.is_) - {"none", "unknown"}:
                    expected = f"a slot that a {kind} has; only {listed(having)} has it"
                    yield self.say("variant", ident, ("fitted", name), Kind.WRONG_VALUE, quoted(name), expected, key=True)

    def set(self, ident: str, one: Set) -> Iterator[Finding]:
        yield from self.word("set", ident, ("how_common",), "scarcity", one.how_common)
        for index, position in enumerate(one.positions):
            loc = ("positions", index)
            for variant, weight in position.variants.items():
                yield from self.word("set", ident, [*loc, "variants", variant], "frequencies", weight)
            homes = {self.entries.home["variant", v] for v in position.variants if ("variant", v) in self.entries.home}
            for family in sorted(filter(self.whole, homes)):
                yield from self.fitted("set", ident, [*loc, "fitted"], position.fitted, family)

    def parts(self) -> Iterator[Finding]:
        for ident, part in self.entries.parts.items():
            slot_type = self.entries.home["part", ident]
            if slot_type in self.entries.slot_types:
                yield from self.facts("part", ident, ("shows",), part.shows, self.entries.slot_types[slot_type].traits)
            yield from self.word("part", ident, ("how_common",), "scarcity", part.how_common)
            for family, slots in part.fits.items():
                if family not in self.entries.families:
                    continue
                slots_there = slots_of(self.entries, family)
                fitting = [name for name, slot in slots_there.items() if slot.type == slot_type]
                if not self.whole(family):
                    continue
                for index, slot in enumerate(slots):
                    if slot not in fitting:
                        expected = f"a slot of {family} for the type {slot_type}: {listed(fitting)}"
                        at = ["fits", family, index]
                        yield self.say("part", ident, at, Kind.DANGLING, quoted(slot), expected, nearest(slot, fitting))

    def procedure(self, ident: str, procedure: Procedure) -> Iterator[Finding]:
        for index, hazard in enumerate(procedure.hazards):
            if hazard not in self.entries.about.hazards and "knowledge base" not in self.entries.lost:
                expected = "a hazard whose caution stands in knowledge-base.yaml"
                yield self.say("procedure", ident, ("hazards", index), Kind.DANGLING, quoted(hazard), expected)
        for hazard, caution in self.entries.about.hazards.items():
            for field in ("tools", "consumables"):
                for index, item in enumerate(getattr(procedure, field)):
                    brings = any(re.search(rf"\b{re.escape(thing)}", item, re.IGNORECASE) for thing in caution.brought_by)
                    if brings and hazard not in procedure.hazards:
                        found = f"{quoted(item)} without its hazard"
                        yield self.say("procedure", ident, (field, index), Kind.HAZARD, found, f'"{hazard}" among the hazards')

    def sighting(self, ident: str, sighting: Sighting) -> Iterator[Finding]:
        family = self.entries.home["sighting", ident]
        verdict = sighting.verdict
        if not self.whole(family):
            return
        views = views_of(self.entries, family)
        for index, view in enumerate(sighting.views or []):
            if view not in views:
                near = nearest(view, views)
                yield self.say("sighting", ident, ("views", index), Kind.DANGLING, quoted(view), f"a view: {listed(views)}", near)
        if family not in self._askable:
            self._askable[family] = askable(self.entries, family)
        _, problems = read_all(self.entries, family, sighting.answers, self._askable[family])
        for key, problem in problems:
            loc = ("answers", key)
            about_key = problem.kind == Kind.UNKNOWN_KEY
            yield self.say("sighting", ident, loc, problem.kind, problem.found, problem.expected, problem.nearest, key=about_key)
        slots = slots_of(self.entries, family)
        for index, slot in enumerate(verdict.swapped):
            if slot not in slots:
                at = ("verdict", "swapped", index)
                yield self.say(
                    "sighting", ident, at, Kind.DANGLING, quoted(slot), f"a slot: {listed(slots)}", nearest(slot, slots)
                )
        one = self.entries.sets.get(verdict.set or "")
        most = len(one.positions) if one else 0 if verdict.set is None else 99
        if verdict.position is not None and verdict.position > most:
            expected = f"a position from 1 to {most}" if most else "a set when there is a position"
            yield self.say("sighting", ident, ("verdict", "position"), Kind.WRONG_VALUE, str(verdict.position), expected)
