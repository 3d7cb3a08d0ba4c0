/** Numbers in a seller's text: catalog and road numbers, years, prices, and measured values; see `identify/figures.py`. */

import { COMMA, SENTENCE, fold } from "./phrases.js";
import { escaped, fitAt, firstOf, isFigures, isLetters, lastOf, lineStart, nth, numberOf, pattern, range } from "./strings.js";
import { ASKED, OTHER_YEAR, PAID, POSTING, squeezed } from "./vocabulary.js";

/**
 * @typedef {import("./phrases.js").Token} Token
 * @typedef {import("./phrases.js").Match} Match
 * @typedef {import("./vocabulary.js").Vocabulary} Vocabulary
 *
 * @typedef {object} Figure a number found: its kind, its words, what it says, its place
 * @property {"number" | "year" | "price" | "shipping" | "measure"} kind
 * @property {number[]} at
 * @property {string} says
 * @property {number} start
 * @property {number} end
 * @property {Set<string>} families of a catalog or road number, whose it can be
 * @property {string} unit of a measure
 * @property {number} value of a measure
 *
 * @typedef {[number, number, string]} Amount start, end, what it says
 * @typedef {[string, string[]]} Recorded a number as written in the record, and its families
 */

/** The years a toy train can be of where nobody says otherwise; two digits are read within them. */
const FIRST_YEAR = 1930, LAST_YEAR = 1979;
/** A word of asking, of paying or of another year counts for an amount or a year so many words on. */
const NEAR = 5;
/** An amount in words alone is at least this much. */
export const LEAST_IN_WORDS = 5;
/** A value in words stands before a unit in words, of so many letters at least. */
const WRITTEN_OUT = 4;

const AMOUNT = String.raw`\d{1,3}(?:,\d{3})+(?:\.\d\d)?|\d+(?:[.,]\d\d(?!\d))?`;
/** What stands between a price and what is added to it. */
const ADDED = pattern(String.raw`^[ ,]*(?:plus|\+|and another|& another)[ ]*$`);
/** Bare figures with which lines end. */
const ENDING = String.raw`(?<=[a-z).] )\(?(\d{1,3})\)?(?=\.?\s*$)`;
const FIGURE = pattern(String.raw`\d+`, "y");
const WORD_BEFORE = pattern(String.raw`(\w+) \Z`);
const VALUE = String.raw`\d+(?:[ -]| and )\d+/\d+|\d+/\d+|\d+ ?[\u00bc-\u00be]|[\u00bc-\u00be]|\d*\.\d+|\d+`;
/** In quarters. @type {Record<string, number>} */
const VULGAR = { "\u00bc": 1, "\u00bd": 2, "\u00be": 3 };
const NUMBER = String.raw`(?<![\w$.,/'-])(?:([a-z]{1,2})[ -]?)?(\d{2,5})(?:(-\d{1,2})(?!\d)|[- ]?([a-z])(?![\w']))?(?![\d]|[.,]\d|/\d)`;
const FOLLOWED = pattern(String.raw`\W{0,3}\d`, "y");
const NO_MONEY = pattern(String.raw` ?%| ?/ ?\d`, "y");
const HYPHENED = pattern(String.raw`\d-\d`);
const IN_QUOTES = pattern(String.raw`\d"`);
const FRACTION = /[./\u00bc-\u00be]/;
const ENDS = pattern(String.raw`^\s*(?:[,;)]|$|\.(?!\w))`);

/** The numbers of one text. */
export class Figures {
  /**
   * @param {string} text with characters one place wide
   * @param {Token[]} tokens
   * @param {Match[]} matches
   * @param {Vocabulary} vocabulary
   */
  constructor(text, tokens, matches, vocabulary) {
    this.text = fold(text);
    this.tokens = tokens;
    this.vocabulary = vocabulary;
    this.small = vocabulary.lexicon.small;
    const { sellers } = vocabulary;
    this.sellers = sellers;
    /** @type {Record<string, Match[]>} */
    this.marks = {};
    for (const kind of [ASKED, OTHER_YEAR, PAID, POSTING]) this.marks[kind] = matches.filter((match) => match.phrase.kind === kind);
    const names = matches.filter((match) => match.phrase.kind === "name" && match.at.length > 1); // the freight of a freight car
    this.marks[POSTING] = this.marked(POSTING).filter((mark) => !names.some((name) => mark.at.every((i) => name.at.includes(i))));
    const paid = matches.filter((match) => match.phrase.kind === "shipping" && match.at.length > 1 && !this.counts(lastOf(match.at)));
    /** Words of phrases that say who pays for shipping, which leave no amount to be that. */
    this.settled = new Set(paid.flatMap((match) => match.at));
    this.to = any(sellers.to);
    const units = [...sellers.units, ...sellers.currency].flatMap(([, words]) => words).filter((word) => word.length > 1);
    /** What makes a bare figure a count or a measure, and no amount and no year. */
    this.counted = ` ?(?:${any([...sellers.counted, ...units])})(?![a-z])| ?["%/]`;
    this.numbered = new Set(sellers.numbered.map(fold));
    /** Words that name a family or a livery. */
    this.anchors = new Set(matches.filter((match) => match.phrase.kind === "name").map((match) => firstOf(match.at)));
  }

  /** @param {string} kind @returns {Match[]} */
  marked(kind) {
    return this.marks[kind] ?? [];
  }

  /** Whether an amount follows this word at once. @param {number} i @returns {boolean} */
  counts(i) {
    return i + 1 < this.tokens.length && fitAt(FOLLOWED, this.text, nth(this.tokens, i).end) !== null;
  }

  /**
   * Every number that says something, no word used twice.
   * @returns {Figure[]}
   */
  all() {
    /** @type {Set<number>} */
    const taken = new Set();
    /** @type {Figure[]} */
    const found = [];
    for (const row of [this.measures(), this.amounts(), this.years(), this.numbers()]) {
      for (const figure of row) {
        if (figure.at.some((i) => taken.has(i))) continue;
        figure.at.forEach((i) => taken.add(i));
        found.push(figure);
      }
    }
    return found;
  }

  /** The words that touch these characters. @param {number} start @param {number} end @returns {number[]} */
  words(start, end) {
    return this.tokens.flatMap((token, i) => (token.start < end && token.end > start ? [i] : []));
  }

  /**
   * A figure on these characters.
   * @param {Figure["kind"]} kind
   * @param {number} start
   * @param {number} end
   * @param {string} says
   * @param {Partial<Figure>} [more]
   * @returns {Figure}
   */
  make(kind, start, end, says, more = {}) {
    return { kind, at: this.words(start, end), says, start, end, families: new Set(), unit: "", value: 0, ...more };
  }

  /** @param {string} source @param {string} [flags] @returns {IterableIterator<RegExpExecArray>} */
  every(source, flags = "") {
    return /** @type {IterableIterator<RegExpExecArray>} */ (this.text.matchAll(pattern(source, `dg${flags}`)));
  }

  // Measures ------------------------------------------------------------------------------------------------------------

  /** Values with a unit; which trait they are of is not known here. @returns {Generator<Figure>} */
  *measures() {
    const spelled = new Map(this.sellers.units.flatMap(([unit, words]) => words.map((word) => [fold(word), unit])));
    yield* this.bothWeights(spelled);
    yield* this.measuredInWords(spelled);
    const units = byLength([...spelled.keys()]).map(escaped).join("|");
    for (const match of this.every(String.raw`(?<![\w.$/,-])(${VALUE})(?:[ -]?| of an? )(${units})(?![a-z])`)) {
      const [whole, written, unit] = taken(match), value = valueOf(written), end = match.index + whole.length;
      if (value === null || (unit === "in" && !this.inch(written, end)) || (unit === '"' && this.closing(match.index))) continue;
      if (unit.length === 1 && isLetters(unit) && whole.slice(written.length).includes("-")) continue;
      const stop = unit === "in" && this.text.charAt(end) === "." ? 1 : 0;
      yield this.make("measure", match.index, end + stop, "", { unit: spelled.get(unit) ?? "", value });
    }
  }

  /** Pounds and ounces. @param {Map<string, string>} spelled @returns {Generator<Figure>} */
  *bothWeights(spelled) {
    const [heavy, light] = ["lb", "oz"].map((one) => any([...spelled].filter(([, unit]) => unit === one).map(([word]) => word)));
    for (const match of this.every(String.raw`(?<![\w.$/,-])(\d+) ?(?:${heavy})[.,]?(?: and)? (${VALUE}) ?(?:${light})(?![a-z])`)) {
      const [whole, pounds, written] = taken(match), ounces = valueOf(written);
      if (ounces === null) continue;
      yield this.make("measure", match.index, match.index + whole.length, "", { unit: "lb", value: numberOf(pounds) + ounces / 16 });
    }
  }

  /**
   * Values that are written out, as half an inch, eleven and a half inches, an inch and a quarter.
   * @param {Map<string, string>} spelled
   * @returns {Generator<Figure>}
   */
  *measuredInWords(spelled) {
    const cardinals = this.cardinals();
    const numbers = new Map([...cardinals, ["a", 1], ["an", 1]]);
    const parts = new Map(this.sellers.fractions.flatMap(([n, words]) => words.map((word) => [fold(word), 1 / n])));
    const unit = `(?P<unit>${any([...spelled.keys()].filter((word) => word.length >= WRITTEN_OUT))})(?![a-z])`;
    const number = String.raw`(?P<whole>${any(numbers.keys())}|\d+)`;
    const part = `(?:(?P<times>${any(numbers.keys())})[ -])?(?P<part>${any(parts.keys())})(?![a-z])`;
    for (const source of [
      String.raw`\b${number}[ -]${unit} and ${part}`,
      String.raw`\b${number} and ${part}(?: of an?)? ${unit}`,
      String.raw`\b${part}(?: of)?(?: an?)?[ -]${unit}`,
      String.raw`\b(?P<whole>${any(cardinals.keys())})[ -]${unit}`,
    ]) {
      for (const match of this.every(source)) {
        const held = match.groups ?? {};
        const whole = held["whole"] || "0";
        let value = numbers.get(whole) ?? numberOf(whole);
        value += held["part"] ? (parts.get(held["part"]) ?? 0) * (numbers.get(held["times"] || "") ?? 1) : 0;
        yield this.make("measure", match.index, match.index + match[0].length, "", { unit: spelled.get(held["unit"] ?? "") ?? "", value });
      }
    }
  }

  /** Numbers in words. @returns {Map<string, number>} */
  cardinals() {
    return new Map(this.sellers.cardinals.flatMap(([n, words]) => words.map((word) => [fold(word), n])));
  }

  /**
   * Whether "in" is a unit here: after a fraction, before a full stop, or where nothing follows it would lead to.
   * @param {string} written
   * @param {number} end
   * @returns {boolean}
   */
  inch(written, end) {
    return FRACTION.test(written) || ENDS.test(this.text.slice(end));
  }

  /** @param {number} at @returns {boolean} */
  closing(at) {
    const line = this.text.slice(lineStart(this.text, at), at);
    return line.split('"').length % 2 === 0 && !IN_QUOTES.test(line);
  }

  // Money ---------------------------------------------------------------------------------------------------------------

  /** Prices and what shipping costs. @returns {Generator<Figure>} */
  *amounts() {
    const rows = this.rowsOfAmounts();
    const sent = this.posted(rows), posted = new Map(sent);
    rows.forEach((row, n) => {
      if (!sent.has(n) && this.onTop(rows[n - 1], row)) posted.set(n, this.words(row[0], row[1]).slice(0, 1));
    });
    for (const [n, [start, end, says]] of rows.entries()) {
      const at = this.words(start, end), word = posted.get(n);
      if (word) {
        const lo = Math.min(start, nth(this.tokens, firstOf(word)).start), hi = Math.max(end, nth(this.tokens, lastOf(word)).end);
        const within = range(Math.min(firstOf(at), firstOf(word)) + 1, Math.max(lastOf(at), lastOf(word)) + 1);
        const near = !within.some((i) => nth(this.tokens, i).stop >= SENTENCE);
        const crossing = rows.some(([s, e], o) => o !== n && s < hi && lo < e);
        const together = near && !crossing && Math.abs(firstOf(word) - firstOf(at)) <= 3;
        yield together ? this.make("shipping", lo, hi, says) : this.make("shipping", start, end, says);
      } else if (posted.has(n - 1) && this.further(nth(rows, n - 1), nth(rows, n))) {
        continue;
      } else if (!this.before(PAID, firstOf(at), new Set(rows.slice(0, n).flatMap(([s, e]) => this.words(s, e))))) {
        yield this.make("price", start, end, says);
      }
    }
  }

  /** The amounts in order, without those inside longer ones. @returns {Amount[]} */
  rowsOfAmounts() {
    /** @type {Map<string, Amount>} */
    const held = new Map();
    const all = [...this.ofMoney()];
    for (const one of all.length ? all : this.endingLines()) held.set(`${one[0]} ${one[1]}`, one);
    const found = [...held.values()].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
    return found.filter(([start, end]) => !found.some(([s, e]) => s < end && start < e && e - s > end - start));
  }

  /** Every amount of money, ranges before their halves. @returns {Generator<Amount>} */
  *ofMoney() {
    for (const [code, words] of this.sellers.currency) {
      const named = (/** @type {string} */ word) => isLetters(word.slice(-1));
      const names = any(words.filter(named)), signs = any(words.filter((word) => !named(word)));
      const sign = `(?<![a-z])(?:${signs}) ?`, name = `(?: ?(?:${names})(?![a-z]))`;
      const after = any(this.sellers.askedAfter);
      const sources = [
        String.raw`(?:${sign})(${AMOUNT})(?:${name})? ?(?:${this.to}) ?(?:${sign})?(${AMOUNT})(?:${name})?(?![\d/])`,
        String.raw`(?<![\w.-])(${AMOUNT}) ?(?:${this.to}) ?(${AMOUNT})${name}`,
        `(?:${sign})(${AMOUNT})(?:${name})?()`,
        String.raw`\b(?:${names}) (${AMOUNT})()(?![\d/])`,
        String.raw`(?<![\w.,-])(${AMOUNT})()(?:${signs})(?!\d)`,
        String.raw`(?<![\w.,-])(${AMOUNT})${name}()`,
        String.raw`(?<![\w.,/-])((?!19|20)\d+\.\d\d)()(?![\d\w]|${this.counted})`,
        String.raw`(?<![\w.,/-])(${AMOUNT})()(?= (?:${after})(?![a-z]))`,
        String.raw`(?<![\w.,/-])(${AMOUNT})()(?= ?\+ ?(?:${signs})?\d)`,
        String.raw`(?<![\w.,/-])(\d+)-()(?=\s|[.,;]|$)`,
        String.raw`(?<![\w.,/-])\+ ?(\d+)()(?=\s)`,
      ];
      for (const source of sources) {
        for (const match of this.every(source)) {
          const [whole, first, last] = taken(match);
          yield [match.index, match.index + whole.length - (whole.endsWith(" ") ? 1 : 0), saysOf(first, last, code)];
        }
      }
      yield* this.bare(code);
      yield* this.ahead(code);
      yield* this.inWords(code, names);
    }
  }

  /** Bare figures with which lines end, where nothing else in the text is an amount. @returns {Generator<Amount>} */
  *endingLines() {
    const code = this.sellers.currency[0]?.[0] ?? "";
    for (const match of this.every(ENDING, "m")) {
      const [, figure] = taken(match);
      const small = numberOf(figure) < LEAST_IN_WORDS || this.vocabulary.numbers.get(figure)?.length;
      if (!small && !this.countedBefore(match.index)) yield [...placed(match, 1), saysOf(figure, "", code)];
    }
  }

  /** Whether the word before it makes a figure a number, a year or a value. @param {number} at @returns {boolean} */
  countedBefore(at) {
    const word = WORD_BEFORE.exec(this.text.slice(0, at))?.[1], figure = fitAt(FIGURE, this.text, at);
    if (word === undefined || !figure) return false;
    const counted = this.numbered.has(word) || this.sellers.year.some((year) => fold(year) === word);
    return counted || this.vocabulary.numbers.has(squeezed(word + figure[0]));
  }

  /** A figure right behind a word of asking or of posting. @param {string} code @returns {Generator<Amount>} */
  *bare(code) {
    const figure = pattern(String.raw`(${AMOUNT})(?:-(?!\d)|\b)(?!-\d|${this.counted})`, "y");
    for (const mark of [...this.marked(ASKED), ...this.marked(POSTING)]) {
      const end = lastOf(mark.at);
      let i = end + 1;
      while (i < this.tokens.length && i <= end + 2 && this.small.has(nth(this.tokens, i).canon)) i++;
      const token = this.tokens[i];
      const match = token && token.stop < SENTENCE ? fitAt(figure, this.text, token.start) : null;
      if (match?.[1]) yield [match.index, match.index + match[1].length, saysOf(match[1], "", code)];
    }
  }

  /** A bare figure right before a word of posting. @param {string} code @returns {Generator<Amount>} */
  *ahead(code) {
    const { tokens } = this, figure = pattern(`^(?:${AMOUNT})$`);
    for (const mark of this.marked(POSTING)) {
      const first = firstOf(mark.at);
      let i = first - 1;
      while (i > 0 && i >= first - 2 && this.small.has(nth(tokens, i).canon) && nth(tokens, i + 1).stop === 0) i--;
      if (i < 0 || nth(tokens, i + 1).stop !== 0) continue;
      const token = nth(tokens, i);
      if (!figure.test(token.text)) continue;
      const before = i ? nth(tokens, i - 1).text : "";
      if (!["$", "/", "#"].includes(before) && !"-/".includes(this.text.charAt(Math.max(0, token.start - 1)))) yield [token.start, token.end, saysOf(token.text, "", code)];
    }
  }

  /**
   * An amount in words, before a currency or behind a word of asking.
   * @param {string} code
   * @param {string} names
   * @returns {Generator<Amount>}
   */
  *inWords(code, names) {
    const { tokens } = this, numbers = this.cardinals(), currency = pattern(`^(?:${names})$`);
    const asked = new Set(this.marked(ASKED).map((mark) => lastOf(mark.at) + 1));
    let i = 0;
    while (i < tokens.length) {
      const [j, total] = this.counting(i, numbers);
      if (j > i) {
        const named = j < tokens.length && currency.test(nth(tokens, j).text);
        const posted = this.marked(POSTING).some((mark) => [j, j + 1].includes(firstOf(mark.at)) && nth(tokens, firstOf(mark.at)).stop === 0);
        const amount = named || (total >= LEAST_IN_WORDS && (asked.has(i) || posted || this.alone(i, j)));
        const end = nth(tokens, named ? j : j - 1).end;
        if (amount && (i === 0 || nth(tokens, i - 1).text !== "the")) yield [nth(tokens, i).start, end, `${total} ${code}`];
      }
      i = Math.max(j, i + 1);
    }
  }

  /**
   * Whether words from i to before j open a sentence, and an amount alone can end or go on so: fifteen for both.
   * @param {number} i
   * @param {number} j
   * @returns {boolean}
   */
  alone(i, j) {
    if (nth(this.tokens, i).stop < SENTENCE) return false;
    const after = this.tokens[j];
    return !after || after.stop > 0 || this.sellers.goesOn.includes(after.text);
  }

  /** The end of a number in words that begins here, and its value. @param {number} i @param {Map<string, number>} numbers @returns {[number, number]} */
  counting(i, numbers) {
    const { tokens } = this;
    let j = i, total = 0, last = 0;
    while (j < tokens.length && (j === i || nth(tokens, j).stop === 0)) {
      const joined = total >= 100 && nth(tokens, j).text === "and" && j + 1 < tokens.length;
      if (joined && numbers.has(nth(tokens, j + 1).text)) j++;
      const n = numbers.get(nth(tokens, j).text);
      if (n === undefined) break;
      if (n >= 100) {
        total = total - last + (last || 1) * n;
        last = 0;
      } else {
        total += n;
        last += n;
      }
      j++;
    }
    return [j, total];
  }

  /**
   * Which amounts are for shipping, with the word that says so: each word goes to one amount, the nearest one.
   * @param {Amount[]} rows
   * @returns {Map<number, number[]>}
   */
  posted(rows) {
    const sent = new Set(this.sellers.sent.map(fold));
    /** @type {Map<number, number[]>} */
    const found = new Map();
    for (const mark of this.marked(POSTING)) {
      if (mark.at.some((i) => sent.has(nth(this.tokens, i).text) || this.settled.has(i))) continue;
      /** @type {[number, number] | null} */
      let best = null;
      for (const [n, [start, end]] of rows.entries()) {
        const at = this.words(start, end), behind = firstOf(at) > lastOf(mark.at);
        const [lo, hi] = behind ? [lastOf(mark.at), firstOf(at)] : [lastOf(at), firstOf(mark.at)];
        const stops = range(lo + 1, hi + 1).map((i) => nth(this.tokens, i).stop);
        if (stops.some((stop) => stop >= SENTENCE)) continue;
        const far = hi - lo - 1 + 2.5 * stops.filter((stop) => stop === COMMA).length - (behind ? 0.25 : 0);
        if (far <= 3.5 && (best === null || far < best[0])) best = [far, n];
      }
      if (best !== null && !found.has(best[1])) found.set(best[1], mark.at);
    }
    return found;
  }

  /**
   * Whether an amount is added to the smaller part of a price: 90 plus 10 is what the mail takes.
   * @param {Amount | undefined} before
   * @param {Amount} row
   * @returns {boolean}
   */
  onTop(before, row) {
    return before !== undefined && ADDED.test(this.text.slice(before[1], row[0])) && lowest(row[2]) < lowest(before[2]);
  }

  /**
   * Whether a smaller amount behind that for shipping is what more pieces add: 8 for one, 2 for each other.
   * @param {Amount} posted
   * @param {Amount} other
   * @returns {boolean}
   */
  further(posted, other) {
    const first = lastOf(this.words(posted[0], posted[1])), last = firstOf(this.words(other[0], other[1]));
    if (range(first + 1, last + 1).some((k) => nth(this.tokens, k).stop >= SENTENCE) || this.before(ASKED, last)) return false;
    return lowest(other[2]) < lowest(posted[2]);
  }

  /**
   * Whether a word of this kind stands shortly before, in the same sentence, and none of the others between.
   * @param {string} kind
   * @param {number} i
   * @param {Set<number>} [others]
   * @returns {boolean}
   */
  before(kind, i, others = new Set()) {
    return this.marked(kind).some((mark) => {
      const end = lastOf(mark.at), between = range(end + 1, i + 1);
      const near = end < i && i <= end + NEAR && !between.some((k) => others.has(k));
      return near && between.every((k) => nth(this.tokens, k).stop < SENTENCE);
    });
  }

  // Years ---------------------------------------------------------------------------------------------------------------

  /** Years, and runs of them. @returns {Generator<Figure>} */
  *years() {
    const { sellers } = this;
    const decades = new Map(sellers.decades.flatMap(([first, names]) => names.map((name) => [fold(name), first])));
    for (const match of this.every(String.raw`\bbetween (19\d\d) and (19\d\d)(?![\d-])`)) {
      const [, first, last] = taken(match);
      yield* this.year(placed(match, 1)[0], placed(match, 2)[1], numberOf(first), numberOf(last));
    }
    const years = new Map(sellers.within.map(([word, low, high]) => [word, [low, high]]));
    const within = any(years.keys()), before = any(sellers.year.filter((word) => word !== "'"));
    for (const match of this.every(String.raw`(?:\b(${within})[ -](?:(?:${this.to})[ -](?:${within})[ -])?)?'?\b(${any(decades.keys())})(?![a-z\d])`)) {
      const [whole, part, decade] = taken(match), first = decades.get(decade) ?? 0;
      const [low = 0, high = 9] = (part && years.get(part)) || [];
      yield* this.year(match.index, match.index + whole.length, first + low, first + high);
    }
    const span = String.raw`(?:(?<![\w$.,/-])|(?<=\bc)|(?<=\bca\.))(19\d\d|'\d\d(?= ?-))(?: ?(?:${this.to}|/) ?(19\d\d|'?\d\d)(?!\d))?(?!\w|[-/]\d|,\d|${this.counted})`;
    for (const match of this.every(span)) {
      const [whole, from, to] = taken(match), first = ofCentury(from), last = to ? ofCentury(to) : first;
      if (last >= first) yield* this.year(match.index, match.index + whole.length, first, last);
    }
    const short = String.raw`(?:(?<![\w'])'|\b(?:${before}) (?:(?:${before}) |')?)(\d\d)(?![\w']|[.,-]\d|-[a-z]|${this.counted})`;
    for (const match of this.every(short)) {
      const year = 1900 + numberOf(taken(match)[1]);
      yield* this.year(...placed(match, 1), year, year);
    }
  }

  /** @param {number} start @param {number} end @param {number} first @param {number} last @returns {Generator<Figure>} */
  *year(start, end, first, last) {
    const at = this.words(start, end);
    if (!at.length || first < FIRST_YEAR || last > LAST_YEAR || this.before(OTHER_YEAR, firstOf(at)) || this.followed(lastOf(at))) return;
    yield this.make("year", start, end, first === last ? String(first) : `${first}..${last}`);
  }

  /** Whether a word of another year's follows at once (the 1954 catalog). @param {number} i @returns {boolean} */
  followed(i) {
    return this.marked(OTHER_YEAR).some((mark) => firstOf(mark.at) === i + 1 && nth(this.tokens, i + 1).stop === 0);
  }

  // Numbers -------------------------------------------------------------------------------------------------------------

  /** Recorded numbers. @returns {Generator<Figure>} */
  *numbers() {
    const figure = pattern(NUMBER, "dg");
    figure.lastIndex = 0;
    for (let match = figure.exec(this.text); match; match = figure.exec(this.text)) {
      for (const [start, end] of pieces(match)) {
        const found = this.recorded(this.text.slice(start, end));
        if (!found.length || !this.stands(start, end, found)) continue;
        figure.lastIndex = end;
        const families = new Set(found.flatMap(([, row]) => row));
        yield this.make("number", start, end, found.map(([written]) => written).join("|"), { families });
        break;
      }
    }
  }

  /**
   * The recorded numbers a text can be: letters and digits alike, and a hyphen between figures where there is one.
   * @param {string} written
   * @returns {Recorded[]}
   */
  recorded(written) {
    const between = HYPHENED.test(written);
    return (this.vocabulary.numbers.get(squeezed(written)) ?? []).filter(([number]) => HYPHENED.test(number) === between);
  }

  /**
   * Whether the figures can be a number here: not an amount or a count; two digits only with something that says so.
   * @param {number} start
   * @param {number} end
   * @param {Recorded[]} found
   * @returns {boolean}
   */
  stands(start, end, found) {
    const at = this.words(start, end), i = firstOf(at), j = lastOf(at) + 1;
    if (fitAt(NO_MONEY, this.text, end)) return false;
    const [written] = nth(found, 0);
    if (written.replace(/\P{Nd}/gu, "").length > 2 || !isFigures(written)) return true;
    if (i === 0 || this.tokens.slice(Math.max(0, i - 2), i).some((token) => this.numbered.has(token.text))) return true;
    return [...this.anchors].some((k) => i - 4 <= k && k <= j + 3 && !at.includes(k));
  }
}

/** A year, with its century where only two digits are written. @param {string} written @returns {number} */
function ofCentury(written) {
  const digits = numberOf(written.replace(/^'+/, ""));
  return digits > 99 ? digits : Math.floor(FIRST_YEAR / 100) * 100 + digits;
}

/** A pattern for any of these words, the longer ones first. @param {Iterable<string>} words @returns {string} */
function any(words) {
  return byLength([...words]).map((word) => escaped(fold(word))).join("|");
}

/** @param {string[]} words @returns {string[]} */
function byLength(words) {
  return [...words].sort((a, b) => b.length - a.length);
}

/** The whole, and what the first two groups took. @param {RegExpExecArray} match @returns {[string, string, string]} */
function taken(match) {
  return [match[0], match[1] ?? "", match[2] ?? ""];
}

/** @param {RegExpExecArray} match @param {number} group @returns {[number, number]} */
function placed(match, group) {
  return match.indices?.[group] ?? [match.index, match.index + match[0].length];
}

/**
 * The whole of what may be a number, then without what stands behind or before the figures.
 * @param {RegExpExecArray} match
 * @returns {[number, number][]}
 */
function pieces(match) {
  const [first, last] = placed(match, 2), end = match.index + match[0].length;
  return [[match.index, end], [match.index, last], [first, end], [first, last]];
}

/**
 * A figure as written, fractions and mixed numbers included; null where it is none.
 * @param {string} written
 * @returns {number | null}
 */
function valueOf(written) {
  const quarters = VULGAR[written.slice(-1)];
  if (quarters !== undefined) return (numberOf(written.slice(0, -1).trim()) * 4 + quarters) / 4;
  const [first = "", second] = written.split(/[ -](?:and )?/);
  const [over, under] = fraction(second ?? first), whole = second === undefined ? 0 : numberOf(first);
  return under === 0 ? null : (whole * under + over) / under;
}

/** @param {string} written @returns {[number, number]} */
function fraction(written) {
  const [over = "", under] = written.split("/");
  return [numberOf(over), under === undefined ? 1 : numberOf(under)];
}

/** @param {string} first @param {string} last @param {string} code @returns {string} */
function saysOf(first, last, code) {
  const plain = (/** @type {string} */ amount) => amount.replace(/,(\p{Nd}\p{Nd})$/u, ".$1").replaceAll(",", "").replace(/\.00$/, "");
  const falls = last && numberOf(plain(last)) < numberOf(plain(first));
  return last && !falls ? `${plain(first)}..${plain(last)} ${code}` : `${plain(last || first)} ${code}`;
}

/** The lower amount of what an amount says. @param {string} says @returns {number} */
function lowest(says) {
  return numberOf((says.split(" ")[0] ?? "").split("..")[0] ?? "");
}
