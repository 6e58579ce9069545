// The bump test page in steps: which gas, what is looked at before it, gas on and off, what is written.
//
// The form works without this script; here its own fields are shown one step after another, and the times of gas
// come from this device's clock. What the facts amount to is worked out by bump-test.js; the server decides.
// What was entered is kept on this device until it is written, so that a closed browser loses nothing.

import { outcome } from "./bump-test.js";

const KEPT = "pitbird.bump.";
const KEEP_MS = 24 * 3600 * 1000;
const SKEW_MS = 60 * 1000;
const MOST = 6;
const SETTLE_MS = { step: 250, gas: 1000 }; // a glove taps twice: the button under the finger waits a moment

const form = document.getElementById("bump");
document.querySelectorAll("[data-written]").forEach((shown) => forget((kept) => kept.id === shown.dataset.written));
forget((kept) => !(Math.abs(Date.now() - kept.seen) < KEEP_MS));
if (form) run(form);

function run(form) {
  const { plan, serves, regulators, expired, words, now } = JSON.parse(document.getElementById("for-script").textContent);
  const key = `${KEPT}${form.dataset.person}.${form.dataset.detector}`;
  const bar = form.querySelector(".bump-bar");
  const next = bar.querySelector("[data-do=next]");
  const send = bar.querySelector("[data-do=write]");
  const sections = [...form.querySelectorAll("[data-step]")];
  const at = { step: "start", application: 0 };
  const answers = [];
  // Times of gas go by this device's clock; where that is plainly wrong, by the book's as this page was made.
  const ahead = Date.now() - now;
  const skew = Math.abs(ahead) > SKEW_MS ? ahead : 0;
  const clock = () => Date.now() - skew;
  let lock = null;

  // ---- reading and setting the form ----

  const field = (name) => form.elements.namedItem(name);
  const get = (name) => field(name)?.value ?? "";
  const part = (name) => sections.find((section) => section.dataset.step === name);
  const gasOf = (number) => sections.find((section) => section.dataset.application === String(number));
  const isOn = (number) => get(`gas-${number}-on`) !== "" && get(`gas-${number}-off`) === "";
  const seconds = (number) => (Date.parse(get(`gas-${number}-off`) || new Date(clock()).toISOString()) - Date.parse(get(`gas-${number}-on`))) / 1000;
  const numbers = [...Array(MOST).keys()];
  const channels = plan.channels.filter((channel) => channel.must_show !== null).map((channel) => channel.name);
  const reached = (number, channel) => get(`reach-${number}-${channel}`);

  function set(name, value) {
    const found = field(name);
    if (!found) return;
    if (found instanceof RadioNodeList || found.type === "radio") {
      form.querySelectorAll(`[name="${CSS.escape(name)}"]`).forEach((radio) => { radio.checked = radio.value === value; });
    } else found.value = value;
  }

  function decimal(text) {
    const plain = text.trim().replace(",", ".").replace("−", "-").replace(/^\+/, "");
    const parts = /^(-?)0*(\d*)\.?(\d*)$/.exec(plain);
    if (!parts || (parts[2] === "" && parts[3] === "" && !/0/.test(plain))) return plain;
    return parts[1] + (parts[2] || "0") + (parts[3] ? `.${parts[3]}` : "");
  }

  function group(names, prefix) {
    return Object.fromEntries(names.map((name) => [name, get(prefix + name)]).filter(([, answer]) => answer !== ""));
  }

  function facts() {
    const applications = numbers.flatMap((number) => {
      const shown = channels
        .map((channel) => ({ channel, reached: reached(number, channel) }))
        .filter((item) => item.reached !== "");
      const [on, off] = [get(`gas-${number}-on`), get(`gas-${number}-off`)];
      return on || shown.length ? [{ gas_on: on || undefined, gas_off: off || undefined, channels: shown }] : [];
    });
    const cleanAir = plan.channels.map(({ name }) => ({
      channel: name,
      right: get(`air-${name}`),
      ...(get(`read-${name}`).trim() ? { reading: decimal(get(`read-${name}`)) } : {}),
    }));
    return {
      checks: group(plan.checks, "check-"),
      clean_air: cleanAir.filter((item) => item.right !== ""),
      applications,
      signals: group(plan.signals, "signal-"),
      cleared: group(plan.cleared, "cleared-"),
      ...(get("because") ? { spoiled_because: get("because") } : {}),
    };
  }

  function sentence(reason) {
    const [name, ...rest] = reason.split(":");
    const what = rest.join(":");
    return (words.reasons[name] ?? reason).replace("{what}", () => words.what[what] ?? what);
  }

  const say = (name, n) => words.say[name].replace("{n}", n);
  const announce = (text) => { document.getElementById("said").textContent = text; };

  // ---- what is kept on this device ----

  function keep() {
    const values = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
    store(key, { id: get("id"), person: form.dataset.person, seen: clock(), ...at, values });
  }

  function take(kept) {
    for (const [name, value] of kept.values) {
      set(name, value);
      before.set(name, value);
    }
    at.application = kept.application;
  }

  // ---- steps ----

  /** The channels that an application is to show: those its cylinder serves and that nobody has answered before. */
  function toShow(number) {
    const cylinder = get(`gas-${number}-cylinder`);
    const left = channels.filter((channel) => !numbers.some((n) => n < number && reached(n, channel)));
    const served = left.filter((channel) => serves[cylinder]?.includes(channel));
    return served.length || serves[cylinder]?.length ? served : left;
  }

  const unanswered = () => channels.filter((channel) => !numbers.some((number) => reached(number, channel)));

  function show(step, application = at.application, wait = SETTLE_MS.step) {
    Object.assign(at, { step, application });
    for (const button of [next, send]) {
      button.disabled = true;
      setTimeout(() => { button.disabled = false; }, wait);
    }
    refresh();
    keep();
    const spoiled = step === "after" && get("because") !== "";
    const heading = (step === "gas" ? gasOf(application) : part(spoiled ? "write" : step)).querySelector("h2");
    heading.focus({ preventScroll: true });
    window.scrollTo(0, 0);
  }

  /** After gas off: the next cylinder that still has something to show, else the end. */
  function onwards() {
    const more = numbers.find((n) => n > at.application && get(`gas-${n}-cylinder`) && !get(`gas-${n}-on`) && toShow(n).length);
    if (more === undefined) show("after");
    else show("gas", more);
  }

  function refresh() {
    const { step, application } = at;
    const on = step === "gas" && isOn(application);
    const begun = step === "gas" && get(`gas-${application}-on`) !== "";
    const silent = plan.signals.some((name) => !get(`signal-${name}`));
    const seen = {
      signals: begun || (step === "after" && silent && !get("because")),
      spoil: step !== "start", write: step === "after",
    };
    for (const section of sections) {
      const { step: name, application: number } = section.dataset;
      section.hidden = !(seen[name] ?? (name === step && (name !== "gas" || number === String(application))));
    }
    document.body.classList.toggle("bump-going", step !== "start");
    document.body.classList.toggle("bump-on", on);
    bar.querySelector("[data-do=back]").hidden = step === "start" || on;
    next.hidden = step === "after";
    send.hidden = step !== "after";
    next.textContent = next.dataset[step === "gas" ? (on ? "off" : begun ? "done" : "on") : step] ?? "";
    next.classList.toggle("button--grave", on);
    form.querySelector("[data-not-spoiled]").hidden = !get("because");
    bar.querySelector("[data-do=undo]").hidden = !on || answers.length === 0;
    refreshGas(application, begun, on);
    refreshCylinders();
    refreshOutcome();
  }

  function refreshGas(application, begun, on) {
    const section = gasOf(application);
    const shown = toShow(application);
    section.querySelector("[data-cylinder-name]").textContent = get(`gas-${application}-cylinder`);
    section.querySelectorAll("[data-before]").forEach((element) => { element.hidden = begun; });
    section.querySelector("[data-clock]").hidden = !begun;
    if (begun) section.querySelector(".reckon").textContent = Math.floor(seconds(application));
    let kept = 0;
    section.querySelectorAll("[data-channel]").forEach((row) => {
      const name = row.dataset.channel;
      row.hidden = !begun || !(shown.includes(name) || reached(application, name) || "all" in section.dataset);
      kept += row.hidden ? 1 : 0;
      const after = get(`after-${application}-${name}`);
      row.querySelector("[data-after]").textContent = after ? say("after", after) : "";
    });
    section.querySelector("[data-other]").hidden = !begun || on || kept === 0;
  }

  function refreshCylinders() {
    const chosen = numbers.map((number) => get(`gas-${number}-cylinder`));
    form.querySelectorAll("[data-cylinder-of]").forEach((block) => {
      const number = Number(block.dataset.cylinderOf);
      block.hidden = "spare" in block.dataset && !chosen[number] && !("open" in block.dataset);
    });
    form.querySelectorAll("[data-facts]").forEach((list) => { list.hidden = !chosen.includes(list.dataset.facts); });
    form.querySelector("[data-do=add-cylinder]").hidden = !form.querySelector("[data-cylinder-of][hidden]");
  }

  function refreshOutcome() {
    const seen = facts();
    const result = outcome(plan, seen);
    const box = document.getElementById("outcome");
    const open = result.outcome === "spoiled" && !seen.spoiled_because && plan.cleared.some((name) => !seen.cleared[name]);
    const settled = at.step === "after" && !open && box.classList.contains("bump-outcome--open");
    box.hidden = at.step !== "after";
    box.className = `bump-outcome bump-outcome--${open ? "open" : result.outcome}`;
    write(box.querySelector(".bump-outcome__word"), open ? words.say.open : words.headings[result.outcome]);
    write(box.querySelector(".bump-outcome__advice"), open ? words.say.open_advice : words.advice[result.outcome]);
    // Once a try is given up, what else nobody looked at is no news.
    const told = result.reasons.filter((reason) => !seen.spoiled_because || !/^(not-exposed|[a-z-]+-missing):/.test(reason));
    lines(box.querySelector("ul"), open ? [] : told.map(sentence));
    if (settled) box.scrollIntoView({ block: "center" });
    form.querySelector("[data-again]").hidden = at.step !== "after" || unanswered().length === 0 || get("because") !== "";
    form.querySelector("[data-cleared]").hidden = get("because") !== "";
    const early = result.outcome === "failed" && at.step === "checks";
    const gaps = result.reasons.filter((reason) => /^(check-failed|clean-air-wrong):/.test(reason));
    const hint = form.querySelector("[data-hint]");
    hint.hidden = !early;
    lines(hint, early ? gaps.map(sentence) : []);
    form.querySelector("[data-fail-early]").hidden = !early;
  }

  function write(element, text) {
    if (element.textContent !== text) element.textContent = text;
  }

  function lines(element, texts) {
    if ([...element.children].map((child) => child.textContent).join("\n") === texts.join("\n")) return;
    const tag = element.tagName === "UL" ? "li" : "p";
    element.replaceChildren(...texts.map((text) => Object.assign(document.createElement(tag), { textContent: text })));
  }

  // ---- gas ----

  function gasOn() {
    if (!get(`gas-${at.application}-cylinder`)) {
      announce(words.say.no_cylinder);
      show("start");
      field(`gas-${at.application}-cylinder`).focus();
      return;
    }
    set(`gas-${at.application}-on`, new Date(clock()).toISOString());
    announce(words.say.gas_on);
    stayAwake();
    show("gas", at.application, SETTLE_MS.gas);
  }

  function gasOff(when = clock()) {
    const on = Date.parse(get(`gas-${at.application}-on`));
    set(`gas-${at.application}-off`, new Date(Math.max(when, on)).toISOString());
    announce(words.say.gas_off);
    lock?.release().catch(() => {});
    lock = null;
  }

  async function stayAwake() {
    try {
      lock = (await navigator.wakeLock?.request("screen")) ?? null;
    } catch {
      lock = null; // not given on this device: the page works all the same
    }
  }

  function tick() {
    if (at.step !== "gas" || !isOn(at.application)) return;
    const count = Math.floor(seconds(at.application));
    const shown = gasOf(at.application).querySelector(".reckon");
    if (shown.textContent === String(count)) return;
    shown.textContent = count;
    if (count > 0 && count % 10 === 0) announce(say("seconds", count));
    keep();
  }

  /** Gas once more for the channels that nobody has answered, from the cylinder that serves them. */
  function again() {
    const left = unanswered();
    const number = numbers.find((n) => n > 0 && !get(`gas-${n}-on`));
    if (number === undefined) return;
    const chosen = numbers.map((n) => get(`gas-${n}-cylinder`)).filter(Boolean);
    const fit = chosen.find((code) => left.some((channel) => serves[code]?.includes(channel))) ?? chosen[0] ?? "";
    set(`gas-${number}-cylinder`, fit);
    set(`gas-${number}-regulator`, regulators[fit] ?? "");
    show("gas", number);
  }

  // ---- what a tap does ----

  const doing = {
    next() {
      if (at.step === "start") show("checks");
      else if (at.step === "checks") show("gas", numbers.find((n) => get(`gas-${n}-cylinder`) && !get(`gas-${n}-on`)) ?? 0);
      else if (isOn(at.application)) { gasOff(); onwards(); }
      else if (get(`gas-${at.application}-on`)) onwards();
      else gasOn();
    },
    back() {
      const before = { checks: "start", gas: "checks", after: "gas" }[at.step];
      show(before === "gas" && !get(`gas-${at.application}-on`) ? "checks" : before);
    },
    /** Ticks what nobody has answered: never over a "not well", never a date that the book says is past. */
    "all-well"() {
      const past = numbers.some((number) => expired.includes(get(`gas-${number}-cylinder`)));
      const names = [...plan.checks.map((name) => `check-${name}`), ...plan.channels.map(({ name }) => `air-${name}`)];
      for (const name of names) {
        if (!get(name) && !(past && name === "check-cylinder_in_date")) set(name, "yes");
      }
      refresh();
      keep();
    },
    "add-cylinder"() {
      const block = form.querySelector("[data-cylinder-of][hidden]");
      block.dataset.open = "";
      refresh();
      block.querySelector("select").focus();
    },
    "all-channels"() { gasOf(at.application).dataset.all = ""; refresh(); },
    "to-end"() { show("after"); },
    again,
    undo() {
      const last = answers.pop();
      if (!last) return;
      set(last.name, last.before);
      set(last.name.replace(/^reach-/, "after-"), last.after);
      before.set(last.name, last.before);
      refresh();
      keep();
    },
    resume() { begin(); take(kept); show(kept.step); },
    "resume-broken"() {
      begin();
      take(kept);
      if (isOn(at.application)) gasOff(kept.seen);
      set("because", "broken-off");
      show("after");
    },
    forget() { localStorageSafe((storage) => storage.removeItem(key)); begin(); show("start"); },
  };

  const before = new Map();

  function changed(event) {
    const { name, value } = event.target;
    const reach = /^reach-(\d+)-(.+)$/.exec(name);
    const cylinder = /^gas-(\d+)-cylinder$/.exec(name);
    if (reach || name.startsWith("signal-")) {
      const stamp = reach ? `after-${reach[1]}-${reach[2]}` : "";
      answers.push({ name, before: before.get(name) ?? "", after: stamp ? get(stamp) : "" });
      before.set(name, value);
      if (reach) set(stamp, value === "yes" && isOn(reach[1]) ? seconds(reach[1]).toFixed(1) : "");
    }
    if (cylinder) set(`gas-${cylinder[1]}-regulator`, regulators[value] ?? "");
    if (name === "because" && value) {
      if (isOn(at.application)) gasOff();
      show("after");
      return;
    }
    refresh();
    keep();
  }

  // ---- beginning ----

  function begin() {
    document.getElementById("offer").hidden = true;
    form.hidden = false;
  }

  document.documentElement.classList.add("bump-stepwise");
  form.querySelectorAll("[data-plain]").forEach((element) => { element.hidden = true; });
  form.querySelectorAll(".bump-all").forEach((element) => { element.hidden = false; });
  form.querySelectorAll("[data-do=add-cylinder]").forEach((element) => { element.hidden = false; });
  form.querySelector("[data-submit]").hidden = true; // the bar has it
  part("write").after(part("spoil"));
  bar.hidden = false;
  for (const element of form.querySelectorAll("input[type=radio]:checked")) before.set(element.name, element.value);
  document.addEventListener("click", (event) => {
    const action = event.target.closest("[data-do]")?.dataset.do;
    if (action in doing) doing[action]();
  });
  form.addEventListener("change", changed);
  form.addEventListener("input", () => keep());
  form.addEventListener("keydown", (event) => {
    // Enter in a line of text would send the whole form, half done.
    if (event.key === "Enter" && event.target.matches("input:not([type=radio])")) event.preventDefault();
  });
  form.addEventListener("submit", () => {
    if (isOn(at.application)) gasOff();
    keep();
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && isOn(at.application)) stayAwake();
  });
  setInterval(tick, 200);

  if (skew) {
    const fault = document.getElementById("clock-fault");
    fault.hidden = false;
    fault.querySelector("span").textContent = say("clock", Math.round(Math.abs(skew) / 60_000));
  }

  const kept = read(key);
  if ("refused" in form.dataset) {
    at.application = Math.max(0, ...numbers.filter((number) => get(`gas-${number}-on`)));
    const fault = form.querySelector("[aria-invalid], .field__error")?.closest("[data-step]")?.dataset.step;
    document.querySelectorAll(".errors a[href^='#']").forEach((link) =>
      link.addEventListener("click", () => showWhere(document.getElementById(link.hash.slice(1)))));
    at.step = fault in { start: 0, checks: 0, gas: 0 } ? fault : "after";
    refresh();
  } else if (kept && kept.person === form.dataset.person && kept.step !== "start") {
    const offer = document.getElementById("offer");
    offer.querySelector("[data-offer]").textContent = say("left_off", Math.max(1, Math.round((clock() - kept.seen) / 60_000)));
    offer.hidden = false;
    form.hidden = true;
    offer.querySelector("h2").focus();
  } else refresh();

  function showWhere(target) {
    const section = target?.closest("[data-step]");
    if (!section) return;
    const step = section.dataset.step;
    target.closest("[data-plain]")?.removeAttribute("hidden");
    at.step = step in { start: 0, checks: 0, gas: 0 } ? step : "after";
    if (step === "gas") at.application = Number(section.dataset.application);
    refresh();
    target.focus();
  }
}

// ---- this device's memory ----

function localStorageSafe(use) {
  try {
    return use(window.localStorage);
  } catch {
    return null; // switched off or full: the page works, but a reload begins anew
  }
}

function store(key, value) {
  localStorageSafe((storage) => storage.setItem(key, JSON.stringify(value)));
}

function read(key) {
  return localStorageSafe((storage) => JSON.parse(storage.getItem(key) ?? "null"));
}

function forget(unwanted) {
  localStorageSafe((storage) => {
    for (const key of Object.keys(storage).filter((name) => name.startsWith(KEPT))) {
      let kept = null;
      try {
        kept = JSON.parse(storage.getItem(key));
      } catch {
        kept = null;
      }
      if (kept === null || unwanted(kept)) storage.removeItem(key);
    }
  });
}
