// The quality engineer at a desk: what is in this boat, where did this batch go, what does not add up.
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";

export async function quality(browser, yard) {
  const who = await Person.at(browser, yard, { badge: "B-04" });

  await check("what is in this boat? From its code to the claim: 1 scan, 1 tap", async () => {
    await who.open("/");
    await who.scan("NB-31");
    await who.tap("What is in boat NB-31?");
    await who.reads(/\d+ of the 14 parts on NB-31's list are installed: \d+ rolls of \d+ batches\./);
    await who.reads(/\d+ were laid and cured within life\. 1 was not: /);
    who.took({ scans: 1, taps: 1 });
    const rows = await who.page.locator("table.sheet tbody").count();
    assert.equal(rows, 14, "a group of rows for each part");
  });

  await check("and what stands behind each part's judgement: 1 tap more", async () => {
    who.forget();
    await who.tap("With each part's record");
    await who.reads(/Part P-3112, its record/);
    await who.reads(/limit when its cure began/);
    await who.reads(/In oven run RUN-\d+ since .*, confirmed .* by B-\d+, entry \d+\./);
    await who.reads(/judged then: .*; judged today: /);
    who.took({ scans: 1, taps: 2 });
  });

  await check("which boats have this batch? From its code to the boats: 1 scan", async () => {
    who.forget();
    await who.open("/trace");
    await who.scan("B-2511-1");
    await who.reads(/B-2511-1: \d+ rolls received\./);
    await who.reads(/In boat NB-31\./);
    who.took({ scans: 1, taps: 0 });
  });

  await check("and all of it that is still here is held: 3 taps and a reason", async () => {
    who.forget();
    await who.tap("Recall: where it lies now");
    await who.reads(/things of B-2511-1 are still here, and none of them is held\./);
    await who.type("Why", "a bad test");
    await who.tap("Show what it would change");
    await who.reads(/\d+ things would be held: P-3101, /);
    await who.tap("Place a hold on the ticked");
    await who.reads(/P-3101 is held: entry \d+\./);
    await who.reads(/things of B-2511-1 are still here, and all are held\./);
    who.took({ scans: 0, taps: 3, typed: 10 });
  });

  await check("what changed of a boat between two entries: 1 tap and their numbers", async () => {
    who.forget();
    await who.open("/trace/boat/NB-31");
    await who.tap("What changed between two entries");
    await who.type("Known at entry", "300");
    await who.type("and at entry", "310");
    await who.tap("Show what changed");
    await who.reads(/Between entry 300 and entry 310, \d+ entries name NB-31 or what it is made from/);
    who.took({ scans: 0, taps: 2, typed: 6 });
  });

  await check("the page of a boat keeps its question in its address", async () => {
    await who.open("/boat/NB-31?known=300");
    await who.reads(/300/);
    await who.tap(/as of now/);
    assert.equal(new URL(who.page.url()).search, "");
  });

  await check("the quality engineer saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}
