/** What a seller's text does not say, the few things to ask for, and a message; see `identify/listing_questions.py`. */

import { NOT_IN_THE_RECORD } from "../kernel/arrays.js";
import { at, dot, one as member, range, rounded, take } from "../kernel/matrix.js";
import { entropy } from "../kernel/questions.js";
import { lowerFirst, together } from "../kernel/wording.js";
import { bare } from "./listing_words.js";
import { NewsOfViews } from "./news_of_views.js";
import { askOf, hasSlot, held, stated } from "./records.js";

/**
 * @typedef {import("../kernel/session.js").Proposal} Proposal
 * @typedef {import("./listing_findings.js").Remark} Remark
 * @typedef {import("./listing_unit.js").Described} Described
 *
 * @typedef {object} Silent something that matters and that the text does not speak of
 * @property {"condition" | "damage" | "part"} about
 * @property {string} id of the wanted condition, the damage spot or the slot
 * @property {string} name
 * @property {string | null} view
 * @property {number} costs what it takes off the grade on average: how often it is so, times what it then does
 * @property {number} share how often it is so
 *
 * @typedef {object} Asked one thing to ask for: a photograph of a view, or something to say; its news in bits, and what it tells of
 * @property {string | null} view
 * @property {string} ask
 * @property {number} bits
 * @property {string[]} traits
 * @property {string[]} silent
 */

/** So many views are asked for at most, and so many traits and damage spots are named of each. */
const MOST_VIEWS = 4, MOST_TRAITS = 3, MOST_SPOTS = 2;
/** A view is asked for when it promises so many bits, and a trait of it is named from the second on. */
const WORTH_ASKING = 0.1, WORTH_NAMING = 0.03;
/** So much on the 1 to 10 scale, on average, must hang on a thing for its silence to be said; so many are. */
const MATTERS = 0.15, MOST_SILENT = 6;

// What is not said ------------------------------------------------------------------------------------------------------

/**
 * What matters most and is not spoken of, the most important first.
 * @param {Described} one
 * @returns {Silent[]}
 */
export function silent(one) {
  const found = [...conditions(one), ...spots(one), ...parts(one)].filter(({ costs }) => rounded(costs) >= rounded(MATTERS));
  return found.sort((a, b) => rounded(b.costs) - rounded(a.costs) || (a.id < b.id ? -1 : Number(a.id > b.id))).slice(0, MOST_SILENT);
}

/** @param {Described} one @param {...string} kinds @returns {string[]} */
function saidOf(one, ...kinds) {
  return one.meanings.flatMap(({ claim }) => (kinds.includes(claim.kind) ? claim.says : []));
}

/** @param {Described} one @returns {Silent[]} */
function conditions(one) {
  const told = saidOf(one, "condition", "hedge");
  return Object.entries(one.words.records.buying.wanted).flatMap(([id, [name, saidBy, , , share, grade, view, slot]]) => {
    const open = (slot === null || has(one, slot)) && !saidBy.some((says) => told.includes(says));
    return open ? [{ about: /** @type {const} */ ("condition"), id, name, view, costs: share * Math.abs(grade), share }] : [];
  });
}

/**
 * Damage spots of the leading family on what the unit has, out of the photographs' views, and not spoken of.
 * A plain word ("no cracks") speaks of all spots that are named by it.
 * @param {Described} one
 * @returns {Silent[]}
 */
function spots(one) {
  const { compiled, session } = one, told = saidOf(one, "defect");
  const atHand = (session.views ?? []).map((view) => member(compiled.views, view));
  return Object.entries(held(one.words.records.families, one.family)?.damage ?? {}).flatMap(([id, [name, view, share, grade, slot]]) => {
    const words = id.split("-"), isSaid = told.includes(id) || told.includes("damage") || told.some((word) => words.includes(word));
    if (isSaid || atHand.includes(view) || !has(one, slot)) return [];
    return [{ about: /** @type {const} */ ("damage"), id, name, view, costs: share * Math.abs(grade), share }];
  });
}

/** Slots that are often found changed, that nobody looked at, and that no claim is about. @param {Described} one @returns {Silent[]} */
function parts(one) {
  const { compiled, session } = one, { records } = one.words, types = held(records.families, one.family)?.slots ?? {};
  const looked = new Set(session.evidence.map(({ trait }) => member(compiled.traits, trait).slot));
  const told = saidOf(one, "part", "state").map((says) => says.split("=", 1)[0]?.split(".", 1)[0] ?? "");
  return compiled.slots.flatMap((slot, s) => {
    const [name, type] = held(types, slot.id) ?? [];
    if (name === undefined || !slot.parts.length || looked.has(s) || !has(one, slot.id)) return [];
    if (told.includes(slot.id) || (type && told.includes(type))) return [];
    const share = dot(session.belief.probability, take(slot.swap, slot.row));
    return [{ about: /** @type {const} */ ("part"), id: slot.id, name, view: null, costs: share * Math.abs(records.buying.foreignPart), share }];
  });
}

/**
 * Whether the likeliest unit has a slot; a family's own where the variant is not in the record.
 * @param {Described} one
 * @param {string} slot
 * @returns {boolean}
 */
function has(one, slot) {
  const best = one.session.variants.find(([id]) => id !== NOT_IN_THE_RECORD)?.[0];
  if (one.family === null || best === undefined) return false;
  return hasSlot(one.words.records, one.family, slot, stated(one.words.records, best)?.kind ?? null);
}

// What to ask -----------------------------------------------------------------------------------------------------------

/**
 * What to ask for, the most telling for its effort first; no view that is at hand, and nothing unsafe with these hazards.
 * @param {Described} one
 * @param {readonly Silent[]} leftOut
 * @param {readonly Remark[]} remarks
 * @param {ReadonlySet<string>} hazards
 * @returns {Asked[]}
 */
export function questions(one, leftOut, remarks, hazards) {
  if (!one.session.belief.plausible) return [];
  const { records } = one.words, requests = held(records.families, one.family)?.requests ?? records.requests;
  const found = [...doubtful(one, remarks), ...views(one, leftOut, requests)];
  const told = new Set(found.flatMap((asked) => asked.silent));
  for (const { about, id, view, share } of leftOut) {
    const [, , ask, unless] = (about === "condition" && held(records.buying.wanted, id)) || [];
    if (!told.has(id) && ask && unless && !unless.some((hazard) => hazards.has(hazard))) {
      found.push({ view, ask, bits: entropyOf(share), traits: [], silent: [id] });
    }
  }
  return found;
}

/** The news of something that is so with this chance, in bits. @param {number} share @returns {number} */
function entropyOf(share) {
  return entropy(Float64Array.of(share, 1 - share));
}

/**
 * One more look at what photographs and text do not agree on; the first such thing.
 * @param {Described} one
 * @param {readonly Remark[]} remarks
 * @returns {Asked[]}
 */
function doubtful(one, remarks) {
  const found = remarks.find(({ kind, answers }) => kind === "photographs" && answers.length);
  if (!found) return [];
  const t = member(found.answers, 0), doubts = found.claims.map((n) => one.doubt(n));
  const ask = `Would you look once more, please: ${lowerFirst(question(one, t))}`;
  return [{ view: null, ask, bits: entropyOf(doubts.length ? Math.max(...doubts) : 0.5), traits: [one.words.words.key(t)], silent: [] }];
}

/** What to see of a trait, as one would say it: the gearing of the motor. @param {Described} one @param {number} t @returns {string} */
function thing(one, t) {
  const { words } = one.words, record = words.record(t), slot = words.slotOf(t), where = lowerFirst(words.slot(slot.id));
  const name = record ? (lowerFirst(record.name).split(",", 1)[0] ?? "") : where;
  const plain = !slot.parts.length || record === null || where.split(/\s+/).some((word) => name.split(/\s+/).includes(word));
  return plain ? `the ${name}` : `the ${name} of the ${where}`;
}

/** The plain question for a trait, with its part where several have it. @param {Described} one @param {number} t @returns {string} */
function question(one, t) {
  const { words } = one.words, { traits } = one.compiled, ask = words.record(t) && askOf(one.words.records, one.compiled, t);
  if (!ask) return `${words.trait(t)}: what is there?`;
  const slot = words.slotOf(t), after = (/** @type {string} */ id) => id.split(".").slice(1).join(".");
  const several = slot.parts.length > 0 && traits.filter((other) => after(other.id) === after(member(traits, t).id)).length > 1;
  return several ? `${words.slot(slot.id)}: ${lowerFirst(ask)}` : ask;
}

/**
 * The views worth a photograph, by further news for their effort; with what else is seen there and not spoken of.
 * @param {Described} one
 * @param {readonly Silent[]} leftOut
 * @param {Record<string, string>} requests
 * @returns {Asked[]}
 */
function views(one, leftOut, requests) {
  const { compiled, session } = one;
  const news = new NewsOfViews(compiled, session.belief, new Set([...session.seen, ...session.given.map(({ trait }) => trait)]));
  let open = range(compiled.views.length).filter((v) => held(requests, member(compiled.views, v)) !== undefined && !session.views?.includes(v));
  const { proposals } = session.with({ views: null, target: "all" });
  /** @type {number[]} */
  const chosen = [];
  /** @type {Asked[]} */
  const found = [];
  let before = 0;
  while (open.length && chosen.length < MOST_VIEWS) {
    const gains = open.map((v) => news.of([...chosen, v]) - before);
    const worth = gains.map((gain, i) => rounded(gain / at(compiled.effort, member(open, i))));
    const best = worth.indexOf(Math.max(...worth)), view = member(open, best), gain = member(gains, best);
    if (gain < WORTH_ASKING) break;
    chosen.push(view);
    open = open.filter((v) => v !== view);
    before += gain;
    found.push(viewAsked(one, view, gain, proposals, leftOut, requests));
  }
  return found;
}

/**
 * A photograph of one view: how it is asked for, what to see there, and damage that would show.
 * @param {Described} one
 * @param {number} v
 * @param {number} bits
 * @param {readonly Proposal[]} proposals
 * @param {readonly Silent[]} leftOut
 * @param {Record<string, string>} requests
 * @returns {Asked}
 */
function viewAsked(one, v, bits, proposals, leftOut, requests) {
  const { compiled } = one, view = member(compiled.views, v);
  /** @type {Map<number, number>} */
  const best = new Map();
  for (const proposal of proposals) {
    const t = proposal.question.trait;
    if (member(compiled.traits, t).view === v) best.set(t, Math.max(best.get(t) ?? 0, proposal.bits));
  }
  const worth = [...best].sort((a, b) => rounded(b[1]) - rounded(a[1])).map(([t]) => t);
  const telling = worth.filter((t) => (best.get(t) ?? 0) >= WORTH_NAMING).slice(0, MOST_TRAITS);
  const traits = telling.length ? telling : worth.slice(0, 1);
  const spots = leftOut.filter((some) => some.view === view && some.about === "damage");
  const names = [...new Set(traits.map((t) => thing(one, t)))];
  const see = names.length ? `, sharp enough to show ${together(names)}` : "";
  const damage = together(spots.slice(0, MOST_SPOTS).map(({ name }) => lowerFirst(name)));
  const ask = `${(held(requests, view) ?? "").replace(/\.+$/, "")}${see}.${damage ? ` Is there anything like this: ${damage}?` : ""}`;
  return { view, ask, bits, traits: traits.map((t) => one.words.words.key(t)), silent: spots.map(({ id }) => id) };
}

// The message -----------------------------------------------------------------------------------------------------------

/**
 * A short polite message that asks these of each unit, in plain words; thanks alone where nothing needs to be asked.
 * @param {readonly string[]} names what the seller calls each unit; empty for one that is not named
 * @param {readonly [number, Asked][]} questions the unit, and what to ask of it
 * @returns {string}
 */
export function message(names, questions) {
  const things = [...new Set(names.filter(Boolean))];
  const what = things.length ? `the ${together(things)}` : "what you offer";
  const asked = questions.map(([u, { ask }]) => (names.length > 1 && names[u] ? `Of the ${names[u]}: ${lowerFirst(ask)}` : ask));
  if (!asked.length) return `Hello,\n\nthank you for your clear description of ${what}. I have no questions about it.\n\nKind regards`;
  const lines = asked.length > 1 ? asked.map((ask, n) => `${n + 1}. ${ask}`) : asked;
  const begin = `I am interested in ${what} and would be grateful for ${asked.length > 1 ? "a few things" : "one thing"}:`;
  return ["Hello,", "", begin, "", ...lines, "", "Thank you for your trouble, and kind regards"].join("\n");
}

/**
 * What the seller calls the unit: number, livery and kind in the seller's own words, as far as the text has them.
 * @param {Described} one
 * @returns {string}
 */
export function ownWords(one) {
  /** @type {Map<string, string>} */
  const found = new Map();
  for (const { names, sort, claim } of one.meanings) if (names && !found.has(sort) && !claim.denied) found.set(sort, bare(claim.quote));
  return ["number", "livery", found.has("kind") ? "kind" : "family"].flatMap((sort) => found.get(sort) ?? []).join(" ");
}
