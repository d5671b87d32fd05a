// A device keeps the last checkpoint that it saw, and says when the log it sees now does not go on from there.
import { cpSync, existsSync, rmSync } from "node:fs";
import { join } from "node:path";
import { SIZES, profile } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { again, fact, stop } from "../lib/yard.mjs";

const KEPT = () => JSON.parse(localStorage.getItem("checkpoint"));
const size = (kept) => Number(kept.note.split("\n")[1]);

/** Opens a page and waits until its script has had its answer and has kept or said something. */
async function look(page, path) {
  const answered = page.waitForResponse((answer) => answer.url().includes("/api/v1/checkpoint"));
  await page.goto(path);
  assert.equal((await answered).status(), 200);
  await page.waitForLoadState("networkidle");
}

export async function witness(browser, yard) {
  const { context, seen } = await profile(browser, yard, { size: SIZES.handheld });
  const page = await context.newPage();
  const alarm = page.locator(".alarm", { hasText: "You can go on working" });
  let first;

  await check("a page keeps the log's checkpoint, and the next one with more, without a word", async () => {
    await look(page, "/");
    first = await page.evaluate(KEPT);
    for (let more = 0; more < 3; more += 1) {
      await fact(yard, "seen", "roll/R-1", { in: "F1" });
      await look(page, more % 2 ? "/" : "/today");
      assert.equal(size(await page.evaluate(KEPT)), size(first) + more + 1);
    }
    assert.equal(await alarm.count(), 0);
  });

  await check("a kept checkpoint over other entries is said not to go on, and stands until somebody says so", async () => {
    const honest = await page.evaluate(KEPT);
    await page.evaluate(() => {
      const kept = JSON.parse(localStorage.getItem("checkpoint"));
      const lines = kept.note.split("\n");
      lines[2] = btoa("\u0001".repeat(32));
      localStorage.setItem("checkpoint", JSON.stringify({ ...kept, note: lines.join("\n") }));
    });
    const forged = await page.evaluate(KEPT);
    await look(page, "/");
    await alarm.waitFor();
    assert.match(await alarm.innerText(), /not a continuation of what this device saw/);
    assert.deepEqual(await page.evaluate(KEPT), forged);
    await alarm.getByRole("button").click();
    assert.equal(await alarm.count(), 0);
    assert.equal(size(await page.evaluate(KEPT)), size(honest));
    await look(page, "/");
    assert.equal(await alarm.count(), 0);
  });

  await check("a server that came back with an older log is told of it by the device, and says so itself", async () => {
    await stop(yard);
    const old = `${yard.data}-old`;
    cpSync(yard.data, old, { recursive: true });
    await again(yard);
    await fact(yard, "seen", "roll/R-1", { in: "F1" });
    await look(page, "/");
    const newest = size(await page.evaluate(KEPT));
    await stop(yard);
    rmSync(yard.data, { recursive: true });
    cpSync(old, yard.data, { recursive: true });
    const own = join(yard.data, "people", "checkpoint");
    if (existsSync(own)) rmSync(own);
    await again(yard);
    await look(page, "/");
    await alarm.waitFor();
    assert.match(await alarm.innerText(), /the newest are missing/);
    assert.equal(size(await page.evaluate(KEPT)), newest);
    await page.goto("/today");
    await page.getByText("This log is an older copy").waitFor();
  });

  assert.deepEqual(seen, []);
  await context.close();
}
