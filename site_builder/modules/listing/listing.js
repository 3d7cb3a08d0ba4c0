/** A seller's text, and what its photographs show; see `identify/listing.py`. One structure: the page is made of its report. */

import { at, dot, each, largest, one as member, range, rounded as billionths, take } from "../kernel/matrix.js";
import { report, said } from "../kernel/report.js";
import { rounded } from "../kernel/written.js";
import { Meaning, Reader } from "./listing_evidence.js";
import { hazardsOf, remarks } from "./listing_findings.js";
import { asked } from "./listing_price.js";
import { reportLot } from "./lot.js";
import { impossible } from "./lots_kernel.js";
import { message, ownWords, questions, silent } from "./listing_questions.js";
import { Described } from "./listing_unit.js";
import { unitsIn } from "./listing_units.js";
import { escaped, spaced } from "./strings.js";

/**
 * @typedef {import("../kernel/report.js").Report} Report
 * @typedef {import("../kernel/session.js").Session} Session
 * @typedef {import("./claims.js").Claim} Claim
 * @typedef {import("./listing_findings.js").Remark} Remark
 * @typedef {import("./listing_price.js").PriceReport} PriceReport
 * @typedef {import("./listing_questions.js").Asked} Asked
 * @typedef {import("./listing_questions.js").Silent} Silent
 * @typedef {import("./listing_words.js").Spoken} Spoken
 * @typedef {import("./lot.js").LotReport} LotReport
 *
 * @typedef {object} Listing
 * @property {Spoken} words
 * @property {string} text
 * @property {readonly Claim[]} claims
 * @property {readonly Meaning[]} meanings
 * @property {number[][]} parts the claims about each unit
 * @property {Described[]} units
 * @property {Session} base
 * @property {number | null} shown the unit whose photographs were answered for, from 0; null without answers
 * @property {boolean} plausible whether something in the record can be everything that was seen and said, for each unit
 *
 * @typedef {Claim & {means: string, wrong: number | null, units: number[]}} ClaimReport
 * @typedef {{claim: number, bits: number, doubt: number | null}} WeightReport
 * @typedef {{trait: string, answer: string, bits: number}} PhotographReport
 * @typedef {{kind: Remark["kind"], claims: number[], answers: string[], says: string}} FindingReport
 * @typedef {{about: string, id: string, name: string, view: string | null}} SilentReport
 *
 * @typedef {object} UnitReport
 * @property {number} unit
 * @property {string} name
 * @property {WeightReport[]} claims
 * @property {PhotographReport[]} photographs
 * @property {FindingReport[]} findings
 * @property {SilentReport[]} silent
 * @property {Report | null} identified
 *
 * @typedef {{unit: number, view: string | null, ask: string, bits: number, traits: string[], silent: string[]}} QuestionReport
 *
 * @typedef {object} ListingReport `tellmark/listing/1`; see cli/schemas/listing.json
 * @property {"tellmark/listing/1"} format
 * @property {string} text
 * @property {ClaimReport[]} claims
 * @property {UnitReport[]} units
 * @property {number | null} photographs_of
 * @property {QuestionReport[]} questions
 * @property {string} message
 * @property {PriceReport} price
 * @property {LotReport | null} lot the units as one lot; null where there is one
 */

/** What ends a sentence: a stop before a blank, or an empty line; a line may end anywhere. */
const SENTENCE = /(?<=[.!?])\s+|\n\s*\n/u;
/** Claims of these sorts say which unit it is; a maker alone does not. */
const TELLING = ["number", "marking", "livery", "kind", "family", "set", "batch"];
/** Chances are compared to so many digits. */
const DIGITS = 12;
/** So many units can be looked at as one lot. */
const MOST_IN_A_LOT = 30;

/**
 * What a text's claims mean, with what its photographs show.
 * @param {Spoken} words
 * @param {string} text
 * @param {readonly Claim[]} claims
 * @param {Session} base of the family, or of all, without answers
 * @param {Session | null} seen the same with the answers, and the views of the photographs; null without any
 * @returns {Listing}
 */
export function readListing(words, text, claims, base, seen) {
  const reader = new Reader(words), { characters } = spaced(text);
  const meanings = claims.map((claim) => reader.meaning(claim));
  const parts = unitsIn(characters, base.compiled, meanings);
  const pictured = spokenOfPhotographs(text, claims, words.records.buying.photographs);
  const units = parts.map((mine) => {
    const shown = new Set([...mine.keys()].filter((k) => pictured.has(member(mine, k))));
    return new Described(words, base, mine.map((n) => member(meanings, n)), shown);
  });
  const shown = seen && shownOf(units, seen);
  if (seen && shown !== null) {
    const { meanings: mine, pictured: claimed } = member(units, shown);
    units[shown] = new Described(words, seen, mine, claimed);
  }
  return { words, text, claims, base, meanings, parts, units, shown, plausible: units.every((one) => one.session.belief.plausible) };
}

/**
 * The claims in sentences that speak of photographs, in these words.
 * @param {string} text
 * @param {readonly Claim[]} claims
 * @param {readonly string[]} words
 * @returns {Set<number>}
 */
export function spokenOfPhotographs(text, claims, words) {
  if (!words.length) return new Set();
  const { text: wide } = spaced(text), letter = String.raw`[\p{L}\p{N}_]`;
  const saidOf = new RegExp(`(?<!${letter})(?:${words.map(escaped).join("|")})(?!${letter})`, "iu");
  /** @type {Set<number>} */
  const found = new Set();
  let end = 0;
  for (const sentence of wide.split(SENTENCE)) {
    const begin = wide.indexOf(sentence, end);
    end = begin + sentence.length;
    if (saidOf.test(sentence)) claims.forEach((one, n) => begin <= one.start && one.start < end && found.add(n));
  }
  return found;
}

/**
 * The unit that the answers fit best; the first of several that they fit alike.
 * @param {readonly Described[]} units
 * @param {Session} seen
 * @returns {number}
 */
function shownOf(units, seen) {
  const chance = likelihoodOf(seen);
  const fits = units.map((one) => rounded(dot(one.session.belief.probability, chance), DIGITS));
  return fits.indexOf(Math.max(...fits));
}

/**
 * The chance of a unit's answers for every candidate over that of the likeliest.
 * @param {Session} session
 * @returns {Float64Array}
 */
export function likelihoodOf({ compiled, belief, evidence }) {
  const log = new Float64Array(compiled.candidates);
  const slots = new Set(evidence.map(({ trait }) => member(compiled.traits, trait).slot));
  for (const s of [...slots].sort((a, b) => a - b)) {
    take(member(belief.factor, s), member(compiled.slots, s).row).forEach((factor, c) => (log[c] = at(log, c) + Math.log(factor)));
  }
  const top = largest(log);
  return log.map((one) => (top > -Infinity ? Math.exp(one - top) : 0));
}

/** Whether anything says which unit it is, beside parts; and the family that parts fit. @param {Described} one @returns {boolean} */
export function tells(one) {
  const { slots, traits } = one.compiled;
  const own = one.meanings.some(({ heard }) => heard !== null && !member(slots, member(traits, heard.trait).slot).parts.length);
  const sorts = one.meanings.filter(({ names, sort }) => names && TELLING.includes(sort)).map(({ sort }) => sort);
  return own || one.answers.length > 0 || sorts.some((sort) => sort !== "family") || (sorts.length > 0 && !ofParts(one));
}

/** Whether claims are about parts. @param {Described} one @returns {boolean} */
function ofParts(one) {
  return one.meanings.some(({ claim, counts }) => ["part", "state", "measure"].includes(claim.kind) && counts);
}

/** What to call a unit: what its claims name together. @param {Described} one @returns {string} */
export function nameOf(one) {
  if (tells(one)) return one.words.called(one.agreeing.length ? one.named : one.recorded);
  return ofParts(one) ? "parts" : "a unit that is not named";
}

// The answer as plain values --------------------------------------------------------------------------------------------

/**
 * Claims, units and answers are named by their places, units from 1.
 * @param {Listing} listing
 * @returns {ListingReport}
 */
export function reportListing(listing) {
  const { units, words } = listing;
  const found = units.map((one) => remarks(one, tells(one)));
  const left = units.map((one) => (tells(one) && one.session.belief.plausible ? silent(one) : []));
  const wanted = questionsOf(units, left, found, words.records.buying.questions);
  return {
    format: "tellmark/listing/1",
    text: listing.text,
    claims: listing.claims.map((_, n) => claimReport(listing, n)),
    units: units.map((_, u) => unitReport(listing, u, member(found, u), member(left, u))),
    photographs_of: listing.shown === null ? null : listing.shown + 1,
    questions: wanted.map(([u, one]) => ({ unit: u + 1, ...one, bits: rounded(one.bits, 4) })),
    message: message(units.map((one) => (tells(one) ? ownWords(one) : "")), wanted),
    price: asked(listing.claims),
    lot: lotOf(listing),
  };
}

/**
 * Unit and what to ask of it: the few that promise most for all units together, by unit.
 * @param {readonly Described[]} units
 * @param {readonly Silent[][]} left
 * @param {readonly Remark[][]} found
 * @param {number} most
 * @returns {[number, Asked][]}
 */
function questionsOf(units, left, found, most) {
  const hazards = new Set(units.flatMap((one) => [...hazardsOf(one).keys()]));
  const all = units.flatMap((one, u) => {
    if (!tells(one) && ofParts(one)) return [];
    return questions(one, member(left, u), member(found, u), hazards).map((some) => /** @type {[number, Asked]} */ ([u, some]));
  });
  const bits = (/** @type {number} */ n) => billionths(member(all, n)[1].bits), unit = (/** @type {number} */ n) => member(all, n)[0];
  const kept = range(all.length).sort((a, b) => bits(b) - bits(a) || a - b).slice(0, most);
  return kept.sort((a, b) => unit(a) - unit(b) || bits(b) - bits(a) || a - b).map((n) => member(all, n));
}

/** The units as one lot, where there are several. @param {Listing} listing @returns {LotReport | null} */
function lotOf({ units, plausible, words, base }) {
  if (units.length < 2 || units.length > MOST_IN_A_LOT || !plausible) return null;
  const likelihood = units.map((one) => likelihoodIn(one, base));
  if (likelihood.some(impossible)) return null;
  return reportLot({ words, compiled: base.compiled, names: units.map(nameOf), sessions: units.map(({ session }) => session), likelihood });
}

/**
 * The chance of all that was seen and said of a unit for each candidate, over that of the likeliest.
 * @param {Described} one
 * @param {Session} base
 * @returns {Float64Array}
 */
function likelihoodIn({ session }, base) {
  const { prior } = base.compiled;
  const told = session.compiled.prior.map((weight, c) => (at(prior, c) > 0 ? weight / at(prior, c) : 0));
  const whole = each(likelihoodOf(session), told), top = largest(whole);
  return top > 0 ? whole.map((chance) => chance / top) : whole;
}

/** @param {Listing} listing @param {number} n @returns {ClaimReport} */
function claimReport(listing, n) {
  const claim = member(listing.claims, n), one = member(listing.meanings, n);
  return {
    ...claim,
    means: listing.words.meaning(one),
    wrong: one.counts ? rounded(one.wrong, 6) : null,
    units: listing.parts.flatMap((mine, u) => (mine.includes(n) ? [u + 1] : [])),
  };
}

/** @param {Listing} listing @param {number} u @param {readonly Remark[]} found @param {readonly Silent[]} left @returns {UnitReport} */
function unitReport(listing, u, found, left) {
  const one = member(listing.units, u), mine = member(listing.parts, u), { words } = listing.words;
  const { plausible } = one.session.belief;
  const weighed = mine.flatMap((claim, k) => {
    return one.meaning(k).counts ? [{ claim, bits: rounded(one.bits[k] ?? 0, 3) + 0, doubt: chanceOf(one.doubts[k] ?? null) }] : [];
  });
  return {
    unit: u + 1,
    name: nameOf(one),
    claims: weighed,
    photographs: [...(plausible ? one.answerBits : [])].map(([t, bits]) => ({ trait: words.key(t), answer: said(one.session, words, t), bits: rounded(bits, 3) + 0 })),
    findings: found.map(({ kind, claims, answers, says }) => ({
      kind,
      claims: claims.map((k) => member(mine, k)),
      answers: answers.map((t) => words.key(t)),
      says,
    })),
    silent: left.map(({ about, id, name, view }) => ({ about, id, name, view })),
    identified: plausible && tells(one) ? report(one.session, words) : null,
  };
}

/** @param {number | null} chance @returns {number | null} */
function chanceOf(chance) {
  return chance === null ? null : rounded(Math.min(1, Math.max(0, chance)), 6);
}
