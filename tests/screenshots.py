"""The pictures of the site that the README shows, from a site that is built for them.

Run `python tests/screenshots.py FOLDER`; it writes there

    family.png     the variants on the page of a family, on a wide screen
    phone.png      the page of a variant, at the width of a phone, in the dark
    identify.png   a question of the page that identifies a unit

The files have at most 128 colors, so that each stays below 120 KB; look at them before they are kept.
"""

import io
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright
from tellmark.kb.cache import sound
from tellmark.site_builder.build import build

ENTRIES = Path(__file__).parents[1] / "entries"
MOST_BYTES = 120_000
COLORS = 128
#: What makes a browser ask nobody for anything by itself.
QUIET = ["--no-first-run", *(f"--disable-{one}" for one in ("gpu", "quic", "background-networking", "component-update", "sync"))]
#: {file: (address on the site, what the browser is told)}
SHOTS: Mapping[str, tuple[str, dict[str, Any]]] = {
    "family.png": ("families/cab-diesel-420.html#variants", {"viewport": {"width": 1080, "height": 960}}),
    "phone.png": (
        "variants/424-prairie-meridian-a-b2.html",
        {"viewport": {"width": 360, "height": 960}, "color_scheme": "dark"},
    ),
    "identify.png": (
        "identify.html#family=cab-diesel-420&views=side,nose&ask=any&main-color=orange&stripe-shape=chevron",
        {"viewport": {"width": 1080, "height": 960}},
    ),
}


def shots(site: Path) -> Iterator[tuple[str, bytes]]:
    """(file, its bytes as the browser makes them) of each."""
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", *QUIET])
        for name, (address, told) in SHOTS.items():
            page = browser.new_page(**told)
            path, _, fragment = address.partition("#")
            page.goto((site / path).as_uri() + (f"#{fragment}" if fragment else ""))
            page.wait_for_load_state("networkidle")
            yield name, page.screenshot()
            page.close()
        browser.close()


def smaller(picture: bytes) -> bytes:
    """The same picture with few colors."""
    written = io.BytesIO()
    Image.open(io.BytesIO(picture)).convert("RGB").quantize(COLORS, dither=Image.Dither.NONE).save(written, "PNG", optimize=True)
    return written.getvalue()


def main(folder: Path) -> None:
    """Writes all of them; says how large each is, and which is too large."""
    folder.mkdir(parents=True, exist_ok=True)
    entries, findings = sound(ENTRIES)
    if findings:
        sys.exit("\n".join(map(str, findings)))
    with tempfile.TemporaryDirectory() as made:
        site = Path(made) / "site"
        build(entries, site)
        for name, picture in shots(site):
            small = smaller(picture)
            (folder / name).write_bytes(small)
            print(f"{folder / name}: {len(small):,} bytes{'' if len(small) < MOST_BYTES else ', which is too many'}")


if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1].startswith("-"):
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
