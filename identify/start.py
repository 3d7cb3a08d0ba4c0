"""From records and an answers file to a session: the one way in for commands, tests and pages."""

from collections.abc import Iterable, Mapping, Sequence

from ..kb.answers import Asked, read_all
from ..kb.findings import Unreadable, listed, nearest
from ..kb.load import Entries
from ..kb.reading import Reading
from ..kb.values import Answer
from .arrays import Compiled
from .compile import AS_RECORDED, Assumed, compile_entries
from .kept import kept_arrays
from .part_compile import compile_parts
from .session import Ask, Session, Target

#: The view of a trait that needs none.
NO_VIEW = -1


def start(
    entries: Entries,
    family: str | None = None,
    views: Sequence[str] | None = None,
    target: Target = "variant",
    ask: Ask = "yes-no",
    assumed: Assumed = AS_RECORDED,
    kept: bool = False,
) -> Session:
    """A session without answers. Raises Unreadable for a family or a view that there is not.

    kept: the arrays may come from the store; the entries must then be as `kb.cache.sound` gave them.
    """
    if family is not None and family not in entries.families:
        raise Unreadable(f'the family "{family}"', f"one of {listed(entries.families)}", nearest(family, entries.families))
    if kept and assumed == AS_RECORDED:
        compiled = kept_arrays(entries, family)
    else:
        compiled = compile_entries(entries, [family] if family else None, assumed)
    return Session(compiled, views=view_indices(compiled, views), target=target, ask=ask)


def start_part(
    entries: Entries,
    slot_type: str | None = None,
    views: Sequence[str] | None = None,
    ask: Ask = "yes-no",
    assumed: Assumed = AS_RECORDED,
) -> Session:
    """The same for a loose part; of any slot type where None. Its sort can be seen in every view."""
    if slot_type is not None and slot_type not in entries.slot_types:
        known = entries.slot_types
        raise Unreadable(f'the slot type "{slot_type}"', f"one of {listed(known)}", nearest(slot_type, known))
    compiled = compile_parts(entries, slot_type, assumed)
    seen = view_indices(compiled, views)
    return Session(compiled, views=None if seen is None else seen | {NO_VIEW}, ask=ask)


def view_indices(compiled: Compiled, views: Iterable[str] | None) -> frozenset[int] | None:
    """The views by index; None for all. Raises Unreadable."""
    if views is None:
        return None
    for view in views:
        if view not in compiled.views:
            raise Unreadable(f'the view "{view}"', f"one of {listed(compiled.views)}", nearest(view, compiled.views))
    return frozenset(compiled.views.index(view) for view in views)


def answered(
    session: Session, entries: Entries, family: str | None, answers: Mapping[str, Answer], part: bool = False
) -> Session:
    """The session with these answers; they must have been found readable. Of a loose part, the family is its slot type."""
    readings, _ = read_all(entries, family, answers, part=part)
    for asked, reading in readings:
        session = give(session, asked, reading)
    return session


def give(session: Session, asked: Asked, reading: Reading, told: bool = False) -> Session:
    """The session with one more answer, or (`told`) with it in the place of earlier answers to the same trait.

    Unchanged where the compiled families have no such trait.
    """
    try:
        trait = session.compiled.trait(asked.id, asked.family)
    except KeyError:
        return session
    return session.tell(trait, reading) if told else session.answer(trait, reading)
