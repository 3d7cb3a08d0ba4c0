"""All families together for the page that identifies: what they share worked out of all of them, and what each has alone.

Most of what can be seen of a unit its family has alone.  That is packed family by family, and kept: after a change only the
families that it concerns are packed again.
"""

import json
from collections.abc import Callable
from typing import Any

from ..identify.arrays import Compiled
from ..identify.compile import compile_entries, compile_shared, own_traits
from ..identify.wording import Words
from ..kb.load import Entries
from .packed import packed, packed_own, rows_of
from .packed_words import packed_words, words_of_trait
from .page import Values


def packed_alone(entries: Entries, family: str, compiled: Compiled) -> str:
    """What needs to be worked out of no other family, as JSON; `compiled`: the arrays of this one.

    traits: [slot, view, arrays, words] of each trait that it has alone;  silent: the slots of each variant that nobody recorded
    """
    words, rows = Words(entries, compiled), rows_of(compiled)
    traits = [
        (slot, view, packed_own(trait, rows), words_of_trait(words, compiled.trait(trait.id, family)))
        for slot, view, trait in own_traits(entries, family, compiled)
    ]
    found = {"traits": traits, "silent": {ident: words.unrecorded_slots(ident) for ident in compiled.variants}}
    return json.dumps(found, ensure_ascii=False, separators=(",", ":"))


def packed_together(entries: Entries, alone: Callable[[str], str]) -> Values:
    """Arrays and words of all families, as `packed` and `packed_words` give them of what is compiled together.

    alone: what `packed_alone` gives of a family.
    """
    if len(entries.families) < 2:  # nobody has anything that others have not
        compiled = compile_entries(entries)
        return {"packed": packed(compiled), "words": packed_words(entries, compiled)}
    compiled = compile_shared(entries)
    each = [json.loads(alone(family)) for family in compiled.families]
    silent = {ident: row for one in each for ident, row in one["silent"].items()}
    arrays, words = packed(compiled), packed_words(entries, compiled, silent)
    slots = {slot.id: s for s, slot in enumerate(compiled.slots)}
    views = {view: v for v, view in enumerate(compiled.views)}
    rows: list[tuple[Values, Any]] = list(zip(arrays["traits"], words["traits"], strict=True))
    for slot, view, trait, named in (row for one in each for row in one["traits"]):
        if not compiled.slots[slots[slot]].parts:  # a slot of this name may hold parts on other units
            rows.append(({"id": trait["id"], "slot": slots[slot], "view": views.get(view, -1)} | trait, named))
    rows.sort(key=lambda row: row[0]["slot"])  # of one slot the shared ones come first, then those of each family
    return {"packed": arrays | {"traits": [row[0] for row in rows]}, "words": words | {"traits": [row[1] for row in rows]}}
