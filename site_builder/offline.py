"""The site without a signal: what a browser keeps of it, and how it is put among the programs of a phone.

    worker.js          keeps files and answers from them: `modules/offline/worker.js`, behind the list of files with their sums
    site.webmanifest   name, colors and icons, as a browser wants them (W3C, Web Application Manifest)
    offline.html       says so, and stands in the place of a page that is not kept
    offline.js         begins it on every page, where the site has come over a network

Kept at once are all tools with their data: every file at the root, and the folders in `TOOLS`.  The folders in `REST` follow in
this order as long as all that is kept stays within `MOST_BYTES`, a folder whole or not at all; what is left is kept as it is
read.  The name of a version is the sum of all outputs, so equal sites have equal workers, and any change is a new one.
"""

import base64
import json
from collections.abc import Iterator, Mapping
from functools import partial
from hashlib import sha256
from textwrap import shorten
from typing import NamedTuple

from .data_scripts import assigned
from .joined import joined
from .page import File, Page, Values
from .reads import Sum
from .tables import Site
from .texts import counted

#: Folders without which a tool at the root does not work.
TOOLS = ("identify", "search", "compare", "measure", "vendor")
#: Folders of pages and their pictures, the most wanted first.
REST = ("families", "procedures", "parts", "pictures", "traits", "variants", "sets", "pocket-sheets", "sources", "photographs")
#: Everything that is kept beforehand, as it is on the disk; a server sends about a fifth of it.
MOST_BYTES = 24 << 20
#: What nobody reads without a network: for search engines, feed readers and other programs.
NEVER = (".json", ".xml", ".txt", ".webmanifest")
ICONS = [("icon-192.png", 192, "any"), ("icon-512.png", 512, "any"), ("icon-maskable-512.png", 512, "maskable")]
PAPER, COLOR = "#fbfcfb", "#0b5a6b"
#: Longer names are cut off below an icon.
LONGEST_NAME = 14
WORKER, PAGE = "worker.js", "offline.html"
#: After all that is made first, and the list of downloads.
ABOUT, LAST = 2, 3


class Plan(NamedTuple):
    """The addresses that are kept at once, and those that follow; how many pages and pictures are kept as they are read."""

    first: list[str]
    rest: list[str]
    others: int


def pages(site: Site) -> Iterator[Page]:
    """The page about it."""
    yield Page(PAGE, "offline.html", "Without a signal", partial(_values, site), stage=ABOUT)


def files(site: Site) -> Iterator[File]:
    """The worker and the manifest."""
    yield File("site.webmanifest", partial(_manifest, site))
    yield File(WORKER, partial(_worker, site), stage=LAST)


def plan(made: Mapping[str, Sum]) -> Plan:
    """What is kept of a site with these files."""
    folders: dict[str, list[str]] = {}
    for address in sorted(made):
        if not address.endswith(NEVER) and address not in (WORKER, PAGE):
            folders.setdefault(address.partition("/")[0] if "/" in address else "", []).append(address)
    first = [address for folder in ("", *TOOLS) for address in folders.pop(folder, [])]
    room = MOST_BYTES - sum(made[address].size for address in first)
    rest: list[str] = []
    for folder in REST:
        inside = folders.get(folder, [])
        room -= sum(made[address].size for address in inside)
        if room < 0:
            break
        rest += folders.pop(folder, [])
    others = sum(len(folders.get(folder, [])) for folder in REST)
    return Plan(first, rest, others)


def _values(site: Site) -> Values:
    made = dict(site.made.items())
    found = plan(made)

    def said(addresses: list[str]) -> Values:
        total = sum(made[address].size for address in addresses)
        return {"count": len(addresses), "text": counted(len(addresses), "file"), "size": f"{total / (1 << 20):.1f} MiB"}

    return {"first": said(found.first), "rest": said(found.rest), "others": found.others}


def _worker(site: Site) -> bytes:
    """The list of files with their sums as Subresource Integrity (W3C) writes them, and the worker."""
    made = dict(site.made.items())
    found = plan(made)

    def listed(addresses: list[str]) -> list[list[str]]:
        return [[address, _integrity(made[address])] for address in addresses]

    every = "".join(f"{address} {made[address].sha256}\n" for address in sorted(made))
    version = sha256(every.encode()).hexdigest()[:16]
    kept = {"version": version, "first": listed([*found.first, PAGE]), "rest": listed(found.rest)}
    return assigned("var tellmarkKept", kept) + joined("offline/worker.js", "tellmarkWorker").encode("utf-8")


def _integrity(one: Sum) -> str:
    return f"sha256-{base64.b64encode(bytes.fromhex(one.sha256)).decode()}"


def _manifest(site: Site) -> bytes:
    title = site.about.title
    icons = [{"src": name, "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose} for name, size, purpose in ICONS]
    drawn = {"src": "icon.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"}
    shortcuts = [("What is it?", "identify.html"), ("Measure on a photograph", "measure.html"), ("Search", "search.html")]
    plain = {
        "name": title,
        "short_name": shorten(title, LONGEST_NAME, placeholder="").rstrip(",;:.") or title[:LONGEST_NAME],
        "lang": "en",
        "id": "./",
        "start_url": "./index.html",
        "scope": "./",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": COLOR,
        "icons": [*icons, drawn],
        "shortcuts": [{"name": name, "url": f"./{address}"} for name, address in shortcuts],
    }
    return (json.dumps(plain, ensure_ascii=False, indent=2) + "\n").encode("utf-8")
