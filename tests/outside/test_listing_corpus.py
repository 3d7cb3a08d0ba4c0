"""The sellers' texts in `listings/` and the claims marked in them by hand: the marks keep their own rules and name real records.

The texts and their marks were written by hand for the invented demonstration, without the program that is to read them,
and follow the rules in `listings/README.md`.  No published corpus stands behind them; nothing here measures a reader.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field
from ruamel.yaml import YAML
from tellmark.kb.cache import sound
from tellmark.kb.load import Entries
from tellmark.kb.models import Trait
from tellmark.kb.resolve import slots_of, stated, traits_of

ROOT = Path(__file__).parents[2]
LISTINGS = Path(__file__).parent / "listings"
#: What a program is written with, what it is written with later (by other hands, in harder voices), and what it is measured on.
FOLDERS = ("seen", "practice", "held-out")
PATHS = sorted(path for folder in FOLDERS for path in (LISTINGS / folder).glob("*.yaml"))

Kind = Literal[
    "number", "year", "name", "state", "measure", "part", "condition", "defect", "price", "shipping", "hedge"
]  # fmt: skip
KINDS = ("number", "year", "name", "state", "measure", "part", "condition", "defect", "price", "shipping", "hedge")
#: Value of one unit in the unit a trait is measured in. Inch, pound and ounce: international yard and pound agreement, 1959.
UNITS = {
    "mm": {"mm": 1.0, "cm": 10.0, "in": 25.4},
    "g": {"g": 1.0, "oz": 28.349523125, "lb": 453.59237},
    "V": {"V": 1.0},
    "W": {"W": 1.0},
    "ohm": {"ohm": 1.0},
}


class Claim(BaseModel):
    """One stretch of a text and what it says."""

    model_config = ConfigDict(extra="forbid", strict=True)
    quote: str = Field(min_length=1)
    occurrence: int = Field(default=1, ge=1)
    kind: Kind
    says: str = Field(min_length=1)
    denied: bool = False
    hedged: bool = False


class Listing(BaseModel):
    """One file."""

    model_config = ConfigDict(extra="forbid", strict=True)
    voice: str = Field(min_length=1)
    about: str = Field(min_length=1)
    text: str = Field(min_length=1)
    claims: list[Claim] = Field(min_length=1)


@cache
def listing(path: Path) -> Listing:
    return Listing.model_validate(YAML(typ="safe").load(path.read_text("utf-8")))


def spans(one: Listing) -> Iterator[tuple[int, int, Claim]]:
    """Where each quote stands; a start of -1 when the text does not hold it that often."""
    for claim in one.claims:
        start = -1
        for _ in range(claim.occurrence):
            start = one.text.find(claim.quote, start + 1)
            if start < 0:
                break
        yield start, start + len(claim.quote), claim


@cache
def entries() -> Entries:
    return sound(ROOT / "entries")[0]


@cache
def words(heading: str) -> frozenset[str]:
    """The words that the README lists under a heading, as ``- `word`: meaning``."""
    section = (LISTINGS / "README.md").read_text("utf-8").split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    return frozenset(
        word for row in re.findall(r"^- ((?:`[^`]+`(?:, )?)+)", section, re.M) for word in re.findall(r"`([^`]+)`", row)
    )


@cache
def traits() -> dict[str, list[Trait]]:
    """Every trait by the id an answer uses, and by slot type for parts that lie loose; families may share an id."""
    found: dict[str, list[Trait]] = {}
    for family in entries().families:
        for ident, trait in traits_of(entries(), family).items():
            found.setdefault(ident, []).append(trait)
    for kind, slot_type in entries().slot_types.items():
        for ident, trait in slot_type.traits.items():
            found.setdefault(f"{kind}.{ident}", []).append(trait)
    return found


@cache
def shown() -> dict[str, frozenset[str]]:
    """For each trait, what some variant is recorded to show."""
    found: dict[str, set[str]] = {}
    for variant in entries().variants:
        for trait, fact in stated(entries(), variant).shows.items():
            found.setdefault(trait, set()).update(str(value) for value in fact.is_)
    return {trait: frozenset(values) for trait, values in found.items()}


@cache
def numbers() -> frozenset[str]:
    """Catalog numbers of variants and sets, whole and before the hyphen, and every painted or printed number."""
    catalog = {stated(entries(), variant).catalog_number or "" for variant in entries().variants}
    painted = {
        value for trait, values in shown().items() for value in values if all(one.marking for one in traits().get(trait, []))
    }
    sets = {one.catalog_number or "" for one in entries().sets.values()}
    return frozenset((catalog | sets | painted | {number.split("-")[0] for number in catalog}) - {""})


@cache
def slots() -> dict[str, frozenset[str]]:
    """Which slot types a slot can have, by slot of any family and by slot type for parts that lie loose."""
    found: dict[str, set[str]] = {kind: {kind} for kind in entries().slot_types}
    for family in entries().families:
        for ident, slot in slots_of(entries(), family).items():
            found.setdefault(ident, set()).update({slot.type} if slot.type else set())
    return {ident: frozenset(types) for ident, types in found.items()}


@cache
def names() -> frozenset[str]:
    data = entries()
    kinds = {f"{family}/{kind}" for family, record in data.families.items() for kind in record.kinds}
    batches = {f"batch-{stated(data, variant).batch}" for variant in data.variants} - {"batch-None"}
    return frozenset({*data.liveries, *data.makers, *data.families, *data.sets, *kinds, *batches})


@cache
def damage() -> frozenset[str]:
    return frozenset(spot for family in entries().families.values() for spot in family.damage)


def good_number(says: str) -> bool:
    return says in numbers()


def good_year(says: str) -> bool:
    years = [int(year) for year in says.split("..")] if re.fullmatch(r"\d{4}(\.\.\d{4})?", says) else []
    return years != [] and years == sorted(years) and years[0] >= 1947 and years[-1] <= 1974


def good_state(says: str) -> bool:
    trait, _, state = says.partition("=")
    return any(state in (record.states or {}) for record in traits().get(trait, [])) or (
        any(record.marking for record in traits().get(trait, [])) and state in shown().get(trait, ())
    )


def good_measure(says: str) -> bool:
    match = re.fullmatch(r"([a-z.-]+)=(\d+(?:\.\d+)?) ([A-Za-z]+)", says)
    if match is None:
        return False
    trait, value, unit = match.groups()
    measured = [record.measured for record in traits().get(trait, []) if record.measured]
    return any(one.least <= float(value) * UNITS[one.unit].get(unit, 0) <= one.most for one in measured)


def good_part(says: str) -> bool:
    slot, equals, part = says.partition("=")
    return slot in slots() and (not equals or (part in entries().parts and entries().home["part", part] in slots()[slot]))


def good_price(says: str) -> bool:
    return re.fullmatch(r"\d+(\.\d\d)?(\.\.\d+(\.\d\d)?)? USD", says) is not None


CHECKS: dict[str, Callable[[str], bool]] = {
    "number": good_number,
    "year": good_year,
    "name": lambda says: says in names(),
    "state": good_state,
    "measure": good_measure,
    "part": good_part,
    "condition": lambda says: says in words("Condition"),
    "defect": lambda says: says in words("Defect") or says in damage(),
    "price": good_price,
    "shipping": lambda says: says in words("Shipping") or (good_price(says) and ".." not in says),
    "hedge": lambda says: says in words("Hedge"),
}

each = pytest.mark.parametrize("path", PATHS, ids=lambda path: path.relative_to(LISTINGS).as_posix())


@each
def test_quotes_stand_in_the_text_in_reading_order(path: Path) -> None:
    end, last = 0, (0, 0)
    for start, stop, claim in spans(listing(path)):
        assert start >= 0, claim
        assert start >= end or (start, stop) == last, f"overlaps or out of order: {claim}"
        end, last = stop, (start, stop)


@each
def test_quotes_begin_and_end_with_a_word(path: Path) -> None:
    text = listing(path).text
    for start, stop, claim in spans(listing(path)):
        before, after = text[start - 1 : start], text[stop : stop + 1]
        assert not (before.isalpha() and text[start].isalpha()), claim
        assert not (after.isalpha() and text[stop - 1].isalpha()), claim
        assert not (after.isdigit() and text[stop - 1].isdigit()), claim


@each
def test_what_is_said_is_in_the_records_or_the_lists(path: Path) -> None:
    said = [(claim, says) for claim in listing(path).claims for says in claim.says.split("|")]
    assert [claim for claim, says in said if not CHECKS[claim.kind](says)] == []


@each
def test_a_hedged_claim_has_its_hedge_in_the_text(path: Path) -> None:
    claims = listing(path).claims
    assert not any(claim.denied or claim.hedged for claim in claims if claim.kind in ("hedge", "price", "shipping"))
    if any(claim.hedged for claim in claims):
        assert {"unsure", "hearsay"} & {claim.says for claim in claims if claim.kind == "hedge"}


@each
def test_figures_of_numbers_and_prices_are_those_of_the_quote(path: Path) -> None:
    for claim in listing(path).claims:
        if claim.kind == "number":
            assert re.sub(r"\D", "", claim.quote) == re.sub(r"\D", "", claim.says), claim
        if claim.kind in ("price", "shipping") and "USD" in claim.says and (found := re.search(r"\d[\d,.]*", claim.quote)):
            figure = float(found[0].replace(",", "").rstrip("."))
            assert figure == float(claim.says.split()[0].split("..")[0]), claim


def test_every_file_of_the_folder_is_checked() -> None:
    assert sorted(path.name for path in LISTINGS.rglob("*") if path.is_file()) == sorted(
        ["README.md", *(path.name for path in PATHS)]
    )


def test_a_third_is_held_out_and_there_are_enough() -> None:
    count = Counter(path.parent.name for path in PATHS)
    assert count["seen"] >= 44
    assert count["held-out"] >= 22
    assert 0.3 <= count["held-out"] / (count["seen"] + count["held-out"]) <= 0.37


@pytest.mark.parametrize("folder", FOLDERS)
@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_common_enough(folder: str, kind: str) -> None:
    claims = [claim for path in PATHS if path.parent.name == folder for claim in listing(path).claims]
    assert sum(claim.kind == kind for claim in claims) >= 10


@pytest.mark.parametrize("folder", FOLDERS)
def test_negations_hedges_and_later_occurrences_are_common_enough(folder: str) -> None:
    claims = [claim for path in PATHS if path.parent.name == folder for claim in listing(path).claims]
    assert sum(claim.denied for claim in claims) >= 15
    assert sum(claim.hedged for claim in claims) >= 10
    assert any(claim.occurrence > 1 for claim in claims)


@pytest.mark.parametrize("folder", FOLDERS)
def test_lengths_and_voices_vary(folder: str) -> None:
    texts = [listing(path) for path in PATHS if path.parent.name == folder]
    lengths = sorted(len(one.text.split()) for one in texts)
    assert lengths[0] <= 15
    assert lengths[-1] >= 250
    assert len({one.voice for one in texts}) >= 12


def test_no_two_texts_are_alike() -> None:
    """Fewer than a tenth of the runs of three words are shared."""

    def runs(path: Path) -> set[tuple[str, ...]]:
        row = re.findall(r"[a-z0-9]+", listing(path).text.lower())
        return {tuple(row[at : at + 3]) for at in range(len(row) - 2)}

    all_runs = {path: runs(path) for path in PATHS}
    alike = [
        (a.name, b.name)
        for a, b in combinations(PATHS, 2)
        if len(all_runs[a] & all_runs[b]) * 10 >= len(all_runs[a] | all_runs[b])
    ]
    assert alike == []
