// @ts-check
// The night as a strip of paper: one canvas a lane on one axis of time. All traces in one ink; hatching for
// what is not believed; the accent only for what a rule speaks of.
//
// Data goes one way: what is pressed and turned (`strip-input.js`) changes which stretch is shown and what is chosen
// here, and from these and the data (`strip-data.js`) everything is drawn anew (`strip-draw.js`).

import { NightData, rulesAt, valueAt } from "./strip-data.js";
import { drawStrip, lay } from "./strip-draw.js";
import { listen } from "./strip-input.js";
import { LEFT, RIGHT, around, clamp, label, panned, secondAt, span, within, written, zoomed } from "./strip-window.js";

/** @import { Stretch } from "../wire.js" */
/** @import { View } from "./strip-window.js" */

/** How long a window stands before sharper data are asked for, ms. */
const STANDS_MS = 60;
/** A strip is at least as sharp as this, px. */
const NARROWEST = 50;

/**
 * Tells of `cursor` (the line, or what lies under it, is another), `select` (with the lane, or none), `anchor` (the
 * first of two clicks was made) and `over` (the session is).
 */
export class Strip extends EventTarget {
  /** @param {HTMLElement} box @param {string} night */
  constructor(box, night) {
    super();
    this.box = box;
    this.data = new NightData(night, () => this.dispatchEvent(new CustomEvent("over")));
    /** @type {View} */
    this.view = { from: 0, to: 1 };
    /** @type {number | null} Where the line stands, s; null before it was ever set. */
    this.cursor = null;
    /** @type {number | null} Where a selection was begun that has no end yet, s. */
    this.anchor = null;
    /** @type {Stretch | null} */
    this.selected = null;
    /** The id of the rule whose stretches are shown; empty for none. */
    this.rule = "";
    /** Whether channels that are not scored are shown too. */
    this.more = false;
    this.pixels = NARROWEST;
    this.drawing = false;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.soon = undefined;
    listen(this);
    new ResizeObserver(() => this.resized()).observe(box);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  /** What is drawn over the lanes; null until it has come. */
  get meta() {
    return this.data.meta;
  }

  /** Asks for the night anew; the window stays. */
  async load() {
    const first = this.meta === null;
    const meta = await this.data.askMeta();
    if (first) this.view = { from: 0, to: meta.duration_s };
    await this.resized();
  }

  /** Lays the lanes and asks for data that fit them. */
  async resized() {
    if (!this.meta) return;
    lay(this.box, this.meta, this.more);
    const room = this.box.clientWidth - LEFT - RIGHT;
    this.pixels = Math.max(NARROWEST, Math.round(room * (devicePixelRatio || 1)));
    await this.data.askWhole(this.meta, this.pixels);
    this.draw();
    await this.sharpen();
  }

  async sharpen() {
    if (!this.meta || !(await this.data.sharpen(this.meta, this.view, this.pixels))) return;
    this.draw();
    this.dispatchEvent(new CustomEvent("cursor"));
  }

  /** A time as it is read. @param {number} s */
  label(s) {
    return this.meta ? label(this.meta.clock, s, true) : "";
  }

  /** A time as it is written into a form. @param {number} s */
  written(s) {
    return this.meta ? written(this.meta.clock, s) : "";
  }

  /** What a series is at a moment; null where it has no sample. @param {string} id @param {number} s */
  value(id, s) {
    const tile = this.data.best(this.view);
    return tile && valueAt(tile, id, s);
  }

  /** Ids of the rules whose stretches hold a moment. @param {number} s */
  rulesAt(s) {
    return this.meta ? rulesAt(this.meta, s) : [];
  }

  /** The moment under a place on the screen. @param {number} clientX */
  secondAt(clientX) {
    const place = this.box.getBoundingClientRect();
    return clamp(secondAt(this.view, clientX - place.left, place.width), 0, this.meta?.duration_s ?? 0);
  }

  /** Shows a window, or the nearest to it that there is. @param {View} wanted */
  show(wanted) {
    if (!this.meta) return;
    this.view = within(wanted, this.meta.duration_s);
    this.draw();
    clearTimeout(this.soon);
    this.soon = setTimeout(() => this.sharpen(), STANDS_MS);
  }

  /** @param {number} factor @param {number} s The moment that stays where it is. */
  zoom(factor, s) {
    this.show(zoomed(this.view, factor, s));
  }

  /** @param {number} part Of what is shown. */
  pan(part) {
    this.show(panned(this.view, part));
  }

  /** Shows what lies around a place on the overview. @param {number} clientX */
  centre(clientX) {
    const place = this.box.getBoundingClientRect();
    const night = { from: 0, to: this.meta?.duration_s ?? 0 };
    const s = secondAt(night, clientX - place.left, place.width);
    const half = span(this.view) / 2;
    this.show({ from: s - half, to: s + half });
  }

  /** Moves the window to a stretch, with some time around it. @param {number} from @param {number} to */
  reveal(from, to) {
    this.cursor = from;
    this.show(around(from, to));
    this.dispatchEvent(new CustomEvent("cursor"));
  }

  /** @param {number} s */
  point(s) {
    this.cursor = s;
    this.draw();
    this.dispatchEvent(new CustomEvent("cursor"));
  }

  /** @param {number} from @param {number} to @param {string} lane */
  select(from, to, lane = "") {
    this.selected = from === to ? null : [Math.min(from, to), Math.max(from, to)];
    this.draw();
    this.dispatchEvent(new CustomEvent("select", { detail: { lane } }));
  }

  /** Selects to `s` from where the selection was begun, else from `here`. @param {number} here @param {number} s */
  extend(here, s) {
    this.anchor = Math.round(this.anchor ?? here);
    this.cursor = s;
    this.select(this.anchor, s);
  }

  /**
   * A click. Two clicks select; the second ends what the first began.
   * @param {number} s
   * @param {number | null} begun Where it was pressed with Shift; null when it was without.
   * @param {string} lane
   */
  click(s, begun, lane) {
    this.point(s);
    const from = this.anchor ?? begun;
    if (from === null) {
      this.anchor = s;
      this.dispatchEvent(new CustomEvent("anchor"));
    } else {
      this.select(from, s, lane);
      this.anchor = null;
    }
  }

  letGo() {
    this.anchor = null;
    this.select(0, 0);
  }

  /** Forgets what is selected without a word: it was used. */
  used() {
    this.anchor = null;
    this.selected = null;
  }

  /** Draws everything anew, once before the screen is. */
  draw() {
    if (this.drawing || !this.data.whole) return;
    this.drawing = true;
    requestAnimationFrame(() => {
      this.drawing = false;
      const { meta, whole } = this.data;
      const tile = this.data.best(this.view);
      // On a page whose session is over it has no width, and nothing can be drawn.
      if (!meta || !whole || !tile || this.box.clientWidth === 0) return;
      const { view, cursor, anchor, selected, rule } = this;
      drawStrip(this.box, { meta, whole, tile, view, cursor, anchor, selected, rule });
      this.box.dataset.drawn = `${tile.outcome}`;
    });
  }
}
