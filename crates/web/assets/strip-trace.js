// @ts-check
// The line of a series: through its samples where they are few, else through the first, lowest, highest and last of
// each column, so that no nadir is lost.

import { columnOf, columnS } from "./strip-data.js";
import { xOf } from "./strip-window.js";

/** @import { Lane, Samples, Series } from "../wire.js" */
/** @import { On, Scene } from "./strip-draw.js" */
/** @import { Y } from "./strip-lane.js" */

/**
 * Draws what is believed of a series, or what is not.
 * @param {On} on
 * @param {Scene} scene
 * @param {Series | undefined} series
 * @param {{ y: Y, doubted?: boolean, faint?: boolean }} how
 */
export function drawTrace(on, scene, series, { y, doubted = false, faint = false }) {
  if (!series) return;
  const { to } = on;
  to.beginPath();
  if ("v" in series) traceSamples(on, scene, series, { y, doubted });
  else traceColumns(on, scene, doubted ? series.d : series.b, y);
  to.strokeStyle = doubted || faint ? scene.inks["ink-soft"] : scene.inks.ink;
  to.globalAlpha = doubted ? 0.75 : 1;
  to.lineWidth = doubted || faint ? 0.8 : 1.25;
  to.setLineDash(faint ? [2, 3] : []);
  to.lineJoin = "round";
  to.stroke();
  to.setLineDash([]);
  to.globalAlpha = 1;
}

/** A path through the columns that are in sight. */
function traceColumns(
  /** @type {On} */ { to, width },
  /** @type {Scene} */ { tile, view },
  /** @type {(number | null)[]} */ cells,
  /** @type {Y} */ y,
) {
  const column_s = columnS(tile);
  const first = Math.max(0, Math.floor((view.from - tile.from) / column_s) - 1);
  const last = Math.min(cells.length / 4, Math.ceil((view.to - tile.from) / column_s) + 1);
  let drawing = false;
  for (let at = first; at < last; at += 1) {
    const column = columnOf(cells, at);
    if (column) {
      const x = xOf(view, tile.from + (at + 0.5) * column_s, width);
      if (drawing) to.lineTo(x, y(column.first));
      else to.moveTo(x, y(column.first));
      // A column of one value is still a dot.
      to.lineTo(x, y(column.low) + 0.4);
      to.lineTo(x, y(column.high) - 0.4);
      to.lineTo(x, y(column.last));
    }
    drawing = column !== null;
  }
}

/** A path of steps: a sample holds until the next. */
function traceSamples(
  /** @type {On} */ { to, width },
  /** @type {Scene} */ { view },
  /** @type {Samples} */ series,
  /** @type {{ y: Y, doubted: boolean }} */ { y, doubted },
) {
  let drawing = false;
  series.v.forEach((value, at) => {
    if (value === null || (series.doubt[at] === 1) !== doubted) {
      drawing = false;
      return;
    }
    const begins_s = series.t0 + at * series.dt;
    const [a, b] = [xOf(view, begins_s, width), xOf(view, series.t0 + (at + 1) * series.dt, width)];
    if (drawing) to.lineTo(a, y(value));
    else to.moveTo(a, y(value));
    to.lineTo(b, y(value));
    drawing = true;
  });
}

/**
 * A piece of an edge.
 * @typedef {object} Piece
 * @property {number} x Its left end, px.
 * @property {number} wide How wide it is, px.
 * @property {number} value
 */

/** Where corrected CO2 may lie. @param {On} on @param {Scene} scene @param {Lane} lane @param {Y} y */
export function drawBand(on, scene, lane, y) {
  const { to } = on;
  const [low, high] = [edge(on, scene, `${lane.series}_low`, "low"), edge(on, scene, `${lane.series}_high`, "high")];
  to.fillStyle = scene.inks.line;
  to.globalAlpha = 0.55;
  for (const { below, above } of runs(low, high)) {
    to.beginPath();
    for (const piece of above) to.lineTo(piece.x, y(piece.value));
    for (const piece of [above[above.length - 1], below[below.length - 1]]) {
      to.lineTo(piece.x + piece.wide, y(piece.value));
    }
    for (const piece of below.reverse()) to.lineTo(piece.x, y(piece.value));
    to.closePath();
    to.fill();
  }
  to.globalAlpha = 1;
}

/** Both edges in pieces without a gap. @param {(Piece | null)[]} low @param {(Piece | null)[]} high */
function runs(low, high) {
  /** @type {{ below: Piece[], above: Piece[] }[]} */
  const found = [];
  let gap = true;
  for (const [at, piece] of low.entries()) {
    const other = high[at];
    if (piece && other) {
      if (gap) found.push({ below: [], above: [] });
      const run = found[found.length - 1];
      run.below.push(piece);
      run.above.push(other);
    }
    gap = !piece || !other;
  }
  return found;
}

/** An edge of the band, believed time only; null where there is none. */
function edge(
  /** @type {On} */ { width },
  /** @type {Scene} */ { tile, view },
  /** @type {string} */ id,
  /** @type {"low" | "high"} */ which,
) {
  const series = tile.series[id];
  const wide = (/** @type {number} */ s) => xOf(view, s, width) - xOf(view, 0, width);
  if (!series) return [];
  if ("v" in series) {
    const { t0, dt, doubt } = series;
    return series.v.map((value, at) => {
      const believed = value !== null && doubt[at] === 0;
      return believed ? { x: xOf(view, t0 + at * dt, width), wide: wide(dt) + 0.5, value } : null;
    });
  }
  const column_s = columnS(tile);
  return Array.from({ length: series.b.length / 4 }, (_, at) => {
    const column = columnOf(series.b, at);
    const x = xOf(view, tile.from + at * column_s, width);
    return column && { x, wide: wide(column_s) + 0.3, value: column[which] };
  });
}
