// The stamp of a detector: what the server last said of it, alone or for a wearer, and beside it what was written here since.

import { asSaid, caution, h, say, shared, stamp, when } from "./draw.js";
import { standing } from "./snapshot.js";
import { standingFor, standingFresh } from "./wearer.js";

/** What was written on this phone about a detector and the server has not answered yet. */
export const unanswered = (app, code) => app.entries.filter((entry) => entry.state !== "answered" && entry.body.detector === `detector:${code}`);

/** What an entry says, in a few words. */
export const what = ({ body }) => shared.headings[body.outcome] ?? (body.what ? `${say("kind_happened")}: ${say(`what_${body.what}`)}` : say(`kind_${body.kind}`));

/**
 * What may be shown of a detector now, for a wearer where one is given (`fresh` is the server's answer just asked for).
 * Whatever was written here, tests that did not fail apart, takes a yes away until the server has judged it.
 */
export function seen(app, detector, { person = null, fresh = null } = {}) {
  const mine = unanswered(app, detector.code);
  const failed = mine.some((entry) => entry.body.outcome === "failed");
  const unjudged = mine.some((entry) => entry.body.kind !== "bump-test");
  let now = { ...standing(app.kept, detector), against: [], warns: [] };
  if (fresh) now = standingFresh(fresh);
  else if (person) now = standingFor(app.kept, detector, person);
  const taken = (failed || unjudged) && now.verdict === "may-go-out";
  return { ...now, ...(taken ? { verdict: "cannot-tell", until: null } : {}), taken, mine, failed, unjudged };
}

/** The parts of the screen that say it. */
export function verdict(app, detector, asked = {}) {
  const zone = app.zone();
  const now = seen(app, detector, asked);
  const said = asked.fresh?.detector ?? detector;
  const { person } = asked;
  const name = person ? app.name(person.code) : "";
  const named = (text) => text.replaceAll("{name}", () => name);
  const parts = [];
  if (now.failed && now.verdict !== "out-of-service") parts.push(stamp("cannot-tell", { words: say("failed_here") }), caution(say("failed_here_how")));
  else if (now.taken) parts.push(stamp("cannot-tell", { words: say("unjudged") }), caution(say("unjudged_how")));
  else parts.push(stamp(now.verdict, { until: now.until ? when(now.until, zone) : "" }));
  if (now.over && said.verdict === "may-go-out") parts.push(h("p", {}, say("over_how", { time: when(said.until ?? app.kept.value.until, zone) })));
  if (!now.failed && !now.over && said.reason) parts.push(h("p", {}, h("strong", {}, asSaid(app, said, said.reason)), said.to_do ? [" ", asSaid(app, said, said.to_do)] : ""));
  parts.push(...now.against.map((each) => h("p", {}, h("strong", {}, each.key ? say(each.key, { name }) : asSaid(app, detector, named(each.reason))),
    each.to_do ? [" ", asSaid(app, detector, named(each.to_do))] : "")));
  if (now.warns.length) parts.push(caution(say("wearer_says", { name }), ...now.warns.map((text) => asSaid(app, said, named(text)))));
  parts.push(...now.mine.map((entry) => h("p", { class: "bump-hint" }, say("tested_here", { what: what(entry), time: when(entry.body.at, zone) }))));
  if (said.waiting) parts.push(h("p", {}, say("waits_n", { n: said.waiting })));
  const then = when(app.kept.contact, zone);
  const time = when(asked.fresh?.contact ?? detector.given ?? app.kept.contact, zone);
  const source = !person ? say("server_said", { time }) : say(asked.fresh ? "answer_fresh" : "answer_carried", { time, name, then });
  parts.push(h("p", { class: "small quiet" }, source));
  return parts;
}

/** What is said loudly of a detector, or nothing. */
export const loud = (app, detector) => (detector.loud.length ? [caution(...detector.loud.map((text) => asSaid(app, detector, text)))] : []);

