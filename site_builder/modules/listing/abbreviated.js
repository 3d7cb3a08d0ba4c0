/** Words that a hurried hand leaves letters out of: hdlt for headlight, cond for condition; see `identify/abbreviated.py`. */

import { nth } from "./strings.js";

/** What is left out of a word first; at its beginning it stays. */
const VOWELS = "aeiouy";
/** So many letters at least, when only consonants are kept. */
const CONSONANTS = 3;
/** So many letters, when only the beginning is kept; and so many at least that were left out. */
const SHORTEST = 4, LONGEST = 6, LEFT_OUT = 3;

/** The words of a vocabulary by what is left of them. */
export class Abbreviations {
  /** @param {Map<string, string>} known each word with the name of its like words */
  constructor(known) {
    this.known = known;
    /** @type {Map<string, string[]> | null} */
    this.byLeft = null;
  }

  /**
   * The word that one which nobody knows is short for.
   * @param {string} word
   * @returns {string | null}
   */
  meant(word) {
    if (!/^[a-zA-Z]+$/.test(word)) return null;
    for (const kept of [word, word.replace(/s$/, "")]) {
      if (kept.length < CONSONANTS || [...kept.slice(1)].some((letter) => VOWELS.includes(letter))) continue;
      const found = this.one(this.left().get(left(kept)) ?? []);
      if (found !== null) return found;
    }
    if (word.length < SHORTEST || word.length > LONGEST) return null;
    return this.one([...this.known.keys()].filter((one) => one.length >= word.length + LEFT_OUT && one.startsWith(word)));
  }

  /** The first of these where all have one name. @param {string[]} words @returns {string | null} */
  one(words) {
    return new Set(words.map((word) => this.known.get(word))).size === 1 ? nth(words, 0) : null;
  }

  /** @returns {Map<string, string[]>} */
  left() {
    if (this.byLeft) return this.byLeft;
    /** @type {Map<string, string[]>} */
    const found = new Map();
    for (const word of this.known.keys()) {
      if (word.length > CONSONANTS && /^[a-zA-Z]+$/.test(word)) found.set(left(word), [...(found.get(left(word)) ?? []), word]);
    }
    this.byLeft = found;
    return found;
  }
}

/** The first letter and the consonants of a word, none twice in a row. @param {string} word @returns {string} */
function left(word) {
  let kept = word.charAt(0);
  for (const letter of word.slice(1)) if (!VOWELS.includes(letter) && letter !== kept.charAt(kept.length - 1)) kept += letter;
  return kept;
}
