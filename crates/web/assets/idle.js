// @ts-check
// The end of a session: warned of a minute before, put off with one key, and gone on with in place. Nobody reads on
// in a page whose session is over: it is taken away until the same person has logged in again, here or on another
// page of this browser, and then nothing typed is lost. For somebody else it is gone.

import { csrf, fieldsOf, setCsrf } from "./form.js";

/** How long before the end the warning comes, s. */
const WARNING_S = 60;

/** When the session ends, by both clocks of this machine, ms: one can be set, the other may sleep. */
let endsAt = [Infinity, Infinity];
/** @type {HTMLFormElement | null} A form that was to be sent when the session had ended. */
let waiting = null;
/** @type {HTMLElement | null} The button it was sent with. */
let waitingButton = null;
/** @type {{title: string, parts: HTMLElement[]} | null} What is taken away while the session is over. */
let away = null;
/** Pages of this browser tell each other that somebody has logged in. */
const pages = "BroadcastChannel" in window ? new BroadcastChannel("matins-session") : null;

const dialog = (/** @type {string} */ id) => /** @type {HTMLDialogElement} */ (document.getElementById(id));
const clocks = () => [Date.now(), performance.now()];
const leftS = () => Math.min(...clocks().map((now, at) => (endsAt[at] - now) / 1000));
const own = () => document.body.dataset.login ?? "";

/** @param {number} endsInS */
function holdsFor(endsInS) {
  endsAt = clocks().map((now) => now + endsInS * 1000);
}

/** Takes everything of the page away: from sight, from print, from whatever reads it aloud. */
function takeAway() {
  if (away) return;
  const parts = /** @type {HTMLElement[]} */ ([...document.body.children].filter((part) => !part.matches("#again, svg, script")));
  away = { title: document.title, parts };
  document.documentElement.dataset.over = "yes";
  document.title = "Log in to go on";
  for (const part of parts) Object.assign(part, { hidden: true, inert: true });
}

function bringBack() {
  if (!away) return;
  for (const part of away.parts) Object.assign(part, { hidden: false, inert: false });
  document.title = away.title;
  delete document.documentElement.dataset.over;
  away = null;
}

/** Somebody else has logged in: what stood and was typed here is not theirs. @param {string} path */
function forget(path) {
  waiting = null;
  away = null;
  document.title = "matins";
  document.body.replaceChildren();
  location.replace(path);
}

/**
 * The session as the server tells of it. Whoever has logged in, here or on another page, goes on; somebody else does
 * not see this page.
 * @param {{ends_in_s: number, login?: string, csrf?: string}} told
 */
function goesOn(told) {
  if (told.login !== undefined && told.login !== own()) return forget("/");
  if (told.csrf) setCsrf(told.csrf);
  holdsFor(told.ends_in_s);
  if (told.ends_in_s <= 1) return;
  bringBack();
  if (dialog("again").open) dialog("again").close("done");
  const [kept, button] = [waiting, waitingButton];
  waiting = null;
  kept?.requestSubmit(button);
}

/** Another page of this browser may have lengthened the session, or logged in anew. */
async function ask() {
  const response = await fetch("/session", { headers: { "x-matins-background": "1" } });
  if (response.ok) goesOn(await response.json());
  else if (response.status === 401) holdsFor(0);
}

async function stay() {
  const response = await fetch("/session/stay", { method: "POST", headers: { "x-csrf": csrf() } });
  if (response.status === 403) return ask();
  holdsFor(response.ok ? (await response.json()).ends_in_s : 0);
}

/** Whether an answer is awaited: one question at a time. */
let asking = false;

async function askOnce() {
  if (asking) return;
  asking = true;
  await ask().catch(() => undefined);
  asking = false;
}

async function tick() {
  const [idle, again] = [dialog("idle"), dialog("again")];
  if (!idle || !again || again.open) return;
  if (leftS() > WARNING_S) {
    if (idle.open) idle.close("later");
    return;
  }
  if (leftS() <= 0) {
    logInAgain();
    // Unless another page has lengthened it.
    return askOnce();
  }
  if (!idle.open && !asking) {
    await askOnce();
    if (leftS() > WARNING_S || again.open) return;
    if (leftS() > 0) idle.showModal();
  }
  const shown = /** @type {HTMLElement} */ (idle.querySelector("[data-left]"));
  shown.textContent = String(Math.max(0, Math.round(leftS())));
}

/** Takes the page away and opens the login in its place. */
export function logInAgain() {
  const [idle, again] = [dialog("idle"), dialog("again")];
  if (idle.open) idle.close("over");
  takeAway();
  if (!again.open) again.showModal();
  /** @type {HTMLElement} */ (again.querySelector("[name=password]")).focus();
}

/** @param {SubmitEvent} event */
async function goOn(event) {
  event.preventDefault();
  event.stopPropagation();
  const form = /** @type {HTMLFormElement} */ (event.target);
  const fields = fieldsOf(form);
  const response = await fetch(form.action, { method: "POST", body: fields, headers: { "x-csrf": csrf() } });
  const answer = response.headers.get("content-type")?.includes("json") ? await response.json() : {};
  const password = /** @type {HTMLInputElement} */ (form.querySelector("[name=password]"));
  const wrong = /** @type {HTMLElement} */ (form.querySelector("[data-wrong]"));
  if (!response.ok) {
    wrong.textContent = answer.says ?? "That did not work. Try again.";
    wrong.hidden = false;
    password.select();
    return;
  }
  password.value = "";
  wrong.hidden = true;
  goesOn(answer);
  tell();
}

/** Tells the other pages of this browser who is logged in here, by the first signs of the proof. */
function tell() {
  pages?.postMessage({ login: own(), proof: csrf().slice(0, 8) });
}

function hearOthers() {
  pages?.addEventListener("message", (event) => {
    if (event.data.login !== own() || event.data.proof !== csrf().slice(0, 8)) askOnce();
  });
  tell();
  const back = () => {
    if (document.visibilityState !== "visible") return;
    if (leftS() <= 0) logInAgain();
    askOnce();
  };
  document.addEventListener("visibilitychange", back);
  addEventListener("focus", back);
  // A page that comes back out of the browser's memory shows nothing before it is known who is here.
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    logInAgain();
    askOnce();
  });
}

/** @param {number} endsInS */
export function watchIdle(endsInS) {
  holdsFor(endsInS);
  setInterval(tick, 1000);
  hearOthers();
  const [idle, again] = [dialog("idle"), dialog("again")];
  idle.addEventListener("close", () => {
    if (idle.returnValue === "stay") stay();
  });
  // Escape says somebody is there as well as the button does.
  idle.addEventListener("cancel", () => stay());
  again.addEventListener("cancel", (event) => event.preventDefault());
  again.addEventListener("submit", goOn);
  again.querySelector("[data-else]")?.addEventListener("click", (event) => {
    event.preventDefault();
    forget("/login");
  });
  // A form sent when the session has ended waits for the login; it is not lost.
  document.addEventListener(
    "submit",
    (event) => {
      const form = /** @type {HTMLFormElement} */ (event.target);
      if (form.method !== "post" || again.contains(form) || leftS() > 0) return;
      event.preventDefault();
      event.stopPropagation();
      waiting = form;
      waitingButton = event.submitter;
      logInAgain();
    },
    true,
  );
  // Typing into a long form is being there: the session is lengthened, at most once a minute.
  let told = Date.now();
  document.addEventListener("input", () => {
    if (Date.now() - told > 60_000 && leftS() > 0) {
      told = Date.now();
      stay();
    }
  });
}
