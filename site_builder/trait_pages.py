"""The page of each trait: all its states in pictures, who has which, what is mistaken for what; and the list of all traits."""

from collections.abc import Callable, Iterator, Mapping
from functools import partial

from ..kb.models import Trait
from ..kb.reading import in_unit
from ..kb.resolve import number, views_of
from ..kb.values import Fact
from .page import Page, Values
from .tables import Site, how_often
from .texts import markdown, plus_minus, trait_address

#: So many who show a state are listed at once; more are folded away.
MOST_OPEN = 12


class TraitPages:
    """Pages of traits. `home`: ("family", id), ("slot type", id), or (None, "") for those common to all families."""

    def __init__(self, site: Site) -> None:
        self.site = site
        #: {choice: [(id, how often)]} of the variants of a family, or of the parts of a slot type, that show it.
        self._who: Callable[[str, str, str], dict[str, list[tuple[str, str | float]]]] = site.memo.question(
            "who shows", self._shown_by
        )

    def pages(self) -> Iterator[Page]:
        """One for each trait, and the list."""
        yield Page("traits.html", "traits.html", "Traits", self.listed)
        for name, trait in sorted(self.site.plain.traits.items()):
            yield self._page(None, "", name, trait)
        for kind in ("family", "slot type"):
            for home, record in sorted(self.site.plain.of(kind).items()):
                for name, trait in record.traits.items():
                    yield self._page(kind, home, name, trait)

    def _page(self, kind: str | None, home: str, name: str, trait: Trait) -> Page:
        return Page(trait_address(kind, home, name), "trait.html", trait.name, partial(self.trait, kind, home, name))

    def listed(self) -> Values:
        """All traits: those that tell families apart, those of each family, those of each sort of part."""
        site = self.site
        groups = [{"name": "On every family", "href": None, "traits": self._lines(None, "", site.entries.traits)}]
        for ident in site.families:
            record = site.entries.families[ident]
            groups.append(
                {
                    "name": record.name,
                    "href": site.link("family", ident)["href"],
                    "traits": self._lines("family", ident, record.traits),
                }
            )
        for ident, record in sorted(site.entries.slot_types.items()):
            place = site.place("slot type", ident)
            groups.append(
                {
                    "name": f"Part: {place['text']}",
                    "href": place["href"],
                    "traits": self._lines("slot type", ident, record.traits),
                }
            )
        return {"groups": [one | {"id": f"g{n}"} for n, one in enumerate(groups, 1) if one["traits"]]}

    def _lines(self, kind: str | None, home: str, traits: Mapping[str, Trait]) -> list[Values]:
        return [
            {
                "text": trait.name,
                "href": trait_address(kind, home, name),
                "states": [state.name for state in (trait.states or {}).values()],
            }
            for name, trait in traits.items()
        ]

    def trait(self, kind: str | None, home: str, name: str) -> Values:
        """Everything the page of one trait says."""
        site = self.site
        one: Trait = (site.entries.of(kind)[home].traits if kind else site.entries.traits)[name]
        view = views_of(site.entries, home if kind == "family" else None)[one.view]
        homes = [(kind, home)] if kind else [("family", family) for family in site.families]
        shown = {at: self._who(*at, name) for at in homes}
        picture = self._pictures(kind, home, name)
        return {
            "home": site.place(kind, home) if kind else None,
            "look": one.look,
            "view": view.name,
            "how": view.how,
            "about": markdown(one.about),
            "changes": one.changes,
            "ask": one.ask,
            "misread": self._misread(one),
            "measured": one.measured.unit if one.measured else None,
            "states": self._states(one, shown, picture) if one.states else [],
            "picture": None if one.states else picture(None),
            "values": [] if one.states else self._values(one, shown),
        }

    def _pictures(self, kind: str | None, home: str, name: str) -> Callable[[str | None], object]:
        """What draws a state: of a common trait the first family that has a drawing of it."""
        of = self.site.images.of_state
        if kind == "slot type":
            return lambda state: of(None, f"{home}.{name}", state)
        return lambda state: of(home or None, name, state)

    def _misread(self, one: Trait) -> str:
        share = number(self.site.about.mistakes, one.mistakes)
        return f"About {share * 100:.2g} in 100 readings name another state." if share else "It is hardly ever misread."

    def _states(
        self,
        one: Trait,
        shown: Mapping[tuple[str, str], Mapping[str, list[tuple[str, str | float]]]],
        picture: Callable[[str | None], object],
    ) -> list[Values]:
        states = one.states or {}
        return [
            {
                "id": f"state-{ident}",
                "name": state.name,
                "ask": state.ask,
                "about": markdown(state.about),
                "picture": picture(ident),
                "mistaken": [
                    {"text": states[other].name, "href": f"#state-{other}"} for other in state.mistaken_for if other in states
                ],
                "who": self._who_shows(shown, ident),
            }
            for ident, state in states.items()
        ]

    def _values(self, one: Trait, shown: Mapping[tuple[str, str], Mapping[str, list[tuple[str, str | float]]]]) -> list[Values]:
        """The recorded values or texts with who shows each, in order."""
        choices = dict.fromkeys(choice for some in shown.values() for choice in some)
        measured = one.measured
        order = sorted(choices, key=(lambda choice: (in_unit(choice, measured.unit).value, choice)) if measured else str)
        return [{"name": plus_minus(choice, one), "who": self._who_shows(shown, choice)} for choice in order]

    def _who_shows(
        self, shown: Mapping[tuple[str, str], Mapping[str, list[tuple[str, str | float]]]], choice: str
    ) -> list[Values]:
        """Those who show a choice, by family or slot type."""
        found: list[Values] = []
        for (kind, home), some in shown.items():
            rows = some.get(choice, [])
            if rows:
                records = "variant" if kind == "family" else "part"
                who = [
                    self.site.link(records, ident) | {"how": how_often(how, alone=how in (1.0, "always"))} for ident, how in rows
                ]
                found.append(self.site.place(kind, home) | {"rows": who, "folded": len(who) > MOST_OPEN, "kind": records})
        return found

    def _shown_by(self, kind: str, home: str, name: str) -> dict[str, list[tuple[str, str | float]]]:
        facts: list[tuple[str, Fact | None]]
        if kind == "family":
            facts = [(one.id, one.shows.get(name)) for one in self.site.families[home].variants]
        else:
            self.site.memo.note(("in", home))
            plain = self.site.plain
            facts = [(part, one.shows.get(name)) for part, one in sorted(plain.parts.items()) if plain.home["part", part] == home]
        found: dict[str, list[tuple[str, str | float]]] = {}
        for ident, fact in facts:
            if fact and not fact.unknown:
                for choice, how in fact.is_.items():
                    found.setdefault(choice, []).append((ident, how))
        return found
