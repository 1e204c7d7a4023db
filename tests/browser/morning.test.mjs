// @ts-check
// The whole morning in the demo, as somebody new to it would do it: a monitor comes back, its file is dropped on
// the page, the night is read and corrected twice, signed, sent for interpretation, and another is booked again.
//
// How long a person takes is estimated by the keystroke-level model (card-1980 in docs/sources.md): each act of the
// hand has its time, and before each stands the time to make up one's mind. The model is of people who know what
// they do; what it leaves of the five minutes is for reading.

import { test } from "node:test";
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import assert from "node:assert/strict";
import { DEMO_PASSWORD, department, looksRight } from "./bench.mjs";

/** Seconds of the model: a key by an average typist, pointing, pressing the button, moving the hand, deciding. */
const MODEL = { key: 0.28, point: 1.1, press: 0.2, home: 0.4, decide: 1.35 };
/** What the whole morning may take, s. */
const MOST_S = 300;

const { d, as } = department("2026-11-25");
let byHand = 0;
let acts = 0;

/** A click, as a person makes it. */
async function click(what) {
  await what.click();
  byHand += MODEL.decide + MODEL.point + MODEL.press;
  acts += 1;
}

/** Words typed into a field, which is pointed at first. */
async function type(what, words) {
  await what.fill(words);
  byHand += MODEL.decide + MODEL.point + MODEL.press + 2 * MODEL.home + words.length * MODEL.key;
  acts += 1;
}

/** An entry of a menu: open it, point, press. */
async function choose(what, label) {
  await what.selectOption(label);
  byHand += MODEL.decide + 2 * (MODEL.point + MODEL.press);
  acts += 1;
}

/** A file dragged from its folder onto the page. */
async function drop(page, path) {
  const bytes = readFileSync(path).toString("base64");
  const data = await page.evaluateHandle(([text, name]) => {
    const of = new DataTransfer();
    of.items.add(new File([Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0))], name));
    return of;
  }, [bytes, path.split("/").pop()]);
  for (const event of ["dragenter", "dragover", "drop"]) await page.dispatchEvent("main", event, { dataTransfer: data });
  byHand += MODEL.decide + 2 * MODEL.point + 2 * MODEL.press;
  acts += 1;
}

const ready = (page) => page.locator("[data-ready]").waitFor();

/** A stretch of the strip by two clicks, at parts of its width. */
async function stretch(page, from, until) {
  const box = await page.locator("[data-strip]").boundingBox();
  for (const part of [from, until]) {
    await page.mouse.click(box.x + box.width * part, box.y + 140);
    byHand += MODEL.decide + MODEL.point + MODEL.press;
    acts += 1;
  }
}

test("the whole morning takes a new user under five minutes", async () => {
  const began = performance.now();
  const page = await as("thistle");

  // A monitor comes back.
  await page.goto("/morning");
  const due = page.locator("section", { has: page.locator("#due") });
  await click(due.getByRole("link", { name: /Take back/ }).first());
  await choose(page.locator("select[name=place]"), { index: 1 });
  await click(page.locator("input[name=skin]").first());
  await click(page.locator("input[name=condition]").first());
  await click(page.locator("main button[type=submit]").first());
  await page.getByText("Taken back.").waitFor();

  // Its file is dropped on the page.
  await page.goto("/morning");
  const back = page.locator("section", { has: page.locator("#back") });
  await click(back.getByRole("link", { name: /^Take off the night/ }).last());
  const chosen = await page.locator("select[name=monitor] option:checked").innerText();
  const file = await fileOf(page, chosen);
  await drop(page, join(d.data, "on-the-monitors", file));
  await page.getByText(`${file}, `).waitFor();
  await looksRight(page, "morning-dropped");
  await click(page.getByRole("button", { name: "Take it in" }));
  await page.getByText("every night in it found its loan").waitFor();

  // The night is read, two spans are corrected.
  await click(page.getByRole("link", { name: "Read it" }));
  await ready(page);
  await stretch(page, 0.45, 0.5);
  await type(page.locator("#judge-reason"), "lay on the sensor");
  await click(page.getByRole("button", { name: "Exclude", exact: true }));
  await page.locator(".hand .spans li").waitFor();
  await click(page.locator("[data-spans] .go").nth(2));
  await type(page.locator("#judge-reason"), "true, seen in both channels");
  await click(page.getByRole("button", { name: "Put back" }));
  await page.locator(".hand .spans li").nth(1).waitFor();
  await looksRight(page, "morning-corrected");

  // It is signed, which sends it for interpretation.
  await click(page.getByRole("link", { name: "Report and sign" }));
  await type(page.getByLabel("Comment"), "Good recording; two stretches judged by hand.");
  await type(page.getByLabel("Your password, to sign"), DEMO_PASSWORD);
  await click(page.getByRole("button", { name: "Sign technically" }));
  const signed = await page.getByText(/Signed: version 1 of the report of/).innerText();
  const name = String(signed.match(/report of (.+)\.$/)?.[1]);

  // One night is booked again, and the letter is printed.
  await click(page.locator("[data-queue] .repeat a").first());
  await ready(page);
  await click(page.getByRole("link", { name: "Another night", exact: true }));
  await click(page.getByRole("button", { name: "Book another night" }));
  await page.getByText(/^Booked: loan L-/).waitFor();
  await looksRight(page, "morning-booked");
  const letter = await page.getByRole("link", { name: /Letter about another night/ }).getAttribute("href");
  const paper = await page.request.get(String(letter));
  assert.equal(paper.status(), 200);
  assert.equal((await paper.body()).subarray(0, 5).toString(), "%PDF-");
  await page.goto("/nights");
  await page.locator("#being-repeated").waitFor();
  assert.equal(await page.locator("[data-queue] .repeat").count(), 0, "what is being repeated waits no more");
  await looksRight(page, "morning-nights");
  assert.deepEqual(page.wrong, []);

  const machine = (performance.now() - began) / 1000;
  const total = byHand + machine;
  console.log(`the morning: ${acts} acts, ${byHand.toFixed(0)} s by hand and ${machine.toFixed(0)} s of machine, which leaves ${(MOST_S - total).toFixed(0)} s to read`);
  assert.ok(total < MOST_S, `${total} s`);

  // The physician finds it.
  const physician = await as("quill");
  await physician.goto("/nights");
  await physician.locator("section[aria-labelledby=signed]").getByRole("link", { name }).click();
  await physician.getByRole("textbox", { name: "Interpretation" }).fill("As expected.");
  await physician.getByLabel("Your password, to sign").fill(DEMO_PASSWORD);
  await physician.getByRole("button", { name: "Sign the interpretation" }).click();
  await physician.getByText(/Signed: version 2/).waitFor();
  assert.deepEqual(physician.wrong, []);
});

/** The file in the demo's folder that a monitor's serial number names. */
async function fileOf(page, option) {
  const mark = option.split(" ")[0];
  const other = await page.context().newPage();
  await other.goto("/monitors");
  await other.getByRole("link", { name: mark }).first().click();
  const words = await other.locator("main").innerText();
  await other.close();
  const file = readdirSync(join(d.data, "on-the-monitors")).find((one) => words.includes(one.split("-")[0]));
  return String(file);
}
