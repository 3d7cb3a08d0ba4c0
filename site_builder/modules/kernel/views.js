/**
 * What one more view would buy: how likely it settles the variant, the set of origin, and the part in each slot. As
 * `identify/views.py`: the same units are drawn from the belief, and what a view shows is read off them by the same draws.
 */

import { SAME } from "./arrays.js";
import { NEW_VALUE, canBeChanged, density, rowWeights, swapped } from "./belief.js";
import { Draws } from "./draws.js";
import { addScaled, any, at, float, full, largest, matrix, one as member, product, rowOf, sum } from "./matrix.js";
import { setGroups, twinGroups } from "./questions.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * @typedef {object} ViewWorth
 * @property {number} view
 * @property {number} effort
 * @property {[string, number][]} chances how likely the view settles each subject that is open now, the likeliest first
 *
 * @typedef {object} Units
 * @property {Int32Array} candidate of every drawn unit
 * @property {Int32Array[]} now for each slot the row or part that each unit has
 *
 * The belief of every unit; the units are the columns.
 * @typedef {object} Beliefs
 * @property {Matrix} probability probability[c, d]
 * @property {Matrix[]} evidence for each slot E[i, d]
 * @property {Matrix[]} factor for each slot factor[u, d]
 */

/** So many units are drawn, always the same ones. */
const DRAWS = 64;
const SEED = 1;
/** Subjects that a view would settle less often are not named. */
const WORTH_NAMING = 0.1;
/** Sums of chances closer than this are the same. */
const HAIR = 1e-12;

/**
 * The views that are not at hand, the best for its effort first; those that would settle nothing are left out.
 *
 * The variant is settled with those that no view at all can separate from it: what the views at hand cannot tell apart is open.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {ReadonlySet<number>} atHand
 * @param {ReadonlySet<number>} told traits that were answered
 * @param {ReadonlySet<number>} unclear those that were looked at without being able to tell
 * @returns {ViewWorth[]}
 */
export function viewsWorth(compiled, belief, atHand, told, unclear) {
  if (!belief.plausible || !compiled.candidates) {
    return [];
  }
  const asked = compiled.traits.flatMap((trait, t) => (trait.asked && !unclear.has(t) ? [t] : []));
  const twins = twinGroups(compiled, asked);
  const now = alone(belief);
  const sureNow = settled(compiled, now, twins, partSlots(compiled, belief));
  const isOpen = new Set([...sureNow].flatMap(([what, sure]) => (at(sure, 0) ? [] : [what])));
  if (!isOpen.size) {
    return [];
  }
  const slots = compiled.slots.flatMap((slot, s) => (isOpen.has(slot.id) ? [s] : []));
  const units = drawn(compiled, belief);
  const found = compiled.views.flatMap((_, view) => {
    const fresh = atHand.has(view) ? [] : freshTraits(compiled, belief, view, new Set([...told, ...unclear]));
    if (!fresh.length) {
      return [];
    }
    const sure = settled(compiled, after(compiled, belief, units, fresh), twins, slots);
    const chances = [...isOpen].map((what) => /** @type {[string, number]} */ ([what, sum(sure.get(what) ?? []) / DRAWS]));
    const worth = chances.filter(([, one]) => one >= WORTH_NAMING).sort((a, b) => b[1] - a[1]);
    return worth.length ? [{ view, effort: at(compiled.effort, view), chances: worth }] : [];
  });
  return found.sort((a, b) => value(b) - value(a));
}

/**
 * Subjects settled on average for a unit of effort.
 * @param {ViewWorth} one
 */
function value({ effort, chances }) {
  return chances.reduce((total, [, chance]) => total + chance, 0) / effort;
}

/**
 * The traits that a view shows, that the unit most likely has, and that are not done with.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {number} view
 * @param {ReadonlySet<number>} done
 * @returns {number[]}
 */
function freshTraits(compiled, belief, view, done) {
  return compiled.traits.flatMap((trait, t) =>
    trait.asked && trait.view === view && !done.has(t) && isThere(compiled, belief, trait) ? [t] : [],
  );
}

/**
 * Whether the unit most likely has such a thing: its slot, and the family whose own trait it is.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Trait} trait
 */
export function isThere(compiled, belief, trait) {
  const slot = member(compiled.slots, trait.slot);
  if (slot.parts.length) {
    const none = slot.parts.indexOf("none");
    const weights = rowWeights(slot, belief.probability);
    if (sum(weights.map((weight, u) => (at(rowOf(slot.fitted, u), none) < 1 ? weight : 0))) <= 0.5 + SAME) {
      return false;
    }
  }
  const family = trait.family === null ? -1 : compiled.families.indexOf(trait.family);
  return family < 0 || at(familyShares(compiled, belief), family) >= compiled.familyLeads - SAME;
}

/**
 * The belief in each family.
 * @param {Compiled} compiled
 * @param {Belief} belief
 */
function familyShares(compiled, belief) {
  const shares = new Float64Array(compiled.families.length);
  belief.probability.forEach((chance, c) => {
    const f = at(compiled.family, c);
    shares[f] = at(shares, f) + chance;
  });
  return shares;
}

// Units ----------------------------------------------------------------------------------------------------------------

/**
 * Units from the belief, the candidates as evenly as they can be.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @returns {Units}
 */
export function drawn(compiled, belief) {
  const chance = new Draws(SEED);
  const candidate = new Int32Array(DRAWS);
  let reached = 0;
  for (let d = 0, c = -1; d < DRAWS; d++) {
    while (c + 1 < compiled.candidates && (c < 0 || reached + HAIR < (d + 0.5) / DRAWS)) {
      c += 1;
      reached += at(belief.probability, c);
    }
    candidate[d] = c;
  }
  const now = compiled.slots.map((slot, s) => {
    const rows = candidate.map((c) => at(slot.row, c));
    const evidence = member(belief.evidence, s);
    if (slot.parts.length) {
      return pick(chance, (d) => rowOf(slot.fitted, at(rows, d)).map((share, r) => share * at(evidence, r)));
    }
    const changed = swapped(slot, evidence, member(belief.factor, s));
    return rows.map((u) => (chance.uniform() < at(changed, u) ? at(slot.redone, u) : u));
  });
  return { candidate, now };
}

/**
 * As many uniform draws as there are units.
 * @param {Draws} chance
 */
function uniforms(chance) {
  return Float64Array.from({ length: DRAWS }, () => chance.uniform());
}

/**
 * One place for each unit, by the weights that it has.
 * @param {Draws} chance
 * @param {(d: number) => Float64Array} weightsOf
 * @returns {Int32Array}
 */
function pick(chance, weightsOf) {
  return Int32Array.from(uniforms(chance), (uniform, d) => {
    const weights = weightsOf(d);
    const wanted = uniform * sum(weights);
    let place = 0;
    for (let reached = at(weights, 0); reached < wanted && place + 1 < weights.length; reached += at(weights, place)) {
      place += 1;
    }
    return place;
  });
}

// What is read ---------------------------------------------------------------------------------------------------------

/**
 * P(what is read off each unit | look of the trait), shape [look, d].
 * @param {Trait} trait
 * @param {Int32Array} row row[d] that each unit shows
 * @param {Draws} chance
 * @returns {Matrix}
 */
function read(trait, row, chance) {
  const { alike } = trait;
  const found = matrix(alike.applies.length, DRAWS);
  const put = (/** @type {number} */ d, /** @type {(look: number) => number} */ of) => {
    for (let look = 0; look < found.rows; look++) {
      found.data[look * DRAWS + d] = of(look);
    }
  };
  if (!trait.measured) {
    pick(chance, (d) => rowOf(trait.table, at(row, d))).forEach((k, d) => put(d, (look) => at(rowOf(alike.table, look), k)));
    return found;
  }
  values(trait, row, chance).forEach((value, d) => {
    const there = Number.isNaN(value) ? alike.applies.map((applies) => 1 - applies) : density(alike, value, trait.reads);
    put(d, (look) => at(there, look));
  });
  return found;
}

/**
 * The value measured on each unit; NaN where it is said that there is none.
 * @param {Trait} trait
 * @param {Int32Array} row
 * @param {Draws} chance
 * @returns {Float64Array}
 */
function values(trait, row, chance) {
  const anywhere = uniforms(chance).map((uniform) => trait.least + uniform * (trait.most - trait.least));
  const blend = (/** @type {number} */ d) => rowOf(trait.blend, Math.max(at(trait.blendOf, at(row, d)), 0));
  const blended = pick(chance, blend);
  const isNew = uniforms(chance).map((uniform, d) => Number(at(trait.isNew, at(row, d)) === 1 && uniform < NEW_VALUE));
  const normal = Float64Array.from({ length: DRAWS }, () => chance.normal());
  const blunder = uniforms(chance).map((uniform) => Number(uniform < trait.blunders));
  const seen = uniforms(chance).map((uniform, d) => Number(uniform < at(trait.applies, at(row, d))));
  return anywhere.map((other, d) => {
    if (!at(seen, d)) {
      return NaN;
    }
    const isBlank = at(trait.blendOf, at(row, d)) >= 0;
    const source = isBlank ? at(blended, d) : at(row, d);
    const value = at(trait.mean, source) + Math.hypot(at(trait.sd, source), trait.reads) * at(normal, d);
    const nowhere = isBlank && (!any(blend(d)) || at(isNew, d) === 1);
    return nowhere || at(blunder, d) || Number.isNaN(value) ? other : value;
  });
}

/**
 * The belief of every unit after these traits were read.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {Units} units
 * @param {number[]} traits
 * @returns {Beliefs}
 */
export function after(compiled, belief, units, traits) {
  const chance = new Draws(SEED);
  const { evidence, factor } = alone(belief);
  const moved = widened(column(belief.probability), DRAWS);
  for (const s of new Set(traits.map((t) => member(compiled.traits, t).slot))) {
    const slot = member(compiled.slots, s);
    const rows = widened(member(evidence, s), DRAWS);
    for (const trait of traits.map((t) => member(compiled.traits, t)).filter((one) => one.slot === s)) {
      const chances = read(trait, member(units.now, s), chance);
      trait.look.forEach((look, i) => multiply(rowOf(rows, i), rowOf(chances, look)));
    }
    evidence[s] = rows;
    const now = factors(slot, rows);
    factor[s] = now;
    const ratio = matrix(now.rows, DRAWS, now.data.slice());
    member(belief.factor, s).forEach((whole, u) => scale(rowOf(ratio, u), whole > 0 ? 1 / whole : 0));
    slot.row.forEach((u, c) => multiply(rowOf(moved, c), rowOf(ratio, u)));
  }
  const sums = new Float64Array(DRAWS);
  for (let c = 0; c < moved.rows; c++) {
    addTimes(sums, rowOf(moved, c), 1);
  }
  for (let c = 0; c < moved.rows; c++) {
    divide(rowOf(moved, c), sums);
  }
  return { probability: moved, evidence, factor };
}

/**
 * factor[u, d] of evidence[i, d].
 * @param {Slot} slot
 * @param {Matrix} evidence
 */
function factors(slot, evidence) {
  if (slot.parts.length) {
    return product(slot.fitted, evidence);
  }
  const found = matrix(slot.rows, evidence.columns);
  slot.swap.forEach((swap, u) => {
    addTimes(rowOf(found, u), rowOf(evidence, u), 1 - swap);
    addTimes(rowOf(found, u), rowOf(evidence, at(slot.redone, u)), swap);
  });
  return found;
}

/**
 * One column as often as it is wanted; as it is where there are as many.
 * @param {Matrix} of
 * @param {number} columns
 */
function widened(of, columns) {
  if (of.columns === columns) {
    return of;
  }
  const found = matrix(of.rows, columns);
  of.data.forEach((one, i) => rowOf(found, i).fill(one));
  return found;
}

/**
 * One column.
 * @param {Float64Array} numbers
 * @returns {Matrix}
 */
function column(numbers) {
  return matrix(numbers.length, 1, numbers);
}

/**
 * The belief of one unit.
 * @param {Belief} belief
 * @returns {Beliefs}
 */
export function alone(belief) {
  return { probability: column(belief.probability), evidence: belief.evidence.map(column), factor: belief.factor.map(column) };
}

// What is settled ------------------------------------------------------------------------------------------------------

/**
 * By subject ("variant", "set", or a slot), whether it is as sure as the knowledge base asks: 1 or 0 for each unit.
 * @param {Compiled} compiled
 * @param {Beliefs} belief
 * @param {Int32Array} twins
 * @param {number[]} slots
 * @returns {Map<string, Float64Array>}
 */
function settled(compiled, belief, twins, slots) {
  const enough = compiled.settled - SAME;
  const isEnough = (/** @type {Float64Array} */ shares) => shares.map((share) => Number(share >= enough));
  const found = new Map([["variant", isEnough(leaderShare(compiled, belief.probability, twins))]]);
  if (compiled.sets.length) {
    const [sums] = sumsBy(belief.probability, setGroups(compiled));
    found.set("set", isEnough(mostOf(sums)));
  }
  for (const s of slots) {
    found.set(member(compiled.slots, s).id, isEnough(partShare(compiled, belief, s)));
  }
  return found;
}

/**
 * The share of the likeliest variant with everything that cannot be separated from it, for each unit.
 * @param {Compiled} compiled
 * @param {Matrix} probability
 * @param {Int32Array} twins
 */
function leaderShare(compiled, probability, twins) {
  const variants = compiled.variant.map((v) => Math.max(v, -1));
  const [sums, variantOf] = sumsBy(probability, variants);
  const [groups, groupOf] = sumsBy(probability, twins);
  const firstOf = variantOf.map((variant) => variants.indexOf(variant));
  const group = firstOf.map((c) => groupOf.indexOf(at(twins, c)));
  return Float64Array.from({ length: probability.columns }, (_, d) => {
    let leader = 0;
    for (let g = 1; g < sums.rows; g++) {
      leader = at(rowOf(sums, g), d) > at(rowOf(sums, leader), d) ? g : leader;
    }
    return at(variantOf, leader) < 0 ? at(rowOf(sums, leader), d) : at(rowOf(groups, at(group, leader)), d);
  });
}

/**
 * The share of each group for each unit, and the groups, ascending.
 * @param {Matrix} probability
 * @param {Int32Array} groups group[c]
 * @returns {[Matrix, Int32Array]}
 */
function sumsBy(probability, groups) {
  const names = Int32Array.from(new Set(groups)).sort();
  const place = new Map([...names].map((name, g) => [name, g]));
  const sums = matrix(names.length, probability.columns);
  groups.forEach((name, c) => addTimes(rowOf(sums, place.get(name) ?? 0), rowOf(probability, c), 1));
  return [sums, names];
}

/**
 * Adds the numbers of a row, each times a factor.
 * @param {Float64Array} to
 * @param {Float64Array} row
 * @param {number} factor
 */
function addTimes(to, row, factor) {
  addScaled(to, 0, row, 0, row.length, factor);
}

/**
 * Multiplies each number with that of another row.
 * @param {Float64Array} row
 * @param {Float64Array} by
 */
function multiply(row, by) {
  for (let d = 0; d < row.length; d++) {
    row[d] = float(row, d) * float(by, d);
  }
}

/**
 * Multiplies each number with the same one.
 * @param {Float64Array} row
 * @param {number} by
 */
function scale(row, by) {
  for (let d = 0; d < row.length; d++) {
    row[d] = float(row, d) * by;
  }
}

/**
 * Divides each number by that of another row; by nothing, it becomes nothing.
 * @param {Float64Array} row
 * @param {Float64Array} by
 */
function divide(row, by) {
  for (let d = 0; d < row.length; d++) {
    row[d] = float(by, d) > 0 ? float(row, d) / float(by, d) : 0;
  }
}

/**
 * The largest number of each column.
 * @param {Matrix} sums
 */
function mostOf(sums) {
  const most = full(sums.columns, -Infinity);
  for (let g = 0; g < sums.rows; g++) {
    const row = rowOf(sums, g);
    for (let d = 0; d < most.length; d++) {
      most[d] = Math.max(float(most, d), float(row, d));
    }
  }
  return most;
}

/**
 * The part slots that the unit most likely has; none before a family leads.
 * @param {Compiled} compiled
 * @param {Belief} belief
 */
function partSlots(compiled, belief) {
  if (largest(familyShares(compiled, belief)) < compiled.familyLeads - SAME) {
    return [];
  }
  return compiled.slots.flatMap((slot, s) => (slot.parts.length && canBeChanged(compiled, belief, s) ? [s] : []));
}

/**
 * The share of the likeliest part of a slot for each unit.
 * @param {Compiled} compiled
 * @param {Beliefs} belief
 * @param {number} s
 */
function partShare(compiled, belief, s) {
  const slot = member(compiled.slots, s);
  const [byRow, rows] = sumsBy(belief.probability, slot.row);
  const evidence = widened(member(belief.evidence, s), byRow.columns);
  const factor = widened(member(belief.factor, s), byRow.columns);
  const shares = matrix(slot.parts.length, byRow.columns);
  rows.forEach((u, n) => {
    const share = rowOf(byRow, n);
    divide(share, rowOf(factor, u));
    rowOf(slot.fitted, u).forEach((chance, r) => addTimes(rowOf(shares, r), share, chance));
  });
  slot.parts.forEach((_, r) => multiply(rowOf(shares, r), rowOf(evidence, r)));
  return mostOf(shares);
}
