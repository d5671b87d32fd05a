// Keeps the scan field ready: a scanner types into whatever has the focus, and into nothing when nothing has it.
// It runs before the page is there, because a scan does not wait for a page.
"use strict";
let field = null;
let ready = "";
let lastKey = 0;
let leaving = false;

// Keys that came before there was a field, or after its page was left: the front of the next scan, Enter as a new line.
const KEPT_MS = 5000;
let front = "";
try {
  const kept = JSON.parse(sessionStorage.getItem("front"));
  sessionStorage.removeItem("front");
  if (Date.now() - kept.at < KEPT_MS) front = kept.keys;
} catch {}
const keep = () => {
  try {
    if (front) sessionStorage.setItem("front", JSON.stringify({ keys: front, at: Date.now() }));
  } catch {}
};
const pour = () => {
  if (!field || !front) return;
  const [first, ...rest] = front.split("\n");
  front = rest.join("\n");
  field.value = first + field.value;
  if (rest.length && field.value) field.form.requestSubmit();
};

const say = () => {
  if (field) field.placeholder = document.activeElement === field && document.hasFocus() ? ready : field.dataset.lost;
};
// Somebody types a length or a time: the keys are theirs. A scanner's quick Enter still presses nothing there.
const isTyped = (element) => element !== field && Boolean(element?.matches?.("input, select, textarea"));
const hold = () => {
  if (field && document.activeElement !== field && !isTyped(document.activeElement)) field.focus({ preventScroll: true });
  say();
};

// A second net: keys that arrive while something else has the focus are a scan, and its Enter presses no button.
document.addEventListener("keydown", (event) => {
  const quick = event.timeStamp - lastKey < 50;
  lastKey = event.timeStamp;
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const letter = event.key.length === 1;
  const enter = event.key === "Enter";
  if (leaving || !field) {
    if (!letter && !(enter && front)) return;
    event.preventDefault();
    front += enter ? "\n" : event.key;
    if (leaving) keep();
  } else if (event.target === field) {
    return;
  } else if (enter && quick) {
    event.preventDefault();
    if (field.value && !isTyped(event.target)) field.form.requestSubmit();
  } else if (isTyped(event.target)) {
    return;
  } else if (letter && event.key !== " ") {
    field.focus({ preventScroll: true });
  }
});

// A badge signs in wherever it is scanned, and what it says never stands in an address.
const BADGE = /^\s*(\][A-Za-z]\d)?RMB\./;
const signIn = (code) => {
  const form = Object.assign(document.createElement("form"), { method: "post", action: "/sign-in" });
  for (const [name, value] of Object.entries({ code, then: location.pathname + location.search }))
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  document.body.append(form);
  form.submit();
};

// One press writes once: the second tap of a shaking hand finds the form sent.
document.addEventListener("submit", (event) => {
  if (leaving) {
    event.preventDefault();
    return;
  }
  leaving = true;
  keep();
  const posts = event.target.method === "post" && ["/sign-in", "/sitting"].includes(new URL(event.target.action).pathname);
  if (event.target === field?.form && !posts && BADGE.test(field.value)) {
    event.preventDefault();
    signIn(field.value);
  }
  // What was sent is gone from the field, so that the next scan does not grow behind it.
  setTimeout(() => {
    if (field) field.value = "";
  });
  setTimeout(stay, KEPT_MS);
});
const stay = () => {
  leaving = false;
  pour();
};
addEventListener("pagehide", () => {
  if (!leaving || !field) return;
  front += field.value;
  keep();
});

document.addEventListener("DOMContentLoaded", () => {
  field = document.getElementById("code");
  if (!field) return;
  ready = field.placeholder;
  field.addEventListener("blur", () => setTimeout(say, 100));
  field.addEventListener("focus", say);
  hold();
  pour();
});
addEventListener("pageshow", (event) => {
  if (event.persisted) {
    front = "";
    leaving = false;
  }
  hold();
});
addEventListener("focus", hold);
addEventListener("blur", say);
document.addEventListener("visibilitychange", hold);
document.addEventListener("pointerup", (event) => {
  if (!event.target.closest("a, button, label, input, select")) hold();
});
