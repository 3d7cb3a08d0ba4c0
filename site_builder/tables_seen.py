"""The tables of what was seen and paid, and of what every fact rests on."""

from collections.abc import Iterator, Mapping

from ..kb.values import Answer, Citations, Fact
from .tables_known import KNOWN
from .tabular import FORMAT, ID, PLACE, Cell, Column, Row, Table, owner, table
from .whole import Whole

# The whole -------------------------------------------------------------------------------------------------------------


def _about(whole: Whole) -> Iterator[Row]:
    about = whole.about
    yield from (("format", FORMAT), ("title", about.title), ("license", about.license), ("currency", about.currency))
    yield "as_of", whole.as_of
    if about.about:
        yield "about", about.about


def _maintainers(whole: Whole) -> Iterator[Row]:
    yield from enumerate(whole.about.maintainers, 1)


def _words(whole: Whole) -> Iterator[Row]:
    about = whole.about
    scales = {"frequency": about.frequencies, "scarcity": about.scarcity, "fastening": about.fastened, "mistakes": about.mistakes}
    for scale, words in scales.items():
        yield from ((scale, place, word, number) for place, (word, number) in enumerate(words.items(), 1))


# Sightings and sales ---------------------------------------------------------------------------------------------------


def _sightings(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sightings.items()):
        verdict = one.verdict
        seen: Row = (ident, whole.entries.home["sighting", ident], one.name, one.seen, one.by, one.label)
        yield (*seen, verdict.variant, verdict.set, verdict.position, one.grade, one.exception, one.note)


def _sighting_views(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sightings.items()):
        yield from ((ident, place, view) for place, view in enumerate(one.views or [], 1))


def _sighting_answers(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sightings.items()):
        rows = ((name, form, value) for name, answer in one.answers.items() for form, value in _forms(answer))
        yield from ((ident, place, *row) for place, row in enumerate(rows, 1))


def _forms(answer: Answer) -> Iterator[tuple[str, str]]:
    """(form, value) of an answer: one row for each state of an open one, one for each bound."""
    if answer.is_ is not None:
        yield "is", answer.is_
    yield from (("not", state) for state in answer.not_ or [])
    yield from (("one_of", state) for state in answer.one_of or [])
    if answer.more_than is not None:
        yield "more_than", answer.more_than
    if answer.less_than is not None:
        yield "less_than", answer.less_than


def _sighting_swaps(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sightings.items()):
        yield from ((ident, slot) for slot in dict.fromkeys(one.verdict.swapped))


def _sighting_evidence(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sightings.items()):
        yield from ((ident, place, text) for place, text in enumerate(one.evidence, 1))


def _sales(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sales.items()):
        paid: Row = (one.price, one.shipping, one.grade, one.complete, one.place, one.note)
        yield (ident, one.date, one.variant, one.set, *paid)


# What facts rest on ----------------------------------------------------------------------------------------------------


def _facts(whole: Whole) -> Iterator[tuple[str, str, Cell, str, Mapping[str, Fact]]]:
    """(kind, id, position, shows or fitted, facts) of the variants as they are stated, of parts, and of sets' positions."""
    for ident, one in whole.stated.items():
        yield "variant", ident, None, "shows", one.shows
        yield "variant", ident, None, "fitted", one.fitted
    for ident, part in sorted(whole.entries.parts.items()):
        yield "part", ident, None, "shows", {name: fact for name, fact in part.shows.items() if not fact.unknown}
    for ident, boxed in sorted(whole.entries.sets.items()):
        for number, position in enumerate(boxed.positions, 1):
            known = {name: fact for name, fact in position.fitted.items() if not fact.unknown}
            yield "set", ident, number, "fitted", known


def _citations(whole: Whole) -> Iterator[Row]:
    kinds = ("source", "maker", "livery", "family", "variant", "set", "slot type", "part", "procedure", "sighting")
    cited: list[tuple[Row, Citations]] = [
        ((kind, ident, None, None, None), one.sources) for kind in kinds for ident, one in sorted(whole.entries.of(kind).items())
    ]
    for kind, ident, position, field, facts in _facts(whole):
        cited += [((kind, ident, position, field, name), fact.sources) for name, fact in facts.items() if fact.sources]
    rows = ((*about, source, support) for about, sources in cited for source, support in sources.items())
    yield from ((number, *row) for number, row in enumerate(rows, 1))


def _fact_notes(whole: Whole) -> Iterator[Row]:
    number = 0
    for kind, ident, position, field, facts in _facts(whole):
        for name, fact in facts.items():
            if fact.verified or fact.note:
                number += 1
                yield number, kind, ident, position, field, name, fact.verified, fact.note


# The tables ------------------------------------------------------------------------------------------------------------

_NUMBER = Column("number", "counted from 1", "integer", required=True)
_SIGHTING = owner("sighting", "the sighting")
_RECORD = (
    Column("kind", "the kind of record", required=True),
    Column("record", "its id", required=True),
    Column("position", "of a set: the place in it", "integer"),
)

WHOLE = [
    table(
        "about",
        "What this is. `as_of`: the latest day that anything in the record names; `currency`: of every price and cost.",
        [
            Column("key", "format, title, license, currency, as_of or about", required=True),
            Column("value", "its text", required=True),
        ],
        _about,
        key="key",
    ),
    table("maintainers", "Who keeps it.", [PLACE, Column("name", "who", required=True)], _maintainers, key="place"),
    table(
        "words",
        "The numbers behind the words.",
        [
            *(Column("scale", "frequency, scarcity, fastening or mistakes", required=True), PLACE),
            *(
                Column("word", "the word", required=True),
                Column("number", "what it stands for, from 0 to 1", "number", required=True),
            ),
        ],
        _words,
        key="scale word",
    ),
]

SEEN = [
    table(
        "sightings",
        "Examined units. Without a variant the unit is not in the record.",
        [
            *(ID, owner("family", "the family it is filed under"), Column("name", "what it is called")),
            *(Column("seen", "when", "day", required=True), Column("seen_by", "who saw it", required=True)),
            *(Column("label", "what the seller called it"), Column("variant", "what it turned out to be")),
            *(Column("boxed_set", "the set it came in"), Column("position", "its place in the set", "integer")),
            Column("grade", "condition on the 1 to 10 scale", "number"),
            *(Column("exception", "why the answers alone do not lead there"), Column("note", "anything else")),
        ],
        _sightings,
        family="families",
        variant="variants",
        boxed_set="sets",
    ),
    table(
        "sighting_views",
        "What could be seen of it.",
        [_SIGHTING, PLACE, Column("view", "the view, as the entry has it", required=True)],
        _sighting_views,
        key="sighting place",
        sighting="sightings",
    ),
    table(
        "sighting_answers",
        "What was seen of it: one row for each state or bound of an answer.",
        [
            *(_SIGHTING, PLACE, Column("asked", "the trait, slot.trait of a part, or the slot itself", required=True)),
            Column("form", "is, not, one_of, more_than or less_than", required=True),
            Column("answer", "a state, a measured value, a marking, a part, missing or cannot-tell", required=True),
        ],
        _sighting_answers,
        key="sighting place",
        sighting="sightings",
    ),
    table(
        "sighting_swaps",
        "The slots whose part is not the one it left the factory with.",
        [_SIGHTING, owner("slot", "the slot")],
        _sighting_swaps,
        key="sighting slot",
        sighting="sightings",
    ),
    table(
        "sighting_evidence",
        "What shows that it was so.",
        [_SIGHTING, PLACE, Column("evidence", "what there is", required=True)],
        _sighting_evidence,
        key="sighting place",
        sighting="sightings",
    ),
    table(
        "sales",
        "Dated prices.",
        [
            *(
                ID,
                Column("day", "when", "day", required=True),
                Column("variant", "what was sold"),
                Column("boxed_set", "or which set"),
            ),
            *(Column("price", "what was paid", "number", required=True), Column("shipping", "what sending it cost", "number")),
            *(Column("grade", "condition on the 1 to 10 scale", "number"), Column("complete", "1: nothing missing", "number")),
            *(Column("place", "where"), Column("note", "anything else")),
        ],
        _sales,
        variant="variants",
        boxed_set="sets",
    ),
]

REASONS = [
    table(
        "citations",
        "On whose word: of a record as a whole, or of one fact of it. A fact that is inherited has its citations with it.",
        [
            *(
                _NUMBER,
                *_RECORD,
                Column("field", "of a fact: shows or fitted"),
                Column("name", "of a fact: the trait or the slot"),
            ),
            *(Column("source", "the source", required=True), Column("support", "how far it supports it", required=True)),
        ],
        _citations,
        key="number",
        source="sources",
    ),
    table(
        "fact_notes",
        "When a single fact was last checked, and what is to be said of it.",
        [
            *(_NUMBER, *_RECORD, Column("field", "shows or fitted", required=True)),
            Column("name", "the trait or the slot", required=True),
            *(Column("verified", "the day it was last checked", "day"), Column("note", "what is to be said of it")),
        ],
        _fact_notes,
        key="number",
    ),
]

#: Every table, each after those it refers to where it can be.
TABLES: list[Table] = [*WHOLE, *KNOWN, *SEEN, *REASONS]
