/** Saving what was found as a sighting: what nobody can tell from the answers is asked, and the file made, copied or sent. */

import { NOT_IN_THE_RECORD } from "../kernel/arrays.js";
import { changedShare } from "../kernel/belief.js";
import { leadingFamily } from "../kernel/report.js";
import { Session } from "../kernel/session.js";
import { readAnswer } from "../kernel/typed.js";
import { percent } from "../kernel/wording.js";
import { answerOf } from "./answers.js";
import { familyOf, index, known } from "./data.js";
import { element, goTo, link } from "./dom.js";
import { familyOfVariant } from "./flow.js";
import { fileName, wellFormed, yamlOf } from "./sighting.js";
import { address, changed } from "./state.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 * @typedef {import("./sighting.js").Sighting} Sighting
 * @typedef {import("../kernel/typed.js").Answer} Answer
 */

/** A slot that was looked at is called swapped from here on, as the command says "changed". */
const CHANGED = 0.8;
/** A set is named from this chance on. */
const SET = 0.5;
/** The code host cuts off longer addresses. */
const MOST_ADDRESS = 7500;

/**
 * What the answers say of a unit of its leading family, as `tellmark check` will work it out from the file.
 * @param {Flow} flow
 */
async function verdictOf(flow) {
  const { session, words, entries, state } = flow;
  const first = session.variants[0]?.[0] ?? NOT_IN_THE_RECORD;
  const family = state.family ?? familyOfVariant(session, first) ?? leadingFamily(session) ?? "";
  const own = await known(family);
  /** @type {[string, Answer][]} */
  const answers = [];
  /** @type {import("../kernel/given.js").Given[]} */
  const given = [];
  for (const t of new Set(entries.map((entry) => entry.trait))) {
    const trait = words.traitAt(t);
    const mine = own.compiled.traits.findIndex((one) => one.id === trait.id && (one.family === trait.family));
    const answer = mine < 0 ? null : answerOf(words, t, entries.filter((entry) => entry.trait === t));
    const read = answer && readAnswer(own.words, mine, answer);
    if (answer && read && "reading" in read) {
      answers.push([own.words.key(mine), answer]);
      given.push({ trait: mine, reading: read.reading, look: 0 });
    }
  }
  const now = new Session(own.compiled, { given });
  const variant = now.variants[0]?.[0] ?? NOT_IN_THE_RECORD;
  const [set, position, chance] = now.positions[0] ?? [null, 0, 0];
  const looked = new Set(now.evidence.map((one) => own.compiled.traits[one.trait]?.slot ?? -1));
  const swapped = [...looked].filter((s) => s >= 0 && changedShare(own.compiled, now.belief, s) >= CHANGED);
  const recorded = variant !== NOT_IN_THE_RECORD;
  return {
    family,
    name: own.words.variant(variant),
    chance: now.variants[0]?.[1] ?? 0,
    answers,
    verdict: {
      variant: recorded ? variant : null,
      set: recorded && chance >= SET ? set : null,
      position: recorded && chance >= SET && set ? position : null,
      swapped: recorded ? swapped.map((s) => own.compiled.slots[s]?.id ?? "").sort() : [],
    },
  };
}

/** @typedef {{id: string, label: string, hint: string, kind: "text" | "date" | "area" | "number", needed?: boolean}} Field */

/** @type {Field[]} */
const FIELDS = [
  { id: "seen", label: "The day you examined it", hint: "", kind: "date", needed: true },
  { id: "by", label: "Who examined it", hint: "The name that will stand with the sighting.", kind: "text", needed: true },
  { id: "evidence", label: "Photographs and papers", hint: "One a line: a file's name, or where it is kept.", kind: "area" },
  { id: "label", label: "What the seller called it", hint: "", kind: "text" },
  { id: "grade", label: "Grade", hint: "Condition, from 1 to 10.", kind: "number" },
  { id: "note", label: "Notes", hint: "", kind: "area" },
];

/**
 * The form, and what becomes of it.
 * @param {Flow} flow
 * @returns {Promise<HTMLElement>}
 */
export async function saving(flow) {
  const back = link(address(changed(flow.state, { at: "verdict" })), "Back", { class: "back" });
  const title = element("h1", { tabindex: "-1" }, "Save as a sighting");
  const found = flow.session.belief.plausible ? await verdictOf(flow) : null;
  if (!found || !found.answers.length) {
    return element("div", {}, title, element("p", {}, "There is no answer yet that a sighting could say."), element("p", { class: "go" }, back));
  }
  const problem = element("p", { class: "problem", id: "save-problem", role: "alert" });
  const made = element("div", { class: "made", hidden: true });
  const form = element(
    "form",
    { class: "save", novalidate: true },
    problem,
    ...FIELDS.map(fieldElement),
    element("p", { class: "go" }, element("button", { type: "submit", class: "continue" }, "Write the file"), back),
  );
  const day = /** @type {HTMLInputElement} */ (form.querySelector("#save-seen"));
  day.value = today();
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const sighting = sightingOf(form, problem, flow, found);
    if (sighting) show(made, sighting, found);
  });
  return element(
    "div",
    {},
    title,
    element("p", {}, "A sighting is one examined unit: what you answered, what came of it, and on whose word. It is a test of the record as well."),
    element("p", {}, "Verdict: ", element("b", {}, found.name), ` (${percent(found.chance)}), of the ${familyOf(found.family)?.name ?? found.family}.`),
    form,
    made,
  );
}

/** @param {Field} field */
function fieldElement({ id, label, hint, kind, needed }) {
  const attributes = {
    id: `save-${id}`,
    name: id,
    ...(hint ? { "aria-describedby": `save-${id}-hint` } : {}),
    ...(needed ? { required: true } : {}),
  };
  const input =
    kind === "area"
      ? element("textarea", { ...attributes, rows: "4" })
      : element("input", { ...attributes, type: kind, ...(kind === "number" ? { min: "1", max: "10", step: "0.5", inputmode: "decimal" } : { autocomplete: "off" }) });
  return element(
    "p",
    { class: "field" },
    element("label", { for: `save-${id}` }, label, needed ? "" : element("span", { class: "often" }, " if you like")),
    hint ? element("span", { class: "says", id: `save-${id}-hint` }, hint) : null,
    input,
  );
}

/** The day it is here. */
function today() {
  const now = new Date();
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/**
 * What is in the form, or null with what is wrong said.
 * @param {HTMLElement} form
 * @param {HTMLElement} problem
 * @param {Flow} flow
 * @param {Awaited<ReturnType<typeof verdictOf>>} found
 * @returns {Sighting | null}
 */
function sightingOf(form, problem, { state }, { answers, verdict }) {
  /** @param {string} id */
  const field = (id) => /** @type {HTMLInputElement} */ (form.querySelector(`#save-${id}`));
  /** @param {string} id */
  const value = (id) => field(id).value.trim();
  const wrong =
    (!/^\d{4}-\d\d-\d\d$/.test(value("seen")) && ["seen", "Give the day you examined it, such as 2025-03-01."]) ||
    (!value("by") && ["by", "Say who examined it."]) ||
    (field("grade").validity.badInput && ["grade", "A grade is a number from 1 to 10."]) ||
    (value("grade") && !(Number(value("grade")) >= 1 && Number(value("grade")) <= 10) && ["grade", "A grade is a number from 1 to 10."]);
  for (const { id } of FIELDS) field(id).removeAttribute("aria-invalid");
  if (wrong) {
    const [id = "", text = ""] = wrong;
    problem.textContent = text;
    field(id).setAttribute("aria-invalid", "true");
    goTo(field(id));
    return null;
  }
  problem.textContent = "";
  return {
    seen: value("seen"),
    by: value("by"),
    ...(value("label") ? { label: value("label") } : {}),
    views: state.views,
    answers,
    verdict,
    ...(value("grade") ? { grade: String(Number(value("grade"))) } : {}),
    evidence: value("evidence").split(/\r?\n/).map((one) => one.trim()).filter(Boolean),
    ...(value("note") ? { note: value("note") } : {}),
  };
}

/**
 * The file, with ways to take it along.
 * @param {HTMLElement} made
 * @param {Sighting} sighting
 * @param {Awaited<ReturnType<typeof verdictOf>>} found
 */
function show(made, sighting, { family, name, verdict }) {
  const text = yamlOf(sighting);
  const file = fileName(sighting.seen, verdict.variant ?? "not-in-the-record");
  const head = element("h2", { tabindex: "-1" }, "The file");
  const place = `sightings/${family}/${file}`;
  const done = element("p", { role: "status" });
  const copy = element("button", { type: "button" }, "Copy the text");
  copy.addEventListener("click", () => {
    navigator.clipboard.writeText(text).then(
      () => (done.textContent = "The text is copied."),
      () => (done.textContent = "It could not be copied; select it above."),
    );
  });
  const download = element("button", { type: "button" }, "Download");
  download.addEventListener("click", () => {
    const href = URL.createObjectURL(new Blob([text], { type: "application/yaml" }));
    const anchor = link(href, "", { download: file });
    anchor.click();
    setTimeout(() => URL.revokeObjectURL(href), 10_000);
    done.textContent = `${file} is in your downloads.`;
  });
  made.replaceChildren(
    head,
    element("p", {}, "It belongs into the folder of the entries as ", element("code", {}, place), ". Nothing has been sent to anybody."),
    element("pre", { tabindex: "0", "aria-label": "The text of the file" }, text),
    element("ul", { class: "actions" }, element("li", {}, download), element("li", {}, copy), sendLink(place, name, text)),
    done,
  );
  made.hidden = false;
  goTo(head);
}

/**
 * The code host's form with the file in it; what is too long for an address is left to be pasted.
 * @param {string} place
 * @param {string} name
 * @param {string} text
 */
function sendLink(place, name, text) {
  const { report } = index();
  if (!report) return null;
  const whole = `As ${place}:\n\n${text}`;
  /** @param {string} body */
  const filled = (body) => {
    const values = { title: `Sighting: ${name}`, body, file: place };
    return report.replace(/\{(title|body|file)\}/g, (_, key) => encodeURIComponent(wellFormed(values[/** @type {keyof typeof values} */ (key)])));
  };
  const href = filled(whole).length <= MOST_ADDRESS ? filled(whole) : filled(`As ${place}:\n\n(paste the text of the file here)\n`);
  return element("li", {}, link(href, "Send it to those who keep the record", { rel: "noopener noreferrer" }));
}
