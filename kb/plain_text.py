"""The plain text of what somebody saved: a text file in any usual encoding, or a web page without its markup."""

import codecs
import re
from html.parser import HTMLParser

from .findings import BadInput, Finding, Kind

#: A saved page may be so large; its text, so long.
MOST_BYTES, MOST_TEXT = 8 << 20, 60_000
#: More control characters than this share, and it is no text.
BINARY = 0.01
MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
CHARSET = re.compile(rb"<meta[^>]+charset\s*=\s*[\"']?\s*([A-Za-z0-9_-]+)", re.IGNORECASE)
PAGE = re.compile(r"<!doctype html|<html[\s>]|<body[\s>]|</(?:p|div|span|table|td|li|h[1-6])>|<br\s*/?>", re.IGNORECASE)
#: What is in these is no text; what these stand for ends a line.
DROPPED = frozenset({"script", "style", "noscript", "template", "title", "head", "svg", "select", "button"})
ENDS_A_LINE = frozenset(
    [
        "address",
        "article",
        "aside",
        "blockquote",
        "br",
        "dd",
        "div",
        "dl",
        "dt",
        "figcaption",
        "footer",
        "form",
        "h1",
        "h2",
        "h3",
        "h4",
        "h5",
        "h6",
        "header",
        "hr",
        "li",
        "main",
        "nav",
        "ol",
        "p",
        "pre",
        "section",
        "table",
        "td",
        "th",
        "tr",
        "ul",
    ]
)
#: Elements that hold nothing, and so are never closed.
EMPTY = frozenset(["area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"])


def plain_text(data: bytes, shown: str) -> str:
    """The text in these bytes, of a web page what one reads on it. Raises BadInput where it is none, empty, or too long."""
    if len(data) > MOST_BYTES:
        raise _problem(shown, Kind.LIMIT, "a file over 8 MiB", "at most 8 MiB; save the text alone")
    text = _decoded(data, shown)
    text = tidy(_without_markup(text) if PAGE.search(text) else text)
    if not text:
        raise _problem(shown, Kind.UNREADABLE, "no text", "what a seller wrote, as plain text or as a saved page")
    if len(text) > MOST_TEXT:
        expected = f"at most {MOST_TEXT:,} characters; keep the description alone"
        raise _problem(shown, Kind.LIMIT, f"a text of {len(text):,} characters", expected)
    return text


def _problem(shown: str, kind: Kind, found: str, expected: str) -> BadInput:
    return BadInput([Finding(shown, 0, 0, kind, found, expected)])


def _decoded(data: bytes, shown: str) -> str:
    """UTF-8, UTF-16 with its mark, what a page says it is, or else the western code page, in which every text can be read."""
    for mark, encoding in MARKS:
        if data.startswith(mark):
            return _sound(data.decode(encoding, errors="replace"), shown)
    if b"\x00" in data:
        raise _problem(shown, Kind.UNREADABLE, "a binary file", "a text, or a saved web page")
    stated = CHARSET.search(data[:4096])
    for encoding in ["utf-8", *([stated[1].decode("ascii")] if stated else [])]:
        try:
            return _sound(data.decode(encoding), shown)
        except (UnicodeDecodeError, LookupError):
            continue
    return _sound(data.decode("cp1252", errors="replace"), shown)


def _sound(text: str, shown: str) -> str:
    """The text, unless it is full of what no text holds. Raises BadInput."""
    strange = sum(not (one.isprintable() or one in "\t\n\r\f\v") for one in text)
    if strange > BINARY * len(text) + 1:
        raise _problem(shown, Kind.UNREADABLE, "a binary file", "a text, or a saved web page")
    return text


def tidy(text: str) -> str:
    """Without control characters, blank ends of lines, and more than one empty line."""
    kept = "".join(one if one.isprintable() or one == "\n" else " " for one in text.replace("\r\n", "\n").replace("\r", "\n"))
    lines = [" ".join(line.split()) for line in kept.split("\n")]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).strip()


def _without_markup(page: str) -> str:
    reader = _Page()
    reader.feed(page)
    reader.close()
    return "".join(reader.pieces)


class _Page(HTMLParser):
    """Gathers what one reads on a page; source line ends are blanks there."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = []
        self.dropping: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A new line, or a stretch to drop, begins; what is hidden is not read either."""
        hidden = any(name == "hidden" for name, _ in attrs)
        if (tag in DROPPED or hidden or (self.dropping and tag == self.dropping[-1])) and tag not in EMPTY:
            self.dropping.append(tag)
        if tag == "body":
            self.dropping.clear()  # a head that was never closed
        if tag in ENDS_A_LINE:
            self.pieces.append("\n")

    def handle_endtag(self, tag: str) -> None:
        """What was begun ends."""
        if self.dropping and tag == self.dropping[-1]:
            self.dropping.pop()
        if tag in ENDS_A_LINE:
            self.pieces.append("\n")

    def handle_data(self, data: str) -> None:
        """Text, unless it is dropped."""
        if not self.dropping:
            self.pieces.append(re.sub(r"\s+", " ", data))
