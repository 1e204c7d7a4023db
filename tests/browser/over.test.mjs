// @ts-check
// A session that is over, in one page and in two: nobody reads on, and what was typed is kept for whoever typed it.

import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { PASSWORD, bench, logIn, makeAccount } from "./bench.mjs";

/** @type {any} */
let b;

before(async () => {
  b = await bench();
  const page = await b.browser.newPage();
  await logIn(page, b.at, "administrator");
  await makeAccount(page, b.at, "desk", "Dora Bolster", "Desk");
  await makeAccount(page, b.at, "till", "Tilda Till", "Desk");
  await page.close();
});

after(() => b.end());

/** A browser in which the desk is logged in and has a patient's page open. */
async function reading() {
  const context = await b.browser.newContext({ baseURL: b.at });
  const page = await context.newPage();
  await logIn(page, b.at, "desk");
  await page.goto("/people/new");
  for (const [label, text] of [["Family name", "Featherlight"], ["Given names", "Nell"], ["Day of birth", "1960-01-31"], ["Hospital number", `LM ${Date.now()}`]]) {
    await page.getByLabel(label).fill(text);
  }
  await page.getByRole("button", { name: "Enter" }).click();
  await page.getByRole("heading", { name: /FEATHERLIGHT/ }).waitFor();
  return { context, page };
}

/** What a person sees of a page, and its title. */
const seen = (page) => page.evaluate(() => `${document.title} ${document.body.innerText}`);

/** Lets the session run out, for the browser's clock and on the server. */
async function runOut(page) {
  await page.context().clearCookies({ name: "matins" });
  await page.clock.runFor(15 * 60_000 + 5_000);
  await page.getByRole("heading", { name: "Log in to go on" }).waitFor();
}

test("a patient is not legible behind a session that is over, on screen or on paper", async () => {
  const { context, page } = await reading();
  await page.clock.install();
  await page.reload();
  assert.match(await seen(page), /FEATHERLIGHT/);
  await runOut(page);
  assert.doesNotMatch(await seen(page), /FEATHERLIGHT/i);
  assert.equal(await page.locator("main").isVisible(), false);
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.locator("main").isVisible(), false);
  await page.emulateMedia({ media: "screen" });
  await page.getByLabel("Password of Dora Bolster").fill(PASSWORD);
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { name: /FEATHERLIGHT/ }).waitFor();
  await context.close();
});

test("a second page goes on with what was typed in it when the first has logged in again", async () => {
  const { context, page } = await reading();
  const second = await context.newPage();
  for (const one of [page, second]) await one.clock.install();
  await page.reload();
  await second.goto("/people/new");
  await second.getByLabel("Family name").fill("Halftyped");
  await runOut(page);
  await second.clock.runFor(15 * 60_000 + 5_000);
  assert.equal(await second.locator("main").isVisible(), false);
  await page.getByLabel("Password of Dora Bolster").fill(PASSWORD);
  await page.keyboard.press("Enter");
  await second.locator("#again").waitFor({ state: "hidden" });
  assert.equal(await second.getByLabel("Family name").inputValue(), "Halftyped");
  await second.getByRole("button", { name: "Enter" }).click();
  // It was sent with the new proof: the form came back for what is missing in it.
  await second.getByRole("alert").waitFor();
  assert.equal(await second.getByLabel("Family name").inputValue(), "Halftyped");
  await context.close();
});

test("for somebody else what was typed is gone", async () => {
  const { context, page } = await reading();
  const second = await context.newPage();
  await page.clock.install();
  await page.goto("/people/new");
  await page.getByLabel("Family name").fill("Halftyped");
  await runOut(page);
  await logIn(second, b.at, "till");
  await page.waitForURL((url) => url.pathname !== "/people/new");
  assert.doesNotMatch(await page.content(), /Halftyped/);
  await context.close();
});
