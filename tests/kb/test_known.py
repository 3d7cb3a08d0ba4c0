"""What is checked again after a change, and what is not: every finding and every record is as if all had been read afresh."""

import shutil
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

import pytest
from PIL import Image
from tellmark.kb import cache
from tellmark.kb import check as checking
from tellmark.kb.cache import sound
from tellmark.kb.check import RECORD, Checked, Unit, check, checked
from tellmark.kb.leaning import Leaned
from tellmark.kb.load import FIELDS, Entries, Known, files_below

ENTRIES = Path(__file__).parents[2] / "entries"
BASE = "knowledge-base.yaml"
DIESEL = "families/cab-diesel-420/family.yaml"
TENDER = "families/tender-70/family.yaml"
TAMARACK = "families/cab-diesel-420/variants/421-tamarack-northern.yaml"
BLUE_MESA = "families/cab-diesel-420/variants/422-blue-mesa.yaml"
NOSE = "families/cab-diesel-420/drawings/nose.svg"
ATTIC = "families/cab-diesel-420/drawings/attic.svg"
COUPLER = "parts/coupler/plate-coupler.yaml"
SEEN = "sightings/cab-diesel-420/2019.yaml"
SHIELD = "photographs/shield.png"
NAMED = "\n  photographs: [{file: photographs/shield.png, shows: A shield., license: CC0-1.0, credit: Ines Calloway}]"
#: In the place of what is written instead: the file as the demonstration has it; no file; the drawing of the nose; a picture.
BACK, GONE, NOSE_AGAIN, PICTURE = "back", "gone", "the nose again", "a picture"


class Step(NamedTuple):
    """A change of one file: what stands there once and what is written instead, or the whole; and whether all is sound then."""

    why: str
    path: str
    change: tuple[str, str] | str
    sound: bool


#: Each is made on top of those before it.
STEPS = [
    Step("a fact of a variant that others are like", TAMARACK, ("sold_alone: scarce\n", "sold_alone: rare\n"), True),
    Step("a reference broken", TAMARACK, ("plate-coupler\n  sources: {bench", "plate-coupler\n  sources: {bank"), False),
    Step("another file changed, while that is broken", SEEN, ("number: 4231\n", "number: 4239\n"), False),
    Step("the reference mended", TAMARACK, BACK, True),
    Step("an id that a set and other variants name", TAMARACK, ("- id: 421-tamarack-northern-a-b1\n", "- id: other\n"), False),
    Step("a file that is as it was", SEEN, BACK, False),
    Step("the id as it was", TAMARACK, BACK, True),
    Step("a part that variants, sets and sightings have is gone", COUPLER, GONE, False),
    Step(
        "and a variant leads back to itself",
        TAMARACK,
        ("like: 424-prairie-meridian-a-b1", "like: 421-tamarack-northern-a-b2"),
        False,
    ),
    Step("no more", TAMARACK, BACK, False),
    Step("the part is back", COUPLER, BACK, True),
    Step("a verdict that names nothing", SEEN, ("variant: 423-iron-coast-a-b2", "variant: 423-iron-coast-z"), False),
    Step("a verdict that names another", SEEN, ("variant: 423-iron-coast-z", "variant: 424-prairie-meridian-a-b2"), True),
    Step(
        "a position that the set does not have",
        SEEN,
        ("-iron-coast-a-a\n    position: 1", "-iron-coast-a-a\n    position: 9"),
        False,
    ),
    Step("the sighting as it was", SEEN, BACK, True),
    Step("an alternative of a state that nobody knows", NOSE, ('data-state="whiskers"', 'data-state="beard"'), False),
    Step("the drawing as it was", NOSE, BACK, True),
    Step("a drawing of no view", ATTIC, NOSE_AGAIN, False),
    Step("that is a view now", BASE, ("\nviews:\n", "\nviews:\n  attic: {name: Attic, effort: 3}\n"), True),
    Step("and is none again", BASE, BACK, False),
    Step("the drawing is gone", ATTIC, GONE, True),
    Step("a word that facts use is gone", BASE, ("  sometimes: 0.2\n", ""), False),
    Step("it is back, and the numbers are others", BASE, ("  usual: 0.8\n", "  usual: 0.7\n  sometimes: 0.3\n"), True),
    Step("the knowledge base cannot be read", BASE, ("license: CC-BY-4.0", "license: ["), False),
    Step("something else broken meanwhile", TAMARACK, ("how_common: uncommon\n  shows:\n    number: 4212", "Z: 1"), False),
    Step("the knowledge base can be read", BASE, BACK, False),
    Step("all is well", TAMARACK, BACK, True),
    Step("a common trait has another name", "traits.yaml", ("\nmain-color:\n", "\nmajor-color:\n"), False),
    Step("and its own", "traits.yaml", BACK, True),
    Step("a phrase that two states share", DIESEL, ("said: [level band, ", "said: [chevron, level band, "), False),
    Step("and one of them alone", DIESEL, BACK, True),
    Step("a slot that variants, sets and parts fill has another name", DIESEL, ("\n  motor:", "\n  engine:"), False),
    Step("and its own", DIESEL, BACK, True),
    Step("a family is gone", TENDER, GONE, False),
    Step("it is back", TENDER, BACK, True),
    Step("a slot of another type than in other families", TENDER, ("    type: coupler", "    type: drawbar"), False),
    Step("and of the same", TENDER, BACK, True),
    Step("a sale of nothing", "sales/2019.csv", ("place,note\n", "place,note\n2019-01-02,,,10,,,,,\n"), False),
    Step("no such sale", "sales/2019.csv", BACK, True),
    Step("a phrase of sellers that cannot be read", "sellers.yaml", ("\nidle: [", '\nidle: ["(", '), False),
    Step("and without", "sellers.yaml", BACK, True),
    Step(
        "a photograph that is not there",
        BLUE_MESA,
        ("\n  sources: [catalog-1954, f", f"{NAMED}\n  sources: [catalog-1954, f"),
        False,
    ),
    Step("it is there", SHIELD, PICTURE, True),
    Step("it is no photograph", SHIELD, "hello", False),
    Step("it is one", SHIELD, PICTURE, True),
    Step("it is gone", SHIELD, GONE, False),
    Step("nobody names it", BLUE_MESA, BACK, True),
    Step("a hazard that tools bring", BASE, ("brought_by: [contact cleaner", "brought_by: [screwdriver, contact cleaner"), False),
    Step("and do not", BASE, BACK, True),
]


def make(root: Path, step: Step) -> None:
    path, shipped = root / step.path, ENTRIES / step.path
    path.parent.mkdir(exist_ok=True)
    if step.change == GONE:
        path.unlink()
    elif step.change == BACK:
        shutil.copyfile(shipped, path)
    elif step.change == NOSE_AGAIN:
        shutil.copyfile(root / NOSE, path)
    elif step.change == PICTURE:
        Image.new("RGB", (2, 2)).save(path)
    elif isinstance(step.change, str):
        path.write_text(step.change, "utf-8")
    else:
        text = path.read_text("utf-8")
        assert text.count(step.change[0]) == 1, step
        path.write_text(text.replace(*step.change), "utf-8")


def everything(entries: Entries) -> list[object]:
    """All that entries hold, in its order."""
    kinds = [list(entries.of(kind).items()) for kind in FIELDS]
    others = list(entries.places.items()), list(entries.home.items()), entries.lost
    return [entries.about, entries.sellers, kinds, *others]


def test_one_change_after_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the store, whatever it holds by then, or as this process has it in mind."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)
    root = tmp_path / "record"
    shutil.copytree(ENTRIES, root)
    assert sound(root)[1] == []
    for number, step in enumerate(STEPS):
        make(root, step)
        if number % 2:
            cache._HELD.clear()  # pyright: ignore[reportPrivateUsage]
        entries, findings = sound(root)
        afresh, said = check(root)
        assert [str(one) for one in findings] == [str(one) for one in said], step
        assert (said == []) == step.sound, step
        assert everything(entries) == everything(afresh), step


def test_what_a_sighting_found_may_rest_on_a_variant(folder: Callable[[Mapping[str, object]], Path]) -> None:
    """A part fits a slot where it says so, or where some variant has it there."""
    variant = "families/tram/variants/gull-b.yaml"
    rest: dict[str, object] = {
        "parts/wheel/disc.yaml": "name: Disc wheel\nshows:\n  rim: thick\n",
        "families/tram/sets/gull-pair.yaml": "name: Gull Harbor pair\npositions:\n  - variants: gull-a\n",
        "sightings/tram/shelf-1.yaml": "seen: 2021-05-02\nby: Ines\nanswers: {wheels: disc}\nverdict: {variant: gull-b}\n",
    }
    root = folder(rest | {variant: "name: Gull\nlike: gull-a\nfitted:\n  wheels: disc\n"})
    before = checked(root)
    assert before.findings == []
    folder(rest | {variant: "name: Gull\nlike: gull-a\n"})
    files = {path for path, _ in files_below(root)}
    now = checked(root, known=Known(before.entries, files - {variant}, files), leaned=before.leaned)
    assert [one.path for one in now.findings] == ["sightings/tram/shelf-1.yaml"]
    assert now.findings == check(root)[1]


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[Unit]:
    """The checks that are made again."""
    made: list[Unit] = []
    really = checked

    def watched(root: Path, known: Known | None = None, leaned: Mapping[Unit, Leaned] | None = None) -> Checked:
        found = really(root, known=known, leaned=leaned)
        made.extend(unit for unit, one in found.leaned.items() if leaned is None or leaned.get(unit) is not one)
        return found

    monkeypatch.setattr(checking, "checked", watched)
    return made


#: What is changed, and how many checks of what sort are made again.
AGAIN: list[tuple[Step, dict[str, int]]] = [
    (Step("a comment", TAMARACK, ("sold_alone: scarce\n", "sold_alone: scarce # so far\n"), True), {}),
    (Step("a number behind a word", BASE, ("  usual: 0.8\n", "  usual: 0.7\n"), True), {}),
    (
        Step("what sellers call a slot", DIESEL, ("said: [motor, drive, ", "said: [motor, drive, engine block, "), True),
        {"family": 1},
    ),
    (
        Step("the name of a common trait", "traits.yaml", ("\nmain-color:\n  name: ", "\nmain-color:\n  name: The "), True),
        {"trait": 1},
    ),
    (
        Step(
            "how a view is asked for",
            BASE,
            ("request: A photograph of the whole side", "request: A picture of the whole side"),
            True,
        ),
        {},
    ),
    (Step("a source", "sources.yaml", ("\nbench-notes-15:\n  name: ", "\nbench-notes-15:\n  name: The "), True), {"source": 1}),
    (
        Step("a livery", "liveries.yaml", ("\ntamarack-northern:\n  name: ", "\ntamarack-northern:\n  name: The "), True),
        {"livery": 1},
    ),
    (Step("a drawing", NOSE, ("</svg>", "<!-- done --></svg>"), True), {"drawing": 1}),
    (Step("a sighting", SEEN, ("number: 4231\n", "number: 4239\n"), True), {"sighting": 1}),
    (
        Step(
            "a variant that another is like: also that one, and what may sit in slots",
            TAMARACK,
            ("1\n  made: 1951", "1\n  made: 1950"),
            True,
        ),
        {"variant": 2, "sighting": 6},
    ),
]


@pytest.mark.parametrize(("step", "again"), AGAIN, ids=[step.why for step, _ in AGAIN])
def test_nothing_else_is_checked_again(
    step: Step, again: dict[str, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, counted: list[Unit]
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)
    root = tmp_path / "record"
    shutil.copytree(ENTRIES, root)
    sound(root)
    counted.clear()
    make(root, step)
    assert sound(root)[1] == []
    assert Counter(unit[1] if unit[0] == RECORD else unit[0] for unit in counted) == again
