"""Records to pages of plain values: parts, procedures and sources."""

from .page import Values
from .photographs import shown as photographs
from .tables import Site
from .texts import OUTWARD, counted, labeled, markdown, sentence, trait_address, weight, years


def parts(site: Site) -> Values:
    """All parts, by slot type."""
    types: list[Values] = []
    for ident, slot_type in sorted(site.entries.slot_types.items()):
        mine = [_part_line(site, part) for part in sorted(site.entries.parts) if site.entries.home["part", part] == ident]
        types.append({"id": ident, "name": slot_type.name, "about": markdown(slot_type.about), "parts": mine})
    return {"types": types}


def _part_line(site: Site, ident: str) -> Values:
    part = site.entries.parts[ident]
    copies = site.part_names[part.reproduction_of] if part.reproduction_of else None
    return site.link("part", ident) | {"maker": site.maker(part.maker), "made": years(part.made), "copies": copies}


def part(site: Site, ident: str) -> Values:
    """A part: what it looks like, what it fits, who was born with it, what copies it and how to tell."""
    one = site.entries.parts[ident]
    slot_type = site.entries.home["part", ident]
    views = site.entries.about.views
    rows = [
        site.fact(trait.name, one.shows[name], trait)
        | {
            "href": trait_address("slot type", slot_type, name),
            "view": views[trait.view].name,
            "pictures": site.images.of_fact(None, f"{slot_type}.{name}", trait, one.shows[name]),
        }
        for name, trait in site.entries.slot_types[slot_type].traits.items()
        if name in one.shows and not one.shows[name].unknown
    ]
    labels = [
        ("Made", years(one.made)),
        ("Among replacements", weight(one.how_common)),
        ("A replacement costs", None if one.cost is None else f"{one.cost:g} {site.about.currency}"),
        ("Time to replace", None if one.minutes is None else counted(one.minutes, "minute")),
    ]
    copies = [(other, record.tell) for other, record in sorted(site.entries.parts.items()) if record.reproduction_of == ident]
    serving = [name for name, procedure in sorted(site.entries.procedures.items()) if slot_type in procedure.serves]
    return {
        "id": ident,
        "type": site.place("slot type", slot_type),
        "maker": site.place("maker", one.maker) if one.maker else None,
        "labels": labeled(labels),
        "about": markdown(one.about),
        "reproduction_of": site.link("part", one.reproduction_of) if one.reproduction_of else None,
        "tell": one.tell,
        "copies": [site.link("part", other) | {"tell": tell} for other, tell in copies],
        "rows": rows,
        "fits": [_fit(site, family, slots) for family, slots in one.fits.items()],
        "born_with": site.born_with.get(ident, []),
        "in_sets": site.in_sets.get(ident, []),
        "procedures": [site.link("procedure", name) for name in serving],
        "photographs": photographs(site, one.photographs),
        **site.footing(one),
        **site.forms("part", ident),
    }


def _fit(site: Site, family: str, slots: list[str]) -> Values:
    return site.link("family", family) | {"slots": [site.families[family].slots[slot].name for slot in slots]}


def procedures(site: Site) -> Values:
    """All procedures, with what they cure."""
    lines = [
        site.link("procedure", ident)
        | {
            "symptom": one.symptom,
            "minutes": counted(one.minutes, "minute"),
            "serves": [site.place("slot type", t) for t in one.serves],
        }
        for ident, one in sorted(site.entries.procedures.items())
    ]
    return {"procedures": lines}


def procedure(site: Site, ident: str) -> Values:
    """A procedure, its cautions apart so that a page can put them first."""
    one = site.entries.procedures[ident]
    hazards = site.about.hazards
    cautions = [
        {"name": sentence(h.replace("-", " ")), "text": hazards[h].caution if h in hazards else None} for h in one.hazards
    ]
    return {
        "id": ident,
        "about": markdown(one.about),
        "symptom": one.symptom,
        "serves": [site.place("slot type", slot_type) for slot_type in one.serves],
        "minutes": counted(one.minutes, "minute"),
        "cautions": cautions,
        "tools": one.tools,
        "consumables": one.consumables,
        "steps": one.steps,
        **site.footing(one),
        **site.forms("procedure", ident),
    }


def source(site: Site, ident: str) -> Values:
    """A source, and everything that leans on it."""
    one = site.entries.sources[ident]
    web = one.where if one.where and OUTWARD.fullmatch(one.where) else None
    labels = [
        ("Kind", sentence(one.kind)),
        ("Author", one.author),
        ("Year", one.year),
        ("Where", None if web else one.where),
    ]
    return {
        "id": ident,
        "labels": labeled(labels),
        "web": web,
        "about": markdown(one.about),
        "cited_by": site.citations.get(ident, []),
        **site.footing(one),
        **site.forms("source", ident),
    }
