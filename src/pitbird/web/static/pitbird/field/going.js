// A test under way as plain values: how it begins, what a tap changes, what is left, and the entry that it becomes.
//
// What the facts amount to is bump-test.js's; here is only the order of things. No page, no clock, no storage.

import { gasIsOn, notExposed, outcome, spoiledBecause, worst } from "../bump-test.js";
import { toTry } from "./snapshot.js";

export const GAS_DID_NOT_ARRIVE = ["hood-slipped", "gas-ran-out", "wrong-gas", "broken-off"];
const BEFORE_GAS = /^(check-failed|clean-air-wrong|gas-check-failed):/;
const TAKEN_BACK_AT_MOST = 30;

/** A test that begins. `cylinders` in the order in which they are to be given. */
export function begin({ id, code, type, cylinders, person, temperature, now }) {
  return {
    id, code, person, started: now, seen: now, step: "checks", temperature: temperature || null,
    plan: type.plan, gas: Object.fromEntries(cylinders.map((cylinder) => [cylinder.code, inGas(type, cylinder)])),
    cylinders: cylinders.map(({ code: name, regulator, expired }) => ({ code: name, regulator, expired })),
    facts: { checks: {}, clean_air: [], applications: [], signals: {}, cleared: {} }, past: [],
  };
}

function inGas(type, cylinder) {
  const said = type.gas[cylinder.code];
  const channels = type.plan.channels.map((channel) => [
    channel.name, { serves: toTry(type, cylinder, channel), lean_s: said?.channels[channel.name]?.lean_s ?? null },
  ]);
  return { needed_s: said?.needed_s ?? null, channels: Object.fromEntries(channels) };
}

/** The test with its facts changed, what was before kept so that the last tap can be taken back. */
export function tapped(test, change) {
  const facts = structuredClone(test.facts);
  change(facts);
  return { ...test, facts, past: [...test.past, test.facts].slice(-TAKEN_BACK_AT_MOST) };
}

/** One tap for all that is well: only what nobody answered, and never a date that the book says is past. */
export function allWell(test) {
  const past = test.cylinders.some((cylinder) => cylinder.expired);
  return tapped(test, (facts) => {
    for (const check of test.plan.checks) {
      facts.checks[check] ??= past && check === "cylinder_in_date" ? "no" : "yes";
    }
    for (const { name } of test.plan.channels) {
      if (!facts.clean_air.some((item) => item.channel === name)) facts.clean_air.push({ channel: name, right: "yes" });
    }
  });
}

/** Reasons before any gas why the test goes no further. */
export const stops = (test) => outcome(test.plan, test.facts).reasons.filter((reason) => BEFORE_GAS.test(reason));

/** The cylinder for the next gas: the first that has something to show; the last given again where none says so. */
export function nextCylinder(test) {
  const left = notExposed(test.plan, test.facts);
  const serving = test.cylinders.find(({ code }) => left.some((name) => test.gas[code]?.channels[name]?.serves));
  if (serving || left.length === 0) return serving ?? null;
  const used = test.facts.applications.map((item) => item.cylinder);
  return test.cylinders.find(({ code }) => !used.includes(`cylinder:${code}`)) ?? null;
}

/** The channels that a cylinder is to show now: those it serves and nobody answered; all that are left if unknown. */
export function toShow(test, code) {
  const left = notExposed(test.plan, test.facts);
  const served = left.filter((name) => test.gas[code]?.channels[name]?.serves);
  return served.length ? served : left;
}

/** Gas on, from a cylinder, for channels. */
export function gasOn(test, cylinder, now) {
  const shown = toShow(test, cylinder.code);
  const begun = tapped(test, (facts) => facts.applications.push({
    cylinder: `cylinder:${cylinder.code}`, ...(cylinder.regulator ? { regulator: `regulator:${cylinder.regulator}` } : {}),
    gas_on: new Date(now).toISOString(), channels: [],
  }));
  return { ...begun, step: "gas", shown };
}

/** Gas off; at least a millisecond after it came on. */
export function gasOff(test, now) {
  if (!gasIsOn(test.facts)) return test;
  return tapped(test, (facts) => {
    const last = facts.applications.at(-1);
    last.gas_off = new Date(Math.max(now, Date.parse(last.gas_on) + 1)).toISOString();
  });
}

/** A channel's alarm came, or did not. */
export function reached(test, channel, answer, now) {
  return tapped(test, (facts) => {
    const last = facts.applications.at(-1);
    const on = gasIsOn(facts);
    last.channels = last.channels.filter((item) => item.channel !== channel);
    const after = Math.max(0, (now - Date.parse(last.gas_on)) / 1000).toFixed(1).replace(/\.0$/, "");
    last.channels.push({ channel, reached: answer, ...(answer === "yes" && on ? { after_s: after } : {}) });
  });
}

/** What was said of a channel in the gas that was given last: "yes", "no", or undefined. */
export const saidOf = (test, channel) => test.facts.applications.at(-1)?.channels.find((item) => item.channel === channel);

/** Seconds since the gas came on. */
export const secondsOn = (test, now) => Math.max(0, (now - Date.parse(test.facts.applications.at(-1).gas_on)) / 1000);

/** The slowest alarm that is still to come: { channel, left }, or null where the book cannot say. */
export function slowest(test, now) {
  const code = test.facts.applications.at(-1).cylinder.slice("cylinder:".length);
  const waited = (test.shown ?? []).filter((name) => !saidOf(test, name))
    .map((name) => ({ channel: name, at: test.gas[code]?.channels[name]?.lean_s ?? null }))
    .filter((each) => each.at !== null);
  if (waited.length === 0) return null;
  const last = waited.reduce((one, other) => (other.at > one.at ? other : one));
  return { channel: last.channel, left: Math.ceil(last.at - secondsOn(test, now)) };
}

/** Seconds for which the gas should stay on by all means, or null. */
export const needed = (test, code) => test.gas[code]?.needed_s ?? null;

/** Broken off, the hood slipped, …: the gas is off, and the try is given up. */
export function spoil(test, because, now) {
  return { ...tapped(gasOff(test, now), (facts) => { facts.spoiled_because = because; }), step: "end" };
}

/** The entry of a finished test, whole as it is signed: every field that has a default is written out. */
export function bodyOf(test, { who, site, zone, device, contact, ahead, now }) {
  const facts = structuredClone(test.facts);
  const found = outcome(test.plan, facts);
  const stated = worst(facts.spoiled_because ? "spoiled" : "passed", found.outcome);
  const detector = `detector:${test.code}`;
  const last = facts.applications.at(-1)?.gas_off;
  const at = Math.max(now, last ? Date.parse(last) : 0);
  const body = {
    kind: "bump-test", v: 1, id: test.id, at: new Date(at).toISOString(), zone, by: `person:${who.person}`, where: `site:${site}`,
    about: [...new Set([detector, ...facts.applications.map((item) => item.cylinder)])],
    phone: { device: `device:${device}`, known_by: who.known_by, ...(contact ? { contact, ahead_s: seconds(ahead) } : {}) },
    detector, footing: "shown", checks: facts.checks, clean_air: facts.clean_air, applications: facts.applications,
    signals: facts.signals, cleared: facts.cleared, outcome: stated,
    ...(test.temperature ? { temperature_c: test.temperature } : {}),
    ...(stated === "spoiled" ? { spoiled_because: spoiledBecause(facts, found.reasons) } : {}),
  };
  return { body, reasons: found.reasons };
}

/** Seconds as the book writes them, from milliseconds. */
export const seconds = (ms) => (ms / 1000).toFixed(1).replace(/\.0$/, "").replace(/^-0$/, "0");

/** A decimal as the book writes it, from what somebody typed; null if it is none. */
export function decimal(text) {
  const parts = /^(-?)0*(?=\d)(\d{1,4})(?:\.(\d{1,3}))?$/.exec(text.trim().replace(",", ".").replace("−", "-").replace(/^\+/, ""));
  return parts ? `${parts[1]}${parts[2] || "0"}${parts[3] ? `.${parts[3]}` : ""}` : null;
}
