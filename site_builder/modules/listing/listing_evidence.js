/** What a seller's claims say of a unit; see `identify/listing_evidence.py`, where the formulas stand. */

import { Evidence, anyhow, leaning, likelihood, slotFactor } from "../kernel/belief.js";
import { merge } from "../kernel/given.js";
import { at, full, largest, one as member, sum, take, times } from "../kernel/matrix.js";
import { readAnswer } from "../kernel/typed.js";
import { held, stated } from "./records.js";
import { readYears } from "./listing_words.js";

/**
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 * @typedef {import("../kernel/arrays.js").Slot} Slot
 * @typedef {import("../kernel/arrays.js").Trait} Trait
 * @typedef {import("../kernel/given.js").Heard} Heard
 * @typedef {import("../kernel/reading.js").Reading} Reading
 * @typedef {import("./claims.js").Claim} Claim
 * @typedef {import("./listing_words.js").Spoken} Spoken
 * @typedef {import("./records.js").Stated} Stated
 * @typedef {import("./records.js").Years} Years
 *
 * @typedef {object} Named how far each candidate is what a name says, the chance that a wrong one says just this, and its sort
 * @property {Float64Array} fits
 * @property {number} byChance
 * @property {string} sort
 *
 * @typedef {[number, Reading]} Said of which trait, and what
 *
 * @callback Matching what holds of a variant in its set of origin; null where it is not recorded
 * @param {Stated} one
 * @param {string | null} place
 * @returns {number | null}
 */

/** A candidate that shows something less often than this, as issued, never shows it. */
export const POSSIBLE = 0.005;
/** A measured value this many standard deviations off is another value. */
const NEAR = 4;
/** A typed text reads as a marking when it fits it at least so well. */
const READS = 0.05;
/** The kinds of claims that say which unit it is. */
const NAMING = ["number", "year", "name"];
/** Chances closer than this are the same. */
const CLOSE = 1e-12;
/** Nothing is less likely than this. */
const LEAST = 1e-300;

/**
 * What one claim means.
 *
 * wrong: how often such a claim is wrong. fits[c]: how far candidate c, as issued, is or shows what it says; null where it says
 * nothing of that. holds[c], byChance: the chance of the claim from one who is right, and from one who is wrong, where it counts
 * for candidates. heard: what it says of a trait. redone: P(claim | the finish was redone), P(claim | it was not). names: whether
 * it says which unit it is; sort: of names that exclude one another.
 */
export class Meaning {
  /**
   * @param {Claim} claim
   * @param {number} wrong
   * @param {Partial<Pick<Meaning, "fits" | "holds" | "byChance" | "heard" | "redone" | "names" | "sort">>} [more]
   */
  constructor(claim, wrong, more = {}) {
    this.claim = claim;
    this.wrong = wrong;
    /** @type {Float64Array | null} */
    this.fits = more.fits ?? null;
    /** @type {Float64Array | null} */
    this.holds = more.holds ?? null;
    /** @type {number} */
    this.byChance = more.byChance ?? 0;
    /** @type {Heard | null} */
    this.heard = more.heard ?? null;
    /** @type {[number, number] | null} */
    this.redone = more.redone ?? null;
    /** @type {boolean} */
    this.names = more.names ?? false;
    /** @type {string} */
    this.sort = more.sort ?? "";
    /** The chance of the claim given each candidate, where it counts for candidates. */
    this.told = this.holds && this.holds.map((holds) => (1 - wrong) * holds + wrong * this.byChance);
  }

  /** @param {Partial<Meaning>} more @returns {Meaning} */
  with(more) {
    return new Meaning(this.claim, more.wrong ?? this.wrong, { ...this, ...more });
  }

  /**
   * The chance that what is claimed is true given each candidate and the claim, where it counts for candidates.
   * @returns {Float64Array | null}
   */
  get true() {
    const { holds, told, wrong, byChance } = this;
    if (holds === null || told === null) return null;
    return holds.map((one, c) => (at(told, c) > 0 ? Math.min(1, (Math.min(one, 1) * (1 - wrong + wrong * byChance)) / at(told, c)) : 0));
  }

  /** Whether it moves any belief. */
  get counts() {
    return this.holds !== null || this.heard !== null || this.redone !== null;
  }
}

/** Gives claims their meaning for one compiled knowledge base. */
export class Reader {
  /** @param {Spoken} words */
  constructor(words) {
    this.words = words;
    this.records = words.records;
    this.compiled = words.compiled;
    /** @type {Stated[]} */
    this.stated = this.compiled.variants.flatMap((id) => stated(this.records, id) ?? []);
    /** @type {Map<string, Set<string>>} the slot types of each slot */
    this.types = new Map(this.compiled.slots.map((slot) => [slot.id, new Set()]));
    for (const family of Object.values(this.records.families)) {
      for (const [slot, [, type]] of Object.entries(family.slots)) if (type) this.types.get(slot)?.add(type);
    }
  }

  /**
   * How often such a claim is wrong, or a guess that says the same of any unit; sort: of what sort a name is.
   * @param {Claim} claim
   * @param {string} [sort]
   * @returns {number}
   */
  wrong(claim, sort = "") {
    const { wrong, hedged } = this.records.worth;
    const share = held(wrong, sort) ?? held(wrong, claim.kind) ?? 1;
    return claim.hedged ? share + (1 - share) * hedged : share;
  }

  /** @param {Claim} claim @returns {Meaning} */
  meaning(claim) {
    const plain = new Meaning(claim, this.wrong(claim)), { kind, says } = claim;
    if (NAMING.includes(kind)) return this.naming(plain);
    if (kind === "state" || kind === "part" || kind === "measure") return this.ofTraits(plain);
    if (kind === "condition" && says.every((one) => this.records.buying.repainted.includes(one))) return this.redone(plain);
    return plain;
  }

  // Which unit it is ----------------------------------------------------------------------------------------------------

  /**
   * What a number, a year or a name says; a marking, and a livery that is known by one, are read off the finish.
   * @param {Meaning} plain
   * @returns {Meaning}
   */
  naming(plain) {
    const { claim } = plain;
    const known = claim.says.flatMap((says) => this.named(claim.kind, says) ?? []), [first] = known;
    if (!first) return this.unnamed(plain);
    let fits = Float64Array.from(first.fits, (_, c) => Math.max(...known.map((one) => at(one.fits, c))));
    let byChance = Math.min(1, sum(known.map((one) => one.byChance)));
    if (claim.denied) [fits, byChance] = [fits.map((one) => 1 - one), 1 - byChance];
    const { sort } = first, sure = plain.with({ wrong: this.wrong(claim, sort) });
    const marks = sort === "livery" && known.length === 1 ? this.liveryMarks(claim.says[0] ?? "") : [];
    if (marks.length) return this.about(sure, marks).with({ fits, names: true, sort });
    return sure.with({ fits, holds: fits, byChance, names: true, sort });
  }

  /** @param {Meaning} plain @returns {Meaning} */
  unnamed(plain) {
    const marks = plain.claim.says.flatMap((text) => this.markings(text));
    if (!marks.length && plain.claim.kind === "number") return plain.with({ fits: new Float64Array(this.compiled.candidates), names: true, sort: "number" });
    return this.about(plain, marks).with({ names: marks.length > 0, sort: marks.length ? "marking" : "" });
  }

  /** @param {string} kind @param {string} says @returns {Named | null} */
  named(kind, says) {
    if (kind === "year") {
      const years = readYears(says);
      return years && this.years(years);
    }
    if (kind === "number") return this.catalogNumber(says);
    const { records, compiled } = this, { families, liveries, sets, makers } = records;
    const [family = "", ofKind] = says.split("/");
    if (ofKind !== undefined && compiled.families.includes(family)) {
      const kinds = Object.keys(held(families, family)?.kinds ?? {}).length;
      return this.by((one) => (one.kind === null ? null : Number(one.family === family && one.kind === ofKind)), kinds, "kind", { family });
    }
    if (compiled.families.includes(says)) return this.by((one) => Number(one.family === says), compiled.families.length, "family", { family: says });
    if (held(families, says)) return { fits: new Float64Array(compiled.candidates), byChance: 1 / Object.keys(families).length, sort: "family" };
    if (held(liveries, says)) return this.by((one) => known(one.livery, says), Object.keys(liveries).length, "livery", { blank: 0 });
    if (held(sets, says)) return this.by((_, place) => Number(place === says), Object.keys(sets).length, "set");
    if (says.startsWith("batch-")) {
      const batches = new Set(this.stated.flatMap((one) => one.batch ?? []));
      return this.by((one) => (one.batch === null ? null : Number(`batch-${one.batch}` === says)), batches.size, "batch");
    }
    const maker = (/** @type {string} */ of) => held(families, of)?.maker ?? null;
    if (!Object.keys(families).some((one) => maker(one) === says)) return null;
    return this.by((one) => known(maker(one.family), says), Object.keys(makers).length, "maker");
  }

  /**
   * A catalog number of variants or sets, whole or before its last hyphen; null where it is none.
   * @param {string} says
   * @returns {Named | null}
   */
  catalogNumber(says) {
    const { sets } = this.records;
    const numbers = [...this.stated.map((one) => one.number), ...Object.values(sets).map(([, number]) => number)];
    const all = new Set(numbers.flatMap((number) => (number ? forms(number) : [])));
    if (!all.has(says)) return null;
    return this.by((one, place) => {
      const boxed = held(sets, place)?.[1] ?? null;
      if (one.number === null && boxed === null) return null;
      return Number([one.number, boxed].some((number) => number && forms(number).includes(says)));
    }, all.size, "number");
  }

  /**
   * The share of the years in which a unit was made, in its set where it came in one, that lie within these.
   * @param {Years} years
   * @returns {Named}
   */
  years([first, last]) {
    const found = this.by((one, place) => {
      const made = held(this.records.sets, place)?.[2] ?? one.made;
      return made && Math.max(0, Math.min(made[1], last) - Math.max(made[0], first) + 1) / (made[1] - made[0] + 1);
    }, 1, "year");
    const whole = Object.values(this.records.families).flatMap(({ made }) => (made ? [made] : []));
    const spread = whole.length ? Math.max(...whole.map((one) => one[1])) - Math.min(...whole.map((one) => one[0])) + 1 : 1;
    return { ...found, byChance: Math.min(1, (last - first + 1) / spread) };
  }

  /**
   * fits[c] from what holds of a variant in its set; what is not known of one takes the blend of its family.
   * @param {Matching} match
   * @param {number} names how many there are
   * @param {string} sort
   * @param {{family?: string, blank?: number}} [more] family: the one that is named, so that nothing of it is right of a unit of
   *   another; blank: for a family of which it is known of none, where that means that there is no such thing
   * @returns {Named}
   */
  by(match, names, sort, { family, blank } = {}) {
    const { compiled } = this, byVariant = new Map(this.stated.map((one) => [one.id, one]));
    const fits = Float64Array.from(compiled.variant, (v, c) => {
      const one = v >= 0 ? byVariant.get(member(compiled.variants, v)) : undefined;
      return (one && match(one, compiled.sets[at(compiled.setOf, c)] ?? null)) ?? NaN;
    });
    compiled.families.forEach((ident, f) => {
      const mine = [...compiled.family.keys()].filter((c) => at(compiled.family, c) === f);
      const sure = mine.filter((c) => !Number.isNaN(at(fits, c)));
      const weight = sum(sure.map((c) => at(compiled.prior, c)));
      const own = weight > 0 ? sum(sure.map((c) => at(compiled.prior, c) * at(fits, c))) / weight : (blank ?? 1 / Math.max(1, names));
      const blend = family !== undefined && ident !== family ? 0 : own;
      for (const c of mine) if (Number.isNaN(at(fits, c))) fits[c] = blend;
    });
    return { fits, byChance: 1 / Math.max(1, names), sort };
  }

  // Traits and parts ----------------------------------------------------------------------------------------------------

  /** Trait and reading of every marking that reads like this on some unit. @param {string} text @returns {Said[]} */
  markings(text) {
    return this.compiled.traits.flatMap((trait, t) => (trait.worn && trait.states.includes(text) ? [typedAs(t, text)] : []));
  }

  /** Trait and reading of the marking by which a livery is known, such as the railroad's name. @param {string} livery @returns {Said[]} */
  liveryMarks(livery) {
    const shows = held(this.records.liveries, livery)?.[1] ?? {};
    return this.compiled.traits.flatMap((trait, t) => {
      const text = held(shows, trait.id);
      return trait.worn && text !== undefined ? [typedAs(t, text)] : [];
    });
  }

  /** What a state, a part or a measured value says. @param {Meaning} plain @returns {Meaning} */
  ofTraits(plain) {
    /** @type {Map<number, Reading[]>} */
    const byTrait = new Map();
    for (const says of plain.claim.says) {
      for (const [t, reading] of this.said(plain.claim, says)) byTrait.set(t, [...(byTrait.get(t) ?? []), reading]);
    }
    const pairs = [...byTrait].flatMap(([t, readings]) => {
      const reading = either(readings);
      return reading ? [/** @type {Said} */ ([t, reading])] : [];
    });
    return this.about(plain, pairs);
  }

  /** Trait and reading of everything that one meaning may be about. @param {Claim} claim @param {string} says @returns {Said[]} */
  said(claim, says) {
    const cut = says.indexOf("="), key = cut < 0 ? says : says.slice(0, cut), value = cut < 0 ? "" : says.slice(cut + 1);
    return this.compiled.traits.flatMap((trait, t) => {
      const slot = member(this.compiled.slots, trait.slot);
      if (claim.kind === "part") {
        if (trait.id !== slot.id || !this.is(slot, key)) return [];
        const states = cut < 0 ? slot.parts.filter((part) => part !== "none") : [value];
        return states.every((part) => slot.parts.includes(part)) ? [/** @type {Said} */ ([t, { kind: "seen", states }])] : [];
      }
      const mine = trait.id === key || (slot.parts.length && this.is(slot, key.split(".")[0] ?? "") && short(trait.id) === short(key));
      const reading = mine ? this.reading(t, value) : null;
      return reading ? [/** @type {Said} */ ([t, reading])] : [];
    });
  }

  /** Whether a slot, or its type, is called so. @param {Slot} slot @param {string} key @returns {boolean} */
  is(slot, key) {
    return slot.parts.length > 0 && (slot.id === key || (held(this.records.slotTypes, key) !== undefined && this.types.get(slot.id)?.has(key) === true));
  }

  /**
   * A value as a reading of a trait; null where it has no such state or value.
   * @param {number} t
   * @param {string} value
   * @returns {Reading | null}
   */
  reading(t, value) {
    const trait = member(this.compiled.traits, t);
    if (trait.worn) return { kind: "typed", text: value };
    if (trait.states.length) return trait.states.includes(value) ? { kind: "seen", states: [value] } : null;
    if (this.words.words.record(t) === null) return null;
    const found = readAnswer(this.words.words, t, { is: value });
    return "reading" in found ? found.reading : null;
  }

  /**
   * A claim about one trait counts there; one that may be about one of several, for the candidates.
   *
   * What is denied of several is denied of each, which no single number says; it is counted for the candidates as well.
   * @param {Meaning} plain
   * @param {Said[]} said
   * @returns {Meaning}
   */
  about(plain, said) {
    const { compiled } = this, { denied } = plain.claim;
    const found = said.flatMap(([t, reading]) => {
      const meant = denied ? this.denied(t, reading) : reading;
      const one = meant && merge(member(compiled.traits, t), t, [meant]);
      return meant && one ? [{ t, meant, one }] : [];
    });
    const [first] = found;
    if (!first) return plain;
    const pick = (/** @type {Float64Array[]} */ rows) =>
      full(compiled.candidates, 0).map((_, c) => (denied ? Math.min : Math.max)(...rows.map((row) => at(row, c))));
    const fits = pick(found.map(({ t, one }) => asIssued(compiled, t, one)));
    if (found.length === 1) return plain.with({ fits, heard: { trait: first.t, reading: first.meant, wrong: plain.wrong } });
    const holds = pick(found.map(({ t, one }) => {
      const trait = member(compiled.traits, t), slot = member(compiled.slots, trait.slot);
      return take(slotFactor(slot, likelihood(trait, one)), slot.row);
    }));
    return plain.with({ fits, holds, byChance: Math.max(...found.map(({ t, one }) => anyhow(member(compiled.traits, t), one))) });
  }

  /**
   * The opposite; null for a value, whose opposite says next to nothing.
   * @param {number} t
   * @param {Reading} reading
   * @returns {Reading | null}
   */
  denied(t, reading) {
    const { states } = member(this.compiled.traits, t);
    const gone = reading.kind === "typed" ? [reading.text] : reading.kind === "seen" ? reading.states : null;
    return gone && { kind: "seen", states: states.filter((state) => !gone.includes(state)) };
  }

  /**
   * Repainted, or not, by someone who is wrong so often; a wrong claim is as likely either way.
   * @param {Meaning} plain
   * @returns {Meaning}
   */
  redone(plain) {
    const right = 1 - plain.wrong / 2, other = plain.wrong / 2;
    return plain.with({ redone: plain.claim.denied ? [other, right] : [right, other] });
  }
}

/** 1 or 0, null where what it is about is not recorded. @param {string | null} value @param {string} wanted @returns {number | null} */
function known(value, wanted) {
  return value === null ? null : Number(value === wanted);
}

/** How a catalog number may be said: whole, or before its last hyphen. @param {string} number @returns {string[]} */
function forms(number) {
  return [number, number.slice(0, Math.max(0, number.lastIndexOf("-")))].filter(Boolean);
}

/** @param {string} key @returns {string} */
function short(key) {
  return key.slice(key.indexOf(".") + 1) || key;
}

/** @param {number} t @param {string} text @returns {Said} */
function typedAs(t, text) {
  return [t, { kind: "typed", text }];
}

/** One reading of several that say "or". @param {Reading[]} readings @returns {Reading | null} */
function either(readings) {
  const [first = null] = readings;
  if (readings.length === 1) return first;
  const seen = readings.flatMap((one) => (one.kind === "seen" ? [one.states] : []));
  return seen.length === readings.length ? { kind: "seen", states: [...new Set(seen.flat())] } : null;
}

/**
 * How far each candidate as it left the factory shows what is said of a trait, without mistakes: 0 to 1.
 * @param {Compiled} compiled
 * @param {number} t
 * @param {Evidence} one
 * @returns {Float64Array}
 */
export function asIssued(compiled, t, one) {
  const trait = member(compiled.traits, t), slot = member(compiled.slots, trait.slot), rows = shown(trait, one);
  return take(slot.parts.length ? times(slot.issued, rows) : rows, slot.row);
}

/**
 * How far each row or part shows what is said of a trait: 0 to 1.
 * @param {Trait} trait
 * @param {Evidence} one
 * @returns {Float64Array}
 */
export function shown(trait, one) {
  if (one.weights !== null && !trait.measured) {
    const named = one.weights.map((weight) => Number(one.typed ? weight >= READS : weight > 0));
    return times(trait.truth, named).map((share) => Math.min(1, share));
  }
  return trait.applies.map((applies, i) => {
    const there = applies >= 0.5;
    if (one.gone) return Number(!there);
    if (one.value === null) return Number(there);
    const [value, spread] = one.value;
    return Number(there && !(Math.abs(at(trait.mean, i) - value) > NEAR * Math.hypot(at(trait.sd, i), spread)));
  });
}

/**
 * Whether another claim that names the unit says more, and the n-th in it; of two that say the same, the later follows.
 * @param {number} n
 * @param {readonly Meaning[]} meanings
 * @returns {boolean}
 */
export function follows(n, meanings) {
  const mine = member(meanings, n);
  if (!mine.names || mine.told === null || mine.fits === null) return false;
  const { fits } = mine;
  return meanings.some((other, m) => {
    if (m === n || !other.names || other.told === null || other.fits === null || other.wrong > mine.wrong) return false;
    const theirs = other.fits;
    const inside = theirs.every((one, c) => one <= at(fits, c) + CLOSE);
    const same = inside && fits.every((one, c) => one <= at(theirs, c) + CLOSE);
    return inside && (!same || m < n);
  });
}

/**
 * The knowledge base with what was claimed of the whole unit in its prior, and what was claimed of traits.
 * @param {Compiled} compiled
 * @param {readonly Meaning[]} meanings
 * @param {string} finish the slot that a repaint redoes
 * @returns {{compiled: Compiled, heard: Heard[]}}
 */
export function counted(compiled, meanings, finish) {
  const told = meanings.flatMap((one, n) => (one.told !== null && !follows(n, meanings) ? [one.told] : []));
  if (told.length) {
    const logs = full(compiled.candidates, 0).map((_, c) => told.reduce((log, row) => log + Math.log(Math.max(at(row, c), LEAST)), 0));
    const top = largest(logs);
    compiled = leaning(compiled, logs.map((log) => Math.exp(log - top)));
  }
  for (const { redone } of meanings) if (redone !== null) compiled = repainted(compiled, finish, ...redone);
  return { compiled, heard: meanings.flatMap(({ heard }) => heard ?? []) };
}

/**
 * With a claim about whether a slot was changed counted into its swaps, and into the prior where those differ.
 * @param {Compiled} compiled
 * @param {string} finish
 * @param {number} ifRedone
 * @param {number} ifNot
 * @returns {Compiled}
 */
function repainted(compiled, finish, ifRedone, ifNot) {
  const slot = compiled.slots.find(({ id }) => id === finish);
  if (!slot) return compiled;
  const whole = slot.swap.map((swap) => swap * ifRedone + (1 - swap) * ifNot);
  const swap = slot.swap.map((one, u) => (at(whole, u) > 0 ? (one * ifRedone) / at(whole, u) : one));
  const slots = compiled.slots.map((one) => (one === slot ? { ...slot, swap } : one));
  return leaning({ ...compiled, slots }, take(whole, slot.row));
}
