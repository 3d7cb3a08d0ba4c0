"""`tellmark site`: the knowledge base as a folder of pages."""

import gc
import re
import sys
import threading
from collections.abc import Callable, Iterable, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from .common import entries_option, entries_root, found_sound, of_the_disk, print_json, refuse, said, sound_entries, wrong

if TYPE_CHECKING:
    from ..kb.load import Entries
    from ..site_builder.texts import CannotPublish

T = TypeVar("T")
#: What the first save needs and a site that stands as it is wanted did not; loaded while somebody looks at it.
NEEDED = ("watchfiles", "tellmark.kb.check", "tellmark.site_builder.templating")
BASE = re.compile(r"https?://[^\s/?#\"'<>]+(/[^\s?#\"'<>]*)?")


@click.group("site")
def command() -> None:
    """Publish the knowledge base as a static site: one folder that works from disk and from any web server."""


@command.command("build")
@click.option("--out", required=True, type=click.Path(), help="Folder to write; an earlier site there is replaced whole.")
@click.option("--base-url", default="", help="The address it will have, for the sitemap, the feed and for search engines.")
@click.option("--json", "as_json", is_flag=True, help="What was written as JSON.")
@entries_option
@click.pass_context
def build_command(ctx: click.Context, out: str, **options: Any) -> None:
    """Write what has changed since the last build. The site that stands there is replaced at the very end, or not at all."""
    base = _base(options["base_url"])
    entries = sound_entries(ctx, options["entries"])
    found = _build(entries, out, base)
    if options["as_json"]:
        print_json({"format": "tellmark/site/1", "out": out, **found})
    else:
        click.echo(f"{found['pages']} pages in {out}; {found['made']} of {found['files']} files made now")


@command.command("preview")
@click.option("--out", type=click.Path(), help="Folder to write; where not given, one that is gone afterwards.")
@click.option("--port", default=8471, show_default=True, type=click.IntRange(0, 65535), help="0 takes any that is free.")
@entries_option
@click.pass_context
def preview_command(ctx: click.Context, out: str | None, port: int, **options: Any) -> None:
    """Show the site on this machine while you write: every save builds it anew and reloads the page. Ctrl-C ends it."""
    import tempfile

    with tempfile.TemporaryDirectory(prefix="tellmark-") as folder:
        _preview(ctx, Path(out or f"{folder}/site"), port, options["entries"])


def _base(written: str) -> str:
    """The address of the site with a slash at its end; ends the command for what is none."""
    if written and not BASE.fullmatch(written):
        refuse(f'"{written}"', "an address such as https://trains.example.org/record/")
    return written.rstrip("/") + "/" if written else ""


def _build(entries: "Entries", out: str, base: str = "") -> dict[str, int]:
    """Builds, or ends the command with what stands in the way."""
    from ..site_builder.build import build
    from ..site_builder.texts import CannotPublish

    try:
        return vars(build(entries, Path(out), base, _shown))
    except (CannotPublish, OSError) as problem:
        refuse(*_in_the_way(problem, out))


def _in_the_way(problem: "CannotPublish | OSError", out: str) -> tuple[str, str]:
    """What was found and what was expected where a site could not be written."""
    if isinstance(problem, OSError):
        return of_the_disk(problem, out), "a folder that can be written"
    return problem.found, problem.expected


def _shown(waiting: Sequence[T]) -> Iterable[T]:
    """The list with a bar that says how far it is, on a terminal only."""
    if not sys.stderr.isatty():
        return waiting
    from tqdm import tqdm

    return tqdm(waiting, desc="pages", unit="", leave=False, file=sys.stderr)


def built_again(root: Path, out: Path, stands: Callable[[], object]) -> list[str]:
    """Builds what has changed and says how much that was, or returns everything that is in the way.

    stands: called as soon as the new site stands.
    """
    from ..kb.findings import BadInput
    from ..site_builder.build import build
    from ..site_builder.texts import CannotPublish

    try:
        entries = found_sound(root)
    except (BadInput, OSError) as problem:
        return said(problem)
    try:
        found = build(entries, out, stands=stands)
    except (CannotPublish, OSError) as problem:
        return [wrong(*_in_the_way(problem, str(out)))]
    click.echo(f"{found.made} of {found.files} files made now", err=True)
    gc.collect()  # the pages that were made hold each other
    return []


def _preview(ctx: click.Context, out: Path, port: int, stated: str | None) -> None:
    from ..kb.cache import fingerprint
    from ..kb.uncollected import settled
    from ..site_builder.preview import HOST, News, saves, serve, watch

    root = entries_root(ctx, stated)
    before = fingerprint(root)
    _build(sound_entries(ctx, stated), str(out))
    settled()
    news, stop = News(), threading.Event()
    try:
        server = serve(out, port, news)
    except OSError as problem:
        refuse(f"port {port} ({(problem.strerror or str(problem)).lower()})", "a port that is free, or 0")

    def again() -> None:
        problems = built_again(root, out, news.tell)
        for one in [*problems, *(["not built: the last good site stands"] if problems else [])]:
            click.echo(one, err=True)

    threading.Thread(target=server.serve_forever, daemon=True).start()
    click.echo(f"http://{HOST}:{server.server_address[1]}/   Ctrl-C ends it")
    for name in NEEDED:
        import_module(name)
    try:
        watch(saves(root, stop), lambda: fingerprint(root), again, before)
    except KeyboardInterrupt:
        click.echo("", err=True)
    finally:
        server.shutdown()
        server.server_close()
