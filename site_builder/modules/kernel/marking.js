/** How well a typed text fits a marking: worn characters, misread ones, and ends that cannot be read. */

import { largest, one } from "./matrix.js";

/** Letters and digits a worn character may be taken for. */
const ALPHABET = 36;
/** Chance of a character too many or too few, relative to a misread one. */
const SLIP = 0.1;
/** Chance that only a stretch of the marking was typed. */
const STRETCH = 0.3;

/**
 * Capitals with single spaces: how a marking is compared.
 * @param {string} text
 * @returns {string}
 */
export function folded(text) {
  return text.toUpperCase().split(/\s+/).filter(Boolean).join(" ");
}

/**
 * P(typed | marking), the best alignment; `?` in the typed text is a character that could not be read.
 * @param {string} typed
 * @param {string} marking
 * @param {number} worn chance that one character is misread
 * @returns {number}
 */
export function fit(typed, marking, worn) {
  const said = [...folded(typed)];
  const there = [...folded(marking)];
  if (!said.length) return 1;
  const same = Math.log(1 - worn);
  const other = Math.log(worn / ALPHABET);
  const slip = Math.log((worn * SLIP) / ALPHABET);
  const stretch = Math.log(STRETCH);
  // best[j]: log chance of the text typed so far ending before character j of the marking; starts are free at a price
  let best = [0, ...there.map(() => stretch)];
  for (const character of said) {
    const previous = best;
    best = [one(previous, 0) + slip];
    there.forEach((real, j) => {
      const step = character === "?" ? 0 : character === real ? same : other;
      best.push(Math.max(one(previous, j) + step, one(previous, j + 1) + slip, one(best, j) + slip));
    });
  }
  return Math.exp(Math.max(one(best, best.length - 1), largest(best) + stretch));
}
