"""Types of the few things of feedparser that are used here; the package ships none."""

class Entry:
    title: str
    link: str
    summary: str

class Parsed:
    bozo: bool
    version: str
    entries: list[Entry]

def parse(source: bytes) -> Parsed: ...
