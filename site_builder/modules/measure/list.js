/** The marks as a form: each with its place in pixels, which can be typed. */

import { element, one } from "../page/dom.js";

/**
 * @typedef {import("./view.js").Point} Point
 * @typedef {import("./stage.js").Mark} Mark
 *
 * @typedef {object} ListHandlers
 * @property {(letter: string) => void} choose
 * @property {(letter: string, point: Point | null) => void} typed null: nothing stands there any more
 */

const AXES = /** @type {const} */ ([["x", "across"], ["y", "down"]]);

export class List {
  /** @param {ListHandlers} handlers */
  constructor(handlers) {
    this.handlers = handlers;
    this.root = one("#measure-list", HTMLElement);
    /** @type {Map<string, {choose: HTMLElement, inputs: HTMLInputElement[]}>} */
    this.rows = new Map();
  }

  /** Shows the marks, with a row for each. @param {Mark[]} marks @param {string} chosen */
  show(marks, chosen) {
    const letters = marks.map(({ role }) => role.letter).join("");
    if (letters !== [...this.rows.keys()].join("")) this.build(marks);
    for (const { role, at } of marks) {
      const row = this.rows.get(role.letter);
      if (!row) continue;
      row.choose.setAttribute("aria-pressed", String(role.letter === chosen));
      row.inputs.forEach((input, axis) => {
        if (document.activeElement === input) return;
        input.value = at ? (at[axis] ?? 0).toFixed(1) : "";
        input.removeAttribute("aria-invalid");
      });
    }
  }

  /** @param {Mark[]} marks */
  build(marks) {
    this.rows.clear();
    this.root.replaceChildren(
      ...marks.map(({ role: { letter, words, of } }) => {
        const choose = element("button", { type: "button", class: `of-${of}`, "aria-pressed": "false" }, `Mark ${letter}`);
        choose.addEventListener("click", () => this.handlers.choose(letter));
        const inputs = AXES.map(([axis, name]) => {
          const id = `mark-${letter}-${axis}`;
          const made = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", "aria-label": `${letter} ${name}, in pixels` });
          made.addEventListener("input", () => this.typed(letter));
          return /** @type {HTMLInputElement} */ (made);
        });
        this.rows.set(letter, { choose, inputs });
        const legend = element("legend", {}, `${letter}: ${words}`);
        return element("fieldset", { class: "row" }, legend, choose, ...inputs);
      }),
    );
  }

  /** @param {string} letter */
  typed(letter) {
    const inputs = this.rows.get(letter)?.inputs ?? [];
    const numbers = inputs.map((input) => (input.value.trim() === "" ? null : Number(input.value.trim().replace(",", "."))));
    inputs.forEach((input, axis) => {
      const wrong = numbers[axis] !== null && !Number.isFinite(numbers[axis]);
      if (wrong) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    });
    const [x, y] = numbers;
    const read = typeof x === "number" && typeof y === "number" && Number.isFinite(x) && Number.isFinite(y);
    this.handlers.typed(letter, read ? [x, y] : null);
  }
}
