"""What the trade knows, checked on the packaged demonstration.

Each fact is common practice, no source, unless a standard is named.  Standards, both figures from memory: NMRA S-3.2 (O
gauge track, 1.250 to 1.285 in between the rails) and NEM 010 (gauge 0: 32 mm).
"""

from pathlib import Path
from typing import NamedTuple

import click
import pytest
from tellmark.cli.common import entries_root
from tellmark.identify.session import Session
from tellmark.identify.start import answered, start
from tellmark.kb.load import Entries, load
from tellmark.kb.resolve import living, moved, stated
from tellmark.kb.values import Answer, Measure, read_measure

ENTRIES = Path(__file__).parents[2] / "entries"
FAMILY = "cab-diesel-420"
ENDS = ("front-coupler", "rear-coupler")


class Booster(NamedTuple):
    """A trailing B in a set: the couplers fitted to it there."""

    set: str
    position: int
    units: int
    front: str
    rear: str


@pytest.fixture(scope="module")
def demonstration() -> Entries:
    loaded = load(ENTRIES)
    assert loaded.findings == []
    return loaded.entries


@pytest.fixture(scope="module")
def boosters(demonstration: Entries) -> list[Booster]:
    """Every trailing B of every set of locomotive units."""
    found: list[Booster] = []
    for ident, one in demonstration.sets.items():
        for number, position in enumerate(one.positions, 1):
            now = [variant for written in position.variants for variant in moved(demonstration, written)]
            if all(stated(demonstration, variant).kind == "trailing-b" for variant in now):
                front, rear = ("+".join(position.fitted[end].is_) for end in ENDS)
                found.append(Booster(ident, number, len(one.positions), front, rear))
    return found


def test_the_demonstration_is_found_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TELLMARK_ENTRIES", raising=False)
    root = entries_root(click.Context(click.Command("identify")), None)
    assert (root / "knowledge-base.yaml").read_text("utf-8") == (ENTRIES / "knowledge-base.yaml").read_text("utf-8")


# Couplers give away the place in the set ---------------------------------------------------------------------------------


def test_a_b_at_the_end_has_different_couplers_and_one_in_the_middle_the_same(boosters: list[Booster]) -> None:
    """Common practice, no source: the last unit pulls the cars, so its rear coupler opens; the middle one is tied both ways."""
    of_two = [one for one in boosters if one.units == 2]
    of_three = [one for one in boosters if one.units == 3]
    assert len(of_two) >= 3
    assert len(of_three) >= 5
    assert [one for one in of_two if one.position != 2 or one.front == one.rear] == []
    assert [one for one in of_three if one.position != 2 or one.front != one.rear] == []


def test_at_the_end_the_coupler_in_front_is_fixed_and_the_one_behind_opens(
    demonstration: Entries, boosters: list[Booster]
) -> None:
    jaws = {
        part: set(demonstration.parts[part].shows["jaw"].is_)
        for part in {one.front for one in boosters} | {one.rear for one in boosters}
    }
    for one in boosters:
        assert jaws[one.front] == {"fixed"}, one
        assert jaws[one.rear] == ({"opening"} if one.units == 2 else {"fixed"}), one


def of_sets(session: Session, ids: set[str]) -> float:
    """The chance that the unit came from one of these sets."""
    return sum(chance for ident, _, chance in session.positions if ident in ids)


@pytest.mark.parametrize(("units", "other"), [(2, 3), (3, 2)])
def test_the_couplers_of_a_b_lead_to_the_kind_of_set(
    units: int, other: int, demonstration: Entries, boosters: list[Booster]
) -> None:
    """Whatever couplers a B had in sets of two or of three: answering them moves the set of origin there."""
    begin = start(demonstration, FAMILY, target="set")
    begin = answered(begin, demonstration, FAMILY, {"body-shape": Answer.model_validate({"is": "flat-ended-booster"})})
    mine = {one.set for one in boosters if one.units == units}
    others = {one.set for one in boosters if one.units == other}
    for front, rear in {(one.front, one.rear) for one in boosters if one.units == units}:
        said = {"front-coupler": Answer.model_validate({"is": front}), "rear-coupler": Answer.model_validate({"is": rear})}
        after = answered(begin, demonstration, FAMILY, said)
        odds = [of_sets(session, mine) / of_sets(session, others) for session in (begin, after)]
        assert odds[1] > 10 * odds[0], (front, rear)
        assert of_sets(after, mine) > 0.8, (front, rear)


def in_two_sets(entries: Entries) -> dict[str, set[str]]:
    """Trailing Bs that sat in sets of both kinds: only the couplers can tell which."""
    sets: dict[str, set[str]] = {}
    for ident, one in entries.sets.items():
        for position in one.positions:
            for written in position.variants:
                sets.setdefault(written, set()).add(ident)
    kinds = {variant: stated(entries, variant).kind for variant in living(entries)}
    return {variant: found for variant, found in sets.items() if kinds.get(variant) == "trailing-b" and len(found) > 1}


def test_the_same_b_is_placed_by_its_couplers_alone(demonstration: Entries, boosters: list[Booster]) -> None:
    both = in_two_sets(demonstration)
    assert len(both) >= 2, "the demonstration should have such units"
    begin = start(demonstration, FAMILY, target="set")
    for variant, found in both.items():
        for one in (one for one in boosters if one.set in found):
            said = {end: Answer.model_validate({"is": part}) for end, part in zip(ENDS, (one.front, one.rear), strict=True)}
            session = answered(begin, demonstration, FAMILY, said)
            at = [c for c in range(session.compiled.candidates) if session.compiled.label(c) == variant]
            best = max(at, key=lambda c: float(session.belief.probability[c]))
            assert session.compiled.sets[session.compiled.set_of[best]] == one.set
            assert session.belief.probability[best] > 0.9 * sum(session.belief.probability[c] for c in at)


# Gauge and scale -------------------------------------------------------------------------------------------------------

GAUGE_LEAST, GAUGE_MOST = 1.250, 1.285
NEM_GAUGE_0 = 32.0
MM_PER_FOOT = 304.8
#: A cab diesel of the 1950s is about 50 ft long (15 m).
PROTOTYPE_FEET = 50.0


@pytest.mark.parametrize("written", ["1.25 in", "1 1/4 in", '1.25"', "5/4 in"])
def test_o_gauge_in_inches_and_millimeters(written: str) -> None:
    """Both standards describe one track: 32 mm lies within the range in inches, whose least is 31.75 mm."""
    measure = read_measure(written)
    assert measure is not None
    assert measure.to("mm").value == pytest.approx(31.75, abs=1e-9)
    assert GAUGE_LEAST <= Measure(NEM_GAUGE_0, None, "mm").to("in").value <= GAUGE_MOST
    assert measure.to("mm").value <= NEM_GAUGE_0 <= Measure(GAUGE_MOST, None, "in").to("mm").value


def lengths(entries: Entries) -> dict[str, float]:
    """The body length of every variant in millimeters."""
    found: dict[str, float] = {}
    for variant in living(entries):
        fact = stated(entries, variant).shows.get("body-length")
        if fact and entries.family_of(variant) == FAMILY:
            (written,) = fact.is_
            measure = read_measure(written)
            assert measure is not None
            found[variant] = measure.to("mm").value
    return found


def test_bodies_on_o_gauge_track_are_shorter_than_the_track_would_have_them(demonstration: Entries) -> None:
    """Common practice, no source: a body on O gauge track may be built down to 1:64 in length, where full size is 1:48."""
    found = lengths(demonstration)
    assert len(found) >= 30
    scales = {variant: PROTOTYPE_FEET * MM_PER_FOOT / length for variant, length in found.items()}
    assert {variant: scale for variant, scale in scales.items() if not 48 < scale <= 64} == {}
