// The stores clerk's day: a handheld in mittens. Goals of the design: a scan for each roll and for each placard, no key pressed.
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { entries, get } from "../lib/yard.mjs";

const hand = { size: SIZES.handheld };

export async function clerk(browser, yard, code) {
  const who = await Person.at(browser, yard, hand);

  await check("the clerk scans a badge, a roll, and takes it out: 1 scan, 1 tap, nothing typed", async () => {
    await who.open("/");
    await who.scan("B-17");
    await who.reads(/B-17: now scan a roll or a kit/);
    who.forget();
    await who.scan("X-1");
    await who.reads(/X-1/);
    await who.tap("Take out");
    await who.reads(/X-1: taken out (Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d\d:\d\d/);
    await who.reads(/Heating by/);
    who.took({ scans: 1, taps: 1 });
  });

  await check("taken out again is written again, and the screen says since when it is out", async () => {
    const before = await entries(yard);
    who.forget();
    await who.scan("X-1");
    await who.tap("Take out");
    await who.reads(/Again: also taken out/);
    assert.equal(await entries(yard), before + 1);
  });

  await check("the clerk puts it away: 1 scan, 1 tap, nothing typed", async () => {
    who.forget();
    await who.scan("X-1");
    await who.tap(/^Put away in F1/);
    await who.reads(/X-1: put away in F1/);
    await who.reads(/left/);
    who.took({ scans: 1, taps: 1 });
  });

  await check("the wrong direction is asked about at once, and answered with one tap", async () => {
    who.forget();
    await who.scan("X-1");
    await who.tap(/^Another place/);
    await who.tap(/^Put away in F1/);
    await who.reads(/The book has it inside already\. Was this a take-out\?/);
    await who.tap("Yes, taken out");
    await who.reads(/X-1: taken out/);
    who.took({ scans: 1, taps: 3 });
    const seen = await get(yard, "/api/v1/things/roll/X-1");
    assert.match(seen.body.say, /out/);
  });

  await check("the place can be scanned instead of tapped: 2 scans, 1 tap", async () => {
    who.forget();
    await who.scan("X-1");
    await who.tap(/^Another place/);
    await who.scan("F1");
    await who.reads(/X-1: put away in F1/);
    who.took({ scans: 2, taps: 1 });
  });

  await check("held material says so, says why, and its put-away is written all the same", async () => {
    const before = await entries(yard);
    who.forget();
    await who.scan(code.held);
    await who.reads(new RegExp(`Do not use ${code.held}\\.`));
    await who.reads(/Held since/);
    await who.tap(/^Take out/);
    await who.scan(code.held);
    await who.tap(/^Put away/);
    await who.reads(new RegExp(`${code.held}: put away`));
    assert.equal(await entries(yard), before + 2);
  });

  await check("a scan arrives when nothing has the focus, when a button has it, and with the scanner's prefix", async () => {
    await who.open("/");
    await who.page.evaluate(() => document.activeElement.blur());
    await who.scan("X-1");
    await who.reads(/X-1/);
    await who.page.getByRole("button").first().focus();
    const before = await entries(yard);
    await who.scan(code.splice);
    await who.reads(new RegExp(code.splice));
    assert.equal(await entries(yard), before, "the scan's Enter pressed the button that had the focus");
    await who.scan("]C1X-1");
    await who.reads(/X-1/);
  });

  await check("a code that comes at once, as from an input method, is a scan as well", async () => {
    await who.open("/");
    await who.page.keyboard.insertText("X-1");
    await who.leads(() => who.page.keyboard.press("Enter"));
    await who.reads(/X-1/);
  });

  await check("the clerk saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}
