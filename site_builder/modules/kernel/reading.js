/** What exactly an answer says was seen, as small objects with a tag. The words are those of `kb/reading.py`. */

/**
 * @typedef {{kind: "seen", states: readonly string[]}} Seen one of these states; none of them when empty
 * @typedef {{kind: "measured", value: number, plusMinus: number}} Measured in the trait's unit; plusMinus: one standard deviation
 * @typedef {{kind: "between", low: number, high: number}} Between either bound may be infinite
 * @typedef {{kind: "typed", text: string}} Typed `?` stands for one character that cannot be read
 * @typedef {{kind: "gone"}} Gone the part is missing
 * @typedef {{kind: "cannot-tell"}} CannotTell looked, and could not judge
 * @typedef {Seen | Measured | Between | Typed | Gone | CannotTell} Reading
 */

/**
 * @param {Iterable<string>} states
 * @returns {Seen}
 */
export function seen(states) {
  return { kind: "seen", states: [...new Set(states)] };
}

/**
 * @param {number} value
 * @param {number} plusMinus
 * @returns {Measured}
 */
export function measured(value, plusMinus) {
  return { kind: "measured", value, plusMinus };
}

/**
 * @param {number} low
 * @param {number} high
 * @returns {Between}
 */
export function between(low, high) {
  return { kind: "between", low, high };
}

/**
 * @param {string} text
 * @returns {Typed}
 */
export function typed(text) {
  return { kind: "typed", text };
}

/** @type {Gone} */
export const GONE = { kind: "gone" };
/** @type {CannotTell} */
export const CANNOT_TELL = { kind: "cannot-tell" };
