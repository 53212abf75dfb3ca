// Photos wait apart from records and go after them, each to its own address under its digest.
// Scaling through a canvas also strips what the camera wrote into the file (place, device, time).

import { got, within } from "./db.js";
import { hex } from "./digest.js";

const LANES = 2, DAY_MS = 86_400_000;
const LIMIT_BYTES = 200_000, EDGES_PX = [1280, 1024, 800, 640], QUALITIES = [0.8, 0.65, 0.5];

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
  await withRoom(() => within("photos", "readwrite", (tx) => got(tx.objectStore("photos").put({ digest, record, media: blob.type, bytes, state: "unsent" }))));
  return digest;
}

/**
 * Send every waiting photo through the sender's `post`, two at a time: one's bytes go up while the other's answer
 * is on its way. A receipt marks it; its bytes stay a while, for an office that has to be given them again.
 * When one meets trouble no further one begins, and the trouble is told once the other has ended.
 */
export async function sendPhotos(post) {
  const digests = await within("photos", "readonly", (tx) => got(tx.objectStore("photos").index("state").getAllKeys("unsent")));
  const lane = async () => {
    try {
      while (digests.length) await sendOne(digests.shift(), post);
    } catch (error) {
      digests.length = 0;
      throw error;
    }
  };
  const ends = await Promise.allSettled(Array.from({ length: LANES }, lane));
  for (const end of ends) if (end.status === "rejected") throw end.reason;
}

async function sendOne(digest, post) {
  const photo = await within("photos", "readonly", (tx) => got(tx.objectStore("photos").get(digest)));
  if (photo?.state !== "unsent") return; // wiped, or sent by another tab meanwhile
  const { status } = await post(`/field/photos/${photo.record}/${digest}`, photo.bytes, { "Content-Type": photo.media });
  if (status !== 200) return;
  await within(["photos", "meta"], "readwrite", async (tx) => {
    const photos = tx.objectStore("photos"), receipt_ms = (await got(tx.objectStore("meta").get("server_ms"))) ?? null;
    if (await got(photos.get(digest))) photos.put({ ...photo, state: "kept", receipt_ms });
  });
}

sendPhotos.waiting = () => within("photos", "readonly", (tx) => got(tx.objectStore("photos").index("state").count("unsent")));

/** Inside a transaction on `photos`: those with a receipt wait again. */
export async function rewindPhotos(tx) {
  const photos = tx.objectStore("photos");
  for (const photo of await got(photos.index("state").getAll("kept"))) if (photo.bytes) photos.put({ ...photo, state: "unsent" });
}

/** Delete photos with a receipt older than `before_ms` by the office's clock (all of them by default); resolves with how many went. */
export function forget(before_ms = Infinity) {
  return within("photos", "readwrite", async (tx) => {
    const photos = tx.objectStore("photos"), kept = await got(photos.index("state").getAll("kept"));
    const old = kept.filter((photo) => before_ms === Infinity || (photo.receipt_ms && photo.receipt_ms < before_ms));
    for (const photo of old) photos.delete(photo.digest);
    return old.length;
  });
}

/**
 * Run `write`; when the phone is full, let go of photos that the office has and run it again: of older days first,
 * since of today's the office may have no backup yet.
 */
export async function withRoom(write) {
  let full;
  for (const room of [async () => true, async () => forget(await heard() - DAY_MS), async () => forget()]) {
    if (!(await room())) continue;
    try {
      return await write();
    } catch (error) {
      if (error?.name !== "QuotaExceededError") throw error;
      full = error;
    }
  }
  throw full;
}

/** The office's time as last heard, ms; long ago when it never was. */
async function heard() {
  return (await within("meta", "readonly", (tx) => got(tx.objectStore("meta").get("server_ms")))) ?? 0;
}
