// Swaps parts of a page instead of loading it anew. Every form and link works without this.
// A form with data-swap="id id" is sent in the background and those parts of its answer replace those of the page;
// then the first element of its data-focus="id id" that is there has the focus.
// An input with data-soon sends its form as it is changed. A form with data-keep is kept while the server can't be
// reached, and sent when it can again. An element with data-work="ID" follows work in the background.

const said = document.getElementById("said");
let quiet;
export function say(words, stay = false) {
  said.textContent = words;
  clearTimeout(quiet);
  if (words && !stay) quiet = setTimeout(() => { said.textContent = ""; }, 6000);
}

const running = new WeakMap();

export async function send(form, submitter) {
  running.get(form)?.abort();
  const control = new AbortController();
  running.set(form, control);
  const data = new FormData(form, submitter);
  const method = (submitter?.getAttribute("formmethod") || form.getAttribute("method") || "get").toUpperCase();
  let address = submitter?.hasAttribute("formaction") ? submitter.formAction : form.action;
  const options = { method, signal: control.signal, headers: { "x-swap": form.dataset.swap || "" } };
  if (method === "GET") {
    address = new URL(address);
    address.search = new URLSearchParams(data);
  } else {
    options.body = form.enctype === "multipart/form-data" ? data : new URLSearchParams(data);
  }
  let answer;
  try {
    answer = await fetch(address, options);
  } catch (error) {
    if (error.name === "AbortError") return;
    if (form.dataset.keep !== undefined && method === "POST") keep(address, [...data], form.dataset.swap);
    else say("The server can't be reached. What you typed is still here; try again.", true);
    return;
  }
  const push = (form.dataset.push !== undefined && answer.redirected) || method === "GET";
  await show(answer, form.dataset.swap, { push, focus: form.dataset.focus });
}

async function show(answer, ids, { push, focus = "" }) {
  const read = new DOMParser().parseFromString(await answer.text(), "text/html");
  const wanted = (ids || "main").split(" ");
  if (wanted.some((id) => !read.getElementById(id) || !document.getElementById(id))) wanted.splice(0, wanted.length, "main");
  const active = document.activeElement;
  const mark = active?.id || (active?.name && `${active.form?.getAttribute("action") || ""}|${active.name}|${active.value}`);
  for (const id of wanted) {
    const now = document.getElementById(id), next = read.getElementById(id);
    if (now && next && !(now.contains(active) && active.matches("input[data-soon]") && id !== "main" && now === active.form)) {
      now.replaceWith(document.importNode(next, true));
    }
  }
  document.title = read.title || document.title;
  const end = new URL(answer.url);
  if (push && end.href !== location.href) history[answer.redirected ? "pushState" : "replaceState"]({}, "", end);
  const trouble = document.getElementById("trouble");
  const next = focus.split(" ").map((id) => id && document.getElementById(id)).find(Boolean);
  if (trouble) trouble.focus();
  else if (next) next.focus();
  else if (mark && !document.contains(active)) find(mark)?.focus();
  prepare();
  document.dispatchEvent(new CustomEvent("swapped"));
}

function find(mark) {
  return document.getElementById(mark) || [...document.querySelectorAll("[name]")].find(
    (e) => `${e.form?.getAttribute("action") || ""}|${e.name}|${e.value}` === mark);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.swap === undefined) return;
  event.preventDefault();
  send(form, event.submitter);
});

const soon = new WeakMap();
document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form || event.target.dataset.soon === undefined || form.dataset.swap === undefined) return;
  clearTimeout(soon.get(form));
  soon.set(form, setTimeout(() => send(form), Number(event.target.dataset.soon || 150)));
});

window.addEventListener("popstate", () => location.reload());

// ---- what could not be sent yet -------------------------------------------------------------------------------

const SHELF = "not-sent-yet";
const waiting = () => JSON.parse(localStorage.getItem(SHELF) || "[]");

function keep(address, data, swap) {
  localStorage.setItem(SHELF, JSON.stringify([...waiting(), { address, data, swap, at: Date.now() }]));
  say("The server can't be reached. What you entered is kept on this device and sent when it answers again.", true);
  setTimeout(sendKept, 1500);
}

let sending = false;
async function sendKept() {
  if (sending || !waiting().length) return;
  sending = true;
  let last;
  try {
    while (waiting().length) {
      const [first, ...rest] = waiting();
      const answer = await fetch(first.address, { method: "POST", body: new URLSearchParams(first.data) });
      if (answer.status >= 500) throw new Error("not now");
      localStorage.setItem(SHELF, JSON.stringify(rest));
      last = { answer, swap: first.swap };
    }
    say("The server answers again; everything that was kept is sent.");
    if (last) await show(last.answer, last.swap, { push: true });
  } catch {
    setTimeout(sendKept, 2000);
  } finally {
    sending = false;
  }
}
window.addEventListener("online", sendKept);

// ---- work in the background -----------------------------------------------------------------------------------

function follow(element) {
  const source = new EventSource(`/api/work/${element.dataset.work}/events`);
  source.onmessage = (event) => {
    const work = JSON.parse(event.data);
    const bar = element.querySelector("progress"), words = element.querySelector("[data-said]");
    if (bar) { if (work.share === null) bar.removeAttribute("value"); else bar.value = work.share; }
    if (words) words.textContent = [work.state, work.said].filter(Boolean).join(": ");
    if (["done", "failed", "stopped"].includes(work.state)) {
      source.close();
      fetch(location.href).then((answer) => show(answer, element.dataset.then || "main", { push: false }));
    }
  };
}

// ---- pictures that load when they are wanted ------------------------------------------------------------------

function prepare() {
  for (const element of document.querySelectorAll("[data-work]:not([data-followed])")) {
    element.dataset.followed = "";
    follow(element);
  }
}

prepare();
if (waiting().length) sendKept();
