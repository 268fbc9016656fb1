// Pictures are made smaller on the tablet where its browser can, before they are kept and sent.

const SIDE_PX = 2560;
const SMALL_BYTES = 1_500_000;
const QUALITY = 0.85;

/** The same picture, no longer than what the shop keeps; as it is where it is small or unreadable. */
export async function smaller(file) {
  if (!file.type.startsWith("image/") || file.size <= SMALL_BYTES) {
    return file;
  }
  try {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, SIDE_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    if (made === null || made.size >= file.size) {
      return file;
    }
    return new File([made], file.name.replace(/\.\w+$/, "") + ".jpg", { type: made.type });
  } catch {
    return file;
  }
}
