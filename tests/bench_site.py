"""What building the site takes on a generated knowledge base of 2,000 entries, and Lighthouse's score for performance."""

import functools
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

from generated import generate
from tellmark.kb.cache import sound
from tellmark.site_builder.build import build

TESTS = Path(__file__).parent
LIGHTHOUSE = TESTS / "node_modules" / "lighthouse" / "cli" / "index.js"
#: The pages whose score is printed.
AUDITED = ["index.html", "families/tender-70.html", "variants/424-prairie-meridian-a-b2.html", "compare.html", "search.html"]
CHANGED = "families/cab-diesel-420/variants/424-prairie-meridian-a-b1.yaml"
Line = Callable[[str, str, str], None]


class Quiet(SimpleHTTPRequestHandler):
    """Serves a folder and says nothing."""

    def log_message(self, format: str, *args: object) -> None:
        """Nothing."""


def site(line: Line) -> None:
    """Prints the times of a cold build and of one after a changed entry, loading included, and the scores."""
    print("\nThe site of 2,000 entries")
    with tempfile.TemporaryDirectory() as folder:
        root = generate(Path(folder) / "entries")
        cold, pages = _built(root, Path(folder) / "site")
        line(f"cold, {pages:,} pages", f"{cold:.1f} s", "10 s")
        changed = root / CHANGED
        changed.write_text(changed.read_text("utf-8").replace("about: >-\n", "about: >-\n  Seen once more. ", 1), "utf-8")
        line("after one entry changed", f"{_built(root, Path(folder) / 'site')[0]:.1f} s", "0.7 s")
    if LIGHTHOUSE.is_file() and (chromium := shutil.which("chromium")):
        with tempfile.TemporaryDirectory() as folder:
            _built(TESTS.parent / "entries", Path(folder) / "site")
            scores(Path(folder) / "site", chromium, line)


def _built(root: Path, out: Path) -> tuple[float, int]:
    begun = time.perf_counter()
    entries, findings = sound(root)
    assert not findings, findings[:3]
    built = build(entries, out)
    return time.perf_counter() - begun, built.pages


def scores(out: Path, chromium: str, line: Line) -> None:
    """Lighthouse's performance of some pages, served from this machine without compression."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(out)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    flags = "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
    for name in AUDITED:
        address = f"http://127.0.0.1:{server.server_address[1]}/{name}"
        command = ["node", str(LIGHTHOUSE), address, "--quiet", "--output=json", f"--chrome-flags={flags}"]
        done = subprocess.run(
            [*command, "--only-categories=performance"],
            env=os.environ | {"CHROME_PATH": chromium},
            capture_output=True,
            check=True,
        )
        score = json.loads(done.stdout)["categories"]["performance"]["score"]
        line(f"Lighthouse performance, {name}", f"{100 * (score or 0):.0f}", "100")
    server.shutdown()
    server.server_close()
