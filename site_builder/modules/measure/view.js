/** Which part of the photograph is seen. Pure. Points of the picture are in its pixels, points of the stage in those of the page. */

/**
 * @typedef {readonly [number, number]} Point
 * @typedef {{width: number, height: number}} Size
 * @typedef {{scale: number, left: number, top: number}} View scale: pixels of the page to one of the picture; left, top: the
 *   point of the picture in the upper left corner of the stage
 */

/** So many pixels of the page one of the picture is at most. */
const CLOSEST = 40;

/** The whole picture. @param {Size} picture @param {Size} stage @returns {View} */
export function wholeView(picture, stage) {
  const scale = Math.min(stage.width / picture.width, stage.height / picture.height);
  return kept({ scale, left: 0, top: 0 }, picture, stage);
}

/** @param {View} view @param {Point} point @returns {Point} */
export function onStage({ scale, left, top }, [x, y]) {
  return [(x - left) * scale, (y - top) * scale];
}

/** @param {View} view @param {Point} point @returns {Point} */
export function onPicture({ scale, left, top }, [x, y]) {
  return [left + x / scale, top + y / scale];
}

/** The point of the picture in the middle of the stage. @param {View} view @param {Size} stage @returns {Point} */
export function middle(view, stage) {
  return onPicture(view, [stage.width / 2, stage.height / 2]);
}

/**
 * Closer by a factor, or farther below 1, with a point of the picture in the middle as far as there is picture around it.
 * @param {View} view
 * @param {number} factor
 * @param {Point} about
 * @param {Size} picture
 * @param {Size} stage
 * @returns {View}
 */
export function closer(view, factor, about, picture, stage) {
  const least = wholeView(picture, stage).scale;
  const scale = Math.min(Math.max(view.scale * factor, least), Math.max(CLOSEST, least));
  return kept({ scale, left: about[0] - stage.width / scale / 2, top: about[1] - stage.height / scale / 2 }, picture, stage);
}

/**
 * Moved by so many pixels of the page.
 * @param {View} view
 * @param {Point} by
 * @param {Size} picture
 * @param {Size} stage
 * @returns {View}
 */
export function moved({ scale, left, top }, [x, y], picture, stage) {
  return kept({ scale, left: left + x / scale, top: top + y / scale }, picture, stage);
}

/**
 * Moved just so far that a point is on the stage, away from its rim.
 * @param {View} view
 * @param {Point} point
 * @param {Size} picture
 * @param {Size} stage
 * @returns {View}
 */
export function holding(view, point, picture, stage) {
  const [x, y] = onStage(view, point);
  const rim = Math.min(stage.width, stage.height) / 8;
  const [across, down] = [beyond(x, rim, stage.width - rim), beyond(y, rim, stage.height - rim)];
  return across || down ? moved(view, [across, down], picture, stage) : view;
}

/** How far a number lies outside two limits. @param {number} value @param {number} least @param {number} most */
function beyond(value, least, most) {
  return value < least ? value - least : value > most ? value - most : 0;
}

/** Moved so that the stage is filled, or the picture stands in its middle. @param {View} view @param {Size} picture @param {Size} stage @returns {View} */
function kept({ scale, left, top }, picture, stage) {
  return { scale, left: side(left, picture.width, stage.width / scale), top: side(top, picture.height, stage.height / scale) };
}

/** @param {number} at @param {number} whole @param {number} seen */
function side(at, whole, seen) {
  return seen >= whole ? (whole - seen) / 2 : Math.min(Math.max(at, 0), whole - seen);
}

/**
 * The turn, the scale and the move that takes two points of a drawing to two of the picture, as CSS has it: a, b, c, d, e, f.
 * Null where two of either are one.
 * @param {readonly [Point, Point]} drawing
 * @param {readonly [Point, Point]} picture
 * @param {boolean} turned left and right of the drawing are exchanged: minus its x is taken for x
 * @returns {[number, number, number, number, number, number] | null}
 */
export function laid([from, to], [first, second], turned) {
  const side = turned ? -1 : 1;
  const [x, y] = [side * (to[0] - from[0]), to[1] - from[1]];
  const [byX, byY] = [second[0] - first[0], second[1] - first[1]];
  const size = x * x + y * y;
  if (size === 0 || (byX === 0 && byY === 0)) return null;
  const cos = (x * byX + y * byY) / size;
  const sin = (x * byY - y * byX) / size;
  const [a, b] = [side * cos, side * sin];
  return [a, b, -sin, cos, first[0] - a * from[0] + sin * from[1], first[1] - b * from[0] - cos * from[1]];
}
