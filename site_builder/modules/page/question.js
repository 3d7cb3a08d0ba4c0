/** One question as a page of its own: a legend that is the heading, radio buttons none of them chosen, and Continue. */

import { MISSING } from "../kernel/arrays.js";
import { lowerFirst } from "../kernel/wording.js";
import { readValue, typedValue } from "./answers.js";
import { index, viewsOf } from "./data.js";
import { element, goTo, image, link } from "./dom.js";
import { answerTo, spoken, written } from "./flow.js";
import { seenOf } from "./pictures.js";
import { saidBefore, whyAsked } from "./sentences.js";
import { address, changed, withoutLast } from "./state.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 * @typedef {import("../kernel/questions.js").Question} Question
 * @typedef {import("../kernel/session.js").Proposal} Proposal
 * @typedef {import("./data.js").Picture} Picture
 *
 * @typedef {object} Choice one thing that can be answered
 * @property {string} value as it goes into the address; "" for what is typed
 * @property {string} text
 * @property {Picture[]} pictures
 * @property {string} [says] what distinguishes it
 * @property {string[]} [names] what each of several pictures shows
 *
 * @typedef {object} Put a question as it is put
 * @property {string} title
 * @property {string[]} notes
 * @property {number} trait
 * @property {Choice[]} choices
 * @property {"value" | "reading" | null} typed what is typed in the place of a choice
 * @property {(value: string) => string} to the address that an answer leads to
 * @property {string} back
 * @property {string} key of what was chosen before
 * @property {string | null} chosen
 * @property {HTMLElement[]} more links and explanations beneath
 */

/** So many other states are shown with a no. */
const MOST_OTHERS = 3;
/** Units of what can be measured on a photograph. */
const LENGTHS = ["mm", "cm", "in"];
/** Views of this sort, as the builder numbers them, take power, tools or loosened screws; and those that were warned of. */
const WITH_CARE = 4;
const warned = new Set();
/** What was chosen at a question that one came back to. */
const chosenBefore = new Map();

/**
 * The form of a proposed question.
 * @param {Flow} flow
 * @param {Proposal} proposal
 * @param {(state: import("./state.js").State, question: Question, value: string) => import("./state.js").State} reply
 * @returns {Promise<HTMLElement>}
 */
export async function asked(flow, proposal, reply) {
  const { words, session, state } = flow;
  const { question } = proposal;
  const seen = await seenOf(flow, question.trait);
  const key = address(changed(state, { at: "" }));
  const whole = ["choice", "value", "reading"].includes(question.form);
  const others = words.named(question.trait).length > 2 || words.traitAt(question.trait).measured;
  const tell = address(changed(state, { at: `tell.${words.key(question.trait)}` }));
  return form(flow, {
    title: words.ask(question),
    notes: notesOf(flow, question),
    trait: question.trait,
    choices: choicesOf(flow, question, seen),
    typed: question.form === "value" || question.form === "reading" ? question.form : null,
    to: (value) => address(reply(state, question, value)),
    back: state.answers.length ? address(withoutLast(state)) : address(changed(state, { at: "start" })),
    key,
    chosen: null,
    more: [
      ...(!whole && others && question.form !== "again"
        ? [element("p", {}, link(tell, words.traitAt(question.trait).measured ? "Type what you measure instead" : "Choose among all that it can be"))]
        : []),
      whyAsked(flow, proposal, (yes) => answerTo(session, question, yes)),
    ],
  }, seen);
}

/**
 * The form for the whole of a trait: to change an answer, or to tell what nobody asked for.
 * @param {Flow} flow
 * @param {number} trait
 * @param {(value: string) => string} to
 * @param {string | null} chosen what is answered now
 * @param {HTMLElement[]} more
 * @returns {Promise<HTMLElement>}
 */
export async function told(flow, trait, to, chosen, more) {
  const { words, state } = flow;
  const seen = await seenOf(flow, trait);
  const record = words.record(trait);
  const typed = record?.marking ? "reading" : words.traitAt(trait).measured ? "value" : null;
  const bare = record === null;
  const states = typed ? [] : words.named(trait).filter((state) => !bare || state !== "none");
  return form(flow, {
    title: `${words.trait(trait)}: ${typed === "reading" ? "what can be read?" : typed ? measure(words.unit(trait)) : "which is it?"}`,
    notes: [],
    trait,
    choices: [...states.map((one) => choiceOf(flow, trait, one, seen)), ...(typed || bare ? [] : [none()]), ...last(flow, trait)],
    typed,
    to,
    back: address(changed(state, { at: "" })),
    key: `told ${address(state)}`,
    chosen,
    more,
  }, seen);
}

/** @param {string} unit */
function measure(unit) {
  return `how much is it${unit ? `, in ${unit}` : ""}?`;
}

/** @returns {Choice} */
function none() {
  return { value: "any:", text: "None of these", pictures: [] };
}

/**
 * @param {Flow} flow
 * @param {Question} question
 * @returns {string[]}
 */
function notesOf({ session, words }, question) {
  const slot = words.slot(words.slotOf(question.trait).id);
  return [
    ...(session.settled
      ? [`The ${words.noun} is settled. One more, since this may not be the part it left the factory with: ${slot}.`]
      : []),
    ...(session.lookOf(question) ? [saidBefore({ session, words }, question)] : []),
  ];
}

/**
 * Everything that can be answered.
 * @param {Flow} flow
 * @param {Question} question
 * @param {import("./pictures.js").Seen} seen
 * @returns {Choice[]}
 */
function choicesOf(flow, question, seen) {
  const { session, words } = flow;
  const t = question.trait;
  if (question.form === "value" || question.form === "reading") return last(flow, t);
  if (question.form === "choice") {
    const states = words.named(t).map((state) => choiceOf(flow, t, state, seen));
    return [...states, ...(words.traitAt(t).atOnce ? [] : [none()]), ...last(flow, t)];
  }
  const cut = question.cut !== null ? words.cut(question) : null;
  const states = words.traitAt(t).states;
  return [
    ...[true, false].map((yes) => {
      const mine = (question.outcomes[yes ? 0 : 1] ?? []).map((k) => states[k] ?? "").filter((state) => state !== MISSING);
      const shown = cut !== null || (!yes && mine.length > MOST_OTHERS) ? [] : mine;
      const drawn = shown.filter((state) => seen.of[state]);
      const bound = cut === null ? null : yes ? `more than ${cut}` : `${cut} or less`;
      const named = bound ?? shown.map((state) => lowerFirst(words.state(t, state))).join("; ");
      return {
        value: written(flow, t, answerTo(session, question, yes)),
        text: named ? `${yes ? "Yes" : "No"}: ${named}` : yes ? "Yes" : "No",
        pictures: drawn.flatMap((state) => (seen.of[state] ? [seen.of[state]] : [])),
        names: drawn.map((state) => lowerFirst(words.state(t, state))),
      };
    }),
    ...last(flow, t),
  ];
}

/**
 * A state with its picture and what distinguishes it.
 * @param {Flow} flow
 * @param {number} t
 * @param {string} state
 * @param {import("./pictures.js").Seen} seen
 * @returns {Choice}
 */
function choiceOf({ words }, t, state, seen) {
  const picture = seen.of[state];
  return { value: state, text: words.state(t, state), pictures: picture ? [picture] : [], says: picture?.[1] ?? "" };
}

/**
 * That it is missing, and that one cannot tell.
 * @param {Flow} flow
 * @param {number} t
 * @returns {Choice[]}
 */
function last({ words, session }, t) {
  const trait = words.traitAt(t);
  const missing = trait.canBeMissing || words.record(t) === null;
  const text = session.leads(trait) ? "It is missing" : "It has no such thing";
  return [...(missing ? [{ value: "missing", text, pictures: [] }] : []), { value: "cannot-tell", text: "I cannot tell", pictures: [] }];
}

/**
 * @param {Flow} flow
 * @param {Put} put
 * @param {import("./pictures.js").Seen} seen
 * @returns {HTMLElement}
 */
function form(flow, put, seen) {
  const { words } = flow;
  const view = words.view(put.trait);
  const look = [view ? words.viewName(view) : "", words.look(put.trait) ?? ""].filter(Boolean).join(": ");
  const legend = element("legend", { tabindex: "-1" }, element("h1", {}, put.title));
  const problem = element("p", { class: "problem", id: "question-problem" });
  const pictured = put.choices.some((choice) => choice.pictures.length > 0);
  const yesNo = put.choices.some((choice) => choice.pictures.length > 0 && choice.says === undefined);
  const choices = element("div", { class: ["choices", pictured && "pictured-choices", yesNo && "yes-no"].filter(Boolean).join(" ") });
  const field = put.typed ? typedField(flow, put, seen) : null;
  if (field) choices.append(field.whole);
  put.choices.forEach((choice, n) => choices.append(choiceElement(choice, n)));
  const fieldset = element(
    "fieldset",
    { ...(look ? { "aria-describedby": "question-look" } : {}) },
    legend,
    ...put.notes.map((note) => element("p", { class: "note" }, note)),
    look ? element("p", { class: "how", id: "question-look" }, look) : null,
    care(flow, view),
    seen.place,
    problem,
    choices,
  );
  const made = element(
    "form",
    { class: "question", novalidate: true },
    fieldset,
    element(
      "p",
      { class: "go" },
      element("button", { type: "submit", class: "continue" }, "Continue"),
      link(put.back, "Back", { class: "back" }),
    ),
    ...put.more,
  );
  const before = put.chosen ?? chosenBefore.get(put.key) ?? null;
  if (before !== null) restore(made, before, field?.input ?? null);
  made.addEventListener("submit", (event) => {
    event.preventDefault();
    submit(flow, put, made, problem, field?.input ?? null);
  });
  return made;
}

/**
 * How to get to see what takes more than a look, and what can hurt there; open the first time.
 * @param {Flow} flow
 * @param {string | null} view
 */
function care({ state }, view) {
  const row = viewsOf(state.family).find(([id]) => id === view);
  if (!view || !row || row[3] < WITH_CARE) return null;
  const made = element(
    "details",
    { class: "care", open: !warned.has(view) },
    element("summary", {}, "Take care"),
    row[2] ? element("p", {}, row[2]) : null,
    ...index().cautions.map(([name, text]) => element("p", {}, element("b", {}, `${name}. `), text)),
  );
  warned.add(view);
  return made;
}

/**
 * @param {Choice} choice
 * @param {number} n
 */
function choiceElement(choice, n) {
  const id = `choice-${n}`;
  const several = choice.pictures.length > 1 && choice.names;
  const pictures = choice.pictures.map(([src], at) =>
    several ? element("span", { class: "one-of" }, image(src, 120, 90), element("small", {}, several[at])) : image(src, 120, 90),
  );
  const input = element("input", {
    type: "radio",
    name: "answer",
    id,
    value: choice.value,
    "aria-labelledby": `${id}-text`,
    ...(choice.says ? { "aria-describedby": `${id}-says` } : {}),
  });
  return element(
    "label",
    { class: pictures.length ? "choice with-picture" : "choice", for: id },
    input,
    pictures.length ? element("span", { class: "drawn", "aria-hidden": several ? "true" : false }, ...pictures) : null,
    element(
      "span",
      { class: "words" },
      element("span", { id: `${id}-text` }, choice.text),
      choice.says ? element("span", { class: "says", id: `${id}-says` }, choice.says) : null,
    ),
  );
}

/**
 * A value of this trait with its uncertainty, as somebody might type it: in the middle of what is recorded, so that it
 * hints at no variant, and as fine as a tenth of the range or less.
 * @param {import("../kernel/wording.js").Words} words
 * @param {number} t
 */
function exampleOf(words, t) {
  const { least, most } = words.traitAt(t);
  const places = Math.min(6, Math.max(0, Math.ceil(-Math.log10((most - least) / 10 || 1))));
  return `${((least + most) / 2).toFixed(places)} +- ${(10 ** -places).toFixed(places)} ${words.unit(t)}`.trim();
}

/**
 * The field for what is measured or read, with the radio button that it belongs to.
 * @param {Flow} flow
 * @param {Put} put
 * @param {import("./pictures.js").Seen} seen
 */
function typedField({ words, state }, put, seen) {
  const onPhotograph = address(changed(state, { at: `tell.${words.key(put.trait)}` }));
  const unit = words.unit(put.trait);
  const reading = put.typed === "reading";
  const hint = reading
    ? "Type what can be read, ? for each character that cannot."
    : `Such as ${exampleOf(words, put.trait)}; what stands behind +- is how far off it may be.`;
  const radio = /** @type {HTMLInputElement} */ (element("input", { type: "radio", name: "answer", id: "choice-typed", value: "" }));
  const input = /** @type {HTMLInputElement} */ (
    element("input", {
      type: "text",
      id: "typed",
      "aria-describedby": "typed-hint",
      "aria-labelledby": "typed-text",
      autocomplete: "off",
      autocapitalize: "off",
      spellcheck: "false",
      maxlength: "200",
    })
  );
  input.addEventListener("input", () => {
    radio.checked = input.value.trim() !== "";
  });
  radio.addEventListener("change", () => input.focus());
  const whole = element(
    "div",
    { class: "choice typed" },
    radio,
    seen.of[""] ? element("span", { class: "drawn" }, image(seen.of[""][0], 120, 90)) : null,
    element(
      "div",
      { class: "words" },
      element("label", { for: "choice-typed", id: "typed-text" }, reading ? "I can read" : "I measure"),
      element("span", { class: "with-unit" }, input, unit && !reading ? element("span", { "aria-hidden": "true" }, unit) : null),
      element("span", { class: "says", id: "typed-hint" }, hint),
      !reading && LENGTHS.includes(unit) ? link(`measure.html${onPhotograph}`, "Measure it on a photograph", { class: "also" }) : null,
    ),
  );
  return { whole, input };
}

/**
 * @param {HTMLElement} made
 * @param {string} value
 * @param {HTMLInputElement | null} input
 */
function restore(made, value, input) {
  const radios = [.../** @type {NodeListOf<HTMLInputElement>} */ (made.querySelectorAll("input[type=radio]"))];
  const same = radios.find((radio) => radio.value === value && radio.id !== "choice-typed");
  if (same) {
    same.checked = true;
  } else if (input) {
    input.value = value.replace(/^reads:/, "");
    const typed = radios.find((radio) => radio.id === "choice-typed");
    if (typed) typed.checked = true;
  }
}

/**
 * Leads on, or says what is wrong and moves there.
 * @param {Flow} flow
 * @param {Put} put
 * @param {HTMLElement} made
 * @param {HTMLElement} problem
 * @param {HTMLInputElement | null} input
 */
function submit({ words }, put, made, problem, input) {
  const chosen = /** @type {HTMLInputElement | null} */ (made.querySelector("input[name=answer]:checked"));
  /**
   * @param {string} text
   * @param {HTMLElement | null} where
   */
  const refuse = (text, where) => {
    problem.textContent = text;
    input?.toggleAttribute("aria-invalid", false);
    if (where) {
      const described = where.getAttribute("aria-describedby")?.replace(/^question-problem ?/, "") ?? "";
      where.setAttribute("aria-describedby", `question-problem ${described}`.trim());
      if (where === input) where.setAttribute("aria-invalid", "true");
    }
    goTo(where);
  };
  if (!chosen) {
    refuse("Choose one of these, or say that you cannot tell.", made.querySelector("input"));
    return;
  }
  let value = chosen.value;
  if (chosen.id === "choice-typed") {
    if (!input?.value.trim()) {
      refuse(put.typed === "reading" ? "Type what you can read." : `Type what you measure, such as ${exampleOf(words, put.trait)}.`, input);
      return;
    }
    value = put.typed === "value" ? input.value.trim() : typedValue(input.value);
    const read = readValue(words, put.trait, value);
    if ("problem" in read) {
      refuse(sentence(`${spoken(read.problem)}.`), input);
      return;
    }
  }
  chosenBefore.set(put.key, value);
  location.hash = put.to(value);
}

/** @param {string} text */
function sentence(text) {
  return text.slice(0, 1).toUpperCase() + text.slice(1);
}
