/** The arrays from what `site_builder/packed.py` packed. */

import { float, int, matrix, one, product, rowOf, sum, take, takeInts, takeRows } from "./matrix.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * @typedef {string | number[]} Letters whole numbers, a character for each
 * @typedef {number[]} Sparse index, number, index, number ...
 * @typedef {[number | number[] | null, number, number, number]} Look what, applies, blendOf, isNew
 *
 * @typedef {object} PackedSlot
 * @property {string} id
 * @property {number[]} swaps
 * @property {Letters} swap
 * @property {Letters} [redone]
 * @property {string[]} [parts]
 * @property {Letters} [row]
 * @property {Sparse[]} [chances]
 * @property {Letters} [issued]
 * @property {Letters} [replaced]
 *
 * @typedef {object} PackedTrait
 * @property {string} id
 * @property {string} [family]
 * @property {number} slot
 * @property {number} view
 * @property {Look[]} [looks]
 * @property {Letters} rows
 * @property {string[]} [states]
 * @property {number[][]} [confusion]
 * @property {number[]} [cuts]
 * @property {[number, number]} range
 * @property {number} [blunders]
 * @property {number} [reads]
 * @property {number} [worn]
 * @property {boolean} [asked]
 * @property {boolean} [canBeMissing]
 * @property {boolean} [atOnce]
 * @property {Sparse[]} [blend]
 * @property {[number | number[] | null, number]} [elsewhere] of a trait that one family has alone: what and applies of all rows
 *     of other families; looks, rows and blend are then those of its own rows alone, its variants and behind them the family
 *
 * @typedef {object} Packed
 * @property {string[]} variants
 * @property {string[]} families
 * @property {string[]} sets
 * @property {string[]} views
 * @property {number[]} effort
 * @property {Record<string, number>} asking
 * @property {number} settled
 * @property {number} familyLeads
 * @property {Letters} times how many candidates each variant has
 * @property {number[]} priors
 * @property {Letters} prior
 * @property {Letters} family
 * @property {Letters} setOf one more than the set
 * @property {Letters} position
 * @property {PackedSlot[]} slots
 * @property {PackedTrait[]} traits
 */

/**
 * @param {Packed} packed
 * @returns {Compiled}
 */
export function unpack(packed) {
  const variant = Int32Array.from([
    ...Array.from(numbers(packed.times), (times, v) => Array(times).fill(v)).flat(),
    ...packed.families.map((_, f) => -1 - f),
  ]);
  const known = packed.variants.length;
  const ownRow = variant.map((v) => (v >= 0 ? v : known - 1 - v));
  const prior = Float64Array.from(numbers(packed.prior), (which) => one(packed.priors, which));
  const family = numbers(packed.family);
  const slots = packed.slots.map((slot) => unpackedSlot(slot, known, ownRow));
  const common = new Float64Array(known + packed.families.length);
  const familyOf = new Int32Array(common.length);
  ownRow.forEach((row, c) => {
    if (row < known) common[row] = float(common, row) + float(prior, c);
    familyOf[row] = int(family, c);
  });
  const traits = packed.traits.map((narrow) => {
    const f = narrow.family === undefined ? -1 : packed.families.indexOf(narrow.family);
    const { trait, looks } = narrow.elsewhere ? widened(narrow, familyOf, f, known) : { trait: narrow, looks: numbers(narrow.rows) };
    const recorded = looks.map((look) => (one(trait.looks ?? [], look)[2] < 0 ? 1 : 0));
    const blend = trait.blend
      ? dense(trait.blend, looks.length)
      : one(slots, trait.slot).parts.length
        ? blendOfParts(recorded)
        : blendOfRows(recorded, common, familyOf, f >= 0 ? [f] : [...packed.families.keys()]);
    return unpackedTrait(trait, looks, blend);
  });
  return {
    variants: packed.variants,
    families: packed.families,
    sets: packed.sets,
    views: packed.views,
    effort: Float64Array.from(packed.effort),
    asking: packed.asking,
    prior,
    variant,
    family,
    setOf: numbers(packed.setOf).map((which) => which - 1),
    position: numbers(packed.position),
    slots,
    traits,
    settled: packed.settled,
    familyLeads: packed.familyLeads,
    candidates: prior.length,
  };
}

/**
 * The whole numbers of a text.
 * @param {Letters} text
 * @returns {Int32Array}
 */
export function numbers(text) {
  if (typeof text !== "string") return Int32Array.from(text);
  const found = new Int32Array(text.length);
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i);
    const narrow = code < 127 ? code : code - 161 + 127;
    found[i] = narrow - (narrow < 92 ? 35 : 36);
  }
  return found;
}

/**
 * @param {Sparse[]} rows
 * @param {number} columns
 * @returns {Matrix}
 */
function dense(rows, columns) {
  const found = matrix(rows.length, columns);
  rows.forEach((row, i) => {
    for (let k = 0; k < row.length; k += 2) found.data[i * columns + one(row, k)] = one(row, k + 1);
  });
  return found;
}

// Slots ----------------------------------------------------------------------------------------------------------------

/**
 * @param {PackedSlot} packed
 * @param {number} known how many variants there are
 * @param {Int32Array} ownRow
 * @returns {Slot}
 */
function unpackedSlot(packed, known, ownRow) {
  const swap = Float64Array.from(numbers(packed.swap), (which) => one(packed.swaps, which));
  const parts = packed.parts ?? [];
  const redone = numbers(packed.redone ?? "").map((row) => row + known);
  const chances = dense(packed.chances ?? [], parts.length);
  const issued = takeRows(chances, numbers(packed.issued ?? ""));
  const replaced = takeRows(chances, numbers(packed.replaced ?? ""));
  const fitted = matrix(issued.rows, issued.columns);
  for (let u = 0, place = 0; u < fitted.rows; u++) {
    for (let r = 0; r < fitted.columns; r++, place++) {
      fitted.data[place] = (1 - float(swap, u)) * float(issued.data, place) + float(swap, u) * float(replaced.data, place);
    }
  }
  return {
    id: packed.id,
    parts,
    row: parts.length ? numbers(packed.row ?? "") : ownRow,
    swap,
    issued,
    replaced,
    fitted,
    redone,
    redoneAlike: redone.every((row) => row === redone[0]),
    rows: swap.length,
  };
}

// Traits ---------------------------------------------------------------------------------------------------------------

/**
 * A trait that one family has alone, with a row for each variant and each family, and which look each row has.
 * @param {PackedTrait} narrow
 * @param {Int32Array} familyOf the family of each row
 * @param {number} f the family that has it
 * @param {number} known how many variants there are
 * @returns {{ trait: PackedTrait, looks: Int32Array }}
 */
function widened(narrow, familyOf, f, known) {
  const own = Array.from(familyOf.keys()).filter((i) => int(familyOf, i) === f);
  const looks = [...(narrow.looks ?? [])];
  const [what, applies] = narrow.elsewhere ?? [null, 0];
  const rows = new Int32Array(familyOf.length);
  // Variants of other families, and what is not in the record of those.
  [0, 1].forEach((isNew) => {
    const others = Array.from(familyOf.keys()).filter((i) => int(familyOf, i) !== f && Number(i >= known) === isNew);
    others.forEach((i) => (rows[i] = looks.length));
    if (others.length) looks.push([what, applies, 0, isNew]);
  });
  numbers(narrow.rows).forEach((look, i) => (rows[one(own, i)] = look));
  const blend = narrow.blend?.map((row) => row.map((value, k) => (k % 2 ? value : one(own, value))));
  return { trait: { ...narrow, looks, ...(blend ? { blend } : {}) }, looks: rows };
}

/**
 * blend[f, i] of own rows: a family's recorded ones, and all of them by the weight of one.
 * @param {Int32Array} recorded recorded[i]: 1 or 0
 * @param {Float64Array} common how common each row is
 * @param {Int32Array} familyOf the family of each row
 * @param {number[]} families those that have the trait: all, or the one whose own it is
 * @returns {Matrix}
 */
function blendOfRows(recorded, common, familyOf, families) {
  const weights = common.map((weight, i) => weight * int(recorded, i));
  const all = wholeOf(weights);
  const found = matrix(families.length, weights.length);
  families.forEach((of, f) => {
    const mine = weights.map((weight, i) => (int(familyOf, i) === of ? weight : 0));
    const count = mine.reduce((counted, weight) => counted + (weight ? 1 : 0), 0);
    found.data.set(wholeOf(wholeOf(mine).map((weight, i) => count * weight + float(all, i))), f * weights.length);
  });
  return found;
}

/**
 * Of the parts of a slot all count alike, and none where all are recorded.
 * @param {Int32Array} recorded
 * @returns {Matrix}
 */
function blendOfParts(recorded) {
  const count = sum(recorded);
  const all = count === recorded.length;
  return matrix(1, recorded.length, Float64Array.from(recorded, (yes) => (all ? 0 : yes / Math.max(1, count))));
}

/**
 * Weights that sum to 1; as they are where they are nothing.
 * @param {Float64Array} weights
 * @returns {Float64Array}
 */
function wholeOf(weights) {
  const total = sum(weights);
  return total > 0 ? weights.map((weight) => weight / total) : weights;
}

/**
 * @param {PackedTrait} packed
 * @param {Int32Array} look
 * @param {Matrix} blend
 * @returns {Trait}
 */
function unpackedTrait(packed, look, blend) {
  const looks = packed.looks ?? [];
  const states = packed.states ?? [];
  const byLook = matrix(blend.rows, looks.length);
  for (let f = 0; f < blend.rows; f++) {
    const row = rowOf(byLook, f);
    look.forEach((which, i) => (row[which] = float(row, which) + float(blend.data, f * look.length + i)));
  }
  const blendOf = Int32Array.from(looks, (row) => row[2]);
  const truth = truthOf(looks, states.length, byLook, blendOf);
  const confusion = confusionOf(packed.confusion ?? [], states.length);
  const measured = !states.length;
  const pairs = looks.map(([what]) => (Array.isArray(what) ? what : [NaN, NaN]));
  /** @type {Omit<Trait, "alike">} */
  const alike = {
    id: packed.id,
    family: packed.family ?? null,
    slot: packed.slot,
    view: packed.view,
    states,
    table: measured ? truth : product(truth, confusion),
    truth,
    confusion,
    mean: measured ? Float64Array.from(pairs, (pair) => one(pair, 0)) : new Float64Array(0),
    sd: measured ? Float64Array.from(pairs, (pair) => one(pair, 1)) : new Float64Array(0),
    applies: Float64Array.from(looks, (row) => row[1]),
    blend: byLook,
    blendOf,
    isNew: Uint8Array.from(looks, (row) => row[3]),
    cuts: Float64Array.from(packed.cuts ?? []),
    least: packed.range[0],
    most: packed.range[1],
    blunders: packed.blunders ?? 0,
    reads: packed.reads ?? 0,
    worn: packed.worn ?? 0,
    asked: packed.asked ?? false,
    canBeMissing: packed.canBeMissing ?? false,
    atOnce: packed.atOnce ?? false,
    measured,
    look: Int32Array.from(looks, (_, which) => which),
  };
  const whole = /** @type {Trait} */ (alike);
  whole.alike = whole;
  return rowByRow(whole, look, blend);
}

/**
 * The same trait with a row for each row of its slot.
 * @param {Trait} alike
 * @param {Int32Array} look
 * @param {Matrix} blend
 * @returns {Trait}
 */
function rowByRow(alike, look, blend) {
  const values = (/** @type {Float64Array} */ of) => (of.length ? take(of, look) : of);
  return {
    ...alike,
    table: takeRows(alike.table, look),
    truth: takeRows(alike.truth, look),
    mean: values(alike.mean),
    sd: values(alike.sd),
    applies: values(alike.applies),
    blend,
    blendOf: takeInts(alike.blendOf, look),
    isNew: Uint8Array.from(look, (which) => /** @type {number} */ (alike.isNew[which])),
    look,
    alike,
  };
}

/**
 * truth[look, k]; a look that says nothing shows the blend of those that are recorded.
 * @param {Look[]} looks
 * @param {number} states
 * @param {Matrix} blend by look
 * @param {Int32Array} blendOf
 * @returns {Matrix}
 */
function truthOf(looks, states, blend, blendOf) {
  const found = matrix(looks.length, states);
  if (!states) return found;
  looks.forEach(([what], i) => {
    if (typeof what === "number") found.data[i * states + what] = 1;
    if (Array.isArray(what)) found.data.set(dense([what], states).data, i * states);
  });
  const known = matrix(looks.length, states, found.data.slice());
  looks.forEach((_, i) => {
    if (int(blendOf, i) >= 0) rowOf(known, i).fill(0);
  });
  const blends = product(blend, known);
  looks.forEach(([what], i) => {
    if (what === null) found.data.set(rowOf(blends, int(blendOf, i)), i * states);
  });
  return found;
}

/**
 * confusion[true, read].
 * @param {number[][]} packed
 * @param {number} states
 * @returns {Matrix} empty for a measured trait
 */
function confusionOf(packed, states) {
  const found = matrix(states, states);
  packed.forEach(([usual, ...others], k) => {
    rowOf(found, k).fill(usual ?? 0);
    for (let i = 0; i < others.length; i += 2) found.data[k * states + one(others, i)] = one(others, i + 1);
  });
  return found;
}
