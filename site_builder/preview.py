"""A site that is looked at while it is written: served on this machine alone, made anew on every save, reloaded in the browser.

The pages ask for nothing but scripts of their own place, so the news of a change comes as one: the browser asks for a script
that the server answers only when there is something new, and which then reloads the page.
"""

import contextlib
import os
import threading
import time
from collections.abc import Callable, Generator, Iterable
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from math import inf
from pathlib import Path
from urllib.parse import urlsplit

#: How long an answer is put off while nothing changes, in seconds.
ASK_AGAIN = 20.0
#: In milliseconds: how long the system gathers what it tells of, and how often the files are looked at without being told.
TELL_WITHIN, LOOK_EVERY = 10, 1000
#: The most of its time that is spent looking without being told: of very many files, less often.
LOOKING = 0.1
#: A file that is still as it was after so many seconds is not just being written; so many looks are waited for that.
WRITTEN_WITHIN, LOOKS_AT_MOST = 0.04, 25
#: No site has a file here.
RELOAD = "/-/reload.js"
HOST = "127.0.0.1"
#: By these names a browser on this machine asks for it; a page from elsewhere that was led here asks by another.
OWN_NAMES = (HOST, "localhost")


class News:
    """The number of the last change, and waiting for the next."""

    def __init__(self) -> None:
        self.number = 0
        self._changed = threading.Condition()

    def tell(self) -> None:
        """There is something new."""
        with self._changed:
            self.number += 1
            self._changed.notify_all()

    def after(self, number: int, seconds: float) -> int:
        """The number of the last change: at once if it is another than this, else when it comes or the time is over."""
        with self._changed:
            self._changed.wait_for(lambda: self.number != number, timeout=seconds)
            return self.number


class _Handler(SimpleHTTPRequestHandler):
    """Serves the folder, and the script that waits for news."""

    def __init__(self, *args: object, news: News, **kwargs: object) -> None:
        self.news = news
        super().__init__(*args, **kwargs)  # type: ignore[arg-type] (whatever the server hands over)

    def do_GET(self) -> None:
        """A file, a page with the script in its head, or the script."""
        where = urlsplit(self.path)
        if self.headers.get("Host", HOST).rpartition(":")[0] not in OWN_NAMES:
            self.send_error(403)
            return
        if where.path == RELOAD:
            self._script(where.query)
            return
        path = Path(self.translate_path(self.path))
        path = path / "index.html" if path.is_dir() else path
        if path.suffix == ".html" and path.is_file():
            script = f'<script defer src="{RELOAD}?from={self.news.number}"></script></head>'.encode()
            self._answer(path.read_bytes().replace(b"</head>", script, 1), "text/html; charset=utf-8")
        else:
            super().do_GET()

    def _script(self, query: str) -> None:
        """From a page: what asks with the page's own number. With a number: what to do once it has changed."""
        _, from_a_page, number = query.rpartition("from=")
        known = int(number) if number.isdecimal() and len(number) < 10 else -1
        if from_a_page:
            text = (
                "globalThis.askForNews = (number) => { const one = document.createElement('script'); "
                f"one.src = '{RELOAD}?' + number; one.onerror = () => setTimeout(() => askForNews(number), 1000); "
                f"document.head.append(one); }}; askForNews({known});"
            )
        else:
            text = f"askForNews({known});" if self.news.after(known, ASK_AGAIN) == known else "location.reload();"
        self._answer(text.encode(), "text/javascript; charset=utf-8")

    def _answer(self, content: bytes, kind: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        with contextlib.suppress(BrokenPipeError):  # the page that asked is closed
            self.wfile.write(content)

    def end_headers(self) -> None:
        """Nothing is kept by the browser: it would show what was."""
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Nothing is said of what is asked for."""


def serve(folder: Path, port: int, news: News) -> ThreadingHTTPServer:
    """A server of the folder, for this machine alone; whoever calls runs and closes it. Raises OSError for a port in use."""
    server = ThreadingHTTPServer((HOST, port), partial(_Handler, directory=str(folder), news=news))
    server.daemon_threads = True
    return server


def saves(root: Path, stop: threading.Event) -> Generator[bool]:
    """Whether something is being written below a folder, as soon as it is; and now and then, in case; until it is told to stop.

    The system does not tell of a file that a link leads to elsewhere, nor of every disk of another machine. Hidden files are no
    entries.
    """
    from watchfiles import watch as told

    def counts(_: object, path: str) -> bool:
        return f"{os.sep}." not in path.removeprefix(str(root))

    try:
        for found in told(
            root,
            watch_filter=counts,
            step=TELL_WITHIN,
            debounce=TELL_WITHIN,
            rust_timeout=LOOK_EVERY,
            yield_on_timeout=True,
            stop_event=stop,
            ignore_permission_denied=True,
        ):
            yield bool(found)
    except (OSError, RuntimeError):  # it tells no more programs than so many, or nothing of this disk
        while not stop.wait(LOOK_EVERY / 1000):
            yield False


def watch(saved: Iterable[bool], look: Callable[[], str], changed: Callable[[], None], before: str) -> None:
    """Calls `changed` whenever a look shows something else than `before`, once it stays so.

    saved  as of `saves`: there is a look at each that is true, and at others unless the last one took too long for that
    """
    took, looked = 0.0, -inf
    for sure in saved:
        begun = time.monotonic()
        if not sure and begun - looked < took / LOOKING:
            continue
        now = look()
        looked = time.monotonic()
        took = looked - begun
        if now != before:
            before = _written(look, now)
            changed()


def _written(look: Callable[[], str], now: str) -> str:
    """What a look shows once it is the same as the one before, which was `now`: whoever writes in pieces is waited for."""
    for _ in range(LOOKS_AT_MOST):
        time.sleep(WRITTEN_WITHIN)
        before, now = now, look()
        if now == before:
            break
    return now
