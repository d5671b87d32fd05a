// Keeps the last signed checkpoint that this device saw, and says when the log it sees now does not go on from there.
"use strict";
(async () => {
  const PLACE = "checkpoint";
  const subtle = window.crypto && crypto.subtle;
  const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  const bytes = (text) => Uint8Array.from(text.match(/../g) || [], (pair) => parseInt(pair, 16));
  const decoded = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const read = (note) => {
    const [origin, size, root] = note.split("\n");
    return { origin, size: Number(size), root: hex(decoded(root)) };
  };
  const node = async (left, right) =>
    hex(new Uint8Array(await subtle.digest("SHA-256", Uint8Array.of(1, ...bytes(left), ...bytes(right)))));
  // RFC 9162, section 2.1.4.2. Halves and not shifts: those end at 31 bits.
  const goesOn = async (old, now, path) => {
    if (old.size === 0) return true;
    if (old.size === now.size) return old.root === now.root;
    const hashes = Number.isInteger(Math.log2(old.size)) ? [old.root, ...path] : [...path];
    let [at, last] = [old.size - 1, now.size - 1];
    const half = () => { at = Math.floor(at / 2); last = Math.floor(last / 2); };
    while (at % 2 === 1) half();
    let before = hashes.shift();
    let after = before;
    for (const next of hashes) {
      if (last === 0) return false;
      if (at % 2 === 1 || at === last) {
        [before, after] = [await node(next, before), await node(next, after)];
        while (at % 2 === 0 && at !== 0) half();
      } else after = await node(after, next);
      half();
    }
    return last === 0 && before === old.root && after === now.root;
  };
  const signed = async (note, key) => {
    const [text, line] = note.split("\n\n");
    const [, , signature] = line.trim().split(" ");
    const raw = decoded(key.slice(key.indexOf("+", key.indexOf("+") + 1) + 1)).slice(1);
    let own;
    try {
      own = await subtle.importKey("raw", raw, "Ed25519", false, ["verify"]);
    } catch {
      return true; // This browser knows no such signatures; the path is checked all the same.
    }
    return subtle.verify("Ed25519", own, decoded(signature).slice(4), new TextEncoder().encode(`${text}\n`));
  };
  const keep = (said) => localStorage.setItem(PLACE, JSON.stringify({ note: said.checkpoint, key: said.key }));
  const say = (sentence, said) => {
    const box = document.createElement("div");
    box.className = "alarm noprint";
    box.setAttribute("role", "alert");
    const line = document.createElement("p");
    line.textContent = `${sentence} Tell whoever looks after the server. You can go on working.`;
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Told. Go on from this log";
    button.addEventListener("click", () => { keep(said); box.remove(); });
    box.append(line, button);
    document.querySelector("main").prepend(box);
  };
  try {
    const seen = JSON.parse(localStorage.getItem(PLACE));
    const asked = seen ? `?seen=${encodeURIComponent(seen.note)}` : "";
    const answer = await fetch(`/api/v1/checkpoint${asked}`, { headers: { accept: "application/json" } });
    if (!answer.ok) return;
    const said = await answer.json();
    const now = read(said.checkpoint);
    let wrong = "";
    if (seen) {
      const old = read(seen.note);
      if (said.key !== seen.key)
        wrong = "This is not the log that this device saw before: its key is another one.";
      else if (now.size < old.size)
        wrong = `The log has ${now.size} entries, and this device has seen ${old.size}: the newest are missing.`;
      else if (!(subtle ? await goesOn(old, now, said.seen.path) : said.seen.continues))
        wrong = "The log is not a continuation of what this device saw before: earlier entries were changed.";
    }
    if (!wrong && subtle && !(await signed(said.checkpoint, said.key))) wrong = "The log's checkpoint is not signed with its key.";
    if (wrong) say(wrong, said);
    else keep(said);
  } catch {
    // No network, or a browser that keeps nothing: there is nothing to say, and nobody is held up.
  }
})();
