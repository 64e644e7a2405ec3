// The search: every word that is typed must occur in a section; those that have them in their heading come first.
// The index is a script, since a page that is opened from the disk may fetch nothing.
(() => {
  const form = document.querySelector(".search"), field = form.querySelector("input"), found = document.getElementById("found");
  const up = document.body.dataset.up, MOST = 15, AROUND = 70;
  form.hidden = false;

  // In the app the page that help was asked on is one tap away.
  if (location.pathname.startsWith("/help/")) {
    const from = document.referrer && new URL(document.referrer);
    if (from && from.origin === location.origin && !from.pathname.startsWith("/help/")) sessionStorage.setItem("from", from.pathname + from.search);
    const back = document.createElement("a");
    back.href = sessionStorage.getItem("from") || "/";
    back.textContent = "Back to the app";
    document.querySelector("header .name").after(back);
  }

  let loading;
  function index() {
    loading ||= new Promise((resolve, reject) => {
      const script = document.createElement("script");
      script.src = `${up}search-index.js`;
      script.onload = () => resolve(window.searchIndex);
      script.onerror = reject;
      document.head.append(script);
    });
    return loading;
  }

  const plain = (text) => text.toLowerCase();

  function score(words, title, heading, text) {
    let sum = 0;
    for (const word of words) {
      const inHeading = plain(heading).includes(word), inTitle = plain(title).includes(word);
      const times = plain(text).split(word).length - 1;
      if (!inHeading && !inTitle && !times) return 0;
      sum += (inHeading ? 8 : 0) + (inTitle ? 4 : 0) + Math.min(times, 4);
    }
    return sum;
  }

  function hits(pages, words) {
    const all = [];
    for (const [url, title, parts] of pages) {
      for (const [anchor, heading, text] of parts) {
        const points = score(words, title, heading, text);
        if (points) all.push({ points, url: `${up}${url}#${anchor}`, title, heading, text });
      }
    }
    return all.sort((a, b) => b.points - a.points).slice(0, MOST);
  }

  function excerpt(text, words) {
    const first = Math.min(...words.map((word) => plain(text).indexOf(word)).filter((at) => at >= 0), text.length);
    const from = first === text.length ? 0 : Math.max(0, first - AROUND);
    const line = document.createElement("p"), shown = text.slice(from, from + 3 * AROUND);
    if (from) line.append("… ");
    let at = 0;
    while (at < shown.length) {
      const next = words.map((word) => [plain(shown).indexOf(word, at), word]).filter(([where]) => where >= 0).sort((a, b) => a[0] - b[0])[0];
      if (!next) break;
      const mark = document.createElement("mark");
      mark.textContent = shown.slice(next[0], next[0] + next[1].length);
      line.append(shown.slice(at, next[0]), mark);
      at = next[0] + next[1].length;
    }
    line.append(shown.slice(at));
    return line;
  }

  async function search() {
    const words = plain(field.value).split(/\s+/).filter((word) => word.length > 1);
    found.hidden = !words.length;
    if (!words.length) return;
    const list = document.createElement("ol"), asked = field.value;
    const all = hits(await index(), words);
    if (field.value !== asked) return;
    for (const { url, title, heading, text } of all) {
      const item = document.createElement("li"), link = document.createElement("a");
      link.href = url;
      link.textContent = heading === title ? title : `${title}: ${heading}`;
      item.append(link, excerpt(text, words));
      list.append(item);
    }
    const none = document.createElement("p");
    none.textContent = `Nothing has ${words.join(" and ")}.`;
    found.replaceChildren(all.length ? list : none);
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    found.querySelector("a")?.click();
  });
  field.addEventListener("input", search);
  field.addEventListener("keydown", (event) => { if (event.key === "Escape") { field.value = ""; search(); } });
  found.addEventListener("click", (event) => { if (event.target.closest("a")) found.hidden = true; });
})();
