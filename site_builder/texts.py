"""Small texts of a page: addresses, Markdown made safe, years, weights, counts."""

import re
from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from markupsafe import Markup

from ..kb.models import Trait
from ..kb.values import ID_PATTERN, Years

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from nh3 import Cleaner

#: The folder of each kind of record that has pages.
FOLDERS = {
    "family": "families",
    "variant": "variants",
    "set": "sets",
    "part": "parts",
    "procedure": "procedures",
    "source": "sources",
}
#: Where records stand that have no page of their own; `*` is the id.
ON_LISTS = {"maker": "makers.html#*", "livery": "liveries.html#*", "slot type": "parts.html#type-*"}
#: What a link in a text may lead to.
OUTWARD = re.compile(r"(https?://|mailto:)[^\s\"'<>]+", re.IGNORECASE)
_ID = re.compile(ID_PATTERN)
#: A paragraph that means the same without Markdown, and holds nothing to escape.
PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9.,;:'\"()/%–-]*(?: [A-Za-z0-9.,;:'\"()/%–-]+)*\n?")
MARKDOWN_TAGS = {"p", "em", "strong", "ul", "ol", "li", "a", "code", "pre", "blockquote", "br", "hr", "h3", "h4", "h5", "h6"}


class CannotPublish(Exception):
    """The site cannot be written as asked: what was found, and what was expected."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(found, expected)  # so that it can be sent from one process to another
        self.found, self.expected = found, expected

    def __str__(self) -> str:
        return f"found {self.found}, expected {self.expected}"


def address(kind: str, ident: str) -> str:
    """Where the page of a record stands below the root. Raises CannotPublish for an id that could lead out of its folder."""
    if not _ID.fullmatch(ident):
        raise CannotPublish(f"the id {ident!r}", "lower-case letters and digits in words joined by hyphens")
    return f"{FOLDERS[kind]}/{ident}.html"


def trait_address(kind: str | None, home: str, ident: str) -> str:
    """Where the page of a trait stands: of a family (kind "family"), a slot type ("slot type"), or common to all (None)."""
    if not all(_ID.fullmatch(one) for one in ([home, ident] if kind else [ident])):
        raise CannotPublish(f"the ids {home!r} and {ident!r}", "lower-case letters and digits in words joined by hyphens")
    return f"{'families' if kind == 'family' else 'parts'}/{home}/{ident}.html" if kind else f"traits/{ident}.html"


def filled(pattern: str, **values: str) -> str:
    """The address of a form with its places filled in, each value as an address has to spell it."""
    return re.sub(r"\{(\w+)\}", lambda found: quote(values.get(found[1], ""), safe="/" if found[1] == "file" else ""), pattern)


@cache
def _reader() -> "MarkdownIt":
    """CommonMark without raw HTML and pictures; a link that does not lead to the web or to mail stays the text it was."""
    from markdown_it import MarkdownIt  # here, since many a build has no such text to read, and this takes long to load

    class Reader(MarkdownIt):
        def validateLink(self, url: str) -> bool:  # noqa: N802 (named by the library)
            return OUTWARD.fullmatch(url) is not None

    return Reader("commonmark", {"html": False}).disable("image")


@cache
def _cleaner() -> "Cleaner":
    from nh3 import Cleaner  # as the reader

    return Cleaner(tags=MARKDOWN_TAGS, attributes={"a": {"href"}, "ol": {"start"}}, url_schemes={"http", "https", "mailto"})


def markdown(text: str | None) -> Markup | None:
    """Safe HTML of a Markdown text, its headings two levels down so that they stand below the page's own."""
    if text is None:
        return None
    if PLAIN.fullmatch(text):
        return Markup(f"<p>{text.rstrip()}</p>\n")  # most are no more, and to read one takes a hundred times as long
    reader = _reader()
    tokens = reader.parse(text)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = f"h{min(6, int(token.tag[1:]) + 2)}"
    return Markup(_cleaner().clean(reader.renderer.render(tokens, reader.options, {})))


def years(made: Years | None) -> str | None:
    """Years as print has them."""
    return str(made).replace("..", "–") if made else None


def weight(value: str | float | None) -> str | None:
    """A word of how common, or its number."""
    return value if value is None or isinstance(value, str) else f"{value:g}"


def counted(number: float, noun: str) -> str:
    """1 variant, 2 variants."""
    return f"{number:g} {noun}{'' if number == 1 else 's'}"


def sentence(text: str) -> str:
    """With a capital at the start."""
    return text[:1].upper() + text[1:]


def plus_minus(text: str, trait: Trait | None) -> str:
    """A measured value with its proper sign."""
    return text.replace(" +- ", " ± ") if trait and trait.measured else text


def labeled(pairs: Iterable[tuple[str, Any]]) -> list[dict[str, Any]]:
    """The pairs that say something, for a list of labels."""
    return [{"label": label, "value": value} for label, value in pairs if value is not None]


def opening(text: str | None, most: int = 150) -> str | None:
    """The first sentences of a text in Markdown, as many as have room in so many characters, but at least one.

    It ends where no emphasis, code or link is left open, and never past the first paragraph.
    """
    if not text:
        return None
    paragraph = re.split(r"\n\s*\n", text.strip(), maxsplit=1)[0]
    ends = [found.end() for found in re.finditer(r"[.!?][\"”’)*_`]*(?=\s)", paragraph)] + [len(paragraph)]
    whole = [end for end in ends if _closed(paragraph[:end])] or [len(paragraph)]
    return paragraph[: max((end for end in whole if end <= most), default=whole[0])]


def _closed(text: str) -> bool:
    marks = re.findall(r"\*\*|[*_`]", text)
    return all(marks.count(mark) % 2 == 0 for mark in set(marks)) and all(text.count(a) == text.count(b) for a, b in ("[]", "()"))
