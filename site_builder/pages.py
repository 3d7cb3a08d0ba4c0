"""The pages about records: home, families, variants, sets, parts, procedures, sources, traits, and the lists."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial

from ..kb.resolve import Stated, living, number
from . import list_pages, photographs, service_pages
from .family_pages import family
from .page import File, Page, Values
from .seen_and_paid import SeenAndPaid
from .set_pages import boxed_set
from .tables import Site
from .texts import address, counted, markdown, opening, years
from .trait_pages import TraitPages
from .variant_pages import signpost, variant


def pages(site: Site) -> Iterator[Page]:
    """Every page about records."""
    seen = SeenAndPaid(site)
    commonest = site.memo.question("commonest", partial(_commonest, site), lasting=True)
    yield Page("index.html", "home.html", site.about.title, partial(home, site, commonest))
    yield Page("parts.html", "parts.html", "Parts", partial(service_pages.parts, site))
    yield Page("procedures.html", "procedures.html", "Procedures", partial(service_pages.procedures, site))
    makers: dict[str, tuple[Iterable[str], Callable[[str], Values]]] = {
        "family": (site.plain.families, partial(family, site)),
        "variant": (living(site.plain), partial(variant, site, seen)),
        "set": (site.plain.sets, partial(boxed_set, site, seen)),
        "part": (site.plain.parts, partial(service_pages.part, site)),
        "procedure": (site.plain.procedures, partial(service_pages.procedure, site)),
        "source": (site.plain.sources, partial(service_pages.source, site)),
    }
    for kind, (idents, values) in makers.items():
        for ident in sorted(idents):
            yield _page(site, kind, ident, f"{kind}.html", values)
    for ident in sorted(ident for ident, one in site.plain.variants.items() if one.signpost):
        yield _page(site, "variant", ident, "signpost.html", partial(signpost, site))
    yield from TraitPages(site).pages()
    yield from list_pages.pages(site)


def files(site: Site) -> Iterator[File]:
    """What those pages show: photographs, and drawings that are not written into the page itself."""
    yield from photographs.files(site)
    yield from site.images.files(living(site.plain), site.stated, lambda ident: site.plain.home["variant", ident])


def _page(site: Site, kind: str, ident: str, template: str, values: Callable[[str], Values]) -> Page:
    styles, scripts = (("family-table.css",), ("family-table.js",)) if kind == "family" else ((), ())
    title = site.plain.of(kind)[ident].name or ident  # whoever makes the page writes down that it was read
    return Page(address(kind, ident), template, title, partial(values, ident), (kind, ident), styles, scripts)


def home(site: Site, commonest: Callable[[str], str | None]) -> Values:
    """What the record is, its families, each with its commonest variant drawn, and where else to look."""
    families = [
        site.link("family", ident)
        | {
            "picture": site.images.of_variant(site.stated(usual)) if (usual := commonest(ident)) else None,
            "made": years(tables.record.made),
            "about": markdown(opening(tables.record.about)),
            "counts": [counted(n, noun) for n, noun in ((tables.count, "variant"), (len(tables.sets), "set")) if n],
        }
        for ident, tables in site.families.items()
    ]
    entries = site.entries
    lists = [
        ("Traits", "traits.html", "what to look at, in pictures"),
        ("Parts", "parts.html", counted(len(entries.parts), "part")),
        ("Procedures", "procedures.html", "cautions first"),
        ("Compare", "compare.html", "two to six, side by side"),
        ("Liveries", "liveries.html", counted(len(entries.liveries), "livery").replace("liverys", "liveries")),
        ("Makers", "makers.html", counted(len(entries.makers), "maker")),
        ("Sources", "sources.html", counted(len(entries.sources), "source")),
        ("What is not known yet", "wanted.html", "and what would settle it"),
        ("Recent changes", "changes.html", "values, old and new"),
        ("Data", "data.html", "everything, to take along"),
    ]
    return {
        "about": markdown(site.about.about),
        "families": families,
        "lists": [{"text": text, "href": href, "note": note} for text, href, note in lists],
    }


def _commonest(site: Site, family: str) -> str | None:
    """The variant of a family that one meets most often; of equals the earliest."""
    scarcity = site.about.scarcity

    def rank(one: Stated) -> tuple[float, int, str]:
        return -number(scarcity, 1.0 if one.how_common is None else one.how_common), one.made.first if one.made else 9999, one.id

    return next((one.id for one in sorted(site.families[family].variants, key=rank)), None)
