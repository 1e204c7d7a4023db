// @ts-check
// What the server tells scripts of a night is what their types say, field by field.

import { test } from "node:test";
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { department } from "./bench.mjs";

const { as } = department("2026-11-25");

const TSC = fileURLToPath(import.meta.resolve("typescript/bin/tsc"));
const WIRE = fileURLToPath(new URL("../../crates/web/wire.js", import.meta.url));
const HOW = ["--noEmit", "--allowJs", "--checkJs", "--strict", "--ignoreConfig", "--lib", "es2022", "--module", "nodenext"];

/** What the checker says of answers written out as if a script had made them. */
function checked(answers) {
  const folder = mkdtempSync(join(tmpdir(), "matins-wire-"));
  const script = join(folder, "answers.mjs");
  const typed = ({ type, json }, at) => `/** @type {import("${WIRE}").${type}} */\nexport const a${at} = ${json};\n`;
  writeFileSync(script, answers.map(typed).join(""));
  const { stdout, status } = spawnSync(process.execPath, [TSC, ...HOW, script]);
  rmSync(folder, { recursive: true });
  return status === 0 ? "" : `${stdout}`;
}

test("the strip and its columns have the fields that scripts are typed by, and no other", async () => {
  const page = await as("thistle");
  await page.goto("/nights");
  const links = await page.locator("[data-queue] a").evaluateAll((all) => all.map((link) => link.getAttribute("href")));
  const nights = links.filter((link) => /^\/nights\/\d+$/.test(String(link)));
  assert.ok(nights.length > 0);
  const answers = [];
  for (const night of nights) {
    answers.push({ type: "Meta", json: await (await page.request.get(`${night}/strip`)).text() });
  }
  for (const window of ["from=0&to=20000&width=40", "from=3600&to=3660&width=400"]) {
    answers.push({ type: "Tile", json: await (await page.request.get(`${nights[0]}/columns?${window}`)).text() });
  }
  assert.equal(checked(answers), "");
  const metas = answers.filter(({ type }) => type === "Meta").map(({ json }) => JSON.parse(json));
  for (const part of ["clock", "lanes", "flags", "scored", "rules"]) {
    assert.ok(metas.some((meta) => meta[part].length > 0), `no night has ${part}`);
  }
  for (const part of ["levels", "doubts"]) {
    assert.ok(metas.some((meta) => meta.lanes.some((lane) => lane[part].length > 0)), `no lane has ${part}`);
  }
  const [wide, near] = answers.filter(({ type }) => type === "Tile").map(({ json }) => JSON.parse(json).series.spo2);
  assert.ok(wide.b && near.v, "both kinds of series were seen");
  // The checker is awake: a field that is not told of is seen.
  assert.match(checked([{ type: "Flag", json: '{ "at": 1, "until": null, "label": "", "kind": "note", "more": 1 }' }]), /"more"/);
  await page.context().close();
});
