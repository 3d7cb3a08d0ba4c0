"""The tables of what is known: sources, families, traits, parts, procedures, variants and sets."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Literal

from ..kb.models import State, Trait
from ..kb.resolve import moved, shares, slots_of
from .tabular import (
    ABOUT,
    FITTED,
    HOW_COMMON,
    HOW_OFTEN,
    ID,
    MADE,
    NAME,
    PLACE,
    SHOWN,
    VERIFIED,
    Column,
    Row,
    Table,
    fitted,
    fitted_cells,
    owner,
    shown,
    shown_cells,
    table,
    trait_key,
    weight,
    years,
)
from .whole import Whole

# Sources, makers, liveries, views, hazards -----------------------------------------------------------------------------


def _sources(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sources.items()):
        yield ident, one.name, one.kind, one.author, one.year, one.where, one.about, one.verified


def _makers(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.makers.items()):
        yield ident, one.name, one.place, *years(one.made), one.about, one.verified


def _liveries(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.liveries.items()):
        yield ident, one.name, one.railroad, one.about, one.verified


def _livery_colors(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.liveries.items()):
        yield from ((ident, place, color) for place, color in enumerate(one.colors, 1))


def _views(whole: Whole) -> Iterator[Row]:
    yield from ((ident, None, one.name, one.effort, one.loose, one.how) for ident, one in sorted(whole.about.views.items()))
    for family, record in sorted(whole.entries.families.items()):
        for ident, one in sorted(record.views.items()):
            yield f"families/{family}/{ident}", family, one.name, one.effort, one.loose, one.how


def _view_key(whole: Whole, family: str | None, view: str) -> str:
    """The id of a view among all: a family may have a view of its own, or word one its own way."""
    return f"families/{family}/{view}" if family and view in whole.entries.families[family].views else view


def _hazards(whole: Whole) -> Iterator[Row]:
    """Every hazard that is explained or named, so that no procedure names one that is missing here."""
    explained = whole.about.hazards
    named = {hazard for one in whole.entries.procedures.values() for hazard in one.hazards}
    for ident in sorted({*explained, *named}):
        yield ident, explained[ident].caution if ident in explained else None


def _hazard_bringers(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.about.hazards.items()):
        yield from ((ident, place, thing) for place, thing in enumerate(one.brought_by, 1))


# Families, slots, traits -----------------------------------------------------------------------------------------------


def _families(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.families.items()):
        yield ident, one.name, one.maker, *years(one.made), weight(one.how_common), one.about, one.verified


def _kinds(whole: Whole) -> Iterator[Row]:
    for family, record in sorted(whole.entries.families.items()):
        yield from ((family, ident, one.name, one.about) for ident, one in record.kinds.items())


def _slot_types(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.slot_types.items()):
        yield ident, one.name, one.about, one.verified


def _slots(whole: Whole) -> Iterator[Row]:
    for family in sorted(whole.entries.families):
        for ident, one in slots_of(whole.entries, family).items():
            yield family, ident, one.name, one.type, one.fastened, one.swapped, one.missing, one.unlisted


def _slot_kinds(whole: Whole) -> Iterator[Row]:
    for family, record in sorted(whole.entries.families.items()):
        for slot, one in record.slots.items():
            yield from ((family, slot, kind) for kind in one.kinds or [])


def _homes(whole: Whole) -> Iterator[tuple[str | None, str | None, Mapping[str, Trait]]]:
    """(family, slot type, traits): those that all families share, then each family's own, then those of parts."""
    yield None, None, whole.entries.traits
    yield from ((ident, None, one.traits) for ident, one in sorted(whole.entries.families.items()))
    yield from ((None, ident, one.traits) for ident, one in sorted(whole.entries.slot_types.items()))


def _keyed(whole: Whole) -> Iterator[tuple[str, str | None, str | None, str, Trait]]:
    """(id among all, family, slot type, own id, trait) of every trait."""
    for family, slot_type, traits in _homes(whole):
        for name, trait in traits.items():
            yield trait_key(family, slot_type, name), family, slot_type, name, trait


def _traits(whole: Whole) -> Iterator[Row]:
    for key, family, slot_type, name, one in _keyed(whole):
        form = "states" if one.states is not None else "measured" if one.measured else "marking"
        slot = None if slot_type else one.slot
        unit, least, most = (one.measured.unit, one.measured.least, one.measured.most) if one.measured else (None, None, None)
        yield (
            *(key, family, slot_type, name, one.name, slot, _view_key(whole, family, one.view), form, unit, least, most),
            one.measured.read_to if one.measured else None,
            one.marking.worn if one.marking else None,
            *(weight(one.mistakes), one.look, one.ask, one.changes, one.about),
        )


def _all_states(whole: Whole) -> Iterator[tuple[str, int, str, State]]:
    for key, _, _, _, trait in _keyed(whole):
        yield from ((key, place, ident, one) for place, (ident, one) in enumerate((trait.states or {}).items(), 1))


def _states(whole: Whole) -> Iterator[Row]:
    yield from ((key, ident, place, one.name, one.ask, one.about) for key, place, ident, one in _all_states(whole))


def _mistaken_states(whole: Whole) -> Iterator[Row]:
    for key, _, ident, one in _all_states(whole):
        yield from ((key, ident, other) for other in one.mistaken_for)


# Procedures and damage -------------------------------------------------------------------------------------------------


def _procedures(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.procedures.items()):
        yield ident, one.name, one.symptom, one.minutes, one.about, one.verified


ProcedureList = Literal["steps", "tools", "consumables", "hazards", "serves"]


def _listed(field: ProcedureList) -> Callable[[Whole], Iterator[Row]]:
    """The rows of a list that every procedure has."""

    def rows(whole: Whole) -> Iterator[Row]:
        for ident, one in sorted(whole.entries.procedures.items()):
            values: Sequence[str] = getattr(one, field)
            yield from ((ident, place, value) for place, value in enumerate(values, 1))

    return rows


def _damage_spots(whole: Whole) -> Iterator[Row]:
    for family, record in sorted(whole.entries.families.items()):
        for ident, one in record.damage.items():
            view = _view_key(whole, family, one.view)
            seen: Row = (family, ident, one.name, view, one.slot, weight(one.how_common), one.found)
            yield (*seen, one.grade, one.mend, one.procedure, int(one.invisible))


# Parts, variants, sets -------------------------------------------------------------------------------------------------


def _parts(whole: Whole) -> Iterator[Row]:
    home = whole.entries.home
    for ident, one in sorted(whole.entries.parts.items()):
        made: Row = (*years(one.made), weight(one.how_common))
        rest: Row = (one.reproduction_of, one.tell, one.cost, one.minutes, one.about, one.verified)
        yield (ident, home["part", ident], one.name, one.maker, *made, *rest)


def _part_fits(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.parts.items()):
        yield from ((ident, family, slot) for family, slots in one.fits.items() for slot in slots)


def _part_shows(whole: Whole) -> Iterator[Row]:
    entries = whole.entries
    for ident, one in sorted(entries.parts.items()):
        home = entries.home["part", ident]
        traits = entries.slot_types[home].traits
        facts = {name: fact for name, fact in one.shows.items() if not fact.unknown}
        yield from shown(whole, ident, facts, traits, {name: trait_key(None, home, name) for name in traits})


def _variants(whole: Whole) -> Iterator[Row]:
    """The living ones as they are stated, and the ids that are kept only to lead somewhere else."""
    for ident, written in sorted(whole.entries.variants.items()):
        family = whole.entries.family_of(ident)
        if written.signpost:
            nothing: Row = (None,) * 9
            yield (ident, written.name or ident, family, *nothing, 1, written.about, written.verified)
            continue
        one = whole.stated[ident]
        told: Row = (one.kind, one.livery, one.catalog_number, one.batch, *years(one.made), weight(one.how_common))
        yield (ident, one.name, family, *told, weight(one.sold_alone), written.like, 0, one.about, one.verified)


def _variant_moves(whole: Whole) -> Iterator[Row]:
    entries = whole.facts.entries
    for ident, one in sorted(entries.variants.items()):
        if one.signpost:
            yield from ((ident, now) for now in dict.fromkeys(moved(entries, ident)))


def _variant_shows(whole: Whole) -> Iterator[Row]:
    for family, tables in whole.facts.families.items():
        own = tables.record.traits
        keys = {name: trait_key(family if name in own else None, None, name) for name in tables.all_traits}
        # Variants share what they inherit: each fact becomes cells once.
        facts = {(name, id(fact)): fact for one in tables.variants for name, fact in one.shows.items()}
        cells = {at: shown_cells(whole, fact, tables.all_traits[at[0]], keys[at[0]]) for at, fact in facts.items()}
        for one in tables.variants:
            yield from ((one.id, *row) for name, fact in one.shows.items() for row in cells[name, id(fact)])


def _variant_fitted(whole: Whole) -> Iterator[Row]:
    cells: dict[tuple[str, str, int], list[Row]] = {}
    for one in whole.facts.stated:
        for slot, fact in one.fitted.items():
            at = (one.family, slot, id(fact))
            if at not in cells:
                cells[at] = fitted_cells(whole, fact, one.family, slot)
            yield from ((one.id, *row) for row in cells[at])


def _sets(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sets.items()):
        home = whole.entries.home["set", ident]
        yield ident, home, one.name, one.catalog_number, *years(one.made), weight(one.how_common), one.about, one.verified


def _positions(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.entries.sets.items()):
        yield from ((ident, number, position.about) for number, position in enumerate(one.positions, 1))


def _seats(whole: Whole) -> Iterator[Row]:
    for ident, one in sorted(whole.facts.entries.sets.items()):
        for number, position in enumerate(one.positions, 1):
            sat = whole.facts.sat(position)
            found = shares(whole.about.frequencies, sat)
            yield from ((ident, number, variant, weight(how), found[variant]) for variant, how in sat.items())


def _position_fitted(whole: Whole) -> Iterator[Row]:
    entries = whole.facts.entries
    for ident, one in sorted(entries.sets.items()):
        for number, position in enumerate(one.positions, 1):
            family = entries.family_of(next(iter(position.variants)))
            yield from fitted(whole, (ident, number), family, {s: f for s, f in position.fitted.items() if not f.unknown})


# The tables ------------------------------------------------------------------------------------------------------------

_FAMILY = owner("family", "the family")
_TRAIT = owner("trait", "the trait, by its id among all")
_STATE = owner("state", "the state")
_VARIANT = owner("variant", "the variant")
_PART = owner("part", "the part")
_SET = owner("boxed_set", "the set")
_SLOT = owner("slot", "the slot")
_PROCEDURE = owner("procedure", "the procedure")
_HAZARD = owner("hazard", "the hazard")
_POSITION = Column("position", "the place in the set, from 1", "integer", required=True)

#: (field, what the table is, its column, what that means, the table it refers to)
PROCEDURE_LISTS: tuple[tuple[ProcedureList, str, str, str, str | None], ...] = (
    ("hazards", "What can hurt during the work.", "hazard", "the hazard", "hazards"),
    ("tools", "The tools it takes.", "tool", "the tool", None),
    ("consumables", "What it uses up.", "consumable", "what is used up", None),
    ("steps", "The steps in order.", "step", "what to do", None),
    ("serves", "The sorts of parts it is done to.", "slot_type", "the sort of part", "slot_types"),
)

SOURCES = [
    table(
        "sources",
        "What the facts rest on.",
        [
            *(ID, NAME, Column("kind", "catalog, book, notes and so on", required=True), Column("author", "who wrote it")),
            *(
                Column("year", "when it appeared", "integer"),
                Column("held_at", "publisher, page, box or address"),
                ABOUT,
                VERIFIED,
            ),
        ],
        _sources,
    ),
    table("makers", "Who made units or parts.", [ID, NAME, Column("place", "where"), *MADE, ABOUT, VERIFIED], _makers),
    table("liveries", "Paint and lettering.", [ID, NAME, Column("railroad", "whose it is"), ABOUT, VERIFIED], _liveries),
    table(
        "livery_colors",
        "The colors of a livery.",
        [owner("livery", "the livery"), PLACE, Column("color", "the color", required=True)],
        _livery_colors,
        key="livery place",
        livery="liveries",
    ),
    table(
        "views",
        "What one must be able to see to judge a trait.",
        [
            *(ID, Column("family", "the family that has it for itself"), NAME),
            Column("effort", "what it takes, a glance at the side being 1", "number", required=True),
            Column("loose", "the same for a part in the hand", "number", required=True),
            Column("how", "how to get to see it"),
        ],
        _views,
        family="families",
    ),
    table("hazards", "What can hurt.", [ID, Column("caution", "what to mind")], _hazards),
    table(
        "hazard_bringers",
        "The tools and consumables that bring a hazard.",
        [_HAZARD, PLACE, Column("thing", "the tool or the consumable", required=True)],
        _hazard_bringers,
        key="hazard place",
        hazard="hazards",
    ),
]

FAMILIES = [
    table(
        "families",
        "All units that share one body tooling.",
        [ID, NAME, Column("maker", "who made it"), *MADE, HOW_COMMON, ABOUT, VERIFIED],
        _families,
        maker="makers",
    ),
    table(
        "kinds",
        "The roles a unit of a family was made for.",
        [_FAMILY, ID, NAME, ABOUT],
        _kinds,
        key="family id",
        family="families",
    ),
    table("slot_types", "Sorts of parts.", [ID, NAME, ABOUT, VERIFIED], _slot_types),
    table(
        "slots",
        "The places on a unit; the body and the finish are slots too.",
        [
            *(_FAMILY, ID, NAME, Column("slot_type", "what sort of part sits there; none: the body or the finish")),
            Column("fastened", "how it is held", required=True),
            Column("swapped", "how often it is found changed, where the fastening does not say it", "number"),
            Column("missing", "share of the changed ones that are gone", "number"),
            Column("unlisted", "share of the changed ones that hold an unrecorded part", "number"),
        ],
        _slots,
        key="family id",
        family="families",
        slot_type="slot_types",
    ),
    table(
        "slot_kinds",
        "The kinds that have a slot; a slot without a row here is on all of them.",
        [_FAMILY, _SLOT, Column("kind", "the kind", required=True)],
        _slot_kinds,
        key="family slot kind",
        family__slot="slots.family.id",
        family__kind="kinds.family.id",
    ),
    table(
        "traits",
        "What one can look at. Traits of parts belong to a slot type; without a family and a slot type all families share it.",
        [
            *(ID, Column("family", "the family that has it"), Column("slot_type", "the sort of part that has it")),
            *(Column("short_id", "the id inside its family or slot type", required=True), NAME),
            Column("slot", "the slot whose part shows it; none for a trait of a part"),
            *(Column("view", "what one must see", required=True), Column("form", "states, measured or marking", required=True)),
            *(Column("unit", "of a measured value"), Column("least", "nothing smaller has been seen", "number")),
            *(
                Column("most", "nothing larger has been seen", "number"),
                Column("read_to", "what a careful reading is good to", "number"),
            ),
            Column("worn", "of a marking: the chance that one character cannot be read", "number"),
            Column("mistakes", "how often a reading names another state: a word, or a number from 0 to 1", required=True),
            *(Column("look", "where to look"), Column("ask", "the question for it")),
            *(Column("changes", "what becomes of it when the part is swapped or the finish redone"), ABOUT),
        ],
        _traits,
        family="families",
        slot_type="slot_types",
        view="views",
    ),
    table(
        "states",
        "What a trait can be.",
        [_TRAIT, ID, PLACE, NAME, Column("ask", "the yes/no question for it"), ABOUT],
        _states,
        key="trait id",
        trait="traits",
    ),
    table(
        "mistaken_states",
        "What a state is taken for when it is misread.",
        [_TRAIT, _STATE, owner("taken_for", "the other state")],
        _mistaken_states,
        key="trait state taken_for",
        trait__state="states.trait.id",
        trait__taken_for="states.trait.id",
    ),
]

SERVICE = [
    table(
        "procedures",
        "Service work. The cautions of its hazards come before its steps.",
        [
            *(ID, NAME, Column("symptom", "what it cures")),
            *(Column("minutes", "how long it takes", "number", required=True), ABOUT, VERIFIED),
        ],
        _procedures,
    ),
    *(
        table(
            f"procedure_{field}",
            about,
            [_PROCEDURE, PLACE, Column(name, meaning, required=True)],
            _listed(field),
            key="procedure place",
            procedure="procedures",
            **({name: to} if to else {}),
        )
        for field, about, name, meaning, to in PROCEDURE_LISTS
    ),
    table(
        "damage_spots",
        "Places that are known to break.",
        [
            *(_FAMILY, ID, NAME, Column("view", "where one sees it", required=True), _SLOT),
            Column("how_common", "how often: a word of frequency, or a number from 0 to 1", required=True),
            Column("found", "how one notices it", required=True),
            Column("grade", "what it does to the grade, on the 1 to 10 scale", "number", required=True),
            *(
                Column("mend", "how it is mended, or that it cannot be", required=True),
                Column("procedure", "the work that mends it"),
            ),
            Column("invisible", "whether it can be mended so that nobody sees it", "boolean", required=True),
        ],
        _damage_spots,
        key="family id",
        family__slot="slots.family.id",
        view="views",
        procedure="procedures",
    ),
]

PARTS = [
    table(
        "parts",
        "Components that sit in slots.",
        [
            *(ID, owner("slot_type", "what sort of part it is"), NAME, Column("maker", "who made it"), *MADE, HOW_COMMON),
            *(Column("reproduction_of", "the part it copies"), Column("tell", "how to tell it from what it resembles")),
            Column("cost", "of a replacement, in the currency of the knowledge base", "number"),
            *(Column("minutes", "to replace it", "number"), ABOUT, VERIFIED),
        ],
        _parts,
        slot_type="slot_types",
        maker="makers",
        reproduction_of="parts",
    ),
    table(
        "part_fits",
        "The slots a part fits.",
        [_PART, _FAMILY, _SLOT],
        _part_fits,
        key="part family slot",
        part="parts",
        family__slot="slots.family.id",
    ),
    table(
        "part_shows",
        "What a part shows.",
        [_PART, *SHOWN],
        _part_shows,
        key="part trait choice",
        part="parts",
        trait="traits",
        trait__state="states.trait.id",
    ),
]

VARIANTS = [
    table(
        "variants",
        "What a collector tells apart, with what it inherits.",
        [
            *(ID, NAME, _FAMILY, Column("kind", "the role it was made for"), Column("livery", "its livery")),
            *(
                Column("catalog_number", "as the maker listed it"),
                Column("batch", "production batch", "integer"),
                *MADE,
                HOW_COMMON,
            ),
            Column("sold_alone", "how common it is outside a set"),
            Column("like_variant", "the variant that its entry says it is like"),
            *(Column("moved", "whether the id only leads to others now", "boolean", required=True), ABOUT, VERIFIED),
        ],
        _variants,
        family="families",
        family__kind="kinds.family.id",
        livery="liveries",
        like_variant="variants",
    ),
    table(
        "variant_moves",
        "Where an old id lives now.",
        [_VARIANT, owner("now", "the variant it became, or one of several")],
        _variant_moves,
        key="variant now",
        variant="variants",
        now="variants",
    ),
    table(
        "variant_shows",
        "What a variant shows.",
        [_VARIANT, *SHOWN],
        _variant_shows,
        key="variant trait choice",
        variant="variants",
        trait="traits",
        trait__state="states.trait.id",
    ),
    table(
        "variant_fitted",
        "What a variant left the factory with.",
        [_VARIANT, *FITTED],
        _variant_fitted,
        key="variant slot choice",
        variant="variants",
        family__slot="slots.family.id",
        part="parts",
    ),
    table(
        "sets",
        "Boxed configurations as sold.",
        [ID, _FAMILY, NAME, Column("catalog_number", "as the maker listed it"), *MADE, HOW_COMMON, ABOUT, VERIFIED],
        _sets,
        family="families",
    ),
    table(
        "positions",
        "The places in a set, in order.",
        [_SET, _POSITION, ABOUT],
        _positions,
        key="boxed_set position",
        boxed_set="sets",
    ),
    table(
        "seats",
        "Which variants sat in a position.",
        [_SET, _POSITION, _VARIANT, *HOW_OFTEN],
        _seats,
        key="boxed_set position variant",
        boxed_set__position="positions.boxed_set.position",
        variant="variants",
    ),
    table(
        "position_fitted",
        "What was fitted to the unit in a position, whatever its variant has otherwise.",
        [_SET, _POSITION, *FITTED],
        _position_fitted,
        key="boxed_set position slot choice",
        boxed_set__position="positions.boxed_set.position",
        family__slot="slots.family.id",
        part="parts",
    ),
]

#: The tables that are made of facts alone: no sentence changes them, and they hold most of all rows.
OF_FACTS = ("variant_shows", "variant_fitted", "variant_moves", "seats", "position_fitted")
#: Those that a sentence about a variant changes.
OF_VARIANTS = ("variants", "citations", "fact_notes")
KNOWN: list[Table] = [*SOURCES, *FAMILIES, *SERVICE, *PARTS, *VARIANTS]
