"""What must hold between records. Every check is a generator of findings; `check` collects them all.

One check looks at one record, one drawing, the photographs of one record, or what all families must agree on.  What each of them
reads is written down (`kb.leaning`): where nothing was wrong and nothing of that has changed, nothing is wrong now.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple, TypeAlias

from pydantic import BaseModel

from .answers import askable, read_all
from .drawings import check_drawing
from .files import Loc
from .findings import Finding, Kind, Unreadable, listed, nearest, quoted
from .forked import processes_for, spread
from .leaning import FILE, Flat, Leaned, NotedEntries, changed
from .load import FIELDS, Entries, Known, Progress, load
from .models import DamageSpot, Family, Livery, Part, Procedure, Sale, Set, Sighting, SlotType, Trait, Variant
from .noting import Memo
from .one_file import TableRow
from .photographs import check_photographs, photographs_of
from .reading import in_unit
from .references import references
from .resolve import OWN_SLOTS, lineage, moved, slots_of, traits_of, views_of
from .said import check_said
from .uncollected import uncollected
from .values import RESERVED, Fact, Ref, Weight
from .yaml_text import Places

PART_WORDS = frozenset({"none", "unlisted", "unknown"})
#: One check: what it is about, and which one of those.
Unit: TypeAlias = tuple[str, ...]
#: The same with what makes it.
Check: TypeAlias = tuple[Unit, Callable[[], Iterator[Finding]]]
#: Fewer checks than this for each process are not worth a fork.
CHECKS_EACH = 800
RECORD, DRAWING, PHOTOGRAPHS, TYPES = "record", "drawing", "photographs", "slot types of families"


class Checked(NamedTuple):
    """A folder of entries, everything that is wrong with it, and what each check leaned on."""

    entries: Entries
    findings: list[Finding]
    leaned: dict[Unit, Leaned]


def check(root: Path, progress: Progress = iter) -> tuple[Entries, list[Finding]]:
    """Loads a folder and returns it with everything that is wrong with it. Raises BadInput when there is no folder of entries."""
    with uncollected():
        entries, findings, _ = checked(root, progress)
    return entries, findings


def checked(
    root: Path,
    progress: Progress = iter,
    known: Known | None = None,
    leaned: Mapping[Unit, Leaned] | None = None,
    processes: int | None = None,
) -> Checked:
    """The same, with what each check leaned on.

    known: entries with which nothing was wrong.  Their unchanged files are not read again, and no check is made again of which
    nothing has changed that it leaned on then (`leaned`).
    processes: how many do a part of it each; as many as the machine has for it where not given.
    """
    loaded = load(root, progress, known, processes)
    memo = Memo()
    entries = loaded.entries
    checker = _Checker(NotedEntries(entries, memo), memo)
    other = changed(known.entries, entries) if known else None
    found = set(loaded.findings)
    leaned = leaned or {}
    if other is not None and known:
        other.update((FILE, path) for path in files_read(leaned).difference(known.unchanged))
    flat, now, waiting = Flat(leaned.values()), dict[Unit, Leaned](), dict[str, list[Check]]()
    for unit, one in _units(checker, entries, loaded.files):
        before = leaned.get(unit)
        now[unit] = before or ()
        if before is None or other is None or not all(map(other.isdisjoint, before)):
            waiting.setdefault(_home(entries, unit), []).append((unit, one))
    tasks = sorted(waiting.values(), key=len, reverse=True)
    processes = processes or processes_for(sum(map(len, tasks)), CHECKS_EACH)
    for unit, said, read in chain.from_iterable(spread(tasks, partial(_made, memo, flat), processes, helping=True)):
        found.update(said)
        now[unit] = flat.own(read)
    return Checked(entries, sorted(found), now)


def _made(memo: Memo, flat: Flat, tasks: Iterable[list[Check]]) -> Iterator[list[tuple[Unit, list[Finding], Leaned]]]:
    """Makes the checks of all tasks: (what was checked, everything that is wrong, what was leaned on)."""
    made: list[tuple[Unit, list[Finding], Leaned]] = []
    for unit, one in chain.from_iterable(tasks):
        said, read = memo.reading(lambda one=one: [*one()])
        made.append((unit, said, flat(read)))
    yield made


def _home(entries: Entries, unit: Unit) -> str:
    """What a check shares most of its work with: that of the same family or slot type, else of the same kind."""
    match unit:
        case (_, kind, ident):
            return entries.home.get((kind, ident), ident if kind in ("family", "slot type") else kind)
        case (_, path) if path.count("/") > 1:
            return path.split("/")[1]
        case _:
            return ""


def files_read(leaned: Mapping[Unit, Leaned]) -> set[str]:
    """The paths of the files below the root that checks have read beside the entries: drawings and photographs."""
    return {key[1] for unit, one in leaned.items() if unit[0] in (DRAWING, PHOTOGRAPHS) for key in one[0] if key[0] == FILE}


def _units(checker: "_Checker", entries: Entries, files: list[str]) -> Iterator[Check]:
    """Every check there is."""
    for kind in FIELDS:
        for ident in entries.of(kind):
            yield (RECORD, kind, ident), partial(checker.record, kind, ident)
    if ("sellers", "") in entries.places:
        yield (RECORD, "sellers", ""), checker.sellers
    yield (TYPES,), checker.types
    for path in files:
        if path.endswith(".svg"):
            yield (DRAWING, path), partial(checker.drawing, path)
    for kind, ident in dict.fromkeys((kind, ident) for kind, ident, _, _ in photographs_of(entries)):
        yield (PHOTOGRAPHS, kind, ident), partial(checker.photographs, kind, ident)


class _Checker:
    """The checks. `entries` note what is read of them, and everything that is kept is kept with what was read for it."""

    def __init__(self, entries: NotedEntries, memo: Memo) -> None:
        self.entries = entries
        self.memo = memo
        self._places: dict[str, Places] = {}
        self.slots = memo.kept(partial(slots_of, entries))
        self.views = memo.kept(partial(views_of, entries))
        self.traits = memo.kept(partial(traits_of, entries))
        self.askable = memo.kept(partial(askable, entries))
        self.shown = memo.kept(self._shown)
        self.whole = memo.kept(self._whole)
        self.unread = memo.kept(self._unread)
        self._own = {
            "trait": self.common_trait,
            "slot type": self.slot_type,
            "family": self.family,
            "livery": self.livery,
            "variant": self.variant,
            "set": self.set,
            "part": self.part,
            "procedure": self.procedure,
            "sighting": self.sighting,
            "sale": self.sale,
        }

    def record(self, kind: str, ident: str) -> Iterator[Finding]:
        """Everything about one record but its photographs."""
        record = self.entries.whole(kind, ident)
        yield from self.phrases(kind, ident, record)
        for loc, ref, value in references(record):
            yield from self.reference(kind, ident, loc, ref, value)
        if kind in self._own:
            yield from self._own[kind](ident, record)

    def sellers(self) -> Iterator[Finding]:
        """What sellers say that belongs to no record."""
        yield from self.phrases("sellers", "", self.entries.sellers)

    def phrases(self, kind: str, ident: str, record: BaseModel) -> Iterator[Finding]:
        for wrong in check_said(record):
            yield self.say(kind, ident, *wrong)

    def drawing(self, path: str) -> Iterator[Finding]:
        """One drawing."""
        self.memo.note((FILE, path))
        yield from check_drawing(self.entries, path, self.traits)

    def photographs(self, kind: str, ident: str) -> Iterator[Finding]:
        """The photographs of one record."""
        alone = Entries(self.entries.root, self.entries.about, self.entries.sellers, places=self.entries.places)
        alone.of(kind)[ident] = self.entries.whole(kind, ident)
        for _, _, _, photograph in photographs_of(alone):
            self.memo.note((FILE, photograph.file))
        yield from check_photographs(alone)

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

    def _unread(self, kind: str) -> list[str]:
        """The ids of the records of a kind that could not be read."""
        return [ident for ident in self.entries.ids(kind) if ident not in self.entries.of(kind)]

    def reference(self, kind: str, ident: str, loc: Loc, ref: Ref, value: str) -> Iterator[Finding]:
        if (ref.kind, value) not in self.entries.places and ref.kind not in self.entries.lost:
            near = nearest(value, self.entries.ids(ref.kind))
            named = loc[-1] == value
            yield self.say(kind, ident, loc, Kind.DANGLING, quoted(value), f"the id of a {ref.kind}", near, key=named)

    def word(self, kind: str, ident: str, loc: Loc, scale: str, weight: Weight | str | None) -> Iterator[Finding]:
        words: Mapping[str, float] = getattr(self.entries.about, scale)
        if isinstance(weight, str) and weight not in words and "knowledge base" not in self.entries.lost:
            expected = f"a word of {scale}: {listed(words)}"
            yield self.say(kind, ident, loc, Kind.WRONG_VALUE, quoted(weight), expected, nearest(weight, words))

    def _whole(self, family: str) -> bool:
        """Whether everything that the facts of a family lean on could be read."""
        leaned_on = {"trait", "slot type", "part", "knowledge base"}
        types = {slot.type for slot in self.slots(family).values() if slot.type}
        unread = self.unread("trait") or {one for one in types if one not in self.entries.slot_types}
        return family in self.entries.families and not self.entries.lost & leaned_on and not unread

    # Traits and families -----------------------------------------------------------------------------------------------

    def common_trait(self, ident: str, trait: Trait) -> Iterator[Finding]:
        yield from self.trait("trait", ident, (), ident, trait, OWN_SLOTS)
        yield from self.view("trait", ident, (), trait.view, None)

    def slot_type(self, ident: str, slot_type: SlotType) -> Iterator[Finding]:
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
        views = self.views(family)
        if view not in views and "knowledge base" not in self.entries.lost:
            yield self.say(
                kind, ident, [*loc, "view"], Kind.DANGLING, quoted(view), f"a view: {listed(views)}", nearest(view, views)
            )

    def family(self, ident: str, family: Family) -> Iterator[Finding]:
        slots = self.slots(ident)
        own = [slot for slot, record in slots.items() if not record.type]
        for name, trait in family.traits.items():
            loc = ("traits", name)
            yield from self.trait("family", ident, loc, name, trait, dict.fromkeys(own))
            yield from self.view("family", ident, loc, trait.view, ident)
            if name in self.entries.traits:
                yield self.say("family", ident, loc, Kind.DUPLICATE, quoted(name), "a name that no common trait has", key=True)
        for name, slot in family.slots.items():
            loc = ("slots", name)
            yield from self.word("family", ident, [*loc, "fastened"], "fastened", slot.fastened)
            for index, kind in enumerate(slot.kinds or []):
                yield from self.kind("family", ident, [*loc, "kinds", index], kind, ident)
        yield from self.word("family", ident, ["how_common"], "scarcity", family.how_common)
        if self.whole(ident):
            yield from self.facts("family", ident, ("shows",), family.shows, self.shown(ident))
        for name, kind in family.kinds.items() if self.whole(ident) else ():
            yield from self.facts("family", ident, ("kinds", name, "shows"), kind.shows, self.shown(ident))
            yield from self.fitted("family", ident, ("kinds", name, "fitted"), kind.fitted, ident)
        for name, spot in family.damage.items():
            yield from self.damage(ident, name, spot, slots)

    def types(self) -> Iterator[Finding]:
        """Slots of one name are of one type in all families."""
        types: dict[str, tuple[str, str | None]] = {}
        for ident, family in self.entries.families.items():
            for name, slot in family.slots.items():
                home, other = types.setdefault(name, (ident, slot.type))
                if other != slot.type:
                    expected = f'the type "{other}", as in the family {home}'
                    yield self.say("family", ident, ("slots", name, "type"), Kind.WRONG_VALUE, quoted(slot.type), expected)

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

    def _shown(self, family: str) -> dict[str, Trait]:
        """The traits that the body and finish of the family's variants show."""
        return {ident: trait for ident, trait in self.traits(family).items() if "." not in ident}

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
        slots = {name: slot for name, slot in self.slots(family).items() if slot.type}
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
            for choice in fact.is_:
                if choice not in PART_WORDS and not self.of_type(choice, slot_type):
                    right = [part for part in self.entries.ids("part") if self.of_type(part, slot_type)]
                    expected = f"a part of the type {slot_type}, or none"
                    at = [*where, "is", choice]
                    yield self.say(kind, ident, at, Kind.DANGLING, quoted(choice), expected, nearest(choice, right), key=True)

    def of_type(self, part: str, slot_type: str) -> bool:
        """Whether there is such a part of a slot type, be it one that could not be read."""
        return ("part", part) in self.entries.places and self.entries.home["part", part] == slot_type

    def livery(self, ident: str, livery: Livery) -> Iterator[Finding]:
        if "trait" not in self.entries.lost and not self.unread("trait"):
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
        kind = next((one.kind for one in row if one.kind is not None), None)
        if variant.kind is not None:
            yield from self.kind("variant", ident, ("kind",), variant.kind, family)
        elif kind is None and kinds and (variant.like is None or variant.like in self.entries.variants):
            yield self.say("variant", ident, (), Kind.MISSING_KEY, 'no key "kind"', f'the key "kind": {listed(kinds)}')
        yield from self.word("variant", ident, ("how_common",), "scarcity", variant.how_common)
        yield from self.word("variant", ident, ("sold_alone",), "scarcity", variant.sold_alone)
        if self.whole(family):
            yield from self.facts("variant", ident, ("shows",), variant.shows, self.shown(family))
            yield from self.fitted("variant", ident, ("fitted",), variant.fitted, family)
            slots = self.slots(family)
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

    def part(self, ident: str, part: Part) -> Iterator[Finding]:
        slot_type = self.entries.home["part", ident]
        if slot_type in self.entries.slot_types:
            yield from self.facts("part", ident, ("shows",), part.shows, self.entries.slot_types[slot_type].traits)
        yield from self.word("part", ident, ("how_common",), "scarcity", part.how_common)
        for family, slots in part.fits.items():
            if not self.whole(family):
                continue
            fitting = [name for name, slot in self.slots(family).items() if slot.type == slot_type]
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
        views = self.views(family)
        for index, view in enumerate(sighting.views or []):
            if view not in views:
                near = nearest(view, views)
                yield self.say("sighting", ident, ("views", index), Kind.DANGLING, quoted(view), f"a view: {listed(views)}", near)
        _, problems = read_all(self.entries, family, sighting.answers, self.askable(family))
        for key, problem in problems:
            loc = ("answers", key)
            about_key = problem.kind == Kind.UNKNOWN_KEY
            yield self.say("sighting", ident, loc, problem.kind, problem.found, problem.expected, problem.nearest, key=about_key)
        slots = self.slots(family)
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

    def sale(self, ident: str, sale: Sale) -> Iterator[Finding]:
        if (sale.variant is None) == (sale.set is None):
            yield self.say("sale", ident, (), Kind.WRONG_VALUE, "both" if sale.set else "neither", "a variant or a set")
