/**
 * Which question first, counting what is asked after it: least expected effort until the target is settled. How is told in
 * `identify/plan.py`. Ties go to the question listed first.
 */

import { SAME } from "./arrays.js";
import { alikeRows, any, float, int, dot, largest, matrix, one, range, rounded, rowOf, sum } from "./matrix.js";
import { entropy } from "./questions.js";

/**
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * @typedef {object} Game what is left to find out
 * @property {Float64Array} weight how likely each hypothesis is
 * @property {Int32Array} group what settles each hypothesis, from 0 without gaps
 * @property {readonly Matrix[]} chances of each question P(outcome | hypothesis), shape [h, outcomes]
 * @property {readonly number[]} view where each question is looked up; -1: needs none
 * @property {Float64Array} there the effort of each question coming from elsewhere
 * @property {Float64Array} here and when one is looking there already
 * @property {number} at the view one is looking at
 * @property {number} settled the share a group must have for the game to end
 * @property {readonly number[]} kin questions of one kin are read off one thing
 *
 * @typedef {object} Parts of every outcome of every question
 * @property {Float64Array} chance
 * @property {Float64Array} bits left that can be told
 * @property {Uint8Array} open whether it is unsettled
 * @property {Float64Array} slack the bits that may be left where it is settled
 */

/** Solved to the end up to so many hypotheses, and so many states of the game; two questions ahead beyond that. */
export const FEW = 20;
export const MOST_STATES = 800;
/** Answers rarer than this for a hypothesis are taken for mistakes. */
export const MISTAKE = 0.12;
/** The game is solved to its end, or two questions ahead, while no more than these shares of all answers are mistakes. */
export const TO_THE_END = 0.005;
export const AHEAD = 0.03;
/** So many of the best questions are looked behind. */
export const WIDTH = 6;

/**
 * The question to ask first.
 * @param {Game} game its `chances` must not be empty
 * @param {number} [ahead] up to which share of mistakes a plan is made
 * @returns {number}
 */
export function best(game, ahead = AHEAD) {
  const mistakes = mistakesOf(game);
  if (mistakes > ahead + SAME) return 0;
  if (game.weight.length <= FEW && mistakes <= TO_THE_END + SAME) {
    const solver = new Solver(game, true);
    const found = solver.solve(solver.weight, [], game.at, Infinity);
    if (!solver.tooLarge) return Math.max(found.first, 0);
  }
  return new Solver(game, false).ahead();
}

/**
 * The share of answers that would be taken for mistakes, over all questions.
 * @param {Game} game
 * @returns {number}
 */
function mistakesOf({ chances, weight }) {
  let found = 0;
  for (const of of chances) {
    weight.forEach((w, h) => {
      for (const chance of rowOf(of, h)) if (chance < MISTAKE - SAME) found += w * chance;
    });
  }
  return found / chances.length / sum(weight);
}

/** A game with its hypotheses in the order of their groups, and what was found out about it. */
class Solver {
  /**
   * @param {Game} game
   * @param {boolean} likely without the answers that would be mistakes
   */
  constructor(game, likely) {
    this.game = game;
    this.tooLarge = false;
    this.states = 0;
    /** @type {Map<string, {effort: number, first: number}>} */
    this.known = new Map();
    /** @type {Map<string, number>} */
    this.low = new Map();
    const order = range(game.weight.length).sort((a, b) => int(game.group, a) - int(game.group, b) || a - b);
    const total = sum(game.weight);
    this.weight = Float64Array.from(order, (h) => float(game.weight, h) / total);
    this.group = Int32Array.from(order, (h) => int(game.group, h));
    this.groups = int(this.group, order.length - 1) + 1;
    /** The outcomes of all questions, one below the other: outcome[o, h]. */
    this.outcome = outcomesOf(game.chances, order, likely);
    this.first = [0];
    for (const of of game.chances) this.first.push(one(this.first, this.first.length - 1) + of.columns);
    this.of = game.chances.flatMap((of, q) => Array(of.columns).fill(q));
    this.soft = game.chances.map((_, q) =>
      this.outcome.data
        .subarray(one(this.first, q) * order.length, one(this.first, q + 1) * order.length)
        .some((chance) => chance > 0 && chance < 1),
    );
    this.widest = Math.max(2, ...game.chances.map((of) => of.columns));
    this.kin = game.kin.length ? game.kin : range(game.chances.length);
    this.cheapest = Math.min(...game.here, ...game.there);
    this.slack = range(this.groups + 1).map((groups) => slackOf(game.settled, groups));
    /** What stays of a hypothesis after its rarest answers; and how little others have beside a leader that settles it. */
    this.shrunk = this.leastChances();
    this.beside = (1 - game.settled + SAME) / (game.settled - SAME);
    this.hidden = this.hiddenBits();
    this.hides = any(this.hidden);
  }

  /**
   * What each question takes, looking at a view now.
   * @param {number} q
   * @param {number} view
   * @returns {number}
   */
  cost(q, view) {
    return float(one(this.game.view, q) === view ? this.game.here : this.game.there, q);
  }

  /**
   * Weights of hypotheses summed over each group.
   * @param {Float64Array} weight
   * @returns {Float64Array}
   */
  grouped(weight) {
    const found = new Float64Array(this.groups);
    for (let h = 0; h < weight.length; h++) {
      const g = int(this.group, h);
      found[g] = float(found, g) + float(weight, h);
    }
    return found;
  }

  /**
   * The chance of the rarest answers of each hypothesis to all questions.
   * @returns {Float64Array}
   */
  leastChances() {
    const size = this.weight.length;
    return this.weight.map((_, h) =>
      this.game.chances.reduce((product, _, q) => {
        const mine = range(one(this.first, q + 1) - one(this.first, q))
          .map((o) => float(this.outcome.data, (one(this.first, q) + o) * size + h))
          .filter((chance) => chance > 0);
        return product * Math.min(1, ...mine);
      }, 1),
    );
  }

  /**
   * Bits about the group of each hypothesis that no question can tell: of those that answer everything alike.
   * @returns {Float64Array}
   */
  hiddenBits() {
    const size = this.weight.length;
    const outcomes = range(this.outcome.rows).map((o) => matrix(size, 1, rowOf(this.outcome, o)));
    const alike = outcomes.reduce(alikeRows, new Int32Array(size));
    const several = new Set(alike.filter((kind, h) => alike.indexOf(kind) !== h));
    const bits = new Float64Array(size);
    for (const kind of several) {
      const hidden = entropy(this.grouped(this.weight.map((weight, h) => (int(alike, h) === kind ? weight : 0))));
      alike.forEach((other, h) => {
        if (other === kind) bits[h] = hidden;
      });
    }
    return bits;
  }

  /**
   * @param {Float64Array} weight
   * @returns {Parts}
   */
  parts(weight) {
    const { rows, columns, data } = this.outcome;
    const chance = new Float64Array(rows);
    const bits = new Float64Array(rows);
    const open = new Uint8Array(rows);
    const slack = new Float64Array(rows);
    for (let o = 0; o < rows; o++) {
      let total = 0;
      let hidden = 0;
      let inside = 0;
      let most = 0;
      let joint = 0;
      let groups = 0;
      let rarest = Infinity;
      for (let h = 0; h < columns; h++) {
        const share = float(data, o * columns + h) * float(weight, h);
        joint += share;
        if (share > 0) rarest = Math.min(rarest, share * float(this.shrunk, h));
        if (this.hides) hidden += share * float(this.hidden, h);
        if (h + 1 < columns && int(this.group, h + 1) === int(this.group, h)) continue;
        total += joint;
        if (joint > most) most = joint;
        if (joint > 0) {
          inside += joint * Math.log2(joint);
          groups += 1;
        }
        joint = 0;
      }
      chance[o] = total;
      const left = total > 0 ? Math.log2(total) - (inside + hidden) / total : 0;
      bits[o] = left > SAME ? left : 0;
      open[o] = left > SAME && most < (this.game.settled - SAME) * total ? 1 : 0;
      slack[o] = rarest <= this.beside * most ? one(this.slack, groups) : 0;
    }
    return { chance, bits, open, slack };
  }

  /**
   * Bits about the group that questions can tell.
   * @param {Float64Array} weight
   * @returns {number}
   */
  bits(weight) {
    return entropy(this.grouped(weight)) - dot(weight, this.hidden);
  }

  /**
   * Of each question the sum of something over its outcomes.
   * @param {(o: number) => number} what
   * @returns {Float64Array}
   */
  over(what) {
    const found = new Float64Array(this.game.chances.length);
    for (let o = 0; o < this.outcome.rows; o++) found[one(this.of, o)] = float(found, one(this.of, o)) + what(o);
    return found;
  }

  /**
   * Weights after an outcome.
   * @param {Float64Array} weight
   * @param {number} o
   * @param {number} chance of the outcome
   * @returns {Float64Array}
   */
  after(weight, o, chance) {
    const row = rowOf(this.outcome, o);
    return weight.map((w, h) => (w * float(row, h)) / chance);
  }

  // To the end ---------------------------------------------------------------------------------------------------------

  /**
   * Expected effort and first question from here; infinite when it is no better than `limit`.
   * @param {Float64Array} weight
   * @param {readonly number[]} told
   * @param {number} view
   * @param {number} limit
   * @returns {{effort: number, first: number}}
   */
  solve(weight, told, view, limit) {
    if (this.tooLarge) return { effort: Infinity, first: -1 };
    if (largest(this.grouped(weight)) >= this.game.settled - SAME) return { effort: 0, first: -1 };
    const key = `${Array.from(weight, (w) => (w > 0 ? 1 : 0)).join("")} ${told.join()} ${view}`;
    const known = this.known.get(key);
    if (known) return known;
    if ((this.low.get(key) ?? 0) >= limit - SAME) return { effort: Infinity, first: -1 };
    this.states += 1;
    this.tooLarge = this.states > MOST_STATES;
    const found = this.bestFrom(weight, told, view, limit);
    if (found.effort < limit - SAME) this.known.set(key, found);
    else this.low.set(key, Math.max(limit, this.low.get(key) ?? 0));
    return found;
  }

  /**
   * @param {Float64Array} weight
   * @param {readonly number[]} told
   * @param {number} view
   * @param {number} limit
   * @returns {{effort: number, first: number}}
   */
  bestFrom(weight, told, view, limit) {
    const parts = this.parts(weight);
    const { chance, bits, open, slack } = parts;
    const least = bits.map((left, o) =>
      open[o] ? Math.max(this.cheapest, (this.cheapest * (left - float(slack, o))) / Math.log2(this.widest)) : 0,
    );
    const closed = new Set(told.map((o) => one(this.kin, one(this.of, o))));
    const outcomes = this.over((o) => Number(float(chance, o) > SAME));
    const tells = range(outcomes.length).filter((q) => float(outcomes, q) > 1 && !closed.has(one(this.kin, q)));
    if (!tells.length) return { effort: 0, first: -1 };
    const bound = this.over((o) => float(chance, o) * float(least, o)).map((effort, q) => effort + this.cost(q, view));
    const found = { effort: Infinity, first: -1 };
    for (const q of tells.sort((a, b) => rounded(float(bound, a)) - rounded(float(bound, b)) || a - b)) {
      if (float(bound, q) >= Math.min(found.effort, limit) - SAME || this.tooLarge) break;
      const effort = this.effortOf(q, weight, told, parts, least, float(bound, q), Math.min(found.effort, limit));
      if (effort < found.effort - SAME) {
        found.effort = effort;
        found.first = q;
      }
    }
    return found;
  }

  /**
   * The effort of a question and of the best way on after each of its answers.
   * @param {number} q
   * @param {Float64Array} weight
   * @param {readonly number[]} told
   * @param {Parts} parts
   * @param {Float64Array} least of each outcome the least effort that can follow
   * @param {number} bound
   * @param {number} limit
   * @returns {number}
   */
  effortOf(q, weight, told, { chance, open }, least, bound, limit) {
    let effort = bound;
    for (let o = one(this.first, q); o < one(this.first, q + 1); o++) {
      if (!open[o]) continue;
      const more = this.soft[q] ? [...told, o].sort((a, b) => a - b) : told;
      const room = (limit - effort) / float(chance, o) + float(least, o);
      const left = this.after(weight, o, float(chance, o));
      effort += float(chance, o) * (this.solve(left, more, one(this.game.view, q), room).effort - float(least, o));
      if (effort >= limit - SAME) break;
    }
    return effort;
  }

  // Two questions ahead ------------------------------------------------------------------------------------------------

  /**
   * The question with the least effort expected, that of two questions counted and the rest guessed.
   * Every bit left after that is guessed to take as long as it does with the best question there is now.
   * @returns {number}
   */
  ahead() {
    const parts = this.parts(this.weight);
    const rates = this.news(this.weight, parts).map((bits, q) => bits / this.cost(q, this.game.at));
    const each = 1 / Math.max(largest(rates), SAME);
    const rough = this.rough(this.weight, parts, this.game.at, each);
    const order = range(rough.length)
      .sort((a, b) => compared(float(rough, a), float(rough, b)) || a - b)
      .slice(0, WIDTH);
    const found = order.map((q) => rounded(this.behind(q, parts, each)));
    return one(order, found.indexOf(Math.min(...found)));
  }

  /**
   * @param {number} q
   * @param {Parts} parts
   * @param {number} each
   * @returns {number}
   */
  behind(q, { chance, open }, each) {
    let effort = this.cost(q, this.game.at);
    for (let o = one(this.first, q); o < one(this.first, q + 1); o++) {
      if (!open[o]) continue;
      const left = this.after(this.weight, o, float(chance, o));
      const rough = this.rough(left, this.parts(left), one(this.game.view, q), each);
      const others = rough.filter((_, other) => !(this.soft[q] && one(this.kin, other) === one(this.kin, q)));
      const after = Math.min(...others);
      if (after < Infinity) effort += float(chance, o) * after;
    }
    return effort;
  }

  /**
   * Bits that each question tells about the group.
   * @param {Float64Array} weight
   * @param {Parts} parts
   * @returns {Float64Array}
   */
  news(weight, { chance, bits }) {
    const before = this.bits(weight);
    return this.over((o) => float(chance, o) * float(bits, o)).map((left) => before - left);
  }

  /**
   * The effort of each question and of what comes after it, guessed; infinite for a question without news.
   * @param {Float64Array} weight
   * @param {Parts} parts
   * @param {number} view
   * @param {number} each
   * @returns {Float64Array}
   */
  rough(weight, parts, view, each) {
    const { chance, bits, open } = parts;
    const guess = this.over((o) => (open[o] ? float(chance, o) * Math.max(this.cheapest, float(bits, o) * each) : 0));
    return this.news(weight, parts).map((told, q) => (told > SAME ? this.cost(q, view) + float(guess, q) : Infinity));
  }
}

/**
 * The bits that may be left where one of so many groups has its share.
 * @param {number} settled
 * @param {number} groups
 * @returns {number}
 */
function slackOf(settled, groups) {
  const spare = 1 - settled;
  return entropy([spare, settled]) + spare * Math.log2(Math.max(groups - 1, 1));
}

/**
 * How two numbers are ordered that may be infinite.
 * @param {number} a
 * @param {number} b
 * @returns {number}
 */
function compared(a, b) {
  return a === b ? 0 : rounded(a) - rounded(b);
}

/**
 * outcome[o, h] of all questions, of each hypothesis summing to 1 over a question.
 * @param {readonly Matrix[]} chances
 * @param {readonly number[]} order
 * @param {boolean} likely
 * @returns {Matrix}
 */
function outcomesOf(chances, order, likely) {
  const rows = chances.reduce((count, of) => count + of.columns, 0);
  const found = matrix(rows, order.length);
  let first = 0;
  for (const of of chances) {
    order.forEach((h, n) => {
      const row = likely ? likelyOf(rowOf(of, h)) : rowOf(of, h);
      const total = sum(row);
      row.forEach((chance, o) => (found.data[(first + o) * order.length + n] = total > 0 ? chance / total : 0));
    });
    first += of.columns;
  }
  return found;
}

/**
 * Without the answers that would be mistakes; a hypothesis that has no others keeps them.
 * @param {Float64Array} chances
 * @returns {Float64Array}
 */
function likelyOf(chances) {
  const kept = chances.map((chance) => (chance < MISTAKE - SAME ? 0 : chance));
  return any(kept) ? kept : chances;
}
