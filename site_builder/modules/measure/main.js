/** The page that measures on a photograph: what is known, the marks, and the length that follows. */

import { element, one } from "../page/dom.js";
import { Answering } from "./answer.js";
import { everywhere, families } from "./data.js";
import { OF_DRAWING, rolesOf, sizesOf } from "./known.js";
import { Laying } from "./lay.js";
import { CLICK, CannotMeasure, alongLine, byScale, inRectangle, isGuess, toLength } from "./lengths.js";
import { List } from "./list.js";
import { written } from "./spread.js";
import { Stage } from "./stage.js";

/**
 * @typedef {import("./view.js").Point} Point
 * @typedef {import("./known.js").Way} Way
 * @typedef {import("./known.js").Sizes} Sizes
 * @typedef {import("./known.js").Role} Role
 * @typedef {import("./lengths.js").Length} Length
 */

/** What is typed, in the place of something chosen. */
const TYPED = "";
/** A figure that changes with every key is said when it has stood still for so long, in milliseconds. */
const STILL = 600;

class Measuring {
  constructor() {
    /** @type {Map<string, Point>} */
    this.places = new Map();
    this.chosen = "A";
    /** @type {number | undefined} */
    this.waiting = undefined;
    this.stage = new Stage({
      put: (point) => this.put(point),
      move: (letter, point) => this.move(letter, point),
      remove: (letter) => this.set(letter, null),
      choose: (letter) => this.choose(letter),
      drawn: () => this.drawLaid(),
    });
    this.list = new List({ choose: (letter) => this.chooseFromList(letter), typed: (letter, point) => this.set(letter, point) });
    this.answering = new Answering();
    this.laying = new Laying(() => this.show());
    this.offer();
    this.listen();
    this.show();
  }

  // What is known ---------------------------------------------------------------------------------------------------------

  /** @returns {Way} */
  get way() {
    return /** @type {Way} */ (one("#measure-page input[name=way]:checked", HTMLInputElement).value);
  }

  offer() {
    const { gauges, rectangles } = everywhere();
    /** @param {[string, string][]} rows */
    const options = (rows) => rows.map(([value, name]) => element("option", { value }, name));
    const recorded = families().flatMap(([id, family]) => {
      const rows = family.recorded.map(([name], at) => /** @type {[string, string]} */ ([`${id}/${at}`, name]));
      return rows.length ? [element("optgroup", { label: `Recorded: ${family.name}` }, ...options(rows))] : [];
    });
    one("#known-scale", HTMLSelectElement).replaceChildren(
      ...options([[TYPED, "A length that I measured"]]),
      element("optgroup", { label: "Between the rails of a track" }, ...options(gauges.map(([id, name]) => [id, name]))),
      ...recorded,
    );
    one("#known-plane", HTMLSelectElement).replaceChildren(
      ...options([[TYPED, "A rectangle that I measured"], ...rectangles.map(([id, name]) => /** @type {[string, string]} */ ([id, name]))]),
    );
    one("#measure-click", HTMLInputElement).value = String(CLICK);
  }

  /** What is known, in mm; null where it was not said, or cannot be read. @returns {Sizes | null} */
  sizes() {
    /** @param {string[]} ids */
    const typed = (...ids) => sizesOf(ids.map((id) => one(id, HTMLInputElement).value.trim()));
    if (this.way === "line") return typed("#known-first", "#known-second");
    if (this.way === "plane") {
      const chosen = one("#known-plane", HTMLSelectElement).value;
      const row = everywhere().rectangles.find(([id]) => id === chosen);
      return row ? { numbers: [row[2], row[4]], spreads: [row[3], row[5]] } : typed("#known-width", "#known-height");
    }
    const chosen = one("#known-scale", HTMLSelectElement).value;
    if (chosen === TYPED) return typed("#known-length");
    const [family = "", at = ""] = chosen.split("/");
    const recorded = Object.fromEntries(families())[family]?.recorded[Number(at)];
    const gauge = everywhere().gauges.find(([id]) => id === chosen);
    if (recorded) return { numbers: [recorded[1]], spreads: [recorded[2]] };
    return gauge ? { numbers: [gauge[2]], spreads: [gauge[3]] } : null;
  }

  /** The uncertainty of a mark in pixels; null for what is none. */
  click() {
    const read = Number(one("#measure-click", HTMLInputElement).value.trim().replace(",", "."));
    return read > 0 && read <= 1000 ? read : null;
  }

  // Marks -------------------------------------------------------------------------------------------------------------------

  /** @returns {Role[]} */
  get roles() {
    return [...rolesOf(this.way), ...(this.laying.active ? OF_DRAWING : [])];
  }

  /** Puts the chosen mark, and chooses the next one that is nowhere yet. @param {Point} point */
  put(point) {
    const letter = this.chosen;
    this.move(letter, point);
    this.stage.goTo(letter);
    const next = this.roles.find((role) => !this.places.has(role.letter));
    if (next) this.choose(next.letter);
  }

  /** Moves a mark to a tenth of a pixel, inside the picture. @param {string} letter @param {Point} point */
  move(letter, point) {
    const { width, height } = this.stage.picture ?? { width: Infinity, height: Infinity };
    /** @param {number} value @param {number} most */
    const within = (value, most) => Math.min(Math.max(Math.round(value * 10) / 10, 0), most);
    this.set(letter, [within(point[0], width), within(point[1], height)]);
    this.stage.goTo(letter);
  }

  /** @param {string} letter @param {Point | null} point */
  set(letter, point) {
    if (point) this.places.set(letter, point);
    else this.places.delete(letter);
    this.show();
  }

  /** @param {string} letter */
  choose(letter) {
    if (this.chosen === letter) return;
    this.chosen = letter;
    this.show();
  }

  /** A mark that is nowhere yet is put with the next click, or with Enter. @param {string} letter */
  chooseFromList(letter) {
    this.choose(letter);
    if (this.places.has(letter)) this.stage.goTo(letter);
    else if (this.stage.picture) this.stage.root.focus();
  }

  // The length --------------------------------------------------------------------------------------------------------------

  /** The length, or a sentence that says what is missing or wrong. @returns {{length: Length} | {missing: string} | {problem: string}} */
  found() {
    const roles = rolesOf(this.way);
    const sizes = this.sizes();
    const click = this.click();
    if (!click) return { problem: "How well a mark is put is a number of pixels, more than nothing." };
    const missing = roles.filter(({ letter }) => !this.places.has(letter)).map(({ letter }) => letter);
    if (missing.length) return { missing: `Still to mark: ${missing.join(", ")}.` };
    if (!sizes) return { missing: "Say what is known." };
    const marks = roles.map(({ letter }) => this.places.get(letter) ?? /** @type {Point} */ ([0, 0]));
    const clicks = marks.map(() => click);
    try {
      const [first = 0, second = 0] = sizes.numbers;
      const derived =
        this.way === "scale" ? byScale(marks, [first]) : this.way === "line" ? alongLine(marks, [first, second], clicks) : inRectangle(marks, [first, second]);
      return { length: toLength(derived, marks.map((_, at) => at), clicks, sizes.spreads) };
    } catch (error) {
      if (!(error instanceof CannotMeasure)) throw error;
      return { problem: `This cannot be measured: ${error.message}.` };
    }
  }

  // The page ------------------------------------------------------------------------------------------------------------------

  show() {
    const roles = this.roles;
    const now = roles.find(({ letter }) => letter === this.chosen) ?? roles[0];
    this.chosen = now?.letter ?? "A";
    const marks = roles.map((role) => ({ role, at: this.places.get(role.letter) ?? null }));
    this.stage.show(marks, this.chosen);
    this.list.show(marks, this.chosen);
    one("#measure-now", HTMLElement).textContent = now ? `Mark ${now.letter}: ${now.words}` : "";
    for (const part of document.querySelectorAll("#measure-page .sizes")) {
      if (part instanceof HTMLElement) part.hidden = part.dataset["way"] !== this.way;
    }
    this.showTyped();
    this.showLength();
    this.drawLaid();
  }

  /** Fields for what is typed, where nothing is chosen instead; what in them cannot be read is said. */
  showTyped() {
    const scale = one("#known-scale", HTMLSelectElement).value === TYPED;
    const plane = one("#known-plane", HTMLSelectElement).value === TYPED;
    for (const [ids, typed] of /** @type {[string[], boolean][]} */ ([[["#known-length"], scale], [["#known-width", "#known-height"], plane]])) {
      for (const id of ids) {
        const field = one(id, HTMLInputElement).closest("p");
        if (field) field.hidden = !typed;
      }
    }
    const wrong = [...document.querySelectorAll("#measure-page .sizes:not([hidden]) p:not([hidden]) > input")].filter((input) => {
      const bad = input instanceof HTMLInputElement && input.value.trim() !== "" && sizesOf([input.value.trim()]) === null;
      if (bad) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
      return bad;
    });
    one("#measure-known-problem", HTMLElement).textContent = wrong.length ? "A length needs its unit: 32 mm, 57.2 +- 0.1 mm or 1 1/4 in." : "";
  }

  showLength() {
    const found = this.found();
    const length = "length" in found ? found.length : null;
    const [mm, inches] = length ? [written(length, "mm", "±"), written(length, "in", "±")] : ["", ""];
    const shown = one("#measure-length", HTMLElement);
    if (length) shown.replaceChildren(element("span", {}, mm), " ", element("span", { class: "inches" }, inches));
    else shown.textContent = "missing" in found ? found.missing : "";
    shown.classList.toggle("waiting", !length);
    one("#measure-share", HTMLElement).textContent = length ? shares(length) : "";
    const guess = length && isGuess(length) ? "A guess: the marks are too close together, or too far from what is known." : "";
    const problem = "problem" in found ? found.problem : guess;
    one("#measure-problem", HTMLElement).textContent = problem;
    this.answering.show(length);
    window.clearTimeout(this.waiting);
    this.waiting = window.setTimeout(() => {
      one("#measure-aloud", HTMLElement).textContent = [[mm, inches].filter(Boolean).join(", "), problem].filter(Boolean).join(". ");
    }, STILL);
  }

  drawLaid() {
    // The stage is made first, and may draw before there is something to lay.
    if (this.laying) this.laying.draw(this.stage.view, this.places.get("R") ?? null, this.places.get("S") ?? null);
  }

  listen() {
    const page = one("#measure-page", HTMLElement);
    one("#measure-file", HTMLInputElement).addEventListener("change", (event) => void this.open(event));
    for (const tool of page.querySelectorAll(".tools button")) {
      if (tool instanceof HTMLElement) tool.addEventListener("click", () => this.stage.tool(tool.dataset["does"] ?? ""));
    }
    for (const input of page.querySelectorAll("input[name=way], .sizes :is(input, select), #measure-click")) {
      input.addEventListener("input", () => this.show());
      input.addEventListener("change", () => this.show());
    }
  }

  /** @param {Event} event */
  async open(event) {
    const file = event.target instanceof HTMLInputElement ? event.target.files?.[0] : undefined;
    if (!file) return;
    const problem = one("#measure-file-problem", HTMLElement);
    const picture = await createImageBitmap(file).catch(() => null);
    problem.textContent = picture ? "" : `“${file.name}” cannot be shown as a picture. A photograph as JPEG, PNG or WebP can.`;
    if (!picture) return;
    this.places.clear();
    this.chosen = "A";
    this.stage.open(picture);
    this.show();
  }
}

/** What the uncertainty is made of. @param {Length} length */
function shares({ ofMarking, ofKnown }) {
  return `± ${ofMarking.toPrecision(2)} mm from marking, ± ${ofKnown.toPrecision(2)} mm from what is known`;
}

/** Begins, where there is such a page. */
export function run() {
  const page = document.getElementById("measure-page");
  if (!page) return;
  page.hidden = false;
  new Measuring();
}

run();
