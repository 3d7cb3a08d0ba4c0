/**
 * Which answer is likely a misreading: the chance that it names what is not there, all answers considered. The formulas stand
 * in `identify/doubts.py`.
 */

import {
  anyhow,
  apartFromTold,
  between,
  blended,
  likelihood,
  looks,
  rowWeights,
  shareBetween,
  swapped,
  worth,
} from "./belief.js";
import { keptFor } from "./kept.js";
import { any, float, int, dot, each, full, largest, one, share, take, times, weighted } from "./matrix.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./belief.js").Evidence} Evidence
 */

/** An answer looks wrong from this chance on. At one in three, a second look costs less than living with the mistake. */
export const LOOKS_WRONG = 0.3;
/** And only where the chance is so many times that of a misreading of its kind. */
export const WELL_ABOVE = 3;
/** A typed text names the markings that it fits at least so well as the best of them. */
export const AS_GOOD = 0.5;
/** A row where the trait is read less often than this has no such thing. */
export const THERE = 0.5;

/** The chance that one look (counted from 0) names what is not there; `usual` is that of any answer of its kind. */
export class Doubt {
  /**
   * @param {number} trait
   * @param {number} look
   * @param {number} chance
   * @param {number} usual
   */
  constructor(trait, look, chance, usual) {
    this.trait = trait;
    this.look = look;
    this.chance = chance;
    this.usual = usual;
  }

  /** Whether a person should be told. */
  get looksWrong() {
    return this.chance >= LOOKS_WRONG && this.chance >= WELL_ABOVE * this.usual;
  }
}

/**
 * The doubt about every look, in the order of the answers; none of an answer that names nothing that is recorded.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {readonly Evidence[]} evidence
 * @returns {Doubt[]}
 */
export function doubts(compiled, belief, evidence) {
  return evidence.flatMap((given) => {
    const trait = one(compiled.traits, given.trait);
    const rows = rowsNow(one(compiled.slots, trait.slot), belief, trait.slot);
    return misread(trait, given).map(
      ({ look, chance, usual }) => new Doubt(given.trait, look, Math.min(dot(rows, chance), 1), usual),
    );
  });
}

/** @type {WeakMap<Belief, Map<Slot, Float64Array>>} */
const keptRows = new WeakMap();

/**
 * P(row or part i is what the slot shows now | answers); sums to 1.
 * @param {Slot} slot
 * @param {Belief} belief
 * @param {number} s
 * @returns {Float64Array} the same one every time
 */
export function rowsNow(slot, belief, s) {
  return keptFor(keptFor(keptRows, belief, () => new Map()), slot, () => newRowsNow(slot, belief, s));
}

/**
 * @param {Slot} slot
 * @param {Belief} belief
 * @param {number} s
 * @returns {Float64Array}
 */
function newRowsNow(slot, belief, s) {
  const rows = one(belief.evidence, s);
  const factor = one(belief.factor, s);
  const weight = rowWeights(slot, belief.probability);
  if (slot.parts.length) return each(weighted(share(weight, factor), slot.fitted), rows);
  const redone = each(weight, swapped(slot, rows, factor));
  const now = weight.map((value, u) => value - float(redone, u));
  redone.forEach((value, u) => {
    const row = int(slot.redone, u);
    now[row] = float(now, row) + value;
  });
  return now;
}

/**
 * The states that one look names: those of the answer, or the markings that a typed text fits best.
 * @param {Evidence} evidence
 * @param {number} [look]
 * @returns {Float64Array} 1 for each that it names
 */
export function named(evidence, look = 0) {
  const weights = [evidence.weights, ...evidence.again][look];
  if (!weights) throw new Error("an answer without states names none");
  const least = AS_GOOD * largest(weights);
  const names = evidence.typed && any(weights) ? (/** @type {number} */ w) => w >= least : (/** @type {number} */ w) => w > 0;
  return weights.map((weight) => Number(names(weight)));
}

/**
 * The chance that each of those who tell of a trait names what is not there, all that was answered and told considered.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Evidence} evidence
 * @returns {number[]}
 */
export function toldWrong(compiled, belief, evidence) {
  const trait = one(compiled.traits, evidence.trait);
  const now = rowsNow(one(compiled.slots, trait.slot), belief, trait.slot);
  return toldWrongByRow(trait, evidence).map((wrong) => Math.min(dot(now, wrong), 1));
}

/**
 * P(what is told is not there | row i, everything read and told of the trait) of each who tells of it.
 * @param {Trait} trait
 * @param {Evidence} evidence
 * @returns {Float64Array[]}
 */
export function toldWrongByRow(trait, evidence) {
  if (trait.alike !== trait) return toldWrongByRow(trait.alike, evidence).map((wrong) => take(wrong, trait.look));
  if (evidence.byState && !trait.measured) {
    const all = looks(trait, evidence);
    const whole = likelihood(trait, evidence);
    return evidence.told.map(({ said }) => share(times(trait.truth, without(all, named(said))), whole));
  }
  return evidence.told.map(({ said, wrong }) => {
    const chance = likelihood(trait, said);
    const byChance = anyhow(trait, said);
    const missed = misread(trait, said)[0];
    let right = chance.map((value, i) => (1 - wrong) * value * (1 - (missed ? float(missed.chance, i) : 0)));
    if (!trait.measured && said.weights !== null) {
      // what is said anyhow may be so; of a value that is next to never
      const there = times(trait.truth, named(said));
      right = right.map((value, i) => value + wrong * byChance * float(there, i));
    }
    return share(right, worth(wrong, chance, byChance)).map((value) => 1 - value);
  });
}

/**
 * Numbers, with 0 in the place of those that are named.
 * @param {Float64Array} numbers
 * @param {Float64Array} names
 * @returns {Float64Array}
 */
function without(numbers, names) {
  return numbers.map((number, k) => (float(names, k) ? 0 : number));
}

/**
 * Of every look P(misread | row i, everything read of the trait), and the usual chance of it.
 * @param {Trait} trait
 * @param {Evidence} given
 * @returns {{look: number, chance: Float64Array, usual: number}[]}
 */
function misread(trait, given) {
  if (trait.alike !== trait) {
    return misread(trait.alike, given).map((found) => ({ ...found, chance: take(found.chance, trait.look) }));
  }
  const alone = apartFromTold(trait, given);
  if (!alone?.seen) return [];
  if (alone.weights === null) return [{ look: 0, chance: misreadMeasure(trait, alone), usual: alone.gone ? 0 : trait.blunders }];
  const all = [alone.weights, ...alone.again];
  if (trait.measured || !all.every(any)) return [];
  const read = alone.typed ? alone.weights : looks(trait, alone);
  const right = trait.states.map((_, k) => float(trait.confusion.data, k * trait.confusion.columns + k));
  const whole = likelihood(trait, alone);
  return all.map((_, look) => ({
    look,
    chance: share(times(trait.truth, without(read, named(alone, look))), whole),
    usual: alone.typed ? 0 : 1 - Math.min(...right),
  }));
}

/**
 * P(misread | row i, what was measured): nothing is there, or it was a blunder.
 * @param {Trait} trait
 * @param {Evidence} given
 * @returns {Float64Array}
 */
function misreadMeasure(trait, given) {
  const nothing = trait.applies.map((applies) => Number(applies < THERE));
  if (given.gone) return nothing.map((none) => 1 - none);
  const blunder = each(given.interval ? blunderBetween(trait, given.interval) : blunderAt(trait), trait.applies);
  return share(blunder, likelihood(trait, given)).map((chance, i) => (float(nothing, i) ? 1 : chance));
}

/**
 * P(any value, by a blunder | row i).
 * @param {Trait} trait
 * @returns {Float64Array}
 */
function blunderAt(trait) {
  const flat = trait.blunders / Math.max(trait.most - trait.least, 1e-12);
  return blended(trait, full(trait.mean.length, flat), flat);
}

/**
 * P(said to lie between two bounds, by a blunder | row i).
 * @param {Trait} trait
 * @param {readonly [number, number]} interval
 * @returns {Float64Array}
 */
function blunderBetween(trait, interval) {
  const part = trait.blunders * shareBetween(trait, ...interval);
  const inside = between(trait, ...interval).map((chance) => (chance - part) / Math.max(1 - trait.blunders, 1e-12));
  const anywhere = part * (1 - shareBetween(trait, ...interval));
  return blended(
    trait,
    inside.map((chance) => part * (1 - chance)),
    anywhere,
  );
}
