"""What a seller's text claims, each claim with its place in the text.

The phrases of the vocabulary and the figures are found wherever they stand; each is given the meanings it can have in a text
about these families (`senses`); the meanings that are least likely there by chance take their words first.  What is left are the
words around them: negations, words of presence and absence, and words of doubt, which each govern the claims next to them.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from .figures import LEAST_IN_WORDS, Figures
from .held import Held, once
from .phrases import COMMA, SENTENCE, Match
from .senses import OPENING, Item, Sense, Senses
from .vocabulary import DENY, GONE, IDLE, LOOSE, PRESENT, SPEAKING, Vocabulary, part_home

#: A negation reaches so many words ahead, and a doubt to the end of its part of the sentence.
DENIES = 4
#: A word that asks is one of so many first ones.
ASKS = 3
#: A list goes on when its "or" is so near.
LIST = 5
#: A quote of more words than this is cut to the words that decide.
LONGEST = 10
#: Who doubts a color says another one within so many words.
OTHERWISE = 15
#: A text is in capitals when this share of its letters is.
SHOUTING = 0.7
#: How an amount in figures opens.
FIGURE = re.compile(r"\d")
#: Kinds of claims that nothing denies.
PLAIN = frozenset({"number", "year", "price", "shipping", "hedge", "measure"})
#: Kinds of claims that a question alone does not make.
ASKABLE = frozenset({"state", "part", "condition", "defect"})
#: Kinds of claims that words of doubt make doubtful.
DOUBTABLE = frozenset({"number", "year", "name", "state", "measure", "part", "condition", "defect"})


@dataclass(frozen=True)
class Claim:
    """One stretch of a text and what it says.

    start, end  its place, in characters of the text; `quote` is what stands there
    kind        number, year, name, state, measure, part, condition, defect, price, shipping or hedge
    says        its meaning in ids of the record; several where the words fit several records alike
    denied      the text says that it is not so; hedged: words of doubt or hearsay govern it
    """

    start: int
    end: int
    quote: str
    kind: str
    says: tuple[str, ...]
    denied: bool = False
    hedged: bool = False


#: A slot of which something is said: its item, and the first word of the sentence.
_Spoken = tuple[str, Item | None, int | None]


def claims(text: str, vocabulary: Vocabulary) -> list[Claim]:
    """The claims of a text in reading order; their places do not overlap."""
    return _Reader(text, vocabulary).claims()


class _Reader:
    def __init__(self, text: str, vocabulary: Vocabulary) -> None:
        self.text = text
        self.vocabulary = vocabulary
        self.lexicon = vocabulary.lexicon
        self.tokens = self.lexicon.tokens(text)
        cardinals = vocabulary.sellers.counting.cardinals
        self._amounts = {word for n, words in cardinals.items() if n >= LEAST_IN_WORDS for word in words}
        letters = [c for c in text if c.isalpha()]
        self.shouting = sum(c.isupper() for c in letters) > SHOUTING * len(letters)
        self.matches = [match for match in vocabulary.finder.find(self.tokens, self.shouting) if not self._told_in_figures(match)]
        figures = Figures(text, self.tokens, self.matches, vocabulary)
        figures.anchors = frozenset(match.at[0] for match in self.matches if match.phrase.kind == "name")
        self.figures = figures.all()
        self._more = {self.lexicon.canon(word) for word in vocabulary.sellers.negating.more}
        self._asking = frozenset(vocabulary.sellers.asking)
        self._joining = {self.lexicon.canon(word) for word in vocabulary.sellers.negating.joining}
        liveries = [match.phrase.says for match in self.matches if match.phrase.kind == "name"]
        self._livery = frozenset[str]().union(*(vocabulary.shown.get(livery, frozenset()) for livery in liveries))

    def _told_in_figures(self, match: Match) -> bool:
        """Whether an amount stands among words for who pays the mail: plus 12 for shipping is what it costs."""
        if match.phrase.kind != "shipping":
            return False
        inside = [self.tokens[k].text for k in range(match.at[0], match.at[-1])]
        return any(FIGURE.match(word) or word in self._amounts for word in inside)

    def claims(self) -> list[Claim]:
        """All of them."""
        if not self.tokens:
            return []
        self.senses = Senses(self.text, self.tokens, self.matches, self.figures, self.vocabulary)
        held = self._chosen()
        held = sorted([*held, *self._mentioned(held)], key=lambda one: one.place)
        held = [one for one in held if not self._only_asked(one)]
        self._words = {i for one in held for i in one.at}
        self._firm = {i for one in held for i in one.last or one.at}
        kept = list(once([self._denied(one) for one in held], self.text, self.tokens, self.vocabulary))
        return self._placed(self._doubted(kept))

    # Choosing ----------------------------------------------------------------------------------------------------------

    def _chosen(self) -> list[Held]:
        """The meanings that take their words: the surest first; those as sure on the same words are alternatives."""
        counted = {i for figure in self.figures for i in figure.at}
        idle = [
            (match.score + 3.0, tuple(i for i in match.at if i not in counted))
            for match in self.matches
            if match.phrase.kind == IDLE
        ]
        idle += [(match.score, match.at[:1]) for match in self.matches if match.phrase.kind == LOOSE and self.senses.loose]
        groups: dict[tuple[tuple[int, ...], str], list[Sense]] = {}
        for sense in self.senses.all():
            groups.setdefault((sense.at, sense.kind), []).append(sense)
        rows: list[tuple[float, tuple[int, ...], list[Sense]]] = [(score, at, []) for score, at in idle]
        for (at, _), senses in groups.items():
            rank = min(sense.rank for sense in senses)
            kept = [sense for sense in senses if sense.rank == rank]
            best = max(sense.score for sense in kept)
            kept = [sense for sense in kept if sense.score >= best - 1e-9]
            rows.append((best - 0.02 * rank, at, kept))
        rows.sort(key=lambda row: (-row[0], row[1]))
        found: list[Held] = []
        used: set[int] = set()
        things: dict[int, str] = {}
        harmed: set[int] = set()
        for _, at, senses in rows:
            broken = bool(senses) and senses[0].kind == "defect"
            shared = bool(senses) and senses[0].last and (broken or senses[0].kind == "state" or not self.senses.closed(at))
            own = set(senses[0].last if shared else at)
            trait = senses[0].trait if senses else ""
            if senses and used & own and (senses[0].last or (senses[0].spot and not harmed & own)):
                own = set(senses[0].last or at[-1:])
            if used & own or any(things.get(i) == trait for i in set(at) - own):
                continue
            if harmed & own and senses and senses[0].kind == "state":
                continue
            used |= own
            harmed |= set(at) if broken else set()
            things |= dict.fromkeys(at, trait) if trait else {}
            if senses:
                first = senses[0]
                says = tuple(dict.fromkeys(one for sense in senses for one in sense.says.split("|")))
                chars = (first.figure.start, first.figure.end) if first.figure else None
                found.append(Held(first.kind, says, at, first.last, first.trait, chars, first.denied))
        return self._settled(sorted(found, key=lambda one: one.place))

    def _settled(self, held: Sequence[Held]) -> list[Held]:
        """Bare states of several traits (a color) go to the first trait that has nothing else yet; else they say nothing new."""
        shown: dict[str, str] = {}
        family = ""
        found: list[Held] = []
        for one in held:
            if one.kind == "name":
                named, _, kind = one.says[0].partition("/")
                other = named in self.vocabulary.slots and named != family
                shown, family = {} if kind or other else shown, named if other else family
            if one.kind == "state" and not one.last and one.says[0].partition("=")[0] in self.vocabulary.common:
                fitting = self._fitting(one, shown)
                if not fitting and not self._doubtful(found, one):
                    continue
                one = replace(one, says=tuple(fitting or one.says))
            if one.kind == "state":
                for says in one.says[:1]:
                    shown.setdefault(says.partition("=")[0], says)
            found.append(one)
        return found

    def _fitting(self, one: Held, shown: Mapping[str, str]) -> list[str]:
        """What a bare state can mean beside what is shown: of one trait, where its words fit several that of its livery."""
        either = one.at[0] > 0 and self.tokens[one.at[0] - 1].canon in self._more
        fitting = [says for says in one.says if either or shown.get(says.partition("=")[0], says) == says]
        if len({says.partition("=")[0] for says in fitting}) <= 1:
            return fitting
        worn = [says for says in fitting if says in self._livery]
        first = (worn or fitting)[0].partition("=")[0]
        return [says for says in fitting if says.partition("=")[0] == first]

    def _doubtful(self, before: Sequence[Held], one: Held) -> bool:
        """Whether a color is told beside another one by who doubts or disagrees: black, but he says it is green."""
        trait = one.says[0].partition("=")[0]
        rows = (row.at[-1] for row in reversed(before) if row.kind == "state" and row.says[0].partition("=")[0] == trait)
        last = next(rows, None)
        if last is None or one.at[0] - last > OTHERWISE:
            return False
        doubts = (match.at[0] for match in self.matches if match.phrase.kind in ("hedge", SPEAKING))
        more = (k for k in range(last + 1, one.at[0]) if self.tokens[k].canon in self._more)
        return any(last < k < one.at[0] for k in (*doubts, *more))

    # Words around ------------------------------------------------------------------------------------------------------

    def _breaks(self, first: int, last: int, least: int) -> bool:
        """Whether a break of at least this strength stands between two words."""
        return any(self.tokens[k].stop >= least for k in range(first + 1, last + 1))

    def _mentioned(self, held: Sequence[Held]) -> Iterator[Held]:
        """Slots that are only named, where words beside them say that something is there, or that nothing is."""
        used = {i for one in held for i in one.at} | {i for m in self.matches if m.phrase.kind == IDLE for i in m.at}
        firm = used & {i for one in held for i in one.last or one.at}
        told: dict[int, str] = {}
        behind: dict[int, str] = {}
        left: list[tuple[Match, Sense]] = []
        spoken = self._spoken(held)
        for match, sense in sorted(self.senses.slot_marks, key=lambda row: (row[0].at[0], -row[1].score, row[1].rank)):
            item = self.senses.item(match.at[0])
            opens, key = self._opens(match, item), (sense.says, item, None)
            known = {key, (sense.says, item, self._sentence(match.at[0])[0])} & spoken
            if (firm if opens else used) & set(match.at):
                continue
            found = self._beside(match.at, used)
            if found is None and (self.senses.loose or opens) and not known:
                found = PRESENT, ()
            if found is None:
                found = self._listed(match.at, told)
            if found is None:
                left.append((match, sense))
                continue
            told[match.at[-1]] = found[0]
            behind[match.at[0]] = found[0] if found[1] and found[1][0] > match.at[0] else ""
            used |= set(match.at) | set(found[1])
            gone = found[0] == GONE
            at = tuple(sorted({*match.at, *found[1]}))
            if self._breaks(at[0], at[-1], COMMA) or at[-1] - at[0] > 6:
                at = match.at
            if gone or not known or self._answer(match.at[-1]):
                spoken.add(key)
                yield Held("part", (sense.says,), at, match.at, denied=gone)
        yield from self._before_others([row for row in reversed(left) if not used & set(row[0].at)], behind)

    def _spoken(self, held: Sequence[Held]) -> set[_Spoken]:
        """The slots of which something is said: by name anywhere, as what they show in the sentence that is given.

        Each with its item; of a loose part only its name counts.
        """
        found: set[_Spoken] = set()
        for one in held:
            slot, item = one.says[0].partition("=")[0].partition(".")[0], self.senses.item(one.at[0])
            if one.kind == "part":
                found.add((slot, item, None))
            elif one.kind == "state" and not self.senses.loose and item is None:
                found.add((slot, item, self._sentence(one.at[0])[0]))
        return found

    def _before_others(self, left: Sequence[tuple[Match, Sense]], behind: dict[int, str]) -> Iterator[Held]:
        """Things that share the word behind the one that follows: horn and bell are missing. behind: by that one's first word."""
        joining = self.lexicon.small | self._joining
        for match, sense in left:
            k = match.at[-1] + 1
            while k < len(self.tokens) and self.tokens[k].canon in joining and self.tokens[k].stop < SENTENCE:
                k += 1
            word = behind.get(k) if k > match.at[-1] + 1 else None
            if word and self.tokens[k].stop < SENTENCE:
                behind[match.at[0]] = word
                yield Held("part", (sense.says,), match.at, match.at, denied=word == GONE)

    def _opens(self, match: Match, item: Item | None) -> bool:
        """Whether a loose part is named here as the one that is for sale."""
        return item is not None and match.phrase.home == part_home(item.slot_type) and match.at[0] < item.first + OPENING

    def _listed(self, at: tuple[int, ...], told: Mapping[int, str]) -> tuple[str, tuple[int, ...]] | None:
        """As the thing before it in a list, with which it shares the word of presence or absence."""
        k = at[0] - 1
        while k >= 0 and self.tokens[k].canon in self.lexicon.small and self.tokens[k + 1].stop < SENTENCE:
            k -= 1
        return (told[k], ()) if k in told and k < at[0] - 1 and self.tokens[k + 1].stop < SENTENCE else None

    def _beside(self, at: Sequence[int], used: set[int]) -> tuple[str, tuple[int, ...]] | None:
        """(PRESENT or GONE, the words that say so) right before or after these words, or in answer to whether it is there."""
        if (answer := self._answer(at[-1])) is not None:
            return answer
        small = self.lexicon.small
        best: tuple[float, str, tuple[int, ...]] | None = None
        for match in self.matches:
            kind = match.phrase.kind
            if kind not in (PRESENT, GONE) or used & set(match.at):
                continue
            before = match.phrase.says == "before"
            lo, hi = (match.at[-1], at[0]) if before else (at[-1], match.at[0])
            headed = hi == lo + 1 and self.text[self.tokens[lo].end : self.tokens[hi].start].strip() == ":"
            if lo >= hi or (self._breaks(lo, hi, COMMA) and not headed):
                continue
            if not before and len(match.at) == 1 and self._goes_on(match.at[0]):
                continue
            between = [self.tokens[k] for k in range(lo + 1, hi)]
            far = sum(0.3 if token.canon in small else 1.0 for token in between)
            if far <= (1.0 if before else 0.7) and not any(k in used for k in range(lo + 1, hi)):
                weight = far - (0.5 if kind == GONE else 0.0) - 0.1 * len(match.at)
                if best is None or weight < best[0]:
                    best = weight, kind, match.at
        return (best[1], best[2]) if best else None

    def _answer(self, i: int) -> tuple[str, tuple[int, ...]] | None:
        """What yes or no answers to a question of a few words that ends with this one: bell? yes."""
        first, last = self._sentence(i)
        if i != last or last - first >= ASKS or not self.senses.asks(last):
            return None
        after = self._answer_at(last)
        for match in self.matches:
            if match.at[0] == after and match.phrase.kind == DENY and match.phrase.says in ("answer", "yes"):
                return GONE if match.phrase.says == "answer" else PRESENT, match.at
        return None

    def _denied(self, one: Held) -> Held:
        """The claim, turned around where a negation governs it; the word that does is part of it where it stands next to it."""
        if one.kind in PLAIN or one.denied:
            return one
        holds_one = any(self.tokens[i].text in self.lexicon.negating for i in one.at)
        for match in self._negations("before") if not holds_one else ():
            starts = {one.at[0], (one.last or one.at)[0]}
            if any(match.at[-1] < first <= match.at[-1] + DENIES + 1 and self._reaches(match, first) for first in starts):
                near = all(self.tokens[k].canon in self.lexicon.small for k in range(match.at[-1] + 1, one.at[0]))
                at = tuple(sorted({*match.at, *one.at})) if near else one.at
                return replace(one, denied=True, at=at, last=one.last or one.at)
        for match in self._negations("yes"):
            if match.at[0] == one.at[-1] + 1 and self._breaks(one.at[-1], match.at[0], COMMA):
                return replace(one, at=(*one.at, *match.at), last=())
        last = self._sentence(one.place)[1]
        answered = self._answer_at(last) if self.senses.asks(last) else -1
        for match in self._negations("answer"):
            between = self.text[self.tokens[one.at[-1]].end : self.tokens[match.at[0]].start]
            if match.at[0] == answered or (match.at[0] == one.at[-1] + 1 and ("?" in between or ":" in between)):
                near = match.at[0] == one.at[-1] + 1
                at = tuple(sorted({*match.at, *one.at})) if near else one.at
                return replace(one, denied=True, at=at, last=one.last or one.at)
        for match in self._negations("after"):
            if one.kind == "name" or (len(match.at) == 1 and self._goes_on(match.at[0])):
                continue
            near = one.at[-1] < match.at[0] <= one.at[-1] + 2 and not self._breaks(one.at[-1], match.at[0], COMMA)
            if near and all(self.tokens[k].canon in self.lexicon.small for k in range(one.at[-1] + 1, match.at[0])):
                return replace(one, denied=True, at=tuple(sorted({*match.at, *one.at})), last=one.last or one.at)
        return one

    def _only_asked(self, one: Held) -> bool:
        """Whether it stands in a question that no yes and no no answers: how long is the pilot?"""
        if one.kind not in ASKABLE:
            return False
        first, last = self._sentence(one.place)
        opening = {self.tokens[k].text for k in range(first, min(first + ASKS, last + 1))}
        if not self.senses.asks(last) or not opening & self._asking:
            return False
        after = self._answer_at(last)
        answers = {m.at[0] for m in self.matches if m.phrase.kind == DENY and m.phrase.says in ("answer", "yes")}
        return after not in answers

    def _sentence(self, i: int) -> tuple[int, int]:
        """The first and the last word of the sentence of a word."""
        first = next((k for k in range(i, 0, -1) if self.tokens[k].stop >= SENTENCE), 0)
        last = next((k - 1 for k in range(i + 1, len(self.tokens)) if self.tokens[k].stop >= SENTENCE), len(self.tokens) - 1)
        return first, last

    def _answer_at(self, last: int) -> int:
        """Where the answer to a question begins whose last word this is: behind the letter or the word that marks it."""
        k = last + 1
        while k + 1 < len(self.tokens) and k <= last + 2 and self.tokens[k + 1].stop == COMMA and len(self.tokens[k].text) == 1:
            k += 1
        return k

    def _goes_on(self, i: int) -> bool:
        """Whether a word is followed at once by what it is said of instead: horn missing one bell."""
        following = self.tokens[i + 1] if i + 1 < len(self.tokens) else None
        return following is not None and following.stop == 0 and following.canon not in self._joining

    def _negations(self, where: str) -> list[Match]:
        return [m for m in self.matches if m.phrase.kind == DENY and m.phrase.says == where and not self._words & set(m.at)]

    def _reaches(self, match: Match, first: int) -> bool:
        """Whether nothing ends a negation before the claim: no break but that of a list, and no other claim."""
        more = self._more
        for k in range(match.at[-1] + 1, first + 1):
            token = self.tokens[k]
            if token.stop >= SENTENCE:
                return False
            listed = self._more_follows(k)
            if token.stop == COMMA and token.canon not in more and self.tokens[k - 1].canon not in more and not listed:
                return False
            if k < first and k in self._firm and not listed and not any(self.tokens[j].canon in more for j in range(k, first)):
                return False
        return True

    def _more_follows(self, k: int) -> bool:
        """Whether a list that ends with "or" goes on here: dents, dings or scratches."""
        for j in range(k + 1, min(k + LIST, len(self.tokens))):
            if self.tokens[j].stop >= SENTENCE:
                return False
            if self.tokens[j].canon in self._more:
                return True
        return False

    # In doubt -----------------------------------------------------------------------------------------------------------

    def _doubted(self, held: Sequence[Held]) -> list[Held]:
        """The claims, doubtful where words of doubt govern them: what follows in their clause, else what precedes."""
        row = list(held)
        for h, hedge in enumerate(held):
            if hedge.kind != "hedge" or hedge.says[0] in self.vocabulary.sellers.governs_nothing:
                continue
            after = [n for n in range(h + 1, len(row)) if not self._breaks(hedge.at[-1], row[n].at[0], SENTENCE)]
            governed: list[int] = []
            for n in after:
                if row[n].kind == "hedge" or (governed and self._breaks(row[governed[-1]].at[-1], row[n].at[0], COMMA)):
                    break
                if row[n].kind in DOUBTABLE:
                    governed.append(n)
            if not governed:
                before = [
                    n for n in range(h) if row[n].kind in DOUBTABLE and not self._breaks(row[n].at[-1], hedge.at[0], SENTENCE)
                ]
                governed = before[-1:]
            for n in governed:
                row[n] = replace(row[n], hedged=True)
        return row

    # Places ------------------------------------------------------------------------------------------------------------

    def _placed(self, held: Sequence[Held]) -> list[Claim]:
        """Claims with their characters: from the first word to the last where no other claim stands between."""
        words = [set(one.at) for one in held]
        found: list[Claim] = []
        for n, one in enumerate(held):
            at: tuple[int, ...] = one.at
            others = set[int]().union(*(w for m, w in enumerate(words) if m != n))
            if others & set(range(min(at), max(at) + 1)) or max(at) - min(at) >= LONGEST:
                at = one.last or at[-1:]
                while len(at) > 1 and others & set(range(min(at), max(at) + 1)):
                    at = at[1:]
            start, end = one.chars or (self.tokens[min(at)].start, self.tokens[max(at)].end)
            found.append(Claim(start, end, self.text[start:end], one.kind, one.says, one.denied, one.hedged))
        return _apart(found)


def _apart(found: Sequence[Claim]) -> list[Claim]:
    """In reading order; of two that overlap, the longer gives way where it can, else the later one goes."""
    kept: list[Claim] = []
    for one in sorted(found, key=lambda claim: (claim.start, -claim.end)):
        if not kept or kept[-1].end <= one.start:
            kept.append(one)
    return kept
