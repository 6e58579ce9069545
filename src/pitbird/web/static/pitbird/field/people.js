// Who holds this phone: a PIN, checked by the server once and then by the phone itself (docs/decisions/0016).
//
// The verifier is PBKDF2 over the PIN and over that an HMAC with a key of this phone that no script can read out.

import * as keep from "./keep.js";

const ROUNDS = 600_000;
const TRIES = 5;

async function secret() {
  const kept = await keep.get("pin-key");
  if (kept) return kept;
  const made = await crypto.subtle.generateKey({ name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
  await keep.put("pin-key", made);
  return made;
}

async function verifier(pin, salt, rounds) {
  const typed = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveBits"]);
  const bits = await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations: rounds }, typed, 256);
  return new Uint8Array(await crypto.subtle.sign("HMAC", await secret(), bits));
}

/**
 * Let somebody in by their PIN: { state: "in" | "wrong" | "locked" | "no-pin" | "offline" | "failed", left? }.
 * Without a verifier on this phone only the server can say.
 */
export async function letIn(person, pin) {
  const known = await keep.person(person);
  if (!known) return ask(person, pin);
  // The try is counted before the PIN is looked at: closing the page does not take it back.
  await keep.putPerson({ ...known, wrong: known.wrong + 1 });
  const made = await verifier(pin, known.salt, known.rounds);
  if (made.every((byte, place) => byte === known.result[place])) {
    await keep.putPerson({ ...known, wrong: 0 });
    return { state: "in" };
  }
  if (known.wrong + 1 < TRIES) return { state: "wrong", left: TRIES - known.wrong - 1 };
  await keep.dropPerson(person);
  return { state: "locked" };
}

async function ask(person, pin) {
  let answer;
  try {
    answer = await fetch("/api/field/pin", {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ person, pin }),
      credentials: "same-origin", redirect: "error", signal: AbortSignal.timeout(15_000),
    });
    const said = await answer.json();
    if (answer.status === 403 && said.error === "wrong-pin") return { state: "wrong", left: said.left };
    if (answer.status === 423) return { state: "locked" };
    if (answer.status === 404) return { state: "no-pin" };
    if (answer.status !== 200) return { state: "failed" };
    const salt = crypto.getRandomValues(new Uint8Array(16));
    const result = await verifier(pin, salt, ROUNDS);
    await keep.putPerson({ person, since: said.pin, salt, rounds: ROUNDS, result, wrong: 0 });
    return { state: "in" };
  } catch {
    return { state: "offline" };
  }
}
