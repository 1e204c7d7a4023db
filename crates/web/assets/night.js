// @ts-check
// One night: the strip, and everything around it that changes when somebody judges it by hand.

import { Strip } from "./strip.js";
import { csrf, fieldsOf } from "./form.js";
import { logInAgain } from "./idle.js";
import { followOthers } from "./others.js";

const night = /** @type {HTMLElement} */ (document.querySelector("[data-night]"));
const box = /** @type {HTMLElement} */ (night.querySelector("[data-strip]"));
const parts = /** @type {HTMLElement} */ (night.querySelector("[data-parts]"));
const told = /** @type {HTMLElement} */ (night.querySelector("[data-told]"));
const output = /** @type {HTMLOutputElement} */ (night.querySelector("[data-cursor]"));
const id = night.dataset.night ?? "";
const strip = new Strip(box, id);

/** @param {string} name */
const field = (name) => /** @type {HTMLInputElement | null} */ (parts.querySelector(name));

function tell(/** @type {string} */ words) {
  told.textContent = words;
}

/** The line in words: time, every lane's value, why it is not believed, the rules that speak of it. */
function cursor() {
  const s = strip.cursor;
  if (s === null || !strip.meta) return;
  const said = [strip.label(s)];
  for (const lane of strip.meta.lanes) {
    if (!lane.scored && !strip.more) continue;
    const found = strip.value(lane.series, s);
    const round = (/** @type {number} */ value) => value.toFixed(lane.id === "tcpco2" ? 2 : 0);
    if (!found) {
      said.push(`${lane.name} –`);
      continue;
    }
    const [low, high] = [round(found.low), round(found.high)];
    const span = low === high ? low : `${low}–${high}`;
    const doubt = lane.doubts.find((one) => one.from <= s && s < one.to);
    said.push(`${lane.name} ${span} ${lane.unit}${doubt ? ` (not believed: ${doubt.words})` : ""}`);
  }
  output.textContent = said.join(" · ");
  const here = new Set(strip.rulesAt(s));
  for (const button of parts.querySelectorAll("[data-rule]")) {
    button.classList.toggle("here", here.has(button.getAttribute("data-rule") ?? ""));
  }
}

/** The selection in the fields that take times. */
function selected(/** @type {string} */ lane) {
  const [from, until] = strip.selected ?? [null, null];
  const a = from === null ? "" : strip.written(Math.floor(from));
  const b = until === null ? "" : strip.written(Math.ceil(until));
  for (const [name, value] of [["#judge-from", a], ["#judge-until", b], ["#mark-at", a], ["#gas-at", a]]) {
    const one = field(name);
    if (one) one.value = value;
  }
  const boxes = /** @type {HTMLInputElement[]} */ ([...parts.querySelectorAll("[name=channel]")]);
  if (strip.selected && boxes.some((one) => one.value === lane)) {
    for (const one of boxes) one.checked = one.value === lane;
  } else if (strip.selected && !boxes.some((one) => one.checked)) {
    for (const one of boxes) one.checked = true;
  }
  if (strip.selected) tell(`Selected ${a} to ${b}.`);
}

/** What is said against an act, from the page that says so. @param {Response} response */
async function wrong(response) {
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const lines = [...page.querySelectorAll("main p, main li")].filter((one) => !one.closest("[data-said]"));
  const said = lines.map((one) => one.textContent?.trim());
  const place = field("[data-wrong]");
  const words = said.filter(Boolean).join(" ") || "That was not done.";
  if (place) {
    place.textContent = words;
    place.hidden = false;
    place.scrollIntoView({ block: "nearest" });
  }
}

/** Puts the fresh parts in place; what was unfolded stays so, and the focus where it was. @param {string} text */
function replace(text) {
  const unfolded = [...parts.querySelectorAll("details[open][data-fold]")];
  const open = new Set(unfolded.map((one) => one.getAttribute("data-fold")));
  const here = document.activeElement;
  const focus = here instanceof HTMLElement && parts.contains(here) ? here : null;
  const step = ["[data-undo]", "[data-redo]"].find((one) => focus?.matches(one));
  const key = focus?.id ? `#${CSS.escape(focus.id)}` : step;
  const fresh = new DOMParser().parseFromString(text, "text/html");
  parts.replaceChildren(...fresh.body.childNodes);
  for (const one of parts.querySelectorAll("details[data-fold]")) {
    /** @type {HTMLDetailsElement} */ (one).open = open.has(one.getAttribute("data-fold"));
  }
  if (focus) {
    const again = /** @type {HTMLButtonElement | null} */ (key && parts.querySelector(key));
    (again && !again.disabled ? again : box).focus({ preventScroll: true });
  }
  light(strip.rule);
  oneStop();
}

/** @param {SubmitEvent} event */
async function step(event) {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (!form.matches("[data-step]") || event.defaultPrevented) return;
  event.preventDefault();
  if (form.dataset.busy) return;
  form.dataset.busy = "yes";
  const fields = fieldsOf(form, event.submitter);
  fields.set("answer", "parts");
  const began = performance.now();
  try {
    const response = await fetch(form.action, { method: "POST", body: fields, headers: { "x-csrf": csrf() } });
    if (response.redirected && response.url.includes("/login")) return logInAgain();
    if (response.status === 401) return logInAgain();
    if (!response.ok) return await wrong(response);
    replace(await response.text());
    night.dataset.tookMs = String(Math.round(performance.now() - began));
    const changed = parts.querySelectorAll(".changes dl > div").length;
    tell(changed === 1 ? "Saved. One figure or answer changed." : `Saved. ${changed} figures and answers changed.`);
    strip.used();
    await strip.load();
  } finally {
    delete form.dataset.busy;
  }
}

/** @param {string} rule */
function light(rule) {
  strip.rule = rule;
  for (const button of parts.querySelectorAll("[data-rule]")) {
    button.setAttribute("aria-pressed", String(button.getAttribute("data-rule") === rule));
  }
  if (strip.meta) strip.draw();
}

/** @param {MouseEvent} event */
function clicked(event) {
  const button = /** @type {HTMLElement | null} */ (/** @type {Element} */ (event.target).closest("button"));
  if (!button || !strip.meta) return;
  if (button.dataset.rule) {
    light(strip.rule === button.dataset.rule ? "" : button.dataset.rule);
    const stretches = strip.meta.rules.find((one) => one.id === strip.rule)?.stretches ?? [];
    const seen = stretches.some(([from, to]) => to > strip.view.from && from < strip.view.to);
    if (!seen && stretches.length) strip.reveal(...stretches[0]);
  } else if (button.dataset.fromS) {
    const [from, to] = [Number(button.dataset.fromS), Number(button.dataset.toS)];
    strip.reveal(from, to);
    if (to > from) strip.select(from, to, button.dataset.lane ?? "");
    cursor();
  }
}

const middle = () => (strip.view.from + strip.view.to) / 2;

const tools = /** @type {Record<string, () => void>} */ ({
  back: () => strip.pan(-0.5),
  on: () => strip.pan(0.5),
  in: () => strip.zoom(0.5, middle()),
  out: () => strip.zoom(2, middle()),
  all: () => strip.show({ from: 0, to: strip.meta?.duration_s ?? 0 }),
  more: () => {
    strip.more = !strip.more;
    strip.resized();
  },
});

night.addEventListener("click", (event) => {
  const target = /** @type {Element} */ (event.target);
  const tool = /** @type {HTMLElement | null} */ (target.closest("[data-do]"))?.dataset.do;
  if (tool && strip.meta) tools[tool]?.();
});
parts.addEventListener("click", clicked);
parts.addEventListener("submit", step);
strip.addEventListener("cursor", cursor);
strip.addEventListener("over", () => logInAgain());
strip.addEventListener("anchor", () => tell(`From ${strip.label(strip.anchor ?? 0)}. Click where it ends.`));
strip.addEventListener("select", (event) => selected(/** @type {CustomEvent} */ (event).detail.lane));

/** A long list is one stop of the Tab key; arrow keys go through it. */
function oneStop() {
  const rows = parts.querySelectorAll("[data-spans] .go");
  rows.forEach((row, at) => row.setAttribute("tabindex", at === 0 ? "0" : "-1"));
}

parts.addEventListener("keydown", (event) => {
  const rows = /** @type {HTMLElement[]} */ ([...parts.querySelectorAll("[data-spans] .go")]);
  const at = rows.indexOf(/** @type {HTMLElement} */ (event.target));
  if (at < 0) return;
  const ways = /** @type {Record<string, number>} */ ({
    ArrowDown: at + 1,
    ArrowUp: at - 1,
    Home: 0,
    End: rows.length - 1,
  });
  const to = ways[event.key];
  if (to === undefined || !rows[to]) return;
  event.preventDefault();
  rows[at].tabIndex = -1;
  rows[to].tabIndex = 0;
  rows[to].focus();
});
oneStop();

/** Times typed show on the strip. */
parts.addEventListener("change", (event) => {
  const one = /** @type {HTMLInputElement} */ (event.target);
  if (one.matches("[name=channel]")) strip.draw();
});

// Letters act only while the strip has the focus.
box.addEventListener("keydown", (event) => {
  if (event.altKey || event.metaKey) return;
  const click = (/** @type {HTMLElement} */ of, /** @type {string} */ name) =>
    /** @type {HTMLElement | null} */ (of.querySelector(name))?.click();
  const to = (/** @type {string} */ rel) => click(night, `[rel=${rel}]`);
  const undo = (/** @type {string} */ name) => click(parts, name);
  const key = event.key.toLowerCase();
  if (event.ctrlKey && key === "z") undo(event.shiftKey ? "[data-redo]" : "[data-undo]");
  else if (event.ctrlKey && key === "y") undo("[data-redo]");
  else if (event.ctrlKey) return;
  else if (key === "n") to("next");
  else if (key === "p") to("prev");
  else if (key === "x") field("#judge-reason")?.focus();
  else return;
  event.preventDefault();
});
box.addEventListener("focus", () => {
  if (strip.cursor === null && strip.meta) strip.point(Math.round(middle()));
});

/** What the line shows is read aloud when it is moved by keyboard. */
box.addEventListener("keyup", (event) => {
  if (event.key.startsWith("Arrow") && !event.shiftKey) tell(output.textContent ?? "");
});

strip.load().then(
  () => {
    if (strip.meta?.lanes.some((lane) => !lane.scored)) {
      const button = document.createElement("button");
      Object.assign(button, { type: "button", className: "quiet", textContent: "More channels" });
      button.dataset.do = "more";
      night.querySelector(".tools")?.append(button);
    }
    night.dataset.ready = "yes";
    followOthers({
      id,
      parts,
      tell,
      busy: () => parts.querySelector("[data-busy]") !== null,
      show: async (text) => {
        replace(text);
        await strip.load();
      },
    });
  },
  () => (output.textContent = "The strip could not be fetched. Load the page again."),
);
