"""Photographs that entries name: whether each is there, and is a picture of a kind and size that can be shown."""

from collections.abc import Iterator
from pathlib import Path

from .findings import Finding, Kind, quoted
from .load import Entries
from .models import Photograph

MOST_BYTES = 20_000_000
MOST_PIXELS = 50_000_000
#: How the files of each format begin, with what must stand behind it and where.
FORMATS = {"JPEG": (b"\xff\xd8\xff", b"", 0), "PNG": (b"\x89PNG\r\n\x1a\n", b"", 0), "WebP": (b"RIFF", b"WEBP", 8)}
EXPECTED = "a photograph as JPEG, PNG or WebP in the folder of the entries"


def photographs_of(entries: Entries) -> Iterator[tuple[str, str, tuple[str | int, ...], Photograph]]:
    """(kind, id of the record, path inside it, photograph) of every photograph that is named."""
    for kind in ("variant", "part"):
        for ident, one in entries.of(kind).items():
            yield from ((kind, ident, ("photographs", n), photograph) for n, photograph in enumerate(one.photographs))
    for ident, family in entries.families.items():
        for name, spot in family.damage.items():
            for n, photograph in enumerate(spot.photographs):
                yield "family", ident, ("damage", name, "photographs", n), photograph


def check_photographs(entries: Entries) -> Iterator[Finding]:
    """Everything that is wrong with the files that entries name."""
    for kind, ident, inner, photograph in photographs_of(entries):
        found = wrong(entries.root, photograph.file)
        if found:
            from .yaml_text import places_in  # here, since mostly nothing is wrong

            place = entries.places[kind, ident]
            text = (entries.root / place.path).read_text("utf-8-sig", errors="replace")
            at = places_in(text, place.path).at((*place.loc, *inner, "file"))
            yield Finding(place.path, *at, Kind.DANGLING, found, EXPECTED)


def wrong(root: Path, file: str) -> str | None:
    """What is wrong with a photograph; None where nothing is."""
    steps = file.split("/")
    if any(step in ("", ".", "..") or step.startswith("__") for step in steps) or "\\" in file:
        return f"the file {quoted(file)}"
    path = root / file
    if not path.is_file() or not path.resolve().is_relative_to(root.resolve()):
        return f"no file {quoted(file)}"
    if path.stat().st_size > MOST_BYTES:
        return f"{quoted(file)}, over {MOST_BYTES // 1_000_000} MB"
    with path.open("rb") as opened:
        head = opened.read(16)
    if not any(head.startswith(start) and head[at : at + len(then)] == then for start, then, at in FORMATS.values()):
        return f"{quoted(file)}, which is none"
    return _unreadable(path, file)


def _unreadable(path: Path, file: str) -> str | None:
    # Imported here: only who has photographs needs it.
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path, formats=[name.upper() for name in FORMATS]) as image:
            if image.width * image.height > MOST_PIXELS:
                return f"{quoted(file)}, over {MOST_PIXELS // 1_000_000} million pixels"
            image.verify()
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        return f"{quoted(file)}, which cannot be read"
    return None
