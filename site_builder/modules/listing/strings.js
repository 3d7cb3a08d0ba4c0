/**
 * Texts as Python reads them: places count characters, letters and figures are those of all scripts.
 *
 * JavaScript counts a character beyond the first 65,536 as two, and its \w, \d and \b know English letters alone.  So a text is
 * read with such a character replaced by a plain one of its kind, and patterns are written as in Python and translated.
 */

/** Letters, figures and the underscore, inside square brackets. */
const WORD = "\\p{L}\\p{N}_";
const BOUNDARY = `(?:(?<![${WORD}])(?=[${WORD}])|(?<=[${WORD}])(?![${WORD}]))`;
/** @type {Record<string, [string, string]>} outside square brackets and inside them */
const CLASSES = {
  w: [`[${WORD}]`, WORD],
  W: [`[^${WORD}]`, ""],
  d: ["\\p{Nd}", "\\p{Nd}"],
  D: ["\\P{Nd}", "\\P{Nd}"],
  s: ["\\s", "\\s"],
  b: [BOUNDARY, "\\b"],
  Z: ["(?![^])", ""],
};
/** What stands for a character beyond the first 65,536, by its kind: the first that fits. Digits keep their value. */
const STAND_INS = /** @type {[RegExp, string][]} */ ([
  [/\p{Lu}/u, "\u03d2"],
  [/\p{Ll}/u, "\u210a"],
  [/\p{L}/u, "\ua000"],
  [/\p{Nl}|\p{No}/u, "\u2150"],
]);
const FIRST_FULL_WIDTH = 0xff10;
const DIGIT = /\p{Nd}/u;
/** Raised, lowered and circled figures: those that Unicode gives the numeric type of a digit. */
const OTHER_FIGURES =
  "\\u00b2\\u00b3\\u00b9\\u1369-\\u1371\\u19da\\u2070\\u2074-\\u2079\\u2080-\\u2089\\u2460-\\u2468\\u2474-\\u247c\\u2488-\\u2490" +
  "\\u24ea\\u24f5-\\u24fd\\u24ff\\u2776-\\u277e\\u2780-\\u2788\\u278a-\\u2792";
const FIGURES = new RegExp(`^(?:\\p{Nd}|[${OTHER_FIGURES}])+$`, "u");
const LETTERS = /^\p{L}+$/u;
const UPPER = /\p{Uppercase}/u, LOWER = /\p{Lowercase}/u, TITLE = /\p{Lt}/u;

/**
 * A pattern as Python writes it: \w, \d and \b know all scripts, (?P<name>...) names a group, \Z is the end of the text.
 * @param {string} source
 * @param {string} [flags] beside "u"
 * @returns {RegExp}
 */
export function pattern(source, flags = "") {
  let inside = false, made = "";
  for (let i = 0; i < source.length; i++) {
    const one = source.charAt(i), next = source.charAt(i + 1);
    if (one === "\\") {
      const known = CLASSES[next];
      made += known ? known[inside ? 1 : 0] : one + next;
      i++;
    } else if (one === "(" && next === "?" && source.charAt(i + 2) === "P") {
      made += "(?";
      i += 2;
    } else {
      inside = one === "[" ? true : one === "]" ? false : inside;
      made += one;
    }
  }
  return new RegExp(made, `${flags}u`);
}

/**
 * A text as a part of a pattern that stands for itself.
 * @param {string} text
 * @returns {string}
 */
export function escaped(text) {
  return text.replace(/[\\^$.*+?()[\]{}|/]/g, "\\$&");
}

/**
 * Whether a sticky pattern fits at a place.
 * @param {RegExp} sticky
 * @param {string} text
 * @param {number} at
 * @returns {RegExpExecArray | null}
 */
export function fitAt(sticky, text, at) {
  sticky.lastIndex = at;
  return sticky.exec(text);
}

/**
 * The characters of a text, and the text with each of them one place wide.
 * @param {string} text
 * @returns {{characters: string[], text: string}}
 */
export function spaced(text) {
  const characters = Array.from(text);
  if (characters.length === text.length) return { characters, text };
  return { characters, text: characters.map((one) => (one.length > 1 ? standIn(one) : one)).join("") };
}

/** @param {string} one @returns {string} */
function standIn(one) {
  if (DIGIT.test(one)) return String.fromCharCode(FIRST_FULL_WIDTH + digitOf(one));
  return STAND_INS.find(([kind]) => kind.test(one))?.[1] ?? "\u2610";
}

/** The value of a figure of any script: its place in the run of ten it stands in. @param {string} one @returns {number} */
function digitOf(one) {
  const code = one.codePointAt(0) ?? 0;
  let first = code;
  while (first > 0 && DIGIT.test(String.fromCodePoint(first - 1))) first--;
  return (code - first) % 10;
}

/**
 * The number that a text of figures of any script is, as float() reads it.
 * @param {string} text
 * @returns {number}
 */
export function numberOf(text) {
  return Number(text.replace(/\p{Nd}/gu, (one) => String(digitOf(one))));
}

/**
 * Whether all of a text, and something, is letters.
 * @param {string} text
 * @returns {boolean}
 */
export function isLetters(text) {
  return LETTERS.test(text);
}

/**
 * Whether all of a text, and something, is figures, raised and circled ones included.
 * @param {string} text
 * @returns {boolean}
 */
export function isFigures(text) {
  return FIGURES.test(text);
}

/**
 * Whether there are capitals and no small letters.
 * @param {string} text
 * @returns {boolean}
 */
export function isUpper(text) {
  return UPPER.test(text) && !LOWER.test(text) && !TITLE.test(text);
}

/**
 * Whether every run of letters begins with its only capital, and there is one.
 * @param {string} text
 * @returns {boolean}
 */
export function isTitled(text) {
  let any = false, within = false;
  for (const one of text) {
    const capital = UPPER.test(one) || TITLE.test(one), small = LOWER.test(one);
    if ((capital && within) || (small && !within)) return false;
    any ||= capital || small;
    within = capital || small;
  }
  return any;
}

/**
 * The place of the first character of the line that a place is in.
 * @param {string} text
 * @param {number} at
 * @returns {number}
 */
export function lineStart(text, at) {
  return at > 0 ? text.lastIndexOf("\n", at - 1) + 1 : 0;
}

/**
 * What stands at a place of a row.
 * @template T
 * @param {readonly T[]} row
 * @param {number} place
 * @returns {T}
 * @throws {RangeError} where nothing does
 */
export function nth(row, place) {
  const found = row[place];
  if (found === undefined) throw new RangeError(`nothing at ${place} of ${row.length}`);
  return found;
}

/**
 * The first of a row.
 * @param {readonly number[]} row
 * @returns {number}
 */
export function firstOf(row) {
  return nth(row, 0);
}

/**
 * The last of a row.
 * @param {readonly number[]} row
 * @returns {number}
 */
export function lastOf(row) {
  return nth(row, row.length - 1);
}

/**
 * The whole numbers from one to before another.
 * @param {number} from
 * @param {number} to
 * @returns {number[]}
 */
export function range(from, to) {
  return Array.from({ length: Math.max(0, to - from) }, (_, k) => from + k);
}

/**
 * In order and each once.
 * @param {Iterable<number>} places
 * @returns {number[]}
 */
export function ordered(places) {
  return [...new Set(places)].sort((a, b) => a - b);
}

/**
 * Which of two rows of numbers comes first, as tuples are compared: below 0 for the first one.
 * @param {readonly number[]} a
 * @param {readonly number[]} b
 * @returns {number}
 */
export function compared(a, b) {
  for (let i = 0; i < a.length && i < b.length; i++) {
    if (a[i] !== b[i]) return nth(a, i) - nth(b, i);
  }
  return a.length - b.length;
}

/**
 * Whether two rows are alike.
 * @template T
 * @param {readonly T[]} a
 * @param {readonly T[]} b
 * @returns {boolean}
 */
export function alike(a, b) {
  return a.length === b.length && a.every((one, i) => one === b[i]);
}
