/** Answers between the address (`state.js`), what they say of a trait, and the words of an answers file. */

import { MISSING } from "../kernel/arrays.js";
import { readAnswer } from "../kernel/typed.js";

/**
 * @typedef {import("../kernel/reading.js").Reading} Reading
 * @typedef {import("../kernel/wording.js").Words} Words
 * @typedef {import("../kernel/typed.js").Answer} Answer
 * @typedef {import("../kernel/typed.js").Problem} Problem
 */

/** What a typed text may not look like, lest it be taken for something else. */
const TAKEN = /^((not|any|more|less|reads):|missing$|cannot-tell$|cannot tell$)/;

/**
 * What a written value says of a trait, or what is wrong with it.
 * @param {Words} words
 * @param {number} t
 * @param {string} value as in the address
 * @returns {{reading: Reading} | {problem: Problem}}
 */
export function readValue(words, t, value) {
  const [, form, rest = ""] = /^(not|any|more|less|reads):(.*)$/s.exec(value) ?? [];
  if (form === undefined) return readAnswer(words, t, { is: value });
  if (form === "reads") {
    const marking = words.record(t)?.marking && rest.trim();
    return marking ? { reading: { kind: "typed", text: rest.trim() } } : readAnswer(words, t, { is: rest });
  }
  if (form === "more") return readAnswer(words, t, { more_than: rest });
  if (form === "less") return readAnswer(words, t, { less_than: rest });
  const named = rest.split(",").map((one) => one.trim()).filter(Boolean);
  if (form === "any" && named.length === 0 && words.named(t).length > 0 && !words.record(t)?.marking) {
    return { reading: { kind: "seen", states: [] } };
  }
  return readAnswer(words, t, form === "not" ? { not: named } : { one_of: named });
}

/**
 * A reading as it is written in the address. What a person typed is written as it was typed: `typedValue`.
 * @param {Words} words
 * @param {number} t
 * @param {Reading} reading
 * @returns {string}
 */
export function valueOf(words, t, reading) {
  switch (reading.kind) {
    case "gone":
      return "missing";
    case "cannot-tell":
      return "cannot-tell";
    case "typed":
      return typedValue(reading.text);
    case "measured":
      return `${reading.value} +- ${reading.plusMinus} ${words.unit(t)}`.trim();
    case "between":
      return Number.isFinite(reading.low) ? `more:${reading.low}` : `less:${reading.high}`;
    case "seen":
      return statesValue(words, t, reading.states);
  }
}

/**
 * A marking or a value as a person typed it.
 * @param {string} text
 */
export function typedValue(text) {
  return TAKEN.test(text.trim()) ? `reads:${text.trim()}` : text.trim();
}

/**
 * @param {Words} words
 * @param {number} t
 * @param {readonly string[]} states
 */
function statesValue(words, t, states) {
  const named = words.named(t);
  const [first] = states;
  if (states.length === 1 && first !== undefined) return first === MISSING ? "missing" : first;
  const left = named.filter((state) => !states.includes(state));
  const whole = states.every((state) => named.includes(state));
  return whole && left.length > 0 && left.length < states.length ? `not:${left.join(",")}` : `any:${states.join(",")}`;
}

/**
 * Everything said of one trait as an answers file has it; null where nothing of it can be written there.
 *
 * Of several looks the last one counts, which has corrected the others.
 * @param {Words} words
 * @param {number} t
 * @param {{reading: Reading, look: number, value: string}[]} given with what is written of each in the address
 * @returns {Answer | null}
 */
export function answerOf(words, t, given) {
  const told = given.filter(({ reading }) => reading.kind !== "cannot-tell");
  const look = Math.max(...told.map((one) => one.look));
  const last = told.filter((one) => one.look === look);
  const final = last[last.length - 1];
  if (!final) return given.length ? { is: "cannot-tell" } : null;
  if (last.some(({ reading }) => reading.kind === "gone")) return { is: "missing" };
  if (final.reading.kind === "typed") return { is: final.reading.text };
  if (final.reading.kind === "measured") return { is: final.value.replace(/^reads:/, "").replace("±", "+-") };
  const bounds = last.flatMap(({ reading }) => (reading.kind === "between" ? [reading] : []));
  if (bounds.length) {
    const low = Math.max(...bounds.map((one) => one.low));
    const high = Math.min(...bounds.map((one) => one.high));
    if (low >= high) return null;
    const unit = words.unit(t);
    return {
      ...(Number.isFinite(low) ? { more_than: `${low} ${unit}`.trim() } : {}),
      ...(Number.isFinite(high) ? { less_than: `${high} ${unit}`.trim() } : {}),
    };
  }
  return statesAnswer(words, t, last);
}

/**
 * @param {Words} words
 * @param {number} t
 * @param {{reading: Reading}[]} given
 * @returns {Answer | null}
 */
function statesAnswer(words, t, given) {
  const bare = words.record(t) === null;
  const all = bare ? words.slotOf(t).parts : words.named(t);
  const sets = given.flatMap(({ reading }) => (reading.kind === "seen" ? [reading.states] : []));
  const left = [...all, ...(bare ? [] : [MISSING])].filter((state) => sets.every((states) => states.includes(state)));
  const named = left.filter((state) => state !== MISSING || bare);
  if (!bare && left.length === 1 && left[0] === MISSING) return { is: "missing" };
  if (named.length === 0) return sets.length && all.length ? { not: [...all] } : null;
  if (named.length === 1 && named[0] !== undefined) return { is: named[0] };
  const not = all.filter((state) => !named.includes(state));
  return not.length > 0 && not.length < named.length ? { not } : { one_of: named };
}
