// Opens the app without a network: its static files, the runs that were opened on this device, the job of each.
// The help too, once a run is kept or one of its pages was opened. The server puts BUILD, ASSETS and HELP before this text. Pages come from the network first; a kept one is shown when it
// doesn't answer in time, with its line "no connection". Only answers to this device while it is paired are kept,
// never those of the API, and none once its access was revoked.

const STATIC = `gainwright-static-${BUILD}`, PAGES = "gainwright-pages", GUIDE = `gainwright-help-${HELP.build}`;
const PATIENCE_MS = 3000, DOWN_MS = 10000, RUNS_KEPT = 4;
const NEVER = /^\/(api|pair|certificate)(\/|$)/;
const RUN = /^\/jobs\/([^/]+)(\/setup(\/[^/]+)?)?$/;
const SHELL = ["/", "/offline"];

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));

async function install() {
  const cache = await caches.open(STATIC);
  await cache.addAll(ASSETS);
  await self.skipWaiting();
}

async function activate() {
  const old = (await caches.keys()).filter((name) => /^gainwright-(static|help)-/.test(name) && name !== STATIC && name !== GUIDE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
}

self.addEventListener("fetch", (event) => {
  const { request } = event, { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname.startsWith("/static/")) event.respondWith(asset(request, pathname));
  else if (pathname.startsWith("/help/")) event.respondWith(guide(event, pathname));
  else if (request.mode === "navigate" && request.destination === "document" && !NEVER.test(pathname)) {
    event.respondWith(page(event, pathname));
  }
});

// ---- from the network, or what is kept ----------------------------------------------------------------------------

let downUntil = 0; // after a failure, static files aren't waited for

function soon(answer) {
  return new Promise((resolve, reject) => {
    const late = setTimeout(() => { downUntil = Date.now() + DOWN_MS; reject(new Error("too late")); }, PATIENCE_MS);
    answer.then(
      (found) => { clearTimeout(late); downUntil = 0; resolve(found); },
      (error) => { clearTimeout(late); downUntil = Date.now() + DOWN_MS; reject(error); },
    );
  });
}

// The address of a file of this build names its content. Pages kept by an earlier build, and other programs, have others.
async function asset(request, path) {
  const cache = await caches.open(STATIC), same = await cache.match(path);
  if (same) return same;
  const copy = await cache.match(path.replace(/^.*\//, `/static/${BUILD}/`));
  if (!copy) return fetch(request);
  if (Date.now() < downUntil) return copy;
  try { return await soon(fetch(request)); } catch { return copy; }
}

// The help's cache is named by its content: what is in it is right.
async function guide(event, path) {
  event.waitUntil(keepGuide());
  const same = await (await caches.open(GUIDE)).match(path.endsWith("/") ? `${path}index.html` : path);
  return same || fetch(event.request).catch(() => kept("/offline")).then((answer) => answer || Response.error());
}

async function page(event, path) {
  const copy = await kept(path), fresh = fetch(event.request);
  event.waitUntil(fresh.then((answer) => taken(path, answer.clone()), () => {}));
  try {
    return await (copy ? soon(fresh) : fresh);
  } catch {
    return copy || await kept("/offline") || Response.error();
  }
}

async function kept(path) {
  const found = await (await caches.open(PAGES)).match(path);
  if (!found) return null;
  const headers = new Headers(found.headers);
  for (const name of ["content-encoding", "content-length"]) headers.delete(name);
  return new Response((await found.text()).replace('id="no-connection" hidden', 'id="no-connection"'), { headers });
}

// ---- what is kept -------------------------------------------------------------------------------------------------

const noteOf = (job) => `/kept/${job}`;

// Keeps a page's answer where it is one of those that are kept; returns whether it was the page.
async function taken(path, answer) {
  if (answer.type === "opaqueredirect" || answer.status === 401) await checkAccess();
  const html = (answer.headers.get("content-type") || "").startsWith("text/html");
  if (answer.status !== 200 || answer.type !== "basic" || answer.redirected || !html || new URL(answer.url).search) return false;
  const cache = await caches.open(PAGES), job = RUN.exec(path)?.[1];
  if (SHELL.includes(path) || (job && await cache.match(noteOf(job)))) await cache.put(path, answer);
  return true;
}

const fetched = async (path) => taken(path, await fetch(path, { redirect: "manual", cache: "no-store" }));

// Once a device's access was revoked, nothing of the jobs stays on it.
async function checkAccess() {
  const answer = await fetch("/api/bench", { cache: "no-store" });
  if (answer.status === 401) await caches.delete(PAGES);
}

// Keeps the pages of a run, as the list of its steps names them; `state` says whether they have changed since.
async function keepRun({ job, title, state, pages }) {
  const cache = await caches.open(PAGES), note = noteOf(job);
  const before = await (await cache.match(note))?.json();
  const write = (as) => cache.put(note, Response.json({ job, title, pages, state: as, at: Date.now() }));
  const as = `${BUILD} ${state}`;
  if (before?.state !== as) {
    await write("");
    for (const path of [...pages, `/jobs/${job}`, ...SHELL]) if (!await fetched(path)) return false;
  }
  await write(as);
  await dropOthers(cache, job, pages);
  return true;
}

let guiding; // one at a time; again at the next occasion if the connection was lost
function keepGuide() {
  guiding ||= fillGuide().catch(() => { guiding = null; });
  return guiding;
}

async function fillGuide() {
  const cache = await caches.open(GUIDE), there = new Set((await cache.keys()).map(({ url }) => new URL(url).pathname));
  for (const path of HELP.files.filter((file) => !there.has(file))) {
    const answer = await fetch(path, { redirect: "manual" });
    if (answer.status !== 200) throw new Error(path);
    await cache.put(path, answer);
  }
}

async function dropOthers(cache, job, pages) {
  const notes = await notesOf(cache);
  const stay = new Set(notes.sort((a, b) => b.at - a.at).slice(0, RUNS_KEPT).map((note) => note.job));
  for (const { url } of await cache.keys()) {
    const path = new URL(url).pathname, of = RUN.exec(path);
    const gone = of && (!stay.has(of[1]) || (of[1] === job && of[3] && !pages.includes(path)));
    if (gone) await cache.delete(path);
  }
  for (const note of notes) if (!stay.has(note.job)) await cache.delete(noteOf(note.job));
}

async function notesOf(cache) {
  const found = (await cache.keys()).filter(({ url }) => new URL(url).pathname.startsWith("/kept/"));
  return Promise.all(found.map(async (request) => (await cache.match(request)).json()));
}

async function refresh(paths) {
  const cache = await caches.open(PAGES);
  for (const path of paths) if (await cache.match(path)) await fetched(path);
  return true;
}

let turn = Promise.resolve(); // one at a time
self.addEventListener("message", (event) => {
  const { keep, again, check } = event.data;
  const act = keep ? () => keepRun(keep) : again ? () => refresh(again) : check ? checkAccess : () => false;
  turn = turn.then(act).catch(() => false);
  event.waitUntil(turn.then((done) => event.ports[0]?.postMessage(done)));
  if (keep) event.waitUntil(turn.then(keepGuide));
});
