// @ts-check
// A server on a made record, a browser, and the looks every page is held to.

import { after, before } from "node:test";
import { execFileSync, spawn } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createRequire } from "node:module";
import assert from "node:assert/strict";
import { chromium } from "playwright-core";

const require = createRequire(import.meta.url);
const AXE = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const SHOTS = process.env.SHOTS ?? "shots";

/** A password no list has. Everybody of the tests has it. */
export const PASSWORD = "seven quiet lanterns";

/** Widths, schemes and what they are called. */
export const LOOKS = [
  { name: "desk-light", colorScheme: "light", viewport: { width: 1280, height: 800 } },
  { name: "desk-dark", colorScheme: "dark", viewport: { width: 1280, height: 800 } },
  { name: "phone-light", colorScheme: "light", viewport: { width: 390, height: 844 } },
  { name: "phone-dark", colorScheme: "dark", viewport: { width: 390, height: 844 } },
];

/** Starts the program; gives its address, the first administrator's link if there is one, and how it ends. */
async function start(args) {
  const program = spawn(process.env.MATINS ?? "matins", ["--no-color", ...args]);
  let said = "";
  const ready = new Promise((resolve, reject) => {
    program.stderr.on("data", (piece) => {
      said += piece;
      const at = said.match(/workbench is at (http:\S+),/)?.[1];
      if (at) setTimeout(() => resolve({ at, first: said.match(/http:\S+\/first\/\w+/)?.[0] }), 200);
    });
    program.on("exit", () => reject(new Error(`the server ended: ${said}`)));
  });
  const { at, first } = await ready;
  const end = () => new Promise((resolve) => program.on("exit", resolve) && program.kill("SIGTERM"));
  /** Ends it as a power cut would. */
  const kill = () => new Promise((resolve) => program.on("exit", resolve) && program.kill("SIGKILL"));
  return { at, first, end, kill, said: () => said };
}

/** Starts `matins serve` on a record. */
export const serve = (data, ...more) => start(["serve", "--data", data, "--listen", "127.0.0.1:0", ...more]);

/** Everybody's password in the demo. */
export const DEMO_PASSWORD = "lullaby-lane-42";

/** A browser without a screen. */
export function chromiumHere() {
  return chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
}

/** The invented department on the day given, in a folder of its own, and a browser. */
export async function demo(day) {
  const folder = mkdtempSync(join(tmpdir(), "matins-demo-"));
  const data = join(folder, "demo");
  cpSync(await made(day), data, { recursive: true });
  const server = await start(["demo", "--data", data, "--listen", "127.0.0.1:0", "--no-open"]);
  const browser = await chromiumHere();
  return { server, browser, data, clear: () => rmSync(folder, { recursive: true, force: true }) };
}

/** The department as it was made, once for all files of tests: making it takes longer than most of them. */
async function made(day) {
  const data = join(String(process.env.DEMOS), day);
  if (!existsSync(data)) {
    const server = await start(["demo", "--data", data, "--day", day, "--listen", "127.0.0.1:0", "--no-open"]);
    await server.end();
  }
  return data;
}

/** Yesterday, so that the true clock is the demo's next morning. */
export const YESTERDAY = new Date(Date.now() - 86_400_000).toISOString().slice(0, 10);

/**
 * The invented department for the tests of one file: `d` is filled before them and cleared after them, `as` opens a
 * page on which somebody is logged in. Scripts that break, and what the console calls an error where `strict` says
 * so, are gathered in `page.wrong`.
 */
export function department(day, { strict = false, usual = LOOKS[0] } = {}) {
  /** @type {any} */
  const d = {};
  before(async () => Object.assign(d, await demo(day)));
  after(async () => {
    await d.browser.close();
    await d.server.end();
    d.clear();
  });
  const as = async (login, look = usual, more = {}) => {
    const context = await d.browser.newContext({ colorScheme: look.colorScheme, viewport: look.viewport, baseURL: d.server.at, ...more });
    const page = await context.newPage();
    page.wrong = [];
    page.on("pageerror", (error) => page.wrong.push(String(error)));
    if (strict) page.on("console", (said) => said.type() === "error" && page.wrong.push(said.text()));
    await logIn(page, d.server.at, login, DEMO_PASSWORD);
    return page;
  };
  return { d, as };
}

/** The record of each server, by its address. */
const RECORDS = new Map();

/** A fresh record, its server and a browser; an administrator who can log in. */
export async function bench() {
  const folder = mkdtempSync(join(tmpdir(), "matins-browser-"));
  const server = await serve(join(folder, "record"));
  RECORDS.set(server.at, join(folder, "record"));
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
  const page = await browser.newPage();
  await page.goto(String(server.first));
  await page.locator("main").getByLabel("Password", { exact: true }).fill(PASSWORD);
  await page.getByLabel("Password once more").fill(PASSWORD);
  await page.keyboard.press("Enter");
  await page.waitForURL("**/login");
  await page.close();
  const end = async () => {
    await browser.close();
    await server.end();
    rmSync(folder, { recursive: true, force: true });
  };
  return { server, browser, at: server.at, end };
}

/** Logs in on a page that shows the login, or opens it. */
export async function logIn(page, at, login, password = PASSWORD) {
  const asked = page.url().startsWith(at) && (await page.locator("#login-password").isVisible());
  if (!asked) await page.goto(`${at}/login`);
  await page.locator("main").getByLabel("Login", { exact: true }).fill(login);
  await page.locator("main").getByLabel("Password", { exact: true }).fill(password);
  await Promise.all([page.waitForEvent("load"), page.keyboard.press("Enter")]);
}

/**
 * Makes an account as the administrator on `page`, and sets its password by its link. One that wants a second person
 * is made on the server, as where there is nobody yet.
 */
export async function makeAccount(page, at, login, name, role) {
  await page.goto(`${at}/accounts/new`);
  await page.locator("main").getByLabel("Name").fill(name);
  await page.locator("main").getByLabel("Login").fill(login);
  await page.getByLabel(new RegExp(`^${role}:`)).check();
  await page.getByRole("button", { name: "Make the account" }).click();
  // As the script completes it.
  let link = await page.locator("[data-own-link]", { hasText: /^http/ }).textContent();
  if (role !== "Desk") {
    const said = execFileSync(process.env.MATINS ?? "matins", ["link", login, "--data", RECORDS.get(at)]);
    link = `${at}${String(said).match(/\/first\/\w+/)?.[0]}`;
  }
  await setFirst(page, link);
}

/** Sets the password by a one-time link, in a browser of its own. */
export async function setFirst(page, link) {
  const other = await page.context().browser().newPage();
  await other.goto(String(link));
  await other.getByLabel("Password", { exact: true }).fill(PASSWORD);
  await other.getByLabel("Password once more").fill(PASSWORD);
  await other.keyboard.press("Enter");
  await other.waitForURL("**/login");
  await other.close();
}

/** No violation by axe of WCAG 2.2 A and AA and its best practices; nothing scrolls sideways; a picture of it. */
export async function looksRight(page, name) {
  mkdirSync(SHOTS, { recursive: true });
  await page.screenshot({ path: join(SHOTS, `${name}.png`), fullPage: true });
  // Run as the browser's own tool, which the page's policy does not bind.
  const session = await page.context().newCDPSession(page);
  await session.send("Runtime.evaluate", { expression: AXE });
  const run = await session.send("Runtime.evaluate", { expression: "axe.run().then((found) => found.violations.map((one) => `${one.id}: ${one.help} (${one.nodes.map((node) => node.html).slice(0, 3).join(' | ')})`))", awaitPromise: true, returnByValue: true });
  await session.detach();
  assert.deepEqual(run.result.value, [], name);
  const sideways = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(sideways <= 0, `${name} scrolls sideways by ${sideways} px`);
  const small = await page.evaluate(() =>
    [...document.querySelectorAll("button, .button, input:not([type=hidden]), select, summary, nav a")]
      .map((one) => ({ one, box: one.getBoundingClientRect() }))
      .filter(({ box }) => box.width > 0 && (box.height < 24 || box.width < 24))
      .map(({ one }) => one.outerHTML.slice(0, 120)),
  );
  assert.deepEqual(small, [], `${name}: targets smaller than 24 px (WCAG 2.2, 2.5.8)`);
  const twice = await page.evaluate(() => {
    const ids = [...document.querySelectorAll("[id]")].map((one) => one.id);
    return ids.filter((id, at) => ids.indexOf(id) !== at);
  });
  assert.deepEqual(twice, [], `${name}: ids that stand twice`);
}

/** The focused element's words, for walking a page by keyboard. */
export function focused(page) {
  return page.evaluate(() => {
    const here = document.activeElement;
    return here?.getAttribute("aria-label") ?? here?.getAttribute("name") ?? here?.textContent?.trim() ?? "";
  });
}

/** Presses Tab until the focused element fits the selector. */
export async function tabTo(page, selector) {
  for (let pressed = 0; pressed < 250; pressed += 1) {
    if (await page.evaluate((wanted) => document.activeElement?.matches(wanted), selector)) return;
    await page.keyboard.press("Tab");
  }
  assert.fail(`${selector} cannot be reached by keyboard on ${page.url()}`);
}
