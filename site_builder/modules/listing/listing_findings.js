/** What is not right in a seller's text; see `identify/listing_findings.py`. Every remark is one plain sentence or two. */

import { Evidence, changedShare, rowWeights } from "../kernel/belief.js";
import { rowsNow } from "../kernel/doubts.js";
import { merge } from "../kernel/given.js";
import { spoken } from "../kernel/history.js";
import { at, largest, one as member, rounded } from "../kernel/matrix.js";
import { said } from "../kernel/report.js";
import { belonging } from "../kernel/swaps.js";
import { lowerFirst, percent, together } from "../kernel/wording.js";
import { POSSIBLE, asIssued, shown } from "./listing_evidence.js";
import { DOUBTED, FINISH } from "./listing_unit.js";
import { quoted, readYears } from "./listing_words.js";
import { held } from "./records.js";

/**
 * @typedef {import("../kernel/arrays.js").Slot} Slot
 * @typedef {import("../kernel/given.js").Heard} Heard
 * @typedef {import("./listing_unit.js").Described} Described
 * @typedef {import("./listing_unit.js").Mask} Mask
 * @typedef {import("./records.js").Years} Years
 *
 * @typedef {"photographs" | "contradiction" | "years" | "unrecorded" | "original" | "changed" | "missing" | "repainted" | "caution"} RemarkKind
 *
 * @typedef {object} Remark one thing that is not right
 * @property {RemarkKind} kind
 * @property {number[]} claims the claims it is about (places in the text's row of claims)
 * @property {number[]} answers the traits of the photographs' answers
 * @property {string} says
 *
 * @typedef {{blame: number[], against: number[]}} Blamed claims of which unit it is, and what they exclude
 */

/** The most telling first. @type {RemarkKind[]} */
const KINDS = ["photographs", "contradiction", "years", "unrecorded", "original", "changed", "missing", "repainted", "caution"];
/** What can hurt whoever only unpacks a thing and tries it. */
const HANDLING = ["mains", "lead"];
/** So many states are named as what the record has. */
const MOST_NAMED = 3;
/** A slot was probably changed from this chance on. */
const CHANGED = 0.5;
/** Two looks at one trait have nothing in common below this share. */
const NOTHING = 0.05;
/** A claim of which unit it is that a candidate is, more likely than not. */
const SURE = 0.5;

/**
 * Everything, the most telling first; of loose parts (not of a whole unit) what is not recorded, and what is dangerous.
 * @param {Described} one
 * @param {boolean} whole
 * @returns {Remark[]}
 */
export function remarks(one, whole) {
  const found = [...unrecorded(one), ...(whole ? excluded(one) : [])];
  if (one.session.belief.plausible && whole) found.push(...photographs(one), ...never(one), ...years(one), ...original(one), ...became(one));
  return [...found.sort((a, b) => KINDS.indexOf(a.kind) - KINDS.indexOf(b.kind)), ...cautions(one)];
}

/** @param {RemarkKind} kind @param {number[]} claims @param {number[]} answers @param {string} says @returns {Remark} */
function remark(kind, claims, answers, says) {
  return { kind, claims, answers, says };
}

/** @param {Mask} mine @returns {boolean} */
function some(mine) {
  return mine.includes(1);
}

/** @param {Mask} a @param {Mask} b @returns {boolean} */
function meet(a, b) {
  return a.some((one, c) => one === 1 && b[c] === 1);
}

/** @param {Float64Array} shares @returns {Mask} */
function possible(shares) {
  return Uint8Array.from(shares, (share) => Number(share > POSSIBLE));
}

// What fits nothing -----------------------------------------------------------------------------------------------------

/**
 * Claims of which unit it is that no recorded unit of any family fits, and of traits that nothing recorded shows.
 * @param {Described} one
 * @returns {Remark[]}
 */
function unrecorded(one) {
  return one.meanings.flatMap(({ fits, claim }, n) => {
    if (fits === null || claim.denied || fits.some((fit, c) => fit > 0 && at(one.everything, c) === 1) || shownSomewhere(one, n)) return [];
    const what = claim.kind === "number" || claim.kind === "year" ? `the ${claim.kind} ` : "";
    return [remark("unrecorded", [n], [], `Nothing in the record is or shows ${what}${quoted(claim)}.`)];
  });
}

/**
 * Whether some part or finish shows what a claim says of a trait, if none of those that units left the factory with.
 * @param {Described} one
 * @param {number} n
 * @returns {boolean}
 */
function shownSomewhere(one, n) {
  const { heard, names } = one.meaning(n);
  if (heard === null) return !names;
  const trait = member(one.compiled.traits, heard.trait), saidSo = merge(trait, heard.trait, [heard.reading]);
  return saidSo !== null && shown(trait, saidSo).some((share) => share > POSSIBLE);
}

// Claims against each other ---------------------------------------------------------------------------------------------

/**
 * Claims of which unit it is that no recorded unit of the family fits together; those that only guess are left.
 * @param {Described} one
 * @returns {Remark[]}
 */
function excluded(one) {
  /** @type {Set<string>} */
  const done = new Set();
  const pair = (/** @type {number} */ n, /** @type {number} */ m) => `${Math.min(n, m)} ${Math.max(n, m)}`;
  const inOrder = [...one.naming].sort((a, b) => a - b);
  return [...one.naming].sort((a, b) => rounded(one.doubt(b)) - rounded(one.doubt(a))).flatMap((n) => {
    const against = inOrder.filter((m) => exclude(one, n, m) && !done.has(pair(n, m)));
    against.forEach((m) => done.add(pair(n, m)));
    return against.length ? [remark("contradiction", [n, ...against], [], both(one, n, against) + likelyWrong(one, [n, ...against]))] : [];
  });
}

/**
 * Whether two claims cannot both be right of one unit, and are not two guesses at the same thing.
 * @param {Described} one
 * @param {number} n
 * @param {number} m
 * @returns {boolean}
 */
function exclude(one, n, m) {
  const first = one.meaning(n), second = one.meaning(m);
  const guess = first.sort === second.sort && (first.claim.hedged || second.claim.hedged);
  return n !== m && !guess && !some(one.fitting([n, m]));
}

/** Why a claim does not go with others. @param {Described} one @param {number} n @param {number[]} against @returns {string} */
function both(one, n, against) {
  const { words } = one, rest = some(one.fitting(against)) ? against : against.slice(0, 1);
  /** @type {[number, number[]][]} */
  const pairs = [[n, rest], ...rest.map((m) => /** @type {[number, number[]]} */ ([m, [n]]))];
  for (const [a, b] of pairs) {
    const when = one.meaning(a).sort === "year" ? words.made(one.fitting(b)) : null;
    if (when) return `The text says ${namedBy(one, a)}, but ${words.called(one.around(b))} was made ${spoken(when)}.`;
  }
  for (const [a, b] of pairs) {
    const sure = one.recorded.map((mine, c) => Number(mine === 1 && one.fits(a, c) > SURE));
    if (["marking", "number"].includes(one.meaning(a).sort) && some(sure)) {
      return `No ${calling(one, b)} has the number ${namedBy(one, a)}: it is that of ${words.called(sure)}.`;
    }
  }
  return `No ${words.called(one.fitting(rest))} is recorded that is also ${namedBy(one, n)}.`;
}

/**
 * What is named by claims that can be right together: in their own words where it is one, else as the record has it.
 * @param {Described} one
 * @param {number[]} claims
 * @returns {string}
 */
function calling(one, claims) {
  return claims.length === 1 ? namedBy(one, member(claims, 0)) : one.words.called(one.fitting(claims));
}

/** A claim of which unit it is as one would say it. @param {Described} one @param {number} n @returns {string} */
function namedBy(one, n) {
  const meaning = one.meaning(n);
  if (meaning.sort === "marking" || meaning.sort === "number") return meaning.claim.says[0] ?? "";
  const text = one.words.meaning(meaning);
  return meaning.sort === "kind" || meaning.sort === "batch" ? lowerFirst(text) : text;
}

/**
 * What the text says of traits and parts that the unit it names never showed when it left the factory.
 * What the text says of its own photographs is said so.
 * @param {Described} one
 * @returns {Remark[]}
 */
function never(one) {
  /** @type {Map<number, Mask>} */
  const ofTraits = new Map();
  one.meanings.forEach(({ claim, names, fits }, n) => {
    const lost = claim.kind === "part" && claim.denied; // what is missing now was lost, and is reported so
    if (!names && fits !== null && !lost) ofTraits.set(n, possible(fits));
  });
  return blamed(one, ofTraits).flatMap(({ blame, against }) => {
    const pictured = against.filter((n) => one.pictured.has(n) && blame.length > 0), others = against.filter((n) => !pictured.includes(n));
    return [
      ...(pictured.length ? [remark("photographs", [...blame, ...pictured], [], neverSo(one, blame, pictured, true))] : []),
      ...(others.length ? [remark("contradiction", [...blame, ...others], [], neverSo(one, blame, others, false))] : []),
    ];
  });
}

/**
 * That the unit which is named never had what the text says of it, or of its own photographs.
 * @param {Described} one
 * @param {number[]} blame
 * @param {number[]} against
 * @param {boolean} pictured
 * @returns {string}
 */
function neverSo(one, blame, against, pictured) {
  const what = together(against.map((n) => quoted(one.claim(n)) + instead(one, n, blame)));
  const which = `o ${wholeOf(one, blame)} left the factory with`;
  const text = pictured
    ? `The text says ${together(blame.map((n) => namedBy(one, n)))}, and of its own photographs ${what}: n${which} that.`
    : `N${which} ${what}.`;
  const redone = !blame.length && ofFinish(one, against);
  return text + (redone ? " If that is so, it was redone." : likelyWrong(one, [...blame, ...against]));
}

/** Whether all of these claims are of the paint and lettering. @param {Described} one @param {number[]} claims @returns {boolean} */
function ofFinish(one, claims) {
  return claims.every((n) => {
    const { heard } = one.meaning(n);
    return heard !== null && slotOf(one, heard.trait).id === FINISH;
  });
}

/** The slot that a trait is read from. @param {Described} one @param {number} t @returns {Slot} */
function slotOf(one, t) {
  return member(one.compiled.slots, member(one.compiled.traits, t).slot);
}

/**
 * Claims of which unit it is, and what they exclude, for each of these that some recorded unit shows.
 *
 * Excluded by the family; by a doubted claim together with those that agree; or by those alone. Each thing once, the claim that
 * excludes most first.
 * @param {Described} one
 * @param {Map<number, Mask>} fits
 * @returns {Blamed[]}
 */
function blamed(one, fits) {
  let left = [...fits].filter(([, mine]) => meet(mine, one.everything));
  const exclude = (/** @type {Mask} */ candidates) => left.filter(([, mine]) => !meet(mine, candidates)).map(([key]) => key);
  const isYear = (/** @type {number} */ n) => one.meaning(n).sort === "year";
  const naming = one.naming.filter((n) => !isYear(n) || some(one.fitting([n, ...one.agreeing])));
  const doubted = naming.filter((n) => one.doubt(n) >= DOUBTED).map((n) => ({ blame: [n], candidates: one.around([n]) }));
  const counts = new Map(doubted.map((choice) => [choice, exclude(choice.candidates).length]));
  const choices = [
    { blame: /** @type {number[]} */ ([]), candidates: one.recorded },
    ...doubted.sort((a, b) => (counts.get(b) ?? 0) - (counts.get(a) ?? 0)),
    ...one.agreeing.filter((n) => !isYear(n)).map((n) => ({ blame: [n], candidates: one.fitting([n]) })),
    ...(one.agreeing.length ? [{ blame: [...one.agreeing], candidates: one.named }] : []),
  ];
  return choices.flatMap(({ blame, candidates }) => {
    const against = exclude(candidates);
    left = left.filter(([key]) => !against.includes(key));
    return against.length ? [{ blame, against }] : [];
  });
}

/**
 * What claims name together, with those that agree; the family where it is no claim that excludes something.
 * @param {Described} one
 * @param {number[]} claims
 * @returns {string}
 */
function wholeOf(one, claims) {
  return one.words.called(claims.length ? one.around(claims) : one.recorded);
}

/**
 * What the unit that is named shows of the trait of a claim, in brackets; nothing where that is not one trait.
 * @param {Described} one
 * @param {number} n
 * @param {number[]} claims
 * @returns {string}
 */
function instead(one, n, claims) {
  const { heard } = one.meaning(n);
  const found = heard === null ? "" : recordedOf(one, heard.trait, one.around(claims));
  return found ? ` (recorded: ${found})` : "";
}

/** What these candidates show of a trait when new. @param {Described} one @param {number} t @param {Mask} candidates @returns {string} */
function recordedOf(one, t, candidates) {
  const { compiled, words } = one, trait = member(compiled.traits, t);
  if (trait.measured || !some(candidates)) return "";
  const states = trait.states.filter((_, k) => {
    const weights = Float64Array.from(trait.states, (_state, other) => Number(other === k));
    return meet(possible(asIssued(compiled, t, new Evidence(t, { weights }))), candidates);
  });
  if (!states.length || states.length > MOST_NAMED) return "";
  return states.map((state) => (trait.worn ? state : lowerFirst(words.words.state(t, state)))).join(" or ");
}

/**
 * Which of these claims is probably wrong, or which slot was probably changed instead.
 * @param {Described} one
 * @param {number[]} claims
 * @returns {string}
 */
function likelyWrong(one, claims) {
  const wrong = claims.filter((n) => one.doubt(n) >= DOUBTED);
  if (wrong.length) return ` Probably wrong: ${together(wrong.map((n) => `${quoted(one.claim(n))} (${percent(one.doubt(n))})`))}.`;
  const slots = new Set(claims.flatMap((n) => {
    const { heard } = one.meaning(n);
    return heard === null ? [] : [member(one.compiled.traits, heard.trait).slot];
  }));
  const changed = [...slots].sort((a, b) => a - b).filter((s) => changedChance(one, s) >= CHANGED);
  return changed.length ? ` ${changedWords(one, changed)}.` : "";
}

/** @param {Described} one @param {number} s @returns {number} */
function changedChance(one, s) {
  return changedShare(one.compiled, one.session.belief, s);
}

/** @param {Described} one @param {number} s @returns {string} */
function slotName(one, s) {
  return `the ${lowerFirst(one.words.words.slot(member(one.compiled.slots, s).id))}`;
}

/** @param {Described} one @param {number[]} slots @returns {string} */
function changedWords(one, slots) {
  return `Probably changed since: ${together(slots.map((s) => `${slotName(one, s)} (${percent(changedChance(one, s))})`))}`;
}

/** Parts that were not made yet in the year that is claimed, or when the named unit was made. @param {Described} one @returns {Remark[]} */
function years(one) {
  const { words } = one;
  const claimed = one.naming.flatMap((n) => {
    const said = one.meaning(n).sort === "year" ? readYears(one.claim(n).says[0] ?? "") : null;
    return said ? [{ m: n, said }] : [];
  });
  const when = one.agreeing.length ? words.made(one.named) : null;
  return one.meanings.flatMap(({ claim }, n) => {
    const [says = ""] = claim.says, part = claim.kind === "part" && says.includes("=") ? says.slice(says.indexOf("=") + 1) : "";
    const ofPart = claim.says.length === 1 && !claim.denied ? words.yearsOfPart(part) : null;
    if (ofPart === null) return [];
    const begin = `${words.part(part)} was not made before ${ofPart[0]}; `;
    const late = claimed.filter(({ said }) => said[1] < ofPart[0]);
    if (late.length) return late.map(({ m, said }) => remark("years", [m, n], [], `${begin}the text says ${spoken(said)}.`));
    if (when === null || when[1] >= ofPart[0]) return [];
    return [remark("years", [...one.agreeing, n], [], `${begin}${words.called(one.named)} was made ${spoken(when)}.`)];
  });
}

// The text against its photographs --------------------------------------------------------------------------------------

/** What the photographs show and the text, or the unit it names, does not. @param {Described} one @returns {Remark[]} */
function photographs(one) {
  const direct = one.meanings.flatMap((_, n) => against(one, n) ?? []);
  const done = new Set(direct.flatMap(({ answers }) => answers));
  /** @type {Map<number, Mask>} */
  const fits = new Map();
  for (const given of one.session.evidence) {
    const hard = !slotOf(one, given.trait).parts.length; // a part that does not belong was changed
    if (given.seen && hard && !done.has(given.trait)) fits.set(given.trait, possible(asIssued(one.compiled, given.trait, given)));
  }
  const others = blamed(one, fits).map(({ blame, against: traits }) => {
    const shows = together(traits.map((t) => answerOf(one, t)));
    const which = `he photographs show ${shows}, which no ${wholeOf(one, blame)} left the factory with`;
    const says = blame.length ? `The text says ${together(blame.map((n) => namedBy(one, n)))}; t${which}.` : `T${which}.`;
    return remark("photographs", blame, traits, says + likelyWrong(one, blame));
  });
  return [...direct, ...others];
}

/**
 * A claim of a trait or a part that the photographs speak against: of the same trait, or of the same part.
 * @param {Described} one
 * @param {number} n
 * @returns {Remark | null}
 */
function against(one, n) {
  const meaning = one.meaning(n), { heard } = meaning;
  if (heard === null || meaning.names || !one.answers.length) return null;
  const slot = slotOf(one, heard.trait);
  const mine = one.session.evidence.filter((given) => given.seen && slotOf(one, given.trait) === slot && (given.trait === heard.trait || slot.parts.length > 0));
  const all = mine.filter((given) => !goTogether(one, heard, given)).map(({ trait }) => trait);
  const shows = all.includes(heard.trait) ? all.filter((t) => t === heard.trait) : all;
  if (!shows.length) return null;
  const saidOfIt = `${quoted(meaning.claim)} (${lowerFirst(one.words.meaning(meaning))})`;
  const text = `The text says ${saidOfIt}; the photographs show ${together(shows.map((t) => answerOf(one, t)))}.`;
  return remark("photographs", [n], shows, text);
}

/**
 * Whether one state, or some part of the slot, shows both what is claimed and what was seen.
 * @param {Described} one
 * @param {Heard} heard
 * @param {Evidence} seen
 * @returns {boolean}
 */
function goTogether(one, heard, seen) {
  const { traits } = one.compiled, claimed = merge(member(traits, heard.trait), heard.trait, [heard.reading]);
  if (claimed === null) return true;
  if (seen.trait === heard.trait && claimed.weights !== null && seen.weights !== null) {
    const { weights } = seen, most = largest(claimed.weights.map((weight, k) => weight * at(weights, k)));
    return most > NOTHING * largest(claimed.weights) * largest(weights);
  }
  const other = shown(member(traits, seen.trait), seen);
  return shown(member(traits, heard.trait), claimed).some((share, i) => share * at(other, i) > POSSIBLE);
}

/** An answer of the photographs in words. @param {Described} one @param {number} t @returns {string} */
function answerOf(one, t) {
  const { words } = one.words;
  return `${lowerFirst(words.trait(t))}: ${lowerFirst(said(one.session, words, t))}`;
}

// What became of the unit -----------------------------------------------------------------------------------------------

/**
 * The slots that text or photographs speak of and that were probably changed since; and the finish, if it was redone.
 * @param {Described} one
 * @returns {Remark[]}
 */
function became(one) {
  const { compiled, session } = one;
  /** @type {Map<number, number[]>} */
  const touched = new Map();
  for (const { trait } of session.evidence) {
    const { slot } = member(compiled.traits, trait);
    touched.set(slot, [...(touched.get(slot) ?? []), trait]);
  }
  return [...touched].sort(([a], [b]) => a - b).flatMap(([s, traits]) => {
    if (changedChance(one, s) < CHANGED) return [];
    const claims = [...one.meanings.keys()].filter((n) => {
      const { heard } = one.meaning(n);
      return heard !== null && traits.includes(heard.trait);
    });
    const [kind, says] = becameOf(one, s);
    return [remark(kind, claims, traits.filter((t) => session.seen.has(t)), says)];
  });
}

/** What became of one slot. @param {Described} one @param {number} s @returns {[RemarkKind, string]} */
function becameOf(one, s) {
  const slot = member(one.compiled.slots, s), chance = percent(changedChance(one, s)), what = `${slotName(one, s)} (${chance})`;
  if (slot.id === FINISH) return ["repainted", `The paint and lettering were probably redone (${chance}).`];
  if (!slot.parts.length) return ["changed", `Probably changed since: ${what}.`];
  const { belief } = one.session, now = rowsNow(slot, belief, s), issued = belonging(slot, rowWeights(slot, belief.probability));
  const there = likeliest(slot, now), belongs = likeliest(slot, issued), gone = there === "none";
  const parts = [
    ...(largest(now) >= CHANGED && there !== "none" && there !== "unlisted" ? [`${partOf(one, there)} sits there`] : []),
    ...(largest(issued) >= CHANGED && belongs !== "none" && belongs !== there ? [`${partOf(one, belongs)} belongs there`] : []),
  ];
  const more = parts.length ? `; ${parts.join(", ")}` : "";
  return gone ? ["missing", `Probably missing: ${what}${more}.`] : ["changed", `Probably changed since: ${what}${more}.`];
}

/** @param {Slot} slot @param {Float64Array} chances @returns {string} */
function likeliest(slot, chances) {
  return member(slot.parts, chances.indexOf(largest(chances)));
}

/** Whether most likely nothing sits in a slot. @param {Described} one @param {number} s @returns {boolean} */
function isGone(one, s) {
  const slot = member(one.compiled.slots, s);
  return slot.parts.length > 0 && likeliest(slot, rowsNow(slot, one.session.belief, s)) === "none";
}

/** @param {Described} one @param {string} part @returns {string} */
function partOf(one, part) {
  const when = one.words.yearsOfPart(part);
  return one.words.partName(part) + (when ? ` (${spoken(when)})` : "");
}

/**
 * The text says that nothing was changed, or that it was not repainted, and something probably was.
 * @param {Described} one
 * @returns {Remark[]}
 */
function original(one) {
  const { slots, traits } = one.compiled, ofOriginal = one.words.records.buying.original;
  const touched = [...new Set(one.session.evidence.map(({ trait }) => member(traits, trait).slot))].sort((a, b) => a - b);
  const changed = touched.filter((s) => changedChance(one, s) >= CHANGED && !isGone(one, s));
  const finish = changed.filter((s) => member(slots, s).id === FINISH);
  return one.meanings.flatMap(({ claim, redone }, n) => {
    const saysOriginal = claim.says.some((says) => ofOriginal.includes(says)) && !claim.denied;
    const mine = saysOriginal ? changed : redone !== null && claim.denied ? finish : [];
    return mine.length ? [remark("original", [n], [], `The text says ${quoted(claim)}. ${changedWords(one, mine)}.`)] : [];
  });
}

// Cautions --------------------------------------------------------------------------------------------------------------

/**
 * The hazards of what the text speaks of, in the words of the record: once each, with all claims that touch it.
 * @param {Described} one
 * @returns {Remark[]}
 */
export function cautions(one) {
  return [...hazardsOf(one)].map(([hazard, claims]) => remark("caution", claims, [], held(one.words.records.hazards, hazard)?.[0] ?? ""));
}

/** The hazards that claims touch, with these claims. @param {Described} one @returns {Map<string, number[]>} */
export function hazardsOf(one) {
  const spokenOf = one.meanings.map((_, n) => touches(one, n).toLowerCase());
  /** @type {Map<string, number[]>} */
  const found = new Map();
  for (const hazard of HANDLING) {
    const brought = held(one.words.records.hazards, hazard)?.[1] ?? [];
    const claims = [...spokenOf.keys()].filter((n) => brought.some((term) => member(spokenOf, n).includes(term)));
    if (claims.length) found.set(hazard, claims);
  }
  return found;
}

/**
 * The words of a claim, of its meaning, of the slot it is about, and of its family.
 * @param {Described} one
 * @param {number} n
 * @returns {string}
 */
function touches(one, n) {
  const meaning = one.meaning(n), { words } = one, { families } = words.records, { kind, quote, says } = meaning.claim;
  const texts = [quote, words.meaning(meaning)];
  for (const key of says.map((text) => text.split("=", 1)[0] ?? "")) {
    const family = key.split("/", 1)[0] ?? "";
    if (held(families, family)) texts.push(words.name(family));
    if (kind === "part" || kind === "state" || kind === "measure") texts.push(words.words.slot(key.split(".", 1)[0] ?? ""));
    for (const record of kind === "defect" ? Object.values(families) : []) {
      const slot = held(record.slots, held(record.damage, key)?.[4]);
      if (slot) texts.push(slot[0]);
    }
  }
  return texts.join(" ");
}
