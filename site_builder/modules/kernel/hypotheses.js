/**
 * Conclusions as sums over hypotheses, so that an answer can be left out or changed without starting anew. As
 * `identify/hypotheses.py`, which says what a hypothesis is.
 */

import { label } from "./arrays.js";
import { likelihood } from "./belief.js";
import { addScaled, at, largest, matrix, one as member, product, takeRows } from "./matrix.js";
import { log2, setNames } from "./questions.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * What a group is: a variant, a set (null: none), or whether.
 * @typedef {string | boolean | null} Name
 *
 * Hypotheses by ascending group.
 * @typedef {object} Hypotheses
 * @property {Name[]} names what each group is
 * @property {boolean[]} concluded whether each group is of the conclusion
 * @property {boolean[]} rival whether each group is of its runner-up
 * @property {Float64Array} prior prior[h]
 * @property {Int32Array} group group[h], ascending
 * @property {Int32Array[]} mode mode[n][h]: which term each takes of the n-th answered slot
 * @property {Int32Array[]} row row[n][h]
 * @property {boolean} rest the second of two groups holds the first as well, and stands for what is left of it
 *
 * The answers by slot: seen[n][i, j] is the chance of the j-th answer in the n-th answered slot given its row or part i.
 * @typedef {object} Answered
 * @property {number[]} slots
 * @property {Matrix[]} seen
 * @property {number[][]} evidence evidence[n][j]: that answer's place among all
 * @property {Float64Array[]} scale scale[n][j]: what its chances were divided by, so that the largest is 1
 * @property {Int32Array} look equal for two candidates when every answered slot is the same on both
 *
 * terms[mode] is a matrix [u, way]: the chance of each way to answer.
 * @typedef {[Matrix, Matrix, Matrix]} Terms
 *
 * By an answer's place among all, its weight for the conclusion in bits: against everything else, and the runner-up.
 * @typedef {object} Weights
 * @property {Map<number, number>} overAll
 * @property {Map<number, number>} overRival
 */

export const WHOLE = 0;
export const KEPT = 1;
export const CHANGED = 2;

/**
 * terms[mode][u, n] from seen[i, n], the chance of the n-th way to answer given each row or part.
 * @param {Slot} slot
 * @param {Matrix} seen
 * @returns {Terms}
 */
export function slotTerms(slot, seen) {
  const kept = slot.parts.length ? product(slot.issued, seen) : matrix(seen.rows, seen.columns, seen.data.slice());
  const changed = slot.parts.length ? product(slot.replaced, seen) : takeRows(seen, slot.redone);
  const whole = matrix(kept.rows, kept.columns);
  for (let u = 0, place = 0; u < kept.rows; u++) {
    const swap = at(slot.swap, u);
    for (let n = 0; n < kept.columns; n++, place++) {
      kept.data[place] = (1 - swap) * at(kept.data, place);
      changed.data[place] = swap * at(changed.data, place);
      whole.data[place] = at(kept.data, place) + at(changed.data, place);
    }
  }
  return [whole, kept, changed];
}

/**
 * The answers sorted by the slots they are about.
 * @param {Compiled} compiled
 * @param {readonly Evidence[]} evidence
 * @returns {Answered}
 */
export function bySlot(compiled, evidence) {
  const slotOf = evidence.map((one) => member(compiled.traits, one.trait).slot);
  const slots = [...new Set(slotOf)].sort((first, second) => first - second);
  const places = slots.map((s) => evidence.flatMap((_, e) => (slotOf[e] === s ? [e] : [])));
  const chances = evidence.map((one) => likelihood(member(compiled.traits, one.trait), one));
  const seen = places.map((mine) => columns(mine.map((e) => member(chances, e))));
  const scale = places.map((mine) => Float64Array.from(mine, (e) => largest(member(chances, e)) || 1));
  seen.forEach((one, n) => {
    for (let place = 0; place < one.data.length; place++) {
      one.data[place] = at(one.data, place) / at(member(scale, n), place % one.columns);
    }
  });
  return { slots, seen, evidence: places, scale, look: looks(compiled, slots) };
}

/**
 * A matrix from its columns, of one length each.
 * @param {Float64Array[]} some
 * @returns {Matrix}
 */
function columns(some) {
  const rows = some[0]?.length ?? 0;
  const found = matrix(rows, some.length);
  some.forEach((one, j) => {
    for (let i = 0; i < rows; i++) {
      found.data[i * some.length + j] = at(one, i);
    }
  });
  return found;
}

/**
 * A number for every candidate, equal for two with the same rows in all of these slots.
 * @param {Compiled} compiled
 * @param {number[]} slots
 */
function looks(compiled, slots) {
  let look = new Int32Array(compiled.candidates);
  for (const s of slots) {
    const { row, rows } = member(compiled.slots, s);
    /** @type {Map<number, number>} */
    const known = new Map();
    look = look.map((before, c) => {
      const key = before * rows + at(row, c);
      const now = known.get(key) ?? known.size;
      known.set(key, now);
      return now;
    });
  }
  return look;
}

/**
 * Hypotheses from blocks of all candidates: the mode of every slot that is not whole, and the group of each candidate.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {Pick<Hypotheses, "names" | "concluded" | "rival">} named
 * @param {{ modes: Int32Array, group: (c: number) => number }[]} blocks
 * @param {boolean} [rest]
 * @returns {Hypotheses}
 */
function gathered(compiled, answered, named, blocks, rest = false) {
  const every = compiled.candidates;
  /** @type {Map<number, number>} */
  const together = new Map();
  /** @type {Map<number, number>} */
  const where = new Map();
  blocks.forEach(({ modes, group }, b) => {
    const prior = untouched(compiled, answered, modes);
    for (let c = 0; c < every; c++) {
      const key = (group(c) * blocks.length + b) * every + at(answered.look, c);
      together.set(key, (together.get(key) ?? 0) + at(prior, c));
      if (!where.has(key)) {
        where.set(key, c);
      }
    }
  });
  const keys = Float64Array.from(together.keys()).sort();
  const group = Int32Array.from(keys, (key) => Math.floor(key / (every * blocks.length)));
  const block = Int32Array.from(keys, (key) => Math.floor(key / every) % blocks.length);
  return {
    ...named,
    prior: keys.map((key) => together.get(key) ?? 0),
    group,
    mode: answered.slots.map((s) => block.map((b) => at(member(blocks, b).modes, s))),
    row: answered.slots.map((s) => Int32Array.from(keys, (key) => at(member(compiled.slots, s).row, where.get(key) ?? 0))),
    rest,
  };
}

/**
 * The prior of each candidate times the terms of all slots without an answer.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {Int32Array} modes
 */
function untouched(compiled, answered, modes) {
  const found = Float64Array.from(compiled.prior);
  modes.forEach((mode, s) => {
    if (mode !== WHOLE && !answered.slots.includes(s)) {
      const { row, swap } = member(compiled.slots, s);
      const share = swap.map((one) => (mode === KEPT ? 1 - one : one));
      for (let c = 0; c < found.length; c++) {
        found[c] = at(found, c) * at(share, at(row, c));
      }
    }
  });
  return found;
}

/**
 * Which variant it is; all that is not in the record together.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {string[]} concluded
 * @param {string[]} rival
 * @returns {Hypotheses}
 */
export function variantHypotheses(compiled, answered, concluded, rival) {
  const labels = Array.from({ length: compiled.candidates }, (_, c) => label(compiled, c));
  return byName(compiled, answered, labels, concluded, rival);
}

/**
 * Which set it came from; null is alone or in no recorded set.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {string | null} concluded
 * @param {string | null} rival
 * @returns {Hypotheses}
 */
export function setHypotheses(compiled, answered, concluded, rival) {
  return byName(compiled, answered, setNames(compiled), [concluded], [rival]);
}

/**
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {(string | null)[]} named the name of each candidate
 * @param {(string | null)[]} concluded
 * @param {(string | null)[]} rival
 * @returns {Hypotheses}
 */
function byName(compiled, answered, named, concluded, rival) {
  const names = [...new Set(named)];
  const place = new Map(names.map((name, g) => [name, g]));
  const [mine, other] = [new Set(concluded), new Set(rival)];
  const groups = {
    names,
    concluded: names.map((name) => mine.has(name)),
    rival: names.map((name) => other.has(name)),
  };
  const modes = new Int32Array(compiled.slots.length);
  return gathered(compiled, answered, groups, [{ modes, group: (c) => place.get(named[c] ?? null) ?? 0 }]);
}

/**
 * Whether slot s was changed since.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {number} s
 * @param {boolean} changed
 * @returns {Hypotheses}
 */
export function slotHypotheses(compiled, answered, s, changed) {
  const blocks = [KEPT, CHANGED].map((mode, g) => {
    const modes = new Int32Array(compiled.slots.length);
    modes[s] = mode;
    return { modes, group: () => g };
  });
  const named = { names: [false, true], concluded: [!changed, changed], rival: [changed, !changed] };
  return gathered(compiled, answered, named, blocks);
}

/**
 * Whether nothing on the unit was changed since.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {boolean} original
 * @returns {Hypotheses}
 */
export function originalHypotheses(compiled, answered, original) {
  const blocks = [KEPT, WHOLE].map((mode, g) => ({
    modes: new Int32Array(compiled.slots.length).fill(mode),
    group: () => g,
  }));
  const named = { names: [true, false], concluded: [original, !original], rival: [!original, original] };
  return gathered(compiled, answered, named, blocks, true);
}

/**
 * The weight of every answer, by conclusion; below 0 it speaks against the conclusion.
 *
 * Good (1950): log2 of the odds with all answers over the odds without this one.
 * @param {Compiled} compiled
 * @param {Answered} answered
 * @param {Hypotheses[]} allOfThem
 * @returns {Weights[]}
 */
export function weightsOfEvidence(compiled, answered, allOfThem) {
  const terms = answered.slots.map((s, n) => slotTerms(member(compiled.slots, s), withAndWithout(member(answered.seen, n))));
  return allOfThem.map((one) => weights(one, terms, answered));
}

/**
 * The product of all columns first, then that of all but each.
 * @param {Matrix} seen
 * @returns {Matrix}
 */
function withAndWithout(seen) {
  const found = matrix(seen.rows, 1 + seen.columns);
  for (let i = 0; i < seen.rows; i++) {
    for (let left = -1; left < seen.columns; left++) {
      let chance = 1;
      for (let j = 0; j < seen.columns; j++) {
        chance *= j === left ? 1 : at(seen.data, i * seen.columns + j);
      }
      found.data[i * found.columns + 1 + left] = chance;
    }
  }
  return found;
}

/**
 * @param {Hypotheses} one
 * @param {Terms[]} terms
 * @param {Answered} answered
 * @returns {Weights}
 */
function weights(one, terms, answered) {
  /** @type {Weights} */
  const found = { overAll: new Map(), overRival: new Map() };
  const first = terms.map((term, n) => firstOf(one, term, n));
  answered.slots.forEach((_, n) => {
    const rest = first.filter((_, m) => m !== n);
    const others = one.prior.map((prior, h) => rest.reduce((chance, mine) => chance * at(mine, h), prior));
    const sums = groupSums(one, member(terms, n), n, others);
    const mine = logs(sums, one.concluded);
    const against = one.concluded.map((so) => !so);
    const all = logs(sums, against);
    const rival = logs(sums, one.rival);
    const bits = (/** @type {Float64Array} */ over, /** @type {number} */ j) =>
      at(mine, 0) - at(over, 0) - (at(mine, 1 + j) - at(over, 1 + j));
    member(answered.evidence, n).forEach((e, j) => {
      found.overAll.set(e, bits(all, j));
      found.overRival.set(e, bits(rival, j));
    });
  });
  return found;
}

/**
 * The term of the first way of every hypothesis.
 * @param {Hypotheses} one
 * @param {Terms} terms
 * @param {number} n
 * @returns {Float64Array}
 */
export function firstOf(one, terms, n) {
  return one.prior.map((_, h) => at(termOf(one, terms, n, h).data, placeOf(one, terms, n, h)));
}

/**
 * The term that hypothesis h takes of the n-th answered slot.
 * @param {Hypotheses} one
 * @param {Terms} terms
 * @param {number} n
 * @param {number} h
 * @returns {Matrix}
 */
export function termOf(one, terms, n, h) {
  return terms[/** @type {0 | 1 | 2} */ (at(member(one.mode, n), h))];
}

/**
 * Where the row of hypothesis h begins in its term of the n-th answered slot.
 * @param {Hypotheses} one
 * @param {Terms} terms
 * @param {number} n
 * @param {number} h
 * @returns {number}
 */
export function placeOf(one, terms, n, h) {
  return at(member(one.row, n), h) * terms[WHOLE].columns;
}

/**
 * The weight of each group for every way, shape [g, way].
 * @param {Hypotheses} one
 * @param {Terms} terms
 * @param {number} n
 * @param {Float64Array} others others[h]
 */
function groupSums(one, terms, n, others) {
  const ways = terms[WHOLE].columns;
  const sums = matrix(one.names.length, ways);
  for (let h = 0; h < others.length; h++) {
    addScaled(sums.data, at(one.group, h) * ways, termOf(one, terms, n, h).data, placeOf(one, terms, n, h), ways, at(others, h));
  }
  for (let way = 0; one.rest && way < ways; way++) {
    sums.data[ways + way] = Math.max(at(sums.data, ways + way) - at(sums.data, way), 0);
  }
  return sums;
}

/**
 * The binary logarithm of the sum of these groups, for each way.
 * @param {Matrix} sums
 * @param {boolean[]} of
 */
function logs(sums, of) {
  const total = new Float64Array(sums.columns);
  of.forEach((so, g) => {
    if (so) {
      addScaled(total, 0, sums.data, g * sums.columns, sums.columns, 1);
    }
  });
  return total.map(log2);
}
