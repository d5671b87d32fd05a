// Each page in each state: status, words, axe, HTML, sizes, contrast, 320 px, print, weight; with scripts and without.
import { execFile } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { promisify } from "node:util";
import { gzipSync } from "node:zlib";
import { FileSystemConfigLoader, HtmlValidate } from "html-validate/node";
import { SIZES, profile } from "./lib/browser.mjs";
import { assert, check } from "./lib/checks.mjs";
import { measure } from "./lib/measure.mjs";
import { kept } from "./lib/places.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"];
const html = new HtmlValidate(new FileSystemConfigLoader({
  root: true,
  extends: ["html-validate:standard", "html-validate:a11y"],
  rules: {
    // The doctype in small letters and void elements without a slash are as good HTML as others.
    "doctype-style": "off",
    "long-title": "off",
    // A button in a form submits it; that is what the standard says and what is meant.
    "no-implicit-button-type": "off",
    // A named region around a wide table is a region, whatever its element is called.
    "prefer-native-element": "off",
    // The scan strip is sent by its scanner's Enter; `without` asks every other form for a button.
    "wcag/h32": "off",
  },
}));
const run = promisify(execFile);

/** What each kind of page keeps to, by the screen it is on: least px for text, for what is pressed, and between two of them. */
const LEAST = {
  // Figures of the design: 20 mm targets for mittens and 16 arc minutes at 450 and 600 mm, in CSS px of 0.159 mm.
  hand: { handheld: { text: 24, action: 126, gap: 16, contrast: 7 }, tablet: { text: 31, action: 82, gap: 38, contrast: 7 } },
  desk: { desk: { text: 18, action: 24, gap: 0, contrast: 4.5 } },
};
/** WCAG 2.2, 2.5.8 (AA). */
const LEAST_TARGET = 24;
const MOST = { desk: 40_000, hand: 60_000, css: 12_000 };

/** `who`: the badge that is claimed, or the cookies of somebody who signed in. */
export async function look(browser, yard, rows, who = {}) {
  const on = await profile(browser, yard, who);
  const off = await profile(browser, yard, { ...who, scripts: false });
  const page = await on.context.newPage();
  const plain = await off.context.newPage();
  for (const row of rows) {
    await without(plain, row);
    await one(page, row, on.seen);
  }
  await on.context.close();
  await off.context.close();
}

/** Readable, and every form to be used, without scripts. */
async function without(page, row) {
  await check(`${row.name} is whole without scripts`, async () => {
    const answer = await page.goto(row.at);
    assert.equal(answer.status(), row.status ?? 200);
    assert.ok(20 < (await page.locator("main").innerText()).length, "it says next to nothing");
    for (const form of await page.locator("form").all()) {
      const fields = await form.locator("input:not([type=hidden])").count();
      const ways = await form.locator("button, input[type=submit]").count();
      // One field alone is sent by Enter (HTML, 4.10.21.2 "implicit submission"); more fields need a button.
      assert.ok(0 < ways || fields === 1, `a form without a way to send it: ${await form.getAttribute("action")}`);
    }
  });
}

async function one(page, row, seen) {
  seen.length = 0;
  const sizes = [];
  const weighing = [];
  const weigh = (answer) => weighing.push(weight(answer));
  page.on("response", weigh);
  await page.setViewportSize(SIZES.desk);
  const arrived = await check(`${row.name} answers ${row.status ?? 200}`, async () => {
    const answer = await page.goto(row.at, { waitUntil: "load" });
    assert.equal(answer.status(), row.status ?? 200);
    writeFileSync(join(kept, `${row.name}.html`), await answer.text());
  });
  page.off("response", weigh);
  if (!arrived) return;

  await check(`${row.name} weighs little when it is loaded first`, async () => {
    const all = (await Promise.all(weighing)).filter(Boolean);
    const whole = all.reduce((sum, file) => sum + file.bytes, 0);
    const css = all.filter((file) => file.type.startsWith("text/css")).reduce((sum, file) => sum + file.bytes, 0);
    assert.ok(whole <= (row.most ?? MOST[row.kind]), `${whole} bytes: ${JSON.stringify(all)}`);
    assert.ok(css <= MOST.css, `${css} bytes of style`);
  });
  await check(`${row.name} is HTML as the standard has it`, async () => {
    const report = await html.validateFile(join(kept, `${row.name}.html`));
    const said = report.results.flatMap((result) => result.messages).filter((message) => message.severity === 2);
    assert.deepEqual(said.map((one) => `${one.line}:${one.column} ${one.ruleId}: ${one.message}`), []);
  });

  for (const [screen, size] of Object.entries(SIZES)) {
    await page.setViewportSize(size);
    await page.screenshot({ path: join(kept, `${row.name}-${screen}.png`), fullPage: true });
    const found = await page.evaluate(measure);
    sizes.push([screen, found]);
  }
  await check(`${row.name} is a ${row.kind} page with a name, one heading at most, and a language`, () => {
    const [, found] = sizes[0];
    assert.equal(found.hand, row.kind === "hand");
    assert.ok(found.title.length && found.lang === "en" && found.headings <= 1, JSON.stringify(found.headings));
    if (row.kind === "desk") assert.equal(found.headings, 1);
  });
  for (const [screen, found] of sizes) measured(row, screen, found);
  for (const [screen, found] of sizes) await judged(row, screen, found);

  await check(`${row.name} passes axe`, async () => {
    await page.setViewportSize(SIZES[row.kind === "hand" ? "handheld" : "desk"]);
    await page.evaluate(axe);
    const result = await page.evaluate((tags) => window.axe.run(document, { runOnly: tags, resultTypes: ["violations"] }), AXE_TAGS);
    assert.deepEqual(result.violations.map((one) => `${one.id}: ${one.help}: ${one.nodes.map((node) => node.html.slice(0, 120)).slice(0, 3).join(" | ")}`), []);
  });
  await check(`${row.name} fits 320 px, as WCAG 2.2, 1.4.10 asks`, async () => {
    await page.setViewportSize({ width: 320, height: 640 });
    const { over } = await page.evaluate(measure);
    assert.equal(over, 0, `it runs ${over} px out of the side`);
  });
  if (row.paper) await printed(page, row);
  await check(`${row.name} shows nothing odd in the console and asks nobody else`, () => assert.deepEqual(seen, []));
}

async function weight(answer) {
  // What is told as it happens never ends, and is no part of the first load.
  if ((answer.headers()["content-type"] ?? "").startsWith("text/event-stream")) return null;
  try {
    const body = await answer.body();
    const packed = answer.headers()["content-encoding"] ? body.length : gzipSync(body).length;
    return { url: new URL(answer.url()).pathname, type: answer.headers()["content-type"] ?? "", bytes: packed };
  } catch {
    return null;
  }
}

/** Keeps what was measured, to be read beside the pictures. */
function measured(row, screen, found) {
  writeFileSync(join(kept, `${row.name}-${screen}.json`), JSON.stringify(found, null, 1));
}

async function judged(row, screen, found) {
  const least = LEAST[row.kind][screen];
  if (!least) return;
  await check(`${row.name} on a ${screen} can be pressed and read`, () => {
    const wrong = [];
    for (const target of found.targets) {
      if (target.isAction && target.height + 0.5 < least.action) wrong.push(`${target.name} is ${target.height} px high, not ${least.action}`);
      if (!target.inSentence && (target.height + 0.5 < LEAST_TARGET || target.width + 0.5 < LEAST_TARGET))
        wrong.push(`${target.name} is ${target.width} x ${target.height} px`);
    }
    for (const { between, gap } of found.gaps) if (gap + 0.5 < least.gap) wrong.push(`${gap} px between ${between}`);
    for (const text of found.texts) {
      if (text.size + 0.05 < least.text) wrong.push(`"${text.text}" is ${text.size} px, not ${least.text}`);
      if (text.contrast + 0.005 < least.contrast) wrong.push(`"${text.text}" has a contrast of ${text.contrast}`);
    }
    for (const { text, by } of found.cut) wrong.push(`"${text}" is cut off by ${by} px`);
    if (row.still && screen === "handheld" && found.below) wrong.push(`it has to be scrolled by ${found.below} px`);
    if (found.over) wrong.push(`it runs ${found.over} px out of the side`);
    assert.deepEqual(wrong, []);
  });
}

async function printed(page, row) {
  await check(`${row.name} prints on A4 with numbered pages`, async () => {
    const path = join(kept, `${row.name}.pdf`);
    await page.setViewportSize(SIZES.desk);
    await page.pdf({ path, preferCSSPageSize: true, tagged: true });
    const { stdout: info } = await run("pdfinfo", [path]);
    const { stdout: text } = await run("pdftotext", ["-layout", path, "-"]);
    const count = Number(info.match(/Pages:\s+(\d+)/)[1]);
    assert.match(info, /Page size:.*A4/);
    for (let number = 1; number <= count; number += 1) assert.ok(text.includes(`page ${number} of ${count}`), `no "page ${number} of ${count}"`);
    for (const word of row.prints ?? []) assert.match(text, word);
  });
}
