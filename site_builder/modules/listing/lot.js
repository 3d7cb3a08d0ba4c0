/**
 * Several units at once: which sets they make up, which are strays, what is missing, what they hold of each other; see `identify/lot.py`.
 */

import { label } from "../kernel/arrays.js";
import { rowWeights, swapped } from "../kernel/belief.js";
import { at, each, largest, matrix, one as member, range, rounded as billionths, rowOf, sum, weighted } from "../kernel/matrix.js";
import { Session } from "../kernel/session.js";
import { general, inOrder, rounded, sorted } from "../kernel/written.js";
import { candidatesGiven, describeLot, exchanges, explainLot, groupKey, seatShares, seated } from "./lots_kernel.js";
import { held } from "./records.js";

/**
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 * @typedef {import("./listing_words.js").Spoken} Spoken
 * @typedef {import("./lots_kernel.js").Explained} Explained
 * @typedef {import("./lots_kernel.js").Group} Group
 * @typedef {import("./lots_kernel.js").Lot} Lot
 * @typedef {import("./lots_kernel.js").Solved} Solved
 *
 * @typedef {object} Units the units of a lot as they were described, and what that says of all candidates
 * @property {Spoken} words
 * @property {Compiled} compiled
 * @property {readonly string[]} names
 * @property {readonly Session[]} sessions
 * @property {readonly Float64Array[]} likelihood likelihood[u][c], the largest of a unit being 1
 *
 * @typedef {{id: string, name: string, probability: number}} VariantReport
 * @typedef {{id: string | null, probability: number}} SetShare
 * @typedef {{unit: number, name: string, variants: VariantReport[], sets: SetShare[], cannot_be_told_apart: string[], stray: boolean}} UnitOfLot
 * @typedef {{unit: number, position: number, variant: string, probability: number}} Seated
 * @typedef {{set: string, name: string, probability: number, units: Seated[], missing: {position: number, variants: string[]}[]}} SetOfLot
 * @typedef {{probability: number, sets: SetOfLot[], strays: number[]}} Explanation
 * @typedef {{slot: string, between: number[], slots: string[], parts: string[], chance: number}} Exchange
 * @typedef {{format: "tellmark/lot/1", units: UnitOfLot[], explanations: Explanation[], exchanges: Exchange[], exact: boolean}} LotReport
 *
 * @typedef {object} Place a slot of a unit that was looked at
 * @property {number} unit
 * @property {number} slot
 * @property {string} type
 * @property {Map<string, number>} now the chance of each part there now, if it was changed
 * @property {Map<string, number>} issued and as issued
 * @property {number} changed the chance that it was changed
 */

/** So many variants, and sets, are listed for a unit; nothing less likely than this. */
const MOST_LISTED = 3, LISTED = 1e-4;
/** An exchange is named from this chance on. */
const WORTH_NAMING = 0.2;

/**
 * `tellmark/lot/1`; see cli/schemas/lot.json. No unit may be impossible.
 * @param {Units} units
 * @returns {LotReport}
 */
export function reportLot(units) {
  const { compiled, likelihood, words } = units;
  const sizes = words.words.packed.sets.map(({ positions }) => positions.length);
  const lot = describeLot(compiled, likelihood, sizes), solved = explainLot(lot), bestOne = member(solved.explanations, 0);
  const given = candidatesGiven(lot, compiled, likelihood, solved.used.values()), { twins } = new Session(compiled);
  const sure = candidatesGiven(lot, compiled, likelihood, bestOne.groups.map((group) => /** @type {[Group, number]} */ ([group, 1])));
  const boxed = boxedIn(bestOne);
  return {
    format: "tellmark/lot/1",
    units: units.names.map((_, u) => unitOf(units, u, member(given, u), twins, !boxed.has(u))),
    explanations: solved.explanations.map((one) => explained(units, lot, solved, one)),
    exchanges: exchangesOf(units, sure),
    exact: solved.exact,
  };
}

/** @param {Explained} one @returns {Set<number>} */
function boxedIn({ groups }) {
  return new Set(groups.flatMap(({ units }) => units));
}

/**
 * @param {Units} units
 * @param {number} u
 * @param {Float64Array} shares
 * @param {Map<string, string[]>} twins
 * @param {boolean} stray
 * @returns {UnitOfLot}
 */
function unitOf({ compiled, words, names }, u, shares, twins, stray) {
  /** @type {Map<string, number>} */
  const variants = new Map();
  /** @type {Map<string | null, number>} */
  const origins = new Map();
  shares.forEach((share, c) => {
    if (!(share > 0)) return;
    const name = label(compiled, c), origin = compiled.sets[at(compiled.setOf, c)] ?? null;
    variants.set(name, (variants.get(name) ?? 0) + share);
    origins.set(origin, (origins.get(origin) ?? 0) + share);
  });
  const listed = best(variants), alike = twins.get(listed[0]?.[0] ?? "") ?? [];
  return {
    unit: u + 1,
    name: member(names, u),
    variants: listed.map(([id, probability]) => ({ id, name: words.words.variant(id), probability })),
    sets: best(origins).map(([id, probability]) => ({ id, probability })),
    cannot_be_told_apart: alike.length > 1 ? alike : [],
    stray,
  };
}

/** @template {string | null} Key @param {Map<Key, number>} shares @returns {[Key, number][]} */
function best(shares) {
  const ordered = [...shares].sort((a, b) => billionths(b[1]) - billionths(a[1]) || inOrder(a[0] ?? "None", b[0] ?? "None")).slice(0, MOST_LISTED);
  return ordered.filter(([, chance], n) => n === 0 || rounded(Math.min(1, chance), 12) >= LISTED).map(([key, chance]) => [key, rounded(Math.min(1, chance), 6)]);
}

/** A probability to six digits, and so never 0 when it is not. @param {number} chance @returns {number} */
function digits(chance) {
  return Number(general(Math.min(1, chance)));
}

/** @param {Units} units @param {Lot} lot @param {Solved} solved @param {Explained} one @returns {Explanation} */
function explained(units, lot, solved, one) {
  const boxed = boxedIn(one);
  return {
    probability: digits(one.probability),
    sets: one.groups.map((group) => setOf(units, lot, solved, group)),
    strays: range(units.names.length).filter((u) => !boxed.has(u)).map((u) => u + 1),
  };
}

/** @param {Units} units @param {Lot} lot @param {Solved} solved @param {Group} group @returns {SetOfLot} */
function setOf({ compiled, likelihood, words }, lot, solved, group) {
  const boxed = member(lot.sets, group.boxed), id = member(compiled.sets, boxed.set);
  const places = seated(boxed, group.units), sure = seatShares(boxed, group.units);
  const there = group.units.map((u, i) => {
    const p = at(places, i), { candidates, shares } = member(boxed.seats, p);
    const fits = Float64Array.from(candidates, (c, n) => at(member(likelihood, u), c) * at(shares, n));
    return { unit: u + 1, position: p + 1, variant: label(compiled, at(candidates, fits.indexOf(largest(fits)))), probability: rounded(at(member(sure, i), p), 6) };
  });
  return {
    set: id,
    name: held(words.records.sets, id)?.[0] ?? id,
    probability: digits(solved.used.get(groupKey(group))?.[1] ?? 0),
    units: there.sort((a, b) => a.position - b.position),
    missing: range(boxed.seats.length).filter((p) => !places.includes(p)).map((p) => ({ position: p + 1, variants: held(words.records.seats, id)?.[p] ?? [] })),
  };
}

// Exchanges -------------------------------------------------------------------------------------------------------------

/**
 * The parts that units of the lot hold of one another, by slot type, if the best explanation is true.
 * @param {Units} units
 * @param {readonly Float64Array[]} sure
 * @returns {Exchange[]}
 */
function exchangesOf(units, sure) {
  const places = range(units.sessions.length).flatMap((u) => placesOf(units, u, member(sure, u)));
  const found = sorted(new Set(places.map(({ type }) => type))).flatMap((kind) => {
    const mine = places.filter(({ type }) => type === kind);
    const belongs = mine.map((here) => Float64Array.from(mine, (there) => match(there.now, here.issued)));
    return exchanges(belongs, mine.map(({ changed }) => changed)).flatMap(({ ring, chance }) => {
      const parts = ring.map((i) => member(mine, i));
      return chance >= WORTH_NAMING && new Set(parts.map(({ unit }) => unit)).size > 1 ? [exchangeOf(units, kind, parts, chance)] : [];
    });
  });
  return found.sort((a, b) => b.chance - a.chance);
}

/** @param {Units} units @param {number} u @param {Float64Array} shares @returns {Place[]} */
function placesOf({ compiled, words, sessions }, u, shares) {
  const session = member(sessions, u), families = compiled.families.map(() => 0);
  shares.forEach((share, c) => (families[at(compiled.family, c)] = at(families, at(compiled.family, c)) + share));
  const slots = held(words.records.families, compiled.families[families.indexOf(Math.max(...families))])?.slots ?? {};
  const looked = new Set(session.evidence.map(({ trait }) => member(compiled.traits, trait).slot));
  return [...looked].sort((a, b) => a - b).flatMap((s) => {
    const slot = member(session.compiled.slots, s), type = held(slots, slot.id)?.[1];
    if (!type) return [];
    const seen = member(session.belief.evidence, s), changed = each(rowWeights(slot, shares), swapped(slot, seen, member(session.belief.factor, s)));
    const total = sum(changed);
    if (total <= 0) return [];
    const later = matrix(slot.replaced.rows, slot.replaced.columns, slot.replaced.data.slice());
    for (let i = 0; i < later.rows; i++) {
      const row = rowOf(later, i);
      row.forEach((one, r) => (row[r] = one * at(seen, r)));
      const whole = sum(row);
      row.forEach((one, r) => (row[r] = one > 0 ? one / whole : 0));
    }
    const [now, issued] = [later, slot.issued].map((table) => namedParts(slot.parts, weighted(changed, table).map((one) => one / total)));
    return now && issued ? [{ unit: u, slot: s, type, now, issued, changed: Math.min(1, total) }] : [];
  });
}

/**
 * The chance of every recorded part; an empty slot and an unrecorded part have nothing to exchange.
 * @param {readonly string[]} parts
 * @param {Float64Array} chances
 * @returns {Map<string, number>}
 */
function namedParts(parts, chances) {
  const all = parts.map((part, r) => /** @type {[string, number]} */ ([part, at(chances, r)]));
  return new Map(all.filter(([part, chance]) => chance > 0 && part !== "none" && part !== "unlisted"));
}

/** @param {Map<string, number>} now @param {Map<string, number>} issued @returns {number} */
function match(now, issued) {
  return [...now].reduce((all, [part, chance]) => all + chance * (issued.get(part) ?? 0), 0);
}

/**
 * Each place of the ring gets the part of the one behind it, the last that of the first.
 * @param {Units} units
 * @param {string} slot
 * @param {readonly Place[]} ring
 * @param {number} chance
 * @returns {Exchange}
 */
function exchangeOf({ compiled }, slot, ring, chance) {
  const wanted = ring.map((to, i) => {
    const from = member(ring, (i + 1) % ring.length), worth = (/** @type {string} */ part) => (from.now.get(part) ?? 0) * (to.issued.get(part) ?? 0);
    return [...from.now.keys()].reduce((one, other) => (worth(other) > worth(one) ? other : one));
  });
  return {
    slot,
    between: ring.map(({ unit }) => unit + 1),
    slots: ring.map((one) => member(compiled.slots, one.slot).id),
    parts: [...wanted.slice(-1), ...wanted.slice(0, -1)],
    chance: rounded(chance, 6),
  };
}
