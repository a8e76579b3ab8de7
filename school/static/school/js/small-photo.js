// Makes a photo small enough to be sent over a weak signal, and leaves out where and
// when it was taken.
"use strict";

self.smallPhoto = async (file) => {
  const LONGEST = 1600;
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return canvas.toDataURL("image/jpeg", 0.8);
};
