"""The pocket sheets: for each family a printed key of yes/no questions, for use without a screen."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from itertools import accumulate
from typing import TYPE_CHECKING

from ..kb.resolve import living
from .drawn import trusted
from .page import Page, Values
from .reads import ALL
from .tables import Site
from .texts import address, sentence

if TYPE_CHECKING:
    from ..identify.key import Key, Leaf, Sheet, Step
    from ..identify.wording import Words

#: A family with more variants has no sheet: it would not go into a pocket.
MOST_VARIANTS = 150
#: A view that takes so many glances is not looked at in passing: what it takes is said at the step.
CAREFUL = 3.0
#: So many states are shown on the branch of no; where there are more, none.
MOST_OTHERS = 3
#: What has less than this share of a leaf is found there now and then.
NOW_AND_THEN = 0.05
#: The question a measured trait is asked: more than the cut, or not.
OVER = ((0,), (1,))


def pages(site: Site) -> Iterator[Page]:
    """A sheet for each family with variants to tell apart, unless they would fill a book."""
    counts = Counter(site.plain.home["variant", one] for one in living(site.plain))
    for ident in sorted(site.plain.families):
        if 1 < counts[ident] <= MOST_VARIANTS:
            title = f"Pocket sheet: {site.plain.families[ident].name}"
            values = partial(pocket, site, ident)
            yield Page(pocket_address(ident), "pocket.html", title, values, styles=("pocket.css",), home=ident)


def pocket_address(family: str) -> str:
    """Where a family's sheet stands below the root."""
    return address("family", family).replace("families/", "pocket-sheets/", 1)


def pocket(site: Site, ident: str) -> Values:
    """The sheet of one family."""
    site.arrays(ident)
    # The words of what is asked about; see `identify.wording`.
    site.memo.note(("family", ident), *((kind, ALL) for kind in ("part", "slot type", "trait")))
    return _Written(site, ident).values()


@dataclass
class _Written:
    """A sheet as it is put into words."""

    site: Site
    ident: str
    #: Each picture, parted before every id.
    parts: dict[str, list[str]] = field(default_factory=dict)

    @cached_property
    def words(self) -> "Words":
        """The words of this family alone."""
        from ..identify.wording import Words  # here and below: a build in which little has changed needs no arrays

        compiled, _ = self.site.memo.reading(partial(self.site.compiled, self.ident))  # of which `arrays` was asked
        return Words(self.site.plain, compiled)

    @cached_property
    def sheet(self) -> "Sheet":
        """The keys."""
        from ..identify.key import pocket_sheet  # here, since nothing else on the site makes keys

        return pocket_sheet(self.words.compiled)

    def values(self) -> Values:
        """All that the page says."""
        keys = list(self.sheet.by_text.values())
        firsts = list(accumulate((len(key.steps) for key in keys), initial=1))
        by_text = [
            step for (text, key), n in zip(self.sheet.by_text.items(), firsts, strict=False) for step in self.steps(key, n, text)
        ]
        steps = self.steps(self.sheet.otherwise, firsts[-1], None)
        return {
            "family": self.site.link("family", self.ident),
            "variants": len(self.words.compiled.variants),
            "mean": f"{self.sheet.mean_steps:.1f}",
            "right": round(100 * self.sheet.right),
            "reading": self.reading(firsts) if self.sheet.read is not None else None,
            "by_text": by_text,
            "rows": steps,
            "alone": None if steps else self.leaf(self.sheet.otherwise.leaves[0]),
            "views": self.views([*by_text, *steps]),
            "cautions": self.cautions([*by_text, *steps]),
        }

    # Head ---------------------------------------------------------------------------------------------------------------

    def reading(self, firsts: Sequence[int]) -> Values:
        """The marking that is read first: for each text the step that comes next, or the variant."""
        assert self.sheet.read is not None
        rows = [
            {"text": text, "go": n if key.steps else None, "end": None if key.steps else self.leaf(key.leaves[0])}
            for (text, key), n in zip(self.sheet.by_text.items(), firsts, strict=False)
        ]
        return {
            "name": self.words.trait(self.sheet.read),
            "look": self.words.look(self.sheet.read),
            "rows": rows,
            "unrecorded": [self.variant(v) for v in self.sheet.unrecorded],
            "otherwise": firsts[-1],
        }

    def views(self, steps: Iterable[Values]) -> list[Values]:
        """The views that the steps need, in the order of the record, and how to get to see each."""
        used = {step["view_id"] for step in steps}
        views = self.site.families[self.ident].views
        return [{"name": view.name, "how": view.how} for ident, view in views.items() if ident in used and view.how]

    def cautions(self, steps: Iterable[Values]) -> list[Values]:
        """What can hurt, where a step needs more than a look."""
        if not any(step["caution"] for step in steps):
            return []
        hazards = self.site.about.hazards.items()
        return [{"name": sentence(name.replace("-", " ")), "text": hazard.caution} for name, hazard in hazards]

    # Steps --------------------------------------------------------------------------------------------------------------

    def steps(self, key: "Key", first: int, text: str | None) -> list[Values]:
        """The steps of a key, numbered from `first`; `text`: the marking it is for."""
        return [self.step(key, one, first + index, first, text) for index, one in enumerate(key.steps)]

    def step(self, key: "Key", one: "Step", number: int, first: int, text: str | None) -> Values:
        """One question, where one comes from, and where its answers lead."""
        ident = self.words.view(one.trait)
        view = self.site.families[self.ident].views[ident] if ident else None
        return {
            "number": number,
            "question": self.question(one),
            "view": view.name if view else None,
            "view_id": ident,
            "look": self.words.look(one.trait),
            "caution": (view.how or view.name) if view and view.effort >= CAREFUL else None,
            "back": first + one.back if one.back >= 0 else None,
            "text": text if one.back < 0 else None,
            "likely": [self.variant(v) for v in one.likely],
            "branches": [self.branch(key, one, yes, number, first) for yes in (True, False)],
        }

    def question(self, one: "Step") -> str:
        """The text of a question."""
        from ..identify.questions import Question

        trait = self.words.compiled.traits[one.trait]
        if one.cut is not None:
            return self.words.ask(Question(one.trait, OVER, one.cut))
        if self.whether_there(one):
            slot = self.words.compiled.slots[trait.slot]
            return f"{self.words.slot(slot.id) if slot.parts else self.words.trait(one.trait)}: is there one?"
        return self.words.ask(Question(one.trait, (tuple(trait.states.index(state) for state in one.states), ())))

    def whether_there(self, one: "Step") -> bool:
        """Whether the question is if there is any such thing."""
        trait = self.words.compiled.traits[one.trait]
        return trait.can_be_missing and len(one.states) == len(trait.states) - 1

    def branch(self, key: "Key", one: "Step", yes: bool, number: int, first: int) -> Values:
        """What a yes or a no looks like, and where it leads."""
        word, leads = ("yes", one.yes) if yes else ("no", one.no)
        return {
            "word": word,
            "pictures": [*self.pictures(one, yes, f"step-{number}-{word}-")],
            "go": first + leads if leads >= 0 else None,
            "end": self.leaf(key.leaves[~leads]) if leads < 0 else None,
        }

    def pictures(self, one: "Step", yes: bool, prefix: str) -> Iterator[Values]:
        """The states of a branch, each with its picture where there is one; of a value, its bound."""
        from ..identify.arrays import MISSING
        from ..identify.questions import Question

        trait, record = self.words.compiled.traits[one.trait], self.words.record(one.trait)
        if one.cut is not None:
            bound = self.words.cut(Question(one.trait, OVER, one.cut))
            yield self.picture(f"more than {bound}" if yes else f"{bound} or less", trait.id, None, prefix)
        states = () if self.whether_there(one) else one.states if yes else one.others
        for k, state in enumerate(states if yes or len(states) <= MOST_OTHERS else ()):
            name = "none there" if trait.can_be_missing and state == MISSING else self.words.state(one.trait, state)
            yield self.picture(name, trait.id, None if record and record.marking else state, f"{prefix}{k}-")

    def picture(self, name: str, trait: str, state: str | None, prefix: str) -> Values:
        """A state's name and picture, the ids inside it made its own: a sheet shows one picture at many steps."""
        svg = self.site.pictures.of_state(self.ident, trait, state)
        if svg is not None and svg not in self.parts:
            self.parts[svg] = re.split(r'(?<=["#( ])(?=picture-)', svg)
        return {"name": name, "svg": svg and trusted(prefix.join(self.parts[svg]))}

    # Ends ---------------------------------------------------------------------------------------------------------------

    def leaf(self, leaf: "Leaf") -> Values:
        """Where the key ends: what it is, the likeliest first, and what it is only now and then."""
        unrecorded = {v for v in self.sheet.unrecorded if len(leaf.shares) > 1}
        often = [(v, share) for v, share in leaf.shares if share >= NOW_AND_THEN] or list(leaf.shares[:1])
        rare = [v for v, _ in leaf.shares if v not in dict(often)]
        alone = len(often) == 1
        return {
            "often": [self.variant(v) | {"how": None if alone else f"{share:.0%}".replace("%", " %")} for v, share in often],
            "rare": [self.variant(v) for v in rare if v not in unrecorded],
            "starred": any(v in unrecorded for v in rare),
        }

    def variant(self, v: int) -> Values:
        """A link to a variant's page."""
        return self.site.link("variant", self.words.compiled.variants[v])
