"""A unit's history in words: from what years its parts are, what was changed since, and what left the factory with it.

Everything said here is in the report already (see report.py); this makes sentences of it.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from ..kb.load import Entries
from ..kb.resolve import moved, stated
from ..kb.values import Years
from .wording import Words, lower_first, together

#: A story is told from this chance on; the simplest one, unless another is so many times as likely.
TELLABLE, FAR_LIKELIER = 0.15, 2.0
#: Another story as simple is told from this share of the first one's chance on; so many of them.
NEAR, MOST_OTHERS = 0.05, 2
#: The same story of another variant is counted with it from this share on.
ALIKE = 0.2
#: A part that may sit there is counted from this chance on; from the second on, it is named.
MAY_BE, NAMED = 0.05, 0.5
#: An answer of so many bits speaks for a set; so many such answers are named, those about parts before the others.
TELLS, MOST_TELLING = 0.3, 2


def years_of_part(entries: Entries, part: str) -> Years | None:
    """When a part was made; None when it is not recorded, or there is none."""
    record = entries.parts.get(part)
    return record.made if record else None


def years_of_variant(entries: Entries, ident: str) -> Years | None:
    """When a variant was made."""
    return stated(entries, ident).made


def occupants(entries: Entries, ident: str) -> list[list[str]]:
    """The variants of every position of a set, as their ids are now."""
    positions = entries.sets[ident].positions
    return [sorted({now for written in one.variants for now in moved(entries, written)}) for one in positions]


def companions(entries: Entries, ident: str, position: int) -> list[list[str]]:
    """The same of every other position than this one."""
    return [variants for p, variants in enumerate(occupants(entries, ident), 1) if p != position]


def span(years: Iterable[Years | None]) -> Years | None:
    """From the first to the last of all of them; None where nothing is recorded of one."""
    known = list(years)
    sure = [one for one in known if one is not None]
    return Years(min(one.first for one in sure), max(one.last for one in sure)) if sure and len(sure) == len(known) else None


def spoken(years: Years) -> str:
    """Years in words."""
    return str(years.first) if years.first == years.last else f"{years.first} to {years.last}"


def story(words: Words, found: dict[str, Any], percent: Callable[[float], str]) -> list[str]:
    """What happened to the unit, one sentence each; nothing while no history is likely enough."""
    chosen = told(found["explanations"])
    if chosen is None:
        return []
    if not chosen["changed"] and not chosen["misread"]:
        return ["Nothing that was looked at speaks against it: as far as that goes, it is as it left the factory."]
    alike = [one for one in found["explanations"] if _blamed(one) == _blamed(chosen)]
    alike = [one for one in alike if one["probability"] >= ALIKE * chosen["probability"]]
    others = [
        one
        for one in found["explanations"]
        if _blamed(one) != _blamed(chosen) and len(_blamed(one)) == len(_blamed(chosen))
        if one["probability"] >= NEAR * chosen["probability"]
    ]
    made = span(years_of_variant(words.entries, one["variant"]) for one in alike)
    sentences = [_periods(words, found, chosen, made)]
    whole = percent(sum(one["probability"] for one in alike))
    sentences.append(f"Likely story ({whole}): {_born(words, alike)}; {_happened(words, found, chosen)}.")
    for one in others[:MOST_OTHERS]:
        born = "the same unit" if one["variant"] == chosen["variant"] else _born(words, [one])
        sentences.append(f"Or as simply ({percent(one['probability'])}): {born}; {_happened(words, found, one)}.")
    return [one for one in sentences if one]


def told(explanations: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """The explanation to tell: the first, which is the simplest, unless another is far likelier; None if it is not likely."""
    if not explanations:
        return None
    likeliest = max(explanations, key=lambda one: one["probability"])
    first = explanations[0]
    chosen = likeliest if likeliest["probability"] > FAR_LIKELIER * first["probability"] else first
    return chosen if chosen["probability"] >= TELLABLE else None


def _blamed(one: dict[str, Any]) -> list[str]:
    """Everything that a story says is not right; a slot is no trait, so that the two do not mix."""
    return [*(f"slot {slot}" for slot in one["changed"]), *one["misread"]]


def _born(words: Words, alike: Sequence[dict[str, Any]]) -> str:
    first, *others = [words.variant(one["variant"]) for one in alike]
    more = f", or as {others[0] if len(others) == 1 else 'one of several others'}" if others else ""
    return f"it left the factory as {first}{more}"


def _happened(words: Words, found: dict[str, Any], one: dict[str, Any]) -> str:
    """What was changed, lost, redone and misread, as one clause; what nobody looked at, somebody told, and told wrongly."""
    seen = {some["trait"] for some in found["answers"]}
    gone = {some["slot"] for some in found["slots"] if _missing(some)}
    changed = [slot for slot in one["changed"] if slot != "finish"]
    keys = {words.key(t): t for t in range(len(words.compiled.traits))}
    return together(
        [
            *_clause([f"the {lower_first(words.slot(slot))}" for slot in changed if slot not in gone], "changed"),
            *_clause([f"the {lower_first(words.slot(slot))}" for slot in changed if slot in gone], "lost"),
            *_clause(["the paint and lettering"] if one["repainted"] else [], "redone", many=True),
            *_clause([f'"{words.trait(keys[trait])}"' for trait in one["misread"] if trait in seen], "misread"),
            *_clause([f'"{words.trait(keys[trait])}"' for trait in one["misread"] if trait not in seen], "told wrongly"),
        ]
    )


def _clause(names: Sequence[str], what: str, many: bool = False) -> list[str]:
    return [f"{together(names)} {'were' if many or len(names) > 1 else 'was'} {what}"] if names else []


def _missing(slot: dict[str, Any]) -> bool:
    """Whether nothing sits in a slot where something belongs."""
    return bool(slot["fitted"]) and slot["fitted"][0]["part"] == "none" and slot["belongs"][0]["part"] != "none"


def _periods(words: Words, found: dict[str, Any], chosen: dict[str, Any], made: Years | None) -> str:
    """From when what was changed is, and from when the rest."""
    by_slot = {one["slot"]: one for one in found["slots"]}
    groups: dict[str, list[str]] = {}
    for slot in chosen["changed"]:
        if slot in by_slot and not _missing(by_slot[slot]) and (said := _of_part(words, by_slot[slot], made)):
            groups.setdefault(said, []).append(f"the {lower_first(words.slot(slot))}")
    clauses = [f"{together(slots)} {'is' if len(slots) == 1 else 'are'} {said}" for said, slots in groups.items()]
    if not clauses:
        return ""
    if made is not None:
        clauses.append(f"the body is from {spoken(made)}")
    sentence = ("; " if any("," in one for one in clauses) else ", ").join(clauses)
    return sentence[:1].upper() + sentence[1:] + "."


def _of_part(words: Words, slot: dict[str, Any], made: Years | None) -> str:
    """What can be said of the part that sits where another belongs."""
    belongs = {one["part"] for one in slot["belongs"] if one["probability"] >= NAMED}
    others = [one for one in slot["fitted"] if one["part"] not in belongs]
    total = sum(one["probability"] for one in others)
    likely = [one["part"] for one in others if one["probability"] >= MAY_BE * total]
    if not likely:
        return ""
    if others[0]["probability"] >= NAMED * total and (said := _named_part(words, likely[0])):
        return said
    return _dated([years_of_part(words.entries, part) for part in likely if part not in ("none", "unlisted")], made)


def _named_part(words: Words, part: str) -> str:
    """What is said of a reproduction."""
    record = words.entries.parts.get(part)
    if record is None or not record.reproduction_of:
        return ""
    maker = words.entries.makers[record.maker].name if record.maker in words.entries.makers else ""
    return f"a reproduction{f' by {maker}' if maker else ''}{f', {spoken(record.made)}' if record.made else ''}"


def _dated(years: Iterable[Years | None], made: Years | None) -> str:
    known = [one for one in years if one is not None]
    if not known:
        return ""
    first, last = min(one.first for one in known), max(one.last for one in known)
    if len(set(known)) == 1 or (made and first <= made.last and last >= made.first):
        return f"from {spoken(Years(first, last))}"
    return f"from {last} or earlier" if made and last < made.first else f"from {first} or later"


def origin(words: Words, found: dict[str, Any], likely: dict[str, Any]) -> list[str]:
    """What else a set held, and which answers tell it from the next likely one."""
    if likely["id"] is None:
        return []
    others = companions(words.entries, likely["id"], likely["position"])
    sentences = [f"With it came: {'; '.join(_either(words, one) for one in others)}."] if others else []
    keys = {words.key(t): t for t in range(len(words.compiled.traits))}
    why = next((one for one in found["explanation"] if one["about"] == "set" and one["is"] == likely["id"]), None)
    if why is not None:
        told_by = [keys[one["trait"]] for one in sorted(why["answers"], key=lambda one: -one["bits"]) if one["bits"] >= TELLS]
        names = [lower_first(words.trait(t)) for t in sorted(told_by, key=lambda t: not _of_a_part(words, t))]
        sentences += [f"Told by: {together(names[:MOST_TELLING])}."] if names else []
    return sentences


def _of_a_part(words: Words, t: int) -> bool:
    return bool(words.compiled.slots[words.compiled.traits[t].slot].parts)


def _either(words: Words, variants: Sequence[str]) -> str:
    if len(variants) > 2:
        return f"{words.variant(variants[0])}, or one of {len(variants) - 1} others"
    return " or ".join(words.variant(one) for one in variants)
