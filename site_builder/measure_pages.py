"""The page that measures on a photograph, and its scripts.

    measure-data.js        known things to choose from, and the lengths that every family states
    measure/<family>.js    what of a family is measured, which lengths are recorded, which sides are drawn
    measure.js             the modules of `modules/measure/`, joined

The photograph is opened by the page and goes nowhere.
"""

from collections.abc import Iterable, Iterator, Mapping
from functools import partial

from ..kb.describe import lower_first
from ..kb.models import Slot, Trait
from ..kb.resolve import Stated
from ..kb.values import Measure
from .data_scripts import added, assigned
from .joined import joined
from .page import File, Page, Values
from .reads import ALL
from .tables import Site

FOLDER = "measure"
#: So many names stand beside a recorded length; how many more have it is counted.
NAMED = 2
#: A trait that is measured: its key in an answers file, its name, its unit, where to measure, and the least and most it can be.
TraitRow = list[object]


def pages(site: Site) -> Iterator[Page]:
    """The page."""
    families = [f"{FOLDER}/{family}.js" for family in sorted(site.plain.families)]
    scripts = ("measure-data.js", *families, "measure.js")
    values = partial(_values, site)
    yield Page("measure.html", "measure.html", "Measure on a photograph", values, styles=("measure.css",), scripts=scripts)


def _values(site: Site) -> Values:
    """Nothing beside its scripts, of which there is one for each family."""
    site.bare.families()
    return {}


def files(site: Site) -> Iterator[File]:
    """The scripts."""
    yield File("measure-data.js", partial(_index, site))
    yield File("measure.js", _script)
    for family in sorted(site.plain.families):
        yield File(f"{FOLDER}/{family}.js", partial(_family, site, family), home=family)


def _script() -> bytes:
    return joined("measure/main.js", "tellmarkMeasuring").encode("utf-8")


def _index(site: Site) -> bytes:
    """See the type MeasureData at the head of `modules/measure/data.js`."""
    from ..kb.marks import GAUGES, RECTANGLES  # here and below: nothing else on the site measures

    site.memo.note(("trait", ALL))
    index: Values = {
        "gauges": [[ident, one.name, *_numbers(one.length)] for ident, one in GAUGES.items()],
        "rectangles": [[ident, one.name, *_numbers(*one.sides)] for ident, one in RECTANGLES.items()],
        "traits": _traits(site.plain.traits, {}),
    }
    return assigned("var tellmarkMeasureData", index)


def _numbers(*lengths: Measure) -> list[float]:
    """Each length in mm with its standard deviation."""
    return [number for one in lengths for number in (one.value, one.plus_minus or 0.0)]


def _traits(traits: Mapping[str, Trait], slots: Mapping[str, Slot]) -> list[TraitRow]:
    """Those that are lengths; a part's say which slot it sits in."""
    from ..identify.recorded_lengths import is_length

    rows: list[TraitRow] = []
    for key, one in traits.items():
        if one.measured is not None and is_length(one):
            slot, dot, _ = key.partition(".")
            name = f"{slots[slot].name}: {lower_first(one.name)}" if dot else one.name
            rows.append([key, name, one.measured.unit, one.look or "", one.measured.least, one.measured.most])
    return rows


def _family(site: Site, family: str) -> bytes:
    tables = site.families[family]
    variants = tables.variants
    found: Values = {
        "name": tables.record.name,
        "traits": _traits(tables.all_traits, tables.slots),
        "recorded": _recorded(tables.all_traits, variants),
        "variants": list(_drawn(site, variants)),
    }
    return added("tellmarkMeasure", family, found)


def _recorded(traits: Mapping[str, Trait], variants: Iterable[Stated]) -> list[list[object]]:
    """[what it is and of which variants, mm, standard deviation] of every length that is recorded of some, in order of traits."""
    from ..identify.recorded_lengths import is_length, lengths_of

    everyone = list(variants)
    rows: list[list[object]] = []
    for key, trait in traits.items():
        if trait.measured is None or not is_length(trait):
            continue
        who: dict[Measure, list[str]] = {}
        for one in everyone:
            for length in lengths_of(one.shows.get(key), trait.measured.unit):
                who.setdefault(length, []).append(one.name)
        for length, names in who.items():
            rows.append([f"{trait.name}: {_whose(names, len(everyone))}", *_numbers(length)])
    return rows


def _whose(names: list[str], of: int) -> str:
    if len(names) == of > 1:
        return "every variant"
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return "; ".join(names[:NAMED]) + more


def _drawn(site: Site, variants: Iterable[Stated]) -> Iterator[list[object]]:
    """[id, name, address of its side, width and height in units of the drawing] of the variants that are drawn."""
    for one in variants:
        image = site.images.of_variant(one)
        if image is not None:
            yield [one.id, one.name, image["src"], float(image["width"]), float(image["height"])]
