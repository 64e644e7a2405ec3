// A chosen photo is made smaller before it is sent: drawn upright on a canvas, which also leaves out where and when it was
// taken. Without this, or when the browser can't draw it, the file is sent as it is, and the server leaves that out.
const LONGEST_SIDE = 1600, QUALITY = 0.85;

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
}

document.addEventListener("change", async (event) => {
  const input = event.target, file = input.files?.[0];
  if (input.dataset.photo === undefined || !file) return;
  const button = input.form.querySelector("button:not([type=button])");
  button.disabled = true;
  try {
    const drawn = await smaller(file);
    if (!drawn || input.files[0] !== file) return;
    const list = new DataTransfer();
    list.items.add(new File([drawn], "photo.jpg", { type: drawn.type }));
    input.files = list.files;
  } catch { /* it is sent as it is */ } finally { button.disabled = false; }
});
