// What this phone keeps, in IndexedDB: the snapshot, the key pair, the test under way, who is known, the entries.
//
// Every write waits until the browser says that it stands on the disk ("strict"): an entry that was shown as kept is.

const NAME = "pitbird-field";
let opening = null;

function database() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("kept");
      asked.result.createObjectStore("people", { keyPath: "person" });
      asked.result.createObjectStore("entries", { keyPath: "n", autoIncrement: true }).createIndex("id", "id", { unique: true });
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => { asked.result.close(); opening = null; };
      resolve(asked.result);
    };
    asked.onerror = () => reject(asked.error);
  });
  return opening;
}

async function within(stores, mode, act) {
  const transaction = (await database()).transaction(stores, mode, mode === "readwrite" ? { durability: "strict" } : {});
  return new Promise((resolve, reject) => {
    let result;
    transaction.oncomplete = () => resolve(result);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
    act((name) => transaction.objectStore(name), (request) => { request.onsuccess = () => { result = request.result; }; });
  });
}

/** A single thing by its name: "snapshot", "keys", "device", "test", "half", "who", "settings"; undefined if none is kept. */
export const get = (name) => within("kept", "readonly", (store, give) => give(store("kept").get(name)));

/** Keep a single thing under its name. */
export const put = (name, value) => within("kept", "readwrite", (store) => store("kept").put(value, name));

/** Forget a single thing. */
export const drop = (name) => within("kept", "readwrite", (store) => store("kept").delete(name));

/** Everybody who can be let in on this phone without network. */
export const people = () => within("people", "readonly", (store, give) => give(store("people").getAll()));

/** Somebody who can be let in on this phone, or undefined. */
export const person = (code) => within("people", "readonly", (store, give) => give(store("people").get(code)));

/** Keep how somebody is let in. */
export const putPerson = (value) => within("people", "readwrite", (store) => store("people").put(value));

/** Somebody has to be let in by the server again. */
export const dropPerson = (code) => within("people", "readwrite", (store) => store("people").delete(code));

/** The entries in the order in which they were made. */
export const entries = () => within("entries", "readonly", (store, give) => give(store("entries").getAll()));

/** Add an entry and forget the test that it came from, both or neither; its number is given back. */
export function addEntry(value) {
  return within(["entries", "kept"], "readwrite", (store, give) => {
    give(store("entries").add(value));
    store("kept").delete("test");
  });
}

/** Add several entries and forget the half-filled hand-out that they came from, all or none; a test under way stays. */
export function addEntries(values) {
  return within(["entries", "kept"], "readwrite", (store) => {
    values.forEach((value) => store("entries").add(value));
    store("kept").delete("half");
  });
}

/** Note what became of entries. */
export function changeEntries(values) {
  return within("entries", "readwrite", (store) => values.forEach((value) => store("entries").put(value)));
}

/** Forget entries that were answered, by their numbers. */
export function dropEntries(numbers) {
  return within("entries", "readwrite", (store) => numbers.forEach((number) => store("entries").delete(number)));
}

/** Take away what the page carried for those who were signed in; the phone's key and the entries stay. */
export function leave() {
  return within(["kept", "people"], "readwrite", (store) => {
    for (const name of ["snapshot", "who", "test", "half"]) store("kept").delete(name);
    store("people").clear();
  });
}

/** Ask the browser not to throw this away when the disk runs full. */
export const lasting = async () => (await navigator.storage?.persist?.()) ?? false;

