// @ts-check
// What stands above and below all lanes: the words of the marks, and the time.

import { LEFT, RIGHT, clamp, label, span, xOf } from "./strip-window.js";

/** @import { On, Scene } from "./strip-draw.js" */

/** What a time under the axis takes with its surroundings, px. */
const LABEL = 74;
/** Between two times under the axis, s. */
const STEPS_S = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400];

/** @param {On} on @param {Scene} scene */
export function drawFlags({ to, width, height }, { meta, view, inks, font }) {
  to.font = font;
  to.textBaseline = "middle";
  let free = LEFT;
  for (const flag of meta.flags) {
    const [a, b] = [xOf(view, flag.at, width), xOf(view, flag.until ?? flag.at, width)];
    if (b < LEFT || a > width - RIGHT) continue;
    const from = clamp(a, LEFT, width);
    to.fillStyle = inks.ink;
    to.fillRect(from, height - 5, Math.max(3, Math.min(b, width - RIGHT) - from), 5);
    const words = to.measureText(flag.label).width;
    const at = Math.min(from, width - RIGHT - words);
    // Words that would lie on others are left out; the mark itself stands.
    if (at < free) continue;
    to.fillStyle = inks["ink-soft"];
    to.fillText(flag.label, at, 9);
    free = at + words + 10;
  }
}

/** @param {On} on @param {Scene} scene */
export function drawAxis({ to, width }, { meta, view, inks, font }) {
  const room = (width - LEFT - RIGHT) / LABEL;
  const step = STEPS_S.find((s) => span(view) / s <= room) ?? STEPS_S[STEPS_S.length - 1];
  to.font = font;
  to.textBaseline = "top";
  to.textAlign = "center";
  to.strokeStyle = inks.edge;
  for (const s of ticks({ meta, view }, step)) {
    const x = xOf(view, s, width);
    to.beginPath();
    to.moveTo(x, 0);
    to.lineTo(x, 6);
    to.stroke();
    to.fillStyle = inks.ink;
    to.fillText(label(meta.clock, s, step < 60), clamp(x, LEFT + 14, width - RIGHT - 14), 9);
  }
}

/** The moments shown at which the clock on the wall stands at whole steps, also when it changes. */
function ticks(/** @type {Pick<Scene, "meta" | "view">} */ { meta, view }, /** @type {number} */ step) {
  return meta.clock.flatMap((clock, index) => {
    const until = Math.min(view.to, meta.clock[index + 1]?.at ?? view.to);
    const past = (clock.wall_ms / 1000 + Math.max(0, view.from - clock.at)) % step;
    const found = [];
    for (let s = Math.max(clock.at, view.from) + ((step - past) % step); s <= until + 1e-6; s += step) found.push(s);
    return found;
  });
}
