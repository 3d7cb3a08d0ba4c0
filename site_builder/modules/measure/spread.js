/** A length with its uncertainty in words. The same digits as `rounded` of `identify/measuring.py`. */

import { fixed } from "../kernel/written.js";

export const MM_PER_INCH = 25.4;
/** @type {Record<string, number>} Millimeters in one of each unit of length. */
const UNITS = { mm: 1, cm: 10, in: MM_PER_INCH };

/**
 * [value, spread]: the spread to two digits, the value to the same place; to four places where nothing is uncertain.
 * @param {number} value
 * @param {number} spread
 * @returns {[string, string]}
 */
export function rounded(value, spread) {
  if (spread <= 0) return [fixed(value, 4), "0"];
  const places = Math.min(Math.max(1 - Math.floor(Math.log10(Number(spread.toExponential(1)))), 0), 9);
  return [fixed(value, places), fixed(spread, places)];
}

/**
 * A length in a unit, as it is written in an answers file, or with another sign between.
 * @param {{value: number, plusMinus: number}} length in mm
 * @param {string} unit
 * @param {string} [sign]
 */
export function written({ value, plusMinus }, unit, sign = "+-") {
  return `${rounded(inUnit(value, unit), inUnit(plusMinus, unit)).join(` ${sign} `)} ${unit}`;
}

/** Millimeters in a unit of length. @param {number} mm @param {string} unit */
export function inUnit(mm, unit) {
  return mm / (UNITS[unit] ?? 1);
}
