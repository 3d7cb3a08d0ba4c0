"""What building the site takes on a generated knowledge base of 2,000 entries, beside two general generators of static sites

given as many equal pages in the same run, and Lighthouse's score for performance.

The speed of a machine with others on it changes by half within a minute.  All are built in turn, several times over, each time
into folders that are new; of times and ratios the middle one counts, and each time it is measured how fast the machine is.
"""

import contextlib
import functools
import gzip
import json
import os
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from statistics import median
from urllib.request import urlopen

from bench_generators import BIN, Took, generators, took, write_sources
from generated import generate
from tellmark.site_builder.preview import RELOAD

TESTS = Path(__file__).parent
LIGHTHOUSE = TESTS / "node_modules" / "lighthouse" / "cli" / "index.js"
#: The pages whose score is printed.
AUDITED = [
    "index.html",
    "families/cab-diesel-420.html",
    "families/tender-70.html",
    "variants/424-prairie-meridian-a-b2.html",
    "compare.html",
    "search.html",
]
#: A page's score moves by some points with what else the machine does: the middle one of so many counts.
AUDITS = 3
#: The site, and the pages of each generator, are built so many times in turn.
ROUNDS = 3
#: A preview is told so many changes, of which the middle one counts, and the machine's speed is that of so many starts.
SAVES = STARTS = 5
#: Seconds from one change to the next: nobody saves in the moment that the page shows the last.
PAUSE = 1.0
LIBRARIES = "import numpy, pydantic, click"
LOADED = "170 ms on the design's machine"
CHANGED = "families/cab-diesel-420/variants/424-prairie-meridian-a-b1.yaml"
Line = Callable[[str, str, str], None]


class Quiet(SimpleHTTPRequestHandler):
    """Serves a folder as web servers do, texts compressed (RFC 9110, 8.4.1.3), and says nothing."""

    def do_GET(self) -> None:
        """Answers with a file."""
        path = Path(self.translate_path(self.path))
        if path.suffix not in (".html", ".css", ".js", ".svg"):
            super().do_GET()
            return
        content = gzip.compress(path.read_bytes(), mtime=0)
        self.send_response(200)
        self.send_header("Content-Type", self.guess_type(str(path)))
        self.send_header("Content-Encoding", "gzip")
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        with contextlib.suppress(ConnectionError):  # a browser that closes stops its worker in the middle of a file
            self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Nothing."""


def site(line: Line) -> None:
    """Prints what a cold build, one of nothing and one after a changed entry take as whole processes, and the scores.

    Seconds of the processor are those of all processes together; on a machine with others on it only they can be compared.
    """
    print("\nThe site of 2,000 entries (clock, and processor)")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        root = generate(folder / "entries")
        last = _built_in_turn(root, folder, line)
        _built(root, last)  # once more to be sure of files that were written a moment before they were read
        line("numpy, pydantic and click loaded", _speed(_loaded(folder)), LOADED)
        line("with nothing changed", _both(_built(root, last)), "")
        changed = root / CHANGED
        changed.write_text(changed.read_text("utf-8").replace("about: >-\n", "about: >-\n  Seen once more. ", 1), "utf-8")
        line("after one entry changed", _both(_built(root, last)), "0.7 s")
        line("in a preview, from a save to the news of it", f"{_told(root, last, changed):.1f} s", "0.7 s")
        line("numpy, pydantic and click loaded", _speed(_loaded(folder)), LOADED)
    if LIGHTHOUSE.is_file() and (chromium := shutil.which("chromium")):
        with tempfile.TemporaryDirectory() as folder:
            _built(TESTS.parent / "entries", Path(folder))
            scores(Path(folder) / "site", chromium, line)


def _built_in_turn(root: Path, folder: Path, line: Line) -> Path:
    """Prints what cold builds take, and the generators; the folder in which the last one stands."""
    places = [folder / str(number) for number in range(ROUNDS)]
    rounds = [_round(root, place, line) for place in places]
    pages = _pages(places[-1])
    size = sum(page.stat().st_size for page in pages) / len(pages)
    mine = 1e3 * median(cold.processor for cold, _ in rounds) / len(pages)
    line(f"a page of {size / 1e3:.0f} kB, processor", f"{mine:.1f} ms", "")
    for generator in rounds[0][1]:
        pairs = [(cold, others[generator]) for cold, others in rounds]
        theirs = 1e3 * median(their.processor for _, (their, _) in pairs) / len(pages)
        worked = median(their.processor / my.processor for my, (their, _) in pairs)
        by_clock = median(their.clock / my.clock for my, (their, _) in pairs)
        times = f"{theirs:.1f} ms ({worked:.1f} x, {by_clock:.1f} x by the clock)"
        line(f"{generator}: a page of {pairs[0][1][1] / 1e3:.0f} kB", times, "3 x")
    return places[-1]


def _round(root: Path, place: Path, line: Line) -> tuple[Took, dict[str, tuple[Took, float]]]:
    """(what a cold build took, what each generator took and how many bytes a page has), all in a folder that is new."""
    place.mkdir()
    loaded = _loaded(place)
    line("numpy, pydantic and click loaded", _speed(loaded), LOADED)
    cold = _built(root, place)
    pages = _pages(place)
    line(f"cold, {len(pages):,} pages: {cold.clock / loaded.clock:.0f} times that", _both(cold), "10 s, 59 times that")
    write_sources(place / "site", place)
    return cold, {name: (spent, size) for name, spent, size in generators(place, len(pages))}


def _pages(place: Path) -> list[Path]:
    return list((place / "site").rglob("*.html"))


def _both(spent: Took) -> str:
    return f"{spent.clock:.1f} s, {spent.processor:.1f} s"


def _built(root: Path, folder: Path) -> Took:
    """Builds in a process of its own, which keeps what it keeps between runs in the folder too."""
    command = (BIN / "tellmark", "--entries", root, "site", "build", "--out", folder / "site")
    return took(*command, cwd=folder, XDG_CACHE_HOME=str(folder / "store"))


def _loaded(folder: Path) -> Took:
    """How fast the machine is just now."""
    found = [took(BIN / "python", "-c", LIBRARIES, cwd=folder) for _ in range(STARTS)]
    return Took(median(one.processor for one in found), median(one.clock for one in found))


def _speed(loaded: Took) -> str:
    return f"{1e3 * loaded.clock:.0f} ms, {1e3 * loaded.processor:.0f} ms"


def _told(root: Path, folder: Path, changed: Path) -> float:
    """Seconds until a page that is looked at hears of a changed entry, of a site that stands."""
    command = [
        str(one) for one in (BIN / "tellmark", "--entries", root, "site", "preview", "--port", 0, "--out", folder / "site")
    ]
    environment = os.environ | {"XDG_CACHE_HOME": str(folder / "store")}
    found: list[float] = []
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as preview:
        try:
            assert preview.stdout is not None
            address = preview.stdout.readline().split("/   ")[0]
            for number in range(SAVES):
                text = changed.read_text("utf-8").replace("once", "once more", 1)
                begun = time.perf_counter()
                changed.write_text(text, "utf-8")
                with urlopen(f"{address}{RELOAD}?{number}", timeout=60) as answer:
                    assert b"reload" in answer.read()
                found.append(time.perf_counter() - begun)
                time.sleep(PAUSE)
        finally:
            preview.kill()
    return median(found)


def scores(out: Path, chromium: str, line: Line) -> None:
    """Lighthouse's performance of some pages, served from this machine."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(out)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    flags = "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
    for name in AUDITED:
        address = f"http://127.0.0.1:{server.server_address[1]}/{name}"
        command = ["node", str(LIGHTHOUSE), address, "--quiet", "--output=json", f"--chrome-flags={flags}"]
        seen = [_score(command, chromium) for _ in range(AUDITS)]
        line(f"Lighthouse performance, {name}", f"{median(seen):.0f} ({min(seen):.0f} to {max(seen):.0f})", "100")
    server.shutdown()
    server.server_close()


def _score(command: list[str], chromium: str) -> float:
    done = subprocess.run(
        [*command, "--only-categories=performance"],
        env=os.environ | {"CHROME_PATH": chromium},
        capture_output=True,
        check=True,
    )
    return 100 * (json.loads(done.stdout)["categories"]["performance"]["score"] or 0)
