"use strict";
// The check of an audit bundle, pitbird-bundle/1. Its form and the codes of faults stand in docs/bundle.md.
// Nothing here touches the page, and nothing is fetched: bytes in, a report out.

const FORMAT = "pitbird-bundle/1";
const MANIFEST = "MANIFEST.note";
const NEEDED = [MANIFEST, "census.json", "checkpoint.note", "entries.jsonl", "key.txt", "scope.json", "tree.txt"];
const TOLD = 100;
const MAX_DEPTH = 64;
const MAX_COUNT = 2n ** 63n - 1n;
const NAME = /^[A-Za-z0-9_-][A-Za-z0-9._-]*(?:\/[A-Za-z0-9_-][A-Za-z0-9._-]*)*$/;
const TIME = /^\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}Z$/;
const SUBJECT = /^[a-z]+:[A-Za-z0-9._-]+$/;
const KIND = /^[a-z][a-z0-9]*(?:-[a-z0-9]+)*$/;
const ENTRY_ID = /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
const COMMITMENT = /^sha256:[0-9a-f]{64}$/;
const HEX = /^[0-9a-f]{64}$/;
const DECIMAL = /^(?:0|[1-9][0-9]{0,18})$/;
const PAPER = /^pitbird-leaf\/1 ([0-9a-f-]{36}) (0|[1-9][0-9]{0,18}) ([0-9a-f]{64})$/;

/** What is wrong with a part, in words; caught where it is known which fault that is. */
class Wrong extends Error {}

/** After this nothing can be said; the report holds the one fault. */
class Refused extends Error {
  constructor(code, file, what) {
    super(what);
    this.fault = { code, file, index: null, what };
  }
}

// --- bytes and texts ---

const utf8 = new TextEncoder();
const strict = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });

const textOf = (bytes) => {
  try {
    return strict.decode(bytes);
  } catch {
    throw new Wrong("the bytes are not UTF-8");
  }
};
const oneLine = (bytes) => {
  const text = textOf(bytes);
  if (!text.endsWith("\n")) throw new Wrong("its line does not end with a line feed");
  return text.slice(0, -1);
};
const hexOf = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
const bytesOfHex = (hex) => Uint8Array.from(hex.match(/../g) ?? [], (pair) => parseInt(pair, 16));
const same = (left, right) => left.length === right.length && left.every((byte, at) => byte === right[at]);
const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));

function joined(...parts) {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

/** Base64 with padding, in one spelling only: the unused last bits are zero. */
function base64(text) {
  let made;
  try {
    made = atob(text);
  } catch {
    throw new Wrong("not base64");
  }
  if (btoa(made) !== text) throw new Wrong("not base64");
  return Uint8Array.from(made, (char) => char.charCodeAt(0));
}

function base64url(text, size) {
  if (typeof text !== "string" || !/^[A-Za-z0-9_-]*$/.test(text)) throw new Wrong("not base64url without padding");
  const padded = text.replaceAll("-", "+").replaceAll("_", "/") + "=".repeat((4 - (text.length % 4)) % 4);
  const made = base64(padded);
  if (made.length !== size) throw new Wrong(`${made.length} bytes where ${size} belong`);
  return made;
}

// --- canonical JSON (RFC 8785): ASCII keys, no floats, integers below 2^53 ---

function written(value, depth = 0) {
  if (depth > MAX_DEPTH) throw new Wrong("nested too deep");
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "number") {
    if (!Number.isSafeInteger(value) || Object.is(value, -0)) throw new Wrong("a number that a book does not hold");
    return String(value);
  }
  if (typeof value === "string") {
    if (!value.isWellFormed()) throw new Wrong("half of a character");
    return JSON.stringify(value);
  }
  if (Array.isArray(value)) return `[${value.map((item) => written(item, depth + 1)).join(",")}]`;
  const keys = Object.keys(value).sort();
  if (keys.some((key) => /[^\x00-\x7f]/.test(key))) throw new Wrong("a key outside ASCII");
  return `{${keys.map((key) => `${JSON.stringify(key)}:${written(value[key], depth + 1)}`).join(",")}}`;
}

/** Read what is already in canonical form; a key named twice does not come back as the same text. */
function canonical(text) {
  let value;
  try {
    value = JSON.parse(text);
  } catch {
    throw new Wrong("not JSON");
  }
  if (written(value) !== text) throw new Wrong("not in canonical form, or a key stands twice");
  return value;
}

const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
const isCount = (value) => Number.isSafeInteger(value) && value >= 1;
const hasKeys = (value, needed, more = []) =>
  isObject(value) &&
  needed.every((key) => Object.hasOwn(value, key)) &&
  Object.keys(value).every((key) => needed.includes(key) || more.includes(key));

function isTime(value) {
  if (typeof value !== "string" || !TIME.test(value)) return false;
  const [year, month, day] = value.slice(0, 10).split("-").map(Number);
  if (year < 1 || month < 1 || month > 12 || day < 1) return false;
  const leap = (year % 4 === 0 && year % 100 !== 0) || year % 400 === 0;
  return day <= [31, leap ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month - 1];
}

// --- the ZIP file: both its headers are read and have to agree, and no byte belongs to no file ---

const CRC = Uint32Array.from({ length: 256 }, (_, number) => {
  for (let bit = 0; bit < 8; bit++) number = number & 1 ? 0xedb88320 ^ (number >>> 1) : number >>> 1;
  return number;
});

function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = CRC[(crc ^ byte) & 0xff] ^ (crc >>> 8);
  return ~crc >>> 0;
}

const zip = (what, file = "") => new Refused("zip", file, what);

async function slice(blob, start, count) {
  if (start < 0 || start + count > blob.size) throw zip("cut short");
  return new Uint8Array(await blob.slice(start, start + count).arrayBuffer());
}

function headed(bytes, at, shape) {
  const view = new DataView(bytes.buffer, bytes.byteOffset);
  return shape.map((size) => {
    const value = size === 2 ? view.getUint16(at, true) : view.getUint32(at, true);
    at += size;
    return value;
  });
}

async function members(blob) {
  if (blob.size < 22) throw zip("too short to be one");
  const end = headed(await slice(blob, blob.size - 22, 22), 0, [4, 2, 2, 2, 2, 4, 4, 2]);
  const [mark, disk, firstDisk, here, count, length, start, comment] = end;
  if (mark !== 0x06054b50 || disk || firstDisk || comment || here !== count)
    throw zip("it does not end as a ZIP file of one part without a comment");
  if (count > 0xfffe || start + length !== blob.size - 22) throw zip("its directory is not where its end says");
  const directory = await slice(blob, start, length);
  const found = new Map();
  let at = 0;
  let expected = 0;
  for (let number = 0; number < count; number++) {
    if (length - at < 46) throw zip("its directory is cut short");
    const fields = headed(directory, at, [4, 2, 2, 2, 2, 2, 2, 4, 4, 4, 2, 2, 2, 2, 2, 4, 4]);
    const [sign, , needed, flags, method, time, date, crc, packed, size, named, extra, note, part, , , header] = fields;
    const name = named > length - at - 46 ? "" : String.fromCharCode(...directory.subarray(at + 46, at + 46 + named));
    if (!NAME.test(name) || name.length > 200) throw new Refused("name", name, "not a name that a bundle uses");
    if (sign !== 0x02014b50 || extra || note || part || flags || time || date !== 0x21 || needed > 20)
      throw zip("packed in a way that a bundle does not use", name);
    if ((method !== 0 && method !== 8) || (method === 0 && packed !== size)) throw zip("neither stored nor deflated", name);
    if (found.has(name)) throw zip("the name comes twice", name);
    if (header !== expected) throw zip("bytes lie between the files", name);
    const local = await slice(blob, header, 30 + named);
    const own = headed(local, 0, [4, 2, 2, 2, 2, 2, 4, 4, 4, 2, 2]);
    const wanted = [0x04034b50, own[1], 0, method, 0, 0x21, crc, packed, size, named, 0];
    const ownName = String.fromCharCode(...local.subarray(30));
    if (own[1] > 20 || ownName !== name || own.some((value, place) => value !== wanted[place]))
      throw zip("its two headers differ", name);
    found.set(name, { name, method, crc, packed, size, start: header + 30 + named });
    expected = header + 30 + named + packed;
    at += 46 + named;
  }
  if (at !== length || expected !== start) throw zip("there are bytes that belong to no file");
  return found;
}

/** The files of a ZIP file; each read whole and held to its length and checksum. */
async function opened(blob) {
  const found = await members(blob);
  const read = async (name) => {
    const member = found.get(name);
    let bytes;
    if (member.method === 0) bytes = await slice(blob, member.start, member.packed);
    else {
      const packed = blob.slice(member.start, member.start + member.packed).stream();
      try {
        bytes = await limited(packed.pipeThrough(new DecompressionStream("deflate-raw")), member.size);
      } catch (error) {
        if (error instanceof Refused) throw error;
        throw zip("cannot be unpacked", name);
      }
    }
    if (bytes.length !== member.size || crc32(bytes) !== member.crc) throw zip("length or checksum do not fit", name);
    return bytes;
  };
  return { names: [...found.keys()], read };
}

async function limited(stream, size) {
  const bytes = new Uint8Array(size);
  const reader = stream.getReader();
  let at = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    if (at + value.length > size) throw zip("longer than its header says");
    bytes.set(value, at);
    at += value.length;
  }
  return bytes.subarray(0, at);
}

// --- signed notes and keys (C2SP) ---

const ED25519 = 1;
const COSIGNATURE = 4;

function readNote(bytes) {
  if (bytes.length > 1_000_000) throw new Wrong("more than 1000000 bytes");
  const whole = textOf(bytes);
  if (/[\x00-\x09\x0b-\x1f]/.test(whole)) throw new Wrong("a control character stands in it");
  const cut = whole.lastIndexOf("\n\n");
  if (cut < 0) throw new Wrong("no empty line between text and signatures");
  const lines = whole.slice(cut + 2);
  if (!lines.endsWith("\n")) throw new Wrong("the last signature line does not end with a line feed");
  const rows = lines.slice(0, -1).split("\n");
  if (rows.length > 100) throw new Wrong("more than 100 signatures");
  const signatures = rows.map((row) => {
    const parts = row.slice(2).split(" ");
    if (!row.startsWith("\u2014 ") || parts.length !== 2 || !isKeyName(parts[0]))
      throw new Wrong("a signature line that is none");
    const data = base64(parts[1]);
    if (data.length <= 4) throw new Wrong("no signature stands behind the key id");
    return { name: parts[0], id: hexOf(data.subarray(0, 4)), data: data.subarray(4) };
  });
  return { text: whole.slice(0, cut + 1), signatures };
}

const isPrintable = (line) => line !== "" && !/\p{C}|(?! )\p{Z}/u.test(line);
const isKeyName = (name) => name !== "" && !/[+\s\p{C}\p{Z}]/u.test(name);

async function readKey(line) {
  const [name, id, coded, ...more] = line.split("+");
  const rest = [coded, ...more].join("+");
  if (coded === undefined || !/^[0-9a-f]{8}$/.test(id) || !isKeyName(name)) throw new Wrong("not of the form name+hash+base64");
  const data = base64(rest);
  if (data.length !== 33 || (data[0] !== ED25519 && data[0] !== COSIGNATURE)) throw new Wrong("not a key of a known type");
  const made = hexOf((await sha256(joined(utf8.encode(`${name}\n`), data))).subarray(0, 4));
  if (made !== id) throw new Wrong("name, hash and key do not belong together");
  return { line, name, id, type: data[0], raw: data.slice(1), fingerprint: hexOf(await sha256(data)) };
}

/** Whether the key signed the note; a wrong or doubled signature under its name and id is a fault of the note. */
async function signedBy(note, key) {
  const own = note.signatures.filter((item) => item.name === key.name && item.id === key.id);
  if (own.length > 1) throw new Wrong(`two signatures by ${key.name}`);
  if (own.length === 0) return false;
  if (own[0].data.length !== 64 || !(await ed25519(key.raw, own[0].data, utf8.encode(note.text))))
    throw new Wrong(`the signature of ${key.name} was not made by its key over this text`);
  return true;
}

async function ed25519(raw, signature, message) {
  let key;
  try {
    key = await crypto.subtle.importKey("raw", raw, { name: "Ed25519" }, false, ["verify"]);
  } catch (error) {
    if (error.name === "NotSupportedError")
      throw new Refused("key", "", "this browser cannot check Ed25519; use a newer one, or verify.py");
    return false;
  }
  return crypto.subtle.verify({ name: "Ed25519" }, key, signature, message);
}

async function p256(raw, signature, message) {
  const kind = { name: "ECDSA", namedCurve: "P-256" };
  try {
    const key = await crypto.subtle.importKey("raw", raw, kind, false, ["verify"]);
    return await crypto.subtle.verify({ name: "ECDSA", hash: "SHA-256" }, key, signature, message);
  } catch {
    return false;
  }
}

/** The keys of a change, old and new: signed by both, of this book, and going on from the key before. */
async function readChange(bytes, origin, number, before) {
  const note = readNote(bytes);
  const lines = note.text.split("\n");
  if (lines.length !== 6 || lines[0] !== "pitbird-key/1" || lines[1] !== origin || lines[2] !== String(number))
    throw new Wrong("not the next change of this book's key");
  const [old, fresh] = [await readKey(lines[3]), await readKey(lines[4])];
  if ([old, fresh].some((key) => key.name !== origin || key.type !== ED25519)) throw new Wrong("not keys of this book");
  if (before.length && before.at(-1).line !== old.line) throw new Wrong("does not begin with the key of the change before");
  if ([old, ...before].some((key) => key.line === fresh.line)) throw new Wrong("goes back to an earlier key");
  for (const key of [old, fresh]) if (!(await signedBy(note, key))) throw new Wrong("not signed by both keys");
  return [old, fresh];
}

function readCheckpoint(text) {
  const lines = text.split("\n");
  if (lines.length < 4 || lines.at(-1) !== "") throw new Wrong("not three whole lines: origin, size, root");
  const [origin, size, coded, ...extensions] = lines.slice(0, -1);
  if (![origin, ...extensions].every(isPrintable)) throw new Wrong("an empty line or a control character");
  if (!DECIMAL.test(size) || BigInt(size) > MAX_COUNT) throw new Wrong("the size is not a count of entries");
  const root = base64(coded);
  if (root.length !== 32) throw new Wrong("the root is not a hash of 32 bytes");
  if (!Number.isSafeInteger(Number(size))) throw new Wrong("more entries than can be counted here");
  const lists = extensions.filter((line) => line.startsWith("pitbird-census/"));
  if (lists.length > 1) throw new Wrong("two lines of a census");
  const census = /^pitbird-census\/1 sha256:([0-9a-f]{64})$/.exec(lists[0] ?? "");
  return { origin, size: Number(size), root, census: census ? census[1] : null };
}

// --- the tree (RFC 9162, section 2.1) ---

const nodeHash = (left, right) => sha256(joined(Uint8Array.of(1), left, right));
const leafHash = (leaf) => sha256(joined(Uint8Array.of(0), leaf));

/** The largest power of two smaller than a count of leaves. */
function split(count) {
  let part = 1;
  while (part * 2 < count) part *= 2;
  return part;
}

/** What the lines of tree.txt claim: for each index its leaf hash, and whether its path leads to the root. */
async function readTree(lines, size, indices, root, broken, step) {
  const claims = [];
  let used = 0;
  // A stack instead of recursion; each item is a node over [low, high) with the indices [from, to) in it.
  const waiting = [{ low: 0, high: size, from: 0, to: indices.length, hash: root, holds: true }];
  while (waiting.length) {
    const { low, high, from, to, hash, holds } = waiting.pop();
    if (from === to) continue;
    if (high - low === 1) {
      claims.push({ hash, holds });
      continue;
    }
    if (used === lines.length) throw new Wrong("cut short");
    const line = lines[used++];
    if (!/^[0-9a-f]{64} [0-9a-f]{64}$/.test(line)) throw new Wrong(`line ${used} is not two hashes`);
    const [left, right] = [bytesOfHex(line.slice(0, 64)), bytesOfHex(line.slice(65))];
    const fits = holds && same(await nodeHash(left, right), hash);
    if (holds && !fits) broken(used, low, high - 1);
    const middle = low + split(high - low);
    let cut = from;
    if (from < to && indices[to - 1] < middle) cut = to;
    else {
      let [below, above] = [from, to];
      while (below < above) {
        const half = (below + above) >> 1;
        if (indices[half] < middle) below = half + 1;
        else above = half;
      }
      cut = below;
    }
    waiting.push({ low: middle, high, from: cut, to, hash: right, holds: fits });
    waiting.push({ low, high: middle, from, to: cut, hash: left, holds: fits });
    if (used % 2000 === 0) await step(used / lines.length);
  }
  if (used !== lines.length) throw new Wrong("there is more behind its end");
  return claims;
}

/** RFC 9162 section 2.1.4.2: the newer tree begins with every leaf of the older one. */
async function consistent(oldSize, newSize, oldRoot, newRoot, proof) {
  if (oldSize > newSize) return false;
  const empty = await sha256(new Uint8Array());
  if (oldSize === 0 && !same(oldRoot, empty)) return false;
  if (newSize === 0 && !same(newRoot, empty)) return false;
  if (oldSize === newSize) return proof.length === 0 && same(oldRoot, newRoot);
  if (oldSize === 0) return proof.length === 0;
  const power = split(oldSize + 1) === oldSize;
  const path = power ? [oldRoot, ...proof] : [...proof];
  if (path.length === 0) return false;
  let [first, second] = [BigInt(oldSize) - 1n, BigInt(newSize) - 1n];
  while (first & 1n) [first, second] = [first >> 1n, second >> 1n];
  let [left, right] = [path[0], path[0]];
  for (const hash of path.slice(1)) {
    if (second === 0n) return false;
    if (first & 1n || first === second) {
      [left, right] = [await nodeHash(hash, left), await nodeHash(hash, right)];
      while (first !== 0n && !(first & 1n)) [first, second] = [first >> 1n, second >> 1n];
    } else right = await nodeHash(right, hash);
    [first, second] = [first >> 1n, second >> 1n];
  }
  return second === 0n && same(left, oldRoot) && same(right, newRoot);
}

// --- entries ---

function readLeaf(leaf) {
  if (!hasKeys(leaf, ["body", "nth", "recorded_at"], ["signature"])) throw new Wrong("not a leaf");
  const { body, nth } = leaf;
  if (!isTime(leaf.recorded_at)) throw new Wrong("recorded_at is not a time");
  if (!isObject(body) || !isObject(nth)) throw new Wrong("body or nth is not an object");
  const matches = (value, form) => typeof value === "string" && form.test(value);
  if (!matches(body.kind, KIND) || !isCount(body.v) || !matches(body.id, ENTRY_ID) || !isTime(body.at))
    throw new Wrong("the body lacks kind, v, id or at");
  const { about } = body;
  if (!Array.isArray(about) || !about.length || !about.every((item) => matches(item, SUBJECT)))
    throw new Wrong("about is not a list of subjects");
  const named = Object.keys(nth);
  if (new Set(about).size !== about.length || named.length !== about.length || !about.every((item) => Object.hasOwn(nth, item)))
    throw new Wrong("nth does not number what about names");
  if (!Object.values(nth).every(isCount)) throw new Wrong("nth is not a running number");
  return leaf;
}

function readSignature(shown) {
  if (!hasKeys(shown, ["alg", "key", "sig"]) || !["ES256", "Ed25519"].includes(shown.alg))
    throw new Wrong("the signature is not one of a known form");
  return { alg: shown.alg, key: base64url(shown.key, shown.alg === "ES256" ? 65 : 32), sig: base64url(shown.sig, 64) };
}

function commitmentsIn(value, found = new Set()) {
  if (typeof value === "string") {
    if (COMMITMENT.test(value)) found.add(value);
  } else if (value !== null && typeof value === "object") {
    for (const item of Object.values(value)) commitmentsIn(item, found);
  }
  return found;
}

async function openSealed(body, given) {
  const standing = commitmentsIn(body);
  if (given === undefined) return { texts: {}, closed: [...standing] };
  if (!isObject(given) || !Object.keys(given).length) throw new Wrong("sealed is not an object with at least one blob");
  const texts = {};
  for (const [name, shown] of Object.entries(given)) {
    if (!standing.has(name)) throw new Wrong("a blob is given which the body does not hold");
    const isText = hasKeys(shown, ["salt", "text"]);
    const isFile = hasKeys(shown, ["base64", "salt", "type"]) && /^[a-z]+\/[a-z0-9][a-z0-9.+-]*$/.test(shown.type);
    if (!(isText || isFile) || !Object.values(shown).every((item) => typeof item === "string"))
      throw new Wrong("a blob is neither a text nor a file");
    const [salt, blob] = [base64(shown.salt), isText ? utf8.encode(shown.text) : base64(shown.base64)];
    if (salt.length !== 16 || `sha256:${hexOf(await sha256(joined(salt, blob)))}` !== name)
      throw new Wrong("a blob is not what was recorded");
    texts[name] = isText ? shown.text : `(a file, ${shown.type})`;
  }
  return { texts, closed: [...standing].filter((name) => !Object.hasOwn(given, name)) };
}

// --- the check, in the order in which one thing stands on another ---

class Check {
  constructor(files, told) {
    this.files = files;
    this.step = told;
    this.counts = new Map();
    this.rows = [];
    this.hashes = [];
    this.last = new Map();
    this.begun = new Map();
    this.gaps = new Set();
    this.opened = new Set();
    this.closed = new Set();
    this.report = {
      answer: "refused", origin: null, size: null, root: null, fingerprint: null, entries: 0, subjects: 0,
      withheld: 0, signed: 0, witnesses: [], asked: null, papers: [], faults: [],
    };
  }

  fault(code, file, what, index = null) {
    this.counts.set(code, (this.counts.get(code) ?? 0) + 1);
    if (this.counts.get(code) <= TOLD) this.report.faults.push({ code, file, index, what });
  }

  /** Run a part; what is wrong with it becomes a fault of this code. */
  async part(code, file, run, index = null) {
    try {
      return await run();
    } catch (error) {
      if (error instanceof Wrong || error instanceof RangeError) this.fault(code, file, error.message, index);
      else throw error;
      return null;
    }
  }

  async run(fingerprint, known) {
    const names = new Set(this.files.names);
    for (const name of names) if (!NAME.test(name)) throw new Refused("name", name, "not a name that a bundle uses");
    for (const name of NEEDED) if (!names.has(name)) throw new Refused("missing", name, "is not in the bundle");
    const key = await this.key();
    const keys = await this.keys(key, names);
    this.trusted(fingerprint, key, keys);
    await this.digests(await this.manifest(key), names);
    const checkpoint = await this.checkpoint(key);
    this.census = checkpoint ? await this.readCensus(checkpoint) : null;
    await this.readScope();
    await this.entries();
    this.complete();
    if (checkpoint) await this.tree(checkpoint);
    if (checkpoint && known !== null) await this.known(known, checkpoint, keys);
  }

  async key() {
    try {
      const key = await readKey(oneLine(await this.files.read("key.txt")));
      if (key.type !== ED25519) throw new Wrong("the key of a witness, not that of a book");
      this.report.fingerprint = key.fingerprint;
      return key;
    } catch (error) {
      if (error instanceof Wrong) throw new Refused("key", "key.txt", `not a verifier key: ${error.message}`);
      throw error;
    }
  }

  async keys(key, names) {
    const changes = [...names].filter((name) => name.startsWith("keys/")).sort();
    if (!changes.length) return [key];
    const keys = [];
    for (const [at, name] of changes.entries()) {
      const change = await this.part("keys", name, async () => {
        if (name !== `keys/${String(at + 1).padStart(4, "0")}.note`) throw new Wrong("the changes of the key do not follow one another");
        return readChange(await this.files.read(name), key.name, at + 1, keys);
      });
      if (!change) return [key];
      keys.push(...(keys.length ? change.slice(1) : change));
    }
    if (keys.at(-1).line === key.line) return keys;
    this.fault("keys", changes.at(-1), "the last change does not lead to the key in key.txt");
    return [key];
  }

  trusted(given, key, keys) {
    if (given === null) return;
    const wanted = given.replace(/\s/g, "").toLowerCase();
    if (!HEX.test(wanted)) throw new Refused("key", "key.txt", "the fingerprint given is not one: 64 hexadecimal digits");
    if (!keys.some((each) => each.fingerprint === wanted))
      this.fault("key", "key.txt", `not the key of the fingerprint given, but ${key.fingerprint}`);
  }

  async manifest(key) {
    let note;
    try {
      note = readNote(await this.files.read(MANIFEST));
    } catch (error) {
      if (error instanceof Wrong) throw new Refused("manifest", MANIFEST, error.message);
      throw error;
    }
    const lines = note.text.split("\n").slice(0, -1);
    if (lines.length < 2 || lines[0] !== FORMAT) throw new Refused("manifest", MANIFEST, `its first line is not ${FORMAT}`);
    if (!isPrintable(lines[1])) throw new Refused("manifest", MANIFEST, "its second line is not the origin of a book");
    this.report.origin = lines[1];
    const listed = new Map();
    let before = "";
    for (const line of lines.slice(2)) {
      const found = /^([0-9a-f]{64}) (0|[1-9][0-9]{0,18}) (.+)$/.exec(line);
      if (!found || !NAME.test(found[3]) || found[3] === MANIFEST || found[3] <= before)
        throw new Refused("manifest", MANIFEST, "a line that is not of a file, or not in its place");
      before = found[3];
      listed.set(before, { digest: found[1], size: found[2] });
    }
    if (lines[1] !== key.name) this.fault("manifest-signature", MANIFEST, "the key is that of another book");
    await this.part("manifest-signature", MANIFEST, async () => {
      if (!(await signedBy(note, key))) throw new Wrong("not signed by the key in key.txt");
    });
    return listed;
  }

  async digests(listed, names) {
    for (const name of listed.keys())
      if (!names.has(name)) this.fault("absent", name, "the manifest lists it, but it is not here");
    for (const name of [...names].sort()) {
      if (name === MANIFEST) continue;
      const entry = listed.get(name);
      const bytes = await this.files.read(name);
      if (!entry) this.fault("unlisted", name, "the manifest does not list it");
      else if (String(bytes.length) !== entry.size || hexOf(await sha256(bytes)) !== entry.digest)
        this.fault("file", name, "its bytes are not those that the manifest lists");
    }
  }

  async checkpoint(key) {
    const file = "checkpoint.note";
    const read = await this.part("checkpoint", file, async () => {
      const note = readNote(await this.files.read(file));
      return { note, found: readCheckpoint(note.text) };
    });
    if (!read) return null;
    const { note, found } = read;
    if (found.origin !== this.report.origin) this.fault("checkpoint", file, "it is of another book than the manifest");
    if (found.origin !== key.name) this.fault("checkpoint-signature", file, "the key is that of another book");
    if (found.size === 0) {
      this.fault("checkpoint", file, "it is of a book without entries");
      return null;
    }
    await this.part("checkpoint-signature", file, async () => {
      if (!(await signedBy(note, key))) throw new Wrong("not signed by the key in key.txt");
    });
    [this.report.size, this.report.root] = [found.size, hexOf(found.root)];
    this.report.witnesses = note.signatures
      .filter((item) => item.name !== key.name || item.id !== key.id)
      .map((item) => item.name);
    return found;
  }

  readCensus(checkpoint) {
    return this.part("census", "census.json", async () => {
      const bytes = await this.files.read("census.json");
      if (hexOf(await sha256(bytes)) !== checkpoint.census) throw new Wrong("not the one that the checkpoint commits to");
      const census = canonical(textOf(bytes));
      if (!isObject(census) || !Object.values(census).every(isCount)) throw new Wrong("not an object of subjects and counts");
      return new Map(Object.entries(census));
    });
  }

  async readScope() {
    const scope = await this.part("scope", "scope.json", async () => {
      const value = canonical(textOf(await this.files.read("scope.json")));
      if (!hasKeys(value, ["asked", "format", "since", "subjects"])) throw new Wrong("not of asked, format, since and subjects");
      if (value.format !== FORMAT) throw new Wrong(`not of ${FORMAT}`);
      const isText = (item) => typeof item === "string";
      const isAsked = (item) => isText(item) || (Array.isArray(item) && item.every(isText));
      if (!isObject(value.asked) || !Object.values(value.asked).every(isAsked)) throw new Wrong("asked is not of texts and lists of texts");
      if (value.since !== null && !isTime(value.since)) throw new Wrong("since is neither a time nor null");
      if (!isObject(value.subjects)) throw new Wrong("subjects is not an object");
      for (const [subject, number] of Object.entries(value.subjects))
        if (!SUBJECT.test(subject) || !isCount(number)) throw new Wrong("subjects does not give a first number for each");
      return value;
    });
    this.since = scope?.since ?? null;
    this.report.asked = scope?.asked ?? null;
    this.first = new Map(Object.entries(scope?.subjects ?? {}));
    for (const subject of this.first.keys())
      if (this.census && !this.census.has(subject)) this.fault("scope", "scope.json", `the census does not know ${subject}`);
  }

  async entries() {
    const bytes = await this.files.read("entries.jsonl");
    this.readable = true;
    this.ids = new Set();
    let [start, number] = [0, 0];
    while (start < bytes.length) {
      const end = bytes.indexOf(10, start);
      if (end < 0) {
        this.readable = false;
        this.fault("entry", "entries.jsonl", "the last line is cut short");
        break;
      }
      number++;
      const line = bytes.subarray(start, end);
      start = end + 1;
      try {
        await this.entry(line);
      } catch (error) {
        if (!(error instanceof Wrong) && !(error instanceof RangeError)) throw error;
        this.readable = false;
        this.fault("entry", "entries.jsonl", `line ${number}: ${error.message}`);
      }
      if (number % 500 === 0) await this.step("entries", start / bytes.length);
    }
    this.report.entries = this.rows.length;
    this.report.withheld = [...this.closed].filter((name) => !this.opened.has(name)).length;
    if (!this.rows.length) this.fault("entry", "entries.jsonl", "no entry is here");
  }

  async entry(line) {
    const value = canonical(textOf(line));
    const file = "entries.jsonl";
    if (!hasKeys(value, ["index", "leaf"], ["sealed"])) throw new Wrong("not of index, leaf and sealed");
    const { index } = value;
    if (!Number.isSafeInteger(index) || index < 0) throw new Wrong("the index is not one");
    if (this.rows.length && index <= this.rows.at(-1).index) {
      this.readable = false;
      return this.fault("entry", file, "the index does not rise", index);
    }
    this.hashes.push(await leafHash(utf8.encode(written(value.leaf))));
    const row = { index, leaf: null, texts: {}, state: "holds" };
    this.rows.push(row);
    const read = await this.part("entry", file, () => {
      const found = readLeaf(value.leaf);
      return [found, Object.hasOwn(found, "signature") ? readSignature(found.signature) : null];
    }, index);
    if (!read) return null;
    const [leaf, signature] = read;
    row.leaf = leaf;
    if (this.ids.has(leaf.body.id)) this.fault("entry", file, `the id ${leaf.body.id} comes twice`, index);
    this.ids.add(leaf.body.id);
    this.numbers(index, leaf);
    if (signature) {
      this.report.signed++;
      const check = signature.alg === "ES256" ? p256 : ed25519;
      if (!(await check(signature.key, signature.sig, utf8.encode(written(leaf.body)))))
        this.fault("signature", file, "the device's signature does not fit", index);
    }
    const opened = await this.part("seal", file, () => openSealed(leaf.body, value.sealed), index);
    if (opened) {
      row.texts = opened.texts;
      Object.keys(opened.texts).forEach((name) => this.opened.add(name));
      opened.closed.forEach((name) => this.closed.add(name));
    }
    return null;
  }

  numbers(index, leaf) {
    const file = "entries.jsonl";
    for (const [subject, number] of Object.entries(leaf.nth)) {
      const before = this.last.get(subject);
      if (before !== undefined && number <= before) {
        this.fault("entry", file, `number ${number} of ${subject} does not rise`, index);
        continue;
      }
      this.last.set(subject, number);
      const first = this.first.get(subject);
      if (first === undefined || number < first) continue;
      const begun = this.begun.has(subject);
      if (!begun) this.begun.set(subject, leaf.recorded_at);
      const wanted = begun ? before + 1 : first;
      if (number === wanted) continue;
      this.gaps.add(subject);
      this.fault("incomplete", file, `${wanted} of ${subject} is missing before entry ${index}`);
    }
  }

  complete() {
    const fault = (what) => this.fault("incomplete", "entries.jsonl", what);
    for (const [subject, first] of this.first) {
      const last = this.last.get(subject);
      if (!this.begun.has(subject)) fault(`nothing about ${subject} from ${first} on is here`);
      else if (this.census && last !== this.census.get(subject))
        fault(`${subject} ends with ${last}, the census counts ${this.census.get(subject) ?? 0}`);
      else if (first > 1 && (this.since === null || this.begun.get(subject) >= this.since))
        fault(`what came before ${first} of ${subject} may be of the time asked for`);
      else if (this.census && !this.gaps.has(subject)) this.report.subjects++;
    }
  }

  async tree(checkpoint) {
    const file = "tree.txt";
    if (!this.readable) {
      this.fault("tree", file, "not read, since lines of entries could not be");
      for (const row of this.rows) row.state = "not shown";
      return;
    }
    const inside = this.rows.filter((row) => row.index < checkpoint.size);
    const claims = await this.part("tree", file, async () => {
      const text = textOf(await this.files.read(file));
      const lines = text.split("\n");
      if (lines.pop() !== "") throw new Wrong("the last line is cut short");
      const indices = inside.map((row) => row.index);
      const broken = (line, low, high) =>
        this.fault("tree", file, `line ${line} does not lead from the signed root to the entries ${low} to ${high}`);
      return readTree(lines, checkpoint.size, indices, checkpoint.root, broken, (part) => this.step("tree", part));
    });
    this.rows.forEach((row, at) => {
      if (row.index >= checkpoint.size) {
        row.state = "touched";
        this.fault("leaf", "entries.jsonl", "it stands behind the end of the book", row.index);
      } else if (!claims) row.state = "not shown";
      else if (!claims[at].holds) row.state = "not shown";
      else if (!same(claims[at].hash, this.hashes[at])) {
        row.state = "touched";
        this.fault("leaf", "entries.jsonl", "not the entry that stands in the book there", row.index);
      }
    });
  }

  async known(bytes, checkpoint, keys) {
    const file = "consistency.json";
    let held = null;
    for (const key of keys) {
      try {
        const note = readNote(bytes);
        if (await signedBy(note, key)) held = readCheckpoint(note.text);
      } catch (error) {
        if (!(error instanceof Wrong)) throw error;
      }
    }
    if (!held || held.origin !== checkpoint.origin)
      return this.fault("known", file, "the checkpoint that you hold is not signed by this book's keys");
    if (held.size > checkpoint.size)
      return this.fault("known", file, `you hold one of ${held.size} entries, this is of ${checkpoint.size}: rolled back, or old`);
    return this.part("known", "consistency.json", async () => {
      const proof = await this.consistency(held.size, checkpoint.size);
      if (!(await consistent(held.size, checkpoint.size, held.root, checkpoint.root, proof)))
        throw new Wrong("the book does not go on from the checkpoint that you hold");
    });
  }

  async consistency(from, to) {
    if (from === 0 || from === to) return [];
    if (!this.files.names.includes("consistency.json"))
      throw new Wrong(`nothing shows that the book goes on from your ${from} entries; ask for a bundle that does`);
    const value = canonical(oneLine(await this.files.read("consistency.json")));
    if (!hasKeys(value, ["from", "proof", "to"]) || !Array.isArray(value.proof)) throw new Wrong("not of from, proof and to");
    if (value.from !== from || value.to !== to) throw new Wrong(`it is not from ${from} entries to ${to}`);
    if (!value.proof.every((item) => typeof item === "string" && HEX.test(item))) throw new Wrong("it holds something else than hashes");
    return value.proof.map(bytesOfHex);
  }

  stands(text) {
    const found = PAPER.exec(text.trim());
    if (!found) return "not such a code";
    const [first] = this.rows;
    if (first?.index === 0 && first.leaf && first.leaf.body.id !== found[1]) return "of another book";
    const at = this.rows.findIndex((row) => String(row.index) === found[2]);
    if (at < 0) return "not in this bundle";
    return hexOf(this.hashes[at]) === found[3] ? "stands in this bundle" : "another entry stands there";
  }
}

/**
 * Check a bundle. `blob` is the ZIP file; `fingerprint` the key's, or null; `known` the bytes of a checkpoint that
 * the auditor holds, or null; `papers` codes of papers. Gives the report, the entries, and the census.
 */
async function verifyBundle(blob, { fingerprint = null, known = null, papers = [], step = async () => {} } = {}) {
  let check = null;
  try {
    check = new Check(await opened(blob), step);
    await check.run(fingerprint, known);
  } catch (error) {
    const report = check?.report ?? new Check({ names: [] }, step).report;
    const fault = error instanceof Refused ? error.fault : { code: "zip", file: "", index: null, what: String(error) };
    return { report: { ...report, answer: "refused", faults: [fault] }, rows: [], census: null, first: new Map() };
  }
  const { report } = check;
  const right = fingerprint === null ? "consistent in itself" : "holds";
  report.answer = report.faults.length ? "does not hold" : right;
  report.papers = papers.map((code) => ({ code, found: check.stands(code) }));
  return { report, rows: check.rows, census: check.census, first: check.first };
}
