// @ts-check
// A run over past nights shows how far it is, once a second, until it ends.

const EVERY_MS = 1000;

async function look() {
  const part = document.querySelector("[data-running]");
  if (!part) return;
  const response = await fetch(location.href, { headers: { "x-matins-background": "1" } }).catch(() => null);
  if (!response?.ok) return;
  const fresh = new DOMParser().parseFromString(await response.text(), "text/html").querySelector("[data-run]");
  if (!fresh) return;
  const focused = part.contains(document.activeElement) ? document.activeElement?.textContent : null;
  part.replaceWith(document.adoptNode(fresh));
  if (focused) {
    const same = [...fresh.querySelectorAll("button, a")].find((one) => one.textContent === focused);
    /** @type {HTMLElement | null} */ (same ?? fresh.querySelector("h2"))?.focus();
  }
  setTimeout(look, EVERY_MS);
}

setTimeout(look, EVERY_MS / 4);
