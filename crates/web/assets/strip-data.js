// @ts-check
// What is known of a night: asked of the server, kept, and looked up at a moment.

import { span } from "./strip-window.js";

/** @import { Meta, Tile } from "../wire.js" */
/** @import { View } from "./strip-window.js" */

/** The most columns that are asked for at once, as the server has it. */
const MOST_COLUMNS = 8192;
/** Edges of windows are sums of fractions: as near as this they are the same, s. */
const NEAR_S = 1e-6;

export class NightData {
  /** @param {string} base The night's address. @param {() => void} over Told when the session is over. */
  constructor(base, over) {
    this.base = base;
    this.over = over;
    /** @type {Meta | null} Null until it has come. */
    this.meta = null;
    /** @type {Tile | null} The night from end to end. Null until it has come. */
    this.whole = null;
    /** @type {Tile | null} What is shown and its surroundings, sharper. Null until it has come. */
    this.tile = null;
    this.asked = 0;
  }

  /** Data of the night; nothing, and a word about it, when the session is over. @param {string} place */
  async ask(place) {
    const response = await fetch(place);
    const data = response.headers.get("content-type")?.includes("json");
    if (response.redirected || response.status === 401) this.over();
    return response.ok && data ? response.json() : null;
  }

  /** @param {View} view @param {number} width @returns {Promise<Tile | null>} */
  columns(view, width) {
    const columns = Math.min(MOST_COLUMNS, Math.round(width));
    return this.ask(`${this.base}/columns?from=${view.from}&to=${view.to}&width=${columns}`);
  }

  /** What is drawn over the lanes, asked anew. */
  async askMeta() {
    /** @type {Meta | null} */
    const meta = await this.ask(`${this.base}/strip`);
    if (!meta) throw new Error("the strip did not come");
    this.meta = meta;
    return meta;
  }

  /** The night from end to end in so many columns; what is sharper is of another result or width, and goes. */
  async askWhole(/** @type {Meta} */ meta, /** @type {number} */ width) {
    const whole = await this.columns({ from: 0, to: meta.duration_s }, width);
    if (whole) this.whole = whole;
    this.tile = null;
  }

  /**
   * Asks for what is shown and as much again on both sides, so that moving has no wait. Whether it came, and nothing
   * was asked for since.
   * @param {Meta} meta @param {View} view @param {number} width Columns of what is shown.
   */
  async sharpen(meta, view, width) {
    this.asked += 1;
    const mine = this.asked;
    const shown = span(view);
    const wide = { from: Math.max(0, view.from - shown), to: Math.min(meta.duration_s, view.to + shown) };
    const tile = await this.columns(wide, (width * span(wide)) / shown);
    if (!tile || mine !== this.asked) return false;
    this.tile = tile;
    return true;
  }

  /** The data that show a window best. @param {View} view */
  best(view) {
    const tile = this.tile;
    return tile && tile.from <= view.from + NEAR_S && tile.to >= view.to - NEAR_S ? tile : this.whole;
  }
}

/** One column of a series; null where it holds no sample. @param {(number | null)[]} cells @param {number} at */
export function columnOf(cells, at) {
  const [first, low] = [cells[at * 4], cells[at * 4 + 1]];
  const [high, last] = [cells[at * 4 + 2], cells[at * 4 + 3]];
  // All four are there or none; `==` holds for a column outside the window too.
  return first == null || low == null || high == null || last == null ? null : { first, low, high, last };
}

/** How long a column is, s. @param {Tile} tile */
export const columnS = (tile) => (tile.to - tile.from) / tile.width;

/**
 * What a series is at a moment: one value, or lowest and highest of its column. Null where it has no sample.
 * @param {Tile} tile @param {string} id @param {number} s
 */
export function valueAt(tile, id, s) {
  const series = tile.series[id];
  if (!series) return null;
  if ("v" in series) {
    const at = Math.floor((s - series.t0) / series.dt + NEAR_S);
    const value = series.v[at];
    return value == null ? null : { low: value, high: value, doubt: series.doubt[at] === 1 };
  }
  const at = Math.floor(((s - tile.from) / (tile.to - tile.from)) * tile.width);
  const [believed, doubted] = [columnOf(series.b, at), columnOf(series.d, at)];
  const found = believed ?? doubted;
  return found && { low: found.low, high: found.high, doubt: !believed };
}

/** Ids of the rules whose stretches hold a moment. @param {Meta} meta @param {number} s */
export function rulesAt(meta, s) {
  const held = meta.rules.filter(
    (rule) => rule.answer !== "not_met" && rule.stretches.some(([from, to]) => from <= s && s < to),
  );
  return held.map((rule) => rule.id);
}
