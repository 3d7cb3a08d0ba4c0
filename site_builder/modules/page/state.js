/**
 * The whole of an identification as it stands in the address, behind `identify.html#`, and back. Pure: no page, no kernel.
 *
 *     family=cab-diesel-420&views=side,nose&target=set&number=4?61&nose-stripe=not:decal&nose-stripe@2=painted&at=verdict
 *
 * Pairs are joined by `&`, a key from its value by the first `=`; both are written as encodeURIComponent has them, or as they
 * are where nothing in them is in the way. The answers stand in the order they were given; a key may come twice.
 *
 *     family=ID         the family; left out where nobody knows it
 *     views=ID,ID       what one can see; `all` or left out: everything
 *     target=...        what is to be settled: variant (as where it is left out), set, original, all
 *     ask=any           choices among pictures and measures may be asked for as well
 *     at=...            what is shown where it is not the next question: start, ask (go on after the verdict), verdict, save,
 *                       change.N (the answer of that number, from 1), tell.KEY (that trait, though nobody asked for it).
 *                       Without views and answers it is the start
 *     KEY=VALUE         any other key is an answer, its key as an answers file has it: `pilot.length`, `cab-diesel-420/horn`.
 *                       A key that is one of the words above is written behind `trait:`
 *     KEY@2=VALUE       the answer of a second look
 *
 *     VALUE     a state, a measured value such as `21.5 +- 0.5 mm`, the text of a marking, `missing`, `cannot-tell`;
 *               `not:ID,ID`   `any:ID,ID` (`any:` alone: none that is recorded)   `more:VALUE`   `less:VALUE`
 *               `reads:TEXT`  a marking that could be taken for one of the others
 *
 * An old key keeps its meaning: whatever is changed here must still read what was sent around.
 */

/**
 * @typedef {"variant" | "set" | "original" | "all"} Target
 *
 * @typedef {object} Said one answer as it is written
 * @property {string} key
 * @property {string} value
 * @property {number} look how many looks went before it
 *
 * @typedef {object} State
 * @property {string | null} family
 * @property {string[] | null} views null: all of them
 * @property {Target} target
 * @property {"yes-no" | "any"} ask
 * @property {string} at "" for the next question, or the verdict when there is none
 * @property {Said[]} answers
 */

const WORDS = ["family", "views", "target", "ask", "at"];
const TARGETS = ["variant", "set", "original", "all"];
/** Ids of records are of these; anything else in the place of one is a slip. */
const ID = /^[a-z0-9]+(-[a-z0-9]+)*$/;
const KEY = /^[a-z0-9]+(-[a-z0-9]+)*([./][a-z0-9]+(-[a-z0-9]+)*){0,2}$/;
const PLACES = new RegExp(`^(start|ask|verdict|save|change\\.[1-9]\\d{0,2}|tell\\.(${KEY.source.slice(1, -1)}))$`);
/** Longer addresses are cut off by mail and chat; so many answers nobody gives. */
const MOST_ANSWERS = 300, MOST_TEXT = 400;

/** @returns {State} */
export function empty() {
  return { family: null, views: null, target: "variant", ask: "yes-no", at: "", answers: [] };
}

/**
 * The state that an address stands for, and what in it could not be read, as sentences for a person.
 * @param {string} hash with or without its `#`
 * @returns {{state: State, problems: string[]}}
 */
export function readAddress(hash) {
  const state = empty();
  /** @type {string[]} */
  const problems = [];
  let begun = false;
  for (const pair of hash.replace(/^#/, "").split("&")) {
    if (!pair) continue;
    const cut = pair.indexOf("=");
    const [key, value] = cut < 0 ? [decoded(pair), null] : [decoded(pair.slice(0, cut)), decoded(pair.slice(cut + 1))];
    const problem = key === null || value === null ? `“${shortened(pair)}” cannot be read` : taken(state, key.trim(), value.trim());
    if (problem) problems.push(problem);
    begun ||= key === "views";
  }
  if (!state.at && !begun && state.answers.length === 0) state.at = "start";
  return { state, problems };
}

/**
 * Puts one pair into the state; says what is wrong with it, or nothing.
 * @param {State} state
 * @param {string} key
 * @param {string} value
 * @returns {string | null}
 */
function taken(state, key, value) {
  if (key === "family") {
    if (!ID.test(value)) return `“${shortened(value)}” is no family`;
    state.family = value;
  } else if (key === "views") {
    const views = value === "all" ? null : value.split(",").map((one) => one.trim()).filter(Boolean);
    if (views && (views.length === 0 || !views.every((one) => ID.test(one)))) return `“${shortened(value)}” are no views`;
    state.views = views && [...new Set(views)];
  } else if (key === "target") {
    if (!TARGETS.includes(value)) return `“${shortened(value)}” cannot be settled: it is one of ${TARGETS.join(", ")}`;
    state.target = /** @type {Target} */ (value);
  } else if (key === "ask") {
    if (value !== "any" && value !== "yes-no") return `“ask” is “${shortened(value)}”, expected yes-no or any`;
    state.ask = value;
  } else if (key === "at") {
    if (!PLACES.test(value)) return `there is no place “${shortened(value)}” on this page`;
    state.at = value;
  } else {
    return answered(state, key, value);
  }
  return null;
}

/**
 * @param {State} state
 * @param {string} written the key with its look
 * @param {string} value
 * @returns {string | null}
 */
function answered(state, written, value) {
  const [, named = "", look = "1"] = /^(.*?)(?:@(\d{1,2}))?$/s.exec(written) ?? [];
  const key = named.replace(/^trait:/, "");
  if (!KEY.test(key)) return `“${shortened(written)}” is no trait`;
  if (!value) return `nothing is said of “${shortened(key)}”`;
  if (value.length > MOST_TEXT) return `what is said of “${shortened(key)}” is too long`;
  if (Number(look) < 1) return `“${shortened(written)}” is no look`;
  if (state.answers.length >= MOST_ANSWERS) return `more than ${MOST_ANSWERS} answers`;
  state.answers.push({ key, value, look: Number(look) - 1 });
  return null;
}

/**
 * The address of a state, with its `#`; what is as usual is left out.
 * @param {State} state
 * @returns {string}
 */
export function address(state) {
  const pairs = [
    ...(state.family ? [["family", state.family]] : []),
    ["views", state.views ? state.views.join(",") : "all"],
    ...(state.target !== "variant" ? [["target", state.target]] : []),
    ...(state.ask !== "yes-no" ? [["ask", state.ask]] : []),
    ...state.answers.map(({ key, value, look }) => [
      (WORDS.includes(key) ? `trait:${key}` : key) + (look > 0 ? `@${look + 1}` : ""),
      value,
    ]),
    ...(state.at ? [["at", state.at]] : []),
  ];
  return "#" + pairs.map(([key = "", value = ""]) => `${encoded(key)}=${encoded(value)}`).join("&");
}

/**
 * The state shown at another place, or with other answers.
 * @param {State} state
 * @param {Partial<State>} changes
 * @returns {State}
 */
export function changed(state, changes) {
  return { ...state, ...changes };
}

/**
 * Without the last answer; what is shown is the question it answered.
 * @param {State} state
 * @returns {State}
 */
export function withoutLast(state) {
  return changed(state, { answers: state.answers.slice(0, -1), at: "" });
}

/**
 * With another value in the place of an answer, which takes the place of all others to the same trait.
 * @param {State} state
 * @param {number} index
 * @param {string | null} value null: the answer is taken back
 * @returns {State}
 */
export function withChanged(state, index, value) {
  const key = state.answers[index]?.key;
  const answers = state.answers.flatMap((one, i) => {
    if (i === index) return value === null ? [] : [{ key: one.key, value, look: 0 }];
    return one.key === key ? [] : [one];
  });
  return changed(state, { answers, at: "" });
}

/**
 * With the whole of what is seen of a trait, in the place of everything answered to it before.
 * @param {State} state
 * @param {string} key
 * @param {string} value
 * @returns {State}
 */
export function withTold(state, key, value) {
  const answers = [...state.answers.filter((one) => one.key !== key), { key, value, look: 0 }];
  return changed(state, { answers, at: "" });
}

/** @param {string} text @returns {string | null} */
function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return null;
  }
}

/** Of what encodeURIComponent writes, a few signs that addresses and mails leave alone may stay legible. @param {string} text */
function encoded(text) {
  return encodeURIComponent(text).replace(/%(2C|3A|2F|3F|40|2B)/g, (sign) => decodeURIComponent(sign));
}

/** @param {string} text */
function shortened(text) {
  return text.length > 60 ? `${text.slice(0, 60)}…` : text;
}
