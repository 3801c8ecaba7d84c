// Converts decoded pictures to bitmaps apart from the page, which then draws them in no time.
// An ordinary worker, no module: older browsers know only those.

self.onmessage = async ({ data: { id, picture } }) => {
  let bitmap = null;
  try {
    bitmap = await createImageBitmap(picture);
  } catch {
    // told by null: the page draws the picture itself
  }
  picture.close();
  self.postMessage({ id, bitmap }, bitmap ? [bitmap] : []);
};
