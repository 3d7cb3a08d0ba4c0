"""`tellmark site`: the knowledge base as a folder of pages."""

from pathlib import Path
from typing import Any

import click

from .common import entries_option, print_json, refuse, sound_entries


@click.group("site")
def command() -> None:
    """Publish the knowledge base as a static site: one folder that works from disk and from any web server."""


@command.command("build")
@click.option("--out", required=True, type=click.Path(), help="Folder to write; an earlier site there is replaced whole.")
@click.option("--json", "as_json", is_flag=True, help="What was written as JSON.")
@entries_option
@click.pass_context
def build_command(ctx: click.Context, out: str, **options: Any) -> None:
    """Write every page. The site that stands there now is replaced at the very end, or not at all."""
    entries = sound_entries(ctx, options["entries"])
    from ..site_builder.build import build
    from ..site_builder.texts import CannotPublish

    try:
        pages = build(entries, Path(out))
    except CannotPublish as problem:
        refuse(problem.found, problem.expected)
    except OSError as problem:
        refuse(f'"{problem.filename or out}" ({(problem.strerror or str(problem)).lower()})', "a folder that can be written")
    if options["as_json"]:
        print_json({"format": "tellmark/site/1", "out": out, "pages": pages})
    else:
        click.echo(f"{pages} pages in {out}")
