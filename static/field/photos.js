// Photos wait apart from records and go after them, each to its own address under its digest.
// Scaling through a canvas also strips what the camera wrote into the file (place, device, time).

import { got, within } from "./db.js";

const LIMIT_BYTES = 200_000, EDGES_PX = [1280, 1024, 800, 640], QUALITIES = [0.8, 0.65, 0.5];

const hex = (buffer) => Array.from(new Uint8Array(buffer), (byte) => byte.toString(16).padStart(2, "0")).join("");

/** A JPEG of at most 200 KB from any picture the browser can read; null when it can't. */
export async function shrink(file) {
  let picture;
  try { picture = await createImageBitmap(file); } catch { return null; }
  const canvas = document.createElement("canvas");
  try {
    for (const edge of EDGES_PX) {
      const scale = Math.min(1, edge / Math.max(picture.width, picture.height));
      canvas.width = Math.max(1, Math.round(picture.width * scale));
      canvas.height = Math.max(1, Math.round(picture.height * scale));
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      for (const quality of QUALITIES) {
        const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
        if (blob && blob.size <= LIMIT_BYTES) return blob;
      }
    }
  } finally { picture.close(); }
  return null;
}

/** Keep a scaled photo for sending; resolves with its digest (SHA-256, hex). */
export async function keep(blob, record) {
  const bytes = await blob.arrayBuffer();
  const digest = hex(await crypto.subtle.digest("SHA-256", bytes));
  await within("photos", "readwrite", (tx) => got(tx.objectStore("photos").put({ digest, record, media: blob.type, bytes, state: "unsent" })));
  return digest;
}

/** Send every waiting photo through the sender's `post`; a receipt marks it and frees its bytes. */
export async function sendPhotos(post) {
  const digests = await within("photos", "readonly", (tx) => got(tx.objectStore("photos").index("state").getAllKeys("unsent")));
  for (const digest of digests) {
    const photo = await within("photos", "readonly", (tx) => got(tx.objectStore("photos").get(digest)));
    const { status, reply } = await post(`/field/photos/${photo.record}/${digest}`, photo.bytes, { "Content-Type": photo.media });
    if (status === 200 && ["kept", "already"].includes(reply.status)) {
      await within("photos", "readwrite", (tx) => got(tx.objectStore("photos").put({ ...photo, bytes: null, state: "kept" })));
    }
  }
}

sendPhotos.waiting = () => within("photos", "readonly", (tx) => got(tx.objectStore("photos").index("state").count("unsent")));
