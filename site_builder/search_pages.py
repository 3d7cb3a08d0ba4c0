"""The search page, and the records as scripts for it: what `static/search.js` loads when somebody turns to the search field."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial

from ..kb.documents import WEIGHTS, Document, documents
from .data_scripts import added, assigned
from .page import File, Page, Values
from .reads import ALL, IN
from .tables import Site
from .texts import FOLDERS, ON_LISTS

#: In the plural, as one chooses among them.
KINDS = {
    "variant": "variants",
    "part": "parts",
    "set": "sets",
    "family": "families",
    "trait": "traits",
    "slot type": "kinds of part",
    "procedure": "procedures",
    "livery": "liveries",
    "maker": "makers",
    "source": "sources",
    "sighting": "sightings",
}


def place(kind: str, home_kind: str = "") -> str | None:
    """Where records of a kind stand on the site, `*` being the id; None for a kind that has no place there.

    home_kind: of a trait, what it belongs to.
    """
    if kind == "trait":
        return {"family": "families/*.html", "slot type": "parts/*.html"}.get(home_kind, "traits/*.html")
    return f"{FOLDERS[kind]}/*.html" if kind in FOLDERS else ON_LISTS.get(kind)


#: The kinds that are searched, all places their records can stand, and the kinds whose records lie in the folders of families.
SEARCHED = [kind for kind in KINDS if place(kind)]
PLACES = list(dict.fromkeys(one for kind in KINDS for home in ("", "family", "slot type") if (one := place(kind, home))))
OF_FAMILIES = ("family", "variant", "set")
FOLDER, OTHERS = "search", "others--"


def pages(site: Site) -> Iterator[Page]:  # noqa: ARG001 (every producer is given the site)
    """The search page."""
    yield Page("search.html", "search.html", "Search", _values)


def files(site: Site) -> Iterator[File]:
    """What there is to search, and the records: those of each family in a script of their own, the others in one."""
    families = sorted(site.plain.families)
    yield File("search-data.js", partial(_index, site))
    yield from (File(f"{FOLDER}/{family}.js", partial(_family, site, family), home=family) for family in families)
    yield File(f"{FOLDER}/{OTHERS}.js", partial(_others, site))


def _values() -> Values:
    """What the search page says: the kinds one can choose among, and lists for those without scripts."""
    lists = [("Families", "index.html#families"), ("Parts", "parts.html"), ("Procedures", "procedures.html")]
    return {
        "kinds": [{"id": kind, "name": name} for kind, name in KINDS.items() if kind in SEARCHED],
        "lists": [{"text": text, "href": href} for text, href in lists],
    }


def _index(site: Site) -> bytes:
    """The script that says what there is: see the types at the head of `static/find.js`."""
    groups = [f"{FOLDER}/{group}.js" for group in (*site.bare.families(), OTHERS)]
    return assigned("var tellmarkSearchData", {"kinds": SEARCHED, "places": PLACES, "weights": dict(WEIGHTS), "groups": groups})


def _family(site: Site, family: str) -> bytes:
    """The family with its variants, sets and traits."""
    site.memo.note((IN, family), *((kind, ALL) for kind in ("family", "maker", "livery", "trait", "slot type", "part")))
    inside = {kind: sorted(site.bare.inside(kind, family)) for kind in ("variant", "set")}
    for ident in inside["set"]:
        for position in site.plain.sets[ident].positions:
            for sat in site.sat(position):
                site.name("variant", sat)  # of any family; the set is found by their names
    for ident in inside["variant"]:
        if site.plain.variants[ident].signpost:
            for now in site.moved(ident):
                site.name("variant", now)  # of any family; the signpost says it
    return _rows(site, family, inside | {"family": [family]})


def _others(site: Site) -> bytes:
    """What belongs to no family."""
    site.memo.note(*((kind, ALL) for kind in SEARCHED if kind not in OF_FAMILIES), ("family", ALL))
    kinds = [kind for kind in SEARCHED if kind not in (*OF_FAMILIES, "trait")]
    return _rows(site, OTHERS, {kind: sorted(site.plain.of(kind)) for kind in kinds} | {"": [""]})


def _rows(site: Site, group: str, wanted: Mapping[str, Sequence[str]]) -> bytes:
    texts: dict[str, int] = {}

    def places(some: Iterable[str]) -> list[int]:
        return [texts.setdefault(text, len(texts)) for text in some]

    def row(one: Document) -> list[object]:
        livery, maker = places([one.livery, one.maker])
        return [
            SEARCHED.index(one.kind),
            one.id,
            one.name,
            places(one.numbers),
            places(one.markings),
            places(one.said),
            livery,
            maker,
            list(one.years) if one.years else 0,
            places(one.parts),
            places(one.states),
            one.about,
            PLACES.index(place(one.kind, one.home_kind) or ""),
        ]

    rows = [row(one) for one in documents(site.plain, site.plain_whole, wanted)]
    return added("tellmarkSearchRows", f"{FOLDER}/{group}.js", {"texts": list(texts), "rows": rows})
