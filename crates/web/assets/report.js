// @ts-check
// The report page: phrases by one click, and the preview with the words as they stand now.

const place = /** @type {HTMLElement | null} */ (document.querySelector("[data-phrased]"));
const words = /** @type {HTMLTextAreaElement | null} */ (place?.querySelector(`[name="${place.dataset.phrased}"]`) ?? null);
const form = words?.form;
const night = /** @type {HTMLElement} */ (document.querySelector("[data-report]")).dataset.report;

for (const button of document.querySelectorAll("[data-phrase]")) {
  button.addEventListener("click", () => {
    if (!words) return;
    const before = words.value.trimEnd();
    words.value = before ? `${before}\n${button.textContent}` : (button.textContent ?? "");
    words.focus();
  });
}

if (form) {
  const frame = /** @type {HTMLIFrameElement} */ (document.querySelector("[data-preview]"));
  frame.name = "preview";
  const button = document.createElement("button");
  Object.assign(button, { type: "submit", className: "quiet", textContent: "Show in the preview" });
  button.setAttribute("formaction", `/nights/${night}/report/preview`);
  button.setAttribute("formtarget", "preview");
  button.setAttribute("formnovalidate", "");
  form.querySelector(".acts")?.append(button);
  document.addEventListener("submit", (event) => {
    // The form stays here and may be sent again.
    if (event.submitter === button) delete form.dataset.sent;
  });
}
