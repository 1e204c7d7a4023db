// @ts-check
// The desk on the invented department: a monitor goes out, comes back next morning, and every step is in the record.

import { test } from "node:test";
import { readdirSync } from "node:fs";
import { join } from "node:path";
import assert from "node:assert/strict";
import { LOOKS, YESTERDAY, department, looksRight, serve, tabTo } from "./bench.mjs";

const { d, as } = department(YESTERDAY);

/** Ticks by keyboard the first `count` boxes of a group, one after the other from where the focus is. */
async function tick(page, name, count) {
  await tabTo(page, `input[name=${name}]`);
  for (let at = 0; at < count; at += 1) {
    await page.keyboard.press("Space");
    if (at + 1 < count) await page.keyboard.press("Tab");
  }
}

const PAGES = {
  morning: "/morning", calendar: "/calendar", people: "/people", person: "/people/3", "person-new": "/people/new", refer: "/people/3/refer",
  loan: "/loans/1", monitors: "/monitors", monitor: "/monitors/4", back: "/monitors/1",
  "monitor-new": "/monitors/new", lots: "/lots", receive: "/receive",
};

/** The pages of loans that stand at a certain place this morning. */
async function ofTheMorning(page) {
  await page.goto("/morning");
  const link = (what, within) => page.locator("tr", { hasText: within }).locator(`a[href*='${what}']`).first().getAttribute("href");
  return {
    late: await link("/loans/", "write to the borrower"),
    "hand-out": await link("/hand-out", "Hand out"),
    diary: `${await link("/loans/", "NIGHTCAP")}/diary`,
  };
}

for (const look of LOOKS) {
  test(`every page of the desk is sound: ${look.name}`, async () => {
    const page = await as("pillow", look);
    for (const [name, path] of Object.entries({ ...PAGES, ...(await ofTheMorning(page)) })) {
      const answer = await page.goto(path);
      assert.equal(answer?.status(), 200, path);
      await looksRight(page, `desk-${name}-${look.name}`);
    }
    await page.context().close();
  });
}

let loan = "";

test("a monitor is handed out by keyboard alone, and not before everything is told", async () => {
  const page = await as("pillow");
  await page.goto("/morning");
  await tabTo(page, "#tonight ~ * a[href$='/hand-out']");
  loan = (await page.evaluate(() => document.activeElement?.getAttribute("href")))?.replace("/hand-out", "") ?? "";
  await page.keyboard.press("Enter");
  await page.waitForURL("**/hand-out");
  await tick(page, "identified_by", 2);
  await tick(page, "parts", 6);
  await tick(page, "fitting_shown", 1);
  await tick(page, "agreement_signed", 1);
  await tabTo(page, "main button[type=submit]");
  await page.keyboard.press("Enter");
  await page.getByText("The warning about the warm sensor has not been given").first().waitFor();
  await looksRight(page, "desk-hand-out-refused");
  assert.equal(await page.locator("input[name=parts]:checked").count(), 6, "what was ticked is kept");
  await page.locator("input[name=takes_off][value=patient]").focus();
  await page.keyboard.press("Space");
  await tick(page, "burn_warning_told", 1);
  await tabTo(page, "main button[type=submit]");
  await page.keyboard.press("Enter");
  await page.getByText("is out. Due back").waitFor();
  await page.context().close();
});

test("another desk's page sees it at once", async () => {
  const watching = await as("pillow");
  await watching.goto("/monitors");
  const acting = await as("pillow");
  await acting.goto("/monitors/5");
  const held = watching.locator("tr", { hasText: "M-0005" }).getByText("held");
  assert.equal(await held.isVisible(), false);
  await acting.getByText("Hold, release, repair").click();
  await acting.getByLabel("hold it").check();
  await acting.locator("form[action$='/move'] [name=reason]").fill("looks worn");
  await acting.getByRole("button", { name: "Do it" }).click();
  await held.waitFor({ timeout: 10_000 });
  await watching.context().close();
  await acting.context().close();
});

test("next morning it comes back, its night is taken off, and every step is found", async () => {
  await d.server.end();
  d.server = await serve(join(d.data, "record"));
  const page = await as("pillow");
  await page.goto(`${loan}/take-back`);
  await tabTo(page, "select[name=place]");
  await page.keyboard.press("ArrowDown");
  await tabTo(page, "input[name=skin]");
  await page.keyboard.press("Space");
  await tabTo(page, "input[name=condition]");
  await page.keyboard.press("Space");
  await tabTo(page, "main button[type=submit]");
  await page.keyboard.press("Enter");
  await page.getByText("Taken back.").waitFor();
  await page.goto(loan);
  const steps = await page.locator("main ol.rows").last().innerText();
  for (const step of ["booked by pillow", "set aside", "handed out", "handed in at"]) assert.match(steps, new RegExp(step));

  const file = readdirSync(join(d.data, "on-the-monitors")).sort()[0];
  await page.goto("/receive?monitor=1");
  await page.setInputFiles("input[type=file]", join(d.data, "on-the-monitors", file));
  await page.getByRole("button", { name: "Take it in" }).click();
  await page.getByText("every night in it found its loan").waitFor();
  await looksRight(page, "desk-received");
  await page.goto("/receive?monitor=1");
  await page.setInputFiles("input[type=file]", join(d.data, "on-the-monitors", file));
  await page.getByRole("button", { name: "Take it in" }).click();
  await page.getByText("This very file is in the record already").waitFor();
  await page.context().close();

  const governance = await as("ledger");
  await governance.goto("/audit");
  const acts = await governance.locator("main").innerText();
  for (const act of ["loan.take_back", "night.receive"]) assert.ok(acts.includes(act), act);
  await governance.context().close();
});

test("a misread mark is told, a right one leads to its thing", async () => {
  const page = await as("pillow");
  await page.locator("#scan").fill("m-0002-w");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/monitors/2");
  await page.locator("#scan").fill("M-0002-X");
  await page.keyboard.press("Enter");
  await page.getByText("read it again").waitFor();
  await page.context().close();
});

test("the desk finds no audit and the administrator no patient", async () => {
  const keys = await as("keys");
  assert.equal((await keys.goto("/people/1"))?.status(), 403);
  await keys.context().close();
  const pillow = await as("pillow");
  assert.equal((await pillow.goto("/audit"))?.status(), 403);
  await pillow.context().close();
});
