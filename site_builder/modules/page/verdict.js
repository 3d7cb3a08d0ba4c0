/** The verdict: what it is, how sure, where it came from, what was changed, and what speaks against it. As `cli/screen.py`. */

import { NOT_IN_THE_RECORD } from "../kernel/arrays.js";
import { report } from "../kernel/report.js";
import { confidence, lowerFirst, percent } from "../kernel/wording.js";
import { fixed } from "../kernel/written.js";
import { remembered } from "../listing/stored.js";
import { side } from "./beside.js";
import { pageOf, viewsOf } from "./data.js";
import { element, link } from "./dom.js";
import { familyOfVariant } from "./flow.js";
import { compared, inseparable, levelOf, paragraph, parts, where } from "./identified.js";
import { address, changed, withoutLast } from "./state.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 * @typedef {import("./dom.js").Inside} Inside
 * @typedef {import("../kernel/report.js").Report} Report
 */

/** As in `cli/screen.py`, which says what each is for. */
const WORTH_SAYING = 0.3, WORTH_TELLING = 0.05, MOST_LOOKS = 2;
const TELLS = 0.75, MOST_AGAINST = 2, VERDICT = 0.5, MOST_SUBJECTS = 3, WORTH_LOOKING = 0.5, UNLISTED = 0.6;

/** @type {Record<string, string>} what is still to settle when the variant is */
const OTHER_TARGETS = {
  set: "the set it came from is not yet",
  original: "whether it is all original is not yet",
  all: "the rest is not yet",
};

/**
 * The whole verdict.
 * @param {Flow} flow
 * @returns {HTMLElement}
 */
export function verdict(flow) {
  const { session, words } = flow;
  const found = report(session, words);
  const first = leaderOf(found);
  const unlisted = first.id === NOT_IN_THE_RECORD && first.probability >= UNLISTED;
  return element(
    "article",
    { class: "verdict" },
    ...head(flow, found),
    onward(flow, found),
    section("Could it be another?", otherwise(flow, found)),
    ...(unlisted ? [] : [section("Where it came from", where(flow, found)), section("Was it born this way?", parts(flow, found))]),
    section("Why", why(flow, found)),
    section("What one more view would settle", moreViews(flow, found)),
    actions(flow),
  );
}

/**
 * What is likeliest.
 * @param {Report} found
 */
function leaderOf(found) {
  return found.variants[0] ?? { id: NOT_IN_THE_RECORD, name: "Not in the record", probability: 0 };
}

/**
 * A section, if anything is to be said in it.
 * @param {string} title
 * @param {Inside[]} inside
 */
function section(title, inside) {
  const said = inside.filter(Boolean);
  return said.length ? element("section", {}, element("h2", {}, title), ...said) : null;
}

// What it is ----------------------------------------------------------------------------------------------------------------

/**
 * @param {Flow} flow
 * @param {Report} found
 * @returns {Inside[]}
 */
function head(flow, found) {
  const { session } = flow;
  const first = leaderOf(found);
  const none = first.id === NOT_IN_THE_RECORD;
  const picture = element("div", { class: "drawn", "aria-hidden": "true" });
  void side(familyOfVariant(session, first.id), first.id, picture);
  const name = none ? "Not in the record" : link(pageOf("variant", first.id), first.name);
  return [
    element("p", { class: "kicker" }, level(flow, found)),
    element("h1", { tabindex: "-1" }, name),
    none ? null : picture,
    element("p", { class: "sure" }, ...sure(session.variants[0]?.[1] ?? 0)),
    ...(none ? unlistedAdvice() : []),
    ...inseparable(flow, found),
  ];
}

/** @param {number} chance @returns {Inside[]} */
function sure(chance) {
  const often = chance >= 0.995 ? "more than 99 of 100" : `about ${fixed(chance * 100, 0)} of 100`;
  return [element("b", {}, percent(chance)), ` sure: of verdicts stated so, ${often} are right.`];
}

/**
 * The name of how far it is settled.
 * @param {Flow} flow
 * @param {Report} found
 */
function level({ session, words }, found) {
  const shares = found.variants.map((one) => one.probability);
  const named = confidence(shares, session.compiled.settled);
  const none = leaderOf(found).id === NOT_IN_THE_RECORD;
  const { target } = session;
  if (!found.answers.length) return "No answers yet; the commonest";
  if (none && (named === "settled" || named === "likely")) return named === "settled" ? "No recorded variant fits" : "Probably";
  if (found.settled && target === "set") return "The set it came from is settled; the variant most likely";
  if (found.settled && target === "original") {
    const original = found.original >= 0.5 ? "All original" : "Not all original";
    return `${original} (${percent(Math.max(found.original, 1 - found.original))}); the variant most likely`;
  }
  if (named === "settled" && !found.settled) return `The ${words.noun} is settled; ${OTHER_TARGETS[target] ?? "the rest is not yet"}`;
  return levelOf(session, found, named);
}

/** What to do about a unit that nobody recorded. @returns {Inside[]} */
function unlistedAdvice() {
  return [
    paragraph("Nobody has recorded a unit like this. It may be worth recording."),
    paragraph(
      "First look again at what was read and measured, and at anything that may have been repainted or rebuilt. " +
        "If it stands, photograph it from all sides, save it below as a sighting, and send it to those who keep the record.",
    ),
  ];
}

// Going on --------------------------------------------------------------------------------------------------------------------

/**
 * What would help most: one more question, another look, a part in doubt.
 * @param {Flow} flow
 * @param {Report} found
 */
function onward(flow, found) {
  const { session, words, state } = flow;
  const asked = session.toAsk;
  if (!session.settled && !asked) return paragraph("Nothing more to ask with what can be seen would change the answer.", { class: "note" });
  if (!asked) return null;
  const ask = address(changed(state, { at: "ask" }));
  const again = found.look_again !== null;
  const text = session.settled
    ? "Whether one part is the one it left the factory with is still in doubt. One more question would tell most:"
    : again
      ? "It would help most to look again at one answer:"
      : "It would help most to know:";
  const remarks = [words.where(words.view(asked.question.trait)), `${fixed(asked.bits, 2)} bits expected`].filter(Boolean);
  return element(
    "div",
    { class: "onward" },
    element("p", {}, text, element("br"), element("b", {}, words.ask(asked.question)), ` (${remarks.join("; ")})`),
    element("p", { class: "go" }, link(ask, session.settled ? "Look at that part" : "Go on", { class: "continue" })),
  );
}

// Another -----------------------------------------------------------------------------------------------------------------------

/**
 * Which answer looks wrong, what a changed answer would do, and how to tell the runner-up.
 * @param {Flow} flow
 * @param {Report} found
 * @returns {Inside[]}
 */
function otherwise(flow, found) {
  return [...wrong(flow, found), ...against(flow, found), ...turned(flow, found), ...(toldApart(flow, found) ?? lookAlike(flow))];
}

/**
 * The recorded variant that comes next, beside the leader.
 * @param {Flow} flow
 * @returns {Inside[]}
 */
function lookAlike({ session, words }) {
  const [first, second] = session.variants.flatMap(([ident]) => (ident === NOT_IN_THE_RECORD ? [] : [ident]));
  if (first === undefined || second === undefined || session.inseparable.includes(second)) return [];
  const listed = session.variants[0]?.[0] === first;
  const text = listed ? `Put it beside its nearest, ${words.variant(second)}` : "Put the two nearest that are recorded side by side";
  return [element("p", {}, link(compared([first, second]), text))];
}

/** @param {Flow} flow @param {string} key */
const traitName = ({ words }, key) => words.trait(words.at.get(key) ?? -1);

/** @param {Flow} flow @param {Report} found @returns {Inside[]} */
function wrong(flow, found) {
  const names = found.doubts.map((one) => `${traitName(flow, one.trait)}: ${one.answer} (${percent(one.chance)})`);
  if (!names.length) return [];
  return [paragraph(names.length === 1 ? `One answer looks wrong: ${names[0]}.` : `${names.length} answers look wrong: ${names.join("; ")}.`)];
}

/** @param {Flow} flow @param {string | boolean | null | undefined} ident */
const variantName = ({ words }, ident) => {
  const unlisted = typeof ident !== "string" || ident === NOT_IN_THE_RECORD;
  return unlisted ? `a ${words.thing} that is not in the record` : words.variant(ident);
};

/** @param {Report} found */
const aboutVariant = (found) => found.explanation.find((one) => one.about === "variant");

/** @param {Flow} flow @param {Report} found @returns {Inside[]} */
function against(flow, found) {
  const reasons = aboutVariant(found);
  if (!reasons?.against.length) return [];
  const over = new Map(reasons.answers.map((one) => [one.trait, one.over_runner_up]));
  const named = reasons.against
    .slice(0, MOST_AGAINST)
    .filter((trait) => -(over.get(trait) ?? 0) >= WORTH_SAYING)
    .map((trait) => `${traitName(flow, trait)} (${fixed(-(over.get(trait) ?? 0), 1)} bits)`);
  if (!named.length) return [];
  return [paragraph(`For ${variantName(flow, [reasons.runner_up.is].flat()[0])} instead: ${named.join(", ")}.`)];
}

/** @param {Flow} flow @param {Report} found @returns {Inside[]} */
function turned(flow, found) {
  const reasons = aboutVariant(found);
  if (!reasons?.flip || reasons.probability < VERDICT) return [];
  const changes = reasons.flip.changes.map(
    (one) => `“${traitName(flow, one.trait)}” were ${lowerFirst(one.to)} instead of ${lowerFirst(one.from)}`,
  );
  return [paragraph(`It would be ${variantName(flow, reasons.flip.to)} if ${changes.join(" and ")}.`)];
}

/** @param {Flow} flow @param {Report} found @returns {Inside[] | null} null where nothing comes near */
function toldApart({ words }, found) {
  const apart = found.tell_apart;
  if (!apart) return null;
  const leader = leaderOf(found);
  const second = found.variants.find((one) => one.id === apart.from)?.probability ?? 0;
  if (second < WORTH_TELLING || leader.probability + second < VERDICT) return null;
  const other = words.variant(apart.from);
  const beside = element("p", {}, link(compared([leader.id, apart.from]), "Put the two side by side"));
  if (!apart.by.length) return [paragraph(`Nothing else that is recorded tells it from ${other}.`), beside];
  const good = apart.by.filter((one) => one.right >= TELLS);
  const looks = good.length ? good : apart.by;
  const slots = new Set();
  const chosen = looks.filter((one) => {
    const slot = one.trait.split(".")[0];
    return !slots.has(slot) && slots.add(slot);
  });
  const rows = chosen.slice(0, MOST_LOOKS).map((one) => {
    const view = words.where(one.view);
    const values = [leader.id, apart.from].map((ident) => lowerFirst(one.values[ident] ?? "").replaceAll(" +- ", " ± "));
    return element("li", {}, element("b", {}, one.name), view ? ` (${view})` : "", `: ${values[0]} instead of ${values[1]}`);
  });
  return [paragraph(`To tell it from ${other}:`), element("ul", {}, ...rows), beside];
}

// Reasons ---------------------------------------------------------------------------------------------------------------------

/** @param {Flow} flow @param {Report} found @returns {Inside[]} */
function why(flow, found) {
  const { session, words } = flow;
  const told = new Set(session.given.filter((one) => one.reading.kind !== "cannot-tell").map((one) => words.key(one.trait)));
  const doubtful = new Set(found.doubts.map((one) => one.trait));
  const rows = found.answers
    .filter((one) => told.has(one.trait))
    .sort((a, b) => b.bits - a.bits);
  if (!rows.length) return [];
  const most = Math.max(1, ...rows.map((one) => Math.abs(one.bits)));
  return [
    paragraph("Bits for the verdict, the other answers given; below 0 is against it. One bit doubles the odds.", { class: "how" }),
    element(
      "table",
      { class: "plain weights" },
      element("caption", {}, "What each answer weighs"),
      element("thead", {}, element("tr", {}, ...["Answer", "Bits"].map((text) => element("th", { scope: "col" }, text)))),
      element(
        "tbody",
        {},
        ...rows.map((one) => {
          const note = doubtful.has(one.trait) ? " looks wrong" : one.bits <= -0.1 ? " against" : "";
          const bits = `${one.bits >= 0.05 ? "+" : one.bits <= -0.05 ? "\u2212" : ""}${fixed(Math.abs(one.bits), 1)}`;
          const against = one.bits < 0 ? "against" : "";
          return element(
            "tr",
            {},
            element("th", { scope: "row" }, `${traitName(flow, one.trait)}: ${one.answer.replaceAll(" +- ", " ± ")}`, note ? element("strong", { class: "doubt" }, note) : null),
            element(
              "td",
              { "data-label": "Bits" },
              element("span", { class: "bits" }, bits, element("progress", { max: String(most), value: String(Math.abs(one.bits)), class: against, "aria-hidden": "true" })),
            ),
          );
        }),
      ),
    ),
  ];
}

/** @param {Flow} flow @param {Report} found @returns {Inside[]} */
function moreViews({ words, state }, found) {
  /** @type {[string, Map<string, number>, number][]} */
  const likely = found.views.map((one) => [
    one.view,
    new Map(one.settles.filter((some) => some.chance >= 0.5).map((some) => [some.what, some.chance])),
    one.effort,
  ]);
  const best = likely.find(([, some, effort]) => [...some.values()].reduce((sum, chance) => sum + chance, 0) >= WORTH_LOOKING * effort);
  const tells = likely.find(([, some]) => some.has(words.noun));
  const shown = [...new Set([best, tells])].flatMap((one) => (one ? [one] : []));
  const how = new Map(viewsOf(state.family).map(([id, , text]) => [id, text]));
  return shown.map(([view, some]) => {
    const first = (/** @type {string} */ what) => (what === words.noun || what === "set" ? 0 : 1);
    const subjects = [...some].sort((a, b) => first(a[0]) - first(b[0]) || b[1] - a[1]).slice(0, MOST_SUBJECTS);
    const named = subjects.map(([what, chance]) => `${what === words.noun || what === "set" ? `the ${what}` : lowerFirst(words.slot(what))} (${inTen(chance)})`);
    const more = address(changed(state, { views: [...(state.views ?? []), view], at: "" }));
    return element(
      "div",
      {},
      element("p", {}, element("b", {}, words.viewName(view)), `: ${named.join(", ")}`),
      how.get(view) ? element("p", { class: "how" }, how.get(view) ?? "") : null,
      element("p", {}, link(more, "I can look there now", { class: "also", "aria-label": `I can look there now: ${words.viewName(view)}` })),
    );
  });
}

/** A chance that is known from a few dozen trials. @param {number} chance */
function inTen(chance) {
  return chance < 0.95 ? `${Math.min(9, Math.round(chance * 10))} in 10` : "nearly always";
}

// What to do with it ------------------------------------------------------------------------------------------------------------

/** @param {Flow} flow */
function actions({ state }) {
  const copy = element("button", { type: "button" }, "Copy the link to this result");
  const done = element("p", { role: "status" });
  copy.addEventListener("click", () => {
    navigator.clipboard.writeText(location.href).then(
      () => (done.textContent = "The link is copied. Whoever opens it sees these answers."),
      () => (done.textContent = "It could not be copied; it is what stands in the address line."),
    );
  });
  const back = state.at === "verdict" ? address(changed(state, { at: "" })) : address(withoutLast(state));
  return element(
    "div",
    { class: "after" },
    element(
      "ul",
      { class: "actions" },
      element("li", {}, link(address(changed(state, { at: "save" })), "Save as a sighting")),
      element("li", {}, copy),
      element("li", {}, link(back, "Back", { class: "back" })),
      remembered() ? element("li", {}, link(`listing.html${address(changed(state, { at: "" }))}`, "Back to the seller’s text with these answers")) : null,
      element("li", {}, link("#", "Another unit")),
    ),
    done,
  );
}
