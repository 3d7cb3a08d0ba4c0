"""Stencils: what a picture shows of a drawing that is spelled once for all of them."""

from pathlib import Path

import pytest
from tellmark.kb.check import check
from tellmark.kb.drawings import FAMILY, read_drawings
from tellmark.kb.pictures import drawing
from tellmark.kb.stencils import Look, Stencil, Told, When
from tellmark.kb.svg import SVG, Node, parse

ENTRIES = Path(__file__).parents[2] / "entries"


def cut(inner: str) -> Stencil:
    """Of these elements; each says in data attributes when it is shown, and a trait in data-paint paints it."""
    root, unsafe = parse(f'<svg xmlns="{SVG}">{inner}</svg>'.encode(), "x.svg")
    assert not unsafe
    return Stencil(root.elements, rule)


def rule(node: Node) -> Told | None:
    given = node.attributes
    paint = (given["data-paint"], "fill") if "data-paint" in given else None
    marks = [name for name in given if name.startswith("data-") or name == "display"]
    when = When(given.get("data-trait"), given.get("data-state"), given.get("data-damage"), "display" not in given)
    return None if node.tag == "view" else Told(rule, when._replace(slot=given.get("data-slot")), marks, paint)


ROOF = '<g data-trait="roof" data-state="flat"><path d="M0 0"/></g><g data-trait="roof" data-state="round" display="none"/>'
HATCH = '<defs><pattern id="hatch" width="4"/><pattern id="dots" width="2"/></defs>'
TOP = '<g><g data-slot="bell"><path d="M1 1"/></g></g>'
NUMBER = '<text x="1">No. 424</text>'
BODY = f'{HATCH}<path d="M2 2" fill="url(#hatch)" data-paint="main-color"/>'

#: (what is special, the elements, how the picture looks, what it holds)
PICTURES: list[tuple[str, str, Look, str]] = [
    ("nothing", '<path d="M0 0"/><circle r="1"/>', Look(), '<path d="M0 0"/><circle r="1"/>'),
    ("as drawn where nothing is said", ROOF, Look(), '<g><path d="M0 0"/></g>'),
    ("the state that is said", f"<g>{ROOF}</g>", Look({"roof": "round"}), "<g><g/></g>"),
    ("a state that is not drawn hides the others", f"<g>{ROOF}</g>", Look({"roof": "domed"}), ""),
    ("no empty group at the top", ROOF, Look({"roof": "round"}), ""),
    ("damage", '<path data-damage="dent" display="none" d="M0 0"/>', Look(damage=["dent"]), '<path d="M0 0"/>'),
    ("damage that is not there", '<path data-damage="dent" d="M0 0"/>', Look(damage=["scratch"]), ""),
    ("a slot", TOP, Look(), '<g><g><path d="M1 1"/></g></g>'),
    ("a bare slot leaves nothing", TOP, Look(bare=["bell"]), ""),
    ("another number in the place of a sample", NUMBER, Look(texts={"No. 000": "7"}), '<text x="1">7</text>'),
    ("no number", NUMBER, Look(texts={"No. 000": ""}), '<text x="1"/>'),
    ("another shape of text stays", NUMBER, Look(texts={"000": "7"}), '<text x="1">No. 424</text>'),
    (
        "harm in a text",
        NUMBER,
        Look(texts={"No. 000": "</text><script>alert(1)</script>&"}),
        '<text x="1">&lt;/text&gt;&lt;script&gt;alert(1)&lt;/script&gt;&amp;</text>',
    ),
    ("harm in a color", BODY, Look(areas={"main-color": '"><script>'}), '<path d="M2 2" fill="&quot;&gt;&lt;script&gt;"/>'),
    (
        "what is used of the definitions, by its own name",
        BODY,
        Look(),
        '<defs><pattern id="a-hatch" width="4"/></defs><path d="M2 2" fill="url(#a-hatch)"/>',
    ),
    ("nothing is used any more", BODY, Look(areas={"main-color": "#123"}), '<path d="M2 2" fill="#123"/>'),
    (
        "used only by what is shown",
        f'{HATCH}<g data-slot="bell"><path d="M0 0" fill="url(#dots)"/></g>',
        Look(bare=["bell"]),
        "",
    ),
]


@pytest.mark.parametrize(("inner", "look", "expected"), [case[1:] for case in PICTURES], ids=[case[0] for case in PICTURES])
def test_picture(inner: str, look: Look, expected: str) -> None:
    assert cut(inner).picture(look, "a") == expected


def test_one_picture_leaves_no_trace_in_the_next() -> None:
    """A stencil is used for many pictures: what one of them shows, hides or paints is forgotten in the next."""
    stencil = cut(f"<g>{ROOF}</g>{BODY}{NUMBER}")
    plain = stencil.picture(Look(), "a")
    stencil.picture(Look({"roof": "round"}, areas={"main-color": "#123"}, texts={"No. 000": "7"}), "b")
    assert stencil.picture(Look(), "a") == plain


def test_ids_of_whole_views_begin_with_what_tells_them_apart() -> None:
    """Many views stand in one page, and what one of them refers to must not be found in another."""
    drawings = read_drawings(check(ENTRIES)[0])[0]
    for sheet in (one for one in drawings.files.values() if one.level == FAMILY):
        shown = drawing(drawings, sheet.home, sheet.view, {}, sheet.kind) or ""
        prefix = f"drawing-{sheet.home}-{sheet.path.rsplit('/', 1)[-1].removesuffix('.svg')}-"
        ids = [part.split('"')[0] for part in shown.split(' id="')[1:]]
        assert {f"{prefix}title", f"{prefix}desc"} <= set(ids), sheet.path
        assert all(one.startswith(prefix) for one in ids), sheet.path
        assert shown.count("url(#") == sum(shown.count(f"url(#{one})") for one in ids), sheet.path
