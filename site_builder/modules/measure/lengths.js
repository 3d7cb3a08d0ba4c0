/**
 * Lengths from marks on a photograph, each with what it is good to. The same formulas, words and limits as
 * `identify/lengths.py`, where they are explained; the two agree to 1e-9.
 */

import { solved } from "./linear.js";

/**
 * @typedef {readonly [number, number]} Point x to the right, y down, in pixels; or a known point, in its unit
 *
 * A length with its derivatives: by x and y of each mark, and by each known number.
 * @typedef {object} Derived
 * @property {number} value
 * @property {[number, number][]} byMarks
 * @property {number[]} byKnown
 *
 * A length with its standard deviation, and the shares of marking and of what is known, which add up in squares.
 * @typedef {object} Length
 * @property {number} value
 * @property {number} plusMinus
 * @property {number} ofMarking
 * @property {number} ofKnown
 */

export const CLICK = 1;
export const GUESS = 0.2;
const NO_ROOM = 1e-6;
const OFF_SDS = 5;
const OFF_SHARE = 0.02;
const HORIZON = 1e-6;

/** What keeps marks from being measured, in words for a person. */
export const PROBLEMS = Object.freeze({
  NOT_KNOWN: "a known length is zero or less",
  ONE_PLACE: "two marks of the known length are at one place",
  NO_LENGTH: "the two marks of the wanted length are at one place",
  NOT_BETWEEN: "the middle mark of the line does not lie between the other two",
  OFF_LINE: "a mark does not lie on the line",
  IN_LINE: "three of the four marks are in a line",
  KNOWN_IN_LINE: "three of the four known points are in a line",
  NOT_IN_ORDER: "the four marks do not go around in the order of the known points",
  BEYOND_HORIZON: "a mark lies beyond the horizon of what is known",
});

/** The marks cannot be measured; `problem` is a key of PROBLEMS. */
export class CannotMeasure extends Error {
  /** @param {keyof typeof PROBLEMS} problem */
  constructor(problem) {
    super(PROBLEMS[problem]);
    this.problem = problem;
  }
}

/** @param {boolean} wrong @param {keyof typeof PROBLEMS} problem */
function refuse(wrong, problem) {
  if (wrong) throw new CannotMeasure(problem);
}

/**
 * The length with its uncertainty.
 * @param {Derived} found
 * @param {readonly number[]} which which[i]: the point that mark i is
 * @param {readonly number[]} clicks the standard deviation of each point, in pixels
 * @param {readonly number[]} knownSd of the length of `found.byKnown`
 * @returns {Length}
 */
export function toLength(found, which, clicks, knownSd) {
  const byPoint = clicks.map(() => [0, 0]);
  which.forEach((point, mark) => {
    const sum = byPoint[point];
    const by = found.byMarks[mark];
    if (!sum || !by) throw new RangeError("no point " + point);
    sum[0] = (sum[0] ?? 0) + by[0];
    sum[1] = (sum[1] ?? 0) + by[1];
  });
  const marking = Math.hypot(...byPoint.flatMap((by, point) => by.map((one) => one * (clicks[point] ?? 0))));
  const known = Math.hypot(...found.byKnown.map((by, one) => by * (knownSd[one] ?? 0)));
  return { value: found.value, plusMinus: Math.hypot(marking, known), ofMarking: marking, ofKnown: known };
}

/** Whether a length is too uncertain to be called measured. @param {Length} length */
export function isGuess(length) {
  return length.plusMinus > GUESS * length.value;
}

/** @param {readonly Point[]} points @param {number} at @returns {Point} */
function pointAt(points, at) {
  const found = points[at];
  if (!found) throw new RangeError("no point " + at);
  return found;
}

/** The distances between all pairs of points. @param {readonly Point[]} points */
function distances(points) {
  return points.flatMap(([x, y], at) => points.slice(at + 1).map(([toX, toY]) => Math.hypot(toX - x, toY - y)));
}

/** @param {readonly Point[]} points */
const largest = (points) => Math.max(...distances(points));
/** @param {readonly Point[]} points */
const nearest = (points) => Math.min(...distances(points));

/** The middle of some points. @param {readonly Point[]} points @returns {Point} */
function middleOf(points) {
  const x = points.reduce((sum, one) => sum + one[0], 0);
  const y = points.reduce((sum, one) => sum + one[1], 0);
  return [x / points.length, y / points.length];
}

// One known length -----------------------------------------------------------------------------------------------------------

/**
 * The length between marks 2 and 3, of which `known` lies between marks 0 and 1. Throws CannotMeasure.
 * @param {readonly Point[]} marks four
 * @param {readonly [number]} known
 * @returns {Derived}
 */
export function byScale(marks, [known]) {
  refuse(known <= 0, "NOT_KNOWN");
  const [a, b, c, d] = [0, 1, 2, 3].map((at) => pointAt(marks, at));
  if (!a || !b || !c || !d) throw new RangeError("four marks");
  const given = [b[0] - a[0], b[1] - a[1]];
  const asked = [d[0] - c[0], d[1] - c[1]];
  const pixels = Math.hypot(...given);
  const across = Math.hypot(...asked);
  refuse(pixels <= NO_ROOM * largest(marks), "ONE_PLACE");
  refuse(across <= NO_ROOM * largest(marks), "NO_LENGTH");
  const value = (known * across) / pixels;
  /** @param {number[]} by @param {number} factor @returns {[number, number]} */
  const times = (by, factor) => [(by[0] ?? 0) * factor, (by[1] ?? 0) * factor];
  const ofGiven = value / pixels ** 2;
  const ofAsked = value / across ** 2;
  const byMarks = [times(given, ofGiven), times(given, -ofGiven), times(asked, -ofAsked), times(asked, ofAsked)];
  return { value, byMarks, byKnown: [across / pixels] };
}

// A line ---------------------------------------------------------------------------------------------------------------------

/**
 * The cross-ratio of four places along a line, |12||34| / (|13||24|).
 * @param {readonly [number, number, number, number]} places
 */
export function crossRatio([one, two, three, four]) {
  return ((one - two) * (three - four)) / ((one - three) * (two - four));
}

/**
 * The length between marks 3 and 4 of a line whose marks 0, 1, 2 are known[0] and known[1] apart. Throws CannotMeasure.
 * @param {readonly Point[]} marks five
 * @param {readonly [number, number]} known
 * @param {readonly number[]} clicks the standard deviation of each mark in pixels, by which one is found to lie off the line
 * @returns {Derived}
 */
export function alongLine(marks, known, clicks) {
  refuse(known.some((one) => one <= 0), "NOT_KNOWN");
  refuse(nearest(marks.slice(0, 3)) <= NO_ROOM * largest(marks), "ONE_PLACE");
  refuse(nearest(marks.slice(3)) <= NO_ROOM * largest(marks), "NO_LENGTH");
  const { turn, byTurn, centered } = direction(marks);
  const cos = Math.cos(turn);
  const sin = Math.sin(turn);
  const places = centered.map(([x, y]) => x * cos + y * sin);
  const off = centered.map(([x, y]) => y * cos - x * sin);
  const [a = 0, b = 0, c = 0, from = 0, to = 0] = places;
  refuse((b - a) * (c - b) <= 0, "NOT_BETWEEN");
  const share = OFF_SHARE * (Math.max(...places) - Math.min(...places));
  refuse(off.some((one, mark) => Math.abs(one) > Math.max(OFF_SDS * (clicks[mark] ?? 0), share)), "OFF_LINE");
  const first = placeOf([a, b, c, from], known);
  const second = placeOf([a, b, c, to], known);
  const side = second.place >= first.place ? 1 : -1;
  const three = [0, 1, 2].map((at) => (second.byPlaces[at] ?? 0) - (first.byPlaces[at] ?? 0));
  const byPlaces = [...three, -(first.byPlaces[3] ?? 0), second.byPlaces[3] ?? 0].map((one) => side * one);
  const turning = byPlaces.reduce((sum, one, mark) => sum + one * (off[mark] ?? 0), 0);
  const byMarks = byPlaces.map((one, mark) => {
    const [byX, byY] = pointAt(byTurn, mark);
    return /** @type {[number, number]} */ ([one * cos + turning * byX, one * sin + turning * byY]);
  });
  const byKnown = [0, 1].map((at) => side * ((second.byKnown[at] ?? 0) - (first.byKnown[at] ?? 0)));
  return { value: side * (second.place - first.place), byMarks, byKnown };
}

/**
 * The angle of the line that leaves least in squares between it and the marks, and its derivatives by each mark.
 * @param {readonly Point[]} marks
 */
function direction(marks) {
  const [midX, midY] = middleOf(marks);
  const centered = marks.map(([x, y]) => /** @type {Point} */ ([x - midX, y - midY]));
  const sine = 2 * centered.reduce((sum, [x, y]) => sum + x * y, 0);
  const cosine = centered.reduce((sum, [x, y]) => sum + x * x - y * y, 0);
  const below = sine ** 2 + cosine ** 2;
  const byTurn = centered.map(([x, y]) => /** @type {Point} */ ([(cosine * y - sine * x) / below, (cosine * x + sine * y) / below]));
  return { turn: 0.5 * Math.atan2(sine, cosine), byTurn, centered };
}

/**
 * How far along the line the fourth place is from the first, with the derivatives by the four places and the known lengths.
 * @param {readonly [number, number, number, number]} places
 * @param {readonly [number, number]} known
 */
function placeOf([t1, t2, t3, t4], known) {
  const a = known[0];
  const s = known[0] + known[1];
  const n = (t1 - t2) * (t3 - t4);
  const m = (t1 - t3) * (t2 - t4);
  const below = a * m - s * n;
  refuse(below <= HORIZON * (s - a) * Math.abs((t1 - t2) * (t1 - t3)), "BEYOND_HORIZON");
  const byN = [t3 - t4, t4 - t3, t1 - t2, t2 - t1];
  const byM = [t2 - t4, t1 - t3, t4 - t2, t3 - t1];
  const place = (a * s * (m - n)) / below;
  const byPlaces = byN.map((one, at) => {
    const other = byM[at] ?? 0;
    return (a * s * (other - one) - place * (a * other - s * one)) / below;
  });
  const byA = (s * (m - n) - place * m) / below;
  const byS = (a * (m - n) + place * n) / below;
  return { place, byPlaces, byKnown: [byA + byS, byS] };
}

// A plane --------------------------------------------------------------------------------------------------------------------

/**
 * The length between marks 4 and 5 in the plane where marks 0 to 3 are at `points`; byKnown is x, y of each point in turn.
 * Throws CannotMeasure.
 * @param {readonly Point[]} marks six
 * @param {readonly Point[]} points four
 * @returns {Derived}
 */
export function inPlane(marks, points) {
  const plane = planeOf(marks.slice(0, 4), points);
  refuse(nearest(marks.slice(4)) <= NO_ROOM * largest(marks), "NO_LENGTH");
  const first = placedAt(plane, pointAt(marks, 4));
  const second = placedAt(plane, pointAt(marks, 5));
  const apart = [second.at[0] - first.at[0], second.at[1] - first.at[1]];
  const value = Math.hypot(...apart);
  const [towardX = 0, towardY = 0] = apart.map((one) => one / value);
  /** @param {readonly number[]} byX @param {readonly number[]} byY */
  const along = (byX, byY) => byX.map((one, at) => towardX * one + towardY * (byY[at] ?? 0));
  const bySecond = along(second.byEntries[0], second.byEntries[1]);
  const byFirst = along(first.byEntries[0], first.byEntries[1]);
  const given = byGiven(plane, bySecond.map((one, at) => one - (byFirst[at] ?? 0)));
  const shrunk = plane.points.scale / plane.marks.scale;
  const ends = [along(first.byMark[0], first.byMark[1]).map((one) => -one), along(second.byMark[0], second.byMark[1])];
  const byMarks = [...given.byMarks, ...ends].map(([byX = 0, byY = 0]) => /** @type {[number, number]} */ ([byX * shrunk, byY * shrunk]));
  return { value: value * plane.points.scale, byMarks, byKnown: given.byPoints };
}

/**
 * The length between marks 4 and 5 in the plane of a rectangle with marks 0 to 3 as its corners, one after the other.
 * Throws CannotMeasure.
 * @param {readonly Point[]} marks six
 * @param {readonly [number, number]} known from corner 0 to 1, and from 1 to 2
 * @returns {Derived}
 */
export function inRectangle(marks, known) {
  refuse(known.some((one) => one <= 0), "NOT_KNOWN");
  const [width, height] = known;
  const found = inPlane(marks, [[0, 0], [width, 0], [width, height], [0, height]]);
  const by = found.byKnown;
  return { ...found, byKnown: [(by[2] ?? 0) + (by[4] ?? 0), (by[5] ?? 0) + (by[7] ?? 0)] };
}

/**
 * Points moved to their middle and scaled to a mean distance of 1 from it.
 * @typedef {object} Frame
 * @property {Point} middle
 * @property {number} scale
 * @property {Point[]} inside
 *
 * The homography of a plane from four points, in the frames of both: its nine entries, the last of them 1.
 * @typedef {object} Plane
 * @property {Frame} marks
 * @property {Frame} points
 * @property {number[][]} rows the equations of its first eight entries
 * @property {number[]} entries
 * @property {number[]} depths of the four marks
 */

/** @param {readonly Point[]} points @returns {Frame} */
function frameOf(points) {
  const middle = middleOf(points);
  const scale = points.reduce((sum, [x, y]) => sum + Math.hypot(x - middle[0], y - middle[1]), 0) / points.length;
  return { middle, scale, inside: points.map((point) => inFrame({ middle, scale }, point)) };
}

/** @param {{middle: Point, scale: number}} frame @param {Point} point @returns {Point} */
function inFrame({ middle, scale }, [x, y]) {
  return [(x - middle[0]) / scale, (y - middle[1]) / scale];
}

/** Throws CannotMeasure. @param {readonly Point[]} marks @param {readonly Point[]} points @returns {Plane} */
function planeOf(marks, points) {
  refuse(narrow(marks), "IN_LINE");
  refuse(narrow(points), "KNOWN_IN_LINE");
  const known = turns(points);
  const ways = turns(marks).reduce((sum, one, at) => sum + Math.sign(one) * Math.sign(known[at] ?? 0), 0);
  refuse(Math.abs(ways) < 4, "NOT_IN_ORDER");
  const from = frameOf(marks);
  const to = frameOf(points);
  const across = from.inside.map(([x, y], at) => {
    const toX = pointAt(to.inside, at)[0];
    return [x, y, 1, 0, 0, 0, -x * toX, -y * toX];
  });
  const down = from.inside.map(([x, y], at) => {
    const toY = pointAt(to.inside, at)[1];
    return [0, 0, 0, x, y, 1, -x * toY, -y * toY];
  });
  const rows = [...across, ...down];
  const entries = [...solved(rows, [...to.inside.map((one) => one[0]), ...to.inside.map((one) => one[1])]), 1];
  const depths = from.inside.map(([x, y]) => (entries[6] ?? 0) * x + (entries[7] ?? 0) * y + 1);
  return { marks: from, points: to, rows, entries, depths };
}

/**
 * The 3 x 3 matrix, row after row and scaled to 1 in its last place, that takes four marks to the known points.
 * Throws CannotMeasure.
 * @param {readonly Point[]} marks four
 * @param {readonly Point[]} points four
 * @returns {number[]}
 */
export function homography(marks, points) {
  const { marks: from, points: to, entries } = planeOf(marks, points);
  const [x, y] = from.middle;
  const rows = [0, 1, 2].map((row) => {
    const [byX = 0, byY = 0, rest = 0] = entries.slice(3 * row, 3 * row + 3);
    return [byX / from.scale, byY / from.scale, rest - (byX * x + byY * y) / from.scale];
  });
  const [first = [], second = [], third = []] = rows;
  const back = [first, second].map((row, axis) => row.map((one, at) => to.scale * one + (to.middle[axis] ?? 0) * (third[at] ?? 0)));
  return [...back, third].flat().map((one) => one / (third[2] ?? 1));
}

/**
 * Where a mark is in the frame of the known points, with derivatives by the mark and by the first eight entries.
 * Throws CannotMeasure.
 * @param {Plane} plane
 * @param {Point} mark
 */
function placedAt({ marks, entries, depths }, mark) {
  const [x, y] = inFrame(marks, mark);
  const [h0 = 0, h1 = 0, h2 = 0, h3 = 0, h4 = 0, h5 = 0, h6 = 0, h7 = 0] = entries;
  const depth = h6 * x + h7 * y + 1;
  refuse(depth <= HORIZON * Math.max(...depths), "BEYOND_HORIZON");
  const toX = (h0 * x + h1 * y + h2) / depth;
  const toY = (h3 * x + h4 * y + h5) / depth;
  return {
    at: /** @type {Point} */ ([toX, toY]),
    byMark: /** @type {[number[], number[]]} */ ([
      [(h0 - toX * h6) / depth, (h1 - toX * h7) / depth],
      [(h3 - toY * h6) / depth, (h4 - toY * h7) / depth],
    ]),
    byEntries: /** @type {[number[], number[]]} */ ([
      [x, y, 1, 0, 0, 0, -toX * x, -toX * y].map((one) => one / depth),
      [0, 0, 0, x, y, 1, -toY * x, -toY * y].map((one) => one / depth),
    ]),
  };
}

/**
 * Derivatives by the four marks, and by x and y of the four points, of what has these by the first eight entries.
 * @param {Plane} plane
 * @param {readonly number[]} byEntries
 */
function byGiven({ points, rows, entries, depths }, byEntries) {
  const turned = rows.map((_, column) => rows.map((row) => row[column] ?? 0));
  const pull = solved(turned, byEntries);
  const [h0 = 0, h1 = 0, , h3 = 0, h4 = 0, , h6 = 0, h7 = 0] = entries;
  const byMarks = points.inside.map(([toX, toY], at) => {
    const [pullX, pullY] = [pull[at] ?? 0, pull[at + 4] ?? 0];
    return [-pullX * (h0 - h6 * toX) - pullY * (h3 - h6 * toY), -pullX * (h1 - h7 * toX) - pullY * (h4 - h7 * toY)];
  });
  const byPoints = depths.flatMap((depth, at) => [(pull[at] ?? 0) * depth, (pull[at + 4] ?? 0) * depth]);
  return { byMarks, byPoints };
}

/** Twice the area of the triangle of each three of four points, with the sign of the way around. @param {readonly Point[]} points */
function turns(points) {
  return [0, 1, 2, 3].map((at) => {
    const [x, y] = pointAt(points, at);
    const [bx, by] = pointAt(points, (at + 1) % 4);
    const [cx, cy] = pointAt(points, (at + 2) % 4);
    return (bx - x) * (cy - y) - (by - y) * (cx - x);
  });
}

/** Whether three of the points are in a line, or at one place. @param {readonly Point[]} points */
function narrow(points) {
  const least = NO_ROOM * largest(points) ** 2;
  return turns(points).some((one) => Math.abs(one) <= least);
}
