/**
 * The answer to "what is this?" as plain values: `tellmark/identify/1`, the same that `tellmark identify --json` prints. As
 * `identify/report.py`; every field is described in `cli/schemas/identify.json`.
 */

import { NOT_IN_THE_RECORD, SAME } from "./arrays.js";
import { tellApart } from "./apart.js";
import { canBeChanged, changedShare, rowWeights } from "./belief.js";
import { rowsNow } from "./doubts.js";
import { against, explain } from "./explain.js";
import { companionIds, written, yearsOfPart } from "./history.js";
import { at, one as member, rounded as billionths } from "./matrix.js";
import { originalShare } from "./questions.js";
import { belonging, explanations, least } from "./swaps.js";
import { viewsWorth } from "./views.js";
import { lowerFirst, percent } from "./wording.js";
import { rounded } from "./written.js";

/**
 * @typedef {import("./apart.js").Look} Look
 * @typedef {import("./apart.js").Shown} Shown
 * @typedef {import("./arrays.js").Slot} Slot
 * @typedef {import("./doubts.js").Doubt} Doubt
 * @typedef {import("./explain.js").Conclusion} Conclusion
 * @typedef {import("./explain.js").Turn} Turn
 * @typedef {import("./explain.js").Why} Why
 * @typedef {import("./reading.js").Reading} Reading
 * @typedef {import("./session.js").Proposal} Proposal
 * @typedef {import("./session.js").Session} Session
 * @typedef {import("./wording.js").Words} Words
 *
 * @typedef {{ id: string, name: string, probability: number }} VariantReport
 * @typedef {{ id: string | null, position: number, probability: number, with: string[] }} SetReport
 * @typedef {{ part: string, probability: number, made: string | null }} PartReport
 * @typedef {{ slot: string, swapped: number, fitted: PartReport[], belongs: PartReport[] }} SlotReport
 * @typedef {{ changed: string[], repainted: boolean, misread: string[], variant: string, probability: number }} Story
 * @typedef {{ trait: string, answer: string, bits: number }} AnswerReport
 * @typedef {{ trait: string, answer: string, chance: number }} DoubtReport
 * @typedef {{ changes: { trait: string, from: string, to: string }[], to: string | boolean | null }} FlipReport
 * @typedef {{ trait: string, answer: string, bits: number, over_runner_up: number }} WeighedReport
 *
 * @typedef {object} WhyReport
 * @property {"variant" | "set" | "slot" | "original"} about
 * @property {string} [slot]
 * @property {Conclusion} is
 * @property {number} probability
 * @property {{ is: Conclusion, probability: number }} runner_up
 * @property {WeighedReport[]} answers
 * @property {string[]} against
 * @property {FlipReport | null} [flip]
 * @property {number} [tried]
 *
 * @typedef {object} LookReport
 * @property {string} trait
 * @property {string} name
 * @property {string | null} view
 * @property {number} effort
 * @property {number} bits
 * @property {number} right
 * @property {Record<string, string>} values
 *
 * @typedef {object} QuestionReport
 * @property {string} trait
 * @property {"yes-no" | "choice" | "value" | "reading" | "again"} form
 * @property {string[]} states
 * @property {string} [more_than]
 * @property {string} question
 * @property {string | null} view
 * @property {number} effort
 * @property {number} bits
 *
 * @typedef {{ view: string, effort: number, settles: { what: string, chance: number }[] }} ViewReport
 *
 * @typedef {object} Reasons
 * @property {AnswerReport[]} answers
 * @property {DoubtReport[]} doubts
 * @property {WhyReport[]} explanation
 * @property {{ from: string, by: LookReport[] } | null} tell_apart
 * @property {QuestionReport | null} next
 * @property {QuestionReport | null} look_again
 * @property {ViewReport[]} views
 * @property {boolean} settled
 * @property {string[]} cannot_be_told_apart
 *
 * @typedef {object} Verdict
 * @property {"tellmark/identify/1"} format
 * @property {string | null} family
 * @property {VariantReport[]} variants
 * @property {SetReport[]} sets
 * @property {number} original
 * @property {SlotReport[]} slots
 * @property {Story[]} explanations
 *
 * @typedef {Verdict & Reasons} Report
 */

/** Nothing less likely is listed. */
const LISTED = 1e-4;
/** Fewer bits about a slot are not worth naming. */
const WEIGHS = 0.05;
/** A runner-up of a settled verdict is told apart from this chance on. */
const NEAR = 0.005;
/** So many looks that tell the leader from its runner-up are listed: those that tell most for their effort. */
const MOST_LOOKS = 5;
/** So many histories of the unit are listed. */
const MOST_STORIES = 6;
/** Shown so often, a state is said without how often; and so often, it is said to be shown mostly. */
const NEARLY_ALWAYS = 0.9 - SAME;
const MOSTLY = 0.6 - SAME;
/** The variants in the running hold so much of the belief in what is recorded. */
const IN_THE_RUNNING = 0.99;

/**
 * The whole report.
 * @param {Session} session
 * @param {Words} words
 * @returns {Report}
 */
export function report(session, words) {
  return {
    format: "tellmark/identify/1",
    family: leadingFamily(session),
    variants: variants(session, words),
    sets: sets(session, words),
    original: share(originalShare(session.compiled, session.belief)),
    slots: slots(session, words),
    explanations: leastExplanations(session, words),
    ...reasons(session, words),
  };
}

/**
 * Why it is so, what is doubtful, and what to ask next.
 * @param {Session} session
 * @param {Words} words
 * @returns {Reasons}
 */
export function reasons(session, words) {
  const found = explain(session);
  return {
    answers: answers(session, words, found[0] ?? null),
    doubts: looksWrong(session, words),
    explanation: found.map((why) => explanation(session, words, why)),
    tell_apart: runnerUp(session, words),
    next: proposal(session.next, words),
    look_again: proposal(session.lookAgain, words),
    views: oneMoreView(session, words),
    settled: session.settled,
    cannot_be_told_apart: session.inseparable,
  };
}

/**
 * The variants worth naming, best first.
 * @param {Session} session
 * @param {Words} words
 * @returns {VariantReport[]}
 */
export function variants(session, words) {
  const listed = session.variants.filter(([, chance]) => chance >= LISTED);
  return listed.map(([id, chance]) => ({ id, name: words.variant(id), probability: share(chance) }));
}

/**
 * The sets of origin worth naming, best first, with the variants in their other positions.
 * @param {Session} session
 * @param {Words} words
 * @returns {SetReport[]}
 */
export function sets(session, words) {
  const listed = session.positions.filter(([, , chance]) => chance >= LISTED);
  return listed.map(([id, position, chance]) => {
    return { id, position, probability: share(chance), with: companionIds(words, id, position) };
  });
}

/**
 * The family with the most belief.
 * @param {Session} session
 * @returns {string | null}
 */
export function leadingFamily({ compiled, familyShares }) {
  let best = 0;
  familyShares.forEach((one, f) => (best = billionths(one) > billionths(at(familyShares, best)) ? f : best));
  return compiled.families[best] ?? null;
}

/**
 * What must have been changed or misread: the explanations that blame fewest, likelier ones first; at most `MOST_STORIES`.
 *
 * The likeliest of all is among them, as the last if it blames more.
 * @param {Session} session
 * @param {Words} words
 * @returns {Story[]}
 */
export function leastExplanations(session, words) {
  const { compiled, belief, evidence } = session;
  const found = evidence.length ? explanations(compiled, belief, evidence) : [];
  const [first] = found;
  if (!first) {
    return [];
  }
  const likely = least(found).filter((one) => one.probability >= LISTED);
  const simplest = likely.length ? likely : [first];
  const rank = (/** @type {{ probability: number }} */ one) => rounded(one.probability, 12);
  const likeliest = found.reduce((best, one) => (rank(one) > rank(best) ? one : best));
  const listed = simplest.includes(likeliest)
    ? simplest.slice(0, MOST_STORIES)
    : [...simplest.slice(0, MOST_STORIES - 1), likeliest];
  return listed.map((one) => {
    const changed = one.changed.map((s) => member(compiled.slots, s).id);
    return {
      changed,
      repainted: changed.includes("finish"),
      misread: one.misread.map((t) => words.key(t)),
      variant: member(compiled.variants, one.variant),
      probability: share(one.probability),
    };
  });
}

/**
 * The parts of a slot worth naming, likeliest first, with the years in which each was made.
 * @param {Words} words
 * @param {Slot} slot
 * @param {Float64Array} chances
 * @returns {PartReport[]}
 */
function listedParts(words, slot, chances) {
  const order = [...chances.keys()].sort((a, b) => billionths(at(chances, b)) - billionths(at(chances, a)));
  return order
    .filter((r) => at(chances, r) >= LISTED)
    .map((r) => {
      const part = member(slot.parts, r);
      const years = yearsOfPart(words, part);
      return { part, probability: share(at(chances, r)), made: years && written(years) };
    });
}

/**
 * Every slot that can have been changed: the chance that it was, what may sit there, and what belongs there.
 * @param {Session} session
 * @param {Words} words
 * @returns {SlotReport[]}
 */
export function slots({ compiled, belief }, words) {
  return compiled.slots.flatMap((slot, s) => {
    if (!canBeChanged(compiled, belief, s)) {
      return [];
    }
    const parts = slot.parts.length > 0;
    return [
      {
        slot: slot.id,
        swapped: share(changedShare(compiled, belief, s)),
        fitted: parts ? listedParts(words, slot, rowsNow(slot, belief, s)) : [],
        belongs: parts ? listedParts(words, slot, belonging(slot, rowWeights(slot, belief.probability))) : [],
      },
    ];
  });
}

/**
 * Everything that was answered to a trait, in words; of one that was not, what others say of it.
 * @param {Session} session
 * @param {Words} words
 * @param {number} t
 * @returns {string}
 */
export function said(session, words, t) {
  const given = session.given.filter(({ trait }) => trait === t);
  const told = given.length ? given : session.heard.filter(({ trait }) => trait === t);
  return inARow(told.map(({ reading }) => words.reading(t, reading)));
}

/**
 * Each text once.
 * @param {string[]} texts
 */
function inARow(texts) {
  return [...new Set(texts)].join(", ");
}

/**
 * Every answer with its weight in bits for the verdict, all the others given; 0 for one that says nothing.
 * @param {Session} session
 * @param {Words} words
 * @param {Why | null} verdict
 * @returns {AnswerReport[]}
 */
export function answers(session, words, verdict) {
  const traits = new Set(session.given.map(({ trait }) => trait));
  return [...traits].map((t) => {
    return { trait: words.key(t), answer: said(session, words, t), bits: bits(verdict?.bits.get(t) ?? 0) };
  });
}

/**
 * One conclusion: what speaks for it, and against it for its runner-up; and what would turn it over.
 *
 * Of a slot, and of whether all is original, only the answers that weigh something are named.
 * @param {Session} session
 * @param {Words} words
 * @param {Why} why
 * @returns {WhyReport}
 */
export function explanation(session, words, why) {
  const all = why.about === "variant" || why.about === "set";
  const told = [...why.bits.keys()].filter((t) => all || Math.abs(why.bits.get(t) ?? 0) >= WEIGHS);
  return {
    about: why.about,
    ...(why.slot === null ? {} : { slot: member(session.compiled.slots, why.slot).id }),
    is: why.conclusion,
    probability: share(why.probability),
    runner_up: { is: why.runnerUp, probability: share(why.runnerUpProbability) },
    answers: told.map((t) => ({
      trait: words.key(t),
      answer: said(session, words, t),
      bits: bits(why.bits.get(t) ?? 0),
      over_runner_up: bits(why.over.get(t) ?? 0),
    })),
    against: against(why).map((t) => words.key(t)),
    ...(why.turn === null ? {} : { flip: flip(session, words, why.turn), tried: why.turn.tried }),
  };
}

/**
 * @param {Session} session
 * @param {Words} words
 * @param {Turn} turn
 * @returns {FlipReport | null}
 */
function flip(session, words, turn) {
  if (!turn.changes.length) {
    return null;
  }
  const changes = turn.changes.map(({ trait, reading }) => {
    const before = session.given.filter((one) => one.trait === trait).map((one) => words.plain(trait, one.reading));
    return { trait: words.key(trait), from: inARow(before), to: words.plain(trait, reading) };
  });
  return { changes, to: turn.to };
}

/**
 * The answers that look wrong, the worst first; of several looks at a trait the last, which has corrected the others.
 * @param {Session} session
 * @param {Words} words
 * @returns {DoubtReport[]}
 */
export function looksWrong(session, words) {
  const last = new Map(session.doubts.map((one) => [one.trait, one]));
  const found = [...last.values()].filter((one) => one.looksWrong);
  found.sort((a, b) => billionths(b.chance) - billionths(a.chance));
  return found.map((one) => ({ trait: words.key(one.trait), answer: ofLook(session, words, one), chance: share(one.chance) }));
}

/**
 * The words of one look: the n-th that said something; of a value measured again, the last.
 * @param {Session} session
 * @param {Words} words
 * @param {Doubt} doubt
 */
function ofLook(session, words, doubt) {
  const told = session.given.filter((one) => one.trait === doubt.trait && one.reading.kind !== "cannot-tell");
  const looks = [...new Set(told.map(({ look }) => look))].sort((a, b) => a - b);
  const doubted = session.doubts.filter(({ trait }) => trait === doubt.trait).length;
  const look = looks[looks.length === doubted ? doubt.look : looks.length - 1];
  return inARow(told.filter((one) => one.look === look).map(({ reading }) => words.reading(doubt.trait, reading)));
}

/**
 * The recorded variant that comes next and is not a twin of the leader, and the looks that tell the leader from it.
 *
 * Null without answers, when the leader is not in the record, or when the verdict is settled and nothing else comes near it.
 * @param {Session} session
 * @param {Words} words
 * @returns {{ from: string, by: LookReport[] } | null}
 */
export function runnerUp(session, words) {
  const [group] = session.leading;
  if (!session.given.length || !session.belief.plausible || group[0] === NOT_IN_THE_RECORD) {
    return null;
  }
  const second = session.variants.find(([ident]) => !group.includes(ident) && ident !== NOT_IN_THE_RECORD);
  if (!second || (session.settled && second[1] < NEAR)) {
    return null;
  }
  const first = session.variants[0]?.[0] ?? "";
  const looks = worthwhile(twoApart(session, words, first, second[0]));
  return { from: second[0], by: looks.map((one) => apart(words, one, first, second[0])) };
}

/**
 * The looks that tell most for their effort, in their order.
 * @param {Look[]} looks
 */
function worthwhile(looks) {
  const worth = (/** @type {Look} */ one) => billionths(one.bits / (one.view + one.form));
  const best = new Set([...looks].sort((a, b) => worth(b) - worth(a)).slice(0, MOST_LOOKS));
  return looks.filter((one) => best.has(one));
}

/**
 * The looks that tell two variants apart and were not taken yet, the answers considered.
 * @param {Session} session
 * @param {Words} words
 * @param {string} first
 * @param {string} second
 * @returns {Look[]}
 */
export function twoApart(session, words, first, second) {
  const { compiled, belief, evidence, views } = session;
  const of = (/** @type {string} */ ident) => {
    const v = compiled.variants.indexOf(ident);
    return (/** @type {number} */ c) => at(compiled.variant, c) === v;
  };
  const looks = tellApart(compiled, of(first), of(second), belief, evidence, views && new Set(views));
  const silent = new Set([...words.unrecordedSlots(first), ...words.unrecordedSlots(second)]);
  return looks.filter(({ question }) => !silent.has(member(compiled.traits, question.trait).slot));
}

/**
 * One look that tells two variants apart as plain values.
 * @param {Words} words
 * @param {Look} look
 * @param {string} first
 * @param {string} second
 * @returns {LookReport}
 */
function apart(words, look, first, second) {
  const t = look.question.trait;
  return {
    trait: words.key(t),
    name: words.trait(t),
    view: words.view(t),
    effort: twiceRounded(look.view + look.form, 4),
    bits: twiceRounded(look.bits, 4),
    right: share(look.right),
    values: { [first]: shown(words, t, look.first), [second]: shown(words, t, look.second) },
  };
}

/**
 * What a variant shows of a trait; mostly, or one of several, where it is not nearly always the same.
 * @param {Words} words
 * @param {number} t
 * @param {Shown[]} shares
 */
function shown(words, t, shares) {
  const said = (/** @type {Reading} */ one) => (one.kind === "gone" ? "nothing there" : words.plain(t, one));
  const [first = "", ...others] = shares.map(({ reading }) => said(reading));
  const most = shares[0]?.share ?? 0;
  if (most >= NEARLY_ALWAYS) {
    return first;
  }
  return most >= MOSTLY ? `mostly ${lowerFirst(first)}` : [first, ...others.map(lowerFirst)].join(" or ");
}

/**
 * What each view that is not at hand would settle, the best for its effort first; nothing when all can be seen.
 * @param {Session} session
 * @param {Words} words
 * @returns {ViewReport[]}
 */
export function oneMoreView(session, words) {
  const { compiled, belief, views, given, seen } = session;
  if (views === null || !given.length) {
    return [];
  }
  const unclear = new Set(given.map(({ trait }) => trait).filter((t) => !seen.has(t)));
  return viewsWorth(compiled, belief, new Set(views), seen, unclear).map(({ view, effort, chances }) => ({
    view: member(compiled.views, view),
    effort,
    settles: chances.map(([what, chance]) => ({ what: what === "variant" ? words.noun : what, chance: share(chance) })),
  }));
}

/**
 * The next question as plain values.
 * @param {Proposal | null} found
 * @param {Words} words
 * @returns {QuestionReport | null}
 */
export function proposal(found, words) {
  if (found === null) {
    return null;
  }
  const { question } = found;
  const trait = words.traitAt(question.trait);
  const offered = question.form === "choice" ? question.outcomes : question.outcomes.slice(0, 1);
  const byState = !trait.measured && question.form !== "reading";
  return {
    trait: words.key(question.trait),
    form: question.form,
    states: byState ? offered.flat().map((k) => member(trait.states, k)) : [],
    ...(question.cut === null ? {} : { more_than: words.cut(question) }),
    question: words.ask(question),
    view: words.view(question.trait),
    effort: twiceRounded(found.effort, 4),
    bits: twiceRounded(found.bits, 4),
  };
}

/**
 * How many variants are still in the running: the fewest that hold 99 % of the belief in what is recorded.
 * @param {Session} session
 * @returns {number}
 */
export function left(session) {
  const shares = session.variants.filter(([ident]) => ident !== NOT_IN_THE_RECORD).map(([, chance]) => chance);
  const enough = IN_THE_RUNNING * shares.reduce((sum, one) => sum + one, 0) - SAME;
  let [total, count] = [0, 0];
  for (const chance of shares) {
    if (total >= enough) {
      break;
    }
    total += chance;
    count += 1;
  }
  return count;
}

/**
 * How many are left and who leads, in one line; as `standing` of `cli/screen.py`.
 * @param {Session} session
 * @param {Words} words
 * @returns {string}
 */
export function standing(session, words) {
  if (!session.belief.plausible) {
    return "Nothing in the record can show all of this; take an answer back.";
  }
  const [ident, chance] = session.variants[0] ?? ["", 0];
  const count = left(session);
  const remain = `${count} ${words.noun}${count === 1 ? "" : "s"} left`;
  if (ident === NOT_IN_THE_RECORD) return `${remain}; likelier, it is not in the record: ${percent(chance)}.`;
  if (count === 1) return `${remain}: ${words.variant(ident)}, ${percent(chance)}.`;
  return `${remain}; ${words.variant(ident)} leads with ${percent(chance)}.`;
}

/**
 * Bits as they are reported.
 * @param {number} found
 */
function bits(found) {
  return twiceRounded(found, 3) + 0;
}

/**
 * A share as it is reported.
 * @param {number} chance
 */
function share(chance) {
  return twiceRounded(Math.min(1, Math.max(0, chance)), 6);
}

/**
 * In two steps: what is just halfway must fall to one side, in whatever order it was summed.
 * @param {number} value
 * @param {number} digits
 */
function twiceRounded(value, digits) {
  return rounded(rounded(value, 12), digits);
}
