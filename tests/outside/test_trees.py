"""Questions asked of public tables against the decision tree that another program grows on them.

Compared with: scikit-learn's DecisionTreeClassifier with the entropy criterion, grown until every leaf is pure.  Both may ask
"is it this one?" of every state of every column, and both know how often each row occurs.

Tables, as the package orange3 carries them, all from the UCI Machine Learning Repository but the second: R. S. Forsyth, Zoo
(1990); the passengers of the Titanic, R. J. MacG. Dawson, Journal of Statistics Education 3 (1995); J. Cendrowska, Lenses
(1987); R. Detrano and others, Heart Disease (1989); J. C. Schlimmer, Automobile (1985).
"""

# The libraries compared with come without types.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false, reportUnknownArgumentType=false

from collections import Counter
from importlib.metadata import distribution
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from scipy.stats import entropy
from sklearn.tree import DecisionTreeClassifier

#: The file in orange3, the columns whose states are few, and how many lines and different rows of those there are.
TABLES = [
    pytest.param(
        "datasets/zoo.tab",
        "hair feathers eggs milk airborne aquatic predator toothed backbone breathes venomous fins legs tail domestic catsize",
        (101, 59),
        id="zoo",
    ),
    pytest.param("datasets/titanic.tab", "status age sex survived", (2201, 24), id="titanic"),
    pytest.param("tests/datasets/lenses.tab", "age prescription astigmatic tear_rate lenses", (24, 24), id="lenses"),
    pytest.param(
        "datasets/heart_disease.tab",
        "gender,chest pain,fasting blood sugar > 120,rest ECG,exerc ind ang,slope peak exc ST,thal",
        (303, 130),
        id="heart disease",
    ),
    pytest.param(
        "tests/datasets/imports-85.tab",
        "fuel-type aspiration num-of-doors body-style drive-wheels engine-location engine-type num-of-cylinders fuel-system",
        (205, 92),
        id="automobile",
    ),
]

Row = tuple[str, ...]


def lines_of(file: str, columns: str) -> list[Row]:
    """The cells of these columns; three header lines go before."""
    path = Path(str(distribution("orange3").locate_file(f"Orange/{file}")))
    header, _, _, *lines = path.read_text("utf-8").splitlines()
    named = header.split("\t")
    at = [named.index(name) for name in columns.split("," if "," in columns else None)]
    return [tuple(line.split("\t")[place].strip() for place in at) for line in lines if line.strip()]


def depth_of_tree(counts: dict[Row, int]) -> float:
    """Questions that scikit-learn's tree asks on average until it knows the row."""
    rows = [*counts]
    states = sorted({(c, state) for row in rows for c, state in enumerate(row)})
    asked = np.array([[row[c] == state for c, state in states] for row in rows], dtype=float)
    tree = DecisionTreeClassifier(criterion="entropy", random_state=0)
    tree.fit(asked, range(len(rows)), sample_weight=[*counts.values()])
    assert tree.score(asked, range(len(rows))) == 1.0
    depth = np.asarray(tree.decision_path(asked).sum(axis=1)).reshape(-1) - 1
    return float(np.average(depth, weights=[*counts.values()]))


def questions_of_sessions(counts: dict[Row, int], random_kb: ModuleType, games: ModuleType) -> float:
    """Questions that sessions ask on average until they know the row, as sure as the rarest row asks for."""
    rows = {f"row-{r:03}": {f"column-{c:02}": cell for c, cell in enumerate(row)} for r, row in enumerate(counts)}
    states = {name: sorted({row[name] for row in rows.values()}) for name in rows["row-000"]}
    shown = {ident: {name: f"state-{states[name].index(cell)}" for name, cell in row.items()} for ident, row in rows.items()}
    enough = 1 - min(counts.values()) / sum(counts.values()) / 10
    session, kept = games.begin(random_kb, shown, [float(one) for one in counts.values()], settled=enough), dict[object, Any]()
    total = 0
    for (ident, row), count in zip(shown.items(), counts.values(), strict=True):
        played = games.play(session, games.truthful(row), kept)
        assert played.verdict == [ident]
        total += count * played.questions
    return total / sum(counts.values())


@pytest.mark.filterwarnings("ignore:The number of unique classes")
@pytest.mark.parametrize(("file", "columns", "size"), TABLES)
def test_sessions_ask_no_more_than_a_tree(
    file: str, columns: str, size: tuple[int, int], random_kb: ModuleType, games: ModuleType
) -> None:
    lines = lines_of(file, columns)
    assert (len(lines), len(set(lines))) == size, "another table than the one that was looked at"
    counts = Counter(lines)
    tree, ours = depth_of_tree(counts), questions_of_sessions(counts, random_kb, games)
    bits = float(entropy([*counts.values()], base=2))
    print(f"{len(counts)} rows, {sum(counts.values())} lines, {bits:.3f} bits: {ours:.3f} questions, tree {tree:.3f}")
    assert bits <= ours <= tree
