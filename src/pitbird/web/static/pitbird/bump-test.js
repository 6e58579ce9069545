// The logic of a bump test for the page that works without signal: what the facts seen amount to.
//
// The twin of pitbird/fleet/bump.py. Both are held to the cases in pitbird/fleet/bump_vectors.json; a change
// of one is a change of both. Pure functions of plain JSON values: no page, no clock, no storage.

const GAS_CHECKS = ["warmed_up", "hose_tight", "gauge_shows_pressure", "cylinder_in_date"];
const SIGNALS = ["sound", "light", "vibration"];
const GAS_DID_NOT_ARRIVE = ["hood-slipped", "gas-ran-out", "wrong-gas", "broken-off"];
const RANK = { passed: 0, spoiled: 1, failed: 2 };
const DECIMAL = /^-?(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,6})?$/;

/** What the facts of a bump test amount to: { outcome: "passed" | "failed" | "spoiled", reasons: [code, …] }. */
export function outcome(plan, facts) {
  const fails = [];
  const gaps = [];
  const because = facts.spoiled_because ?? null;
  if (because !== null) gaps.push(`spoiled:${because}`);
  lookAtChecks(plan, facts.checks ?? {}, fails, gaps);
  lookAtCleanAir(plan, facts.clean_air ?? [], fails, gaps);
  lookAtGas(plan, facts.applications ?? [], because, fails, gaps);
  lookAtSignals(plan, facts.signals ?? {}, fails, gaps);
  for (const what of plan.cleared) {
    const answer = own(facts.cleared ?? {}, what);
    if (answer === "no") fails.push(`not-cleared:${what}`);
    else if (answer !== "yes") gaps.push(`cleared-missing:${what}`);
  }
  if (fails.length > 0) return { outcome: "failed", reasons: [...new Set(fails)] };
  if (gaps.length > 0) return { outcome: "spoiled", reasons: [...new Set(gaps)] };
  return { outcome: "passed", reasons: [] };
}

/** The worse of two outcomes: failed, then spoiled, then passed. */
export function worst(stated, workedOut) {
  return RANK[workedOut] > RANK[stated] ? workedOut : stated;
}

/** What to write as spoiled_because: the tester's own reason, else what the worked-out reasons say. */
export function spoiledBecause(facts, reasons) {
  if ((facts.spoiled_because ?? null) !== null) return String(facts.spoiled_because);
  return reasons.some((reason) => reason.startsWith("not-exposed:")) ? "not-every-channel" : "other";
}

/** Whether the facts answer a step of the plan. A step of gas is answered once its gas was on (or off again). */
export function answered(plan, facts, { step, what }) {
  const applications = facts.applications ?? [];
  if (step === "check") return isAnswer(own(facts.checks ?? {}, what));
  if (step === "clean-air") {
    return (facts.clean_air ?? []).some((item) => item.channel === what && isAnswer(item.right));
  }
  if (step === "gas-on") return applications.some((item) => typeof item.gas_on === "string");
  if (step === "gas-off") return notExposed(plan, facts).length === 0 && applications.every(hadGas);
  if (step === "reached") {
    return applications.some((item) =>
      (item.channels ?? []).some((seen) => seen.channel === what && isAnswer(seen.reached)),
    );
  }
  if (step === "signal") return isAnswer(own(facts.signals ?? {}, what));
  if (step === "cleared") return isAnswer(own(facts.cleared ?? {}, what));
  throw new TypeError(`no such step: ${step}`);
}

/** The first step that the facts do not answer yet; null when all are answered. */
export function nextStep(plan, facts) {
  return plan.steps.find((step) => !answered(plan, facts, step)) ?? null;
}

/** Whether gas is on: the last application has no gas_off yet. */
export function gasIsOn(facts) {
  const last = (facts.applications ?? []).at(-1);
  return last !== undefined && typeof last.gas_on === "string" && typeof last.gas_off !== "string";
}

/** The channels that gas must still be shown to, by name, in the order of the plan. */
export function notExposed(plan, facts) {
  const seen = (facts.applications ?? []).flatMap((item) => item.channels ?? []);
  return plan.channels
    .filter((channel) => channel.must_show !== null)
    .map((channel) => channel.name)
    .filter((name) => !seen.some((item) => item.channel === name && isAnswer(item.reached)));
}

/** Whether a reading in clean air lies within the channel's tolerance: true, false, or null if unreadable. */
export function cleanAirRight(channel, reading) {
  const [seen, expected, tolerance] = [reading, channel.clean_air, channel.tolerance].map(millionths);
  if (seen === null || expected === null || tolerance === null) return null;
  return Math.abs(seen - expected) <= tolerance;
}

function lookAtChecks(plan, checks, fails, gaps) {
  for (const check of plan.checks) {
    const answer = own(checks, check);
    if (answer === "no") {
      if (GAS_CHECKS.includes(check)) gaps.push(`gas-check-failed:${check}`);
      else fails.push(`check-failed:${check}`);
    } else if (answer !== "yes") gaps.push(`check-missing:${check}`);
  }
}

function lookAtCleanAir(plan, seen, fails, gaps) {
  for (const channel of plan.channels) {
    const verdicts = seen.filter((item) => item.channel === channel.name).map((item) => cleanAir(channel, item));
    if (verdicts.includes("wrong")) fails.push(`clean-air-wrong:${channel.name}`);
    else if (verdicts.length === 0 || verdicts.includes("unreadable")) {
      gaps.push(`clean-air-missing:${channel.name}`);
    }
  }
  for (const name of strangers(plan, seen)) {
    const wrong = seen.some((item) => item.channel === name && item.right === "no");
    if (wrong) fails.push(`clean-air-wrong:${name}`);
    else gaps.push(`unknown-channel:${name}`);
  }
}

function cleanAir(channel, item) {
  if (item.right === "no") return "wrong";
  if (item.right !== "yes") return "unreadable";
  if ((item.reading ?? null) === null) return "right";
  const right = cleanAirRight(channel, item.reading);
  if (right === null) return "unreadable";
  return right ? "right" : "wrong";
}

// A decimal string as a whole number of millionths: below 2^53, hence exact.
function millionths(text) {
  if (typeof text !== "string" || !DECIMAL.test(text)) return null;
  const [whole, part = ""] = text.replace(/^-/, "").split(".");
  const number = Number(whole) * 1_000_000 + Number(part.padEnd(6, "0"));
  return text.startsWith("-") ? -number : number;
}

function lookAtGas(plan, applications, because, fails, gaps) {
  const shown = applications.flatMap((application, place) =>
    (application.channels ?? []).map((item) => ({
      channel: item.channel,
      reached: item.reached,
      gas: hadGas(application),
      last: place === applications.length - 1,
    })),
  );
  const unknown = strangers(plan, shown);
  const must = plan.channels.filter((channel) => channel.must_show !== null).map((channel) => channel.name);
  if (must.length === 0) gaps.push("nothing-to-show");
  for (const name of [...plan.channels.map((channel) => channel.name), ...unknown]) {
    const noes = shown.filter((item) => item.channel === name && item.reached === "no");
    const yes = shown.some((item) => item.channel === name && item.reached === "yes" && item.gas);
    const takenAway = GAS_DID_NOT_ARRIVE.includes(because) && noes.every((item) => item.last);
    if (noes.length > 0 && !takenAway) fails.push(`not-reached:${name}`);
    else if (noes.length > 0) gaps.push(`not-counted:${name}`);
    else if (unknown.includes(name)) gaps.push(`unknown-channel:${name}`);
    else if (must.includes(name) && !yes) gaps.push(`not-exposed:${name}`);
  }
}

function hadGas({ gas_on: on, gas_off: off }) {
  return typeof on === "string" && typeof off === "string" && on < off;
}

function strangers(plan, items) {
  const known = plan.channels.map((channel) => channel.name);
  return [...new Set(items.map((item) => item.channel).filter((name) => !known.includes(name)))];
}

function lookAtSignals(plan, signals, fails, gaps) {
  if (plan.signals.length === 0) gaps.push("no-signal-fitted");
  for (const signal of SIGNALS) {
    const answer = own(signals, signal);
    if (answer === "no") fails.push(`signal-silent:${signal}`);
    else if (plan.signals.includes(signal) && answer !== "yes") gaps.push(`signal-missing:${signal}`);
  }
}

function own(object, key) {
  return Object.hasOwn(object, key) ? object[key] : undefined;
}

function isAnswer(value) {
  return value === "yes" || value === "no" || value === "not-fitted";
}
