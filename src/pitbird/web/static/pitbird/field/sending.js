// Entries on their way to the book: in order, at least once, one sender at a time, none dropped before it was answered.

import * as keep from "./keep.js";
import { spoken } from "./language.js";
import { newer } from "./snapshot.js";
import { signed } from "./signing.js";

const MOST = 100;
const KEPT_ANSWERED = 60;
const FINAL = ["written", "already", "waiting", "settled"];

/** Sign an entry and keep it until it was answered. `texts` go beside it; `shown` is what this page says of it. */
export async function write(body, more) {
  const entry = await made(body, more);
  await keep.addEntry(entry);
  return entry;
}

/** Several entries of one act, in this order, all kept or none. `texts` belong to the last. */
export async function writeAll(bodies, { texts = {}, ...more }) {
  await keep.addEntries(await Promise.all(bodies.map((body) => made(body, body === bodies.at(-1) ? { ...more, texts } : more))));
}

async function made(body, { book, texts = {}, shown = {} }) {
  return { id: body.id, book, state: "unsent", body, signature: await signed(body), texts, shown, answer: null };
}

/** Entries that the server has not answered yet. */
export const unsent = async () => (await keep.entries()).filter((entry) => entry.state === "unsent");

/** Send what waits here. "sent" | "nothing" | "offline" | "signed-out" | "stopped" | "busy". */
export function send(book) {
  return navigator.locks.request("pitbird-field-send", { ifAvailable: true }, (lock) => (lock ? all(book) : "busy"));
}

async function all(book) {
  let size = MOST;
  let done = "nothing";
  for (;;) {
    const batch = (await unsent()).filter((entry) => entry.book === book).slice(0, size);
    if (batch.length === 0) break;
    const answer = await post(batch);
    if (typeof answer === "string") return answer;
    if (answer.refused) {
      // Some entry of the batch cannot be read: smaller batches find out which, and that one is put aside, not lost.
      if (batch.length > 1) size = Math.max(1, Math.floor(batch.length / 2));
      else await keep.changeEntries([{ ...batch[0], state: "refused", answer: answer.refused }]);
      continue;
    }
    if (answer.book !== book) return "other-book";
    const by = new Map(answer.entries.map((each) => [each.id, each]));
    const final = batch.filter((entry) => FINAL.includes(by.get(entry.id)?.status));
    // What was sealed stays no longer on the phone than it must: erasing it in the book has to be enough.
    await keep.changeEntries(final.map((entry) => ({ ...entry, texts: {}, state: "answered", answer: by.get(entry.id) })));
    await newer(answer.detectors, answer.server_time, answer.language);
    if (final.length < batch.length) return "stopped";
    done = "sent";
  }
  await tidy();
  return done;
}

async function post(batch) {
  const entries = batch.map(({ body, signature, texts }) => ({
    body, signature, ...(Object.keys(texts).length ? { texts } : {}),
  }));
  const csrf = (await keep.get("snapshot"))?.value.csrf;
  try {
    const answer = await fetch(`/api/field/entries?lang=${spoken()}`, {
      method: "POST", body: JSON.stringify({ entries }), credentials: "same-origin", redirect: "error",
      headers: { "Content-Type": "application/json", ...(csrf ? { "X-CSRFToken": csrf } : {}) },
      signal: AbortSignal.timeout(60_000),
    });
    if (answer.status === 401 || answer.status === 403) return "signed-out";
    if (answer.status === 413 || answer.status === 422) return { refused: await answer.json() };
    if (answer.status !== 200) return "stopped";
    return await answer.json();
  } catch {
    return "offline";
  }
}

/** Of what was answered only the latest stay on the phone; what waits for the keeper stays until it was told. */
async function tidy() {
  const answered = (await keep.entries()).filter((entry) => entry.state === "answered");
  await keep.dropEntries(answered.slice(0, Math.max(0, answered.length - KEPT_ANSWERED)).map((entry) => entry.n));
}
