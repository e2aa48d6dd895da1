/* The page around check.js: files in, sentences out. */
"use strict";

const at = (id) => document.getElementById(id);

function element(tag, text, cls) {
  const made = document.createElement(tag);
  if (text !== undefined) made.textContent = text;
  if (cls) made.className = cls;
  return made;
}

const kg = (g) => `${(g / 1000).toLocaleString("en", { maximumFractionDigits: 2 })} kg`;

function table(heads, rows) {
  const made = element("table");
  const head = made.createTHead().insertRow();
  for (const word of heads) {
    const cell = element("th", word);
    cell.scope = "col";
    head.append(cell);
  }
  const body = made.createTBody();
  for (const row of rows) {
    const line = body.insertRow();
    for (const word of row) line.insertCell().textContent = word;
  }
  const wide = element("div", undefined, "wide");
  wide.tabIndex = 0;
  wide.append(made);
  return wide;
}

function sourceOf(found, id) {
  const lot = found.lots.get(id);
  return (lot && ((lot.attributes && lot.attributes.source) || lot.label)) || "not in the receipt";
}

function showReceipt(found) {
  const { origin, size } = found.checkpoint;
  const parts = [element("h2", "It holds"), element("p",
    `These ${found.events.length} events stood, word for word, in the book of ${origin} when it was ` +
    `signed with ${size} events.`)];
  if (found.lot) {
    parts.push(element("h3", `Lot ${found.lot}: ${kg(found.made.mass_g)} of ${found.made.form}`));
    parts.push(table(["Came from lot", "Line or field", "Share of dry matter"], found.ends.map(
      ([id, share]) => [id, sourceOf(found, id), `${(100 * share).toFixed(1)} %`])));
    if (found.gaps.length) {
      parts.push(element("p", `Not in the receipt: how ${found.gaps.join(", ")} were made.`));
    }
  }
  const moved = (list) => list.map((m) => `${m.lot_id} ${kg(m.mass_g)}`).join(", ");
  parts.push(element("h3", "What happened"), table(
    ["Place in the book", "When", "What", "Where", "Out of", "Into"],
    found.events.map(({ place, event }) => [
      String(place), event.happened_at.replace("T", " "), event.kind.replace("_", " "),
      [event.site, event.place].filter(Boolean).join(", "),
      moved(event.inputs || []), moved(event.outputs || [])])));
  parts.push(element("p",
    "It does not say that the events are true, nor that no later event speaks of the lot. Ask for " +
    "a newer receipt when it matters."));
  return parts;
}

function showProof(found) {
  return [element("h2", "It holds"), element("p",
    `The book of ${found.newer.origin} with ${found.newer.size} events begins with the signed one ` +
    `of ${found.older.size}; nothing in those was changed.`)];
}

async function check(event) {
  event.preventDefault();
  const out = at("found");
  try {
    need(at("file").files.length, "Choose the file that the works sent you.");
    const text = await at("file").files[0].text();
    const found = checkFile(text, at("keys").value);
    out.className = "holds";
    out.replaceChildren(...(found.kind === "proof" ? showProof(found) : showReceipt(found)));
  } catch (error) {
    out.className = "fails";
    out.replaceChildren(element("h2", "It does not hold"), element("p", error.message));
  }
  out.focus();
}

at("ask").addEventListener("submit", check);
