// Keeps the app on this device: registers the service worker, has it keep the run that is open, and says which state the
// connection is in. Pages that come from what is kept show their line "no connection" until the server answers again.

const PAGES = "gainwright-pages", ASK_AGAIN_MS = 5000;

// "secure": kept on this device. "encrypted": the browser doesn't trust the certificate. "plain": not encrypted, and not
// on the computer itself. "unable": a browser, or a private window, that keeps nothing.
const connection = registered();

async function registered() {
  if (!isSecureContext) return "plain";
  if (!navigator.serviceWorker) return "unable";
  try {
    await navigator.serviceWorker.register("/service-worker.js");
    return "secure";
  } catch {
    if (await navigator.serviceWorker.getRegistration()) return "secure";
    return location.protocol === "https:" ? "encrypted" : "unable";
  }
}

// Has the service worker do something; resolves with what it says. Without one, never.
async function worker(message) {
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  return new Promise((resolve) => {
    port1.onmessage = (event) => resolve(event.data);
    active.postMessage(message, [port2]);
  });
}

const listOf = (page) => page.replace(/\/setup\/[^/]+$/, "/setup");

// Entries of these pages were stored: what is kept of them is old.
export function refreshKept(pages) {
  if (navigator.serviceWorker?.controller) worker({ again: [...new Set([...pages, ...pages.map(listOf)])] });
}

// The server doesn't know this device any longer.
export function revoked() {
  if (navigator.serviceWorker?.controller) worker({ check: true });
}

// The next open step after one, of those that aren't in `done`, from the list that is kept; its name is empty, and its
// address that of the list, when there is none. Null when nothing is kept.
export async function nextStep(page, done) {
  const list = listOf(page);
  if (list === page || !globalThis.caches) return null;
  const kept = await (await caches.open(PAGES)).match(list);
  if (!kept) return null;
  const links = [...new DOMParser().parseFromString(await kept.text(), "text/html").querySelectorAll("[data-steps] a[href]")];
  const at = links.findIndex((link) => link.getAttribute("href") === page);
  const open = (link) => link.dataset.open !== undefined && link.getAttribute("href") !== page && !done.includes(link.getAttribute("href"));
  const next = links.slice(at + 1).find(open) || links.find(open);
  return next ? { address: next.getAttribute("href"), name: next.dataset.open } : { address: list, name: "" };
}

// ---- the run that is open -------------------------------------------------------------------------------------------

async function keepRun() {
  const run = document.querySelector("[data-run]");
  if (!run || !document.getElementById("no-connection").hidden) return;
  const steps = [...run.querySelectorAll("[data-steps] a[href]")].map((link) => link.pathname);
  const { run: job, title, state } = run.dataset;
  const pages = [...new Set([`/jobs/${job}/setup`, ...steps])];
  const done = await worker({ keep: { job, title, state: `${document.documentElement.lang} ${state}`, pages } });
  document.getElementById("kept").hidden = !done;
  if (matchMedia("(display-mode: standalone)").matches) navigator.storage?.persist?.(); // not to be cleared for want of room
}

// In place of a page that isn't kept: the runs that are.
async function listRuns() {
  const list = document.getElementById("kept-runs");
  if (!list || !globalThis.caches) return;
  const cache = await caches.open(PAGES);
  const notes = (await cache.keys()).filter(({ url }) => new URL(url).pathname.startsWith("/kept/"));
  for (const request of notes) {
    const { job, title } = await (await cache.match(request)).json();
    const item = document.createElement("li"), link = document.createElement("a");
    link.className = "main";
    link.href = `/jobs/${job}/setup`;
    link.textContent = title;
    item.append(link);
    list.append(item);
  }
}

// ---- the state of the connection --------------------------------------------------------------------------------------

async function tellState() {
  const box = document.getElementById("connection");
  if (!box) return;
  const state = await connection;
  for (const words of box.querySelectorAll("[data-state]")) words.hidden = words.dataset.state !== state;
}

let offer;
function offerToInstall() {
  const button = document.getElementById("install");
  if (!button || !offer) return;
  button.hidden = false;
  button.addEventListener("click", () => { offer.prompt(); button.hidden = true; offer = null; }, { once: true });
}
window.addEventListener("beforeinstallprompt", (event) => { event.preventDefault(); offer = event; offerToInstall(); });

// While a page is one that was kept, ask until the server answers.
async function follow() {
  const notice = document.getElementById("no-connection");
  if (notice.hidden) return;
  try {
    const answer = await fetch("/api/bench", { cache: "no-store" });
    if (answer.status === 401) { revoked(); location.assign("/pair"); return; }
    if (answer.ok) document.dispatchEvent(new Event("connected"));
  } catch { /* still none */ }
  setTimeout(follow, ASK_AGAIN_MS);
}

if (document.querySelector("[data-unpaired]")) revoked();
tellState();
offerToInstall();
keepRun();
listRuns();
follow();
document.addEventListener("swapped", keepRun);
