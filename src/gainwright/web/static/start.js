// The start's pages: leads by tapping an output and an input, a figure or unknown.
// Without this each input has a list of what can feed it.
import { text } from "./words.js";

let out = null, into = null; // what was tapped: the reference of an output, the field of an input

function board() {
  const form = document.getElementById("wiring");
  if (!form) { out = into = null; return; }
  for (const hidden of form.querySelectorAll(".with-script, .end.in, .outs")) hidden.hidden = false;
  for (const plain of form.querySelectorAll(".without-script, .port select, .port label")) plain.hidden = true;
  draw(form);
}

function draw(form) {
  for (const button of form.querySelectorAll("[data-input]")) {
    const chosen = document.getElementById(button.dataset.input).selectedOptions[0];
    button.querySelector("[data-source]").textContent = chosen.textContent;
    button.classList.toggle("nothing", !chosen.value);
    button.classList.toggle("lit", out !== null && chosen.value === out);
    button.setAttribute("aria-pressed", String(button.dataset.input === into));
  }
  for (const button of form.querySelectorAll("[data-output]")) {
    button.setAttribute("aria-pressed", String(button.dataset.output === out));
    button.classList.toggle("lit", into !== null && document.getElementById(into).value === button.dataset.output);
  }
  sayWhatIsTapped(form);
}

function sayWhatIsTapped(form) {
  const box = document.getElementById("tapped");
  box.replaceChildren();
  box.hidden = out === null && into === null;
  if (box.hidden) return;
  const line = document.createElement("span");
  line.textContent = out !== null ? text("Now tap the input that it feeds.") : text("Now tap the output that feeds it.");
  box.append(line);
  if (into === null) return;
  const none = document.createElement("button");
  none.type = "button";
  none.textContent = text("Disconnect");
  none.addEventListener("click", () => connect(form, "", into));
  box.append(none);
}

function connect(form, source, input) {
  const list = document.getElementById(input);
  if ([...list.options].some((option) => option.value === source)) list.value = source;
  out = into = null;
  draw(form);
}

function tap(end) {
  const form = end.form;
  if (end.dataset.output !== undefined) out = out === end.dataset.output ? null : end.dataset.output;
  else into = into === end.dataset.input ? null : end.dataset.input;
  if (out !== null && into !== null) connect(form, out, into);
  else draw(form);
}

function unknown(box) {
  if (!box.checked) { box.closest("[data-figure]").querySelector("input:not([type=checkbox])")?.focus(); return; }
  for (const field of box.closest("[data-figure]").querySelectorAll("input:not([type=checkbox])")) field.value = "";
}

document.addEventListener("click", (event) => { const end = event.target.closest?.(".end"); if (end) tap(end); });
document.addEventListener("change", (event) => {
  if (event.target.matches("[data-unknown]")) unknown(event.target);
});
document.addEventListener("input", (event) => {
  const box = event.target.closest("[data-figure]")?.querySelector("[data-unknown]");
  if (box && event.target !== box && event.target.matches("input") && event.target.value.trim()) box.checked = false;
  const mine = event.target.name && document.getElementById(`${event.target.name}:unknown`);
  if (mine && event.target.value.trim()) mine.checked = false;
});

function ready() {
  board();
  // the first thing that is wrong is brought into view, with the caret in it
  const first = document.querySelector("[aria-invalid=true]");
  if (first) (first.hidden ? document.querySelector(".wrong") : first).scrollIntoView({ block: "center" });
  if (first && !first.hidden) first.focus({ preventScroll: true });
}

document.addEventListener("swapped", ready);
ready();
