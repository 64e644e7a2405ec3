// Swaps parts of a page instead of loading it anew. Every form and link works without this.
// A form with data-swap="id id" is sent in the background and those parts of its answer replace those of the page
// (those of its button's data-swap, if it has one);
// then the first element of its data-focus="id id" that is there has the focus.
// After a form with data-go the browser follows the redirect instead of swapping.
// An input with data-soon sends its form as it is changed. A form with data-keep is kept while the server can't be
// reached, and sent when it can again. A slider with data-mirrors="ID" moves that input. An element with data-work="ID" follows work in the background.

import { text } from "./words.js";

const said = document.getElementById("said");
let quiet;
export function say(words, stay = false) {
  said.textContent = words;
  clearTimeout(quiet);
  if (words && !stay) quiet = setTimeout(() => { said.textContent = ""; }, 6000);
}

const running = new WeakMap(), writing = new WeakSet(), later = new WeakSet();
let turn = 0; // how often something was entered or shown

// `automatic`: sent without a press of a button, so it gives way to what a person enters.
export async function send(form, submitter, automatic = false) {
  if (writing.has(form)) {
    if (automatic) later.add(form);
    else say(text("One moment: your last entry is still being saved."));
    return;
  }
  await exchange(form, submitter, automatic);
  if (automatic || !later.delete(form)) return;
  if (form.isConnected) ask(form);
  else say(text("Your last change wasn't saved: make it again."));
}

async function exchange(form, submitter, automatic) {
  running.get(form)?.abort();
  const control = new AbortController();
  running.set(form, control);
  const data = new FormData(form, submitter);
  const ids = submitter?.dataset.swap ?? form.dataset.swap;
  const method = (submitter?.getAttribute("formmethod") || form.getAttribute("method") || "get").toUpperCase();
  let address = submitter?.hasAttribute("formaction") ? submitter.formAction : form.action;
  const options = { method, signal: control.signal, headers: { "x-swap": ids || "" } };
  if (method === "GET") {
    address = new URL(address);
    address.search = new URLSearchParams(data);
  } else {
    options.body = form.enctype === "multipart/form-data" ? data : new URLSearchParams(data);
  }
  let answer, body;
  const sent = new Map([...form.elements].map((e) => [e.id, e.value]));
  if (method === "POST" && !automatic) { writing.add(form); turn += 1; }
  try {
    answer = await fetch(address, options);
    body = await answer.text();
  } catch (error) {
    if (error.name === "AbortError") return;
    if (form.dataset.keep !== undefined && method === "POST") keep(String(address), [...data], ids);
    else say(text("The server can't be reached. Your entry is still here; try again."), true);
    return;
  } finally {
    if (!automatic) writing.delete(form);
  }
  // text typed while the answer was awaited moves to the new field
  const typing = document.activeElement;
  const typed = method === "POST" && typing?.form === form && typing.matches("input, textarea") && sent.get(typing.id) !== typing.value
    ? [typing.id, typing.value] : null;
  if (answer.ok && method === "POST" && refused().length) discardRefused((entry) => entry.address !== String(address));
  if (form.dataset.go !== undefined && answer.redirected) { location.assign(answer.url); return; }
  const push = (form.dataset.push !== undefined && answer.redirected) || method === "GET";
  await show(answer, ids, { push, focus: typed ? typed[0] : form.dataset.focus, body });
  const next = typed && document.getElementById(typed[0]);
  if (next) next.value = typed[1];
}

async function show(answer, ids, { push, focus = "", body = null, beside = false }) {
  if (!beside) turn += 1;
  const read = new DOMParser().parseFromString(body ?? await answer.text(), "text/html");
  const wanted = (ids || "main").split(" ");
  if (wanted.some((id) => !read.getElementById(id) || !document.getElementById(id))) wanted.splice(0, wanted.length, "main");
  if (read.getElementById("block") && document.getElementById("block")) wanted.push("block");
  // text being typed stays when a result of background work is swapped in
  const typed = beside ? wanted.flatMap((id) => [...document.querySelectorAll(`#${id} input[id], #${id} textarea[id]`)])
    .filter((e) => e.value !== e.defaultValue).map((e) => [e.id, e.value]) : [];
  const active = document.activeElement;
  const marked = active?.selectionStart === undefined ? null : [active.selectionStart, active.selectionEnd];
  const mark = active?.id || (active?.name && `${active.form?.getAttribute("action") || ""}|${active.name}|${active.value}`);
  for (const id of wanted) {
    const now = document.getElementById(id), next = read.getElementById(id);
    if (now && next && !(now.contains(active) && active.matches("input[data-soon]") && id !== "main" && now === active.form)) {
      now.replaceWith(document.importNode(next, true));
    }
  }
  for (const [id, value] of typed) {
    const field = document.getElementById(id);
    if (field) field.value = value;
  }
  document.title = read.title || document.title;
  const end = new URL(answer.url);
  if (push && end.href !== location.href) history[answer.redirected ? "pushState" : "replaceState"]({}, "", end);
  const trouble = document.getElementById("trouble");
  const next = focus.split(" ").map((id) => id && document.getElementById(id)).find(Boolean);
  if (trouble && !beside) trouble.focus();
  else if (next) focused(next);
  else if (mark && !document.contains(active)) focused(find(mark), marked);
  prepare();
  document.dispatchEvent(new CustomEvent("swapped"));
}

// a suggested value is selected, to be typed over; typed text keeps its caret
function focused(field, marked = null) {
  field?.focus();
  if (!field?.matches("input[type=text], input:not([type]), textarea") || !field.value) return;
  if (field.value === field.defaultValue) field.select();
  else if (marked?.[0] != null) field.setSelectionRange(...marked);
}

function find(mark) {
  return document.getElementById(mark) || [...document.querySelectorAll("[name]")].find(
    (e) => `${e.form?.getAttribute("action") || ""}|${e.name}|${e.value}` === mark);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.swap === undefined) return;
  event.preventDefault();
  clearTimeout(soon.get(form));
  send(form, event.submitter);
});

// Only one request at a time: changes made meanwhile are sent once it is answered, together.
const soon = new WeakMap(), asked = new WeakMap();
async function ask(form) {
  if (asked.has(form)) { asked.set(form, true); return; }
  asked.set(form, false);
  try { await send(form, null, true); } finally {
    const again = asked.get(form);
    asked.delete(form);
    if (again) ask(form);
  }
}
document.addEventListener("input", (event) => {
  let target = event.target;
  if (target.dataset.mirrors) {
    target = document.getElementById(target.dataset.mirrors);
    target.value = event.target.value;
    if (target.form) ask(target.form);
    return;
  }
  for (const slider of document.querySelectorAll("[data-mirrors]")) {
    const value = Number(target.value.replace(",", "."));
    if (slider.dataset.mirrors === target.id && Number.isFinite(value)) slider.value = value;
  }
  const form = target.form;
  if (!form || target.dataset.soon === undefined || form.dataset.swap === undefined) return;
  clearTimeout(soon.get(form));
  soon.set(form, setTimeout(() => ask(form), Number(target.dataset.soon || 150)));
});

window.addEventListener("popstate", () => location.reload());

// ---- entries that could not be sent yet -------------------------------------------------------------------------------

const QUEUE = "not-sent-yet";
const waiting = () => JSON.parse(localStorage.getItem(QUEUE) || "[]");

function keep(address, data, swap) {
  // the same entry, pressed twice, has the same key
  if (waiting().some((entry) => entry.address === address && JSON.stringify(entry.data) === JSON.stringify(data))) return;
  localStorage.setItem(QUEUE, JSON.stringify([...waiting(), { address, data, swap, page: location.pathname, at: Date.now() }]));
  say(text("The server can't be reached. Your entry is kept on this device and sent when the server answers again."), true);
  setTimeout(sendKept, 1500);
}

// A form's field `key` names the entry that it makes: the server stores an entry with the same key and content once. A form
// has a key of its own when it is shown, also from a cache, and a new one for the next entry after one was kept.
function newKeys(fields) {
  for (const field of fields) {
    field.value = [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    field.dataset.made = "";
  }
}
document.addEventListener("input", (event) => {
  const key = event.target.form?.elements.key;
  if (key && waiting().some((entry) => entry.data.some(([name, value]) => name === "key" && value === key.value))) newKeys([key]);
});

const NOT_NOW = [401, 429];
let sending = false;
async function sendKept() {
  if (sending || !waiting().length) return;
  sending = true;
  let last, taken = 0;
  try {
    while (waiting().length) {
      const first = waiting()[0];
      const answer = await fetch(first.address, { method: "POST", body: new URLSearchParams(first.data) });
      if (answer.status >= 500 || NOT_NOW.includes(answer.status)) throw new Error("not now");
      const page = new DOMParser().parseFromString(await answer.clone().text(), "text/html");
      if (answer.ok) taken += 1; else addRefused(first, page);
      // one's own entries follow one another: the next of the same form has seen this one
      const seen = [...page.forms].find((f) => f.action === first.address)?.elements.seen?.value;
      const was = new URLSearchParams(first.data).get("seen");
      const rest = waiting().slice(1).map((entry) => answer.ok && seen && entry.address === first.address
        ? { ...entry, data: entry.data.map(([k, v]) => [k, k === "seen" && v === was ? seen : v]) } : entry);
      localStorage.setItem(QUEUE, JSON.stringify(rest));
      last = { answer, swap: first.swap };
    }
    say(refused().length ? text("The server is back; some of your entries were refused.") : text("The server is back; all your entries have been sent."));
    if (last) await show(last.answer, last.swap, { push: true });
  } catch {
    setTimeout(sendKept, 2000);
  } finally {
    sending = false;
  }
}
window.addEventListener("online", sendKept);

// ---- refused entries stay until they are entered again or discarded ------------------------------------

const REFUSED = "not-taken";
const refused = () => JSON.parse(localStorage.getItem(REFUSED) || "[]");
const plain = ([name, value]) => value && !["seen", "kind", "basis", "key"].includes(name);

function addRefused(entry, page) {
  const why = page.querySelector("#trouble p")?.textContent || "it was refused";
  localStorage.setItem(REFUSED, JSON.stringify([...refused(), { ...entry, why }]));
}

function discardRefused(keep) {
  localStorage.setItem(REFUSED, JSON.stringify(refused().filter(keep)));
  showRefused();
}

function showRefused() {
  document.getElementById("not-taken")?.remove();
  if (!refused().length) return;
  const box = document.createElement("section");
  box.id = "not-taken";
  box.className = "trouble";
  box.setAttribute("aria-label", text("Kept on this device"));
  for (const entry of refused()) {
    const line = document.createElement("p"), link = document.createElement("a"), button = document.createElement("button");
    line.textContent = `Refused: ${entry.data.filter(plain).map((pair) => pair[1]).join(" ")} (${entry.why.trim()}) `;
    link.href = entry.page || location.pathname;
    link.textContent = "Show";
    button.type = "button";
    button.textContent = "Discard";
    button.addEventListener("click", () => discardRefused((other) => other.at !== entry.at));
    line.append(link, " ", button);
    box.append(line);
  }
  document.getElementById("main").prepend(box);
}

// ---- work in the background -----------------------------------------------------------------------------------

const sources = new Map();

function follow(element) {
  const source = new EventSource(`/api/work/${element.dataset.work}/events`);
  sources.set(element, source);
  source.onmessage = (event) => {
    const work = JSON.parse(event.data);
    const bar = element.querySelector("progress"), words = element.querySelector("[data-said]");
    if (bar) { if (work.share === null) bar.removeAttribute("value"); else bar.value = work.share; }
    if (words) words.textContent = work.shown;
    if (["done", "failed", "stopped"].includes(work.state)) { source.close(); showFound(element); }
  };
}

// The result of background work replaces its part of the page; when a newer entry has overtaken the answer, it is fetched again.
async function showFound(element) {
  while (document.contains(element)) {
    const at = turn;
    let answer, body;
    try { answer = await fetch(location.href); body = await answer.text(); } catch { await pause(2000); continue; }
    while (pressed) await pause(30);
    if (at === turn) { await show(answer, element.dataset.then || "main", { push: false, beside: true, body }); return; }
  }
}
const pause = (ms) => new Promise((again) => { setTimeout(again, ms); });

// no button is replaced while it is being pressed
let pressed = false;
document.addEventListener("pointerdown", () => { pressed = true; }, true);
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => setTimeout(() => { pressed = false; }), true);

// a form that is opened is typed into at once
document.addEventListener("toggle", (event) => {
  if (event.target.open && event.target.matches(".again")) event.target.querySelector("input:not([type=hidden])")?.focus();
}, true);

function prepare() {
  for (const slider of document.querySelectorAll("[data-mirrors]")) slider.hidden = false;
  newKeys(document.querySelectorAll("input[type=hidden][name=key]:not([data-made])"));
  showRefused();
  for (const [element, source] of sources) {
    if (!document.contains(element)) { source.close(); sources.delete(element); }
  }
  for (const element of document.querySelectorAll("[data-work]:not([data-followed])")) {
    element.dataset.followed = "";
    follow(element);
  }
}

prepare();
if (waiting().length) sendKept();
