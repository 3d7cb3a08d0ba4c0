/** Small square systems of linear equations. */

/**
 * The solution of as many equations as unknowns, by elimination with the largest pivot of each column. Neither is changed.
 * @param {readonly (readonly number[])[]} rows each with a coefficient for every unknown; not singular
 * @param {readonly number[]} right
 * @returns {number[]}
 */
export function solved(rows, right) {
  const size = right.length;
  const left = rows.map((row, at) => [...row, right[at] ?? 0]);
  /** @param {number} row @param {number} column */
  const get = (row, column) => left[row]?.[column] ?? 0;
  for (let at = 0; at < size; at++) {
    let best = at;
    for (let row = at + 1; row < size; row++) if (Math.abs(get(row, at)) > Math.abs(get(best, at))) best = row;
    const pivot = left[best] ?? [];
    left[best] = left[at] ?? [];
    left[at] = pivot;
    for (const row of left.slice(at + 1)) {
      const factor = (row[at] ?? 0) / (pivot[at] ?? 0);
      for (let column = at; column <= size; column++) row[column] = (row[column] ?? 0) - factor * (pivot[column] ?? 0);
    }
  }
  /** @type {number[]} */
  const found = new Array(size).fill(0);
  for (let at = size - 1; at >= 0; at--) {
    let sum = get(at, size);
    for (let column = at + 1; column < size; column++) sum -= get(at, column) * (found[column] ?? 0);
    found[at] = sum / get(at, at);
  }
  return found;
}
