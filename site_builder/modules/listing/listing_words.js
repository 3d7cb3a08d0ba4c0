/** What a claim says, in words; and what several candidates are called that have something in common. */

import { label } from "../kernel/arrays.js";
import { span, spoken } from "../kernel/history.js";
import { lowerFirst } from "../kernel/wording.js";
import { held, stated } from "./records.js";

/**
 * @typedef {import("../kernel/wording.js").Words} Words
 * @typedef {import("./claims.js").Claim} Claim
 * @typedef {import("./listing_evidence.js").Meaning} Meaning
 * @typedef {import("./records.js").Records} Records
 * @typedef {import("./records.js").Stated} Stated
 * @typedef {import("./records.js").Years} Years
 */

const ORDINALS = ["", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth"];

/** The words of a family, or of all, with the records that claims speak of. */
export class Spoken {
  /**
   * @param {Words} words
   * @param {Records} records
   */
  constructor(words, records) {
    this.words = words;
    this.records = records;
    this.compiled = words.compiled;
  }

  /**
   * The recorded variants among some candidates, each once, in their order.
   * @param {Uint8Array} candidates 1 for each that is meant
   * @returns {Stated[]}
   */
  variants(candidates) {
    const labels = new Set([...candidates].flatMap((mine, c) => (mine ? [label(this.compiled, c)] : [])));
    return [...labels].flatMap((id) => stated(this.records, id) ?? []);
  }

  /**
   * What a claim says in the words of the record.
   * @param {Meaning} one
   * @returns {string}
   */
  meaning(one) {
    const found = [...new Set(one.claim.says.map((says) => this.says(one, says)))].join(" or ");
    return one.claim.denied ? `not ${lowerFirst(found)}` : found;
  }

  /** @param {Meaning} one @param {string} says @returns {string} */
  says(one, says) {
    const { kind } = one.claim;
    if (kind === "year") {
      const years = readYears(says);
      return years ? spoken(years) : says;
    }
    if (kind === "name") return this.name(says);
    if (kind === "state" || kind === "measure" || kind === "part") return this.ofTrait(one, says);
    if (kind === "defect") return this.spot(says);
    return kind === "condition" || kind === "shipping" || kind === "hedge" ? says.replaceAll("-", " ") : says;
  }

  /**
   * The name of a livery, a maker, a family, a kind, a set or a batch.
   * @param {string} ident
   * @returns {string}
   */
  name(ident) {
    const { liveries, families, makers, sets } = this.records;
    const [family = "", kind] = ident.split("/");
    const ofKind = kind && held(held(families, family)?.kinds ?? {}, kind);
    if (ofKind) return ofKind;
    const known = held(liveries, ident)?.[0] ?? held(families, ident)?.name ?? held(makers, ident) ?? held(sets, ident)?.[0];
    if (known !== undefined) return known;
    return ident.startsWith("batch-") ? batch(Number(ident.slice("batch-".length))) : ident;
  }

  /**
   * A state, a value or a part; of a slot type where it may be about several slots.
   * @param {Meaning} one
   * @param {string} says
   * @returns {string}
   */
  ofTrait(one, says) {
    const { slotTypes } = this.records, { words } = this;
    const cut = says.indexOf("="), key = cut < 0 ? says : says.slice(0, cut), value = cut < 0 ? "" : says.slice(cut + 1);
    if (one.claim.kind === "part") {
      const where = held(slotTypes, key)?.[0] ?? words.slot(key);
      return cut < 0 ? where : `${where}: ${this.part(value)}`;
    }
    const t = this.compiled.traits.findIndex((trait) => trait.id === key);
    if (t >= 0) return `${words.trait(t)}: ${words.state(t, value)}`;
    const dot = key.indexOf("."), type = held(slotTypes, dot < 0 ? key : key.slice(0, dot));
    const record = type && held(type[1], dot < 0 ? "" : key.slice(dot + 1));
    return type && record ? `${type[0]}: ${lowerFirst(record[0])}: ${held(record[2], value) ?? value}` : says;
  }

  /** The name of a part. @param {string} part @returns {string} */
  part(part) {
    return held(this.records.parts, part)?.[0] ?? this.words.part(part);
  }

  /** When a part was made; null where it is not recorded, or there is none. @param {string} part @returns {Years | null} */
  yearsOfPart(part) {
    return held(this.records.parts, part)?.[1] ?? null;
  }

  /**
   * The name of a part inside a sentence; one that begins with the name of its maker keeps its capital.
   * @param {string} part
   * @returns {string}
   */
  partName(part) {
    const name = this.part(part), first = (/** @type {string} */ text) => text.split(/\s+/)[0];
    return Object.values(this.records.makers).some((maker) => first(maker) === first(name)) ? name : lowerFirst(name);
  }

  /** The name of a damage spot of any family; else the plain word. @param {string} says @returns {string} */
  spot(says) {
    for (const family of Object.values(this.records.families)) {
      const spot = held(family.damage, says);
      if (spot) return spot[0];
    }
    return says.replaceAll("-", " ");
  }

  /**
   * What these candidates have in common, as the names of variants put it: number, livery, kind and batch; else the family.
   * @param {Uint8Array} candidates
   * @returns {string}
   */
  called(candidates) {
    const known = this.variants(candidates), [first] = known;
    if (!first) return "unit";
    return known.length === 1 ? first.name : this.common(known);
  }

  /** @param {Stated[]} known @returns {string} */
  common(known) {
    const { liveries, families } = this.records;
    const number = only(known.map((one) => shortNumber(one.number)));
    const livery = held(liveries, only(known.map((one) => one.livery)))?.[0], kind = only(known.map((one) => one.kind));
    const family = held(families, only(known.map((one) => one.family))), ofBatch = only(known.map((one) => one.batch));
    const first = [...(number ? [number] : []), ...(livery === undefined ? [] : [livery])].join(" ");
    const ofKind = family && kind ? [lowerFirst(held(family.kinds, kind) ?? kind)] : [];
    return [first || (family?.name ?? "unit"), ...ofKind, ...(ofBatch === null ? [] : [batch(ofBatch)])].join(", ");
  }

  /**
   * From the first to the last year of these candidates; null where it is not recorded of one.
   * @param {Uint8Array} candidates
   * @returns {Years | null}
   */
  made(candidates) {
    const found = span(this.variants(candidates).map((one) => one.made));
    return found && [found[0], found[1]];
  }
}

/** The seller's own words. @param {Claim} claim @returns {string} */
export function quoted(claim) {
  return `"${bare(claim.quote)}"`;
}

/** With single blanks, and none around it. @param {string} text @returns {string} */
export function bare(text) {
  return text.split(/\s+/).filter(Boolean).join(" ");
}

/** The words for a batch. @param {number} number @returns {string} */
function batch(number) {
  return `${ORDINALS[number] ?? `${number}th`} batch`;
}

/** Years as a claim has them; null where they are none. @param {string} says @returns {Years | null} */
export function readYears(says) {
  const [, first, last] = /^\s*(\d{4})(?:\s*\.\.\s*(\d{4}))?\s*$/.exec(says) ?? [];
  return first === undefined ? null : [Number(first), Number(last ?? first)];
}

/** A catalog number before its last hyphen, where figures stand there. @param {string | null} number @returns {string | null} */
function shortNumber(number) {
  const before = (number ?? "").slice(0, Math.max(0, (number ?? "").lastIndexOf("-")));
  return /\d/.test(before) ? before : number;
}

/** The one value there is. @template T @param {T[]} values @returns {T | null} */
function only(values) {
  const [first = null, ...more] = new Set(values);
  return more.length ? null : first;
}
