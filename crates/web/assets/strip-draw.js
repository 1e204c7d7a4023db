// @ts-check
// Draws the strip: one canvas a lane, and above and below them what belongs to all lanes. What is drawn follows from
// the scene alone.

import { drawAxis, drawFlags } from "./strip-axis.js";
import { drawLane } from "./strip-lane.js";
import { drawOverview } from "./strip-overview.js";

/** @import { Meta, Stretch, Tile } from "../wire.js" */
/** @import { View } from "./strip-window.js" */

/** Heights of canvases, px. */
const OVERVIEW = 40;
const FLAGS = 24;
const LANE = 124;
const EXTRA = 64;
const AXIS = 26;

/** The page's colours that are drawn with, as the style sheet names them. */
const INKS = /** @type {const} */ (["paper", "sheet", "ink", "ink-soft", "line", "edge", "accent", "accent-wash"]);

/**
 * What is known, shown and chosen.
 * @typedef {object} Picture
 * @property {Meta} meta
 * @property {Tile} whole The night from end to end.
 * @property {Tile} tile The data that show the window best.
 * @property {View} view The window shown.
 * @property {number | null} cursor Where the line stands, s.
 * @property {number | null} anchor Where a selection was begun that has no end yet, s.
 * @property {Stretch | null} selected
 * @property {string} rule The id of the rule whose stretches are shown; empty for none.
 */

/**
 * How it looks on this page.
 * @typedef {object} Look
 * @property {Record<typeof INKS[number], string>} inks
 * @property {string} font
 * @property {OffscreenCanvas} hatch One cell of the hatching.
 */

/** @typedef {Picture & Look} Scene */

/**
 * A canvas that is drawn on, in px of the page.
 * @typedef {object} On
 * @property {CanvasRenderingContext2D} to
 * @property {number} width
 * @property {number} height
 */

/** Lays a canvas for each lane into the box, unless they lie there. */
export function lay(/** @type {HTMLElement} */ box, /** @type {Meta} */ meta, /** @type {boolean} */ more) {
  const lanes = meta.lanes.filter((lane) => lane.scored || more);
  const names = ["overview", "flags", ...lanes.map((lane) => lane.id), "axis"];
  if ([...box.children].map((one) => one.getAttribute("data-lane")).join() === names.join()) return;
  const canvases = names.map((name) => {
    const canvas = document.createElement("canvas");
    canvas.dataset.lane = name;
    return canvas;
  });
  box.replaceChildren(...canvases);
}

/** Draws everything. @param {HTMLElement} box @param {Picture} picture */
export function drawStrip(box, picture) {
  const scene = { ...picture, ...lookOf(box) };
  for (const canvas of box.querySelectorAll("canvas")) drawOne(canvas, scene);
}

/** @param {HTMLElement} box @returns {Look} */
function lookOf(box) {
  const style = getComputedStyle(box);
  const colours = INKS.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]);
  const inks = /** @type {Look["inks"]} */ (Object.fromEntries(colours));
  return { inks, font: `12px ${style.fontFamily}`, hatch: hatching(inks.edge) };
}

/** @param {string} ink */
function hatching(ink) {
  const cell = new OffscreenCanvas(7, 7);
  const to = /** @type {OffscreenCanvasRenderingContext2D} */ (cell.getContext("2d"));
  to.strokeStyle = ink;
  to.lineWidth = 0.9;
  to.beginPath();
  for (const at of [-7, 0, 7]) {
    to.moveTo(at, 7);
    to.lineTo(at + 7, 0);
  }
  to.stroke();
  return cell;
}

/** @param {HTMLCanvasElement} canvas @param {Scene} scene */
function drawOne(canvas, scene) {
  const name = canvas.dataset.lane;
  if (name === "overview") return drawOverview(fit(canvas, OVERVIEW), scene);
  if (name === "flags") return drawFlags(fit(canvas, FLAGS), scene);
  if (name === "axis") return drawAxis(fit(canvas, AXIS), scene);
  const lane = scene.meta.lanes.find((one) => one.id === name);
  if (lane) drawLane(fit(canvas, lane.scored ? LANE : EXTRA), scene, lane);
}

/** A canvas as sharp as the screen, of the width of its place, wiped. */
function fit(/** @type {HTMLCanvasElement} */ canvas, /** @type {number} */ height) {
  const dpr = devicePixelRatio || 1;
  const width = canvas.clientWidth;
  if (canvas.width !== Math.round(width * dpr) || canvas.height !== Math.round(height * dpr)) {
    canvas.width = Math.round(width * dpr);
    canvas.height = Math.round(height * dpr);
  }
  const to = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  to.setTransform(dpr, 0, 0, dpr, 0, 0);
  to.clearRect(0, 0, width, height);
  return { to, width, height };
}
