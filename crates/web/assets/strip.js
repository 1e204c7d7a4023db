// @ts-check
// The night as a strip of paper: one canvas a lane on one axis of time. All traces in one ink; hatching for
// what is not believed; the accent only for what a rule speaks of.

const LEFT = 54;
/** Room for the labels of levels, which must not lie on the trace. */
const RIGHT = 70;
const LANE = 124;
const EXTRA = 64;
/** The shortest window, s. */
const SHORTEST_S = 10;

/** @param {Element} of @param {string} name */
const ink = (of, name) => getComputedStyle(of).getPropertyValue(name).trim();

const clamp = (/** @type {number} */ x, /** @type {number} */ low, /** @type {number} */ high) => Math.min(high, Math.max(low, x));

/** A canvas as sharp as the screen, of the width of its place. @param {HTMLCanvasElement} canvas @param {number} height */
function fit(canvas, height) {
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

export class Strip extends EventTarget {
  /** @param {HTMLElement} box @param {string} night */
  constructor(box, night) {
    super();
    this.box = box;
    this.night = night;
    this.from = 0;
    this.to = 1;
    /** @type {any} */ this.meta = null;
    /** @type {any} */ this.whole = null;
    /** @type {any} */ this.tile = null;
    /** @type {number | null} */ this.cursor = null;
    /** @type {[number, number] | null} */ this.selected = null;
    /** @type {number | null} */ this.anchor = null;
    /** @type {string} */ this.rule = "";
    this.more = false;
    this.asked = 0;
    /** @type {Map<number, {x: number, y: number}>} */ this.touches = new Map();
    /** @type {any} */ this.drag = null;
    this.drawing = false;
    box.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    box.addEventListener("pointerdown", (event) => this.down(event));
    box.addEventListener("pointermove", (event) => this.moved(event));
    box.addEventListener("pointerup", (event) => this.up(event));
    box.addEventListener("pointercancel", (event) => this.touches.delete(event.pointerId));
    box.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => this.meta && this.resized()).observe(box);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  /** Asks for the night anew; the window stays. */
  async load() {
    const meta = await this.get(`${this.night}/strip`);
    if (!meta) throw new Error("the strip did not come");
    const first = this.meta === null;
    this.meta = meta;
    if (first) [this.from, this.to] = [0, this.meta.duration_s];
    this.build();
    await this.resized();
  }

  async resized() {
    this.pixels = Math.max(50, Math.round((this.box.clientWidth - LEFT - RIGHT) * (devicePixelRatio || 1)));
    const whole = await this.columns(0, this.meta.duration_s, this.pixels);
    if (whole) this.whole = whole;
    this.tile = null;
    this.draw();
    await this.sharpen();
  }

  /** @param {number} from @param {number} to @param {number} width */
  async columns(from, to, width) {
    const place = `${this.night}/columns?from=${from}&to=${to}&width=${Math.min(8192, Math.round(width))}`;
    return this.get(place);
  }

  /** Data of the night; nothing, and a word about it, when the session is over. @param {string} place */
  async get(place) {
    const response = await fetch(place);
    const data = response.headers.get("content-type")?.includes("json");
    if (response.redirected || response.status === 401) this.dispatchEvent(new CustomEvent("over"));
    return response.ok && data ? response.json() : null;
  }

  /** Asks for what is shown and as much again on both sides, so that moving has no wait. */
  async sharpen() {
    const mine = ++this.asked;
    const span = this.to - this.from;
    const [from, to] = [Math.max(0, this.from - span), Math.min(this.meta.duration_s, this.to + span)];
    const tile = await this.columns(from, to, (this.pixels * (to - from)) / span);
    if (tile && mine === this.asked) {
      this.tile = tile;
      this.draw();
      this.dispatchEvent(new CustomEvent("cursor"));
    }
  }

  build() {
    const lanes = this.meta.lanes.filter((/** @type {any} */ lane) => lane.scored || this.more);
    const names = ["overview", "flags", ...lanes.map((/** @type {any} */ lane) => lane.id), "axis"];
    if ([...this.box.children].map((one) => one.getAttribute("data-lane")).join() === names.join()) return;
    this.box.replaceChildren(
      ...names.map((name) => {
        const canvas = document.createElement("canvas");
        canvas.dataset.lane = name;
        return canvas;
      }),
    );
  }

  /** @param {number} s */
  wall(s) {
    const clock = this.meta.clock.findLast((/** @type {any} */ one) => one.at <= s) ?? this.meta.clock[0];
    return { text: new Date(clock.wall_ms + (s - clock.at) * 1000).toISOString(), offset: clock.offset };
  }

  /** A time as it is read: with seconds where the window is short. @param {number} s @param {boolean} seconds */
  label(s, seconds) {
    return this.wall(s).text.slice(11, seconds ? 19 : 16);
  }

  /** A time as it is written into a form, beyond doubt also when clocks change. @param {number} s */
  written(s) {
    const { text, offset } = this.wall(s);
    return offset ? text.slice(0, 19) + offset : text.slice(11, 19);
  }

  /** @param {number} s @param {number} width */
  x(s, width) {
    return LEFT + ((s - this.from) / (this.to - this.from)) * (width - LEFT - RIGHT);
  }

  /** @param {MouseEvent} event */
  at(event) {
    const place = this.box.getBoundingClientRect();
    const part = (event.clientX - place.left - LEFT) / (place.width - LEFT - RIGHT);
    return clamp(this.from + part * (this.to - this.from), 0, this.meta.duration_s);
  }

  /** Shows a window. @param {number} from @param {number} to */
  show(from, to) {
    const all = this.meta.duration_s;
    const span = clamp(to - from, Math.min(SHORTEST_S, all), all);
    this.from = clamp(from, 0, all - span);
    this.to = this.from + span;
    this.draw();
    clearTimeout(this.soon);
    this.soon = setTimeout(() => this.sharpen(), 60);
  }

  /** @param {number} factor @param {number} s The moment that stays where it is. */
  zoom(factor, s) {
    this.show(s - (s - this.from) * factor, s + (this.to - s) * factor);
  }

  /** @param {number} part */
  pan(part) {
    const by = (this.to - this.from) * part;
    this.show(this.from + by, this.to + by);
  }

  /** @param {number} from @param {number} to @param {string} lane */
  select(from, to, lane = "") {
    this.selected = from === to ? null : [Math.min(from, to), Math.max(from, to)];
    this.draw();
    this.dispatchEvent(new CustomEvent("select", { detail: { lane } }));
  }

  letGo() {
    this.anchor = null;
    this.select(0, 0);
  }

  /** @param {number | null} s */
  point(s) {
    this.cursor = s;
    this.draw();
    this.dispatchEvent(new CustomEvent("cursor"));
  }

  /** Moves the window to a stretch, with some time around it. @param {number} from @param {number} to */
  reveal(from, to) {
    const span = Math.max((to - from) * 3, 120);
    const middle = (from + to) / 2;
    this.cursor = from;
    this.show(middle - span / 2, middle + span / 2);
    this.dispatchEvent(new CustomEvent("cursor"));
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    event.preventDefault();
    const unit = event.deltaMode === 1 ? 16 : 1;
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) this.pan((event.deltaX * unit) / 1000);
    else this.zoom(Math.exp((event.deltaY * unit) / 400), this.at(event));
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.button !== 0) return;
    const lane = /** @type {HTMLElement} */ (event.target).dataset?.lane ?? "";
    this.box.focus({ preventScroll: true });
    this.box.setPointerCapture(event.pointerId);
    this.touches.set(event.pointerId, { x: event.clientX, y: event.clientY });
    const s = this.at(event);
    if (lane === "overview") {
      this.drag = { kind: "overview" };
      this.overview(event);
    } else {
      this.drag = { kind: event.shiftKey ? "select" : "pan", x: event.clientX, s, from: this.from, to: this.to, lane, far: false };
    }
  }

  /** @param {PointerEvent} event */
  overview(event) {
    const place = this.box.getBoundingClientRect();
    const s = ((event.clientX - place.left - LEFT) / (place.width - LEFT - RIGHT)) * this.meta.duration_s;
    const half = (this.to - this.from) / 2;
    this.show(s - half, s + half);
  }

  /** @param {PointerEvent} event */
  moved(event) {
    if (!this.meta) return;
    const known = this.touches.get(event.pointerId);
    if (known && this.touches.size === 2) return this.pinch(event);
    if (!known || !this.drag) {
      if (event.pointerType !== "touch") this.point(this.at(event));
      return;
    }
    if (this.drag.kind === "overview") return this.overview(event);
    const dx = event.clientX - this.drag.x;
    if (Math.abs(dx) > 4) this.drag.far = true;
    if (!this.drag.far) return;
    if (this.drag.kind === "select") return this.select(this.drag.s, this.at(event), this.drag.lane);
    const by = (-dx / (this.box.clientWidth - LEFT - RIGHT)) * (this.drag.to - this.drag.from);
    this.show(this.drag.from + by, this.drag.to + by);
  }

  /** @param {PointerEvent} event */
  pinch(event) {
    const spread = () => {
      const [a, b] = [...this.touches.values()];
      return Math.max(10, Math.abs(a.x - b.x));
    };
    const before = spread();
    this.touches.set(event.pointerId, { x: event.clientX, y: event.clientY });
    const [a, b] = [...this.touches.values()];
    this.zoom(before / spread(), this.at(/** @type {any} */ ({ clientX: (a.x + b.x) / 2 })));
    this.drag = null;
  }

  /** @param {PointerEvent} event */
  up(event) {
    this.touches.delete(event.pointerId);
    const drag = this.drag;
    this.drag = null;
    if (!drag || drag.far || drag.kind === "overview") return;
    const s = this.at(event);
    this.point(s);
    // Two clicks select; the second ends what the first began.
    if (this.anchor !== null || (drag.kind === "select" && this.cursor !== null)) {
      this.select(this.anchor ?? drag.s, s, drag.lane);
      this.anchor = null;
    } else {
      this.anchor = s;
      this.dispatchEvent(new CustomEvent("anchor"));
    }
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.altKey || event.metaKey || !this.meta) return;
    const span = this.to - this.from;
    const here = clamp(this.cursor ?? this.from + span / 2, this.from, this.to);
    const ways = /** @type {Record<string, () => void>} */ ({
      ArrowLeft: () => this.walk(here, -span / 100, event),
      ArrowRight: () => this.walk(here, span / 100, event),
      PageUp: () => this.pan(-0.9),
      PageDown: () => this.pan(0.9),
      "+": () => this.zoom(0.5, here),
      "=": () => this.zoom(0.5, here),
      "-": () => this.zoom(2, here),
      Home: () => this.show(0, this.meta.duration_s),
      Escape: () => this.letGo(),
    });
    const act = event.ctrlKey && !event.key.startsWith("Arrow") ? undefined : ways[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  /** @param {number} here @param {number} by @param {KeyboardEvent} event */
  walk(here, by, event) {
    // Whole seconds, as they are written; with Control ten times as far.
    const step = Math.sign(by) * Math.max(1, Math.round(Math.abs(by))) * (event.ctrlKey ? 10 : 1);
    const s = clamp(Math.round(here) + step, 0, this.meta.duration_s);
    if (event.shiftKey) {
      const fixed = this.anchor ?? here;
      this.anchor = Math.round(fixed);
      this.cursor = s;
      this.select(this.anchor, s);
    } else {
      this.anchor = null;
    }
    if (s < this.from || s > this.to) this.pan(by < 0 ? -0.5 : 0.5);
    this.point(s);
  }

  /** What a series is at a moment: one value, or lowest and highest of its column. @param {string} id @param {number} s */
  value(id, s) {
    const tile = this.data();
    const series = tile?.series[id];
    if (!series) return null;
    if (series.v) {
      const at = Math.floor((s - series.t0) / series.dt + 1e-6);
      const value = series.v[at];
      return value === undefined || value === null ? null : { low: value, high: value, doubt: series.doubt[at] === 1 };
    }
    const at = Math.floor(((s - tile.from) / (tile.to - tile.from)) * tile.width);
    for (const [cells, doubt] of [[series.b, false], [series.d, true]]) {
      const low = cells[at * 4 + 1];
      if (low !== undefined && low !== null) return { low, high: cells[at * 4 + 2], doubt };
    }
    return null;
  }

  /** The data that show the window best. */
  data() {
    const tile = this.tile;
    return tile && tile.from <= this.from + 1e-6 && tile.to >= this.to - 1e-6 ? tile : this.whole;
  }

  /** The rules whose stretches hold a moment. @param {number} s */
  rulesAt(s) {
    const held = (/** @type {any} */ rule) => rule.answer !== "not_met" && rule.stretches.some((/** @type {any} */ one) => one[0] <= s && s < one[1]);
    return this.meta.rules.filter(held).map((/** @type {any} */ rule) => rule.id);
  }

  draw() {
    if (this.drawing || !this.whole) return;
    this.drawing = true;
    requestAnimationFrame(() => {
      this.drawing = false;
      this.inks = Object.fromEntries(["paper", "sheet", "ink", "ink-soft", "line", "edge", "accent", "accent-wash"].map((name) => [name, ink(this.box, `--${name}`)]));
      this.font = `12px ${getComputedStyle(this.box).fontFamily}`;
      this.hatch = this.hatching();
      for (const canvas of this.box.children) this.drawOne(/** @type {HTMLCanvasElement} */ (canvas));
      this.box.dataset.drawn = `${this.data().outcome}`;
    });
  }

  hatching() {
    const cell = new OffscreenCanvas(7, 7);
    const to = /** @type {OffscreenCanvasRenderingContext2D} */ (cell.getContext("2d"));
    to.strokeStyle = this.inks.edge;
    to.lineWidth = 0.9;
    to.beginPath();
    for (const at of [-7, 0, 7]) {
      to.moveTo(at, 7);
      to.lineTo(at + 7, 0);
    }
    to.stroke();
    return cell;
  }

  /** @param {HTMLCanvasElement} canvas */
  drawOne(canvas) {
    const name = canvas.dataset.lane;
    if (name === "overview") return this.drawOverview(canvas);
    if (name === "flags") return this.drawFlags(canvas);
    if (name === "axis") return this.drawAxis(canvas);
    const lane = this.meta.lanes.find((/** @type {any} */ one) => one.id === name);
    const on = fit(canvas, lane.scored ? LANE : EXTRA);
    this.drawLane(on, lane);
  }

  /** @param {any} on @param {any} lane */
  drawLane(on, lane) {
    const { to, width, height } = on;
    const [top, bottom] = [8, height - 6];
    const y = (/** @type {number} */ value) => bottom - ((value - lane.low) / (lane.high - lane.low)) * (bottom - top);
    const right = width - RIGHT;
    to.fillStyle = this.inks.sheet;
    to.fillRect(LEFT, 0, right - LEFT, height);
    this.outside(on);
    this.lit(on, lane);
    this.scale(on, lane, y);
    to.save();
    to.beginPath();
    to.rect(LEFT, 0, right - LEFT, height);
    to.clip();
    this.doubts(on, lane);
    if (lane.band) this.band(on, lane, y);
    this.levels(on, lane, y);
    const series = this.data().series;
    this.trace(on, series[lane.series], y, true);
    if (lane.recorded) this.trace(on, series[`${lane.series}_recorded`], y, false, true);
    this.trace(on, series[lane.series], y, false);
    to.restore();
    this.levelLabels(on, lane, y);
    this.over(on);
    to.strokeStyle = this.inks.edge;
    to.lineWidth = 1;
    to.strokeRect(LEFT + 0.5, 0.5, right - LEFT - 1, height - 1);
  }

  /** Time that is not scored lies in shade. @param {any} on */
  outside({ to, width, height }) {
    let at = 0;
    to.fillStyle = this.inks.paper;
    for (const [from, until] of [...this.meta.scored, [this.meta.duration_s, this.meta.duration_s]]) {
      const [a, b] = [this.x(at, width), this.x(from, width)].map((x) => clamp(x, LEFT, width - RIGHT));
      if (b > a) to.fillRect(a, 0, b - a, height);
      at = until;
    }
  }

  /** What the chosen rule speaks of. @param {any} on @param {any} lane */
  lit({ to, width, height }, lane) {
    const rule = this.meta.rules.find((/** @type {any} */ one) => one.id === this.rule);
    if (!rule?.lanes.includes(lane.id)) return;
    for (const [from, until] of rule.stretches) {
      const [a, b] = [this.x(from, width), this.x(until, width)].map((x) => clamp(x, LEFT, width - RIGHT));
      if (b <= LEFT || a >= width - RIGHT) continue;
      to.fillStyle = this.inks["accent-wash"];
      to.fillRect(a, 0, Math.max(2, b - a), height);
      to.fillStyle = this.inks.accent;
      to.fillRect(a, 0, Math.max(2, b - a), 4);
      to.fillRect(a, height - 4, Math.max(2, b - a), 4);
    }
  }

  /** @param {any} on @param {any} lane @param {(value: number) => number} y */
  scale({ to, width }, lane, y) {
    to.font = this.font;
    to.textBaseline = "middle";
    to.textAlign = "right";
    for (let value = lane.low; value <= lane.high + 1e-9; value += lane.step) {
      to.strokeStyle = this.inks.line;
      to.lineWidth = 1;
      to.beginPath();
      to.moveTo(LEFT, Math.round(y(value)) + 0.5);
      to.lineTo(width - RIGHT, Math.round(y(value)) + 0.5);
      to.stroke();
      to.fillStyle = this.inks["ink-soft"];
      to.fillText(String(Math.round(value * 100) / 100), LEFT - 6, clamp(y(value), 8, LANE - 8));
    }
    to.textAlign = "left";
    to.fillStyle = this.inks.ink;
    to.save();
    to.translate(9, y((lane.low + lane.high) / 2));
    to.rotate(-Math.PI / 2);
    to.textAlign = "center";
    to.fillText(`${lane.name} ${lane.unit}`, 0, 0, LANE);
    to.restore();
  }

  /** @param {any} on @param {any} lane */
  doubts({ to, width, height }, lane) {
    const pattern = /** @type {CanvasPattern} */ (to.createPattern(this.hatch, "repeat"));
    to.fillStyle = pattern;
    for (const doubt of lane.doubts) {
      if (doubt.to <= this.from || doubt.from >= this.to) continue;
      const [a, b] = [this.x(doubt.from, width), this.x(doubt.to, width)];
      to.fillRect(a, 0, Math.max(1, b - a), height);
    }
  }

  /** @param {any} on @param {any} lane @param {(value: number) => number} y */
  levels({ to, width }, lane, y) {
    for (const level of lane.levels) {
      to.strokeStyle = level.spoken ? this.inks.accent : this.inks["ink-soft"];
      to.setLineDash([5, 4]);
      to.lineWidth = level.spoken ? 1.5 : 1;
      to.beginPath();
      to.moveTo(LEFT, y(level.level));
      to.lineTo(width - RIGHT, y(level.level));
      to.stroke();
      to.setLineDash([]);
    }
  }

  /** Labels of the levels, beside the trace. @param {any} on @param {any} lane @param {(value: number) => number} y */
  levelLabels({ to, width }, lane, y) {
    to.font = this.font;
    to.textAlign = "left";
    to.textBaseline = "middle";
    const rows = lane.levels.map((/** @type {any} */ level) => ({ level, at: y(level.level) })).sort((/** @type {any} */ a, /** @type {any} */ b) => a.at - b.at);
    let free = 7;
    for (const { level, at } of rows) {
      const place = Math.max(at, free);
      to.fillStyle = level.spoken ? this.inks.accent : this.inks["ink-soft"];
      to.fillText(level.label, width - RIGHT + 6, place, RIGHT - 6);
      free = place + 14;
    }
  }

  /** Where corrected CO2 may lie. @param {any} on @param {any} lane @param {(value: number) => number} y */
  band(on, lane, y) {
    const { to } = on;
    const series = this.data().series;
    const [low, high] = [`${lane.series}_low`, `${lane.series}_high`].map((id) => this.edge(on, series[id], id.endsWith("_low") ? 1 : 2));
    to.fillStyle = this.inks.line;
    to.globalAlpha = 0.55;
    to.beginPath();
    for (let at = 0; at < low.length; at += 1) {
      if (!low[at] || !high[at]) continue;
      const begun = at;
      while (low[at + 1] && high[at + 1]) at += 1;
      for (let up = begun; up <= at; up += 1) to.lineTo(high[up][0], y(high[up][1]));
      to.lineTo(high[at][0] + high[at][2], y(high[at][1]));
      to.lineTo(low[at][0] + low[at][2], y(low[at][1]));
      for (let down = at; down >= begun; down -= 1) to.lineTo(low[down][0], y(low[down][1]));
      to.closePath();
      to.fill();
      to.beginPath();
    }
    to.globalAlpha = 1;
  }

  /** @param {any} on @param {any} series @param {number} which */
  edge({ width }, series, which) {
    const tile = this.data();
    if (series.v) {
      const wide = this.x(series.dt, width) - this.x(0, width);
      return series.v.map((/** @type {number | null} */ value, /** @type {number} */ at) => value === null || series.doubt[at] ? null : [this.x(series.t0 + at * series.dt, width), value, wide + 0.5]);
    }
    const column_s = (tile.to - tile.from) / tile.width;
    const wide = this.x(column_s, width) - this.x(0, width) + 0.3;
    return Array.from({ length: series.b.length / 4 }, (_, at) => series.b[at * 4 + which] === null ? null : [this.x(tile.from + at * column_s, width), series.b[at * 4 + which], wide]);
  }

  /** @param {any} on @param {any} series @param {(value: number) => number} y @param {boolean} doubted @param {boolean} faint */
  trace(on, series, y, doubted, faint = false) {
    if (!series) return;
    const { to } = on;
    to.beginPath();
    if (series.v) this.pointsPath(on, series, y, doubted);
    else this.columnsPath(on, doubted ? series.d : series.b, y);
    to.strokeStyle = doubted || faint ? this.inks["ink-soft"] : this.inks.ink;
    to.globalAlpha = doubted ? 0.75 : 1;
    to.lineWidth = doubted || faint ? 0.8 : 1.25;
    to.setLineDash(faint ? [2, 3] : []);
    to.lineJoin = "round";
    to.stroke();
    to.setLineDash([]);
    to.globalAlpha = 1;
  }

  /** @param {any} on @param {any[]} cells @param {(value: number) => number} y */
  columnsPath({ to, width }, cells, y) {
    const tile = this.data();
    const column_s = (tile.to - tile.from) / tile.width;
    const first = Math.max(0, Math.floor((this.from - tile.from) / column_s) - 1);
    const last = Math.min(cells.length / 4, Math.ceil((this.to - tile.from) / column_s) + 1);
    let drawing = false;
    for (let at = first; at < last; at += 1) {
      const low = cells[at * 4 + 1];
      if (low === null || low === undefined) {
        drawing = false;
        continue;
      }
      const x = this.x(tile.from + (at + 0.5) * column_s, width);
      if (drawing) to.lineTo(x, y(cells[at * 4]));
      else to.moveTo(x, y(cells[at * 4]));
      // A column of one value is still a dot.
      to.lineTo(x, y(low) + 0.4);
      to.lineTo(x, y(cells[at * 4 + 2]) - 0.4);
      to.lineTo(x, y(cells[at * 4 + 3]));
      drawing = true;
    }
  }

  /** @param {any} on @param {any} series @param {(value: number) => number} y @param {boolean} doubted */
  pointsPath({ to, width }, series, y, doubted) {
    let drawing = false;
    series.v.forEach((/** @type {number | null} */ value, /** @type {number} */ at) => {
      if (value === null || (series.doubt[at] === 1) !== doubted) {
        drawing = false;
        return;
      }
      const [a, b] = [this.x(series.t0 + at * series.dt, width), this.x(series.t0 + (at + 1) * series.dt, width)];
      if (drawing) to.lineTo(a, y(value));
      else to.moveTo(a, y(value));
      to.lineTo(b, y(value));
      drawing = true;
    });
  }

  /** Poles of the marks, the selection and the line. @param {any} on */
  over({ to, width, height }) {
    to.save();
    to.beginPath();
    to.rect(LEFT, 0, width - LEFT - RIGHT, height);
    to.clip();
    to.strokeStyle = this.inks["ink-soft"];
    to.lineWidth = 1;
    to.setLineDash([1, 3]);
    for (const flag of this.meta.flags) {
      to.beginPath();
      to.moveTo(this.x(flag.at, width), 0);
      to.lineTo(this.x(flag.at, width), height);
      to.stroke();
    }
    to.setLineDash([]);
    if (this.selected) {
      const [a, b] = this.selected.map((s) => this.x(s, width));
      to.fillStyle = this.inks.ink;
      to.globalAlpha = 0.13;
      to.fillRect(a, 0, b - a, height);
      to.globalAlpha = 1;
      to.fillRect(a - 1, 0, 2, height);
      to.fillRect(b - 1, 0, 2, height);
    }
    for (const s of [this.cursor, this.anchor]) {
      if (s === null) continue;
      to.fillStyle = this.inks.ink;
      to.fillRect(Math.round(this.x(s, width)) - 0.5, 0, 1, height);
    }
    to.restore();
  }

  /** @param {HTMLCanvasElement} canvas */
  drawFlags(canvas) {
    const on = fit(canvas, 24);
    const { to, width, height } = on;
    to.font = this.font;
    to.textBaseline = "middle";
    let free = LEFT;
    for (const flag of this.meta.flags) {
      const [a, b] = [this.x(flag.at, width), this.x(flag.until ?? flag.at, width)];
      if (b < LEFT || a > width - RIGHT) continue;
      const from = clamp(a, LEFT, width);
      to.fillStyle = this.inks.ink;
      to.fillRect(from, height - 5, Math.max(3, Math.min(b, width - RIGHT) - from), 5);
      const words = to.measureText(flag.label).width;
      const at = Math.min(from, width - RIGHT - words);
      if (at < free) continue;
      to.fillStyle = this.inks["ink-soft"];
      to.fillText(flag.label, at, 9);
      free = at + words + 10;
    }
  }

  /** @param {HTMLCanvasElement} canvas */
  drawAxis(canvas) {
    const { to, width } = fit(canvas, 26);
    const span = this.to - this.from;
    const room = (width - LEFT - RIGHT) / 74;
    const step = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400].find((s) => span / s <= room) ?? 14400;
    to.font = this.font;
    to.textBaseline = "top";
    to.textAlign = "center";
    to.strokeStyle = this.inks.edge;
    for (const [index, clock] of this.meta.clock.entries()) {
      const until = Math.min(this.to, this.meta.clock[index + 1]?.at ?? this.to);
      const past = (clock.wall_ms / 1000 + Math.max(0, this.from - clock.at)) % step;
      for (let s = Math.max(clock.at, this.from) + ((step - past) % step); s <= until + 1e-6; s += step) {
        const x = this.x(s, width);
        to.beginPath();
        to.moveTo(x, 0);
        to.lineTo(x, 6);
        to.stroke();
        to.fillStyle = this.inks.ink;
        to.fillText(this.label(s, step < 60), clamp(x, LEFT + 14, width - RIGHT - 14), 9);
      }
    }
  }

  /** The whole night with the window on it. @param {HTMLCanvasElement} canvas */
  drawOverview(canvas) {
    const { to, width, height } = fit(canvas, 40);
    const all = this.meta.duration_s;
    const x = (/** @type {number} */ s) => LEFT + (s / all) * (width - LEFT - RIGHT);
    to.fillStyle = this.inks.sheet;
    to.fillRect(LEFT, 0, width - LEFT - RIGHT, height);
    const lanes = this.meta.lanes.filter((/** @type {any} */ lane) => lane.scored && lane.id !== "pulse");
    lanes.forEach((/** @type {any} */ lane, /** @type {number} */ row) => {
      const series = this.whole.series[lane.series];
      const room = height / lanes.length;
      const y = (/** @type {number} */ value) => room * (row + 1) - 2 - clamp((value - lane.low) / (lane.high - lane.low), 0, 1) * (room - 4);
      to.fillStyle = this.inks.ink;
      const cells = series?.b ?? [];
      for (let at = 0; at < cells.length / 4; at += 1) {
        if (cells[at * 4] === null) continue;
        const [low, high] = [y(cells[at * 4 + 1]), y(cells[at * 4 + 2])];
        to.fillRect(x((at / this.whole.width) * all), high, 0.8, Math.max(0.8, low - high));
      }
    });
    const [a, b] = [x(this.from), x(this.to)];
    to.fillStyle = this.inks.paper;
    to.globalAlpha = 0.75;
    to.fillRect(LEFT, 0, a - LEFT, height);
    to.fillRect(b, 0, width - RIGHT - b, height);
    to.globalAlpha = 1;
    to.strokeStyle = this.inks.ink;
    to.lineWidth = 2;
    to.strokeRect(a + 1, 1, Math.max(3, b - a - 2), height - 2);
  }
}
