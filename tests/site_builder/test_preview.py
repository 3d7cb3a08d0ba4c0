"""The preview: served on this machine alone, built anew on every save, and the news of it told to the page."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import contextmanager
from errno import ENOENT, ENOSPC
from functools import partial
from itertools import islice
from math import inf
from pathlib import Path
from queue import Queue
from typing import Any, NoReturn
from urllib.error import HTTPError
from urllib.request import Request, urlopen
from weakref import ref

import pytest
from tellmark.cli import common
from tellmark.cli.site import built_again
from tellmark.kb.uncollected import uncollected
from tellmark.site_builder import build, preview
from tellmark.site_builder.preview import RELOAD, News, serve
from tellmark.site_builder.tables import Site

Folder = Callable[[Mapping[str, Any]], Path]


def fetched(address: str, host: str | None = None) -> str:
    request = Request(address, headers={"Host": host} if host else {})
    with urlopen(request, timeout=60) as answer:
        return answer.read().decode()


@contextmanager
def serving(folder: Path, news: News) -> Generator[str]:
    server = serve(folder, 0, news)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()


def test_page_learns_of_a_change(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("<html><head><title>a</title></head></html>", "utf-8")
    (tmp_path / "site.css").write_text("p { margin: 0 }", "utf-8")
    news = News()
    with serving(tmp_path, news) as address:
        page = fetched(f"{address}/")
        assert f'<script defer src="{RELOAD}?from=0"></script></head>' in page
        assert fetched(f"{address}/site.css") == "p { margin: 0 }"
        assert "askForNews(0)" in fetched(f"{address}{RELOAD}?from=0")
        threading.Timer(0.2, news.tell).start()
        assert fetched(f"{address}{RELOAD}?0") == "location.reload();"


def test_page_from_elsewhere_gets_nothing(tmp_path: Path) -> None:
    """A name that leads to this machine from a page elsewhere is not ours."""
    (tmp_path / "index.html").write_text("<html></html>", "utf-8")
    with serving(tmp_path, News()) as address, pytest.raises(HTTPError, match="403"):
        fetched(f"{address}/", host="rebound.example:80")


@contextmanager
def previewing(root: Path, tmp_path: Path) -> Generator[tuple[subprocess.Popen[str], str]]:
    """The command, ended whatever happens, and its address."""
    command = [sys.executable, "-m", "tellmark.cli.main", "--entries", str(root), "site", "preview", "--port", "0"]
    environment = os.environ | {"XDG_CACHE_HOME": str(tmp_path / "store")}
    heard = partial(signal.signal, signal.SIGINT, signal.default_int_handler)  # it is not where tests run in the background
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=heard
    ) as process:
        try:
            assert process.stdout is not None
            found = re.match(r"(http://127\.0\.0\.1:\d+)/", process.stdout.readline())
            assert found is not None
            yield process, found[1]
        finally:
            process.kill()


def test_saving_builds_and_tells(folder: Folder, tmp_path: Path) -> None:
    root = folder({})
    with previewing(root, tmp_path) as (process, address):
        assert process.stderr is not None
        assert "Wheel" in fetched(f"{address}/parts.html")
        bad = root / "parts" / "wheel" / "disc.yaml"
        good = bad.read_text("utf-8")
        bad.write_text(good.replace("thick", "thik"), "utf-8")
        assert "disc.yaml:3:8" in process.stderr.readline()
        assert "the last good site stands" in process.stderr.readline()
        bad.write_text(good.replace("Disc wheel", "Solid wheel"), "utf-8")
        assert re.match(r"\d+ of \d+ files made now", process.stderr.readline())
        assert "Solid wheel" in fetched(f"{address}/parts.html")
        assert fetched(f"{address}{RELOAD}?0") == "location.reload();"
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=60) == 0


def test_what_stands_in_the_way_of_a_save_is_said_and_the_good_site_stands(
    folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "store"))
    root, out, told = folder({}), tmp_path / "site", list[int]()

    def again() -> list[str]:
        return built_again(root, out, lambda: told.append(1))

    assert (again(), len(told)) == ([], 1)
    stranger = out / "notes.txt"
    stranger.write_text("mine", "utf-8")
    (root / "sources.yaml").write_text("notes:\n  name: Shelf papers\n  kind: notes\n", "utf-8")
    assert again() == [f'found "notes.txt" in "{out}", expected only what the last build wrote there']
    stranger.unlink()
    assert (again(), len(told)) == ([], 2)
    assert "Shelf papers" in (out / "sources.html").read_text("utf-8")
    (root / "traits.yaml").unlink()
    assert any("stripe" in one for one in again())
    assert len(told) == 2

    def gone(_: Path) -> NoReturn:
        raise FileNotFoundError(ENOENT, "No such file or directory", "disc.yaml")

    monkeypatch.setattr(common, "sound", gone)
    assert again() == ['found "disc.yaml" (no such file or directory), expected a file that can be read']


def test_what_a_build_leaves_behind_is_freed(folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever writes for hours saves a hundred times."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "store"))
    root, sites = folder({}), list[ref[Site]]()

    class Seen(Site):
        def __init__(self, *given: Any) -> None:
            super().__init__(*given)
            sites.append(ref(self))

    monkeypatch.setattr(build, "Site", Seen)
    with uncollected():
        for number in range(4):
            (root / "sources.yaml").write_text(f"notes:\n  name: Shelf papers {number}\n  kind: notes\n", "utf-8")
            assert built_again(root, tmp_path / "site", lambda: None) == []
        alive = [number for number, one in enumerate(sites) if one() is not None]
    assert len(sites) == 4
    assert alive in ([], [3]), "but for the last, which may be kept until the next"


#: What each look shows, and whether it was told that something was written.
LOOKS: dict[str, tuple[list[tuple[str, bool]], list[str]]] = {
    "nothing new": ([("a", False), ("a", False)], []),
    "written as it was": ([("a", True), ("a", True)], []),
    "saved while the site was built": ([("b", False), ("b", True)], ["b"]),
    "saved later": ([("a", False), ("b", True), ("b", False)], ["b"]),
    "where nothing is told": ([("a", False), ("b", False), ("b", False)], ["b"]),
    "saved twice": ([("b", True), ("c", True)], ["b", "c"]),
    "set back": ([("b", True), ("a", True)], ["b", "a"]),
}


@pytest.mark.parametrize(("looks", "built"), LOOKS.values(), ids=LOOKS)
def test_what_is_saved_is_built(monkeypatch: pytest.MonkeyPatch, looks: list[tuple[str, bool]], built: list[str]) -> None:
    monkeypatch.setattr(preview, "LOOKING", inf)
    shown, found = iter(looks), list[str]()
    seen = [""]

    def look() -> str:
        seen[0] = next(shown)[0]
        return seen[0]

    preview.watch((sure for _, sure in looks), look, lambda: found.append(seen[0]), "a")
    assert found == built


def test_looking_untold_takes_a_tenth_of_the_time() -> None:
    looks: list[float] = []

    def look() -> str:
        looks.append(time.monotonic())
        time.sleep(0.02)
        return "a"

    def untold() -> Iterator[bool]:
        until = time.monotonic() + 0.6
        while time.monotonic() < until:
            time.sleep(0.001)
            yield False

    preview.watch(untold(), look, lambda: None, "a")
    assert 1 < len(looks) <= 4


@contextmanager
def told_of(root: Path) -> Generator["Queue[float]"]:
    """When something is said to have been written, from when the folder is watched."""
    found, stop = Queue[float](), threading.Event()

    def listen() -> None:
        for sure in preview.saves(root, stop):
            if sure:
                found.put(time.monotonic())

    thread = threading.Thread(target=listen)
    thread.start()
    probe = root / "probe"
    try:
        until = time.monotonic() + 30
        while found.empty() and time.monotonic() < until:  # until it hears
            probe.write_text("x", "utf-8")
            time.sleep(0.1)
        while not found.empty():
            found.get()
            time.sleep(0.2)
        yield found
    finally:
        stop.set()
        thread.join(timeout=30)
        assert not thread.is_alive()


def test_a_save_is_told_of_once_it_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preview, "WRITTEN_WITHIN", 500)
    inside = tmp_path / "parts" / "wheel.yaml"
    inside.parent.mkdir()
    with told_of(tmp_path) as told:
        for _ in range(10):
            inside.write_text("half of it", "utf-8")
            time.sleep(0.005)
        written = time.monotonic()
        assert told.get(timeout=10) >= written
        assert told.empty()


def test_what_is_written_without_end_is_told_of_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preview, "WRITTEN_AT_MOST", 200)
    monkeypatch.setattr(preview, "WRITTEN_WITHIN", 100)
    with told_of(tmp_path) as told:
        until = time.monotonic() + 10
        while told.empty() and time.monotonic() < until:
            (tmp_path / "wheel.yaml").write_text("more of it", "utf-8")
            time.sleep(0.005)
        assert not told.empty()


def test_files_are_looked_at_where_the_system_tells_of_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: Any, **__: Any) -> NoReturn:
        raise OSError(ENOSPC, "OS file watch limit reached")

    monkeypatch.setattr("watchfiles.watch", refused)
    monkeypatch.setattr(preview, "LOOK_EVERY", 1)
    stop = threading.Event()
    found = list(islice(preview.saves(tmp_path, stop), 3))
    assert found == [False, False, False]
    stop.set()
    assert list(preview.saves(tmp_path, stop)) == []
