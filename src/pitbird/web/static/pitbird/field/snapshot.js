// What the server said, how old it is, and what may still be shown of it. No rules here: only times are compared.

import * as keep from "./keep.js";
import { spoken } from "./language.js";

const WAIT_MS = 15_000;

/** Ask the server. { state: "fresh" | "offline" | "signed-out" | "ended" | "failed", other?: true }: what came is kept. */
export async function fetchSnapshot() {
  const kept = await keep.get("snapshot");
  let answer;
  const began = Date.now();
  try {
    answer = await fetch(`/api/field/snapshot?lang=${spoken()}`, {
      headers: { Accept: "application/json", ...(kept ? { "If-None-Match": kept.etag } : {}) },
      cache: "no-store", credentials: "same-origin", redirect: "error", signal: AbortSignal.timeout(WAIT_MS),
    });
    if (answer.status === 401) return { state: "signed-out" };
    if (answer.status === 403) return { state: "ended" };
    if (answer.status !== 200 && answer.status !== 304) return { state: "failed" };
    const time = answer.headers.get("Pitbird-Time");
    if (Number.isNaN(Date.parse(time))) return { state: "failed" };
    const value = answer.status === 304 ? kept.value : await answer.json();
    if (value.format !== "pitbird-field/1") return { state: "failed" };
    const other = Boolean(kept && kept.value.book !== value.book);
    if (other) await keep.leave();
    await keep.put("snapshot", {
      value, etag: answer.status === 304 ? kept.etag : answer.headers.get("ETag"),
      contact: time, ahead: (began + Date.now()) / 2 - Date.parse(time),
    });
    await forgetOldPins(value);
    return { state: "fresh", other };
  } catch {
    return { state: "offline" };
  }
}

/** Who had a PIN set since, or has none any more, is not let in by the old one. */
async function forgetOldPins(value) {
  const since = new Map(value.people.map((person) => [person.code, person.pin]));
  for (const known of await keep.people()) {
    if (since.get(known.person) !== known.since) await keep.dropPerson(known.person);
  }
}

/** Put the server's newer decisions into what is kept. */
export async function newer(detectors, time, language) {
  const kept = await keep.get("snapshot");
  if (!kept) return;
  const by = new Map(detectors.map((each) => [each.code, each]));
  kept.value.detectors = kept.value.detectors.map((each) => {
    const now = by.get(each.code);
    return now ? { ...now, type: each.type, given: time, language } : each;
  });
  kept.etag = ""; // another state than the one that the tag names
  await keep.put("snapshot", kept);
}

/** The server's time now, as well as this phone can know it: its clock, less how far it was ahead. */
export const serverNow = (kept, now = Date.now()) => now - kept.ahead;

/**
 * What may be shown of a detector's verdict now. A yes is over after its `until` and after that of the whole snapshot,
 * and where this clock stands before the server's last word, nobody knows how old the yes is.
 */
export function standing(kept, detector, now = Date.now()) {
  const at = serverNow(kept, now);
  const ends = [detector.until, kept.value.until].filter(Boolean).map((text) => Date.parse(text));
  const over = at >= Math.min(...ends) || at < Date.parse(kept.contact) - 120_000;
  if (detector.verdict !== "may-go-out") return { verdict: detector.verdict, over, until: null };
  if (!detector.until || over) return { verdict: "cannot-tell", over: true, until: null };
  return { verdict: "may-go-out", over: false, until: detector.until };
}

/**
 * Whether a cylinder is to be tried for a channel: what the server says of it; where it cannot tell (the book does not
 * say how quick the sensor is, for instance), whether the gas is in it at all. Oxygen is shown by any gas that lacks it.
 */
export function toTry(type, cylinder, channel) {
  const said = type.gas[cylinder.code]?.channels[channel.name]?.serves ?? null;
  if (said !== null) return said;
  return channel.gas === "oxygen" || cylinder.components.some((each) => each.gas === channel.gas);
}

/** The detector that a typed or scanned text means: { detector } | { elsewhere: site } | { near: [code] }. */
export function find(value, typed) {
  const text = typed.trim().replace(/\/+$/, "");
  const code = text.slice(text.lastIndexOf("/") + 1).replace(/^detector:/i, "").toLowerCase();
  const same = (name) => name.toLowerCase() === code;
  const detector = value.detectors.find((each) => same(each.code))
    ?? only(value.detectors.filter((each) => each.serial && each.serial.toLowerCase() === text.toLowerCase()));
  if (detector) return { detector };
  const elsewhere = Object.keys(value.elsewhere).find(same);
  if (elsewhere) return { elsewhere: value.elsewhere[elsewhere], code: elsewhere };
  const near = value.detectors.map((each) => each.code).filter((name) => code.length > 1 && alike(name.toLowerCase(), code));
  return { near: near.slice(0, 4), code: text };
}

/** The cylinder that a typed or scanned text means, or undefined. */
export function findCylinder(value, typed) {
  const text = typed.trim().replace(/\/+$/, "");
  const code = text.slice(text.lastIndexOf("/") + 1).replace(/^cylinder:/i, "").toLowerCase();
  return value.cylinders.find((each) => each.code.toLowerCase() === code);
}

const only = (found) => (found.length === 1 ? found[0] : undefined);

function alike(one, other) {
  if (one.includes(other) || other.includes(one)) return true;
  if (one.length !== other.length) return false;
  return [...one].filter((char, place) => char !== other[place]).length === 1;
}
