/**
 * The cheapest assignment of rows to columns, by shortest augmenting paths: D. F. Crouse, "On implementing 2D rectangular assignment
 * algorithms", IEEE Transactions on Aerospace and Electronic Systems 52(4), 2016, 1679-1696.  Among equally cheap ones it takes the
 * one that scipy's `linear_sum_assignment` takes, whose order of looking at columns this follows.
 */

import { at } from "../kernel/matrix.js";

/** Stands for a pair that cannot be, where costs must be finite; far above any sum of true costs. */
const FORBIDDEN = 1e9;

/**
 * The column of every row; no column is taken twice. Rows are not more than columns.
 * @param {readonly Float64Array[]} costs an infinite one is a pair that cannot be
 * @returns {number[]}
 */
export function assigned(costs) {
  const columns = costs[0]?.length ?? 0;
  const finite = costs.map((row) => row.map((cost) => (Number.isFinite(cost) ? cost : FORBIDDEN)));
  const ofRow = new Float64Array(costs.length), ofColumn = new Float64Array(columns);
  /** @type {number[]} */
  const columnOf = costs.map(() => -1), rowOf = Array.from({ length: columns }, () => -1);
  costs.forEach((_, first) => {
    const { reached, from, near, sink, total } = path(finite, ofRow, ofColumn, rowOf, first);
    for (const j of reached) ofColumn[j] = at(ofColumn, j) - (total - at(near, j));
    ofRow[first] = at(ofRow, first) + total;
    for (const j of reached) {
      const i = at(rowOf, j);
      if (i >= 0) ofRow[i] = at(ofRow, i) + total - at(near, j);
    }
    for (let j = sink; j >= 0; ) {
      const i = at(from, j), before = at(columnOf, i);
      rowOf[j] = i;
      columnOf[i] = j;
      j = i === first ? -1 : before;
    }
  });
  return columnOf;
}

/**
 * The shortest path from a row to a column that is still free.
 * @param {readonly Float64Array[]} costs
 * @param {Float64Array} ofRow prices
 * @param {Float64Array} ofColumn
 * @param {readonly number[]} rowOf the row that has each column now, -1 for none
 * @param {number} first
 * @returns {{reached: number[], from: Int32Array, near: Float64Array, sink: number, total: number}}
 */
function path(costs, ofRow, ofColumn, rowOf, first) {
  const columns = rowOf.length, from = new Int32Array(columns).fill(-1), near = new Float64Array(columns).fill(Infinity);
  const left = Array.from({ length: columns }, (_, n) => columns - 1 - n);
  /** @type {number[]} */
  const reached = [];
  let row = first, total = 0;
  for (;;) {
    let place = -1, least = Infinity;
    for (const [n, j] of left.entries()) {
      const cost = total + at(costs[row] ?? ofRow, j) - at(ofRow, row) - at(ofColumn, j);
      if (cost < at(near, j)) {
        near[j] = cost;
        from[j] = row;
      }
      if (at(near, j) < least || (at(near, j) === least && rowOf[j] === -1)) [least, place] = [at(near, j), n];
    }
    const j = at(left, place), last = left.pop() ?? j;
    if (place < left.length) left[place] = last;
    total = least;
    reached.push(j);
    row = at(rowOf, j);
    if (row < 0) return { reached, from, near, sink: j, total };
  }
}
