// A tone of the page as one large button: made here when it is played, as long as stated, with a real stop. It is played by
// the page's audio element, which goes on while the screen is locked and ignores a phone's silent switch, as far as browsers
// allow. Without scripts, and where this fails, the browser's own controls play the file that the server makes.
import { text } from "./words.js";
import { playedRate, toneWav } from "./tone-samples.js";

const SIDES = [["both", text("both sides")], ["left", text("left only")], ["right", text("right only")]];
let rate;

function dress(tone) {
  const audio = tone.querySelector("audio");
  const file = new URL(audio.src), asked = Object.fromEntries(["hz", "dbfs", "seconds"].map((key) => [key, Number(file.searchParams.get(key))]));
  const name = audio.getAttribute("aria-label");
  const button = Object.assign(document.createElement("button"), { type: "button", className: "wide play" });
  const sides = document.createElement("select");
  sides.setAttribute("aria-label", text("Sides of {tone}", { tone: name }));
  sides.append(...SIDES.map(([value, words]) => new Option(words, value)));
  sides.value = file.searchParams.get("sides") || "both"; // a test of one side plays that side alone
  const link = Object.assign(document.createElement("a"), { download: "", textContent: text("as a file") });
  const made = Object.assign(document.createElement("span"), { className: "soft" });
  const row = Object.assign(document.createElement("p"), { className: "hint made" });
  row.append(sides, link, made);

  const tell = (playing) => {
    button.textContent = playing ? text("■ Stop the tone") : text("▶ Play the tone from here");
    button.setAttribute("aria-label", playing ? text("Stop {tone}", { tone: name }) : text("Play {tone}", { tone: name }));
    button.classList.toggle("first", playing);
  };
  const stop = () => { audio.pause(); audio.currentTime = 0; tell(false); };
  const address = () => {
    file.searchParams.set("sides", sides.value);
    link.href = file;
  };
  const make = () => {
    rate ??= playedRate();
    if (tone.dataset.made === sides.value) return;
    if (audio.src.startsWith("blob:")) URL.revokeObjectURL(audio.src);
    audio.src = URL.createObjectURL(toneWav({ ...asked, sides: sides.value, rate }));
    tone.dataset.made = sides.value;
    made.textContent = text("{seconds} s, made here at {rate} Hz", { seconds: asked.seconds, rate });
  };
  const fall = () => { audio.src = file; audio.controls = true; tone.dataset.made = ""; tell(false); };
  const locked = () => {
    if (!navigator.mediaSession) return;
    navigator.mediaSession.metadata = new MediaMetadata({ title: name });
    for (const act of ["pause", "stop"]) {
      try { navigator.mediaSession.setActionHandler(act, stop); } catch { /* this browser has no such button */ }
    }
  };

  audio.controls = false;
  address();
  tell(false);
  button.addEventListener("click", () => {
    if (!audio.paused) { stop(); return; }
    make();
    audio.play().then(() => { tell(true); locked(); }, fall);
  });
  sides.addEventListener("change", () => { stop(); address(); });
  audio.addEventListener("ended", stop);
  audio.addEventListener("error", fall);
  window.addEventListener("pagehide", stop);
  document.addEventListener("swapped", () => { if (!tone.isConnected) stop(); });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && !audio.paused) stop(); });
  tone.prepend(button, row);
}

function prepare() {
  for (const tone of document.querySelectorAll(".tone:not([data-dressed])")) {
    tone.dataset.dressed = "";
    dress(tone);
  }
}
prepare();
document.addEventListener("swapped", prepare);
