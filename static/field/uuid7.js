// Time-ordered ids (RFC 9562 §5.7) from getRandomValues, which plain http offers too; a 12-bit
// counter keeps the order of ids made within one millisecond or while the clock steps back (§6.2).

let lastMs = 0, counter = 0;

/** A new UUIDv7 in its canonical 36-character form. */
export function uuid7(nowMs = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  if (nowMs > lastMs) {
    lastMs = nowMs;
    counter = ((bytes[6] & 0x07) << 8) | bytes[7]; // start in the lower half: room to count
  } else if ((counter += 1) > 0xfff) {
    lastMs += 1;
    counter = 0;
  }
  for (let i = 5, ms = lastMs; i >= 0; i -= 1, ms = Math.floor(ms / 256)) bytes[i] = ms % 256;
  bytes[6] = 0x70 | (counter >> 8);
  bytes[7] = counter & 0xff;
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
