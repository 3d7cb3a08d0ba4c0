"""Drawings as files of their own: a page loads one when one gets to it, and all pages that show it share it.

    pictures/variants/<id>.svg                       the side of a variant as it left the factory
    pictures/<families, parts>/<id>/<trait>.<state>.svg   the picture of a state; value.svg of a measured trait or a marking
    pictures/common/<trait>.<state>.svg              the same of a trait that every family states

An image cannot see the colors of the page around it, so each file brings its own along, for light and for dark.
"""

from collections.abc import Callable, Iterable, Iterator
from functools import partial

from ..kb.drawings import COMMON, FAMILY, PART
from ..kb.models import Trait
from ..kb.pictures import Found, drawn_in, where_drawn
from ..kb.resolve import Stated
from ..kb.values import Fact
from .drawn import Pictures
from .page import File, Values
from .reads import Memo
from .thumbnails import Thumbnails

FOLDER = "pictures"
#: The folder of a home of drawings.
HOMES = {FAMILY: "families", PART: "parts", COMMON: "common"}
#: The colors that drawings are made of, as `static/site.css` has them: the ink, and what stands behind `var(--...)`.
LIGHT = {"color": "#1b2423", "--paper": "#fbfcfb", "--shade": "#d9dedc", "--mark": "#a3332a"}
DARK = {"color": "#e5ebe8", "--paper": "#131918", "--shade": "#434f4c", "--mark": "#ff8d7a"}


def _rules(colors: dict[str, str]) -> str:
    return "svg{" + ";".join(f"{name}:{value}" for name, value in colors.items()) + "}"


#: Goes into every file.
STYLE = f"<style>{_rules(LIGHT)}@media (prefers-color-scheme:dark){{{_rules(DARK)}}}</style>"


def standing(svg: str) -> bytes:
    """An image as `kb.svg.write` spells it, as a file: with its colors."""
    return svg.replace(">", f">{STYLE}", 1).encode("utf-8")


class Images:
    """The addresses, sizes and words of drawings in files, and the files."""

    def __init__(self, pictures: Pictures, thumbnails: Thumbnails, memo: Memo) -> None:
        self.pictures, self.thumbnails = pictures, thumbnails
        #: Where a trait is drawn, as `kb.pictures.where_drawn` finds it.
        self.where_drawn = self._found = memo.kept(partial(where_drawn, pictures.drawings))
        self.of_state = memo.kept(self._of_state)
        self._drawn_in = memo.question("drawn in", self._states_drawn, lasting=True)
        self._kinds = memo.question("kinds drawn", thumbnails.kinds, lasting=True)
        self._size = memo.question("size drawn", self._sized, lasting=True)

    def of_variant(self, one: Stated) -> Values | None:
        """The side of a variant, which is no more than a picture beside its name; None where nobody drew its family."""
        size = self._size(one.family, one.kind or "")
        return _image(f"{FOLDER}/variants/{one.id}.svg", size, "") if size else None

    def _sized(self, family: str, kind: str) -> tuple[float, float] | None:
        return self.thumbnails.size(family, kind or None)

    def _of_state(self, family: str | None, trait: str, state: str | None) -> Values | None:
        found: Found | None = self._found(family, trait)
        crop = found.drawing.tree.crop(found.name) if found else None
        if found is None or crop is None or not found.groups(state):
            return None
        _, _, width, height = map(float, crop.attributes["viewBox"].split())
        return _image(_address(found, state), (width, height), found.words(state)[1])

    def of_fact(self, family: str | None, name: str, trait: Trait, fact: Fact) -> list[Values]:
        """The picture of each recorded state, the most frequent first, named where there are several; else the only one."""
        names = trait.states or {}
        states = self.pictures.ranked(fact) if names else [None]
        drawn = {state: seen for state in states if (seen := self.of_state(family, name, state))}
        return [
            {"image": seen, "name": names[state].name if state and len(states) > 1 else None} for state, seen in drawn.items()
        ]

    def files(self, variants: Iterable[str], whole: Callable[[str], Stated], family: Callable[[str], str]) -> Iterator[File]:
        """Every file. `whole`: a variant as it is stated; `family`: that of a variant."""
        entries = self.pictures.entries
        homes = [(FAMILY, one) for one in entries.families] + [(PART, one) for one in entries.slot_types] + [(COMMON, "")]
        for level, home in homes:
            of = home if level == FAMILY else None
            for where, trait, state in self._drawn_in(level, home):
                yield File(where, partial(self._picture, of, trait, state), home=home)
        for ident in variants:
            drawn = self._kinds(family(ident))
            if None in drawn or (drawn and whole(ident).kind in drawn):
                yield File(f"{FOLDER}/variants/{ident}.svg", partial(self._side, whole, ident), home=family(ident))

    def _states_drawn(self, level: str, home: str) -> list[tuple[str, str, str | None]]:
        """(address, trait, state) of every picture that the drawings of a home give."""
        of, found = home if level == FAMILY else None, list[tuple[str, str, str | None]]()
        for trait, state in drawn_in(self.pictures.drawings, level, home):
            drawn = self._found(of, trait)
            assert drawn is not None  # it is drawn there
            found.append((_address(drawn, state), trait, state))
        return found

    def _picture(self, family: str | None, trait: str, state: str | None) -> bytes:
        return standing(str(self.pictures.of_state(family, trait, state) or ""))

    def _side(self, whole: Callable[[str], Stated], ident: str) -> bytes:
        return standing(self.thumbnails.alone(whole(ident)) or "")


def _address(found: Found, state: str | None) -> str:
    drawing = found.drawing
    steps = [HOMES[drawing.level], *filter(None, [drawing.home]), f"{found.name}.{state or 'value'}.svg"]
    return f"{FOLDER}/{'/'.join(steps)}"


def _image(address: str, size: tuple[float, float], words: str) -> Values:
    """Of an image of which nobody knows how large it will be shown: its proportions in whole numbers, and what it shows.

    A drawing has one decimal at most, so ten times its size is whole.
    """
    times = next((times for times in (1, 2, 5) if all((times * length).is_integer() for length in size)), 10)
    width, height = (round(times * length) for length in size)
    return {"src": address, "width": width, "height": height, "alt": words}
