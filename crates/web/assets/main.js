// @ts-check
// What makes pages quicker to use. Every page works without it.

import { watchIdle } from "./idle.js";
import { keepLive } from "./live.js";

const body = document.body;

if (body.dataset.login) {
  watchIdle(Number(body.dataset.endsIn));
  keepLive();
}

// A form that came back with faults: the list of them is read first.
const faults = /** @type {HTMLElement | null} */ (document.querySelector("[data-faults]"));
faults?.focus();

// A link to be handed on is shown with the address it is reached by.
for (const link of document.querySelectorAll("[data-own-link]")) {
  link.textContent = location.origin + (link.textContent ?? "").trim();
}

// A second click does not send a form twice.
document.addEventListener("submit", (event) => {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
});

// Coming back by the browser's own button, forms may be sent again.
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form")) delete form.dataset.sent;
});

// The menu of one's own account closes on Escape and on a click elsewhere.
const self = /** @type {HTMLDetailsElement | null} */ (document.querySelector(".self"));
addEventListener("keydown", (event) => {
  if (event.key === "Escape" && self?.open) {
    self.open = false;
    self.querySelector("summary")?.focus();
  }
});
addEventListener("click", (event) => {
  if (self?.open && !self.contains(/** @type {Node} */ (event.target))) self.open = false;
});
