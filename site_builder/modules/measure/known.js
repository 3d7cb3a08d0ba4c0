/** What is known of the photograph, as it was typed or chosen: numbers in mm with their standard deviations. */

import { halfPlace, readMeasure } from "../kernel/typed.js";
import { MM_PER_INCH } from "./spread.js";

/**
 * @typedef {"scale" | "line" | "plane"} Way
 * @typedef {{numbers: number[], spreads: number[]}} Sizes
 *
 * A mark that a way needs, and what it is of.
 * @typedef {object} Role
 * @property {string} letter
 * @property {string} words
 * @property {"known" | "wanted" | "drawing"} of
 */

/** @type {Role[]} */
const WANTED = [
  { letter: "P", words: "one end of the length you want", of: "wanted" },
  { letter: "Q", words: "its other end", of: "wanted" },
];
/** @type {Role[]} */
export const OF_DRAWING = [
  { letter: "R", words: "where point R of the drawing belongs", of: "drawing" },
  { letter: "S", words: "where point S of the drawing belongs", of: "drawing" },
];
/** @type {Record<Way, string[]>} */
const OF_KNOWN = {
  scale: ["one end of the known length", "its other end"],
  line: ["the first mark of the line", "the middle mark of the line", "the last mark of the line"],
  plane: ["a corner of the rectangle", "the next corner, along the first side", "the corner after that", "the last corner"],
};

/**
 * The marks of a way, those of what is known first.
 * @param {Way} way
 * @returns {Role[]}
 */
export function rolesOf(way) {
  const known = OF_KNOWN[way].map((words, at) => /** @type {Role} */ ({ letter: "ABCD".charAt(at), words, of: "known" }));
  return [...known, ...WANTED];
}

/**
 * A typed length in mm; one that says no uncertainty is good to half of its last place. Null for what is none.
 * @param {string} text
 * @returns {{value: number, spread: number} | null}
 */
export function lengthOf(text) {
  const measure = readMeasure(text);
  const factor = measure ? { mm: 1, cm: 10, in: MM_PER_INCH }[measure.unit] : undefined;
  if (!measure || factor === undefined || !(measure.value > 0)) return null;
  return { value: measure.value * factor, spread: (measure.plusMinus ?? halfPlace(text)) * factor };
}

/**
 * Typed lengths as sizes; null where one of them is none.
 * @param {string[]} texts
 * @returns {Sizes | null}
 */
export function sizesOf(texts) {
  const lengths = texts.map(lengthOf);
  if (!lengths.every((one) => one !== null)) return null;
  return { numbers: lengths.map((one) => one.value), spreads: lengths.map((one) => one.spread) };
}
