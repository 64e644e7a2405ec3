// The texts of the scripts in the page's language. The English text is the key; a page in English carries no list.
const words = JSON.parse(document.getElementById("words")?.textContent || "{}");

export function text(english, parts = {}) {
  return (words[english] ?? english).replace(/\{(\w+)\}/g, (all, name) => parts[name] ?? all);
}
