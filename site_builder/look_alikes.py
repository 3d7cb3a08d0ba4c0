"""The look-alikes of a variant: those of its family that differ in the fewest facts, and what tells each of them from it."""

from operator import itemgetter, ne
from typing import NamedTuple

from ..kb.describe import NO_PART, choices, state_names
from ..kb.models import Trait
from ..kb.resolve import Stated
from ..kb.values import Fact
from .page import Values
from .tables import FamilyTables, Site
from .texts import plus_minus, sentence

#: So many are shown.
MOST = 3
#: Of more differences than the second the first so many are shown: nobody needs forty to tell two units apart.
ENOUGH, MOST_ROWS = 12, 15
#: So many of the nearest may be twins, and more are looked at for them.
MOST_TWINS = 12


class _Place(NamedTuple):
    """One thing to compare: the effort of looking there, its name, where to look, the trait it is, and what its states are.

    words  what was said of a trait so far, by the identity of the fact, which is held with it: variants inherit most of theirs
    """

    effort: float
    name: str
    where: str | None
    trait: Trait
    states: dict[str, str]
    words: dict[int, tuple[str, Fact | None]]

    def said(self, fact: Fact | None) -> str:
        """A fact in words."""
        if id(fact) not in self.words:
            self.words[id(fact)] = plus_minus(choices(fact, self.states), self.trait), fact
        return self.words[id(fact)][0]


class _Places(NamedTuple):
    """Everything to compare on units of a family: its traits; by its name each slot with the traits of parts in it."""

    traits: list[_Place]
    slots: list[tuple[str, list[_Place]]]


class _Words(NamedTuple):
    """What is said of one variant, in the order of the places."""

    traits: list[str]
    slots: list[tuple[str, list[str]]]


#: What it is, where to look, what this one has, what the other has.
Row = tuple[str, str | None, str, str]


class LookAlikes:
    """The look-alikes of all variants."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self._near = site.memo.question("alike", self._nearest, lasting=True)
        self._by_likeness = site.memo.kept(self._likeness)
        self._places, self._words = site.memo.kept(self._compared), site.memo.kept(self._said)
        self._in_slot = site.memo.kept(self._said_in_slot)

    def of(self, one: Stated) -> list[Values]:
        """Those that can be told from it, the nearest first, each with the rows of what differs."""
        twins = self.site.twins[one.id]
        others = [other for other in self._near(one.id, one.family) if other not in twins][:MOST]
        return [self._beside(one, other) for other in others]

    def _beside(self, one: Stated, other: str) -> Values:
        rows = self._apart(one.family, one.id, other)
        shown = rows[:ENOUGH] if len(rows) > MOST_ROWS else rows
        return self.site.link("variant", other) | {
            "rows": shown,
            "more": len(rows) - len(shown),
            "compare": f"compare.html#{one.id},{other}",
        }

    # Which ones ---------------------------------------------------------------------------------------------------------

    def _nearest(self, ident: str, family: str) -> list[str]:
        return self._by_likeness(family)[ident][: MOST + MOST_TWINS]

    def _likeness(self, family: str) -> dict[str, list[str]]:
        """{variant: the others, those with the fewest differing facts first; ties in the order of ids}."""
        tables = self.site.families[family]
        variants = tables.variants
        if not variants:
            return {}
        columns = [_codes([one.shows.get(name) for one in variants]) for name in tables.traits]
        columns += [_codes([one.fitted.get(name) for one in variants]) for name in tables.slots]
        rows = list(zip(*columns, strict=True)) or [()] * len(variants)
        found: dict[str, list[str]] = {}
        for v, one in enumerate(variants):
            differing = [sum(map(ne, row, rows[v])) for row in rows]
            order = sorted(range(len(rows)), key=differing.__getitem__)
            found[one.id] = [variants[other].id for other in order if other != v]
        return found

    # What tells them apart ----------------------------------------------------------------------------------------------

    def _apart(self, family: str, ident: str, other: str) -> list[Row]:
        """What differs, the cheapest view first; a fitted part comes just before the cheapest of its traits."""
        places, mine, theirs = self._places(family), self._words(ident), self._words(other)
        found = _differing(places.traits, mine.traits, theirs.traits)
        for (name, inside), (part, its), (other_part, others) in zip(places.slots, mine.slots, theirs.slots, strict=True):
            if part != other_part:
                told = _differing(inside, its, others)
                first = min((effort - 1e-6 for effort, _ in told), default=99.0)
                # Where one of them has no part, the row of the slot says so already.
                found += [(first, (name, None, part, other_part)), *(one for one in told if NO_PART not in one[1])]
        return [row for _, row in sorted(found, key=itemgetter(0))]

    def _compared(self, family: str) -> _Places:
        tables, traits_in = self.site.families[family], self.site.comparer.traits_in
        slots: list[tuple[str, list[_Place]]] = []
        for slot in tables.slots.values():
            if slot.type:
                inside = [_place(tables, trait, f"{slot.name}: {trait.name}") for trait in traits_in(slot).values()]
                slots.append((sentence(slot.name), inside))
        return _Places([_place(tables, trait, trait.name) for trait in tables.traits.values()], slots)

    def _said(self, ident: str) -> _Words:
        one = self.site.stated(ident)
        tables, places = self.site.families[one.family], self._places(one.family)
        facts = zip(places.traits, map(one.shows.get, tables.traits), strict=True)
        slots = [name for name, slot in tables.slots.items() if slot.type]
        fitted = [self._in_slot(one.family, n, name, one.fitted.get(name)) for n, name in enumerate(slots)]
        return _Words([place.said(fact) for place, fact in facts], fitted)

    def _said_in_slot(self, family: str, n: int, name: str, fact: Fact | None) -> tuple[str, list[str]]:
        """What is said of the part in the n-th slot, and of each of its traits."""
        part, said = self.site.comparer.said_in_slot(family, name, fact)
        _, inside = self._places(family).slots[n]
        return part.text, [plus_minus(each.text, place.trait) for place, each in zip(inside, said.values(), strict=True)]


def _codes(facts: list[Fact | None]) -> list[int]:
    """A number for each, the same for those that say the same."""
    known: dict[str, int] = {}
    said = {id(fact): fact for fact in facts}  # mostly inherited, and so one and the same
    codes = {ident: known.setdefault(choices(fact, {}), len(known)) for ident, fact in said.items()}
    return [codes[id(fact)] for fact in facts]


def _place(tables: FamilyTables, trait: Trait, name: str) -> _Place:
    view = tables.views.get(trait.view)
    where = ": ".join(filter(None, [view.name if view else None, trait.look]))
    return _Place(view.effort if view else 1.0, sentence(name), where or None, trait, state_names(trait), {})


def _differing(places: list[_Place], mine: list[str], theirs: list[str]) -> list[tuple[float, Row]]:
    """(effort, row) of what is not the same."""
    rows = zip(places, mine, theirs, strict=True)
    return [(place.effort, (place.name, place.where, one, other)) for place, one, other in rows if one != other]
