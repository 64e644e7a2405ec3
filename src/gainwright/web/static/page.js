// Swaps parts of a page instead of loading it anew. Every form and link works without this.
// A form with data-swap="id id" is sent in the background and those parts of its answer replace those of the page
// (those of its button's data-swap, if it has one);
// then the first element of its data-focus="id id" that is there has the focus.
// After a form with data-go the browser follows the redirect instead of swapping.
// An input with data-soon sends its form as it is changed. The entries of a form with data-keep are kept on this device
// until the server has answered (waiting.js). A slider with data-mirrors="ID" moves that input. An element with data-work="ID" follows work in the background.

import "./kept.js";
import { anyRefused, enter, keep, newKeys, showKept } from "./waiting.js";
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
  let found;
  const sent = new Map([...form.elements].map((e) => [e.id, e.value]));
  const entering = method === "POST" && !automatic;
  if (entering) { writing.add(form); form.ariaBusy = "true"; turn += 1; }
  try {
    found = entering && form.dataset.keep !== undefined ? await kept(form, submitter, address, options) : await answered(address, options);
  } catch (error) {
    if (error.name === "AbortError") return;
    say(error.unkept ? text("The server can't be reached, and this device can't keep your entry: its storage is full or closed. It is still in the field: write it down.")
      : text("The server can't be reached. Your entry is still here; try again."), true);
    return;
  } finally {
    if (!automatic) { writing.delete(form); form.ariaBusy = null; }
  }
  if (!found) { await waits(form); return; }
  const { answer, body } = found;
  // text typed while the answer was awaited moves to the new field
  const typing = document.activeElement;
  const typed = method === "POST" && typing?.form === form && typing.matches("input, textarea") && sent.get(typing.id) !== typing.value
    ? [typing.id, typing.value] : null;
  if (form.dataset.go !== undefined && answer.redirected) { location.assign(answer.url); return; }
  const push = (form.dataset.push !== undefined && answer.redirected) || method === "GET";
  await show(answer, ids, { push, focus: typed ? typed[0] : form.dataset.focus, body });
  const next = typed && document.getElementById(typed[0]);
  if (next) next.value = typed[1];
}

async function answered(address, options) {
  const answer = await fetch(address, options);
  return { answer, body: await answer.text() };
}

// The answer to an entry; null while it waits on this device. An error tells with `unkept` that it couldn't be kept.
async function kept(form, submitter, address, options) {
  let entry, unkept = false;
  try { entry = await keep(form, submitter, String(address)); } catch { unkept = true; }
  if (entry) return enter(entry, options.headers["x-swap"]);
  try { return await answered(address, options); } catch (error) { throw Object.assign(error, { unkept }); }
}

async function waits(form) {
  for (const field of form.elements) if (field.matches("input, textarea")) field.defaultValue = field.value; // no longer only typed
  await showKept();
  const next = document.querySelector("#waiting a"), field = document.getElementById("field");
  if (next && !form.elements.volts) next.focus(); else field?.select?.();
}

// Entries that had waited were sent, by this tab or another: what is shown of them is old.
document.addEventListener("delivered", async ({ detail: pages }) => {
  say(await anyRefused() ? text("The server is back; some of your entries were refused.") : text("The server is back; all your entries have been sent."));
  if (pages.includes(location.pathname) || !document.getElementById("no-connection").hidden) await refresh(); else await showKept();
});
document.addEventListener("unpaired", () => say(text("This device is no longer paired. Pair it again; your entries stay on it and are sent then."), true));
document.addEventListener("connected", () => refresh());

let owed;
async function refresh() {
  if (document.getElementById("trouble")) { await showKept(); return; } // it stays until it is answered
  if (document.getElementById("kept-runs")) { location.reload(); return; }
  try {
    const found = await answered(location.href, { headers: { "x-swap": "main" } });
    while (pressed) await pause(30);
    document.getElementById("no-connection").hidden = true;
    await show(found.answer, "main", { push: false, beside: true, body: found.body });
  } catch { // it went away again
    await showKept();
    clearTimeout(owed);
    owed = setTimeout(refresh, 2000);
  }
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
  // and what was opened stays open
  const opened = beside ? wanted.flatMap((id) => [...document.querySelectorAll(`#${id} details[open]`)].map(named)) : [];
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
    if (!field) continue;
    field.value = value;
    for (let box = field.closest("details"); box; box = box.parentElement.closest("details")) box.open = true; // nor is it hidden
  }
  for (const box of document.querySelectorAll("details")) if (opened.includes(named(box))) box.open = true;
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

const named = (box) => box.querySelector("summary")?.textContent;

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
  showKept();
  for (const [element, source] of sources) {
    if (!document.contains(element)) { source.close(); sources.delete(element); }
  }
  for (const element of document.querySelectorAll("[data-work]:not([data-followed])")) {
    element.dataset.followed = "";
    follow(element);
  }
}

prepare();
