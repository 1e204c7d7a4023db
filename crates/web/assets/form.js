// @ts-check
// What a script sends in a form's place: its fields, and the proof that the request comes from this page.

const proof = () => /** @type {HTMLMetaElement} */ (document.querySelector("meta[name=csrf]"));

/** The proof that a request comes from this page. */
export function csrf() {
  return proof().content;
}

/** Puts a fresh proof wherever the old one stands. @param {string} fresh */
export function setCsrf(fresh) {
  proof().content = fresh;
  for (const field of document.querySelectorAll("input[name=csrf]")) {
    /** @type {HTMLInputElement} */ (field).value = fresh;
  }
}

/** The fields of a form without files, as a browser sends them. */
export function fieldsOf(/** @type {HTMLFormElement} */ form, /** @type {HTMLElement | null} */ submitter = null) {
  const fields = [...new FormData(form, submitter)];
  return new URLSearchParams(fields.map(([name, value]) => [name, String(value)]));
}
