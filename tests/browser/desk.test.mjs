// @ts-check
// The desk's pages in the invented department: sound for axe, nothing sideways, targets large enough, in four looks.

import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { LOOKS, chromiumHere, demo, focused, logIn, looksRight } from "./bench.mjs";

const PASSWORD = "lullaby-lane-42";
const PAGES = {
  morning: "/morning",
  calendar: "/calendar",
  people: "/people",
  "person-new": "/people/new",
  person: "/people/1",
  loan: "/loans/1",
  "hand-out": "/loans/36/hand-out",
  "take-back": "/loans/34/take-back",
  monitors: "/monitors",
  monitor: "/monitors/1",
  lots: "/lots",
};

let folder = "";
/** @type {any} */
let server;
/** @type {any} */
let browser;

before(async () => {
  folder = mkdtempSync(join(tmpdir(), "matins-browser-"));
  server = await demo(join(folder, "record"));
  browser = await chromiumHere();
});

after(async () => {
  await browser.close();
  await server.end();
  rmSync(folder, { recursive: true, force: true });
});

async function as(login, look = LOOKS[0]) {
  const context = await browser.newContext({ colorScheme: look.colorScheme, viewport: look.viewport, baseURL: server.at });
  const page = await context.newPage();
  await logIn(page, server.at, login, PASSWORD);
  return page;
}

for (const look of LOOKS) {
  test(`every page of the desk is sound: ${look.name}`, async () => {
    const page = await as("pillow", look);
    for (const [name, path] of Object.entries(PAGES)) {
      const response = await page.goto(path);
      assert.equal(response?.status(), 200, path);
      await looksRight(page, `desk-${name}-${look.name}`);
    }
    await page.context().close();
  });
}

test("a scanned mark leads to its loan, by keyboard", async () => {
  const page = await as("pillow");
  const mark = await page.goto("/loans/1").then(() => page.locator("h1").textContent());
  await page.goto("/morning");
  while ((await focused(page)) !== "mark") await page.keyboard.press("Tab");
  await page.keyboard.type(String(mark).match(/L-\d+-\w/)?.[0] ?? "");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/loans/1");
  await page.context().close();
});

test("the desk finds no result and the administrator no patient", async () => {
  const keys = await as("keys");
  assert.equal((await keys.goto("/people/1"))?.status(), 403);
  await keys.context().close();
  const pillow = await as("pillow");
  assert.equal((await pillow.goto("/audit"))?.status(), 403);
  await pillow.context().close();
});
