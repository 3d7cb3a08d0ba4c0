"""All families together for the page that identifies: what they have in common, and what each has alone.

Most of what can be seen of a unit its family has alone.  That is packed family by family, and kept: after a change only the
families that it concerns are packed again.  All of it becomes JSON where it is worked out, and is only joined in the end.
"""

from collections.abc import Iterable

from ..identify.arrays import Compiled
from ..identify.compile import compile_entries, compile_shared
from ..identify.wording import Words
from ..kb.load import Entries
from ..kb.resolve import number
from .packed import among_others, packed
from .packed_words import packed_words, words_of_trait
from .page import Values
from .search_pages import as_json


def packed_alone(entries: Entries, family: str, compiled: Compiled, arrays: Values) -> Values:
    """What needs to be worked out of no other family. compiled: the arrays of this one; arrays: the same as they are packed.

    traits   (slot, view, id, the rest of its arrays, words) of each trait that it has alone, the last three as JSON
    silent   the slots of each variant that nobody recorded
    """
    words, records = Words(entries, compiled), entries.families[family].traits
    traits: list[tuple[str, str, str, str, str]] = []
    for t, (trait, alone) in enumerate(zip(compiled.traits, arrays["traits"], strict=True)):
        slot = compiled.slots[trait.slot]
        if trait.family is not None and not slot.parts:
            record = records[trait.id]
            found = among_others(alone, trait, record, number(entries.about.mistakes, record.mistakes))
            ident = as_json(found.pop("id"))
            traits.append((slot.id, record.view, ident, as_json(found), as_json(words_of_trait(words, t))))
    return {"traits": traits, "silent": {ident: words.unrecorded_slots(ident) for ident in compiled.variants}}


def packed_in_common(entries: Entries) -> Values:
    """What is worked out of all families together; of a single one everything, since it has nothing then that others have not.

    packed, words   as `packed` and `packed_words` give them, each of their values as JSON, but for traits and silent slots
    traits          (slot, arrays, words) of each trait, the last two as JSON
    slots, views    all of them, in order;  own: the slots of which a family may have traits alone
    """
    several = len(entries.families) > 1
    compiled = compile_shared(entries) if several else compile_entries(entries)
    arrays, words = packed(compiled), packed_words(entries, compiled, {})
    traits = zip(compiled.traits, arrays.pop("traits"), words["traits"], strict=True)
    words |= {"traits": None, "silent": None}  # which keep their places
    return {
        "packed": {name: as_json(value) for name, value in arrays.items()},
        "words": {name: as_json(value) for name, value in words.items()},
        "traits": [(trait.slot, as_json(one), as_json(named)) for trait, one, named in traits],
        "slots": [slot.id for slot in compiled.slots],
        "views": list(compiled.views),
        "own": [slot.id for slot in compiled.slots if several and not slot.parts],
    }


def packed_together(common: Values, each: Iterable[Values]) -> str:
    """JSON of the arrays and words of all families, as `packed` and `packed_words` give them of what is compiled together.

    common: what `packed_in_common` gives;  each: what `packed_alone` gives of each family, in order
    """
    slots = {slot: s for s, slot in enumerate(common["slots"])}
    views = {view: v for v, view in enumerate(common["views"])}
    rows: list[tuple[int, str, str]] = list(common["traits"])
    silent: dict[str, list[int]] = {}
    for one in each:
        silent |= {ident: [slots[slot] for slot in row] for ident, row in one["silent"].items()}
        for slot, view, ident, arrays, words in one["traits"]:
            if slot in common["own"]:  # a slot of this name may hold parts on other units
                rows.append(
                    (slots[slot], f'{{"id":{ident},"slot":{slots[slot]},"view":{views.get(view, -1)},{arrays[1:]}', words)
                )
    rows.sort(key=lambda row: row[0])  # of one slot the shared ones come first, then those of each family
    arrays = common["packed"] | {"traits": _listed(row[1] for row in rows)}
    words = common["words"] | {
        "traits": _listed(row[2] for row in rows),
        "silent": as_json([silent[ident] for ident in sorted(silent)]),
    }
    return f'{{"packed":{_named(arrays)},"words":{_named(words)}}}'


def _listed(some: Iterable[str]) -> str:
    """JSON of a list of what is JSON."""
    return f"[{','.join(some)}]"


def _named(some: dict[str, str]) -> str:
    """JSON of a dictionary of what is JSON."""
    return f"{{{','.join(f'{as_json(name)}:{text}' for name, text in some.items())}}}"
