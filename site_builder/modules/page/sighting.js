/** A sighting as YAML, as `entries/sightings/<family>/*.yaml` has it. Pure: values in, text out. */

/**
 * @typedef {import("../kernel/typed.js").Answer} Answer
 *
 * @typedef {object} Sighting
 * @property {string} seen the day, YYYY-MM-DD
 * @property {string} by
 * @property {string} [label] what the seller called it
 * @property {string[] | null} views
 * @property {[string, Answer][]} answers at least one
 * @property {{variant: string | null, set: string | null, position: number | null, swapped: string[]}} verdict
 * @property {string} [grade]
 * @property {string[]} evidence
 * @property {string} [note]
 */

/** As much as a record may say in one text, and as many signs as a name of a file may have. */
const MOST_TEXT = 20000, MOST_NAME = 60;
/** What may stand in YAML without quotes: ids, and nothing that is read as something else. */
const PLAIN = /^[a-z][a-z0-9]*(-[a-z0-9]+)*$/;
const WORDS = ["true", "false", "yes", "no", "on", "off", "null", "y", "n"];

/**
 * The text of the file.
 * @param {Sighting} sighting
 * @returns {string}
 */
export function yamlOf(sighting) {
  const { verdict } = sighting;
  const lines = [
    `seen: ${sighting.seen}`,
    `by: ${quoted(sighting.by)}`,
    ...(sighting.label ? [`label: ${quoted(sighting.label)}`] : []),
    ...(sighting.views ? [`views: ${row(sighting.views)}`] : []),
    "answers:",
    ...sighting.answers.map(([key, answer]) => `  ${plain(key)}: ${answerText(answer)}`),
  ];
  const inside = [
    ...(verdict.variant ? [`  variant: ${plain(verdict.variant)}`] : []),
    ...(verdict.set ? [`  set: ${plain(verdict.set)}`] : []),
    ...(verdict.set && verdict.position ? [`  position: ${verdict.position}`] : []),
    ...(verdict.swapped.length ? [`  swapped: ${row(verdict.swapped)}`] : []),
  ];
  lines.push(...(inside.length ? ["verdict:", ...inside] : ["verdict: {}"]));
  if (sighting.grade) lines.push(`grade: ${sighting.grade}`);
  if (sighting.evidence.length) lines.push("evidence:", ...sighting.evidence.map((one) => `  - ${quoted(one)}`));
  if (sighting.note) lines.push(`note: ${quoted(sighting.note)}`);
  return `${lines.join("\n")}\n`;
}

/**
 * A name for the file that is an id: the day, and what was seen.
 * @param {string} seen
 * @param {string} what
 */
export function fileName(seen, what) {
  const letters = what.normalize("NFKD").toLowerCase().replace(/[^a-z0-9]+/g, "-").slice(0, MOST_NAME).replace(/^-+|-+$/g, "");
  return `${[seen, letters].filter(Boolean).join("-")}.yaml`;
}

/** @param {Answer} answer */
function answerText(answer) {
  if (answer.is !== undefined) return plain(answer.is);
  const forms = /** @type {[string, string | string[]][]} */ (Object.entries(answer));
  return `{${forms.map(([form, said]) => `${form}: ${Array.isArray(said) ? row(said) : quoted(said)}`).join(", ")}}`;
}

/** @param {string[]} texts */
function row(texts) {
  return `[${texts.map(plain).join(", ")}]`;
}

/**
 * An id as it is; anything else in quotes.
 * @param {string} text
 */
function plain(text) {
  return PLAIN.test(text) && !WORDS.includes(text) ? text : quoted(text);
}

/**
 * A text in double quotes, every sign that YAML does not take as it is written as a number. A half of a pair is none.
 * @param {string} text
 */
export function quoted(text) {
  return JSON.stringify(wellFormed(text.slice(0, MOST_TEXT))).replace(/[\u007f-\u00a0\u2028\u2029\ufeff\ufffe\uffff]/g, (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`);
}

/**
 * The text with the sign of what cannot be read in the place of half a pair, which is no text.
 * @param {string} text
 */
export function wellFormed(text) {
  return text.replace(/[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g, "\ufffd");
}
