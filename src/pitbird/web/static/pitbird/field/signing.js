// The phone's own key: ECDSA over P-256 (ES256), made by WebCrypto as not extractable, and kept as it is.

import { bytesOf } from "./canonical.js";
import * as keep from "./keep.js";

const KEY = { name: "ECDSA", namedCurve: "P-256" };
const SIGN = { name: "ECDSA", hash: "SHA-256" };

/** Bytes in base64url without padding (RFC 4648, section 5). */
export function base64url(bytes) {
  const text = Array.from(new Uint8Array(bytes), (byte) => String.fromCharCode(byte)).join("");
  return btoa(text).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

/** The key pair of this phone; made at the first call. */
export async function keys() {
  const kept = await keep.get("keys");
  if (kept) return kept;
  const made = await crypto.subtle.generateKey(KEY, false, ["sign", "verify"]);
  await keep.put("keys", made);
  return made;
}

/** The signature over a body, in the form of the book. */
export async function signed(body) {
  const { privateKey, publicKey } = await keys();
  const sig = await crypto.subtle.sign(SIGN, privateKey, bytesOf(body));
  return { alg: "ES256", key: base64url(await crypto.subtle.exportKey("raw", publicKey)), sig: base64url(sig) };
}
