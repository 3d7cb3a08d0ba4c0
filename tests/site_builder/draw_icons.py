"""Draws the icons of phones out of `static/icon.svg`, with the browser of the tests: `python tests/site_builder/draw_icons.py`.

A maskable icon is cut to whatever shape a phone likes, so its drawing keeps to the middle (W3C, Web Application Manifest: a disc
of four fifths of its width is safe), and its ground goes to the edges.
"""

import re
import shutil
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright
from tellmark.site_builder.offline import COLOR, ICONS

STATIC = Path(__file__).parents[2] / "site_builder" / "static"


def drawn(browser: Browser, size: int, purpose: str) -> bytes:
    """An icon as PNG."""
    svg = (STATIC / "icon.svg").read_text("utf-8")
    if purpose == "maskable":
        svg = re.sub(r'viewBox="0 0 32 32"', 'viewBox="-5 -5 42 42"', svg, count=1)
    page = browser.new_page(viewport={"width": size, "height": size})
    ground = COLOR if purpose == "maskable" else "transparent"
    page.set_content(f"<style>body{{margin:0;background:{ground}}}svg{{display:block;width:100vw;height:100vh}}</style>{svg}")
    taken = page.screenshot(omit_background=True)
    page.close()
    return taken


if __name__ == "__main__":
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        for name, size, purpose in ICONS:
            (STATIC / name).write_bytes(drawn(browser, size, purpose))
        browser.close()
