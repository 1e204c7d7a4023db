// @ts-check
// One lane: its paper and scale, what is not believed, its traces (`strip-trace.js`), and what was chosen on it.

import { drawBand, drawTrace } from "./strip-trace.js";
import { LEFT, RIGHT, clamp, xOf } from "./strip-window.js";

/** @import { Lane, Stretch } from "../wire.js" */
/** @import { On, Scene } from "./strip-draw.js" */
/** @typedef {(value: number) => number} Y Where a value lies, px from the top. */

/** The longest name of a lane, and the lowest place of a label of its scale, px. */
const NAME = 124;
const LOWEST = NAME - 8;

/** @param {On} on @param {Scene} scene @param {Lane} lane */
export function drawLane(on, scene, lane) {
  const { to, width, height } = on;
  const [top, bottom] = [8, height - 6];
  /** @type {Y} */
  const y = (value) => bottom - ((value - lane.low) / (lane.high - lane.low)) * (bottom - top);
  to.fillStyle = scene.inks.sheet;
  to.fillRect(LEFT, 0, width - RIGHT - LEFT, height);
  drawOutside(on, scene);
  drawRule(on, scene, lane);
  drawScale(on, scene, lane, y);
  clipped(on, () => {
    drawDoubts(on, scene, lane);
    if (lane.band) drawBand(on, scene, lane, y);
    drawLevels(on, scene, lane, y);
    drawTraces(on, scene, lane, y);
  });
  drawLabels(on, scene, lane, y);
  clipped(on, () => {
    drawPoles(on, scene);
    drawChosen(on, scene);
  });
  to.strokeStyle = scene.inks.edge;
  to.lineWidth = 1;
  to.strokeRect(LEFT + 0.5, 0.5, width - RIGHT - LEFT - 1, height - 1);
}

/** Draws within the lane's paper. @param {On} on @param {() => void} draw */
function clipped({ to, width, height }, draw) {
  to.save();
  to.beginPath();
  to.rect(LEFT, 0, width - LEFT - RIGHT, height);
  to.clip();
  draw();
  to.restore();
}

/** What is doubted lies under all else, and CO2 as recorded under what it was corrected to. */
function drawTraces(
  /** @type {On} */ on,
  /** @type {Scene} */ scene,
  /** @type {Lane} */ lane,
  /** @type {Y} */ y,
) {
  const { series } = scene.tile;
  drawTrace(on, scene, series[lane.series], { y, doubted: true });
  if (lane.recorded) drawTrace(on, scene, series[`${lane.series}_recorded`], { y, faint: true });
  drawTrace(on, scene, series[lane.series], { y });
}

/** Both ends of a stretch on the lane's paper, px. @param {On} on @param {Scene} scene @param {Stretch} stretch */
function ends({ width }, { view }, stretch) {
  return stretch.map((s) => clamp(xOf(view, s, width), LEFT, width - RIGHT));
}

/** Time that is not scored lies in shade. @param {On} on @param {Scene} scene */
function drawOutside(on, scene) {
  const { to, height } = on;
  const { duration_s, scored } = scene.meta;
  let at = 0;
  to.fillStyle = scene.inks.paper;
  for (const [from, until] of [...scored, [duration_s, duration_s]]) {
    const [a, b] = ends(on, scene, [at, from]);
    if (b > a) to.fillRect(a, 0, b - a, height);
    at = until;
  }
}

/** What the chosen rule speaks of. @param {On} on @param {Scene} scene @param {Lane} lane */
function drawRule(on, scene, lane) {
  const { to, width, height } = on;
  const rule = scene.meta.rules.find((one) => one.id === scene.rule);
  if (!rule?.lanes.includes(lane.id)) return;
  for (const stretch of rule.stretches) {
    const [a, b] = ends(on, scene, stretch);
    if (b <= LEFT || a >= width - RIGHT) continue;
    to.fillStyle = scene.inks["accent-wash"];
    to.fillRect(a, 0, Math.max(2, b - a), height);
    to.fillStyle = scene.inks.accent;
    to.fillRect(a, 0, Math.max(2, b - a), 4);
    to.fillRect(a, height - 4, Math.max(2, b - a), 4);
  }
}

/** Lines and numbers of the scale, and the lane's name beside it. */
function drawScale(
  /** @type {On} */ { to, width },
  /** @type {Scene} */ { inks, font },
  /** @type {Lane} */ lane,
  /** @type {Y} */ y,
) {
  to.font = font;
  to.textBaseline = "middle";
  to.textAlign = "right";
  for (let value = lane.low; value <= lane.high + 1e-9; value += lane.step) {
    to.strokeStyle = inks.line;
    to.lineWidth = 1;
    to.beginPath();
    to.moveTo(LEFT, Math.round(y(value)) + 0.5);
    to.lineTo(width - RIGHT, Math.round(y(value)) + 0.5);
    to.stroke();
    to.fillStyle = inks["ink-soft"];
    to.fillText(String(Math.round(value * 100) / 100), LEFT - 6, clamp(y(value), 8, LOWEST));
  }
  to.fillStyle = inks.ink;
  to.save();
  to.translate(9, y((lane.low + lane.high) / 2));
  to.rotate(-Math.PI / 2);
  to.textAlign = "center";
  to.fillText(`${lane.name} ${lane.unit}`, 0, 0, NAME);
  to.restore();
}

/** Hatches what is not believed. @param {On} on @param {Scene} scene @param {Lane} lane */
function drawDoubts({ to, width, height }, { view, hatch }, lane) {
  to.fillStyle = /** @type {CanvasPattern} */ (to.createPattern(hatch, "repeat"));
  for (const doubt of lane.doubts) {
    if (doubt.to <= view.from || doubt.from >= view.to) continue;
    const [a, b] = [xOf(view, doubt.from, width), xOf(view, doubt.to, width)];
    to.fillRect(a, 0, Math.max(1, b - a), height);
  }
}

/** Lines at the levels that rules compare with. */
function drawLevels(
  /** @type {On} */ { to, width },
  /** @type {Scene} */ { inks },
  /** @type {Lane} */ lane,
  /** @type {Y} */ y,
) {
  for (const level of lane.levels) {
    to.strokeStyle = level.spoken ? inks.accent : inks["ink-soft"];
    to.setLineDash([5, 4]);
    to.lineWidth = level.spoken ? 1.5 : 1;
    to.beginPath();
    to.moveTo(LEFT, y(level.level));
    to.lineTo(width - RIGHT, y(level.level));
    to.stroke();
    to.setLineDash([]);
  }
}

/** Labels of the levels, beside the trace, each below the one before. */
function drawLabels(
  /** @type {On} */ { to, width },
  /** @type {Scene} */ { inks, font },
  /** @type {Lane} */ lane,
  /** @type {Y} */ y,
) {
  to.font = font;
  to.textAlign = "left";
  to.textBaseline = "middle";
  const rows = lane.levels.map((level) => ({ level, at: y(level.level) })).sort((a, b) => a.at - b.at);
  let free = 7;
  for (const { level, at } of rows) {
    const place = Math.max(at, free);
    to.fillStyle = level.spoken ? inks.accent : inks["ink-soft"];
    to.fillText(level.label, width - RIGHT + 6, place, RIGHT - 6);
    free = place + 14;
  }
}

/** The poles of the marks. @param {On} on @param {Scene} scene */
function drawPoles({ to, width, height }, { meta, view, inks }) {
  to.strokeStyle = inks["ink-soft"];
  to.lineWidth = 1;
  to.setLineDash([1, 3]);
  for (const flag of meta.flags) {
    to.beginPath();
    to.moveTo(xOf(view, flag.at, width), 0);
    to.lineTo(xOf(view, flag.at, width), height);
    to.stroke();
  }
  to.setLineDash([]);
}

/** What is selected, where a selection was begun, and the line. @param {On} on @param {Scene} scene */
function drawChosen({ to, width, height }, { view, inks, selected, cursor, anchor }) {
  to.fillStyle = inks.ink;
  if (selected) {
    const [a, b] = selected.map((s) => xOf(view, s, width));
    to.globalAlpha = 0.13;
    to.fillRect(a, 0, b - a, height);
    to.globalAlpha = 1;
    to.fillRect(a - 1, 0, 2, height);
    to.fillRect(b - 1, 0, 2, height);
  }
  for (const s of [cursor, anchor]) {
    if (s !== null) to.fillRect(Math.round(xOf(view, s, width)) - 0.5, 0, 1, height);
  }
}
