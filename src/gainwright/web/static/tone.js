// A tone of the page as one large button: play, and a real stop. Without this the browser's own controls stand there.

function dress(tone) {
  const audio = tone.querySelector("audio");
  const button = document.createElement("button");
  button.type = "button";
  button.className = "wide play";
  const name = audio.getAttribute("aria-label");
  const tell = (playing) => {
    button.textContent = playing ? `■ Stop the tone` : `▶ Play the tone from here`;
    button.setAttribute("aria-label", playing ? `Stop ${name}` : `Play ${name}`);
    button.classList.toggle("first", playing);
  };
  const stop = () => { audio.pause(); audio.currentTime = 0; tell(false); };
  audio.controls = false;
  audio.loop = true;
  tell(false);
  button.addEventListener("click", () => {
    if (!audio.paused) { stop(); return; }
    audio.play().then(() => tell(true), () => { audio.controls = true; tell(false); });
  });
  audio.addEventListener("error", () => { audio.controls = true; tell(false); });
  window.addEventListener("pagehide", stop);
  document.addEventListener("swapped", () => { if (!tone.isConnected) stop(); });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && !audio.paused) stop(); });
  tone.prepend(button);
}

function prepare() {
  for (const tone of document.querySelectorAll(".tone:not([data-dressed])")) {
    tone.dataset.dressed = "";
    dress(tone);
  }
}
prepare();
document.addEventListener("swapped", prepare);
