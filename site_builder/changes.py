"""The page of recent changes and its Atom feed, from the history of the repository that keeps the entries."""

import re
import uuid
from collections.abc import Iterator, Sequence
from functools import lru_cache, partial
from pathlib import Path

from ..kb.changes import MOST_COMMITS, Change, Commit, History, head, history
from ..kb.load import FIELDS
from .page import File, Page, Values
from .reads import HISTORY
from .search_pages import KINDS, place
from .tables import Site
from .texts import counted, sentence

PAGE, FEED = "changes.html", "changes.xml"
ATOM = "http://www.w3.org/2005/Atom"
#: So many changed records of one commit are shown with their values, and so many of new and taken-out ones by name.
MOST_RECORDS, MOST_NAMES = 20, 200
#: A commit that changed more records shows them when one asks for it.
MOST_OPEN = 3
#: So many changes are told in one entry of the feed.
MOST_TOLD = 12
#: The kind of the one record of how sellers say things.
SELLERS = "sellers"
#: In the plural, for kinds that one cannot search for.
OTHER_KINDS = {"sale": "tables of sales", "knowledge base": "knowledge bases", SELLERS: "lists of what sellers say"}
#: What one of a kind is called where its name is already the plural.
ONE_OF = {SELLERS: "list of what sellers say"}
#: Names of this are made of what they name, so that a feed that moves keeps its ids (RFC 9562, version 5).
NAMES = uuid.UUID("6ba7b814-9dad-11d1-80b4-00c04fd430c8")


def pages(site: Site) -> Iterator[Page]:
    """The page."""
    yield Page(PAGE, "changes.html", "Recent changes", partial(_values, site), styles=("changes.css",))


def files(site: Site) -> Iterator[File]:
    """The feed, where there is something in it."""
    if _history(site).commits:
        yield File(FEED, partial(_feed, site))


def _history(site: Site) -> History:
    site.memo.note(HISTORY)
    root = site.entries.root
    return _history_at(root, head(root))


@lru_cache(maxsize=2)
def _history_at(root: Path, at: str) -> History:  # noqa: ARG001 (the commit it is read at: another one has another history)
    return history(root)


def _values(site: Site) -> Values:
    found = _history(site)
    commits = [_commit(site, one) for one in found.commits]
    return {
        "commits": commits,
        "problem": found.problem,
        "cut": found.cut,
        "most": MOST_COMMITS,
        "feed": FEED if commits else None,
    }


def anchor(one: Commit) -> str:
    """The name of a commit's section on the page."""
    return f"c-{one.hash[:12]}"


def _commit(site: Site, one: Commit) -> Values:
    """A commit: what came and went by kind, and the changed values by record."""
    changed: dict[tuple[str, str], list[Values]] = {}
    whole: dict[tuple[str, bool], list[Change]] = {}
    rows: dict[tuple[str, str, bool], list[str]] = {}
    for change in one.changes:
        if change.field == ("row",):
            rows.setdefault((change.kind, change.id, change.old is None), []).append(change.new or change.old or "")
        elif not change.field:
            whole.setdefault((change.kind, change.old is None), []).append(change)
        else:
            value = {"name": field_words(site, change), "old": change.old, "new": change.new}
            changed.setdefault((change.kind, change.id), []).append(value)
    records = [_record(site, kind, ident) | {"changes": values} for (kind, ident), values in changed.items()]
    keepers = any(kind == SELLERS for kind, _ in changed)  # phrases as entries keep them are no reading for a collector
    return {
        "id": anchor(one),
        "day": one.when[:10],
        "why": one.why,
        "counts": _counts(one),
        "groups": [
            *(_whole(site, kind, new, some) for (kind, new), some in whole.items()),
            *(_rows(kind, ident, new, some) for (kind, ident, new), some in rows.items()),
        ],
        "records": records[:MOST_RECORDS],
        "more": max(0, len(records) - MOST_RECORDS),
        "folded": f"{counted(len(records), 'record')} changed" if len(records) > MOST_OPEN or keepers else None,
        "unread": list(one.unread),
    }


def _counts(one: Commit) -> str:
    """How much a commit changed, in words."""
    new = sum(1 for change in one.changes if not change.field and change.old is None)
    gone = sum(1 for change in one.changes if not change.field and change.new is None)
    values = len(one.changes) - new - gone
    told = [(new, "record", "added"), (gone, "record", "taken out"), (values, "value", "changed")]
    return ", ".join(f"{counted(count, noun)} {verb}" for count, noun, verb in told if count) or "no value changed"


def _whole(site: Site, kind: str, new: bool, some: Sequence[Change]) -> Values:
    plural = KINDS.get(kind) or OTHER_KINDS.get(kind, kind)
    head = f"{len(some)} {plural if len(some) != 1 else ONE_OF.get(kind, kind)} {'added' if new else 'taken out'}"
    named = [_record(site, kind, change.id, change.new or change.old) for change in some[:MOST_NAMES]]
    return {"head": head, "records": named, "more": max(0, len(some) - MOST_NAMES)}


def _rows(kind: str, ident: str, new: bool, some: Sequence[str]) -> Values:
    noun = kind if len(some) == 1 else f"{kind}s"
    head = f"{len(some)} {noun} of {ident} {'added' if new else 'taken out'}"
    told = [{"text": row, "href": None} for row in some[:MOST_NAMES]]
    return {"head": head, "records": told, "more": max(0, len(some) - MOST_NAMES)}


def _record(site: Site, kind: str, ident: str, name: str | None = None) -> Values:
    """A record by the name it has now, or had then, with the address it has now, if it has one."""
    if kind not in FIELDS:  # a file of which there is one
        return {"text": site.about.title if kind == "knowledge base" else f"what {kind} say", "kind": "as a whole", "href": None}
    known = kind != "sale" and ident in site.entries.of(kind)
    if known:
        name = site.entries.of(kind)[ident].name or name
    pattern = place(kind) if known else None
    return {"text": name or ident, "kind": kind, "href": pattern.replace("*", ident) if pattern else None}


def field_words(site: Site, change: Change) -> str:
    """The way to a value in words; traits and slots by the names they have now."""
    names: dict[str, str] = {}
    home = site.entries.home.get((change.kind, change.id), change.id)
    for kind in ("family", "slot type"):
        record = site.entries.of(kind).get(home)
        if record:
            names |= {ident: trait.name for ident, trait in record.traits.items()}
            names |= {ident: slot.name for ident, slot in getattr(record, "slots", {}).items()}
    names |= {ident: trait.name for ident, trait in site.entries.traits.items() if ident not in names}
    steps = list(change.field)
    if len(steps) > 1 and steps[0] in ("shows", "fitted", "traits", "slots"):
        steps = steps[1:]
    return sentence(": ".join(names.get(step) or step.replace("_", " ") for step in steps))


# The feed ----------------------------------------------------------------------------------------------------------------


def _feed(site: Site) -> bytes:
    """RFC 4287, one entry a commit; its links lead from where the feed lies, or from the site's address where it has one."""
    import xml.etree.ElementTree as ET  # here, since most builds leave the feed as it was

    def add(parent: ET.Element, tag: str, text: str | None = None, **attributes: str) -> None:
        ET.SubElement(parent, tag, attributes).text = None if text is None else _xml_text(text)

    commits = _history(site).commits
    feed = ET.Element("feed", {"xmlns": ATOM, "xml:lang": "en"})
    add(feed, "id", _urn(f"changes of {site.about.title}"))
    add(feed, "title", f"{site.about.title}: recent changes")
    add(feed, "updated", commits[0].when)
    author = ET.SubElement(feed, "author")
    add(author, "name", "; ".join(site.about.maintainers) or site.about.title)
    add(feed, "rights", site.about.license)
    add(feed, "link", rel="self", type="application/atom+xml", href=site.base + FEED)
    add(feed, "link", rel="alternate", type="text/html", href=site.base + PAGE)
    for one in commits:
        entry = ET.SubElement(feed, "entry")
        add(entry, "id", _urn(one.hash))
        add(entry, "title", one.why)
        add(entry, "updated", one.when)
        add(entry, "link", rel="alternate", type="text/html", href=f"{site.base}{PAGE}#{anchor(one)}")
        add(entry, "summary", _summary(site, one))
    ET.indent(feed, " ")
    return b'<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(feed, encoding="utf-8") + b"\n"


def _xml_text(text: str) -> str:
    """Without what no XML 1.0 document may hold (section 2.2, production 2)."""
    return re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\N{REPLACEMENT CHARACTER}", text)


def _urn(name: str) -> str:
    return f"urn:uuid:{uuid.uuid5(NAMES, name)}"


def _summary(site: Site, one: Commit) -> str:
    """What a commit changed, the first values told."""
    told = [_told(site, change) for change in one.changes if change.field and change.field != ("row",)][:MOST_TOLD]
    return ". ".join(text.rstrip(".") for text in [sentence(_counts(one)), *told]) + "."


def _told(site: Site, change: Change) -> str:
    name = _record(site, change.kind, change.id)["text"]
    field = field_words(site, change)
    if change.old is None:
        return f"{name}, {field}: now {change.new}"
    return f"{name}, {field}: no longer {change.old}" if change.new is None else f"{name}, {field}: {change.old} → {change.new}"
