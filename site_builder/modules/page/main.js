/** The page that identifies: shows what the address says, and leads from address to address. */

import { standing } from "../kernel/report.js";
import { meant } from "../kernel/typed.js";
import { lowerFirst } from "../kernel/wording.js";
import { drawAnswers, drawLeading } from "./beside.js";
import { CannotLoad } from "./data.js";
import { element, goTo, link, one } from "./dom.js";
import { existing, flowOf, questionOf, replied } from "./flow.js";
import { asked, told } from "./question.js";
import { saving } from "./save.js";
import { unheardOf } from "./sentences.js";
import { drawStart, serveStart } from "./start.js";
import { address, changed, readAddress, withChanged, withTold, withoutLast } from "./state.js";
import { verdict } from "./verdict.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 * @typedef {import("./state.js").State} State
 */

/** Counts what was shown: what is still being made when somebody leads on is not shown any more. */
let turn = 0;

/** @param {boolean} first whether the page has only just been opened: nobody is led anywhere then */
async function show(first) {
  turn += 1;
  const mine = turn;
  const { state, problems } = readAddress(location.hash);
  try {
    const shown = state.at === "start" ? start(state) : await identified(state, () => mine === turn);
    if (!shown || mine !== turn) return;
    say([...problems, ...shown.problems]);
    if (!first) goTo(shown.head());
  } catch (error) {
    if (!(error instanceof CannotLoad)) throw error;
    say([`${error.src} is missing from this folder`]);
  }
}

/**
 * What could not be read of the address.
 * @param {string[]} problems
 */
function say(problems) {
  const rows = problems.map((one) => element("li", {}, one));
  const said = ["Something in the address of this page cannot be used. The rest was kept.", element("ul", {}, ...rows)];
  one("#identify-problem", HTMLElement).replaceChildren(...(rows.length ? said : []));
}

/**
 * The beginning.
 * @param {State} asked
 */
function start(asked) {
  const { state, problems } = existing(asked);
  for (const id of ["#identify-leading", "#identify-answers"]) one(id, HTMLElement).hidden = true;
  one("#identify-page", HTMLElement).classList.remove("under-way");
  one("#identify-now", HTMLElement).replaceChildren();
  one("#identify-standing", HTMLElement).textContent = "";
  title(null);
  drawStart(state);
  return { problems, head: () => one("#identify-title", HTMLElement) };
}

/**
 * A question, the verdict, an answer to change, or what is saved.
 * @param {State} state
 * @param {() => boolean} current whether it is still what is to be shown
 */
async function identified(state, current) {
  const flow = await flowOf(state);
  const now = await content(flow);
  if (!current()) return null;
  one("#identify-start", HTMLFormElement).hidden = true;
  one("#identify-page", HTMLElement).classList.add("under-way");
  one("#identify-now", HTMLElement).replaceChildren(...now);
  const heading = one("#identify-now h1", HTMLElement);
  title(heading.textContent);
  const unheard = unheardOf(flow);
  one("#identify-standing", HTMLElement).textContent = [unheard, standing(flow.session, flow.words)].filter(Boolean).join(" ");
  drawAnswers(flow);
  void drawLeading(flow);
  return { problems: flow.problems, head: () => /** @type {HTMLElement} */ (heading.closest("legend") ?? heading) };
}

/**
 * @param {Flow} flow
 * @returns {Promise<HTMLElement[]>}
 */
async function content(flow) {
  const { state } = flow;
  if (state.at === "save") return [await saving(flow)];
  if (state.at.startsWith("change.")) {
    const index = Number(state.at.slice("change.".length)) - 1;
    const entry = flow.entries.find((one) => one.index === index);
    if (entry) return [await changing(flow, index, entry.trait, entry.value)];
  }
  if (state.at.startsWith("tell.")) {
    const key = state.at.slice("tell.".length);
    const which = meant(flow.words, state.family, key);
    const trait = "problem" in which ? undefined : which.traits[0];
    if (trait !== undefined) {
      const before = flow.entries.filter((one) => one.trait === trait);
      const chosen = before.length === 1 ? (before[0]?.value ?? null) : null;
      return [await told(flow, trait, (value) => address(withTold(state, flow.words.key(trait), value)), chosen, [])];
    }
    flow.problems.push(`“${key}” is no trait`);
  }
  if (!flow.session.belief.plausible) return [contradiction(flow)];
  const proposal = questionOf(flow);
  if (!proposal) return [verdict(flow)];
  const reply = (/** @type {State} */ _, /** @type {import("./flow.js").Question} */ question, /** @type {string} */ value) => replied(flow, question, value);
  const made = await asked(flow, proposal, reply);
  const enough = link(address(changed(state, { at: "verdict" })), "What it is so far", { class: "so-far" });
  if (flow.entries.length) made.querySelector(".go")?.append(enough);
  return [made];
}

/**
 * @param {Flow} flow
 * @param {number} index
 * @param {number} trait
 * @param {string} value
 */
function changing(flow, index, trait, value) {
  const { state } = flow;
  const away = link(address(withChanged(state, index, null)), "Take this answer back");
  return told(flow, trait, (now) => address(withChanged(state, index, now)), value, [element("p", {}, away)]);
}

/**
 * Nothing in the record can show all that was answered.
 * @param {Flow} flow
 */
function contradiction({ state, entries, words }) {
  const rows = entries.map(({ trait, reading, index }) =>
    element("li", {}, link(address(changed(state, { at: `change.${index + 1}` })), `${words.trait(trait)}: ${lowerFirst(words.reading(trait, reading))}`)),
  );
  return element(
    "div",
    {},
    element("h1", { tabindex: "-1" }, "Nothing in the record can show all of this"),
    element("p", {}, "One of the answers must be a slip, or it is no unit of this kind. Change one, or take the last one back:"),
    element("ul", { class: "links" }, ...rows),
    element("p", { class: "go" }, link(address(withoutLast(state)), "Take the last answer back", { class: "continue" })),
  );
}

const ownTitle = document.title;

/** @param {string | null} text of the heading; null at the start */
function title(text) {
  document.title = text ? `${text} · ${ownTitle}` : ownTitle;
  one("#identify-title", HTMLElement).hidden = text !== null;
}

/** Begins, where there is such a page. */
export function run() {
  const page = document.getElementById("identify-page");
  if (!page) return;
  page.hidden = false;
  serveStart(() => readAddress(location.hash).state);
  window.addEventListener("hashchange", () => void show(false));
  void show(true);
}

run();
