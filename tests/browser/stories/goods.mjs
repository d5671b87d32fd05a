// Goods-in: a delivery stands at the dock. Goals of the design: one scan a roll, no tap between two rolls.
import { join } from "node:path";
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { kept } from "../lib/places.mjs";
import { entries, get } from "../lib/yard.mjs";
import { delivery } from "../pages.mjs";

const ROLLS = ["G-1", "G-2", "G-3"];

export async function goods(browser, yard, code) {
  const who = await Person.at(browser, yard, { size: SIZES.handheld, badge: "B-17" });

  await check("what a delivery's rolls are is chosen once", async () => {
    await who.open("/");
    await who.tap("Receive");
    await who.choose("Material and revision", "PM-101/B");
    await who.type("Batch", code.batch.split("/")[1]);
    await who.type("Length of each roll, in metres", "50");
    await who.choose("It came in", "TRUCK");
    await who.choose("It goes into", "F1");
    await who.choose("It stands", "certificate");
    await who.type("Hours and minutes", "0:30");
    await who.type("Times back into the cold", "0");
    await who.type("As of", "2026-01-05 06:00");
    await who.tap("Now scan the rolls");
    await who.reads(/scan each roll/);
  });

  await check("then it is 1 scan a roll, 0 taps, nothing typed", async () => {
    const before = await entries(yard);
    who.forget();
    for (const roll of ROLLS) {
      await who.scan(roll);
      await who.reads(new RegExp(`${roll}: received, in F1 since (Mon|Tue|Wed|Thu|Fri|Sat|Sun) \\d\\d:\\d\\d`));
    }
    who.took({ scans: ROLLS.length, taps: 0 });
    await who.reads(/3 rolls received\. 3 can be used\./);
    assert.equal(await entries(yard), before + 2 * ROLLS.length, "a receipt and a put-away for each");
    const seen = await get(yard, "/api/v1/things/roll/G-2");
    assert.equal(seen.body.whereabouts.place, "F1");
  });

  await check("a roll scanned again, and the back button, write nothing twice", async () => {
    const before = await entries(yard);
    await who.scan("G-2");
    await who.reads(/G-2 was received before\. Nothing was written/);
    await who.page.goBack();
    await who.scan("G-3");
    await who.reads(/G-3 was received before/);
    assert.equal(await entries(yard), before);
  });

  await check("the placard of the other freezer is scanned before its rolls: 1 scan", async () => {
    who.forget();
    await who.scan("F2");
    await who.reads(/Into F2/);
    await who.scan("G-4");
    await who.reads(/G-4: received, in F2/);
    await who.reads(/4 rolls received\./);
    who.took({ scans: 2, taps: 0 });
  });

  await check("a roll that something was done with before its paper was written is refused, with what to choose instead", async () => {
    const choices = new URLSearchParams(delivery(code));
    choices.set("as_of", new Date(Date.now() - 60_000).toISOString());
    await who.open(`/receive/scan?${choices}`);
    const before = await entries(yard);
    await who.scan("X-NEVER");
    await who.reads(/X-NEVER was not written: its out-time is as of .*, but something was done with it .* already\. Choose again/);
    assert.equal(await entries(yard), before);
    await who.page.screenshot({ path: join(kept, "receive-scan-too-late.png"), fullPage: true });
  });

  await check("the clerk at the dock saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}
