// @ts-check
// Two nights of one person beside each other: chosen by keyboard alone, drawn over each other, in a table.

import { test } from "node:test";
import assert from "node:assert/strict";
import { LOOKS, YESTERDAY, department, looksRight, tabTo } from "./bench.mjs";

const { as } = department(YESTERDAY, { strict: true });

/** The person of the demo with a night without the ventilator and one with it, by way of the list of nights. */
async function comparing(page) {
  await page.goto("/nights");
  await page.locator("[data-queue] a", { hasText: "HAMMOCK" }).first().click();
  await page.waitForURL("**/nights/*");
  return page.getByRole("link", { name: "Compare" }).getAttribute("href");
}

test("by keyboard alone: two nights are chosen, lie over each other and stand in a table", async () => {
  const page = await as("thistle");
  await page.goto(String(await comparing(page)));
  const night = page.locator("#side-A");
  const chosen = await night.inputValue();
  assert.notEqual(chosen, await page.locator("#side-B").inputValue(), "the night before or after it is proposed");
  await tabTo(page, "#side-A");
  for (const key of ["Home", "ArrowDown"]) await page.keyboard.press(key);
  await tabTo(page, "#side-B");
  for (const key of ["Home", "ArrowDown", "ArrowDown"]) await page.keyboard.press(key);
  assert.notEqual(await night.inputValue(), await page.locator("#side-B").inputValue());
  await tabTo(page, "#axis-clock");
  await page.keyboard.press("ArrowRight");
  await tabTo(page, ".choose .acts button");
  await page.keyboard.press("Enter");
  await page.waitForURL(/compare\?side=\d+&side=\d+&axis=lights$/);
  const over = page.getByRole("region", { name: "Drawing of the nights over each other" });
  assert.equal(await over.locator(".middle.m0").count(), 3, "three channels of A");
  assert.equal(await over.locator(".middle.m1").count(), 3, "three channels of B");
  const dash = (line) => over.locator(line).first().evaluate((one) => getComputedStyle(one).strokeDasharray);
  assert.notEqual(await dash(".middle.m0"), await dash(".middle.m1"), "told by the form of the line");
  assert.deepEqual(await over.locator(".end").allTextContents().then((all) => [...new Set(all)].sort()), ["A", "B"]);
  const table = page.getByRole("region", { name: "Table of figures" });
  const row = (name) => table.getByRole("row", { name: new RegExp(`^${name} `) });
  assert.match(String(await row("Mean SpO2").textContent()), /lewis-2003/);
  assert.match(String(await row("Mean CO2").textContent()), /no published figure found/);
  assert.match(String(await page.locator(".warned").textContent()), /What was breathed differs/);
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("the figures come as a file", async () => {
  const page = await as("quill");
  await page.goto(String(await comparing(page)));
  await page.getByRole("button", { name: "Lay side by side" }).click();
  const [file] = await Promise.all([page.waitForEvent("download"), page.getByRole("link", { name: "The figures as CSV" }).click()]);
  assert.match(file.suggestedFilename(), /^nights-\d+-\d+\.csv$/);
  await page.context().close();
});

for (const look of LOOKS) {
  test(`choosing and comparing are sound: ${look.name}`, async () => {
    const page = await as("thistle", look);
    await page.goto(String(await comparing(page)));
    await looksRight(page, `compare-choose-${look.name}`);
    await page.getByRole("button", { name: "Lay side by side" }).click();
    await page.waitForURL(/axis=clock$/);
    await looksRight(page, `compare-${look.name}`);
    const own = new URL(page.url()).searchParams.getAll("side");
    await page.goto(`${new URL(page.url()).pathname}?${[...own, `${own[0]}@adult-ventilation`, `${own[1]}@adult-air`].map((side) => `side=${side}`).join("&")}`);
    await looksRight(page, `compare-four-${look.name}`);
    assert.deepEqual(page.wrong, []);
    await page.context().close();
  });
}

test("the desk is not offered it and is refused it", async () => {
  const reader = await as("thistle");
  const path = String(await comparing(reader)).split("?")[0];
  await reader.context().close();
  const desk = await as("pillow");
  await desk.goto(path.replace("/compare", ""));
  assert.equal(await desk.getByRole("link", { name: "Compare nights" }).count(), 0);
  const answer = await desk.goto(path);
  assert.equal(answer?.status(), 403);
  await desk.context().close();
});
