/** Answers as they were given, and what all answers to one trait say together. */

import { MISSING } from "./arrays.js";
import { Evidence } from "./belief.js";
import { fit } from "./marking.js";
import { each } from "./matrix.js";

/**
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./reading.js").Reading} Reading
 *
 * @typedef {object} Given one answer: to which trait, what was seen, and how many looks at it went before
 * @property {number} trait
 * @property {Reading} reading
 * @property {number} look
 *
 * @typedef {object} Heard what somebody else says of a trait, and how often such a statement is wrong
 * @property {number} trait
 * @property {Reading} reading
 * @property {number} wrong
 */

/**
 * One piece of evidence from all answers to a trait; null when they say nothing.
 * @param {Trait} trait
 * @param {number} t
 * @param {readonly Reading[]} readings
 * @returns {Evidence | null}
 */
export function merge(trait, t, readings) {
  if (trait.measured && readings.some(({ kind }) => kind === "gone")) {
    return trait.canBeMissing ? new Evidence(t, { gone: true }) : null;
  }
  const value = readings.filter((reading) => reading.kind === "measured").at(-1);
  if (value) return new Evidence(t, { value: [value.value, value.plusMinus] });
  const bounds = readings.filter((reading) => reading.kind === "between");
  if (bounds.length) {
    const low = Math.max(...bounds.map((bound) => bound.low));
    const high = Math.min(...bounds.map((bound) => bound.high));
    return new Evidence(t, low < high ? { interval: [low, high] } : { weights: new Float64Array(1) });
  }
  const typed = readings.filter((reading) => reading.kind === "typed").at(-1);
  if (typed) {
    const fits = trait.states.map((state) => (state === MISSING ? 0 : fit(typed.text, state, trait.worn)));
    return new Evidence(t, { weights: Float64Array.from(fits), typed: true });
  }
  const masks = readings.flatMap((reading) => maskOf(trait, reading) ?? []);
  return masks.length ? new Evidence(t, { weights: masks.reduce(each) }) : null;
}

/**
 * One piece of evidence from all looks at a trait; null when they say nothing.
 * @param {Trait} trait
 * @param {number} t
 * @param {readonly Given[]} given
 * @returns {Evidence | null}
 */
export function mergeLooks(trait, t, given) {
  const looks = [...new Set(given.map(({ look }) => look))].sort((a, b) => a - b);
  const found = looks.flatMap((look) => {
    const readings = given.filter((answer) => answer.look === look).map(({ reading }) => reading);
    return merge(trait, t, readings) ?? [];
  });
  const weights = found.flatMap((look) => (look.weights !== null && !look.typed ? [look.weights] : []));
  const [first, ...again] = weights;
  if (found.length < 2 || weights.length < found.length || !first) return found.at(-1) ?? null;
  return new Evidence(t, { weights: first, again });
}

/**
 * One piece of evidence from one's own answers to a trait and what others say of it; null when all of it says nothing.
 * @param {Trait} trait
 * @param {number} t
 * @param {Evidence | null} own
 * @param {readonly Heard[]} heard
 * @returns {Evidence | null}
 */
export function withHeard(trait, t, own, heard) {
  const told = heard.flatMap(({ reading, wrong }) => {
    const said = merge(trait, t, [reading]);
    return said ? [{ said, wrong }] : [];
  });
  return told.length ? (own ?? new Evidence(t)).withTold(told) : own;
}

/**
 * @param {Trait} trait
 * @param {Reading} reading
 * @returns {Float64Array | null} 1 for each state that the reading leaves
 */
function maskOf(trait, reading) {
  const of = (/** @type {(state: string) => boolean} */ left) => Float64Array.from(trait.states, (state) => Number(left(state)));
  if (reading.kind === "gone") return trait.canBeMissing ? of((state) => state === MISSING) : null;
  return reading.kind === "seen" ? of((state) => reading.states.includes(state)) : null;
}
