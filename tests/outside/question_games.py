"""Games of asking: a table of who answers what, and whole sessions played on the knowledge base made of it.

Loaded from its path by the `games` fixture, since test modules cannot import one another.  Nothing here plans a question.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import ModuleType

from tellmark.identify.session import Session
from tellmark.identify.start import start
from tellmark.kb.reading import Seen

#: A share that stands for none where a knowledge base must have some.
NEXT_TO_NOTHING = 1e-9
#: Whether the answer is yes, from the trait's id, the states asked for, and how many questions there were before.
Answerer = Callable[[str, frozenset[str], int], bool]


@dataclass(frozen=True)
class Played:
    """How a session ended, and after how many questions."""

    session: Session
    questions: int

    @property
    def verdict(self) -> list[str]:
        """The leader with all that cannot be told from it."""
        return self.session.leading[0]


def begin(
    random_kb: ModuleType,
    rows: Mapping[str, Mapping[str, str]],
    weights: Sequence[float],
    mistakes: float = NEXT_TO_NOTHING,
    settled: float = 0.999,
) -> Session:
    """A session over variants that show these states, variant -> trait -> state, and are as common as their weights.

    Everything can be seen from one side, so that every question takes the same effort.
    """
    states = {trait: sorted({row[trait] for row in rows.values()}) for trait in next(iter(rows.values()))}
    entries = random_kb.knowledge_base(
        about={"not_in_the_record": NEXT_TO_NOTHING, "settled": settled},
        traits={
            trait: {"name": trait, "view": "side", "mistakes": mistakes, "states": {state: state for state in names}}
            for trait, names in states.items()
            if len(names) > 1
        },
        variants={
            ident: {
                "name": ident,
                "how_common": weight / max(weights),
                "shows": {trait: state for trait, state in row.items() if len(states[trait]) > 1},
            }
            for (ident, row), weight in zip(rows.items(), weights, strict=True)
        },
    )
    return start(entries)


def truthful(row: Mapping[str, str]) -> Answerer:
    """Answers as the unit is."""
    return lambda trait, states, _: row[trait] in states


def play(session: Session, answer: Answerer, kept: dict[object, Session], most: int = 60) -> Played:
    """Asks what the session asks until it asks no more. `kept` holds sessions by their answers, so that none is made twice."""
    count = 0
    while (proposal := session.to_ask) is not None:
        question = proposal.question
        trait = session.compiled.traits[question.trait]
        yes, no = (frozenset(trait.states[k] for k in outcome) for outcome in question.outcomes)
        seen = yes if answer(trait.id, yes, count) else no
        key = (session.given, question, seen)
        if key not in kept:
            kept[key] = session.reply(question, Seen(seen))
        session = kept[key]
        count += 1
        assert count <= most, "it never settles"
    return Played(session, count)
