/** The beginning: which family, what one can look at, what is to be found out. */

import { viewsOf } from "./data.js";
import { element, goTo, one } from "./dom.js";
import { address, changed, empty } from "./state.js";

/**
 * @typedef {import("./state.js").State} State
 * @typedef {import("./data.js").ViewRow} ViewRow
 */

/** @type {[string, (row: ViewRow) => boolean][]} shortcuts for what can be looked at */
const QUICK = [
  ["Photographs of two sides", ([, , , sort]) => sort === 0],
  ["The unit in hand", ([, , , sort]) => sort <= 2],
  ["Everything", () => true],
];

/**
 * Shows the form with what the state says.
 * @param {State} state
 */
export function drawStart(state) {
  const form = one("#identify-start", HTMLFormElement);
  form.hidden = false;
  const radio = document.getElementById(state.family ? `family-${state.family}` : "family-unknown");
  const unknown = state.family === null && state.views === null && state.answers.length === 0;
  if (radio instanceof HTMLInputElement && !unknown) radio.checked = true;
  for (const [name, value] of [["target", state.target], ["ask", state.ask]]) {
    const chosen = document.getElementById(`${name}-${value}`);
    if (chosen instanceof HTMLInputElement) chosen.checked = true;
  }
  drawViews(state.family, state.views);
}

/** Makes the form work. @param {() => State} current the state in the address */
export function serveStart(current) {
  const form = one("#identify-start", HTMLFormElement);
  form.noValidate = true;
  const buttons = QUICK.map(([text, wanted]) => {
    const button = element("button", { type: "button" }, text);
    button.addEventListener("click", () => {
      const rows = viewsOf(family(form));
      for (const tick of ticks(form)) {
        const row = rows.find(([id]) => id === tick.value);
        tick.checked = row !== undefined && wanted(row);
      }
    });
    return button;
  });
  one("#identify-views .quick", HTMLElement).append(...buttons);
  form.addEventListener("change", (event) => {
    if (event.target instanceof HTMLInputElement && event.target.name === "family") {
      drawViews(family(form), ticks(form).filter((tick) => tick.checked).map((tick) => tick.value));
    }
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    begin(form, current());
  });
}

/** @param {HTMLFormElement} form @returns {string | null} */
function family(form) {
  return String(new FormData(form).get("family") ?? "") || null;
}

/** @param {HTMLFormElement} form */
function ticks(form) {
  return [.../** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll("input[name=view]"))];
}

/**
 * A box to tick for each view.
 * @param {string | null} of the family
 * @param {string[] | null} ticked
 */
function drawViews(of, ticked) {
  const boxes = viewsOf(of).map(([id, name, how]) =>
    element(
      "label",
      { class: "choice", for: `view-${id}` },
      element("input", {
        type: "checkbox",
        name: "view",
        id: `view-${id}`,
        value: id,
        checked: Boolean(ticked?.includes(id)),
        "aria-labelledby": `view-${id}-name`,
        ...(how ? { "aria-describedby": `view-${id}-how` } : {}),
      }),
      element(
        "span",
        { class: "words" },
        element("span", { id: `view-${id}-name` }, name),
        how ? element("span", { class: "says", id: `view-${id}-how` }, how) : null,
      ),
    ),
  );
  one("#identify-views .ticks", HTMLElement).replaceChildren(...boxes);
}

/**
 * Leads to the first question, or says what is missing and moves there.
 * @param {HTMLFormElement} form
 * @param {State} state
 */
function begin(form, state) {
  const problem = one("#identify-problem", HTMLElement);
  const all = ticks(form);
  const views = all.filter((tick) => tick.checked).map((tick) => tick.value);
  if (new FormData(form).get("family") === null) {
    problem.textContent = "Choose a family, or say that you do not know.";
    goTo(form.querySelector("input[name=family]"));
  } else if (views.length === 0) {
    problem.textContent = "Tick at least one thing that you can look at.";
    goTo(all[0] ?? null);
  } else {
    const said = new FormData(form);
    const next = changed(state, {
      family: family(form),
      views: views.length === all.length ? null : views,
      target: /** @type {State["target"]} */ (said.get("target") ?? empty().target),
      ask: /** @type {State["ask"]} */ (said.get("ask") ?? empty().ask),
      at: "",
    });
    location.hash = address(next);
  }
}
