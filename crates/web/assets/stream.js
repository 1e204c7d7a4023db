// @ts-check
// What others change, heard by every open page over one connection. A browser has six for a server that speaks
// HTTP/1.1; one for each page would leave the seventh page waiting for ever. So a worker that all pages share
// holds the stream, as long as one of them is in sight. Where there is no such worker, only the page in sight
// holds one; a page that comes back to sight may have missed something, and looks.

/** How often a page in sight says that it is still there, ms. */
const HERE_MS = 30_000;
/** How long to wait before trying again when the server does not answer, ms. */
const AGAIN_MS = 15_000;

/**
 * Calls `told` with the kind of what was changed, `*` when that is not known, while the page is in sight.
 * @param {(kind: string) => void} told
 */
export function follow(told) {
  const line = typeof SharedWorker === "undefined" ? alone(told) : shared(told);
  addEventListener("pagehide", line.close);
  // A page the browser kept and shows again hears again.
  addEventListener("pageshow", (event) => event.persisted && line.open());
}

/** @param {(kind: string) => void} told */
function shared(told) {
  const worker = new SharedWorker(new URL("stream-worker.js", import.meta.url), "matins");
  /** @type {{ open: () => void, close: () => void } | null} */
  let instead = null;
  worker.addEventListener("error", () => (instead ??= alone(told)));
  worker.port.addEventListener("message", (event) => told(event.data));
  worker.port.start();
  const say = () => worker.port.postMessage(document.visibilityState === "visible" ? "here" : "away");
  say();
  document.addEventListener("visibilitychange", say);
  setInterval(() => document.visibilityState === "visible" && say(), HERE_MS);
  const close = () => {
    worker.port.postMessage("gone");
    instead?.close();
  };
  return { open: say, close };
}

/** @param {(kind: string) => void} told */
function alone(told) {
  /** @type {EventSource | null} */
  let stream = null;
  // Whatever happened between the making of this page and the stream's standing was not heard.
  let missed = true;
  const close = () => {
    if (stream) missed = true;
    stream?.close();
    stream = null;
  };
  const open = () => {
    if (stream || document.visibilityState !== "visible") return;
    stream = new EventSource("/live");
    stream.addEventListener("act", (event) => told(event.data));
    stream.addEventListener("error", () => {
      missed = true;
      if (stream?.readyState === EventSource.CLOSED) close();
    });
    stream.addEventListener("open", () => {
      if (missed) told("*");
      missed = false;
    });
  };
  open();
  document.addEventListener("visibilitychange", () => (document.visibilityState === "visible" ? open() : close()));
  setInterval(open, AGAIN_MS);
  return { open, close };
}
