"""Ways to choose the next question that were measured against the one in use, and lost. `make bench` runs them all.

Each takes a session and gives the proposal to ask, or None when it is done; all of them stop where the session does.
"""

from collections.abc import Callable

import numpy as np
from tellmark.identify.plan import best
from tellmark.identify.questions import outcome_chances
from tellmark.identify.session import Proposal, Session

Policy = Callable[[Session], Proposal | None]


def planned(session: Session) -> Proposal | None:
    """The one in use: solved to the end where few are left, two questions ahead before."""
    return session.look_again or session.next


def greedy(session: Session) -> Proposal | None:
    """The most news for its effort."""
    if session.settled:
        return None
    return max([*session.second_looks[:1], *session.proposals[:1]], key=lambda one: one.value, default=None)


def ahead(session: Session) -> Proposal | None:
    """Plans whatever share of the answers would be mistakes."""
    if session.look_again or session.next is None or session.game is None:
        return session.look_again or session.next
    return session.proposals[best(session.game, ahead=1.0)]


def edges(session: Session) -> Proposal | None:
    """Cuts the most edges between hypotheses of different groups for its effort.

    Golovin, Krause and Ray 2010, Near-optimal Bayesian active learning with noisy observations: an edge weighs the product of
    its ends; asking removes those whose ends answer differently.  With noisy answers a hypothesis keeps the share of its weight
    that explains the answer.
    """
    return _scored(session, lambda joint: joint.sum(axis=1) * (joint.sum(axis=1) ** 2 - (joint**2).sum(axis=1)))


def discounted_edges(session: Session) -> Proposal | None:
    """The same on what is believed after the answer: the chance that two draws from it would be of different groups.

    After Chen, Hassani and Krause 2017, Near-optimal Bayesian active learning with correlated and noisy tests, who discount
    the edges that noise alone cuts.
    """

    def left(joint: np.ndarray) -> np.ndarray:
        chance = joint.sum(axis=1)
        inside = np.divide((joint**2).sum(axis=1), chance, out=np.zeros_like(chance), where=chance > 0)
        return chance - inside

    return _scored(session, left)


def _scored(session: Session, left: Callable[[np.ndarray], np.ndarray]) -> Proposal | None:
    """The proposal that takes the most off `left`, summed over its outcomes, for its effort.

    `left` is given P(outcome, group), shape [outcomes, groups].
    """
    if session.settled:
        return None
    asked = [*session.proposals, *session.second_looks]
    belief = session.belief.probability
    live = np.flatnonzero(belief > 1e-6 * belief.max())
    group = np.unique(session.groups[live], return_inverse=True)[1].reshape(-1)
    member = np.eye(int(group.max()) + 1)[group]
    weight = belief[live] / belief[live].sum()
    now = float(left((weight @ member)[None])[0])
    questions = [one.question for one in asked]
    chances = outcome_chances(session.compiled, session.belief, questions, live, session.evidence)
    scores = [(now - left((one * weight[:, None]).T @ member).sum()) / of.effort for one, of in zip(chances, asked, strict=True)]
    return asked[int(np.argmax(np.round(scores, 9)))] if asked else None


POLICIES: dict[str, Policy] = {
    "planned (in use)": planned,
    "greedy: news for effort": greedy,
    "always two ahead": ahead,
    "edges cut": edges,
    "edges cut, noise discounted": discounted_edges,
}
