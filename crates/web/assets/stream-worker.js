// @ts-check
// One stream of what is changed, for all pages of this browser. Open while one of them is in sight.

/** A page that was not heard of for so long is gone: it was closed without a word, ms. */
const GONE_MS = 100_000;
/** How long to wait before trying again when the server does not answer, ms. */
const AGAIN_MS = 15_000;

/** When each page in sight was heard of last, and which are there but out of sight. @type {Map<MessagePort, number>} */
const here = new Map();
/** Pages that may have missed something. @type {Set<MessagePort>} */
const missed = new Set();
/** @type {EventSource | null} */
let stream = null;
/** Whether the stream stands. */
let stands = false;

/** @param {string} kind */
function tell(kind) {
  for (const port of here.keys()) port.postMessage(kind);
}

function catchUp() {
  for (const port of missed) if (here.has(port)) port.postMessage("*");
  missed.clear();
}

function close() {
  stream?.close();
  stream = null;
  stands = false;
}

function open() {
  if (stream || here.size === 0) return;
  stream = new EventSource("/live");
  stream.addEventListener("act", (event) => tell(event.data));
  stream.addEventListener("open", () => {
    stands = true;
    catchUp();
  });
  stream.addEventListener("error", () => {
    // What happened meanwhile was not heard.
    stands = false;
    for (const port of here.keys()) missed.add(port);
    if (stream?.readyState === EventSource.CLOSED) close();
  });
}

/** @param {MessagePort} port @param {string} said */
function heard(port, said) {
  if (said === "here") {
    // What happened between the making of a new page and the stream's standing was heard by nobody.
    if (!here.has(port) && !stands) missed.add(port);
    here.set(port, Date.now());
    // A page that was away missed what happened; it is told as soon as the stream stands.
    if (stands && missed.delete(port)) port.postMessage("*");
  } else {
    here.delete(port);
    if (said === "away") missed.add(port);
    else missed.delete(port);
  }
  if (here.size === 0) close();
  else open();
}

addEventListener("connect", (event) => {
  const [port] = /** @type {MessageEvent} */ (event).ports;
  port.addEventListener("message", (message) => heard(port, message.data));
  port.start();
});

setInterval(() => {
  for (const [port, at] of here) if (Date.now() - at > GONE_MS) heard(port, "gone");
  open();
}, AGAIN_MS);
