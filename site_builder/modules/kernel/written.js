/** Numbers and texts written and sorted as Python does it, so that what the page says is what the command says, to the letter. */

/** So many digits behind the last one that is kept tell a tie from anything else. */
const MORE_DIGITS = 40;

/** Of a number below the first, a rest that is farther than the second from one half is no tie. */
const SURE = 2 ** 30;
const FAR = 1e-6;

/**
 * With so many digits behind the point; a tie goes to the even digit. Python's `f"{value:.{digits}f}"`.
 * @param {number} value
 * @param {number} digits
 * @returns {string}
 */
export function fixed(value, digits) {
  if (!Number.isFinite(value)) {
    return notANumber(value);
  }
  const near = value.toFixed(digits);
  const size = Math.abs(value) * 10 ** digits;
  if (size < SURE && Math.abs(size - Math.floor(size) - 0.5) > FAR) {
    return near;
  }
  const exact = value.toFixed(Math.min(100, digits + MORE_DIGITS));
  const rest = exact.slice(exact.length - (Math.min(100, digits + MORE_DIGITS) - digits));
  if (!/^50*$/.test(rest)) {
    return near;
  }
  const cut = exact.slice(0, exact.length - rest.length).replace(/\.$/, "");
  return isEven(cut) ? cut : near;
}

/**
 * Whether the last digit of a written number is even.
 * @param {string} written
 */
function isEven(written) {
  return Number(written.slice(-1)) % 2 === 0;
}

/**
 * With so many digits in all, trailing zeros left out. Python's `f"{value:.{digits}g}"`.
 * @param {number} value
 * @param {number} [digits]
 * @returns {string}
 */
export function general(value, digits = 6) {
  if (!Number.isFinite(value)) {
    return notANumber(value);
  }
  if (value === 0) {
    return Object.is(value, -0) ? "-0" : "0";
  }
  const [mantissa = "", power = "0"] = scientific(value, digits).split("e");
  const exponent = Number(power);
  if (exponent < -4 || exponent >= digits) {
    const size = Math.abs(exponent);
    return `${bare(mantissa)}e${exponent < 0 ? "-" : "+"}${size < 10 ? "0" : ""}${size}`;
  }
  return bare(fixed(Number(`${mantissa}e${exponent}`), Math.max(0, digits - 1 - exponent)));
}

/**
 * One digit, a point and the other digits, and the power of ten; a tie goes to the even digit.
 * @param {number} value
 * @param {number} digits
 * @returns {string}
 */
function scientific(value, digits) {
  const near = value.toExponential(digits - 1);
  const many = Math.min(100, digits - 1 + MORE_DIGITS);
  const [mantissa = "", power = "0"] = value.toExponential(many).split("e");
  const rest = mantissa.slice(mantissa.length - (many - (digits - 1)));
  if (!/^50*$/.test(rest)) {
    return near;
  }
  const cut = mantissa.slice(0, mantissa.length - rest.length).replace(/\.$/, "");
  return isEven(cut) ? `${cut}e${power}` : near;
}

/**
 * Without zeros at the end of a fraction.
 * @param {string} written
 */
function bare(written) {
  return written.includes(".") ? written.replace(/\.?0+$/, "") : written;
}

/** @param {number} value */
function notANumber(value) {
  return Number.isNaN(value) ? "nan" : value > 0 ? "inf" : "-inf";
}

/**
 * Rounded to so many digits behind the point, as Python's `round`: by what is exactly there, a tie to the even digit.
 * @param {number} value
 * @param {number} digits
 * @returns {number}
 */
export function rounded(value, digits) {
  return Number(fixed(value, digits));
}

/**
 * To the nearest whole number, a tie to the even one; numpy's `rint`.
 * @param {number} value
 * @returns {number}
 */
export function even(value) {
  const low = Math.floor(value);
  const rest = value - low;
  if (rest !== 0.5) {
    return rest < 0.5 ? low : low + 1;
  }
  return low % 2 === 0 ? low : low + 1;
}

/**
 * -1, 0 or 1: the order of two texts by code points, which is not that of UTF-16 behind U+FFFF.
 * @param {string} first
 * @param {string} second
 * @returns {number}
 */
export function inOrder(first, second) {
  if (first === second) {
    return 0;
  }
  let at = 0;
  while (at < first.length && at < second.length && first[at] === second[at]) {
    at += 1;
  }
  const [one, other] = [codeAt(first, at), codeAt(second, at)];
  return one === other ? 0 : one < other ? -1 : 1;
}

/**
 * The code point at a place, wherever a pair begins; -1 behind the end.
 * @param {string} text
 * @param {number} at
 */
function codeAt(text, at) {
  const code = text.charCodeAt(at);
  if (code >= 0xdc00 && code <= 0xdfff && at > 0) {
    return text.codePointAt(at - 1) ?? -1;
  }
  return text.codePointAt(at) ?? -1;
}

/**
 * The texts by code points.
 * @param {Iterable<string>} texts
 * @returns {string[]}
 */
export function sorted(texts) {
  return [...texts].sort(inOrder);
}
