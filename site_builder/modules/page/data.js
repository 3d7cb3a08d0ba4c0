/** What the builder wrote for this page (`identify_pages.py`), loaded by scripts when it is needed: `fetch` fails from a folder. */

import { unpack } from "../kernel/unpack.js";
import { Words } from "../kernel/wording.js";

/**
 * @typedef {[string, string, string | null, number]} ViewRow id, name, how to get to see it, and what sort of view it is: 0 in
 *   a short advertisement, 1 in any photographs, 2 in hand, 3 with more trouble, 4 with power, tools or loosened screws
 *
 * @typedef {object} IdentifyFamily
 * @property {string} id
 * @property {string} name
 * @property {ViewRow[]} views
 * @property {Record<string, string>} types slot type of each slot
 *
 * @typedef {object} IdentifyData what identify-data.js assigns
 * @property {IdentifyFamily[]} families
 * @property {ViewRow[]} views those of all families
 * @property {Record<string, string>} known the names of all views, those that no trait needs among them
 * @property {[string, string][]} cautions each hazard, and what to say of it
 * @property {Record<string, string>} addresses of each kind of record, `*` being the id
 * @property {string | null} report the code host's form, with its places {title} and {body}
 * @property {string} everything the name of the scripts of all families
 *
 * @typedef {object} Place a view drawn
 * @property {string} svg
 * @property {[number, number, number, number]} box
 * @property {Record<string, [number, number, number, number]>} marks where each trait and slot is
 *
 * @typedef {[string, string]} Picture the file, and what distinguishes what it shows
 *
 * @typedef {object} Places
 * @property {Record<string, Place>} views by view, or view/kind
 * @property {Record<string, Record<string, Picture>>} pictures of each trait's states; "" of what is measured or read
 * @property {Record<string, string>} kinds of the variants
 * @property {Record<string, string>} sides the files with the sides of the variants
 *
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 * @typedef {{compiled: Compiled, words: Words}} Known
 */

/** @type {Map<string, Promise<void>>} */
const loading = new Map();
/** @type {Map<string, Known>} */
const unpacked = new Map();

/** What there is. */
export function index() {
  return tellmarkIdentifyData;
}

/**
 * The record of a family, if there is one.
 * @param {string | null} ident
 */
export function familyOf(ident) {
  return index().families.find((family) => family.id === ident);
}

/**
 * The views of a family; of all where null.
 * @param {string | null} family
 */
export function viewsOf(family) {
  return familyOf(family)?.views ?? index().views;
}

/**
 * The address of a record's page.
 * @param {string} kind
 * @param {string} ident
 */
export function pageOf(kind, ident) {
  return (index().addresses[kind] ?? "").replace("*", ident);
}

/**
 * Loads a script once; one that could not be loaded may be tried again.
 * @param {string} src
 * @returns {Promise<void>}
 */
export function script(src) {
  const begun = loading.get(src);
  if (begun) return begun;
  /** @type {Promise<void>} */
  const now = new Promise((done, failed) => {
    const made = document.createElement("script");
    made.src = src;
    made.onload = () => done();
    made.onerror = () => {
      loading.delete(src);
      failed(new CannotLoad(src));
    };
    document.head.append(made);
  });
  loading.set(src, now);
  return now;
}

/** A file of the site is not where it should be. */
export class CannotLoad extends Error {
  /** @param {string} src */
  constructor(src) {
    super(`${src} cannot be loaded`);
    this.src = src;
  }
}

/**
 * The arrays and words of a family; of all families where null.
 * @param {string | null} family
 * @returns {Promise<Known>}
 */
export async function known(family) {
  const key = family ?? index().everything;
  const before = unpacked.get(key);
  if (before) return before;
  await script(`identify/${key}.js`);
  const found = globalThis.tellmarkIdentify?.[key];
  if (!found) throw new CannotLoad(`identify/${key}.js`);
  const compiled = unpack(found.packed);
  const made = { compiled, words: new Words(compiled, found.words) };
  unpacked.set(key, made);
  return made;
}

/**
 * The drawn views of a family, or what is drawn of all.
 * @param {string | null} family
 * @returns {Promise<Places>}
 */
export async function places(family) {
  const key = family ?? index().everything;
  await script(`identify/${key}-places.js`);
  return globalThis.tellmarkIdentifyPlaces?.[key] ?? { views: {}, pictures: {}, kinds: {}, sides: {} };
}

/**
 * The pictures of a trait by state: those of its family, or what is drawn of its slot type, or of any unit.
 * @param {Places} drawn
 * @param {string} trait its id
 * @returns {Record<string, Picture>}
 */
export function picturesOf({ pictures }, trait) {
  const own = pictures[trait];
  if (own) return own;
  const [slot = "", short = ""] = trait.split(".");
  const type = index().families.find((family) => family.types[slot])?.types[slot] ?? "";
  return pictures[`${type}.${short}`] ?? {};
}
