/**
 * A knowledge base as arrays: all the kernel ever sees. The letters and the meaning of every field are those of
 * `identify/arrays.py`; what is an array of floats there is a Float64Array or a Matrix here, and of integers an Int32Array.
 */

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
