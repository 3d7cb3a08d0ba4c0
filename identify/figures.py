"""Numbers in a seller's text: catalog and road numbers, years, prices, and measured values, each told from the others."""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ..kb.models import Sellers
from .phrases import COMMA, SENTENCE, Match, Token, fold
from .vocabulary import ASKED, OTHER_YEAR, PAID, POSTING, Vocabulary, squeezed

#: The years a toy train can be of where nobody says otherwise; two digits are read within them.
FIRST_YEAR, LAST_YEAR = 1930, 1979
#: A word of asking, of paying or of another year counts for an amount or a year so many words on.
NEAR = 5
#: An amount in words alone is at least this much.
LEAST_IN_WORDS = 5
#: A value in words stands before a unit in words, of so many letters at least.
WRITTEN_OUT = 4

_AMOUNT = r"\d{1,3}(?:,\d{3})+(?:\.\d\d)?|\d+(?:[.,]\d\d(?!\d))?"
#: What stands between a price and what is added to it.
ADDED = r"[ ,]*(?:plus|\+|and another|& another)[ ]*"
_VALUE = r"\d+(?:[ -]| and )\d+/\d+|\d+/\d+|\d+ ?[\u00bc-\u00be]|[\u00bc-\u00be]|\d*\.\d+|\d+"
_VULGAR = {"\u00bc": Fraction(1, 4), "\u00bd": Fraction(1, 2), "\u00be": Fraction(3, 4)}
_NUMBER = re.compile(
    r"(?<![\w$.,/'-])(?:([a-z]{1,2})[ -]?)?(\d{2,5})(?:(-\d{1,2})(?!\d)|[- ]?([a-z])(?![\w']))?(?![\d]|[.,]\d|/\d)"
)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number found: its kind (number, year, price, shipping or measure), its words, what it says.

    families: of a catalog or road number, whose it can be; unit and value: of a measure; wide: the very characters.
    """

    kind: str
    at: tuple[int, ...]
    says: str
    start: int
    end: int
    families: frozenset[str] = frozenset()
    unit: str = ""
    value: float = 0.0


class Figures:
    """The numbers of one text."""

    def __init__(self, text: str, tokens: Sequence[Token], matches: Sequence[Match], vocabulary: Vocabulary) -> None:
        self.text = fold(text)
        self.tokens = tokens
        self.vocabulary = vocabulary
        self.sellers: Sellers = vocabulary.sellers
        self.marks = {kind: [m for m in matches if m.phrase.kind == kind] for kind in (ASKED, OTHER_YEAR, PAID, POSTING)}
        names = [set(m.at) for m in matches if m.phrase.kind == "name" and len(m.at) > 1]  # the freight of a freight car
        self.marks[POSTING] = [m for m in self.marks[POSTING] if not any(set(m.at) <= name for name in names)]
        #: Words of phrases that say who pays for shipping, which leave no amount to be that.
        paid = [m for m in matches if m.phrase.kind == "shipping" and len(m.at) > 1 and not self._counts(m.at[-1])]
        self.settled = {i for m in paid for i in m.at}
        counting, money = self.sellers.counting, self.sellers.money
        self.to = _any(counting.to)
        #: What makes a bare figure a count or a measure, and no amount and no year.
        units = [word for row in (*self.sellers.units.values(), *money.currency.values()) for word in row if len(word) > 1]
        self.counted = rf" ?(?:{_any([*counting.counted, *units])})(?![a-z])| ?[\"%/]"
        self.taken: set[int] = set()

    def _counts(self, i: int) -> bool:
        """Whether an amount follows this word at once."""
        return i + 1 < len(self.tokens) and re.match(r"\W{0,3}\d", self.text[self.tokens[i].end :]) is not None

    def all(self) -> list[Figure]:
        """Every number that says something, no word used twice."""
        found: list[Figure] = []
        for row in (self.measures(), self.amounts(), self.years(), self.numbers()):
            for figure in row:
                if not self.taken & set(figure.at):
                    self.taken |= set(figure.at)
                    found.append(figure)
        return found

    def words(self, start: int, end: int) -> tuple[int, ...]:
        """The words that touch these characters."""
        return tuple(i for i, token in enumerate(self.tokens) if token.start < end and token.end > start)

    def make(self, kind: str, start: int, end: int, says: str, **more: object) -> Figure:
        """A figure on these characters."""
        return Figure(kind, self.words(start, end), says, start, end, **more)  # type: ignore[arg-type]

    # Measures ----------------------------------------------------------------------------------------------------------

    def measures(self) -> Iterator[Figure]:
        """Values with a unit; which trait they are of is not known here."""
        spelled = {fold(word): unit for unit, words in self.sellers.units.items() for word in words}
        yield from self._both_weights(spelled)
        yield from self._measured_in_words(spelled)
        units = "|".join(re.escape(word) for word in sorted(spelled, key=len, reverse=True))
        for match in re.finditer(rf"(?<![\w.$/,-])({_VALUE})(?:[ -]?| of an? )({units})(?![a-z])", self.text):
            unit, value = spelled[match[2]], _value(match[1])
            if (
                value is None
                or (match[2] == "in" and not self._inch(match))
                or (match[2] == '"' and self._closing(match.start()))
            ):
                continue
            if len(match[2]) == 1 and match[2].isalpha() and "-" in match[0][len(match[1]) :]:
                continue
            end = match.end() + (match[2] == "in" and self.text[match.end() : match.end() + 1] == ".")
            yield self.make("measure", match.start(), end, "", unit=unit, value=value)

    def _both_weights(self, spelled: Mapping[str, str]) -> Iterator[Figure]:
        """Pounds and ounces."""
        heavy, light = (_any(word for word, unit in spelled.items() if unit == one) for one in ("lb", "oz"))
        for match in re.finditer(rf"(?<![\w.$/,-])(\d+) ?(?:{heavy})[.,]?(?: and)? ({_VALUE}) ?(?:{light})(?![a-z])", self.text):
            ounces = _value(match[2])
            if ounces is not None:
                yield self.make("measure", match.start(), match.end(), "", unit="lb", value=int(match[1]) + ounces / 16)

    def _measured_in_words(self, spelled: Mapping[str, str]) -> Iterator[Figure]:
        """Values that are written out, as half an inch, eleven and a half inches, an inch and a quarter."""
        counting = self.sellers.counting
        cardinals = {fold(word): float(n) for n, words in counting.cardinals.items() for word in words}
        numbers = {**cardinals, "a": 1.0, "an": 1.0}
        parts = {fold(word): 1 / n for n, words in counting.fractions.items() for word in words}
        unit = rf"(?P<unit>{_any(word for word in spelled if len(word) >= WRITTEN_OUT)})(?![a-z])"
        number = rf"(?P<whole>{_any(numbers)}|\d+)"
        part = rf"(?:(?P<times>{_any(numbers)})[ -])?(?P<part>{_any(parts)})(?![a-z])"
        for pattern in (
            rf"\b{number}[ -]{unit} and {part}",
            rf"\b{number} and {part}(?: of an?)? {unit}",
            rf"\b{part}(?: of)?(?: an?)?[ -]{unit}",
            rf"\b(?P<whole>{_any(cardinals)})[ -]{unit}",
        ):
            for match in re.finditer(pattern, self.text):
                held = match.groupdict()
                whole = held.get("whole") or "0"
                value = numbers[whole] if whole in numbers else float(whole)
                value += parts[held["part"]] * numbers.get(held["times"] or "", 1.0) if held.get("part") else 0.0
                yield self.make("measure", match.start(), match.end(), "", unit=spelled[held["unit"]], value=value)

    def _inch(self, match: re.Match[str]) -> bool:
        """Whether "in" is a unit here: after a fraction, before a full stop, or where nothing follows it would lead to."""
        after = self.text[match.end() :]
        return bool(re.search(r"[./\u00bc-\u00be]", match[1])) or bool(re.match(r"\s*(?:[,;)]|$|\.(?!\w))", after))

    def _closing(self, at: int) -> bool:
        line = self.text[self.text.rfind("\n", 0, at) + 1 : at]
        return line.count('"') % 2 == 1 and not re.search(r'\d"', line)

    # Money -------------------------------------------------------------------------------------------------------------

    def amounts(self) -> Iterator[Figure]:
        """Prices and what shipping costs."""
        amounts = list(self._amounts()) or list(self._ending_lines())
        found = sorted({(start, end): says for start, end, says in amounts}.items())
        rows = [
            (start, end, says)
            for (start, end), says in found
            if not any(s < end and start < e and (s, e) != (start, end) and e - s > end - start for (s, e), _ in found)
        ]
        posted = self._posted(rows)
        posted |= {n: self.words(*row[:2])[:1] for n, row in enumerate(rows) if n not in posted and self._on_top(rows[:n], row)}
        for n, (start, end, says) in enumerate(rows):
            at = self.words(start, end)
            if n in posted:
                word = posted[n]
                lo, hi = min(start, self.tokens[word[0]].start), max(end, self.tokens[word[-1]].end)
                near = not any(self.tokens[i].stop >= SENTENCE for i in range(min(at[0], word[0]) + 1, max(at[-1], word[-1]) + 1))
                crossing = any(o != n and s < hi and lo < e for o, (s, e, _) in enumerate(rows))
                if near and not crossing and abs(word[0] - at[0]) <= 3:
                    yield self.make("shipping", lo, hi, says)
                else:
                    yield self.make("shipping", start, end, says)
            elif n - 1 in posted and self._further(rows[n - 1], rows[n]):
                continue
            elif not self._before(PAID, at[0], {k for s, e, _ in rows[:n] for k in self.words(s, e)}):
                yield self.make("price", start, end, says)

    def _amounts(self) -> Iterator[tuple[int, int, str]]:
        """(start, end, says) of every amount of money, ranges before their halves."""
        for code, words in self.sellers.money.currency.items():
            names = _any(word for word in words if word[-1].isalpha())
            signs = _any(word for word in words if not word[-1].isalpha())
            sign, name = rf"(?<![a-z])(?:{signs}) ?", rf"(?: ?(?:{names})(?![a-z]))"
            after = _any(self.sellers.money.asked_after)
            patterns = (
                rf"(?:{sign})({_AMOUNT})(?:{name})? ?(?:{self.to}) ?(?:{sign})?({_AMOUNT})(?:{name})?(?![\d/])",
                rf"(?<![\w.-])({_AMOUNT}) ?(?:{self.to}) ?({_AMOUNT}){name}",
                rf"(?:{sign})({_AMOUNT})(?:{name})?()",
                rf"\b(?:{names}) ({_AMOUNT})()(?![\d/])",
                rf"(?<![\w.,-])({_AMOUNT})()(?:{signs})(?!\d)",
                rf"(?<![\w.,-])({_AMOUNT}){name}()",
                rf"(?<![\w.,/-])((?!19|20)\d+\.\d\d)()(?![\d\w]|{self.counted})",
                rf"(?<![\w.,/-])({_AMOUNT})()(?= (?:{after})(?![a-z]))",
                rf"(?<![\w.,/-])({_AMOUNT})()(?= ?\+ ?(?:{signs})?\d)",
                r"(?<![\w.,/-])(\d+)-()(?=\s|[.,;]|$)",
                r"(?<![\w.,/-])\+ ?(\d+)()(?=\s)",
            )
            for pattern in patterns:
                for match in re.finditer(pattern, self.text):
                    end = match.end() - (match[0].endswith(" "))
                    yield match.start(), end, _says(match[1], match[2], code)
            yield from self._bare(code)
            yield from self._ahead(code)
            yield from self._in_words(code, names)

    def _ending_lines(self) -> Iterator[tuple[int, int, str]]:
        """Bare figures with which lines end, where nothing else in the text is an amount."""
        code = next(iter(self.sellers.money.currency), "")
        for match in re.finditer(r"(?<=[a-z).] )\(?(\d{1,3})\)?(?=\.?\s*$)", self.text, re.MULTILINE):
            if (
                int(match[1]) >= LEAST_IN_WORDS
                and not self.vocabulary.numbers.get(match[1])
                and not self._counted_before(match.start())
            ):
                yield match.start(1), match.end(1), _says(match[1], "", code)

    def _counted_before(self, at: int) -> bool:
        """Whether the word before it makes a figure a number, a year or a value."""
        before = re.search(r"(\w+) \Z", self.text[:at])
        after = re.compile(r"\d+").match(self.text, at)
        words = {fold(word) for word in (*self.sellers.counting.numbered, *self.sellers.dates.year)}
        if before is None or after is None:
            return False
        return before[1] in words or squeezed(before[1] + after[0]) in self.vocabulary.numbers

    def _bare(self, code: str) -> Iterator[tuple[int, int, str]]:
        """A figure right behind a word of asking or of posting."""
        for mark in [*self.marks[ASKED], *self.marks[POSTING]]:
            i = mark.at[-1] + 1
            while i < len(self.tokens) and i <= mark.at[-1] + 2 and self.tokens[i].canon in self.vocabulary.lexicon.small:
                i += 1
            if i < len(self.tokens) and self.tokens[i].stop < SENTENCE:
                match = re.compile(rf"({_AMOUNT})(?:-(?!\d)|\b)(?!-\d|{self.counted})").match(self.text, self.tokens[i].start)
                if match:
                    yield match.start(1), match.end(1), _says(match[1], "", code)

    def _ahead(self, code: str) -> Iterator[tuple[int, int, str]]:
        """A bare figure right before a word of posting."""
        for mark in self.marks[POSTING]:
            i = mark.at[0] - 1
            while (
                i > 0
                and i >= mark.at[0] - 2
                and self.tokens[i].canon in self.vocabulary.lexicon.small
                and self.tokens[i + 1].stop == 0
            ):
                i -= 1
            if i >= 0 and self.tokens[i + 1].stop == 0 and re.fullmatch(_AMOUNT, self.tokens[i].text):
                before = self.tokens[i - 1].text if i else ""
                if before not in {"$", "/", "#"} and self.text[max(0, self.tokens[i].start - 1)] not in "-/":
                    yield self.tokens[i].start, self.tokens[i].end, _says(self.tokens[i].text, "", code)

    def _in_words(self, code: str, names: str) -> Iterator[tuple[int, int, str]]:
        """An amount in words, before a currency or behind a word of asking."""
        numbers = {fold(word): n for n, words in self.sellers.counting.cardinals.items() for word in words}
        asked = {mark.at[-1] + 1 for mark in self.marks[ASKED]}
        i = 0
        while i < len(self.tokens):
            j, total, last = i, 0, 0
            while j < len(self.tokens) and (j == i or self.tokens[j].stop == 0):
                joined = total >= 100 and self.tokens[j].text == "and" and j + 1 < len(self.tokens)
                j += joined and self.tokens[j + 1].text in numbers
                if self.tokens[j].text not in numbers:
                    break
                n = numbers[self.tokens[j].text]
                if n >= 100:
                    total, last = (total - last) + (last or 1) * n, 0
                else:
                    total, last = total + n, last + n
                j += 1
            if j > i:
                named = j < len(self.tokens) and re.fullmatch(names, self.tokens[j].text) is not None
                posted = any(mark.at[0] in (j, j + 1) and self.tokens[mark.at[0]].stop == 0 for mark in self.marks[POSTING])
                if named or (total >= LEAST_IN_WORDS and (i in asked or posted or self._alone(i, j))):
                    end = self.tokens[j].end if named else self.tokens[j - 1].end
                    if i == 0 or self.tokens[i - 1].text != "the":
                        yield self.tokens[i].start, end, f"{total} {code}"
            i = max(j, i + 1)

    def _alone(self, i: int, j: int) -> bool:
        """Whether words from i to before j open a sentence, and an amount alone can end or go on so: fifteen for both."""
        if self.tokens[i].stop < SENTENCE:
            return False
        return j == len(self.tokens) or self.tokens[j].stop > 0 or self.tokens[j].text in self.sellers.money.goes_on

    def _posted(self, rows: Sequence[tuple[int, int, str]]) -> dict[int, tuple[int, ...]]:
        """Which amounts are for shipping, with the word that says so: each word goes to one amount, the nearest one."""
        found: dict[int, tuple[int, ...]] = {}
        sent = {fold(word) for word in self.sellers.money.sent}
        for mark in self.marks[POSTING]:
            if any(self.tokens[i].text in sent or i in self.settled for i in mark.at):
                continue
            best: tuple[float, int] | None = None
            for n, (start, end, _) in enumerate(rows):
                at = self.words(start, end)
                lo, hi = (mark.at[-1], at[0]) if at[0] > mark.at[-1] else (at[-1], mark.at[0])
                stops = [self.tokens[i].stop for i in range(lo + 1, hi + 1)]
                if max(stops, default=0) >= SENTENCE:
                    continue
                far = (hi - lo - 1) + 2.5 * sum(stop == COMMA for stop in stops) - (0.25 if at[0] > mark.at[-1] else 0)
                if far <= 3.5 and (best is None or far < best[0]):
                    best = far, n
            if best is not None:
                found.setdefault(best[1], mark.at)
        return found

    def _on_top(self, before: Sequence[tuple[int, int, str]], row: tuple[int, int, str]) -> bool:
        """Whether an amount is added to the smaller part of a price: 90 plus 10 is what the mail takes."""
        if not before or not re.fullmatch(ADDED, self.text[before[-1][1] : row[0]]):
            return False
        return float(row[2].split()[0].split("..")[0]) < float(before[-1][2].split()[0].split("..")[0])

    def _further(self, posted: tuple[int, int, str], other: tuple[int, int, str]) -> bool:
        """Whether a smaller amount behind that for shipping is what more pieces add: 8 for one, 2 for each other."""
        first, last = self.words(*posted[:2]), self.words(*other[:2])
        if any(self.tokens[k].stop >= SENTENCE for k in range(first[-1] + 1, last[0] + 1)) or self._before(ASKED, last[0]):
            return False
        return float(other[2].split()[0].split("..")[0]) < float(posted[2].split()[0].split("..")[0])

    def _before(self, kind: str, i: int, others: Collection[int] = frozenset()) -> bool:
        """Whether a word of this kind stands shortly before, in the same sentence, and none of the others between."""
        for mark in self.marks[kind]:
            between = range(mark.at[-1] + 1, i + 1)
            near = mark.at[-1] < i <= mark.at[-1] + NEAR and not any(k in others for k in between)
            if near and all(self.tokens[k].stop < SENTENCE for k in between):
                return True
        return False

    # Years -------------------------------------------------------------------------------------------------------------

    def years(self) -> Iterator[Figure]:
        """Years, and runs of them."""
        counting = self.sellers.counting
        decades = {fold(name): first for first, names in counting.decades.items() for name in names}
        names = _any(decades)
        for match in re.finditer(r"\bbetween (19\d\d) and (19\d\d)(?![\d-])", self.text):
            yield from self._year(match.start(1), match.end(2), int(match[1]), int(match[2]))
        within = _any(counting.within)
        before = _any(word for word in self.sellers.dates.year if word != "'")
        for match in re.finditer(
            rf"(?:\b({within})[ -](?:(?:{self.to})[ -](?:{within})[ -])?)?'?\b({names})(?![a-z\d])", self.text
        ):
            first = decades[match[2]]
            low, high = counting.within[match[1]] if match[1] else (0, 9)
            yield from self._year(match.start(), match.end(), first + low, first + high)
        for match in re.finditer(
            rf"(?:(?<![\w$.,/-])|(?<=\bc)|(?<=\bca\.))(19\d\d|'\d\d(?= ?-))"
            rf"(?: ?(?:{self.to}|/) ?(19\d\d|'?\d\d)(?!\d))?(?!\w|[-/]\d|,\d|{self.counted})",
            self.text,
        ):
            first = _of_century(match[1])
            last = _of_century(match[2]) if match[2] else first
            if last >= first:
                yield from self._year(match.start(), match.end(), first, last)
        for match in re.finditer(
            rf"(?:(?<![\w'])'|\b(?:{before}) (?:(?:{before}) |')?)(\d\d)(?![\w']|[.,-]\d|-[a-z]|{self.counted})",
            self.text,
        ):
            year = 1900 + int(match[1])
            yield from self._year(match.start(1), match.end(1), year, year)

    def _year(self, start: int, end: int, first: int, last: int) -> Iterator[Figure]:
        at = self.words(start, end)
        if (
            at
            and first >= FIRST_YEAR
            and last <= LAST_YEAR
            and not self._before(OTHER_YEAR, at[0])
            and not self._followed(at[-1])
        ):
            yield self.make("year", start, end, str(first) if first == last else f"{first}..{last}")

    def _followed(self, i: int) -> bool:
        """Whether a word of another year's follows at once (the 1954 catalog)."""
        return any(mark.at[0] == i + 1 and self.tokens[i + 1].stop == 0 for mark in self.marks[OTHER_YEAR])

    # Numbers -----------------------------------------------------------------------------------------------------------

    def numbers(self) -> Iterator[Figure]:
        """Recorded numbers."""
        at = 0
        while match := _NUMBER.search(self.text, at):
            at = match.end()
            for start, end in _pieces(match):
                found = self._recorded(self.text[start:end])
                if found and self._stands(start, end, found):
                    at = end
                    families = frozenset(family for _, row in found for family in row)
                    yield self.make("number", start, end, "|".join(written for written, _ in found), families=families)
                    break

    def _recorded(self, written: str) -> list[tuple[str, frozenset[str]]]:
        """The recorded numbers a text can be: letters and digits alike, and a hyphen between figures where there is one."""
        rows = self.vocabulary.numbers.get(squeezed(written), {})
        between = re.search(r"\d-\d", written) is not None
        return [(number, families) for number, families in rows.items() if (re.search(r"\d-\d", number) is not None) == between]

    def _stands(self, start: int, end: int, found: Sequence[tuple[str, frozenset[str]]]) -> bool:
        """Whether the figures can be a number here: not an amount or a count; two digits only with something that says so."""
        at = self.words(start, end)
        i, j = at[0], at[-1] + 1
        if re.match(r" ?%| ?/ ?\d", self.text[end:]):
            return False
        if len(re.sub(r"\D", "", found[0][0])) > 2 or not found[0][0].isdigit():
            return True
        near = [token.text for token in self.tokens[max(0, i - 2) : i]]
        if set(near) & {fold(word) for word in self.sellers.counting.numbered} or i == 0:
            return True
        return any(i - 4 <= k <= j + 3 and k not in at for k in self.anchors)

    #: Words that name a family or a livery; set by the reader before it asks for numbers.
    anchors: frozenset[int] = frozenset()


def _of_century(written: str) -> int:
    """A year, with its century where only two digits are written."""
    digits = int(written.lstrip("'"))
    return digits if digits > 99 else FIRST_YEAR // 100 * 100 + digits


def _any(words: Iterable[str]) -> str:
    """A pattern for any of these words, the longer ones first."""
    return "|".join(re.escape(fold(word)) for word in sorted(words, key=len, reverse=True))


def _pieces(match: re.Match[str]) -> Iterator[tuple[int, int]]:
    """The whole of what may be a number, then without what stands behind or before the figures."""
    digits = match.span(2)
    for start in (match.start(), digits[0]):
        for end in (match.end(), digits[1]):
            yield start, end


def _value(written: str) -> float | None:
    """A figure as written, fractions and mixed numbers included."""
    try:
        if written[-1] in _VULGAR:
            whole = written[:-1].strip()
            return float((int(whole) if whole else 0) + _VULGAR[written[-1]])
        pieces = re.split(r"[ -](?:and )?", written)
        return float(sum(Fraction(piece) for piece in pieces))
    except (ValueError, ZeroDivisionError):
        return None


def _says(first: str, last: str, code: str) -> str:
    def plain(amount: str) -> str:
        bare = re.sub(r",(\d\d)\Z", r".\1", amount).replace(",", "")
        return bare.removesuffix(".00")

    falls = last and float(plain(last)) < float(plain(first))
    return f"{plain(first)}..{plain(last)} {code}" if last and not falls else f"{plain(last or first)} {code}"
