/** A drawing laid over the photograph: two of its points stand on two marks, and it is drawn as strong as one likes. */

import { element, one } from "../page/dom.js";
import { families } from "./data.js";
import { laid, onStage } from "./view.js";

/**
 * @typedef {import("./view.js").Point} Point
 * @typedef {import("./view.js").View} View
 */

const PINS = /** @type {const} */ (["R", "S"]);
/** Where the two points are at first, in shares of the drawing: its lower corners, within the air around it. */
const FIRST = { R: [3, 88], S: [97, 88] };

export class Laying {
  /** @param {() => void} changed what is laid, or whether something is, has changed */
  constructor(changed) {
    this.changed = changed;
    this.choice = one("#lay-variant", HTMLSelectElement);
    this.image = new Image();
    this.image.className = "laid";
    this.image.alt = "";
    this.image.hidden = true;
    one("#measure-stage .picture", HTMLElement).after(this.image);
    this.sheet = new Image();
    one(".sheet", HTMLElement).prepend(this.sheet);
    this.strength = one("#lay-strength", HTMLInputElement);
    this.turned = one("#lay-turned", HTMLInputElement);
    this.size = { width: 0, height: 0 };
    this.offer();
    this.choice.addEventListener("change", () => this.take());
    this.strength.addEventListener("input", () => this.changed());
    this.turned.addEventListener("change", () => this.changed());
    for (const input of this.inputs) input.addEventListener("input", () => this.changed());
    one(".sheet", HTMLElement).addEventListener("click", (event) => this.pin(event));
  }

  get inputs() {
    return PINS.flatMap((pin) => ["x", "y"].map((axis) => one(`#pin-${pin}-${axis}`, HTMLInputElement)));
  }

  /** Whether a drawing is laid. */
  get active() {
    return this.choice.value !== "";
  }

  offer() {
    const groups = families().flatMap(([, family]) => {
      const rows = family.variants.map(([id, name]) => element("option", { value: id }, name));
      return rows.length ? [element("optgroup", { label: family.name }, ...rows)] : [];
    });
    this.choice.replaceChildren(element("option", { value: "" }, "None"), ...groups);
    for (const pin of PINS) ["x", "y"].forEach((axis, at) => (one(`#pin-${pin}-${axis}`, HTMLInputElement).value = String(FIRST[pin][at])));
  }

  take() {
    const row = families().flatMap(([, family]) => family.variants).find(([id]) => id === this.choice.value);
    one(".laying", HTMLElement).hidden = !row;
    if (row) {
      const [, name, src, width, height] = row;
      this.size = { width, height };
      for (const image of [this.image, this.sheet]) {
        image.src = src;
        image.width = width;
        image.height = height;
      }
      this.sheet.alt = `The side of ${name}`;
    }
    this.changed();
  }

  /** A click on the drawing puts the point that is nearer. @param {MouseEvent} event */
  pin(event) {
    const box = this.sheet.getBoundingClientRect();
    const [x, y] = [(100 * (event.clientX - box.left)) / box.width, (100 * (event.clientY - box.top)) / box.height];
    const apart = PINS.map((pin) => Math.hypot((this.at(pin)[0] - x) * box.width, (this.at(pin)[1] - y) * box.height));
    const pin = (apart[0] ?? 0) <= (apart[1] ?? 0) ? "R" : "S";
    [x, y].forEach((one_, axis) => (one(`#pin-${pin}-${axis ? "y" : "x"}`, HTMLInputElement).value = (Math.round(2 * one_) / 2).toFixed(1)));
    this.changed();
  }

  /** Where a point is, in hundredths of the drawing. @param {"R" | "S"} pin @returns {Point} */
  at(pin) {
    /** @param {string} axis */
    const read = (axis) => Math.min(Math.max(Number(one(`#pin-${pin}-${axis}`, HTMLInputElement).value) || 0, 0), 100);
    return [read("x"), read("y")];
  }

  /**
   * Draws it.
   * @param {View} view
   * @param {Point | null} first where R is on the photograph
   * @param {Point | null} second
   */
  draw(view, first, second) {
    const { width, height } = this.size;
    for (const pin of PINS) {
      const [x, y] = this.at(pin);
      const shown = one(`.pin[data-pin="${pin}"]`, HTMLElement);
      shown.style.left = `${x}%`;
      shown.style.top = `${y}%`;
    }
    /** @param {"R" | "S"} pin @returns {Point} */
    const inDrawing = (pin) => [(this.at(pin)[0] * width) / 100, (this.at(pin)[1] * height) / 100];
    const on = first && second && this.active;
    const matrix = on ? laid([inDrawing("R"), inDrawing("S")], [onStage(view, first), onStage(view, second)], this.turned.checked) : null;
    this.image.hidden = !matrix;
    if (!matrix) return;
    this.image.style.transform = `matrix(${matrix.join(", ")})`;
    this.image.style.opacity = String(Number(this.strength.value) / 100);
  }
}
