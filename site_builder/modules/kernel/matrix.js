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

/**
 * One number of an array that is known to have it. `float` and `int` do the same, several times faster where it is done often:
 * a function that is always given one kind of array is compiled for that kind.
 * @param {ArrayLike<number>} numbers
 * @param {number} index
 * @returns {number}
 */
export function at(numbers, index) {
  return /** @type {number} */ (numbers[index]);
}

/**
 * @param {Float64Array} numbers
 * @param {number} index
 * @returns {number}
 */
export function float(numbers, index) {
  return /** @type {number} */ (numbers[index]);
}

/**
 * @param {Int32Array} numbers
 * @param {number} index
 * @returns {number}
 */
export function int(numbers, index) {
  return /** @type {number} */ (numbers[index]);
}

/**
 * One thing of a list that is known to have it.
 * @template T
 * @param {readonly T[]} list
 * @param {number} index
 * @returns {T}
 */
export function one(list, index) {
  return /** @type {T} */ (list[index]);
}

/**
 * One row, on the same memory.
 * @param {Matrix} of
 * @param {number} row
 * @returns {Float64Array}
 */
export function rowOf(of, row) {
  return of.data.subarray(row * of.columns, (row + 1) * of.columns);
}

/**
 * of @ vector: for each row the sum of its products with a vector.
 * @param {Matrix} of
 * @param {Float64Array} vector of the length of a row
 * @returns {Float64Array}
 */
export function times(of, vector) {
  const found = new Float64Array(of.rows);
  for (let i = 0, place = 0; i < of.rows; i++) {
    let sum = 0;
    for (let k = 0; k < of.columns; k++, place++) sum += float(of.data, place) * float(vector, k);
    found[i] = sum;
  }
  return found;
}

/**
 * left @ right.
 * @param {Matrix} left
 * @param {Matrix} right
 * @returns {Matrix}
 */
export function product(left, right) {
  const found = matrix(left.rows, right.columns);
  for (let i = 0; i < left.rows; i++) {
    for (let j = 0; j < left.columns; j++) {
      const factor = float(left.data, i * left.columns + j);
      if (factor !== 0) addScaled(found.data, i * right.columns, right.data, j * right.columns, right.columns, factor);
    }
  }
  return found;
}

/**
 * Adds `length` numbers, each times a factor, to those of another array.
 * @param {Float64Array} to
 * @param {number} first where in `to`
 * @param {Float64Array} from
 * @param {number} begin where in `from`
 * @param {number} length
 * @param {number} factor
 */
export function addScaled(to, first, from, begin, length, factor) {
  for (let k = 0; k < length; k++) to[first + k] = float(to, first + k) + factor * float(from, begin + k);
}

/**
 * vector @ of: the sum of all rows, each times its number.
 * @param {Float64Array} vector of a number for each row
 * @param {Matrix} of
 * @returns {Float64Array}
 */
export function weighted(vector, of) {
  const found = new Float64Array(of.columns);
  for (let i = 0; i < of.rows; i++) {
    const factor = float(vector, i);
    if (factor !== 0) addScaled(found, 0, of.data, i * of.columns, of.columns, factor);
  }
  return found;
}

/**
 * @param {ArrayLike<number>} numbers
 * @returns {number}
 */
export function sum(numbers) {
  let found = 0;
  for (let i = 0; i < numbers.length; i++) found += /** @type {number} */ (numbers[i]);
  return found;
}

/**
 * @param {ArrayLike<number>} numbers
 * @returns {number} -Infinity of none
 */
export function largest(numbers) {
  let found = -Infinity;
  for (let i = 0; i < numbers.length; i++) found = Math.max(found, /** @type {number} */ (numbers[i]));
  return found;
}

/**
 * The sum of products.
 * @param {Float64Array} left
 * @param {ArrayLike<number>} right
 * @returns {number}
 */
export function dot(left, right) {
  let found = 0;
  for (let i = 0; i < left.length; i++) found += float(left, i) * /** @type {number} */ (right[i]);
  return found;
}

/**
 * Numbers of an array by their index, `numbers[index]`.
 * @param {Float64Array} numbers
 * @param {Int32Array} index
 * @returns {Float64Array}
 */
export function take(numbers, index) {
  const found = new Float64Array(index.length);
  for (let i = 0; i < index.length; i++) found[i] = float(numbers, int(index, i));
  return found;
}

/**
 * Whole numbers of an array by their index.
 * @param {Int32Array} numbers
 * @param {Int32Array} index
 * @returns {Int32Array}
 */
export function takeInts(numbers, index) {
  const found = new Int32Array(index.length);
  for (let i = 0; i < index.length; i++) found[i] = int(numbers, int(index, i));
  return found;
}

/**
 * Which rows are alike: of one kind before, and with the same numbers from 0 to 1 to nine decimals.
 * @param {Int32Array} kinds of each row, below a million
 * @param {Matrix} of
 * @returns {Int32Array} the new kind of each row, numbered as they come
 */
export function alikeRows(kinds, of) {
  let found = kinds;
  for (let k = 0; k < of.columns; k++) {
    /** @type {Map<number, number>} */
    const numbers = new Map();
    const finer = new Int32Array(of.rows);
    for (let i = 0; i < of.rows; i++) {
      const key = int(found, i) * 2 ** 31 + rounded(float(of.data, i * of.columns + k));
      const number = numbers.get(key) ?? numbers.size;
      numbers.set(key, number);
      finer[i] = number;
    }
    found = finer;
  }
  return found;
}

/**
 * Rows of a matrix by their index.
 * @param {Matrix} of
 * @param {Int32Array} index
 * @returns {Matrix}
 */
export function takeRows(of, index) {
  const found = matrix(index.length, of.columns);
  for (let i = 0, place = 0; i < index.length; i++) {
    const first = int(index, i) * of.columns;
    for (let k = 0; k < of.columns; k++, place++) found.data[place] = float(of.data, first + k);
  }
  return found;
}

/**
 * Whether any of them is not 0.
 * @param {ArrayLike<number>} numbers
 * @returns {boolean}
 */
export function any(numbers) {
  for (let i = 0; i < numbers.length; i++) if (/** @type {number} */ (numbers[i]) !== 0) return true;
  return false;
}

/**
 * As many numbers, all alike.
 * @param {number} length
 * @param {number} value
 * @returns {Float64Array}
 */
export function full(length, value) {
  return new Float64Array(length).fill(value);
}

/**
 * The products of numbers at the same place.
 * @param {Float64Array} left
 * @param {Float64Array} right
 * @returns {Float64Array}
 */
export function each(left, right) {
  return left.map((number, i) => number * float(right, i));
}

/**
 * part / whole, and 0 where the whole is nothing.
 * @param {Float64Array} part
 * @param {Float64Array} whole
 * @returns {Float64Array}
 */
export function share(part, whole) {
  return part.map((number, i) => (float(whole, i) > 0 ? number / float(whole, i) : 0));
}

/**
 * The whole numbers from 0.
 * @param {number} length
 * @returns {number[]}
 */
export function range(length) {
  return Array.from({ length }, (_, i) => i);
}

/**
 * A number to nine decimals, in billionths: what is compared where equal numbers may have been summed in another order.
 * @param {number} number
 * @returns {number}
 */
export function rounded(number) {
  return Math.round(number * 1e9);
}
