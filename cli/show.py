"""`tellmark show`: one record, whole."""

from collections.abc import Iterator, Mapping
from typing import Any, cast

import click

from ..kb.describe import NAMED_KINDS, choices, find, homes_of_trait, part_names, record, sets_with, state_names
from ..kb.findings import Unreadable
from ..kb.load import Entries
from ..kb.resolve import moved, slots_of, stated, traits_of, views_of
from .common import entries_option, print_json, refuse, sound_entries
from .screen import heading, wrapped


@click.command("show")
@click.argument("ident", metavar="ID")
@click.option("--kind", type=click.Choice(NAMED_KINDS), help="Which kind of record, where several have the id.")
@click.option("--json", "as_json", is_flag=True, help="The record as JSON.")
@entries_option
@click.pass_context
def command(ctx: click.Context, ident: str, **options: Any) -> None:
    """Show one record of the knowledge base: a variant, part, set, family, trait, procedure or source."""
    entries = sound_entries(ctx, options["entries"])
    if options["kind"] is None and not any(ident in entries.of(kind) for kind in NAMED_KINDS) and homes_of_trait(entries, ident):
        _traits(entries, ident, options["as_json"])
        return
    try:
        kind = options["kind"] or find(entries, ident)[0]
        find(entries, ident, [kind])
    except Unreadable as problem:
        refuse(problem.found, problem.expected, problem.nearest)
    if options["as_json"]:
        where = entries.places[kind, ident].path
        print_json(
            {"format": "tellmark/show/1", "kind": kind, "id": ident, "file": where, "record": record(entries, kind, ident)}
        )
        return
    for line in _variant(entries, ident) if kind == "variant" else _plain(entries, kind, ident):
        click.echo(line)


def _traits(entries: Entries, ident: str, as_json: bool) -> None:
    """The traits of this name that belong to a family or a slot type."""
    homes, ident = homes_of_trait(entries, ident), ident.rpartition("/")[2]
    for kind, home in homes:
        trait = entries.of(kind)[home].traits[ident]
        plain = trait.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
        if as_json:
            where = entries.places[kind, home].path
            print_json({"format": "tellmark/show/1", "kind": "trait", "id": f"{home}/{ident}", "file": where, "record": plain})
            return
        click.echo(f"{heading(str(plain.pop('name')))}\n  {home}/{ident} · trait of {entries.of(kind)[home].name}\n")
        for line in _fields(plain, "  "):
            click.echo(line)
        click.echo()


def _variant(entries: Entries, ident: str) -> Iterator[str]:
    now = moved(entries, ident)
    if entries.variants[ident].signpost:
        yield f"{ident} is now: {', '.join(now)}"
        return
    one = stated(entries, ident)
    family = entries.families[one.family]
    yield heading(one.name)
    kind = family.kinds[one.kind].name if one.kind in family.kinds else None
    livery = entries.liveries[one.livery].name if one.livery in entries.liveries else None
    facts = [
        ident,
        family.name,
        kind,
        livery,
        f"made {one.made}" if one.made else None,
        f"batch {one.batch}" if one.batch else None,
    ]
    how_common = None if one.how_common is None else f"{one.how_common}"
    yield from wrapped(" · ".join(filter(None, [*facts, how_common])))
    if one.about:
        yield ""
        yield from wrapped(one.about)
    traits = traits_of(entries, one.family)
    views = views_of(entries, one.family)
    yield ""
    yield heading("What to look for")
    by_view = sorted(one.shows.items(), key=lambda fact: (views[traits[fact[0]].view].effort, traits[fact[0]].view))
    for name, fact in by_view:
        trait = traits[name]
        yield from _hanging(f"  {trait.name}: ", f"{choices(fact, state_names(trait))}   [{views[trait.view].name.lower()}]")
    if one.fitted:
        yield ""
        yield heading("Fitted when new")
        slots = slots_of(entries, one.family)
        for slot, fact in one.fitted.items():
            yield from _hanging(f"  {slots[slot].name}: ", choices(fact, part_names(entries)))
    sets = sets_with(entries, ident)
    if sets:
        yield ""
        yield heading("Came in")
        for name, position in sets:
            yield from _hanging(
                "  ", f"{entries.sets[name].name}, unit {position} of {len(entries.sets[name].positions)}   {name}"
            )
    yield from _sources(entries, one.sources, one.verified)


def _sources(entries: Entries, sources: Mapping[str, str], verified: str | None) -> Iterator[str]:
    if sources:
        yield ""
        yield heading("Sources")
        for source, support in sources.items():
            yield from _hanging("  ", f"{entries.sources[source].name} ({support})")
    if verified:
        yield f"  last verified {verified}"


def _hanging(start: str, text: str) -> list[str]:
    lines = wrapped(start.strip() + " " + text if start.strip() else text, "    ")
    return ["  " + lines[0].strip(), *lines[1:]] if lines else []


def _plain(entries: Entries, kind: str, ident: str) -> Iterator[str]:
    """Any other record: its fields in the order of the model, cautions first."""
    plain = record(entries, kind, ident)
    yield heading(str(plain.pop("name", ident)))
    yield f"  {ident} · {kind}"
    about = plain.pop("about", None)
    if about:
        yield ""
        yield from wrapped(str(about))
    for hazard in plain.pop("hazards", []) if kind == "procedure" else ():
        yield ""
        yield from wrapped(f"Caution, {hazard.replace('-', ' ')}: {entries.about.hazards[hazard].caution}")
    yield ""
    yield from _fields(plain, "  ")


def _fields(plain: Mapping[str, Any], indent: str) -> Iterator[str]:
    for key, value in plain.items():
        yield from _field(key.replace("_", " "), value, indent)


def _field(name: str, value: Any, indent: str) -> Iterator[str]:
    """One field: short values on its line, long ones numbered below it."""
    if isinstance(value, dict):
        inner = cast("dict[str, Any]", value)
        if set(inner) == {"is"} and isinstance(inner["is"], dict):
            said = cast("dict[str, Any]", inner["is"])
            words = [word if how == 1.0 else f"{word} ({how})" for word, how in said.items()]
            yield from _numbered(f"{indent}{name}: ", ", ".join(words))
        elif set(inner) == {"is"}:
            yield from _numbered(f"{indent}{name}: ", str(inner["is"]))
        else:
            yield f"{indent}{name}:"
            yield from _fields(inner, indent + "  ")
    elif isinstance(value, list):
        items = cast("list[Any]", value)
        if all(isinstance(item, str) and len(item) <= 40 for item in items):
            yield from _numbered(f"{indent}{name}: ", ", ".join(items))
            return
        yield f"{indent}{name}:"
        for number, item in enumerate(items, 1):
            if isinstance(item, dict):
                yield f"{indent}  {number}."
                yield from _fields(cast("dict[str, Any]", item), indent + "     ")
            else:
                yield from _numbered(f"{indent}  {number}. ", str(item))
    else:
        yield from _numbered(f"{indent}{name}: ", f"{value:g}" if isinstance(value, float) else str(value))


def _numbered(start: str, text: str) -> list[str]:
    lines = wrapped(text, " " * len(start))
    return [start + lines[0].strip(), *lines[1:]] if lines else [start.rstrip()]
