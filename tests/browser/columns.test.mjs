// @ts-check
// A file whose columns nobody knows comes off a monitor: the desk says what they are, the night is read, and the
// next file of the same head is taken in without a question.

import { test } from "node:test";
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import assert from "node:assert/strict";
import { LOOKS, department, looksRight } from "./bench.mjs";

const { d, as } = department("2026-11-25");
const NAMES = ["Stamp", "Chan 1", "Chan 2", "Chan 3"];

/** A file of the demo under names that say nothing; `more` makes other bytes of it. */
function odd(more = "") {
  const folder = join(d.data, "on-the-monitors");
  const name = readdirSync(folder).find((one) => one.endsWith(".csv"));
  assert.ok(name, "the demo has a text on a monitor");
  const lines = readFileSync(join(folder, name), "utf8").split("\n");
  const head = lines.findIndex((line) => /SpO2/.test(line));
  const sign = [";", "\t", ","].find((one) => lines[head].includes(one)) ?? ",";
  const names = lines[head].split(sign).map((_, at) => NAMES[at] ?? `Chan ${at}`);
  const told = lines[head].split(sign);
  lines[head] = names.join(sign);
  const text = lines.join("\n") + more;
  return { file: { name, mimeType: "text/csv", buffer: Buffer.from(text) }, told };
}

/** What a column of the demo is, by the name that was taken from it. */
function meaning(name) {
  if (/SpO2/i.test(name)) return "spo2";
  if (/pulse|PR\b|HR\b/i.test(name)) return "pulse";
  if (/CO2/i.test(name)) return /mmHg/i.test(name) ? "tcpco2-mmhg" : "tcpco2-kpa";
  return "";
}

async function send(page, file) {
  await page.goto("/receive");
  await page.locator("select[name=monitor]").selectOption({ index: 1 });
  await page.locator("input[type=file]").setInputFiles(file);
  await page.getByRole("button", { name: "Take it in" }).click();
}

for (const look of LOOKS) {
  test(`the page that asks is sound: ${look.name}`, async () => {
    const page = await as("pillow", look);
    await send(page, odd().file);
    await page.getByRole("heading", { name: "What its columns are" }).waitFor();
    await looksRight(page, `columns-${look.name}`);
    await page.context().close();
  });
}

test("a file with odd names is told, read and remembered, also without script", async () => {
  const page = await as("pillow", LOOKS[0], { javaScriptEnabled: false });
  const { file, told } = odd();
  await send(page, file);
  await page.getByRole("heading", { name: "What its columns are" }).waitFor();
  const choices = page.locator("td select");
  // Two columns for one thing are refused with words, and what was chosen stays.
  await choices.nth(0).selectOption("spo2");
  await choices.nth(1).selectOption("spo2");
  await page.getByRole("button", { name: "Take it in so" }).click();
  await page.getByText("was chosen for two columns").waitFor();
  assert.equal(await choices.nth(0).inputValue(), "spo2");
  for (let at = 1; at < told.length; at += 1) {
    const one = page.locator(`select[name="c-${at + 1}"]`);
    if (await one.count()) await one.selectOption(meaning(told[at]));
  }
  await page.getByRole("button", { name: "Take it in so" }).click();
  await page.getByRole("heading", { name: "Taken in" }).waitFor();
  await page.getByText("Kept whole").waitFor();
  // Another file of the same head reads by itself, and says so.
  await send(page, odd("\n").file);
  await page.getByText("read by the column map that pillow gave").waitFor();
  await page.context().close();
});
