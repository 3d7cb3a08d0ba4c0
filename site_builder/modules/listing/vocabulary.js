/** The vocabulary of a knowledge base as `site_builder/packed_listing.py` packs it; see `identify/vocabulary.py`. */

import { Finder, Lexicon } from "./phrases.js";

/**
 * @typedef {import("./phrases.js").PackedLexicon} PackedLexicon
 * @typedef {import("./phrases.js").PackedFinder} PackedFinder
 *
 * @typedef {object} Sellers what the reading needs of `sellers.yaml` beside phrases; pairs are [key, words]
 * @property {string[]} trailing
 * @property {string[]} being
 * @property {string[]} describing
 * @property {string[]} asking
 * @property {string[]} governsNothing
 * @property {string[]} joining
 * @property {string[]} more
 * @property {[number, string[]][]} cardinals
 * @property {[number, string[]][]} fractions
 * @property {[number, string[]][]} decades
 * @property {[string, number, number][]} within
 * @property {string[]} to
 * @property {string[]} counted
 * @property {string[]} numbered
 * @property {[string, string[]][]} currency
 * @property {string[]} askedAfter
 * @property {string[]} goesOn
 * @property {string[]} sent
 * @property {string[]} year
 * @property {[string, string[]][]} units
 *
 * @typedef {object} PackedVocabulary
 * @property {PackedLexicon} lexicon
 * @property {PackedFinder} finder
 * @property {[string, [string, string[]][]][]} numbers by letters and digits alone: how each is written, and its families
 * @property {[string, string, number, number, string][]} measurables trait, unit, least, most, home
 * @property {[string, string[]][]} slots of each family: slot and slot type in turn
 * @property {[string, string[]][]} shown what each livery shows, as "trait=state"
 * @property {string[]} common the traits that every family states
 * @property {[string, string, number][]} showing home, "trait=state", how many original parts show it, where several do
 * @property {[string, string, number][]} dimensions unit, what it measures, how many of the smallest unit it is
 * @property {Sellers} sellers
 *
 * @typedef {object} Measurable a trait with a value: its unit and bounds, and its home
 * @property {string} trait
 * @property {string} unit
 * @property {number} least
 * @property {number} most
 * @property {string} home
 *
 * @typedef {object} Vocabulary everything the reading of a text needs of the entries
 * @property {Sellers} sellers
 * @property {Lexicon} lexicon
 * @property {Finder} finder
 * @property {Map<string, [string, string[]][]>} numbers
 * @property {Measurable[]} measurables
 * @property {Map<string, [string, string][]>} slots
 * @property {Map<string, Set<string>>} shown
 * @property {Set<string>} common
 * @property {Set<string>} several "home trait=state" of states that several parts show
 * @property {Map<string, [string, number]>} dimensions
 */

/** Kinds of phrases that make no claim themselves. */
export const SLOT = "slot";
export const PRESENT = "present";
export const GONE = "gone";
export const DENY = "deny";
export const TRAIT = "trait";
export const IDLE = "idle";
export const LOOSE = "loose";
export const SPEAKING = "speaking";
export const PAID = "paid";
export const ASKED = "asked";
export const POSTING = "posting";
export const OTHER_YEAR = "other year";

/**
 * The vocabulary made ready.
 * @param {PackedVocabulary} packed
 * @returns {Vocabulary}
 */
export function vocabularyOf(packed) {
  const lexicon = new Lexicon(packed.lexicon);
  return {
    sellers: packed.sellers,
    lexicon,
    finder: new Finder(lexicon, packed.finder),
    numbers: new Map(packed.numbers),
    measurables: packed.measurables.map(([trait, unit, least, most, home]) => ({ trait, unit, least, most, home })),
    slots: new Map(packed.slots.map(([family, flat]) => [family, [...pairs(flat)]])),
    shown: new Map(packed.shown.map(([livery, states]) => [livery, new Set(states)])),
    common: new Set(packed.common),
    several: new Set(packed.showing.map(([home, says]) => `${home} ${says}`)),
    dimensions: new Map(packed.dimensions.map(([unit, dimension, factor]) => [unit, [dimension, factor]])),
  };
}

/**
 * The home of a slot type's phrases.
 * @param {string} slotType
 * @returns {string}
 */
export function partHome(slotType) {
  return `part:${slotType}`;
}

/**
 * The id in a home.
 * @param {string} home
 * @returns {string}
 */
export function idOf(home) {
  return home.slice(home.indexOf(":") + 1 || home.length);
}

/**
 * Whether this name is of a livery, a family or a kind, and not of a maker alone.
 * @param {Vocabulary} vocabulary
 * @param {string} says
 * @returns {boolean}
 */
export function namesUnits(vocabulary, says) {
  return vocabulary.shown.has(says) || vocabulary.slots.has(before(says, "/"));
}

/** What stands before a mark. @param {string} text @param {string} mark @returns {string} */
function before(text, mark) {
  return text.split(mark, 1)[0] ?? "";
}

/**
 * The letters and digits of a number alone, in lower case.
 * @param {string} number
 * @returns {string}
 */
export function squeezed(number) {
  return number.toLowerCase().replace(/[^a-z0-9]/g, "");
}

/** @param {string[]} flat @returns {Generator<[string, string]>} */
function* pairs(flat) {
  for (let i = 0; i + 1 < flat.length; i += 2) yield [flat[i] ?? "", flat[i + 1] ?? ""];
}
