/** What the page has to choose from: the scripts beside it assign it, see `site_builder/measure_pages.py`. */

/**
 * @typedef {[string, string, string, string, number, number]} TraitRow key in an answers file, name, unit, where to measure, the
 *   least and the most it can be
 * @typedef {[string, number, number]} RecordedRow what it is and of which variants, mm, standard deviation
 * @typedef {[string, string, string, number, number]} DrawnRow id, name, address of its side, its width and height
 *
 * @typedef {object} MeasureData what measure-data.js assigns
 * @property {[string, string, number, number][]} gauges id, name, mm, standard deviation
 * @property {[string, string, number, number, number, number][]} rectangles the same of two sides
 * @property {TraitRow[]} traits the lengths that every family states
 *
 * @typedef {object} MeasureFamily
 * @property {string} name
 * @property {TraitRow[]} traits
 * @property {RecordedRow[]} recorded
 * @property {DrawnRow[]} variants
 */

/** Known things, and the lengths that every family states. */
export function everywhere() {
  return tellmarkMeasureData;
}

/** The families by id, in order. */
export function families() {
  return Object.entries(globalThis.tellmarkMeasure ?? {});
}

/**
 * The lengths that can be measured on a unit of a family; on any unit where it is none that there is.
 * @param {string} family
 * @returns {TraitRow[]}
 */
export function traitsOf(family) {
  return globalThis.tellmarkMeasure?.[family]?.traits ?? everywhere().traits;
}
