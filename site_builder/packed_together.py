"""What families have in common and what each has alone, joined to one text; that takes no arrays, and loads nothing of theirs."""

from collections.abc import Iterable

from .data_scripts import as_json
from .page import Values


def packed_together(common: Values, each: Iterable[Values]) -> str:
    """JSON of the arrays and words of all families, as `packed` and `packed_words` give them of what is compiled together.

    common, each: what `packed_families.packed_in_common` gives, and `packed_alone` of each family, in order
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
