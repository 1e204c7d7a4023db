// @ts-check
// The whole night in little, with the window on it.

import { columnOf } from "./strip-data.js";
import { LEFT, RIGHT, clamp, xOf } from "./strip-window.js";

/** @import { Lane } from "../wire.js" */
/** @import { On, Scene } from "./strip-draw.js" */

/** @param {On} on @param {Scene} scene */
export function drawOverview(on, scene) {
  const { to, width, height } = on;
  to.fillStyle = scene.inks.sheet;
  to.fillRect(LEFT, 0, width - LEFT - RIGHT, height);
  const lanes = scene.meta.lanes.filter((lane) => lane.scored && lane.id !== "pulse");
  const room = height / lanes.length;
  lanes.forEach((lane, row) => drawRow(on, scene, lane, { top: room * row, room }));
  drawWindow(on, scene);
}

/** A lane of the night: what was believed, from lowest to highest. Samples too few for columns are not drawn. */
function drawRow(
  /** @type {On} */ { to, width },
  /** @type {Scene} */ { meta, whole, inks },
  /** @type {Lane} */ lane,
  /** @type {{ top: number, room: number }} */ { top, room },
) {
  const series = whole.series[lane.series];
  if (!series || "v" in series) return;
  const y = (/** @type {number} */ value) => {
    const part = clamp((value - lane.low) / (lane.high - lane.low), 0, 1);
    return top + room - 2 - part * (room - 4);
  };
  const night = { from: 0, to: meta.duration_s };
  to.fillStyle = inks.ink;
  for (let at = 0; at < series.b.length / 4; at += 1) {
    const column = columnOf(series.b, at);
    if (!column) continue;
    const [low, high] = [y(column.low), y(column.high)];
    to.fillRect(xOf(night, (at / whole.width) * meta.duration_s, width), high, 0.8, Math.max(0.8, low - high));
  }
}

/** Pales what is not shown and frames what is. */
function drawWindow(/** @type {On} */ { to, width, height }, /** @type {Scene} */ { meta, view, inks }) {
  const night = { from: 0, to: meta.duration_s };
  const [a, b] = [xOf(night, view.from, width), xOf(night, view.to, width)];
  to.fillStyle = inks.paper;
  to.globalAlpha = 0.75;
  to.fillRect(LEFT, 0, a - LEFT, height);
  to.fillRect(b, 0, width - RIGHT - b, height);
  to.globalAlpha = 1;
  to.strokeStyle = inks.ink;
  to.lineWidth = 2;
  to.strokeRect(a + 1, 1, Math.max(3, b - a - 2), height - 2);
}
