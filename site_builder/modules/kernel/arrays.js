/**
 * A knowledge base as arrays: all the kernel ever sees. The letters and the meaning of every field are those of
 * `identify/arrays.py`; what is an array of floats there is a Float64Array or a Matrix here, and of integers an Int32Array.
 *
 * Rows of a trait that show the same of it, and are recorded or not alike, have one look. `look[i]` is that of a row, and `alike`
 * the same trait with one row for each look: whatever is worked out row by row is worked out there, and then taken by look.
 */

import { float, int, one, product, rounded, rowOf } from "./matrix.js";

/** Numbers closer than this are the same: they may have been summed in another order. */
export const SAME = 1e-9;

/**
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * @typedef {object} Slot
 * @property {string} id
 * @property {string[]} parts none of an own slot (body, finish)
 * @property {Int32Array} row row[c]
 * @property {Float64Array} swap swap[u]
 * @property {Matrix} issued issued[u, r]; no rows of an own slot
 * @property {Matrix} replaced replaced[u, r]; no rows of an own slot
 * @property {Matrix} fitted W[u, r] of a part slot; no rows of an own slot
 * @property {Int32Array} redone redone[u] of an own slot
 * @property {boolean} redoneAlike every row of an own slot would be redone alike
 * @property {number} rows how many there are, of all u
 *
 * @typedef {object} Trait
 * @property {string} id
 * @property {string | null} family
 * @property {number} slot
 * @property {number} view
 * @property {string[]} states none of a measured trait
 * @property {Matrix} table table[i, k]
 * @property {Matrix} truth truth[i, k]
 * @property {Matrix} confusion confusion[k, j]
 * @property {Float64Array} mean
 * @property {Float64Array} sd
 * @property {Float64Array} applies
 * @property {Matrix} blend blend[f, i]
 * @property {Int32Array} blendOf
 * @property {Uint8Array} isNew `new` in Python
 * @property {Float64Array} cuts
 * @property {number} least
 * @property {number} most
 * @property {number} blunders
 * @property {number} reads
 * @property {number} worn
 * @property {boolean} asked
 * @property {boolean} canBeMissing
 * @property {boolean} atOnce
 * @property {boolean} measured
 * @property {Int32Array} look look[i]
 * @property {Trait} alike itself where it is such a trait
 *
 * @typedef {object} Compiled
 * @property {string[]} variants
 * @property {string[]} families
 * @property {string[]} sets
 * @property {string[]} views
 * @property {Float64Array} effort
 * @property {Record<string, number>} asking
 * @property {Float64Array} prior
 * @property {Int32Array} variant
 * @property {Int32Array} family
 * @property {Int32Array} setOf
 * @property {Int32Array} position
 * @property {Slot[]} slots
 * @property {Trait[]} traits
 * @property {number} settled
 * @property {number} familyLeads
 * @property {number} candidates how many there are
 */

export const NOT_IN_THE_RECORD = "not-in-the-record";
export const MISSING = "missing";

/**
 * The variant's id, or `not-in-the-record`.
 * @param {Compiled} compiled
 * @param {number} candidate
 * @returns {string}
 */
export function label(compiled, candidate) {
  const variant = compiled.variant[candidate] ?? -1;
  return variant >= 0 ? (compiled.variants[variant] ?? NOT_IN_THE_RECORD) : NOT_IN_THE_RECORD;
}

/**
 * The index of a trait.
 * @param {Compiled} compiled
 * @param {string} id
 * @param {string | null} [family]
 * @returns {number} -1 where there is none
 */
export function traitIndex(compiled, id, family = null) {
  return compiled.traits.findIndex((trait) => trait.id === id && trait.family === family);
}

/** @type {WeakMap<Compiled, Int32Array[]>} */
const keptLooks = new WeakMap();

/**
 * looks[t][c]: equal for two candidates when trait t looks the same on both as issued.
 * @param {Compiled} compiled
 * @returns {Int32Array[]}
 */
export function looks(compiled) {
  let found = keptLooks.get(compiled);
  if (!found) {
    found = compiled.traits.map((trait) => looksOf(one(compiled.slots, trait.slot), trait));
    keptLooks.set(compiled, found);
  }
  return found;
}

/**
 * @param {Slot} slot
 * @param {Trait} trait
 * @returns {Int32Array}
 */
function looksOf(slot, trait) {
  const shown = slot.parts.length ? product(slot.issued, shownOf(trait)) : shownOf(trait.alike);
  /** @type {Map<string, number>} */
  const numbers = new Map();
  const same = Int32Array.from({ length: shown.rows }, (_, u) => {
    const key = Array.from(rowOf(shown, u), rounded).join();
    const number = numbers.get(key) ?? numbers.size;
    numbers.set(key, number);
    return number;
  });
  return slot.row.map((u) => int(same, slot.parts.length ? u : int(trait.look, u)));
}

/**
 * What is compared of each row: chances of states, or mean and deviation with -1 for what is not recorded.
 * @param {Trait} trait
 * @returns {Matrix}
 */
function shownOf(trait) {
  if (!trait.measured) return trait.table;
  const data = new Float64Array(2 * trait.mean.length);
  trait.mean.forEach((mean, i) => {
    data[2 * i] = Number.isNaN(mean) ? -1 : mean;
    data[2 * i + 1] = Number.isNaN(float(trait.sd, i)) ? -1 : float(trait.sd, i);
  });
  return { rows: trait.mean.length, columns: 2, data };
}
