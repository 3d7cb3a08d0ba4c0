/** The answers of one identification in order, and what they mean together. */

import { believe } from "./belief.js";
import { doubts } from "./doubts.js";
import { mergeLooks, withHeard } from "./given.js";
import { one, range } from "./matrix.js";
import { setGroups, variantGroups } from "./questions.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./doubts.js").Doubt} Doubt
 * @typedef {import("./given.js").Given} Given
 * @typedef {import("./given.js").Heard} Heard
 * @typedef {import("./questions.js").Question} Question
 * @typedef {import("./reading.js").Reading} Reading
 *
 * @typedef {"variant" | "set" | "original" | "all"} Target
 * @typedef {"yes-no" | "any"} Ask
 *
 * @typedef {object} Options
 * @property {readonly Given[]} [given]
 * @property {readonly number[] | null} [views] those at hand, by index; null: all
 * @property {Target} [target]
 * @property {Ask} [ask]
 * @property {readonly Heard[]} [heard] what others say of it, beside one's own answers
 */

/** An immutable state; every change returns a new one. What it means is worked out when it is first asked for, and kept. */
export class Answered {
  /**
   * @param {Compiled} compiled
   * @param {Options} [options]
   */
  constructor(compiled, options = {}) {
    this.compiled = compiled;
    /** @type {readonly Given[]} */
    this.given = options.given ?? [];
    /** @type {readonly number[] | null} */
    this.views = options.views ?? null;
    /** @type {Target} */
    this.target = options.target ?? "variant";
    /** @type {Ask} */
    this.ask = options.ask ?? "yes-no";
    /** @type {readonly Heard[]} */
    this.heard = options.heard ?? [];
    /** @type {Map<string, any>} */
    this.kept = new Map();
  }

  /**
   * What is kept under a name, worked out where it was not asked for before.
   * @template T
   * @param {string} name
   * @param {() => T} found
   * @returns {T}
   */
  once(name, found) {
    if (!this.kept.has(name)) this.kept.set(name, found());
    return this.kept.get(name);
  }

  /**
   * The same with something changed.
   * @param {Options} options
   * @returns {this}
   */
  with(options) {
    const { given, views, target, ask, heard } = this;
    const made = /** @type {new (compiled: Compiled, options: Options) => this} */ (this.constructor);
    return new made(this.compiled, { given, views, target, ask, heard, ...options });
  }

  // Answers ------------------------------------------------------------------------------------------------------------

  /**
   * With one more answer.
   * @param {number} trait
   * @param {Reading} reading
   * @returns {this}
   */
  answer(trait, reading) {
    return this.with({ given: [...this.given, { trait, reading, look: this.looksAt(trait) }] });
  }

  /**
   * With the answer to a question.
   * @param {Question} question
   * @param {Reading} reading
   * @returns {this}
   */
  reply(question, reading) {
    return this.with({ given: [...this.given, { trait: question.trait, reading, look: this.lookOf(question) }] });
  }

  /**
   * With what another look at a trait showed.
   * @param {number} trait
   * @param {Reading} reading
   * @returns {this}
   */
  again(trait, reading) {
    return this.with({ given: [...this.given, { trait, reading, look: this.looksAt(trait) + 1 }] });
  }

  /**
   * How many looks at its trait a question comes after; what they showed still counts.
   * @param {Question} question
   * @returns {number}
   */
  lookOf(question) {
    const measuredBefore = question.form === "value" && this.given.some(({ trait }) => trait === question.trait);
    return this.looksAt(question.trait) + Number(question.form === "again" || measuredBefore);
  }

  /**
   * @param {number} t
   * @returns {number}
   */
  looksAt(t) {
    return Math.max(0, ...this.given.filter(({ trait }) => trait === t).map(({ look }) => look));
  }

  /**
   * Without the last answer.
   * @returns {this}
   */
  back() {
    return this.with({ given: this.given.slice(0, -1) });
  }

  /**
   * With the whole of what is seen of a trait, in the place of everything answered to it before.
   * @param {number} trait
   * @param {Reading} reading
   * @returns {this}
   */
  tell(trait, reading) {
    const kept = this.given.filter((answer) => answer.trait !== trait);
    return this.with({ given: [...kept, { trait, reading, look: 0 }] });
  }

  /**
   * With another reading in the place of an earlier answer, and of all others to its trait.
   * @param {number} index
   * @param {Reading} reading
   * @returns {this}
   */
  change(index, reading) {
    const { trait } = one(this.given, index);
    const given = this.given.flatMap((answer, i) =>
      i === index ? [{ trait, reading, look: 0 }] : answer.trait === trait ? [] : [answer],
    );
    return this.with({ given });
  }

  // What they mean -----------------------------------------------------------------------------------------------------

  /**
   * All answers to one trait merged into one, with what others say of it.
   * @returns {Evidence[]}
   */
  get evidence() {
    return this.once("evidence", () => {
      const traits = [...new Set([...this.given, ...this.heard].map(({ trait }) => trait))];
      return traits.flatMap((t) => {
        const mine = (/** @type {{trait: number}} */ answer) => answer.trait === t;
        const trait = one(this.compiled.traits, t);
        return withHeard(trait, t, mergeLooks(trait, t, this.given.filter(mine)), this.heard.filter(mine)) ?? [];
      });
    });
  }

  /**
   * The traits that were answered by somebody who looked, and said something.
   * @returns {Set<number>}
   */
  get seen() {
    return this.once("seen", () => new Set(this.evidence.filter(({ seen }) => seen).map(({ trait }) => trait)));
  }

  /**
   * The belief after all answers.
   * @returns {Belief}
   */
  get belief() {
    return this.once("belief", () => believe(this.compiled, this.evidence));
  }

  /**
   * The target group of every candidate.
   * @returns {Int32Array}
   */
  get groups() {
    if (this.target === "set") return setGroups(this.compiled);
    if (this.target === "all") return this.once("groups", () => this.compiled.variant.map((_, c) => c));
    return variantGroups(this.compiled);
  }

  /**
   * The chance of every answer that it names what is not there.
   * @returns {Doubt[]}
   */
  get doubts() {
    return this.once("doubts", () => doubts(this.compiled, this.belief, this.evidence));
  }

  /**
   * The traits in the views at hand that are asked at all.
   * @returns {number[]}
   */
  get visible() {
    return this.once("visible", () => {
      const atHand = this.views && new Set(this.views);
      const { traits } = this.compiled;
      return range(traits.length).filter((t) => one(traits, t).asked && (!atHand || atHand.has(one(traits, t).view)));
    });
  }
}
