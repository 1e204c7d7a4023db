// @ts-check
// The list of nights by one key: only while the focus is in it, and only when it is not switched off.

const queue = /** @type {HTMLElement | null} */ (document.querySelector("[data-queue]"));
const keys = /** @type {HTMLInputElement | null} */ (document.querySelector("[data-keys]"));

queue?.parentElement?.addEventListener("keydown", (event) => {
  const list = document.querySelector("[data-queue]");
  const here = document.activeElement;
  if (!keys?.checked || event.altKey || event.ctrlKey || event.metaKey || !list?.contains(here)) return;
  const by = /** @type {Record<string, number>} */ ({ n: 1, ArrowDown: 1, ArrowRight: 1, p: -1, ArrowUp: -1, ArrowLeft: -1 })[event.key];
  if (!by) return;
  const links = /** @type {HTMLElement[]} */ ([...list.querySelectorAll("a")]);
  const at = links.findIndex((link) => link === here);
  const next = links[at + by];
  if (!next) return;
  event.preventDefault();
  next.focus();
  next.closest("li")?.scrollIntoView({ block: "nearest" });
});
