// @ts-check
// The figures for the service: in four looks, by keyboard alone, as files, and what each role is shown.

import { test } from "node:test";
import { readFileSync } from "node:fs";
import assert from "node:assert/strict";
import { LOOKS, department, looksRight, tabTo } from "./bench.mjs";

/** The day of the demo, so that its figures are the same whenever this runs. */
const DAY = "2026-11-25";

const { as } = department(DAY, { strict: true });

const answer = (page) => page.locator(".answer").innerText();

for (const look of LOOKS) {
  test(`the figures and one monitor's chart are sound: ${look.name}`, async () => {
    const page = await as("thistle", look);
    await page.goto("/service");
    await looksRight(page, `service-${look.name}`);
    for (const fold of await page.locator("details:not(.self) > summary").all()) await fold.click();
    await looksRight(page, `service-open-${look.name}`);
    const slim = look.viewport.width < 700;
    assert.equal(await page.locator(".plot > svg.slim").first().isVisible(), slim);
    assert.equal(await page.locator(".plot > svg.broad").first().isVisible(), !slim);
    await page.goto("/service/monitors/3");
    await looksRight(page, `service-monitor-${look.name}`);
    assert.deepEqual(page.wrong, []);
    await page.context().close();
  });
}

test("no words of a plot lie on each other or outside it", async () => {
  for (const look of [LOOKS[0], LOOKS[2]]) {
    const page = await as("thistle", look);
    for (const path of ["/service", "/service/monitors/3", "/service/monitors/6", "/service?from=2026-11-20&to=2026-11-25"]) {
      await page.goto(path);
      const wrong = await page.evaluate(() =>
        [...document.querySelectorAll(".plot > svg")].filter((svg) => svg.getBoundingClientRect().width > 0).flatMap((svg) => {
          const frame = svg.getBoundingClientRect();
          const words = [...svg.querySelectorAll("text")].map((text) => ({ word: text.textContent, box: text.getBoundingClientRect() }));
          const outside = words.filter(({ box }) => box.left < frame.left || box.right > frame.right || box.bottom > frame.bottom);
          const upon = words.filter(({ box: a }, at) => words.some(({ box: b }, other) => other > at && a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 4 && b.top < a.bottom - 4));
          return [...outside, ...upon].map(({ word }) => `${svg.id || svg.getAttribute("aria-labelledby")}: ${word}`);
        }),
      );
      assert.deepEqual(wrong, [], `${path} ${look.name}`);
    }
    await page.context().close();
  }
});

test("by keyboard alone: other days are shown, the monitor that stands out is found, its checks are fetched", async () => {
  const page = await as("thistle");
  await page.goto("/");
  await tabTo(page, "nav a[href='/service']");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/service");
  const before = await answer(page);
  await tabTo(page, "input[name=from]");
  await page.keyboard.type("10012026");
  await tabTo(page, "main form button");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/service?from=2026-10-01&to=2026-11-25");
  assert.notEqual(await answer(page), before);
  await tabTo(page, ".care a");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/service/monitors/*?from=2026-10-01&to=2026-11-25");
  assert.match(await answer(page), /outside the limits|further off/);
  await tabTo(page, "a[href*='gas-checks.csv']");
  const [file] = await Promise.all([page.waitForEvent("download"), page.keyboard.press("Enter")]);
  assert.match(file.suggestedFilename(), /^gas-checks-M-\d{4}-\w-2026-10-01-2026-11-25\.csv$/);
  const lines = readFileSync(await file.path(), "utf8").trimEnd().split("\r\n");
  assert.match(lines[0], /off \(kPa\)/);
  assert.equal(lines.length - 1, await page.locator("table.figures").first().locator("tbody tr").count());
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("every table has its file", async () => {
  const page = await as("quill");
  await page.goto("/service");
  const files = await page.locator("a[href*='.csv']").evaluateAll((links) => links.map((link) => link.getAttribute("href")));
  assert.equal(files.length, 5);
  for (const path of files) {
    const answer = await page.request.get(path);
    assert.match(answer.headers()["content-type"], /^text\/csv/);
    assert.ok((await answer.text()).split("\r\n").length > 2, path);
  }
  await page.context().close();
});

test("days that are none are told at the form, and the page works without scripts", async () => {
  const page = await as("thistle", LOOKS[0], { javaScriptEnabled: false });
  await page.goto("/service?from=2026-11-20&to=2026-11-10");
  await page.getByRole("alert").getByText("The last day lies before the first.").waitFor();
  assert.equal(await page.locator(".plot > svg.broad").count(), 5);
  await page.context().close();
});

test("who sees no results is not told how many nights must be repeated", async () => {
  for (const login of ["pillow", "ledger", "keys", "quill"]) {
    const sees = login === "quill";
    const page = await as(login);
    await page.goto("/service");
    assert.equal(await page.getByRole("heading", { name: "Nights to be repeated" }).count(), sees ? 1 : 0, login);
    assert.equal((await page.goto("/service/repeats.csv").catch(() => null))?.status() === 403, !sees, login);
    await page.context().close();
  }
});
