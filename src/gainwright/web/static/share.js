// Sharing a file by the system's own sheet, where the browser has one, and printing the page; without it the download is there.
const { documentElement: root } = document;
const probe = () => new File(["%PDF-"], "probe.pdf", { type: "application/pdf" });
if (navigator.share && navigator.canShare?.({ files: [probe()] })) root.classList.add("shares");

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-share], [data-print]");
  if (!button) return;
  if (button.dataset.print !== undefined) { window.print(); return; }
  button.disabled = true;
  try {
    const answer = await fetch(button.dataset.share);
    if (!answer.ok) throw new Error(answer.statusText);
    const name = /filename="?([^";]+)/.exec(answer.headers.get("content-disposition") ?? "")?.[1] ?? "paper.pdf";
    const file = new File([await answer.blob()], name, { type: answer.headers.get("content-type") ?? "" });
    await navigator.share({ files: [file], title: button.dataset.title });
  } catch (problem) {
    if (problem.name !== "AbortError") location.assign(button.dataset.share); // as a download, then
  } finally { button.disabled = false; }
});
