// Making parts of the page: elements, buttons, stamps, times. Text is always set as text.

import { choose, languages, locale, spoken, words as all } from "./language.js";

/** The words of the bump test page, shared with it: { reasons, what, headings, advice }. */
export const shared = all;

/** A sentence with its places filled in. */
export function say(key, values = {}) {
  const text = all.field[key] ?? key;
  return text.replace(/\{([a-z]+)\}/g, (place, name) => (name in values ? String(values[name]) : place));
}

/** A reason of an outcome in words. */
export function sentence(reason) {
  const [name, ...rest] = reason.split(":");
  const what = rest.join(":");
  return (all.reasons[name] ?? reason).replace("{what}", () => all.what[what] ?? what);
}

/** An element: attributes as given ("class", "aria-…"), functions as listeners, children as text or elements. */
export function h(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

/** A button that does something at a tap. `kind`: "first", "grave" or none. */
export function button(text, act, { kind = "", pressed = null, key = "", label = "" } = {}) {
  return h("button", {
    type: "button", class: `button bump-big${kind ? ` button--${kind}` : ""}`, click: act,
    "aria-pressed": pressed === null ? null : String(pressed), "data-key": key || text, "aria-label": label || null,
  }, text);
}

/** Words that came from elsewhere in a language; marked where that is not the one that is spoken here. */
export const foreign = (text, language) => (language && language !== spoken() ? h("span", { lang: language }, text) : text);

/** A sentence of the server about a detector, in the language in which it was given. */
export const asSaid = (app, detector, text) => foreign(text, detector.language ?? app.kept.value.language);

/** A choice of the language, each by its own name. */
export const speaking = (app) => h("div", { class: "field-two", role: "group", "aria-label": say("language") }, languages.map(([tag, name]) =>
  button(foreign(name, tag), async () => {
    const chosen = await choose(tag);
    app.note = chosen ? "" : say("language_not");
    app.redraw();
    if (chosen) app.refresh();
  }, { pressed: tag === spoken(), key: `speak-${tag}` })));

/** A moment in the zone of the site, as people here write it. */
export function when(text, zone) {
  const options = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZone: zone };
  return new Intl.DateTimeFormat(locale(), options).format(new Date(text));
}

/** A day ("2027-01-31"), as people here write it. */
export function day(text) {
  const instant = Date.parse(`${text}T00:00:00Z`);
  return Number.isNaN(instant) ? text : new Intl.DateTimeFormat(locale(), { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" }).format(instant);
}

/** A decimal with the sign that people here write; its digits stay as they are. */
export function number(text) {
  const point = new Intl.NumberFormat(locale()).formatToParts(1.5).find((part) => part.type === "decimal")?.value ?? ".";
  return String(text).replace(".", point);
}

/** The stamp of a verdict: told apart by form first, words and a time. A yes without its end is none. */
export function stamp(verdict, { until = "", words = "" } = {}) {
  const known = ["may-go-out", "not-yet", "out-of-service", "cannot-tell"];
  const shown = !known.includes(verdict) || (verdict === "may-go-out" && !until) ? "cannot-tell" : verdict;
  return h("p", {}, h("span", { class: `stamp stamp--large stamp--${shown}` },
    shown === "cannot-tell" ? h("span", { class: "stamp__mark", "aria-hidden": "true" }, "?") : null,
    h("span", { class: "stamp__words" }, words || say(shown)), " ",
    shown === "may-go-out" ? h("span", { class: "stamp__time" }, say("until", { time: until })) : null));
}

/** Lines of text as a list, or nothing where there are none. */
export const list = (lines, name = "") => (lines.length ? h("ul", { class: name || null }, lines.map((line) => h("li", {}, line))) : null);

/** A caution: heavy on its left. */
export const caution = (first, ...more) => h("div", { class: "caution" }, h("p", {}, h("strong", {}, first)), more.map((text) => h("p", {}, text)));

/** A field to type into and its button, sent by the keyboard too. */
export function asking(id, label, action, act, { type = "text", mode = "text", value = "" } = {}) {
  const input = h("input", {
    id, name: id, type, inputmode: mode, value, autocomplete: "off", autocapitalize: "characters", spellcheck: "false",
    class: "serial", enterkeyhint: "go",
  });
  return h("form", { class: "field-ask", submit: (event) => { event.preventDefault(); act(input.value); } },
    h("div", { class: "field" }, h("label", { for: id }, label), input),
    h("button", { type: "submit", class: "button bump-big", "data-key": id }, action));
}
