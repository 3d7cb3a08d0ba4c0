/**
 * The stem of an English word: M. F. Porter, "An algorithm for suffix stripping", Program 14(3), 1980, 130-137, with the later
 * rules of its author's page that `whoosh.lang.porter` follows ("logi", "bli").  Equal to that function for lower-case words.
 */

const C = "[^aeiouy]+", V = "[aeiou]+";
/** At least one vowel followed by consonants; exactly one; at least two; a vowel at all; consonants, a vowel and a consonant. */
const ONE = new RegExp(`^(?:${C})?${V}${C}`);
const JUST_ONE = new RegExp(`^(?:${C})?${V}${C}(?:${V})?$`);
const TWO = new RegExp(`^(?:${C})?${V}${C}${V}${C}`);
const VOWEL = new RegExp(`^(?:${C})?[aeiouy]`);
const SHORT = new RegExp(`^${C}[aeiouy][^aeiouwxy]$`);
/** @type {Record<string, string>} */
const SECOND = {
  ational: "ate", tional: "tion", enci: "ence", anci: "ance", izer: "ize", bli: "ble", alli: "al", entli: "ent", eli: "e",
  ousli: "ous", ization: "ize", ation: "ate", ator: "ate", alism: "al", iveness: "ive", fulness: "ful", ousness: "ous",
  aliti: "al", iviti: "ive", biliti: "ble", logi: "log",
};
/** @type {Record<string, string>} */
const THIRD = { icate: "ic", ative: "", alize: "al", iciti: "ic", ical: "ic", ful: "", ness: "" };
const SECONDS = new RegExp(`^(.+?)(${Object.keys(SECOND).join("|")})$`);
const THIRDS = new RegExp(`^(.+?)(${Object.keys(THIRD).join("|")})$`);
const FOURTHS = /^(.+?)(?:al|ance|ence|er|ic|able|ible|ant|ement|ment|ent|ou|ism|ate|iti|ous|ive|ize)$/;

/**
 * The Porter stem of a lower-case word; anything but plain letters as it is.
 * @param {string} word
 * @returns {string}
 */
export function stem(word) {
  if (!/^[A-Za-z]+$/.test(word) || word.length < 3) return word;
  const held = word.startsWith("y");
  const found = last(fourth(longer(longer(third(second(first(held ? `Y${word.slice(1)}` : word))), SECONDS, SECOND), THIRDS, THIRD)));
  return held ? `y${found.slice(1)}` : found;
}

/** Plurals. @param {string} word @returns {string} */
function first(word) {
  if (word.endsWith("sses") || word.endsWith("ies")) return word.slice(0, -2);
  return word.endsWith("s") && word.charAt(word.length - 2) !== "s" ? word.slice(0, -1) : word;
}

/** Forms of verbs. @param {string} word @returns {string} */
function second(word) {
  if (word.endsWith("eed")) return ONE.test(word.slice(0, -3)) ? word.slice(0, -1) : word;
  const found = /^(.*)(?:ed|ing)$/.exec(word)?.[1];
  if (found === undefined || !VOWEL.test(found)) return word;
  if (/^(?:at|bl|iz)$/.test(found)) return `${found}e`; // whoosh looks for these endings in a word that is nothing else
  if (/^([^aeiouylsz])\1$/.test(found)) return found.slice(0, -1);
  return SHORT.test(found) ? `${found}e` : found;
}

/** @param {string} word @returns {string} */
function third(word) {
  return word.endsWith("y") && VOWEL.test(word.slice(0, -1)) ? `${word.slice(0, -1)}i` : word;
}

/** @param {string} word @param {RegExp} endings @param {Record<string, string>} instead @returns {string} */
function longer(word, endings, instead) {
  const found = endings.exec(word);
  return found?.[1] && found[2] && ONE.test(found[1]) ? found[1] + (instead[found[2]] ?? "") : word;
}

/** @param {string} word @returns {string} */
function fourth(word) {
  const found = FOURTHS.exec(word)?.[1];
  if (found !== undefined) return TWO.test(found) ? found : word;
  const ion = /^(.+?[st])ion$/.exec(word)?.[1];
  return ion !== undefined && TWO.test(ion) ? ion : word;
}

/** @param {string} word @returns {string} */
function last(word) {
  const bare = /^(.+?)e$/.exec(word)?.[1];
  const found = bare !== undefined && (TWO.test(bare) || (JUST_ONE.test(bare) && !SHORT.test(bare))) ? bare : word;
  return found.endsWith("ll") && TWO.test(found) ? found.slice(0, -1) : found;
}
