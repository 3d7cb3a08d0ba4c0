/** What a question shows: the pictures of its states, and the place to look lit up on the drawing of the unit. */

import { leadingFamily } from "../kernel/report.js";
import { picturesOf, places } from "./data.js";
import { drawing, element, shape } from "./dom.js";
import { familyOfVariant } from "./flow.js";

/**
 * @typedef {import("./flow.js").Flow} Flow
 * @typedef {import("./data.js").Picture} Picture
 *
 * @typedef {object} Seen what there is to see of a trait
 * @property {Record<string, Picture>} of the pictures of its states; "" of what is measured or read
 * @property {HTMLElement | null} place
 */

/**
 * The pictures of a trait, of the family it is asked about. A page without pictures is still a page.
 * @param {Flow} flow
 * @param {number} t
 * @returns {Promise<Seen>}
 */
export async function seenOf({ state, session, words }, t) {
  const trait = words.traitAt(t);
  const family = trait.family ?? state.family ?? (certain(session) ? leadingFamily(session) : null);
  try {
    const drawn = await places(family);
    const leader = session.variants[0]?.[0] ?? "";
    const kind = familyOfVariant(session, leader) === family ? drawn.kinds[leader] : undefined;
    return { of: picturesOf(drawn, trait.id), place: placeOf(drawn, words.view(t), kind, [trait.id, words.slotOf(t).id]) };
  } catch {
    return { of: {}, place: null };
  }
}

/**
 * Whether one family has nearly all belief.
 * @param {Flow["session"]} session
 */
function certain(session) {
  return Math.max(...session.familyShares) >= session.compiled.settled;
}

/**
 * The drawing of a view with the place lit up: of the kind that leads if that shows it, else of any.
 * @param {import("./data.js").Places} drawn
 * @param {string | null} view
 * @param {string | undefined} kind
 * @param {string[]} names the trait, or else its slot
 * @returns {HTMLElement | null}
 */
function placeOf(drawn, view, kind, names) {
  if (!view) return null;
  const sheets = [...(kind ? [`${view}/${kind}`] : []), view].flatMap((name) => drawn.views[name] ?? []);
  for (const name of names) {
    const sheet = sheets.find((one) => Object.hasOwn(one.marks, name));
    const mark = sheet?.marks[name];
    const picture = sheet && drawing(sheet.svg);
    if (!sheet || !mark || !picture) continue;
    const [left, top, width, height] = sheet.box;
    const lit = shape("svg", { class: "lit", viewBox: `${left} ${top} ${width} ${height}`, "aria-hidden": "true", focusable: "false" });
    const [x, y, across, down] = mark;
    const around = `M${left} ${top}h${width}v${height}h${-width}z`;
    const inside = `M${x} ${y}v${down}h${across}v${-down}z`;
    const frame = { x: String(x), y: String(y), width: String(across), height: String(down), rx: "3" };
    lit.append(shape("path", { class: "dimmed", d: around + inside }), shape("rect", frame));
    return element("figure", { class: width > 2 * height ? "place wide" : "place" }, element("div", { class: "labeled" }, picture, lit), element("figcaption", {}, "Where to look"));
  }
  return null;
}
