"""All families together for the page that identifies: what they have in common, and what each has alone.

Most of what can be seen of a unit its family has alone.  That is packed family by family, and kept: after a change only the
families that it concerns are packed again.  All of it becomes JSON where it is worked out, and is only joined in the end
(`packed_together.py`).
"""

from collections.abc import Iterable, Sequence

from ..identify.arrays import Compiled
from ..identify.compile import compile_entries, compile_shared
from ..identify.wording import Words
from ..kb.load import Entries
from ..kb.resolve import Stated, number
from .data_scripts import as_json
from .packed import among_others, packed
from .packed_words import packed_words, words_of_trait
from .page import Values


def packed_alone(entries: Entries, told: Iterable[Stated], compiled: Compiled, arrays: Values) -> Values:
    """What needs to be worked out of no family but one.

    told: its variants as they are stated;  compiled, arrays: its arrays, and the same as they are packed

    traits   (slot, view, id, the rest of its arrays, words) of each trait that it has alone, the last three as JSON
    silent   the slots of each variant that nobody recorded
    """
    (family,) = compiled.families
    words, records = Words(entries, compiled), entries.families[family].traits
    traits: list[tuple[str, str, str, str, str]] = []
    for t, (trait, alone) in enumerate(zip(compiled.traits, arrays["traits"], strict=True)):
        slot = compiled.slots[trait.slot]
        if trait.family is not None and not slot.parts:
            record = records[trait.id]
            found = among_others(alone, trait, record, number(entries.about.mistakes, record.mistakes))
            ident = as_json(found.pop("id"))
            traits.append((slot.id, record.view, ident, as_json(found), as_json(words_of_trait(words, t))))
    return {"traits": traits, "silent": {one.id: words.unrecorded_slots_of(one) for one in told}}


def packed_in_common(entries: Entries, told: Sequence[Stated]) -> Values:
    """What is worked out of all families together; of a single one everything, since it has nothing then that others have not.

    told: all variants as they are stated, in the order of their ids

    packed, words   as `packed` and `packed_words` give them, each of their values as JSON, but for traits and silent slots
    traits          (slot, arrays, words) of each trait, the last two as JSON
    slots, views    all of them, in order;  own: the slots of which a family may have traits alone
    """
    several = len(entries.families) > 1
    compiled = compile_shared(entries, told) if several else compile_entries(entries, told=told)
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
