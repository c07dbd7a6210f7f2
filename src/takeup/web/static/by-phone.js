// A phone's page: a picture that is too large for the lab is made smaller here first, then sent by its own form.
const LONGEST = 2400;

for (const form of document.querySelectorAll("form.send")) {
  form.addEventListener("change", async (event) => {
    const field = event.target;
    const file = field.files?.[0];
    if (!file || file.size < 3_000_000 || !window.createImageBitmap) return;
    try {
      const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
      const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale);
      canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      const small = await new Promise((made) => canvas.toBlob(made, "image/jpeg", 0.9));
      const list = new DataTransfer();
      list.items.add(new File([small], "label.jpg", { type: "image/jpeg" }));
      field.files = list.files;
    } catch { /* sent as it is; the desk looks at it */ }
  });
}
