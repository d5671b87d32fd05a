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
    who.took({ scans: 0, taps: 1 });
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
