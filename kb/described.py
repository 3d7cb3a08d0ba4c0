"""A unit as a person describes it, in an answers file or in a lot: what can be read of it, and everything that is wrong."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar, cast

from pydantic import ValidationError

from .answers import read_all
from .findings import Finding, Kind, listed, nearest
from .load import Entries
from .models import AnswersFile
from .resolve import views_of
from .yaml_text import Places

Described = TypeVar("Described", bound=AnswersFile)


def described_findings(
    entries: Entries, unit: AnswersFile, places: Places, base: Sequence[str | int] = (), family: str | None = None
) -> Iterator[Finding]:
    """Everything wrong with the family, the views and the answers; `base` is where the unit lies in its file.

    family: the one that is known otherwise, in the place of the one written.
    """

    def unknown(path: Sequence[str | int], what: str, found: str, known: Mapping[str, Any]) -> Finding:
        line, column = places.at([*base, *path])
        said, expected = f'the {what} "{found}"', f"one of {listed(known)}"
        return Finding(places.shown, line, column, Kind.DANGLING, said, expected, nearest(found, known))

    known = family or unit.family
    if known is not None and known not in entries.families:
        if family is None:
            yield unknown(["family"], "family", known, entries.families)
        known = None
    views = views_of(entries, known)
    for index, view in enumerate(unit.views or []):
        if view not in views:
            yield unknown(["views", index], "view", view, views)
    for key, problem in read_all(entries, known, unit.answers)[1]:
        line, column = places.at([*base, "answers", key], key=problem.kind == Kind.UNKNOWN_KEY)
        yield Finding(places.shown, line, column, problem.kind, problem.found, problem.expected, problem.nearest)


def sound_part(model: type[Described], plain: Any) -> Described:
    """What can be read of a unit that cannot be read whole, so that the rest is checked in the same run."""
    whole = cast("dict[str, Any]", plain) if isinstance(plain, dict) else {}
    answers = whole.get("answers")
    pieces: list[dict[str, Any]] = [{key: whole[key]} for key in ("family", "views") if key in whole]
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
