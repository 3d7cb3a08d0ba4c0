/** What a report says a unit is, as elements: how sure, what cannot be told apart, where it came from, what was changed. */

import { origin, story } from "../kernel/history.js";
import { lowerFirst, percent } from "../kernel/wording.js";
import { pageOf } from "./data.js";
import { element, link } from "./dom.js";

/**
 * @typedef {import("./dom.js").Inside} Inside
 * @typedef {import("../kernel/report.js").Report} Report
 * @typedef {import("../kernel/session.js").Session} Session
 * @typedef {import("../kernel/wording.js").Words} Words
 *
 * @typedef {{session: Session, words: Words}} Identified a unit as far as it is described
 */

/** As in `cli/screen.py`, which says what each is for. */
const CHANGED = 0.8, LIKELY = 0.5, DOUBTFUL = 0.25, BELONGS = 0.5, LIKELY_SET = 0.05, MOST_SETS = 4;

/** @type {Record<string, string>} how sure it is, in words */
export const LEVELS = { settled: "Settled", likely: "Likely", leaning: "Leaning towards", open: "Open; first among several" };

/**
 * How sure it is; settled as well where only more than can be seen would tell more.
 * @param {Session} session
 * @param {Report} found
 * @param {string} named one of LEVELS
 */
export function levelOf(session, found, named) {
  if (found.settled && found.cannot_be_told_apart.length && named !== "settled") {
    return `Settled, as far as ${session.wantedViews.length ? "can be seen" : "the record goes"}`;
  }
  return LEVELS[named] ?? named;
}

/** @param {string} text @param {Record<string, string>} [attributes] */
export const paragraph = (text, attributes = {}) => element("p", attributes, text.replaceAll(" +- ", " ± "));

/**
 * What cannot be told apart now, and what would tell it.
 * @param {Identified} identified
 * @param {Report} found
 * @returns {Inside[]}
 */
export function inseparable({ session, words }, found) {
  /** @type {string[]} */
  const apart = found.cannot_be_told_apart;
  if (!apart.length) return [];
  const views = session.wantedViews.map((view) => lowerFirst(words.viewName(session.compiled.views[view] ?? "")));
  const unclear = session.given.some((one) => one.reading.kind === "cannot-tell");
  const said = views.length
    ? `Not enough can be seen to tell these apart. It would take another view: ${views.join(", ")}.`
    : unclear
      ? "What was seen does not tell these apart. Some of what would was answered with: I cannot tell."
      : `Nothing that is recorded tells these apart. ${words.otherwise()}`;
  const rows = apart.slice(0, 6).map((ident) => element("li", {}, link(pageOf("variant", ident), words.variant(ident))));
  const more = apart.length > 6 ? [element("li", {}, `and ${apart.length - 6} more`)] : [];
  const beside = apart.length <= 6 ? [element("p", {}, link(compared(apart), "Put them side by side"))] : [];
  return [element("div", { class: "twins" }, paragraph(said), element("ul", {}, ...rows, ...more), ...beside)];
}

/** The address that puts these side by side. @param {string[]} idents */
export const compared = (idents) => `compare.html#${idents.join(",")}`;

/**
 * The sets it may have come from; nothing where none is likely and nobody asked.
 * @param {Identified} identified
 * @param {Report} found
 * @returns {Inside[]}
 */
export function where({ session, words }, found) {
  const likely = found.sets.filter((one) => one.probability >= LIKELY_SET).slice(0, MOST_SETS);
  if (!likely.some((one) => one.id) && session.target !== "set" && session.target !== "all") return [];
  const leading = likely.find((one) => one.id);
  const rows = likely.map((one) => {
    const record = one.id === null ? null : words.packed.sets[session.compiled.sets.indexOf(one.id)];
    const name = record
      ? link(pageOf("set", one.id ?? ""), `${record.name}, unit ${one.position} of ${record.positions.length}`)
      : "sold alone, or in no recorded set";
    const said = one === leading ? origin(words, found, one).map((sentence) => paragraph(sentence, { class: "note" })) : [];
    return element("li", {}, element("span", { class: "who" }, name), element("span", { class: "chance" }, percent(one.probability)), ...said);
  });
  return [element("ul", { class: "chances" }, ...rows)];
}

/**
 * Whether it was born this way: every slot with what sits there, and the chance that it was changed.
 * @param {Identified} identified
 * @param {Report} found
 * @returns {Inside[]}
 */
export function parts({ session, words }, found) {
  if (!found.slots.length) return [];
  const looked = new Set(session.evidence.map((one) => words.slotOf(one.trait).id));
  const rows = found.slots.map((one) => {
    const [there] = one.fitted;
    const [belongs] = one.belongs;
    const gone = there?.part === "none" && (belongs?.part ?? "none") !== "none";
    const remark = remarkOf(one.swapped, looked.has(one.slot), gone);
    const strong = remark === "changed" || remark === "missing";
    const right = there && remark === "changed" && belongs && belongs.probability > BELONGS && belongs.part !== there.part;
    return element(
      "tr",
      {},
      element("th", { scope: "row" }, words.slot(one.slot)),
      element(
        "td",
        { "data-label": "There now" },
        element(
          "div",
          {},
          ...(there ? [part(words, there.part), ` (${percent(there.probability)})`] : ["–"]),
          right ? element("p", { class: "belongs" }, "belongs there: ", part(words, belongs.part)) : null,
        ),
      ),
      element("td", { "data-label": "Changed" }, percent(one.swapped)),
      element("td", { "data-label": "Remark" }, remark ? (strong ? element("strong", {}, remark) : remark) : element("span", { class: "unsaid" }, "–")),
    );
  });
  const table = element(
    "table",
    { class: "plain slots" },
    element("caption", {}, "Each place, what sits there, and the chance that it is not what was"),
    element("thead", {}, element("tr", {}, ...["Place", "There now", "Changed", "Remark"].map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...rows),
  );
  return [
    element("p", {}, "All original: ", element("b", {}, percent(found.original))),
    ...story(words, found).map((sentence) => paragraph(sentence)),
    table,
  ];
}

/**
 * A word on a slot; of one that nobody looked at only what is usual can be said.
 * @param {number} chance
 * @param {boolean} looked
 * @param {boolean} gone
 */
function remarkOf(chance, looked, gone) {
  if (!looked) return chance >= LIKELY ? "often" : "";
  if (chance >= LIKELY) return (gone ? "missing" : "changed") + (chance >= CHANGED ? "" : "?");
  return chance >= DOUBTFUL ? "doubtful" : "";
}

/** @param {Words} words @param {string} ident @returns {Inside} */
function part(words, ident) {
  return Object.hasOwn(words.packed.parts, ident) ? link(pageOf("part", ident), words.part(ident)) : words.part(ident);
}
