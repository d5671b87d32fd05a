// Says that something was recorded since the page was made, and moves nothing of what is being read.
"use strict";
const line = document.getElementById("live");
let log = null;
let said = false;
const say = () => {
  said = true;
  log.close();
  const show = document.createElement("a");
  show.href = location.href;
  show.textContent = "Show it.";
  line.append(`Something was recorded since ${line.dataset.at}. `, show);
};
// A page that nobody looks at listens to nothing: a browser keeps few connections open.
const listen = () => {
  if (log) log.close();
  if (said || document.hidden) return;
  log = new EventSource(`/api/v1/entries?after=${line.dataset.after}`);
  log.addEventListener("entry", say);
};
// What is read as it was at another time does not grow old.
if (line && window.EventSource && !/[?&](at|known)=/.test(location.search)) {
  document.addEventListener("visibilitychange", listen);
  listen();
}
