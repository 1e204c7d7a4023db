// @ts-check
// Wheel, pointer, touch and keys, and what they ask of the strip.

import { LEFT, RIGHT, clamp, span } from "./strip-window.js";

/** @import { Strip } from "./strip.js" */
/** @import { View } from "./strip-window.js" */

/** A pointer that moves less than this was held still, px. */
const STILL_PX = 4;
/** Two fingers count as no nearer than this, px. */
const NEAREST_PX = 10;

/**
 * What a pressed pointer does.
 * @typedef {object} Drag
 * @property {"overview" | "pan" | "select"} kind
 * @property {number} x Where it was pressed, px.
 * @property {number} s The moment it was pressed on.
 * @property {View} view What was shown then.
 * @property {string} lane The lane it was pressed on.
 * @property {boolean} far Whether it has moved.
 */

/** @param {Strip} strip */
export function listen(strip) {
  const { box } = strip;
  const pointer = new Pointer(strip);
  box.addEventListener("wheel", (event) => wheel(strip, event), { passive: false });
  box.addEventListener("pointerdown", (event) => pointer.down(event));
  box.addEventListener("pointermove", (event) => pointer.moved(event));
  box.addEventListener("pointerup", (event) => pointer.up(event));
  box.addEventListener("pointercancel", (event) => pointer.touches.delete(event.pointerId));
  box.addEventListener("keydown", (event) => key(strip, event));
}

/** @param {Strip} strip @param {WheelEvent} event */
function wheel(strip, event) {
  event.preventDefault();
  const unit = event.deltaMode === 1 ? 16 : 1;
  if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) strip.pan((event.deltaX * unit) / 1000);
  else strip.zoom(Math.exp((event.deltaY * unit) / 400), strip.secondAt(event.clientX));
}

class Pointer {
  /** @param {Strip} strip */
  constructor(strip) {
    this.strip = strip;
    /** @type {Map<number, number>} Fingers and buttons that are down, and where they are from the left, px. */
    this.touches = new Map();
    /** @type {Drag | null} */
    this.drag = null;
  }

  /** @param {PointerEvent} event */
  down(event) {
    const { strip } = this;
    if (event.button !== 0 || !strip.meta) return;
    const lane = (event.target instanceof HTMLElement && event.target.dataset.lane) || "";
    strip.box.focus({ preventScroll: true });
    strip.box.setPointerCapture(event.pointerId);
    this.touches.set(event.pointerId, event.clientX);
    const kind = lane === "overview" ? "overview" : event.shiftKey ? "select" : "pan";
    this.drag = { kind, x: event.clientX, s: strip.secondAt(event.clientX), view: strip.view, lane, far: false };
    if (kind === "overview") strip.centre(event.clientX);
  }

  /** @param {PointerEvent} event */
  moved(event) {
    const { strip, drag } = this;
    if (!strip.meta) return;
    const known = this.touches.has(event.pointerId);
    if (known && this.touches.size === 2) return this.pinch(event);
    if (known && drag) return this.dragged(drag, event.clientX);
    if (event.pointerType !== "touch") strip.point(strip.secondAt(event.clientX));
  }

  /** @param {Drag} drag @param {number} x */
  dragged(drag, x) {
    const { strip } = this;
    if (drag.kind === "overview") return strip.centre(x);
    const dx = x - drag.x;
    if (Math.abs(dx) > STILL_PX) drag.far = true;
    if (!drag.far) return;
    if (drag.kind === "select") return strip.select(drag.s, strip.secondAt(x), drag.lane);
    const by = (-dx / (strip.box.clientWidth - LEFT - RIGHT)) * span(drag.view);
    strip.show({ from: drag.view.from + by, to: drag.view.to + by });
  }

  /** @param {PointerEvent} event */
  pinch(event) {
    const spread = () => {
      const [a, b] = this.touches.values();
      return Math.max(NEAREST_PX, Math.abs(a - b));
    };
    const before = spread();
    this.touches.set(event.pointerId, event.clientX);
    const [a, b] = this.touches.values();
    this.strip.zoom(before / spread(), this.strip.secondAt((a + b) / 2));
    this.drag = null;
  }

  /** @param {PointerEvent} event */
  up(event) {
    const { strip, drag } = this;
    this.touches.delete(event.pointerId);
    this.drag = null;
    if (!drag || drag.far || drag.kind === "overview") return;
    strip.click(strip.secondAt(event.clientX), drag.kind === "select" ? drag.s : null, drag.lane);
  }
}

/** @param {Strip} strip @param {KeyboardEvent} event */
function key(strip, event) {
  if (event.altKey || event.metaKey || !strip.meta) return;
  const { duration_s } = strip.meta;
  const { from, to } = strip.view;
  const shown = to - from;
  const here = clamp(strip.cursor ?? from + shown / 2, from, to);
  const ways = /** @type {Record<string, () => void>} */ ({
    ArrowLeft: () => walk(strip, here, -shown / 100, event),
    ArrowRight: () => walk(strip, here, shown / 100, event),
    PageUp: () => strip.pan(-0.9),
    PageDown: () => strip.pan(0.9),
    "+": () => strip.zoom(0.5, here),
    "=": () => strip.zoom(0.5, here),
    "-": () => strip.zoom(2, here),
    Home: () => strip.show({ from: 0, to: duration_s }),
    Escape: () => strip.letGo(),
  });
  const act = event.ctrlKey && !event.key.startsWith("Arrow") ? undefined : ways[event.key];
  if (!act) return;
  event.preventDefault();
  act();
}

/** @param {Strip} strip @param {number} here @param {number} by @param {KeyboardEvent} event */
function walk(strip, here, by, event) {
  // Whole seconds, as they are written; with Control ten times as far.
  const step = Math.sign(by) * Math.max(1, Math.round(Math.abs(by))) * (event.ctrlKey ? 10 : 1);
  const s = clamp(Math.round(here) + step, 0, strip.meta?.duration_s ?? 0);
  if (event.shiftKey) strip.extend(here, s);
  else strip.anchor = null;
  if (s < strip.view.from || s > strip.view.to) strip.pan(by < 0 ? -0.5 : 0.5);
  strip.point(s);
}
