// The screens of a test: the detector and its gas, what is looked at before, gas on and off, what it came to.

import * as keep from "./keep.js";
import * as going from "./going.js";
import { cue, stayAwake } from "./cues.js";
import { asking, asSaid, button, caution, day, foreign, h, list, number, say, sentence, shared } from "./draw.js";
import { gasIsOn, notExposed, outcome } from "../bump-test.js";
import { custodyPart } from "./handing.js";
import { find, findCylinder, toTry } from "./snapshot.js";
import { uuid7 } from "./ids.js";
import { write } from "./sending.js";
import { loud, verdict } from "./verdict.js";
import { became, writtenHere } from "./written.js";

const SIGNALS = ["sound", "light", "vibration"];

// ---- the detector ----

/** The cylinders that a test would take: the one used last where it does, else those that the server put in order. */
function offered(app, type, picked) {
  const { cylinders, last_cylinder: last } = app.kept.value;
  const by = new Map(cylinders.map((each) => [each.code, each]));
  const must = type.plan.channels.filter((channel) => channel.must_show);
  const serves = (code, channel) => toTry(type, by.get(code), channel);
  const whole = (code) => by.has(code) && must.every((channel) => serves(code, channel)) && against(app, type, by.get(code)).length === 0;
  const order = type.order.filter((code) => by.has(code));
  if (picked) {
    const left = must.filter((channel) => !serves(picked, channel));
    const more = order.filter((code) => code !== picked && left.some((channel) => serves(code, channel)));
    return [picked, ...more].map((code) => by.get(code));
  }
  for (const code of [app.lastCylinder, last]) if (code && whole(code)) return [by.get(code)];
  return order.map((code) => by.get(code));
}

/** Whatever speaks against a cylinder, said before its gas is wasted. */
function against(app, type, cylinder) {
  const said = cylinder.against.map((text) => foreign(text, app.kept.value.language));
  const today = new Intl.DateTimeFormat("en-CA", { timeZone: app.zone() }).format(Date.now() - app.kept.ahead);
  if (said.length === 0) {
    if (cylinder.expired || (cylinder.expires && cylinder.expires < today)) said.push(say("gas_expired", { date: day(cylinder.expires) }));
    if (cylinder.under_pressure) said.push(say("gas_low", { bar: number(cylinder.gauge_bar) }));
    if (cylinder.quarantined) said.push(say("gas_quarantined"));
    if (cylinder.in_question) said.push(say("gas_question"));
  }
  if (said.length) return [...said, say("gas_not_count")];
  if (type.gas[cylinder.code]?.serves === "not") said.push(say("gas_serves_not"));
  return said;
}

/** One detector: what the server said, which gas it gets, and go. */
export function detectorScreen(app, { code, picked, fault }) {
  const { detector } = find(app.kept.value, code);
  if (!detector) return { title: code, body: [caution(say("unknown", { code, site: app.kept.value.site.code }))], bar: [button(say("back"), () => app.go("start"))] };
  const body = [...verdict(app, detector), ...loud(app, detector), custodyPart(app, detector)];
  const back = button(say("back"), () => app.go("start"));
  const title = detector.serial ? `${detector.code} · ${detector.serial}` : detector.code;
  if (detector.held) return { title, body: [caution(say("held"), asSaid(app, detector, detector.held)), ...body], bar: [back] };
  const type = app.kept.value.types[detector.type];
  if (!type) return { title, body: [...body, caution(say("no_plan"))], bar: [back] };
  const cylinders = offered(app, type, picked);
  const bad = cylinders.some((cylinder) => against(app, type, cylinder).length > 0);
  const names = cylinders.map((cylinder) => cylinder.code).join(", ");
  body.push(...gasPart(app, type, cylinders, { code, fault }));
  const first = () => start(app, detector, type, cylinders);
  const bar = cylinders.length
    ? [back, button(say(bad ? "with_all_the_same" : "with", { cylinder: names }), first, { kind: bad ? "grave" : "first", key: "with" })]
    : [back];
  return { title, body, bar };
}

function gasPart(app, type, cylinders, { code, fault }) {
  const rows = cylinders.map((cylinder) => {
    const wrong = against(app, type, cylinder);
    const facts = [cylinder.expires ? say("gas_in_date", { date: day(cylinder.expires) }) : "", cylinder.tests_left === null ? "" : say("tests_left", { n: cylinder.tests_left })];
    const title = h("h2", { class: "serial" }, say("cylinder", { code: cylinder.code }));
    if (wrong.length) return [title, caution(wrong[0], ...wrong.slice(1))];
    const unsure = type.gas[cylinder.code]?.serves === "cannot-tell" ? h("p", { class: "small quiet" }, say("gas_serves_cannot-tell")) : null;
    return [title, h("p", {}, facts.filter(Boolean).join(", ")), unsure];
  });
  const served = (channel) => cylinders.some((cylinder) => toTry(type, cylinder, channel));
  const unserved = type.plan.channels.filter((each) => each.must_show && !served(each)).map((each) => each.name);
  if (cylinders.length === 0) rows.push(caution(say("no_gas")));
  else if (unserved.length) rows.push(caution(say("unserved", { channels: unserved.join(", ") })));
  const pick = (text) => {
    const cylinder = findCylinder(app.kept.value, text);
    app.go("detector", cylinder ? { code, picked: cylinder.code } : { code, fault: say("cylinder_unknown", { code: text.trim() }) });
    return true;
  };
  const others = app.kept.value.cylinders.filter((each) => !cylinders.includes(each)).slice(0, 6);
  return [h("section", { class: "sheet field-gas" }, rows.flat().filter(Boolean), fault ? caution(fault) : null,
    h("details", { class: "bump-more", id: "other-gas", open: Boolean(fault) || cylinders.length === 0 }, h("summary", {}, say("other_gas")),
      h("div", { class: "field-list" }, others.map((each) => button(each.code, () => pick(each.code))),
        asking("cylinder", say("cylinder_code"), say("cylinder_take"), pick),
        h("div", { id: "gas-camera" }), button(say("scan"), () => app.camera("gas-camera", pick), { key: "gas-scan" }))),
    h("div", { class: "field" }, h("label", { for: "temperature" }, say("temperature")),
      h("input", { id: "temperature", inputmode: "decimal", autocomplete: "off", class: "serial" })),
    h("div", { id: "cold" }))];
}

function start(app, detector, type, cylinders) {
  const typed = document.getElementById("temperature").value.trim();
  const temperature = typed ? going.decimal(typed) : "";
  const spot = document.getElementById("cold");
  const cold = cylinders.find((each) => temperature && each.minimum_temperature_c !== null && Number(temperature) < Number(each.minimum_temperature_c));
  if (temperature === null || (cold && spot.dataset.told !== temperature)) {
    spot.replaceChildren(caution(temperature === null ? say("temperature_wrong") : `${cold.code}: ${say("gas_cold", { at: number(cold.minimum_temperature_c) })}`));
    spot.dataset.told = temperature ?? "";
    spot.scrollIntoView({ block: "center" });
    app.announce(spot.textContent);
    return;
  }
  app.note = "";
  const begun = going.begin({ id: uuid7(), code: detector.code, type, cylinders, person: app.who.person, temperature, now: Date.now() });
  const { value } = app.kept;
  app.setTest({ ...begun, site: value.site.code, zone: value.site.zone, book: value.book }, "checks");
}

// ---- a test that was left off ----

function offerScreen(app) {
  const { test } = app;
  const minutes = Math.max(1, Math.round((Date.now() - test.seen) / 60_000));
  const body = [h("p", {}, say("offer_when", { n: minutes, name: app.name(test.person) }))];
  const mine = test.person === app.who.person;
  const broken = async () => finish(app, going.spoil(test, "broken-off", test.seen));
  const bar = [button(say("broken"), broken, { kind: mine ? "" : "first" })];
  if (mine) bar.push(button(say("resume"), () => { if (gasIsOn(test.facts)) stayAwake(true); app.setTest(test); }, { kind: "first" }));
  return { title: say("offer", { code: test.code }), body, bar };
}

// ---- before gas ----

function checksScreen(app) {
  const { test } = app;
  const { checks, clean_air: air } = test.facts;
  const rows = test.plan.checks.map((check) => oneCheck(shared.what[check] ?? check, checks[check] === "no", (no) =>
    app.setTest(going.tapped(test, (facts) => { if (no) facts.checks[check] = "no"; else delete facts.checks[check]; }))));
  const airRows = test.plan.channels.map((channel) => {
    const no = air.some((item) => item.channel === channel.name && item.right === "no");
    const key = channel.clean_air === null || channel.clean_air === undefined ? "clean_air_plain" : "clean_air";
    return oneCheck(say(key, { channel: channel.name, at: number(channel.clean_air), unit: shared.units[channel.unit] ?? channel.unit }), no, (wrong) =>
      app.setTest(going.tapped(test, (facts) => {
        facts.clean_air = facts.clean_air.filter((item) => item.channel !== channel.name);
        if (wrong) facts.clean_air.push({ channel: channel.name, right: "no" });
      })));
  });
  const some = Object.values(checks).includes("no") || air.some((item) => item.right === "no");
  const on = () => {
    const well = going.allWell(test);
    app.setTest(well, going.stops(well).length || !going.nextCylinder(well) ? "end" : "gas");
  };
  const bar = [button(say("back"), () => drop(app)), button(say(some ? "rest_well" : "all_well"), on, { kind: "first" })];
  return { title: say("checks_of", { code: test.code }), body: [h("ul", { class: "field-checks" }, rows, airRows)], bar };
}

function oneCheck(text, no, act) {
  return h("li", {}, h("span", {}, text), button(say("not_well"), () => act(!no), { pressed: no, key: `no-${text}`, label: `${text}: ${say("not_well")}` }));
}

/** Nothing was given yet: going back is no try. */
async function drop(app) {
  const { code } = app.test;
  app.test = null;
  await keep.drop("test");
  app.go("detector", { code });
}

// ---- gas ----

function gasScreen(app) {
  const { test } = app;
  return gasIsOn(test.facts) ? gasOnScreen(app) : beforeGasScreen(app);
}

function beforeGasScreen(app) {
  const { test } = app;
  const cylinder = going.nextCylinder(test);
  if (!cylinder) return afterScreen(app);
  const long = going.needed(test, cylinder.code);
  const body = [h("p", {}, say("gas_how", { channels: going.toShow(test, cylinder.code).join(", ") }))];
  if (long) body.push(h("p", {}, h("strong", {}, say("gas_long", { n: long }))));
  const on = () => {
    stayAwake(true);
    cue("on", app.settings);
    app.lastCylinder = cylinder.code;
    app.announce(shared.say.gas_on);
    app.setTest(going.gasOn(test, cylinder, Date.now()), "gas", { settle: true });
  };
  const back = test.facts.applications.length ? [] : [button(say("back"), () => app.setTest(test, "checks"))];
  return { title: say("gas_of", { code: test.code, cylinder: cylinder.code }), body: [...body, ...spoiling(app)], bar: [...back, button(say("gas_on"), on, { kind: "first" })] };
}

function gasOnScreen(app) {
  const { test } = app;
  const rows = test.shown.map((name) => {
    const said = going.saidOf(test, name);
    const channel = test.plan.channels.find((each) => each.name === name);
    const answer = (what) => {
      cue(what === "yes" ? "tick" : "failed", app.settings);
      app.setTest(going.reached(test, name, what, Date.now()));
    };
    const came = said?.reached === "yes" ? say("came_after", { channel: name, n: number(said.after_s) }) : say("came", { channel: name });
    const alarm = channel?.must_show ? `${channel.must_show.name} ${number(channel.must_show.at)} ${shared.units[channel.unit] ?? channel.unit}` : "";
    return h("div", { class: "field-pair", role: "group", "aria-label": `${name} ${alarm}` },
      button(came, () => answer("yes"), { pressed: said?.reached === "yes", key: `came-${name}` }),
      button(say("came_not"), () => answer("no"), { pressed: said?.reached === "no", key: `not-${name}`, label: `${name}: ${say("came_not")}` }));
  });
  const off = () => {
    stayAwake(false);
    cue("off", app.settings);
    app.announce(shared.say.gas_off);
    const done = going.gasOff(test, Date.now());
    const next = going.nextCylinder(done);
    const used = done.facts.applications.some((item) => item.cylinder === `cylinder:${next?.code}`);
    app.setTest(done, next && !used ? "gas" : "after");
  };
  const body = [
    h("p", { class: "bump-clock" }, h("span", { class: "reckon", "data-clock": true }, "0"), h("span", {}, say("seconds"))),
    h("p", { "data-slowest": true }), h("div", { class: "bump-channels" }, rows), ...signals(app), ...spoiling(app)];
  const undo = test.past.length && test.facts.applications.at(-1).channels.length
    ? [button(say("undo"), () => app.setTest({ ...test, facts: test.past.at(-1), past: test.past.slice(0, -1) }), { key: "undo" })] : [];
  return { title: say("gas_is_on", { code: test.code }), body, bar: [...undo, button(say("gas_off"), off, { kind: "first" })] };
}

function signals(app) {
  const { test } = app;
  const fitted = SIGNALS.filter((signal) => test.plan.signals.includes(signal));
  const said = test.facts.signals;
  const set = (values) => app.setTest(going.tapped(test, (facts) => { Object.assign(facts.signals, values); }));
  const all = () => { cue("tick", app.settings); set(Object.fromEntries(fitted.map((signal) => [signal, said[signal] ?? "yes"]))); };
  const answered = fitted.every((signal) => said[signal]);
  const words = fitted.length === SIGNALS.length ? say("all_signals") : say("all_signals_some", { signals: fitted.map((signal) => shared.what[signal]).join(", ") });
  const no = fitted.map((signal) => button(say("silent", { signal: shared.what[signal] }), () => {
    cue("failed", app.settings);
    set({ [signal]: said[signal] === "no" ? "yes" : "no" });
  }, { pressed: said[signal] === "no", key: `silent-${signal}` }));
  if (fitted.length === 0) return [];
  return [h("div", { class: "field-signals" }, button(words, all, { pressed: answered && !Object.values(said).includes("no"), key: "signals" }), h("div", { class: "field-three" }, no))];
}

function spoiling(app) {
  const rows = going.GAS_DID_NOT_ARRIVE.map((because) => button(shared.what[because], () => {
    stayAwake(false);
    app.setTest(going.spoil(app.test, because, Date.now()), "end");
  }, { key: because }));
  return [h("p", { class: "small" }, say("spoiled")), h("div", { class: "field-spoil" }, rows)];
}

/** What runs while gas is on: the seconds, and what is still to come. */
export function tick(app) {
  const clock = document.querySelector("[data-clock]");
  if (!clock || app.screen !== "gas" || !app.test || !gasIsOn(app.test.facts)) return;
  const now = Date.now();
  const count = String(Math.floor(going.secondsOn(app.test, now)));
  if (clock.textContent === count) return;
  clock.textContent = count;
  const slowest = going.slowest(app.test, now);
  const code = app.test.facts.applications.at(-1).cylinder.slice("cylinder:".length);
  const hold = Math.ceil((going.needed(app.test, code) ?? 0) - going.secondsOn(app.test, now));
  let text = "";
  if (slowest) text = slowest.left >= 0 ? say("left", { channel: slowest.channel, n: slowest.left }) : say("late", { channel: slowest.channel, n: -slowest.left });
  else if (hold > 0) text = say("hold", { n: hold });
  document.querySelector("[data-slowest]").textContent = text;
  if (Number(count) > 0 && Number(count) % 10 === 0) app.announce(`${count} ${say("seconds")}. ${text}`);
}

// ---- after gas ----

function afterScreen(app) {
  const { test } = app;
  const { cleared } = test.plan;
  const missing = test.plan.signals.some((signal) => !test.facts.signals[signal]);
  const rows = cleared.map((what) => oneNot(shared.what[what] ?? what, test.facts.cleared[what] === "no", (no) =>
    app.setTest(going.tapped(test, (facts) => { if (no) facts.cleared[what] = "no"; else delete facts.cleared[what]; }), "after")));
  const some = Object.values(test.facts.cleared).includes("no");
  const on = () => app.setTest(going.tapped(test, (facts) => { for (const what of cleared) facts.cleared[what] ??= "yes"; }), "end");
  return {
    title: say("after", { code: test.code }),
    body: [...(missing ? signals(app) : []), h("ul", { class: "field-checks" }, rows)],
    bar: [button(some || cleared.length === 0 ? say("go_on") : say(cleared.length > 1 ? "all_clear" : "is_so"), on, { kind: "first", key: "clear" })],
  };
}

function oneNot(text, no, act) {
  return h("li", {}, h("span", {}, text), button(say("not_so"), () => act(!no), { pressed: no, key: `no-${text}`, label: `${text}: ${say("not_so")}` }));
}

/** What it came to, before it is written. */
function endScreen(app) {
  const { test } = app;
  const seen = outcome(test.plan, test.facts);
  const because = test.facts.spoiled_because;
  const told = seen.reasons.filter((reason) => !because || !/^(not-exposed|[a-z-]+-missing):/.test(reason));
  const bar = [];
  const left = notExposed(test.plan, test.facts);
  const stopped = going.stops(test).length > 0;
  if (because) bar.push(button(say("not_spoiled"), () => app.setTest(going.tapped(test, (facts) => { delete facts.spoiled_because; }), test.facts.applications.length ? "after" : "checks")));
  else if (stopped && test.facts.applications.length === 0) bar.push(button(say("change"), () => app.setTest({ ...test, facts: test.past.at(-1) ?? test.facts }, "checks")));
  else if (left.length && going.nextCylinder(test)) bar.push(button(say("give_again"), () => app.setTest(test, "gas")));
  else bar.push(button(say("change"), () => app.setTest(test, "after")));
  bar.push(button(say("write"), () => finish(app, test), { kind: "first" }));
  return { title: say("result", { code: test.code }), body: [box(seen.outcome, told.map(sentence))], bar };
}

function box(result, lines) {
  return h("div", { class: `bump-outcome bump-outcome--${result}`, id: "outcome" },
    h("p", { class: "bump-outcome__word" }, shared.headings[result]), h("p", { class: "bump-outcome__advice" }, shared.advice[result]), list(lines));
}

async function finish(app, test) {
  const { contact, ahead } = app.kept ?? {};
  const { body, reasons } = going.bodyOf(test, {
    who: app.who, site: test.site, zone: test.zone, device: app.device.code, contact, ahead: ahead ?? 0, now: Date.now(),
  });
  stayAwake(false);
  try {
    await write(body, { book: test.book, shown: { code: test.code, reasons } });
  } catch {
    app.note = say("full");
    app.redraw();
    return;
  }
  app.note = "";
  app.test = null;
  app.entries = await keep.entries();
  cue(body.outcome === "failed" ? "failed" : "passed", app.settings);
  app.go("written", { id: body.id });
  app.refresh();
}

/** After writing: what it came to, what became of it, and the next detector without going back. */
function writtenScreen(app, { id }) {
  const entry = app.entries.find((each) => each.id === id);
  if (!entry) return { title: say("here"), body: writtenHere(app), bar: [button(say("done_rack"), () => app.go("start"))] };
  const { code, reasons } = entry.shown;
  const detector = app.kept && find(app.kept.value, code).detector;
  const because = entry.body.spoiled_because;
  const told = reasons.filter((reason) => !because || !/^(not-exposed|[a-z-]+-missing):/.test(reason));
  const body = [box(entry.body.outcome, told.map(sentence)), h("p", { id: "became", role: "status" }, became(app, entry))];
  if (detector) body.push(h("section", { class: "sheet field-server" }, ...verdict(app, detector)));
  if (entry.body.outcome === "spoiled") body.push(button(say("again"), () => app.go("detector", { code }), { kind: "first" }));
  if (detector && entry.body.outcome === "passed") body.push(button(say("hand_out"), () => app.go("to", { code }), { key: "hand_out" }));
  body.push(asking("next", say("next"), say("find"), app.found), h("div", { id: "camera" }), button(say("scan"), () => app.camera("camera", app.found), { key: "scan" }));
  return { title: say("written", { code }), body, bar: [button(say("done_rack"), () => app.go("start"))] };
}

export const testScreens = {
  offer: offerScreen, checks: checksScreen, gas: gasScreen, after: afterScreen, end: endScreen, written: writtenScreen,
};
