/**
 * Belief: what the answers say about every candidate. Arrays in, arrays out; the formulas stand in `identify/belief.py`.
 */

import { any, float, int, dot, each, full, largest, matrix, one, sum, take, times } from "./matrix.js";
import { SAME } from "./arrays.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * @typedef {{said: Evidence, wrong: number}} Told what somebody says, put as an answer, and how often that is wrong
 *
 * @typedef {object} Belief
 * @property {Float64Array} probability probability[c]
 * @property {Float64Array[]} evidence for each slot E[i] over its rows or parts
 * @property {Float64Array[]} factor for each slot factor[u], the sum that belief multiplies
 * @property {boolean} plausible whether any candidate can show what was answered; probability is the prior where not
 */

/** Chance that a unit shows a state nobody recorded; the same for every candidate, so it moves none of them. */
export const UNRECORDED = 1e-3;
/** Chance that a typed marking is none of the recorded ones, for any text of its length. */
export const UNRECORDED_MARKING = 1e-6;
/** A unit or part that is not in the record has with this chance a value or a marking that nobody recorded. */
export const NEW_VALUE = 0.1;
/** Chance of any one text among the markings that could be there. */
export const ANY_TEXT = 1e-3;

/**
 * What was answered to one trait: at most one of weights, interval, value and gone; none where others only tell of it.
 * The fields are those of `Evidence` in Python.
 */
export class Evidence {
  /**
   * @param {number} trait
   * @param {Partial<Pick<Evidence, "weights" | "again" | "typed" | "interval" | "value" | "gone" | "told">>} [what]
   */
  constructor(trait, what = {}) {
    this.trait = trait;
    /** @type {Float64Array | null} */
    this.weights = what.weights ?? null;
    /** @type {readonly Float64Array[]} */
    this.again = what.again ?? [];
    /** @type {boolean} */
    this.typed = what.typed ?? false;
    /** @type {readonly [number, number] | null} */
    this.interval = what.interval ?? null;
    /** @type {readonly [number, number] | null} */
    this.value = what.value ?? null;
    /** @type {boolean} */
    this.gone = what.gone ?? false;
    /** @type {readonly Told[]} */
    this.told = what.told ?? [];
  }

  /** Whether it was answered, and not only told. */
  get seen() {
    return this.weights !== null || this.interval !== null || this.value !== null || this.gone;
  }

  /**
   * Whether everything in it is of states that were read, so that it can be worked out state by state.
   * @returns {boolean}
   */
  get byState() {
    const states = this.weights !== null && !this.typed && any(this.weights);
    return (states || !this.seen) && this.told.every(({ said }) => said.byState);
  }

  /** @param {readonly Told[]} told */
  withTold(told) {
    return new Evidence(this.trait, { ...this, told });
  }
}

/**
 * The belief after these answers, at most one for each trait.
 * @param {Compiled} compiled
 * @param {readonly Evidence[]} evidence
 * @returns {Belief}
 */
export function believe(compiled, evidence) {
  const rows = slotEvidence(compiled, evidence);
  const factor = compiled.slots.map((slot, s) => slotFactor(slot, one(rows, s)));
  const answered = new Set(evidence.map(({ trait }) => one(compiled.traits, trait).slot));
  const log = compiled.prior.map(Math.log);
  for (const s of [...answered].sort((a, b) => a - b)) {
    const row = one(compiled.slots, s).row;
    const logs = one(factor, s).map(Math.log);
    for (let c = 0; c < log.length; c++) log[c] = float(log, c) + float(logs, int(row, c));
  }
  const top = largest(log);
  if (top === -Infinity) return { probability: compiled.prior, evidence: rows, factor, plausible: false };
  const probability = log.map((value) => Math.exp(value - top));
  const total = sum(probability);
  return { probability: probability.map((value) => value / total), evidence: rows, factor, plausible: true };
}

/**
 * E_s[i] for every slot: chance of all its answers given each row or part.
 * @param {Compiled} compiled
 * @param {readonly Evidence[]} evidence
 * @returns {Float64Array[]}
 */
export function slotEvidence(compiled, evidence) {
  const rows = compiled.slots.map((slot) => full(slot.parts.length || slot.redone.length, 1));
  for (const given of evidence) {
    const trait = one(compiled.traits, given.trait);
    const mine = one(rows, trait.slot);
    const chance = likelihood(trait.alike, given);
    for (let i = 0; i < mine.length; i++) mine[i] = float(mine, i) * float(chance, int(trait.look, i));
  }
  return rows;
}

/**
 * factor[u]: chance of evidence[i] given the row a candidate points at, changes since included.
 * @param {Slot} slot
 * @param {Float64Array} evidence
 * @returns {Float64Array}
 */
export function slotFactor(slot, evidence) {
  if (slot.parts.length) return times(slot.fitted, evidence);
  return evidence.map((chance, u) => {
    const swap = float(slot.swap, u);
    return (1 - swap) * chance + swap * float(evidence, int(slot.redone, u));
  });
}

/**
 * The belief in each row of a slot: weight[u] from probability[c].
 * @param {Slot} slot
 * @param {Float64Array} probability
 * @returns {Float64Array}
 */
export function rowWeights(slot, probability) {
  const weight = new Float64Array(slot.rows);
  for (let c = 0; c < probability.length; c++) {
    const u = int(slot.row, c);
    weight[u] = float(weight, u) + float(probability, c);
  }
  return weight;
}

/**
 * Whether the unit most likely has slot s, and the slot is one that can be changed.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {number} s
 * @returns {boolean}
 */
export function canBeChanged(compiled, belief, s) {
  const slot = one(compiled.slots, s);
  const changeable = slot.swap.map((swap) => (swap > 0 ? 1 : 0));
  return dot(rowWeights(slot, belief.probability), changeable) > 0.5 + SAME;
}

/**
 * The chance that slot s was changed since.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {number} s
 * @returns {number}
 */
export function changedShare(compiled, belief, s) {
  const slot = one(compiled.slots, s);
  return dot(rowWeights(slot, belief.probability), swapped(slot, one(belief.evidence, s), one(belief.factor, s)));
}

/**
 * P(changed since | row u, answers); the prior chance where the answers are impossible there.
 * @param {Slot} slot
 * @param {Float64Array} evidence
 * @param {Float64Array} factor
 * @returns {Float64Array}
 */
export function swapped(slot, evidence, factor) {
  const redone = slot.parts.length ? times(slot.replaced, evidence) : take(evidence, slot.redone);
  return slot.swap.map((swap, u) => (float(factor, u) > 0 ? (swap * float(redone, u)) / float(factor, u) : swap));
}

/**
 * P(part r sits there | row u, answers) of a part slot.
 * @param {Slot} slot
 * @param {Float64Array} evidence
 * @param {Float64Array} factor
 * @returns {Matrix}
 */
export function partsNow(slot, evidence, factor) {
  const { rows, columns, data } = slot.fitted;
  const found = matrix(rows, columns, data.slice());
  for (let u = 0; u < rows; u++) {
    const whole = float(factor, u);
    if (!(whole > 0)) continue;
    for (let r = 0; r < columns; r++) {
      found.data[u * columns + r] = (float(data, u * columns + r) * float(evidence, r)) / whole;
    }
  }
  return found;
}

/**
 * The same with factor[c], the chance of what is told of the whole unit given each candidate, counted into the prior.
 * Unchanged where no candidate is left.
 * @param {Compiled} compiled
 * @param {Float64Array} factor
 * @returns {Compiled}
 */
export function leaning(compiled, factor) {
  const prior = each(compiled.prior, factor);
  const total = sum(prior);
  return total > 0 ? { ...compiled, prior: prior.map((weight) => weight / total) } : compiled;
}

/**
 * The chance that a statement about a trait is just this one when it is made whatever the unit is: all states alike.
 * @param {Trait} trait
 * @param {Evidence} said
 * @returns {number}
 */
export function anyhow(trait, said) {
  if (said.weights !== null) {
    if (!any(said.weights)) return said.typed ? ANY_TEXT : UNRECORDED;
    const mean = sum(said.weights) / said.weights.length;
    return said.typed ? Math.min(1, mean + ANY_TEXT) : mean;
  }
  if (said.gone) return 0.5;
  return said.interval ? shareBetween(trait, ...said.interval) : 1 / Math.max(trait.most - trait.least, 1e-12);
}

/**
 * The chance of what is told from that of the same as an answer.
 * @param {number} wrong how often it is wrong
 * @param {Float64Array} chance
 * @param {number} byChance
 * @returns {Float64Array}
 */
export function worth(wrong, chance, byChance) {
  return chance.map((value) => (1 - wrong) * value + wrong * byChance);
}

/**
 * P(answer, and what is told | row i) of the trait's table.
 * Of one true state, where all of it is of states; of values and typed texts, each given the row on its own.
 * @param {Trait} trait
 * @param {Evidence} evidence
 * @returns {Float64Array}
 */
export function likelihood(trait, evidence) {
  if (trait.alike !== trait) return take(likelihood(trait.alike, evidence), trait.look);
  if (!evidence.told.length) return answerChance(trait, evidence);
  if (evidence.byState && !trait.measured) return times(trait.truth, looks(trait, evidence));
  const seen = evidence.seen ? answerChance(trait, evidence) : full(trait.applies.length, 1);
  return evidence.told.reduce(
    (chance, { said, wrong }) => each(chance, worth(wrong, likelihood(trait, said), anyhow(trait, said))),
    seen,
  );
}

/**
 * P(answer | row i).
 * @param {Trait} trait
 * @param {Evidence} evidence
 * @returns {Float64Array}
 */
function answerChance(trait, evidence) {
  const { weights, value, interval } = evidence;
  if (weights !== null) {
    if (![weights, ...evidence.again].every(any)) return full(trait.truth.rows, UNRECORDED);
    if (evidence.typed) return typedChance(trait, weights);
    return evidence.again.length ? times(trait.truth, looks(trait, evidence)) : times(trait.table, weights);
  }
  if (evidence.gone) return trait.applies.map((applies) => 1 - applies);
  if (value !== null) return density(trait, value[0], value[1]);
  if (interval === null) throw new Error("evidence without an answer");
  const [low, high] = interval;
  return each(blended(trait, between(trait, low, high), shareBetween(trait, low, high)), trait.applies);
}

/**
 * Whoever is not recorded may read like nobody recorded.
 * @param {Trait} trait
 * @param {Float64Array} weights
 * @returns {Float64Array}
 */
function typedChance(trait, weights) {
  return times(trait.truth, weights).map((known, i) => {
    const unknown = int(trait.blendOf, i) >= 0 && float(trait.applies, i) > 0.5;
    return (trait.isNew[i] ? 1 - NEW_VALUE : 1) * known + (unknown ? NEW_VALUE * ANY_TEXT : UNRECORDED_MARKING);
  });
}

/**
 * Chance of a measured value, read with this uncertainty, given row i.
 * @param {Trait} trait
 * @param {number} value
 * @param {number} spread
 * @returns {Float64Array}
 */
export function density(trait, value, spread) {
  if (trait.alike !== trait) return take(density(trait.alike, value, spread), trait.look);
  const span = Math.max(trait.most - trait.least, 1e-12);
  const rows = trait.mean.map((mean, i) => {
    const sd = Math.hypot(float(trait.sd, i), spread);
    const normal = Math.exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * Math.sqrt(2 * Math.PI));
    return (1 - trait.blunders) * normal + trait.blunders / span;
  });
  return each(blended(trait, rows, 1 / span), trait.applies);
}

/**
 * P(everything that was read or told | true state k) over all looks at a trait with states.
 * @param {Trait} trait
 * @param {Evidence} evidence
 * @returns {Float64Array}
 */
export function looks(trait, evidence) {
  const all = evidence.weights === null ? evidence.again : [evidence.weights, ...evidence.again];
  const read = all.map((look) => times(trait.confusion, look));
  return [...read, ...heard(trait, evidence)].reduce(each, full(trait.states.length, 1));
}

/**
 * Without what is told where that is counted for each row on its own, and not by true state; null when that is all.
 * @param {Trait} trait
 * @param {Evidence} evidence
 * @returns {Evidence | null}
 */
export function apartFromTold(trait, evidence) {
  if (!evidence.told.length || (evidence.byState && !trait.measured)) return evidence;
  return evidence.seen ? evidence.withTold([]) : null;
}

/**
 * P(what is told | true state k) of every one who tells of a trait with states.
 * @param {Trait} trait
 * @param {Evidence} evidence
 * @returns {Float64Array[]}
 */
export function heard(trait, evidence) {
  return evidence.told.map(({ said, wrong }) => worth(wrong, looks(trait, said), anyhow(trait, said)));
}

/**
 * P(low < value < high | row i) with blunders, read with this uncertainty; NaN where nothing is recorded.
 * @param {Trait} trait
 * @param {number} low
 * @param {number} high
 * @param {number} [reading]
 * @returns {Float64Array}
 */
export function between(trait, low, high, reading = 0) {
  const anywhere = trait.blunders * shareBetween(trait, low, high);
  return trait.mean.map((mean, i) => {
    const sd = Math.hypot(float(trait.sd, i), reading);
    return (1 - trait.blunders) * (normalCdf((high - mean) / sd) - normalCdf((low - mean) / sd)) + anywhere;
  });
}

/**
 * The part of all that the trait can be which lies between two bounds.
 * @param {Trait} trait
 * @param {number} low
 * @param {number} high
 * @returns {number}
 */
export function shareBetween(trait, low, high) {
  const inside = (/** @type {number} */ bound) => Math.min(Math.max(bound, trait.least), trait.most);
  return (inside(high) - inside(low)) / Math.max(trait.most - trait.least, 1e-12);
}

/**
 * One number for each row, where those that are not recorded (NaN) take the blend of the recorded ones; new ones may be anywhere.
 * @param {Trait} trait
 * @param {Float64Array} rows
 * @param {number} anywhere
 * @returns {Float64Array}
 */
export function blended(trait, rows, anywhere) {
  if (trait.blendOf.every((f) => f < 0)) return rows;
  const known = rows.map((value, i) => (int(trait.blendOf, i) >= 0 ? 0 : value));
  const blends = times(trait.blend, known);
  const sums = times(trait.blend, full(known.length, 1));
  return known.map((value, i) => {
    const f = int(trait.blendOf, i);
    const filled = f < 0 ? value : float(sums, f) === 0 ? anywhere : float(blends, f);
    return trait.isNew[i] ? (1 - NEW_VALUE) * filled + NEW_VALUE * anywhere : filled;
  });
}

/**
 * The standard normal distribution function; keeps NaN.
 * @param {number} z
 * @returns {number}
 */
export function normalCdf(z) {
  return 0.5 * (1 + erf(z / Math.SQRT2));
}

/**
 * The error function. Near 0 by its series with positive terms, farther out by the continued fraction of what is left to 1
 * (Abramowitz and Stegun 1964, 7.1.6 and 7.1.14), each carried until it no longer changes.
 * @param {number} x
 * @returns {number}
 */
export function erf(x) {
  if (Number.isNaN(x)) return NaN;
  if (x < 0) return -erf(-x);
  if (x > 6) return 1;
  if (x > 2.5) {
    let fraction = 0;
    for (let n = 80; n > 0; n--) fraction = n / 2 / (x + fraction);
    return 1 - Math.exp(-x * x) / (Math.sqrt(Math.PI) * (x + fraction));
  }
  let found = 0;
  let term = (2 / Math.sqrt(Math.PI)) * x * Math.exp(-x * x);
  for (let n = 1; found + term !== found; n++) {
    found += term;
    term *= (2 * x * x) / (2 * n + 1);
  }
  return found;
}
