// @ts-check
// A file let go anywhere on the page goes into its form, as if it had been chosen there.

const input = /** @type {HTMLInputElement | null} */ (document.querySelector("main input[type=file]"));

if (input?.form) {
  const form = input.form;
  const told = document.createElement("p");
  told.setAttribute("role", "status");
  told.className = "dropped";
  input.after(told);
  const field = /** @type {HTMLElement} */ (input.closest(".field"));
  field.classList.add("droppable");

  const brings = (/** @type {DragEvent} */ event) => event.dataTransfer?.types.includes("Files") ?? false;
  let over = 0;
  const light = () => field.classList.toggle("over", over > 0);

  addEventListener("dragenter", (event) => {
    if (!brings(event)) return;
    over += 1;
    light();
  });
  addEventListener("dragleave", (event) => {
    if (!brings(event)) return;
    over = Math.max(0, over - 1);
    light();
  });
  addEventListener("dragover", (event) => {
    if (brings(event)) event.preventDefault();
  });
  addEventListener("drop", (event) => {
    if (!brings(event)) return;
    event.preventDefault();
    over = 0;
    light();
    const files = event.dataTransfer?.files;
    if (files?.length !== 1) {
      told.textContent = "One file at a time, please: each belongs to one monitor.";
      return;
    }
    input.files = files;
    said();
    const empty = /** @type {HTMLElement | null} */ (form.querySelector("select:invalid"));
    (empty ?? /** @type {HTMLElement} */ (form.querySelector("button[type=submit]"))).focus();
  });
  input.addEventListener("change", said);

  function said() {
    const file = input?.files?.[0];
    const kb = file ? Math.max(1, Math.round(file.size / 1024)) : 0;
    // A file that will be refused for its length is not sent at all.
    const most = Number(input?.dataset.most ?? Infinity);
    const large = file !== undefined && file.size > most;
    const says = large ? `The file is too large: at most ${Math.round(most / 2 ** 20)} MiB are taken in.` : "";
    input?.setCustomValidity(says);
    told.textContent = file ? `${file.name}, ${kb.toLocaleString("en-GB")} KB. ${says || "It has not been sent yet."}` : "";
  }
}
