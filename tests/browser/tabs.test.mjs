// @ts-check
// Many tabs of one browser on one server that speaks HTTP/1.1: a browser opens six connections to it and no more.

import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { bench, logIn } from "./bench.mjs";

/** More tabs than a browser has connections. */
const TABS = 10;

/** @type {any} */
let b;

before(async () => {
  b = await bench();
});

after(() => b.end());

/** A context in which a script runs first. */
async function tabs(first) {
  const context = await b.browser.newContext({ baseURL: b.at });
  if (first) await context.addInitScript(first);
  const pages = [];
  for (let at = 0; at < TABS; at += 1) {
    const page = await context.newPage();
    page.wrong = [];
    page.on("pageerror", (error) => page.wrong.push(String(error)));
    if (at === 0) await logIn(page, b.at, "administrator");
    await page.goto("/monitors", { timeout: 20_000 });
    await page.getByRole("heading", { level: 1 }).waitFor();
    pages.push(page);
  }
  return { context, pages };
}

async function enterMonitor(page, serial) {
  await page.goto("/monitors/new");
  for (const date of ["Service due", "Electrical safety test due"]) await page.getByLabel(date).fill("2030-01-01");
  await page.getByLabel("Serial number").fill(serial);
  await page.getByLabel("Serial number").press("Enter");
  await page.waitForURL(/monitors\/\d+/);
}

test("ten tabs open, and what is done in one of them shows in the other nine", async () => {
  const { context, pages } = await tabs();
  await enterMonitor(pages[TABS - 1], "TAB-1001");
  for (const page of pages.slice(0, TABS - 1)) await page.getByText("TAB-1001").first().waitFor({ timeout: 20_000 });
  for (const page of pages) assert.deepEqual(page.wrong, []);
  await context.close();
});

test("a tab that was closed leaves the others listening", async () => {
  const { context, pages } = await tabs();
  await pages[0].close();
  await pages[1].close();
  await enterMonitor(pages[TABS - 1], "TAB-1002");
  for (const page of pages.slice(2, TABS - 1)) await page.getByText("TAB-1002").first().waitFor({ timeout: 20_000 });
  await context.close();
});

test("a browser without shared workers has one stream for the page in sight", async () => {
  // All pages of a browser without a screen are in sight; here only one says so.
  const { context, pages } = await tabs(() => {
    delete (/** @type {any} */ (window).SharedWorker);
    const shown = () => localStorage.getItem("in-sight") === null;
    Object.defineProperty(document, "visibilityState", { get: () => (shown() ? "visible" : "hidden") });
    addEventListener("load", () => localStorage.setItem("in-sight", "taken"));
  });
  await enterMonitor(pages[TABS - 1], "TAB-1003");
  await pages[4].evaluate(() => {
    localStorage.removeItem("in-sight");
    document.dispatchEvent(new Event("visibilitychange"));
  });
  await pages[4].getByText("TAB-1003").first().waitFor({ timeout: 20_000 });
  await context.close();
});
