/**
 * The valid name that resembles another one most: Python's `difflib.get_close_matches` for one name, as `kb/findings.py` asks it.
 *
 * Ratcliff and Metzener, "Pattern matching: the Gestalt approach", Dr. Dobb's Journal 13(7), 1988, 46-51: the longest common
 * stretch, then the same to the left and to the right of it; twice the characters matched over the characters of both.
 */

import { inOrder } from "./written.js";

/** Names that resemble less are not named; and no more of a text than this is compared. */
const CUTOFF = 0.6;
const LONGEST = 80;

/**
 * The name that resembles most, the later one in order of several; null if none does.
 * @param {string} name
 * @param {Iterable<string>} names
 * @returns {string | null}
 */
export function nearest(name, names) {
  const word = [...name].slice(0, LONGEST);
  /** @type {Map<string, number[]>} */
  const places = new Map();
  word.forEach((character, at) => {
    const known = places.get(character);
    if (known) {
      known.push(at);
    } else {
      places.set(character, [at]);
    }
  });
  /** @type {string | null} */
  let best = null;
  let most = CUTOFF;
  for (const one of new Set(names)) {
    const other = [...one];
    const ratio = alike(other, word, places);
    if (ratio > most || (ratio === most && (best === null || inOrder(one, best) > 0))) {
      best = one;
      most = ratio;
    }
  }
  return best;
}

/**
 * How much two texts resemble each other: 1 where they are the same.
 * @param {string[]} first
 * @param {string[]} second
 * @param {Map<string, number[]>} places where each character stands in the second
 */
function alike(first, second, places) {
  const length = first.length + second.length;
  if (!length) {
    return 1;
  }
  let matched = 0;
  /** @type {[number, number, number, number][]} */
  const open = [[0, first.length, 0, second.length]];
  for (let one = open.pop(); one; one = open.pop()) {
    const [low, high, from, to] = one;
    const [i, j, size] = longest(first, places, low, high, from, to);
    if (size) {
      matched += size;
      open.push([low, i, from, j], [i + size, high, j + size, to]);
    }
  }
  return (2 * matched) / length;
}

/**
 * [start in the first, start in the second, length] of the longest stretch that both share, the earliest of several.
 * @param {string[]} first
 * @param {Map<string, number[]>} places
 * @param {number} low
 * @param {number} high
 * @param {number} from
 * @param {number} to
 * @returns {[number, number, number]}
 */
function longest(first, places, low, high, from, to) {
  /** @type {[number, number, number]} */
  let best = [low, from, 0];
  /** @type {Map<number, number>} */
  let before = new Map();
  for (let i = low; i < high; i++) {
    /** @type {Map<number, number>} */
    const now = new Map();
    for (const j of places.get(first[i] ?? "") ?? []) {
      if (j < from || j >= to) {
        continue;
      }
      const size = (before.get(j - 1) ?? 0) + 1;
      now.set(j, size);
      if (size > best[2]) {
        best = [i - size + 1, j - size + 1, size];
      }
    }
    before = now;
  }
  return best;
}
