/** What is said of claims beside the arrays and words of a family, as `site_builder/packed_listing.py` packs it. */

/**
 * @typedef {[number, number]} Years first and last, both included
 *
 * @typedef {[string, string, string | null, string | null, number | null, string | null, Years | null]} PackedVariant
 *   name, family, kind, livery, batch, catalog number, when it was made
 * @typedef {[string, string | null, Years | null]} PackedSet name, catalog number, when it was sold
 * @typedef {[string, string | null, string[] | null]} PackedSlot name, slot type, the kinds that have it where not all do
 * @typedef {[string, string, number, number, string]} PackedSpot name, view, how often it is so, what it does to the grade, slot
 * @typedef {[string, string | null, Record<string, string>]} PackedTrait name, question, names of its states
 * @typedef {[string, string[], string | null, string[], number, number, string | null, string | null]} PackedWanted
 *   name, the conditions that speak of it, question, hazards where it is not asked, how often it is not as one hopes, what that
 *   does to the grade, view, the slot a unit must have for it
 *
 * @typedef {object} PackedFamily
 * @property {string} name
 * @property {string | null} maker
 * @property {Years | null} made
 * @property {Record<string, string>} kinds
 * @property {Record<string, PackedSlot>} slots
 * @property {Record<string, string>} asks
 * @property {Record<string, string>} requests how a seller is asked to show each view
 * @property {Record<string, PackedSpot>} damage
 *
 * @typedef {object} Buying
 * @property {Record<string, PackedWanted>} wanted
 * @property {number} foreignPart what a part that does not belong does to the grade
 * @property {string[]} original
 * @property {string[]} repainted
 * @property {string[]} photographs
 * @property {number} questions
 *
 * @typedef {object} Records
 * @property {Record<string, PackedVariant>} variants
 * @property {Record<string, PackedSet>} sets
 * @property {Record<string, string[][]>} seats the variants that sat in each position of a set, the commonest first
 * @property {Record<string, PackedFamily>} families
 * @property {Record<string, [string, Record<string, string>]>} liveries name, and the first state of each trait it shows
 * @property {Record<string, string>} makers
 * @property {Record<string, [string, Record<string, PackedTrait>]>} slotTypes
 * @property {Record<string, [string, Years | null]>} parts
 * @property {Record<string, string>} asks the questions of the traits that all families state
 * @property {Record<string, string>} requests
 * @property {Buying} buying
 * @property {Record<string, [string, string[]]>} hazards caution, and what brings them
 * @property {{wrong: Record<string, number>, hedged: number}} worth
 *
 * @typedef {object} Stated a variant with everything it inherits
 * @property {string} id
 * @property {string} name
 * @property {string} family
 * @property {string | null} kind
 * @property {string | null} livery
 * @property {number | null} batch
 * @property {string | null} number
 * @property {Years | null} made
 *
 * @typedef {import("../kernel/arrays.js").Compiled} Compiled
 */

/** The slots every unit has: its body, and the paint and lettering on it. */
const OWN_SLOTS = ["body", "finish"];

/**
 * What is kept under a name, and nothing that every object has.
 * @template T
 * @param {Record<string, T>} record
 * @param {string | null | undefined} ident
 * @returns {T | undefined}
 */
export function held(record, ident) {
  return ident !== null && ident !== undefined && Object.hasOwn(record, ident) ? record[ident] : undefined;
}

/**
 * A recorded variant; undefined where there is none.
 * @param {Records} records
 * @param {string} id
 * @returns {Stated | undefined}
 */
export function stated(records, id) {
  const found = held(records.variants, id);
  if (!found) return undefined;
  const [name, family, kind, livery, batch, number, made] = found;
  return { id, name, family, kind, livery, batch, number, made };
}

/**
 * Whether units of this kind have the slot; a unit whose kind nobody recorded has every slot of its family.
 * @param {Records} records
 * @param {string} family
 * @param {string} slot
 * @param {string | null} kind
 * @returns {boolean}
 */
export function hasSlot(records, family, slot, kind) {
  const found = held(held(records.families, family)?.slots ?? {}, slot);
  if (!found) return OWN_SLOTS.includes(slot);
  return found[2] === null || kind === null || found[2].includes(kind);
}

/**
 * The question of a trait; null where it has none.
 * @param {Records} records
 * @param {Compiled} compiled
 * @param {number} t
 * @returns {string | null}
 */
export function askOf(records, compiled, t) {
  const trait = compiled.traits[t];
  if (!trait) return null;
  const [slot = "", short] = trait.id.split(".");
  for (const family of trait.family === null ? compiled.families : [trait.family]) {
    const record = held(records.families, family);
    const type = short === undefined ? undefined : held(records.slotTypes, held(record?.slots ?? {}, slot)?.[1]);
    const own = type && held(type[1], short);
    if (own) return own[1];
    const ask = held(record?.asks ?? {}, trait.id) ?? held(records.asks, trait.id);
    if (ask !== undefined) return ask;
  }
  return null;
}
