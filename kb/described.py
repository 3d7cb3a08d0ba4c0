"""A unit as a person describes it, in an answers file or in a lot: what can be read of it, and everything that is wrong."""

from collections.abc import Collection, Iterator, Sequence
from typing import Any, TypeVar, cast

from pydantic import ValidationError

from .answers import read_all
from .findings import Finding, Kind, listed, nearest
from .load import Entries
from .models import ANY_PART, AnswersFile, UnitDescription
from .resolve import views_of
from .yaml_text import Places

Described = TypeVar("Described", bound=UnitDescription)


def described_findings(
    entries: Entries,
    unit: UnitDescription,
    places: Places,
    base: Sequence[str | int] = (),
    family: str | None = None,
    part: str | None = None,
) -> Iterator[Finding]:
    """Everything wrong with the family or the slot type, the views and the answers; `base` is where the unit lies in its file.

    family, part: the one that is known otherwise, in the place of the one written.
    """

    def say(
        path: Sequence[str | int], kind: Kind, found: str, expected: str, near: str | None = None, key: bool = False
    ) -> Finding:
        line, column = places.at([*base, *path], key=key)
        return Finding(places.shown, line, column, kind, found, expected, near)

    def unknown(path: Sequence[str | int], what: str, found: str, known: Collection[str]) -> Finding:
        return say(path, Kind.DANGLING, f'the {what} "{found}"', f"one of {listed(known)}", nearest(found, known))

    written = unit.part if isinstance(unit, AnswersFile) else None
    loose = written is not None or part is not None
    if loose and (family or unit.family):
        yield say(
            ["part" if part is None else "family"], Kind.MISPLACED, "a loose part beside a family", "one of the two", key=True
        )
    key, what, homes = (
        ("part", "slot type", [*entries.slot_types, ANY_PART]) if loose else ("family", "family", [*entries.families])
    )
    stated, told = (part, written) if loose else (family, unit.family)
    known = loose_type(stated, told) if loose else stated or told
    if told is not None and told == known and told not in homes:
        yield unknown([key], what, told, homes)
    if known is not None and known not in homes:
        known = None
    views = entries.about.views if loose else views_of(entries, known)
    for index, view in enumerate(unit.views or []):
        if view not in views:
            yield unknown(["views", index], "view", view, views)
    for name, problem in read_all(entries, known, unit.answers, part=loose)[1]:
        about_key = problem.kind == Kind.UNKNOWN_KEY
        yield say(["answers", name], problem.kind, problem.found, problem.expected, problem.nearest, key=about_key)


def loose_type(*stated: str | None) -> str | None:
    """The slot type of a loose part: the first one stated; None for a part of any."""
    return next((one for one in stated if one is not None and one != ANY_PART), None)


def sound_part(model: type[Described], plain: Any) -> Described:
    """What can be read of a unit that cannot be read whole, so that the rest is checked in the same run."""
    whole = cast("dict[str, Any]", plain) if isinstance(plain, dict) else {}
    answers = whole.get("answers")
    pieces: list[dict[str, Any]] = [{key: whole[key]} for key in ("family", "part", "views") if key in whole]
    if isinstance(answers, dict):
        pieces += [{"answers": {key: value}} for key, value in cast("dict[str, Any]", answers).items()]
    sound: dict[str, Any] = {"answers": {}}
    for piece in pieces:
        try:
            model.model_validate(piece)
        except ValidationError:
            continue
        sound = {**sound, **piece, "answers": {**sound["answers"], **piece.get("answers", {})}}
    return model.model_validate(sound)
