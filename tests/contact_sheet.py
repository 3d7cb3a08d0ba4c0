"""A sheet of all pictures of states, 120 px wide, on light and on dark paper.

Run `python tests/contact_sheet.py OUT [ENTRIES [WORD]]`; WORD: only drawings whose path holds it.
Look at it after drawing: is every state told at a glance from its neighbors, and is it all one hand?
"""

import sys
from html import escape
from pathlib import Path

from tellmark.kb.check import check
from tellmark.kb.drawings import FAMILY, PART, Drawing, Drawings, read_drawings
from tellmark.kb.pictures import drawing, picture, where_drawn

STYLE = """
body { margin: 0; font: 12px/1.3 sans-serif; color: var(--ink); background: var(--paper) }
body.light { --ink: #222; --paper: #fff; --shade: #ddd; --mark: #a33 }
body.dark { --ink: #e8e6e1; --paper: #1b1c1e; --shade: #45474b; --mark: #ff8d7a }
h2 { font-size: 15px; margin: 14px 8px 4px } h3 { font-size: 12px; margin: 8px 8px 2px }
.row { display: flex; flex-wrap: wrap; gap: 8px; padding: 0 8px } figure { margin: 0; width: 120px }
figure svg { width: 120px; display: block; outline: 1px solid var(--shade) } .view svg { width: 960px; margin: 8px }
"""


def key_of(one: Drawing, trait: str) -> str:
    """The id by which a picture of a drawing's trait is asked for."""
    return f"{one.home}.{trait}" if one.level == PART else trait


def row(drawings: Drawings, family: str | None, key: str) -> str:
    """All pictures of one trait."""
    found = where_drawn(drawings, family, key)
    if found is None:
        return ""
    figures = [
        f"<figure>{picture(drawings, family, key, state)}{escape(state or 'value')}</figure>"
        for state in (found.trait.states or {None: None})
    ]
    return f"<h3>{escape(key)}</h3><div class=row>{''.join(figures)}</div>"


def sheet(drawings: Drawings, only: str) -> str:
    """Every drawing whose path holds `only`: the whole, then the pictures taken from it."""
    pieces: list[str] = []
    for path, one in drawings.files.items():
        if only not in path:
            continue
        family = one.home if one.level == FAMILY else None
        pieces.append(f"<h2>{escape(path)}</h2>")
        if family:
            pieces.append(f"<div class=view>{drawing(drawings, family, one.view, {}, one.kind)}</div>")
        for node in one.tree.root.all():
            crop = node.attributes.get("id", "")
            if crop.startswith("crop-"):
                pieces.append(row(drawings, family, key_of(one, crop.removeprefix("crop-"))))
    return "".join(pieces)


def main(out: Path, root: Path, only: str = "") -> None:
    """Writes light.html and dark.html to the folder `out`."""
    drawings, findings = read_drawings(check(root)[0])
    print(*findings, sep="\n")
    out.mkdir(parents=True, exist_ok=True)
    body = sheet(drawings, only)
    for paper in ("light", "dark"):
        text = f'<!doctype html><meta charset="utf-8"><style>{STYLE}</style><body class={paper}>{body}</body>'
        (out / f"{paper}.html").write_text(text, "utf-8")


if __name__ == "__main__":
    if len(sys.argv) < 2 or sys.argv[1].startswith("-"):
        sys.exit(__doc__)
    main(Path(sys.argv[1]), Path(sys.argv[2] if len(sys.argv) > 2 else "entries"), *sys.argv[3:4])
