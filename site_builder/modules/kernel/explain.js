/**
 * Why each conclusion: the weight of every answer against the runner-up, what speaks against, and what would turn it over. As
 * `identify/explain.py`.
 */

import { MISSING, SAME } from "./arrays.js";
import { canBeChanged, changedShare, likelihood } from "./belief.js";
import { named } from "./doubts.js";
import { Alternatives, MOST_CHANGED } from "./flips.js";
import { merge } from "./given.js";
import { bySlot, originalHypotheses, setHypotheses, slotHypotheses, variantHypotheses, weightsOfEvidence } from "./hypotheses.js";
import { any, at, matrix, one as member, rounded } from "./matrix.js";
import { originalShare } from "./questions.js";
import { GONE, between, measured, seen } from "./reading.js";
import { even, inOrder } from "./written.js";

/**
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./hypotheses.js").Answered} Answered
 * @typedef {import("./hypotheses.js").Hypotheses} Hypotheses
 * @typedef {import("./hypotheses.js").Name} Name
 * @typedef {import("./matrix.js").Matrix} Matrix
 * @typedef {import("./reading.js").Reading} Reading
 * @typedef {import("./session.js").Session} Session
 *
 * What a conclusion says: variants that nothing separates, a set (null: no set), or whether.
 * @typedef {string[] | string | boolean | null} Conclusion
 *
 * The smallest change of answers that makes another conclusion the leader; none of up to `tried` does where it is empty.
 * @typedef {object} Turn
 * @property {{ trait: number, reading: Reading }[]} changes
 * @property {Name} to
 * @property {number} tried
 *
 * One conclusion.
 * @typedef {object} Why
 * @property {"variant" | "set" | "slot" | "original"} about
 * @property {number | null} slot the index of a slot
 * @property {Conclusion} conclusion
 * @property {number} probability
 * @property {Conclusion} runnerUp
 * @property {number} runnerUpProbability
 * @property {Map<number, number>} bits weight of the answer to each trait for the conclusion
 * @property {Map<number, number>} over against the runner-up alone; below 0 it speaks against
 * @property {Turn | null} turn what would turn it over; null where that is not looked for
 *
 * @typedef {Omit<Why, "bits" | "over" | "turn">} Concluded
 */

/** A slot that no answer touched is explained from this chance of a swap on. */
const DOUBTFUL = 0.25;
/** Answers at or below these bits speak against a conclusion. */
const AGAINST = -0.1;
/** A flip of what became of one slot is looked for up to so many answers; of what it is, up to three. */
const SLOT_CHANGED = 2;
/** A recorded value nearer to the measured one than this many standard deviations is no other answer. */
const NEAR = 2;

/**
 * The variant, the set, the slots that an answer touched or that are in doubt, and whether all is original.
 *
 * Where nothing can have been changed the variant alone. Nothing without answers, or where they are impossible together.
 * @param {Session} session
 * @returns {Why[]}
 */
export function explain(session) {
  const { compiled, evidence } = session;
  if (!evidence.length || !session.belief.plausible) {
    return [];
  }
  const answered = bySlot(compiled, evidence);
  const found = [
    aboutVariant(session, answered),
    ...(compiled.sets.length ? [aboutSet(session, answered)] : []),
    ...slotsInQuestion(session).map(([s, chance]) => aboutSlot(session, answered, s, chance)),
    ...(compiled.slots.some((slot) => any(slot.swap)) ? [aboutOriginal(session, answered)] : []),
  ];
  const readings = evidence.map((one) => otherReadings(member(compiled.traits, one.trait), one));
  const flips = new Alternatives(
    compiled,
    answered,
    evidence.map((one, e) => chances(compiled, one, member(readings, e))),
  );
  const weights = weightsOfEvidence(
    compiled,
    answered,
    found.map(([, hypotheses]) => hypotheses),
  );
  return found.map(([why, hypotheses], n) => {
    const { overAll, overRival } = member(weights, n);
    return {
      ...why,
      bits: new Map(evidence.map(({ trait }, e) => [trait, overAll.get(e) ?? 0])),
      over: new Map(evidence.map(({ trait }, e) => [trait, overRival.get(e) ?? 0])),
      turn: turned(session, hypotheses, flips, readings, why.about),
    };
  });
}

/**
 * The traits whose answers speak for the runner-up, the strongest first.
 * @param {Why} why
 * @returns {number[]}
 */
export function against({ over }) {
  const rank = (/** @type {number} */ t) => rounded(over.get(t) ?? 0);
  return [...over.keys()].filter((t) => (over.get(t) ?? 0) <= AGAINST).sort((a, b) => rank(a) - rank(b));
}

/**
 * [slot, chance that it was changed] of each that an answer is about or that is in doubt, if it can have been changed.
 * @param {Session} session
 * @returns {[number, number][]}
 */
function slotsInQuestion({ compiled, belief, evidence }) {
  const touched = new Set(evidence.map(({ trait }) => member(compiled.traits, trait).slot));
  const shares = compiled.slots.map((_, s) => /** @type {[number, number]} */ ([s, changedShare(compiled, belief, s)]));
  return shares.filter(([s, chance]) => canBeChanged(compiled, belief, s) && (touched.has(s) || chance >= DOUBTFUL - SAME));
}

/**
 * What could have been answered in the place of an answer, and contradicts it.
 *
 * Each single state that it does not name (a marking as if read without a doubt), each recorded value that it does not agree
 * with, the other side of a bound, and that it is missing.
 * @param {Trait} trait
 * @param {Evidence} one
 * @returns {Reading[]}
 */
export function otherReadings(trait, one) {
  if (!one.seen) {
    return []; // told, not answered
  }
  /** @type {Reading[]} */
  const gone = trait.canBeMissing && !one.gone ? [GONE] : [];
  if (!trait.measured) {
    return one.weights === null ? [] : otherStates(trait, one, gone);
  }
  if (one.interval !== null) {
    const [low, high] = one.interval;
    const below = Number.isFinite(low) ? [between(-Infinity, low)] : [];
    const above = Number.isFinite(high) ? [between(high, Infinity)] : [];
    return [...below, ...above, ...gone];
  }
  const value = one.value;
  const spread = value === null ? trait.reads : value[1];
  const far = trait.alike.mean.filter(
    (mean, i) =>
      Number.isFinite(mean) &&
      (value === null || Math.abs(mean - value[0]) > NEAR * Math.hypot(at(trait.alike.sd, i), spread)),
  );
  const means = new Set(far.map((mean) => even(mean * 1e9) / 1e9));
  return [...[...means].sort((a, b) => a - b).map((mean) => measured(mean, spread)), ...gone];
}

/**
 * @param {Trait} trait
 * @param {Evidence} one
 * @param {Reading[]} gone
 * @returns {Reading[]}
 */
function otherStates(trait, one, gone) {
  const looks = [one.weights, ...one.again].map((_, n) => named(one, n));
  const states = trait.states.filter((_, k) => !looks.every((look) => look[k]));
  const some = states.filter((state) => state !== MISSING).map((state) => seen([state]));
  return [...some, ...(states.includes(MISSING) ? gone : [])];
}

/**
 * chance[i, a] of each other reading of an answer.
 *
 * A part that is gone has a probability, a measured value a density: it is made one by the width of the reading.
 * @param {Compiled} compiled
 * @param {Evidence} one
 * @param {Reading[]} readings
 * @returns {Matrix}
 */
function chances(compiled, one, readings) {
  const trait = member(compiled.traits, one.trait);
  const found = matrix(trait.look.length, readings.length);
  readings.forEach((reading, a) => {
    const other = merge(trait, one.trait, [reading]);
    if (other === null) {
      return;
    }
    const width = one.value !== null && other.gone ? Math.sqrt(2 * Math.PI) * Math.max(one.value[1], trait.reads, 1e-9) : 1;
    likelihood(trait, other).forEach((chance, i) => (found.data[i * readings.length + a] = chance / width));
  });
  return found;
}

/**
 * @param {Session} session
 * @param {Hypotheses} hypotheses
 * @param {Alternatives} flips
 * @param {Reading[][]} readings
 * @param {Why["about"]} about
 * @returns {Turn | null}
 */
function turned({ evidence }, hypotheses, flips, readings, about) {
  if (about === "original") {
    return null;
  }
  const flip = flips.smallest(hypotheses, about === "slot" ? SLOT_CHANGED : MOST_CHANGED);
  return {
    changes: flip.changes.map(([e, a]) => ({ trait: member(evidence, e).trait, reading: member(member(readings, e), a) })),
    to: flip.changes.length ? (hypotheses.names[flip.to] ?? null) : null,
    tried: flip.tried,
  };
}

/**
 * @param {Session} session
 * @param {Answered} answered
 * @returns {[Concluded, Hypotheses]}
 */
function aboutVariant(session, answered) {
  const [group, chance] = session.leading;
  const best = session.variants.find(([ident]) => !group.includes(ident));
  const shares = new Map(session.variants);
  const share = (/** @type {string} */ ident) => shares.get(ident) ?? 0;
  const rank = (/** @type {string} */ ident) => rounded(share(ident));
  const twins = best ? (session.twins.get(best[0]) ?? []) : [];
  const rival = [...twins].sort((a, b) => rank(b) - rank(a) || inOrder(a, b));
  const other = rival.reduce((sum, ident) => sum + share(ident), 0);
  return [
    { about: "variant", slot: null, conclusion: group, probability: chance, runnerUp: rival, runnerUpProbability: other },
    variantHypotheses(session.compiled, answered, group, rival),
  ];
}

/**
 * @param {Session} session
 * @param {Answered} answered
 * @returns {[Concluded, Hypotheses]}
 */
function aboutSet(session, answered) {
  const [best, second] = session.origins;
  const [name, share] = best ?? [null, 0];
  const [runnerUp, other] = second ?? [null, 0];
  return [
    { about: "set", slot: null, conclusion: name, probability: share, runnerUp, runnerUpProbability: other },
    setHypotheses(session.compiled, answered, name, runnerUp),
  ];
}

/**
 * @param {Session} session
 * @param {Answered} answered
 * @param {number} s
 * @param {number} chance
 * @returns {[Concluded, Hypotheses]}
 */
function aboutSlot(session, answered, s, chance) {
  const changed = chance >= 0.5 - SAME;
  return [whether("slot", s, changed, chance), slotHypotheses(session.compiled, answered, s, changed)];
}

/**
 * @param {Session} session
 * @param {Answered} answered
 * @returns {[Concluded, Hypotheses]}
 */
function aboutOriginal(session, answered) {
  const chance = originalShare(session.compiled, session.belief);
  const original = chance >= 0.5 - SAME;
  return [whether("original", null, original, chance), originalHypotheses(session.compiled, answered, original)];
}

/**
 * @param {"slot" | "original"} about
 * @param {number | null} slot
 * @param {boolean} conclusion
 * @param {number} chance
 * @returns {Concluded}
 */
function whether(about, slot, conclusion, chance) {
  const sure = Math.max(chance, 1 - chance);
  return { about, slot, conclusion, probability: sure, runnerUp: !conclusion, runnerUpProbability: 1 - sure };
}
