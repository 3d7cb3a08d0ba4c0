/** What stands beside every question: who leads, and every answer with a way to change it. */

import { NOT_IN_THE_RECORD } from "../kernel/arrays.js";
import { lowerFirst, percent } from "../kernel/wording.js";
import { pageOf, places } from "./data.js";
import { element, image, link, one } from "./dom.js";
import { familyOfVariant } from "./flow.js";
import { address, changed } from "./state.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 */

/** So many candidates are shown, and none with less than this. */
const MOST = 4, LEAST = 0.005;

/**
 * The leading candidates, with their sides.
 * @param {Flow} flow
 */
export async function drawLeading({ session, words, state }) {
  const section = one("#identify-leading", HTMLElement);
  section.hidden = !session.belief.plausible || state.at === "save";
  if (section.hidden) return;
  const shown = session.variants.slice(0, MOST).filter(([, chance], n) => n === 0 || chance >= LEAST);
  const rows = shown.map(([ident, chance]) => row(session, words, ident, chance));
  one("#identify-leading ol", HTMLElement).replaceChildren(...rows.map(({ item }) => item));
  for (const { ident, picture } of rows) await side(familyOfVariant(session, ident), ident, picture);
}

/**
 * @param {Flow["session"]} session
 * @param {Flow["words"]} words
 * @param {string} ident
 * @param {number} chance
 */
function row(session, words, ident, chance) {
  const picture = element("span", { class: "drawn", "aria-hidden": "true" });
  const name = ident === NOT_IN_THE_RECORD ? words.variant(ident) : link(pageOf("variant", ident), words.variant(ident));
  const bar = element("meter", { min: "0", max: "1", value: String(chance), "aria-hidden": "true", tabindex: "-1" });
  const twin = session.inseparable.includes(ident) && session.inseparable.length > 1;
  return {
    ident,
    picture,
    item: element(
      "li",
      {},
      ident === NOT_IN_THE_RECORD ? null : picture,
      element("span", { class: "who" }, name, twin ? element("span", { class: "often" }, " cannot be told from another") : null),
      element("span", { class: "chance" }, percent(chance)),
      bar,
    ),
  };
}

/**
 * Puts a variant's side into its place; without one the place stays empty.
 * @param {string | null} family
 * @param {string} ident
 * @param {HTMLElement} place
 */
export async function side(family, ident, place) {
  if (family === null) return;
  try {
    const src = (await places(family)).sides[ident];
    if (src) place.replaceChildren(image(src, 440, 130));
  } catch {
    place.replaceChildren();
  }
}

/**
 * Every answer with a way to change it, and a way to tell something else.
 * @param {Flow} flow
 */
export function drawAnswers(flow) {
  const { state, entries, words } = flow;
  const section = one("#identify-answers", HTMLElement);
  section.hidden = false;
  /** @type {Map<number, typeof entries>} */
  const bySaid = new Map();
  for (const entry of entries) bySaid.set(entry.index, [...(bySaid.get(entry.index) ?? []), entry]);
  const wrong = new Set(flow.session.doubts.filter((doubt) => doubt.looksWrong).map((doubt) => doubt.trait));
  const items = [...bySaid].map(([index, [entry]]) => {
    if (!entry) return element("li");
    const name = words.trait(entry.trait);
    const said = words.reading(entry.trait, entry.reading).replace(" +- ", " ± ");
    const change = link(address(changed(state, { at: `change.${index + 1}` })), "Change", { "aria-label": `Change: ${name}` });
    const second = entry.look > 0 ? element("span", { class: "often" }, " second look") : null;
    const doubt = wrong.has(entry.trait) ? element("strong", { class: "doubt" }, " looks wrong") : null;
    return element("li", {}, element("span", {}, `${name}: `, element("b", {}, said), second, doubt), change);
  });
  const list = items.length ? element("ol", {}, ...items) : element("p", { class: "unsaid" }, "Nothing yet.");
  const views = state.views
    ? state.views.map((view) => words.viewName(view))
    : ["everything"];
  const seen = element(
    "p",
    { class: "seen" },
    `What you can look at: ${views.map(lowerFirst).join("; ")}. `,
    link(address(changed(state, { at: "start" })), "Change", { "aria-label": "Change the family, or what you can look at" }),
  );
  one("#identify-answers .said", HTMLElement).replaceChildren(list, seen, volunteer(flow));
}

/**
 * A list of everything that can be looked at, to tell what nobody asked for.
 * @param {Flow} flow
 */
function volunteer({ state, session, words }) {
  const list = /** @type {HTMLSelectElement} */ (element("select", { id: "identify-else" }));
  /** @type {Map<string, HTMLElement>} */
  const groups = new Map();
  const rows = session.compiled.traits.map((_, t) => t).filter((t) => words.record(t) !== null);
  const views = session.compiled.views;
  rows.sort((a, b) => (session.compiled.effort[words.traitAt(a).view] ?? 9) - (session.compiled.effort[words.traitAt(b).view] ?? 9));
  for (const t of rows) {
    const view = views[words.traitAt(t).view];
    const name = view === undefined ? "Anywhere" : words.viewName(view);
    const group = groups.get(name) ?? element("optgroup", { label: name });
    groups.set(name, group);
    group.append(element("option", { value: words.key(t) }, words.trait(t)));
  }
  list.append(...groups.values());
  const form = element(
    "form",
    { class: "else" },
    element("label", { for: "identify-else" }, "Something else you see"),
    element("span", { class: "row" }, list, element("button", { type: "submit" }, "Tell")),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    location.hash = address(changed(state, { at: `tell.${list.value}` }));
  });
  return form;
}
