// Entries of forms with data-keep. Each is written to this device's disk before it is sent, and removed once the server
// has answered: what couldn't be sent waits. They are sent in their order, by one tab at a time, each under a key of its
// own, so that the server stores it once however often it arrives. A refused entry stays until it is entered or sent again, or discarded.

import { nextStep, refreshKept, revoked } from "./kept.js";
import { text } from "./words.js";

const STORE = "entries", SENDING = "gainwright-sending";
const FIRST_PAUSE_MS = 1000, LONGEST_PAUSE_MS = 20000, ANSWER_MS = 20000, TURN_MS = 4000;
const NOT_NOW = [401, 408, 429]; // 408: the line was too slow for a photo
const NOT_TYPED = ["seen", "kind", "basis", "key", "unit"];

// ---- on the disk --------------------------------------------------------------------------------------------------

let database;

function opened() {
  database ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("gainwright", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id", autoIncrement: true });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  database.catch(() => { database = undefined; });
  return database;
}

// Works on all entries, in their order, in one transaction; resolves when the result is on the disk.
async function onEntries(act, mode = "readwrite") {
  const transaction = (await opened()).transaction(STORE, mode, { durability: "strict" });
  const store = transaction.objectStore(STORE);
  return new Promise((resolve, reject) => {
    let found;
    transaction.oncomplete = () => resolve(found);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
    store.getAll().onsuccess = (event) => {
      try { found = act(event.target.result, store); } catch (error) { transaction.abort(); reject(error); }
    };
  });
}

const all = () => onEntries((entries) => entries, "readonly").catch(() => []);
const plain = (data) => JSON.stringify(data, (_name, value) => (value instanceof Blob ? [value.name, value.size, value.lastModified] : value));
const said = (entry) => plain(entry.data.filter(([name]) => name !== "key" && name !== "seen"));
const isNote = (entry) => entry.address.endsWith("/notes"); // beside a step: its reading may still be open

// ---- entering -----------------------------------------------------------------------------------------------------

// The field `key` names the entry that a form makes: the server stores an entry of the same key and content once. A form has
// a key of its own when it is shown, also when the page was kept. Pressing twice is one entry; anything else is another.
export function newKeys(fields) {
  for (const field of fields) {
    field.value = [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    field.dataset.made = "";
  }
}

const pressed = new WeakMap();

function entered(form, submitter) {
  const words = plain([...new FormData(form, submitter)]), key = form.elements.key;
  if (key && pressed.has(form) && pressed.get(form) !== words) newKeys([key]);
  const data = [...new FormData(form, submitter)];
  pressed.set(form, plain(data));
  return data;
}

// What a person reads of an entry: what was typed, ticked or chosen.
function described(form, data, submitter) {
  const kind = data.find(([name]) => name === "kind")?.[1];
  if (kind === "done") return text("done");
  const ticked = [...form.elements].filter((e) => e.type === "checkbox" && e.checked).map((e) => e.closest("label")?.innerText.trim());
  const hidden = new Set([...form.elements].filter((e) => e.type === "hidden" || e.type === "checkbox").map((e) => e.name));
  const typed = data.filter(([name, value]) => filled(value) && name !== submitter?.name && !hidden.has(name))
    .map(([, value]) => (value instanceof Blob ? text("a photo") : value));
  const pressedOne = submitter?.name ? [submitter.textContent.trim()] : [];
  const words = [...typed, ...ticked, ...pressedOne].join(" ") || data.find(([name]) => name === "text")?.[1] || "";
  return kind === "skipped" ? text("skipped: {reason}", { reason: words }) : words;
}

const filled = (value) => (value instanceof Blob ? value.size > 0 : Boolean(value));
const empty = (data) => data.every(([name, value]) => name !== "kind" || value === "reading")
  && !data.some(([name, value]) => filled(value) && !NOT_TYPED.includes(name));

// Returns the entry as it is kept; null when nothing was entered. Rejects when this device can't keep it.
export async function keep(form, submitter, address) {
  const data = entered(form, submitter);
  if (empty(data)) return null;
  const entry = { address, data, told: described(form, data, submitter), page: location.pathname, at: Date.now() };
  await onEntries((entries, store) => {
    const last = entries.findLast((e) => !e.why && e.address === address);
    if (last && said(last) === said(entry)) entry.id = last.id;
    else store.add(entry).onsuccess = (event) => { entry.id = event.target.result; };
  });
  return entry;
}

// ---- sending ------------------------------------------------------------------------------------------------------

let pause = FIRST_PAUSE_MS, due;

function later() {
  clearTimeout(due);
  due = setTimeout(deliver, pause);
  pause = Math.min(2 * pause, LONGEST_PAUSE_MS);
}

// Sends an entry after those before it; `ids` are the parts of the answer that will be shown. Returns its answer; null when it still waits after a moment.
export async function enter(entry, ids) {
  const own = { id: entry.id, ids, late: false };
  const found = await Promise.race([deliver(own), new Promise((past) => { setTimeout(past, TURN_MS); })]);
  own.late = !found;
  return found ?? null;
}

// Sends all that waits. Returns the answer to an entry that its own page waits for.
async function deliver(own = null) {
  const turn = own ? { signal: AbortSignal.timeout(TURN_MS) } : { ifAvailable: true };
  const locks = navigator.locks ?? { request: (_name, _turn, act) => act(true) };
  let answered = null;
  try {
    await locks.request(SENDING, turn, async (lock) => { if (lock) answered = await sendAll(own); });
  } catch { later(); }
  return answered;
}

const sent = new Set(); // pages of the entries that were sent since all were
let waited = false;

async function sendAll(own) {
  let mine = null;
  for (let entry; (entry = (await all()).find((e) => !e.why));) {
    const found = await answerTo(entry, entry.id === own?.id ? own.ids : "kept");
    if (!found) { later(); showKept(); return mine; }
    clearTimeout(due);
    pause = FIRST_PAUSE_MS;
    const { answer, body } = found, page = new DOMParser().parseFromString(body, "text/html");
    const awaited = entry.id === own?.id && !own.late;
    if (awaited) mine = found;
    else waited = true;
    sent.add(entry.page);
    const why = answer.ok || awaited ? "" : page.querySelector("#trouble p")?.textContent || text("it was refused");
    await finish(entry, page, answer.ok, why);
  }
  if (sent.size) allSent([...sent]);
  return mine;
}

// A form with a file is sent as a form with files, any other as its fields.
function bodyOf(data) {
  if (!data.some(([, value]) => value instanceof Blob)) return new URLSearchParams(data);
  const body = new FormData();
  for (const [name, value] of data) body.append(name, value);
  return body;
}

async function answerTo(entry, ids) {
  try {
    const options = { method: "POST", body: bodyOf(entry.data), signal: AbortSignal.timeout(ANSWER_MS), headers: { "x-swap": ids || "" } };
    const answer = await fetch(entry.address, options), body = await answer.text();
    if (answer.status === 401) { revoked(); document.dispatchEvent(new Event("unpaired")); }
    const refused = answer.status >= 400 && answer.status < 500 && !NOT_NOW.includes(answer.status);
    return answer.ok || refused ? { answer, body } : null; // a redirect that wasn't followed is half of an answer
  } catch { return null; }
}

// One's own entries follow one another: the next of the same form has seen this one.
async function finish(entry, page, ok, why) {
  const seen = ok && [...page.forms].find((form) => form.action === entry.address)?.elements.seen?.value;
  const was = entry.data.find(([name]) => name === "seen")?.[1];
  await onEntries((entries, store) => {
    if (why) store.put({ ...entry, why });
    else store.delete(entry.id);
    for (const next of entries) {
      if (ok && next.why && next.address === entry.address) store.delete(next.id); // it was entered again
      if (!seen || next.why || next.id === entry.id || next.address !== entry.address) continue;
      store.put({ ...next, data: next.data.map(([name, value]) => [name, name === "seen" && value === was ? seen : value]) });
    }
  });
}

window.addEventListener("online", () => deliver());
document.addEventListener("connected", () => deliver());
document.addEventListener("visibilitychange", () => { if (!document.hidden) deliver(); });

// ---- what the page shows of it --------------------------------------------------------------------------------------

const others = globalThis.BroadcastChannel && new BroadcastChannel("gainwright-entries");

function allSent(pages) {
  refreshKept(pages);
  if (waited) { others?.postMessage(pages); tell(pages); }
  sent.clear();
  waited = false;
}
const tell = (pages) => document.dispatchEvent(new CustomEvent("delivered", { detail: pages }));
others?.addEventListener("message", (event) => tell(event.data));

export const anyRefused = async () => (await all()).some((entry) => entry.why);

// Marks the steps whose entries wait, lists those of this page, and those that were refused.
export async function showKept() {
  const entries = await all(), waiting = entries.filter((e) => !e.why), here = waiting.filter((e) => e.page === location.pathname);
  const steps = waiting.filter((e) => !isNote(e)).map((e) => e.page);
  const next = steps.includes(location.pathname) ? await nextStep(location.pathname, steps) : null;
  for (const old of document.querySelectorAll("#waiting, #not-taken, .waiting")) old.remove();
  const main = document.getElementById("main");
  for (const link of main.querySelectorAll("[data-steps] a[href]")) {
    const own = waiting.filter((e) => e.page === link.pathname), last = own.findLast((e) => !isNote(e)) ?? own.at(-1);
    if (last) link.after(line("span", text("waiting to be sent: {entry}", { entry: last.told }), "state now waiting"));
  }
  // at the thumb of a step, else at the form that was filled in, where a person looks
  const form = here.length && main.querySelector(`form[data-keep][action="${new URL(here.at(-1).address).pathname}"]`);
  const box = waiting.length && listed(here, waiting, next), bar = here.length && document.getElementById("act");
  if (box && !bar && form) form.before(box); else if (box) (bar || main).prepend(box);
  if (entries.length > waiting.length) main.prepend(refusedOnes(entries.filter((e) => e.why)));
}

function line(name, words, className = "") {
  const made = document.createElement(name);
  made.textContent = words;
  made.className = className;
  return made;
}

function linked(address, words, className = "") {
  const link = line("a", words, className);
  link.href = address;
  return link;
}

function listed(here, waiting, next) {
  const box = document.createElement("section");
  box.id = "waiting";
  box.setAttribute("aria-label", text("Waiting to be sent"));
  box.setAttribute("role", "status");
  const words = here.length ? text("Kept on this device, waiting to be sent: {entries}", { entries: here.map((entry) => entry.told).join("; ") })
    : waiting.length === 1 ? text("1 entry is kept on this device until the server answers.")
    : text("{number} entries are kept on this device until the server answers.", { number: waiting.length });
  box.append(line("p", words, "state now"));
  if (next) box.append(linked(next.address, next.name ? text("Next: {step}", { step: next.name }) : text("All steps are entered: back to the list"), "button first wide"));
  return box;
}

function refusedOnes(entries) {
  const box = document.createElement("section");
  box.id = "not-taken";
  box.className = "trouble";
  box.setAttribute("aria-label", text("Kept on this device"));
  for (const entry of entries) {
    const act = (words, change) => {
      const button = line("button", words);
      button.type = "button";
      button.addEventListener("click", () => onEntries((_all, store) => change(store)).then(showKept).then(() => deliver()));
      return button;
    };
    const again = act(text("Send again"), (store) => store.put({ ...entry, why: "" })); // its job may have been restored
    const button = act(text("Discard"), (store) => store.delete(entry.id));
    const told = line("p", `${text("Refused: {entry} ({why})", { entry: entry.told, why: entry.why.trim() })} `);
    told.append(linked(entry.page, text("Show")), " ", again, " ", button);
    box.append(told);
  }
  return box;
}

// ---- entries that version 0.1 kept ----------------------------------------------------------------------------------

async function takeOver() {
  for (const [name, why] of [["not-sent-yet", ""], ["not-taken", "it was refused"]]) {
    const old = JSON.parse(localStorage.getItem(name) || "[]");
    if (!old.length) continue;
    const words = (e) => e.data.filter(([field, value]) => value && !NOT_TYPED.includes(field)).map((pair) => pair[1]).join(" ");
    await onEntries((_all, store) => { for (const e of old) store.add({ why, told: words(e), page: location.pathname, ...e }); });
    localStorage.removeItem(name);
  }
}

takeOver().catch(() => {}).then(() => { showKept(); deliver(); });
