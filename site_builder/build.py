"""The static site: records become pages of plain values, pages become files, and the files replace the last site whole.

Links are relative and nothing reads a clock: the site works from a folder on disk as well as under any address, and equal
entries give equal bytes.
"""

import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from ..kb.load import Entries
from .pages import Page, pages
from .texts import CannotPublish

HERE = Path(__file__).parent
#: Lists the files of a site that a build wrote; a folder without it, or with anything else in it, is left alone.
MARKER = ".tellmark-site"


def build(entries: Entries, out: Path) -> int:
    """Writes the site of sound entries to `out`; returns the number of pages. Raises CannotPublish, or OSError of the disk."""
    target = out.resolve()
    refuse_foreign(target)
    drawn = list(pages(entries))
    publish(rendered(drawn), target)
    return len(drawn)


def rendered(drawn: Iterable[Page]) -> dict[str, bytes]:
    """{path below the root: content} of all pages and of what they share."""
    environment = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    files = {path.name: path.read_bytes() for path in sorted((HERE / "static").glob("*.css"))}
    for page in drawn:
        up = "../" * page.address.count("/")
        text = environment.get_template(page.template).render(page.values, up=up, address=page.address)
        files[page.address] = text.encode("utf-8")
    return files


def refuse_foreign(target: Path) -> None:
    """Raises CannotPublish when `target` holds anything that an earlier build did not write."""
    if target.exists() and not target.is_dir():
        raise CannotPublish(f'a file at "{target}"', "a folder, or nothing yet")
    present = {(Path(place) / name).relative_to(target).as_posix() for place, name in _files(target)}
    if present and MARKER not in present:
        raise CannotPublish(f'files in "{target}" that no site build wrote', "an empty folder, or a site built earlier")
    made = {MARKER, *(target / MARKER).read_text("utf-8", errors="replace").split("\n")} if present else set[str]()
    strangers = sorted(present - made)
    if strangers:
        others = f" and {len(strangers) - 1} more" if len(strangers) > 1 else ""
        raise CannotPublish(f'"{strangers[0]}"{others} in "{target}"', "only what the last build wrote there")


def _files(target: Path) -> Iterable[tuple[str, str]]:
    """(folder, name) of everything in `target` but plain folders; a link to a folder counts as a file."""
    for place, folders, names in os.walk(target):
        yield from ((place, name) for name in names)
        yield from ((place, name) for name in folders if (Path(place) / name).is_symlink())


def publish(files: Mapping[str, bytes], target: Path) -> None:
    """Writes all files beside `target`, then swaps the folders. Until then, and after any failure, the old site stands."""
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    fresh, old = beside / "fresh", beside / "old"
    try:
        _write(files, fresh)
        if target.exists():
            _swap(fresh, target, old)
        else:
            fresh.rename(target)
    finally:
        if target.exists() or not old.exists():
            shutil.rmtree(beside, ignore_errors=True)


def _write(files: Mapping[str, bytes], root: Path) -> None:
    inside = root.resolve()
    for path, content in files.items():
        place = root / path
        if not place.resolve().is_relative_to(inside):
            raise CannotPublish(f'the path "{path}"', "a path inside the site")
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
    (root / MARKER).write_bytes("".join(f"{path}\n" for path in sorted(files)).encode("utf-8"))


def _swap(fresh: Path, target: Path, old: Path) -> None:
    target.rename(old)
    try:
        fresh.rename(target)
    except BaseException:
        old.rename(target)
        raise
