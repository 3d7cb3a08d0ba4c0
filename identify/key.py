"""A fixed key: yes/no questions as a tree, to be printed and used without a screen. Arrays in, a tree out.

The tree is what the questioner would ask of units that are as they left the factory and are read without mistakes, every answer
written down beforehand.  A question may name several states ("is it painted or bare?"), and a part that is not there is a no.
A variant that shows a state only sometimes, and one of which nobody recorded the trait, goes on along both branches, so it may
end in several leaves; nothing unknown excludes it.  A measured value counts as what all but the rarest of a variant's units have,
and is asked for only where no question that needs no tool tells anything for as little effort.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .arrays import MISSING, SAME, Compiled
from .key_asking import as_issued, asking, by_text, in_stretches, marking, unrecorded
from .key_left import Asked, Left, begun

#: As good as certain.
CERTAIN = 1.0 - 1e-9


@dataclass(frozen=True)
class Step:
    """One question: whether the trait is in one of `states`, or (of a measured one) whether it is more than `cut`.

    others   the other states that are left here, for the branch of no; none of a measured trait
    yes, no  the index of the step that comes next, or ~index of the leaf;  back: the step one comes from, -1 at the first
    chance   that a unit comes here
    likely   the variants, a leader and those nothing tells from it, that together are as sure here as the knowledge base asks;
             what follows only rules out rarer ones.  Mostly empty
    """

    trait: int
    states: tuple[str, ...]
    others: tuple[str, ...]
    cut: float | None
    yes: int
    no: int
    back: int
    chance: float
    likely: tuple[int, ...]


@dataclass(frozen=True)
class Leaf:
    """Where the key ends.

    shares  (variant, probability there), the likeliest first, of every variant that may be there
    chance  that a unit ends here;  back: the step one comes from, -1 when there was none
    right   the chance that a unit as the record has them ends here and is the likeliest variant, or one nothing tells from it:
            parts changed, traits misread and units that are not in the record counted
    """

    shares: tuple[tuple[int, float], ...]
    chance: float
    back: int
    right: float


@dataclass(frozen=True)
class Key:
    """Steps in the order they are printed, each after the one it comes from and the branch of yes first; and the leaves.

    Units as they left the factory, read without mistakes, come to a step with a certain chance: the sum over the variants on
    record of how common the variant is, of all of them, times the share of its units that give every answer on the way there.
    """

    steps: tuple[Step, ...]
    leaves: tuple[Leaf, ...]

    @property
    def mean_steps(self) -> float:
        """Steps on average until the variant is as sure as the knowledge base asks: the chances of those without `likely`."""
        return sum(step.chance for step in self.steps if not step.likely)

    @property
    def mean_to_the_end(self) -> float:
        """Steps on average until a leaf: the chances of all steps."""
        return sum(step.chance for step in self.steps)

    @property
    def right(self) -> float:
        """The share of units as the record has them of which the key names the variant; see `Leaf`."""
        return sum(leaf.right for leaf in self.leaves)


@dataclass(frozen=True)
class Sheet:
    """A key that begins with a marking, where one tells more than a yes or no can.

    read        the trait that is read first, or None;  by_text: the key that follows each text it is known to have
    unrecorded  the variants of which nobody recorded it: they may have any
    otherwise   the key for whoever cannot read it, or reads something else; without a marking, the only one
    """

    read: int | None
    by_text: Mapping[str, Key]
    unrecorded: tuple[int, ...]
    otherwise: Key

    @property
    def mean_steps(self) -> float:
        """As of a key; the reading is one step."""
        return 1.0 + sum(one.mean_steps for one in self.by_text.values()) if self.by_text else self.otherwise.mean_steps

    @property
    def mean_to_the_end(self) -> float:
        """As of a key; the reading is one step."""
        return 1.0 + sum(one.mean_to_the_end for one in self.by_text.values()) if self.by_text else self.otherwise.mean_to_the_end

    @property
    def right(self) -> float:
        """As of a key."""
        return sum(one.right for one in self.by_text.values()) if self.by_text else self.otherwise.right


def pocket_sheet(compiled: Compiled) -> Sheet:
    """The keys to the variants of one family: by a marking, and without it.

    A variant whose marking nobody recorded may have any: it is named where every key by a text ends, but no step is spent on it.
    """
    if not compiled.variants:
        return Sheet(None, {}, (), Key((), ()))
    as_found = in_stretches(compiled)
    issued = as_issued(as_found)
    asked = asking(issued, as_found)
    t = marking(asked)
    if t is None:
        return Sheet(None, {}, (), _grown(begun(asked)))
    texts, before = compiled.traits[t].states, begun(by_text(asked, t))
    found: dict[str, Key] = {}
    for k, text in enumerate(texts):
        left = before.told(asked.traits.index(t), np.arange(len(texts)) == k)
        if text != MISSING and len(left.live):
            found[text] = _grown(left)
    unknown = np.unique(compiled.variant[unrecorded(compiled, t) & (compiled.variant >= 0)])
    return Sheet(t, found, tuple(unknown.tolist()), _grown(begun(asking(issued, as_found, unread=t))))


def fixed_key(compiled: Compiled) -> Key:
    """The key of yes/no questions alone to the variants of one family. No variants: no steps and no leaves."""
    if not compiled.variants:
        return Key((), ())
    as_found = in_stretches(compiled)
    return _grown(begun(asking(as_issued(as_found), as_found)))


def _grown(first: Left) -> Key:
    """The tree from here on."""
    steps: list[tuple[Left, Asked, int, tuple[int, ...]]] = []
    ends: list[list[int]] = []
    leaves: list[Leaf] = []
    waiting = [(first, first.asking.issued.settled, -1, True)]
    while waiting:
        left, settled, back, yes = waiting.pop()
        sure = left.lead[1] >= settled - SAME
        settled = CERTAIN if sure else settled
        asked = left.next(settled)
        here = len(steps) if asked else ~len(leaves)
        if back >= 0:
            ends[back][0 if yes else 1] = here
        if asked:
            steps.append((left, asked, back, left.leaders if sure else ()))
            ends.append([0, 0])
            for side, is_yes in ((~asked.named, False), (asked.named, True)):
                waiting.append((left.told(asked.n, side), settled, here, is_yes))
        else:
            leaves.append(Leaf(left.shares, left.chance, back, left.right))
    return Key(tuple(_step(*one, *then) for one, then in zip(steps, ends, strict=True)), tuple(leaves))


def _step(left: Left, asked: Asked, back: int, likely: tuple[int, ...], yes: int, no: int) -> Step:
    """What is printed of a question."""
    named, others = left.sides(asked)
    return Step(left.asking.traits[asked.n], named, others, asked.cut, yes, no, back, left.chance, likely)
