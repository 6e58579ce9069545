// The screens of handing out: to whom, the server's answer for that wearer, what for and until when; and issued untested.

import * as keep from "./keep.js";
import { cue } from "./cues.js";
import { changeOvers, custody, handedOut, issuedUntested, nextAt, sealed } from "./custody.js";
import { asking, asSaid, button, caution, h, say, stamp, when } from "./draw.js";
import { writeAll } from "./sending.js";
import { filled } from "./half.js";
import { find, serverNow } from "./snapshot.js";
import { loud, seen, unanswered, verdict } from "./verdict.js";
import { ask, findPeople, findPerson } from "./wearer.js";
import { became, writtenHere } from "./written.js";

const SHOWN = 8;
const LONGEST = 120;
const REFRESH_MS = 4_000;

let writing = false;

/** The detector of a screen, or undefined. */
export const the = (app, code) => find(app.kept.value, code).detector;
const person = (app, code) => app.kept.value.people.find((each) => each.code === code) ?? { code };

// ---- who has it ----

/** On the screen of a detector: who has it, and the two ways on. */
export function custodyPart(app, detector) {
  const now = custody(app, detector);
  const { code } = detector;
  const lines = [];
  if (now.permit) lines.push(say("for_permit", { permit: now.permit }));
  if (now.due_back) {
    const past = Date.parse(now.due_back) < serverNow(app.kept);
    lines.push(say(past ? "was_due_back" : "due_back_at", { time: when(now.due_back, app.zone()) }));
  }
  const ways = [
    button(say(now.holder ? "hand_on" : "hand_out"), () => app.go("to", { code }), { key: "hand_out" }),
    button(say("take_back"), () => app.go("back", { code, happened: [], alarms: [], alarmed: false }), { key: "take_back" }),
  ];
  return h("section", { class: "sheet field-hand", "aria-labelledby": "holder" },
    h("h2", { id: "holder" }, now.holder ? say("with_whom", { name: app.name(now.holder) }) : say("in_store")),
    lines.length ? h("p", {}, lines.join(" ")) : null, h("div", { class: "field-two" }, now.holder ? ways.reverse() : ways));
}

// ---- to whom ----

function toScreen(app, { code, typed = "", fault }) {
  const { people } = app.kept.value;
  const detector = the(app, code);
  const rows = h("div", { class: "field-list", id: "people" });
  const take = (text) => {
    const exact = findPerson(people, text);
    const found = exact ? [exact] : findPeople(people, text, app.who.person);
    if (text.trim() && found.length === 1) toAnswer(app, code, found[0].code);
    else { app.go("to", { code, typed: text.trim(), fault: found.length ? "" : say("person_none") }); app.announce(found.length ? "" : say("person_none")); }
    return true;
  };
  const show = (text) => {
    const found = findPeople(people, text, app.who.person);
    const called = (each) => (each.wearer ? app.name(each.code) : say("not_wearer", { name: app.name(each.code) }));
    rows.replaceChildren(...found.slice(0, SHOWN).map((each) => button(called(each), () => toAnswer(app, code, each.code), { key: each.code })));
    if (found.length > SHOWN) rows.append(h("p", { class: "small quiet" }, say("person_more", { n: found.length - SHOWN })));
  };
  show(typed);
  const form = asking("person", say("person_code"), say("find"), take, { value: typed });
  form.querySelector("input").addEventListener("input", (event) => show(event.target.value));
  const body = [fault ? caution(fault) : null, detector && custody(app, detector).holder ? h("p", {}, say("hand_on_how")) : null,
    rows, form, h("div", { id: "camera" }), button(say("scan"), () => app.camera("camera", take), { key: "scan" })];
  return { title: say("to_whom", { code }), body, bar: [button(say("back"), () => app.go("detector", { code }))] };
}

// ---- the answer for that wearer ----

/** Send what was written here, ask the server, and show its answer; what is carried, where it does not answer soon. */
export async function toAnswer(app, code, to) {
  app.note = "";
  app.go("answer", { code, to, waits: true });
  const { data } = app;
  if (unanswered(app, code).length) await Promise.race([app.refresh(), new Promise((done) => setTimeout(done, REFRESH_MS))]);
  const fresh = await ask(code, to, app.kept.value.book);
  if (app.data !== data) return;
  app.go("answer", { code, to, fresh });
  app.announce(document.querySelector("#page .stamp")?.textContent ?? "");
}

/** What was asked and answered, without what a later screen noted beside it. */
const question = ({ code, to, fresh }) => ({ code, to, fresh });

/** What is to be said of the answer that stands now: { yes, doubt, parts }. */
function answered(app, { code, to, fresh }) {
  const detector = the(app, code);
  const asked = { person: person(app, to), fresh };
  const now = seen(app, detector, asked);
  const said = fresh?.detector ?? detector;
  return { yes: now.verdict === "may-go-out", doubt: now.failed || said.verdict === "out-of-service" || Boolean(said.held), said, now, parts: verdict(app, detector, asked) };
}

function answerScreen(app, data) {
  const { code, to, waits } = data;
  const name = app.name(to);
  const title = say("answer_for", { code, name });
  const back = button(say("back"), () => app.go("to", { code }));
  if (waits) return { title, body: [h("p", {}, say("answer_asking"))], bar: [back] };
  if (!the(app, code)) return { title, body: [caution(say("unknown", { code, site: app.kept.value.site.code }))], bar: [back] };
  const { yes, doubt, said, now, parts } = answered(app, data);
  const body = [...parts, ...(said.held ? [caution(asSaid(app, said, said.held))] : []), ...loud(app, said)];
  if (yes) return { title, body, bar: [back, button(say("go_on"), () => app.go("terms", { ...question(data), ...filled(app, data, "terms") }), { kind: "first" })] };
  const tested = now.mine.some((entry) => entry.body.outcome === "passed") && !doubt;
  const lines = [say("no_yes_how"), ...(doubt ? [say("no_yes_out")] : []), ...(tested ? [say("no_yes_test")] : [])];
  const may = person(app, app.who.person).may_write?.includes("issued-untested");
  const ways = [button(say("gone_already"), () => app.go("terms", { ...question(data), ...filled(app, data, "terms"), gone: true }), { kind: "grave" })];
  if (may && !doubt) ways.push(button(say("issue_untested"), () => app.go("authority", { ...question(data), ...filled(app, data, "untested") }), { kind: "grave" }));
  body.push(caution(say("no_yes", { name }), ...lines), h("div", { class: "field-list" }, ways));
  return { title, body, bar: [back, button(say("leave_in"), () => app.go("detector", { code }), { kind: "first" })] };
}

// ---- what for, until when ----

/** Choices of a time: the change-overs to come, perhaps none, or another one typed. `chosen` is an instant or "none". */
function times(app, screen, data, { label, none }) {
  const zone = app.zone();
  const choose = (chosen) => { document.getElementById("time").value = ""; app.go(screen, { ...data, chosen, fault: "" }); };
  const rows = changeOvers(app.kept).map((end) => button(say("due_change_over", { time: when(end, zone) }), () => choose(end), { pressed: data.chosen === end, key: end }));
  if (none) rows.push(button(say("due_none"), () => choose("none"), { pressed: data.chosen === "none", key: "none" }));
  const typed = ({ target }) => app.go(screen, { ...data, chosen: nextAt(target.value, zone), typed: true, fault: "" });
  const other = data.typed && data.chosen && data.chosen !== "none" && !changeOvers(app.kept).includes(data.chosen);
  return [h("fieldset", { class: "field-times" }, h("legend", {}, label), h("div", { class: "field-list" }, rows),
    h("div", { class: "field" }, h("label", { for: "time" }, say("due_other")), h("input", { id: "time", type: "time", class: "serial", change: typed })),
    h("p", { role: "status" }, other ? say("due_back_at", { time: when(data.chosen, zone) }) : ""))];
}

/** What is wrong with the time that was chosen, or "". */
function wrongTime(chosen, missing) {
  if (!chosen) return say(missing);
  return chosen !== "none" && Date.parse(chosen) <= Date.now() ? say("due_past") : "";
}

/** The same screen again with what is wrong at its top. */
function again(app, screen, data, fault) {
  app.go(screen, { ...data, fault });
  app.announce(fault);
  document.querySelector("#page .caution")?.scrollIntoView({ block: "center" });
}

function termsScreen(app, data) {
  const { code, to, gone, fault } = data;
  const name = app.name(to);
  const write = () => {
    const permit = document.getElementById("permit").value.trim();
    if ([...permit].length > LONGEST) return again(app, "terms", data, say("permit_long"));
    const wrong = wrongTime(data.chosen, "due_missing");
    if (wrong) return again(app, "terms", data, wrong);
    if (!gone && !answered(app, data).yes) {
      app.note = say("answer_over");
      return app.go("answer", question(data));
    }
    const held = Boolean(custody(app, the(app, code)).holder);
    return finish(app, [handedOut(app, { code, to, permit, due: data.chosen === "none" ? "" : data.chosen, held })], data);
  };
  const body = [fault ? caution(fault) : null, ...(gone ? [caution(say("no_yes", { name }))] : []),
    h("div", { class: "field" }, h("label", { for: "permit" }, say("permit_ask")), h("input", { id: "permit", autocomplete: "off", enterkeyhint: "done", value: data.permit })),
    ...times(app, "terms", data, { label: say("due_ask"), none: true })];
  const bar = [button(say("back"), () => app.go("answer", question(data))), button(say(gone ? "gone_already_do" : "hand_out_do"), write, { kind: gone ? "grave" : "first", key: "write" })];
  return { title: say("terms_of", { code, name }), body, bar };
}

// ---- issued untested ----

function authorityScreen(app, data) {
  const { code } = data;
  const may = app.kept.value.people.filter((each) => each.authority);
  const rows = may.map((each) => button(app.name(each.code), () => app.go("untested", { ...data, ...filled(app, data, "untested"), authority: each.code }), { key: each.code }));
  const body = [caution(say("untested_caution")), rows.length ? h("div", { class: "field-list" }, rows) : caution(say("authority_none"))];
  return { title: say("authority_of", { code }), body, bar: [button(say("back"), () => app.go("answer", question(data)))] };
}

function untestedScreen(app, data) {
  const { code, to, authority, fault } = data;
  const name = app.name(to);
  const write = async () => {
    const reason = document.getElementById("reason").value.trim();
    if (!reason) return again(app, "untested", data, say("untested_reason_missing"));
    const wrong = wrongTime(data.chosen, "untested_until_missing");
    if (wrong) return again(app, "untested", data, wrong);
    if (answered(app, data).doubt) return app.go("answer", question(data));
    const { commitment, opened } = await sealed(reason);
    return finish(app, [issuedUntested(app, { code, to, authority, until: data.chosen, reason: commitment })], data, { reason: opened });
  };
  const body = [fault ? caution(fault) : null, caution(say("untested_by", { name: app.name(authority) })),
    h("div", { class: "field" }, h("label", { for: "reason" }, say("untested_reason")), h("textarea", { id: "reason", rows: "3", maxlength: "2000" }, data.reason)),
    ...times(app, "untested", data, { label: say("untested_until"), none: false })];
  const bar = [button(say("back"), () => app.go("authority", { ...question(data), ...filled(app, data, "untested") })), button(say("untested_do"), write, { kind: "grave", key: "write" })];
  return { title: say("untested_of", { code, name }), body, bar };
}

// ---- written ----

/** Sign and keep the entries, all or none; then what became of them. */
export async function finish(app, bodies, data, texts = {}) {
  if (writing) return;
  writing = true;
  try {
    await writeAll(bodies, { book: app.kept.value.book, shown: { code: data.code }, texts });
  } catch {
    app.note = say("full");
    app.redraw();
    return;
  } finally {
    writing = false;
  }
  app.note = "";
  app.half = null;
  app.entries = await keep.entries();
  cue(bodies.at(-1).kind === "issued-untested" ? "failed" : "passed", app.settings);
  app.go("handed", { ids: bodies.map((body) => body.id), code: data.code, gone: data.gone });
  app.refresh();
}

function handedScreen(app, { ids, code, gone }) {
  const entries = app.entries.filter((each) => ids.includes(each.id));
  const bar = [button(say("done_rack"), () => app.go("start"))];
  const main = entries.at(-1)?.body;
  if (!main) return { title: say("here"), body: writtenHere(app), bar };
  const name = main.to ? app.name(main.to.slice("person:".length)) : "";
  const body = [];
  if (main.kind === "issued-untested") {
    const told = { name, authority: app.name(main.authority.slice("person:".length)), time: when(main.until, app.zone()) };
    body.push(stamp("not-yet", { words: say("untested_stamp") }), caution(say("untested_told", told)));
  }
  if (gone) body.push(caution(say("no_yes", { name })));
  if (entries.length > 1) body.push(caution(say("back_told")));
  const rows = entries.map((entry) => h("li", {}, h("strong", {}, entry.body.what ? say(`back_${entry.body.what}`) : say(`kind_${entry.body.kind}`)),
    entry.body.channel ? ` ${entry.body.channel}` : "", ": ", became(app, entry)));
  body.push(h("div", { id: "became", role: "status" }, h("ul", { class: "field-written", "aria-label": say("state_of_it") }, rows)));
  const detector = the(app, code);
  if (detector && main.kind === "handed-back") body.push(h("section", { class: "sheet field-server" }, ...verdict(app, detector)));
  body.push(asking("next", say("handed_next"), say("find"), app.found), h("div", { id: "camera" }), button(say("scan"), () => app.camera("camera", app.found), { key: "scan" }));
  return { title: say(`${main.kind}_done`, { code, name }), body, bar };
}

export const handingScreens = {
  to: toScreen, answer: answerScreen, terms: termsScreen, authority: authorityScreen, untested: untestedScreen, handed: handedScreen,
};
