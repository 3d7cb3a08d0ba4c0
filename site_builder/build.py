"""The static site: records become pages of plain values, pages become files, and the files replace the last site whole.

Links are relative and nothing reads a clock: the site works from a folder on disk as well as under any address, and equal
entries give equal bytes.  A build makes only what has changed since the last one (`reads.py`) and links the rest from there; how
a module adds pages or files is said in `page.py`, and the modules that do are listed here.
"""

import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path
from textwrap import shorten
from typing import Any

from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined

from ..kb.cache import kept_beside
from ..kb.load import Entries
from . import changes, compare_pages, exports, pages, pocket, search_pages
from .linked_data import Linker, script
from .page import File, Page, Values
from .reads import Changes, Digests, Key, Record, digest, recorded
from .records_json import beside
from .sitemap import sitemap_files
from .tables import Site
from .texts import FOLDERS, CannotPublish

HERE = Path(__file__).parent
#: Lists the files of a site that a build wrote; a folder without it, or with anything else in it, is left alone.
MARKER = ".tellmark-site"
#: The modules that offer `pages(site)` or `files(site)`.
PRODUCERS: tuple[Any, ...] = (pages, pocket, search_pages, compare_pages, changes, exports)
#: Pages that are reached from the foot of every page.
MORE = [
    ("Search", "search.html"),
    ("Liveries", "liveries.html"),
    ("Makers", "makers.html"),
    ("Sources", "sources.html"),
    ("What is not known yet", "wanted.html"),
    ("Recent changes", "changes.html"),
    ("Data", "data.html"),
]
#: Longer titles are cut off where they are shown.
LONGEST_TITLE = 70
#: What pages are made with beside our own code.
MADE_WITH = ("jinja2", "markupsafe", "markdown-it-py", "nh3", "numpy", "pydantic")

Output = Page | File
#: Wraps the list of what is to be made, to show how far it is.
Progress = Callable[[Sequence[Output]], Iterable[Output]]


@dataclass(frozen=True)
class Built:
    """What a build did: the number of pages of the site, of its files in all, and of those that were made now."""

    pages: int
    files: int
    made: int


def build(entries: Entries, out: Path, base: str = "", progress: Progress = iter) -> Built:
    """Writes the site of sound entries to `out`. `base`: its address to be, with a slash at its end.

    Raises CannotPublish, or OSError of the disk.
    """
    target = out.resolve()
    refuse_foreign(target)
    site = Site(entries, base)
    outputs = list(offered(site))
    outputs += _sitemap(site, outputs)
    _refuse_twice(outputs)
    digests = Digests(entries)
    mark = _mark(entries, base)
    place = kept_beside(target, ".site.json")
    old = _kept(place, mark, target)
    kept = _unchanged(outputs, old, Changes(old, digests, site.memo), target) if old else {}
    waiting = [one for one in outputs if one.address not in kept]
    made: dict[str, bytes] = {}
    reads = {path: old.outputs[path][0] for path in kept} if old else {}
    maker = _Maker(site, place)
    for one in progress(waiting):
        made[one.address], reads[one.address] = site.memo.reading(partial(maker.bytes_of, one))
    publish(made, target, list(kept))
    if place is not None:
        _keep(place, recorded(mark, _stats(target, reads, kept), site.memo, digests, old))
    return Built(sum(isinstance(one, Page) for one in outputs), len(outputs), len(made))


def offered(site: Site) -> Iterator[Output]:
    """Every page and every file of the site; none of them made yet."""
    for producer in PRODUCERS:
        for name in ("pages", "files"):
            if hasattr(producer, name):
                yield from getattr(producer, name)(site)
    static = HERE / "static"
    for path in sorted(path for path in static.rglob("*") if path.is_file()):
        yield File(path.relative_to(static).as_posix(), path.read_bytes)


def _refuse_twice(outputs: Iterable[Output]) -> None:
    seen: set[str] = set()
    for one in outputs:
        if one.address in seen:
            raise CannotPublish(f'"{one.address}" twice', "every address once")
        seen.add(one.address)


class _Maker:
    """Makes the bytes of pages and files. Templates are compiled once."""

    def __init__(self, site: Site, store: Path | None) -> None:
        self.site = site
        about = site.about
        self.about: Values = {"title": about.title, "license": about.license, "maintainers": about.maintainers}
        self.linker = Linker(site)
        self.environment = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            auto_reload=False,
            bytecode_cache=FileSystemBytecodeCache(str(store.parent), "template-%s.compiled") if store else None,
        )

    def bytes_of(self, one: Output) -> bytes:
        """The content of a page or a file."""
        return one.content() if isinstance(one, File) else self.page(one).encode("utf-8")

    def page(self, one: Page) -> str:
        """A page as HTML."""
        if one.record is not None:
            self.site.name(*one.record)  # its title
        values = one.values()
        linked = values.get("linked") or script(self.linker.page(one.address, one.title, *(one.record or ())))
        common: Values = {
            "site": self.about,
            "title": one.title,
            "head_title": self.head_title(one.title),
            "up": "../" * one.address.count("/"),
            "address": one.address,
            "styles": one.styles,
            "scripts": one.scripts,
            "more": MORE,
            "edit": None,
            "report": None,
            "json": beside(one.address) if one.record is not None and one.record[0] in FOLDERS else None,
            "canonical": self.site.base + one.address if self.site.base else None,
            "description": f"{one.title}. {self.about['title']}.",
        }
        text = self.environment.get_template(one.template).render(common | values | {"linked": linked})
        return "\n".join([line.rstrip(" \t") for line in text.split("\n")])

    def head_title(self, title: str) -> str:
        """What a list of results and a tab show: the page's own name, and the record's where there is room for it."""
        if title == self.about["title"] or len(f"{title} · {self.about['title']}") > LONGEST_TITLE:
            return shorten(title, LONGEST_TITLE, placeholder="…")
        return f"{title} · {self.about['title']}"


def _sitemap(site: Site, outputs: Sequence[Output]) -> list[File]:
    """The sitemap, where the address of the site is known, with the day each record was last verified."""
    if not site.base:
        return []
    pages = [one for one in outputs if isinstance(one, Page)]

    def made() -> dict[str, bytes]:
        days = {one.address: _verified(site, one) for one in pages}
        return dict(sitemap_files(site.base, days, {address: day for address, day in days.items() if day}))

    kept = site.memo.kept(made)
    return [File(name, lambda name=name: kept()[name]) for name in kept()]


def _verified(site: Site, page: Page) -> str | None:
    if page.record is None:
        return None
    kind, ident = page.record
    return getattr(site.entries.of(kind)[ident], "verified", None)


# What the last build left -------------------------------------------------------------------------------------------------


def _mark(entries: Entries, base: str) -> str:
    """Of everything that all pages lean on."""
    code = sorted(path for folder in (HERE, HERE.parent / "kb", HERE.parent / "identify") for path in folder.rglob("*"))
    seen = ((path, path.stat()) for path in code if path.suffix != ".pyc" and path.is_file())
    files = [f"{path}:{stat.st_size}:{stat.st_mtime_ns}" for path, stat in seen]
    packages = [f"{name} {version(name)}" for name in MADE_WITH]
    return digest(sys.version, *packages, *files, str(entries.root.resolve()), entries.about.model_dump_json(), base)


def _kept(place: Path | None, mark: str, target: Path) -> Record | None:
    """The record of the last build to this folder, if what all pages lean on is the same."""
    if place is None or not (target / MARKER).is_file():
        return None
    try:
        old = Record.of_text(place.read_text("utf-8"))
    except (OSError, UnicodeDecodeError):
        return None
    return old if old is not None and old.mark == mark else None


def _unchanged(outputs: Iterable[Output], old: Record, changes: Changes, target: Path) -> dict[str, tuple[int, int]]:
    """{address: size and time} of what would be made the same again, and stands as it was written."""
    found: dict[str, tuple[int, int]] = {}
    for one in outputs:
        before = old.outputs.get(one.address)
        if before is not None and not changes.any(before[0]) and _stat(target / one.address) == before[1:]:
            found[one.address] = before[1:]
    return found


def _stat(path: Path) -> tuple[int, int] | None:
    try:
        seen = os.stat(path)  # noqa: PTH116 (thousands of them)
    except OSError:
        return None
    return seen.st_size, seen.st_mtime_ns


def _stats(
    target: Path, reads: Mapping[str, tuple[Key, ...]], kept: Mapping[str, tuple[int, int]]
) -> dict[str, tuple[tuple[Key, ...], int, int]]:
    """What was read for each file of the new site, with its size and time."""
    found: dict[str, tuple[tuple[Key, ...], int, int]] = {}
    for path, read in reads.items():
        seen = kept.get(path) or _stat(target / path)
        if seen is not None:
            found[path] = (read, *seen)
    return found


def _keep(place: Path, record: Record) -> None:
    """Writes beside and renames, so that a reader never sees half of it."""
    try:
        with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=place.parent, delete=False) as file:
            file.write(record.text())
        Path(file.name).replace(place)
    except OSError:
        return


# The folder -----------------------------------------------------------------------------------------------------------------


def refuse_foreign(target: Path) -> None:
    """Raises CannotPublish when `target` holds anything that an earlier build did not write."""
    if target.exists() and not target.is_dir():
        raise CannotPublish(f'a file at "{target}"', "a folder, or nothing yet")
    present = set(_files(target))
    if present and MARKER not in present:
        raise CannotPublish(f'files in "{target}" that no site build wrote', "an empty folder, or a site built earlier")
    made = {MARKER, *(target / MARKER).read_text("utf-8", errors="replace").split("\n")} if present else set[str]()
    strangers = sorted(present - made)
    if strangers:
        others = f" and {len(strangers) - 1} more" if len(strangers) > 1 else ""
        raise CannotPublish(f'"{strangers[0]}"{others} in "{target}"', "only what the last build wrote there")


def _files(target: Path) -> Iterator[str]:
    """The path below `target` of everything in it but plain folders; a link to a folder counts as a file."""
    start = len(str(target)) + 1
    for place, folders, names in os.walk(target):
        inside = place[start:] + "/" if len(place) >= start else ""
        yield from (inside + name for name in names)
        yield from (inside + name for name in folders if os.path.islink(os.path.join(place, name)))  # noqa: PTH114, PTH118


def publish(files: Mapping[str, bytes], target: Path, kept: Sequence[str] = ()) -> None:
    """Writes all files beside `target`, then swaps the folders. Until then, and after any failure, the old site stands.

    kept: paths of the old site that are in the new one as they are.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    fresh, old = beside / "fresh", beside / "old"
    try:
        _write(files, fresh, target, kept)
        if target.exists():
            _swap(fresh, target, old)
        else:
            fresh.rename(target)
    finally:
        if target.exists() or not old.exists():
            shutil.rmtree(beside, ignore_errors=True)


def _write(files: Mapping[str, bytes], root: Path, target: Path, kept: Sequence[str]) -> None:
    for path in [*files, *kept]:
        if not _inside(path):
            raise CannotPublish(f'the path "{path}"', "a path inside the site")
    for folder in sorted({path.rpartition("/")[0] for path in [*files, *kept]}):
        (root / folder).mkdir(parents=True, exist_ok=True)
    for path, content in files.items():
        (root / path).write_bytes(content)
    for path in kept:
        _link(f"{target}/{path}", f"{root}/{path}")
    (root / MARKER).write_bytes("".join(f"{path}\n" for path in sorted([*files, *kept])).encode("utf-8"))


def _inside(path: str) -> bool:
    return all(step not in ("", ".", "..") for step in path.split("/")) and "\\" not in path and "\0" not in path


def _link(source: str, place: str) -> None:
    """The same file in a second place, where the disk can; else a copy with its time of change."""
    try:
        os.link(source, place)
    except OSError:
        shutil.copy2(source, place)


def _swap(fresh: Path, target: Path, old: Path) -> None:
    target.rename(old)
    try:
        fresh.rename(target)
    except BaseException:
        old.rename(target)
        raise
