/**
 * The smallest change of answers that would make another conclusion the leader: exact, over every change of up to three. As
 * `identify/flips.py`.
 *
 * Changes in different slots multiply, so each slot's terms are worked out once for every change of one, two and three of its
 * own answers, and then combined.
 */

import { WHOLE, firstOf, placeOf, slotTerms, termOf } from "./hypotheses.js";
import { addScaled, at, float, int, matrix, one as member, rowOf } from "./matrix.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./hypotheses.js").Answered} Answered
 * @typedef {import("./hypotheses.js").Hypotheses} Hypotheses
 * @typedef {import("./hypotheses.js").Terms} Terms
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * [answer's place among all, which of its alternatives] of every changed answer.
 * @typedef {[number, number][]} Pick
 *
 * [slot's place among the answered, how many of its answers are changed] of every slot with changes.
 * @typedef {[number, number][]} Way
 *
 * @typedef {object} Flip
 * @property {Pick} changes none without a flip
 * @property {number} to the new leader's group
 * @property {number} tried up to how many changes
 *
 * Every way to change k answers of one slot, and its terms. The ways stand in blocks: those that change the same answers.
 * @typedef {object} Changes
 * @property {number} ways how many there are
 * @property {Block[]} blocks
 * @property {Terms} terms
 *
 * @typedef {object} Block
 * @property {number} first
 * @property {number[]} some which answers of the slot are changed
 * @property {number[]} sizes how many alternatives each of them has; the last one runs fastest
 */

/** Changes of so many answers are looked at, if those of one number are not more than MOST_CELLS numbers. */
export const MOST_CHANGED = 3;
const MOST_CELLS = 2_000_000;
/** A leader leads by more than rounding; so does a likelier change. */
const MORE = 1 + 1e-9;

/** What each number of changes can be shared out as. */
const SPLITS = [[], [[1]], [[2], [1, 1]], [[3], [2, 1], [1, 1, 1]]];

/** Every way to answer otherwise. */
export class Alternatives {
  /**
   * @param {Compiled} compiled
   * @param {Answered} answered
   * @param {Matrix[]} others others[e][i, a]: the chance of the a-th alternative to answer e given row or part i of its slot
   */
  constructor(compiled, answered, others) {
    this.compiled = compiled;
    this.answered = answered;
    this.others = others;
    /** @type {Map<string, Changes>} */
    this.known = new Map();
  }

  /**
   * The changes of k answers of the n-th answered slot.
   * @param {number} n
   * @param {number} k
   * @returns {Changes}
   */
  within(n, k) {
    const key = `${n} ${k}`;
    let found = this.known.get(key);
    if (!found) {
      found = this.changes(n, k);
      this.known.set(key, found);
    }
    return found;
  }

  /**
   * @param {number} n
   * @param {number} k
   * @returns {Changes}
   */
  changes(n, k) {
    const seen = member(this.answered.seen, n);
    const others = member(this.answered.evidence, n).map((e, j) =>
      scaled(member(this.others, e), at(member(this.answered.scale, n), j)),
    );
    const ways = this.count(n, k);
    const all = matrix(seen.rows, ways);
    /** @type {Block[]} */
    const blocks = [];
    let first = 0;
    for (const some of combinations(others.length, k)) {
      const left = Array.from({ length: others.length }, (_, j) => j).filter((j) => !some.includes(j));
      for (let i = 0; i < seen.rows; i++) {
        const chance = left.reduce((product, j) => product * at(seen.data, i * seen.columns + j), 1);
        const rows = some.map((j) => rowOf(member(others, j), i));
        addProducts(all.data, i * ways + first, chance, rows, 0);
      }
      blocks.push({ first, some, sizes: some.map((j) => member(others, j).columns) });
      first += some.reduce((product, j) => product * member(others, j).columns, 1);
    }
    return { ways, blocks, terms: slotTerms(member(this.compiled.slots, member(this.answered.slots, n)), all) };
  }

  /**
   * The answers that are changed in one way to change k answers of the n-th answered slot.
   * @param {number} n
   * @param {Changes} changes
   * @param {number} way
   * @returns {Pick}
   */
  pick(n, { blocks }, way) {
    const begun = blocks.filter(({ first, sizes }) => first <= way && sizes.every((size) => size > 0));
    const { first, some, sizes } = member(begun, begun.length - 1);
    const which = places(way - first, sizes);
    return some.map((j, m) => [member(member(this.answered.evidence, n), j), member(which, m)]);
  }

  /**
   * How many changes of k answers of the n-th answered slot there are.
   * @param {number} n
   * @param {number} k
   * @returns {number}
   */
  count(n, k) {
    const several = member(this.answered.evidence, n).map((e) => member(this.others, e).columns);
    let count = 0;
    for (const some of combinations(several.length, k)) {
      count += some.reduce((all, j) => all * member(several, j), 1);
    }
    return count;
  }

  /**
   * The smallest flip; of several, the one whose answers are likeliest together, then the first in order.
   * @param {Hypotheses} one
   * @param {number} [most]
   * @returns {Flip}
   */
  smallest(one, most = MOST_CHANGED) {
    const kept = this.answered.slots.map((_, n) => firstOf(one, this.within(n, 0).terms, n));
    for (let size = 1; size <= most; size++) {
      const ways = this.ways(size);
      const cells = ways.reduce((all, way) => all + way.reduce((ways, [n, k]) => ways * this.count(n, k), 1), 0);
      if (cells * one.prior.length > MOST_CELLS) {
        return { changes: [], to: -1, tried: size - 1 };
      }
      const found = ways.flatMap((way) => this.best(one, kept, way) ?? []);
      const top = Math.max(...found.map(({ chance }) => chance));
      const best = found.find(({ chance }) => chance * MORE >= top);
      if (best) {
        return { changes: best.changes, to: best.to, tried: size };
      }
    }
    return { changes: [], to: -1, tried: most };
  }

  /**
   * Every way to share out a number of changes among slots.
   * @param {number} size
   * @returns {Way[]}
   */
  ways(size) {
    const slots = this.answered.slots.length;
    /** @type {Way[]} */
    const found = [];
    for (const split of SPLITS[size] ?? []) {
      const some = split.length === 2 && split[0] !== split[1] ? pairs(slots) : combinations(slots, split.length);
      for (const places of some) {
        const way = places.map((n, m) => /** @type {[number, number]} */ ([n, member(split, m)]));
        if (way.every(([n, k]) => this.count(n, k))) {
          found.push(way);
        }
      }
    }
    return found;
  }

  /**
   * The likeliest flip that changes these slots: the chance of the changed answers, the changes, and the new leader.
   * @param {Hypotheses} one
   * @param {Float64Array[]} kept kept[n][h]: the term of the n-th slot as it was answered
   * @param {Way} way
   * @returns {{ chance: number, changes: Pick, to: number } | null}
   */
  best(one, kept, way) {
    const changed = new Set(way.map(([n]) => n));
    const changes = way.map(([n, k]) => this.within(n, k));
    const sizes = changes.map(({ ways }) => ways);
    const leads = new Leads(sizes.reduce((all, size) => all * size, 1));
    for (let h = 0; h < one.prior.length; h++) {
      const chance = kept.reduce((all, mine, n) => (changed.has(n) ? all : all * at(mine, h)), at(one.prior, h));
      const rows = way.map(([n], m) => {
        const { terms } = member(changes, m);
        const from = placeOf(one, terms, n, h);
        return termOf(one, terms, n, h).data.subarray(from, from + terms[WHOLE].columns);
      });
      const g = at(one.group, h);
      leads.add(g, chance, rows, one.concluded[g] === true);
    }
    const found = leads.best();
    if (found === null) {
      return null;
    }
    const which = places(found.way, sizes);
    const all = way.flatMap(([n], m) => this.pick(n, member(changes, m), member(which, m)));
    return { chance: found.chance, changes: all.sort(byNumbers), to: found.to };
  }
}

/** Who leads for each of many ways to answer, the groups added one after the other. */
class Leads {
  /** @param {number} ways */
  constructor(ways) {
    this.group = -1;
    this.ofConclusion = false;
    this.now = new Float64Array(ways);
    this.total = new Float64Array(ways);
    this.concluded = new Float64Array(ways);
    /** The most of any other group, and the first group that has as much. */
    this.most = new Float64Array(ways);
    this.first = new Float64Array(ways);
    this.leader = new Int32Array(ways).fill(-1);
  }

  /**
   * One hypothesis of a group that is no earlier one than the last.
   * @param {number} group
   * @param {number} chance without the slots that are changed
   * @param {Float64Array[]} rows the terms of each of those for every change: all their products are ways
   * @param {boolean} ofConclusion
   */
  add(group, chance, rows, ofConclusion) {
    if (group !== this.group) {
      this.close();
      this.group = group;
      this.ofConclusion = ofConclusion;
    }
    if (chance > 0) {
      addProducts(this.now, 0, chance, rows, 0);
    }
  }

  /** Counts the group in that was added last. */
  close() {
    const { now, group, first, leader } = this;
    if (group < 0) {
      return;
    }
    addScaled(this.total, 0, now, 0, now.length, 1);
    raise(this.ofConclusion ? this.concluded : this.most, now);
    for (let w = 0; !this.ofConclusion && w < now.length; w++) {
      const sum = float(now, w);
      if (sum > MORE * float(first, w) || int(leader, w) < 0) {
        first[w] = sum;
        leader[w] = group;
      }
    }
    now.fill(0);
  }

  /**
   * The likeliest way in which another group than those of the conclusion leads, the first of several.
   * @returns {{ chance: number, way: number, to: number } | null}
   */
  best() {
    this.close();
    this.group = -1;
    let top = -1;
    for (let w = 0; w < this.total.length; w++) {
      top = this.flipped(w) ? Math.max(top, at(this.total, w)) : top;
    }
    for (let w = 0; w < this.total.length; w++) {
      if (this.flipped(w) && at(this.total, w) * MORE >= top) {
        return { chance: at(this.total, w), way: w, to: at(this.leader, w) };
      }
    }
    return null;
  }

  /** @param {number} w */
  flipped(w) {
    return at(this.most, w) > MORE * at(this.concluded, w);
  }
}

/**
 * Adds all products of a factor and one number of each row, the last running fastest.
 * @param {Float64Array} to
 * @param {number} place where to begin
 * @param {number} factor
 * @param {Float64Array[]} rows
 * @param {number} which row comes next
 * @returns {number} the place behind them
 */
function addProducts(to, place, factor, rows, which) {
  const row = rows[which];
  if (!row) {
    to[place] = at(to, place) + factor;
    return place + 1;
  }
  if (which + 1 === rows.length) {
    addScaled(to, place, row, 0, row.length, factor);
    return place + row.length;
  }
  for (const one of row) {
    place = addProducts(to, place, factor * one, rows, which + 1);
  }
  return place;
}

/**
 * Raises numbers to at least those of a row.
 * @param {Float64Array} to
 * @param {Float64Array} row
 */
function raise(to, row) {
  for (let j = 0; j < row.length; j++) {
    to[j] = Math.max(float(to, j), float(row, j));
  }
}

/**
 * Every choice of k of n things, in order.
 * @param {number} n
 * @param {number} k
 * @returns {number[][]}
 */
export function combinations(n, k) {
  if (k === 0) {
    return [[]];
  }
  /** @type {number[][]} */
  const found = [];
  for (let last = k - 1; last < n; last++) {
    found.push(...combinations(last, k - 1).map((some) => [...some, last]));
  }
  return found.sort(byNumbers);
}

/**
 * Every ordered pair of two of n things.
 * @param {number} n
 */
function pairs(n) {
  const all = Array.from({ length: n }, (_, i) => i);
  return all.flatMap((i) => all.filter((j) => j !== i).map((j) => [i, j]));
}

/**
 * The indices of one of all rows of indices below these sizes, the last running fastest.
 * @param {number} place
 * @param {number[]} sizes
 * @returns {number[]}
 */
function places(place, sizes) {
  const found = sizes.map(() => 0);
  for (let m = sizes.length - 1; m >= 0; m--) {
    const size = member(sizes, m);
    found[m] = place % size;
    place = Math.floor(place / size);
  }
  return found;
}

/**
 * A matrix divided by a number.
 * @param {Matrix} of
 * @param {number} by
 * @returns {Matrix}
 */
function scaled(of, by) {
  return matrix(
    of.rows,
    of.columns,
    of.data.map((one) => one / by),
  );
}

/**
 * The order of two rows of numbers.
 * @param {readonly number[]} first
 * @param {readonly number[]} second
 * @returns {number}
 */
export function byNumbers(first, second) {
  for (let i = 0; i < Math.min(first.length, second.length); i++) {
    if (first[i] !== second[i]) {
      return (first[i] ?? 0) - (second[i] ?? 0);
    }
  }
  return first.length - second.length;
}
