/** The measured length as an answer to a trait: a link to the page that identifies. */

import { element, one } from "../page/dom.js";
import { address, changed, readAddress, withTold } from "../page/state.js";
import { families, traitsOf } from "./data.js";
import { inUnit, written } from "./spread.js";

/**
 * @typedef {import("./lengths.js").Length} Length
 */

/**
 * Whether a value is nowhere near what a trait can be: the page that identifies would not take it (`withinReach` there).
 * @param {number} value
 * @param {import("./data.js").TraitRow} row
 */
function isFar(value, [, , , , least, most]) {
  const span = most - least;
  return value < least - span || value > most + span;
}

export class Answering {
  constructor() {
    this.family = one("#answer-family", HTMLSelectElement);
    this.trait = one("#answer-trait", HTMLSelectElement);
    this.link = one("#answer-link", HTMLAnchorElement);
    /** @type {Length | null} */
    this.length = null;
    const rows = families().map(([id, family]) => element("option", { value: id }, family.name));
    this.family.replaceChildren(element("option", { value: "" }, "I do not know"), ...rows);
    const { family, at } = readAddress(location.hash).state;
    if (family) this.family.value = family;
    if (!this.family.value) this.family.value = "";
    this.offer(at.startsWith("tell.") ? at.slice(5) : "");
    this.family.addEventListener("change", () => this.offer(this.trait.value));
    this.trait.addEventListener("change", () => this.draw());
  }

  /** Offers what can be measured on the family. @param {string} chosen */
  offer(chosen) {
    const traits = traitsOf(this.family.value);
    this.trait.replaceChildren(...traits.map(([key, name]) => element("option", { value: key }, name)));
    if (traits.some(([key]) => key === chosen)) this.trait.value = chosen;
    this.draw();
  }

  /** @param {Length | null} length */
  show(length) {
    this.length = length;
    this.draw();
  }

  draw() {
    const row = traitsOf(this.family.value).find(([key]) => key === this.trait.value);
    one("#answer-look", HTMLElement).textContent = row?.[3] ?? "";
    const far = this.length && row && isFar(inUnit(this.length.value, row[2]), row);
    this.link.hidden = !this.length || !row || Boolean(far);
    const none = one("#answer-none", HTMLElement);
    none.hidden = !this.link.hidden;
    none.textContent = far && row ? `${row[1]}: from ${row[4]} to ${row[5]} ${row[2]}. What was measured is something else.` : "Measure a length first.";
    if (!this.length || !row || far) return;
    const [key, , unit] = row;
    // The address of an identification that came along keeps its other answers; it names no place that was open there.
    const { state } = readAddress(location.hash);
    const told = withTold(changed(state, { family: this.family.value || null }), key, written(this.length, unit));
    this.link.href = `identify.html${address(told)}`;
    this.link.textContent = `Answer with ${written(this.length, unit, "±")}`;
  }
}
