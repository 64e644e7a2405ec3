// The pickers of a filter: only the slopes that belong to its shape. Without this every slope is offered.

function slopes(shape) {
  const list = shape.closest(".filter").querySelector("[data-slope]");
  const known = shape.selectedOptions[0]?.dataset.slopes?.split(" ");
  for (const option of list.options) option.hidden = option.disabled = Boolean(known && option.value && !known.includes(option.value));
  if (list.selectedOptions[0]?.disabled) list.value = "";
}

document.addEventListener("change", (event) => { if (event.target.matches("[data-shape]")) slopes(event.target); });

function ready() {
  for (const shape of document.querySelectorAll("[data-shape]")) slopes(shape);
}

document.addEventListener("swapped", ready);
ready();
