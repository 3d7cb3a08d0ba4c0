"""Pages that list records without pages of their own, or all of a kind: liveries, makers, sources, and what is not known yet."""

from collections.abc import Iterator
from functools import partial

from ..kb.resolve import slots_of, traits_of
from .page import Page, Values
from .tables import Site
from .texts import counted, labeled, markdown, sentence, years


def pages(site: Site) -> Iterator[Page]:
    """All of them."""
    wanted = site.memo.question("gaps", partial(_gaps, site), lasting=True)
    yield Page("liveries.html", "liveries.html", "Liveries", partial(liveries, site))
    yield Page("makers.html", "makers.html", "Makers", partial(makers, site))
    yield Page("sources.html", "sources.html", "Sources", partial(sources, site))
    yield Page(
        "wanted.html",
        "wanted.html",
        "What is not known yet",
        lambda: {"families": [_wanted(site, one, wanted(one)) for one in site.families]},
    )


def liveries(site: Site) -> Values:
    """Each livery with its colors, and how many variants of each family wear it."""
    worn = site.worn()
    return {
        "records": [
            {
                "id": ident,
                "name": one.name,
                "labels": labeled([("Railroad", one.railroad), ("Colors", ", ".join(one.colors) or None)]),
                "about": markdown(one.about),
                "families": [
                    site.link("family", family) | {"count": counted(count, "variant")}
                    for family, count in sorted(worn.get(ident, {}).items())
                ],
                **site.footing(one),
            }
            for ident, one in sorted(site.entries.liveries.items())
        ]
    }


def makers(site: Site) -> Values:
    """Each maker with its families and parts."""
    entries = site.entries
    return {
        "records": [
            {
                "id": ident,
                "name": one.name,
                "labels": labeled([("Place", one.place), ("Made", years(one.made))]),
                "about": markdown(one.about),
                "families": [
                    site.link("family", family) for family, record in sorted(entries.families.items()) if record.maker == ident
                ],
                "parts": [site.link("part", part) for part, record in sorted(entries.parts.items()) if record.maker == ident],
                **site.footing(one),
            }
            for ident, one in sorted(entries.makers.items())
        ]
    }


def sources(site: Site) -> Values:
    """All sources, by kind."""
    kinds: dict[str, list[Values]] = {}
    for ident, one in sorted(site.entries.sources.items(), key=lambda source: (source[1].year or 0, source[0])):
        facts = [str(fact) for fact in (one.author, one.year) if fact]
        kinds.setdefault(one.kind, []).append(site.link("source", ident) | {"facts": facts})
    return {"kinds": [{"id": kind, "name": sentence(kind), "sources": rows} for kind, rows in sorted(kinds.items())]}


def _gaps(site: Site, family: str) -> Values:
    """What is not known of a family."""
    from ..identify.gaps import gaps  # here, since it takes arrays

    return gaps(site.bare.of_family(family), family, site.groups[family]).as_dict()


def _wanted(site: Site, family: str, found: Values) -> Values:
    """The same in words, with links."""
    traits, slots = traits_of(site.entries, family), slots_of(site.entries, family)
    names = {name: trait.name for name, trait in traits.items()} | {name: slot.name for name, slot in slots.items()}
    hrefs = {name: site.trait_link(family, name, "")["href"] for name in found["unrecorded"] if name in traits}
    return site.link("family", family) | {
        "id": family,
        "variants": found["variants"],
        "groups": [[site.link("variant", one) for one in group] for group in found["inseparable"]],
        "unrecorded": [
            {"text": names[name], "href": hrefs.get(name), "count": count} for name, count in found["unrecorded"].items()
        ],
        "of_variants": [site.link("variant", ident) | {"count": count} for ident, count in found["of_variants"].items()],
    }
