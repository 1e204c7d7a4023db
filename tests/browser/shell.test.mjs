// @ts-check
// The shell: logging in, accounts, the audit, the end of a session; by keyboard, in four looks.

import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { LOOKS, PASSWORD, bench, focused, logIn, looksRight, makeAccount, setFirst } from "./bench.mjs";

/** @type {any} */
let b;

before(async () => {
  b = await bench();
  const page = await b.browser.newPage();
  await logIn(page, b.at, "administrator");
  await makeAccount(page, b.at, "gov", "Greta Goosedown", "Governance");
  await makeAccount(page, b.at, "desk", "Dora Bolster", "Desk");
  await page.close();
});

after(() => b.end());

async function as(login, look = LOOKS[0]) {
  const context = await b.browser.newContext({ colorScheme: look.colorScheme, viewport: look.viewport, baseURL: b.at });
  const page = await context.newPage();
  const wrong = [];
  page.on("console", (line) => line.type() === "error" && !line.text().includes("Failed to load resource") && wrong.push(line.text()));
  page.on("pageerror", (error) => wrong.push(String(error)));
  page.wrong = wrong;
  if (login) await logIn(page, b.at, login);
  return page;
}

const PAGES = {
  nobody: { login: "/login", about: "/about", "not-here": "/nowhere" },
  administrator: { home: "/", accounts: "/accounts", "account-new": "/accounts/new", account: "/accounts/3", settings: "/settings", "setting-desk": "/settings/desk", password: "/password", "about-inside": "/about", forbidden: "/audit" },
  gov: { links: "/links", audit: "/audit?verb=account", "audit-none": "/audit?who=nobody" },
};

for (const look of LOOKS) {
  test(`every page is sound and in order: ${look.name}`, async () => {
    for (const [login, pages] of Object.entries(PAGES)) {
      const page = await as(login === "nobody" ? "" : login, look);
      for (const [name, path] of Object.entries(pages)) {
        await page.goto(path);
        await looksRight(page, `${name}-${look.name}`);
      }
      assert.deepEqual(page.wrong, []);
      await page.context().close();
    }
  });
}

test("a wrong password and a throttled one are told at the form, which keeps the login only", async () => {
  const page = await as("");
  await logIn(page, b.at, "nobody-at-all", "not the password");
  await page.getByText("Login or password is wrong.").waitFor();
  await looksRight(page, "login-wrong-desk-light");
  assert.equal(await page.locator("#login-login").inputValue(), "nobody-at-all");
  assert.equal(await page.locator("#login-password").inputValue(), "");
  const slowed = page.getByText(/Too many wrong tries\. Wait \d+ seconds?/);
  for (let tried = 0; tried < 12 && !(await slowed.isVisible()); tried += 1) {
    await logIn(page, b.at, "nobody-at-all", "not the password");
  }
  assert.ok(await slowed.isVisible());
  await page.context().close();
});

test("an account is made by keyboard alone", async () => {
  const page = await as("administrator");
  await page.keyboard.press("Tab");
  assert.equal(await focused(page), "To the content");
  await page.goto("/accounts");
  while ((await focused(page)) !== "New account") await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  await page.waitForURL("**/accounts/new");
  assert.equal(await focused(page), "name");
  await page.keyboard.press("Enter");
  await page.getByRole("alert").waitFor();
  assert.match(await page.evaluate(() => document.activeElement?.className ?? ""), /faults/);
  await looksRight(page, "account-new-faults-desk-light");
  await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  assert.equal(await focused(page), "name");
  await page.keyboard.type("Paul Eider");
  await page.keyboard.press("Tab");
  await page.keyboard.type("eider");
  await page.keyboard.press("Tab");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { name: "One-time link for Paul Eider" }).waitFor();
  await looksRight(page, "account-link-desk-light");
  await page.context().close();
});

test("one's own password changes, and a short or repeated-wrong one is told at its field", async () => {
  const page = await as("desk");
  await page.goto("/password");
  await page.getByLabel("Present password").fill(PASSWORD);
  await page.getByLabel("New password", { exact: true }).fill("short");
  await page.getByLabel("New password once more").fill("other");
  await page.keyboard.press("Enter");
  await page.locator(".field .fault", { hasText: "are not the same" }).waitFor();
  await page.getByLabel("Present password").fill(PASSWORD);
  await page.getByLabel("New password", { exact: true }).fill("eight quiet lanterns");
  await page.getByLabel("New password once more").fill("eight quiet lanterns");
  await page.keyboard.press("Enter");
  await page.getByRole("status").getByText("The password is changed.").waitFor();
  await looksRight(page, "home-said-desk-light");
  await page.goto("/password");
  await page.getByLabel("Present password").fill("eight quiet lanterns");
  await page.getByLabel("New password", { exact: true }).fill(PASSWORD);
  await page.getByLabel("New password once more").fill(PASSWORD);
  await page.keyboard.press("Enter");
  await page.getByRole("status").getByText("The password is changed.").waitFor();
  await page.context().close();
});

test("the end of a session is warned of, and put off by one key", async () => {
  const page = await as("desk");
  await page.clock.install();
  await page.goto("/password");
  // The browser's clock runs ahead; the server is told to agree.
  await page.route("**/session", (route) => route.fulfill({ json: { ends_in_s: 45 } }));
  await page.clock.runFor(15 * 60_000 - 50_000);
  await page.getByRole("heading", { name: "Are you still there?" }).waitFor();
  await looksRight(page, "idle-desk-light");
  const stayed = page.waitForResponse("**/session/stay");
  await page.keyboard.press("Enter");
  const holds = (await (await stayed).json()).ends_in_s;
  // A row is not written for every click: up to five seconds may be missing.
  assert.ok(holds >= 895 && holds <= 900, `${holds}`);
  assert.equal(await page.locator("#idle").evaluate((one) => one.open), false);
  await page.context().close();
});

/** Ends every session of the desk's account on the server, by a new one-time link. */
async function endSessionsOfDesk() {
  const page = await as("administrator");
  await page.goto("/accounts");
  await page.getByRole("link", { name: "Dora Bolster" }).click();
  await page.getByRole("button", { name: "Make a new one-time link" }).click();
  await setFirst(page, await page.locator("[data-own-link]", { hasText: /^http/ }).textContent());
  await page.context().close();
}

test("a form sent after the session ended waits for the password and loses nothing", async () => {
  const page = await as("desk");
  await page.clock.install();
  await page.goto("/password");
  await page.getByLabel("Present password").fill(PASSWORD);
  await page.getByLabel("New password", { exact: true }).fill("short");
  await page.getByLabel("New password once more").fill("short");
  await endSessionsOfDesk();
  await page.clock.runFor(15 * 60_000 + 5_000);
  await page.getByRole("heading", { name: "Log in to go on" }).waitFor();
  await looksRight(page, "again-desk-light");
  await page.getByLabel("Password of Dora Bolster").fill("not the password");
  await page.keyboard.press("Enter");
  await page.locator("[data-wrong]").waitFor();
  assert.equal(await page.locator("[data-wrong]").textContent(), "Login or password is wrong.");
  await page.getByLabel("Password of Dora Bolster").fill(PASSWORD);
  await page.keyboard.press("Enter");
  await page.locator("#again").waitFor({ state: "hidden" });
  assert.equal(await page.getByLabel("New password", { exact: true }).inputValue(), "short");
  await page.getByRole("button", { name: "Change the password" }).click();
  await page.locator(".field .fault", { hasText: "shorter than 12" }).waitFor();
  await page.context().close();
});

test("without script a form sent too late is kept on the page and sent after logging in", async () => {
  const context = await b.browser.newContext({ baseURL: b.at, javaScriptEnabled: false });
  const page = await context.newPage();
  await logIn(page, b.at, "administrator");
  await page.goto("/settings/phrases");
  await page.getByLabel("Text").fill("a long sentence nobody wants to type twice");
  await context.clearCookies({ name: "matins" });
  await page.getByRole("button", { name: "Save as the new version" }).click();
  await page.getByRole("heading", { name: "Log in again" }).waitFor();
  await logIn(page, b.at, "administrator");
  await page.getByRole("button", { name: "Send it now" }).click();
  await page.getByRole("status").getByText("Saved.").waitFor();
  await page.goto("/settings/phrases");
  assert.equal(await page.getByLabel("Text").inputValue(), "a long sentence nobody wants to type twice");
  await context.close();
});

test("a list that is open learns of what another person changed", async () => {
  const watching = await as("administrator");
  await watching.goto("/accounts");
  const acting = await as("administrator");
  await makeAccount(acting, b.at, "teal", "Tessa Teal", "Physician");
  await watching.getByText("Tessa Teal").waitFor();
  await watching.context().close();
  await acting.context().close();
});

test("the audit is read, asked and taken away as a file", async () => {
  const page = await as("gov");
  await page.goto("/audit");
  await page.locator("main").getByLabel("Act", { exact: true }).fill("login.failed");
  await page.keyboard.press("Enter");
  await page.getByRole("cell", { name: "login.failed" }).first().waitFor();
  const file = page.waitForEvent("download");
  await page.getByRole("link", { name: "As a file (CSV)" }).click();
  assert.equal((await file).suggestedFilename(), "acts.csv");
  await page.context().close();
});

test("the pages print in black on white without their navigation", async () => {
  const page = await as("gov");
  await page.goto("/audit?verb=account");
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.locator("header.top").isVisible(), false);
  await page.screenshot({ path: `${process.env.SHOTS ?? "shots"}/audit-print.png`, fullPage: true });
  await page.context().close();
});

test("logging out ends the session", async () => {
  const page = await as("desk");
  await page.locator(".self summary").click();
  await page.getByRole("button", { name: "Log out" }).click();
  await page.waitForURL("**/login");
  await page.goto("/password");
  assert.match(page.url(), /\/login\?then=\/password$/);
  await page.context().close();
});
