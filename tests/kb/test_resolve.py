"""What a variant says once everything it leans on is counted in, and what parts and traits a family has."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from tellmark.kb.check import check
from tellmark.kb.load import Entries
from tellmark.kb.resolve import lineage, living, moved, number, parts_for, shares, slots_of, stated, traits_of, views_of
from tellmark.kb.values import Fact, Years

FAMILY = """\
name: Bus
kinds:
  motor: {name: Motor bus, shows: {c: kind, d: kind, e: kind}, fitted: {wheels: solid, door: hinged}}
slots:
  wheels: {name: Wheels, type: wheel}
  rear: {name: Rear wheels, type: wheel}
  door: {name: Door, type: door}
shows: {a: family, b: family, c: family, d: family, e: family, f: family}
views:
  side: {name: Side at arm's length, effort: 2}
  roof: {name: Roof, effort: 1}
"""
STATES = "states: {family: F, livery: L, kind: K, like: I, own: O}"
BUS = {
    "traits.yaml": "".join(f"{name}: {{name: {name}, view: side, {STATES}}}\n" for name in "abcdef"),
    "families/bus/family.yaml": FAMILY,
    "liveries.yaml": "gull: {name: Gull, shows: {b: livery, c: livery, d: livery, e: livery}}\n",
    "families/bus/variants/first.yaml": (
        "name: First\nkind: motor\nlivery: gull\nmade: 1950..1952\nbatch: 1\nhow_common: rare\nabout: The first.\n"
        "sources: [notes]\nshows: {d: like, e: like}\nfitted: {wheels: open}\n"
    ),
    "families/bus/variants/second.yaml": "name: Second\nlike: first\nbatch: 2\nshows: {e: own}\n",
    "families/bus/variants/third.yaml": "name: Third\nlike: second\nshows: {a: unknown, e: unknown}\nfitted: {door: unknown}\n",
    "families/bus/sets/pair.yaml": "name: Pair\npositions: [{variants: first, fitted: {rear: solid}}]\n",
    "parts/wheel/solid.yaml": "name: Solid wheel\n",
    "parts/wheel/open.yaml": "name: Open wheel\n",
    "parts/wheel/spare.yaml": "name: Spare wheel\nfits: {bus: [rear]}\n",
    "parts/door/slot-type.yaml": "name: Door\n",
    "parts/door/hinged.yaml": "name: Hinged door\n",
}
TRAM = [
    "families/tram/family.yaml", "families/tram/variants/gull-a.yaml", "families/tram/variants/gull-b.yaml",
    "families/tram/sets/gull-pair.yaml", "sightings/tram/shelf-1.yaml", "sales/2021.csv", "parts/wheel/spoked.yaml",
    "parts/wheel/disc.yaml",
]  # fmt: skip


@pytest.fixture
def bus(folder: Callable[..., Path]) -> Entries:
    """One family whose traits `a` to `f` are said by ever more of what a variant inherits from."""
    entries, findings = check(folder(dict.fromkeys(TRAM) | BUS))
    assert findings == []
    return entries


def shown(facts: Mapping[str, Fact]) -> dict[str, list[str]]:
    return {name: [*fact.is_] for name, fact in facts.items()}


def test_each_thing_inherited_from_outweighs_the_one_before(bus: Entries) -> None:
    """Family, then livery, then kind, then what it is like, then its own words."""
    assert shown(stated(bus, "second").shows) == {
        "a": ["family"], "b": ["livery"], "c": ["kind"], "d": ["like"], "e": ["own"], "f": ["family"]
    }  # fmt: skip
    assert shown(stated(bus, "second").fitted) == {"wheels": ["open"], "door": ["hinged"]}


def test_unknown_takes_back_what_would_be_inherited(bus: Entries) -> None:
    third = stated(bus, "third")
    assert shown(third.shows) == {"b": ["livery"], "c": ["kind"], "d": ["like"], "f": ["family"]}
    assert shown(third.fitted) == {"wheels": ["open"]}


def test_fields_come_down_the_line_but_words_about_one_do_not(bus: Entries) -> None:
    third = stated(bus, "third")
    inherited = (third.kind, third.livery, third.batch, third.made, third.how_common)
    assert inherited == ("motor", "gull", 2, Years(1950, 1952), "rare")
    assert (third.name, third.about, third.sources, third.family) == ("Third", None, {}, "bus")


@pytest.mark.parametrize(
    ("changes", "start", "row"),
    [
        ({}, "third", ["Third", "Second", "First"]),
        ({"families/bus/variants/first.yaml": "name: First\nkind: motor\nlike: first\n"}, "second", ["Second", "First"]),
        ({"families/bus/variants/first.yaml": "name: First\nkind: motor\nlike: third\n"}, "first", ["First", "Third", "Second"]),
        ({"families/bus/variants/second.yaml": "name: Second\nlike: gone\n"}, "third", ["Third", "Second"]),
        ({}, "gone", []),
    ],
    ids=["to-the-end", "like-itself", "in-a-ring", "dangling", "nobody"],
)
def test_lineage(changes: dict[str, str], start: str, row: list[str], folder: Callable[..., Path]) -> None:
    entries, _ = check(folder(dict.fromkeys(TRAM) | BUS | changes))
    assert [variant.name for variant in lineage(entries, start)] == row


@pytest.mark.parametrize(
    ("ident", "now"),
    [
        ("first", ["first"]),
        ("old", ["first"]),
        ("older", ["first"]),
        ("both", ["first", "second"]),
        ("all", ["first", "second", "third"]),
        ("twice", ["first"]),
        ("ring", []),
        ("gone", []),
    ],
)
def test_moved(ident: str, now: list[str], folder: Callable[..., Path]) -> None:
    """Over any number of signposts, each place once."""
    signposts = {
        "old": "moved_to: first",
        "older": "moved_to: old",
        "both": "split_into: [first, second]",
        "all": "split_into: [old, both, third]",
        "twice": "split_into: [old, first]",
        "ring": "moved_to: gnir",
        "gnir": "moved_to: ring",
    }
    files = {f"families/bus/variants/{name}.yaml": text for name, text in signposts.items()}
    entries, _ = check(folder(dict.fromkeys(TRAM) | BUS | files))
    assert sorted(moved(entries, ident)) == now
    assert living(entries) == ["first", "second", "third"]


WORDS = {"usual": 0.8, "sometimes": 0.2, "rarely": 0.04, "never": 0.0}


@pytest.mark.parametrize(
    ("choices", "expected"),
    [
        ({"a": "usual"}, {"a": 0.8}),
        ({"a": 1.0}, {"a": 1.0}),
        ({"a": "usual", "b": "sometimes"}, {"a": 0.8, "b": 0.2}),
        ({"a": "usual", "b": "usual"}, {"a": 0.5, "b": 0.5}),
        ({"a": 0.8, "b": "usual", "c": 0.4}, {"a": 0.4, "b": 0.4, "c": 0.2}),
        ({"a": "never", "b": 0.0}, {"a": 0.0, "b": 0.0}),
        ({"a": "never", "b": "rarely"}, {"a": 0.0, "b": 1.0}),
        ({}, {}),
    ],
    ids=["one-keeps-its-number", "one-number", "whole", "more-than-whole", "mixed", "all-zero", "one-zero", "none"],
)
def test_shares(choices: dict[str, str | float], expected: dict[str, float]) -> None:
    assert shares(WORDS, choices) == pytest.approx(expected, rel=1e-12)


def test_number_of_an_unknown_word() -> None:
    with pytest.raises(KeyError, match="mostly"):
        number(WORDS, "mostly")


def test_traits_of_a_family(folder: Callable[..., Path]) -> None:
    """Common ones, its own, and those of each slot's parts, which belong to that slot."""
    change = [("  wheels: {", "  pilot: {name: Pilot wheels, type: wheel}\n  wheels: {")]
    entries, _ = check(folder({"families/tram/family.yaml": change}))
    assert {ident: trait.slot for ident, trait in traits_of(entries, "tram").items()} == {
        "stripe": "finish",
        "roof": "body",
        "length": "body",
        "number": "body",
        "pilot.rim": "pilot",
        "wheels.rim": "wheels",
    }
    assert list(traits_of(entries, "nobody")) == ["stripe"]


def test_slots_and_views_of_a_family(bus: Entries) -> None:
    assert list(slots_of(bus, "bus")) == ["body", "finish", "wheels", "rear", "door"]
    assert list(slots_of(bus, "nobody")) == ["body", "finish"]
    assert {ident: view.effort for ident, view in views_of(bus, "bus").items()} == {"side": 2, "below": 2, "roof": 1}
    assert {ident: view.effort for ident, view in views_of(bus, None).items()} == {"side": 1, "below": 2}


@pytest.mark.parametrize(
    ("slot", "parts"),
    [("wheels", ["open", "solid"]), ("rear", ["solid", "spare"]), ("door", ["hinged"]), ("body", [])],
    ids=["variant-and-kind", "set-and-fits", "kind", "no-part-at-all"],
)
def test_parts_for(slot: str, parts: list[str], bus: Entries) -> None:
    """Those that say they fit, and those that a kind, a variant or a set position has there."""
    assert parts_for(bus, "bus", slot) == parts
