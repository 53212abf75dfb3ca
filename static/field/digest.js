// Digests over what travels (RFC 9530), so that a byte changed on the road is never taken for a record.
// Plain http offers no crypto.subtle: then nothing is said and nothing checked.

const subtle = globalThis.crypto?.subtle;

export const hex = (buffer) => Array.from(new Uint8Array(buffer), (byte) => byte.toString(16).padStart(2, "0")).join("");

/** SHA-256 of bytes in base64, or null where the browser has none. */
async function sha256(bytes) {
  return subtle ? btoa(String.fromCharCode(...new Uint8Array(await subtle.digest("SHA-256", bytes)))) : null;
}

/** The header over a body: {"Content-Digest": "sha-256=:…:"}, or nothing. */
export async function digestHeader(bytes) {
  const told = await sha256(bytes);
  return told ? { "Content-Digest": `sha-256=:${told}:` } : {};
}

/** Whether bytes are those that a Content-Digest header tells of; true when it tells nothing we can check. */
export async function matches(header, bytes) {
  const told = /(?:^|[,\s])sha-256=:([^:]*):/.exec(header ?? "")?.[1];
  return !told || !subtle || told === (await sha256(bytes));
}
