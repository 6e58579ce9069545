// The server's answer for one wearer: asked for, or put together from the parts that it made beforehand. No rules here.

import { spoken } from "./language.js";
import { serverNow, standing } from "./snapshot.js";

const WAIT_MS = 4_000;

/** Ask the server about a detector for a wearer: { detector, contact, ahead }, or null where it does not answer soon. */
export async function ask(code, wearer, book) {
  const began = Date.now();
  try {
    const answer = await fetch(`/api/field/answer?${new URLSearchParams({ detector: code, wearer, lang: spoken() })}`, {
      headers: { Accept: "application/json" }, cache: "no-store", credentials: "same-origin", redirect: "error",
      signal: AbortSignal.timeout(WAIT_MS),
    });
    if (answer.status !== 200) return null;
    const said = await answer.json();
    const time = Date.parse(said.server_time);
    if (said.book !== book || said.wearer !== wearer || said.detector.code !== code || Number.isNaN(time)) return null;
    return { detector: { ...said.detector, language: said.language }, contact: said.server_time, ahead: (began + Date.now()) / 2 - time };
  } catch {
    return null;
  }
}

/** What may be shown of an answer that was asked for. */
export function standingFresh({ detector, contact, ahead }, now = Date.now()) {
  return { ...standing({ value: { until: null }, contact, ahead }, detector, now), against: [], warns: detector.warns };
}

/**
 * What may be shown for a wearer of what is carried (docs/field.md): the detector's own answer, and what the server said
 * of this person and of whoever does not hold it. A part that is not carried or is over tells nothing.
 */
export function standingFor(kept, detector, person, now = Date.now()) {
  const own = standing(kept, detector, now);
  const parts = [["wearer_unknown", person.wearing]];
  if (detector.holder && detector.holder !== person.code) parts.push(["others_unknown", detector.for_others]);
  const against = parts.map(([key, part]) => speaks(key, part, serverNow(kept, now))).filter(Boolean);
  const warns = parts.flatMap(([, part]) => part?.warns ?? []);
  if (own.verdict !== "may-go-out") return { ...own, against, warns };
  if (against.length) {
    const verdict = against.some((each) => each.verdict === "not-yet") ? "not-yet" : "cannot-tell";
    return { verdict, over: false, until: null, against, warns };
  }
  const ends = [own.until, ...parts.map(([, part]) => part.until)].filter(Boolean);
  return { ...own, until: ends.reduce((one, other) => (Date.parse(other) < Date.parse(one) ? other : one)), against, warns };
}

/** What a part says against, or null. */
function speaks(key, part, at) {
  if (!part) return { verdict: "cannot-tell", key };
  if (part.against) return { verdict: part.against === "not-yet" ? "not-yet" : "cannot-tell", reason: part.reason, to_do: part.to_do };
  return part.until && at >= Date.parse(part.until) ? { verdict: "cannot-tell", key } : null;
}

/** Everybody whose name or code holds the text, wearers first, who holds the phone before all; without text wearers only. */
export function findPeople(people, text, me) {
  const wanted = plain(text);
  const found = people.filter((each) => (wanted ? plain(`${each.name ?? ""} ${each.code}`).includes(wanted) : each.wearer));
  const rank = (each) => (each.code === me ? 0 : 1) + (each.wearer ? 0 : 2);
  return found.sort((one, other) => rank(one) - rank(other) || (one.name ?? one.code).localeCompare(other.name ?? other.code));
}

/** The person that a scanned or typed code means, or undefined. */
export function findPerson(people, typed) {
  const text = typed.trim().replace(/\/+$/, "");
  const code = text.slice(text.lastIndexOf("/") + 1).replace(/^person:/i, "").toLowerCase();
  return people.find((each) => each.code.toLowerCase() === code);
}

const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").trim().toLowerCase();
