"""What a page is about in the vocabulary of schema.org, as JSON-LD for the head of the page.

A variant is a `ProductModel` of a `ProductGroup`, its family; a set is a `ProductCollection`; a procedure a `HowTo`; the whole
a `Dataset`.  Nothing is for sale here, so there are no offers.  With a base address all addresses are absolute; without one
they are relative to the page, as everything else on the site is.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from ..kb.describe import choices, state_names
from ..kb.models import Trait
from ..kb.reading import in_unit
from ..kb.values import Citations, Fact, Years
from .data_scripts import as_json
from .records_json import beside
from .tables import Site
from .texts import FOLDERS, address, plus_minus
from .whole import Whole

Data = dict[str, Any]
CONTEXT = "https://schema.org"
#: UN/CEFACT Recommendation 20 common codes of our units, as schema.org wants a `unitCode` to be.
UNIT_CODES = {"mm": "MMT", "cm": "CMT", "in": "INH", "g": "GRM", "oz": "ONZ", "V": "VLT", "W": "WTT", "A": "AMP", "ohm": "OHM"}
#: The sorts of sources that schema.org has a type of its own for.
SOURCE_TYPES = {"book": "Book", "article": "Article", "web": "WebPage"}
#: In JSON these may be written as escapes anywhere; in a script element of a page they must not stand bare.
UNSAFE = {character: f"\\u{ord(character):04x}" for character in "<>&\u2028\u2029"}
CREATIVE_COMMONS = re.compile(r"CC-(BY(?:-NC)?(?:-SA|-ND)?)-(\d\.\d)")


@dataclass(frozen=True)
class Download:
    """A file that is offered: its address below the root, its media type, its size in bytes and its SHA-256."""

    address: str
    about: str
    type: str
    bytes: int
    sha256: str


def script(data: Data) -> Markup:
    """The data as the content of a script element. No text in it can end the element or begin a comment."""
    text = as_json(data)
    for unsafe, escaped in UNSAFE.items():
        text = text.replace(unsafe, escaped)
    return Markup(text)


def license_address(text: str) -> str | None:
    """The address of a license that is given by its SPDX identifier or its address; None for any other text."""
    if found := CREATIVE_COMMONS.fullmatch(text):
        return f"https://creativecommons.org/licenses/{found[1].lower()}/{found[2]}/"
    if text == "CC0-1.0":
        return "https://creativecommons.org/publicdomain/zero/1.0/"
    return text if re.fullmatch(r"https?://[^\s<>\"]+", text) else None


# Pages -----------------------------------------------------------------------------------------------------------------


class Linker:
    """Writes what the pages of a site are about."""

    def __init__(self, site: Site) -> None:
        self.site = site
        text = site.about.license
        self.license: str | Data = license_address(text) or {"@type": "CreativeWork", "name": text}
        #: What was fitted to a slot: many records share it.
        self.fitted: Callable[[str, str, Fact], Data] = site.memo.kept(self._fitted)
        self._shown: dict[tuple[str, int, int], tuple[Data, Trait, Fact]] = {}

    def shown(self, ident: str, trait: Trait, fact: Fact) -> Data:
        """What a trait shows: many records share it.

        It is found by the identities of trait and fact, which are held with it: to compare what they say takes longer.
        """
        key = ident, id(trait), id(fact)
        if key not in self._shown:
            self._shown[key] = _property(ident, trait, fact), trait, fact
        return self._shown[key][0]

    def _fitted(self, slot: str, name: str, fact: Fact) -> Data:
        return {"@type": "PropertyValue", "propertyID": slot, "name": name, "value": choices(fact, self.site.part_names)}

    def page(self, where: str, title: str, kind: str | None = None, ident: str = "") -> Data:
        """What the page at `where` is about: the record of a kind, or nothing but itself."""
        at = _Addresses(self.site.base, where)
        about = _Entities(self, at)
        one = self.site.entries.of(kind)[ident] if kind else None
        data: Data = {
            **{"@context": CONTEXT, "@type": "WebPage", "url": at(where), "name": title, "inLanguage": "en"},
            "isPartOf": {"@type": "WebSite", "name": self.site.about.title, "url": at("index.html")},
            **{"license": self.license, "breadcrumb": self.breadcrumb(at, where, title, kind)},
        }
        if kind is None:
            return data
        if kind in FOLDERS:
            data["encoding"] = {"@type": "MediaObject", "contentUrl": at(beside(where)), "encodingFormat": "application/json"}
        sources: Citations = getattr(one, "sources", {})
        if sources:
            data["citation"] = [about.work(source) for source in sources]
        if verified := getattr(one, "verified", None):
            data["lastReviewed"] = verified
        if entity := about.of(kind, ident):
            data["mainEntity"] = {"@id": f"{at(where)}#record", **entity}
        return data

    def dataset(self, where: str, title: str, whole: Whole, downloads: Iterable[Download]) -> Data:
        """The whole knowledge base, with what there is to download. `where`: the page it stands on."""
        at = _Addresses(self.site.base, where)
        about = self.site.about
        span = _span(one.made for one in whole.stated.values())
        files = [
            {
                **{"@type": "DataDownload", "name": one.about, "contentUrl": at(one.address), "encodingFormat": one.type},
                **{"contentSize": f"{one.bytes} B", "sha256": one.sha256},
            }
            for one in downloads
        ]
        data: Data = {
            **{"@type": "Dataset", "@id": f"{at(where)}#dataset", "name": about.title, "description": about.about},
            **{"url": at(where), "license": self.license, "inLanguage": "en", "isAccessibleForFree": True},
            "creditText": "; ".join(about.maintainers) or None,
            "dateModified": whole.day,
            "temporalCoverage": f"{span.first}/{span.last}" if span else None,
            "distribution": files,
        }
        return self.page(where, title) | {"mainEntity": _told(data)}

    def breadcrumb(self, at: "_Addresses", where: str, title: str, kind: str | None) -> Data:
        """The way from home to the page, over the list or the family it belongs to."""
        steps = [(self.site.about.title, "index.html")]
        if kind in ("variant", "set"):
            ident = where.rsplit("/", 1)[-1].removesuffix(".html")
            family = self.site.entries.home[kind, ident]
            steps.append((self.site.entries.families[family].name, address("family", family)))
        elif kind in ("part", "procedure"):
            steps.append((f"{kind.title()}s", f"{kind}s.html"))
        if where != "index.html":
            steps.append((title, where))
        listed = [{"@type": "ListItem", "position": n, "name": name, "item": at(to)} for n, (name, to) in enumerate(steps, 1)]
        return {"@type": "BreadcrumbList", "itemListElement": listed}


@dataclass(frozen=True)
class _Addresses:
    """Addresses below the root as the page at `where` has to write them."""

    base: str
    where: str

    def __call__(self, to: str) -> str:
        return self.base + to if self.base else "../" * self.where.count("/") + to

    def of(self, kind: str, ident: str) -> str:
        return self(address(kind, ident))


def _told(data: Mapping[str, Any]) -> Data:
    """Without what there is nothing to say of."""
    return {key: value for key, value in data.items() if value not in (None, "", [], {})}


def _span(made: Iterable[Years | None]) -> Years | None:
    known = [years for years in made if years]
    return Years(min(one.first for one in known), max(one.last for one in known)) if known else None


# Records ---------------------------------------------------------------------------------------------------------------


class _Entities:
    """Records as things of schema.org's types, for one page."""

    def __init__(self, linker: Linker, at: _Addresses) -> None:
        self.linker = linker
        self.site = linker.site
        self.entries = linker.site.entries
        self.at = at

    def of(self, kind: str, ident: str) -> Data:
        """The record; nothing for a kind that schema.org has no fitting type for, and for an id that leads elsewhere."""
        makers: dict[str, Callable[[str], Data]] = {
            **{"family": self.family, "variant": self.variant, "set": self.boxed_set, "part": self.part},
            **{"procedure": self.procedure, "source": self.source, "maker": self.maker, "livery": self.livery},
        }
        return _told(makers[kind](ident)) if kind in makers else {}

    def reference(self, kind: str, ident: str, type_: str) -> Data:
        """A record that has a page of its own."""
        url = self.at.of(kind, ident)
        return {"@type": type_, "@id": f"{url}#record", "name": self.site.name(kind, ident), "url": url}

    def family(self, ident: str) -> Data:
        tables = self.site.families[ident]
        one = tables.record
        told = {name for variant in tables.variants for name in variant.shows} - tables.shared
        varies = [trait.name for name, trait in tables.traits.items() if name in told]
        return {
            **{"@type": "ProductGroup", "name": one.name, "description": one.about, "productGroupID": ident},
            **{"manufacturer": self.maker(one.maker), "variesBy": varies, "additionalProperty": _made(one.made)},
        }

    def variant(self, ident: str) -> Data:
        one = self.site.whole.get(ident)
        if one is None:
            return {}
        tables = self.site.families[one.family]
        shown = [self.linker.shown(name, trait, one.shows[name]) for name, trait in tables.traits.items() if name in one.shows]
        fitted = [
            self.linker.fitted(name, slot.name, one.fitted[name]) for name, slot in tables.slots.items() if name in one.fitted
        ]
        livery = self.entries.liveries[one.livery].name if one.livery else None
        told = [("Kind", tables.kind(one)), ("Livery", livery), ("Batch", one.batch)]
        return {
            **{"@type": "ProductModel", "name": one.name, "description": one.about},
            **{"isVariantOf": self.reference("family", one.family, "ProductGroup"), "identifier": _catalog(one.catalog_number)},
            "manufacturer": self.maker(tables.record.maker),
            "additionalProperty": [*_made(one.made), *(_value(name, value) for name, value in told if value), *shown, *fitted],
        }

    def boxed_set(self, ident: str) -> Data:
        one = self.entries.sets[ident]
        units = [
            {
                **{"@type": "TypeAndQuantityNode", "amountOfThisGood": 1},
                "typeOfGood": [self.reference("variant", variant, "ProductModel") for variant in self.site.sat(position)],
            }
            for position in one.positions
        ]
        return {
            **{"@type": "ProductCollection", "name": one.name, "description": one.about},
            **{"identifier": _catalog(one.catalog_number), "additionalProperty": _made(one.made), "includesObject": units},
        }

    def part(self, ident: str) -> Data:
        one = self.entries.parts[ident]
        home = self.entries.home["part", ident]
        slot_type = self.entries.slot_types[home]
        known = {name: fact for name, fact in one.shows.items() if not fact.unknown}
        shown = [self.linker.shown(name, trait, known[name]) for name, trait in slot_type.traits.items() if name in known]
        return {
            **{"@type": "ProductModel", "name": one.name, "description": one.about, "category": slot_type.name},
            **{"manufacturer": self.maker(one.maker), "additionalProperty": [*_made(one.made), *shown]},
            "isAccessoryOrSparePartFor": [self.reference("family", family, "ProductGroup") for family in one.fits],
            "isSimilarTo": self.reference("part", one.reproduction_of, "ProductModel") if one.reproduction_of else None,
        }

    def procedure(self, ident: str) -> Data:
        """Its cautions stand first in what is said of it."""
        one = self.entries.procedures[ident]
        hazards = self.site.about.hazards
        cautions = [hazards[hazard].caution for hazard in one.hazards if hazard in hazards]
        return {
            **{"@type": "HowTo", "name": one.name, "description": " ".join([*cautions, *filter(None, [one.symptom, one.about])])},
            "totalTime": f"PT{round(one.minutes * 60)}S",
            "tool": [{"@type": "HowToTool", "name": name} for name in one.tools],
            "supply": [{"@type": "HowToSupply", "name": name} for name in one.consumables],
            "step": [{"@type": "HowToStep", "position": n, "text": text} for n, text in enumerate(one.steps, 1)],
        }

    def source(self, ident: str) -> Data:
        one = self.entries.sources[ident]
        return {
            **{"@type": SOURCE_TYPES.get(one.kind, "CreativeWork"), "name": one.name, "description": one.about},
            **{"creditText": one.author, "datePublished": str(one.year) if one.year else None},
        }

    def work(self, ident: str) -> Data:
        """A source that something leans on."""
        return self.reference("source", ident, SOURCE_TYPES.get(self.entries.sources[ident].kind, "CreativeWork"))

    def maker(self, ident: str | None) -> Data:
        one = self.entries.makers[ident] if ident else None
        return _told({"@type": "Organization", "name": one.name, "description": one.about}) if one else {}

    def livery(self, ident: str) -> Data:
        one = self.entries.liveries[ident]
        return {"@type": "DefinedTerm", "name": one.name, "description": one.about}


def _value(name: str, value: object) -> Data:
    return {"@type": "PropertyValue", "name": name, "value": value}


def _catalog(number: str | None) -> Data | None:
    return _value("Catalog number", number) if number else None


def _made(made: Years | None) -> list[Data]:
    return [{"@type": "PropertyValue", "name": "Made", "minValue": made.first, "maxValue": made.last}] if made else []


def _property(ident: str, trait: Trait, fact: Fact) -> Data:
    """What a trait shows. A single measured value is a number in its unit; everything else is in words, with how often."""
    data: Data = {"@type": "PropertyValue", "propertyID": ident, "name": trait.name}
    if trait.measured and len(fact.is_) == 1:
        unit = trait.measured.unit
        measure = in_unit(next(iter(fact.is_)), unit)
        spread = None if measure.plus_minus is None else f"± {measure.plus_minus:g}{' ' + unit if unit else ''}"
        return data | _told({"value": measure.value, "unitText": unit, "unitCode": UNIT_CODES.get(unit), "description": spread})
    return data | {"value": plus_minus(choices(fact, state_names(trait)), trait)}
