/** What the answers of one identification come to: variants, sets of origin, what cannot be told apart, what is settled. */

import { Answered } from "./answered.js";
import { label, NOT_IN_THE_RECORD, SAME } from "./arrays.js";
import { float, int, largest, one, range, rounded } from "./matrix.js";
import { originalShare, setGroups, setNames, twinGroups } from "./questions.js";

/** @typedef {import("./answered.js").Target} Target */

/** Answers, and what they come to. */
export class Concluded extends Answered {
  /**
   * Variants with their probability, best first; all units that are not in the record together.
   * @returns {[string, number][]}
   */
  get variants() {
    return this.once("variants", () => {
      const names = [...this.compiled.variants, NOT_IN_THE_RECORD];
      const last = names.length - 1;
      const key = this.shares.map(rounded);
      const byName = (/** @type {number} */ a, /** @type {number} */ b) => byText(one(names, a), one(names, b));
      const order = range(names.length).sort(
        (a, b) => float(key, b) - float(key, a) || Number(a === last) - Number(b === last) || byName(a, b),
      );
      return order.map((v) => [one(names, v), float(this.shares, v)]);
    });
  }

  /**
   * The belief in each variant, and last that in all units that are not in the record.
   * @returns {Float64Array}
   */
  get shares() {
    return this.once("shares", () => {
      const known = this.compiled.variants.length;
      const places = this.compiled.variant.map((v) => (v < 0 ? known : v));
      return sums(places, this.belief.probability, known + 1);
    });
  }

  /**
   * Set or null, position and probability of the set of origin, best first; null: sold alone, or not in the record.
   * @returns {[string | null, number, number][]}
   */
  get positions() {
    return this.once("positions", () => {
      const { setOf, position, sets } = this.compiled;
      /** @type {Map<string, [string | null, number, number]>} */
      const found = new Map();
      this.belief.probability.forEach((chance, c) => {
        const key = `${int(setOf, c)} ${int(position, c)}`;
        const place = found.get(key) ?? [int(setOf, c) >= 0 ? one(sets, int(setOf, c)) : null, int(position, c), 0];
        place[2] += chance;
        found.set(key, place);
      });
      return [...found.values()].sort(
        (a, b) => rounded(b[2]) - rounded(a[2]) || byText(a[0] ?? "", b[0] ?? "") || a[1] - b[1],
      );
    });
  }

  /**
   * The belief in each set of origin, best first; null: sold alone; and what is not in the record.
   * @returns {Map<string | null, number>}
   */
  get origins() {
    return this.once("origins", () => {
      /** @type {Map<string | null, number>} */
      const shares = new Map();
      const names = setNames(this.compiled);
      this.belief.probability.forEach((chance, c) => shares.set(one(names, c), (shares.get(one(names, c)) ?? 0) + chance));
      return new Map([...shares].sort((a, b) => rounded(b[1]) - rounded(a[1]) || byText(a[0] ?? "", b[0] ?? "")));
    });
  }

  /**
   * The variants that no question can separate from each one: in the views at hand, without what one cannot tell.
   * @returns {Map<string, string[]>}
   */
  get twins() {
    return this.once("twins", () => {
      /** @type {Map<number, Set<string>>} */
      const members = new Map();
      this.twinGroups.forEach((group, c) => {
        const found = members.get(group) ?? new Set();
        members.set(group, found.add(label(this.compiled, c)));
      });
      const sorted = new Map([...members].map(([group, names]) => [group, [...names].sort(byText)]));
      return new Map(Array.from(this.twinGroups, (group, c) => [label(this.compiled, c), sorted.get(group) ?? []]));
    });
  }

  /** @returns {Int32Array} */
  get twinGroups() {
    return this.once("twinGroups", () => {
      const unclear = new Set(this.given.filter(({ reading }) => reading.kind === "cannot-tell").map(({ trait }) => trait));
      return twinGroups(
        this.compiled,
        this.visible.filter((t) => !unclear.has(t) || this.seen.has(t)),
      );
    });
  }

  /**
   * The leader with everything that cannot be separated from it, and their probability together.
   * @returns {[string[], number]}
   */
  get leading() {
    return this.once("leading", () => {
      const { variant, mine } = this.leader;
      if (variant < 0) return [[NOT_IN_THE_RECORD], this.leadingShare];
      const group = [...new Set(mine.map((c) => int(this.compiled.variant, c)))];
      const key = this.shares.map(rounded);
      const name = (/** @type {number} */ v) => one(this.compiled.variants, v);
      group.sort((a, b) => float(key, b) - float(key, a) || byText(name(a), name(b)));
      return [group.map(name), this.leadingShare];
    });
  }

  /**
   * The likeliest variant, -1 for what is not in the record; and the candidates that it or its twins are.
   * @returns {{variant: number, mine: number[]}}
   */
  get leader() {
    return this.once("leader", () => {
      const { variants, variant } = this.compiled;
      const key = this.shares.map(rounded);
      const leader = key.indexOf(largest(key));
      if (leader === variants.length) return { variant: -1, mine: indices(variant, (v) => v < 0) };
      const group = int(this.twinGroups, Math.max(variant.indexOf(leader), 0));
      return { variant: leader, mine: indices(this.twinGroups, (other) => other === group) };
    });
  }

  /** @returns {number} */
  get leadingShare() {
    return this.leader.mine.reduce((share, c) => share + float(this.belief.probability, c), 0);
  }

  /**
   * Whether the target is as sure as the knowledge base asks.
   * @returns {boolean}
   */
  get settled() {
    return this.once("settled", () => {
      if (!this.belief.plausible || !this.compiled.candidates) return false;
      const sure = (/** @type {number} */ share) => share >= this.compiled.settled - SAME;
      const wanted = (/** @type {Target} */ target) => this.target === target || this.target === "all";
      return (
        (!wanted("variant") || sure(this.leadingShare)) &&
        (!wanted("set") || sure(this.setShare)) &&
        (!wanted("original") || sure(this.originalShare))
      );
    });
  }

  /** @returns {number} */
  get originalShare() {
    const original = originalShare(this.compiled, this.belief);
    return Math.max(original, 1 - original);
  }

  /** @returns {number} */
  get setShare() {
    const groups = setGroups(this.compiled);
    const least = Math.min(...new Set(groups));
    return largest(
      sums(
        groups.map((group) => group - least),
        this.belief.probability,
        this.compiled.sets.length - least + 1,
      ),
    );
  }
}

/**
 * The places of some numbers.
 * @param {Int32Array} numbers
 * @param {(number: number) => boolean} wanted
 * @returns {number[]}
 */
function indices(numbers, wanted) {
  /** @type {number[]} */
  const found = [];
  for (let i = 0; i < numbers.length; i++) if (wanted(int(numbers, i))) found.push(i);
  return found;
}

/**
 * Texts by their code points, as Python sorts them.
 * @param {string} a
 * @param {string} b
 * @returns {number}
 */
function byText(a, b) {
  return a < b ? -1 : Number(a > b);
}

/**
 * Numbers summed by where each belongs.
 * @param {Int32Array} places
 * @param {Float64Array} numbers
 * @param {number} length
 * @returns {Float64Array}
 */
export function sums(places, numbers, length) {
  const found = new Float64Array(length);
  for (let i = 0; i < places.length; i++) found[int(places, i)] = float(found, int(places, i)) + float(numbers, i);
  return found;
}

