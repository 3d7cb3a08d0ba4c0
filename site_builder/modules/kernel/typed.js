/**
 * What a person types for a trait, read against it: a reading, or what is wrong with it. As `kb/answers.py`, `kb/reading.py` and
 * the measured values of `kb/values.py`.
 *
 * Digits are 0 to 9 here; Python takes those of other scripts as well.
 */

import { nearest } from "./nearest.js";
import { general, sorted } from "./written.js";

/**
 * @typedef {import("./reading.js").Reading} Reading
 * @typedef {import("./wording.js").Words} Words
 *
 * @typedef {object} Problem
 * @property {string} found
 * @property {string} expected
 * @property {string | null} nearest the valid name that resembles it
 *
 * @typedef {{ reading: Reading } | { problem: Problem }} Outcome
 *
 * One form of answer, as an answers file has it.
 * @typedef {object} Answer
 * @property {string} [is] a state, a measured value, a marking, a part, "missing" or "cannot-tell"
 * @property {string[]} [not]
 * @property {string[]} [one_of]
 * @property {string} [more_than]
 * @property {string} [less_than]
 *
 * @typedef {object} Measure
 * @property {number} value
 * @property {number | null} plusMinus one standard deviation; null: not stated
 * @property {string} unit empty: none
 */

/** As it is written in files, and as the screen says it. */
const CANNOT_TELL = ["cannot-tell", "cannot tell"];
/** So many names are listed at most. */
const MOST_LISTED = 12;

/**
 * What unit measures what, and how much of the first of its kind is in one (inch and ounce: international, exact).
 * @type {Map<string, [string, number]>}
 */
const UNITS = new Map([
  ["mm", ["length", 1]],
  ["cm", ["length", 10]],
  ["in", ["length", 25.4]],
  ["g", ["weight", 1]],
  ["oz", ["weight", 28.349523125]],
  ["V", ["voltage", 1]],
  ["W", ["power", 1]],
  ["A", ["current", 1]],
  ["ohm", ["resistance", 1]],
]);

const NUMBER = String.raw`[+-]?(?:\d+\s+\d+/0*[1-9]\d*|\d+/0*[1-9]\d*|(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?)`;
const UNIT = String.raw`[A-Za-z]+|"|″`;
const MEASURE = new RegExp(String.raw`^(${NUMBER})\s*(${UNIT})?\s*(?:(?:\+-|\+/-|±)\s*(${NUMBER})\s*(${UNIT})?)?$`);
const FIRST_NUMBER = new RegExp(String.raw`^\s*(${NUMBER})`);

/** Something that cannot be read; it never leaves this module. */
class Unreadable extends Error {
  /**
   * @param {string} found
   * @param {string} expected
   * @param {string | null} [near]
   */
  constructor(found, expected, near = null) {
    super(expected);
    /** @type {Problem} */
    this.problem = { found, expected, nearest: near };
  }
}

/**
 * What a person typed for a trait, or for a bare slot.
 * @param {Words} words
 * @param {number} t
 * @param {string} text
 * @returns {Outcome}
 */
export function readTyped(words, t, text) {
  return readAnswer(words, t, { is: text });
}

/**
 * What an answer says of a trait, or of a bare slot.
 * @param {Words} words
 * @param {number} t
 * @param {Answer} answer
 * @returns {Outcome}
 */
export function readAnswer(words, t, answer) {
  return attempt(() => ({ reading: words.record(t) === null ? readPart(words, t, answer) : readReading(words, t, answer) }));
}

/**
 * The outcome, or the problem with it.
 * @template Found
 * @param {() => Found} read
 * @returns {Found | { problem: Problem }}
 */
function attempt(read) {
  try {
    return read();
  } catch (error) {
    if (error instanceof Unreadable) {
      return { problem: error.problem };
    }
    throw error;
  }
}

/**
 * Every answer as [trait, reading], and every answer that cannot be read as [key, problem].
 * @param {Words} words
 * @param {string | null} family the one that is known
 * @param {Record<string, Answer>} answers
 * @returns {{ readings: [number, Reading][], problems: [string, Problem][] }}
 */
export function readAll(words, family, answers) {
  /** @type {[number, Reading][]} */
  const readings = [];
  /** @type {[string, Problem][]} */
  const problems = [];
  for (const [key, answer] of Object.entries(answers)) {
    const found = meant(words, family, key);
    if ("problem" in found) {
      problems.push([key, found.problem]);
      continue;
    }
    /** @type {Problem[]} */
    const wrong = [];
    let fits = false;
    for (const t of found.traits) {
      const outcome = readAnswer(words, t, answer);
      if ("reading" in outcome) {
        readings.push([t, outcome.reading]);
        fits = true;
      } else {
        wrong.push(outcome.problem);
      }
    }
    const [first] = wrong;
    if (!fits && first) {
      problems.push([key, first]);
    }
  }
  return { readings, problems };
}

/**
 * The traits that a written key means: an id, `family/id`, or a part's trait without its slot where only one slot has it.
 *
 * More than one only where several families have a trait of that name.
 * @param {Words} words
 * @param {string | null} family the one that is known
 * @param {string} key
 * @returns {{ traits: number[] } | { problem: Problem }}
 */
export function meant(words, family, key) {
  return attempt(() => {
    const slash = key.indexOf("/");
    const wanted = key.slice(slash + 1);
    const choices = slash >= 0 ? ofFamily(words, key.slice(0, slash)) : words.compiled.traits.map((_, t) => t);
    const ids = choices.map((t) => words.traitAt(t).id);
    const exact = choices.filter((_, n) => ids[n] === wanted);
    if (exact.length) {
      return { traits: exact };
    }
    const short = choices.filter((_, n) => ids[n]?.endsWith(`.${wanted}`));
    if (short.length === 1) {
      return { traits: short };
    }
    if (short.length) {
      throw new Unreadable(`the key "${key}"`, `one of ${listed(short.map((t) => words.traitAt(t).id))}`);
    }
    const whose = family === null ? "of any family" : `of ${family}`;
    throw new Unreadable(`the key "${key}"`, `a trait or slot ${whose}`, nearest(wanted, ids));
  });
}

/**
 * The traits that a unit of a family may have.
 * @param {Words} words
 * @param {string} family
 */
function ofFamily(words, family) {
  const slots = new Set(words.packed.families[words.compiled.families.indexOf(family)]?.slots ?? []);
  return words.compiled.traits.flatMap((trait, t) =>
    slots.has(trait.slot) && (trait.family === null || trait.family === family) ? [t] : [],
  );
}

/**
 * @param {Words} words
 * @param {number} t
 * @param {Answer} answer
 * @returns {Reading}
 */
function readReading(words, t, answer) {
  const trait = words.traitAt(t);
  if (answer.is === "missing") {
    return { kind: "gone" };
  }
  if (answer.is !== undefined && CANNOT_TELL.includes(answer.is)) {
    return { kind: "cannot-tell" };
  }
  if (trait.measured) {
    return measured(words, t, answer);
  }
  if (words.record(t)?.marking) {
    return marking(answer);
  }
  const named = words.named(t);
  const called = new Map(named.map((state) => [words.state(t, state).toLowerCase(), state]));
  return { kind: "seen", states: states(answer, named, "state", called) };
}

/**
 * Which of the parts that fit a slot is there.
 * @param {Words} words
 * @param {number} t
 * @param {Answer} answer
 * @returns {Reading}
 */
function readPart(words, t, answer) {
  if (answer.is === "missing") {
    return { kind: "seen", states: ["none"] };
  }
  if (answer.is !== undefined && CANNOT_TELL.includes(answer.is)) {
    return { kind: "cannot-tell" };
  }
  return { kind: "seen", states: states(answer, words.slotOf(t).parts, "part", new Map()) };
}

/**
 * The ids of the states an answer leaves; a state may be called by its id or its name.
 * @param {Answer} answer
 * @param {string[]} known
 * @param {string} noun
 * @param {Map<string, string>} called the id of every name
 * @returns {string[]}
 */
function states(answer, known, noun, called) {
  const written = answer.is !== undefined ? [answer.is] : answer.not === undefined ? answer.one_of : answer.not;
  const expected = `one of the ${noun}s ${listed(known)}`;
  if (!written?.length) {
    throw new Unreadable(written === undefined ? "a bound" : `no ${noun}s`, expected);
  }
  const ids = written.map((one) => (known.includes(one) ? one : (called.get(single(one.toLowerCase())) ?? one)));
  for (const one of ids) {
    if (!known.includes(one)) {
      throw new Unreadable(quoted(one), expected, nearest(one, known));
    }
  }
  return known.filter((state) => ids.includes(state) !== (answer.not !== undefined && answer.not.length > 0));
}

/**
 * @param {Words} words
 * @param {number} t
 * @param {Answer} answer
 * @returns {Reading}
 */
function measured(words, t, answer) {
  const unit = words.unit(t);
  const trait = words.traitAt(t);
  if (answer.is !== undefined) {
    const found = inUnit(answer.is, unit, halfPlace(answer.is));
    withinReach(answer.is, found.value, trait.least, trait.most, unit);
    return { kind: "measured", value: found.value, plusMinus: found.plusMinus ?? 0 };
  }
  if (answer.more_than === undefined && answer.less_than === undefined) {
    throw new Unreadable("states", `a measured value such as ${example(unit)}`);
  }
  const low = answer.more_than !== undefined ? inUnit(answer.more_than, unit).value : -Infinity;
  const high = answer.less_than !== undefined ? inUnit(answer.less_than, unit).value : Infinity;
  if (low >= high) {
    throw new Unreadable(`more than ${general(low)} and less than ${general(high)}`, "bounds with room between them");
  }
  return { kind: "between", low, high };
}

/**
 * A reading far outside everything that the trait can be is a slip of the hand.
 * @param {string} written
 * @param {number} value
 * @param {number} least
 * @param {number} most
 * @param {string} unit
 */
function withinReach(written, value, least, most, unit) {
  const span = most - least;
  if (value < least - span || value > most + span || (value < 0 && least >= 0)) {
    throw new Unreadable(quoted(written), `something nearer to ${general(least)} to ${general(most)} ${unit}`.trim());
  }
}

/**
 * @param {Answer} answer
 * @returns {Reading}
 */
function marking(answer) {
  if (!answer.is?.trim()) {
    const found = answer.is !== undefined ? "nothing" : "choices or bounds";
    throw new Unreadable(found, "the text that can be read, with ? for each character that cannot");
  }
  return { kind: "typed", text: answer.is.trim() };
}

/**
 * A measured value in the trait's unit, with this uncertainty where it states none.
 * @param {string} written
 * @param {string} unit
 * @param {number | null} [plusMinus]
 * @returns {Measure}
 */
function inUnit(written, unit, plusMinus = null) {
  const found = readMeasure(written);
  if (found === null) {
    throw new Unreadable(quoted(written), `a measured value such as ${example(unit)}`);
  }
  const measure = { ...found, plusMinus: found.plusMinus ?? plusMinus };
  if (!measure.unit || measure.unit === unit) {
    return { ...measure, unit };
  }
  const [own, wanted] = [UNITS.get(measure.unit), UNITS.get(unit)];
  if (!own || !wanted || own[0] !== wanted[0]) {
    throw new Unreadable(quoted(written), `a value in ${unit || "no unit"}`);
  }
  const factor = own[1] / wanted[1];
  return { value: measure.value * factor, plusMinus: measure.plusMinus === null ? null : measure.plusMinus * factor, unit };
}

/**
 * A measure from "4.8 +- 0.3 mm", "4.8 ± 0.3 mm", "13/16 in", "4.8"; null when it is none.
 * @param {string} written
 * @returns {Measure | null}
 */
export function readMeasure(written) {
  const found = MEASURE.exec(written.trim());
  if (!found || [...written].length > 60) {
    return null;
  }
  const units = new Set(
    [found[2], found[4]].flatMap((unit) => (unit ? [['"', "″", "inch", "inches"].includes(unit) ? "in" : unit] : [])),
  );
  const [unit = ""] = units;
  if (units.size > 1) {
    return null;
  }
  const value = number(found[1] ?? "");
  const plusMinus = found[3] ? number(found[3]) : null;
  if (Math.abs(value) > 1e12 || (plusMinus !== null && !(plusMinus >= 0 && plusMinus <= 1e12)) || (unit && !UNITS.has(unit))) {
    return null;
  }
  return { value, plusMinus, unit };
}

/**
 * A number from "4.8", "13/16" or "1 1/2".
 * @param {string} written
 */
function number(written) {
  if (!written.includes("/")) {
    return Number(written);
  }
  const pieces = written.replace(/^[+-]+/, "").split(/\s+/);
  const [over = "", under = ""] = (pieces[pieces.length - 1] ?? "").split("/");
  const whole = pieces.length > 1 ? Number(pieces[0]) : 0;
  const size = (whole * Number(under) + Number(over)) / Number(under);
  return written.startsWith("-") ? -size : size;
}

/**
 * Half of the last place of a written value, in the unit it was written in: what it is good to when it does not say.
 * @param {string} written
 * @returns {number}
 */
export function halfPlace(written) {
  const found = FIRST_NUMBER.exec(written)?.[1];
  if (found === undefined) {
    return 0;
  }
  if (found.includes("/")) {
    return 0.5 / Number(found.slice(found.lastIndexOf("/") + 1));
  }
  const point = found.indexOf(".");
  return 0.5 * Number(`1e-${point < 0 ? 0 : found.length - point - 1}`);
}

/**
 * How a measured value is written.
 * @param {string} unit
 * @returns {string}
 */
export function example(unit) {
  return `4.8 +- 0.3 ${unit}`.trim();
}

/**
 * Names in a row: "a, b or c"; a long row is cut.
 * @param {Iterable<string>} names
 * @returns {string}
 */
export function listed(names) {
  const row = sorted(names);
  if (row.length > MOST_LISTED) {
    return `${row.slice(0, MOST_LISTED).join(", ")} or ${row.length - MOST_LISTED} more`;
  }
  return row.length > 1 ? [row.slice(0, -1).join(", "), row[row.length - 1]].join(" or ") : row.join("");
}

/**
 * How a found text is shown: what cannot be printed written out, a long one cut.
 * @param {string} text
 * @returns {string}
 */
export function quoted(text) {
  const shown = [...text].map((one) => (/^[\p{C}\p{Zl}\p{Zp}\p{Zs}]$/u.test(one) && one !== " " ? escaped(one) : one)).join("");
  const characters = [...shown];
  return `"${characters.length <= 60 ? shown : `${characters.slice(0, 57).join("")}...`}"`;
}

/**
 * A character by its number.
 * @param {string} character
 */
function escaped(character) {
  const known = { "\n": "\\n", "\r": "\\r", "\t": "\\t" }[character];
  const code = character.codePointAt(0) ?? 0;
  const [mark, digits] = code < 0x100 ? ["x", 2] : code < 0x10000 ? ["u", 4] : ["U", 8];
  return known ?? `\\${mark}${code.toString(16).padStart(Number(digits), "0")}`;
}

/**
 * With single spaces, and none around it.
 * @param {string} text
 */
function single(text) {
  return text.trim().split(/\s+/).join(" ");
}
