"""What was seen and paid: sightings and sales of a variant or a set, as values of a page."""

from collections.abc import Sequence
from typing import Any

from ..kb.models import Sale, Sighting
from ..kb.resolve import slots_of
from . import charts
from .page import Values
from .tables import Site


class SeenAndPaid:
    """The sightings and sales of every variant and set, by the ids they have now."""

    def __init__(self, site: Site) -> None:
        self.site = site
        ask = site.memo.question
        sales, sightings = ask("all sales", self._all_sales), ask("all sightings", self._all_sightings)

        def sales_of(kind: str, ident: str) -> list[str]:
            return sales().get((kind, ident), [])

        def sightings_of(variant: str) -> list[str]:
            return sightings().get(variant, [])

        self._sales, self._sightings = ask("sales", sales_of), ask("sightings", sightings_of)

    def _all_sales(self) -> dict[tuple[str, str], list[str]]:
        found: dict[tuple[str, str], list[str]] = {}
        for ident, one in sorted(self.site.entries.sales.items(), key=lambda sale: (sale[1].date, sale[0])):
            for variant in self.site.moved(one.variant) if one.variant else ():
                found.setdefault(("variant", variant), []).append(ident)
            if one.set:
                found.setdefault(("set", one.set), []).append(ident)
        return found

    def _all_sightings(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for ident, one in sorted(self.site.entries.sightings.items(), key=lambda sighting: (sighting[1].seen, sighting[0])):
            for variant in self.site.moved(one.verdict.variant) if one.verdict.variant else ():
                found.setdefault(variant, []).append(ident)
        return found

    def sales(self, kind: str, ident: str) -> Values | None:
        """The sales of a variant or a set with their chart; None without any."""
        sold = [self.site.entries.sales[one] for one in self._sales(kind, ident)]
        if not sold:
            return None
        currency = self.site.about.currency
        dots = [charts.Dot(one.date, one.price, one.complete is None or one.complete >= 1) for one in sold]
        return {
            "chart": charts.prices(dots, "What it was sold for", currency, "prices"),
            "range": self._range(sold),
            "currency": currency,
            "rows": [
                {
                    "date": one.date,
                    "price": f"{one.price:g}",
                    "shipping": None if one.shipping is None else f"{one.shipping:g}",
                    "grade": None if one.grade is None else f"{one.grade:g}",
                    "complete": None if one.complete is None else f"{one.complete:.0%}",
                    "place": one.place,
                    "note": one.note,
                }
                for one in reversed(sold)
            ],
        }

    def _range(self, sold: Sequence[Sale]) -> str:
        """The middle and the range of the prices, in a sentence."""
        seen, currency = charts.spread([one.price for one in sold]), self.site.about.currency
        if len(sold) == 1:
            return f"Sold once, for {sold[0].price:g} {currency}."
        if len(sold) < 4:
            return f"Sold {len(sold)} times, for {seen.low:g} to {seen.high:g} {currency}."
        half = f"half of them between {seen.low:g} and {seen.high:g} {currency}, the middle one {seen.middle:g}"
        return f"Sold {len(sold)} times; {half}."

    def sightings(self, variant: str) -> list[Values]:
        """The units that were examined and found to be this variant, the latest first."""
        return [self._sighting(self.site.entries.sightings[one]) for one in reversed(self._sightings(variant))]

    def _sighting(self, one: Sighting) -> Values:
        slots: dict[str, Any] = {}
        if one.verdict.variant:
            slots = slots_of(self.site.entries, self.site.entries.family_of(one.verdict.variant))
        swapped = [slots[slot].name if slot in slots else slot for slot in one.verdict.swapped]
        return {
            "name": one.name,
            "seen": one.seen,
            "by": one.by,
            "label": one.label,
            "grade": None if one.grade is None else f"{one.grade:g}",
            "swapped": swapped,
            "set": self.site.link("set", one.verdict.set) if one.verdict.set else None,
            "note": one.note,
            "evidence": one.evidence,
        }
