/** Several units at once: which of them left the factory in one box. The model stands in `identify/lots_kernel.py`. */

import { any, at, dot, full, largest, one as member, range, sum } from "../kernel/matrix.js";
import { assigned } from "./assignment.js";
import { compared } from "./strings.js";

/**
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 *
 * @typedef {object} Boxed one set: weight by how many sit there, without them; fit[u][p]; of each position its candidates and shares
 * @property {number} set
 * @property {Float64Array} weight
 * @property {Float64Array[]} fit
 * @property {{candidates: number[], shares: Float64Array}[]} seats
 *
 * @typedef {{alone: Float64Array, sets: Boxed[]}} Lot
 * @typedef {{boxed: number, units: number[]}} Group units (ascending) of one set, by its place in the lot
 * @typedef {{probability: number, groups: Group[]}} Explained a partition: its groups, all other units being strays
 * @typedef {{explanations: Explained[], used: Map<string, [Group, number]>, exact: boolean}} Solved used: the chance of every group
 *
 * @typedef {{mask: number, sets: Map<number, number>, weight: number}} Option a group of units and what it weighs as each set
 * @typedef {[number, [number, number][]]} Partial a partition being built: its weight, and its groups as (units as bits, set)
 * @typedef {{total: number, best: Partial[], used: [number, number, number][], exact: boolean}} Part used: units, set, chance
 */

/** How lots come about: finds in a lot, share of them that are of one boxed set, chance that a unit of one is still there. */
const FINDS = 3, BOXED = 0.3, STAYED = 0.8;
/** So many partitions are given. */
const MOST_EXPLANATIONS = 5;
/** Up to so many units nothing is left out; beyond that, so much is followed. */
const EXACT_UNITS = 10, MOST_GROUPS = 500, MOST_OPTIONS = 150, MOST_STATES = 150;
/** Beyond that: a seat is not plausible where a unit's answers are by this less likely than in its best seat. */
const NOT_THERE = 1e-4;
/** Up to so many units in one set the chance of every seat is summed over all seatings; beyond, the best seating is taken. */
const MOST_SEATED = 12;
/** A group this unlikely moves no candidate's probability that is shown. */
const NEGLIGIBLE = 1e-9;
/** Nothing is less likely than this. */
const LEAST = 1e-12;

/**
 * The lot of units.
 * @param {Compiled} compiled
 * @param {readonly Float64Array[]} likelihood likelihood[u][c], each row up to a factor
 * @param {readonly number[]} sizes how many positions each set has
 * @returns {Lot}
 */
export function describeLot(compiled, likelihood, sizes) {
  const alone = Float64Array.from(likelihood, (row) => FINDS * (1 - BOXED) * dot(row, compiled.prior));
  const large = range(sizes.length).filter((s) => at(sizes, s) >= 2);
  const common = large.map((s) => sum(seatedIn(compiled, s).map((c) => at(compiled.prior, c))) / at(sizes, s));
  const total = sum(common);
  const sets = large.flatMap((s, n) => (at(common, n) > 0 ? [boxedOf(compiled, likelihood, s, at(sizes, s), at(common, n) / total)] : []));
  return { alone, sets };
}

/**
 * The candidates of a set; in one of its positions.
 * @param {Compiled} compiled
 * @param {number} s
 * @param {number} [position]
 * @returns {number[]}
 */
function seatedIn(compiled, s, position) {
  return range(compiled.candidates).filter((c) => at(compiled.setOf, c) === s && (position === undefined || at(compiled.position, c) === position));
}

/**
 * @param {Compiled} compiled
 * @param {readonly Float64Array[]} likelihood
 * @param {number} s
 * @param {number} size
 * @param {number} share
 * @returns {Boxed}
 */
function boxedOf(compiled, likelihood, s, size, share) {
  const seats = range(size).map((p) => {
    const candidates = seatedIn(compiled, s, p + 1), weights = Float64Array.from(candidates, (c) => at(compiled.prior, c)), whole = sum(weights);
    return { candidates, shares: weights.map((weight) => weight / whole) };
  });
  const fit = likelihood.map((row) => Float64Array.from(seats, ({ candidates, shares }) => dot(Float64Array.from(candidates, (c) => at(row, c)), shares)));
  const gone = 1 - STAYED, several = 1 - gone ** size - size * STAYED * gone ** (size - 1);
  const weight = Float64Array.from({ length: size + 1 }, (_, m) => (FINDS * BOXED * share * STAYED ** m * gone ** (size - m)) / several);
  return { set: s, weight, fit, seats };
}

// Groups ----------------------------------------------------------------------------------------------------------------

/** How many bits are set. @param {number} mask @returns {number} */
function count(mask) {
  let found = 0;
  for (let left = mask; left; left &= left - 1) found++;
  return found;
}

/** @param {number} mask @returns {number[]} */
function unitsOf(mask) {
  return range(32 - Math.clz32(mask)).filter((u) => (mask >> u) & 1);
}

/**
 * The first of a row by a number, the largest first; of equal ones in their order.
 * @template T
 * @param {Iterable<T>} row
 * @param {number} most
 * @param {(one: T) => number} by
 * @returns {T[]}
 */
function best(row, most, by) {
  return [...row].sort((a, b) => by(b) - by(a)).slice(0, most);
}

/**
 * The weight of every group over that of as many strays, by its units as bits; and whether none was left out.
 * @param {Boxed} boxed
 * @param {Float64Array} alone
 * @param {Float64Array} seat the most that a unit's fit over its weight alone comes to in any seat of any set
 * @returns {[Map<number, number>, boolean]}
 */
function groupsOf(boxed, alone, seat) {
  const units = alone.length, small = units <= EXACT_UNITS;
  const ratio = boxed.fit.map((row, u) => row.map((fit) => (at(alone, u) > 0 ? fit / at(alone, u) : 0)));
  let sums = new Map([[0, 1]]), whole = true;
  for (let p = 0; p < boxed.seats.length; p++) {
    const here = range(units).filter((u) => {
      const fits = at(member(ratio, u), p);
      return fits > 0 && fits >= (small ? 0 : NOT_THERE * at(seat, u));
    });
    let grown = new Map(sums);
    for (const [mask, weight] of sums) {
      for (const u of here) {
        const after = mask | (1 << u);
        if (after !== mask) grown.set(after, (grown.get(after) ?? 0) + weight * at(member(ratio, u), p));
      }
    }
    if (!small && grown.size > MOST_GROUPS) {
      grown = new Map([...grown].sort((a, b) => b[1] - a[1] || a[0] - b[0]).slice(0, MOST_GROUPS));
      whole = false;
    }
    sums = grown;
  }
  const found = [...sums].flatMap(([mask, weight]) => {
    const share = count(mask) >= 2 ? weight * at(boxed.weight, count(mask)) : 0;
    return share > 0 ? [/** @type {[number, number]} */ ([mask, share])] : [];
  });
  return [new Map(found), whole];
}

/**
 * The best partitions of the lot, and the probability of every group.
 * @param {Lot} lot
 * @returns {Solved}
 */
export function explainLot(lot) {
  /** @type {Map<number, Option>} */
  const options = new Map();
  let exact = true;
  const seat = lot.alone.map((alone, u) => Math.max(0, ...lot.sets.map((boxed) => largest(member(boxed.fit, u)) / alone)));
  lot.sets.forEach((boxed, b) => {
    const [found, whole] = groupsOf(boxed, lot.alone, seat);
    exact &&= whole;
    for (const [mask, weight] of found) {
      const option = options.get(mask) ?? { mask, sets: new Map(), weight: 0 };
      options.set(mask, option);
      option.sets.set(b, weight);
      option.weight += weight;
    }
  });
  const parts = linked([...options.keys()]).map(([units, masks]) => search(units, masks.flatMap((mask) => options.get(mask) ?? []), lot.alone.length));
  const total = parts.reduce((product, part) => product * part.total, 1);
  /** @type {Partial[]} */
  let all = [[1, []]];
  for (const part of parts) {
    const both = all.flatMap(([weight, groups]) => part.best.map(([more, others]) => /** @type {Partial} */ ([weight * more, [...groups, ...others]])));
    all = best(both, MOST_EXPLANATIONS, ([weight]) => weight);
  }
  const group = (/** @type {number} */ mask, /** @type {number} */ boxed) => ({ boxed, units: unitsOf(mask) });
  return {
    explanations: all.map(([weight, groups]) => ({
      probability: weight / total,
      groups: groups.map(([mask, b]) => group(mask, b)).sort((a, b) => compared(a.units, b.units)),
    })),
    used: new Map(parts.flatMap(({ used }) => used.map(([mask, b, share]) => [groupKey(group(mask, b)), [group(mask, b), share]]))),
    exact: exact && parts.every((part) => part.exact),
  };
}

/** @param {Group} group @returns {string} */
export function groupKey({ boxed, units }) {
  return `${boxed}: ${units}`;
}

/**
 * Units as bits, and groups, of every part of the lot that no group links to another.
 * @param {readonly number[]} masks
 * @returns {[number, number[]][]}
 */
function linked(masks) {
  /** @type {[number, number[]][]} */
  let parts = [];
  for (const mask of masks) {
    const touching = parts.filter(([units]) => units & mask);
    const units = touching.reduce((all, [more]) => all | more, mask), groups = [mask, ...touching.flatMap(([, theirs]) => theirs)];
    parts = [...parts.filter(([other]) => !(other & mask)), [units, groups]];
  }
  const ascending = (/** @type {number} */ a, /** @type {number} */ b) => a - b;
  return parts.map(([units, groups]) => /** @type {[number, number[]]} */ ([units, groups.sort(ascending)])).sort((a, b) => a[0] - b[0]);
}

/**
 * All partitions of linked units: unit by unit, each alone or in a group of which it is the first.
 * @param {number} whole units as bits
 * @param {readonly Option[]} options
 * @param {number} size
 * @returns {Part}
 */
function search(whole, options, size) {
  const units = unitsOf(whole), large = size > EXACT_UNITS;
  const promise = new Map(units.map((u) => [u, Math.max(1, ...options.filter(({ mask }) => (mask >> u) & 1).map(({ mask, weight }) => weight ** (1 / count(mask))))]));
  /** At most so much the units of a mask can bring. @param {number} mask */
  const promised = (mask) => unitsOf(mask).reduce((product, u) => product * (promise.get(u) ?? 1), 1);
  let exact = true;
  const first = new Map(units.map((u) => {
    const mine = options.filter(({ mask }) => 31 - Math.clz32(mask & -mask) === u);
    exact &&= !large || mine.length <= MOST_OPTIONS;
    return [u, large ? best(mine, MOST_OPTIONS, ({ weight, mask }) => weight / promised(mask)) : mine];
  }));
  const layers = [new Map([[0, 1]])];
  /** @type {Map<number, Partial[]>} */
  let found = new Map([[0, [[1, []]]]]);
  let left = whole;
  for (const u of units) {
    const next = step(member(layers, layers.length - 1), found, u, first.get(u) ?? []);
    found = next.found;
    left &= ~(1 << u);
    if (large && next.sums.size > MOST_STATES) {
      const rest = left, ranked = [...next.sums].map(([mask, weight]) => ({ mask, weight, rank: weight * promised(rest & ~mask) }));
      const kept = ranked.sort((a, b) => b.rank - a.rank || a.mask - b.mask).slice(0, MOST_STATES);
      next.sums = new Map(kept.map(({ mask, weight }) => [mask, weight]));
      exact = false;
    }
    layers.push(next.sums);
  }
  return { total: member(layers, layers.length - 1).get(0) ?? 0, best: found.get(0) ?? [], used: usedOf(units, first, layers), exact };
}

/**
 * The sum and the best partitions of every state after unit u.
 * @param {Map<number, number>} before
 * @param {Map<number, Partial[]>} partitions
 * @param {number} u
 * @param {readonly Option[]} options
 * @returns {{sums: Map<number, number>, found: Map<number, Partial[]>}}
 */
function step(before, partitions, u, options) {
  /** @type {Map<number, number>} */
  const sums = new Map();
  /** @type {Map<number, Partial[]>} */
  const found = new Map();
  const keep = (/** @type {number} */ state, /** @type {Partial[]} */ more) => {
    found.set(state, best([...(found.get(state) ?? []), ...more], MOST_EXPLANATIONS, ([weight]) => weight));
  };
  const add = (/** @type {number} */ state, /** @type {number} */ weight) => sums.set(state, (sums.get(state) ?? 0) + weight);
  const weighed = options.map((one) => ({ ...one, likely: best(one.sets, MOST_EXPLANATIONS, ([, weight]) => weight) }));
  const bit = 1 << u;
  for (const [mask, weight] of before) {
    const mine = partitions.get(mask) ?? [];
    add(mask & ~bit, weight);
    keep(mask & ~bit, mine);
    if (mask & bit) continue;
    for (const option of weighed) {
      if (mask & option.mask) continue;
      const state = mask | (option.mask & ~bit);
      add(state, weight * option.weight);
      keep(state, mine.flatMap(([w, groups]) => option.likely.map(([b, ratio]) => /** @type {Partial} */ ([w * ratio, [...groups, [option.mask, b]]]))));
    }
  }
  return { sums, found };
}

/**
 * The probability of every group as each set: all ways to get to it times all ways to go on.
 * @param {readonly number[]} units
 * @param {Map<number, readonly Option[]>} first
 * @param {readonly Map<number, number>[]} layers
 * @returns {[number, number, number][]}
 */
function usedOf(units, first, layers) {
  const total = member(layers, layers.length - 1).get(0) ?? 0;
  let rest = new Map([[0, 1]]);
  /** @type {[number, number, number][]} */
  const used = [];
  for (let n = units.length - 1; n >= 0; n--) {
    const u = at(units, n), bit = 1 << u, options = first.get(u) ?? [], through = full(options.length, 0);
    /** @type {Map<number, number>} */
    const going = new Map();
    for (const [mask, weight] of member(layers, n)) {
      let ways = rest.get(mask & ~bit) ?? 0;
      for (const [o, option] of mask & bit ? [] : options.entries()) {
        const onward = mask & option.mask ? 0 : (rest.get(mask | (option.mask & ~bit)) ?? 0) * option.weight;
        ways += onward;
        through[o] = at(through, o) + weight * onward;
      }
      going.set(mask, ways);
    }
    options.forEach((option, o) => {
      for (const [b, ratio] of option.sets) used.push([option.mask, b, ((at(through, o) / total) * ratio) / option.weight]);
    });
    rest = going;
  }
  return used;
}

// Seats -----------------------------------------------------------------------------------------------------------------

/** The likeliest position (from 0) of every unit of a group. @param {Boxed} boxed @param {readonly number[]} units @returns {number[]} */
export function seated(boxed, units) {
  return assigned(units.map((u) => member(boxed.fit, u).map((fit) => -Math.log(fit))));
}

/**
 * P(unit i of the group sat in position p | the group is of this set), [i][p].
 * @param {Boxed} boxed
 * @param {readonly number[]} units
 * @returns {Float64Array[]}
 */
export function seatShares(boxed, units) {
  const size = boxed.seats.length, many = units.length;
  if (many > MOST_SEATED) return seated(boxed, units).map((place) => full(size, 0).fill(1, place, place + 1));
  const fit = units.map((u) => member(boxed.fit, u)).map((row) => row.map((one) => one / largest(row)));
  const masks = 1 << many, only = (/** @type {number} */ place) => full(masks, 0).fill(1, place, place + 1);
  const forward = [only(0)];
  for (let p = 0; p < size; p++) forward.push(oneMore(member(forward, p), fit.map((row) => at(row, p))));
  const shares = fit.map(() => full(size, 0));
  let onward = only(masks - 1);
  for (let p = size - 1; p >= 0; p--) {
    const going = onward.slice(), before = member(forward, p);
    fit.forEach((row, i) => {
      for (let mask = 0; mask < masks; mask++) {
        if ((mask >> i) & 1) continue;
        const ways = at(row, p) * at(onward, mask | (1 << i)), mine = member(shares, i);
        mine[p] = at(mine, p) + at(before, mask) * ways;
        going[mask] = at(going, mask) + ways;
      }
    });
    onward = going;
  }
  return shares.map((row) => row.map((share) => share / sum(row)));
}

/**
 * Sums by who is seated, after one more position, which may stay empty.
 * @param {Float64Array} before
 * @param {readonly number[]} fit
 * @returns {Float64Array}
 */
function oneMore(before, fit) {
  const after = before.slice();
  fit.forEach((chance, i) => {
    for (let mask = 0; mask < before.length; mask++) {
      const grown = mask | (1 << i);
      if (grown !== mask) after[grown] = at(after, grown) + chance * at(before, mask);
    }
  });
  return after;
}

/**
 * P(candidate c | answers of the whole lot), [u][c], from the probability of every group.
 * @param {Lot} lot
 * @param {Compiled} compiled
 * @param {readonly Float64Array[]} likelihood
 * @param {Iterable<[Group, number]>} used
 * @returns {Float64Array[]}
 */
export function candidatesGiven(lot, compiled, likelihood, used) {
  const found = likelihood.map(() => full(compiled.candidates, 0)), left = full(likelihood.length, 1);
  for (const [{ boxed: b, units }, share] of used) {
    if (share < NEGLIGIBLE) continue;
    const boxed = member(lot.sets, b);
    seatShares(boxed, units).forEach((row, i) => {
      const u = at(units, i), mine = member(found, u), chances = member(likelihood, u);
      left[u] = at(left, u) - share;
      row.forEach((seat, p) => {
        if (seat === 0) return;
        const { candidates, shares } = member(boxed.seats, p);
        candidates.forEach((c, n) => (mine[c] = at(mine, c) + (share * seat * at(chances, c) * at(shares, n)) / at(member(boxed.fit, u), p)));
      });
    });
  }
  return found.map((mine, u) => {
    const single = member(likelihood, u).map((chance, c) => chance * at(compiled.prior, c)), whole = sum(single), rest = Math.max(at(left, u), 0);
    const all = mine.map((one, c) => one + (rest * at(single, c)) / whole), total = sum(all);
    return all.map((one) => one / total);
  });
}

// Exchanges -------------------------------------------------------------------------------------------------------------

/**
 * Parts that came off one another's places: places, each with the place behind it whose part belongs there; and the chance.
 * @param {readonly Float64Array[]} belongs chance that the part now in place j is what place i was issued with, if both were changed
 * @param {readonly number[]} changed chance that each place was
 * @returns {{ring: number[], chance: number}[]}
 */
export function exchanges(belongs, changed) {
  const costs = belongs.map((row, i) => row.map((one, j) => {
    const right = i === j ? 1 - at(changed, i) : one * Math.sqrt(at(changed, i) * at(changed, j));
    return -Math.log(Math.max(right, LEAST));
  }));
  const takes = assigned(costs);
  /** @type {Set<number>} */
  const seen = new Set();
  return takes.flatMap((_, start) => {
    /** @type {number[]} */
    const ring = [];
    for (let place = start; !seen.has(place); place = at(takes, place)) {
      seen.add(place);
      ring.push(place);
    }
    if (ring.length < 2) return [];
    const right = ring.reduce((product, i) => product * at(member(belongs, i), at(takes, i)), 1);
    return [{ ring, chance: ring.reduce((product, i) => product * at(changed, i), 1) * right }];
  });
}

/** Whether nothing in the record can show what was seen of a unit. @param {Float64Array} row @returns {boolean} */
export function impossible(row) {
  return !any(row);
}
