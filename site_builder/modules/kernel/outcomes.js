/** How likely each outcome of a question is on each row of a trait's table. */

import { apartFromTold, between, blended, heard, likelihood, looks, shareBetween } from "./belief.js";
import { keptFor } from "./kept.js";
import { each, float, full, matrix, one, product, rowOf, sum } from "./matrix.js";

/**
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./matrix.js").Matrix} Matrix
 * @typedef {import("./questions.js").Question} Question
 */

/** @type {WeakMap<Question, Matrix>} */
const keptOutcomes = new WeakMap();

/**
 * As `outcomeRows`, with one row for each look; those of a trait that was never answered are kept.
 * @param {Trait} trait
 * @param {Question} asked
 * @param {Evidence | null} given
 * @returns {Matrix}
 */
export function outcomesByLook(trait, asked, given) {
  if (given) return outcomeRows(trait.alike, asked, given);
  return keptFor(keptOutcomes, asked, () => outcomeRows(trait.alike, asked, null));
}

/**
 * P(outcome | row i, what was answered to the trait so far), shape [i, outcomes].
 * @param {Trait} trait
 * @param {Question} asked
 * @param {Evidence | null} answered
 * @returns {Matrix}
 */
export function outcomeRows(trait, asked, answered) {
  const given = answered && apartFromTold(trait, answered);
  const rows = trait.measured ? measuredRows(trait, asked, given) : stateRows(trait, asked, given);
  const all = given ? likelihood(trait, given) : null;
  for (let i = 0; i < rows.rows; i++) {
    const row = rowOf(rows, i);
    const total = all ? float(all, i) : sum(row);
    for (let o = 0; o < row.length; o++) row[o] = total > 0 ? float(row, o) / total : 0;
  }
  return rows;
}

/**
 * P(what is read is in the outcome and was not excluded before | row i).
 * @param {Trait} trait
 * @param {Question} asked
 * @param {Evidence | null} given
 * @returns {Matrix}
 */
function stateRows(trait, asked, given) {
  const again = asked.form === "again";
  if (again && !given) throw new Error("another look at what was never answered");
  const states = trait.states.length;
  const left = !again && given?.weights ? given.weights : full(states, 1);
  const counted = matrix(states, asked.outcomes.length);
  asked.outcomes.forEach((outcome, o) => {
    for (const k of outcome) counted.data[k * counted.columns + o] = float(left, k);
  });
  const told = given ? (again ? [looks(trait, given)] : heard(trait, given)) : [];
  if (!told.length) return product(trait.table, counted);
  const read = product(trait.confusion, counted);
  const weight = told.reduce(each);
  for (let k = 0; k < states; k++) rowOf(read, k).forEach((chance, o, row) => (row[o] = float(weight, k) * chance));
  return product(trait.truth, read);
}

/**
 * P(the value lies there and was not excluded before | row i); the last outcome of a free trait is that there is none.
 * @param {Trait} trait
 * @param {Question} asked
 * @param {Evidence | null} given
 * @returns {Matrix}
 */
function measuredRows(trait, asked, given) {
  const [low, high] = given?.interval ?? [-Infinity, Infinity];
  const inside = (/** @type {number} */ value) => Math.min(Math.max(value, low), high);
  const edges = [-Infinity, ...trait.cuts, Infinity].map(inside);
  /** @type {(readonly [number, number])[]} */
  const bounds =
    asked.cut === null
      ? edges.slice(1).map((edge, n) => /** @type {const} */ ([one(edges, n), edge]))
      : [
          [inside(asked.cut), high],
          [low, inside(asked.cut)],
        ];
  const width = bounds.length + Number(!given);
  const found = matrix(trait.applies.length, width);
  bounds.forEach(([from, to], o) => {
    const rows = between(trait, from, to, asked.cut === null ? trait.reads : 0);
    blended(trait, rows, shareBetween(trait, from, to)).forEach((chance, i) => {
      found.data[i * width + o] = float(trait.applies, i) * chance;
    });
  });
  if (!given) trait.applies.forEach((applies, i) => (found.data[i * width + bounds.length] = 1 - applies));
  return found;
}
