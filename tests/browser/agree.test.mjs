// @ts-check
// A second reading: a sample is drawn, one night is read blind by keyboard alone, finished, and held against the first.

import { test } from "node:test";
import assert from "node:assert/strict";
import { LOOKS, YESTERDAY, department, looksRight, tabTo } from "./bench.mjs";

const { as } = department(YESTERDAY, { strict: true });

const answer = (page) => page.locator(".answer").first().textContent();

test("a sample is drawn with a seed, and who read the nights first is not offered them", async () => {
  const page = await as("thistle");
  await page.goto("/nights");
  await page.getByRole("link", { name: "How the readers agree" }).click();
  await page.waitForURL("**/agreement");
  assert.match(String(await answer(page)), /^\d+ nights were read by two readers/);
  await page.getByLabel("How many nights").fill("3");
  await page.getByLabel("Seed").fill("lullaby lane");
  await page.getByRole("button", { name: "Draw a sample" }).click();
  await page.getByText("3 nights were chosen for a second reading.").waitFor();
  await page.goto("/second");
  assert.match(String(await answer(page)), /No second reading waits for you/);
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("by keyboard alone: a night is read blind, a stretch excluded and undone, and the reading finished", async () => {
  const page = await as("bracken");
  await page.goto("/agreement");
  const before = Number(String(await answer(page)).match(/^\d+/)?.[0]);
  await page.goto("/second");
  await tabTo(page, ".seconds button");
  await page.keyboard.press("Enter");
  await page.waitForURL(/\/second\/\d+$/);
  const second = page.url();
  await page.locator("[data-ready]").waitFor();
  await tabTo(page, "[data-strip]");
  for (const key of ["+", "+", "ArrowRight"]) await page.keyboard.press(key);
  for (let pressed = 0; pressed < 12; pressed += 1) await page.keyboard.press("Shift+ArrowRight");
  await page.keyboard.press("x");
  await page.keyboard.type("lay on the sensor");
  await page.keyboard.press("Enter");
  const judged = page.getByText("excluded by Bryony Bracken");
  await judged.first().waitFor();
  await page.waitForFunction(() => document.querySelector("[data-told]")?.textContent?.startsWith("Saved."));
  await tabTo(page, "[data-strip]");
  await page.keyboard.press("Control+z");
  await judged.first().waitFor({ state: "detached" });
  await tabTo(page, "[data-strip]");
  await page.keyboard.press("Control+y");
  await judged.first().waitFor();
  assert.equal(await page.getByText("Ansel Thistlewood").count(), 0, "the first reader is not named");
  await tabTo(page, "#sure, [name=sure]");
  await page.keyboard.press("Space");
  await tabTo(page, "form[action$='/finish'] button");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/agreement");
  assert.equal(Number(String(await answer(page)).match(/^\d+/)?.[0]), before + 1);
  assert.equal(await page.locator("figure.plot").count(), 5, "a plot for each figure that both give");
  assert.equal(await page.getByText("upper limit").count() > 0, true);
  await page.goto(second);
  assert.equal(await page.locator("[data-judge]").count(), 0, "a finished reading is not changed");
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("who has begun is refused the first reading until it is over", async () => {
  const page = await as("bracken");
  await page.goto("/second");
  await page.getByRole("button", { name: "Read it blind" }).first().click();
  await page.waitForURL(/\/second\/\d+$/);
  await page.locator("[data-ready]").waitFor();
  const own = await page.locator("main h1").textContent();
  await page.goto("/nights");
  assert.equal(await page.locator("main a", { hasText: String(own) }).count(), 0, "the list tells nothing of it");
  await page.goto("/second");
  await page.getByRole("link", { name: "Read on" }).click();
  await page.locator("[data-ready]").waitFor();
  await page.getByLabel("Why it is withdrawn").fill("I knew the patient");
  await page.getByRole("button", { name: "Withdraw it" }).click();
  await page.waitForURL("**/second");
  await page.goto("/agreement");
  await page.getByText("1 withdrawn").waitFor();
  await page.context().close();
});

test("the figures come as files", async () => {
  const page = await as("quill");
  await page.goto("/agreement");
  assert.equal(await page.getByRole("button", { name: "Draw a sample" }).count(), 0);
  for (const [link, name] of [["Verdicts of both readers", "agreement-pairs.csv"], ["Figures, second reader less first", "agreement-figures.csv"]]) {
    const [file] = await Promise.all([page.waitForEvent("download"), page.getByRole("link", { name: link }).click()]);
    assert.equal(file.suggestedFilename(), name);
  }
  await page.context().close();
});

for (const look of LOOKS) {
  test(`the pages are sound: ${look.name}`, async () => {
    const page = await as("bracken", look);
    await page.goto("/agreement");
    await looksRight(page, `agreement-${look.name}`);
    await page.goto("/second");
    await looksRight(page, `second-list-${look.name}`);
    const on = page.getByRole("link", { name: "Read on" });
    if (await on.count()) await on.first().click();
    else await page.getByRole("button", { name: "Read it blind" }).first().click();
    await page.locator("[data-ready]").waitFor();
    await page.waitForTimeout(300);
    await looksRight(page, `second-${look.name}`);
    assert.deepEqual(page.wrong, []);
    await page.context().close();
  });
}
