// A hand-out or a taking back that is half filled in: kept after each tap and letter, offered again to who began it.
//
// What the server answered is never kept with it: whether the detector may go out is asked anew.

import * as keep from "./keep.js";
import { custody } from "./custody.js";
import { button, h, say } from "./draw.js";
import { the, toAnswer } from "./handing.js";

const FILLED = { terms: "terms", authority: "untested", untested: "untested", back: "back" };
const GIVEN_UP = ["start", "detector", "handed", "checks"];
const FIELDS = ["code", "to", "permit", "reason", "chosen", "typed", "happened", "alarms", "alarmed"];

/** After each change of screen: what is half filled in now, and whether the screen means that it was given up. */
export async function half(app) {
  if (GIVEN_UP.includes(app.screen)) return app.half && dropHalf(app);
  const what = FILLED[app.screen];
  if (!what || !app.who) return undefined;
  const fields = FIELDS.map((name) => [name, app.data[name]]).filter(([, value]) => value !== undefined);
  app.half = { what, by: app.who.person, book: app.kept.value.book, seen: Date.now(), ...Object.fromEntries(fields) };
  try {
    await keep.put("half", app.half);
  } catch {
    app.note = say("full");
    app.redraw();
  }
  return undefined;
}

/** What was typed on a screen that is half filled in. */
export function typed(app, { id, value }) {
  if (!["permit", "reason"].includes(id) || !FILLED[app.screen]) return;
  app.data[id] = value;
  half(app);
}

/** What was filled in before on "terms" or "untested", for the same detector and wearer. */
export function filled({ half: kept }, { code, to }, what) {
  if (kept?.what !== what || kept.code !== code || kept.to !== to) return {};
  const { permit, reason, chosen, typed: own } = kept;
  return { permit, reason, chosen, typed: own };
}

export function dropHalf(app) {
  app.half = null;
  return keep.drop("half");
}

/** Whether something half filled in is to be offered: to who began it, in this book, for a detector that is carried. */
export function offered(app) {
  const kept = app.half;
  if (!kept) return false;
  if (kept.by === app.who.person && kept.book === app.kept.value.book && the(app, kept.code)) return true;
  dropHalf(app);
  return false;
}

export function halfScreen(app) {
  const { what, code, to, seen, by, ...rest } = app.half;
  const { holder } = custody(app, the(app, code));
  const minutes = Math.max(1, Math.round((Date.now() - seen) / 60_000));
  const body = [h("p", {}, say("offer_when", { n: minutes, name: app.name(by) })), h("p", {}, holder ? say("with_whom", { name: app.name(holder) }) : say("in_store"))];
  const on = async () => {
    app.half = (await keep.get("half")) ?? null; // written or given up meanwhile in another window
    if (!app.half) app.go("start");
    else if (what === "back") app.go("back", { code, ...rest });
    else toAnswer(app, code, to);
  };
  const away = () => app.go("start");
  body.push(button(say("not_me"), app.notMe));
  const title = what === "back" ? say("half_back", { code }) : say("half_out", { code, name: app.name(to) });
  return { title, body, bar: [button(say("half_drop"), away), button(say("resume"), on, { kind: "first" })] };
}
