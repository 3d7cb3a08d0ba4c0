/** The photograph on the page: a part of it on a canvas, the marks over it, and a glass that shows the place of a mark larger. */

import { element, one } from "../page/dom.js";
import { closer, holding, middle, moved, onPicture, onStage, wholeView } from "./view.js";

/**
 * @typedef {import("./view.js").Point} Point
 * @typedef {import("./view.js").View} View
 * @typedef {import("./known.js").Role} Role
 *
 * @typedef {object} Handlers what the page does
 * @property {(point: Point) => void} put puts the chosen mark
 * @property {(letter: string, point: Point) => void} move moves a mark
 * @property {(letter: string) => void} remove
 * @property {(letter: string) => void} choose
 * @property {() => void} drawn the view has changed
 *
 * @typedef {{role: Role, at: Point | null}} Mark
 */

/** A step of the arrows, in pixels of the picture; the other one with Shift. */
const STEP = 1, FINE = 0.1;
/** Buttons and keys come closer by this, and look further by this share of the stage. */
const FACTOR = 1.6, SHARE = 0.25;
/** A finger or a hand may tremble by so many pixels of the page and still click. */
const TREMBLE = 6;
/** The glass shows a pixel of the picture this large at least, and this many times as large as the stage does. */
const GLASS = 4, LARGER = 3;
/** @type {Record<string, Point>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
/** @type {Record<string, Point>} */
const LOOKS = { left: [-1, 0], right: [1, 0], up: [0, -1], down: [0, 1] };

export class Stage {
  /** @param {Handlers} handlers */
  constructor(handlers) {
    this.handlers = handlers;
    this.root = one("#measure-stage", HTMLElement);
    this.canvas = one("#measure-stage .picture", HTMLCanvasElement);
    this.glass = one("#measure-stage .glass", HTMLCanvasElement);
    this.standing = one("#measure-stage .standing", HTMLElement);
    /** @type {ImageBitmap | null} */
    this.picture = null;
    /** @type {View} */
    this.view = { scale: 1, left: 0, top: 0 };
    /** @type {Mark[]} */
    this.marks = [];
    this.chosen = "";
    /** The mark that was put or moved last. */
    this.last = "";
    /** @type {Map<string, HTMLElement>} */
    this.buttons = new Map();
    /** @type {Point | null} */
    this.pointed = null;
    this.listen();
  }

  /** How large the stage is, in pixels of the page. */
  get size() {
    return { width: this.root.clientWidth, height: this.root.clientHeight };
  }

  /** Shows a picture, the whole of it. @param {ImageBitmap} picture */
  open(picture) {
    this.picture?.close();
    this.picture = picture;
    this.root.classList.add("open");
    this.root.style.aspectRatio = `${picture.width} / ${picture.height}`;
    this.look(wholeView(picture, this.size));
  }

  /** Whether a part of the picture is seen. */
  get near() {
    return this.picture !== null && this.view.scale > wholeView(this.picture, this.size).scale * 1.001;
  }

  /** @param {View} view */
  look(view) {
    this.view = view;
    this.root.classList.toggle("near", this.near);
    this.draw();
    this.handlers.drawn();
  }

  /** Where the chosen mark is, or else the one that was put last. @returns {Point | null} */
  get watched() {
    const [chosen, last] = [this.chosen, this.last].map((letter) => this.marks.find(({ role }) => role.letter === letter)?.at);
    return chosen ?? last ?? null;
  }

  /** Closer or farther, with the mark that is worked on in the middle. @param {number} factor */
  zoom(factor) {
    if (!this.picture) return;
    this.look(closer(this.view, factor, this.watched ?? middle(this.view, this.size), this.picture, this.size));
  }

  /** Further by so many pixels of the page. @param {Point} by */
  pan(by) {
    if (this.picture) this.look(moved(this.view, by, this.picture, this.size));
  }

  /** What a tool of the page, or its key, does. @param {string} does */
  tool(does) {
    const [x, y] = LOOKS[does] ?? [0, 0];
    if (does === "closer") this.zoom(FACTOR);
    else if (does === "farther") this.zoom(1 / FACTOR);
    else if (does === "whole") this.zoom(0);
    else this.pan([x * SHARE * this.size.width, y * SHARE * this.size.height]);
  }

  /** The marks as they stand now. @param {Mark[]} marks @param {string} chosen */
  show(marks, chosen) {
    this.marks = marks;
    this.chosen = chosen;
    this.draw();
  }

  /** Moves the view so that a mark is seen, and the keyboard to it. @param {string} letter */
  goTo(letter) {
    const at = this.marks.find((mark) => mark.role.letter === letter)?.at;
    this.last = letter;
    if (at && this.picture) this.look(holding(this.view, at, this.picture, this.size));
    this.buttons.get(letter)?.focus({ preventScroll: true });
  }

  // Drawing -----------------------------------------------------------------------------------------------------------------

  draw() {
    const { width, height } = this.size;
    const dense = window.devicePixelRatio || 1;
    const [across, down] = [Math.round(width * dense), Math.round(height * dense)];
    if (this.canvas.width !== across || this.canvas.height !== down) {
      this.canvas.width = across;
      this.canvas.height = down;
    }
    const to = this.canvas.getContext("2d");
    if (!to || !this.picture) return;
    const { scale, left, top } = this.view;
    to.setTransform(1, 0, 0, 1, 0, 0);
    to.clearRect(0, 0, across, down);
    to.imageSmoothingEnabled = scale < 2;
    to.imageSmoothingQuality = "high";
    to.setTransform(scale * dense, 0, 0, scale * dense, -left * scale * dense, -top * scale * dense);
    to.drawImage(this.picture, 0, 0);
    to.setTransform(dense, 0, 0, dense, 0, 0);
    this.drawLines(to);
    this.placeButtons();
    this.drawGlass();
  }

  /** The lines between marks: around what is known, and along what is wanted. @param {CanvasRenderingContext2D} to */
  drawLines(to) {
    const style = getComputedStyle(this.root);
    for (const of of ["known", "wanted"]) {
      const points = this.marks.filter(({ role }) => role.of === of).flatMap(({ at }) => (at ? [onStage(this.view, at)] : []));
      if (points.length < 2) continue;
      to.beginPath();
      points.forEach(([x, y]) => to.lineTo(x, y));
      if (points.length === 4) to.closePath();
      for (const [color, thick] of /** @type {[string, number][]} */ ([["#ffffff", 4], [style.getPropertyValue(`--${of}`), 1.5]])) {
        to.strokeStyle = color;
        to.lineWidth = thick;
        to.stroke();
      }
    }
  }

  placeButtons() {
    const letters = new Set(this.marks.filter(({ at }) => at).map(({ role }) => role.letter));
    for (const [letter, button] of this.buttons) {
      if (letters.has(letter)) continue;
      button.remove();
      this.buttons.delete(letter);
    }
    for (const { role, at } of this.marks) {
      if (!at) continue;
      const button = this.buttons.get(role.letter) ?? this.button(role);
      const [x, y] = onStage(this.view, at);
      button.style.transform = `translate(${x}px, ${y}px)`;
      button.classList.toggle("chosen", role.letter === this.chosen);
      button.setAttribute("aria-label", `Mark ${role.letter}, ${role.words}: ${at[0].toFixed(1)} across, ${at[1].toFixed(1)} down`);
    }
  }

  /** @param {Role} role */
  button({ letter, of }) {
    const made = element("button", { type: "button", class: `mark of-${of}` }, element("span", {}, letter));
    made.addEventListener("keydown", (event) => this.keyOnMark(event, letter));
    made.addEventListener("focus", () => this.handlers.choose(letter));
    this.buttons.set(letter, made);
    const after = this.marks.slice(this.marks.findIndex(({ role }) => role.letter === letter) + 1);
    const next = after.map(({ role }) => this.buttons.get(role.letter)).find((one) => one?.isConnected);
    this.standing.insertBefore(made, next ?? null);
    return made;
  }

  /** What is around the pointer, or else the mark that is worked on, in the corner that is farther from it. */
  drawGlass() {
    const focused = this.marks.find(({ role }) => this.buttons.get(role.letter) === document.activeElement)?.at;
    const at = this.pointed ?? focused ?? this.watched;
    const to = this.glass.getContext("2d");
    this.glass.hidden = !at || !this.picture;
    if (!at || !to || !this.picture) return;
    const [x, y] = onStage(this.view, at);
    this.glass.classList.toggle("right", x < this.size.width / 2 && y < this.size.height / 2);
    const half = this.glass.width / 2;
    const scale = Math.max(GLASS, LARGER * this.view.scale) * 2;
    to.setTransform(1, 0, 0, 1, 0, 0);
    to.clearRect(0, 0, 2 * half, 2 * half);
    to.imageSmoothingEnabled = false;
    to.setTransform(scale, 0, 0, scale, half - at[0] * scale, half - at[1] * scale);
    to.drawImage(this.picture, 0, 0);
    to.setTransform(1, 0, 0, 1, 0, 0);
    for (const [color, thick] of /** @type {[string, number][]} */ ([["#ffffff", 5], ["#1b2423", 2]])) {
      to.strokeStyle = color;
      to.lineWidth = thick;
      to.beginPath();
      for (const [dx, dy] of /** @type {Point[]} */ ([[1, 0], [-1, 0], [0, 1], [0, -1]])) {
        to.moveTo(half + dx * 16, half + dy * 16);
        to.lineTo(half + dx * half, half + dy * half);
      }
      to.stroke();
    }
  }

  // Pointer and keys ----------------------------------------------------------------------------------------------------------

  listen() {
    /** @type {{at: Point, last: Point, far: boolean} | null} */
    let pressed = null;
    /** @param {PointerEvent} event @returns {Point} */
    const place = (event) => {
      const box = this.root.getBoundingClientRect();
      return [event.clientX - box.left - this.root.clientLeft, event.clientY - box.top - this.root.clientTop];
    };
    this.root.addEventListener("pointerdown", (event) => {
      if (event.button === 0 && this.picture) pressed = { at: place(event), last: place(event), far: false };
    });
    this.root.addEventListener("pointermove", (event) => {
      const now = place(event);
      if (pressed) {
        pressed.far ||= Math.hypot(now[0] - pressed.at[0], now[1] - pressed.at[1]) > TREMBLE;
        if (pressed.far && this.near) this.pan([pressed.last[0] - now[0], pressed.last[1] - now[1]]);
        pressed.last = now;
      }
      this.pointed = event.pointerType === "mouse" && this.picture ? onPicture(this.view, now) : null;
      this.drawGlass();
    });
    this.root.addEventListener("pointerup", (event) => {
      if (pressed && !pressed.far) this.handlers.put(onPicture(this.view, place(event)));
      pressed = null;
    });
    this.root.addEventListener("pointercancel", () => (pressed = null));
    this.root.addEventListener("pointerleave", () => {
      this.pointed = null;
      this.drawGlass();
    });
    this.root.addEventListener("keydown", (event) => this.keyOnStage(event));
    new ResizeObserver(() => {
      if (!this.picture) return;
      const about = middle(this.view, this.size);
      this.look(this.near ? closer(this.view, 1, about, this.picture, this.size) : wholeView(this.picture, this.size));
    }).observe(this.root);
  }

  /** @param {KeyboardEvent} event */
  keyOnStage(event) {
    if (event.target !== this.root || event.ctrlKey || event.metaKey || event.altKey || !this.picture) return;
    const arrow = ARROWS[event.key];
    if (arrow) this.pan([(arrow[0] * SHARE * this.size.width) / 2, (arrow[1] * SHARE * this.size.height) / 2]);
    else if (event.key === "Enter") this.handlers.put(middle(this.view, this.size));
    else if (!this.zoomKey(event.key)) return;
    event.preventDefault();
  }

  /** @param {KeyboardEvent} event @param {string} letter */
  keyOnMark(event, letter) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const at = this.marks.find(({ role }) => role.letter === letter)?.at;
    const arrow = ARROWS[event.key];
    if (at && arrow) {
      const step = event.shiftKey ? FINE : STEP;
      this.pointed = null;
      this.handlers.move(letter, [at[0] + arrow[0] * step, at[1] + arrow[1] * step]);
    } else if (event.key === "Delete" || event.key === "Backspace") {
      this.root.focus();
      this.handlers.remove(letter);
    } else if (!this.zoomKey(event.key)) return;
    event.preventDefault();
  }

  /** @param {string} key @returns {boolean} whether it is one that zooms */
  zoomKey(key) {
    const does = { "+": "closer", "=": "closer", "-": "farther", "0": "whole" }[key];
    if (does) this.tool(does);
    return does !== undefined;
  }
}
