// In which language the page speaks: the one chosen on this phone, else the first of the browser's that there is.
//
// The English words stand in the page itself; those of the others are files of their own, kept on the phone like the rest.

import * as keep from "./keep.js";

const english = JSON.parse(document.getElementById("words").textContent);

/** Every language there is, as [tag, its own name]. */
export const languages = english.languages;

/** The words of the language that is spoken now; those of the bump test page are among them. */
export const words = { ...english };

/** The language that is spoken now. */
export const spoken = () => document.documentElement.lang;

/** It as the browser's owner writes it ("de-AT", "en-GB"), for dates and numbers. */
export const locale = () => navigator.languages.find((each) => each.split("-")[0].toLowerCase() === spoken()) ?? spoken();

/** Speak another language from here on, and keep that. False, and nothing changed, where its words cannot be had. */
export async function choose(language) {
  if (!(await speak(language))) return false;
  await keep.put("language", language);
  return true;
}

async function speak(language) {
  let found = english;
  if (language !== "en") {
    try {
      const answer = await fetch(`/field/words/${language}.json`, { credentials: "omit", redirect: "error" });
      if (!answer.ok) return false;
      found = await answer.json();
    } catch {
      return false;
    }
  }
  Object.assign(words, found);
  document.documentElement.lang = language;
  return true;
}

async function wanted() {
  const known = languages.map(([tag]) => tag);
  const chosen = await keep.get("language").catch(() => null);
  if (known.includes(chosen)) return chosen;
  return navigator.languages.map((each) => each.split("-")[0].toLowerCase()).find((each) => known.includes(each)) ?? "en";
}

// Whatever cannot be had here (no storage, no network before the words were kept): the page speaks English.
await wanted().then(speak).catch(() => false);
