// Keeps the scan field ready: a scanner types into whatever has the focus, and into nothing when nothing has it.
"use strict";
const field = document.getElementById("code");
const ready = field.placeholder;
let lastKey = 0;

const hold = () => {
  if (document.activeElement !== field) field.focus({ preventScroll: true });
  say();
};
const say = () => {
  const on = document.activeElement === field && document.hasFocus();
  field.placeholder = on ? ready : field.dataset.lost;
};

field.addEventListener("blur", () => setTimeout(say, 100));
field.addEventListener("focus", say);
addEventListener("pageshow", hold);
addEventListener("focus", hold);
addEventListener("blur", say);
document.addEventListener("visibilitychange", hold);
document.addEventListener("pointerup", (event) => {
  if (!event.target.closest("a, button")) hold();
});

// A second net: keys that arrive while something else has the focus are a scan, and its Enter presses no button.
document.addEventListener("keydown", (event) => {
  const quick = event.timeStamp - lastKey < 50;
  lastKey = event.timeStamp;
  if (event.target === field || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "Enter" && quick) {
    event.preventDefault();
    if (field.value) field.form.requestSubmit();
  } else if (event.key.length === 1 && event.key !== " ") {
    field.focus({ preventScroll: true });
  }
});

// One press writes once: the second tap of a shaking hand finds the form sent.
document.querySelectorAll("form.moves").forEach((form) => {
  let sent = false;
  form.addEventListener("submit", (event) => {
    if (sent) event.preventDefault();
    sent = true;
  });
});
hold();
