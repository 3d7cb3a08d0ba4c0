"""A text as words with their places, and phrases found in it: the matching behind the reading of sellers' texts.

A phrase is kept in an entry as a person would say it, in the small language of `kb.said`.

Words are compared by their Porter stems, so plurals and endings do not matter; by the spellings and the groups of like words that
`sellers.yaml` keeps; and a word that nobody knows, by the number of mistakes it is away from one of the vocabulary (rapidfuzz's
optimal string alignment), or by the letters that were left out of one (`abbreviated`).  A search index ranks whole documents, and
a general language model takes seconds to load and knows nothing of "plate cplr"; here every phrase is an exact pattern over a few
thousand known words, found by its first word in one pass over the text, so a page takes a few milliseconds, and the place of each
word is never lost.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import NamedTuple

from whoosh.lang.porter import stem as porter

from ..kb.said import JOINED, THING, VERY, parts_of, unfolded
from .abbreviated import VOWELS, Abbreviations

#: A word is taken for another at so many mistakes, by its own length.
MISTAKES = ((8, 2), (5, 1))
#: Where the first letter is the wrong one, only a word this long, at one mistake.
OTHER_FIRST = 8
#: Words that may stand between the parts of a phrase joined by "+", and small words between two words of a part.
#: Between the parts of a phrase with a word in capitals, which is a letter or two, only so many.
APART, SMALL_BETWEEN, TIGHT = 6, 3, 2
#: A line is full, and its end no break, when it has this share of the longest.
FULL = 0.7
#: So many letters at most are an abbreviation.
ABBREVIATED = 4
#: How hard the break before a word is: none, a comma, the end of a sentence, an empty line.
COMMA, SENTENCE, PARAGRAPH = 1, 2, 3

#: A line that opens with its number or letter in a list.
NUMBERED = re.compile(r"(?:\d{1,2}[).]|[a-z]\))\s")
#: A line that ends with an amount, as those of a price list do.
PRICED = re.compile(r"[$\u20ac\u00a3] ?[\d.,]+\Z")
_MARKS = str.maketrans({"\u2019": "'", "\u2018": "'", "\u00b4": "'", "\u201c": '"', "\u201d": '"', "\u2033": '"', "\u00a0": " "})
_SPACES = str.maketrans({"\u2013": "-", "\u2014": "-", "\u2212": "-", "\u2009": " ", "\u202f": " ", "\t": " ", "\u2022": "*"})
_TOKEN = re.compile(
    r"[Ww]/[Oo](?![A-Za-z])|[Ww]/(?=[\sA-Za-z])"
    r"|[^\W\d_]+(?:'[^\W\d_]+)*\+?(?!\d)"
    r"|\d+(?:,\d{3})+(?:\.\d+)?|\d*\.\d+|\d+(?:st|nd|rd|th)(?![^\W\d_])|\d+|[^\W\d_]+"
    r"|[$#\"&+/%\u00bc-\u00be\u20ac\u00a3]"
)


@dataclass(frozen=True, slots=True)
class Token:
    """A word: its place in the text, as written, folded, the spelling meant, the name of its like words, the break before it."""

    start: int
    end: int
    raw: str
    text: str
    meant: str
    canon: str
    stop: int
    exact: bool


@lru_cache(maxsize=20_000)
def stem(word: str) -> str:
    """The Porter stem of a lower-case word."""
    return porter(word) if word.isascii() and word.isalpha() else word


def fold(text: str) -> str:
    """The text with typographic marks plain and in lower case, every character in its place."""
    plain = text.translate(_MARKS).translate(_SPACES)
    lower = plain.lower()
    return lower if len(lower) == len(plain) else "".join(c.lower() if len(c.lower()) == 1 else c for c in plain)


class Lexicon:
    """Which words are the same word.

    same: groups of words that are taken for one another, the first giving the name.  A short one is an abbreviation: only it
    itself stands for the others, and a full stop behind it ends no sentence.  small: words that may stand between those of a
    phrase; optional: those of them that a phrase may hold and a text leave out.
    plain: everyday words, which are never a misspelling of another.
    """

    def __init__(
        self, same: Iterable[Sequence[str]], small: Iterable[str], optional: Iterable[str], plain: Iterable[str]
    ) -> None:
        self.group: dict[str, str] = {}
        self.stems: dict[str, str] = {}
        self.abbreviations: set[str] = set()
        for words in same:
            name = self.canon(words[0])
            for word in words:
                self.group.setdefault(word, name)
                if len(word) > ABBREVIATED:
                    self.stems.setdefault(stem(word), name)
                elif word != words[0] and (words[0].startswith(word) or not set(word) & set("aeiouy")):
                    self.abbreviations.add(word)
        self.small = frozenset(map(self.canon, small))
        self.optional = frozenset(optional)
        self.optional_canons = frozenset(map(self.canon, self.optional))
        self.plain = frozenset(plain)
        self.plain_stems = frozenset(map(stem, self.plain))
        self.negating: frozenset[str] = frozenset()
        self.known: dict[str, str] = {}
        self.parsed: dict[str, Row] = {}
        self.things: dict[tuple[str, ...], tuple[Row, ...]] = {}
        self._guessed: dict[str, tuple[str, str]] = {}

    def canon(self, word: str) -> str:
        """The name of all words that are the same as this one, forms of it included."""
        root = stem(word)
        return self.group.get(word) or self.stems.get(root) or root

    def learn(self, word: str) -> str:
        """A word that occurs in phrases; its name."""
        if word not in self.known:
            self.known[word] = self.canon(word)
        return self.known[word]

    def settle(self) -> None:
        """To be called when all is learned."""
        self.known |= {word: name for word, name in self.group.items() if len(word) > 3}
        self._canons = frozenset(self.known.values())
        self._short = Abbreviations(self.known)
        self._choices = [word for word in self.known if len(word) >= 4]

    def guess(self, word: str) -> tuple[str, str]:
        """(spelling meant, name): of a word that nobody knows, those of the nearest known one within the mistakes allowed,
        or of the one that it is short for.
        """
        found = self.canon(word)
        if found in self._canons or word in self.plain or stem(word) in self.plain_stems:
            return word, found
        if word not in self._guessed:
            near = self._nearest(word) or self._short.meant(word)
            self._guessed[word] = (near, self.known[near]) if near else (word, found)
        return self._guessed[word]

    def of_phrases(self, word: str) -> bool:
        """Whether a word, misspelled or not, is of the vocabulary."""
        return self.guess(word)[1] in self._canons

    def _nearest(self, word: str) -> str | None:
        most = next((mistakes for length, mistakes in MISTAKES if len(word) >= length), 0)
        if not most or not word.isalpha():
            return None
        from rapidfuzz import process  # here, since nothing else of phrases is a search
        from rapidfuzz.distance import OSA

        best = process.extract(word, self._choices, scorer=OSA.distance, score_cutoff=most, limit=5)
        best = [one for one in best if one[0][0] == word[0] or (one[1] == 1 and len(word) >= OTHER_FIRST)]
        best = [one for one in best if len(word) >= OTHER_FIRST or _slipped(word, one[0])]
        return best[0][0] if best else None

    def tokens(self, text: str) -> list[Token]:
        """The words of a text, in order."""
        folded = fold(text)
        longest = max(map(len, folded.split("\n")))
        found: list[Token] = []
        at = 0
        for match in _TOKEN.finditer(folded):
            raw, word = text[match.start() : match.end()], match[0].rstrip("+") or match[0]
            stop = self._stop(folded, at, match.start(), found, longest) if found else SENTENCE
            at = match.end()
            found.append(Token(match.start(), match.end(), raw, word, *self.guess(word), stop, word in self.known))
        return found

    def _stop(self, text: str, at: int, start: int, before: list[Token], longest: int) -> int:
        """The break that what stands between two words makes; the end of a line that is not full is one."""
        between = text[at:start]
        if "\n" in between:
            lines = between.split("\n")
            full = len(text[text.rfind("\n", 0, at) + 1 : at + len(lines[0])]) >= FULL * longest
            if not full or re.match(r"[\w ]{2,20}:", text[start : start + 22]):
                return PARAGRAPH if any(not line.strip(" *-") for line in lines[1:-1]) else SENTENCE
            if any(not line.strip(" *-") for line in lines[1:-1]):
                return PARAGRAPH
            if (
                re.search(r"[*>]|-\s|--", lines[-1])
                or NUMBERED.match(text, start)
                or PRICED.search(text, text.rfind("\n", 0, at) + 1, at)
            ):
                return SENTENCE
        if re.search(r"[.!?;]", between):
            abbreviated = between.lstrip(")").startswith(".") and before[-1].text in self.abbreviations
            return COMMA if abbreviated else SENTENCE
        if re.search(r"[,:()*|]|\s-+\s|--|\.\.", between):
            return COMMA
        return 0


def _slipped(word: str, meant: str) -> bool:
    """Whether a short word is another with a slip in it; one consonant for another makes a word of its own: frank, flank."""
    differing = [(a, b) for a, b in zip(word, meant, strict=False) if a != b]
    return len(word) != len(meant) or len(differing) != 1 or all(letter in VOWELS for letter in differing[0])


# Phrases ---------------------------------------------------------------------------------------------------------------


class Word(NamedTuple):
    """One word of a phrase: the name of its like words; or its very spelling, in capitals where `caps`."""

    canon: str
    exact: str | None = None
    caps: bool = False

    def fits(self, token: Token, shouting: bool) -> bool:
        """Whether a word of a text is this one."""
        if self.exact is None:
            return token.canon == self.canon
        return token.meant == self.exact and (not self.caps or token.raw.rstrip("+").isupper() or shouting)


#: Words in order; and a group of such rows, of which one is to be there.
Row = tuple[Word, ...]
Groups = tuple[tuple[Row, ...], ...]


class Way(NamedTuple):
    """A way to say something. groups: what must be there; of each, one of its sequences of words.

    denied: it says the opposite; deniable: a negation may stand between its parts; own: it is the record's name.
    thing: its first group is what the thing is called.
    """

    groups: Groups
    written: str = ""
    denied: bool = False
    deniable: bool = False
    own: bool = False
    thing: bool = False


class Phrase(NamedTuple):
    """A way to say something, and what is said.

    home: the family or slot type it is a phrase of, with "family:" or "part:" before it; empty where of none.
    """

    groups: Groups
    written: str
    denied: bool
    deniable: bool
    own: bool
    thing: bool
    kind: str
    says: str
    home: str


class Saying(NamedTuple):
    """What is said, and all ways to say it."""

    kind: str
    says: str
    home: str
    ways: tuple[Way, ...]

    def phrases(self) -> Iterator[Phrase]:
        """Each way as a phrase."""
        return (Phrase(*way, *self[:3]) for way in self.ways)


@dataclass(frozen=True, slots=True)
class Match:
    """A phrase found: the words it stands on, and how much it takes to be there by chance.

    alone: without the thing it is said of, which the text may have named before, as lists of parts do.
    """

    phrase: Phrase
    at: tuple[int, ...]
    score: float
    last: tuple[int, ...] = ()
    alone: bool = False

    @property
    def first(self) -> int:
        """Its first word."""
        return self.at[0]


def parse_words(written: str, lexicon: Lexicon) -> Row:
    """A row of words, of which one that is optional may go unless it is the first or the last."""
    if written not in lexicon.parsed:
        found = list(_words(written, lexicon))
        inner = range(1, len(found) - 1)
        kept = (
            one for n, (word, one) in enumerate(found) if one.exact is not None or n not in inner or word not in lexicon.optional
        )
        lexicon.parsed[written] = tuple(kept)
    return lexicon.parsed[written]


def _words(written: str, lexicon: Lexicon) -> Iterator[tuple[str, Word]]:
    """(spelling, word) of each word."""
    for piece in written.split():
        if piece.isascii() and piece.isalpha() and piece.islower():
            yield piece, Word(lexicon.learn(piece))
            continue
        exact, bare = piece.startswith(VERY), piece.lstrip(VERY)
        caps = bare.isupper() and bare.isalpha() and len(bare) <= ABBREVIATED and bare != "I"
        for match in _TOKEN.finditer(fold(bare)):
            word = match[0].rstrip("+") or match[0]
            canon = lexicon.canon(word) if caps else lexicon.learn(word)
            yield word, Word(canon, word if exact or caps else None, caps)


def parse(written: str, called: Sequence[str], lexicon: Lexicon) -> Iterator[Groups]:
    """The groups of every way to say a phrase; `called` is what "_" stands for."""
    for one in unfolded(written):
        if THING not in one and JOINED not in one:
            groups: Groups = ((parse_words(one, lexicon),),)
        else:
            rows = [parse_words(part, lexicon) for part in parts_of(one)]
            thing = _things(called, lexicon) if THING in one.split() else None
            groups = (*(() if thing is None else (thing,)), *((row,) for row in rows))
        if groups and all(group and all(group) for group in groups):
            yield groups


def _things(called: Sequence[str], lexicon: Lexicon) -> tuple[Row, ...]:
    """What a thing is called, as rows of words."""
    key = tuple(called)
    if key not in lexicon.things:
        rows = (parse_words(one, lexicon) for name in called for one in unfolded(name) if one.strip())
        lexicon.things[key] = tuple(dict.fromkeys(rows))
    return lexicon.things[key]


@dataclass
class Finder:
    """Phrases by the first word of each of their parts. All are to be added before the first text is read."""

    lexicon: Lexicon
    sayings: list[Saying] = field(default_factory=list[Saying])
    _of: dict[tuple[str, str, str], list[Saying]] = field(default_factory=dict[tuple[str, str, str], list[Saying]])

    def add(self, kind: str, says: str, home: str, ways: tuple[Way, ...]) -> None:
        """What can be said in more ways, none of them twice; those that are there already are left out."""
        before = self._of.setdefault((kind, says, home), [])
        if before:
            said = {(one.groups, one.denied) for saying in before for one in saying.ways}
            ways = tuple([one for one in ways if (one.groups, one.denied) not in said])
        before.append(Saying(kind, says, home, ways))
        self.sayings.append(before[-1])

    @cached_property
    def phrases(self) -> list[Phrase]:
        """Every phrase, in the order they came."""
        return [phrase for one in self.sayings for phrase in one.phrases()]

    @cached_property
    def endings(self) -> dict[str, dict[str, int]]:
        """The last words of the names of families and kinds; of each, how many names of which family end with it."""
        found: dict[str, dict[str, int]] = {}
        for one in self.sayings:
            if one.kind == "name" and one.home:
                for way in one.ways:
                    row = found.setdefault(way.groups[-1][0][-1].canon, {})
                    family = one.home.partition(":")[2]
                    row[family] = row.get(family, 0) + 1
        return found

    @cached_property
    def _by_first(self) -> dict[str, list[tuple[int, int, Row]]]:
        found: dict[str, list[tuple[int, int, Row]]] = {}
        for number, phrase in enumerate(self.phrases):
            for g, group in enumerate(phrase.groups):
                for sequence in group:
                    first = sequence[0]
                    key = first.canon if first.exact is None else f"={first.exact}"
                    found.setdefault(key, []).append((number, g, sequence))
        return found

    def find(self, tokens: Sequence[Token], shouting: bool) -> list[Match]:
        """Every phrase that stands in the text, wherever it does."""
        parts: dict[int, dict[int, list[tuple[int, ...]]]] = {}
        found: list[Match] = []
        for i, token in enumerate(tokens):
            for key in (token.canon, f"={token.meant}"):
                followed: dict[int, tuple[int, ...] | None] = {}
                for number, g, sequence in self._by_first.get(key, ()):
                    if id(sequence) not in followed:
                        followed[id(sequence)] = self._follow(sequence, tokens, i, shouting)
                    at = followed[id(sequence)]
                    if at is None:
                        continue
                    if len(self.phrases[number].groups) == 1:
                        found.append(Match(self.phrases[number], at, self._score(at, tokens)))
                    else:
                        parts.setdefault(number, {}).setdefault(g, []).append(at)
        for number, groups in parts.items():
            phrase = self.phrases[number]
            joined = list(self._joined(phrase, groups, tokens)) if len(groups) == len(phrase.groups) else []
            found += joined
            if phrase.thing and len(phrase.groups) == 2 and 1 in groups:
                named = {match.last for match in joined}
                found += [Match(phrase, at, self._score(at, tokens), (), True) for at in groups[1] if at not in named]
        return found

    def _follow(self, sequence: Row, tokens: Sequence[Token], i: int, shouting: bool) -> tuple[int, ...] | None:
        if not sequence[0].fits(tokens[i], shouting):
            return None
        at, j = [i], i + 1
        between = self.lexicon.optional_canons if sequence[0].canon in self.lexicon.small else self.lexicon.small
        for word in sequence[1:]:
            skipped = 0
            while j < len(tokens) and tokens[j].stop < COMMA and not word.fits(tokens[j], shouting):
                if tokens[j].canon not in between or skipped >= SMALL_BETWEEN:
                    return None
                j, skipped = j + 1, skipped + 1
            if j >= len(tokens) or tokens[j].stop >= COMMA:
                return None
            at.append(j)
            j += 1
        return tuple(at)

    def _score(self, at: Collection[int], tokens: Sequence[Token]) -> float:
        """Longer and more words are less likely there by chance; small ones say little, misspelled ones less."""
        score = 0.0
        for i in at:
            token = tokens[i]
            score += 0.3 if token.canon in self.lexicon.small else 1.0 + 0.02 * min(len(token.text), 10)
            score -= 0.0 if token.exact else 0.05
        return score

    def _joined(self, phrase: Phrase, groups: Mapping[int, list[tuple[int, ...]]], tokens: Sequence[Token]) -> Iterator[Match]:
        """Each place where all parts of a phrase stand near one another: for each last part, the nearest of the others."""
        last = len(phrase.groups) - 1
        tight = any(word.caps for group in phrase.groups for sequence in group for word in sequence)
        most = TIGHT if tight else APART
        for anchor in groups[last]:
            at, apart = set(anchor), 0
            for g in range(last):
                near = min(
                    ((self._apart(anchor, one, tokens, phrase.deniable), one) for one in groups[g] if not set(one) & at),
                    default=(APART + 1, ()),
                )
                apart += near[0]
                if near[0] > most:
                    break
                at |= set(near[1])
            else:
                row = tuple(sorted(at))
                yield Match(
                    phrase, row, self._score(row, tokens) + (0.1 if apart == 0 and phrase.deniable else -0.1 * apart), anchor
                )

    def _apart(self, one: Sequence[int], other: Sequence[int], tokens: Sequence[Token], deniable: bool) -> int:
        """Words between two rows, a comma counting for two and a small word for half; more than enough across sentences."""
        first, second = (one, other) if one[0] < other[0] else (other, one)
        if first[-1] >= second[0]:
            return APART + 1
        between = range(first[-1] + 1, second[0] + 1)
        stops = [tokens[i].stop for i in between]
        if max(stops, default=0) >= SENTENCE:
            return APART + 1
        if not deniable and any(tokens[i].text in self.lexicon.negating for i in between[:-1]):
            return APART + 1
        words = sum(0.4 if tokens[i].canon in self.lexicon.small else 1.0 for i in between[:-1])
        return int(words + 2.0 * sum(stop == COMMA for stop in stops) + 0.5)
