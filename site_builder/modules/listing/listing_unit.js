/** One unit as its seller and its photographs describe it; see `identify/listing_unit.py`. */

import { label } from "../kernel/arrays.js";
import { toldWrong } from "../kernel/doubts.js";
import { at, dot, one as member, rounded, sum } from "../kernel/matrix.js";
import { log2 } from "../kernel/questions.js";
import { leadingFamily } from "../kernel/report.js";
import { Session } from "../kernel/session.js";
import { POSSIBLE, counted } from "./listing_evidence.js";

/**
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 * @typedef {import("../kernel/given.js").Given} Given
 * @typedef {import("../kernel/given.js").Heard} Heard
 * @typedef {import("./claims.js").Claim} Claim
 * @typedef {import("./listing_evidence.js").Meaning} Meaning
 * @typedef {import("./listing_words.js").Spoken} Spoken
 *
 * @typedef {Uint8Array} Mask 1 for each candidate that is meant
 */

/** The slot that a repaint redoes. */
export const FINISH = "finish";
/** A claim is probably wrong from this chance on. */
export const DOUBTED = 0.5;

/**
 * The claims about one unit with their meanings (numbers are places in this row), and the answers of its photographs.
 * What follows from them is worked out when it is first asked for, and kept.
 */
export class Described {
  /**
   * @param {Spoken} words
   * @param {Session} base with the answers
   * @param {readonly Meaning[]} meanings
   * @param {ReadonlySet<number>} pictured the claims that the text makes of its own photographs
   */
  constructor(words, base, meanings, pictured) {
    this.words = words;
    this.base = base;
    this.meanings = meanings;
    this.pictured = pictured;
    /** @type {Map<string, any>} */
    this.kept = new Map();
  }

  /** @template T @param {string} name @param {() => T} found @returns {T} */
  once(name, found) {
    if (!this.kept.has(name)) this.kept.set(name, found());
    return this.kept.get(name);
  }

  /** Everything counted. @returns {Session} */
  get session() {
    return this.once("session", () => this.counting(this.meanings));
  }

  /** @returns {Compiled} */
  get compiled() {
    return this.session.compiled;
  }

  /** What the photographs show. @returns {readonly Given[]} */
  get answers() {
    return this.base.given;
  }

  /** @param {readonly Meaning[]} meanings @returns {Session} */
  counting(meanings) {
    const { given, views, target, ask } = this.base;
    const { compiled, heard } = counted(this.base.compiled, meanings, FINISH);
    return new Session(compiled, { given, views, target, ask, heard });
  }

  /** Which candidates the verdict is: the likeliest variant with everything that cannot be told from it. @returns {Mask} */
  get verdict() {
    return this.once("verdict", () => {
      const group = new Set(this.session.leading[0]);
      return this.mask((c) => group.has(label(this.compiled, c)));
    });
  }

  /** @param {(c: number) => boolean} meant @returns {Mask} */
  mask(meant) {
    return Uint8Array.from({ length: this.base.compiled.candidates }, (_, c) => Number(meant(c)));
  }

  /** The weight of each claim for the verdict in bits, everything else given; 0 where it says nothing of the unit. @returns {number[]} */
  get bits() {
    return this.once("bits", () => {
      if (!this.session.belief.plausible) return this.meanings.map(() => 0);
      const whole = this.odds(this.session);
      return this.meanings.map((one, n) => (one.counts ? whole - this.odds(this.counting(this.meanings.filter((_, m) => m !== n))) : 0));
    });
  }

  /** The same of what was answered to each trait of the photographs. @returns {Map<number, number>} */
  get answerBits() {
    return this.once("answerBits", () => {
      const { given } = this.session, whole = this.odds(this.session);
      const traits = new Set(given.map(({ trait }) => trait));
      return new Map([...traits].map((t) => [t, whole - this.odds(this.session.with({ given: given.filter(({ trait }) => trait !== t) }))]));
    });
  }

  /** @param {Session} session @returns {number} */
  odds(session) {
    const { probability } = session.belief, { verdict } = this;
    const mine = sum(probability.filter((_, c) => at(verdict, c))), others = sum(probability.filter((_, c) => !at(verdict, c)));
    return log2(mine) - log2(Math.max(1 - mine, others, 1e-15));
  }

  /**
   * The chance that each claim is wrong, everything considered; null where nothing speaks for or against it.
   * @returns {(number | null)[]}
   */
  get doubts() {
    return this.once("doubts", () => this.doubtsIn(this.session));
  }

  /** The same after other answers. @param {Session} session @returns {(number | null)[]} */
  doubtsIn(session) {
    const { compiled, belief, evidence } = session;
    if (!belief.plausible) return this.meanings.map(() => null);
    const byTrait = new Map(evidence.filter(({ told }) => told.length).map((one) => [one.trait, toldWrong(compiled, belief, one)]));
    /** @type {Map<number, number>} how many were told of each trait so far */
    const places = new Map();
    return this.meanings.map(({ heard, true: right }) => {
      if (heard !== null) {
        const place = places.get(heard.trait) ?? 0;
        places.set(heard.trait, place + 1);
        return byTrait.get(heard.trait)?.[place] ?? null;
      }
      return right && Math.max(0, 1 - dot(belief.probability, right));
    });
  }

  /** The doubt about the n-th claim; 0 where nothing speaks for or against it. @param {number} n @returns {number} */
  doubt(n) {
    return this.doubts[n] ?? 0;
  }

  /** The n-th claim's meaning. @param {number} n @returns {Meaning} */
  meaning(n) {
    return member(this.meanings, n);
  }

  /** The n-th claim. @param {number} n @returns {Claim} */
  claim(n) {
    return this.meaning(n).claim;
  }

  // What the claims name ------------------------------------------------------------------------------------------------

  /** The claims that say which unit it is, and may be right, the surest first. @returns {number[]} */
  get naming() {
    return this.once("naming", () => {
      const known = this.recorded;
      const able = [...this.meanings.keys()].filter((n) => {
        const { names, fits } = this.meaning(n);
        return names && fits !== null && fits.some((one, c) => at(known, c) === 1 && one > 0);
      });
      return able.sort((a, b) => rounded(this.doubt(a)) - rounded(this.doubt(b)) || a - b);
    });
  }

  /** The recorded candidates of the leading family. @returns {Mask} */
  get recorded() {
    return this.once("recorded", () => {
      const { variant, family, families } = this.compiled;
      const shares = families.map(() => 0);
      this.session.belief.probability.forEach((chance, c) => (shares[at(family, c)] = (shares[at(family, c)] ?? 0) + chance));
      const leading = shares.indexOf(Math.max(...shares));
      return this.mask((c) => at(variant, c) >= 0 && at(family, c) === leading);
    });
  }

  /** All recorded candidates, of any family. @returns {Mask} */
  get everything() {
    return this.once("everything", () => this.mask((c) => at(this.compiled.variant, c) >= 0));
  }

  /** The family that leads. @returns {string | null} */
  get family() {
    return leadingFamily(this.session);
  }

  /**
   * How far a candidate is what a claim says; 1 for a claim that says nothing of it.
   * @param {number} n
   * @param {number} c
   * @returns {number}
   */
  fits(n, c) {
    const { fits } = this.meaning(n);
    return fits === null ? 1 : at(fits, c);
  }

  /** Of some candidates those that are what a claim says. @param {Mask} mine @param {number} n @returns {Mask} */
  narrowed(mine, n) {
    return mine.map((meant, c) => Number(meant === 1 && this.fits(n, c) > POSSIBLE));
  }

  /** Of the claims that name the unit, those that can be right together and are not doubted; the surest first. @returns {number[]} */
  get agreeing() {
    return this.once("agreeing", () => {
      let mine = this.recorded;
      return this.naming.filter((n) => {
        const more = this.narrowed(mine, n), agrees = this.doubt(n) < DOUBTED && more.includes(1);
        if (agrees) mine = more;
        return agrees;
      });
    });
  }

  /** The candidates that all of the agreeing claims name. @returns {Mask} */
  get named() {
    return this.once("named", () => this.fitting(this.agreeing));
  }

  /**
   * The candidates that these claims name, with as many of the agreeing ones as can be right beside them.
   * @param {readonly number[]} claims
   * @returns {Mask}
   */
  around(claims) {
    let mine = this.fitting(claims);
    for (const n of this.agreeing) {
      const more = this.narrowed(mine, n);
      if (more.includes(1)) mine = more;
    }
    return mine;
  }

  /** The recorded candidates of the leading family that are all that these claims say. @param {readonly number[]} claims @returns {Mask} */
  fitting(claims) {
    return claims.reduce((mine, n) => this.narrowed(mine, n), this.recorded);
  }
}
