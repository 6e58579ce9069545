// Canonical JSON (RFC 8785) as the book holds it: ASCII keys in order, no floats, integers below 2^53.
// What is signed and what is hashed is always the bytes of this text.

const DEEPEST = 64;
const encoder = new TextEncoder();

/** A plain JSON value as its one text. Throws TypeError at anything that a book does not hold. */
export function canonical(value, depth = 0) {
  if (depth > DEEPEST) throw new TypeError("nested too deep");
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "number") {
    if (!Number.isSafeInteger(value) || Object.is(value, -0)) throw new TypeError("a number that a book does not hold");
    return String(value);
  }
  if (typeof value === "string") {
    if (!value.isWellFormed()) throw new TypeError("half of a character");
    return JSON.stringify(value);
  }
  if (Array.isArray(value)) return `[${value.map((item) => canonical(item, depth + 1)).join(",")}]`;
  if (typeof value !== "object" || Object.getPrototypeOf(value) !== Object.prototype) throw new TypeError("not plain JSON");
  const keys = Object.keys(value).sort();
  if (keys.some((key) => /[^\x00-\x7f]/.test(key))) throw new TypeError("a key outside ASCII");
  return `{${keys.map((key) => `${JSON.stringify(key)}:${canonical(value[key], depth + 1)}`).join(",")}}`;
}

/** The bytes that are signed. */
export const bytesOf = (value) => encoder.encode(canonical(value));
