// The field page: what stands on the screen, and what a tap leads to. Rules and decisions are the server's.

import * as keep from "./keep.js";
import { half, halfScreen, offered, typed } from "./half.js";
import { letIn } from "./people.js";
import { base64url, keys, signed } from "./signing.js";
import { send } from "./sending.js";
import { scan } from "./scan.js";
import { fetchSnapshot, find, serverNow } from "./snapshot.js";
import { asking, button, caution, h, say, speaking, when } from "./draw.js";
import { backScreen } from "./back.js";
import { handingScreens } from "./handing.js";
import { detectorScreen, testScreens, tick } from "./tests.js";
import { writtenHere } from "./written.js";

const SETTLE_MS = { other: 250, gas: 1000 }; // a glove taps twice: the button under the finger waits a moment
const IDLE_MS = 30 * 60 * 1000;
const AGAIN_MS = 60 * 1000;

const main = document.getElementById("page");

/** What this page knows; screens read it and change it by the functions below. */
export const app = {
  kept: null, device: null, who: null, settings: { sound: true, vibration: true }, test: null, half: null, entries: [],
  screen: "", data: {}, note: "", server: "", stopCamera: null, known: [],
  go, redraw, refresh, found, name, camera, notMe, announce, setTest, zone: () => app.kept?.value.site.zone ?? "UTC",
};

const screens = {
  insecure: () => ({ title: say("not_paired"), body: [caution(say("insecure"))] }),
  pair: pairScreen, paired: pairedScreen, unpaired: unpairedScreen, empty: emptyScreen,
  who: whoScreen, pin: pinScreen, start: startScreen, settings: settingsScreen, out: outScreen,
  ...Object.fromEntries(Object.entries({ detector: detectorScreen, back: backScreen, half: halfScreen, ...testScreens, ...handingScreens })
    .map(([name, draw]) => [name, (data) => draw(app, data)])),
};

// ---- drawing ----

function go(screen, data = {}) {
  app.stopCamera?.();
  app.stopCamera = null;
  const same = screen === app.screen;
  Object.assign(app, { screen, data });
  draw(!same, screen === "gas" && data.settle ? SETTLE_MS.gas : SETTLE_MS.other);
  half(app);
}

function redraw() { draw(false, 0); }

function draw(other, settle) {
  const active = document.activeElement;
  const focus = active?.dataset?.key || active?.id;
  const typed = other ? [] : [...main.querySelectorAll("input, textarea")].map((input) => [input.id, input.value]);
  const open = other ? [] : [...main.querySelectorAll("details[open]")].map((each) => each.id);
  const { title, body, bar = [] } = screens[app.screen](app.data);
  document.body.dataset.screen = app.screen;
  const note = app.note ? [h("p", { class: "note note--warning" }, app.note)] : [];
  const shown = [h("h1", { tabindex: "-1" }, title), ...note, ...body.flat()];
  if (bar.length) shown.push(h("div", { class: "bump-bar field-bar" }, bar));
  main.replaceChildren(...shown.filter(Boolean));
  document.title = `${title} – pitbird`;
  for (const [id, value] of typed) { const input = document.getElementById(id); if (input) input.value = value; }
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (other) {
    window.scrollTo(0, 0);
    main.querySelector("h1").focus({ preventScroll: true });
  } else if (focus) {
    (document.getElementById(focus) ?? main.querySelector(`[data-key="${CSS.escape(focus)}"]`))?.focus({ preventScroll: true });
  }
  document.getElementById("who").replaceChildren(...(app.who ? [name(app.who.person)] : []));
  if (settle) {
    const waiting = [...main.querySelectorAll(".bump-bar button")].filter((each) => !each.disabled);
    waiting.forEach((each) => { each.disabled = true; });
    setTimeout(() => waiting.forEach((each) => { each.disabled = false; }), settle);
  }
  tick(app);
}

function announce(text) { document.getElementById("said").textContent = text; }

/** A person's name with their code, where the name is carried. */
function name(code) {
  const known = app.kept?.value.people.find((person) => person.code === code);
  return known?.name ? `${known.name} (${code})` : code;
}

/** Keep the test as it is after a tap, and show its screen. */
async function setTest(test, screen = test.step, data = {}) {
  app.test = { ...test, step: screen, seen: Date.now() };
  go(screen, data);
  try {
    await keep.put("test", app.test);
  } catch {
    app.note = say("full");
    redraw();
  }
}

// ---- beginning ----

function pairScreen({ secret, fault }) {
  const body = [h("p", {}, say("pair_how"))];
  if (fault) body.unshift(caution(fault));
  return { title: say("pair_ask"), body, bar: [button(say("pair_do"), () => pair(secret), { kind: "first" })] };
}

async function pair(secret) {
  const body = { pairing: secret };
  try {
    const answer = await fetch("/api/field/pair", {
      method: "POST", headers: { "Content-Type": "application/json" }, credentials: "same-origin", redirect: "error",
      body: JSON.stringify({ body, signature: await signed(body) }),
    });
    if (answer.status === 404) return go("pair", { secret, fault: say("pair_gone") });
    if (answer.status !== 201) return go("pair", { secret, fault: say("pair_failed") });
    const said = await answer.json();
    const { publicKey } = await keys();
    const raw = new Uint8Array(await crypto.subtle.exportKey("raw", publicKey));
    app.device = { code: said.device, label: said.label, book: said.book, fingerprint: await fingerprint(raw), key: base64url(raw) };
    await keep.put("device", app.device);
    history.replaceState(null, "", "/field/");
    await refresh();
    return go("paired");
  } catch {
    return go("pair", { secret, fault: say("pair_offline") });
  }
}

/** The first 64 bits of SHA-256 over the algorithm's name, a NUL and the raw key, worked out here and not taken over. */
async function fingerprint(raw) {
  const bytes = new Uint8Array([...new TextEncoder().encode("ES256\0"), ...raw]);
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)).slice(0, 8);
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("").replace(/.{4}(?=.)/g, "$& ");
}

function pairedScreen() {
  const { code, label, fingerprint: shown } = app.device;
  const body = [h("p", {}, label ? `${label}. ` : "", say("pair_compare")), h("p", { class: "serial field-figures" }, shown)];
  return { title: say("pair_done", { code }), body, bar: [button(say("go_on"), begin, { kind: "first" })] };
}

function unpairedScreen() {
  return { title: say("not_paired"), body: [h("p", {}, say("not_paired_how")), ...writtenHere(app)] };
}

function emptyScreen() {
  const body = [h("p", {}, say("need_network")), ...writtenHere(app)];
  return { title: say("nothing_carried"), body, bar: [button(say("ask_again"), async () => { await refresh(); begin(); }, { kind: "first" })] };
}

/** The screen that stands first: whatever is missing, in order; a test that was left off; else which detector. */
function begin() {
  if (!app.device) return go("unpaired");
  if (!app.kept) return go("empty");
  if (!app.who) return go("who");
  const left = offered(app);
  if (app.test && app.test.step !== "written") return go("offer");
  if (left) return go("half");
  return go("start");
}

// ---- who ----

function whoScreen() {
  const { people, person } = app.kept.value;
  const known = new Set(app.known);
  const may = people.filter((each) => each.pin && each.may_write.includes("bump-test"));
  may.sort((one, other) => known.has(other.code) - known.has(one.code));
  const rows = may.map((each) => button(name(each.code), () => go("pin", { person: each.code }), { key: each.code }));
  const account = person && mayWrite(person) ? [button(name(person), () => be({ person, known_by: "account" }), { kind: "first" })] : [];
  const body = [...account, ...rows];
  if (body.length === 0) body.push(h("p", {}, say("nobody")), h("p", {}, h("a", { href: "/sign-in?next=/field/", class: "button bump-big" }, say("sign_in"))));
  return { title: say("who"), body: [h("div", { class: "field-list" }, body), speaking(app), ...writtenHere(app)] };
}

const mayWrite = (code) => app.kept.value.people.some((each) => each.code === code && each.may_write.includes("bump-test"));

function pinScreen({ person, fault }) {
  const first = !app.known.includes(person);
  const body = [];
  if (fault) body.push(caution(fault));
  body.push(asking("pin", say("pin_of", { name: name(person) }), say("let_in"), (pin) => tryPin(person, pin), { type: "password", mode: "numeric" }));
  if (first) body.push(h("p", { class: "small quiet" }, say("pin_first")));
  body.push(button(say("choose_other"), () => go("who")));
  return { title: say("who"), body };
}

async function tryPin(person, pin) {
  main.querySelectorAll("button").forEach((each) => { each.disabled = true; });
  const { state, left } = await letIn(person, pin.trim());
  await knowPeople();
  if (state === "in") return be({ person, known_by: "pin" });
  const fault = { wrong: say("pin_wrong", { n: left }), locked: say("pin_locked"), "no-pin": say("pin_none"), offline: say("pin_offline") };
  go("pin", { person, fault: fault[state] ?? say("pin_failed") });
  document.getElementById("pin").value = "";
  document.getElementById("pin").focus();
}

async function be(who) {
  if (!app.kept || !mayWrite(who.person)) return begin(); // what is carried came anew meanwhile, without them
  app.who = { ...who, seen: Date.now() };
  await keep.put("who", app.who);
  return begin();
}

async function knowPeople() { app.known = (await keep.people()).map((each) => each.person); }

/** Who holds the phone: let in by PIN not long ago, else who is signed in. */
async function whoIsIt() {
  const before = app.who;
  await knowPeople();
  const kept = await keep.get("who");
  if (app.who && app.who !== before) return; // let in while it was looked up
  const fresh = kept && Math.abs(Date.now() - kept.seen) < IDLE_MS;
  const pin = fresh && kept.known_by === "pin" && app.known.includes(kept.person);
  const person = app.kept?.value.person;
  if (pin && mayWrite(kept.person)) app.who = kept;
  else if (app.kept && person && mayWrite(person) && !kept?.left) app.who = { person, known_by: "account", seen: Date.now() };
  else app.who = null;
}

// ---- which detector ----

function startScreen({ typed, answer }) {
  const body = [];
  if (answer) body.push(...notFound(answer));
  body.push(asking("code", say("code"), say("find"), (text) => found(text), { value: typed ?? "" }));
  body.push(h("div", { id: "camera" }), button(say("scan"), () => camera("camera", found), { key: "scan" }));
  body.push(...ofTheServer(), ...writtenHere(app));
  const more = [
    button(say("not_me"), notMe),
    button(say("settings"), () => go("settings")),
  ];
  return { title: say("which"), body: [...body, h("div", { class: "field-two" }, more)] };
}

/** Somebody else takes the phone. */
async function notMe() {
  app.who = null;
  await keep.put("who", { left: true, seen: 0 });
  go("who");
}

function notFound(answer) {
  if (answer.elsewhere) {
    const site = app.kept.value.sites.find((each) => each.code === answer.elsewhere)?.name ?? answer.elsewhere;
    return [caution(say("elsewhere", { code: answer.code, site }))];
  }
  const meant = answer.near.map((code) => button(code, () => found(code)));
  const unknown = caution(say("unknown", { code: answer.code, site: app.kept.value.site.name ?? app.kept.value.site.code }));
  return meant.length ? [unknown, h("p", {}, say("meant")), h("div", { class: "field-list" }, meant)] : [unknown];
}

/** What was typed or scanned: to the detector, or back with what is wrong. True when it was a code to stop at. */
function found(text) {
  if (!text.trim()) return false;
  const answer = find(app.kept.value, text);
  if (answer.detector) go("detector", { code: answer.detector.code });
  else { app.screen = ""; go("start", { typed: text.trim(), answer }); announce(main.querySelector(".caution").textContent); }
  return true;
}

/** The camera in a place of the screen, until it reads a code. */
async function camera(place, act) {
  const spot = document.getElementById(place);
  const video = h("video", { muted: true, playsinline: true, "aria-label": say("scan_how") });
  const stopped = () => { app.stopCamera?.(); app.stopCamera = null; spot.replaceChildren(); };
  spot.replaceChildren(h("p", {}, say("scan_how")), video, button(say("scan_stop"), stopped));
  try {
    const stop = await scan(video, act);
    if (video.isConnected) app.stopCamera = stop;
    else stop();
  } catch {
    spot.replaceChildren(caution(say("scan_not")));
  }
}

function ofTheServer() {
  const { value, contact } = app.kept;
  const old = serverNow(app.kept) >= Date.parse(value.until);
  const lines = [h("p", { class: "small quiet" }, say("as_of", { time: when(contact, app.zone()) }))];
  if (old) lines.unshift(caution(say("old", { time: when(value.until, app.zone()) })));
  return lines;
}

// ---- sound, vibration, signing out ----

function settingsScreen() {
  const toggle = (what) => button(say(what), async () => {
    app.settings = { ...app.settings, [what]: !app.settings[what] };
    redraw();
    await keep.put("settings", app.settings);
  }, { pressed: app.settings[what] });
  const body = [h("div", { class: "field-two" }, toggle("sound"), toggle("vibration")),
    h("h2", {}, say("language")), speaking(app),
    h("p", { class: "small quiet" }, `${app.device.code} ${app.device.label ?? ""} `, h("span", { class: "serial" }, app.device.fingerprint)),
    button(say("sign_out"), signOut, { kind: "grave" })];
  return { title: say("settings"), body, bar: [button(say("back"), begin)] };
}

async function signOut() {
  const csrf = app.kept?.value.csrf;
  if (csrf) await fetch("/sign-out", { method: "POST", headers: { "X-CSRFToken": csrf }, credentials: "same-origin" }).catch(() => {});
  await keep.leave();
  await keep.put("left", true);
  Object.assign(app, { kept: null, who: null, test: null, half: null, known: [] });
  go("out");
}

function outScreen() {
  const open = app.entries.filter((entry) => entry.state === "unsent").length;
  const body = [h("p", {}, open ? say("signed_out_unsent", { n: open }) : say("signed_out"))];
  return { title: say("sign_out"), body, bar: [button(say("go_on"), async () => { await keep.drop("left"); await refresh(); begin(); }, { kind: "first" })] };
}

// ---- the server ----

let asking_ = null;
let wanted = false;

/** Send what waits, ask what is new, show it where nothing is disturbed. Asked for in the midst of it, once more. */
function refresh() {
  wanted = true;
  asking_ ??= talks().finally(() => { asking_ = null; });
  return asking_;
}

async function talks() {
  while (wanted) {
    wanted = false;
    await talk();
  }
}

async function talk() {
  const away = (await keep.get("left")) ?? false;
  if (!app.device) return;
  let other = false;
  if (!away) {
    const said = await fetchSnapshot();
    other = said.other;
    app.note = other ? say("other_book") : said.state === "ended" ? say("ended") : said.state === "signed-out" ? say("sending_signed-out") : "";
    app.kept = (await keep.get("snapshot")) ?? null;
    if (!app.who || other) await whoIsIt();
  }
  // What belongs to one book is not shown to another: it would wait there, and a fail take a detector out of service.
  app.server = app.kept && app.kept.value.book !== app.device.book ? "other-book" : await send(app.device.book);
  if (!away) app.kept = (await keep.get("snapshot")) ?? null;
  app.entries = await keep.entries();
  if (["start", "who", "detector", "written", "handed", "unpaired", "out"].includes(app.screen)) {
    if (!app.kept && !["unpaired", "out"].includes(app.screen)) begin();
    else redraw();
  }
}

async function start() {
  if (!window.isSecureContext || !window.indexedDB || !crypto.subtle || !navigator.locks) return go("insecure");
  await register();
  app.kept = (await keep.get("snapshot")) ?? null;
  app.device = (await keep.get("device")) ?? null;
  app.settings = { ...app.settings, ...(await keep.get("settings")) };
  app.test = (await keep.get("test")) ?? null;
  app.half = (await keep.get("half")) ?? null;
  app.entries = await keep.entries();
  const secret = location.pathname === "/field/pair" ? location.hash.slice(1) : "";
  if (secret) return go("pair", { secret });
  await whoIsIt();
  if (await keep.get("left")) go("out");
  else {
    if (app.device && !app.kept) await refresh();
    begin();
  }
  refresh();
  keep.lasting();
  return undefined;
}

async function register() {
  if (!navigator.serviceWorker) return;
  const before = navigator.serviceWorker.controller;
  const registered = await navigator.serviceWorker.register("/field/worker.js", { scope: "/field/", updateViaCache: "none" }).catch(() => null);
  const offer = () => { if (app.screen === "start" || !before) registered?.waiting?.postMessage("take-over"); };
  registered?.addEventListener("updatefound", () => {
    const coming = registered.installing;
    coming.addEventListener("statechange", offer);
  });
  offer();
  navigator.serviceWorker.addEventListener("controllerchange", () => { if (before && app.screen === "start") location.reload(); });
}

window.addEventListener("online", () => refresh());
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") refresh(); });
main.addEventListener("input", ({ target }) => typed(app, target));
document.addEventListener("click", () => {
  if (!app.who) return;
  if (app.who.known_by === "pin" && Date.now() - app.who.seen > IDLE_MS && !app.test) { app.who = null; go("who"); return; }
  app.who.seen = Date.now();
  keep.put("who", app.who);
});
setInterval(() => { if (app.screen !== "gas") refresh(); }, AGAIN_MS);
setInterval(() => tick(app), 200);
start();
