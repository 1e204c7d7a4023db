// @ts-check
// The end of a session: warned of a minute before, put off with one key, and gone on with in place, so that
// nothing typed is lost.

/** How long before the end the warning comes, s. */
const WARNING_S = 60;

/** When the session ends, by this machine's clock, ms. */
let endsAt = Infinity;
/** @type {HTMLFormElement | null} A form that was to be sent when the session had ended. */
let waiting = null;
/** @type {HTMLElement | null} The button it was sent with. */
let waitingButton = null;

const dialog = (/** @type {string} */ id) => /** @type {HTMLDialogElement} */ (document.getElementById(id));

/** @param {number} endsInS */
function holdsFor(endsInS) {
  endsAt = Date.now() + endsInS * 1000;
}

/** The proof that a request comes from this page. */
export function csrf() {
  return /** @type {HTMLMetaElement} */ (document.querySelector("meta[name=csrf]")).content;
}

/** @param {string} fresh */
function setCsrf(fresh) {
  /** @type {HTMLMetaElement} */ (document.querySelector("meta[name=csrf]")).content = fresh;
  for (const field of document.querySelectorAll("input[name=csrf]")) {
    /** @type {HTMLInputElement} */ (field).value = fresh;
  }
}

/** Another page of this browser may have lengthened the session. */
async function ask() {
  const response = await fetch("/session", { headers: { "x-matins-background": "1" } });
  holdsFor(response.ok ? (await response.json()).ends_in_s : 0);
}

async function stay() {
  const response = await fetch("/session/stay", { method: "POST", headers: { "x-csrf": csrf() } });
  holdsFor(response.ok ? (await response.json()).ends_in_s : 0);
}

/** Whether an answer is awaited: one question at a time. */
let asking = false;

async function tick() {
  if (asking) return;
  const left = Math.round((endsAt - Date.now()) / 1000);
  const [idle, again] = [dialog("idle"), dialog("again")];
  if (again.open) return;
  if (left > WARNING_S) {
    if (idle.open) idle.close("later");
    return;
  }
  if (!idle.open && left > 0) {
    asking = true;
    await ask().catch(() => undefined);
    asking = false;
    if ((endsAt - Date.now()) / 1000 > WARNING_S || again.open) return;
    if (Date.now() < endsAt) idle.showModal();
  }
  const shown = /** @type {HTMLElement} */ (idle.querySelector("[data-left]"));
  shown.textContent = String(Math.max(0, Math.round((endsAt - Date.now()) / 1000)));
  if (Date.now() >= endsAt) logInAgain();
}

/** Opens the login over the page. */
export function logInAgain() {
  const [idle, again] = [dialog("idle"), dialog("again")];
  if (idle.open) idle.close("over");
  if (!again.open) again.showModal();
  /** @type {HTMLElement} */ (again.querySelector("[name=password]")).focus();
}

/** @param {SubmitEvent} event */
async function goOn(event) {
  event.preventDefault();
  event.stopPropagation();
  const form = /** @type {HTMLFormElement} */ (event.target);
  const fields = new URLSearchParams(/** @type {any} */ (new FormData(form)));
  const response = await fetch(form.action, { method: "POST", body: fields, headers: { "x-csrf": csrf() } });
  const answer = response.headers.get("content-type")?.includes("json") ? await response.json() : {};
  const password = /** @type {HTMLInputElement} */ (form.querySelector("[name=password]"));
  if (!response.ok) {
    const wrong = /** @type {HTMLElement} */ (form.querySelector("[data-wrong]"));
    wrong.textContent = answer.says ?? "That did not work. Try again.";
    wrong.hidden = false;
    password.select();
    return;
  }
  password.value = "";
  setCsrf(answer.csrf);
  holdsFor(answer.ends_in_s);
  dialog("again").close("done");
  const [kept, button] = [waiting, waitingButton];
  waiting = null;
  kept?.requestSubmit(button);
}

/** @param {number} endsInS */
export function watchIdle(endsInS) {
  holdsFor(endsInS);
  setInterval(tick, 1000);
  const [idle, again] = [dialog("idle"), dialog("again")];
  idle.addEventListener("close", () => {
    if (idle.returnValue === "stay") stay();
  });
  // Escape says somebody is there as well as the button does.
  idle.addEventListener("cancel", () => stay());
  again.addEventListener("cancel", (event) => event.preventDefault());
  again.addEventListener("submit", goOn);
  // A form sent when the session has ended waits for the login; it is not lost.
  document.addEventListener(
    "submit",
    (event) => {
      const form = /** @type {HTMLFormElement} */ (event.target);
      if (form.method !== "post" || again.contains(form) || Date.now() < endsAt) return;
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
    if (Date.now() - told > 60_000 && Date.now() < endsAt) {
      told = Date.now();
      stay();
    }
  });
}
