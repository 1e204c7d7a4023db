// @ts-check
// A night that somebody else changes while it is open: the page follows by itself, unless something is typed in it.

import { gather, typesIn } from "./gather.js";

/**
 * @param {{
 *   id: string,
 *   parts: HTMLElement,
 *   busy: () => boolean,
 *   show: (text: string) => Promise<void>,
 *   tell: (words: string) => void,
 * }} page
 */
export function followOthers(page) {
  const at = (/** @type {ParentNode} */ of) => of.querySelector("[data-at]")?.getAttribute("data-at");
  const typing = () => {
    const written = [...page.parts.querySelectorAll("input[type=text], textarea")].some((one) => {
      const field = /** @type {HTMLInputElement} */ (one);
      return field.value !== field.defaultValue;
    });
    return written || typesIn(page.parts);
  };

  async function look() {
    if (page.busy()) return;
    const response = await fetch(`${page.id}/parts`, { headers: { "x-matins-background": "1" } });
    if (!response.ok || page.busy()) return;
    const text = await response.text();
    if (at(new DOMParser().parseFromString(text, "text/html")) === at(page.parts)) return;
    if (typing()) return offer(text);
    await page.show(text);
    page.tell("Somebody else changed this night. What you see is up to date.");
  }

  /** What is typed is not taken away: whoever typed it decides. @param {string} text */
  function offer(text) {
    page.parts.querySelector("[data-others]")?.remove();
    const note = document.createElement("p");
    note.dataset.others = "yes";
    note.className = "others";
    note.setAttribute("role", "status");
    note.textContent = "Somebody else changed this night. ";
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "quiet", textContent: "Show it" });
    button.addEventListener("click", () => page.show(text));
    note.append(button);
    page.parts.querySelector(".hand h2")?.after(note);
  }

  gather((kind) => kind === "night", look);
}
