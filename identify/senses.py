"""What a phrase found in a text means there: of which family, of which slot, and which of several records its words fit."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from ..kb.values import UNITS
from .figures import Figure
from .phrases import COMMA, PARAGRAPH, SENTENCE, Match, Token
from .vocabulary import GONE, LOOSE, SLOT, SPEAKING, TRAIT, Vocabulary, part_home

#: A family named by a word this short may be something else.
SHORT = 3
#: What a place of damage is worth over the same words said of anything.
SPOT = 0.3
#: And what is taken off where it is a place on units of another family, which this one may have as well.
OTHERS_SPOT = 0.5
#: How far a place may be named from the part that sits there, in words.
PLACE_NEAR = 5
#: What a part's name is worth, over the same words said of its state, when other words stand in it.
TORN = -0.1
#: A part that a sentence opens with is named within so many words.
OPENING = 5
#: So many names of a family end with a word that stands for it.
NAMES = 3
#: Words that take up what the sentence before was about, when one of the first two is one of them.
TAKING_UP = frozenset({"it", "its", "it's", "they", "that", "this", "these", "those", "both", "one", "each"})
#: A part is still spoken of behind so many commas.
COMMAS = 3


@dataclass(frozen=True, slots=True)
class Sense:
    """What a stretch of words says here.

    score: how little it is there by chance, its family counted in; rank: how near its family was named, 0 the nearest.
    last: the words that decide, of a phrase in several parts; trait: of a state; spot: it names a place of damage.
    """

    kind: str
    says: str
    at: tuple[int, ...]
    score: float
    rank: int = 0
    last: tuple[int, ...] = ()
    trait: str = ""
    figure: Figure | None = None
    denied: bool = False
    spot: bool = False


@dataclass(frozen=True, slots=True)
class Item:
    """A stretch of words about one part that is off its unit: its first and last word, and its slot type."""

    first: int
    last: int
    slot_type: str


@dataclass(frozen=True, slots=True)
class Named:
    """A family named at a word of the text."""

    at: int
    family: str
    strong: bool


class Senses:
    """The meanings in one text."""

    def __init__(
        self, text: str, tokens: Sequence[Token], matches: Sequence[Match], figures: Sequence[Figure], vocabulary: Vocabulary
    ) -> None:
        self.text = text
        self.tokens = tokens
        self.vocabulary = vocabulary
        self.matches = matches
        self.figures = figures
        self.trailing = {*vocabulary.sellers.trailing, *vocabulary.sellers.negating.joining}
        self.part_marks = [m for m in matches if m.phrase.kind == SLOT and m.phrase.home.startswith("part:")]
        self.part_names = [
            (m.at, m.phrase.home.partition(":")[2])
            for m in matches
            if self._of_part(m) and (m.phrase.kind == SLOT or self.closed(m.at))
        ]
        self._topics: dict[int, str | None] = {}
        self.figured = {k for figure in figures for k in figure.at}
        self.is_ = {vocabulary.lexicon.canon(word) for word in vocabulary.sellers.being}
        self.loose = self._loose()
        self.items = self._items()
        self.named = sorted(self._named(), key=lambda one: one.at)
        self.families = self._families()
        self.named = sorted([*self.named, *self._taken_up()], key=lambda one: one.at)
        self.slot_marks = [(match, sense) for match in matches if match.phrase.kind == SLOT for sense in self._slot(match)]

    # Which families the text is about ----------------------------------------------------------------------------------

    def _loose(self) -> bool:
        """Whether the text is about parts off their units: it says so, and no number names a unit."""
        if any(figure.kind == "number" for figure in self.figures):
            return False
        kinds = {match.phrase.kind for match in self.matches if not match.alone}
        named = any(match.phrase.kind == "name" and self.vocabulary.names_units(match.phrase.says) for match in self.matches)
        return LOOSE in kinds or (not named and ("part" in kinds or self._head(0) is not None))

    def _items(self) -> list[Item]:
        """The parts that a list of loose ones goes through: each opens a sentence or a line and, among units, has its price."""
        units = {figure.at[0] for figure in self.figures if figure.kind == "number"}
        prices = sorted(figure.at[-1] for figure in self.figures if figure.kind == "price")
        opening = {k + 1 for k in prices} | {i for i, token in enumerate(self.tokens) if token.stop >= SENTENCE}
        heads = [(i, kind) for i in sorted(opening) if i < len(self.tokens) and (kind := self._head(i))]
        found: list[Item] = []
        for (i, slot_type), (following, _) in pairwise([*heads, (len(self.tokens), "")]):
            ends = (k for k in range(i + 1, following) if self.tokens[k].stop >= PARAGRAPH or k in units)
            following = min(following, next(ends, following))
            price = next((k for k in prices if i < k < following), None)
            if self.loose or price is not None:
                found.append(Item(i, following - 1 if price is None else price, slot_type))
        return found if self.loose or len(found) > 1 else []

    def _head(self, i: int) -> str | None:
        """The slot type of the part with which a sentence opens, unless it opens with a unit; a number may stand before it."""
        if not self.tokens:
            return None
        i += self._numbers(i) and i + 1 < len(self.tokens)
        end = next((k for k in range(i + 1, min(i + OPENING, len(self.tokens))) if self.tokens[k].stop), i + OPENING)
        units = [set(match.at) for match in self.matches if match.phrase.kind == "name" and self._of_unit(match)]
        units += [set(figure.at) for figure in self.figures if figure.kind == "number"]
        parts = [match for match in self.matches if self._of_part(match) and i <= match.at[0] < end]
        best = max(parts, key=lambda match: (len(match.at), -match.at[0]), default=None)
        units = [unit for unit in units if not any(unit < set(match.at) for match in parts)]  # the tender of a tender shell
        if best is None or any(set(range(i, best.at[0] + 1)) & unit for unit in units):
            return None
        return best.phrase.home.partition(":")[2]

    def _numbers(self, i: int) -> bool:
        """Whether a word is the number or the letter of an item in a list."""
        token = self.tokens[i]
        return token.text.isdigit() or (len(token.text) == 1 and self.text[token.end : token.end + 1] == ")")

    def _of_part(self, match: Match) -> bool:
        return match.phrase.kind in ("part", SLOT) and match.phrase.home.startswith("part:") and not match.alone

    def _of_unit(self, match: Match) -> bool:
        return self.vocabulary.names_units(match.phrase.says)

    def item(self, i: int) -> Item | None:
        """The loose part that a word is about."""
        return next((item for item in self.items if item.first <= i <= item.last), None)

    def _named(self) -> Iterator[Named]:
        for figure in self.figures:
            if figure.kind == "number" and len(figure.families) == 1:
                yield Named(figure.at[0], next(iter(figure.families)), True)
        by_words: dict[tuple[int, ...], list[Match]] = {}
        for match in self.matches:
            if match.phrase.kind == "name" and match.phrase.home:
                by_words.setdefault(match.at, []).append(match)
        numbered = frozenset[str]().union(*(figure.families for figure in self.figures))
        for at, row in by_words.items():
            over = [match for other, rows in by_words.items() if set(at) < set(other) for match in rows]
            families = {match.phrase.home.partition(":")[2] for match in [*row, *over]}
            families = families & numbered if len(families) > 1 and len(families & numbered) == 1 else families
            if len(families) == 1:
                strong = len(at) > 1 or any(match.phrase.own or match.phrase.says in self.vocabulary.slots for match in row)
                yield Named(min(at), next(iter(families)), strong)

    def _taken_up(self) -> Iterator[Named]:
        """Families of the text named by the last word of their names alone: engine, where the other one is a tender."""
        if len(self.families) < 2:
            return
        taken = {k for m in self.matches if m.phrase.kind == "name" or (m.phrase.home and len(m.at) > 1) for k in m.at}
        for i, token in enumerate(self.tokens):
            ending = self.vocabulary.finder.endings.get(token.canon, {})
            families = [family for family in ending if family in self.families]
            bare = i not in taken and token.canon not in self.vocabulary.lexicon.small
            if bare and len(families) == 1 and ending[families[0]] >= NAMES:
                yield Named(i, families[0], False)

    def _families(self) -> list[str]:
        """The families of the text; what it speaks of most where it names none."""
        if self.loose:
            return []
        for strong in (True, False):
            found = list(dict.fromkeys(one.family for one in self.named if one.strong or not strong))
            if found:
                return found
        votes: dict[str, float] = {}
        for match in self.matches:
            kind, _, home = match.phrase.home.partition(":")
            if kind == "family" and match.phrase.kind in ("state", "defect", "name", SLOT):
                votes[home] = votes.get(home, 0.0) + len(match.at) ** 2
        best = max(votes.values(), default=0.0)
        return [family for family, vote in votes.items() if vote == best][:1]

    def near(self, i: int) -> list[str]:
        """The families of the text, by how near they were named before this word, then after it."""
        before = [one.family for one in reversed(self.named) if one.at <= i and one.family in self.families]
        after = [one.family for one in self.named if one.at > i and one.family in self.families]
        return list(dict.fromkeys([*before, *after, *self.families]))

    # What a phrase means -----------------------------------------------------------------------------------------------

    def all(self) -> list[Sense]:
        """Every meaning of every phrase and figure that fits the text."""
        found = [sense for match in self.matches for sense in self._meant(match)]
        return [*found, *self._figured()]

    def _meant(self, match: Match) -> Iterator[Sense]:
        phrase = match.phrase
        if phrase.kind == SPEAKING and self._person(match.at[0] - 1):
            yield Sense("hedge", phrase.says, (match.at[0] - 1, *match.at), match.score + 1.0)
        if phrase.kind not in ("name", "state", "part", "condition", "defect", "shipping", "hedge"):
            return
        where, _, home = phrase.home.partition(":")
        families = self.near(match.at[-1])
        trait = phrase.says.partition("=")[0] if phrase.kind == "state" else ""
        item = self.item(match.at[-1])
        if (match.alone and not self._spoken_of(home, match.at[0], item)) or (item and phrase.kind == "state" and not where):
            return
        if self._astray(match):
            return
        if where == "family":
            if home in families:
                rank = families.index(home)
                yield Sense(
                    phrase.kind,
                    phrase.says,
                    match.at,
                    match.score + (SPOT if phrase.kind == "defect" else 0.06),
                    rank,
                    match.last,
                    trait,
                    None,
                    phrase.denied,
                    phrase.kind == "defect",
                )
            elif phrase.kind == "defect" and self._harmed_alike(match):
                yield Sense("defect", phrase.says, match.at, match.score - OTHERS_SPOT, 0, match.last, "", None, phrase.denied)
            elif phrase.kind == "name" and self.loose and len(phrase.written) > SHORT:
                yield Sense("name", phrase.says, match.at, match.score, 0, match.last)
        elif where == "part":
            if phrase.kind == "part" and not self._names_part(match.at):
                return
            for rank, slot in self._slots(home, match.at):
                says = f"{slot}={phrase.says}" if phrase.kind == "part" else f"{slot}.{phrase.says}"
                several = self.vocabulary.showing.get((phrase.home, phrase.says), 0) > 1
                torn = phrase.kind == "part" and len(match.at) <= match.at[-1] - match.at[0]
                score = match.score + (TORN if torn else 0.05 if phrase.kind == "part" else 0.06 if several else 0.03)
                yield Sense(phrase.kind, says, match.at, score, rank, match.last, f"{slot}.{trait}" if trait else "")
        else:
            yield Sense(phrase.kind, phrase.says, match.at, match.score, 0, match.last, trait, None, phrase.denied)

    def _spoken_of(self, slot_type: str, i: int, item: Item | None) -> bool:
        """Whether a word that does not name its part is said of one of this type."""
        if item is not None or self.loose:
            return item is not None and item.slot_type == slot_type
        if i not in self._topics:
            self._topics[i] = self._topic(i)
        return self._topics[i] == slot_type

    def _topic(self, i: int) -> str | None:
        """The slot type of the part named last before a word, in its sentence or in the one that this one takes up or answers."""
        first = next((k for k in range(i, 0, -1) if self.tokens[k].stop >= SENTENCE), 0)
        opening = {token.text for token in self.tokens[first : min(first + 2, i)]}
        if first and self.tokens[first].stop < PARAGRAPH and (opening & TAKING_UP or self.asks(first - 1)):
            first = next((k for k in range(first - 1, 0, -1) if self.tokens[k].stop >= SENTENCE), 0)
        types = {kind for family in self.near(i)[:1] for kind in self.vocabulary.slots.get(family, {}).values()}
        before = [(at[-1], kind) for at, kind in self.part_names if first <= at[-1] < i and kind in types]
        last = max((end for end, _ in before), default=-1)
        named = {kind for end, kind in before if end == last}
        commas = sum(token.stop == COMMA for token in self.tokens[last + 1 : i + 1])
        return named.pop() if len(named) == 1 and commas <= COMMAS else None

    def _astray(self, match: Match) -> bool:
        """Whether a phrase is said of something else than its thing."""
        kind, home = match.phrase.kind, match.phrase.home
        if kind == "condition":
            return self._describes(match)
        if kind in ("state", "defect") and self._crossed(match):
            return True
        return kind == "state" and not home.startswith("part:") and not match.last and self._of_other(match)

    def _describes(self, match: Match) -> bool:
        """Whether a word of praise or blame is said of what follows and of no train: a good home, a fair man."""
        if match.phrase.says not in self.vocabulary.sellers.describing or len(match.at) > 1:
            return False
        return self._describes_next(match)

    def _describes_next(self, match: Match) -> bool:
        """Whether a word that no phrase holds follows at once."""
        end, lexicon = match.at[-1] + 1, self.vocabulary.lexicon
        if end >= len(self.tokens):
            return False
        after = self.tokens[end]
        if after.stop or not after.text.isalpha() or after.text in self.trailing:
            return False
        return not lexicon.of_phrases(after.text) and after.canon not in lexicon.small

    def _crossed(self, match: Match) -> bool:
        """Whether another part is named, behind a comma, between a thing and what would be said of it."""
        between = set(range(match.at[0], match.at[-1])) - set(match.at)
        stops = [k for k in between if self.tokens[k].stop == COMMA]
        return bool(match.last and stops) and any(
            set(mark.at) <= between and mark.at[0] >= min(stops) for mark in self.part_marks
        )

    def _of_other(self, match: Match) -> bool:
        """Whether a word, such as a color, is said of something else: of a thing that no trait is called by, or of a part."""
        i, end = match.at[0], match.at[-1]
        after = self.tokens[end + 1] if end + 1 < len(self.tokens) else None
        bare = len(match.at) == 1
        if bare and self._describes_next(match):
            return True
        called = {word.canon for group in match.phrase.groups for row in group for word in row}
        for mark in self.part_marks:
            if set(match.at) & set(mark.at):
                continue
            if called & {self.tokens[k].canon for k in mark.at}:
                continue
            if bare and mark.at[0] == end + 1 and after and not after.stop:
                return True
            if mark.at[-1] == i - 1 and self.text[self.tokens[i - 1].end : self.tokens[i].start].strip() == ":":
                return True
            between = self.tokens[mark.at[-1] + 1 : i]
            if between and mark.at[-1] < i <= mark.at[-1] + 2 and all(token.canon in self.is_ for token in between):
                return not self.tokens[i].stop and not between[0].stop
        return False

    def asks(self, last: int) -> bool:
        """Whether the sentence that ends with this word is a question."""
        end = self.tokens[last + 1].start if last + 1 < len(self.tokens) else len(self.text)
        return "?" in self.text[self.tokens[last].end : end]

    def _person(self, i: int) -> bool:
        """Whether a word is a person's name: with a capital inside a sentence, and no word that the entries know."""
        if i < 1 or self.tokens[i].stop >= SENTENCE or self.tokens[i + 1].stop:
            return False
        written = self.tokens[i].raw
        return written.istitle() and written.isalpha() and self.tokens[i].text not in self.vocabulary.lexicon.known

    def _names_part(self, at: Sequence[int]) -> bool:
        """Whether a part's name that is torn apart is still one: nothing but small words and counts in it, and no figure."""
        small = self.vocabulary.lexicon.small
        between = [self.tokens[k] for k in range(at[0], at[-1]) if k not in at]
        return not self.figured & set(at) and all(token.canon in small or token.text.isdigit() for token in between)

    def _harmed_alike(self, match: Match) -> bool:
        """Whether words for damage to another family say the same of this one; that something is gone is said of its slot."""
        gone = {k for other in self.matches if other.phrase.kind == GONE for k in other.at}
        return len(match.at) > 1 and not match.phrase.denied and self.closed(match.at) and not gone & set(match.at)

    def closed(self, at: Sequence[int]) -> bool:
        """Whether nothing but small words stands between these."""
        return all(k in at or self.tokens[k].canon in self.vocabulary.lexicon.small for k in range(at[0], at[-1]))

    def _slots(self, slot_type: str, at: Sequence[int]) -> list[tuple[int, str]]:
        """(rank of its family, slot) for a part of this type: the slot type where it may sit in several or in none."""
        if self.loose or not self.families or self.item(at[-1]):
            return [(0, slot_type)]
        for rank, family in enumerate(self.near(at[-1])):
            slots = [slot for slot, kind in self.vocabulary.slots.get(family, {}).items() if kind == slot_type]
            if len(slots) == 1:
                return [(rank, slots[0])]
            if slots:
                placed = self._placed(slots, at)
                return [(rank, placed or slot_type)]
        return []

    def _placed(self, slots: Sequence[str], at: Sequence[int]) -> str | None:
        """The one slot of these that is named around these words, in the same part of the sentence."""
        best: tuple[int, str] | None = None
        for match, sense in self.slot_marks if hasattr(self, "slot_marks") else ():
            if sense.says in slots and len(match.at) > 1:
                lo, hi = min(*match.at, *at), max(*match.at, *at)
                if hi - lo <= PLACE_NEAR + len(at) and all(self.tokens[k].stop < SENTENCE for k in range(lo + 1, hi + 1)):
                    far = 0 if set(match.at) & set(at) else hi - lo
                    if best is None or far < best[0]:
                        best = far, sense.says
        return best[1] if best else None

    def _slot(self, match: Match) -> Iterator[Sense]:
        """The slot that is named."""
        where, _, home = match.phrase.home.partition(":")
        if where == "family":
            families = self.near(match.at[-1])
            if home in families:
                yield Sense("part", match.phrase.says, match.at, match.score + 0.1, families.index(home), match.last)
        else:
            for rank, slot in self._slots(home, match.at):
                yield Sense("part", slot, match.at, match.score, rank, match.last)

    # Figures -----------------------------------------------------------------------------------------------------------

    def _figured(self) -> Iterator[Sense]:
        for figure in self.figures:
            says = self._measured(figure) if figure.kind == "measure" else figure.says
            if says:
                yield Sense(figure.kind, says, figure.at, 9.0, 0, (), "", figure)

    def _measured(self, figure: Figure) -> str | None:
        """The trait that a value with a unit is of: one that has such values, called by name nearest to it."""
        best: tuple[float, str] | None = None
        fitting = list(self._fitting(figure))
        for trait, home, says in fitting:
            for match in self.matches:
                if match.phrase.kind == TRAIT and match.phrase.says == trait and match.phrase.home == home:
                    far = self._far(match, figure.at)
                    if far is not None and (best is None or far < best[0]):
                        best = far, says
        if best is not None:
            value = f"{figure.value:.6f}".rstrip("0").rstrip(".")
            return f"{best[1]}={value} {figure.unit}"
        says = {says for _, _, says in fitting}
        if len(says) == 1:
            value = f"{figure.value:.6f}".rstrip("0").rstrip(".")
            return f"{says.pop()}={value} {figure.unit}"
        return None

    def _far(self, match: Match, at: Sequence[int]) -> float | None:
        """How far a name is from a figure: a comma between counts for two words, a longer name is nearer."""
        lo, hi = (match.at[-1], at[0]) if match.at[0] < at[0] else (at[-1], match.at[0])
        stops = [self.tokens[k].stop for k in range(lo + 1, hi + 1)]
        if max(stops, default=0) >= SENTENCE:
            return None
        return (hi - lo) + 2.0 * sum(stop == COMMA for stop in stops) - 0.5 * len(match.at) + (0.5 if match.at[0] > at[0] else 0)

    def _fitting(self, figure: Figure) -> Iterable[tuple[str, str, str]]:
        """(trait, home, what a claim calls it) of every measured trait with such a unit and value that the text may mean."""
        families = self.near(figure.at[0])
        item = self.item(figure.at[0])
        own_home = part_home(item.slot_type) if item else None
        for one in self.vocabulary.measurables:
            if own_home and one.home != own_home:
                continue
            dimension, factor = UNITS.get(figure.unit, (None, 0.0))
            if figure.unit == "lb":
                dimension, factor = "weight", 453.59237
            own, own_factor = UNITS.get(one.unit, (None, 1.0))
            if dimension is None or dimension != own or not one.least <= figure.value * factor / own_factor <= one.most:
                continue
            where, _, home = one.home.partition(":")
            if where == "family" and home in families:
                yield one.trait, one.home, one.trait
            elif where == "part":
                for _, slot in self._slots(home, figure.at):
                    yield one.trait, one.home, f"{slot}.{one.trait}"
            elif not where and families:
                yield one.trait, one.home, one.trait
