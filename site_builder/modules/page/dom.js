/** Elements, and drawings out of the builder's own scripts. No text of an entry ever becomes markup here. */

/**
 * @typedef {Node | string | null | undefined | false} Inside what an element holds; nothing of what is empty
 */

/**
 * An element with its attributes and what is in it. An attribute that is true has no value; one that is false is left out.
 * @param {string} tag
 * @param {Record<string, string | boolean>} [attributes]
 * @param {...Inside} inside
 * @returns {HTMLElement}
 */
export function element(tag, attributes = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.filter((one) => typeof one === "string" || one instanceof Node));
  return made;
}

/**
 * A link. Nothing but our own pages, and the code host's form, is ever linked to.
 * @param {string} href
 * @param {string} text
 * @param {Record<string, string>} [attributes]
 */
export function link(href, text, attributes = {}) {
  return element("a", { href, ...attributes }, text);
}

/**
 * An element of the page.
 * @template {Element} T
 * @param {string} selector
 * @param {{new (): T}} kind
 * @returns {T}
 */
export function one(selector, kind) {
  const found = document.querySelector(selector);
  if (!(found instanceof kind)) throw new Error(`no ${selector} on the page`);
  return found;
}

/**
 * A picture that says nothing to a screen reader, since its words stand beside it.
 * @param {string} src
 * @param {number} width
 * @param {number} height
 */
export function image(src, width, height) {
  return element("img", { src, alt: "", width: String(width), height: String(height), decoding: "async" });
}

/**
 * A drawing out of one of the builder's scripts, as an element that says nothing to a screen reader; null for none.
 *
 * The text is written by the builder out of a short list of elements and attributes (`trusted` in drawn.py).
 * @param {string} svg
 * @returns {Element | null}
 */
export function drawing(svg) {
  const parsed = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  if (parsed.localName !== "svg") return null;
  const made = document.importNode(parsed, true);
  for (const words of made.querySelectorAll("svg > title, svg > desc")) words.remove();
  for (const name of ["role", "aria-labelledby", "aria-describedby"]) made.removeAttribute(name);
  made.setAttribute("aria-hidden", "true");
  made.setAttribute("focusable", "false");
  return made;
}

/**
 * An element of SVG.
 * @param {string} tag
 * @param {Record<string, string>} attributes
 */
export function shape(tag, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}

/**
 * Puts the keyboard at the head of what is shown now.
 * @param {HTMLElement | null} head
 */
export function goTo(head) {
  if (!head) return;
  if (!head.hasAttribute("tabindex") && !head.matches("a, button, input, select, textarea")) head.setAttribute("tabindex", "-1");
  head.focus();
}
