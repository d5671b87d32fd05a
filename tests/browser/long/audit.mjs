// A few pages as Lighthouse sees them: accessibility and best practices, all of it.
import { createServer } from "node:net";
import lighthouse from "lighthouse";
import { launch } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";

const ASKED = ["accessibility", "best-practices"];

function freePort() {
  return new Promise((done) => {
    const server = createServer().listen(0, "127.0.0.1", () => {
      const { port } = server.address();
      server.close(() => done(port));
    });
  });
}

export async function audit(yard, addresses) {
  const port = await freePort();
  const browser = await launch([`--remote-debugging-port=${port}`]);
  try {
    for (const address of addresses) await check(`${address} is without fault to Lighthouse`, () => one(yard.url + address, port));
  } finally {
    await browser.close();
  }
}

// What is told as it happens never ends: the page is looked at after four seconds.
async function one(url, port) {
  const flags = { port, output: "json", logLevel: "error", onlyCategories: ASKED, formFactor: "desktop", screenEmulation: { disabled: true }, throttlingMethod: "provided", maxWaitForLoad: 4_000 };
  const { lhr } = await lighthouse(url, flags);
  const wrong = Object.values(lhr.audits).filter((one) => one.score !== null && one.score < 1).map((one) => `${one.id}: ${one.title}`);
  for (const asked of ASKED) assert.equal(lhr.categories[asked].score, 1, `${asked}: ${wrong.join("; ")}`);
}
