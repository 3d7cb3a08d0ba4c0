/** A text about several units: which claims are about which; see `identify/listing_units.py`. */

import { at, one as member, range } from "../kernel/matrix.js";
import { POSSIBLE } from "./listing_evidence.js";

/**
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 * @typedef {import("./listing_evidence.js").Meaning} Meaning
 */

/** What ends a clause. */
const BOUNDARY = /[.;:\n!?]|(?<![\p{L}\p{N}_])(?:and|then)(?![\p{L}\p{N}_])/iu;
/** The sorts of claims that tell units apart; a family is a kind of unit too. @type {Record<string, string>} */
const SORTS = { kind: "kind", family: "kind", livery: "livery", marking: "marking", number: "number" };
const KIND = "kind", MARK = "mark of ";

/**
 * The claims about each unit of the text, those about all included; one unit with all where nothing tells several apart.
 * @param {readonly string[]} characters of the text
 * @param {Compiled} compiled
 * @param {readonly Meaning[]} meanings
 * @returns {number[][]}
 */
export function unitsIn(characters, compiled, meanings) {
  const split = new Split(characters, compiled, meanings), begins = split.first();
  if (begins === null) return [range(meanings.length)];
  for (let n = begins; n < meanings.length; n++) split.take(n);
  return split.found.map((mine) => [...new Set([...range(begins), ...mine])].sort((a, b) => a - b));
}

/**
 * What a claim tells units apart by; nothing for others, and for what is denied.
 * @param {Compiled} compiled
 * @param {Meaning} one
 * @returns {string}
 */
function sortOf(compiled, one) {
  if (one.claim.denied || one.fits === null) return "";
  if (one.names) return SORTS[one.sort] ?? "";
  const trait = one.heard && member(compiled.traits, one.heard.trait);
  return trait?.worn && one.claim.kind === "state" ? `${MARK}${trait.id}` : "";
}

/** The units found so far, while the claims are taken in order. */
class Split {
  /**
   * @param {readonly string[]} characters
   * @param {Compiled} compiled
   * @param {readonly Meaning[]} meanings
   */
  constructor(characters, compiled, meanings) {
    this.characters = characters;
    this.variant = compiled.variant;
    this.meanings = meanings;
    this.sorts = meanings.map((one) => sortOf(compiled, one));
    /** @type {number[][]} */
    this.found = [[]];
    this.place = 0;
  }

  /** @param {number} n @returns {string} */
  sort(n) {
    return member(this.sorts, n);
  }

  /** Where the first of several units begins; null where there is one. @returns {number | null} */
  first() {
    const every = range(this.meanings.length);
    for (const n of every) {
      if (this.sort(n) && every.slice(n + 1).some((m) => this.other(m, [n]) !== null)) return this.clause(n, 0);
    }
    return null;
  }

  /** Gives the n-th claim to the unit it is about. @param {number} n */
  take(n) {
    const mine = member(this.found, this.place), before = this.other(n, mine);
    if (before === null) {
      member(this.found, this.whose(n)).push(n);
      return;
    }
    const again = this.found.findIndex((some) => this.same(n, some));
    if (again >= 0) {
      this.place = again;
      member(this.found, again).push(n);
      return;
    }
    const earlier = this.sort(n) === this.sort(before) ? null : this.fitting(n);
    if (earlier !== null) {
      member(this.found, earlier).push(n);
      return;
    }
    const since = this.clause(n, before + 1);
    const left = mine.filter((m) => m < since), moved = mine.filter((m) => m >= since);
    this.found[this.place] = left;
    const kept = this.sort(n).startsWith(MARK) ? left.filter((m) => member(this.meanings, m).names) : [];
    this.found.push([...kept, ...moved, n]);
    this.place = this.found.length - 1;
  }

  /** The last unit before this one that a claim may be about; null where there is none. @param {number} n @returns {number | null} */
  fitting(n) {
    return range(this.place).reverse().find((u) => this.other(n, member(this.found, u)) === null) ?? null;
  }

  /**
   * The unit of a claim that begins no new one: this one, or the last before it that can be so where this one cannot.
   * @param {number} n
   * @returns {number}
   */
  whose(n) {
    const fits = (/** @type {number} */ u) => !member(this.found, u).some((m) => this.sort(m) === KIND && this.apart(n, m));
    return [this.place, ...range(this.place).reverse()].find(fits) ?? this.place;
  }

  /**
   * The last claim of a unit that shows the n-th to be about another; null where it may be about the same.
   * Of the same sort; once there are several units, of any sort that names one.
   * @param {number} n
   * @param {readonly number[]} mine
   * @returns {number | null}
   */
  other(n, mine) {
    if (!this.sort(n) || member(this.meanings, n).claim.hedged) return null;
    const several = this.found.length > 1;
    const known = mine.filter((m) => this.sort(m) === this.sort(n) || (several && this.sort(m) && member(this.meanings, n).names));
    return known.reverse().find((m) => this.apart(n, m)) ?? null;
  }

  /** Whether a unit is named in the same words. @param {number} n @param {readonly number[]} mine @returns {boolean} */
  same(n, mine) {
    const says = (/** @type {number} */ m) => member(this.meanings, m).claim.says.join("|");
    return mine.some((m) => this.sort(m) === this.sort(n) && says(m) === says(n));
  }

  /** Whether no recorded unit can be what both claims say. @param {number} n @param {number} m @returns {boolean} */
  apart(n, m) {
    const a = member(this.meanings, n).fits, b = member(this.meanings, m).fits;
    return a !== null && b !== null && !this.variant.some((v, c) => v >= 0 && at(a, c) > POSSIBLE && at(b, c) > POSSIBLE);
  }

  /**
   * The first claim, not before `least`, that stands in one clause with the n-th.
   * @param {number} n
   * @param {number} least
   * @returns {number}
   */
  clause(n, least) {
    const end = (/** @type {number} */ m) => member(this.meanings, m).claim.end, start = (/** @type {number} */ m) => member(this.meanings, m).claim.start;
    while (n > least && !BOUNDARY.test(this.characters.slice(end(n - 1), start(n)).join(""))) n--;
    return n;
  }
}
