"""The static site: records become pages of plain values, pages become files, and the files take their places at the very end.

Links are relative and nothing reads a clock: the site works from a folder on disk as well as under any address, and equal
entries give equal bytes.  A build makes only what has changed since the last one (`reads.py`, `record.py`) and leaves the rest
as it stands (`folder.py`); how a module adds pages or files is said in `page.py`, and the modules that do are listed here.
"""

import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache, partial
from itertools import chain, islice
from pathlib import Path
from textwrap import shorten
from typing import Any, NamedTuple

from ..kb.cache import fetched, keep, kept_beside
from ..kb.forked import processes_for, spread, stepped
from ..kb.load import Entries
from ..kb.uncollected import uncollected
from . import changes, compare_pages, exports, identify_pages, listing_pages, measure_pages, offline, pages, pocket, search_pages
from .folder import MARKER, Fresh, Seen, beside, refuse_wrong, standing, write_marker
from .installed import versions
from .linked_data import Linker, script
from .page import File, Page, Values
from .reads import ALL, MADE, Answers, Digests, Key, Known, Reads, Sum, digest
from .record import Changes, Record, Recorder, Written
from .records_json import beside as json_beside
from .sitemap import sitemap_files
from .tables import Site
from .texts import FOLDERS

HERE = Path(__file__).parent
#: The modules that offer `pages(site)` or `files(site)`.
PRODUCERS: tuple[Any, ...] = (
    pages,
    identify_pages,
    listing_pages,
    measure_pages,
    pocket,
    search_pages,
    compare_pages,
    changes,
    exports,
    offline,
)
#: Pages that are reached from the foot of every page.
MORE = [
    ("Search", "search.html"),
    ("Read a listing", "listing.html"),
    ("Measure on a photograph", "measure.html"),
    ("Liveries", "liveries.html"),
    ("Makers", "makers.html"),
    ("Sources", "sources.html"),
    ("What is not known yet", "wanted.html"),
    ("Recent changes", "changes.html"),
    ("Data", "data.html"),
    ("Without a signal", "offline.html"),
]
#: Longer titles are cut off where they are shown.
LONGEST_TITLE = 70
#: So many outputs that share nothing are made by one process one after another.
FEW_ENOUGH = 20
#: So many outputs are made before they are written.
WRITTEN_AT_ONCE = 64
#: A process hands over what it found out after so many seconds, so that it can be written down while more is made.
REPORT_EVERY = 1.0
#: What pages are made with beside our own code.
MADE_WITH = ("jinja2", "markupsafe", "markdown-it-py", "nh3", "numpy", "pillow", "pydantic")

Output = Page | File
#: Wraps the list of what is to be made, to show how far it is.
Progress = Callable[[Sequence[Output]], Iterable[Output]]


@dataclass(frozen=True)
class Built:
    """What a build did: the number of pages of the site, of its files in all, and of those that were made now."""

    pages: int
    files: int
    made: int


def build(
    entries: Entries,
    out: Path,
    base: str = "",
    progress: Progress = iter,
    processes: int | None = None,
    stands: Callable[[], object] = lambda: None,
) -> Built:
    """Writes the site of sound entries to `out`. `base`: its address to be, with a slash at its end.

    processes: how many may make a part of it each; as many as the machine has for it where not given.
    stands: called as soon as the site stands, before it is written down what it was made from.
    Raises CannotPublish, or OSError of the disk.
    """
    with uncollected():
        return _build(entries, out.resolve(), base, progress, processes, stands)


def _build(
    entries: Entries, target: Path, base: str, progress: Progress, processes: int | None, stands: Callable[[], object]
) -> Built:
    present = standing(target)
    mark = _mark(entries, base)
    place = kept_beside(target, ".site.pickle")
    old = fetched(place, mark, Record) if place and present else None
    digests = Digests(entries, old.known if old else Known())
    if old is not None and digests.nothing_changed and old.stands(present):
        stands()
        return Built(old.pages, len(old.outputs), 0)
    site = Site(entries, base)
    changes = site.memo.earlier = Changes(old, digests, site.memo) if old else None
    outputs = list(offered(site))
    outputs += _sitemap(site, outputs)
    addresses = [one.address for one in outputs]
    refuse_wrong(addresses)
    recorder = Recorder(digests, changes) if place else None
    made = _Made(site, changes, recorder, present, processes)
    with ExitStack() as swapped:
        made.all(outputs, progress, lambda: _Maker(site, swapped.enter_context(beside(target)), place))
    stands()
    pages = sum(isinstance(one, Page) for one in outputs)
    if place and recorder:
        record = recorder.recorded(addresses)
        record.known, record.pages = digests.known, pages
        keep(place, mark, record, held=True)
    return Built(pages, len(outputs), len(made.written))


def offered(site: Site) -> Iterator[Output]:
    """Every page and every file of the site; none of them made yet."""
    for producer in PRODUCERS:
        for name in ("pages", "files"):
            if hasattr(producer, name):
                yield from getattr(producer, name)(site)
    static = HERE / "static"
    for path in sorted(path for path in static.rglob("*") if path.is_file()):
        yield File(path.relative_to(static).as_posix(), path.read_bytes)


class _Maker:
    """Makes pages and files, and writes them to a folder. Templates are compiled once."""

    def __init__(self, site: Site, fresh: Fresh, store: Path | None) -> None:
        from .templating import Templates  # here, since it takes long to load and many a build makes nothing

        self.site, self.fresh = site, fresh
        about = site.about
        self.about: Values = {"title": about.title, "license": about.license, "maintainers": about.maintainers}
        self.linker = Linker(site)
        self.templates = Templates(store.parent if store else None)

    def make(self, one: Output) -> tuple[str, bytes, Reads]:
        """(its address, its content, what was read for it)."""
        return one.address, *self.site.memo.reading(partial(self.bytes_of, one))

    def write(self, made: Iterable[tuple[str, bytes, Reads]]) -> dict[str, Written]:
        """Writes what was made, one after another, at which the system is faster. The folders must be there."""
        return {address: Written(read, self._written(address, content), Sum.of(content)) for address, content, read in made}

    def _written(self, address: str, content: bytes) -> int:
        """When it was (ns)."""
        with open(f"{self.fresh.path}/{address}", "wb", buffering=0) as file:  # noqa: PTH123 (thousands of them)
            file.write(content)
            return os.fstat(file.fileno()).st_mtime_ns

    def bytes_of(self, one: Output) -> bytes:
        """The content of a page or a file."""
        return one.content() if isinstance(one, File) else self.page(one)

    def page(self, one: Page) -> bytes:
        """A page as HTML, without blanks at the ends of lines."""
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
            "json": json_beside(one.address) if one.record is not None and one.record[0] in FOLDERS else None,
            "canonical": self.site.base + one.address if self.site.base else None,
            "description": f"{one.title}. {self.about['title']}.",
        }
        text = self.templates.get_template(one.template).render(common | values | {"linked": linked})
        return _stripped(text.encode("utf-8"))

    def head_title(self, title: str) -> str:
        """What a list of results and a tab show: the page's own name, and the record's where there is room for it."""
        if title == self.about["title"] or len(f"{title} · {self.about['title']}") > LONGEST_TITLE:
            return shorten(title, LONGEST_TITLE, placeholder="…")
        return f"{title} · {self.about['title']}"


def _stripped(content: bytes) -> bytes:
    """Without blanks at the ends of lines. Few lines have any, so to look for them is faster than to take the lines apart."""
    while b" \n" in content or b"\t\n" in content:
        content = content.replace(b" \n", b"\n").replace(b"\t\n", b"\n")
    return content.rstrip(b" \t")


def _sitemap(site: Site, outputs: Sequence[Output]) -> list[File]:
    """The sitemap, where the address of the site is known, with the day each record was last verified."""
    if not site.base:
        return []
    pages = [one for one in outputs if isinstance(one, Page)]

    def made() -> dict[str, bytes]:
        site.memo.note((MADE, ALL))
        days = {one.address: _verified(site, one) for one in pages}
        return dict(sitemap_files(site.base, days, {address: day for address, day in days.items() if day}))

    kept = site.memo.kept(made)
    return [File(name, lambda name=name: kept()[name]) for name in kept()]


def _verified(site: Site, page: Page) -> str | None:
    if page.record is None:
        return None
    kind, ident = page.record
    return getattr(site.entries.of(kind)[ident], "verified", None)


class _Made:
    """The files of a site as they come into being, stage by stage: those of the last build that stay, and those made now.

    maker     None as long as the site that stands is the one that is wanted
    written   what was made now
    """

    def __init__(
        self, site: Site, changes: Changes | None, recorder: Recorder | None, present: Mapping[str, Seen], processes: int | None
    ) -> None:
        self.site = site
        self.maker: _Maker | None = None
        self._changes, self._recorder, self._present, self._processes = changes, recorder, present, processes
        self.written: dict[str, Written] = {}

    def all(self, outputs: Sequence[Output], progress: Progress, begin: Callable[[], _Maker]) -> None:
        """Every output, the stages in their order. `begin`: opens a new site, if there is anything to change at all."""
        addresses = {one.address for one in outputs}
        stages = {stage: [one for one in outputs if one.stage == stage] for stage in sorted({one.stage for one in outputs})}
        first, *later = stages.values()
        waiting = self._waiting(first, addresses)
        shown = _shown(progress, [*waiting, *chain.from_iterable(later)])
        self._make(waiting, shown, begin)
        for stage in later:
            self._make(self._waiting(stage, addresses), shown, begin)
        for _ in shown:
            pass  # those of later stages that stayed
        gone = self._present.keys() - addresses - {MARKER}
        if gone or self.maker:
            fresh = (self.maker or self._begun(begin)).fresh
            fresh.gone = gone if len(self.written) < len(addresses) else None
            write_marker(fresh.path, addresses)
        self._learn({}, *self.site.memo.found())

    def _waiting(self, outputs: Iterable[Output], addresses: set[str]) -> list[Output]:
        """All but what would be made the same again and stands as it was written."""
        if self._changes:
            self._changes.files_made(self.written, addresses)
        waiting: list[Output] = []
        for one in outputs:
            before = self._changes.old.outputs.get(one.address) if self._changes else None
            stands = before is not None and self._present.get(one.address) == (before.size, before.at)
            if before is None or self._changes is None or not stands or self._changes.any(before.read):
                waiting.append(one)
            else:
                self.site.made[one.address] = Sum(before.size, before.sha256)
        return waiting

    def _begun(self, begin: Callable[[], _Maker]) -> _Maker:
        self.maker = self.maker or begin()
        return self.maker

    def _make(self, waiting: Sequence[Output], shown: Iterator[Output], begin: Callable[[], _Maker]) -> None:
        if not waiting:
            return
        maker = self._begun(begin)
        maker.fresh.make_folders(one.address for one in waiting)
        tasks = _tasks(self.site, waiting)
        processes = self._processes or processes_for(len(waiting))
        self._learn({}, *self.site.memo.found())  # so that no other process says it once more
        for report in stepped(spread(tasks, partial(self._work, maker), min(processes, len(tasks))), shown):
            if self._changes:
                self._changes.clear(report.cleared)
            self.site.memo.learn(report.lasting, report.answers)
            self.site.made |= {address: one.sum for address, one in report.written.items()}
            self._learn(report.written, report.answers, report.lasting)

    def _learn(self, written: Mapping[str, Written], answers: Answers, lasting: Mapping[Key, Any]) -> None:
        self.written |= written
        if self._recorder:
            self._recorder.learn(written, answers, lasting)

    def _work(self, maker: _Maker, tasks: Iterable[Sequence[Output]]) -> Iterator["_Report | int"]:
        """What one process does: how many outputs it has made since it last said so, and now and then all that it did."""
        written, at = dict[str, Written](), time.monotonic()
        made = map(maker.make, chain.from_iterable(tasks))  # a task is taken when the one before is done, and no sooner
        while some := list(islice(made, WRITTEN_AT_ONCE)):
            written |= maker.write(some)
            yield len(some)
            if time.monotonic() - at > REPORT_EVERY:
                yield _Report(written, *self.site.memo.found(), set())
                written, at = {}, time.monotonic()
        yield _Report(written, *self.site.memo.found(), self._changes.cleared if self._changes else set())


def _shown(progress: Progress, outputs: Sequence[Output]) -> Iterator[Output]:
    """Begins to show how far it is with the first step: a bar has a thread of its own, and the forks come before it."""
    yield from progress(outputs)


class _Report(NamedTuple):
    """What a process has written, the answers it worked out, those that last with what they say; at its end all it cleared."""

    written: dict[str, Written]
    answers: Answers
    lasting: dict[Key, Any]
    cleared: set[int]


def _tasks(site: Site, outputs: Iterable[Output]) -> list[list[Output]]:
    """The outputs that one process should make one after another, those first that take longest; a few of no home make one."""
    by_home: dict[str, list[Output]] = {}
    for one in outputs:
        by_home.setdefault(_home(site, one), []).append(one)
    homeless = by_home.pop("", [])
    part = {*site.plain.families, *site.plain.slot_types}  # any other home leans on the whole of the entries
    tasks = sorted(by_home, key=lambda home: (home in part, -len(by_home[home])))
    return [*(by_home[home] for home in tasks), *(homeless[n : n + FEW_ENOUGH] for n in range(0, len(homeless), FEW_ENOUGH))]


def _home(site: Site, one: Output) -> str:
    """As it says, else the family or slot type of the record it is about."""
    if one.home or not isinstance(one, Page) or one.record is None:
        return one.home
    kind, ident = one.record
    return site.plain.home.get(one.record, ident if kind == "family" else "")


# What the last build left -------------------------------------------------------------------------------------------------


def _mark(entries: Entries, base: str) -> str:
    """Of everything that all pages lean on."""
    others = _files(path for path in HERE.rglob("*") if path.suffix not in (".py", ".pyc"))
    return digest(sys.version, *versions(MADE_WITH), *_modules(), *others, str(entries.root.resolve()), repr(entries.about), base)


@cache
def _modules() -> list[str]:
    """Our own code as it was when this process loaded it, whatever has been written since."""
    return _files(path for folder in (HERE, HERE.parent / "kb", HERE.parent / "identify") for path in folder.rglob("*.py"))


def _files(paths: Iterable[Path]) -> list[str]:
    seen = ((path, path.stat()) for path in sorted(paths) if path.is_file())
    return [f"{path}:{stat.st_size}:{stat.st_mtime_ns}" for path, stat in seen]
