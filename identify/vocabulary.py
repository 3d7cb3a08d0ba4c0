"""What the entries say a seller may call things, made ready for finding it in a text.

Every record brings its name and what it is `said` to be called; `sellers.yaml` brings the words of no record.  A state is said of
its trait ("_" in a phrase stands for what the trait is called), a part of its slot type.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial

from ..kb.load import Entries
from ..kb.models import Procedure, Sellers, Trait
from ..kb.resolve import Stated, living, slots_of, stated
from ..kb.said import OPPOSITE, THING
from .phrases import Finder, Groups, Lexicon, Way, parse

#: Kinds of phrases that make no claim themselves.
SLOT, PRESENT, GONE, DENY, TRAIT, IDLE, LOOSE = "slot", "present", "gone", "deny", "trait", "idle", "loose"
SPEAKING = "speaking"
PAID, ASKED, POSTING, OTHER_YEAR = "paid", "asked", "posting", "other year"

#: The hedge of what somebody else said.
HEARSAY = "hearsay"


def family_home(family: str) -> str:
    """The home of a family's phrases."""
    return f"family:{family}"


def part_home(slot_type: str) -> str:
    """The home of a slot type's phrases."""
    return f"part:{slot_type}"


@dataclass(frozen=True)
class Measurable:
    """A trait with a value: what it is called, its unit and bounds, and its home."""

    trait: str
    unit: str
    least: float
    most: float
    home: str


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """Everything the reading of a text needs of the entries.

    numbers     catalog, set and painted numbers by their letters and digits alone, with how each is written and its families
    showing     how many original parts show each state of a slot type's traits: of one that several show, no part can be told
    common      the traits that every family states
    shown       what each livery shows, as "trait=state"
    slots       the slots of each family that hold parts, with their slot type
    """

    sellers: Sellers
    lexicon: Lexicon
    finder: Finder
    numbers: Mapping[str, Mapping[str, frozenset[str]]]
    measurables: Sequence[Measurable]
    slots: Mapping[str, Mapping[str, str]]
    shown: Mapping[str, frozenset[str]]
    common: frozenset[str]
    showing: Mapping[tuple[str, str], int]

    def names_units(self, says: str) -> bool:
        """Whether this name is of a livery, a family or a kind, and not of a maker alone."""
        return says in self.shown or says.partition("/")[0] in self.slots


def vocabulary(entries: Entries, words: Collection[str] = ()) -> Vocabulary:
    """The vocabulary of a knowledge base. `words`: of sentences (see `prose`), where they are not in these entries."""
    sellers = entries.sellers
    same = [[word, *others] for word, others in sellers.spelled.items()]
    same += [[str(n), *words] for n, words in sellers.counting.cardinals.items()]
    amounts = [word for row in (*sellers.money.currency.values(), *sellers.units.values()) for word in row]
    lexicon = Lexicon(
        [*same, *sellers.alike], sellers.small, sellers.optional, [*sellers.plain, *amounts, *words, *prose(entries)]
    )
    finder = Finder(lexicon)
    variants = [stated(entries, ident) for ident in living(entries)]
    records = [*entries.families.values(), *(kind for family in entries.families.values() for kind in family.kinds.values())]
    own = {record.name for record in records}
    ways = cache(partial(_ways, lexicon, own))
    for kind, says, home, phrases, called in _all(entries, variants):
        finder.add(kind, says, home, ways(kind, home.startswith(part_home("")), tuple(phrases), tuple(called)))
    lexicon.negating = frozenset(word.lstrip("=") for word in sellers.negating.before)
    lexicon.settle()
    shown = {
        ident: frozenset(f"{trait}={state}" for trait, fact in livery.shows.items() for state in fact.is_)
        for ident, livery in entries.liveries.items()
    }
    slots = {
        family: {ident: slot.type for ident, slot in slots_of(entries, family).items() if slot.type}
        for family in entries.families
    }
    return Vocabulary(
        sellers,
        lexicon,
        finder,
        _numbers(entries, variants),
        list(_measurables(entries)),
        slots,
        shown,
        frozenset(entries.traits),
        _showing(entries),
    )


def _ways(
    lexicon: Lexicon, own: Collection[str], kind: str, of_part: bool, phrases: Sequence[str], called: Sequence[str]
) -> tuple[Way, ...]:
    """Every way to say what phrases say, each once. Many families say the same: whoever asks should keep the answers."""
    found: dict[tuple[Groups, bool], Way] = {}
    for written in phrases:
        opposite, thing = written.startswith(OPPOSITE), kind == "state" and of_part and THING in written.split()
        for groups in parse(written.removeprefix(OPPOSITE), called, lexicon):
            found.setdefault((groups, opposite), Way(groups, written, opposite, kind == "defect", written in own, thing))
    return tuple(found.values())


_Row = tuple[str, str, str, Iterable[str], Sequence[str]]


def _all(entries: Entries, variants: Sequence[Stated]) -> Iterator[_Row]:
    """(kind, says, home, phrases, what "_" stands for) of everything."""
    yield from _names(entries, variants)
    for ident, trait in entries.traits.items():
        yield from _of_trait(ident, trait, "")
    for family, record in entries.families.items():
        home = family_home(family)
        for ident, trait in record.traits.items():
            yield from _of_trait(ident, trait, home)
        for ident, slot in record.slots.items():
            if slot.type or slot.said:
                yield SLOT, ident, home, [slot.name, *slot.said], []
        for ident, spot in record.damage.items():
            yield "defect", ident, home, [spot.name, *spot.said], []
    for slot_type, record in entries.slot_types.items():
        home = part_home(slot_type)
        yield SLOT, slot_type, home, [record.name, *record.said], []
        for ident, trait in record.traits.items():
            yield from _of_trait(ident, trait, home, [record.name, *record.said])
    for ident, part in entries.parts.items():
        slot_type = entries.home["part", ident]
        type_record = entries.slot_types.get(slot_type)
        called = [type_record.name, *type_record.said] if type_record else []
        yield "part", ident, part_home(slot_type), [*_name(part.name), *part.said], called
    yield from _markings(entries, variants)
    yield from _of_sellers(entries.sellers)


def prose(entries: Entries) -> set[str]:
    """The words of all sentences of the entries: whoever writes them is taken to mean them."""
    texts: list[str | None] = []
    for records in (entries.families, entries.slot_types, entries.parts, entries.variants, entries.procedures, entries.liveries):
        texts += [record.about if not isinstance(record, Procedure) else " ".join(record.steps) for record in records.values()]
    for record in entries.families.values():
        texts += [text for spot in record.damage.values() for text in (spot.found, spot.mend)]
    for traits in (entries.traits, *(one.traits for one in (*entries.families.values(), *entries.slot_types.values()))):
        texts += [text for trait in traits.values() for text in (trait.look, trait.ask, trait.about, trait.changes)]
    return set(re.findall(r"[a-z]{4,}", " ".join(text for text in texts if text).lower()))


def _showing(entries: Entries) -> dict[tuple[str, str], int]:
    """How many parts that are no reproductions show a state, by (home, "trait=state")."""
    found: dict[tuple[str, str], int] = {}
    for ident, part in entries.parts.items():
        for trait, fact in part.shows.items() if part.reproduction_of is None else ():
            for state in fact.is_:
                key = part_home(entries.home["part", ident]), f"{trait}={state}"
                found[key] = found.get(key, 0) + 1
    return found


def _name(name: str) -> list[str]:
    """A name as one would say it, without what is added in brackets; what stands behind a comma may come first, or later."""
    first, _, more = re.sub(r"[/+_=~]", " ", re.split(r" \(", name)[0]).partition(", ")
    return [f"{first} + {more}" if more else first]


def _names(entries: Entries, variants: Sequence[Stated]) -> Iterator[_Row]:
    for records in (entries.liveries, entries.makers):
        for ident, record in records.items():
            yield "name", ident, "", [*_name(record.name), *record.said], []
    for family, record in entries.families.items():
        yield "name", family, family_home(family), [*_name(record.name), *record.said], []
        for ident, kind in record.kinds.items():
            yield "name", f"{family}/{ident}", family_home(family), [*_name(kind.name), *kind.said], []
    for ident, one in entries.sets.items():
        yield "name", ident, "", one.said, []
    counting = entries.sellers.counting
    batches = {one.batch for one in variants if one.batch is not None}
    for batch in sorted(batches):
        ordinals = counting.ordinals.get(batch, [])
        phrases = [
            pattern.replace("_", number)
            for pattern in counting.batch
            for number in (ordinals if pattern.startswith("_") else [*ordinals, str(batch)])
        ]
        yield "name", f"batch-{batch}", "", phrases, []


def _of_trait(ident: str, trait: Trait, home: str, thing: Sequence[str] = ()) -> Iterator[_Row]:
    called = trait.said or ([trait.name] if not thing else list(thing))
    if trait.measured:
        yield TRAIT, ident, home, called, []
    for state, record in (trait.states or {}).items():
        vague = [phrase for phrase, states in trait.vague.items() if state in states]
        yield "state", f"{ident}={state}", home, [*record.said, *vague], called


def _markings(entries: Entries, variants: Sequence[Stated]) -> Iterator[_Row]:
    """Words that are painted on: names of cars, dates; a railroad's name is that of its livery, figures are numbers."""
    named = {record.name.lower() for records in (entries.liveries, entries.makers) for record in records.values()}
    for family, ident, value in _painted(entries, variants):
        if not _is_number(value) and value.lower() not in named and not any(name.startswith(value.lower()) for name in named):
            yield "state", f"{ident}={value}", family_home(family), [value.lower()], []


def _painted(entries: Entries, variants: Sequence[Stated]) -> list[tuple[str, str, str]]:
    """(family, trait, value) of every marking that some variant shows."""
    found: dict[tuple[str, str, str], None] = {}
    for one in variants:
        family = entries.families.get(one.family)
        for trait, fact in one.shows.items():
            record = (family.traits if family else {}).get(trait) or entries.traits.get(trait)
            if record and record.marking:
                found |= {(one.family, trait, str(value)): None for value in fact.is_}
    return list(found)


def _is_number(value: str) -> bool:
    return re.fullmatch(r"(?:[A-Z]{1,2}[- ]?)?\d{2,5}", value) is not None


def squeezed(number: str) -> str:
    """The letters and digits of a number alone, in lower case."""
    return re.sub(r"[^a-z0-9]", "", number.lower())


def _numbers(entries: Entries, variants: Sequence[Stated]) -> dict[str, dict[str, frozenset[str]]]:
    found: dict[str, dict[str, set[str]]] = {}

    def note(written: str, family: str) -> None:
        found.setdefault(squeezed(written), {}).setdefault(written, set()).add(family)

    for one in variants:
        if one.catalog_number:
            note(one.catalog_number, one.family)
            if (head := one.catalog_number.rpartition("-")[0]) and head[-1].isdigit():
                note(head, one.family)
    for ident, one in entries.sets.items():
        if one.catalog_number:
            note(one.catalog_number, entries.home["set", ident])
    for family, _, value in _painted(entries, variants):
        if _is_number(value):
            note(value, family)
    return {key: {written: frozenset(families) for written, families in row.items()} for key, row in found.items()}


def _measurables(entries: Entries) -> Iterator[Measurable]:
    groups = [("", entries.traits)]
    groups += [(family_home(family), record.traits) for family, record in entries.families.items()]
    groups += [(part_home(kind), record.traits) for kind, record in entries.slot_types.items()]
    for home, traits in groups:
        for ident, trait in traits.items():
            if trait.measured:
                yield Measurable(ident, trait.measured.unit, trait.measured.least, trait.measured.most, home)


def _of_sellers(sellers: Sellers) -> Iterator[_Row]:
    for kind, records in (
        ("condition", sellers.condition),
        ("defect", sellers.defect),
        ("shipping", sellers.shipping),
        ("hedge", sellers.hedge),
    ):
        for ident, phrases in records.items():
            yield kind, ident, "", phrases, []
    negating, presence, money = sellers.negating, sellers.presence, sellers.money
    yield DENY, "before", "", negating.before, []
    yield DENY, "after", "", negating.after, []
    yield DENY, "answer", "", negating.answers, []
    yield DENY, "yes", "", negating.yes, []
    yield PRESENT, "before", "", presence.before, []
    yield PRESENT, "after", "", presence.after, []
    yield GONE, "before", "", presence.gone_before, []
    yield GONE, "after", "", presence.gone_after, []
    yield IDLE, "", "", sellers.idle, []
    yield SPEAKING, HEARSAY, "", sellers.speaking, []
    yield PAID, "", "", money.paid, []
    yield ASKED, "", "", money.asked, []
    yield POSTING, "", "", money.shipping, []
    yield LOOSE, "", "", sellers.loose, []
    yield OTHER_YEAR, "", "", sellers.dates.other, []
    for n in range(1, 11):
        words = [str(n), *sellers.counting.cardinals.get(n, [])[:1]]
        yield "condition", f"grade-{n}", "", [re.sub("_", word, pattern) for pattern in sellers.grades for word in words], []
