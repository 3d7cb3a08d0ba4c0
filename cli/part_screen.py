"""What a report says of a loose part: who made it, what it fits, what was born with it, and what to be careful of."""

from collections.abc import Iterator, Sequence
from typing import Any

from ..identify.session import Session
from ..identify.wording import Words, lower_first, together
from .screen import candidates, heading, percent, row, unlisted, wrapped

#: A maker, and another part that it may be, is named from this chance on; so many of them.
WORTH_NAMING, MOST_NAMED = 0.05, 3
#: So many parts that cannot be told apart are shown one by one.
MOST_SHOWN = 3
#: So many variants that were born with it are named; of more, how many there are in each family.
MOST_BORN = 24
#: From this chance on, or when there is nothing more to ask, it is said what the first part fits.
CLEAR = 0.5
#: From this chance on that a part is a reproduction it is said to be one, and up to the second one it is said to be none.
SURELY, HARDLY = 0.5, 0.05


def of_part(_session: Session, words: Words, found: dict[str, Any]) -> Iterator[str]:
    """Everything about a loose part between its name and the reasons."""
    twins = len(found["cannot_be_told_apart"]) if found["settled"] or found["next"] is None else 1
    leading = found["described"][: min(max(1, twins), MOST_SHOWN)]
    if leading and not unlisted(words, found):
        clear = candidates(words, found)[0]["probability"] >= CLEAR or found["next"] is None
        leading = leading if clear else leading[:0]
        yield from _maker(words, found, leading)
        yield from _told(found)
        for one in leading:
            yield from _of_one(words, one, sure=found["settled"] and len(leading) == 1)
    yield from _care(found)


def _maker(words: Words, found: dict[str, Any], leading: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Who made it, and whether it is a reproduction."""
    yield ""
    yield heading("Who made it")
    likely = [one for one in found["makers"] if one["probability"] >= WORTH_NAMING] or found["makers"][:1]
    years = {one["maker"]: one["made"] for one in reversed(leading)}
    for one in likely[:MOST_NAMED]:
        made = years.get(one["id"])
        name = "nobody recorded" if one["id"] is None else one["name"]
        yield row(f"{name}, {made.replace('..', ' to ')}" if made and one["id"] else name, percent(one["probability"]))
    yield from wrapped(" ".join(_copied(found["reproduction"])))
    if leading and found["reproduction"]["probability"] < SURELY:
        yield from _foreign(words, found, leading[0])


def _copied(found: dict[str, Any]) -> Iterator[str]:
    """Whether it is a reproduction, and of what."""
    chance = percent(found["probability"])
    if found["probability"] >= SURELY:
        originals = [f"{one['name']} ({one['id']})" for one in found["of"] if one["probability"] >= WORTH_NAMING]
        yield f"It is a reproduction ({chance}), of {' or of '.join(originals)}."
    elif found["probability"] >= HARDLY:
        yield f"It may be a reproduction ({chance})."
    else:
        yield f"It is hardly a reproduction ({chance})." if found["of"] else "No reproduction like it is recorded."


def _foreign(words: Words, found: dict[str, Any], one: dict[str, Any]) -> Iterator[str]:
    """That it is not of the maker of the units that it fits."""
    names = words.entries.makers
    fitted = list(dict.fromkeys(family["maker"] for family in one["fits"] if family["maker"]))
    maker = next((some["id"] for some in found["makers"]), None)
    if maker and one["maker"] == maker and fitted and maker not in fitted:
        units = together([names[ident].name for ident in fitted if ident in names])
        yield from wrapped(f"Not the works' own: {names[maker].name} made it to go into units by {units}.")


def _told(found: dict[str, Any]) -> Iterator[str]:
    """How to tell the likely parts from what they copy or resemble, and the first of them from its copies."""
    first, *others = found["described"]
    told = {one["name"]: one["tell"] for one in [first, *first["copied_by"], *others] if one["tell"]}
    if told:
        yield ""
        yield heading("How to tell")
        for name, tell in told.items():
            yield from wrapped(f"{name}: {tell}", hanging="  ")


def _of_one(words: Words, one: dict[str, Any], sure: bool) -> Iterator[str]:
    """What one part fits, and what was born with it."""
    of = "" if sure else f"   if it is {one['name']}"
    yield ""
    yield heading("What it fits") + of
    for family in one["fits"]:
        slots = together([lower_first(_slot(words, family["family"], slot)) for slot in family["slots"]])
        yield from wrapped(f"{family['name']}: {slots}", hanging="  ")
    if not one["fits"]:
        yield from wrapped("Nobody recorded a unit that it fits.")
    yield ""
    yield heading("Born with it") + (of or "   variants, as they left the factory")
    yield from _born(words, one)
    if one["cost"] is not None:
        minutes = f", and {one['minutes']:g} minutes to fit it" if one["minutes"] else ""
        yield ""
        yield from wrapped(f"Another costs about {one['cost']:g} {words.entries.about.currency}{minutes}.", "")


def _born(words: Words, one: dict[str, Any]) -> Iterator[str]:
    """The variants that left the factory with it, by family and slot; where they are many, how many."""
    born = one["born_with"]
    many = len({some["variant"] for some in born}) > MOST_BORN
    for family, slot in dict.fromkeys((some["family"], some["slot"]) for some in born):
        mine = [some for some in born if (some["family"], some["slot"]) == (family, slot)]
        where = f"{words.entries.families[family].name}, {lower_first(_slot(words, family, slot))}"
        by_word = _by_word(mine)
        if many:
            yield from wrapped(f"{where}: {', '.join(f'{how} {len(names)}' for how, names in by_word.items())}", hanging="  ")
            continue
        yield from wrapped(f"{where}:")
        for how, names in by_word.items():
            yield from wrapped(f"{how}: {'; '.join(names)}", "    ", "  ")
    if not born:
        yield from wrapped("No unit is recorded to have left the factory with it.")
    silent = {some["variant"] for some in one["not_recorded"]}
    if silent:
        which = f"{len(silent)} variant{'s' if len(silent) > 1 else ''} that it fits"
        yield from wrapped(f"Of {which}, nobody recorded what sat there.")


def _by_word(born: Sequence[dict[str, Any]]) -> dict[str, list[str]]:
    """The names of variants by how often they had it in one slot, the most often first; in a set where nowhere else."""
    alone = {one["variant"]: one for one in born if one["set"] is None}
    boxed = {one["variant"]: one for one in born if one["set"] is not None and one["variant"] not in alone}
    found: dict[str, list[str]] = {}
    for one in sorted(alone.values(), key=lambda one: -one["share"]):
        found.setdefault(one["how"] or percent(one["share"]), []).append(one["name"])
    if boxed:
        found["in a set"] = [one["name"] for one in boxed.values()]
    return found


def _slot(words: Words, family: str, slot: str) -> str:
    return words.entries.families[family].slots[slot].name


def _care(found: dict[str, Any]) -> Iterator[str]:
    """What to be careful of: in full what every work on such a part brings, of the rest the first sentence."""
    if not found["cautions"]:
        return
    procedures = list(dict.fromkeys(ident for one in found["cautions"] for ident in one["procedures"]))
    always = [one for one in found["cautions"] if len(one["procedures"]) == len(procedures)]
    yield ""
    yield heading("Take care")
    for one in always:
        yield from wrapped(one["caution"], hanging="  ")
    now_and_then = [f"{one['caution'].partition('. ')[0].rstrip('.')}." for one in found["cautions"] if one not in always]
    if now_and_then:
        yield from wrapped(" ".join(now_and_then), hanging="  ")
    yield from wrapped(f"The steps, and all that there is to mind: tellmark show {' or '.join(procedures)}", hanging="  ")
