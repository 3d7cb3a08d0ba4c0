/**
 * Which question next: the expected news of every answer about a target, for the effort of the view it needs.
 *
 * A question is a row of outcomes, as `identify/questions.py` describes them. The news is the mutual information between the
 * outcome and the target group of the unit (Shannon 1948), in bits.
 */

import { label, looks } from "./arrays.js";
import { rowWeights, swapped } from "./belief.js";
import { keptFor } from "./kept.js";
import {
  addScaled,
  alikeRows,
  any,
  float,
  int,
  largest,
  matrix,
  one,
  product,
  range,
  rowOf,
  sum,
  takeRows,
  weighted,
} from "./matrix.js";
import { outcomesByLook } from "./outcomes.js";
import { liveByGroup, showing, showingAsIssued, shownByTrait } from "./shown.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./matrix.js").Matrix} Matrix
 * @typedef {import("./shown.js").Spread} Spread
 *
 * @typedef {"yes-no" | "choice" | "value" | "reading" | "again"} Form
 *
 * @typedef {object} Question outcomes of one trait
 * @property {number} trait
 * @property {readonly (readonly number[])[]} outcomes sets of states
 * @property {number | null} cut of a measured trait, asked as "more than"; null: by value between the cuts
 * @property {Form} form
 */

/** News below this is no news: rounding, or an answer that would move nothing. */
export const NO_NEWS = 1e-3;
const TINY = 1e-300;

/**
 * @param {number} trait
 * @param {readonly (readonly number[])[]} outcomes
 * @param {Form} form
 * @param {number | null} [cut]
 * @returns {Question}
 */
export function question(trait, outcomes, form = "yes-no", cut = null) {
  return { trait, outcomes, cut, form };
}

/** @type {WeakMap<Trait, Question[]>} */
const keptYesNo = new WeakMap();

/**
 * Every yes/no question about a trait: one for each state (one for both of two), or one for each cut.
 * @param {Compiled} compiled
 * @param {number} t
 * @returns {Question[]} the same ones every time
 */
export function yesNo(compiled, t) {
  const trait = one(compiled.traits, t);
  return keptFor(keptYesNo, trait, () =>
    trait.measured ? Array.from(trait.cuts, (cut) => question(t, [[0], [1]], "yes-no", cut)) : yesNoOfStates(trait, t),
  );
}

/**
 * @param {Trait} trait
 * @param {number} t
 * @returns {Question[]}
 */
function yesNoOfStates(trait, t) {
  const named = namedStates(trait);
  const gone = trait.canBeMissing ? [[named]] : [];
  return range(named > 2 ? named : Math.max(named - 1, 0)).map((k) =>
    question(t, [[k], range(named).filter((j) => j !== k), ...gone]),
  );
}

/**
 * How many states a trait has beside "missing".
 * @param {Trait} trait
 * @returns {number}
 */
export function namedStates(trait) {
  return trait.states.length - Number(trait.canBeMissing);
}

/** @type {WeakMap<Trait, Question>} */
const keptWhole = new WeakMap();

/**
 * A trait asked for all at once: its states as a choice, its value, or what can be read.
 * @param {Compiled} compiled
 * @param {number} t
 * @returns {Question} the same one every time
 */
export function whole(compiled, t) {
  const trait = one(compiled.traits, t);
  return keptFor(keptWhole, trait, () => {
    const outcomes = range(trait.measured ? trait.cuts.length + 1 : trait.states.length).map((k) => [k]);
    return question(t, outcomes, trait.measured ? "value" : trait.worn ? "reading" : "choice");
  });
}

/**
 * Once more what was answered; null where there were no states to choose from, or a second look was taken.
 * @param {Compiled} compiled
 * @param {Evidence} given
 * @returns {Question | null}
 */
export function anotherLook(compiled, given) {
  const trait = one(compiled.traits, given.trait);
  const { weights } = given;
  if (trait.measured || given.typed || given.again.length || weights === null || !any(weights)) return null;
  const named = namedStates(trait);
  const said = range(trait.states.length).filter((k) => float(weights, k));
  const rest = range(named).filter((k) => !said.includes(k));
  const gone = trait.canBeMissing && !said.includes(named) ? [[named]] : [];
  // as it was asked: for one state
  const sides = rest.length ? [said, rest].sort((a, b) => a.length - b.length || one(a, 0) - one(b, 0)) : [said];
  return rest.length || gone.length ? question(given.trait, [...sides, ...gone], "again") : null;
}

// News -----------------------------------------------------------------------------------------------------------------

/**
 * Expected news of each question in bits about groups[c], the target group of every candidate.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {readonly Question[]} questions
 * @param {Int32Array} groups
 * @param {readonly Evidence[]} [evidence] what was answered already: a trait answered in part is asked within what is left of it
 * @returns {Float64Array}
 */
export function news(compiled, belief, questions, groups, evidence = []) {
  const live = liveByGroup(belief, groups);
  const given = new Map(evidence.map((answer) => [answer.trait, answer]));
  const result = new Float64Array(questions.length);
  for (const [t, asked] of byTrait(questions)) {
    const trait = one(compiled.traits, t);
    const columns = asked.map((q) => outcomesByLook(trait, one(questions, q), given.get(t) ?? null));
    const { row, spread } = shownByTrait(compiled, belief, trait, live);
    const parts = information(product(showing(compiled, belief, trait, row), beside(columns)), spread);
    let first = 0;
    asked.forEach((q, n) => {
      const { columns: width } = one(columns, n);
      result[q] = Math.max(0, sum(parts.subarray(first, first + width)));
      first += width;
    });
  }
  return result;
}

/**
 * The places of the questions about each trait.
 * @param {readonly Question[]} questions
 * @returns {Map<number, number[]>}
 */
function byTrait(questions) {
  /** @type {Map<number, number[]>} */
  const found = new Map();
  questions.forEach(({ trait }, q) => {
    const asked = found.get(trait);
    if (asked) asked.push(q);
    else found.set(trait, [q]);
  });
  return found;
}

/**
 * Matrices of as many rows side by side.
 * @param {readonly Matrix[]} columns
 * @returns {Matrix}
 */
function beside(columns) {
  const found = matrix(one(columns, 0).rows, columns.reduce((width, part) => width + part.columns, 0));
  let first = 0;
  for (const part of columns) {
    for (let i = 0; i < part.rows; i++) found.data.set(rowOf(part, i), i * found.columns + first);
    first += part.columns;
  }
  return found;
}

/**
 * Each outcome's part of I(outcome; group): sum over groups of p(g, o) log2 p(o | g) / p(o); sums to it over a question.
 * @param {Matrix} chances chances[look, o]
 * @param {Spread} spread
 * @returns {Float64Array}
 */
function information(chances, { alone, begins, look, weight }) {
  const width = chances.columns;
  const inside = new Float64Array(width);
  const total = new Float64Array(width);
  for (let l = 0; l < alone.length; l++) {
    const factor = float(alone, l);
    if (!factor) continue;
    for (let o = 0; o < width; o++) {
      const chance = float(chances.data, l * width + o);
      inside[o] = float(inside, o) + factor * xlog2(chance);
      total[o] = float(total, o) + factor * chance;
    }
  }
  const joint = new Float64Array(width);
  for (let g = 0; g + 1 < begins.length; g++) {
    joint.fill(0);
    let group = 0;
    for (let n = int(begins, g); n < int(begins, g + 1); n++) {
      group += float(weight, n);
      addScaled(joint, 0, chances.data, int(look, n) * width, width, float(weight, n));
    }
    const bits = log2(group);
    for (let o = 0; o < width; o++) {
      inside[o] = float(inside, o) + xlog2(float(joint, o)) - bits * float(joint, o);
      total[o] = float(total, o) + float(joint, o);
    }
  }
  return inside.map((bits, o) => bits - xlog2(float(total, o)));
}

/**
 * P(outcome | candidate, answers so far) of each question for these candidates, shape [live, outcomes].
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {readonly Question[]} questions
 * @param {ArrayLike<number>} live
 * @param {readonly Evidence[]} evidence
 * @returns {Matrix[]}
 */
export function outcomeChances(compiled, belief, questions, live, evidence) {
  const given = new Map(evidence.map((answer) => [answer.trait, answer]));
  /** @type {Map<number, Matrix>} */
  const shown = new Map();
  return questions.map((asked) => {
    const trait = one(compiled.traits, asked.trait);
    const { row } = one(compiled.slots, trait.slot);
    const rows = Int32Array.from(live, (c) => int(row, c));
    const mine = shown.get(asked.trait) ?? showing(compiled, belief, trait, rows);
    shown.set(asked.trait, mine);
    return product(mine, outcomesByLook(trait, asked, given.get(asked.trait) ?? null));
  });
}

/**
 * P(outcome | row u of a trait's slot, answers so far), shape [u, outcomes].
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Trait} trait
 * @param {Matrix} outcomes by look
 * @returns {Matrix}
 */
function chanceOf(compiled, belief, trait, outcomes) {
  const rows = Int32Array.from({ length: one(compiled.slots, trait.slot).rows }, (_, u) => u);
  return product(showing(compiled, belief, trait, rows), outcomes);
}

/**
 * Candidates of one group that answer everything alike, taken as one.
 * @param {Float64Array} weight
 * @param {Int32Array} group
 * @param {readonly Matrix[]} chances
 * @returns {{weight: Float64Array, group: Int32Array, chances: Matrix[]}}
 */
export function alikeTogether(weight, group, chances) {
  const same = chances.reduce(alikeRows, group);
  const together = new Float64Array(largest(same) + 1);
  const first = new Int32Array(together.length).fill(-1);
  same.forEach((place, h) => {
    together[place] = float(together, place) + float(weight, h);
    if (int(first, place) < 0) first[place] = h;
  });
  return {
    weight: together,
    group: first.map((h) => int(group, h)),
    chances: chances.map((of) => takeRows(of, first)),
  };
}

// What is original -----------------------------------------------------------------------------------------------------

/**
 * The chance that nothing on the unit was changed since it left the factory.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @returns {number}
 */
export function originalShare(compiled, belief) {
  return sum(unchangedBut(compiled, belief, -1));
}

/**
 * belief[c] times P(no slot but s was changed | candidate c, answers).
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {number} s -1: of all slots
 * @returns {Float64Array}
 */
function unchangedBut(compiled, belief, s) {
  const found = belief.probability.slice();
  compiled.slots.forEach((slot, other) => {
    if (other === s || !any(slot.swap)) return;
    const kept = swapped(slot, one(belief.evidence, other), one(belief.factor, other)).map((changed) => 1 - changed);
    for (let c = 0; c < found.length; c++) found[c] = float(found, c) * float(kept, int(slot.row, c));
  });
  return found;
}

/**
 * Expected news of each question in bits about whether everything on the unit is original, or the slot it looks at alone.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {readonly Question[]} questions
 * @param {readonly Evidence[]} [evidence]
 * @param {boolean} [itsSlotAlone]
 * @returns {Float64Array}
 */
export function originalNews(compiled, belief, questions, evidence = [], itsSlotAlone = false) {
  const given = new Map(evidence.map((answer) => [answer.trait, answer]));
  const result = new Float64Array(questions.length);
  /** @type {Map<number, Float64Array>} */
  const others = new Map();
  for (const [t, asked] of byTrait(questions)) {
    const trait = one(compiled.traits, t);
    const slot = one(compiled.slots, trait.slot);
    const weight = rowWeights(slot, belief.probability);
    const kept = others.get(trait.slot) ?? (itsSlotAlone ? weight : rowWeights(slot, unchangedBut(compiled, belief, trait.slot)));
    others.set(trait.slot, kept);
    for (const q of asked) {
      const outcomes = outcomesByLook(trait, one(questions, q), given.get(t) ?? null);
      const total = weighted(weight, chanceOf(compiled, belief, trait, outcomes));
      const original = weighted(kept, product(showingAsIssued(compiled, belief, trait), outcomes));
      result[q] = Math.max(0, newsOfTwo(original, total));
    }
  }
  return result;
}

/**
 * Bits that the outcome tells about two groups.
 * @param {Float64Array} joint P(outcome, first group)
 * @param {Float64Array} total P(outcome)
 * @returns {number}
 */
function newsOfTwo(joint, total) {
  const rest = total.map((chance, o) => Math.max(chance - float(joint, o), 0));
  const bits = (/** @type {Float64Array} */ of) => of.reduce((found, chance) => found + xlog2(chance), 0);
  return bits(joint) + bits(rest) - bits(total) - xlog2(sum(joint)) - xlog2(sum(rest));
}

// Numbers --------------------------------------------------------------------------------------------------------------

/**
 * The binary logarithm; of nothing a number that nothing times it is nothing.
 * @param {number} value
 * @returns {number}
 */
export function log2(value) {
  return Math.log2(value > TINY ? value : TINY);
}

/**
 * x log2 x, and nothing of nothing.
 * @param {number} value
 * @returns {number}
 */
export function xlog2(value) {
  return value > 0 ? value * log2(value) : 0;
}

/**
 * Shannon's entropy in bits of weights that need not sum to 1.
 * @param {ArrayLike<number>} weights
 * @returns {number}
 */
export function entropy(weights) {
  const total = sum(weights);
  return total > 0 ? -sum(Float64Array.from(weights, (weight) => xlog2(weight / total))) : 0;
}

// Groups ---------------------------------------------------------------------------------------------------------------

/**
 * One group for each variant; units not in the record form one of each family.
 * @param {Compiled} compiled
 * @returns {Int32Array}
 */
export function variantGroups(compiled) {
  return compiled.variant;
}

/**
 * One group for each set of origin; -1 alone, and each unit that is not in the record apart.
 * @param {Compiled} compiled
 * @returns {Int32Array} the same one every time
 */
export function setGroups(compiled) {
  return keptFor(keptSetGroups, compiled.variant, () =>
    compiled.variant.map((variant, c) => (variant < 0 ? variant - 1 : int(compiled.setOf, c))),
  );
}

/** @type {WeakMap<Int32Array, Int32Array>} */
const keptSetGroups = new WeakMap();

/**
 * The set of every candidate; null alone, and `not-in-the-record`.
 * @param {Compiled} compiled
 * @returns {(string | null)[]}
 */
export function setNames(compiled) {
  return Array.from(setGroups(compiled), (group, c) =>
    group >= 0 ? one(compiled.sets, group) : group === -1 ? null : label(compiled, c),
  );
}

/** @type {WeakMap<Trait[], Map<string, Int32Array>>} */
const keptTwins = new WeakMap();

/**
 * group[c]: variants that nothing among these traits can separate share one, named by its first variant.
 * @param {Compiled} compiled
 * @param {readonly number[]} traits
 * @returns {Int32Array} the same one every time
 */
export function twinGroups(compiled, traits) {
  const kept = keptFor(keptTwins, compiled.traits, () => new Map());
  return keptFor(kept, traits.join(), () => newTwinGroups(compiled, traits));
}

/**
 * @param {Compiled} compiled
 * @param {readonly number[]} traits
 * @returns {Int32Array}
 */
function newTwinGroups(compiled, traits) {
  const shows = looks(compiled);
  /** @type {Map<number, Set<string>>} */
  const shown = new Map();
  compiled.variant.forEach((variant, c) => {
    const look = traits.map((t) => int(one(shows, t), c)).join();
    keptFor(shown, variant, () => new Set()).add(look);
  });
  /** @type {Map<string, number>} */
  const first = new Map();
  /** @type {Map<number, number>} */
  const named = new Map();
  for (const [variant, found] of shown) {
    const key = `${variant < 0 ? variant : 0};${[...found].sort().join(";")}`;
    named.set(variant, keptFor(first, key, () => variant));
  }
  return compiled.variant.map((variant) => named.get(variant) ?? variant);
}
