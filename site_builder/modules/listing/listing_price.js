/** What a seller asks: prices, shipping, and both together; see `identify/listing_price.py`. */

import { together } from "../kernel/wording.js";
import { fixed } from "../kernel/written.js";

/**
 * @typedef {import("./claims.js").Claim} Claim
 *
 * @typedef {object} Price
 * @property {number} claim its place in the row of claims
 * @property {number} low
 * @property {number} high
 * @property {string} currency
 *
 * @typedef {{how: string, amount: number | null, currency: string | null}} Shipping how: amount, free, buyer-pays or pickup
 * @typedef {{low: number, high: number, currency: string}} Total
 * @typedef {{prices: Price[], shipping: Shipping | null, total: Total | null, says: string}} PriceReport
 */

/** @type {Record<string, string>} */
const HOW = {
  free: "shipping is included",
  "buyer-pays": "shipping comes on top, how much is not said",
  pickup: "it is not shipped",
};

/**
 * Prices, shipping, what both come to, and the same in words.
 * @param {readonly Claim[]} claims
 * @returns {PriceReport}
 */
export function asked(claims) {
  const prices = claims.flatMap((claim, n) => (claim.kind === "price" ? [amountOf(n, claim.says[0] ?? "")] : []));
  const posted = claims.find((claim) => claim.kind === "shipping")?.says[0];
  const shipping = posted === undefined ? null : shippingOf(posted);
  const total = totalOf(prices, shipping);
  return { prices, shipping, total, says: inWords(prices, shipping, total) };
}

/** @param {number} claim @param {string} says @returns {Price} */
function amountOf(claim, says) {
  const [amount = "", currency = ""] = says.split(" ");
  const [low = "", high] = amount.split("..");
  return { claim, low: Number(low), high: Number(high || low), currency };
}

/** An amount where one is said, and a word for how it is settled. @param {string} says @returns {Shipping} */
function shippingOf(says) {
  if (/^\d/.test(says)) {
    const { low, currency } = amountOf(0, says);
    return { how: "amount", amount: low, currency };
  }
  return { how: says, amount: says === "free" ? 0 : null, currency: null };
}

/**
 * Price and shipping, where there is one price and the shipping is said as an amount of the same currency, or is free.
 * @param {Price[]} prices
 * @param {Shipping | null} shipping
 * @returns {Total | null}
 */
function totalOf(prices, shipping) {
  const [price] = prices;
  if (!price || prices.length !== 1 || shipping === null || shipping.amount === null) return null;
  if (shipping.currency !== null && shipping.currency !== price.currency) return null;
  return { low: price.low + shipping.amount, high: price.high + shipping.amount, currency: price.currency };
}

/** @param {Price[]} prices @param {Shipping | null} shipping @param {Total | null} total @returns {string} */
function inWords(prices, shipping, total) {
  let ship = "nothing is said of shipping";
  if (shipping !== null) ship = HOW[shipping.how] ?? `${money(shipping.amount ?? 0, shipping.amount ?? 0, shipping.currency ?? "")} shipping`;
  if (!prices.length) return `No price is said; ${ship}.`;
  const named = together(prices.map((one) => money(one.low, one.high, one.currency)));
  const whole = total && shipping?.amount ? `: ${money(total.low, total.high, total.currency)} in all` : "";
  return `Asked: ${named}; ${ship}${whole}.`;
}

/** @param {number} low @param {number} high @param {string} currency @returns {string} */
function money(low, high, currency) {
  const [first, last] = [low, high].map((one) => fixed(one, 2).replace(/\.00$/, ""));
  return low === high ? `${first} ${currency}` : `${first} to ${last} ${currency}`;
}
