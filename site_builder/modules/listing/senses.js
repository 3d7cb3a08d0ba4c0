/** What a phrase found in a text means there: of which family, of which slot, of which record; see `identify/senses.py`. */

import { COMMA, PARAGRAPH, SENTENCE, noted } from "./phrases.js";
import { alike, firstOf, isFigures, isLetters, isTitled, lastOf, nth, range } from "./strings.js";
import { GONE, LOOSE, SLOT, SPEAKING, TRAIT, idOf, namesUnits, partHome } from "./vocabulary.js";

/**
 * @typedef {import("./figures.js").Figure} Figure
 * @typedef {import("./phrases.js").Match} Match
 * @typedef {import("./phrases.js").Token} Token
 * @typedef {import("./vocabulary.js").Vocabulary} Vocabulary
 *
 * @typedef {object} Sense what a stretch of words says here
 * @property {string} kind
 * @property {string} says
 * @property {number[]} at
 * @property {number} score how little it is there by chance, its family counted in
 * @property {number} rank how near its family was named, 0 the nearest
 * @property {number[]} last the words that decide, of a phrase in several parts
 * @property {string} trait of a state
 * @property {Figure | null} figure
 * @property {boolean} denied
 * @property {boolean} spot it names a place of damage
 *
 * @typedef {object} Item a stretch of words about one part that is off its unit
 * @property {number} first
 * @property {number} last
 * @property {string} slotType
 *
 * @typedef {{at: number, family: string, strong: boolean}} Named a family named at a word of the text
 */

/** What a place of damage is worth over the same words said of anything. */
const SPOT = 0.3;
/** And what is taken off where it is a place on units of another family, which this one may have as well. */
const OTHERS_SPOT = 0.5;
/** How far a place may be named from the part that sits there, in words. */
const PLACE_NEAR = 5;
/** What a part's name is worth, over the same words said of its state, when other words stand in it. */
const TORN = -0.1;
/** A part that a sentence opens with is named within so many words. */
export const OPENING = 5;
/** So many names of a family end with a word that stands for it. */
const NAMES = 3;
/** Words that take up what the sentence before was about, when one of the first two is one of them. */
const TAKING_UP = new Set(["it", "its", "it's", "they", "that", "this", "these", "those", "both", "one", "each"]);
/** A part is still spoken of behind so many commas. */
const COMMAS = 3;
/** Grams of a pound. */
const POUND = 453.59237;
const KINDS = ["name", "state", "part", "condition", "defect", "shipping", "hedge"];

/** The meanings in one text. */
export class Senses {
  /**
   * @param {string} text with characters one place wide
   * @param {Token[]} tokens
   * @param {Match[]} matches
   * @param {Figure[]} figures
   * @param {Vocabulary} vocabulary
   */
  constructor(text, tokens, matches, figures, vocabulary) {
    this.text = text;
    this.tokens = tokens;
    this.vocabulary = vocabulary;
    this.lexicon = vocabulary.lexicon;
    this.matches = matches;
    this.figures = figures;
    this.trailing = new Set([...vocabulary.sellers.trailing, ...vocabulary.sellers.joining]);
    this.partMarks = matches.filter((match) => match.phrase.kind === SLOT && match.phrase.home.startsWith("part:"));
    const parts = matches.filter((match) => this.ofPart(match) && (match.phrase.kind === SLOT || this.closed(match.at)));
    this.partNames = parts.map(({ at, phrase }) => ({ end: lastOf(at), kind: idOf(phrase.home) }));
    /** @type {Map<number, string | null>} the slot type that each word is said of */
    this.topics = new Map();
    this.figured = new Set(figures.flatMap((figure) => figure.at));
    this.being = new Set(vocabulary.sellers.being.map((word) => this.lexicon.canon(word)));
    this.loose = this.isLoose();
    this.items = this.itemsOf();
    this.named = [...this.allNamed()].sort((a, b) => a.at - b.at);
    this.families = this.familiesOf();
    this.named = [...this.named, ...this.takenUp()].sort((a, b) => a.at - b.at);
    /** @type {[Match, Sense][]} */
    this.slotMarks = [];
    const marks = matches.filter((match) => match.phrase.kind === SLOT);
    this.slotMarks = marks.flatMap((match) => this.slot(match).map((sense) => /** @type {[Match, Sense]} */ ([match, sense])));
  }

  /** @param {number} i @returns {Token} */
  token(i) {
    return nth(this.tokens, i);
  }

  // Which families the text is about ------------------------------------------------------------------------------------

  /** Whether the text is about parts off their units: it says so, and no number names a unit. @returns {boolean} */
  isLoose() {
    if (this.figures.some((figure) => figure.kind === "number")) return false;
    const kinds = new Set(this.matches.filter((match) => !match.alone).map((match) => match.phrase.kind));
    const named = this.matches.some((match) => match.phrase.kind === "name" && this.ofUnit(match));
    return kinds.has(LOOSE) || (!named && (kinds.has("part") || this.head(0) !== null));
  }

  /**
   * The parts that a list of loose ones goes through: each opens a sentence or a line and, among units, has its price.
   * @returns {Item[]}
   */
  itemsOf() {
    const units = new Set(this.figures.filter((figure) => figure.kind === "number").map((figure) => firstOf(figure.at)));
    const prices = this.figures.filter((figure) => figure.kind === "price").map((figure) => lastOf(figure.at)).sort((a, b) => a - b);
    const opening = new Set(prices.map((k) => k + 1));
    this.tokens.forEach((token, i) => token.stop >= SENTENCE && opening.add(i));
    const heads = [...opening].sort((a, b) => a - b).filter((i) => i < this.tokens.length)
      .flatMap((i) => { const kind = this.head(i); return kind ? [{ i, kind }] : []; });
    /** @type {Item[]} */
    const found = [];
    heads.forEach(({ i, kind }, n) => {
      let following = heads[n + 1]?.i ?? this.tokens.length;
      following = range(i + 1, following).find((k) => this.token(k).stop >= PARAGRAPH || units.has(k)) ?? following;
      const price = prices.find((k) => i < k && k < following);
      if (this.loose || price !== undefined) found.push({ first: i, last: price ?? following - 1, slotType: kind });
    });
    return this.loose || found.length > 1 ? found : [];
  }

  /**
   * The slot type of the part with which a sentence opens, unless it opens with a unit; a number may stand before it.
   * @param {number} i
   * @returns {string | null}
   */
  head(i) {
    if (!this.tokens.length) return null;
    i += this.numbers(i) && i + 1 < this.tokens.length ? 1 : 0;
    const end = range(i + 1, Math.min(i + OPENING, this.tokens.length)).find((k) => this.token(k).stop) ?? i + OPENING;
    const parts = this.matches.filter((match) => this.ofPart(match) && i <= firstOf(match.at) && firstOf(match.at) < end);
    /** @type {Match | null} */
    let best = null;
    for (const match of parts) if (best === null || wider(match, best)) best = match;
    if (best === null) return null;
    const before = range(i, firstOf(best.at) + 1);
    const units = [...this.matches.filter((match) => match.phrase.kind === "name" && this.ofUnit(match)), ...this.figures.filter((figure) => figure.kind === "number")];
    const left = units.filter((unit) => !parts.some((match) => within(unit.at, match.at))); // the tender of a tender shell
    return left.some((unit) => unit.at.some((k) => before.includes(k))) ? null : idOf(best.phrase.home);
  }

  /** Whether a word is the number or the letter of an item in a list. @param {number} i @returns {boolean} */
  numbers(i) {
    const { text, end } = this.token(i);
    return isFigures(text) || (text.length === 1 && this.text.charAt(end) === ")");
  }

  /** @param {Match} match @returns {boolean} */
  ofPart(match) {
    return ["part", SLOT].includes(match.phrase.kind) && match.phrase.home.startsWith("part:") && !match.alone;
  }

  /** @param {Match} match @returns {boolean} */
  ofUnit(match) {
    return namesUnits(this.vocabulary, match.phrase.says);
  }

  /** The loose part that a word is about. @param {number} i @returns {Item | null} */
  item(i) {
    return this.items.find((item) => item.first <= i && i <= item.last) ?? null;
  }

  /** @returns {Generator<Named>} */
  *allNamed() {
    const numbered = new Set(this.figures.flatMap((figure) => [...figure.families]));
    for (const figure of this.figures) {
      const [family] = figure.families;
      if (figure.kind === "number" && figure.families.size === 1 && family !== undefined) yield { at: firstOf(figure.at), family, strong: true };
    }
    /** @type {Map<string, Match[]>} */
    const byWords = new Map();
    for (const match of this.matches) {
      if (match.phrase.kind === "name" && match.phrase.home) noted(byWords, match.at.join(), () => /** @type {Match[]} */ ([])).push(match);
    }
    for (const row of byWords.values()) {
      const { at } = nth(row, 0);
      const over = [...byWords.values()].flatMap((rows) => (within(at, nth(rows, 0).at) ? rows : []));
      let families = [...new Set([...row, ...over].map((match) => idOf(match.phrase.home)))];
      const both = families.filter((family) => numbered.has(family));
      if (families.length > 1 && both.length === 1) families = both;
      const strong = at.length > 1 || row.some((match) => match.phrase.own || this.vocabulary.slots.has(match.phrase.says));
      if (families.length === 1) yield { at: Math.min(...at), family: nth(families, 0), strong };
    }
  }

  /** Families of the text named by the last word of their names alone: engine, where the other one is a tender. @returns {Named[]} */
  takenUp() {
    if (this.families.length < 2) return [];
    const taken = new Set(this.matches.filter(({ phrase, at }) => phrase.kind === "name" || (phrase.home && at.length > 1)).flatMap(({ at }) => at));
    return this.tokens.flatMap(({ canon }, at) => {
      const ending = [...(this.vocabulary.finder.endings.get(canon) ?? [])].filter(([family]) => this.families.includes(family));
      const [family = "", times = 0] = ending[0] ?? [];
      return !taken.has(at) && !this.lexicon.small.has(canon) && ending.length === 1 && times >= NAMES ? [{ at, family, strong: false }] : [];
    });
  }

  /** The families of the text; what it speaks of most where it names none. @returns {string[]} */
  familiesOf() {
    if (this.loose) return [];
    for (const strong of [true, false]) {
      const found = [...new Set(this.named.filter((one) => one.strong || !strong).map((one) => one.family))];
      if (found.length) return found;
    }
    /** @type {Map<string, number>} */
    const votes = new Map();
    for (const { phrase, at } of this.matches) {
      if (!phrase.home.startsWith("family:") || !["state", "defect", "name", SLOT].includes(phrase.kind)) continue;
      votes.set(idOf(phrase.home), (votes.get(idOf(phrase.home)) ?? 0) + at.length ** 2);
    }
    const best = Math.max(0, ...votes.values());
    return [...votes].filter(([, vote]) => vote === best).map(([family]) => family).slice(0, 1);
  }

  /** The families of the text, by how near they were named before this word, then after it. @param {number} i @returns {string[]} */
  near(i) {
    const known = this.named.filter((one) => this.families.includes(one.family));
    const before = known.filter((one) => one.at <= i).reverse(), after = known.filter((one) => one.at > i);
    return [...new Set([...before.map((one) => one.family), ...after.map((one) => one.family), ...this.families])];
  }

  // What a phrase means -------------------------------------------------------------------------------------------------

  /** Every meaning of every phrase and figure that fits the text. @returns {Sense[]} */
  all() {
    return [...this.matches.flatMap((match) => [...this.meant(match)]), ...this.figuredOut()];
  }

  /** @param {Match} match @returns {Generator<Sense>} */
  *meant(match) {
    const { phrase, at } = match, { kind, says } = phrase;
    if (kind === SPEAKING && this.person(firstOf(at) - 1)) yield sense("hedge", says, [firstOf(at) - 1, ...at], match.score + 1);
    if (!KINDS.includes(kind)) return;
    const item = this.item(lastOf(at)), home = idOf(phrase.home);
    if ((match.alone && !this.spokenOf(home, firstOf(at), item)) || (item && kind === "state" && !phrase.home)) return;
    if (this.astray(match)) return;
    const trait = kind === "state" ? (says.split("=", 1)[0] ?? "") : "";
    if (phrase.home.startsWith("family:")) yield* this.meantOfFamily(match, home, trait);
    else if (phrase.home.startsWith("part:")) yield* this.meantOfPart(match, home, trait);
    else yield sense(kind, says, at, match.score, { last: match.last, trait, denied: phrase.denied });
  }

  /** @param {Match} match @param {string} home @param {string} trait @returns {Generator<Sense>} */
  *meantOfFamily({ phrase, at, score, last }, home, trait) {
    const rank = this.near(lastOf(at)).indexOf(home), spot = phrase.kind === "defect";
    if (rank >= 0) yield sense(phrase.kind, phrase.says, at, score + (spot ? SPOT : 0.06), { rank, last, trait, denied: phrase.denied, spot });
    else if (spot && this.harmedAlike(phrase, at)) yield sense("defect", phrase.says, at, score - OTHERS_SPOT, { last });
    else if (phrase.kind === "name" && this.loose && phrase.long) yield sense("name", phrase.says, at, score, { last });
  }

  /** @param {Match} match @param {string} home @param {string} trait @returns {Generator<Sense>} */
  *meantOfPart({ phrase, at, score, last }, home, trait) {
    const part = phrase.kind === "part";
    if (part && !this.namesPart(at)) return;
    for (const [rank, slot] of this.slots(home, at)) {
      const several = this.vocabulary.several.has(`${phrase.home} ${phrase.says}`);
      const torn = part && at.length <= lastOf(at) - firstOf(at);
      const more = torn ? TORN : part ? 0.05 : several ? 0.06 : 0.03;
      yield sense(phrase.kind, part ? `${slot}=${phrase.says}` : `${slot}.${phrase.says}`, at, score + more, { rank, last, trait: trait && `${slot}.${trait}` });
    }
  }

  /**
   * Whether a word that does not name its part is said of one of this type.
   * @param {string} slotType
   * @param {number} i
   * @param {Item | null} item
   * @returns {boolean}
   */
  spokenOf(slotType, i, item) {
    if (item !== null || this.loose) return item !== null && item.slotType === slotType;
    return noted(this.topics, i, () => this.topic(i)) === slotType;
  }

  /**
   * The slot type of the part named last before a word, in its sentence or in the one that this one takes up or answers.
   * @param {number} i
   * @returns {string | null}
   */
  topic(i) {
    const begins = (/** @type {number} */ k) => this.token(k).stop >= SENTENCE;
    let first = range(1, i + 1).reverse().find(begins) ?? 0;
    const takenUp = this.tokens.slice(first, Math.min(first + 2, i)).some((token) => TAKING_UP.has(token.text));
    if (first && this.token(first).stop < PARAGRAPH && (takenUp || this.asks(first - 1))) first = range(1, first).reverse().find(begins) ?? 0;
    const [nearest = ""] = this.near(i), types = new Set((this.vocabulary.slots.get(nearest) ?? []).map(([, kind]) => kind));
    const before = this.partNames.filter(({ end, kind }) => first <= end && end < i && types.has(kind));
    const last = Math.max(-1, ...before.map(({ end }) => end)), named = new Set(before.filter(({ end }) => end === last).map(({ kind }) => kind));
    const commas = this.tokens.slice(last + 1, i + 1).filter((token) => token.stop === COMMA).length;
    return named.size === 1 && commas <= COMMAS ? [...named][0] ?? null : null;
  }

  /** Whether a phrase is said of something else than its thing. @param {Match} match @returns {boolean} */
  astray(match) {
    const { kind, home } = match.phrase;
    if (kind === "condition") return this.describes(match);
    if ((kind === "state" || kind === "defect") && this.crossed(match)) return true;
    return kind === "state" && !home.startsWith("part:") && !match.last.length && this.ofOther(match);
  }

  /**
   * Whether a word of praise or blame is said of what follows and of no train: a good home, a fair man.
   * @param {Match} match
   * @returns {boolean}
   */
  describes(match) {
    if (!this.vocabulary.sellers.describing.includes(match.phrase.says) || match.at.length > 1) return false;
    return this.describesNext(match);
  }

  /** Whether a word that no phrase holds follows at once. @param {Match} match @returns {boolean} */
  describesNext(match) {
    const after = this.tokens[lastOf(match.at) + 1];
    if (!after || after.stop || !isLetters(after.text) || this.trailing.has(after.text)) return false;
    return !this.lexicon.ofPhrases(after.text) && !this.lexicon.small.has(after.canon);
  }

  /**
   * Whether another part is named, behind a comma, between a thing and what would be said of it.
   * @param {Match} match
   * @returns {boolean}
   */
  crossed({ at, last }) {
    const between = range(firstOf(at), lastOf(at)).filter((k) => !at.includes(k));
    const stops = between.filter((k) => this.token(k).stop === COMMA);
    if (!last.length || !stops.length) return false;
    const first = Math.min(...stops);
    return this.partMarks.some((mark) => mark.at.every((k) => between.includes(k)) && firstOf(mark.at) >= first);
  }

  /**
   * Whether a word, such as a color, is said of something else: of a thing that no trait is called by, or of a part.
   * @param {Match} match
   * @returns {boolean}
   */
  ofOther(match) {
    const i = firstOf(match.at), end = lastOf(match.at), after = this.tokens[end + 1], bare = match.at.length === 1;
    if (bare && this.describesNext(match)) return true;
    const called = new Set(match.phrase.groups.flat(2).map((word) => word.canon));
    for (const mark of this.partMarks) {
      if (match.at.some((k) => mark.at.includes(k))) continue;
      if (mark.at.some((k) => called.has(this.token(k).canon))) continue;
      const behind = lastOf(mark.at);
      if (bare && firstOf(mark.at) === end + 1 && after && !after.stop) return true;
      if (behind === i - 1 && this.text.slice(this.token(i - 1).end, this.token(i).start).trim() === ":") return true;
      const between = this.tokens.slice(behind + 1, i);
      if (between.length && behind < i && i <= behind + 2 && between.every((token) => this.being.has(token.canon))) {
        return !this.token(i).stop && !nth(between, 0).stop;
      }
    }
    return false;
  }

  /** Whether the sentence that ends with this word is a question. @param {number} last @returns {boolean} */
  asks(last) {
    return this.text.slice(this.token(last).end, this.tokens[last + 1]?.start ?? this.text.length).includes("?");
  }

  /**
   * Whether a word is a person's name: with a capital inside a sentence, and no word that the entries know.
   * @param {number} i
   * @returns {boolean}
   */
  person(i) {
    if (i < 1 || this.token(i).stop >= SENTENCE || this.token(i + 1).stop) return false;
    const { raw, text } = this.token(i);
    return isTitled(raw) && isLetters(raw) && !this.lexicon.known.has(text);
  }

  /**
   * Whether a part's name that is torn apart is still one: nothing but small words and counts in it, and no figure.
   * @param {number[]} at
   * @returns {boolean}
   */
  namesPart(at) {
    const between = range(firstOf(at), lastOf(at)).filter((k) => !at.includes(k)).map((k) => this.token(k));
    return !at.some((k) => this.figured.has(k)) && between.every((token) => this.lexicon.small.has(token.canon) || isFigures(token.text));
  }

  /**
   * Whether words for damage to another family say the same of this one; that something is gone is said of its slot.
   * @param {Match["phrase"]} phrase
   * @param {number[]} at
   * @returns {boolean}
   */
  harmedAlike(phrase, at) {
    const gone = this.matches.some((other) => other.phrase.kind === GONE && other.at.some((k) => at.includes(k)));
    return at.length > 1 && !phrase.denied && this.closed(at) && !gone;
  }

  /** Whether nothing but small words stands between these. @param {number[]} at @returns {boolean} */
  closed(at) {
    return range(firstOf(at), lastOf(at)).every((k) => at.includes(k) || this.lexicon.small.has(this.token(k).canon));
  }

  /**
   * Rank of its family and slot for a part of this type: the slot type where it may sit in several or in none.
   * @param {string} slotType
   * @param {number[]} at
   * @returns {[number, string][]}
   */
  slots(slotType, at) {
    if (this.loose || !this.families.length || this.item(lastOf(at))) return [[0, slotType]];
    for (const [rank, family] of this.near(lastOf(at)).entries()) {
      const slots = (this.vocabulary.slots.get(family) ?? []).filter(([, kind]) => kind === slotType).map(([slot]) => slot);
      if (slots.length === 1) return [[rank, nth(slots, 0)]];
      if (slots.length) return [[rank, this.placed(slots, at) ?? slotType]];
    }
    return [];
  }

  /**
   * The one slot of these that is named around these words, in the same part of the sentence.
   * @param {string[]} slots
   * @param {number[]} at
   * @returns {string | null}
   */
  placed(slots, at) {
    let best = Infinity, found = null;
    for (const [match, { says }] of this.slotMarks) {
      if (!slots.includes(says) || match.at.length <= 1) continue;
      const lo = Math.min(...match.at, ...at), hi = Math.max(...match.at, ...at);
      if (hi - lo > PLACE_NEAR + at.length || range(lo + 1, hi + 1).some((k) => this.token(k).stop >= SENTENCE)) continue;
      const far = match.at.some((k) => at.includes(k)) ? 0 : hi - lo;
      if (far < best) [best, found] = [far, says];
    }
    return found;
  }

  /** The slot that is named. @param {Match} match @returns {Sense[]} */
  slot({ phrase, at, score, last }) {
    const home = idOf(phrase.home);
    if (!phrase.home.startsWith("family:")) return this.slots(home, at).map(([rank, slot]) => sense("part", slot, at, score, { rank, last }));
    const rank = this.near(lastOf(at)).indexOf(home);
    return rank >= 0 ? [sense("part", phrase.says, at, score + 0.1, { rank, last })] : [];
  }

  // Figures -------------------------------------------------------------------------------------------------------------

  /** @returns {Sense[]} */
  figuredOut() {
    return this.figures.flatMap((figure) => {
      const says = figure.kind === "measure" ? this.measured(figure) : figure.says;
      return says ? [sense(figure.kind, says, figure.at, 9, { figure })] : [];
    });
  }

  /**
   * The trait that a value with a unit is of: one that has such values, called by name nearest to it.
   * @param {Figure} figure
   * @returns {string | null}
   */
  measured(figure) {
    let best = Infinity, found = null;
    const fitting = this.fitting(figure);
    for (const [trait, home, says] of fitting) {
      for (const { phrase, at } of this.matches) {
        if (phrase.kind !== TRAIT || phrase.says !== trait || phrase.home !== home) continue;
        const far = this.far(at, figure.at);
        if (far !== null && far < best) [best, found] = [far, says];
      }
    }
    const says = found ?? (new Set(fitting.map((row) => row[2])).size === 1 ? nth(fitting, 0)[2] : null);
    return says === null ? null : `${says}=${shortest(figure.value)} ${figure.unit}`;
  }

  /**
   * How far a name is from a figure: a comma between counts for two words, a longer name is nearer.
   * @param {number[]} named
   * @param {number[]} at
   * @returns {number | null}
   */
  far(named, at) {
    const [lo, hi] = firstOf(named) < firstOf(at) ? [lastOf(named), firstOf(at)] : [lastOf(at), firstOf(named)];
    const stops = range(lo + 1, hi + 1).map((k) => this.token(k).stop);
    if (stops.some((stop) => stop >= SENTENCE)) return null;
    return hi - lo + 2 * stops.filter((stop) => stop === COMMA).length - 0.5 * named.length + (firstOf(named) > firstOf(at) ? 0.5 : 0);
  }

  /**
   * Trait, home and what a claim calls it of every measured trait with such a unit and value that the text may mean.
   * @param {Figure} figure
   * @returns {[string, string, string][]}
   */
  fitting(figure) {
    const families = this.near(firstOf(figure.at)), item = this.item(firstOf(figure.at)), own = item && partHome(item.slotType);
    const { dimensions } = this.vocabulary;
    const [dimension, factor] = figure.unit === "lb" ? ["weight", POUND] : (dimensions.get(figure.unit) ?? [null, 0]);
    return this.vocabulary.measurables.flatMap(({ trait, unit, least, most, home }) => {
      const [ofTrait, one] = dimensions.get(unit) ?? [null, 1];
      const value = (figure.value * factor) / one;
      if ((own && home !== own) || dimension === null || dimension !== ofTrait || value < least || value > most) return [];
      if (home.startsWith("part:")) return this.slots(idOf(home), figure.at).map(([, slot]) => [trait, home, `${slot}.${trait}`]);
      const meant = home ? families.includes(idOf(home)) : families.length > 0;
      return meant ? [[trait, home, trait]] : [];
    });
  }
}

/**
 * @param {string} kind
 * @param {string} says
 * @param {number[]} at
 * @param {number} score
 * @param {Partial<Sense>} [more]
 * @returns {Sense}
 */
function sense(kind, says, at, score, more = {}) {
  return { kind, says, at, score, rank: 0, last: [], trait: "", figure: null, denied: false, spot: false, ...more };
}

/** Whether one match has more words, or as many and earlier. @param {Match} one @param {Match} other @returns {boolean} */
function wider(one, other) {
  return one.at.length > other.at.length || (one.at.length === other.at.length && firstOf(one.at) < firstOf(other.at));
}

/** Whether some words are a part of others, and not all of them. @param {number[]} some @param {number[]} others @returns {boolean} */
function within(some, others) {
  return some.length < others.length && some.every((k) => others.includes(k)) && !alike(some, others);
}

/**
 * A value with at most six places, as Python writes it: what lies halfway goes to the even figure.
 * @param {number} value
 * @returns {string}
 */
export function shortest(value) {
  const written = value.toFixed(6), half = value.toFixed(20).slice(written.length).replace(/0+$/, "") === "5";
  const even = half && Number(written.slice(-1)) % 2 === 1 && Number(written) > value ? (Number(written) - 1e-6).toFixed(6) : written;
  return even.replace(/0+$/, "").replace(/\.$/, "");
}
