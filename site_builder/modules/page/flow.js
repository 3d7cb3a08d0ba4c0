/** From the state in the address to a session, and what is to be shown of it. */

import { Session } from "../kernel/session.js";
import { meant } from "../kernel/typed.js";
import { readValue, valueOf } from "./answers.js";
import { familyOf, index, known } from "./data.js";
import { changed } from "./state.js";

/**
 * @typedef {import("./state.js").State} State
 * @typedef {import("./state.js").Said} Said
 * @typedef {import("../kernel/session.js").Proposal} Proposal
 * @typedef {import("../kernel/questions.js").Question} Question
 * @typedef {import("../kernel/reading.js").Reading} Reading
 * @typedef {import("../kernel/wording.js").Words} Words
 * @typedef {import("../kernel/given.js").Given} Given
 *
 * @typedef {object} Flow an identification as far as it has come
 * @property {State} state what of the address could be kept
 * @property {string[]} problems what could not
 * @property {Session} session
 * @property {Words} words
 * @property {Entry[]} entries
 *
 * @typedef {object} Entry one answer of the state
 * @property {number} index its place in the state
 * @property {number} trait
 * @property {Reading} reading
 * @property {number} look
 * @property {string} value as it is written
 */

/**
 * The state without a family or views that there are not, and what was wrong with it.
 * @param {State} state
 * @returns {{state: State, problems: string[]}}
 */
export function existing(state) {
  /** @type {string[]} */
  const problems = [];
  let kept = state;
  if (state.family && !familyOf(state.family)) {
    problems.push(`there is no family “${state.family}” in this record, so all families are in the running`);
    kept = changed(kept, { family: null });
  }
  const left = (kept.views ?? []).filter((view) => Object.hasOwn(index().known, view));
  const gone = (kept.views ?? []).filter((view) => !left.includes(view));
  if (gone.length) {
    problems.push(`there is no view “${gone.join("”, “")}”`);
    kept = changed(kept, { views: left.length ? left : null });
  }
  return { state: kept, problems };
}

/**
 * The session that a state stands for. Answers that cannot be read are left out of it, and said.
 * @param {State} asked
 * @returns {Promise<Flow>}
 */
export async function flowOf(asked) {
  const { state, problems } = existing(asked);
  const { compiled, words } = await known(state.family);
  /** @type {Entry[]} */
  const entries = [];
  /** @type {Said[]} */
  const kept = [];
  for (const said of state.answers) {
    const read = readSaid(words, state.family, said);
    if ("problem" in read) {
      problems.push(`“${said.key}: ${said.value}”: ${spoken(read.problem)}`);
    } else {
      for (const { trait, reading } of read.found) entries.push({ index: kept.length, trait, reading, look: said.look, value: said.value });
      kept.push(said);
    }
  }
  const at = state.at.startsWith("change.") && Number(state.at.slice(7)) > kept.length ? "" : state.at;
  const views = state.views && state.views.map((view) => compiled.views.indexOf(view)).filter((view) => view >= 0);
  const given = entries.map(({ trait, reading, look }) => ({ trait, reading, look }));
  const session = new Session(compiled, { given, views, target: state.target, ask: state.ask });
  return { state: changed(state, { answers: kept, at }), problems, session, words, entries };
}

/**
 * @param {Words} words
 * @param {string | null} family
 * @param {Said} said
 * @returns {{found: {trait: number, reading: Reading}[]} | {problem: import("../kernel/typed.js").Problem}}
 */
function readSaid(words, family, said) {
  const which = meant(words, family, said.key);
  if ("problem" in which) return which;
  const outcomes = which.traits.map((trait) => ({ trait, outcome: readValue(words, trait, said.value) }));
  const found = outcomes.flatMap(({ trait, outcome }) => ("reading" in outcome ? [{ trait, reading: outcome.reading }] : []));
  const [first] = outcomes;
  if (found.length || !first || !("problem" in first.outcome)) return { found };
  return first.outcome;
}

/**
 * What is wrong with something written.
 * @param {import("../kernel/typed.js").Problem} problem
 */
export function spoken(problem) {
  const near = problem.nearest ? `; did you mean “${problem.nearest}”?` : "";
  return `found ${problem.found}, expected ${problem.expected}${near}`;
}

/**
 * The question to put now, or null when it is time for the verdict.
 * @param {Flow} flow
 * @returns {Proposal | null}
 */
export function questionOf({ state, session }) {
  if (!session.belief.plausible || state.at === "verdict") return null;
  if (session.settled && state.at !== "ask") return null;
  return session.toAsk;
}

/**
 * What yes or no to a question says of its trait.
 * @param {Session} session
 * @param {Question} question
 * @param {boolean} yes
 * @returns {Reading}
 */
export function answerTo(session, question, yes) {
  if (question.cut !== null) {
    return yes ? { kind: "between", low: question.cut, high: Infinity } : { kind: "between", low: -Infinity, high: question.cut };
  }
  const states = session.compiled.traits[question.trait]?.states ?? [];
  return { kind: "seen", states: (question.outcomes[yes ? 0 : 1] ?? []).map((k) => states[k] ?? "") };
}

/**
 * The state with the answer to a question.
 * @param {Flow} flow
 * @param {Question} question
 * @param {string} value
 * @returns {State}
 */
export function replied({ state, session, words }, question, value) {
  const said = { key: words.key(question.trait), value, look: session.lookOf(question) };
  return changed(state, { answers: [...state.answers, said], at: "" });
}

/**
 * The value that a reading is written as in the address.
 * @param {Flow} flow
 * @param {number} trait
 * @param {Reading} reading
 */
export function written({ words }, trait, reading) {
  return valueOf(words, trait, reading);
}

/**
 * The family of a variant.
 * @param {Session} session
 * @param {string} variant
 * @returns {string | null}
 */
export function familyOfVariant(session, variant) {
  const v = session.compiled.variants.indexOf(variant);
  const c = v < 0 ? -1 : session.compiled.variant.indexOf(v);
  return session.compiled.families[session.compiled.family[c] ?? -1] ?? null;
}
