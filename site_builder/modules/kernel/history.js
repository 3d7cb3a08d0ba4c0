/**
 * A unit's history in words: from what years its parts are, what was changed since, and what left the factory with it. As
 * `identify/history.py`.
 *
 * Everything said here is in the report already; this makes sentences of it.
 */

import { lowerFirst, percent, together } from "./wording.js";
import { sorted } from "./written.js";

/**
 * @typedef {import("./wording.js").Words} Words
 * @typedef {import("./report.js").Report} Report
 * @typedef {import("./report.js").Story} Story
 * @typedef {import("./report.js").SlotReport} SlotReport
 * @typedef {import("./report.js").SetReport} SetReport
 *
 * First and last year, both included.
 * @typedef {readonly [number, number]} Years
 */

/** A story is told from this chance on; the simplest one, unless another is so many times as likely. */
const TELLABLE = 0.15;
const FAR_LIKELIER = 2;
/** Another story as simple is told from this share of the first one's chance on; so many of them. */
const NEAR = 0.05;
const MOST_OTHERS = 2;
/** The same story of another variant is counted with it from this share on. */
const ALIKE = 0.2;
/** A part that may sit there is counted from this chance on; from the second on, it is named. */
const MAY_BE = 0.05;
const NAMED = 0.5;
/** An answer of so many bits speaks for a set; so many such answers are named, those about parts before the others. */
const TELLS = 0.3;
const MOST_TELLING = 2;

/**
 * When a part was made; null when it is not recorded, or there is none.
 * @param {Words} words
 * @param {string} part
 * @returns {Years | null}
 */
export function yearsOfPart(words, part) {
  return (Object.hasOwn(words.packed.parts, part) && words.packed.parts[part]?.made) || null;
}

/**
 * When a variant was made.
 * @param {Words} words
 * @param {string} ident
 * @returns {Years | null}
 */
export function yearsOfVariant(words, ident) {
  return words.packed.made[words.variantAt.get(ident) ?? -1] ?? null;
}

/**
 * The variants of every other position of a set.
 * @param {Words} words
 * @param {string} ident
 * @param {number} position from 1
 * @returns {string[][]}
 */
export function companions(words, ident, position) {
  const positions = words.packed.sets[words.compiled.sets.indexOf(ident)]?.positions ?? [];
  return positions.filter((_, p) => p + 1 !== position).map((there) => there.map((v) => words.identOf(v)));
}

/**
 * From the first to the last of all of them; null where nothing is recorded of one.
 * @param {(Years | null)[]} years
 * @returns {Years | null}
 */
export function span(years) {
  const sure = years.filter((one) => one !== null);
  return sure.length && sure.length === years.length ? over(sure) : null;
}

/**
 * @param {Years[]} years one at least
 * @returns {Years}
 */
function over(years) {
  return [Math.min(...years.map(([first]) => first)), Math.max(...years.map(([, last]) => last))];
}

/**
 * Years as they are written.
 * @param {Years} years
 * @returns {string}
 */
export function written([first, last]) {
  return first === last ? `${first}` : `${first}..${last}`;
}

/**
 * Years in words.
 * @param {Years} years
 * @returns {string}
 */
export function spoken([first, last]) {
  return first === last ? `${first}` : `${first} to ${last}`;
}

/**
 * What happened to the unit, one sentence each; nothing while no history is likely enough.
 * @param {Words} words
 * @param {Report} found
 * @returns {string[]}
 */
export function story(words, found) {
  const chosen = told(found.explanations);
  if (chosen === null) {
    return [];
  }
  if (!chosen.changed.length && !chosen.misread.length) {
    return ["Nothing that was looked at speaks against it: as far as that goes, it is as it left the factory."];
  }
  const same = (/** @type {Story} */ one) => blamed(one).join() === blamed(chosen).join();
  const alike = found.explanations.filter((one) => same(one) && one.probability >= ALIKE * chosen.probability);
  const others = found.explanations.filter(
    (one) => !same(one) && blamed(one).length === blamed(chosen).length && one.probability >= NEAR * chosen.probability,
  );
  const made = span(alike.map((one) => yearsOfVariant(words, one.variant)));
  const whole = percent(alike.reduce((sum, one) => sum + one.probability, 0));
  const sentences = [
    periods(words, found, chosen, made),
    `Likely story (${whole}): ${born(words, alike)}; ${happened(words, found, chosen)}.`,
    ...others.slice(0, MOST_OTHERS).map((one) => {
      const from = one.variant === chosen.variant ? "the same unit" : born(words, [one]);
      return `Or as simply (${percent(one.probability)}): ${from}; ${happened(words, found, one)}.`;
    }),
  ];
  return sentences.filter((one) => one);
}

/**
 * The explanation to tell: the first, which is the simplest, unless another is far likelier; null if it is not likely.
 * @param {Story[]} explanations
 * @returns {Story | null}
 */
export function told(explanations) {
  const [first] = explanations;
  if (!first) {
    return null;
  }
  const likeliest = explanations.reduce((best, one) => (one.probability > best.probability ? one : best));
  const chosen = likeliest.probability > FAR_LIKELIER * first.probability ? likeliest : first;
  return chosen.probability >= TELLABLE ? chosen : null;
}

/**
 * Everything that a story says is not right; a slot is no trait, so that the two do not mix.
 * @param {Story} one
 */
function blamed(one) {
  return [...one.changed.map((slot) => `slot ${slot}`), ...one.misread];
}

/**
 * @param {Words} words
 * @param {Story[]} alike
 */
function born(words, alike) {
  const [first = "", ...others] = alike.map((one) => words.variant(one.variant));
  const more = others.length ? `, or as ${others.length === 1 ? others[0] : "one of several others"}` : "";
  return `it left the factory as ${first}${more}`;
}

/**
 * What was changed, lost, redone and misread, as one clause; what nobody looked at, somebody told, and told wrongly.
 * @param {Words} words
 * @param {Report} found
 * @param {Story} one
 */
function happened(words, found, one) {
  const seen = new Set(found.answers.map(({ trait }) => trait));
  const gone = new Set(found.slots.filter(isMissing).map(({ slot }) => slot));
  const changed = one.changed.filter((slot) => slot !== "finish");
  const named = (/** @type {string[]} */ slots) => slots.map((slot) => `the ${lowerFirst(words.slot(slot))}`);
  const asked = (/** @type {string[]} */ keys) => keys.map((key) => `"${words.trait(words.at.get(key) ?? 0)}"`);
  return together([
    ...clause(named(changed.filter((slot) => !gone.has(slot))), "changed"),
    ...clause(named(changed.filter((slot) => gone.has(slot))), "lost"),
    ...clause(one.repainted ? ["the paint and lettering"] : [], "redone", true),
    ...clause(asked(one.misread.filter((key) => seen.has(key))), "misread"),
    ...clause(asked(one.misread.filter((key) => !seen.has(key))), "told wrongly"),
  ]);
}

/**
 * @param {string[]} names
 * @param {string} what
 * @param {boolean} [many]
 */
function clause(names, what, many = false) {
  return names.length ? [`${together(names)} ${many || names.length > 1 ? "were" : "was"} ${what}`] : [];
}

/**
 * Whether nothing sits in a slot where something belongs.
 * @param {SlotReport} slot
 */
function isMissing(slot) {
  return slot.fitted[0]?.part === "none" && slot.belongs[0]?.part !== "none";
}

/**
 * From when what was changed is, and from when the rest.
 * @param {Words} words
 * @param {Report} found
 * @param {Story} chosen
 * @param {Years | null} made
 */
function periods(words, found, chosen, made) {
  const bySlot = new Map(found.slots.map((one) => [one.slot, one]));
  /** @type {Map<string, string[]>} */
  const groups = new Map();
  for (const slot of chosen.changed) {
    const one = bySlot.get(slot);
    const said = one && !isMissing(one) ? ofPart(words, one, made) : "";
    if (said) {
      groups.set(said, [...(groups.get(said) ?? []), `the ${lowerFirst(words.slot(slot))}`]);
    }
  }
  const clauses = [...groups].map(([said, slots]) => `${together(slots)} ${slots.length === 1 ? "is" : "are"} ${said}`);
  if (!clauses.length) {
    return "";
  }
  if (made !== null) {
    clauses.push(`the body is from ${spoken(made)}`);
  }
  const sentence = clauses.join(clauses.some((one) => one.includes(",")) ? "; " : ", ");
  const [first = ""] = sentence;
  return `${first.toUpperCase()}${sentence.slice(first.length)}.`;
}

/**
 * What can be said of the part that sits where another belongs.
 * @param {Words} words
 * @param {SlotReport} slot
 * @param {Years | null} made
 */
function ofPart(words, slot, made) {
  const belongs = new Set(slot.belongs.filter((one) => one.probability >= NAMED).map(({ part }) => part));
  const others = slot.fitted.filter(({ part }) => !belongs.has(part));
  const total = others.reduce((sum, one) => sum + one.probability, 0);
  const likely = others.filter((one) => one.probability >= MAY_BE * total).map(({ part }) => part);
  const [first] = likely;
  if (first === undefined) {
    return "";
  }
  const said = (others[0]?.probability ?? 0) >= NAMED * total ? namedPart(words, first) : "";
  if (said) {
    return said;
  }
  return dated(
    likely.filter((part) => part !== "none" && part !== "unlisted").map((part) => yearsOfPart(words, part)),
    made,
  );
}

/**
 * What is said of a reproduction.
 * @param {Words} words
 * @param {string} part
 */
function namedPart(words, part) {
  const record = Object.hasOwn(words.packed.parts, part) ? words.packed.parts[part] : undefined;
  if (record?.reproducedBy === undefined) {
    return "";
  }
  const by = record.reproducedBy ? ` by ${record.reproducedBy}` : "";
  return `a reproduction${by}${record.made ? `, ${spoken(record.made)}` : ""}`;
}

/**
 * @param {(Years | null)[]} years
 * @param {Years | null} made
 */
function dated(years, made) {
  const known = years.filter((one) => one !== null);
  if (!known.length) {
    return "";
  }
  const [first, last] = over(known);
  const alike = new Set(known.map(written)).size === 1;
  if (alike || (made && first <= made[1] && last >= made[0])) {
    return `from ${spoken([first, last])}`;
  }
  return made && last < made[0] ? `from ${last} or earlier` : `from ${first} or later`;
}

/**
 * What else a set held, and which answers tell it from the next likely one.
 * @param {Words} words
 * @param {Report} found
 * @param {SetReport} likely
 * @returns {string[]}
 */
export function origin(words, found, likely) {
  if (likely.id === null) {
    return [];
  }
  const others = companions(words, likely.id, likely.position);
  const sentences = others.length ? [`With it came: ${others.map((one) => either(words, one)).join("; ")}.`] : [];
  const why = found.explanation.find((one) => one.about === "set" && one.is === likely.id);
  if (why) {
    const telling = why.answers.filter((one) => one.bits >= TELLS).sort((a, b) => b.bits - a.bits);
    const traits = telling.map((one) => words.at.get(one.trait) ?? 0);
    const partsFirst = [...traits.filter((t) => ofAPart(words, t)), ...traits.filter((t) => !ofAPart(words, t))];
    const names = partsFirst.map((t) => lowerFirst(words.trait(t)));
    if (names.length) {
      sentences.push(`Told by: ${together(names.slice(0, MOST_TELLING))}.`);
    }
  }
  return sentences;
}

/**
 * @param {Words} words
 * @param {number} t
 */
function ofAPart(words, t) {
  return words.slotOf(t).parts.length > 0;
}

/**
 * @param {Words} words
 * @param {string[]} variants
 */
function either(words, variants) {
  if (variants.length > 2) {
    return `${words.variant(variants[0] ?? "")}, or one of ${variants.length - 1} others`;
  }
  return variants.map((one) => words.variant(one)).join(" or ");
}

/**
 * The variants in the other positions of a set, each once, by id.
 * @param {Words} words
 * @param {string | null} ident
 * @param {number} position
 * @returns {string[]}
 */
export function companionIds(words, ident, position) {
  return ident === null ? [] : sorted(new Set(companions(words, ident, position).flat()));
}
