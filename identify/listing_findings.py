"""What is not right in a seller's text: what fits nothing, what contradicts something else, what was changed, what is dangerous.

Every remark is one plain sentence or two, made here, so that screen and JSON say the same.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..kb.models import Hazard
from ..kb.values import Years, read_years
from .arrays import Bools
from .belief import Evidence, changed_share
from .doubts import rows_now
from .given import Heard, merge
from .history import spoken, years_of_part
from .listing_evidence import POSSIBLE, as_issued, shown
from .listing_unit import DOUBTED, FINISH, Described
from .listing_words import called, made, meaning, name, part_name, quoted
from .report import said
from .swaps import belonging
from .wording import lower_first, percent, together

#: The most telling first.
KINDS = ("photographs", "contradiction", "years", "unrecorded", "original", "changed", "missing", "repainted", "caution")
#: What can hurt whoever only unpacks a thing and tries it; other hazards belong to the service work, and are named there.
HANDLING: tuple[Hazard, ...] = ("mains", "lead")
#: So many states are named as what the record has.
MOST_NAMED = 3
#: A slot was probably changed from this chance on.
CHANGED = 0.5


@dataclass(frozen=True)
class Remark:
    """One thing that is not right.

    kind      unrecorded: nothing in the record is so.  contradiction: claims that exclude one another.
              years: a part that is not of the time.  photographs: what they show is not what the text says.
              changed, missing, repainted: what became of the unit.  original: it is said to be original, and is not.
              caution: a hazard
    claims    the claims it is about (places in the text's row of claims); answers: the traits of the photographs' answers
    """

    kind: str
    claims: tuple[int, ...]
    answers: tuple[int, ...]
    says: str


def remarks(one: Described, whole: bool = True) -> list[Remark]:
    """Everything, the most telling first; of loose parts (not of a whole unit) what is not recorded, and what is dangerous."""
    found = [*_unrecorded(one)]
    found += _excluded(one) if whole else ()
    if one.session.belief.plausible and whole:
        found += [*_photographs(one), *_never(one), *_years(one), *_original(one), *_became(one)]
    return sorted([*found, *cautions(one)], key=lambda some: KINDS.index(some.kind))


# What fits nothing ------------------------------------------------------------------------------------------------------


def _unrecorded(one: Described) -> Iterator[Remark]:
    """Claims of which unit it is that no recorded unit of any family fits, and of traits that nothing recorded shows."""
    for n, some in enumerate(one.meanings):
        if some.fits is None or some.claim.denied or (some.fits[one.everything] > 0).any() or _shown_somewhere(one, n):
            continue
        what = f"the {some.claim.kind} " if some.claim.kind in ("number", "year") else ""
        yield Remark("unrecorded", (n,), (), f"Nothing in the record is or shows {what}{quoted(some.claim)}.")


def _shown_somewhere(one: Described, n: int) -> bool:
    """Whether some part or finish shows what a claim says of a trait, if none of those that units left the factory with."""
    some = one.meanings[n]
    if some.heard is None:
        return not some.names
    trait = one.session.compiled.traits[some.heard.trait]
    said_so = merge(trait, some.heard.trait, [some.heard.reading])
    return said_so is not None and bool((shown(trait, said_so) > POSSIBLE).any())


# Claims against each other ----------------------------------------------------------------------------------------------


def _excluded(one: Described) -> Iterator[Remark]:
    """Claims of which unit it is that no recorded unit of the family fits together; those that only guess are left.

    Each is said with all that it contradicts, the likeliest to be wrong first.
    """
    done: set[frozenset[int]] = set()
    for n in sorted(one.naming, key=lambda n: -round(one.doubts[n] or 0.0, 9)):
        against = [m for m in sorted(one.naming) if _exclude(one, n, m) and frozenset((n, m)) not in done]
        if against:
            done |= {frozenset((n, m)) for m in against}
            yield Remark("contradiction", (n, *against), (), _both(one, n, against) + _likely_wrong(one, [n, *against]))


def _exclude(one: Described, n: int, m: int) -> bool:
    """Whether two claims cannot both be right of one unit, and are not two guesses at the same thing."""
    first, second = one.meanings[n], one.meanings[m]
    guess = first.sort == second.sort and (first.claim.hedged or second.claim.hedged)
    return n != m and not guess and not one.fitting([n, m]).any()


def _both(one: Described, n: int, against: Sequence[int]) -> str:
    """Why a claim does not go with others."""
    rest = [m for m in against if one.fitting(against).any()] or against[:1]
    others = one.fitting(rest)
    for a, b in ((n, rest), *((m, [n]) for m in rest)):
        if one.meanings[a].sort == "year" and (when := made(one.words, one.fitting(b))) is not None:
            return f"The text says {_named(one, a)}, but {called(one.words, one.around(b))} was made {spoken(when)}."
    for a, b in ((n, rest), *((m, [n]) for m in rest)):
        sure = one.recorded & (one.fits(a) > 0.5)
        if one.meanings[a].sort in ("marking", "number") and sure.any():
            return f"No {_calling(one, b)} has the number {_named(one, a)}: it is that of {called(one.words, sure)}."
    return f"No {called(one.words, others)} is recorded that is also {_named(one, n)}."


def _calling(one: Described, claims: Sequence[int]) -> str:
    """What is named by claims that can be right together: in their own words where it is one, else as the record has it."""
    return _named(one, claims[0]) if len(claims) == 1 else called(one.words, one.fitting(claims))


def _named(one: Described, n: int) -> str:
    """A claim of which unit it is as one would say it."""
    some = one.meanings[n]
    if some.sort in ("marking", "number"):
        return some.claim.says[0]
    text = meaning(one.words, some)
    return lower_first(text) if some.sort in ("kind", "batch") else text


def _never(one: Described) -> Iterator[Remark]:
    """What the text says of traits and parts that the unit it names never showed when it left the factory.

    What the text says of its own photographs is said so.
    """
    of_traits: dict[int, Bools] = {}
    for n, some in enumerate(one.meanings):
        lost = some.claim.kind == "part" and some.claim.denied  # what is missing now was lost, and is reported so
        if not some.names and some.fits is not None and not lost:
            of_traits[n] = some.fits > POSSIBLE
    for blame, against in _blamed(one, of_traits):
        shown = [n for n in against if n in one.pictured and blame]
        for pictured, some in ((True, shown), (False, [n for n in against if n not in shown])):
            if some:
                kind = "photographs" if pictured else "contradiction"
                yield Remark(kind, (*blame, *some), (), _never_so(one, blame, some, pictured))


def _never_so(one: Described, blame: Sequence[int], against: Sequence[int], pictured: bool) -> str:
    """That the unit which is named never had what the text says of it, or of its own photographs."""
    what = together([quoted(one.claim(n)) + _instead(one, n, blame) for n in against])
    which = f"o {_whole(one, blame)} left the factory with"
    text = f"N{which} {what}."
    if pictured:
        says = together([_named(one, n) for n in blame])
        text = f"The text says {says}, and of its own photographs {what}: n{which} that."
    redone = not blame and _of_finish(one, against)
    return text + (" If that is so, it was redone." if redone else _likely_wrong(one, [*blame, *against]))


def _of_finish(one: Described, claims: Sequence[int]) -> bool:
    """Whether all of these claims are of the paint and lettering."""
    slots = one.session.compiled.slots
    heard = [one.meanings[n].heard for n in claims]
    return all(some is not None and slots[one.session.compiled.traits[some.trait].slot].id == FINISH for some in heard)


def _blamed(one: Described, fits: Mapping[int, Bools]) -> list[tuple[tuple[int, ...], list[int]]]:
    """(claims of which unit it is, what they exclude) for each of these that some recorded unit shows.

    Excluded by the family; by a doubted claim together with those that agree; or by those alone.  Each thing once, the claim that
    excludes most first.
    """
    left = {key: mine for key, mine in fits.items() if (mine & one.everything).any()}

    def excluded(candidates: Bools) -> list[int]:
        return [key for key, mine in left.items() if not (mine & candidates).any()]

    naming = [n for n in one.naming if one.meanings[n].sort != "year" or one.fitting([n, *one.agreeing]).any()]
    doubted = [((n,), one.around([n])) for n in naming if (one.doubts[n] or 0.0) >= DOUBTED]
    choices: list[tuple[tuple[int, ...], Bools]] = [((), one.recorded)]
    choices += sorted(doubted, key=lambda pair: -len(excluded(pair[1])))
    choices += [((n,), one.fitting([n])) for n in one.agreeing if one.meanings[n].sort != "year"]
    choices += [(tuple(one.agreeing), one.named)] if one.agreeing else []
    found: list[tuple[tuple[int, ...], list[int]]] = []
    for blame, candidates in choices:
        if against := excluded(candidates):
            found.append((blame, against))
            left = {key: mine for key, mine in left.items() if key not in against}
    return found


def _whole(one: Described, claims: Sequence[int]) -> str:
    """What claims name together, with those that agree; the family where it is no claim that excludes something."""
    return called(one.words, one.around(claims) if claims else one.recorded)


def _instead(one: Described, n: int, claims: Sequence[int]) -> str:
    """What the unit that is named shows of the trait of a claim, in brackets; nothing where that is not one trait."""
    heard = one.meanings[n].heard
    found = _recorded(one, heard.trait, one.around(claims)) if heard is not None else ""
    return f" (recorded: {found})" if found else ""


def _recorded(one: Described, t: int, candidates: Bools) -> str:
    """What these candidates show of a trait when new."""
    compiled = one.session.compiled
    trait = compiled.traits[t]
    if trait.measured or not candidates.any():
        return ""
    states: list[str] = []
    for k, state in enumerate(trait.states):
        weights = np.zeros(len(trait.states))
        weights[k] = 1.0
        if (as_issued(compiled, t, Evidence(t, weights=weights))[candidates] > POSSIBLE).any():
            states.append(state if trait.worn else lower_first(one.words.state(t, state)))
    return " or ".join(states) if 0 < len(states) <= MOST_NAMED else ""


def _likely_wrong(one: Described, claims: Sequence[int]) -> str:
    """Which of these claims is probably wrong, or which slot was probably changed instead."""
    wrong = [n for n in claims if (one.doubts[n] or 0.0) >= DOUBTED]
    if wrong:
        pairs = [f"{quoted(one.claim(n))} ({percent(one.doubts[n] or 0.0)})" for n in wrong]
        return f" Probably wrong: {together(pairs)}."
    slots = {one.session.compiled.traits[heard.trait].slot for n in claims if (heard := one.meanings[n].heard) is not None}
    changed = [s for s in sorted(slots) if changed_share(one.session.compiled, one.session.belief, s) >= CHANGED]
    return f" {_changed_words(one, changed)}." if changed else ""


def _changed_words(one: Described, slots: Sequence[int]) -> str:
    compiled = one.session.compiled
    names = [f"the {lower_first(one.words.slot(compiled.slots[s].id))}" for s in slots]
    chances = [changed_share(compiled, one.session.belief, s) for s in slots]
    what = [f"{text} ({percent(chance)})" for text, chance in zip(names, chances, strict=True)]
    return f"Probably changed since: {together(what)}"


def _years(one: Described) -> Iterator[Remark]:
    """Parts that were not made yet in the year that is claimed, or when the named unit was made."""
    claimed = [(n, years) for n in one.naming if one.meanings[n].sort == "year" and (years := _of_year(one, n)) is not None]
    when = made(one.words, one.named) if one.agreeing else None
    for n, some in enumerate(one.meanings):
        part = next((says.partition("=")[2] for says in some.claim.says), "") if some.claim.kind == "part" else ""
        of_part = years_of_part(one.words.entries, part) if len(some.claim.says) == 1 and not some.claim.denied else None
        if of_part is None:
            continue
        late = [(m, years) for m, years in claimed if years.last < of_part.first]
        named = one.words.part(part)
        for m, years in late:
            text = f"{named} was not made before {of_part.first}; the text says {spoken(years)}."
            yield Remark("years", (m, n), (), text)
        if not late and when is not None and when.last < of_part.first:
            text = f"{named} was not made before {of_part.first}; {called(one.words, one.named)} was made {spoken(when)}."
            yield Remark("years", (*one.agreeing, n), (), text)


def _of_year(one: Described, n: int) -> Years | None:
    years = read_years(one.claim(n).says[0])
    return years if isinstance(years, Years) else None


# The text against its photographs ---------------------------------------------------------------------------------------


def _photographs(one: Described) -> Iterator[Remark]:
    """What the photographs show and the text, or the unit it names, does not."""
    direct = [remark for n in range(len(one.meanings)) if (remark := _against(one, n)) is not None]
    yield from direct
    done = {t for remark in direct for t in remark.answers}
    compiled = one.session.compiled
    fits: dict[int, Bools] = {}
    for some in one.session.evidence:
        hard = not compiled.slots[compiled.traits[some.trait].slot].parts  # a part that does not belong was changed
        if some.seen and hard and some.trait not in done:
            fits[some.trait] = as_issued(compiled, some.trait, some) > POSSIBLE
    for blame, traits in _blamed(one, fits):
        shows = together([_answer(one, t) for t in traits])
        which = f"the photographs show {shows}, which no {_whole(one, blame)} left the factory with"
        says = (
            f"The text says {together([_named(one, n) for n in blame])}; {which}."
            if blame
            else f"{which[:1].upper()}{which[1:]}."
        )
        yield Remark("photographs", blame, tuple(traits), says + _likely_wrong(one, blame))


def _against(one: Described, n: int) -> Remark | None:
    """A claim of a trait or a part that the photographs speak against: of the same trait, or of the same part."""
    heard = one.meanings[n].heard
    if heard is None or one.meanings[n].names or not one.answers:
        return None
    compiled = one.session.compiled
    slot = compiled.traits[heard.trait].slot
    mine = [some for some in one.session.evidence if some.seen and compiled.traits[some.trait].slot == slot]
    mine = [some for some in mine if some.trait == heard.trait or compiled.slots[slot].parts]
    shows = [some.trait for some in mine if not _together(one, heard, some)]
    shows = [t for t in shows if t == heard.trait] or shows
    if not shows:
        return None
    said_of_it = f"{quoted(one.claim(n))} ({lower_first(meaning(one.words, one.meanings[n]))})"
    text = f"The text says {said_of_it}; the photographs show {together([_answer(one, t) for t in shows])}."
    return Remark("photographs", (n,), tuple(shows), text)


def _together(one: Described, heard: Heard, seen: Evidence) -> bool:
    """Whether one state, or some part of the slot, shows both what is claimed and what was seen."""
    compiled = one.session.compiled
    claimed = merge(compiled.traits[heard.trait], heard.trait, [heard.reading])
    if claimed is None:
        return True
    if seen.trait == heard.trait and claimed.weights is not None and seen.weights is not None:
        return bool((claimed.weights * seen.weights).max() > 0.05 * claimed.weights.max() * seen.weights.max())
    rows = shown(compiled.traits[heard.trait], claimed) * shown(compiled.traits[seen.trait], seen)
    return bool((rows > POSSIBLE).any())


def _answer(one: Described, t: int) -> str:
    """An answer of the photographs in words."""
    return f"{lower_first(one.words.trait(t))}: {lower_first(said(one.session, one.words, t))}"


# What became of the unit ------------------------------------------------------------------------------------------------


def _became(one: Described) -> Iterator[Remark]:
    """The slots that text or photographs speak of and that were probably changed since; and the finish, if it was redone."""
    compiled, belief = one.session.compiled, one.session.belief
    touched: dict[int, list[int]] = {}
    for some in one.session.evidence:
        touched.setdefault(compiled.traits[some.trait].slot, []).append(some.trait)
    for s, traits in sorted(touched.items()):
        chance = changed_share(compiled, belief, s)
        slot = compiled.slots[s]
        if chance < CHANGED:
            continue
        claims = tuple(n for n, one_of in enumerate(one.meanings) if one_of.heard is not None and one_of.heard.trait in traits)
        answers = tuple(t for t in traits if t in one.session.seen)
        what = f"the {lower_first(one.words.slot(slot.id))} ({percent(chance)})"
        if not slot.parts:
            repainted = slot.id == FINISH
            text = (
                f"The paint and lettering were probably redone ({percent(chance)})."
                if repainted
                else f"Probably changed since: {what}."
            )
            yield Remark("repainted" if repainted else "changed", claims, answers, text)
            continue
        now, issued = rows_now(slot, belief, s), belonging(slot, belief.probability)
        there, belongs = slot.parts[int(now.argmax())], slot.parts[int(issued.argmax())]
        gone = there == "none"
        parts = [f"{_part(one, there)} sits there"] if now.max() >= CHANGED and there not in ("none", "unlisted") else []
        parts += [f"{_part(one, belongs)} belongs there"] if issued.max() >= CHANGED and belongs not in ("none", there) else []
        more = f"; {', '.join(parts)}" if parts else ""
        yield Remark(
            "missing" if gone else "changed", claims, answers, f"Probably {'missing' if gone else 'changed since'}: {what}{more}."
        )


def _gone(one: Described, s: int) -> bool:
    """Whether most likely nothing sits in a slot."""
    slot = one.session.compiled.slots[s]
    return bool(slot.parts) and slot.parts[int(rows_now(slot, one.session.belief, s).argmax())] == "none"


def _part(one: Described, part: str) -> str:
    when = years_of_part(one.words.entries, part)
    return part_name(one.words, part) + (f" ({spoken(when)})" if when else "")


def _original(one: Described) -> Iterator[Remark]:
    """The text says that nothing was changed, or that it was not repainted, and something probably was."""
    compiled, belief = one.session.compiled, one.session.belief
    touched = {compiled.traits[some.trait].slot for some in one.session.evidence}
    changed = [s for s in sorted(touched) if changed_share(compiled, belief, s) >= CHANGED and not _gone(one, s)]
    finish = [s for s in changed if compiled.slots[s].id == FINISH]
    for n, some in enumerate(one.meanings):
        says_original = bool(set(some.claim.says) & set(one.words.entries.about.buying.original)) and not some.claim.denied
        mine = changed if says_original else finish if some.redone is not None and some.claim.denied else []
        if mine:
            text = f"The text says {quoted(some.claim)}. {_changed_words(one, mine)}."
            yield Remark("original", (n,), (), text)


# Cautions ---------------------------------------------------------------------------------------------------------------


def cautions(one: Described) -> Iterator[Remark]:
    """The hazards of what the text speaks of, in the words of the record: once each, with all claims that touch it."""
    for hazard, claims in hazards_of(one).items():
        yield Remark("caution", claims, (), one.words.entries.about.hazards[hazard].caution.strip())


def hazards_of(one: Described) -> dict[Hazard, tuple[int, ...]]:
    """The hazards that claims touch, with these claims."""
    records = one.words.entries.about.hazards
    spoken_of = [_touches(one, n).lower() for n in range(len(one.meanings))]
    found: dict[Hazard, tuple[int, ...]] = {}
    for hazard in HANDLING:
        record = records.get(hazard)
        brought = [term.lower() for term in record.brought_by] if record is not None else []
        claims = tuple(n for n, text in enumerate(spoken_of) if any(term in text for term in brought))
        if claims:
            found[hazard] = claims
    return found


def _touches(one: Described, n: int) -> str:
    """The words of a claim, of its meaning, of the slot it is about, and of its family."""
    some, entries = one.meanings[n], one.words.entries
    texts = [some.claim.quote, meaning(one.words, some)]
    for says in some.claim.says:
        key = says.partition("=")[0]
        family = key.partition("/")[0]
        texts += [name(one.words, family)] if family in entries.families else []
        texts += [one.words.slot(key.partition(".")[0])] if some.claim.kind in ("part", "state", "measure") else []
        for record in entries.families.values():
            if some.claim.kind == "defect" and key in record.damage and record.damage[key].slot in record.slots:
                texts.append(record.slots[record.damage[key].slot].name)
    return " ".join(texts)
