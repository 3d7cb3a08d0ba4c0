/** The report of a listing as elements, in the words of the command (`cli/listing.py`). */

import { NOT_IN_THE_RECORD } from "../kernel/arrays.js";
import { one as member } from "../kernel/matrix.js";
import { confidence, percent } from "../kernel/wording.js";
import { fixed, rounded } from "../kernel/written.js";
import { pageOf } from "../page/data.js";
import { element, link } from "../page/dom.js";
import { inseparable, levelOf, parts, where } from "../page/identified.js";
import { lotShown } from "./lot_shown.js";
import { spaced } from "./strings.js";

/**
 * @typedef {import("../kernel/report.js").Report} Identified
 * @typedef {import("../page/dom.js").Inside} Inside
 * @typedef {import("./listing.js").ClaimReport} ClaimReport
 * @typedef {import("./listing.js").Listing} Listing
 * @typedef {import("./listing.js").ListingReport} ListingReport
 * @typedef {import("./listing.js").UnitReport} UnitReport
 * @typedef {import("./listing.js").WeightReport} WeightReport
 * @typedef {import("./listing_unit.js").Described} Described
 */

/** A claim that speaks against the verdict by so many bits is marked; one that is more likely wrong than not is said to be. */
const AGAINST = -0.1, WRONG = 0.5;
/** The message has so many rows more than lines, since long ones are broken. */
const MORE_ROWS = 4;
/** A line of so many characters was broken because it was full. */
const FULL = 50;
/** So many variants are listed, of those that are not rarer than this. */
const MOST_VARIANTS = 4, LISTED = 0.005;
/** As in `cli/screen.py`, which says what it is for. */
const UNLISTED = 0.6;

/**
 * The whole report.
 * @param {Listing} listing
 * @param {ListingReport} found
 * @returns {HTMLElement[]}
 */
export function shown(listing, found) {
  const several = found.units.length > 1;
  return [
    section("The text, its claims marked", "listing-marked", [marked(found)]),
    section("What it claims", "listing-claims", claimsTable(found)),
    ...(several ? [section(`The text speaks of ${found.units.length} units`, "listing-units", [unitsOf(found)])] : []),
    ...found.units.flatMap((one, u) => ofUnit(member(listing.units, u), one, several)),
    ...(found.lot ? lotShown(listing.words, found.lot, section) : []),
    section("What it costs", "listing-costs", [element("p", {}, found.price.says)]),
    section("What to ask the seller", "listing-asks", [asks(found, several)]),
    section("A message, ready to send", "listing-message", message(found.message)),
  ];
}

/** @param {string} title @param {string} id @param {Inside[]} inside @returns {HTMLElement} */
function section(title, id, inside) {
  return element("section", { id, "aria-labelledby": `${id}-title` }, element("h2", { id: `${id}-title`, tabindex: "-1" }, title), ...inside);
}

/**
 * @param {string} kind its classes
 * @param {string} caption
 * @param {string[]} columns
 * @param {HTMLElement[]} rows
 * @returns {HTMLElement}
 */
function table(kind, caption, columns, rows) {
  const head = element("tr", {}, ...columns.map((text) => element("th", { scope: "col" }, text)));
  return element("table", { class: kind }, element("caption", {}, caption), element("thead", {}, head), element("tbody", {}, ...rows));
}

// The text --------------------------------------------------------------------------------------------------------------

/**
 * The places of the line ends that only broke a line because it was full; as the command puts such lines together.
 * @param {ListingReport} found
 * @param {readonly string[]} characters
 * @returns {Set<number>}
 */
function brokenAt(found, characters) {
  const begins = new Set(found.claims.map(({ start }) => start));
  /** @type {Set<number>} */
  const broken = new Set();
  let start = 0;
  characters.forEach((one, i) => {
    if (one !== "\n") return;
    const next = characters[i + 1] ?? "\n", goesOn = /[\p{L}\p{N}([]/u.test(next) || (begins.has(i + 1) && next !== "\n");
    if (i - start >= FULL && goesOn) broken.add(i);
    start = i + 1;
  });
  return broken;
}

/**
 * The text with its claims marked, each with its number and, for those who do not see the mark, what it is understood as.
 * @param {ListingReport} found
 * @returns {HTMLElement}
 */
function marked(found) {
  const held = spaced(found.text).characters, notes = notesOf(found), broken = brokenAt(found, held);
  const characters = held.map((one, i) => (broken.has(i) ? " " : one));
  const whole = element("div", { class: "seller" });
  let line = element("p"), at = 0;
  const plain = (/** @type {number} */ end) => {
    characters.slice(at, end).join("").split("\n").forEach((text, n) => {
      if (n > 0) {
        whole.append(line);
        line = element("p");
      }
      line.append(text);
    });
    at = end;
  };
  found.claims.forEach((claim, n) => {
    plain(claim.start);
    line.append(mark(claim, n, member(notes, n)));
    at = claim.end;
  });
  plain(characters.length);
  whole.append(line);
  for (const one of whole.querySelectorAll("p:empty")) one.remove();
  return whole;
}

/** @param {ClaimReport} claim @param {number} n @param {string[]} notes @returns {HTMLElement} */
function mark(claim, n, notes) {
  const means = [`${claim.kind}: ${claim.means}`, ...notes].join("; ");
  const doubtful = notes.some((note) => note === "against" || note.startsWith("wrong"));
  return element(
    "mark",
    { title: means, class: doubtful ? "doubtful" : "" },
    element("span", { class: "number", "aria-hidden": "true" }, String(n + 1)),
    claim.quote,
    element("span", { class: "means" }, ` (claim ${n + 1}, ${means})`),
  );
}

/** What is to be said of each claim: a guess, probably wrong, against the verdict. @param {ListingReport} found @returns {string[][]} */
function notesOf(found) {
  const weights = weightsOf(found);
  return found.claims.map((claim, n) => {
    const weighed = weights.get(n), notes = claim.hedged ? ["a guess"] : [];
    if (weighed && weighed.doubt !== null && weighed.doubt >= WRONG) notes.push(`wrong: ${percent(weighed.doubt)}`);
    else if (weighed && weighed.bits <= AGAINST) notes.push("against");
    return notes;
  });
}

/** @param {ListingReport} found @returns {Map<number, WeightReport>} */
function weightsOf(found) {
  return new Map(found.units.flatMap((unit) => unit.claims.map((one) => /** @type {[number, WeightReport]} */ ([one.claim, one]))));
}

/** A weight with its sign. @param {number} bits @returns {string} */
function signed(bits) {
  const shown = rounded(bits, 1) + 0;
  return `${shown < 0 ? "\u2212" : "+"}${fixed(Math.abs(shown), 1)}`;
}

/** @param {ListingReport} found @returns {Inside[]} */
function claimsTable(found) {
  if (!found.claims.length) return [element("p", {}, "The text claims nothing that the record has a word for.")];
  const weights = weightsOf(found), notes = notesOf(found);
  const rows = found.claims.map((claim, n) => {
    const weighed = weights.get(n), more = member(notes, n);
    const doubt = more.length ? element("strong", { class: "doubt" }, ` (${more.join("; ")})`) : null;
    return element(
      "tr",
      {},
      element("td", { class: "place", "data-label": "Claim" }, String(n + 1)),
      element("th", { scope: "row" }, claim.quote.split(/\s+/).join(" ")),
      element("td", { class: "meant", "data-label": "Understood as" }, `${claim.kind}: ${claim.means}`, doubt),
      element("td", { class: "bits", "data-label": "Bits" }, weighed ? signed(weighed.bits) : ""),
    );
  });
  return [
    element("p", { class: "how" }, "Bits for the verdict; below 0 is against it."),
    table("plain claims", "What each claim says and weighs", ["Claim", "In the text", "Understood as", "Bits"], rows),
  ];
}

/** @param {ListingReport} found @returns {HTMLElement} */
function unitsOf(found) {
  const rows = found.units.map((one) => {
    const numbers = found.claims.flatMap((claim, n) => (claim.units.includes(one.unit) ? [n + 1] : []));
    return element("li", {}, `${one.name}: claims ${numbers.join(", ")}`);
  });
  return element("ol", { class: "units" }, ...rows);
}

// One unit --------------------------------------------------------------------------------------------------------------

/** @param {Described} one @param {UnitReport} found @param {boolean} several @returns {HTMLElement[]} */
function ofUnit(one, found, several) {
  const prefix = several ? `Unit ${found.unit}: ` : "", id = `unit-${found.unit}`;
  const cautions = found.findings.filter(({ kind }) => kind === "caution"), wrong = found.findings.filter(({ kind }) => kind !== "caution");
  const list = (/** @type {string[]} */ texts) => element("ul", { class: "said" }, ...texts.map((text) => element("li", {}, text)));
  return [
    ...(several ? [element("h2", { class: "unit" }, `${prefix}${found.name}`)] : []),
    ...(found.photographs.length ? [section(`${prefix}What the photographs show`, `${id}-photographs`, [photographs(one, found)])] : []),
    ...(wrong.length ? [section(`${prefix}What does not fit`, `${id}-wrong`, [list(wrong.map(({ says }) => says))])] : []),
    ...(cautions.length ? [section(`${prefix}Take care`, `${id}-care`, [list(cautions.map(({ says }) => says))])] : []),
    ...(found.identified ? identified(one, found.identified, prefix, id) : [unidentified(found, prefix, id, one.session.belief.plausible)]),
    ...(found.silent.length ? [section(`${prefix}What is not said`, `${id}-silent`, [list(found.silent.map((some) => silentWords(one, some)))])] : []),
  ];
}

/** @param {Described} one @param {UnitReport} found @returns {HTMLElement} */
function photographs(one, found) {
  const { words } = one.words;
  const rows = found.photographs.map(({ trait, answer, bits }) => {
    const said = `${words.trait(words.at.get(trait) ?? -1)}: ${answer.replaceAll(" +- ", " ± ")} `;
    return element("li", {}, said, element("span", { class: "bits" }, `${signed(bits)} bits`));
  });
  return element("ul", { class: "said" }, ...rows);
}

/** @param {Described} one @param {UnitReport["silent"][number]} some @returns {string} */
function silentWords(one, some) {
  return some.view ? `${some.name} (${one.words.words.viewName(some.view).toLowerCase()})` : some.name;
}

/** @param {UnitReport} found @param {string} prefix @param {string} id @param {boolean} plausible @returns {HTMLElement} */
function unidentified(found, prefix, id, plausible) {
  const loose = found.name === "parts" ? " It speaks of parts." : "";
  const said = plausible
    ? element("p", {}, `Nothing in the text says which unit it is.${loose}`)
    : element("p", { class: "problem" }, "Nothing in the record can show all that is said and seen of it together.");
  return section(`${prefix}Which unit it is`, `${id}-verdict`, [said]);
}

/**
 * What it is, where it came from, and what was changed.
 * @param {Described} one
 * @param {Identified} found
 * @param {string} prefix
 * @param {string} id
 * @returns {HTMLElement[]}
 */
function identified(one, found, prefix, id) {
  const described = { session: one.session, words: one.words.words };
  const level = confidence(found.variants.map(({ probability }) => probability), one.compiled.settled), [first] = found.variants;
  const none = first?.id === NOT_IN_THE_RECORD, sure = level === "settled" || level === "likely";
  const rows = found.variants.slice(0, MOST_VARIANTS).filter((some, n) => n === 0 || some.probability >= LISTED);
  const list = rows.map(({ id: ident, name, probability }) => {
    const shownAs = ident === NOT_IN_THE_RECORD ? name : link(pageOf("variant", ident), name);
    return element("li", {}, shownAs, " ", element("b", {}, percent(probability)));
  });
  const verdict = [
    element("ol", { class: "likeliest" }, ...list),
    none && sure ? element("p", {}, "Nobody has recorded a unit like this. It may be worth recording.") : null,
    ...inseparable(described, found),
  ];
  const title = none && sure ? (level === "settled" ? "No recorded variant fits" : "Probably not in the record") : levelOf(one.session, found, level);
  const whole = [section(prefix + title, `${id}-verdict`, verdict)];
  if (none && (first?.probability ?? 0) >= UNLISTED) return whole;
  const [origins, slots] = [where(described, found), parts(described, found)];
  if (origins.length) whole.push(section(`${prefix}Where it came from`, `${id}-origin`, origins));
  if (slots.length) whole.push(section(`${prefix}Was it born this way?`, `${id}-parts`, slots));
  return whole;
}

// What to ask -----------------------------------------------------------------------------------------------------------

/** @param {ListingReport} found @param {boolean} several @returns {HTMLElement} */
function asks(found, several) {
  if (!found.questions.length) return element("p", {}, "Nothing needs to be asked.");
  const rows = found.questions.map(({ unit, ask, bits }) => {
    const ofUnit = several ? `of unit ${unit}; ` : "";
    return element("li", {}, ask, element("span", { class: "bits" }, ` (${ofUnit}${fixed(bits, 2)} bits expected)`));
  });
  return element("ol", { class: "said" }, ...rows);
}

/** @param {string} text @returns {Inside[]} */
function message(text) {
  const rows = String(text.split("\n").length + MORE_ROWS), id = "listing-message-text";
  const written = element("textarea", { id, rows, "aria-labelledby": "listing-message-title", spellcheck: "false" });
  if (written instanceof HTMLTextAreaElement) written.value = text;
  const copy = element("button", { type: "button" }, "Copy the message"), done = element("p", { role: "status" });
  copy.addEventListener("click", () => {
    if (!(written instanceof HTMLTextAreaElement)) return;
    written.select();
    navigator.clipboard.writeText(written.value).then(
      () => (done.textContent = "The message is copied."),
      () => (done.textContent = "It could not be copied; it is selected, so that you can copy it yourself."),
    );
  });
  return [written, element("p", { class: "go" }, copy), done];
}
