"""Every record as JSON: one file beside each page, and the whole knowledge base as one file.

Variants are resolved: they say what they inherit as well, with the sources of it.  In all files one record is on one line, so
that two of them can be compared line by line.
"""

import json
from collections.abc import Mapping
from typing import Any

from ..kb.describe import record, stated_record
from ..kb.load import FIELDS
from .tables import Site
from .whole import Whole

RECORD_FORMAT = "tellmark/record/1"
WHOLE_FORMAT = "tellmark/knowledge-base/1"


_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(", ", ": "), allow_nan=False)


def compact(value: object) -> str:
    """As JSON on one line. Text stays readable; no number is written that JSON does not have."""
    return _ENCODER.encode(value)


def record_text(site: Site, kind: str, ident: str) -> str:
    """JSON of a record."""
    return compact(_record(site, kind, ident))


def _record(site: Site, kind: str, ident: str) -> dict[str, Any]:
    if kind == "variant" and ident in site.whole:
        return stated_record(site.whole[ident], site.seats.get(ident, []))
    home = {"part": "slot_type", "set": "family", "sighting": "family", "variant": "family"}.get(kind)
    own = {home: site.entries.home[kind, ident]} if home else {}
    return own | record(site.entries, kind, ident)


def record_file(site: Site, kind: str, ident: str, text: str) -> bytes:
    """The file beside the page of a record. `text`: its JSON."""
    head = {"format": RECORD_FORMAT, "license": site.about.license, "kind": kind, "id": ident}
    return f'{compact(head)[:-1]},\n"record": {text}}}\n'.encode()


def beside(page: str) -> str:
    """The address of the JSON of a page's record."""
    return page.removesuffix(".html") + ".json"


def whole_file(whole: Whole, texts: Mapping[str, Mapping[str, str]]) -> bytes:
    """The knowledge base as one file. `texts`: {kind: {id: JSON of the record}}."""
    head = {"format": WHOLE_FORMAT, "as_of": whole.as_of, "about": whole.about.model_dump(mode="json", exclude_none=True)}
    lines = [f"{compact(head)[:-1]},", '"records": {']
    for kind, name in FIELDS.items():
        lines += [f"{compact(name)}: {{", ",\n".join(f"{compact(ident)}: {text}" for ident, text in texts[kind].items()), "},"]
    lines[-1] = "}"
    return ("\n".join([*lines, "}}"]) + "\n").encode()
