/* Checks a receipt or a proof with the public key alone. Nothing here reaches the network.
 * Sources: RFC 9162 sections 2.1.3.2 and 2.1.4.2 (proofs; the tree is that of RFC 6962), C2SP
 * signed-note and tlog-checkpoint. Each check throws one sentence. */
"use strict";

const RECEIPT = "wareleaf receipt 1";
const CONSISTENCY = "wareleaf consistency 1";
const utf8 = (text) => new TextEncoder().encode(text);

function need(holds, sentence) {
  if (!holds) throw new Error(sentence);
}

function fromBase64(text, what) {
  need(/^(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?$/.test(text), what);
  return Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
}

function joined(...parts) {
  const all = new Uint8Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
}

const same = (a, b) => a.length === b.length && a.every((byte, k) => byte === b[k]);
const hex = (bytes) => [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
const leafHash = (body) => sealCrypto.sha256(joined(Uint8Array.of(0), body));
const nodeHash = (left, right) => sealCrypto.sha256(joined(Uint8Array.of(1), left, right));

/* Public key as handed out: name+id+key. */
function keyOf(text) {
  const wrong = "The public key cannot be read: it looks like name+0123abcd+AbCd... Copy all of it.";
  const found = /^([^\s+]+)\+([0-9a-f]{8})\+(.+)$/.exec(text.trim());
  need(found, wrong);
  const [, name, id, packed] = found;
  const raw = fromBase64(packed, wrong);
  need(raw.length === 33 && raw[0] === 1, wrong);
  const own = sealCrypto.sha256(joined(utf8(name), utf8("\n"), raw)).slice(0, 4);
  need(hex(own) === id, "The public key is damaged: its name and its number do not fit.");
  return { name, id, key: raw.slice(1) };
}

/* The signed text of a note and the names whose signatures hold. */
function openNote(note, keys) {
  const cut = note.lastIndexOf("\n\n");
  need(cut >= 0 && note.endsWith("\n"), "This is no signed note.");
  const text = note.slice(0, cut + 1);
  need(!/[\u0000-\u0009\u000b-\u001f]/.test(text), "The note has control characters.");
  const held = new Set();
  for (const line of note.slice(cut + 2, -1).split("\n")) {
    const found = /^— ([^\s+]+) ([A-Za-z0-9+/]+={0,2})$/.exec(line);
    need(found, "A signature line of the note cannot be read.");
    const raw = fromBase64(found[2], "A signature line of the note cannot be read.");
    need(raw.length >= 5, "A signature line of the note cannot be read.");
    const known = keys.find((k) => k.name === found[1] && k.id === hex(raw.slice(0, 4)));
    if (!known) continue;
    let holds = false;
    try {
      holds = sealCrypto.verify(raw.slice(4), utf8(text), known.key);
    } catch {
      holds = false;
    }
    need(holds, `The signature of ${known.name} does not hold: the note was changed or is forged.`);
    held.add(known.name);
  }
  need(held.size, "The checkpoint carries no signature of the public key that you gave.");
  return { text, held };
}

function openCheckpoint(note, keys) {
  const wrong = "This note is no checkpoint: it needs origin, size and root.";
  need(typeof note === "string", wrong);
  const { text, held } = openNote(note, keys);
  const [origin, size, root] = text.split("\n");
  need(/^(0|[1-9][0-9]*)$/.test(size || "") && Number.isSafeInteger(Number(size)), wrong);
  const raw = fromBase64(root || "", wrong);
  need(raw.length === 32, wrong);
  need(held.has(origin), `The checkpoint is of ${origin}, but the key that holds is of another book.`);
  return { origin, size: Number(size), root: raw };
}

const half = (n) => Math.floor(n / 2);

function included(leaf, index, size, path, root) {
  if (!Number.isSafeInteger(index) || index < 0 || index >= size) return false;
  let [fn, sn, r] = [index, size - 1, leaf];
  for (const p of path) {
    if (p.length !== 32 || sn === 0) return false;
    if (fn % 2 || fn === sn) {
      r = nodeHash(p, r);
      while (fn && fn % 2 === 0) [fn, sn] = [half(fn), half(sn)];
    } else r = nodeHash(r, p);
    [fn, sn] = [half(fn), half(sn)];
  }
  return sn === 0 && same(r, root);
}

function consistent(older, newer, proof) {
  const [m, n] = [older.size, newer.size];
  if (!(m > 0 && m <= n) || proof.some((p) => p.length !== 32)) return false;
  if (m === n) return proof.length === 0 && same(older.root, newer.root);
  let power = m;
  while (power % 2 === 0) power = half(power);
  const path = power === 1 ? [older.root, ...proof] : [...proof];
  if (!path.length) return false;
  let [fn, sn] = [m - 1, n - 1];
  while (fn % 2) [fn, sn] = [half(fn), half(sn)];
  let [fr, sr] = [path[0], path[0]];
  for (const c of path.slice(1)) {
    if (sn === 0) return false;
    if (fn % 2 || fn === sn) {
      [fr, sr] = [nodeHash(c, fr), nodeHash(c, sr)];
      while (fn && fn % 2 === 0) [fn, sn] = [half(fn), half(sn)];
    } else sr = nodeHash(sr, c);
    [fn, sn] = [half(fn), half(sn)];
  }
  return sn === 0 && same(fr, older.root) && same(sr, newer.root);
}

function pathOf(list) {
  need(Array.isArray(list), "A proof in the file cannot be read.");
  return list.map((h) => fromBase64(String(h), "A proof in the file cannot be read."));
}

function checkReceipt(data, keys) {
  const checkpoint = openCheckpoint(data.checkpoint, keys);
  need(Array.isArray(data.events) && data.events.length, "The receipt has no events.");
  let last = -1;
  const events = data.events.map((item) => {
    need(typeof item.event === "string", "An event of the receipt cannot be read.");
    let event;
    try {
      event = JSON.parse(item.event);
    } catch {
      throw new Error("An event of the receipt cannot be read.");
    }
    const holds = included(
      leafHash(utf8(item.event)), item.index, checkpoint.size, pathOf(item.path), checkpoint.root);
    need(holds, `Event ${event.event_id} at place ${item.index + 1} is not what stands in the ` +
      "signed book: it was changed, or the proof belongs to another book.");
    need(item.index > last, "The events of the receipt are not in the order of the book.");
    last = item.index;
    return { place: item.index + 1, event };
  });
  const lot = String(data.lot || "");
  return { kind: "receipt", lot, checkpoint, events, ...(lot ? sources(lot, events) : {}) };
}

/* Events in force: a correction stands in the place of what it corrects. */
function inForce(events) {
  const root = new Map();
  const current = new Map();
  for (const { event } of events) {
    if (event.kind !== "correction") {
      root.set(event.event_id, event.event_id);
      current.set(event.event_id, event);
      continue;
    }
    const first = root.get(event.corrects);
    need(first, `There is no event ${event.corrects} in the receipt to correct.`);
    root.set(event.event_id, first);
    const facts = event.facts || {};
    current.set(first, facts.void ? null : event);
  }
  return [...current.values()].filter(Boolean);
}

/* Where a lot came from: shares by dry matter drawn, by mass where there is none. */
function sources(lot, events) {
  const made = new Map();
  const into = new Map();
  for (const event of inForce(events)) {
    for (const out of event.outputs || []) {
      made.set(out.lot_id, out);
      const drawn = event.inputs || [];
      const byDry = drawn.some((d) => d.dry_g > 0);
      const of = (d) => (byDry ? d.dry_g : d.mass_g);
      const total = drawn.reduce((sum, d) => sum + of(d), 0);
      if (drawn.length) into.set(out.lot_id, drawn.map((d) => [d.lot_id, of(d) / total]));
    }
  }
  need(made.has(lot), `The receipt is said to be of lot ${lot}, but no event in it makes that lot.`);
  const order = [];
  const state = new Map();
  const visit = (id) => {
    need(state.get(id) !== 1, `Lot ${id} is among its own ancestors.`);
    if (state.get(id)) return;
    state.set(id, 1);
    for (const [parent] of into.get(id) || []) visit(parent);
    state.set(id, 2);
    order.unshift(id);
  };
  visit(lot);
  const share = new Map([[lot, 1]]);
  for (const id of order) {
    for (const [parent, part] of into.get(id) || []) {
      share.set(parent, (share.get(parent) || 0) + part * share.get(id));
    }
  }
  const ends = order.filter((id) => !into.has(id)).map((id) => [id, share.get(id)]);
  return { made: made.get(lot), ends, gaps: order.filter((id) => !made.has(id)), lots: made };
}

/* Check the text of a file with public keys, one a line. Returns what holds, or throws. */
function checkFile(text, keysText) {
  const keys = keysText.split("\n").filter((line) => line.trim()).map(keyOf);
  need(keys.length, "Give the public key of the book, as the works told you.");
  let data;
  try {
    data = JSON.parse(text);
  } catch {
    throw new Error("The file cannot be read as JSON; is it the receipt?");
  }
  need(data && typeof data === "object", "The file holds no receipt.");
  if (data.format === RECEIPT) return checkReceipt(data, keys);
  need(data.format === CONSISTENCY, "This file is no receipt and no proof of a known form.");
  const older = openCheckpoint(data.older, keys);
  const newer = openCheckpoint(data.newer, keys);
  need(older.origin === newer.origin && consistent(older, newer, pathOf(data.path)),
    `The book of ${newer.size} events does not begin with the signed book of ${older.size}: its ` +
    "past was changed in between.");
  return { kind: "proof", older, newer };
}
