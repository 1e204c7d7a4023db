// @ts-check
// Which stretch of the night is shown, where on the strip a time lies, and how it is written.

/** @import { Clock } from "../wire.js" */

/** Room for names and scales, px. */
export const LEFT = 54;
/** Room for the labels of levels, which must not lie on the trace, px. */
export const RIGHT = 70;
/** The shortest window, s. */
const SHORTEST_S = 10;
/** The shortest window around a stretch that is looked at, s. */
const AROUND_S = 120;

/**
 * A window on the night.
 * @typedef {object} View
 * @property {number} from Its left edge, seconds from the recording's start.
 * @property {number} to Its right edge.
 */

export const clamp = (/** @type {number} */ x, /** @type {number} */ low, /** @type {number} */ high) =>
  Math.min(high, Math.max(low, x));

/** How long a window is, s. @param {View} view */
export const span = (view) => view.to - view.from;

/** The window nearest to the one wanted in a night of a length, s. @param {View} wanted @param {number} all_s */
export function within(wanted, all_s) {
  const long = clamp(span(wanted), Math.min(SHORTEST_S, all_s), all_s);
  const from = clamp(wanted.from, 0, all_s - long);
  return { from, to: from + long };
}

/** @param {View} view @param {number} factor @param {number} s The moment that stays where it is. */
export function zoomed(view, factor, s) {
  return { from: s - (s - view.from) * factor, to: s + (view.to - s) * factor };
}

/** @param {View} view @param {number} part Of its length. */
export function panned(view, part) {
  const by = span(view) * part;
  return { from: view.from + by, to: view.to + by };
}

/** A stretch with some time around it. @param {number} from @param {number} to */
export function around(from, to) {
  const half = Math.max((to - from) * 3, AROUND_S) / 2;
  const middle = (from + to) / 2;
  return { from: middle - half, to: middle + half };
}

/** Where a moment lies on a strip of a width, px. @param {View} view @param {number} s @param {number} width */
export const xOf = (view, s, width) => LEFT + ((s - view.from) / span(view)) * (width - LEFT - RIGHT);

/** The moment that lies there. @param {View} view @param {number} x @param {number} width */
export const secondAt = (view, x, width) => view.from + ((x - LEFT) / (width - LEFT - RIGHT)) * span(view);

/** What the clock on the wall shows. @param {Clock[]} clocks @param {number} s */
function wall(clocks, s) {
  const clock = clocks.findLast((one) => one.at <= s) ?? clocks[0];
  return { text: new Date(clock.wall_ms + (s - clock.at) * 1000).toISOString(), offset: clock.offset };
}

/** A time as it is read: with seconds where the window is short. */
export function label(/** @type {Clock[]} */ clocks, /** @type {number} */ s, /** @type {boolean} */ seconds) {
  return wall(clocks, s).text.slice(11, seconds ? 19 : 16);
}

/** A time as it is written into a form, beyond doubt also when clocks change. */
export function written(/** @type {Clock[]} */ clocks, /** @type {number} */ s) {
  const { text, offset } = wall(clocks, s);
  return offset ? text.slice(0, 19) + offset : text.slice(11, 19);
}
