/** The plain text of what somebody pasted or saved: a text, or a web page without its markup; see `kb/plain_text.py`. */

/** A saved page may be so large; its text, so long. */
const MOST_BYTES = 8 << 20, MOST_TEXT = 60_000;
/** More control characters than this share, and it is no text. */
const BINARY = 0.01;
/** So much of a page is searched for what it says of its encoding. */
const HEAD = 4096;
const PAGE = /<!doctype html|<html[\s>]|<body[\s>]|<\/(?:p|div|span|table|td|li|h[1-6])>|<br\s*\/?>/i;
const CHARSET = /<meta[^>]+charset\s*=\s*["']?\s*([A-Za-z0-9_-]+)/i;
const UNPRINTABLE = /[\p{C}\p{Z}]/gu;
/** What is in these is no text; what these stand for ends a line. */
const DROPPED = new Set(["script", "style", "noscript", "template", "title", "head", "svg", "select", "button"]);
const ENDS_A_LINE = new Set(
  "address article aside blockquote br dd div dl dt figcaption footer form h1 h2 h3 h4 h5 h6 header hr li main nav ol p pre section table td th tr ul".split(" "),
);

/** Elements that hold nothing, and so are never closed; and those in which no tag begins. */
const EMPTY = new Set("area base br col embed hr img input link meta source track wbr".split(" "));
const RAW = new Set(["script", "style"]);
const TAG = /<!--[^]*?(?:--!?>|$)|<[!?][^>]*>|<\/([a-z][^\s/>]*)[^>]*>|<([a-z][^\s/>]*)((?:"[^"]*"|'[^']*'|[^'">])*)>/i;

/** There is no text in it, or too much. */
export class NoText extends Error {
  /** @param {string} found @param {string} expected */
  constructor(found, expected) {
    super(`found ${found}, expected ${expected}`);
  }
}

/**
 * The text in what was pasted, of a web page what one reads on it.
 * @param {string} pasted
 * @returns {string}
 * @throws {NoText} where it is empty or too long
 */
export function plainText(pasted) {
  const text = tidy(PAGE.test(pasted) ? withoutMarkup(pasted) : pasted), { length } = Array.from(text);
  if (!length) throw new NoText("no text", "what a seller wrote, as plain text or as a saved page");
  if (length > MOST_TEXT) throw new NoText(`a text of ${grouped(length)} characters`, `at most ${grouped(MOST_TEXT)} characters; keep the description alone`);
  return text;
}

/**
 * The text of a file: UTF-8, UTF-16 with its mark, what a page says it is, or else the western code page.
 * @param {Uint8Array} data
 * @returns {string}
 * @throws {NoText} where it is none
 */
export function decoded(data) {
  if (data.length > MOST_BYTES) throw new NoText("a file over 8 MiB", "at most 8 MiB; save the text alone");
  const marked = (data[0] === 0xff && data[1] === 0xfe && "utf-16le") || (data[0] === 0xfe && data[1] === 0xff && "utf-16be");
  const binary = new NoText("a binary file", "a text, or a saved web page");
  if (!marked && data.includes(0)) throw binary;
  const stated = CHARSET.exec(new TextDecoder("windows-1252").decode(data.subarray(0, HEAD)))?.[1];
  const text = marked ? new TextDecoder(marked).decode(data) : firstOf(["utf-8", ...(stated ? [stated] : [])], data);
  const strange = (text.match(UNPRINTABLE) ?? []).filter((one) => !" \t\n\r\f\v".includes(one)).length;
  if (strange > BINARY * text.length + 1) throw binary;
  return text;
}

/**
 * The data in the first of these encodings that it can be in; else in the western code page.
 * @param {string[]} encodings
 * @param {Uint8Array} data
 * @returns {string}
 */
function firstOf(encodings, data) {
  for (const encoding of encodings) {
    try {
      return new TextDecoder(encoding, { fatal: true }).decode(data);
    } catch (error) {
      if (!(error instanceof TypeError || error instanceof RangeError)) throw error; // not in this encoding, or there is no such one
    }
  }
  return new TextDecoder("windows-1252").decode(data);
}

/**
 * Without control characters, blank ends of lines, and more than one empty line.
 * @param {string} text
 * @returns {string}
 */
export function tidy(text) {
  const plain = text.replaceAll("\r\n", "\n").replaceAll("\r", "\n").replace(UNPRINTABLE, (one) => (one === "\n" ? one : " "));
  const lines = plain.split("\n").map((line) => line.split(" ").filter(Boolean).join(" "));
  return lines.join("\n").replace(/\n{3,}/g, "\n\n").replace(/^[ \n]+|[ \n]+$/g, "");
}

/**
 * What one reads on a page; line ends of its source are blanks.
 *
 * Tags are taken as they stand, as Python's parser does, for a browser's would make a whole page of it, styles included.
 * @param {string} page
 * @returns {string}
 */
function withoutMarkup(page) {
  const gathered = new Gathered();
  let end = 0;
  for (let match = nextTag(page, end); match; match = nextTag(page, end)) {
    gathered.data(page.slice(end, match.index));
    end = match.index + match[0].length;
    const closed = match[1]?.toLowerCase(), opened = match[2]?.toLowerCase(), more = match[3] ?? "";
    if (closed) gathered.close(closed);
    if (!opened) continue;
    gathered.open(opened, /\shidden(?=[\s=/]|$)/i.test(more.replace(/"[^"]*"|'[^']*'/g, "")));
    if (more.endsWith("/")) gathered.close(opened);
    else if (RAW.has(opened)) end += rawLength(page.slice(end), opened);
  }
  gathered.data(page.slice(end));
  return gathered.pieces.join("");
}

/** @param {string} page @param {number} at @returns {RegExpExecArray | null} */
function nextTag(page, at) {
  const tag = new RegExp(TAG, "g");
  tag.lastIndex = at;
  return tag.exec(page);
}

/** How long what is in an element with no tags in it is. @param {string} rest @param {string} tag @returns {number} */
function rawLength(rest, tag) {
  const found = rest.search(new RegExp(`</${tag}(?=[\\s/>])`, "i"));
  return found < 0 ? rest.length : found;
}

/** What was read of a page so far. */
class Gathered {
  constructor() {
    /** @type {string[]} */
    this.pieces = [];
    /** @type {string[]} */
    this.dropping = [];
  }

  /** A new line, or a stretch to drop, begins; what is hidden is not read either. @param {string} tag @param {boolean} hidden */
  open(tag, hidden) {
    const again = this.dropping.length > 0 && tag === this.dropping[this.dropping.length - 1];
    if ((DROPPED.has(tag) || hidden || again) && !EMPTY.has(tag)) this.dropping.push(tag);
    if (tag === "body") this.dropping.length = 0; // a head that was never closed
    if (ENDS_A_LINE.has(tag)) this.pieces.push("\n");
  }

  /** What was begun ends. @param {string} tag */
  close(tag) {
    if (this.dropping.length && tag === this.dropping[this.dropping.length - 1]) this.dropping.pop();
    if (ENDS_A_LINE.has(tag)) this.pieces.push("\n");
  }

  /** Text, unless it is dropped. @param {string} text */
  data(text) {
    if (!this.dropping.length && text) this.pieces.push(characters(text).replace(/\s+/g, " "));
  }
}

/** A text with the names of characters made characters. @param {string} text @returns {string} */
function characters(text) {
  if (!text.includes("&")) return text;
  const held = new DOMParser().parseFromString(`<textarea>.${text}</textarea>`, "text/html").querySelector("textarea");
  return (held?.value ?? text).slice(1);
}

/** A number with a comma before each three figures. @param {number} number @returns {string} */
function grouped(number) {
  return String(number).replace(/(?<=\d)(?=(?:\d{3})+$)/g, ",");
}
