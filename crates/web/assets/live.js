// @ts-check
// Parts of a page that keep themselves up to date. `data-live="loan monitor"` names the kinds of things a part
// shows; when one of them changes the page is asked again and the part replaced.

import { gather, typesIn } from "./gather.js";

/** Whether somebody is typing in a part, or has a part of it open. */
function inUse(/** @type {Element} */ part) {
  return typesIn(part) || part.querySelector("details[open] form") !== null;
}

const parts = (/** @type {ParentNode} */ root) => [...root.querySelectorAll("[data-live]")];

async function refresh() {
  const response = await fetch(location.href, { headers: { "x-matins-background": "1" } });
  if (!response.ok) return;
  const fresh = parts(new DOMParser().parseFromString(await response.text(), "text/html"));
  const shown = parts(document);
  if (fresh.length !== shown.length) return;
  shown.forEach((part, at) => {
    if (inUse(part) || part.innerHTML === fresh[at].innerHTML) return;
    const focused = /** @type {HTMLElement | null} */ (document.activeElement);
    const place = focused && part.contains(focused) ? focused.getAttribute("href") : null;
    part.replaceChildren(...fresh[at].childNodes);
    if (place) /** @type {HTMLElement | null} */ (part.querySelector(`[href="${CSS.escape(place)}"]`))?.focus();
    part.dispatchEvent(new CustomEvent("matins:fresh", { bubbles: true }));
  });
}

export function keepLive() {
  const kinds = new Set(parts(document).flatMap((part) => (part.getAttribute("data-live") ?? "").split(" ")));
  if (kinds.size === 0) return;
  gather((kind) => kinds.has(kind), refresh);
}
