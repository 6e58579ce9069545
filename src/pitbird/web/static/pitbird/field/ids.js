// UUID version 7 (RFC 9562, section 5.7): 48 bits of Unix time in milliseconds, the rest random.

/** An id for an entry that is made here and now. */
export function uuid7(now = Date.now(), random = crypto.getRandomValues(new Uint8Array(10))) {
  const bytes = new Uint8Array(16);
  for (let place = 5, rest = now; place >= 0; place--, rest = Math.floor(rest / 256)) bytes[place] = rest % 256;
  bytes.set(random, 6);
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}
