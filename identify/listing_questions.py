"""What a seller's text does not say, the few things to ask for, and a message that asks for them.

A photograph of one view answers everything that is seen there, so views are chosen: each time the one with the most further news
for its effort, all claims and photographs counted.  What is left of the questions goes to what a buyer needs to hear.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kb.models import Hazard, Wanted
from ..kb.resolve import has_slot, number, slots_of, stated, views_of
from .arrays import NOT_IN_THE_RECORD
from .listing_findings import Remark
from .listing_unit import Described
from .questions import entropy
from .report import leading_family
from .session import Proposal
from .views import NewsOfViews
from .wording import lower_first, together

#: So many views are asked for at most, and so many traits and damage spots are named of each.
MOST_VIEWS, MOST_TRAITS, MOST_SPOTS = 4, 3, 2
#: A view is asked for when it promises so many bits, and a trait of it is named from the second on.
WORTH_ASKING, WORTH_NAMING = 0.1, 0.03
#: So much on the 1 to 10 scale, on average, must hang on a thing for its silence to be said; so many are.
MATTERS, MOST_SILENT = 0.15, 6


@dataclass(frozen=True)
class Silent:
    """Something that matters and that the text does not speak of.

    about    condition, damage or part; id: of the wanted condition, the damage spot or the slot
    costs    what it takes off the grade on average: how often it is so, times what it then does
    share    how often it is so
    """

    about: str
    id: str
    name: str
    view: str | None
    costs: float
    share: float


@dataclass(frozen=True)
class Asked:
    """One thing to ask for: a photograph of a view, or something to say; its news in bits, and what it tells of."""

    view: str | None
    ask: str
    bits: float
    traits: tuple[str, ...]
    silent: tuple[str, ...]


# What is not said -------------------------------------------------------------------------------------------------------


def silent(one: Described) -> list[Silent]:
    """What matters most and is not spoken of, the most important first."""
    buying = one.words.entries.about.buying
    found = [*_conditions(one, buying.wanted), *_spots(one), *_parts(one, abs(buying.foreign_part))]
    matter = [some for some in found if round(some.costs, 9) >= MATTERS]
    return sorted(matter, key=lambda some: (-round(some.costs, 9), some.id))[:MOST_SILENT]


def _said(one: Described, kind: str) -> set[str]:
    return {says for some in one.meanings if some.claim.kind == kind for says in some.claim.says}


def _conditions(one: Described, wanted: Mapping[str, Wanted]) -> Iterator[Silent]:
    told = _said(one, "condition") | _said(one, "hedge")
    for ident, some in wanted.items():
        there = some.slot is None or _has(one, some.slot)
        if there and not told & set(some.said_by):
            yield Silent("condition", ident, some.name, some.view, some.share * abs(some.grade), some.share)


def _spots(one: Described) -> Iterator[Silent]:
    """Damage spots of the leading family on what the unit has, out of the photographs' views, and not spoken of.

    A plain word ("no cracks") speaks of all spots that are named by it.
    """
    family = leading_family(one.session)
    record = one.words.entries.families.get(family or "")
    told = _said(one, "defect")
    at_hand = {one.session.compiled.views[view] for view in one.session.views} if one.session.views is not None else set[str]()
    frequencies = one.words.entries.about.frequencies
    for ident, spot in record.damage.items() if record else ():
        spoken = ident in told or "damage" in told or any(word in ident.split("-") for word in told)
        if not spoken and spot.view not in at_hand and _has(one, spot.slot):
            share = number(frequencies, spot.how_common)
            yield Silent("damage", ident, spot.name, spot.view, share * abs(spot.grade), share)


def _parts(one: Described, costs: float) -> Iterator[Silent]:
    """Slots that are often found changed, that nobody looked at, and that no claim is about."""
    compiled = one.session.compiled
    spoken = {compiled.traits[some.trait].slot for some in one.session.evidence}
    family = leading_family(one.session)
    types = slots_of(one.words.entries, family) if family else {}
    told = {says.partition("=")[0].partition(".")[0] for kind in ("part", "state") for says in _said(one, kind)}
    for s, slot in enumerate(compiled.slots):
        record = types.get(slot.id)
        if record is None or not slot.parts or s in spoken or not _has(one, slot.id) or {slot.id, record.type} & told:
            continue
        weight = float(one.session.belief.probability @ slot.swap[slot.row])
        yield Silent("part", slot.id, record.name, None, weight * costs, weight)


def _has(one: Described, slot: str) -> bool:
    """Whether the likeliest unit has a slot; a family's own where the variant is not in the record."""
    family, entries = leading_family(one.session), one.words.entries
    best = next((ident for ident, _ in one.session.variants if ident != NOT_IN_THE_RECORD), None)
    if family is None or best is None:
        return False
    return slot in slots_of(entries, family) and has_slot(entries, family, slot, stated(entries, best).kind)


# What to ask ------------------------------------------------------------------------------------------------------------


def questions(one: Described, left_out: Sequence[Silent], remarks: Sequence[Remark], hazards: Collection[Hazard]) -> list[Asked]:
    """What to ask for, the most telling for its effort first; no view that is at hand, and nothing unsafe with these hazards."""
    if not one.session.belief.plausible:
        return []
    views = views_of(one.words.entries, leading_family(one.session))
    requests = {ident: view.request for ident, view in views.items() if view.request}
    found = [*_doubtful(one, remarks), *_views(one, left_out, requests)]
    told = {ident for asked in found for ident in asked.silent}
    wanted = one.words.entries.about.buying.wanted
    for some in left_out:
        record = wanted.get(some.id) if some.about == "condition" else None
        if some.id not in told and record is not None and record.ask and not set(record.unless) & set(hazards):
            found.append(Asked(some.view, record.ask, entropy_of(some.share), (), (some.id,)))
    return found


def entropy_of(share: float) -> float:
    """The news of something that is so with this chance, in bits."""
    return entropy(np.array([share, 1.0 - share]))


def _doubtful(one: Described, remarks: Sequence[Remark]) -> Iterator[Asked]:
    """One more look at what photographs and text do not agree on; the first such thing."""
    for remark in remarks:
        if remark.kind == "photographs" and remark.answers:
            t = remark.answers[0]
            doubt = max((one.doubts[n] or 0.0 for n in remark.claims), default=0.5)
            text = f"Would you look once more, please: {lower_first(_question(one, t))}"
            yield Asked(None, text, entropy_of(doubt), (one.words.key(t),), ())
            return


def _thing(one: Described, t: int) -> str:
    """What to see of a trait, as one would say it: the gearing of the motor."""
    record, compiled = one.words.record(t), one.session.compiled
    slot = compiled.slots[compiled.traits[t].slot]
    name = lower_first(record.name).partition(",")[0] if record else lower_first(one.words.slot(slot.id))
    where = lower_first(one.words.slot(slot.id))
    plain = not slot.parts or record is None or set(where.split()) & set(name.split())
    return f"the {name}" if plain else f"the {name} of the {where}"


def _question(one: Described, t: int) -> str:
    """The plain question for a trait, with its part where several have it."""
    record = one.words.record(t)
    if record is None or not record.ask:
        return f"{one.words.trait(t)}: what is there?"
    slot = one.session.compiled.slots[one.session.compiled.traits[t].slot]
    short = one.session.compiled.traits[t].id.partition(".")[2]
    several = slot.parts and sum(some.id.partition(".")[2] == short for some in one.session.compiled.traits) > 1
    return f"{one.words.slot(slot.id)}: {lower_first(record.ask)}" if several else record.ask


def _views(one: Described, left_out: Sequence[Silent], requests: Mapping[str, str]) -> list[Asked]:
    """The views worth a photograph, by further news for their effort; with what else is seen there and not spoken of."""
    compiled = one.session.compiled
    unclear = {given.trait for given in one.session.given}
    news = NewsOfViews(compiled, one.session.belief, one.session.seen | unclear)
    open_views = {
        v
        for v, view in enumerate(compiled.views)
        if view in requests and (one.session.views is None or v not in one.session.views)
    }
    proposals = replace(one.session, views=None, target="all").proposals
    chosen: list[int] = []
    found: list[Asked] = []
    before = 0.0
    while open_views and len(chosen) < MOST_VIEWS:
        gains = {v: news.of([*chosen, v]) - before for v in sorted(open_views)}
        best = max(gains, key=lambda v: round(gains[v] / float(compiled.effort[v]), 9))
        if gains[best] < WORTH_ASKING:
            break
        chosen.append(best)
        open_views.discard(best)
        before += gains[best]
        found.append(_view(one, best, gains[best], proposals, left_out, requests))
    return found


def _view(
    one: Described, v: int, bits: float, proposals: Sequence[Proposal], left_out: Sequence[Silent], requests: Mapping[str, str]
) -> Asked:
    """A photograph of one view: how it is asked for, what to see there, and damage that would show."""
    compiled = one.session.compiled
    best: dict[int, float] = {}
    for proposal in proposals:
        t = proposal.question.trait
        if compiled.traits[t].view == v:
            best[t] = max(best.get(t, 0.0), proposal.bits)
    worth = sorted(best, key=lambda t: -round(best[t], 9))
    traits = [t for t in worth if best[t] >= WORTH_NAMING][:MOST_TRAITS] or worth[:1]
    view = compiled.views[v]
    spots = [some for some in left_out if some.view == view and some.about == "damage"]
    names = list(dict.fromkeys(_thing(one, t) for t in traits))
    see = f", sharp enough to show {together(names)}" if names else ""
    damage = together([lower_first(some.name) for some in spots[:MOST_SPOTS]])
    text = f"{requests[view].rstrip('.')}{see}.{f' Is there anything like this: {damage}?' if damage else ''}"
    return Asked(view, text, bits, tuple(one.words.key(t) for t in traits), tuple(some.id for some in spots))


# The message ------------------------------------------------------------------------------------------------------------


def message(names: Sequence[str], questions: Sequence[tuple[int, Asked]]) -> str:
    """A short polite message that asks these of each unit, in plain words; thanks alone where nothing needs to be asked.

    names: what the seller calls each unit; empty for one that is not named.
    """
    things = list(dict.fromkeys(called for called in names if called))
    what = f"the {together(things)}" if things else "what you offer"
    asked = [f"Of the {names[u]}: {lower_first(one.ask)}" if len(names) > 1 and names[u] else one.ask for u, one in questions]
    if not asked:
        return f"Hello,\n\nthank you for your clear description of {what}. I have no questions about it.\n\nKind regards"
    lines = [f"{n}. {one}" for n, one in enumerate(asked, 1)] if len(asked) > 1 else [*asked]
    begin = f"I am interested in {what} and would be grateful for {'a few things' if len(asked) > 1 else 'one thing'}:"
    return "\n".join(["Hello,", "", begin, "", *lines, "", "Thank you for your trouble, and kind regards"])


def own_words(one: Described) -> str:
    """What the seller calls the unit: number, livery and kind in the seller's own words, as far as the text has them."""
    found: dict[str, str] = {}
    for some in one.meanings:
        if some.names and some.sort not in found and not some.claim.denied:
            found[some.sort] = " ".join(some.claim.quote.split())
    sorts: Collection[str] = ("number", "livery", "kind") if "kind" in found else ("number", "livery", "family")
    return " ".join(found[sort] for sort in sorts if sort in found)
