/** Expected news of everything that some views together show; as `NewsOfViews` in `identify/views.py`. */

import { any, at, matrix, one as member, product, range, rowOf, sum, takeRows } from "../kernel/matrix.js";
import { xlog2 } from "../kernel/questions.js";
import { after, alone, drawn, isThere } from "../kernel/views.js";

/**
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 * @typedef {import("../kernel/arrays.js").Slot} Slot
 * @typedef {import("../kernel/belief.js").Belief} Belief
 * @typedef {import("../kernel/matrix.js").Matrix} Matrix
 * @typedef {import("../kernel/views.js").Beliefs} Beliefs
 */

/** In bits: of the variant and its set, and of what is original. From the same drawn units every time, so that views can be compared. */
export class NewsOfViews {
  /**
   * @param {Compiled} compiled
   * @param {Belief} belief
   * @param {ReadonlySet<number>} done traits that need no other look
   */
  constructor(compiled, belief, done) {
    this.compiled = compiled;
    this.belief = belief;
    this.done = done;
    this.units = drawn(compiled, belief);
    this.before = unsettled(compiled, alone(belief));
  }

  /**
   * The news of these views together; 0 for none.
   * @param {readonly number[]} views
   * @returns {number}
   */
  of(views) {
    const { compiled, belief } = this;
    const fresh = range(compiled.traits.length).filter((t) => {
      const trait = member(compiled.traits, t);
      return trait.asked && views.includes(trait.view) && !this.done.has(t) && isThere(compiled, belief, trait);
    });
    if (!fresh.length || !belief.plausible) return 0;
    return Math.max(0, this.before - unsettled(compiled, after(compiled, belief, this.units, fresh)));
  }
}

/**
 * Mean bits that are still open for the units: which candidate, and whether all of it is original.
 * @param {Compiled} compiled
 * @param {Beliefs} belief
 * @returns {number}
 */
function unsettled(compiled, { probability, evidence, factor }) {
  const { rows, columns } = probability, original = matrix(rows, columns, probability.data.slice());
  compiled.slots.forEach((slot, s) => {
    const kept = asIssued(slot, member(evidence, s), member(factor, s));
    if (kept) slot.row.forEach((u, c) => multiply(rowOf(original, c), rowOf(kept, u)));
  });
  const shares = new Float64Array(columns);
  original.data.forEach((one, i) => (shares[i % columns] = at(shares, i % columns) + one));
  const bits = sum(probability.data.map(xlog2)) + sum(shares.map((share) => xlog2(clipped(share)) + xlog2(1 - clipped(share))));
  return -bits / columns;
}

/**
 * The chance that nothing was changed since in each row of a slot, by unit; null of one that nobody changes.
 * @param {Slot} slot
 * @param {Matrix} evidence
 * @param {Matrix} factor
 * @returns {Matrix | null}
 */
function asIssued(slot, evidence, factor) {
  if (!any(slot.swap)) return null;
  const redone = slot.parts.length ? product(slot.replaced, evidence) : takeRows(evidence, slot.redone);
  const { columns } = redone;
  redone.data.forEach((one, i) => {
    const whole = at(factor.data, i);
    redone.data[i] = whole > 0 ? 1 - (at(slot.swap, Math.floor(i / columns)) * one) / whole : 1;
  });
  return redone;
}

/** @param {Float64Array} row @param {Float64Array} by one for each, or one for all */
function multiply(row, by) {
  const all = by.length === 1;
  for (let d = 0; d < row.length; d++) row[d] = at(row, d) * at(by, all ? 0 : d);
}

/** @param {number} share @returns {number} */
function clipped(share) {
  return Math.min(1, Math.max(0, share));
}
