/** How to tell one variant from another: the looks that separate them, the cheapest first. As `identify/apart.py`. */

import { MISSING, SAME } from "./arrays.js";
import { at, largest, matrix, one as member, rounded, rowOf, sum } from "./matrix.js";
import { entropy, namedStates, outcomeChances, whole, yesNo } from "./questions.js";
import { GONE, measured, seen } from "./reading.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Belief} Belief
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./questions.js").Question} Question
 * @typedef {import("./reading.js").Reading} Reading
 *
 * One trait that tells the first from the second.
 * @typedef {object} Look
 * @property {Question} question
 * @property {number} view effort of getting to see it
 * @property {number} form on top of that, the effort of its form of question
 * @property {number} bits expected news about which of the two it is, at even odds, changes since and misreadings counted
 * @property {number} right share of cases that this look alone decides rightly, at even odds
 * @property {Shown[]} first what the first shows as it left the factory, the commonest first
 * @property {Shown[]} second
 *
 * @typedef {{ share: number, reading: Reading }} Shown
 */

/** Looks that tell less, in bits about which of the two it is, are left out: half a thousand units would not show it. */
const TELLING = 0.02;
/** What is recorded of less than this share of a variant's units is not recorded. */
const RECORDED = 0.5 - SAME;
/** What a smaller share of a variant's units shows is not said. */
const SAID = 0.15 - SAME;
/** Shares that differ by no more are the same. */
const ALIKE = 0.05 + SAME;

/**
 * The looks that tell candidates first[c] from candidates second[c]: those in views at hand, then by effort, then by news.
 *
 * What has not been answered yet, all answers considered. Empty when nothing tells.
 * @param {Compiled} compiled
 * @param {(c: number) => boolean} first
 * @param {(c: number) => boolean} second
 * @param {Belief} believed
 * @param {readonly Evidence[]} evidence
 * @param {ReadonlySet<number> | null} atHand
 * @returns {Look[]}
 */
export function tellApart(compiled, first, second, believed, evidence, atHand) {
  const belief = evenOdds(compiled, first, second, believed);
  const live = Array.from({ length: compiled.candidates }, (_, c) => c).filter((c) => first(c) || second(c));
  const told = new Set(evidence.map(({ trait }) => trait));
  const asked = compiled.traits.flatMap((trait, t) => (trait.asked && !told.has(t) && ofBoth(compiled, trait, live) ? [t] : []));
  const questions = asked.map((t) => oneLook(compiled, t));
  const chances = outcomeChances(compiled, belief, questions, live, []);
  const found = questions.flatMap((question, q) => {
    const outcomes = member(chances, q);
    const joint = matrix(2, outcomes.columns);
    live.forEach((c, n) => {
      for (const side of [...(first(c) ? [0] : []), ...(second(c) ? [1] : [])]) {
        const row = rowOf(joint, side);
        rowOf(outcomes, n).forEach((chance, o) => (row[o] = at(row, o) + at(belief.probability, c) * chance));
      }
    });
    const [mine, other] = [rowOf(joint, 0), rowOf(joint, 1)];
    const outcome = mine.map((one, o) => one + at(other, o));
    const side = Float64Array.of(sum(mine), sum(other));
    const bits = entropy(outcome) + entropy(side) - entropy(joint.data);
    const shown = [first, second].map((of) => shownBy(compiled, question.trait, live.filter(of), belief.probability));
    const [ours, theirs] = [member(shown, 0), member(shown, 1)];
    if (bits < TELLING || !ours.length || !theirs.length || !differ(ours, theirs)) {
      return [];
    }
    const trait = member(compiled.traits, question.trait);
    const eitherOr = question.form === "choice" && ours.length === 1 && theirs.length === 1;
    return [
      {
        question,
        view: trait.view >= 0 ? at(compiled.effort, trait.view) : 1,
        form: compiled.asking[eitherOr ? "yes-no" : question.form] ?? 0,
        bits,
        right: sum(mine.map((one, o) => Math.max(one, at(other, o)))) / (sum(mine) + sum(other)),
        first: ours,
        second: theirs,
      },
    ];
  });
  const viewOf = (/** @type {Look} */ one) => member(compiled.traits, one.question.trait).view;
  const away = (/** @type {Look} */ one) => Number(atHand !== null && !atHand.has(viewOf(one)));
  return found.sort(
    (a, b) => away(a) - away(b) || a.view - b.view || a.form - b.form || rounded(b.bits) - rounded(a.bits),
  );
}

/**
 * The belief if it were one of the two, and as likely one as the other; within each as believed.
 * @param {Compiled} compiled
 * @param {(c: number) => boolean} first
 * @param {(c: number) => boolean} second
 * @param {Belief} belief
 * @returns {Belief}
 */
export function evenOdds(compiled, first, second, belief) {
  const probability = new Float64Array(compiled.candidates);
  for (const mine of [first, second]) {
    const believed = belief.probability.map((one, c) => (mine(c) ? one : 0));
    const weights = largest(believed) > 0 ? believed : compiled.prior.map((one, c) => (mine(c) ? one : 0));
    const total = sum(weights);
    weights.forEach((weight, c) => (probability[c] = at(probability, c) + (0.5 * weight) / total));
  }
  return { ...belief, probability };
}

/**
 * Whether it can tell them: its slot is not the same on both, and it is common or of the one family that both are of.
 * @param {Compiled} compiled
 * @param {Trait} trait
 * @param {number[]} either
 */
function ofBoth(compiled, trait, either) {
  const slot = member(compiled.slots, trait.slot);
  if (slot.parts.length && new Set(either.map((c) => at(slot.row, c))).size < 2) {
    return false;
  }
  return trait.family === null || either.every((c) => compiled.families[at(compiled.family, c)] === trait.family);
}

/**
 * The trait asked for at once; of two states, by yes or no.
 * @param {Compiled} compiled
 * @param {number} t
 * @returns {Question}
 */
function oneLook(compiled, t) {
  const trait = member(compiled.traits, t);
  const plain = !trait.measured && !trait.worn && namedStates(trait) <= 2;
  return (plain ? yesNo(compiled, t)[0] : undefined) ?? whole(compiled, t);
}

/**
 * What these candidates show of a trait as issued, the commonest first; empty if it is not recorded.
 * @param {Compiled} compiled
 * @param {number} t
 * @param {number[]} mine
 * @param {Float64Array} weight weight[c]
 * @returns {Shown[]}
 */
function shownBy(compiled, t, mine, weight) {
  const trait = member(compiled.traits, t);
  const slot = member(compiled.slots, trait.slot);
  const rows = new Float64Array(slot.parts.length || slot.redone.length);
  for (const c of mine) {
    const u = at(slot.row, c);
    if (slot.parts.length) {
      rowOf(slot.issued, u).forEach((chance, i) => (rows[i] = at(rows, i) + at(weight, c) * chance));
    } else {
      rows[u] = at(rows, u) + at(weight, c);
    }
  }
  const total = sum(rows);
  const live = [...rows.keys()].filter((i) => at(rows, i) > 0);
  if (sum(live.map((i) => (recorded(trait, i) ? at(rows, i) / total : 0))) < RECORDED) {
    return [];
  }
  /** @type {Map<string, Shown>} */
  const shares = new Map();
  for (const i of live) {
    for (const { share, reading } of readings(trait, i)) {
      const key = keyOf(reading);
      const before = shares.get(key)?.share ?? 0;
      shares.set(key, { share: before + share * (at(rows, i) / total), reading });
    }
  }
  const said = [...shares.values()].filter(({ share }) => share >= SAID);
  return said.sort((a, b) => rounded(b.share) - rounded(a.share));
}

/**
 * Equal for two readings that say the same.
 * @param {Reading} reading
 */
function keyOf(reading) {
  return JSON.stringify(reading);
}

/**
 * Whether they do not show the same as they left the factory: what only later changes tell is no mark of a variant.
 * @param {Shown[]} first
 * @param {Shown[]} second
 */
function differ(first, second) {
  const theirs = new Map(second.map(({ share, reading }) => [keyOf(reading), share]));
  return (
    first.length !== second.length ||
    first.some(({ share, reading }) => !(Math.abs(share - (theirs.get(keyOf(reading)) ?? NaN)) <= ALIKE))
  );
}

/**
 * Whether something is recorded of row i: what it shows, or that it has no such thing.
 * @param {Trait} trait
 * @param {number} i
 */
function recorded(trait, i) {
  return at(trait.blendOf, i) < 0 || nothing(trait, i);
}

/**
 * @param {Trait} trait
 * @param {number} i
 */
function nothing(trait, i) {
  if (trait.measured) {
    return at(trait.applies, i) < 0.5;
  }
  return trait.canBeMissing && at(rowOf(trait.truth, i), trait.states.length - 1) > 0.5;
}

/**
 * @param {Trait} trait
 * @param {number} i
 * @returns {Shown[]}
 */
function readings(trait, i) {
  if (trait.measured) {
    if (nothing(trait, i)) {
      return [{ share: 1, reading: GONE }];
    }
    const known = Number.isFinite(at(trait.mean, i));
    return known ? [{ share: 1, reading: measured(at(trait.mean, i), at(trait.sd, i)) }] : [];
  }
  const chances = rowOf(trait.truth, i);
  return trait.states.flatMap((state, k) => {
    const share = at(chances, k);
    return share > 0 ? [{ share, reading: state === MISSING && trait.canBeMissing ? GONE : seen([state]) }] : [];
  });
}
