"""Types of the few things of lxml that are used here; the package ships none."""

from collections.abc import Iterator

class HtmlElement:
    tag: str
    def iter(self, *tags: str) -> Iterator[HtmlElement]: ...
    def text_content(self) -> str: ...

def fromstring(html: bytes) -> HtmlElement: ...
