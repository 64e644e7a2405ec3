// The chain's pages: forms sent at once, and line numbers beside the text.
import { send } from "./page.js";

function now() {
  for (const form of document.querySelectorAll("form[data-now]:not([data-sent])")) {
    form.dataset.sent = "";
    send(form);
  }
  number();
  goTo();
}

const area = () => document.querySelector("textarea.code");

function number() {
  const text = area();
  if (!text) return;
  const lines = text.value.split("\n").length;
  const wrong = Number(document.querySelector("[data-line]")?.dataset.line || 0);
  const beside = document.querySelector(".numbers");
  beside.replaceChildren();
  for (let n = 1; n <= lines; n += 1) {
    const mark = document.createElement(n === wrong ? "b" : "span");
    mark.textContent = n === wrong ? `▶${n}\n` : `${n}\n`;
    beside.append(mark);
  }
  text.rows = lines + 1;
}

// An error found by Save or Check moves the caret to it; one found while typing doesn't.
function goTo() {
  const place = document.querySelector("[data-line]"), text = area();
  const line = Number(place?.dataset.line || 0);
  if (!text || !line || document.activeElement === text) return;
  const before = text.value.split("\n").slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
  text.setSelectionRange(before + Number(place.dataset.column || 1) - 1, before + text.value.split("\n")[line - 1].length);
}

document.addEventListener("input", (event) => { if (event.target === area()) number(); });
document.addEventListener("swapped", now);
now();
