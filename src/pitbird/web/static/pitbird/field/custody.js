// Who has a detector, when it may be due back, and the entries of a change of hands, whole as they are signed.

import { seconds } from "./going.js";
import { uuid7 } from "./ids.js";
import { base64url } from "./signing.js";
import { serverNow } from "./snapshot.js";

const MINUTE = 60_000;
const DAY = 24 * 60 * MINUTE;

/** Who has it: as the server said, and what was written here since. { holder, permit, due_back }; holder null: the store. */
export function custody(app, detector) {
  let found = { holder: detector.holder, permit: detector.permit, due_back: detector.due_back };
  for (const { state, body } of app.entries) {
    if (state !== "unsent" || body.detector !== `detector:${detector.code}`) continue;
    if (body.kind === "handed-back") found = { holder: null };
    else if (body.kind === "handed-out" || body.kind === "issued-untested") {
      found = { holder: body.to.slice("person:".length), permit: body.permit, due_back: body.due_back ?? body.until };
    }
  }
  return found;
}

/** The change-overs to come, of which the first two are offered. */
export function changeOvers(kept, now = Date.now()) {
  const latest = Math.max(now, serverNow(kept, now));
  return (kept.value.ends ?? [kept.value.until]).filter((text) => Date.parse(text) > latest).slice(0, 2);
}

/** The next moment at which the clocks of a zone show a time ("17:00"), within a day; null where they skip it. */
export function nextAt(text, zone, now = Date.now()) {
  if (!/^\d\d:\d\d$/.test(text)) return null;
  const [hours, minutes] = text.split(":").map(Number);
  const today = Math.floor(shownAt(now, zone) / DAY) * DAY;
  for (const day of [today, today + DAY]) {
    const wanted = day + (hours * 60 + minutes) * MINUTE;
    let at = wanted - (shownAt(wanted, zone) - wanted);
    at = wanted - (shownAt(at, zone) - at);
    if (at > now && shownAt(at, zone) === wanted) return new Date(at).toISOString();
  }
  return null;
}

/** What the clocks of a zone show at a moment, as if it were UTC, to the minute. */
function shownAt(at, zone) {
  const format = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit",
  });
  const part = Object.fromEntries(format.formatToParts(at).map(({ type, value }) => [type, Number(value)]));
  return Date.UTC(part.year, part.month - 1, part.day, part.hour, part.minute);
}

/** What every entry carries, and the kind's own fields; `about` in the order of docs/kinds.md. */
function entry(app, kind, about, fields, now) {
  const { value: { site }, contact, ahead } = app.kept;
  return {
    kind, v: 1, id: uuid7(now), at: new Date(now).toISOString(), zone: site.zone, by: `person:${app.who.person}`,
    where: `site:${site.code}`, about: [...new Set(about)],
    phone: { device: `device:${app.device.code}`, known_by: app.who.known_by, ...(contact ? { contact, ahead_s: seconds(ahead ?? 0) } : {}) },
    detector: about[0], ...fields,
  };
}

/** Handed out. From the store, unless somebody has it. */
export function handedOut(app, { code, to, permit, due, held, now = Date.now() }) {
  const wearer = `person:${to}`;
  const fields = { to: wearer, from_store: !held, ...(permit ? { permit } : {}), ...(due ? { due_back: due } : {}) };
  return entry(app, "handed-out", [`detector:${code}`, wearer], fields, now);
}

/** Issued untested; `reason` is the commitment to the text that goes beside it. */
export function issuedUntested(app, { code, to, authority, until, reason, now = Date.now() }) {
  const fields = { to: `person:${to}`, authority: `person:${authority}`, until, reason };
  return entry(app, "issued-untested", [`detector:${code}`, fields.to, fields.authority], fields, now);
}

/** Back, with what happened to it before that: a list of entries, that it came back last. */
export function handedBack(app, { code, from, happened, alarms, now = Date.now() }) {
  const about = [`detector:${code}`];
  const giver = from ? [`person:${from}`] : [];
  return [
    ...happened.map((what) => entry(app, "happened", about, { what, channels: [] }, now)),
    ...alarms.map((channel) => entry(app, "alarm-in-use", about, { channel }, now)),
    entry(app, "handed-back", [...about, ...giver], giver.length ? { back_from: giver[0] } : {}, now),
  ];
}

/** A text that stands outside the entry: { commitment, opened }. */
export async function sealed(text) {
  const salt = crypto.getRandomValues(new Uint8Array(16));
  const digest = await crypto.subtle.digest("SHA-256", new Uint8Array([...salt, ...new TextEncoder().encode(text)]));
  const hex = Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0")).join("");
  return { commitment: `sha256:${hex}`, opened: { salt: base64url(salt), text } };
}
