"""Words that a hurried hand leaves letters out of: hdlt for headlight, cond for condition.

Two ways are common: only the consonants are kept, or only the beginning.  Neither is guessed at where words of several
meanings can be shortened so.  Common practice of the trade, no source.
"""

from collections.abc import Mapping
from functools import cached_property

#: What is left out of a word first; at its beginning it stays.
VOWELS = frozenset("aeiouy")
#: So many letters at least, when only consonants are kept.
CONSONANTS = 3
#: So many letters, when only the beginning is kept; and so many at least that were left out.
BEGINNING, LEFT_OUT = (4, 6), 3


class Abbreviations:
    """The words of a vocabulary by what is left of them. known: each word with the name of its like words."""

    def __init__(self, known: Mapping[str, str]) -> None:
        self.known = known

    def meant(self, word: str) -> str | None:
        """The word that one which nobody knows is short for."""
        if not word.isascii() or not word.isalpha():
            return None
        for kept in (word, word.removesuffix("s")):
            if len(kept) >= CONSONANTS and not VOWELS & set(kept[1:]) and (found := self._one(self._left.get(left(kept), []))):
                return found
        if BEGINNING[0] <= len(word) <= BEGINNING[1]:
            return self._one([one for one in self.known if len(one) >= len(word) + LEFT_OUT and one.startswith(word)])
        return None

    def _one(self, words: list[str]) -> str | None:
        """The first of these where all have one name."""
        return words[0] if len({self.known[one] for one in words}) == 1 else None

    @cached_property
    def _left(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for word in self.known:
            if len(word) > CONSONANTS and word.isascii() and word.isalpha():
                found.setdefault(left(word), []).append(word)
        return found


def left(word: str) -> str:
    """The first letter and the consonants of a word, none twice in a row."""
    kept = word[0]
    for letter in word[1:]:
        if letter not in VOWELS and letter != kept[-1]:
            kept += letter
    return kept
