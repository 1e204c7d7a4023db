// @ts-check
// Reading a night: the list, the strip, judging by hand and by keyboard alone, two readers at once, signing.

import { test } from "node:test";
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import { cpSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { DEMO_PASSWORD, LOOKS, YESTERDAY, department, logIn, looksRight, serve, tabTo } from "./bench.mjs";

/** Reports as they were signed. */
const signed = [];

const { d, as } = department(YESTERDAY);

/** Addresses of the nights that wait, in their order. */
async function waiting(page) {
  await page.goto("/nights");
  return page.locator("[data-queue] a").evaluateAll((links) => links.map((link) => link.getAttribute("href")));
}

async function open(page, path) {
  await page.goto(path);
  await page.locator("[data-ready]").waitFor();
}

const told = (page) => page.locator("[data-told]").textContent();

for (const look of LOOKS) {
  test(`the list, the night and its report are sound: ${look.name}`, async () => {
    const page = await as("thistle", look);
    const [first] = await waiting(page);
    await looksRight(page, `nights-${look.name}`);
    await open(page, first);
    await page.locator("[data-rule]:not(:disabled)").first().click();
    await page.waitForTimeout(300);
    await looksRight(page, `night-${look.name}`);
    await page.goto(`${first}/report`);
    await looksRight(page, `night-report-${look.name}`);
    assert.deepEqual(page.wrong, []);
    await page.context().close();
  });
}

test("n and p walk the list while the focus is in it, and can be switched off", async () => {
  const page = await as("thistle");
  await waiting(page);
  const links = page.locator("[data-queue] a");
  await links.first().focus();
  await page.keyboard.press("n");
  assert.ok(await links.nth(1).evaluate((link) => link === document.activeElement));
  await page.keyboard.press("p");
  assert.ok(await links.first().evaluate((link) => link === document.activeElement));
  await page.locator("[data-keys]").uncheck();
  await links.first().focus();
  await page.keyboard.press("n");
  assert.ok(await links.first().evaluate((link) => link === document.activeElement));
  await page.context().close();
});

test("by keyboard alone: a stretch is excluded, figures change, it is undone, the night is signed", async () => {
  const page = await as("thistle");
  const [, night] = await waiting(page);
  await open(page, night);
  const count = () => page.locator("[data-spans] li").count();
  const before = await count();
  await tabTo(page, "[data-strip]");
  for (const key of ["+", "+", "ArrowRight"]) await page.keyboard.press(key);
  for (let pressed = 0; pressed < 12; pressed += 1) await page.keyboard.press("Shift+ArrowRight");
  assert.match(String(await told(page)), /^Selected \d\d:\d\d:\d\d to \d\d:\d\d:\d\d\.$/);
  await page.keyboard.press("x");
  await page.keyboard.type("lay on the sensor");
  await page.keyboard.press("Enter");
  await page.locator(".changes").waitFor();
  assert.match(String(await told(page)), /^Saved\. /);
  assert.ok((await count()) >= before);
  assert.ok(await page.locator(".numbers .was").first().isVisible());
  assert.match(String(await page.locator(".hand .spans").first().textContent()), /lay on the sensor/);
  await looksRight(page, "night-excluded");
  // The focus stayed in the form; undo stands before it.
  for (let back = 0; back < 12 && !(await page.evaluate(() => document.activeElement?.matches("[data-undo]"))); back += 1) {
    await page.keyboard.press("Shift+Tab");
  }
  await page.keyboard.press("Enter");
  await page.locator("[data-redo]:not(:disabled)").waitFor();
  assert.equal(await page.locator(".hand .spans").count(), 0);
  assert.equal(await count(), before);
  await tabTo(page, "a[href$='/report']");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/report");
  await tabTo(page, "textarea");
  await page.keyboard.type("Read whole.");
  await tabTo(page, "input[name=password]");
  await page.keyboard.type("not my password");
  await page.keyboard.press("Enter");
  await page.getByText("The password is wrong.").first().waitFor();
  assert.equal(await page.locator("textarea").inputValue(), "Read whole.");
  await tabTo(page, "input[name=password]");
  await page.keyboard.type(DEMO_PASSWORD);
  await page.keyboard.press("Enter");
  await page.waitForURL("**/nights");
  await page.getByText(/Signed: version 1/).waitFor();
  assert.ok(!(await waiting(page)).includes(night));
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("a physician interprets what was signed; the desk never sees it", async () => {
  const page = await as("quill");
  await page.goto("/nights");
  await page.locator("section[aria-labelledby=signed] a").first().click();
  await page.getByRole("textbox", { name: "Interpretation" }).fill("As expected; seen in clinic in spring.");
  await page.getByLabel("Your password, to sign").fill(DEMO_PASSWORD);
  const night = Number(page.url().match(/nights\/(\d+)/)?.[1]);
  await page.getByRole("button", { name: "Sign the interpretation" }).click();
  await page.getByText(/Signed: version 2/).waitFor();
  for (const version of [1, 2]) {
    signed.push({ night, version, bytes: await (await page.request.get(`/nights/${night}/reports/${version}`)).body() });
  }
  await page.context().close();
  const desk = await as("pillow");
  const answer = await desk.goto("/nights");
  assert.equal(answer?.status(), 403);
  await desk.context().close();
});

test("two readers at one night lose nothing: the second is told, and sees the first one's work", async () => {
  const [one, two] = [await as("thistle"), await as("thistle")];
  // The second page hears nothing of the first, as when its network is down for a moment.
  await two.addInitScript(() => Reflect.deleteProperty(globalThis, "SharedWorker"));
  await two.route("**/live", (route) => route.abort());
  const [night] = await waiting(one);
  await open(one, night);
  await open(two, night);
  const exclude = async (page, reason) => {
    await page.locator("#judge-spo2").check();
    await page.locator("#judge-from").fill("02:00");
    await page.locator("#judge-until").fill("02:05");
    await page.locator("#judge-reason").fill(reason);
    await page.getByRole("button", { name: "Exclude", exact: true }).click();
  };
  await exclude(one, "the first reader");
  await one.locator(".hand .spans").waitFor();
  await exclude(two, "the second reader");
  await two.locator(".hand [data-wrong]").waitFor();
  assert.match(String(await two.locator(".hand [data-wrong]").textContent()), /changed by somebody else/);
  await open(two, night);
  await exclude(two, "the second reader");
  await two.getByText(/the second reader/).first().waitFor();
  assert.match(String(await two.locator(".hand .spans").textContent()), /the first reader.*the second reader/s);
  await one.context().close();
  await two.context().close();
});

test("a night that another reader changes follows by itself, and never takes away what is typed", async () => {
  const [one, two] = [await as("thistle"), await as("thistle")];
  const [, night] = await waiting(one);
  await open(one, night);
  await open(two, night);
  const exclude = async (page, from, until) => {
    await page.locator("#judge-spo2").check();
    await page.locator("#judge-from").fill(from);
    await page.locator("#judge-until").fill(until);
    await page.locator("#judge-reason").fill("lay on it");
    await page.getByRole("button", { name: "Exclude", exact: true }).click();
  };
  await exclude(one, "02:00", "02:05");
  await two.locator(".hand .spans li").waitFor();
  await two.locator("[data-told]", { hasText: "Somebody else changed this night" }).waitFor({ state: "attached" });
  await two.locator("#judge-reason").fill("half a sente");
  await exclude(one, "03:00", "03:05");
  await two.locator("[data-others]").waitFor({ timeout: 10_000 });
  assert.equal(await two.locator("#judge-reason").inputValue(), "half a sente");
  assert.equal(await two.locator(".hand .spans li").count(), 1);
  await looksRight(two, "night-others");
  await two.getByRole("button", { name: "Show it" }).click();
  await two.locator(".hand .spans li").nth(1).waitFor();
  assert.deepEqual(two.wrong, []);
  await one.context().close();
  await two.context().close();
});

test("from the whole night to ten seconds and back, by wheel, drag and keys", async () => {
  const page = await as("thistle");
  const [night] = await waiting(page);
  await open(page, night);
  const box = await page.locator("[data-strip]").boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + 200);
  for (let turned = 0; turned < 40; turned += 1) await page.mouse.wheel(0, -200);
  await page.waitForTimeout(500);
  const axis = async () => page.locator("[data-cursor]").textContent();
  assert.match(String(await axis()), /^\d\d:\d\d:\d\d · SpO2/);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 + 200, box.y + 200, { steps: 5 });
  await page.mouse.up();
  await page.locator("[data-strip]").focus();
  await page.keyboard.press("Home");
  await page.keyboard.press("Escape");
  // Two clicks select, without dragging.
  await page.mouse.click(box.x + 300, box.y + 120);
  await page.mouse.click(box.x + 420, box.y + 120);
  assert.match(await page.locator("#judge-from").inputValue(), /^\d\d:\d\d:\d\d$/);
  assert.ok(await page.locator("#judge-spo2").isChecked());
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("a night whose session is over breaks no script, and is drawn again when its reader is back", async () => {
  const page = await as("thistle");
  const [night] = await waiting(page);
  await open(page, night);
  await page.context().clearCookies();
  await page.locator("[data-do=in]").click();
  await page.locator("#again[open]").waitFor();
  await page.waitForFunction(() => document.querySelector("[data-strip]")?.clientWidth === 0);
  await page.waitForTimeout(500);
  await page.locator("#again [name=password]").fill(DEMO_PASSWORD);
  await page.keyboard.press("Enter");
  await page.locator("#again").waitFor({ state: "hidden" });
  await page.waitForFunction(() => {
    const lane = document.querySelector("[data-strip] [data-lane=spo2]");
    return lane instanceof HTMLCanvasElement && lane.width > 300;
  });
  assert.deepEqual(page.wrong, []);
  await page.context().close();
});

test("every signed report is made again by the command, byte for byte", () => {
  // On a copy: the command lives on the true clock, and the demo on its own.
  cpSync(join(d.data, "record"), join(d.data, "copy"), { recursive: true });
  assert.equal(signed.length, 2);
  for (const { night, version, bytes } of signed) {
    const out = join(d.data, `${version}.pdf`);
    const args = ["report", "--data", join(d.data, "copy"), "--night", `${night}`, "--version", `${version}`, "-o", out];
    const said = spawnSync(String(process.env.MATINS), args);
    assert.equal(said.status, 0, String(said.stderr));
    assert.ok(bytes.equals(readFileSync(out)), `version ${version} differs`);
  }
});

test("a killed server loses no acknowledged edit", async () => {
  const record = join(d.data, "killed");
  cpSync(join(d.data, "record"), record, { recursive: true });
  const first = await serve(record);
  const page = await (await d.browser.newContext({ baseURL: first.at })).newPage();
  await logIn(page, first.at, "thistle", DEMO_PASSWORD);
  const night = (await waiting(page)).at(-1);
  await open(page, night);
  await page.locator("#judge-pulse").check();
  await page.locator("#judge-from").fill("04:00");
  await page.locator("#judge-until").fill("04:07");
  await page.locator("#judge-reason").fill("just before the power cut");
  await page.getByRole("button", { name: "Exclude", exact: true }).click();
  await page.getByText(/^Saved\. /).waitFor({ state: "attached" });
  await first.kill();
  const second = await serve(record);
  // The session is in the record too: it holds at the server that was started again.
  await page.goto(`${second.at}${night}`);
  assert.match(String(await page.locator(".hand .spans").innerText()), /just before the power cut/);
  await page.context().close();
  await second.end();
  const checked = spawnSync(String(process.env.MATINS), ["verify", "--data", record]);
  assert.equal(checked.status, 0, String(checked.stderr));
});
