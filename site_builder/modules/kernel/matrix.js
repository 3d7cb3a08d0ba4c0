/** Rows of numbers, and the few things that the kernel does with them. Equal to what numpy gives to 1e-9. */

/**
 * @typedef {object} Matrix
 * @property {number} rows
 * @property {number} columns
 * @property {Float64Array} data row after row
 */

/**
 * A matrix of zeros, or of given numbers, row after row.
 * @param {number} rows
 * @param {number} columns
 * @param {Float64Array} [data] taken as it is, not copied
 * @returns {Matrix}
 */
export function matrix(rows, columns, data) {
  return { rows, columns, data: data ?? new Float64Array(rows * columns) };
}
