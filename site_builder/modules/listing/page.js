/** The page that reads a seller's text: what is pasted stays in this tab; the answers to its photographs stand in the address. */

import { Session } from "../kernel/session.js";
import { CannotLoad, familyOf, script } from "../page/data.js";
import { element, goTo, link, one } from "../page/dom.js";
import { flowOf } from "../page/flow.js";
import { address, changed, readAddress } from "../page/state.js";
import { claims } from "./claims.js";
import { readListing, reportListing } from "./listing.js";
import { Spoken } from "./listing_words.js";
import { NoText, decoded, plainText } from "./plain_text.js";
import { shown } from "./shown.js";
import { forget, remember, remembered } from "./stored.js";
import { vocabularyOf } from "./vocabulary.js";

/**
 * @typedef {import("../page/flow.js").Flow} Flow
 * @typedef {import("./records.js").Records} Records
 * @typedef {import("./vocabulary.js").PackedVocabulary} PackedVocabulary
 * @typedef {import("./vocabulary.js").Vocabulary} Vocabulary
 *
 * @typedef {{vocabulary: PackedVocabulary, records: Records}} ListingData what listing-data.js assigns
 */

const DATA = "listing-data.js";

/** The elements of the page. */
function parts() {
  return {
    form: one("#listing-form", HTMLFormElement),
    text: one("#listing-text", HTMLTextAreaElement),
    file: one("#listing-file", HTMLInputElement),
    family: one("#listing-family", HTMLSelectElement),
    problem: one("#listing-problem", HTMLElement),
    standing: one("#listing-standing", HTMLElement),
    found: one("#listing-found", HTMLElement),
    answers: one("#listing-photographs .answers", HTMLElement),
    look: one("#listing-photographs a.to-answers", HTMLAnchorElement),
    linked: one("#listing-link", HTMLFormElement),
    address: one("#listing-address", HTMLInputElement),
  };
}

/** The page while it is open. */
class Page {
  constructor() {
    this.on = parts();
    /** @type {Vocabulary | null} */
    this.vocabulary = null;
    /** Counts what was read: what is still being read when something changes is not shown any more. */
    this.turn = 0;
  }

  begin() {
    const { form, text, file, linked, address: pasted } = this.on;
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      void this.read(true);
    });
    one("#listing-form .clear", HTMLButtonElement).addEventListener("click", () => this.clear());
    text.addEventListener("focus", () => void script(DATA).catch(() => {}), { once: true }); // said when it is read
    text.addEventListener("input", () => remember(text.value));
    file.addEventListener("change", () => void this.open());
    linked.addEventListener("submit", (event) => {
      event.preventDefault();
      location.hash = pasted.value.slice(pasted.value.indexOf("#") + 1 || pasted.value.length);
    });
    window.addEventListener("hashchange", () => void this.read(false));
    text.value = remembered();
    void this.read(false);
  }

  /** Takes the text of a file. */
  async open() {
    const { file, text } = this.on, [opened] = file.files ?? [];
    if (!opened) return;
    try {
      text.value = plainText(decoded(new Uint8Array(await opened.arrayBuffer())));
      remember(text.value);
      await this.read(true);
    } catch (error) {
      this.refuse(error);
    }
  }

  clear() {
    const { text, file, problem, standing, found } = this.on;
    text.value = file.value = problem.textContent = standing.textContent = "";
    found.replaceChildren();
    forget();
    this.turn += 1;
    text.focus();
  }

  /** Reads the text and shows what it claims. @param {boolean} asked whether somebody asked for it just now */
  async read(asked) {
    const { text, problem, standing, found, family } = this.on;
    const turn = (this.turn += 1);
    problem.textContent = "";
    text.removeAttribute("aria-invalid");
    try {
      const flow = await this.answers(asked);
      if (turn !== this.turn || (!asked && !text.value.trim())) return;
      const plain = plainText(text.value);
      standing.textContent = "Reading…";
      await script(DATA);
      await painted();
      if (turn !== this.turn) return;
      const sections = this.evaluated(plain, flow);
      standing.textContent = "";
      found.replaceChildren(...sections);
      if (asked) goTo(found.querySelector("h2"));
    } catch (error) {
      if (turn !== this.turn) return;
      standing.textContent = "";
      found.replaceChildren();
      this.refuse(error);
    }
    family.value = familyOf(family.value) ? family.value : "";
  }

  /** @param {string} plain @param {Flow} flow @returns {HTMLElement[]} */
  evaluated(plain, flow) {
    const data = tellmarkListingData;
    this.vocabulary ??= vocabularyOf(data.vocabulary);
    const { session, words, entries } = flow, spoken = new Spoken(words, data.records);
    const base = new Session(session.compiled), seen = entries.length || session.views ? session : null;
    const listing = readListing(spoken, plain, claims(plain, this.vocabulary), base, seen);
    return shown(listing, reportListing(listing));
  }

  /**
   * What the address says of the photographs, shown; the chosen family goes into the address.
   * @param {boolean} asked
   * @returns {Promise<Flow>}
   */
  async answers(asked) {
    const { answers, look, family } = this.on;
    const { state, problems } = readAddress(location.hash);
    if (!asked && state.family) family.value = state.family;
    const chosen = changed(state, { family: family.value || null, at: "", target: "variant", ask: "yes-no" });
    const flow = await flowOf(chosen);
    const { words } = flow;
    const said = flow.entries.map(({ trait, reading }) => `${words.trait(trait)}: ${words.reading(trait, reading).replaceAll(" +- ", " ± ")}`);
    const rows = said.map((text) => element("li", {}, text));
    const wrong = [...problems, ...flow.problems].map((text) => element("p", { class: "problem" }, text));
    const away = rows.length ? [element("p", {}, link("#", "Leave these answers out", { class: "away" }))] : [];
    const list = rows.length ? element("ul", { class: "said" }, ...rows) : element("p", { class: "none" }, "Nothing is answered yet.");
    answers.replaceChildren(list, ...wrong, ...away);
    look.href = `identify.html${rows.length || chosen.family ? address(flow.state) : ""}`;
    return flow;
  }

  /** Says what is wrong and goes there. @param {unknown} error */
  refuse(error) {
    const { problem, text } = this.on;
    if (error instanceof NoText) {
      problem.textContent = sentence(error.message);
      text.setAttribute("aria-invalid", "true");
      text.focus();
    } else if (error instanceof CannotLoad) {
      problem.textContent = `A file of this site is missing: ${error.src}.`;
    } else throw error;
  }
}

/** @param {string} text @returns {string} */
function sentence(text) {
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

/** Until what was put on the page is seen. @returns {Promise<void>} */
function painted() {
  return new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
}

/** Begins, where there is such a page. */
export function run() {
  const page = document.getElementById("listing-page");
  if (!page) return;
  page.hidden = false;
  new Page().begin();
}

run();
