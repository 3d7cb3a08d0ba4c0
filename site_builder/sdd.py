"""Descriptions for exchange with other descriptive databases: Structured Descriptive Data, TDWG standard 116, version 1.1.

One file holds one dataset: a family with its variants, or a slot type with its parts.  Traits are characters, and so are the
slots, whose states are the parts.  A frequency is a modifier of the class the standard has for it, with its number.  What
nobody recorded is coded `ToBeChecked`, and a slot that a unit of this kind does not have `NotApplicable`.  A text character
cannot be coded without content, so a marking that nobody recorded is left out.  The standard wants a moment of creation;
since equal entries give equal bytes it is the start of the latest day that the record names.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from html import escape

from ..kb.models import Trait, View
from ..kb.reading import in_unit
from ..kb.resolve import parts_for_all
from ..kb.values import Citations, Fact
from .linked_data import license_address
from .tabular import portions
from .whole import Whole

NAMESPACE = "http://rs.tdwg.org/UBIF/2006/"
LOCATION = f"{NAMESPACE}Schema/1.1/SDD.xsd"
#: The longest label and the longest detail that the standard allows, in characters.
LABEL, DETAIL = 255, 64_000
UNKNOWN, INAPPLICABLE = "ToBeChecked", "NotApplicable"
#: Characters that no XML 1.0 document can hold (https://www.w3.org/TR/xml/#charsets); compiled when first used, which takes long.
UNFIT = "[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
#: The concept of a slot: no view tells which part sits there, but the traits of that part do.
FITTED = "fitted-parts"


@dataclass(frozen=True)
class Character:
    """What is coded of every item: `states` with name and more, `measured` in a unit from least to most, or else a text."""

    ident: str
    name: str
    detail: str | None
    concept: str
    states: Mapping[str, tuple[str, str | None]] | None = None
    measured: tuple[str, float, float] | None = None


@dataclass(frozen=True)
class Item:
    """What is described: facts by the id of the character; `lacking`: the characters that it cannot have."""

    ident: str
    name: str
    about: str | None
    sources: Citations
    facts: Mapping[str, Fact]
    lacking: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Dataset:
    """A family or a slot type."""

    name: str
    about: str | None
    concepts: Mapping[str, str]
    characters: list[Character]
    items: list[Item]


def of_family(whole: Whole, family: str) -> bytes:
    """A family with its variants."""
    return document(whole, _family(whole, family), _created(whole))


def of_slot_type(whole: Whole, slot_type: str) -> bytes:
    """A slot type with its parts."""
    return document(whole, _slot_type(whole, slot_type), _created(whole))


def _created(whole: Whole) -> str:
    return f"{whole.as_of}T00:00:00Z"


# What is described -----------------------------------------------------------------------------------------------------


def _family(whole: Whole, family: str) -> Dataset:
    tables = whole.families[family]
    slots = {name: slot for name, slot in tables.slots.items() if slot.type}
    characters = [_character(f"trait.{name}", trait) for name, trait in tables.traits.items()]
    fitting = parts_for_all(tables.entries, family)
    for name, slot in slots.items():
        parts = {part: (whole.part_names[part], None) for part in fitting[name]}
        parts |= {word: (whole.part_names[word], None) for word in ("none", "unlisted")}
        characters.append(Character(f"slot.{name}", slot.name, None, FITTED, states=parts))
    lacking: dict[str | None, frozenset[str]] = {
        kind: frozenset(f"slot.{name}" for name in tables.lacks(kind)) for kind in {one.kind for one in tables.variants}
    }
    items: list[Item] = []
    for one in tables.variants:
        facts = {f"trait.{name}": fact for name, fact in one.shows.items()}
        facts |= {f"slot.{name}": fact for name, fact in one.fitted.items() if name in slots}
        items.append(Item(f"variant.{one.id}", one.name, one.about, one.sources, facts, lacking[one.kind]))
    record = tables.record
    return Dataset(record.name, record.about, _view_names(tables.views) | {FITTED: "Fitted parts"}, characters, items)


def _slot_type(whole: Whole, slot_type: str) -> Dataset:
    record = whole.entries.slot_types[slot_type]
    mine = [(ident, one) for ident, one in sorted(whole.entries.parts.items()) if whole.entries.home["part", ident] == slot_type]
    items: list[Item] = []
    for ident, one in mine:
        facts = {f"trait.{name}": fact for name, fact in one.shows.items() if not fact.unknown}
        items.append(Item(f"part.{ident}", one.name, one.about, one.sources, facts))
    characters = [_character(f"trait.{name}", trait) for name, trait in record.traits.items()]
    return Dataset(record.name, record.about, _view_names(whole.about.views), characters, items)


def _view_names(views: Mapping[str, View]) -> dict[str, str]:
    return {f"view.{ident}": view.name for ident, view in views.items()}


def _character(ident: str, trait: Trait) -> Character:
    detail = " ".join(filter(None, [trait.look, trait.about])) or None
    states = {name: (state.name, state.about) for name, state in trait.states.items()} if trait.states is not None else None
    measured = (trait.measured.unit, trait.measured.least, trait.measured.most) if trait.measured else None
    return Character(ident, trait.name, detail, f"view.{trait.view}", states, measured)


# The document ----------------------------------------------------------------------------------------------------------


def document(whole: Whole, dataset: Dataset, created: str) -> bytes:
    """The dataset as an SDD 1.1 document. `created`: an xs:dateTime."""
    cited = {source for item in dataset.items for source in item.sources if source in whole.entries.sources}
    coder = _Coder(whole)
    body = [
        *('<?xml version="1.0" encoding="UTF-8"?>\n', f'<Datasets xmlns="{NAMESPACE}" '),
        'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" ',
        f'xsi:schemaLocation="{NAMESPACE} {LOCATION}">\n',
        f'<TechnicalMetadata created="{created}"><Generator name="tellmark" version="1"/></TechnicalMetadata>\n',
        *('<Dataset xml:lang="en">\n', _representation(dataset.name, dataset.about), *_metadata(whole)),
        *_collection("TaxonNames", (_object("TaxonName", item.ident, item.name) for item in dataset.items)),
        *_collection("DescriptiveConcepts", _concepts(whole, dataset)),
        *_collection("Characters", (_definition(one) for one in dataset.characters)),
        *_collection("CharacterTrees", _tree(dataset)),
        *_collection("CodedDescriptions", (coder.description(dataset, item) for item in dataset.items)),
        *_collection("Agents", (_object("Agent", f"agent.{n}", name) for n, name in enumerate(whole.about.maintainers, 1))),
        *_collection("Publications", (_publication(whole, ident) for ident in sorted(cited))),
        "</Dataset>\n</Datasets>\n",
    ]
    return "".join(body).encode("utf-8")


def _metadata(whole: Whole) -> Iterator[str]:
    """Who keeps the data, and under what license."""
    keepers = "".join(f'<Agent role="edt" ref="agent.{n}"/>' for n, _ in enumerate(whole.about.maintainers, 1))
    if keepers:
        yield f"<RevisionData><Creators>{keepers}</Creators></RevisionData>\n"
    address = license_address(whole.about.license)
    href = f' href="{escape(address)}"' if address else ""
    yield f'<IPRStatements><IPRStatement role="License"{href}>{_label(whole.about.license)}</IPRStatement></IPRStatements>\n'


def _collection(name: str, members: Iterable[str]) -> list[str]:
    """The members in their element, or nothing: the standard has no empty collections."""
    found = list(members)
    return [f"<{name}>\n", *found, f"</{name}>\n"] if found else []


def _object(name: str, ident: str, label: str, about: str | None = None, rest: str = "") -> str:
    return f'<{name} id="{ident}">{_representation(label, about)}{rest}</{name}>\n'


def _representation(label: str, about: str | None = None) -> str:
    """Label and detail; a label that is too long is cut, and stands whole in the detail."""
    detail = " ".join(filter(None, [label if len(_plain(label)) > LABEL else None, about]))
    return f"<Representation>{_label(label)}{f'<Detail>{_text(detail, DETAIL)}</Detail>' if detail else ''}</Representation>"


def _label(text: str) -> str:
    return f"<Label>{_text(text, LABEL)}</Label>"


def _text(text: str, longest: int) -> str:
    plain = _plain(text) or "-"
    return escape(plain if len(plain) <= longest else f"{plain[: longest - 1]}…", quote=False)


def _plain(text: str) -> str:
    """As the standard collapses it anyway, without characters that XML cannot hold."""
    if text.isprintable():  # as nearly all is: of white space it has nothing but spaces
        return " ".join(text.split())
    return re.sub(r"[\t\n\r ]+", " ", re.sub(UNFIT, " ", text)).strip(" ")


# Terms -----------------------------------------------------------------------------------------------------------------


def _concepts(whole: Whole, dataset: Dataset) -> Iterator[str]:
    """How often, and the views that characters are seen in."""
    words = "".join(
        _modifier(_often(n), word, f' lowerestimate="{share:g}" upperestimate="{share:g}"')
        for n, (word, share) in enumerate(whole.about.frequencies.items(), 1)
    )
    numbered = _modifier(_often(None), "in this share of all units", "")
    yield _object("DescriptiveConcept", "often", "How often", None, f"<Modifiers>{words}{numbered}</Modifiers>")
    for concept in dict.fromkeys(one.concept for one in dataset.characters):
        yield _object("DescriptiveConcept", concept, dataset.concepts[concept])


def _often(number: int | None) -> str:
    """The id of a word of frequency, by its place among them; of a bare number where None."""
    return f"often.{'number' if number is None else number}"


def _modifier(ident: str, label: str, estimates: str) -> str:
    kind = f"<ModifierClass>Frequency</ModifierClass><ProportionRange{estimates}/>"
    return _object("Modifier", ident, label, None, kind)


def _definition(one: Character) -> str:
    if one.states is not None:
        states = "".join(
            _object("StateDefinition", _state_id(one, ident), name, about) for ident, (name, about) in one.states.items()
        )
        return _object("CategoricalCharacter", one.ident, one.name, one.detail, f"<States>{states}</States>")
    if one.measured:
        unit, least, most = one.measured
        rest = f'<Assumptions><PlausibleRange lower="{least!r}" upper="{most!r}"/></Assumptions>'
        if unit:
            rest += f'<MeasurementUnit><Label role="Abbrev">{_text(unit, LABEL)}</Label></MeasurementUnit>'
        return _object("QuantitativeCharacter", one.ident, one.name, one.detail, rest)
    return _object("TextCharacter", one.ident, one.name, one.detail)


def _state_id(one: Character, state: str) -> str:
    """Ids are unique in a document, so a state's has its character in front."""
    return f"state.{one.ident}.{state}"


def _tree(dataset: Dataset) -> Iterator[str]:
    """The characters under the views that show them."""
    if not dataset.characters:
        return
    nodes: list[str] = []
    for concept in dict.fromkeys(one.concept for one in dataset.characters):
        nodes.append(f'<Node id="node.{concept}"><DescriptiveConcept ref="{concept}"/></Node>\n')
        nodes += [
            f'<CharNode><Parent ref="node.{concept}"/><Character ref="{one.ident}"/></CharNode>\n'
            for one in dataset.characters
            if one.concept == concept
        ]
    purpose = "<DesignedFor><Role>InteractiveIdentification</Role></DesignedFor>"
    whole = "<ShouldContainAllCharacters>true</ShouldContainAllCharacters>"
    yield _object("CharacterTree", "by-view", "Where to look", None, f"{purpose}{whole}<Nodes>\n{''.join(nodes)}</Nodes>")


def _publication(whole: Whole, ident: str) -> str:
    one = whole.entries.sources[ident]
    year = str(one.year) if one.year else None
    cited = ". ".join(filter(None, [one.author, one.name, one.where, year]))
    return _object("Publication", f"source.{ident}", one.name, f"{cited}. {one.about or ''}".strip())


# Descriptions ----------------------------------------------------------------------------------------------------------


class _Coder:
    """Codes items. What is coded once is kept: most items share most of what they show."""

    def __init__(self, whole: Whole) -> None:
        self.sources = whole.entries.sources
        self.whole = whole
        self.words = {word: _often(n) for n, word in enumerate(whole.about.frequencies, 1)}
        self.kept: dict[tuple[object, ...], str] = {}

    def description(self, dataset: Dataset, item: Item) -> str:
        scope = f'<TaxonName ref="{item.ident}"/>'
        scope += "".join(f'<Citation ref="source.{source}"/>' for source in item.sources if source in self.sources)
        coded = "".join([self.coded(one, item) for one in dataset.characters])
        data = f"<SummaryData>\n{coded}</SummaryData>" if coded else ""
        return _object("CodedDescription", f"description.{item.ident}", item.name, item.about, f"<Scope>{scope}</Scope>{data}")

    def coded(self, one: Character, item: Item) -> str:
        """What is known of one character."""
        fact = item.facts.get(one.ident)
        if fact is None:
            return _status(one, INAPPLICABLE if one.ident in item.lacking else UNKNOWN)
        if fact.sources or fact.verified or fact.note:
            return self.data(one, fact)
        key = (one.ident, *fact.is_.items())
        if key not in self.kept:
            self.kept[key] = self.data(one, fact)
        return self.kept[key]

    def data(self, one: Character, fact: Fact) -> str:
        """A fact; several values of a measure or a text are coded one after the other."""
        name, note = _element(one), self.note(fact)
        said = [(choice, self.frequency(fact.is_[choice], share)) for _, choice, _, share in portions(self.whole, fact)]
        if one.states is not None:
            states = (f'<State ref="{_state_id(one, choice)}"{f">{often}</State>" if often else "/>"}' for choice, often in said)
            return f'<{name} ref="{one.ident}">{note}{"".join(states)}</{name}>\n'
        return "".join(f'<{name} ref="{one.ident}">{note}{often}{_value(one, choice)}</{name}>\n' for choice, often in said)

    def frequency(self, how: str | float, share: float) -> str:
        """How often; nothing for what always is."""
        if share == 1.0:
            return ""
        modifier = self.words[how] if isinstance(how, str) else _often(None)
        return f'<Modifier ref="{modifier}" lower="{share!r}" upper="{share!r}"/>'

    def note(self, fact: Fact) -> str:
        """On whose word, and what is to be said of it."""
        words = [f"{self.sources[ident].name} {support} it." for ident, support in fact.sources.items() if ident in self.sources]
        words += [f"Verified {fact.verified}."] if fact.verified else []
        words += [fact.note] if fact.note else []
        return f"<Note>{_text(' '.join(words), DETAIL)}</Note>" if words else ""


def _element(one: Character) -> str:
    return "Categorical" if one.states is not None else "Quantitative" if one.measured else "TextChar"


def _status(one: Character, status: str) -> str:
    """That there is nothing to code, and why; a text character cannot say so."""
    name = _element(one)
    return "" if name == "TextChar" else f'<{name} ref="{one.ident}"><Status code="{status}"/></{name}>\n'


def _value(one: Character, choice: str) -> str:
    """A text, or a measured value: a mean, and its tolerance a standard deviation, as in the entries."""
    if one.measured is None:
        return f"<Content>{_text(choice, DETAIL)}</Content>"
    measure = in_unit(choice, one.measured[0])
    spread = f'<Measure type="SD" value="{measure.plus_minus!r}"/>' if measure.plus_minus is not None else ""
    return f'<Measure type="Mean" value="{measure.value!r}"/>{spread}'
