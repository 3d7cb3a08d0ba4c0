/**
 * What must have been changed, or misread, for a unit to be what it may be: the least explanations. As `identify/swaps.py`, which
 * says what a conflict is, and where the method is from (Reiter 1987; de Kleer and Williams 1987; Berge 1989).
 */

import { UNRECORDED_MARKING, apartFromTold, likelihood, looks } from "./belief.js";
import { THERE, named, toldWrongByRow } from "./doubts.js";
import { byNumbers } from "./flips.js";
import { any, at, dot, matrix, one as member, rowOf, sum, take, times, weighted } from "./matrix.js";
import { rounded } from "./written.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./matrix.js").Matrix} Matrix
 *
 * Slots changed, traits misread, both ascending.
 * @typedef {[number[], number[]]} Blame
 *
 * @typedef {object} Explanation
 * @property {number} variant
 * @property {number[]} changed slots changed since, ascending
 * @property {number[]} misread traits whose answers are misread, ascending
 * @property {number} probability of exactly this: of the slots that an answer is about no other was changed, and no other misread
 *
 * The answers about one slot: right[e, i] and wrong[e, i] for its rows or parts.
 * @typedef {object} SlotAnswers
 * @property {number} slot
 * @property {number[]} traits
 * @property {Matrix} right
 * @property {Matrix} wrong
 */

/** An explanation that blames more things than this is not looked for. */
const LARGEST = 5;
/** Candidates with less belief than this share of all are not explained. */
const RARE = 1e-9;
/** Stands for the slot itself among the answers about it. */
const THE_SLOT = -1;

/**
 * All minimal sets that share a member with every conflict, smallest first; of at most `largest` members.
 *
 * Members are ordered as they first occur in the conflicts, and so are sets of one size. No conflict: the empty set alone. An
 * empty conflict: none.
 * @param {number[][]} conflicts
 * @param {number} [largest]
 * @returns {number[][]}
 */
export function hittingSets(conflicts, largest = Infinity) {
  const wanted = conflicts.map((conflict) => [...new Set(conflict)]);
  const things = [...new Set(wanted.flat())];
  const order = new Map(things.map((thing, i) => [thing, i]));
  // A set is the row of its members' places, ascending.
  /** @type {number[][]} */
  let found = [[]];
  const places = wanted.map((conflict) => conflict.map((thing) => order.get(thing) ?? 0));
  for (const conflict of [...places].sort((a, b) => a.length - b.length)) {
    const grown = found.flatMap((row) =>
      row.some((place) => conflict.includes(place)) ? [row] : conflict.map((place) => [...row, place].sort((a, b) => a - b)),
    );
    found = minimal(grown.filter((row) => row.length <= largest));
  }
  return found.sort((a, b) => a.length - b.length || byNumbers(a, b)).map((row) => row.map((place) => member(things, place)));
}

/**
 * Without the sets that hold another one.
 * @param {number[][]} sets
 */
function minimal(sets) {
  /** @type {number[][]} */
  const kept = [];
  for (const one of [...sets].sort((a, b) => a.length - b.length)) {
    if (!kept.some((other) => other.every((thing) => one.includes(thing)))) {
      kept.push(one);
    }
  }
  return kept;
}

/**
 * The least explanations of every recorded variant: those that blame fewest first, then the likelier, then by variant.
 *
 * None can be left out of one without leaving an answer unexplained. Nothing where the answers are impossible together.
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {readonly Evidence[]} evidence
 * @returns {Explanation[]}
 */
export function explanations(compiled, belief, evidence) {
  if (!belief.plausible) {
    return [];
  }
  const seen = answersBySlot(compiled, evidence);
  /** @type {Map<string, Blame[]>} */
  const known = new Map();
  /** @type {Map<string, Blame[]>} */
  const waysOf = new Map();
  /** @typedef {{ live: number[], ways: Map<string, Blame> }} Blamed */
  /** @type {Map<number, Blamed>} */
  const blamed = new Map();
  compiled.variant.forEach((variant, c) => {
    if (variant < 0 || !(at(belief.probability, c) > RARE)) {
      return;
    }
    const rows = seen.map(({ slot }) => at(member(compiled.slots, slot).row, c));
    const ways = remembered(known, rows.join(), () =>
      together(
        seen.map((one, n) => {
          const u = member(rows, n);
          return remembered(waysOf, `${one.slot} ${u}`, () => ofSlot(member(compiled.slots, one.slot), one, u));
        }),
      ),
    );
    /** @type {Blamed} */
    const mine = blamed.get(variant) ?? { live: [], ways: new Map() };
    blamed.set(variant, mine);
    mine.live.push(c);
    for (const way of ways) {
      mine.ways.set(way.join(";"), way);
    }
  });
  /** @type {(Explanation & { rank: number })[]} */
  const found = [];
  for (const [variant, { live, ways }] of blamed) {
    for (const [changed, misread] of noneInVain([...ways.values()])) {
      const probability = sum(live.map((c) => chanceOf(compiled, belief, seen, c, changed, misread)));
      const rank = rounded(probability, 12);
      if (rank > 0) {
        found.push({ variant, changed, misread, probability, rank });
      }
    }
  }
  return found.sort(
    (a, b) =>
      blames(a) - blames(b) ||
      b.rank - a.rank ||
      a.variant - b.variant ||
      byNumbers(a.changed, b.changed) ||
      byNumbers(a.misread, b.misread),
  );
}

/**
 * What is known under a key, worked out where it is not.
 * @template Found
 * @param {Map<string, Found>} known
 * @param {string} key
 * @param {() => Found} work
 * @returns {Found}
 */
function remembered(known, key, work) {
  const found = known.get(key) ?? work();
  known.set(key, found);
  return found;
}

/**
 * How many things an explanation blames.
 * @param {Explanation} one
 */
function blames(one) {
  return one.changed.length + one.misread.length;
}

/**
 * Without those that blame all that another one blames, and more: a place in a set may need what the variant does not.
 * @param {Blame[]} ways
 */
function noneInVain(ways) {
  const within = (/** @type {number[]} */ some, /** @type {number[]} */ all) => some.every((thing) => all.includes(thing));
  return ways.filter(
    (one) => !ways.some((other) => other !== one && within(other[0], one[0]) && within(other[1], one[1])),
  );
}

/**
 * Those that blame as few things as the first.
 * @param {Explanation[]} found
 * @returns {Explanation[]}
 */
export function least(found) {
  const [first] = found;
  return first ? found.filter((one) => blames(one) === blames(first)) : [];
}

/**
 * [right[i], wrong[i]] of an answer: the parts of its chance on row i where what it names is there, and where it is not.
 *
 * What others tell of a trait that was looked at is no answer, and only counts; of one that was not, it stands for the answer.
 * @param {Trait} trait
 * @param {Evidence} one
 * @returns {[Float64Array, Float64Array]}
 */
export function split(trait, one) {
  if (trait.alike !== trait) {
    const [right, wrong] = split(trait.alike, one);
    return [take(right, trait.look), take(wrong, trait.look)];
  }
  const whole = likelihood(trait, one);
  const alone = apartFromTold(trait, one);
  if (alone === null || !alone.seen) {
    const each = toldWrongByRow(trait, one);
    return shared(whole, (i) => 1 - Math.min(...each.map((wrong) => at(wrong, i))));
  }
  if (alone !== one) {
    const [right, wrong] = split(trait, alone);
    return shared(whole, (i) => (at(right, i) + at(wrong, i) > 0 ? at(right, i) / (at(right, i) + at(wrong, i)) : 0));
  }
  const right = rightOf(trait, one, whole).map((chance, i) => Math.min(Math.max(chance, 0), at(whole, i)));
  return [right, whole.map((chance, i) => chance - at(right, i))];
}

/**
 * @param {Float64Array} whole
 * @param {(i: number) => number} share of each row that is right
 * @returns {[Float64Array, Float64Array]}
 */
function shared(whole, share) {
  return [whole.map((chance, i) => chance * share(i)), whole.map((chance, i) => chance * (1 - share(i)))];
}

/**
 * The part of an answer's chance where what it names is there, before it is kept within the whole.
 * @param {Trait} trait
 * @param {Evidence} one
 * @param {Float64Array} whole
 * @returns {Float64Array}
 */
function rightOf(trait, one, whole) {
  const { weights } = one;
  if (weights !== null) {
    if (trait.measured || ![weights, ...one.again].every(any)) {
      return whole;
    }
    const read = one.typed ? weights : looks(trait, one);
    const names = named(one, one.again.length);
    const right = times(
      trait.truth,
      read.map((chance, k) => (names[k] ? chance : 0)),
    );
    if (!one.typed) {
      return right;
    }
    return right.map((chance, i) => (at(trait.isNew, i) ? at(whole, i) : Math.min(chance, at(whole, i) - UNRECORDED_MARKING)));
  }
  if (one.gone) {
    return whole.map((chance, i) => (at(trait.applies, i) < THERE ? chance : 0));
  }
  const sure = likelihood(withoutBlunders(trait), one);
  return sure.map((chance, i) => (at(trait.applies, i) < THERE ? 0 : chance * (1 - trait.blunders)));
}

/**
 * A trait with a row for each look, read without blunders.
 * @param {Trait} trait
 * @returns {Trait}
 */
function withoutBlunders(trait) {
  const sure = { ...trait, blunders: 0 };
  sure.alike = sure;
  return sure;
}

/**
 * The answers of every slot that one is about, by slot.
 * @param {Compiled} compiled
 * @param {readonly Evidence[]} evidence
 * @returns {SlotAnswers[]}
 */
export function answersBySlot(compiled, evidence) {
  const slotOf = evidence.map((one) => member(compiled.traits, one.trait).slot);
  const slots = [...new Set(slotOf)].sort((a, b) => a - b);
  return slots.map((slot) => {
    const mine = evidence.filter((_, e) => slotOf[e] === slot);
    const halves = mine.map((one) => split(member(compiled.traits, one.trait), one));
    return {
      slot,
      traits: mine.map(({ trait }) => trait),
      right: stacked(halves.map(([right]) => right)),
      wrong: stacked(halves.map(([, wrong]) => wrong)),
    };
  });
}

/**
 * A matrix of these rows.
 * @param {Float64Array[]} rows
 */
function stacked(rows) {
  const found = matrix(rows.length, rows[0]?.length ?? 0);
  rows.forEach((row, e) => rowOf(found, e).set(row));
  return found;
}

/**
 * P(candidate c, exactly these slots changed of those seen, exactly these answers misread | answers).
 * @param {Compiled} compiled
 * @param {Belief} belief
 * @param {SlotAnswers[]} seen
 * @param {number} c
 * @param {number[]} changed
 * @param {number[]} misread
 * @returns {number}
 */
export function chanceOf(compiled, belief, seen, c, changed, misread) {
  let chance = 1;
  for (const one of seen) {
    const slot = member(compiled.slots, one.slot);
    const u = at(slot.row, c);
    const whole = at(member(belief.factor, one.slot), u);
    const rows = one.traits.map((t, e) => rowOf(misread.includes(t) ? one.wrong : one.right, e));
    const was = changed.includes(one.slot);
    const shown = (/** @type {number} */ i) => rows.reduce((all, row) => all * at(row, i), 1);
    const share = was ? at(slot.swap, u) : 1 - at(slot.swap, u);
    const joint = slot.parts.length
      ? dot(rowOf(was ? slot.replaced : slot.issued, u), Float64Array.from(slot.parts, (_, r) => shown(r)))
      : shown(was ? at(slot.redone, u) : u);
    chance *= whole > 0 ? (share * joint) / whole : 0;
  }
  return at(belief.probability, c) * chance;
}

/**
 * What the minimal explanations of a candidate blame, from those of each slot.
 * @param {Blame[][]} ways
 * @returns {Blame[]}
 */
function together(ways) {
  /** @type {Blame[]} */
  let found = [[[], []]];
  for (const some of ways) {
    found = found.flatMap((one) =>
      some.flatMap((other) => {
        /** @type {Blame} */
        const both = [[...one[0], ...other[0]], [...one[1], ...other[1]]];
        return both[0].length + both[1].length <= LARGEST ? [both] : [];
      }),
    );
  }
  const ascending = (/** @type {number[]} */ some) => [...some].sort((a, b) => a - b);
  return found.map(([changed, misread]) => [ascending(changed), ascending(misread)]);
}

/**
 * The same of one slot alone; no conflict reaches over two slots, so the whole is a choice for each.
 *
 * The slot is in every conflict among the answers that no part as issued explains; without it are those that nothing shows.
 * @param {Slot} slot
 * @param {SlotAnswers} seen
 * @param {number} u
 * @returns {Blame[]}
 */
function ofSlot(slot, seen, u) {
  const explained = (/** @type {number} */ e, /** @type {number} */ i) => {
    const right = at(rowOf(seen.right, e), i);
    return right >= at(rowOf(seen.wrong, e), i) && right > 0;
  };
  const shown = (/** @type {number} */ e, /** @type {number} */ i) => at(rowOf(seen.right, e), i) > 0;
  const unexplained = (/** @type {number[]} */ rows, /** @type {(e: number, i: number) => boolean} */ tells) =>
    rows.map((i) => seen.traits.flatMap((_, e) => (tells(e, i) ? [] : [e])));
  const asIssued = unexplained(slot.parts.length ? indices(rowOf(slot.issued, u)) : [u], explained);
  const onceChanged = unexplained(slot.parts.length ? indices(rowOf(slot.replaced, u)) : [at(slot.redone, u)], shown);
  const issued = neverTogether(asIssued);
  const changeable = at(slot.swap, u) > 0;
  const anyhow = changeable ? neverTogether([...asIssued, ...onceChanged]) : issued;
  const blameSlot = changeable ? issued.map((one) => [THE_SLOT, ...one]) : [];
  return hittingSets([...blameSlot, ...anyhow], LARGEST).map((one) => [
    one.includes(THE_SLOT) ? [seen.slot] : [],
    one
      .filter((e) => e !== THE_SLOT)
      .map((e) => member(seen.traits, e))
      .sort((a, b) => a - b),
  ]);
}

/**
 * Where a row is more than nothing.
 * @param {Float64Array} row
 */
function indices(row) {
  return [...row.keys()].filter((i) => at(row, i) > 0);
}

/**
 * The minimal sets of answers that no row explains all of: they hit what every row leaves unexplained.
 * @param {number[][]} leftOut the answers that each row does not explain
 * @returns {number[][]}
 */
function neverTogether(leftOut) {
  const each = new Map(leftOut.map((row) => [row.join(), row]));
  return hittingSets([...each.values()].sort(byNumbers));
}

/**
 * P(part r was issued there), from the belief in the candidates.
 * @param {Slot} slot
 * @param {Float64Array} weight weight[u], the belief in each row of the slot
 * @returns {Float64Array}
 */
export function belonging(slot, weight) {
  return weighted(weight, slot.issued);
}
