"""Arrays back to words: the name of a trait, the text of a question, a level of confidence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from ..kb.answers import Asked, read_all
from ..kb.describe import lower_first
from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.models import Trait as TraitRecord
from ..kb.reading import Between, CannotTell, Gone, Measured, Reading, Seen, Typed
from ..kb.resolve import Stated, on_kind, slots_of, stated, traits_of, views_of
from ..kb.values import Answer
from .arrays import MISSING, NOT_IN_THE_RECORD, Compiled
from .questions import Question


@dataclass(frozen=True)
class Words:
    """The words of one compiled knowledge base.

    noun, thing   what a candidate is called, and what is looked at: a unit is of a variant
    gone          that there is nothing to look at
    joint         what stands between a family and its trait where an answers file must say both
    """

    entries: Entries
    compiled: Compiled
    noun: ClassVar[str] = "variant"
    thing: ClassVar[str] = "unit"
    joint: ClassVar[str] = "/"
    gone: ClassVar[str] = MISSING

    def read(
        self, home: str | None, answers: Mapping[str, Answer]
    ) -> tuple[list[tuple[Asked, Reading]], list[tuple[str, Unreadable]]]:
        """Written answers as readings, and those that cannot be read with the reason; `home` is the family, where it is known."""
        return read_all(self.entries, home, answers)

    def record(self, t: int) -> TraitRecord | None:
        """The record of a trait; None for a bare slot."""
        trait = self.compiled.traits[t]
        for family in [trait.family] if trait.family else self.compiled.families:
            found = self._traits[family].get(trait.id)
            if found:
                return found
        return None

    @cached_property
    def _traits(self) -> dict[str, dict[str, TraitRecord]]:
        return {family: traits_of(self.entries, family) for family in self.compiled.families}

    def slot(self, slot: str) -> str:
        """The name of a slot."""
        for family in self.compiled.families:
            found = slots_of(self.entries, family).get(slot)
            if found:
                return found.name
        return slot

    def key(self, t: int) -> str:
        """How an answers file names the trait: its id, with the family where several have one of that name."""
        trait = self.compiled.traits[t]
        same = sum(one.id == trait.id for one in self.compiled.traits)
        return f"{trait.family}{self.joint}{trait.id}" if same > 1 and trait.family else trait.id

    def trait(self, t: int) -> str:
        """The name of a trait, with its part's slot where it has one."""
        record, trait = self.record(t), self.compiled.traits[t]
        slot = self.compiled.slots[trait.slot]
        if record is None:
            return self.slot(slot.id)
        return f"{self.slot(slot.id)}: {lower_first(record.name)}" if slot.parts else record.name

    def state(self, t: int, state: str) -> str:
        """The name of a state."""
        record = self.record(t)
        if record is None:
            return self.part(state)
        if record.states and state in record.states:
            return record.states[state].name
        return state

    def part(self, part: str) -> str:
        """The name of a part."""
        if part in self.entries.parts:
            return self.entries.parts[part].name
        return {"none": "nothing there", "unlisted": "a part nobody recorded"}.get(part, part)

    def variant(self, ident: str) -> str:
        """The name of a variant."""
        if ident == NOT_IN_THE_RECORD:
            return "Not in the record"
        return self.entries.variants[ident].name or ident

    def beware(self, t: int) -> list[str]:  # noqa: ARG002 (a unit is looked at without touching what it holds)
        """What to be careful of before looking for a trait."""
        return []

    def otherwise(self, idents: Sequence[str]) -> str:  # noqa: ARG002 (the same for all variants)
        """What could tell candidates apart that no recorded trait tells apart."""
        return "It would take evidence outside the record: the carton, a dated receipt, or somebody who opened the box."

    def unrecorded_slots(self, ident: str) -> list[str]:
        """The slots of a variant with a part that nobody recorded, neither for it nor for a place in a set."""
        return self.unrecorded_slots_of(stated(self.entries, ident))

    def unrecorded_slots_of(self, one: Stated) -> list[str]:
        """The same of a variant as it is stated."""
        told = self._fitted_in_sets.get(one.id, set()).union(one.fitted)
        slots = slots_of(self.entries, one.family)
        return [slot for slot, record in slots.items() if record.type and slot not in told and on_kind(record, one.kind)]

    @cached_property
    def _fitted_in_sets(self) -> dict[str, set[str]]:
        """The slots of every variant that some place in a set says something of."""
        found: dict[str, set[str]] = {}
        for position in (one for boxed in self.entries.sets.values() for one in boxed.positions):
            for ident in position.variants:
                found.setdefault(ident, set()).update(position.fitted)
        return found

    def unit(self, t: int) -> str:
        """The unit of a measured trait."""
        record = self.record(t)
        return record.measured.unit if record and record.measured else ""

    def ask(self, question: Question) -> str:
        """The text of a question, in the words of its form."""
        name = self.trait(question.trait)
        if question.form == "choice":
            return f"{name}: which is it?"
        if question.form == "value":
            unit = self.unit(question.trait)
            return f"{name}: how much is it{f', in {unit}' if unit else ''}?"
        if question.form == "reading":
            return f"{name}: what can be read?"
        if question.cut is not None:
            return f"{name}: is it more than {self.cut(question)}?"
        return f"Look again: {lower_first(self._whether(question))}" if question.form == "again" else self._whether(question)

    def _whether(self, question: Question) -> str:
        """Whether the trait is in one of the states of the question's first outcome."""
        record, trait = self.record(question.trait), self.compiled.traits[question.trait]
        states = [trait.states[k] for k in question.outcomes[0]]
        name = self.trait(question.trait)
        if len(states) > 1:
            named = [state for state in trait.states if state != MISSING]
            return f"{name}: is it {lower_first(self.states(question.trait, Seen(frozenset(states)), named))}?"
        (state,) = states
        written = record.states[state].ask if record and record.states and state in record.states else None
        slot = self.compiled.slots[trait.slot]
        if written and slot.parts and sum(one.id.endswith("." + trait.id.partition(".")[2]) for one in self.compiled.traits) > 1:
            return f"{self.slot(slot.id)}: {lower_first(written)}"
        if written:
            return written
        if record and record.marking:
            return f'{name}: does it read "{state}"?'
        return f"{name}: is it {lower_first(self.state(question.trait, state))}?"

    def cut(self, question: Question) -> str:
        """The value a measured trait is compared with."""
        return f"{question.cut:.4g} {self.unit(question.trait)}".strip()

    def look(self, t: int) -> str | None:
        """Where to look."""
        record = self.record(t)
        return record.look if record else None

    def view(self, t: int) -> str | None:
        """The id of the view a trait needs."""
        view = self.compiled.traits[t].view
        return self.compiled.views[view] if view >= 0 else None

    def view_name(self, view: str) -> str:
        """The name of a view."""
        for family in self.compiled.families:
            found = views_of(self.entries, family).get(view)
            if found:
                return found.name
        return view

    def where(self, view: str | None) -> str:
        """The name of a view for somebody who is asked to look there; empty where there is nothing to say."""
        return self.view_name(view).lower() if view else ""

    def reading(self, t: int, reading: Reading) -> str:
        """An answer in words."""
        trait = self.compiled.traits[t]
        if isinstance(reading, Gone):
            return self.gone
        if isinstance(reading, CannotTell):
            return "cannot tell"
        if isinstance(reading, Typed):
            return f'reads "{reading.text}"'
        if isinstance(reading, Measured):
            spread = f" +- {reading.plus_minus:.2g}" if reading.plus_minus else ""
            return f"{reading.value:.5g}{spread} {self.unit(t)}".strip()
        if isinstance(reading, Between):
            unit = self.unit(t)
            bounds = [(reading.low, "more than"), (reading.high, "less than")]
            return " and ".join(f"{word} {bound:.4g} {unit}".strip() for bound, word in bounds if abs(bound) != float("inf"))
        return self.states(t, reading, [state for state in trait.states if state != MISSING])

    def plain(self, t: int, reading: Reading) -> str:
        """An answer in words that fit behind "were": of a marking, the text alone."""
        record = self.record(t)
        if isinstance(reading, Typed):
            return f'"{reading.text}"'
        if record and record.marking and isinstance(reading, Seen):
            return " or ".join(f'"{state}"' for state in sorted(reading.states))
        return self.reading(t, reading)

    def states(self, t: int, reading: Seen, named: list[str]) -> str:
        """A set of states in words: the states, or what they are not where that is shorter."""
        left = [state for state in named if state not in reading.states]
        if not reading.states:
            return "none that anybody recorded"
        if len(left) < len(reading.states) and left and len(reading.states) > 1:
            return "not " + " nor ".join(lower_first(self.state(t, state)) for state in left)
        first, *more = [self.state(t, state) for state in sorted(reading.states)]
        return " or ".join([first, *map(lower_first, more)])


def confidence(shares: list[float], settled: float) -> str:
    """A named level for the leader's probability; it looks at the runner-up too.

    settled: as sure as the knowledge base asks.  likely: at least three times its runner-up and over 60 %.
    leaning: ahead by half.  open: nothing leads.
    """
    first, second = [*shares, 0.0, 0.0][:2]
    if first >= settled:
        return "settled"
    if first >= 0.6 and first >= 3 * second:
        return "likely"
    return "leaning" if first >= 1.5 * second and first > 0 else "open"


def percent(chance: float) -> str:
    """A probability for people: never 0 % or 100 % when it is not."""
    if 0 < chance < 0.005:
        return "<1 %"
    if 0.995 <= chance < 1:
        return ">99 %"
    return f"{round(chance * 100, 9):.0f} %"


def together(names: Sequence[str]) -> str:
    """The names as one would say them: the first, the second and the third."""
    return " and ".join([*([", ".join(names[:-1])] if names[:-1] else []), *names[-1:]])
