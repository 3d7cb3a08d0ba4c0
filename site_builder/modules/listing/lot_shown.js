/** The units of a listing as one lot, as elements, in the words of the command (`cli/lot.py`). */

import { confidence, percent, together } from "../kernel/wording.js";
import { pageOf } from "../page/data.js";
import { element, link } from "../page/dom.js";
import { LEVELS } from "../page/identified.js";
import { held } from "./records.js";

/**
 * @typedef {import("../page/dom.js").Inside} Inside
 * @typedef {import("./listing_words.js").Spoken} Spoken
 * @typedef {import("./lot.js").Exchange} Exchange
 * @typedef {import("./lot.js").Explanation} Explanation
 * @typedef {import("./lot.js").LotReport} LotReport
 * @typedef {import("./lot.js").SetOfLot} SetOfLot
 *
 * @typedef {(title: string, id: string, inside: Inside[]) => HTMLElement} Section
 */

/** As in `cli/lot.py`, which says what each is for. */
const WORTH_SHOWING = 0.02, LIKELY_SET = 0.2, LEADS = 0.4, SURE = 0.95;

/**
 * The sections about the lot.
 * @param {Spoken} words
 * @param {LotReport} lot
 * @param {Section} section
 * @returns {HTMLElement[]}
 */
export function lotShown(words, lot, section) {
  const [first, ...others] = lot.explanations;
  if (!first) return [];
  const level = confidence(lot.explanations.map(({ probability }) => probability), words.compiled.settled);
  const sets = first.sets.length ? first.sets.map((one) => setShown(words, lot, one)) : [element("p", {}, "No two of these units make up a set.")];
  const sure = element("p", {}, `${lot.exact ? "" : "at most "}${percent(first.probability)} that all of this is so`);
  const likely = others.filter(({ probability }) => probability >= WORTH_SHOWING);
  const named = (/** @type {string[]} */ ids) => ids.map((id) => words.words.variant(id)).join(" or ");
  const missing = first.sets.flatMap((one) => one.missing.map(({ position, variants }) => `Position ${position} of ${one.name}: ${named(variants)}`));
  return [
    section(`The units together: ${LEVELS[level] ?? level}`, "lot", [sure, ...sets]),
    ...listed("Strays", "lot-strays", strays(words, lot, first.strays), section),
    ...listed("Missing", "lot-missing", missing, section),
    ...listed("Exchange between them", "lot-exchanges", lot.exchanges.map((one) => exchange(words, one)), section),
    ...listed("Or else", "lot-others", likely.map((one) => `${percent(one.probability)}: ${inShort(one)}`), section),
  ];
}

/** @param {string} title @param {string} id @param {Inside[]} rows @param {Section} section @returns {HTMLElement[]} */
function listed(title, id, rows, section) {
  return rows.length ? [section(title, id, [element("ul", { class: "said" }, ...rows.map((row) => element("li", {}, row)))])] : [];
}

/** @param {LotReport} lot @param {number} unit @returns {string} */
function called(lot, unit) {
  const name = lot.units[unit - 1]?.name;
  return name ? `unit ${unit} (${name})` : `unit ${unit}`;
}

/** @param {Spoken} words @param {LotReport} lot @param {SetOfLot} one @returns {HTMLElement} */
function setShown(words, lot, one) {
  const numbers = together(one.units.map(({ unit }) => unit).sort((a, b) => a - b).map(String));
  const rows = one.units.map(({ unit, position, variant, probability }) => {
    const doubt = probability >= SURE ? "" : `, its place ${percent(probability)}`;
    return element("li", {}, `Position ${position}: ${called(lot, unit)}: ${words.words.variant(variant)}${doubt}`);
  });
  const said = element("p", {}, `Units ${numbers} are of one set: `, link(pageOf("set", one.set), one.name), ` (${percent(one.probability)}).`);
  return element("div", {}, said, element("ul", { class: "said" }, ...rows));
}

/** @param {Spoken} words @param {LotReport} lot @param {readonly number[]} units @returns {string[]} */
function strays(words, lot, units) {
  return units.map((unit) => {
    const one = lot.units[unit - 1], best = one?.variants[0], name = called(lot, unit), origin = one?.sets[0];
    if (!one || !best) return name;
    const leads = best.probability >= LEADS, alike = one.cannot_be_told_apart.map((id) => words.words.variant(id));
    const known = leads && origin?.id && origin.probability >= LIKELY_SET ? (held(words.records.sets, origin.id)?.[0] ?? origin.id) : null;
    const set = known ? `; perhaps of ${known} (${percent(origin?.probability ?? 0)}), of which nothing else is here` : "";
    const apart = alike.length ? `; nothing recorded tells apart: ${together(alike)}` : "";
    return `${name.slice(0, 1).toUpperCase()}${name.slice(1)}: ${leads ? "" : "open; first, "}${best.name} (${percent(best.probability)})${apart}${set}`;
  });
}

/** @param {Spoken} words @param {Exchange} one @returns {string} */
function exchange({ words }, one) {
  const there = one.between.map((unit, i) => `the ${words.slot(one.slots[i] ?? "").toLowerCase()} of unit ${unit} (${words.part(one.parts[i] ?? "")})`);
  const text = there.length === 2 ? together(there) : `in a ring, each from the next, ${together(there)}`;
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}: ${percent(one.chance)} that this puts all of them right.`;
}

/** An explanation in one sentence. @param {Explanation} one @returns {string} */
function inShort(one) {
  const sets = one.sets.map((some) => `${together(some.units.map(({ unit }) => String(unit)))} are of ${some.name}`);
  const alone = one.strays.length ? [`${together(one.strays.map(String))} ${one.strays.length === 1 ? "is a stray" : "are strays"}`] : [];
  return [...sets, ...alone].join("; ");
}
