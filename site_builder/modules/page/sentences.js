/** What is said of an identification, in the words of the command (`cli/screen.py`, `cli/asking.py`). */

import { MISSING } from "../kernel/arrays.js";
import { fit } from "../kernel/marking.js";
import { nearest } from "../kernel/nearest.js";
import { standing } from "../kernel/report.js";
import { lowerFirst, percent } from "../kernel/wording.js";
import { fixed, general } from "../kernel/written.js";
import { element } from "./dom.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 * @typedef {import("../kernel/questions.js").Question} Question
 * @typedef {import("../kernel/session.js").Proposal} Proposal
 * @typedef {import("../kernel/session.js").Session} Session
 * @typedef {import("../kernel/wording.js").Words} Words
 * @typedef {import("../kernel/reading.js").Reading} Reading
 */

/** A typed text that fits no recorded marking better than this is none of them, worn characters and all. */
const UNHEARD_OF = 5e-5;
const WHOLE = ["choice", "value", "reading"];

/**
 * What was answered, and why it is worth another look.
 * @param {{session: Session, words: Words}} flow
 * @param {Question} question
 */
export function saidBefore({ session, words }, question) {
  const mine = session.given.filter((one) => one.trait === question.trait);
  const said = mine.map((one) => words.reading(one.trait, one.reading)).join("; ");
  const wrong = session.doubts.filter((one) => one.trait === question.trait && one.looksWrong).map((one) => one.chance);
  if (wrong.length) {
    const chance = percent(Math.max(...wrong));
    return `You said: ${said}. The other answers speak against it: it is wrong with a chance of ${chance}.`;
  }
  return session.settled ? `You said: ${said}.` : `You said: ${said}. Nothing new is left to ask, and much rests on this.`;
}

/**
 * Why this question and no other, worked out when somebody asks.
 * @param {Flow} flow
 * @param {Proposal} proposal
 * @param {(yes: boolean) => Reading} answer
 * @returns {HTMLElement}
 */
export function whyAsked({ session, words }, proposal, answer) {
  const made = element("details", { class: "why" }, element("summary", {}, "Why this question"));
  const say = () => {
    if (made.childElementCount > 1) return;
    const { question } = proposal;
    const bits = `${fixed(proposal.bits, 2)} bits (a yes or no tells at most 1)`;
    made.append(element("p", {}, `It is worth ${bits} for an effort of ${effort(proposal.effort)}. ${reason(session, proposal)}`));
    if (WHOLE.includes(question.form)) return;
    for (const yes of [true, false]) {
      const after = session.reply(question, answer(yes));
      made.append(element("p", {}, `${yes ? "Yes" : "No"}: ${lowerFirst(standing(after, words))}`));
    }
  };
  made.addEventListener("toggle", say);
  return made;
}

/** @param {number} glances */
function effort(glances) {
  return glances === 1 ? "one glance at the side" : `${general(glances)} glances at the side`;
}

/**
 * @param {Session} session
 * @param {Proposal} proposal
 */
function reason(session, proposal) {
  if (session.settled) return "It tells most whether that part was changed.";
  if (proposal.question.form === "again") return "Looking again at this tells more for its effort than any new question.";
  const best = session.proposals[0];
  if (best && proposal.bits / proposal.effort >= best.bits / best.effort - 1e-9) return "Nothing else is worth more for its effort.";
  return "With what is asked after it, it leads to the answer with the least effort.";
}

/**
 * That nothing recorded reads like a typed text; null where something does.
 * @param {{session: Session, words: Words}} flow
 * @returns {string | null}
 */
export function unheardOf({ session, words }) {
  const given = session.given[session.given.length - 1];
  if (!given || given.reading.kind !== "typed") return null;
  const trait = words.traitAt(given.trait);
  const states = trait.states.filter((state) => state !== MISSING);
  const { text } = given.reading;
  if (!states.length || Math.max(...states.map((state) => fit(text, state, trait.worn))) >= UNHEARD_OF) return null;
  const near = nearest(text, states);
  return `Nothing recorded reads “${text}”${near ? `; the nearest is “${near}”` : ""}. Go back if it was a slip.`;
}
