/** Claims by the words they stand on, and which of them say again what was said of the same unit; see `identify/held.py`. */

import { SENTENCE } from "./phrases.js";
import { alike, firstOf, fitAt, lineStart, nth, pattern, range } from "./strings.js";

/**
 * @typedef {import("./phrases.js").Token} Token
 * @typedef {import("./vocabulary.js").Vocabulary} Vocabulary
 *
 * @typedef {object} Held a claim by its words
 * @property {string} kind
 * @property {string[]} says
 * @property {number[]} at
 * @property {number[]} last those that decide
 * @property {string} trait
 * @property {[number, number] | null} chars of a figure, its very characters
 * @property {boolean} denied
 * @property {boolean} hedged
 */

/** How an item of a list opens its line. */
const ITEM = pattern(String.raw`\s*(?:[-*\u2022\u2013]|\(?\d{1,2}[.)]|\(?[a-zA-Z][.)])\s`, "y");
const WORDS = /[\p{L}\p{N}]/u;

/** @param {string} kind @param {string[]} says @param {number[]} at @returns {Held} */
export function heldOf(kind, says, at) {
  return { kind, says, at, last: [], trait: "", chars: null, denied: false, hedged: false };
}

/** The words that decide, or all of them. @param {Held} one @returns {number[]} */
export function decisive(one) {
  return one.last.length ? one.last : one.at;
}

/** By the word each begins with, a place or a thing named before it left out. @param {Held} a @param {Held} b @returns {number} */
export function inOrder(a, b) {
  return firstOf(decisive(a)) - firstOf(decisive(b));
}

/**
 * Without what is said again of the same unit; every hedge stays. Another item of a list is another unit, and a family named
 * again after one of its kinds is not news either.
 * @param {Held[]} held
 * @param {string} text
 * @param {Token[]} tokens
 * @param {Vocabulary} vocabulary
 * @returns {Held[]}
 */
export function once(held, text, tokens, vocabulary) {
  /** @type {Set<string>} */
  const said = new Set();
  /** @type {Map<string, string[]>} */
  const unit = new Map();
  /** @type {Map<string, number>} */
  const kinds = new Map();
  const items = itemStarts(text, tokens), sentences = starts(tokens);
  let item = -1;
  return held.filter((one) => {
    const place = firstOf(decisive(one)), here = Math.max(-1, ...items.filter((k) => k <= place));
    if (here !== item) said.clear();
    item = here;
    const [family = "", kind = ""] = nth(one.says, 0).split("/"), ofUnit = one.kind === "name" && vocabulary.slots.has(family);
    if (ofUnit) {
      const sentence = Math.max(...sentences.filter((k) => k <= place)), first = kinds.get(family) ?? sentence;
      if (kind) kinds.set(family, first);
      else if (!one.denied && first !== sentence) return false;
    }
    const sort = ofUnit ? "kind" : one.kind;
    if (sort === "kind" || sort === "number") {
      if (!alike(unit.get(sort) ?? one.says, one.says)) said.clear();
      unit.set(sort, one.says);
    }
    const words = one.kind === "condition" ? decisive(one).map((i) => nth(tokens, i).canon) : [];
    const key = JSON.stringify([one.kind, one.says, one.denied, words]);
    const kept = one.kind === "hedge" || one.kind === "price" || !said.has(key);
    said.add(key);
    return kept;
  });
}

/** The first word of each sentence. @param {Token[]} tokens @returns {number[]} */
function starts(tokens) {
  return range(0, tokens.length).filter((i) => i === 0 || nth(tokens, i).stop >= SENTENCE);
}

/** The first word of each line that opens as an item of a list. @param {string} text @param {Token[]} tokens @returns {number[]} */
function itemStarts(text, tokens) {
  return starts(tokens).filter((i) => {
    const { start } = nth(tokens, i), line = lineStart(text, start);
    return fitAt(ITEM, text, line) !== null && !WORDS.test(text.slice(line, start));
  });
}
