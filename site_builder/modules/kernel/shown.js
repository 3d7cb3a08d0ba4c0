/** What the rows of a slot show a question: the looks at a trait that candidates have, and how likely each is. */

import { keptFor } from "./kept.js";
import { any, float, int, largest, matrix, one, sum, takeInts } from "./matrix.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./matrix.js").Matrix} Matrix
 */

/** Candidates below this share of the leader's probability are left out when news is counted. */
export const NEGLIGIBLE = 1e-9;
/** A factor below this is taken for it, so that nothing is divided by nothing. */
const TINY = 1e-300;

/**
 * @typedef {object} Live candidates that are not negligible, those of one group behind each other
 * @property {Int32Array} candidate
 * @property {Float64Array} weight sums to 1
 * @property {Int32Array} begins where each group begins, and last how many candidates there are
 * @property {Map<number, ShownBySlot>} slots what was worked out of them
 * @property {Map<Trait, Shown>} traits
 */

/** @type {WeakMap<Belief, Map<Int32Array, Live>>} */
const keptLive = new WeakMap();

/** @type {WeakMap<Int32Array, Int32Array>} */
const keptOrder = new WeakMap();

/**
 * @param {Belief} belief
 * @param {Int32Array} groups
 * @returns {Live} the same one every time
 */
export function liveByGroup(belief, groups) {
  return keptFor(keptFor(keptLive, belief, () => new Map()), groups, () => newLive(belief.probability, groups));
}

/**
 * @param {Float64Array} probability
 * @param {Int32Array} groups
 * @returns {Live}
 */
function newLive(probability, groups) {
  const order = keptFor(keptOrder, groups, () =>
    Int32Array.from(groups, (_, c) => c).sort((a, b) => int(groups, a) - int(groups, b) || a - b),
  );
  const least = NEGLIGIBLE * largest(probability);
  const candidate = new Int32Array(order.length);
  const weight = new Float64Array(order.length);
  const begins = new Int32Array(order.length + 1);
  let count = 0;
  let group = 0;
  for (let n = 0; n < order.length; n++) {
    const c = int(order, n);
    if (float(probability, c) <= least) continue;
    if (!count || int(groups, c) !== int(groups, int(candidate, count - 1))) begins[group++] = count;
    candidate[count] = c;
    weight[count++] = float(probability, c);
  }
  begins[group++] = count;
  const total = sum(weight);
  return {
    candidate: candidate.subarray(0, count),
    weight: weight.subarray(0, count).map((w) => w / total),
    begins: begins.subarray(0, group),
    slots: new Map(),
    traits: new Map(),
  };
}

/**
 * Of each live candidate which kind of row it has in a slot: rows of one kind show a trait alike when they have one look of it.
 * @typedef {object} ShownBySlot
 * @property {Int32Array} kind
 * @property {number} kinds
 * @property {Shown | null} shown of a part slot, whose rows are the kinds and which shows all traits alike
 *
 * @typedef {object} Shown looks at a trait
 * @property {Int32Array} row a row of the slot for each look; -1 where no live candidate has it
 * @property {Spread} spread
 *
 * @typedef {object} Spread the weights of live candidates by what they show
 * @property {Float64Array} alone by look, of those groups that show one look
 * @property {Int32Array} begins of each other group where its looks begin, and last how many there are
 * @property {Int32Array} look
 * @property {Float64Array} weight
 */

/**
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Trait} trait
 * @param {Live} live
 * @returns {Shown}
 */
export function shownByTrait(compiled, belief, trait, live) {
  const slot = keptFor(live.slots, trait.slot, () => shownBySlot(compiled, belief, trait.slot, live));
  return slot.shown ?? keptFor(live.traits, trait, () => shownByRow(one(compiled.slots, trait.slot), trait, slot, live));
}

/**
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {number} s
 * @param {Live} live
 * @returns {ShownBySlot}
 */
function shownBySlot(compiled, belief, s, live) {
  const slot = one(compiled.slots, s);
  const rows = takeInts(slot.row, live.candidate);
  if (slot.parts.length) {
    const row = new Int32Array(slot.rows).fill(-1);
    for (let n = 0; n < rows.length; n++) row[int(rows, n)] = int(rows, n);
    return { kind: rows, kinds: slot.rows, shown: { row, spread: spreadOf(rows, slot.rows, live) } };
  }
  const kind = new Int32Array(rows.length);
  if (!any(slot.swap)) return { kind, kinds: 1, shown: null };
  const evidence = one(belief.evidence, s);
  /** @type {Map<string, Map<number, number>>} */
  const kinds = new Map();
  let count = 0;
  let swap = NaN;
  let redone = -1;
  /** @type {Map<number, number>} */
  let alike = new Map();
  for (let n = 0; n < rows.length; n++) {
    const u = int(rows, n);
    if (float(slot.swap, u) !== swap || int(slot.redone, u) !== redone) {
      swap = float(slot.swap, u);
      redone = int(slot.redone, u);
      alike = keptFor(kinds, `${swap} ${redone}`, () => new Map());
    }
    kind[n] = keptFor(alike, float(evidence, u), () => count++);
  }
  return { kind, kinds: count, shown: null };
}

/**
 * What each row of an own slot shows of a trait.
 * @param {Slot} slot
 * @param {Trait} trait
 * @param {ShownBySlot} shown
 * @param {Live} live
 * @returns {Shown}
 */
function shownByRow(slot, trait, { kind, kinds }, live) {
  const looks = trait.alike.applies.length;
  const row = new Int32Array(kinds * looks).fill(-1);
  const look = new Int32Array(live.candidate.length);
  for (let n = 0; n < look.length; n++) {
    const u = int(slot.row, int(live.candidate, n));
    const which = int(kind, n) * looks + int(trait.look, u);
    look[n] = which;
    row[which] = u;
  }
  return { row, spread: spreadOf(look, row.length, live) };
}

/**
 * @param {Int32Array} look of each live candidate
 * @param {number} looks how many there can be
 * @param {Live} live
 * @returns {Spread}
 */
function spreadOf(look, looks, { weight, begins }) {
  const alone = new Float64Array(looks);
  const inGroup = new Float64Array(looks);
  /** @type {number[]} */
  const found = [];
  /** @type {number[]} */
  const weights = [];
  const first = [0];
  for (let g = 0; g + 1 < begins.length; g++) {
    const from = int(begins, g);
    const to = int(begins, g + 1);
    let same = true;
    for (let n = from + 1; n < to; n++) same &&= int(look, n) === int(look, from);
    const sums = same ? alone : inGroup;
    for (let n = from; n < to; n++) sums[int(look, n)] = float(sums, int(look, n)) + float(weight, n);
    if (same) continue;
    for (let n = from; n < to; n++) {
      const which = int(look, n);
      if (!float(inGroup, which)) continue;
      found.push(which);
      weights.push(float(inGroup, which));
      inGroup[which] = 0;
    }
    first.push(found.length);
  }
  return { alone, begins: Int32Array.from(first), look: Int32Array.from(found), weight: Float64Array.from(weights) };
}

/**
 * P(look l of the trait | row u of its slot, answers so far), for some rows; -1: for none, which leaves zeros.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Trait} trait
 * @param {Int32Array} rows
 * @returns {Matrix} a row for each of them, and a column for each look
 */
export function showing(compiled, belief, trait, rows) {
  const slot = one(compiled.slots, trait.slot);
  const evidence = one(belief.evidence, trait.slot);
  const factor = one(belief.factor, trait.slot);
  const found = matrix(rows.length, trait.alike.applies.length);
  const { data, columns } = found;
  for (let n = 0; n < rows.length; n++) {
    const u = int(rows, n);
    if (u < 0) continue;
    const add = (/** @type {number} */ i, /** @type {number} */ chance) => {
      const place = n * columns + int(trait.look, i);
      data[place] = float(data, place) + (chance * float(evidence, i)) / Math.max(float(factor, u), TINY);
    };
    if (slot.parts.length) {
      for (let r = 0; r < slot.parts.length; r++) add(r, float(slot.fitted.data, u * slot.parts.length + r));
    } else {
      add(u, 1 - float(slot.swap, u));
      add(int(slot.redone, u), float(slot.swap, u));
    }
  }
  return found;
}

/**
 * P(look l of the trait, the slot unchanged | row u of its slot, answers so far), shape [u, l]; nothing where that is impossible.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Trait} trait
 * @returns {Matrix}
 */
export function showingAsIssued(compiled, belief, trait) {
  const slot = one(compiled.slots, trait.slot);
  const evidence = one(belief.evidence, trait.slot);
  const factor = one(belief.factor, trait.slot);
  const found = matrix(slot.rows, trait.alike.applies.length);
  const add = (/** @type {number} */ u, /** @type {number} */ i, /** @type {number} */ chance) => {
    const place = u * found.columns + int(trait.look, i);
    found.data[place] = float(found.data, place) + ((1 - float(slot.swap, u)) * chance * float(evidence, i)) / float(factor, u);
  };
  for (let u = 0; u < slot.rows; u++) {
    if (!(float(factor, u) > 0)) continue;
    if (slot.parts.length) slot.parts.forEach((_, r) => add(u, r, float(slot.issued.data, u * slot.issued.columns + r)));
    else add(u, u, 1);
  }
  return found;
}
