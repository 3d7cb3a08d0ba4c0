/** A text as words with their places, and phrases found in it; see `identify/phrases.py`. */

import { Abbreviations } from "./abbreviated.js";
import { mistakes } from "./distance.js";
import { stem } from "./stem.js";
import { compared, fitAt, isLetters, isUpper, lastOf, lineStart, nth, ordered, pattern, range } from "./strings.js";

/**
 * @typedef {object} Token a word: its place, as written, folded, the spelling meant, the name of its like words, the break before it
 * @property {number} start
 * @property {number} end
 * @property {string} raw
 * @property {string} text
 * @property {string} meant
 * @property {string} canon
 * @property {number} stop
 * @property {boolean} exact
 *
 * @typedef {object} Word one word of a phrase: the name of its like words; or its very spelling, in capitals where `caps`
 * @property {string} canon
 * @property {string | null} exact
 * @property {boolean} caps
 *
 * @typedef {Word[]} Row words in order
 *
 * @typedef {object} Phrase a phrase and what it says; groups: what must be there, of each one of its rows
 * @property {Row[][]} groups
 * @property {string} kind
 * @property {string} says
 * @property {string} home
 * @property {boolean} denied it says the opposite
 * @property {boolean} deniable a negation may stand between its parts
 * @property {boolean} own it is the record's name
 * @property {boolean} thing its first group is what the thing is called
 * @property {boolean} long it is written with more letters than may be something else
 *
 * @typedef {object} Match a phrase found: the words it stands on, and how much it takes to be there by chance
 * @property {Phrase} phrase
 * @property {number[]} at
 * @property {number} score
 * @property {number[]} last
 * @property {boolean} alone without the thing it is said of
 *
 * @typedef {object} PackedLexicon
 * @property {string[]} known
 * @property {string[]} group word and name in turn
 * @property {string[]} stems stem and name in turn
 * @property {string[]} abbreviations
 * @property {string[]} small
 * @property {string[]} optional
 * @property {string[]} plain
 * @property {string[]} negating
 *
 * @typedef {string | [string, string, number]} PackedWord the name of its like words; or that, its very spelling, and 1 in capitals
 * @typedef {number | number[]} Places
 *
 * @typedef {object} PackedFinder rows hold places of words, groups those of rows; -1 is the next that was not there before
 * @property {PackedWord[]} words
 * @property {Places[]} rows
 * @property {Places[]} groups
 * @property {string[]} homes
 * @property {[string, string, number, number[][]][]} phrases kind, says, home, and of each: bits of what it is, then its groups
 */

/** A word is taken for another at so many mistakes, by its own length. */
const MISTAKES = /** @type {[number, number][]} */ ([[8, 2], [5, 1]]);
/** Where the first letter is the wrong one, only a word this long, at one mistake. */
const OTHER_FIRST = 8;
/** So many of the nearest words are looked at. */
const NEAREST = 5;
/** The letters that are written for one another. */
const VOWELS = new Set("aeiouy");
/** Words that may stand between the parts of a phrase joined by "+", and small words between two words of a part. */
const APART = 6, SMALL_BETWEEN = 3, TIGHT = 2;
/** A line is full, and its end no break, when it has this share of the longest. */
const FULL = 0.7;
/** How hard the break before a word is: none, a comma, the end of a sentence, an empty line. */
export const COMMA = 1;
export const SENTENCE = 2;
export const PARAGRAPH = 3;
/** What a phrase is beside what it says, as bits of one number. */
const DENIED = 1, DENIABLE = 2, OWN = 4, THING = 8, LONG = 16;

const NUMBERED = pattern(String.raw`(?:\d{1,2}[).]|[a-z]\))\s`, "y");
const PRICED = pattern(String.raw`[$\u20ac\u00a3] ?[\d.,]+\Z`);
const HEADED = pattern(String.raw`^[\w ]{2,20}:`);
const TOKEN = String.raw`[Ww]/[Oo](?![A-Za-z])|[Ww]/(?=[\sA-Za-z])` +
  String.raw`|[\p{L}\p{Nl}\p{No}]+(?:'[\p{L}\p{Nl}\p{No}]+)*\+?(?!\d)` +
  String.raw`|\d+(?:,\d{3})+(?:\.\d+)?|\d*\.\d+|\d+(?:st|nd|rd|th)(?![\p{L}\p{Nl}\p{No}])|\d+|[\p{L}\p{Nl}\p{No}]+` +
  String.raw`|[$#"&+/%\u00bc-\u00be\u20ac\u00a3]`;
/** @type {Record<string, string>} */
const MARKS = {
  "\u2019": "'", "\u2018": "'", "\u00b4": "'", "\u201c": '"', "\u201d": '"', "\u2033": '"', "\u00a0": " ",
  "\u2013": "-", "\u2014": "-", "\u2212": "-", "\u2009": " ", "\u202f": " ", "\t": " ", "\u2022": "*",
};

/**
 * The text with typographic marks plain and in lower case, every character in its place.
 * @param {string} text
 * @returns {string}
 */
export function fold(text) {
  const plain = text.replace(/[\u2019\u2018\u00b4\u201c\u201d\u2033\u00a0\u2013\u2014\u2212\u2009\u202f\t\u2022]/g, (one) => MARKS[one] ?? one);
  const lower = plain.toLowerCase();
  if (lower.length === plain.length) return lower;
  return [...plain].map((one) => (one.toLowerCase().length === 1 ? one.toLowerCase() : one)).join("");
}

/** Which words are the same word. */
export class Lexicon {
  /** @param {PackedLexicon} packed */
  constructor(packed) {
    this.group = mapOf(packed.group);
    this.stems = mapOf(packed.stems);
    this.abbreviations = new Set(packed.abbreviations);
    this.small = new Set(packed.small);
    this.optionalCanons = new Set(packed.optional);
    this.plain = new Set(packed.plain);
    this.plainStems = new Set(packed.plain.map(stem));
    this.negating = new Set(packed.negating);
    /** @type {Map<string, string>} */
    this.known = new Map(packed.known.map((word) => [word, this.canon(word)]));
    this.canons = new Set(this.known.values());
    this.choices = packed.known.filter((word) => word.length >= 4);
    /** @type {Map<string, [string, string]>} */
    this.guessed = new Map();
    this.short = new Abbreviations(this.known);
  }

  /**
   * The name of all words that are the same as this one, forms of it included.
   * @param {string} word
   * @returns {string}
   */
  canon(word) {
    const root = stem(word);
    return this.group.get(word) || this.stems.get(root) || root;
  }

  /**
   * The spelling meant, and its name: of a word that nobody knows, those of the nearest known one within the mistakes
   * allowed, or of the one that it is short for.
   * @param {string} word
   * @returns {[string, string]}
   */
  guess(word) {
    const found = this.canon(word);
    if (this.canons.has(found) || this.plain.has(word) || this.plainStems.has(stem(word))) return [word, found];
    const before = this.guessed.get(word);
    if (before) return before;
    const near = this.nearest(word) ?? this.short.meant(word);
    /** @type {[string, string]} */
    const guessed = near === null ? [word, found] : [near, this.known.get(near) ?? near];
    this.guessed.set(word, guessed);
    return guessed;
  }

  /**
   * Whether a word, misspelled or not, is of the vocabulary.
   * @param {string} word
   * @returns {boolean}
   */
  ofPhrases(word) {
    return this.canons.has(this.guess(word)[1]);
  }

  /** @param {string} word @returns {string | null} */
  nearest(word) {
    const most = MISTAKES.find(([length]) => word.length >= length)?.[1] ?? 0;
    if (!most || !isLetters(word)) return null;
    const near = this.choices.map((choice) => ({ choice, far: mistakes(word, choice, most) })).filter((one) => one.far <= most);
    const long = word.length >= OTHER_FIRST;
    const best = near.sort((a, b) => a.far - b.far).slice(0, NEAREST)
      .filter((one) => one.choice[0] === word[0] || (one.far === 1 && long))
      .filter((one) => long || slipped(word, one.choice));
    return best[0]?.choice ?? null;
  }

  /**
   * The words of a text, in order.
   * @param {string} text with characters one place wide
   * @returns {Token[]}
   */
  tokens(text) {
    const folded = fold(text);
    const longest = Math.max(...folded.split("\n").map((line) => line.length));
    /** @type {Token[]} */
    const found = [];
    let at = 0;
    for (const match of folded.matchAll(pattern(TOKEN, "g"))) {
      const start = match.index, end = start + match[0].length;
      const word = match[0].replace(/\++$/, "") || match[0];
      const stop = found.length ? this.stop(folded, at, start, found, longest) : SENTENCE;
      at = end;
      const [meant, canon] = this.guess(word);
      found.push({ start, end, raw: text.slice(start, end), text: word, meant, canon, stop, exact: this.known.has(word) });
    }
    return found;
  }

  /**
   * The break that what stands between two words makes; the end of a line that is not full is one.
   * @param {string} text
   * @param {number} at
   * @param {number} start
   * @param {Token[]} before
   * @param {number} longest
   * @returns {number}
   */
  stop(text, at, start, before, longest) {
    const between = text.slice(at, start);
    if (between.includes("\n")) {
      const lines = between.split("\n");
      const begin = lineStart(text, at);
      const full = at + nth(lines, 0).length - begin >= FULL * longest;
      const empty = lines.slice(1, -1).some((line) => !/[^ *-]/.test(line));
      if (!full || HEADED.test(text.slice(start, start + 22))) return empty ? PARAGRAPH : SENTENCE;
      if (empty) return PARAGRAPH;
      const listed = /[*>]|-\s|--/.test(nth(lines, lines.length - 1)) || fitAt(NUMBERED, text, start) !== null;
      if (listed || PRICED.test(text.slice(begin, at))) return SENTENCE;
    }
    if (/[.!?;]/.test(between)) {
      const abbreviated = /^\)*\./.test(between) && this.abbreviations.has(nth(before, before.length - 1).text);
      return abbreviated ? COMMA : SENTENCE;
    }
    return /[,:()*|]|\s-+\s|--|\.\./.test(between) ? COMMA : 0;
  }
}

/** @param {string[]} flat @returns {Map<string, string>} */
function mapOf(flat) {
  /** @type {Map<string, string>} */
  const found = new Map();
  for (let i = 0; i + 1 < flat.length; i += 2) found.set(nth(flat, i), nth(flat, i + 1));
  return found;
}

/**
 * Whether a short word is another with a slip in it; one consonant for another makes a word of its own: frank, flank.
 * @param {string} word
 * @param {string} meant
 * @returns {boolean}
 */
function slipped(word, meant) {
  const differing = [...word].flatMap((letter, i) => (i < meant.length && letter !== meant[i] ? [[letter, meant[i] ?? ""]] : []));
  return word.length !== meant.length || differing.length !== 1 || (differing[0] ?? []).every((letter) => VOWELS.has(letter));
}

/** @param {Word} word @param {Token} token @param {boolean} shouting @returns {boolean} */
function fits(word, token, shouting) {
  if (word.exact === null) return token.canon === word.canon;
  return token.meant === word.exact && (!word.caps || isUpper(token.raw.replace(/\++$/, "")) || shouting);
}

/** Phrases by the first word of each of their parts. */
export class Finder {
  /**
   * @param {Lexicon} lexicon
   * @param {PackedFinder} packed
   */
  constructor(lexicon, packed) {
    this.lexicon = lexicon;
    const words = packed.words.map((one) => (typeof one === "string" ? { canon: one, exact: null, caps: false } : { canon: one[0], exact: one[1], caps: one[2] === 1 }));
    const rows = packed.rows.map((row) => places(row).map((word) => nth(words, word)));
    const nextRow = placed(), nextGroup = placed();
    const groups = packed.groups.map((group) => places(group).map((row) => nth(rows, nextRow(row))));
    /** @type {Phrase[]} */
    this.phrases = [];
    for (const [kind, says, home, some] of packed.phrases) {
      for (const [flags = 0, ...held] of some) {
        const own = held.map((group) => nth(groups, nextGroup(group)));
        this.phrases.push({ ...flagged(flags), groups: own, kind, says, home: nth(packed.homes, home) });
      }
    }
    /** @type {Map<string, Map<string, number>>} the last words of the names of families and kinds: how many names of which family */
    this.endings = new Map();
    for (const phrase of this.phrases) if (phrase.kind === "name" && phrase.home) this.ends(phrase);
    /** @type {Map<string, [number, number, Row][]>} number of the phrase, place of the group, row */
    this.byFirst = new Map();
    this.phrases.forEach((phrase, number) => phrase.groups.forEach((group, g) => group.forEach((row) => this.file(row, number, g))));
  }

  /** @param {Phrase} phrase */
  ends({ groups, home }) {
    const last = nth(nth(groups, groups.length - 1), 0);
    const row = noted(this.endings, nth(last, last.length - 1).canon, () => /** @type {Map<string, number>} */ (new Map()));
    const family = home.slice(home.indexOf(":") + 1);
    row.set(family, (row.get(family) ?? 0) + 1);
  }

  /** @param {Row} row @param {number} number @param {number} g */
  file(row, number, g) {
    const first = nth(row, 0);
    const key = first.exact === null ? first.canon : `=${first.exact}`;
    const held = this.byFirst.get(key);
    if (held) held.push([number, g, row]);
    else this.byFirst.set(key, [[number, g, row]]);
  }

  /**
   * Every phrase that stands in the text, wherever it does.
   * @param {Token[]} tokens
   * @param {boolean} shouting
   * @returns {Match[]}
   */
  find(tokens, shouting) {
    /** @type {Map<number, Map<number, number[][]>>} */
    const parts = new Map();
    /** @type {Match[]} */
    const found = [];
    tokens.forEach((token, i) => {
      for (const key of [token.canon, `=${token.meant}`]) {
        /** @type {Map<Row, number[] | null>} */
        const followed = new Map();
        for (const [number, g, row] of this.byFirst.get(key) ?? []) {
          let at = followed.get(row);
          if (at === undefined) followed.set(row, (at = this.follow(row, tokens, i, shouting)));
          if (at === null) continue;
          const phrase = nth(this.phrases, number);
          if (phrase.groups.length === 1) found.push({ phrase, at, score: this.score(at, tokens), last: [], alone: false });
          else noted(noted(parts, number, () => new Map()), g, () => /** @type {number[][]} */ ([])).push(at);
        }
      }
    });
    for (const [number, groups] of parts) found.push(...this.ofParts(nth(this.phrases, number), groups, tokens));
    return found;
  }

  /** @param {Phrase} phrase @param {Map<number, number[][]>} groups @param {Token[]} tokens @returns {Match[]} */
  ofParts(phrase, groups, tokens) {
    const joined = groups.size === phrase.groups.length ? this.joined(phrase, groups, tokens) : [];
    const second = groups.get(1);
    if (!phrase.thing || phrase.groups.length !== 2 || !second) return joined;
    const named = new Set(joined.map((match) => match.last.join()));
    const alone = second.filter((at) => !named.has(at.join()));
    return [...joined, ...alone.map((at) => ({ phrase, at, score: this.score(at, tokens), last: [], alone: true }))];
  }

  /** @param {Row} row @param {Token[]} tokens @param {number} i @param {boolean} shouting @returns {number[] | null} */
  follow(row, tokens, i, shouting) {
    const first = nth(row, 0);
    if (!fits(first, nth(tokens, i), shouting)) return null;
    const at = [i];
    let j = i + 1;
    const between = this.lexicon.small.has(first.canon) ? this.lexicon.optionalCanons : this.lexicon.small;
    for (const word of row.slice(1)) {
      let skipped = 0;
      for (let token = tokens[j]; token && token.stop < COMMA && !fits(word, token, shouting); token = tokens[j]) {
        if (!between.has(token.canon) || skipped >= SMALL_BETWEEN) return null;
        j++;
        skipped++;
      }
      if (j >= tokens.length || nth(tokens, j).stop >= COMMA) return null;
      at.push(j);
      j++;
    }
    return at;
  }

  /**
   * Longer and more words are less likely there by chance; small ones say little, misspelled ones less.
   * @param {number[]} at
   * @param {Token[]} tokens
   * @returns {number}
   */
  score(at, tokens) {
    let score = 0;
    for (const i of at) {
      const token = nth(tokens, i);
      score += this.lexicon.small.has(token.canon) ? 0.3 : 1.0 + 0.02 * Math.min(token.text.length, 10);
      score -= token.exact ? 0 : 0.05;
    }
    return score;
  }

  /**
   * Each place where all parts of a phrase stand near one another: for each last part, the nearest of the others.
   * @param {Phrase} phrase
   * @param {Map<number, number[][]>} groups
   * @param {Token[]} tokens
   * @returns {Match[]}
   */
  joined(phrase, groups, tokens) {
    const last = phrase.groups.length - 1;
    const tight = phrase.groups.some((group) => group.some((row) => row.some((word) => word.caps)));
    const most = tight ? TIGHT : APART;
    /** @type {Match[]} */
    const found = [];
    for (const anchor of groups.get(last) ?? []) {
      const at = new Set(anchor);
      let apart = 0, near = true;
      for (let g = 0; g < last && near; g++) {
        const [far, one] = this.nearestOf(anchor, (groups.get(g) ?? []).filter((row) => !row.some((i) => at.has(i))), tokens, phrase.deniable);
        apart += far;
        near = far <= most;
        if (near) one.forEach((i) => at.add(i));
      }
      if (!near) continue;
      const row = ordered(at);
      const score = this.score(row, tokens) + (apart === 0 && phrase.deniable ? 0.1 : -0.1 * apart);
      found.push({ phrase, at: row, score, last: anchor, alone: false });
    }
    return found;
  }

  /**
   * The nearest of some rows of words and how far it is; of those as near, the first in the text.
   * @param {number[]} anchor
   * @param {number[][]} rows
   * @param {Token[]} tokens
   * @param {boolean} deniable
   * @returns {[number, number[]]}
   */
  nearestOf(anchor, rows, tokens, deniable) {
    /** @type {[number, number[]] | null} */
    let best = null;
    for (const row of rows) {
      const far = this.apart(anchor, row, tokens, deniable);
      if (best === null || far < best[0] || (far === best[0] && compared(row, best[1]) < 0)) best = [far, row];
    }
    return best ?? [APART + 1, []];
  }

  /**
   * Words between two rows, a comma counting for two and a small word for half; more than enough across sentences.
   * @param {number[]} one
   * @param {number[]} other
   * @param {Token[]} tokens
   * @param {boolean} deniable
   * @returns {number}
   */
  apart(one, other, tokens, deniable) {
    const [first, second] = nth(one, 0) < nth(other, 0) ? [one, other] : [other, one];
    if (lastOf(first) >= nth(second, 0)) return APART + 1;
    const between = range(lastOf(first) + 1, nth(second, 0) + 1).map((i) => nth(tokens, i));
    if (between.some((token) => token.stop >= SENTENCE)) return APART + 1;
    const inner = between.slice(0, -1);
    if (!deniable && inner.some((token) => this.lexicon.negating.has(token.text))) return APART + 1;
    const words = inner.reduce((sum, token) => sum + (this.lexicon.small.has(token.canon) ? 0.4 : 1), 0);
    return Math.trunc(words + 2 * between.filter((token) => token.stop === COMMA).length + 0.5);
  }
}

/** Places as they are packed: one below 0 is the next that was not there before. @returns {(place: number) => number} */
function placed() {
  let next = 0;
  return (place) => (place < 0 ? next++ : place);
}

/** @param {Places} row @returns {number[]} */
function places(row) {
  return typeof row === "number" ? [row] : row;
}

/** @param {number} flags @returns {Pick<Phrase, "denied" | "deniable" | "own" | "thing" | "long">} */
function flagged(flags) {
  const has = (/** @type {number} */ bit) => (flags & bit) > 0;
  return { denied: has(DENIED), deniable: has(DENIABLE), own: has(OWN), thing: has(THING), long: has(LONG) };
}

/**
 * What is kept under a key, made where there is nothing yet.
 * @template K, V
 * @param {Map<K, V>} kept
 * @param {K} key
 * @param {() => V} make
 * @returns {V}
 */
export function noted(kept, key, make) {
  const held = kept.get(key);
  if (held !== undefined) return held;
  const made = make();
  kept.set(key, made);
  return made;
}
