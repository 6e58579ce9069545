// --- the page ---

const at = (id) => document.getElementById(id);
const PAGE = 200;

const WORDS = {
  "holds": ["It holds", "with the fingerprint that you gave"],
  "consistent in itself": ["Consistent in itself only", "no fingerprint was given"],
  "does not hold": ["It does not hold", "do not rely on it; ask the keeper, and keep this file"],
  "refused": ["Refused", "this cannot be read as a bundle"],
};
const MEANINGS = {
  "holds": "These entries stand in the signed book, unaltered, and of the subjects named below nothing is missing. Whether what was written down is true, this cannot show.",
  "consistent in itself": "Nothing contradicts itself. But without the fingerprint of the key, from the keeper by another way, somebody may have made all of it anew.",
  "does not hold": "Something was changed, left out or put in, here or on the way. What is wrong stands below, and at which entry where that can be told.",
  "refused": "Nothing can be said about what it holds. Get the file again from where it came.",
};

function cell(row, text, className = "") {
  const made = row.insertCell();
  made.textContent = text;
  if (className) made.className = className;
  return made;
}

function fact(term, text, className = "") {
  const pair = document.createElement("div");
  const [name, value] = [document.createElement("dt"), document.createElement("dd")];
  name.textContent = term;
  value.textContent = text;
  value.className = className;
  pair.append(name, value);
  at("facts").append(pair);
}

const counted = (number, what) => `${number} ${what}${number === 1 ? "" : "s"}`;
const grouped = (hex) => hex.replace(/(.{4})(?=.)/g, "$1 ");

function showAnswer({ report }) {
  const [word, text] = WORDS[report.answer];
  at("stamp").dataset.answer = report.answer;
  at("stamp-word").textContent = word;
  at("stamp-text").textContent = text;
  at("meaning").textContent = MEANINGS[report.answer];
  at("facts").replaceChildren();
  at("papers-found").replaceChildren(
    ...report.papers.map(({ code, found }) => {
      const line = document.createElement("p");
      line.textContent = `Paper: ${found}. (${code})`;
      return line;
    }),
  );
  if (report.answer !== "refused") {
    fact("Book", report.origin ?? "");
    fact("Key", report.fingerprint ? grouped(report.fingerprint) : "", "keyed");
    fact("Checkpoint", report.size === null ? "cannot be read" : `${report.size} entries`);
    fact("Root", report.root ? grouped(report.root) : "", "keyed");
    fact("Also signed by", report.witnesses.length ? `${report.witnesses.join(", ")} (not checked here)` : "nobody");
    fact("Entries here", String(report.entries));
    fact("Complete about", counted(report.subjects, "subject"));
    fact("Withheld", report.withheld ? `${counted(report.withheld, "text")} (names, words, files): erased, or left out by choice` : "nothing");
    fact("Signed by devices", report.signed === 1 ? "1 entry" : `${report.signed} entries`);
  }
  at("faults").hidden = !report.faults.length;
  at("fault-rows").replaceChildren();
  for (const { code, file, index, what } of report.faults) {
    const row = at("fault-rows").insertRow();
    cell(row, what);
    cell(row, file, "keyed");
    cell(row, index === null ? "" : String(index));
    cell(row, code, "keyed");
  }
}

function showScope({ report, rows, census, first }) {
  at("scope").hidden = report.answer === "refused";
  at("asked").textContent = JSON.stringify(report.asked, null, 1);
  const counts = new Map();
  for (const { leaf } of rows) for (const subject of leaf?.body.about ?? []) counts.set(subject, (counts.get(subject) ?? 0) + 1);
  const kinds = new Map();
  for (const subject of census?.keys() ?? []) {
    const kind = subject.split(":")[0];
    const [all, here] = kinds.get(kind) ?? [0, 0];
    kinds.set(kind, [all + 1, here + (first.has(subject) ? 1 : 0)]);
  }
  at("elsewhere").textContent = !kinds.size ? "" : "Of what the book knows, complete here: " + [...kinds].map(([kind, [all, here]]) => `${kind} ${here} of ${all}`).join(", ");
  at("subject-rows").replaceChildren();
  for (const subject of [...first.keys()].sort()) {
    const row = at("subject-rows").insertRow();
    cell(row, subject, "keyed");
    cell(row, String(counts.get(subject) ?? 0), "number");
    cell(row, String(census?.get(subject) ?? "unknown"), "number");
  }
}

function whole({ leaf, texts }) {
  if (!leaf) return "not an entry";
  const shown = (value) => {
    if (typeof value === "string") return COMMITMENT.test(value) ? (texts[value] ?? "(withheld)") : value;
    if (Array.isArray(value)) return value.map(shown);
    if (value !== null && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, shown(item)]));
    return value;
  };
  return JSON.stringify(shown(leaf), null, 1);
}

function showEntries({ report, rows }) {
  at("entries").hidden = !rows.length;
  const marked = new Set(report.faults.filter((fault) => fault.index !== null).map((fault) => fault.index));
  let shown = 0;
  const wanted = () => {
    const text = at("find").value.trim();
    return rows.filter(({ leaf }) => !text || (leaf?.body.about ?? []).some((subject) => subject.includes(text)));
  };
  const more = () => {
    const found = wanted();
    for (const entry of found.slice(shown, shown + PAGE)) {
      const state = entry.state === "holds" && marked.has(entry.index) ? "touched" : entry.state;
      const row = at("entry-rows").insertRow();
      row.className = state.replace(" ", "-");
      cell(row, String(entry.index), "number");
      const { at: when, kind: name, about } = entry.leaf?.body ?? { at: "", kind: "not an entry", about: [] };
      cell(row, when.replace("T", " ").replace(/\.\d+Z/, " UTC"));
      const kind = document.createElement("details");
      const [summary, text] = [document.createElement("summary"), document.createElement("pre")];
      summary.textContent = name;
      kind.append(summary, text);
      kind.addEventListener("toggle", () => (text.textContent = whole(entry)), { once: true });
      row.insertCell().append(kind);
      cell(row, about.join(", "), "keyed");
      cell(row, state);
    }
    shown = Math.min(shown + PAGE, found.length);
    at("shown").textContent = `${shown} of ${found.length} shown, of ${rows.length} in the bundle`;
    at("more").hidden = shown === found.length;
  };
  const again = () => {
    at("entry-rows").replaceChildren();
    shown = 0;
    more();
  };
  at("more").onclick = more;
  at("find").oninput = again;
  again();
}

async function check(event) {
  event?.preventDefault();
  const [bundle] = at("bundle").files;
  for (const id of ["answer", "faults", "scope", "entries"]) at(id).hidden = true;
  at("report").textContent = "";
  at("working").hidden = false;
  if (!bundle) {
    at("working-text").textContent = "Choose the bundle first.";
    at("progress").hidden = true;
    return;
  }
  at("progress").hidden = false;
  at("progress").removeAttribute("value");
  at("working-text").textContent = "Reading the files and comparing them with the signed list …";
  const step = async (what, part) => {
    at("working-text").textContent = what === "entries" ? "Reading the entries …" : "Following the tree from the signed root …";
    at("progress").value = part;
    await new Promise((done) => setTimeout(done));
  };
  const [knownFile] = at("known").files;
  const found = await verifyBundle(bundle, {
    fingerprint: at("fingerprint").value.trim() || null,
    known: knownFile ? new Uint8Array(await knownFile.arrayBuffer()) : null,
    papers: at("papers").value.split("\n").filter((line) => line.trim()),
    step,
  });
  at("working").hidden = true;
  showAnswer(found);
  showScope(found);
  showEntries(found);
  at("answer").hidden = false;
  at("answer").focus();
  at("report").textContent = JSON.stringify(found.report);
}

at("form").addEventListener("submit", check);
for (const name of ["dragover", "dragleave", "drop"])
  at("drop").addEventListener(name, (event) => {
    event.preventDefault();
    at("drop").classList.toggle("over", name === "dragover");
    if (name === "drop" && event.dataTransfer.files.length) {
      at("bundle").files = event.dataTransfer.files;
      check();
    }
  });
