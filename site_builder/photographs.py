"""Photographs on pages: made smaller in two widths, without whatever else the camera wrote into the file."""

import io
from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

from ..kb.models import Photograph
from ..kb.photographs import photographs_of
from .page import File, Values
from .reads import FILE, digest
from .tables import Site

if TYPE_CHECKING:
    from PIL.Image import Image

#: In pixels: for a phone or a row of pictures, and for looking closely.
WIDTHS = (480, 1200)
QUALITY = 82


def shown(site: Site, photographs: Sequence[Photograph]) -> list[Values]:
    """Each photograph with its addresses, sizes, what it shows, and whose it is."""
    found: list[Values] = []
    for one in photographs:
        sizes = [_size(site, one.file, width) for width in WIDTHS]
        sources = [{"href": _address(one.file, width), "width": size[0]} for width, size in zip(WIDTHS, sizes, strict=True)]
        small = sizes[0]
        found.append(
            {
                "sources": sources,
                "width": small[0],
                "height": small[1],
                "shows": one.shows,
                "credit": one.credit,
                "license": one.license,
            }
        )
    return found


def files(site: Site) -> Iterator[File]:
    """The small and the large picture of every photograph that is named."""
    for name in dict.fromkeys(one.file for _, _, _, one in photographs_of(site.plain)):
        for width in WIDTHS:
            yield File(_address(name, width), partial(_resized, site, name, width))


def _address(file: str, width: int) -> str:
    """Of the made picture; two files of one name in different folders are two pictures."""
    stem = file.rsplit("/", 1)[-1].rsplit(".", 1)[0]
    plain = "".join(one if one.isascii() and (one.isalnum() or one in "-_") else "-" for one in stem)
    return f"photographs/{plain}-{digest(file)[:6]}-{width}.jpg"


def _opened(site: Site, file: str) -> "Image":
    from PIL import Image, ImageOps  # here and below: only who has photographs needs it

    site.memo.note((FILE, file))
    with Image.open(site.entries.root / file) as image:
        image.load()
        return ImageOps.exif_transpose(image)


def _size(site: Site, file: str, width: int) -> tuple[int, int]:
    from PIL import Image

    site.memo.note((FILE, file))
    with Image.open(site.entries.root / file) as image:
        turned = image.getexif().get(0x0112, 1) in (5, 6, 7, 8)
        across, down = (image.height, image.width) if turned else image.size
    return (across, down) if across <= width else (width, max(1, round(down * width / across)))


def _resized(site: Site, file: str, width: int) -> bytes:
    from PIL import Image

    image = _opened(site, file)
    size = _size(site, file, width)
    plain = Image.new("RGB", image.size, "white")
    plain.paste(image.convert("RGBA"), mask=image.convert("RGBA").getchannel("A"))
    made = io.BytesIO()
    plain.resize(size, Image.Resampling.LANCZOS).save(made, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return made.getvalue()
