/** What a seller's text claims, each claim with its place in the text; see `identify/claims.py`. */

import { Figures, LEAST_IN_WORDS } from "./figures.js";
import { decisive, heldOf, inOrder, once } from "./held.js";
import { COMMA, SENTENCE, noted } from "./phrases.js";
import { OPENING, Senses } from "./senses.js";
import { compared, firstOf, lastOf, nth, ordered, pattern, range, spaced } from "./strings.js";
import { DENY, GONE, IDLE, LOOSE, PRESENT, SPEAKING, partHome } from "./vocabulary.js";

/**
 * @typedef {import("./held.js").Held} Held
 * @typedef {import("./phrases.js").Match} Match
 * @typedef {import("./phrases.js").Token} Token
 * @typedef {import("./senses.js").Sense} Sense
 * @typedef {import("./senses.js").Item} Item
 * @typedef {import("./vocabulary.js").Vocabulary} Vocabulary
 *
 * @typedef {"number" | "year" | "name" | "state" | "measure" | "part" | "condition" | "defect" | "price" | "shipping" | "hedge"} Kind
 *
 * @typedef {object} Claim one stretch of a text and what it says
 * @property {number} start its place, in characters of the text
 * @property {number} end
 * @property {string} quote what stands there
 * @property {Kind} kind
 * @property {string[]} says its meaning in ids of the record; several where the words fit several alike
 * @property {boolean} denied the text says that it is not so
 * @property {boolean} hedged words of doubt or hearsay govern it
 *
 * @typedef {[string, number[]]} Told PRESENT or GONE, and the words that say so
 */

/** A negation reaches so many words ahead, and a doubt to the end of its part of the sentence. */
const DENIES = 4;
/** A word that asks is one of so many first ones. */
const ASKS = 3;
/** A list goes on when its "or" is so near. */
const LIST = 5;
/** A quote of more words than this is cut to the words that decide. */
const LONGEST = 10;
/** So far at most are a slot and the word that says it is there or gone taken together. */
const TOGETHER = 6;
/** Who doubts a color says another one within so many words. */
const OTHERWISE = 15;
/** A text is in capitals when this share of its letters is. */
const SHOUTING = 0.7;
/** How an amount in figures opens. */
const FIGURE = pattern(String.raw`^\d`);
/** Kinds of claims that nothing denies. */
const PLAIN = ["number", "year", "price", "shipping", "hedge", "measure"];
/** Kinds of claims that a question alone does not make. */
const ASKABLE = ["state", "part", "condition", "defect"];
/** Kinds of claims that words of doubt make doubtful. */
const DOUBTABLE = ["number", "year", "name", "state", "measure", "part", "condition", "defect"];

/**
 * The claims of a text in reading order; their places do not overlap.
 * @param {string} text
 * @param {Vocabulary} vocabulary
 * @returns {Claim[]}
 */
export function claims(text, vocabulary) {
  return new Reader(text, vocabulary).claims();
}

class Reader {
  /** @param {string} text @param {Vocabulary} vocabulary */
  constructor(text, vocabulary) {
    const wide = spaced(text);
    this.characters = wide.characters;
    this.text = wide.text;
    this.vocabulary = vocabulary;
    this.lexicon = vocabulary.lexicon;
    this.small = vocabulary.lexicon.small;
    this.tokens = this.lexicon.tokens(this.text);
    const letters = this.text.match(/\p{L}/gu) ?? [];
    this.shouting = letters.filter((one) => /\p{Uppercase}/u.test(one)).length > SHOUTING * letters.length;
    const amounts = vocabulary.sellers.cardinals.filter(([n]) => n >= LEAST_IN_WORDS);
    this.amounts = new Set(amounts.flatMap(([, words]) => words));
    this.matches = vocabulary.finder.find(this.tokens, this.shouting).filter((match) => !this.toldInFigures(match));
    this.figures = new Figures(this.text, this.tokens, this.matches, vocabulary).all();
    const names = (/** @type {string[]} */ words) => new Set(words.map((word) => this.lexicon.canon(word)));
    this.more = names(vocabulary.sellers.more);
    this.asking = new Set(vocabulary.sellers.asking);
    this.joining = names(vocabulary.sellers.joining);
    const named = this.matches.filter((match) => match.phrase.kind === "name").map((match) => match.phrase.says);
    this.livery = new Set(named.flatMap((livery) => [...(vocabulary.shown.get(livery) ?? [])]));
    this.senses = new Senses(this.text, this.tokens, this.matches, this.figures, vocabulary);
    /** @type {Set<number>} the words of all claims; and those of them that decide */
    this.words = new Set();
    this.firm = new Set(this.words);
  }

  /**
   * Whether an amount stands among words for who pays the mail: plus 12 for shipping is what it costs.
   * @param {Match} match
   * @returns {boolean}
   */
  toldInFigures({ phrase, at }) {
    if (phrase.kind !== "shipping") return false;
    const inside = range(firstOf(at), lastOf(at)).map((k) => this.token(k).text);
    return inside.some((word) => FIGURE.test(word) || this.amounts.has(word));
  }

  /** All of them. @returns {Claim[]} */
  claims() {
    if (!this.tokens.length) return [];
    const chosen = this.chosen();
    const held = [...chosen, ...this.mentioned(chosen)].sort(inOrder).filter((one) => !this.onlyAsked(one));
    this.words = new Set(held.flatMap((one) => one.at));
    this.firm = new Set(held.flatMap(decisive));
    return this.placed(this.doubted(once(held.map((one) => this.denied(one)), this.text, this.tokens, this.vocabulary)));
  }

  /** @param {number} i @returns {Token} */
  token(i) {
    return nth(this.tokens, i);
  }

  /** What stands between two words. @param {number} i @param {number} j @returns {string} */
  between(i, j) {
    return this.text.slice(this.token(i).end, this.token(j).start);
  }

  // Choosing ------------------------------------------------------------------------------------------------------------

  /** The meanings that take their words: the surest first; those as sure on the same words are alternatives. @returns {Held[]} */
  chosen() {
    /** @type {Held[]} */
    const found = [];
    /** @type {Set<number>} */
    const used = new Set();
    /** @type {Map<number, string>} */
    const things = new Map();
    /** @type {Set<number>} */
    const harmed = new Set();
    for (const { at, senses } of this.rows()) {
      const [first] = senses;
      const broken = first?.kind === "defect", last = first?.last ?? [], trait = first?.trait ?? "";
      const shared = first && last.length && (broken || first.kind === "state" || !this.senses.closed(at));
      let own = shared ? last : at;
      const taken = own.some((i) => used.has(i));
      if (first && taken && (last.length || (first.spot && !own.some((i) => harmed.has(i))))) own = last.length ? last : at.slice(-1);
      if (own.some((i) => used.has(i)) || at.some((i) => !own.includes(i) && things.get(i) === trait)) continue;
      if (first?.kind === "state" && own.some((i) => harmed.has(i))) continue;
      own.forEach((i) => used.add(i));
      if (broken) at.forEach((i) => harmed.add(i));
      if (trait) at.forEach((i) => things.set(i, trait));
      if (!first) continue;
      const says = [...new Set(senses.flatMap((sense) => sense.says.split("|")))];
      found.push({ ...heldOf(first.kind, says, at), last, trait, chars: first.figure && [first.figure.start, first.figure.end], denied: first.denied });
    }
    return this.settled(found.sort(inOrder));
  }

  /**
   * What may take words, the surest first: words that claim nothing, and senses of one kind on the same words.
   * @returns {{score: number, at: number[], senses: Sense[]}[]}
   */
  rows() {
    const counted = new Set(this.figures.flatMap((figure) => figure.at));
    const idle = this.matches.filter((match) => match.phrase.kind === IDLE).map(({ score, at }) => ({ score: score + 3, at: at.filter((i) => !counted.has(i)) }));
    const loose = this.senses.loose ? this.matches.filter((match) => match.phrase.kind === LOOSE) : [];
    const still = [...idle, ...loose.map(({ score, at }) => ({ score, at: at.slice(0, 1) }))];
    /** @type {Map<string, Sense[]>} */
    const groups = new Map();
    for (const sense of this.senses.all()) noted(groups, `${sense.at} ${sense.kind}`, () => /** @type {Sense[]} */ ([])).push(sense);
    const meant = [...groups.values()].map((senses) => {
      const rank = Math.min(...senses.map((sense) => sense.rank));
      const near = senses.filter((sense) => sense.rank === rank), best = Math.max(...near.map((sense) => sense.score));
      return { score: best - 0.02 * rank, at: nth(senses, 0).at, senses: near.filter((sense) => sense.score >= best - 1e-9) };
    });
    const all = [...still.map((row) => ({ ...row, senses: /** @type {Sense[]} */ ([]) })), ...meant];
    return all.sort((a, b) => b.score - a.score || compared(a.at, b.at));
  }

  /**
   * Bare states of several traits (a color) go to the first trait that has nothing else yet; else they say nothing new.
   * @param {Held[]} held
   * @returns {Held[]}
   */
  settled(held) {
    /** @type {Map<string, string>} */
    const shown = new Map();
    /** @type {Held[]} */
    const found = [];
    let family = "";
    for (let one of held) {
      const first = nth(one.says, 0), [named = "", kind] = first.split("/");
      const other = one.kind === "name" && named !== family && this.vocabulary.slots.has(named);
      if (one.kind === "name" && (kind || other)) shown.clear();
      if (other) family = named;
      if (one.kind === "state" && !one.last.length && this.vocabulary.common.has(traitOf(first))) {
        const fitting = this.fitting(one, shown);
        if (!fitting.length && !this.doubtful(found, one)) continue;
        if (fitting.length) one = { ...one, says: fitting };
      }
      const says = nth(one.says, 0);
      if (one.kind === "state" && !shown.has(traitOf(says))) shown.set(traitOf(says), says);
      found.push(one);
    }
    return found;
  }

  /** @param {Held} one @param {Map<string, string>} shown @returns {string[]} */
  fitting(one, shown) {
    const first = firstOf(one.at), either = first > 0 && this.more.has(this.token(first - 1).canon);
    const fitting = one.says.filter((says) => either || (shown.get(traitOf(says)) ?? says) === says);
    if (new Set(fitting.map(traitOf)).size <= 1) return fitting;
    const worn = fitting.filter((says) => this.livery.has(says));
    const trait = traitOf(nth(worn.length ? worn : fitting, 0));
    return fitting.filter((says) => traitOf(says) === trait);
  }

  /**
   * Whether a color is told beside another one by who doubts or disagrees: black, but he says it is green.
   * @param {Held[]} before
   * @param {Held} one
   * @returns {boolean}
   */
  doubtful(before, one) {
    const trait = traitOf(nth(one.says, 0)), first = firstOf(one.at);
    const told = [...before].reverse().find((row) => row.kind === "state" && traitOf(nth(row.says, 0)) === trait);
    if (!told || first - lastOf(told.at) > OTHERWISE) return false;
    const between = range(lastOf(told.at) + 1, first);
    const doubts = this.matches.filter((match) => ["hedge", SPEAKING].includes(match.phrase.kind)).map((match) => firstOf(match.at));
    return between.some((k) => doubts.includes(k) || this.more.has(this.token(k).canon));
  }

  // Words around --------------------------------------------------------------------------------------------------------

  /**
   * Whether a break of at least this strength stands between two words.
   * @param {number} first
   * @param {number} last
   * @param {number} least
   * @returns {boolean}
   */
  breaks(first, last, least) {
    return range(first + 1, last + 1).some((k) => this.token(k).stop >= least);
  }

  /**
   * Slots that are only named, where words beside them say that something is there, or that nothing is.
   * @param {Held[]} held
   * @returns {Held[]}
   */
  mentioned(held) {
    const idle = this.matches.filter((match) => match.phrase.kind === IDLE);
    const used = new Set([...held, ...idle].flatMap((one) => one.at));
    const firm = new Set(held.flatMap(decisive).filter((i) => used.has(i)));
    /** @type {Map<number, string>} */
    const told = new Map();
    /** @type {Map<number, string>} */
    const behind = new Map();
    /** @type {[Match, Sense][]} */
    const left = [];
    /** @type {Held[]} */
    const found = [];
    const spoken = this.spoken(held);
    const marks = [...this.senses.slotMarks].sort(([a, s], [b, t]) => firstOf(a.at) - firstOf(b.at) || t.score - s.score || s.rank - t.rank);
    for (const [match, sense] of marks) {
      const item = this.senses.item(firstOf(match.at)), opens = this.opens(match, item), key = spokenKey(sense.says, item);
      const known = spoken.has(key) || spoken.has(spokenKey(sense.says, item, this.sentence(firstOf(match.at))[0]));
      if (match.at.some((i) => (opens ? firm : used).has(i))) continue;
      let beside = this.beside(match.at, used);
      if (beside === null && (this.senses.loose || opens) && !known) beside = [PRESENT, []];
      beside ??= this.listed(match.at, told);
      if (beside === null) {
        left.push([match, sense]);
        continue;
      }
      const [word, words] = beside;
      told.set(lastOf(match.at), word);
      behind.set(firstOf(match.at), words.length && firstOf(words) > firstOf(match.at) ? word : "");
      [...match.at, ...words].forEach((i) => used.add(i));
      const whole = ordered([...match.at, ...words]);
      const apart = this.breaks(firstOf(whole), lastOf(whole), COMMA) || lastOf(whole) - firstOf(whole) > TOGETHER;
      const gone = word === GONE;
      if (!gone && known && !this.answer(lastOf(match.at))) continue;
      spoken.add(key);
      found.push({ ...heldOf("part", [sense.says], apart ? match.at : whole), last: match.at, denied: gone });
    }
    return [...found, ...this.beforeOthers(left.reverse().filter(([match]) => !match.at.some((i) => used.has(i))), behind)];
  }

  /**
   * The slots of which something is said: by name anywhere, as what they show in the sentence that is given. Each with its item; of
   * a loose part only its name counts.
   * @param {Held[]} held
   * @returns {Set<string>}
   */
  spoken(held) {
    /** @type {Set<string>} */
    const found = new Set();
    for (const one of held) {
      const first = firstOf(one.at), item = this.senses.item(first), slot = traitOf(nth(one.says, 0)).split(".", 1)[0] ?? "";
      if (one.kind === "part") found.add(spokenKey(slot, item));
      else if (one.kind === "state" && !this.senses.loose && item === null) found.add(spokenKey(slot, item, this.sentence(first)[0]));
    }
    return found;
  }

  /**
   * Things that share the word behind the one that follows: horn and bell are missing. behind: by that one's first word.
   * @param {[Match, Sense][]} left
   * @param {Map<number, string>} behind
   * @returns {Held[]}
   */
  beforeOthers(left, behind) {
    /** @type {Held[]} */
    const found = [];
    const joining = (/** @type {Token} */ token) => this.small.has(token.canon) || this.joining.has(token.canon);
    for (const [match, sense] of left) {
      const end = lastOf(match.at);
      let k = end + 1;
      for (let token = this.tokens[k]; token && joining(token) && token.stop < SENTENCE; token = this.tokens[k]) k++;
      const word = k > end + 1 ? behind.get(k) : undefined;
      if (!word || this.token(k).stop >= SENTENCE) continue;
      behind.set(firstOf(match.at), word);
      found.push({ ...heldOf("part", [sense.says], match.at), last: match.at, denied: word === GONE });
    }
    return found;
  }

  /** Whether a loose part is named here as the one that is for sale. @param {Match} match @param {Item | null} item @returns {boolean} */
  opens(match, item) {
    return item !== null && match.phrase.home === partHome(item.slotType) && firstOf(match.at) < item.first + OPENING;
  }

  /**
   * As the thing before it in a list, with which it shares the word of presence or absence.
   * @param {number[]} at
   * @param {Map<number, string>} told
   * @returns {Told | null}
   */
  listed(at, told) {
    const first = firstOf(at);
    let k = first - 1;
    while (k >= 0 && this.small.has(this.token(k).canon) && this.token(k + 1).stop < SENTENCE) k--;
    const word = told.get(k);
    return word !== undefined && k < first - 1 && this.token(k + 1).stop < SENTENCE ? [word, []] : null;
  }

  /**
   * What is said of their being there right before or after these words, or in answer.
   * @param {number[]} at
   * @param {Set<number>} used
   * @returns {Told | null}
   */
  beside(at, used) {
    const answer = this.answer(lastOf(at));
    if (answer) return answer;
    /** @type {{weight: number, told: Told} | null} */
    let best = null;
    for (const { phrase, at: words } of this.matches) {
      if (![PRESENT, GONE].includes(phrase.kind) || words.some((i) => used.has(i))) continue;
      const before = phrase.says === "before";
      const [lo, hi] = before ? [lastOf(words), firstOf(at)] : [lastOf(at), firstOf(words)];
      const headed = hi === lo + 1 && this.between(lo, hi).trim() === ":";
      if (lo >= hi || (this.breaks(lo, hi, COMMA) && !headed)) continue;
      if (!before && words.length === 1 && this.goesOn(firstOf(words))) continue;
      const between = range(lo + 1, hi);
      const far = between.reduce((sum, k) => sum + (this.small.has(this.token(k).canon) ? 0.3 : 1), 0);
      if (far > (before ? 1 : 0.7) || between.some((k) => used.has(k))) continue;
      const weight = far - (phrase.kind === GONE ? 0.5 : 0) - 0.1 * words.length;
      if (best === null || weight < best.weight) best = { weight, told: [phrase.kind, words] };
    }
    return best && best.told;
  }

  /** What yes or no answers to a question of a few words that ends with this one: bell? yes. @param {number} i @returns {Told | null} */
  answer(i) {
    const [first, last] = this.sentence(i);
    if (i !== last || last - first >= ASKS || !this.senses.asks(last)) return null;
    const after = this.answerAt(last);
    const found = this.matches.find(({ phrase, at }) => firstOf(at) === after && phrase.kind === DENY && ["answer", "yes"].includes(phrase.says));
    return found ? [found.phrase.says === "answer" ? GONE : PRESENT, found.at] : null;
  }

  /**
   * The claim, turned around where a negation governs it; the word that does is part of it where it stands next to it.
   * @param {Held} one
   * @returns {Held}
   */
  denied(one) {
    if (PLAIN.includes(one.kind) || one.denied) return one;
    const first = firstOf(one.at), end = lastOf(one.at), last = decisive(one);
    const turned = (/** @type {number[]} */ at) => ({ ...one, denied: true, at, last });
    const holdsOne = one.at.some((i) => this.lexicon.negating.has(this.token(i).text));
    for (const { at } of holdsOne ? [] : this.negations("before")) {
      const begin = lastOf(at);
      if (![first, firstOf(last)].some((start) => begin < start && start <= begin + DENIES + 1 && this.reaches(begin, start))) continue;
      const near = range(begin + 1, first).every((k) => this.small.has(this.token(k).canon));
      return turned(near ? ordered([...at, ...one.at]) : one.at);
    }
    for (const { at } of this.negations("yes")) {
      if (firstOf(at) === end + 1 && this.breaks(end, firstOf(at), COMMA)) return { ...one, at: [...one.at, ...at], last: [] };
    }
    const [, closing] = this.sentence(firstOf(last)), answered = this.senses.asks(closing) ? this.answerAt(closing) : -1;
    for (const { at } of this.negations("answer")) {
      const begin = firstOf(at), near = begin === end + 1;
      if (begin === answered || (near && /[?:]/.test(this.between(end, begin)))) return turned(near ? ordered([...at, ...one.at]) : one.at);
    }
    for (const { at } of this.negations("after")) {
      const begin = firstOf(at);
      if (one.kind === "name" || (at.length === 1 && this.goesOn(begin))) continue;
      const near = end < begin && begin <= end + 2 && !this.breaks(end, begin, COMMA);
      if (near && range(end + 1, begin).every((k) => this.small.has(this.token(k).canon))) return turned(ordered([...at, ...one.at]));
    }
    return one;
  }

  /** Whether it stands in a question that no yes and no no answers: how long is the pilot? @param {Held} one @returns {boolean} */
  onlyAsked(one) {
    if (!ASKABLE.includes(one.kind)) return false;
    const [first, last] = this.sentence(firstOf(decisive(one)));
    const opens = this.tokens.slice(first, Math.min(first + ASKS, last + 1)).some((token) => this.asking.has(token.text));
    if (!opens || !this.senses.asks(last)) return false;
    const after = this.answerAt(last);
    return !this.matches.some(({ phrase, at }) => phrase.kind === DENY && ["answer", "yes"].includes(phrase.says) && firstOf(at) === after);
  }

  /** The first and the last word of the sentence of a word. @param {number} i @returns {[number, number]} */
  sentence(i) {
    const begins = (/** @type {number} */ k) => this.token(k).stop >= SENTENCE;
    const next = range(i + 1, this.tokens.length).find(begins) ?? this.tokens.length;
    return [range(1, i + 1).reverse().find(begins) ?? 0, next - 1];
  }

  /**
   * Where the answer to a question begins whose last word this is: behind the letter or the word that marks it.
   * @param {number} last
   * @returns {number}
   */
  answerAt(last) {
    let k = last + 1;
    while (k + 1 < this.tokens.length && k <= last + 2 && this.token(k + 1).stop === COMMA && this.token(k).text.length === 1) k++;
    return k;
  }

  /** Whether a word is followed at once by what it is said of instead: horn missing one bell. @param {number} i @returns {boolean} */
  goesOn(i) {
    const following = this.tokens[i + 1];
    return following !== undefined && following.stop === 0 && !this.joining.has(following.canon);
  }

  /** @param {string} where @returns {Match[]} */
  negations(where) {
    return this.matches.filter(({ phrase, at }) => phrase.kind === DENY && phrase.says === where && !at.some((i) => this.words.has(i)));
  }

  /**
   * Whether nothing ends a negation before the claim: no break but that of a list, and no other claim.
   * @param {number} begin
   * @param {number} first
   * @returns {boolean}
   */
  reaches(begin, first) {
    for (let k = begin + 1; k <= first; k++) {
      const token = this.token(k);
      if (token.stop >= SENTENCE) return false;
      const listed = this.moreFollows(k);
      if (token.stop === COMMA && !this.more.has(token.canon) && !this.more.has(this.token(k - 1).canon) && !listed) return false;
      if (k < first && this.firm.has(k) && !listed && !range(k, first).some((j) => this.more.has(this.token(j).canon))) return false;
    }
    return true;
  }

  /** Whether a list that ends with "or" goes on here: dents, dings or scratches. @param {number} k @returns {boolean} */
  moreFollows(k) {
    for (const token of this.tokens.slice(k + 1, k + LIST)) {
      if (token.stop >= SENTENCE) return false;
      if (this.more.has(token.canon)) return true;
    }
    return false;
  }

  // In doubt -----------------------------------------------------------------------------------------------------------

  /**
   * The claims, doubtful where words of doubt govern them: what follows in their clause, else what precedes.
   * @param {Held[]} held
   * @returns {Held[]}
   */
  doubted(held) {
    const row = [...held];
    held.forEach((hedge, h) => {
      if (hedge.kind !== "hedge" || this.vocabulary.sellers.governsNothing.includes(nth(hedge.says, 0))) return;
      for (const n of this.governed(held, h)) row[n] = { ...nth(row, n), hedged: true };
    });
    return row;
  }

  /** @param {Held[]} row @param {number} h @returns {number[]} */
  governed(row, h) {
    const hedge = nth(row, h);
    /** @type {number[]} */
    const found = [];
    for (const n of range(h + 1, row.length).filter((k) => !this.breaks(lastOf(hedge.at), firstOf(nth(row, k).at), SENTENCE))) {
      const one = nth(row, n);
      if (one.kind === "hedge" || (found.length && this.breaks(lastOf(nth(row, lastOf(found)).at), firstOf(one.at), COMMA))) break;
      if (DOUBTABLE.includes(one.kind)) found.push(n);
    }
    if (found.length) return found;
    return range(0, h).filter((n) => DOUBTABLE.includes(nth(row, n).kind) && !this.breaks(lastOf(nth(row, n).at), firstOf(hedge.at), SENTENCE)).slice(-1);
  }

  // Places --------------------------------------------------------------------------------------------------------------

  /**
   * Claims with their characters: from the first word to the last where no other claim stands between.
   * @param {Held[]} held
   * @returns {Claim[]}
   */
  placed(held) {
    const found = held.map((one, n) => {
      const others = new Set(held.flatMap((other, m) => (m === n ? [] : other.at)));
      const crossed = (/** @type {number[]} */ at) => range(Math.min(...at), Math.max(...at) + 1).some((i) => others.has(i));
      let { at } = one;
      if (crossed(at) || Math.max(...at) - Math.min(...at) >= LONGEST) {
        at = one.last.length ? one.last : at.slice(-1);
        while (at.length > 1 && crossed(at)) at = at.slice(1);
      }
      const [start, end] = one.chars ?? [this.token(Math.min(...at)).start, this.token(Math.max(...at)).end];
      const quote = this.characters.slice(start, end).join("");
      return { start, end, quote, kind: /** @type {Kind} */ (one.kind), says: one.says, denied: one.denied, hedged: one.hedged };
    });
    return apart(found);
  }
}

/** @param {string} says @returns {string} */
function traitOf(says) {
  return says.split("=", 1)[0] ?? "";
}

/** @param {string} slot @param {Item | null} item @param {number} [sentence] @returns {string} */
function spokenKey(slot, item, sentence) {
  return JSON.stringify([slot, item && [item.first, item.last, item.slotType], sentence ?? null]);
}

/**
 * In reading order; of two that overlap, the longer gives way where it can, else the later one goes.
 * @param {Claim[]} found
 * @returns {Claim[]}
 */
function apart(found) {
  /** @type {Claim[]} */
  const kept = [];
  for (const one of [...found].sort((a, b) => a.start - b.start || b.end - a.end)) {
    const before = kept[kept.length - 1];
    if (!before || before.end <= one.start) kept.push(one);
  }
  return kept;
}
