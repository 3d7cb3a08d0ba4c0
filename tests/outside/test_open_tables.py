"""Tables that others published, imported as they are.

Zoo: R. S. Forsyth, Zoo, UCI Machine Learning Repository (1990).  Iris: R. A. Fisher, The use of multiple measurements in
taxonomic problems, Annals of Eugenics 7 (1936), 179-188.  Both as the package orange3 carries them, whose files have two
more header lines (types and flags), which are cut out.  Weather: J. R. Quinlan, Induction of Decision Trees, Machine
Learning 1 (1986), 81-106, table 1.
"""

import csv
from collections.abc import Callable
from importlib.metadata import distribution
from pathlib import Path

import pytest
from tellmark.kb.check import check
from tellmark.kb.imported import Imported, Wishes, import_table
from tellmark.kb.load import Entries

WEATHER = """\
outlook,temperature,humidity,windy,play
sunny,hot,high,false,no
sunny,hot,high,true,no
overcast,hot,high,false,yes
rain,mild,high,false,yes
rain,cool,normal,false,yes
rain,cool,normal,true,no
overcast,cool,normal,true,yes
sunny,mild,high,false,no
sunny,cool,normal,false,yes
rain,mild,normal,false,yes
sunny,mild,normal,true,yes
overcast,mild,high,true,yes
overcast,hot,normal,false,yes
rain,mild,high,true,no
"""

Made = tuple[Imported, Entries]
Make = Callable[[str, Wishes], Made]


@pytest.fixture
def published(tmp_path: Path) -> Make:
    """Imports a table of orange3 with these wishes; the entries pass their check."""

    def made(name: str, wishes: Wishes) -> Made:
        source = Path(str(distribution("orange3").locate_file(f"Orange/datasets/{name}.tab")))
        header, _, _, *rows = source.read_text("utf-8").splitlines()
        table = tmp_path / f"{name}.csv"
        with table.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(line.split("\t") for line in [header, *rows])
        return _made(str(table), tmp_path / name, wishes)

    return made


def _made(table: str, into: Path, wishes: Wishes, piped: bytes = b"") -> Made:
    imported = import_table(table, into, wishes, piped)
    entries, findings = check(into)
    assert findings == []
    return imported, entries


def test_zoo(published: Make) -> None:
    """101 animals with two frogs; 59 rows differ apart from name and type."""
    imported, entries = published("zoo", Wishes(name_column="name", leave_out=["type"]))
    groups = imported.inseparable()
    assert len(entries.variants) == 101
    assert 101 - sum(len(group) - 1 for group in groups) == 59
    assert [entries.variants[ident].name for ident in ("frog", "frog-2")] == ["frog", "frog"]
    traits = entries.families["zoo"].traits
    legs = traits.pop("legs")
    assert list(legs.states or ()) == ["0", "2", "4", "5", "6", "8"]
    assert [list(trait.states or ()) for trait in traits.values()] == [["yes", "no"]] * 15
    assert {trait: "".join(fact.is_) for trait, fact in entries.variants["frog-2"].shows.items()} == {
        **dict.fromkeys(["hair", "feathers", "milk", "airborne", "fins", "tail", "domestic", "catsize"], "no"),
        **dict.fromkeys(["eggs", "aquatic", "predator", "toothed", "backbone", "breathes", "venomous"], "yes"),
        "legs": "4",
    }
    # The two frogs differ in one thing: one of them is venomous.
    assert not any({"frog", "frog-2"} <= {*group} for group in groups)


def test_iris(published: Make) -> None:
    """150 flowers in four lengths, each to the nearest 0.1 cm."""
    imported, entries = published("iris", Wishes(family="Iris", name_column="iris"))
    assert len(entries.variants) == 150
    measured = {ident: trait.measured for ident, trait in entries.families["iris"].traits.items()}
    assert {ident: one and (one.least, one.most) for ident, one in measured.items()} == {
        "sepal-length": (3.9, 8.3),
        "sepal-width": (1.7, 4.7),
        "petal-length": (0.4, 7.5),
        "petal-width": (0.0, 2.8),
    }
    assert {column.tolerance for column in imported.columns} == {"+- 0.05, estimated from the places written"}
    assert [*entries.variants["iris-setosa"].shows["petal-width"].is_] == ["0.2 +- 0.05"]
    # The one pair of virginicas known to be alike in all four; whatever else is listed is alike in the file as well.
    assert ["iris-virginica-2", "iris-virginica-43"] in imported.inseparable()
    shown = {ident: tuple("".join(fact.is_) for fact in one.shows.values()) for ident, one in entries.variants.items()}
    assert 150 - sum(len(group) - 1 for group in imported.inseparable()) == len(set(shown.values()))


def test_iris_as_a_spreadsheet_with_decimal_commas_saves_it(published: Make, tmp_path: Path) -> None:
    """Semicolons between cells, commas before decimals, no .0: the same knowledge base."""
    plain, _ = published("iris", Wishes(family="Iris", name_column="iris"))
    lines = (tmp_path / "iris.csv").read_text("utf-8").splitlines()
    text = "\n".join(line.replace(",", ";").replace(".0;", ";").replace(".", ",") for line in lines)
    other, _ = _made("-", tmp_path / "other", Wishes(family="Iris", name_column="iris"), text.encode())
    assert [column.tolerance for column in other.columns] == [column.tolerance for column in plain.columns]
    assert [column.looks() for column in other.columns] == [column.looks() for column in plain.columns]
    assert other.inseparable() == plain.inseparable()
    assert (other.unknown, other.not_measured) == ({}, [])


def test_weather(tmp_path: Path) -> None:
    """14 days of which no two are alike, named by whether there was play."""
    imported, entries = _made("-", tmp_path / "made", Wishes(name_column="play"), WEATHER.encode())
    yes = ["yes", *(f"yes-{number}" for number in range(2, 10))]
    assert [*entries.variants] == ["no", "no-2", *yes[:3], "no-3", yes[3], "no-4", *yes[4:], "no-5"]
    assert {column.id: list(column.trait.states or ()) for column in imported.columns} == {
        "outlook": ["sunny", "overcast", "rain"],
        "temperature": ["hot", "mild", "cool"],
        "humidity": ["high", "normal"],
        "windy": ["yes", "no"],
    }
    assert imported.inseparable() == []
