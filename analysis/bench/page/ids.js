// Random ids. crypto.randomUUID is for https only; getRandomValues works on plain http too, which
// is how a phone in the workshop usually meets this page.

/** A random UUID, version 4 (RFC 9562). */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [8, 12, 16, 20, 32].map((end, k, ends) => hex.slice(k ? ends[k - 1] : 0, end)).join("-");
}
