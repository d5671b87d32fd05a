// Starts the program on made-up years, looks at every page and does a day's work in each. `node run.mjs look` does a part.
import { check, tally } from "./lib/checks.mjs";
import { launch } from "./lib/browser.mjs";
import { close, decide, fact, get, open } from "./lib/yard.mjs";
import { emptyPages, handheldPages, pages, prepare, signedPages } from "./pages.mjs";
import { look } from "./look.mjs";
import { clerk } from "./stories/clerk.mjs";
import { decisions } from "./stories/decisions.mjs";
import { goods } from "./stories/goods.mjs";
import { laminator } from "./stories/laminator.mjs";
import { mishaps } from "./stories/mishaps.mjs";
import { planner } from "./stories/planner.mjs";
import { quality } from "./stories/quality.mjs";
import { reading } from "./stories/reading.mjs";
import { shift } from "./stories/shift.mjs";
import { shop } from "./stories/shop.mjs";
import { signing } from "./stories/signing.mjs";
import { witness } from "./stories/witness.mjs";

const long = process.argv.includes("--long");
const parts = process.argv.slice(2).filter((part) => part !== "--long");
const wanted = (part) => parts.length === 0 || parts.includes(part);
const began = Date.now();

async function looks(browser) {
  const [yard, empty] = await Promise.all([open({ demo: true }), open()]);
  try {
    const code = await prepare(yard, { fact, decide, get });
    const rows = pages(code).filter((row) => !process.env.PAGE || row.name.includes(process.env.PAGE));
    await look(browser, yard, rows, { badge: "B-17" });
    if (!process.env.PAGE) await look(browser, empty, emptyPages());
  } finally {
    await Promise.all([close(yard), close(empty)]);
  }
}

/** A few pages as Lighthouse sees them, which takes seconds for each. */
async function audits() {
  const { audit } = await import("./long/audit.mjs");
  const yard = await open({ demo: true });
  try {
    const code = await prepare(yard, { fact, decide, get });
    await audit(yard, ["/", `/?code=${code.held}`, "/today", "/rolls", "/mismatches", `/thing/part/${code.judged}`, "/trace/boat/NB-31", `/strike/${code.entry.out}`]);
  } finally {
    await close(yard);
  }
}

/** One yard for a day: what one did is there for the next. */
async function stories(browser) {
  const yard = await open({ demo: true });
  try {
    const code = await prepare(yard, { fact, decide, get });
    const told = (story, ...how) => check(`${story.name}'s story was told to its end`, () => story(browser, yard, code, ...how));
    for (const story of [reading, clerk, shift, laminator, shop, quality, decisions, goods, planner]) await told(story);
    // The same days where no script runs; what the scan field adds by script is not among them.
    for (const story of [shift, decisions]) await told(story, { scripts: false });
    await told(mishaps);
    // Last: it puts an older log in the place of this one.
    await told(witness);
  } finally {
    await close(yard);
  }
}

/** A yard in which people sign in: how it becomes one, and what its pages look like then. */
async function signed(browser) {
  const yard = await open({ demo: true });
  try {
    const { desk, hand } = await signing(browser, yard);
    const wanted = (row) => !process.env.PAGE || row.name.includes(process.env.PAGE);
    await look(browser, yard, signedPages().filter(wanted), { cookies: desk });
    await look(browser, yard, handheldPages().filter(wanted), { cookies: hand });
  } finally {
    await close(yard);
  }
}

const browser = await launch();
try {
  const lanes = [];
  if (wanted("look")) lanes.push(check("every page could be looked at", () => looks(browser)));
  if (wanted("stories")) lanes.push(check("every story could be told", () => stories(browser)));
  if (wanted("signed")) lanes.push(check("a yard in which people sign in could be looked at", () => signed(browser)));
  await Promise.all(lanes);
  if (long) await check("every audit could be made", audits);
} finally {
  await browser.close();
}

console.log(`\nPages and stories in a browser, ${Math.round((Date.now() - began) / 1000)} s:`);
console.log(`${tally.passed} passed, ${tally.failed} failed`);
process.exit(tally.failed === 0 && 0 < tally.passed ? 0 : 1);
