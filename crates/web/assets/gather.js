// @ts-check
// What every part has that follows others' changes: it waits for more of them before it asks anew, and takes nothing
// from under the hands of whoever types.

import { follow } from "./stream.js";

/** How long to wait for more changes before asking, ms. */
const GATHER_MS = 300;

/** Calls `look` when something was changed that `concerns` the part, or may have been, once for many changes. */
export function gather(/** @type {(kind: string) => boolean} */ concerns, /** @type {() => void} */ look) {
  /** @type {number | undefined} */
  let soon;
  follow((kind) => {
    if (kind !== "*" && !concerns(kind)) return;
    clearTimeout(soon);
    soon = setTimeout(look, GATHER_MS);
  });
}

/** Whether somebody types or chooses in a part. @param {Element} part */
export function typesIn(part) {
  const here = document.activeElement;
  return here !== null && part.contains(here) && here.matches("input, select, textarea");
}
