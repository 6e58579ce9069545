// The screen of taking back: whether anything happened to it, each by one tap, and back it is.

import { custody, handedBack } from "./custody.js";
import { button, caution, h, say } from "./draw.js";
import { finish, the } from "./handing.js";

const HAPPENED = ["drop", "water", "over-range", "suspected-poison", "fault", "flat-battery"];

const toggled = (list, name) => (list.includes(name) ? list.filter((each) => each !== name) : [...list, name]);

export function backScreen(app, data) {
  const { code, happened, alarms, alarmed, fault } = data;
  const detector = the(app, code);
  const holder = detector ? custody(app, detector).holder : null;
  const channels = app.kept.value.types[detector?.type]?.plan.channels.map((each) => each.name) ?? [];
  const set = (more) => app.go("back", { ...data, fault: "", ...more });
  const rows = HAPPENED.map((name) => button(say(`back_${name}`), () => set({ happened: toggled(happened, name) }), { pressed: happened.includes(name), key: name }));
  // An alarm is written with its channel: one that has only one channel asks no more.
  const alarm = () => set({ alarmed: !alarmed, alarms: !alarmed && channels.length === 1 ? channels : [] });
  if (channels.length) rows.unshift(button(say("back_alarm"), alarm, { pressed: alarmed, key: "alarmed" }));
  const body = [fault ? caution(fault) : null, h("p", {}, say("back_ask")), h("div", { class: "field-two field-back" }, rows)];
  if (alarmed && channels.length > 1) {
    const named = channels.map((name) => button(name, () => set({ alarms: toggled(alarms, name) }), { pressed: alarms.includes(name), key: `alarm-${name}` }));
    body.push(h("fieldset", { class: "field-times" }, h("legend", {}, say("back_channels")), h("div", { class: "field-two" }, named)));
  }
  const some = happened.length > 0 || alarmed;
  if (some) body.push(h("p", { class: "bump-hint" }, say("back_told")));
  const write = () => {
    if (alarmed && alarms.length === 0) {
      app.go("back", { ...data, fault: say("back_channels_missing") });
      app.announce(say("back_channels_missing"));
      return;
    }
    finish(app, handedBack(app, { code, from: holder, happened, alarms }), data);
  };
  const bar = [button(say("back"), () => app.go("detector", { code })), button(say(some ? "back_with" : "back_nothing"), write, { kind: "first", key: "write" })];
  return { title: holder ? say("back_of", { code, name: app.name(holder) }) : say("back_of_nobody", { code }), body, bar };
}
