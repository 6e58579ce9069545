// What was written on this phone, and what became of it, in words.

import { button, foreign, h, list, say, when } from "./draw.js";
import { what } from "./verdict.js";

/** What was written on this phone, the newest first, with what the server answered. */
export function writtenHere(app) {
  if (app.entries.length === 0) return [];
  const open = app.entries.filter((entry) => entry.state === "unsent").length;
  const rows = app.entries.slice(-20).reverse().map((entry) => h("li", {},
    h("strong", { class: "serial" }, entry.shown.code ?? entry.id), " ",
    what(entry), ", ", when(entry.body.at, entry.body.zone), ": ", became(app, entry)));
  const sent = open ? say("unsent_n", { n: open }) : say("all_sent");
  const problem = app.server && app.server !== "sent" && app.server !== "nothing" && open ? h("p", {}, say(`sending_${app.server}`)) : null;
  return [h("section", { class: "sheet field-here", "aria-labelledby": "here" }, h("h2", { id: "here" }, say("here")), h("p", { id: "unsent" }, sent), problem,
    open ? button(say("send"), () => app.refresh(), { key: "send" }) : null, h("ul", { class: "field-written" }, rows))];
}

/** What became of an entry, in words. */
export function became(app, entry) {
  const { state, answer, book } = entry;
  if (state === "unsent") return say(app.device && book !== app.device.book ? "state_other_book" : "state_unsent");
  if (state === "refused") return say("state_refused");
  if (answer.status === "settled") return answer.index ? say("state_settled_index", answer) : say("state_settled", answer);
  if (answer.status === "waiting") {
    const faults = answer.faults.map((fault) => foreign(`${fault.where}: ${fault.problem}`, "en"));
    const why = answer.why.map((each) => say(`why_${each}`)).join("; ");
    return [say("state_waiting", answer), ` (${why}). `, answer.taken_out ? say("taken_out") : "", list(faults)];
  }
  return say(answer.counts === false ? "state_not_counted" : "state_written", answer);
}
