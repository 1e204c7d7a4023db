// @ts-check
// Every act of a reader by keyboard alone on a page as wide as a phone's: marks, gases, reasons, the question, the
// criteria, undo and redo, another night, signing, amending, withdrawing.

import { test } from "node:test";
import assert from "node:assert/strict";
import { DEMO_PASSWORD, LOOKS, department, looksRight, tabTo } from "./bench.mjs";

const { as } = department("2026-11-25", { usual: LOOKS[2] });

async function open(page, nth, which = "[data-queue] a") {
  await page.goto("/nights");
  const nights = await page.locator(which).evaluateAll((links) => links.map((link) => link.getAttribute("href")));
  await page.goto(nights.at(nth));
  await page.locator("[data-ready]").waitFor();
  return nights.at(nth);
}

/** Goes to a control by Tab and types into it, in place of what stands there. */
async function type(page, selector, words) {
  await tabTo(page, selector);
  await page.keyboard.press("ControlOrMeta+a");
  await page.keyboard.type(words);
}

/** Unfolds what is folded, by its summary. */
async function unfold(page, selector) {
  await tabTo(page, `${selector} > summary`);
  if (!(await page.locator(selector).first().evaluate((one) => one.open))) await page.keyboard.press("Enter");
}

/** Presses a button of the night's page and waits until what it did is on the page. */
async function press(page, selector) {
  const before = await page.locator("[data-at]").getAttribute("data-at");
  await tabTo(page, selector);
  await page.keyboard.press("Enter");
  await page.waitForFunction((was) => document.querySelector("[data-at]")?.getAttribute("data-at") !== was, before);
}

const words = (page, selector) => page.locator(selector).innerText();

test("marks and gases are entered, moved and taken out", async () => {
  const page = await as("thistle");
  await open(page, -1);
  await unfold(page, "details[data-fold=mark]");
  await tabTo(page, "#mark-kind");
  await page.keyboard.type("note");
  await type(page, "#mark-at", "02:10");
  await type(page, "#mark-text", "the window was opened");
  await press(page, "form[action$='/mark'] button");
  assert.match(await words(page, ".marks"), /02:10.*the window was opened/s);

  await unfold(page, "details[data-fold=mark]");
  await type(page, "#gas-at", "03:30");
  await type(page, "#gas-pco2", "6,1");
  await press(page, "form[action$='/gas'] button");
  assert.match(await words(page, ".marks"), /03:30.*blood gas, 6\.1 kPa/s);

  const mark = page.locator(".marks li", { hasText: "the window was opened" }).locator("details");
  const fold = await mark.getAttribute("data-fold");
  await unfold(page, `details[data-fold=${fold}]`);
  await type(page, `details[data-fold=${fold}] input[name=at]`, "02:20");
  await press(page, `details[data-fold=${fold}] form[action$='/move'] button`);
  assert.match(await words(page, ".marks"), /02:20.*the window was opened/s);
  const moved = await page.locator(".marks li", { hasText: "the window was opened" }).locator("details").getAttribute("data-fold");
  await unfold(page, `details[data-fold=${moved}]`);
  await press(page, `details[data-fold=${moved}] form[action$='/remove'] button`);
  assert.doesNotMatch(await words(page, ".marks"), /the window was opened/);
  await press(page, "[data-undo]");
  assert.match(await words(page, ".marks"), /the window was opened/);
  await press(page, "[data-redo]");
  assert.doesNotMatch(await words(page, ".marks"), /the window was opened/);
  await looksRight(page, "acts-marks-phone");
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("a reason is changed, another question asked, another set chosen", async () => {
  const page = await as("thistle");
  await open(page, -1);
  await tabTo(page, "#judge-spo2");
  await page.keyboard.press("Space");
  await type(page, "#judge-from", "01:00");
  await type(page, "#judge-until", "01:06");
  await type(page, "#judge-reason", "movement");
  await press(page, ".judge button[value=no]");
  await unfold(page, ".hand details[data-fold^=reason-]");
  await type(page, ".hand .spans input[name=reason]", "lay on the sensor");
  await press(page, "form[action$='/reason'] button");
  assert.match(await words(page, ".hand .spans"), /lay on the sensor/);

  const asked = await words(page, "#answers-title");
  await unfold(page, "details[data-fold=held]");
  await tabTo(page, "#held-question");
  await page.keyboard.press("ArrowDown");
  await press(page, "form[action$='/question'] button");
  assert.notEqual(await words(page, "#answers-title"), asked);

  await unfold(page, "details[data-fold=held]");
  await tabTo(page, "#held-criteria");
  await page.keyboard.press("ArrowDown");
  const chosen = await page.locator("#held-criteria").inputValue();
  await press(page, "form[action$='/criteria'] button");
  assert.equal(await page.locator("#held-criteria").inputValue(), chosen);
  await unfold(page, "details[data-fold=history]");
  assert.match(await words(page, "details[data-fold=history]"), new RegExp(chosen));
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

/** Signs by keyboard on the report's page. */
async function sign(page, changed) {
  if (changed) await type(page, "input[name=changed]", changed);
  await type(page, "form[action$='/sign'] input[name=password]", DEMO_PASSWORD);
  await page.keyboard.press("Enter");
  await page.getByText(/Signed: version/).waitFor();
}

test("a report is signed, amended and withdrawn", async () => {
  const page = await as("thistle");
  const night = await open(page, -1);
  await page.goto(`${night}/report`);
  await sign(page, "");
  await page.goto(`${night}/report`);
  await tabTo(page, "summary");
  for (let at = 0; at < 20 && !(await page.evaluate(() => document.activeElement?.textContent === "Amend")); at += 1) await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  await type(page, "form[action$='/reopen'] input[name=reason]", "the diary came late");
  await type(page, "form[action$='/reopen'] input[name=password]", DEMO_PASSWORD);
  await page.keyboard.press("Enter");
  await page.getByText("The night is open again.").waitFor();
  await page.goto(`${night}/report`);
  await sign(page, "nothing but the comment");
  await page.goto(`${night}/report`);
  await tabTo(page, "summary");
  for (let at = 0; at < 20 && !(await page.evaluate(() => document.activeElement?.textContent === "Withdraw")); at += 1) await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  await type(page, "form[action$='/withdraw'] input[name=reason]", "the wrong patient");
  await type(page, "form[action$='/withdraw'] input[name=password]", DEMO_PASSWORD);
  await page.keyboard.press("Enter");
  await page.getByText("The report is withdrawn.").waitFor();
  assert.match(await words(page, "main"), /Version 3.*withdrawn.*Version 2.*Version 1/s);
  await looksRight(page, "acts-withdrawn-phone");
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("another night is booked where it stands", async () => {
  const page = await as("thistle");
  await open(page, 0, "[data-queue] .repeat a");
  await tabTo(page, ".again form button");
  await page.keyboard.press("Enter");
  await page.getByText(/^Booked: loan L-/).waitFor();
  await looksRight(page, "acts-booked-phone");
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});
