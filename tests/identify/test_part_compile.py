"""Loose parts as candidates: how common each is, what each shows, and that each is found again by what it shows."""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tellmark.identify.arrays import NOT_IN_THE_RECORD
from tellmark.identify.part_compile import compile_parts, part_weights
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start_part
from tellmark.kb.load import Entries, load
from tellmark.kb.reading import Between, CannotTell, Gone, Measured, Reading, Seen, read_reading
from tellmark.kb.resolve import NO_SORT, SORT, loose_traits
from tellmark.kb.values import Answer

ENTRIES = Path(__file__).parents[2] / "entries"


@pytest.fixture(scope="module")
def demonstration() -> Entries:
    loaded = load(ENTRIES)
    assert loaded.findings == []
    return loaded.entries


def is_(value: str) -> Answer:
    return Answer.model_validate({"is": value})


# How common ------------------------------------------------------------------------------------------------------------


def shelf(random_kb: ModuleType, **part: object) -> Entries:
    """Two variants with two wheels each; the slot is changed in a fifth of them, and then a tenth of the wheels is unlisted."""
    wheel = {"type": "wheel", "fits": {random_kb.FAMILY: ["wheels"]}}
    return random_kb.knowledge_base(
        about={"not_in_the_record": 1e-9},
        family={"slots": {"wheels": {"name": "Wheels", "type": "wheel", "swapped": 0.2, "missing": 0.2, "unlisted": 0.1}}},
        variants={
            "early": {"name": "Early", "how_common": 1.0, "fitted": {"wheels": "disc"}},
            "late": {"name": "Late", "how_common": 1.0, "fitted": {"wheels": {"disc": 0.5, "spoked": 0.5}}},
        },
        slot_types={"wheel": {"traits": {}}},
        parts={"disc": wheel, "spoked": {**wheel, "how_common": 0.4}, "odd": {"type": "wheel", "how_common": "rare", **part}},
    )


def test_weight_is_what_came_off_and_what_was_meant_to_go_in(random_kb: ModuleType) -> None:
    """As issued: three quarters discs. As replaced: of the 0.7 that are recorded parts, 1.0 to 0.4."""
    weight, unlisted = part_weights(shelf(random_kb), ["wheel"])
    assert weight["disc"] == pytest.approx(0.2 * (0.75 + 0.7 / 1.4))
    assert weight["spoked"] == pytest.approx(0.2 * (0.25 + 0.7 * 0.4 / 1.4))
    assert unlisted["wheel"] == pytest.approx(0.2 * 0.1)


def test_a_part_that_no_slot_takes_is_rare_and_not_impossible(random_kb: ModuleType) -> None:
    weight, _ = part_weights(shelf(random_kb), ["wheel"])
    assert 0 < weight["odd"] < 0.02 * weight["spoked"]


def test_a_part_that_fits_is_a_replacement(random_kb: ModuleType) -> None:
    """Fitted to nothing when new, it comes loose as a replacement only."""
    weight, _ = part_weights(shelf(random_kb, fits={random_kb.FAMILY: ["wheels"]}), ["wheel"])
    assert weight["odd"] == pytest.approx(0.2 * 0.7 * 0.05 / 1.45)


def test_a_shelf_without_units_goes_by_how_common_parts_are(random_kb: ModuleType) -> None:
    entries = shelf(random_kb)
    entries.families.clear()
    entries.variants.clear()
    weight, unlisted = part_weights(entries, ["wheel"])
    assert weight["disc"] / weight["spoked"] == pytest.approx(1 / 0.4)
    assert weight["disc"] / weight["odd"] == pytest.approx(1 / 0.05)
    assert unlisted["wheel"] > 0


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_prior_and_rows_are_chances(seed: int, random_kb: ModuleType) -> None:
    """Any knowledge base: the prior sums to 1, no part is impossible, and every part is of its own sort."""
    entries = random_kb.random_entries(seed)
    compiled = compile_parts(entries)
    assert compiled.prior.sum() == pytest.approx(1)
    assert (compiled.prior > 0).all()
    assert list(compiled.variants) == sorted(entries.parts)
    assert list(compiled.families) == [*sorted(entries.slot_types), NO_SORT]
    for trait in compiled.traits:
        np.testing.assert_allclose(trait.table.sum(axis=1), 1)
    sort = compiled.traits[0]
    assert (sort.id, sort.at_once) == (SORT, True)
    assert [sort.states[k] for k in sort.truth.argmax(axis=1)] == [compiled.families[f] for f in compiled.family]


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_one_type_alone_is_all_types_given_the_type(seed: int, random_kb: ModuleType) -> None:
    """Asking for one slot type only is the same as knowing the sort for sure."""
    entries = random_kb.random_entries(seed)
    whole = compile_parts(entries)
    for f, slot_type in enumerate(whole.families[:-1]):
        alone = compile_parts(entries, slot_type)
        mine = whole.family == f
        assert [whole.label(int(c)) for c in np.flatnonzero(mine)] == [alone.label(c) for c in range(alone.candidates)]
        np.testing.assert_allclose(alone.prior, whole.prior[mine] / whole.prior[mine].sum(), atol=1e-12)


# Every recorded part ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sessions(demonstration: Entries) -> dict[str | None, Session]:
    return {one: start_part(demonstration, one) for one in (None, *demonstration.slot_types)}


def truthful(entries: Entries, part: str, session: Session, t: int) -> Reading:
    """What somebody sees who has this part in hand and makes no mistake; the commonest state where it shows several."""
    trait, home = session.compiled.traits[t], entries.home["part", part]
    if trait.family is None:
        return Seen(frozenset({home}))
    if trait.family != home:
        return Gone()
    fact = entries.parts[part].shows.get(trait.id)
    if fact is None or fact.unknown:
        return CannotTell()
    often = {state: entries.about.frequencies[how] if isinstance(how, str) else how for state, how in fact.is_.items()}
    record = next(one for kind, ident, one in loose_traits(entries, home) if (kind, ident) == (home, trait.id))
    return read_reading(is_(max(often, key=lambda state: often[state])), record)


def told(entries: Entries, part: str, session: Session) -> Session:
    """The session with the truthful answer to every question it asks, second looks included."""
    for _ in range(40):
        asked = session.to_ask
        if asked is None:
            return session
        question, trait = asked.question, session.compiled.traits[asked.question.trait]
        reading = truthful(entries, part, session, question.trait)
        if isinstance(reading, Measured) and question.cut is not None:
            more = reading.value > question.cut
            reading = Between(question.cut, float("inf")) if more else Between(float("-inf"), question.cut)
        elif isinstance(reading, Seen) and question.form in ("yes-no", "again"):
            sides = [frozenset(trait.states[k] for k in outcome) for outcome in question.outcomes]
            reading = Seen(next(side for side in sides if reading.states <= side))
        session = session.reply(question, reading)
    raise AssertionError(f"{part}: asked without end")


def parts() -> list[str]:
    return sorted(path.stem for path in (ENTRIES / "parts").glob("*/*.yaml") if path.stem != "slot-type")


@pytest.mark.parametrize("part", parts())
def test_every_part_is_found_by_its_questions(part: str, demonstration: Entries, sessions: dict[str | None, Session]) -> None:
    """From its slot type, and from no idea at all: the part, or one that the record does not tell from it."""
    for home in (demonstration.home["part", part], None):
        session = told(demonstration, part, sessions[home])
        assert session.variants[0][0] in {part, *session.inseparable}, session.variants[:3]
        assert part in (session.variants[0][0], *session.inseparable)
        assert session.settled or dict(session.variants)[part] > 0.5


def test_the_sort_is_asked_first(sessions: dict[str | None, Session]) -> None:
    asked = sessions[None].to_ask
    assert asked is not None
    assert sessions[None].compiled.traits[asked.question.trait].id == SORT
    assert asked.question.form == "choice"


def test_views_leave_the_sort(demonstration: Entries) -> None:
    """What sort of part it is can be seen in any photograph."""
    session = start_part(demonstration, views=["end"])
    compiled = session.compiled
    assert session.to_ask is not None
    session = answered(session, demonstration, None, {SORT: is_("coupler")}, part=True)
    assert session.to_ask is not None
    assert {compiled.views[compiled.traits[one.question.trait].view] for one in session.proposals} == {"end"}


def test_whoever_cannot_tell_the_sort_is_asked_about_all(demonstration: Entries, sessions: dict[str | None, Session]) -> None:
    session = answered(sessions[None], demonstration, None, {SORT: is_("cannot-tell")}, part=True)
    found = {session.compiled.traits[one.question.trait].family for one in session.proposals}
    assert len(found) > 10


def test_no_recorded_sort_is_not_in_the_record(demonstration: Entries, sessions: dict[str | None, Session]) -> None:
    session = answered(sessions[None], demonstration, None, {SORT: is_("something else")}, part=True)
    assert session.leading[0] == [NOT_IN_THE_RECORD]
    assert session.settled


@pytest.fixture
def of(demonstration: Entries, sessions: dict[str | None, Session]) -> Callable[..., Session]:
    def found(home: str, **said: str) -> Session:
        answers = {key.replace("_", "-"): is_(value) for key, value in said.items()}
        return answered(sessions[home], demonstration, home, answers, part=True)

    return found


def test_a_mix_of_two_parts_is_not_in_the_record(of: Callable[..., Session]) -> None:
    """One geared axle, hexagonal caps and an A in a diamond: no recorded motor has two of the three."""
    session = of("motor", gearing="single", brush_plate="hex-caps", motor_mark="diamond-a", field_resistance="8.0 +- 0.1 ohm")
    assert session.variants[0][0] == NOT_IN_THE_RECORD


def test_a_foreign_part_is_told_by_its_mark(of: Callable[..., Session]) -> None:
    session = of("motor", gearing="twin", brush_plate="flat-caps", motor_mark="diamond-a")
    assert session.variants[0][0] == "ashgrove-twin"
    assert session.settled
