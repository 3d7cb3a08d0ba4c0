"""What the listing page needs to read a seller's text, as one script with plain data: the vocabulary as Python builds it.

The words and phrases are those of `identify.vocabulary`, so that the page compiles no record.  Rows of words, homes and meanings
stand once and are named by their places; `modules/listing/vocabulary.js` says what is what.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from itertools import groupby
from operator import itemgetter
from typing import TypeVar

from ..identify.phrases import Finder, Row, Way, Word
from ..identify.senses import SHORT
from ..identify.vocabulary import Vocabulary
from ..kb.load import Entries
from ..kb.models import Sellers, Trait, View
from ..kb.resolve import Stated, living, moved, number, stated, views_of
from ..kb.values import UNITS, Fact, Years
from .page import Values

#: What a phrase is beside what it says, as bits of one number.
DENIED, DENIABLE, OWN, THING, LONG = 1, 2, 4, 8, 16
#: The place of what was not there before: the next one.
NEW = -1
Found = TypeVar("Found", bound=Hashable)


def packed(vocabulary: Vocabulary) -> Values:
    """The vocabulary as plain values, all orders kept."""
    lexicon = vocabulary.lexicon
    return {
        "lexicon": {
            "known": list(lexicon.known),
            "group": _flat(lexicon.group),
            "stems": _flat(lexicon.stems),
            "abbreviations": sorted(lexicon.abbreviations),
            "small": sorted(lexicon.small),
            "optional": sorted(lexicon.optional_canons),
            "plain": sorted(lexicon.plain),
            "negating": sorted(lexicon.negating),
        },
        "finder": _Packer().finder(vocabulary.finder),
        "numbers": [
            [key, [[written, sorted(families)] for written, families in row.items()]] for key, row in vocabulary.numbers.items()
        ],
        "measurables": [[one.trait, one.unit, one.least, one.most, one.home] for one in vocabulary.measurables],
        "slots": [[family, _flat(slots)] for family, slots in vocabulary.slots.items()],
        "shown": [[livery, sorted(states)] for livery, states in vocabulary.shown.items()],
        "common": sorted(vocabulary.common),
        "showing": [[home, says, n] for (home, says), n in vocabulary.showing.items() if n > 1],
        "dimensions": [[unit, dimension, factor] for unit, (dimension, factor) in UNITS.items()],
        "sellers": _sellers(vocabulary.sellers),
    }


def _flat(pairs: Mapping[str, str]) -> list[str]:
    """Keys and values in turn."""
    return [text for pair in pairs.items() for text in pair]


class _Packer:
    """Gives rows, words, homes and meanings their places."""

    def __init__(self) -> None:
        self.words: dict[Word, int] = {}
        self.rows: dict[Row, int] = {}
        self.groups: dict[tuple[Row, ...], int] = {}
        self.homes: dict[str, int] = {}
        #: What many families say alike, by the identity of its ways, once nothing in it is new.
        self.again: dict[int, list[list[int]]] = {}

    def finder(self, finder: Finder) -> Values:
        """The phrases in order; those in a row that say the same of the same thing under one head."""
        phrases: list[object] = []
        for (kind, says, home), row in groupby(finder.sayings, key=itemgetter(0, 1, 2)):
            ways = [way for one in row for way in self._ways(one.ways)]
            if ways:
                phrases.append([kind, says, self.homes.setdefault(home, len(self.homes)), ways])
        groups = [_bare([_place(self.rows, row) for row in group]) for group in self.groups]
        for row in self.rows:
            for word in row:
                self.words.setdefault(word, len(self.words))
        return {
            "words": [word.canon if word.exact is None else [word.canon, word.exact, int(word.caps)] for word in self.words],
            "rows": [_bare([self.words[word] for word in row]) for row in self.rows],
            "groups": groups,
            "homes": list(self.homes),
            "phrases": phrases,
        }

    def _ways(self, ways: tuple[Way, ...]) -> list[list[int]]:
        """Of each way what it is beside what it says, and behind that the groups."""
        if id(ways) in self.again:
            return self.again[id(ways)]
        packed = [self._way(one) for one in ways]
        if not any(NEW in one for one in packed):
            self.again[id(ways)] = packed  # from now on it is always this
        return packed

    def _way(self, one: Way) -> list[int]:
        flags = DENIED * one.denied + DENIABLE * one.deniable + OWN * one.own + THING * one.thing
        flags += LONG * (len(one.written) > SHORT)
        return [flags, *[_place(self.groups, group) for group in one.groups]]


def _place(places: dict[Found, int], one: Found) -> int:
    """The place of something among all that came before; `NEW` for what comes first now, and gets the next place."""
    if one in places:
        return places[one]
    places[one] = len(places)
    return NEW


def _bare(row: Sequence[int]) -> int | list[int]:
    """A row of one as that one."""
    return row[0] if len(row) == 1 else list(row)


def _sellers(sellers: Sellers) -> Values:
    """What the reading needs of `sellers.yaml` beside phrases."""
    counting, money, negating = sellers.counting, sellers.money, sellers.negating
    return {
        "trailing": sellers.trailing,
        "being": sellers.being,
        "asking": sellers.asking,
        "describing": list(sellers.describing),
        "governsNothing": list(sellers.governs_nothing),
        "joining": negating.joining,
        "more": negating.more,
        "cardinals": _rows(counting.cardinals.items()),
        "fractions": _rows(counting.fractions.items()),
        "decades": _rows(counting.decades.items()),
        "within": [[word, *years] for word, years in counting.within.items()],
        "to": counting.to,
        "counted": counting.counted,
        "numbered": counting.numbered,
        "currency": _rows(money.currency.items()),
        "askedAfter": money.asked_after,
        "goesOn": money.goes_on,
        "sent": money.sent,
        "year": sellers.dates.year,
        "units": _rows(sellers.units.items()),
    }


def _rows(pairs: Iterable[tuple[object, Sequence[str]]]) -> list[list[object]]:
    """[key, words] of each, in order, which JavaScript would not keep of keys that are numbers."""
    return [[key, list(words)] for key, words in pairs]


# Records ---------------------------------------------------------------------------------------------------------------


def packed_records(entries: Entries) -> Values:
    """What is said of claims beside the arrays and words of a family: `modules/listing/records.js` says what is what."""
    about, sellers = entries.about, entries.sellers
    variants = {ident: stated(entries, ident) for ident in living(entries)}
    return {
        "variants": {ident: _variant(one) for ident, one in variants.items()},
        "sets": {ident: [one.name, one.catalog_number, _years(one.made)] for ident, one in entries.sets.items()},
        "seats": {
            ident: [_seat(entries, position.variants) for position in one.positions] for ident, one in entries.sets.items()
        },
        "families": {family: _family(entries, family) for family in entries.families},
        "liveries": {ident: [one.name, _shown(one.shows)] for ident, one in entries.liveries.items()},
        "makers": {ident: one.name for ident, one in entries.makers.items()},
        "slotTypes": {
            ident: [one.name, {name: _trait(trait) for name, trait in one.traits.items()}]
            for ident, one in entries.slot_types.items()
        },
        "parts": {ident: [one.name, _years(one.made)] for ident, one in entries.parts.items()},
        "asks": _asks(entries.traits),
        "requests": _requests(views_of(entries, None)),
        "buying": {
            "wanted": {
                ident: [one.name, one.said_by, one.ask, list(one.unless), one.share, one.grade, one.view, one.slot]
                for ident, one in about.buying.wanted.items()
            },
            "foreignPart": about.buying.foreign_part,
            "original": about.buying.original,
            "repainted": about.buying.repainted,
            "photographs": about.buying.photographs,
            "questions": about.buying.questions,
        },
        "hazards": {
            hazard: [one.caution.strip(), [term.lower() for term in one.brought_by]] for hazard, one in about.hazards.items()
        },
        "worth": {"wrong": dict(sellers.worth.wrong), "hedged": sellers.worth.hedged},
    }


def _variant(one: Stated) -> list[object]:
    return [one.name, one.family, one.kind, one.livery, one.batch, one.catalog_number, _years(one.made)]


def _seat(entries: Entries, written: Mapping[str, str | float]) -> list[str]:
    """The variants that sat in a position, as their ids are now, the commonest first."""
    ordered = sorted(written, key=lambda one: -number(entries.about.frequencies, written[one]))
    return list(dict.fromkeys(now for one in ordered for now in moved(entries, one)))


def _years(years: Years | None) -> list[int] | None:
    return None if years is None else list(years)


def _family(entries: Entries, family: str) -> Values:
    record = entries.families[family]
    return {
        "name": record.name,
        "maker": record.maker,
        "made": _years(record.made),
        "kinds": {ident: kind.name for ident, kind in record.kinds.items()},
        "slots": {ident: [slot.name, slot.type, slot.kinds] for ident, slot in record.slots.items()},
        "asks": _asks(record.traits),
        "requests": _requests(views_of(entries, family)),
        "damage": {
            ident: [spot.name, spot.view, number(entries.about.frequencies, spot.how_common), spot.grade, spot.slot]
            for ident, spot in record.damage.items()
        },
    }


def _shown(shows: Mapping[str, Fact]) -> dict[str, str]:
    """The first state of each trait that a livery shows."""
    return {trait: str(next(iter(fact.is_))) for trait, fact in shows.items() if fact.is_}


def _asks(traits: Mapping[str, Trait]) -> dict[str, str]:
    """The question of each trait that has one."""
    return {ident: trait.ask for ident, trait in traits.items() if trait.ask}


def _trait(trait: Trait) -> list[object]:
    """Name, question, and the names of the states."""
    return [trait.name, trait.ask, {state: record.name for state, record in (trait.states or {}).items()}]


def _requests(views: Mapping[str, View]) -> dict[str, str]:
    """How a seller is asked to show each view."""
    return {ident: view.request for ident, view in views.items() if view.request}
