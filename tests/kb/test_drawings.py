"""Drawings: what may stand in one, what must, and the pictures taken from it."""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from tellmark.kb.check import check
from tellmark.kb.drawings import FAMILY, PART, Drawing, Drawings, read_drawings, traits_due
from tellmark.kb.findings import Unreadable
from tellmark.kb.pictures import LEAST_BRIGHT, bright, drawing, drawn_in, painted, picture, where_drawn
from tellmark.kb.svg import MOST_BYTES, MOST_DEPTH, MOST_ELEMENTS, Node

ENTRIES = Path(__file__).parents[2] / "entries"
SIDE = "families/tram/drawings/side.svg"
SVG = "{http://www.w3.org/2000/svg}"

SOUND = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 240 90" fill="none" stroke="currentColor">
  <title>Streetcar, side</title>
  <desc>One unit is 1 mm.</desc>
  <defs><pattern id="hatch" width="4" height="4" patternUnits="userSpaceOnUse"><path d="M0 4 L4 0"/></pattern></defs>
  <g data-slot="wheels"><circle cx="30" cy="80" r="8"/></g>
  <view id="crop-roof" viewBox="0 0 120 90"/>
  <g data-trait="roof" data-state="plain"><title>A bare roof</title><path d="M0 20 H120"/></g>
  <g data-trait="roof" data-state="ribbed" display="none"><title>Ribs</title><path d="M0 20 H9" fill="url(#hatch)"/></g>
  <g data-damage="pole" display="none"><title>Trolley pole</title><circle r="9" stroke="var(--mark, #a33)"/></g>
  <g data-panel="measures" transform="translate(120 0)">
    <view id="crop-length" viewBox="120 0 120 90"/>
    <path d="M0 70 H99"/>
    <g data-trait="length" data-measured="" display="none"><title>From end to end</title><path d="M0 80 H99"/></g>
  </g>
</svg>
"""
ELEMENTS = (
    "an element of the drawing grammar: circle, clipPath, defs, desc, ellipse, g, line, path, pattern, polygon, polyline, "
    "rect, svg, text, title, tspan, use or view"
)
PAINT = "none, currentColor, var(--paper, #fff), var(--shade, #ddd), var(--mark, #a33) or a color #rgb"
AN_ATTRIBUTE = "expected an attribute of the drawing grammar"
REFUSED = "found a document type, expected a drawing without one"

#: id -> (what stands there once, what is written instead, the whole of what is said without the path)
BROKEN: dict[str, tuple[str, str, list[str]]] = {
    "sound": ("", "", []),
    "trait": (
        'data-trait="roof" data-state="plain"',
        'data-trait="rof" data-state="plain"',
        [
            ':7:3: found data-trait="rof", expected the id of a trait: length, number, roof, stripe or wheels.rim; '
            'did you mean "roof"?',
            ':8:3: found no alternative for the state "plain", expected one for each state of roof',
            ':8:3: found no state of roof shown, expected one state shown, the others with display="none"',
        ],
    ),
    "state": (
        'data-state="ribbed"',
        'data-state="ribed"',
        [
            ':7:3: found no alternative for the state "ribbed", expected one for each state of roof',
            ':8:3: found data-state="ribed", expected a state of roof: plain or ribbed; did you mean "ribbed"?',
        ],
    ),
    "slot": (
        'data-slot="wheels"',
        'data-slot="wheel"',
        [':5:3: found data-slot="wheel", expected the id of a slot: body, finish or wheels; did you mean "wheels"?'],
    ),
    "damage": (
        'data-damage="pole"',
        'data-damage="pol"',
        [':9:3: found data-damage="pol", expected the id of a damage spot: pole; did you mean "pole"?'],
    ),
    "paint": (
        '<path d="M0 20 H120"/>',
        '<path data-paint="rof" d="M0 20 H120"/>',
        [
            ':7:69: found data-paint="rof", expected the id of a trait: length, number, roof, stripe or wheels.rim; '
            'did you mean "roof"?'
        ],
    ),
    "both-shown": (
        '"ribbed" display="none"',
        '"ribbed"',
        [':7:3: found plain or ribbed of roof shown, expected one state shown, the others with display="none"'],
    ),
    "no-crop": (
        '<view id="crop-roof" viewBox="0 0 120 90"/>',
        "",
        [':7:3: found no crop of the trait "roof", expected <view id="crop-roof" viewBox="..."/>'],
    ),
    "crop-of-nothing": (
        '<view id="crop-roof" ',
        '<view id="crop-rof" ',
        [
            ':6:3: found id="crop-rof", expected "crop-" and the id of a trait drawn here; did you mean "roof"?',
            ':7:3: found no crop of the trait "roof", expected <view id="crop-roof" viewBox="..."/>',
        ],
    ),
    "no-title": (
        "<title>Ribs</title>",
        "",
        [":8:3: found an alternative without <title>, expected a <title> that says what distinguishes it"],
    ),
    "form": (
        'data-measured=""',
        'data-marking=""',
        [':13:5: found the trait "length" without data-measured, expected data-measured, as the trait is of that form'],
    ),
    "state-alone": (
        'data-trait="roof" data-state="ribbed"',
        'data-state="ribbed"',
        [
            ':7:3: found no alternative for the state "ribbed", expected one for each state of roof',
            ":8:3: found data-state alone, expected data-trait with one of data-state, data-measured and data-marking",
        ],
    ),
    "trait-alone": (
        ' data-measured=""',
        "",
        [
            ":13:5: found data-trait with none of them, expected data-trait with one of data-state, data-measured and "
            "data-marking",
            ':13:5: found the trait "length" without data-measured, expected data-measured, as the trait is of that form',
        ],
    ),
    "not-drawn": (
        '<g data-trait="length" data-measured="" display="none">',
        "<g>",
        [
            ':1:1: found no drawing of the trait "length", expected every trait of this view drawn',
            ':11:5: found id="crop-length", expected "crop-" and the id of a trait drawn here',
        ],
    ),
    "color-outside": (
        '<circle cx="30"',
        '<circle fill="#c00" cx="30"',
        [':5:25: found fill="#c00" outside an alternative, expected currentColor, or var(--paper), var(--shade) or var(--mark)'],
    ),
    "no-words": (
        "<title>Streetcar, side</title>\n  <desc>One unit is 1 mm.</desc>",
        "\n",
        [
            ":1:1: found no <desc> of the whole drawing, expected a <desc> below <svg>",
            ":1:1: found no <title> of the whole drawing, expected a <title> below <svg>",
        ],
    ),
    "not-well-formed": ("</defs>", "", [":15:3: found mismatched tag, expected well-formed XML in UTF-8"]),
    "not-svg": (
        "http://www.w3.org/2000/svg",
        "http://example.org",
        [
            ':1:1: found <svg> at the top, expected <svg xmlns="http://www.w3.org/2000/svg">',
            ':1:1: found xmlns="http://example.org", expected http://www.w3.org/2000/svg',
        ],
    ),
    "slip-of-an-element": (
        "<circle cx",
        "<cirlce cx",
        [f':5:25: found the element "cirlce", expected {ELEMENTS}; did you mean "circle"?'],
    ),
    "stray-text": ("<defs>", "wheels <defs>", [":1:1: found text in <svg>, expected text only in text, title or desc"]),
    "id-twice": (
        'id="crop-length"',
        'id="crop-roof"',
        [':11:5: found the id "crop-roof" again, expected it once; it is on line 6 already'],
    ),
    "dangling": (
        "url(#hatch)",
        "url(#hach)",
        [':8:78: found "#hach", expected the id of an element in this file; did you mean "hatch"?'],
    ),
    "script": ("<defs>", "<script>alert(1)</script><defs>", [f':4:3: found the element "script", expected {ELEMENTS}']),
    "style": (
        "<defs>",
        "<style>@import url(//example.org)</style><defs>",
        [f':4:3: found the element "style", expected {ELEMENTS}; did you mean "title"?'],
    ),
    "foreign-object": (
        "<defs>",
        "<foreignObject/><defs>",
        [f':4:3: found the element "foreignObject", expected {ELEMENTS}'],
    ),
    "onload": ('<circle r="9"', '<circle onload="x()" r="9"', [f':9:67: found the attribute "onload", {AN_ATTRIBUTE}']),
    "style-attribute": (
        '<circle r="9"',
        '<circle style="fill:url(//example.org)" r="9"',
        [f':9:67: found the attribute "style", {AN_ATTRIBUTE}; did you mean "font-style"?'],
    ),
    "outer-href": (
        '<circle r="9" stroke="var(--mark, #a33)"/>',
        '<use href="https://example.org/a.svg#b"/>',
        [':9:67: found href="https://example.org/a.svg#b", expected #id, of an element in this file'],
    ),
    "script-href": (
        '<circle r="9" stroke="var(--mark, #a33)"/>',
        '<use href="javascript:alert(1)"/>',
        [':9:67: found href="javascript:alert(1)", expected #id, of an element in this file'],
    ),
    "prefixed-href": (
        '<circle r="9" stroke="var(--mark, #a33)"/>',
        '<use xlink:href="https://example.org"/>',
        [f':9:67: found the attribute "xlink:href", {AN_ATTRIBUTE}'],
    ),
    "outer-paint": (
        "url(#hatch)",
        "url(https://example.org/a#b)",
        [f':8:78: found fill="url(https://example.org/a#b)", expected {PAINT}'],
    ),
    "entity": (
        "<svg xmlns",
        '<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>\n<svg xmlns',
        [f":1:15: {REFUSED}"],
    ),
    "outer-entity": ("<svg xmlns", '<!DOCTYPE svg SYSTEM "file:///etc/passwd">\n<svg xmlns', [f":1:42: {REFUSED}"]),
    "style-sheet": (
        "<svg xmlns",
        '<?xml-stylesheet href="https://example.org/a.css"?>\n<svg xmlns',
        [":1:1: found a processing instruction, expected a drawing without one"],
    ),
    "deep": (
        "<defs>",
        "<g>" * 25 + "</g>" * 25 + "<defs>",
        [f":4:60: found more than {MOST_DEPTH} levels, expected at most {MOST_DEPTH} levels"],
    ),
    "many": (
        "<defs>",
        "\n" + "<g/>\n" * MOST_ELEMENTS + "<defs>",
        [f":{MOST_ELEMENTS + 2}:1: found more than {MOST_ELEMENTS:,} elements, expected fewer"],
    ),
    "copies-of-copies": (
        "</defs>",
        '<g id="a"><path d="M0 0"/></g><g id="b"><use href="#a"/></g></defs><use href="#b"/>',
        [':4:178: found "#b", which refers on, expected an element that refers to no other'],
    ),
    "copy-of-itself": (
        "</defs>",
        '<g id="a"><use href="#a"/></g></defs>',
        [':4:121: found "#a", which refers on, expected an element that refers to no other'],
    ),
    "many-copies": (
        "</defs>",
        f'<g id="a">{"<path/>" * 500}</g></defs>' + '<use href="#a"/>' * 9,
        [":1:1: found 4,511 copied elements, expected at most 4,000"],
    ),
    "too-long": (
        "</svg>",
        "</svg>" + " " * MOST_BYTES,
        [": found a file over 200 kB, expected at most 200 kB; a drawing by hand is far shorter"],
    ),
}


@pytest.mark.parametrize(("old", "new", "said"), BROKEN.values(), ids=BROKEN)
def test_broken_drawing(
    old: str, new: str, said: list[str], folder: Callable[..., Path], say: Callable[[Path], list[str]]
) -> None:
    assert not old or SOUND.count(old) == 1
    assert say(folder({SIDE: SOUND.replace(old, new) if old else SOUND})) == [f"{SIDE}{line}" for line in said]


MISPLACED = {
    "families/tram/side.svg": "found a drawing where none lies, expected drawings/*.svg, families/*/drawings/*.svg "
    "or parts/*/drawing.svg",
    "families/trm/drawings/side.svg": 'found a drawing of "trm", expected the id of a family; did you mean "tram"?',
    "families/tram/drawings/sid.svg": 'found a drawing named "sid", expected a view, or a view and a kind: below or side; '
    'did you mean "side"?',
    "parts/wheels/drawing.svg": 'found a drawing of "wheels", expected the id of a slot type; did you mean "wheel"?',
}


@pytest.mark.parametrize(("path", "said"), MISPLACED.items(), ids=MISPLACED)
def test_misplaced_drawing(path: str, said: str, folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    assert say(folder({path: SOUND})) == [f"{path}: {said}"]


def test_kind_may_draw_less(folder: Callable[..., Path], say: Callable[[Path], list[str]]) -> None:
    """A drawing of one kind owes no trait and no state, but may not name one that does not exist."""
    text = SOUND.replace('"plain"', '"plan"').replace('<view id="crop-roof" viewBox="0 0 120 90"/>', "")
    path = "families/tram/drawings/side-trailer.svg"
    said = f'{path}:7:3: found data-state="plan", expected a state of roof: plain or ribbed; did you mean "plain"?'
    assert say(folder({path: text})) == [said]


# Pictures --------------------------------------------------------------------------------------------------------------


def read(root: Path) -> Drawings:
    return read_drawings(check(root)[0])[0]


@pytest.fixture
def tram(folder: Callable[..., Path]) -> Drawings:
    return read(folder({SIDE: SOUND}))


def test_picture_shows_its_state_alone(tram: Drawings) -> None:
    assert picture(tram, "tram", "roof", "ribbed") == (
        '<svg xmlns="http://www.w3.org/2000/svg" fill="none" stroke="currentColor" viewBox="0 0 120 90" role="img" '
        'aria-labelledby="picture-tram-roof-ribbed-title" aria-describedby="picture-tram-roof-ribbed-desc">'
        '<title id="picture-tram-roof-ribbed-title">Roof: Ribbed</title>'
        '<desc id="picture-tram-roof-ribbed-desc">Ribs</desc>'
        '<defs><pattern id="picture-tram-roof-ribbed-hatch" width="4" height="4" patternUnits="userSpaceOnUse">'
        '<path d="M0 4 L4 0"/></pattern></defs>'
        '<g><circle cx="30" cy="80" r="8"/></g>'
        '<g color="var(--mark, #a33)"><path d="M0 20 H9" fill="url(#picture-tram-roof-ribbed-hatch)"/></g></svg>'
    )


def test_picture_of_a_panel_holds_nothing_else(tram: Drawings) -> None:
    shown = picture(tram, "tram", "length")
    assert shown is not None
    assert 'viewBox="120 0 120 90"' in shown
    assert "M0 70 H99" in shown
    assert "M0 80 H99" in shown
    assert "circle" not in shown
    assert "pattern" not in shown


def test_nobody_drew_it(tram: Drawings) -> None:
    assert picture(tram, "tram", "number") is None
    assert picture(tram, "tram", "roof", "domed") is None
    assert picture(tram, "tram", "no-such-trait") is None
    assert picture(tram, None, "wheel.rim", "thin") is None
    assert drawing(tram, "tram", "below", {}) is None


def test_view_with_chosen_states(tram: Drawings) -> None:
    plain = drawing(tram, "tram", "side", {})
    ribbed = drawing(tram, "tram", "side", {"roof": "ribbed", "stripe": "bare"}, damage=["pole"])
    assert plain is not None
    assert ribbed is not None
    assert ("M0 20 H120" in plain, "M0 20 H9" in plain, "Trolley pole" in plain) == (True, False, False)
    assert ("M0 20 H120" in ribbed, "M0 20 H9" in ribbed, "Trolley pole" in ribbed) == (False, True, True)
    with pytest.raises(Unreadable) as problem:
        drawing(tram, "tram", "side", {"roof": "ribed"})
    assert (problem.value.found, problem.value.nearest) == ('"ribed"', "ribbed")


# The demonstration -----------------------------------------------------------------------------------------------------

SHIPPED = read(ENTRIES)
#: The same files, read a second time: what is drawn depends on nothing else.
AGAIN = read_drawings(SHIPPED.entries)[0]


def shipped() -> list[tuple[Drawing, str, str | None]]:
    """(file, trait, state) of every state, measured value and marking that a shipped drawing owes."""
    return [
        (one, name, state)
        for one in SHIPPED.files.values()
        for name, trait in traits_due(SHIPPED.entries, one).items()
        for state in (trait.states or {None: None})
    ]


@pytest.mark.parametrize(("one", "trait", "state"), shipped(), ids=lambda value: getattr(value, "path", str(value)))
def test_every_state_has_a_picture(one: Drawing, trait: str, state: str | None) -> None:
    family = one.home if one.level == FAMILY else None
    key = f"{one.home}.{trait}" if one.level == PART else trait
    shown = picture(SHIPPED, family, key, state)
    assert shown is not None
    root = ElementTree.fromstring(shown)
    title, desc = root.findtext(f"{SVG}title") or "", root.findtext(f"{SVG}desc") or ""
    record = (traits_due(SHIPPED.entries, one)[trait].states or {}).get(state or "")
    assert title.endswith(record.name if record else "")
    assert desc
    assert desc != title
    assert not [node for node in root.iter() for name in node.attrib if name.startswith("data-") or name == "display"]
    width, height = [float(number) for number in root.attrib["viewBox"].split()][2:]
    assert width / height == pytest.approx(4 / 3)
    assert picture(AGAIN, family, key, state) == shown


def test_states_of_one_trait_look_different() -> None:
    """No two alternatives are the same lines under another name."""
    for one in SHIPPED.files.values():
        for name, trait in traits_due(SHIPPED.entries, one).items():
            drawn = sorted(lines(one, name, state) for state in trait.states or {})
            assert all(before != after for before, after in pairwise(drawn)), f"{one.path}: {name}"


def lines(one: Drawing, trait: str, state: str) -> str:
    """What is drawn of a state where its picture is taken, without ids and words."""
    found: list[Any] = []
    for group in one.tree.framed(trait):
        if group.attributes.get("data-state") == state:
            inner = [node for node in group.all() if node is not group and node.tag != "title"]
            words = [[child for child in node.children if isinstance(child, str)] for node in inner]
            found += [[node.tag, *node.attributes.values(), *text] for node, text in zip(inner, words, strict=True)]
    return repr(found)


@pytest.mark.parametrize("kind", [None, "trailing-b"])
def test_whole_views(kind: str | None) -> None:
    for view in ("side", "nose", "end", "roof", "underside", "inside"):
        shown = drawing(SHIPPED, "cab-diesel-420", view, {"side-stripes": "two-narrow"}, kind)
        assert shown is not None
        assert ElementTree.fromstring(shown).findtext(f"{SVG}title")


# Painted ------------------------------------------------------------------------------------------------------------------

BODY = {"d": "M0 0 H9 V9 Z", "fill": "var(--paper, #fff)", "data-paint": "main-color"}
PAINTED: list[tuple[str, str, dict[str, str], dict[str, str], dict[str, str]]] = [
    ("area", "path", BODY, {"main-color": "#e5782a"}, {"fill": "#e5782a"}),
    ("line, as nothing is filled", "path", {"d": "M0 0 H9", "data-paint": "trim"}, {"trim": "#b98d2f"}, {"stroke": "#b98d2f"}),
    ("dark area, lightened", "path", BODY, {"main-color": "#000000"}, {"fill": "#595959"}),
    ("dark lettering, as it is", "text", {"fill": "currentColor", "data-paint": "ink"}, {"ink": "#232427"}, {"fill": "#232427"}),
    ("of a state that nobody recorded", "path", BODY, {"trim": "#b98d2f"}, {}),
    ("not painted", "path", {"d": "M0 0 H9"}, {"trim": "#b98d2f"}, {}),
]


@pytest.mark.parametrize(
    ("tag", "given", "colors", "expected"), [case[1:] for case in PAINTED], ids=[case[0] for case in PAINTED]
)
def test_painted(tag: str, given: dict[str, str], colors: dict[str, str], expected: dict[str, str]) -> None:
    colors = {name: color for name, color in colors.items() if name}
    assert painted(Node(tag, given, 0, 0), colors) == expected


@pytest.mark.parametrize("color", ["#000000", "#232427", "#1f3157", "#24452f", "#6d1f2b", "#e5782a", "#fff"])
def test_dark_lines_can_be_seen_on_what_is_painted(color: str) -> None:
    """Relative luminance (WCAG 2.2), worked out here from its definition; a color that is bright enough stays."""

    def luminance(text: str) -> float:
        shares = [int(text[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    whole = color if len(color) == 7 else "#" + "".join(2 * one for one in color[1:])
    assert luminance(bright(color)) >= LEAST_BRIGHT
    assert (bright(color) == whole) == (luminance(whole) >= LEAST_BRIGHT)


def test_a_side_is_painted_in_the_color_of_its_states() -> None:
    drawings = read_drawings(check(ENTRIES)[0])[0]
    found = where_drawn(drawings, "cab-diesel-420", "main-color")
    assert found is not None
    color = found.color("orange") or ""
    side = drawing(drawings, "cab-diesel-420", "side", {}, colors={"main-color": color})
    assert side is not None
    assert f'fill="{color}"' in side
    assert color not in (drawing(drawings, "cab-diesel-420", "side", {}) or "")


def test_every_picture_is_listed_with_its_home() -> None:
    """What a site writes into files is what its pages ask for."""
    drawings = read_drawings(check(ENTRIES)[0])[0]
    for one in drawings.files.values():
        family = one.home if one.level == FAMILY else None
        for trait, state in drawn_in(drawings, one.level, one.home):
            assert picture(drawings, family, trait, state), (one.path, trait, state)
