"""What the trade knows of changed parts, checked on the packaged demonstration.  Common practice, no source."""

from pathlib import Path

import pytest
from tellmark.kb.load import Entries, load
from tellmark.kb.resolve import living, stated

ENTRIES = Path(__file__).parents[2] / "entries"


@pytest.fixture(scope="module")
def demonstration() -> Entries:
    loaded = load(ENTRIES)
    assert loaded.findings == []
    return loaded.entries


def test_a_powered_end_unit_has_no_front_coupler(demonstration: Entries) -> None:
    """Common practice, no source: a nose that leads a train couples to nothing."""
    powered = [one for one in (stated(demonstration, ident) for ident in living(demonstration)) if one.kind == "powered-a"]
    assert len(powered) >= 10
    assert {(one.id, *one.fitted["front-coupler"].is_) for one in powered} == {(one.id, "none") for one in powered}


def test_what_is_screwed_on_is_changed_most(demonstration: Entries) -> None:
    """Common practice, no source: more is changed of what a screwdriver takes off than of what is clipped, riveted or molded."""
    order = ["molded", "riveted", "clipped", "screwed"]
    shares = [demonstration.about.fastened[one] for one in order]
    assert shares == sorted(shares)
    assert len(set(shares)) == len(order)
    assert shares[-1] == max(demonstration.about.fastened.values())


def test_gears_and_tires_date_a_motor(demonstration: Entries) -> None:
    """Common practice, no source: one geared axle before two, and traction tires last."""
    own = {ident: demonstration.parts[ident] for ident in ("single-gear", "twin-gear", "twin-gear-tire")}
    looks = [(next(iter(one.shows["gearing"].is_)), next(iter(one.shows["traction"].is_))) for one in own.values()]
    assert len(set(looks)) == len(looks)
    begun = [one.made.first for one in own.values() if one.made]
    ended = [one.made.last for one in own.values() if one.made]
    assert (begun, ended) == (sorted(begun), sorted(ended))
    assert len(set(begun)) == len(own)
