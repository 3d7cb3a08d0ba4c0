"""Twenty questions over a public table.

Source: R. S. Forsyth, Zoo, UCI Machine Learning Repository (1990), as the package orange3 carries it: 101 animals, 15
yes/no attributes and the number of legs.  59 rows differ apart from name and type; animals with equal rows are one group.
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

import csv
import json
import re
from collections import Counter
from importlib.metadata import distribution
from pathlib import Path
from types import ModuleType

import pytest
from click.testing import CliRunner
from scipy.stats import entropy
from tellmark.cli.main import main
from tellmark.identify.session import Session
from tellmark.identify.start import start
from tellmark.kb.load import Entries
from tellmark.kb.reading import Seen

#: Entropy of the groups in bits, which no scheme of truthful yes/no questions can beat on average (Shannon 1948), and
#: what may be asked on average.
ENTROPY, MOST_ASKED = 5.516, 5.85
MISTAKES = NOT_IN_THE_RECORD = 0.002

Animals = dict[str, dict[str, str]]


@pytest.fixture(scope="module")
def animals() -> Animals:
    """Each animal's row: attribute -> state.  Three header lines; a second animal of a name gets a number."""
    path = Path(str(distribution("orange3").locate_file("Orange/datasets/zoo.tab")))
    header, _, _, *lines = path.read_text("utf-8").splitlines()
    columns = header.split("\t")[1:-1]
    found: Animals = {}
    for line in lines:
        name, *cells, _ = line.split("\t")
        ident = re.sub(r"[^a-z0-9]+", "-", name.lower())
        found[ident if ident not in found else f"{ident}-2"] = dict(zip(columns, cells, strict=True))
    return found


@pytest.fixture(scope="module")
def zoo(animals: Animals, random_kb: ModuleType) -> Entries:
    """A variant for each animal."""
    states = {name: sorted({row[name] for row in animals.values()}) for name in next(iter(animals.values()))}
    return random_kb.knowledge_base(
        about={"not_in_the_record": NOT_IN_THE_RECORD},
        traits={
            name: {"name": name, "view": "side", "mistakes": MISTAKES, "states": {state: state for state in values}}
            for name, values in states.items()
        },
        variants={ident: {"name": ident, "shows": row} for ident, row in animals.items()},
    )


def groups_of(animals: Animals) -> dict[str, list[str]]:
    """Every animal's group: all that have its row."""
    rows = {ident: tuple(row.values()) for ident, row in animals.items()}
    return {ident: sorted(other for other in rows if rows[other] == row) for ident, row in rows.items()}


def asked(session: Session, row: dict[str, str], cache: dict[object, Session]) -> tuple[Session, int]:
    """The session after truthful answers to whatever it asks until it asks no more, and how many those were."""
    count = 0
    while (proposal := session.next) is not None:
        trait = session.compiled.traits[proposal.question.trait]
        yes, no, *_ = ({trait.states[k] for k in outcome} for outcome in proposal.question.outcomes)
        seen = frozenset(yes if row[trait.id] in yes else no)
        key = (session.given, proposal.question.trait, seen)
        session = cache.setdefault(key, session.answer(proposal.question.trait, Seen(seen)))
        count += 1
        assert count <= 30, "it never settles"
    return session, count


def test_the_table_is_the_published_one(animals: Animals) -> None:
    sizes = Counter(tuple(group) for group in groups_of(animals).values())
    assert (len(animals), len(sizes)) == (101, 59)
    assert entropy([*sizes.values()], base=2) == pytest.approx(ENTROPY, abs=5e-4)


def test_every_animal_is_found_in_few_questions(animals: Animals, zoo: Entries) -> None:
    groups, begin, cache = groups_of(animals), start(zoo), {}
    counts: dict[str, int] = {}
    for ident, row in animals.items():
        session, counts[ident] = asked(begin, row, cache)
        assert session.settled, ident
        assert sorted(session.leading[0]) == groups[ident]
    average = sum(counts.values()) / len(counts)
    print(f"Zoo: {average:.3f} questions on average, {max(counts.values())} at most")
    assert average >= ENTROPY, "fewer than the entropy is a miscount"
    assert average <= MOST_ASKED


# The same by the commands ------------------------------------------------------------------------------------------------

SAMPLE = ("aardvark", "frog", "ladybird", "pitviper", "seasnake", "starfish", "vampire", "wren")


@pytest.fixture(scope="module")
def imported(animals: Animals, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `tellmark import` makes of the table as CSV."""
    folder = tmp_path_factory.mktemp("zoo")
    with (folder / "zoo.csv").open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["name", *next(iter(animals.values()))])
        rows.writerows([name, *row.values()] for name, row in animals.items())
    done = CliRunner().invoke(
        main, ["import", str(folder / "zoo.csv"), "--into", str(folder / "record"), "--name-column", "name"]
    )
    assert done.exit_code == 0, done.output
    return folder / "record"


def identified(root: Path, answers: dict[str, object]) -> dict[str, object]:
    """What `identify --answers - --json` says; JSON is YAML as well."""
    command = ["--entries", str(root), "identify", "--answers", "-", "--json"]
    done = CliRunner().invoke(main, command, input=json.dumps({"answers": answers}))
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


@pytest.mark.parametrize("animal", SAMPLE)
def test_the_commands_find_an_animal_by_the_next_question_alone(animal: str, animals: Animals, imported: Path) -> None:
    """Whoever answers sees the JSON and the animal, nothing else."""
    truth = {name: {"1": "yes", "0": "no"}.get(cell, cell) if name != "legs" else cell for name, cell in animals[animal].items()}
    answers: dict[str, object] = {}
    denied: dict[str, list[str]] = {}
    for _ in range(9):
        found = identified(imported, answers)
        question = found["next"]
        if question is None:
            break
        assert isinstance(question, dict)
        trait, states = question["trait"], question["states"]
        if truth[trait] in states:
            answers[trait] = {"one_of": states}
        else:
            denied.setdefault(trait, []).extend(states)
            answers[trait] = {"not": denied[trait]}
    else:
        pytest.fail("more than eight questions")
    assert found["settled"]
    group = groups_of(animals)[animal]
    variants = found["variants"]
    assert isinstance(variants, list)
    assert sorted(one["id"] for one in variants[: len(group)]) == group
    assert found["cannot_be_told_apart"] == (group if len(group) > 1 else [])
