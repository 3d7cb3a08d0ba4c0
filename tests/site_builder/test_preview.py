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
from tellmark.site_builder.preview import LOOKS_AT_MOST, RELOAD, News, serve
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


#: What is shown by each look, the capital where it was told that something is being written.
LOOKS: dict[str, tuple[str, list[str]]] = {
    "nothing new": ("aaa", []),
    "written as it was": ("AaA", []),
    "saved while the site was built": ("Bb", ["b"]),
    "saved later": ("aBbb", ["b"]),
    "where nothing is told": ("abbb", ["b"]),
    "half written at first": ("aBcc", ["c"]),
    "saved twice": ("BbCc", ["b", "c"]),
    "set back": ("BbAa", ["b", "a"]),
    "written without end": ("A" + "Bc" * LOOKS_AT_MOST, ["c", "c"]),
}


@pytest.mark.parametrize(("looks", "built"), LOOKS.values(), ids=LOOKS)
def test_what_is_saved_is_built_once_it_is_written(monkeypatch: pytest.MonkeyPatch, looks: str, built: list[str]) -> None:
    monkeypatch.setattr(preview, "LOOKING", inf)
    monkeypatch.setattr(preview, "WRITTEN_WITHIN", 0)
    waiting, seen, found = list(looks), list[str](), list[str]()

    def saved() -> Iterator[bool]:
        while waiting:
            yield waiting[0].isupper()

    def look() -> str:
        seen.append(waiting.pop(0) if waiting else seen[-1])
        return seen[-1].lower()

    preview.watch(saved(), look, lambda: found.append(seen[-1].lower()), "a")
    assert found == built


def test_looking_untold_takes_a_tenth_of_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    now, looks = [0.0], list[float]()
    monkeypatch.setattr(preview.time, "monotonic", lambda: now[0])

    def look() -> str:
        looks.append(now[0])
        now[0] += 2.0
        return "a"

    def saved() -> Iterator[bool]:
        for _ in range(100):
            now[0] += 1.0
            yield False
        yield True

    preview.watch(saved(), look, lambda: None, "a")
    assert looks == [1.0, 23.0, 45.0, 67.0, 89.0, 110.0]


@contextmanager
def watching(root: Path, changed: Callable[[], None]) -> Generator[None]:
    """What is saved below a folder calls, from when somebody listens."""
    stop, listening = threading.Event(), threading.Event()

    def saved() -> Iterator[bool]:
        for sure in preview.saves(root, stop):
            listening.set()
            yield sure

    def look() -> str:
        return "".join(sorted(path.read_text("utf-8") for path in root.rglob("*.yaml")))

    thread = threading.Thread(target=preview.watch, args=(saved(), look, changed, ""))
    thread.start()
    try:
        assert listening.wait(30)
        yield
    finally:
        stop.set()
        thread.join(timeout=30)
        assert not thread.is_alive()


def test_a_file_that_is_saved_in_pieces_is_built_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preview, "WRITTEN_WITHIN", 0.5)
    inside = tmp_path / "parts" / "wheel.yaml"
    inside.parent.mkdir()
    built = Queue[str]()
    with watching(tmp_path, lambda: built.put(inside.read_text("utf-8"))):
        for number in range(1, 41):
            inside.write_text(f"{number} of 40", "utf-8")
            time.sleep(0.02)
        assert built.get(timeout=30) == "40 of 40"
    assert built.empty()


def test_what_is_saved_during_a_build_is_built_after_it(tmp_path: Path) -> None:
    inside, built, going_on = tmp_path / "wheel.yaml", Queue[str](), threading.Event()

    def changed() -> None:
        built.put(inside.read_text("utf-8"))
        assert going_on.wait(30)

    with watching(tmp_path, changed):
        inside.write_text("first", "utf-8")
        assert built.get(timeout=30) == "first"
        inside.write_text("second", "utf-8")
        going_on.set()
        assert built.get(timeout=30) == "second"


def test_hidden_files_are_not_told_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preview, "LOOK_EVERY", 300)
    root = tmp_path / ".mine" / "entries"
    (root / ".history").mkdir(parents=True)
    told = preview.saves(root, threading.Event())
    assert not next(told), "nothing yet, but somebody listens"
    (root / "wheel.yaml").write_text("name: Wheel", "utf-8")
    assert any(islice(told, 100))
    while next(told):
        pass  # until it is quiet
    for name in (".wheel.yaml.swp", ".history/wheel.yaml"):
        (root / name).write_text("name: Wheel", "utf-8")
    assert not next(told)
    told.close()


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
