// The clerk's day from its lists: what has to come out, out and in again, and what the next shift is told.
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { entries, get } from "../lib/yard.mjs";

const DAY = "(Mon|Tue|Wed|Thu|Fri|Sat|Sun)";

export async function shift(browser, yard, _code, { scripts = true } = {}) {
  const who = await Person.at(browser, yard, { size: SIZES.handheld, badge: "B-17", scripts });
  const how = scripts ? "" : ", without scripts";
  let roll = "";

  await check(`the take-out list says what has to come out by when, and how to go in${how}`, async () => {
    await who.open("/take-out");
    await who.reads(new RegExp(`out of F\\d well before ${DAY} \\d\\d:\\d\\d.*, for J-\\d+`));
    await who.reads(/Keep bags closed/);
    await who.reads(/short of oxygen/);
    roll = (await who.text()).match(/(R-\d+) out of F\d well before/)[1];
  });

  await check(`what the list names is taken out: 1 scan, 1 tap${how}`, async () => {
    await who.open("/");
    who.forget();
    await who.scan(roll);
    await who.tap("Take out");
    await who.reads(new RegExp(`${roll}: taken out ${DAY} \\d\\d:\\d\\d`));
    who.took({ scans: 1, taps: 1 });
    await who.open("/take-out");
    await who.reads(new RegExp(`${roll} is out already`));
  });

  await check(`the handover names it, and each that is out can be scanned where it lies: 1 scan each${how}`, async () => {
    await who.open("/handover");
    await who.reads(/Still out by the book: \d+\. Scan each where it lies\./);
    const out = await who.page.getByRole("region", { name: "Still out" }).getByRole("link").allInnerTexts();
    assert.ok(out.includes(roll), `${roll} is not among ${out}`);
    await who.open("/");
    const before = await entries(yard);
    for (const one of out) {
      who.forget();
      await who.scan(one);
      await who.reads(new RegExp(one));
      who.took({ scans: 1, taps: 0 });
    }
    assert.equal(await entries(yard), before, "looking writes nothing");
  });

  await check(`it is put away: 1 scan, 1 tap, and the handover names it no more${how}`, async () => {
    await who.open("/");
    who.forget();
    await who.scan(roll);
    await who.tap(/^Put away in F\d/);
    await who.reads(new RegExp(`${roll}: put away in F\\d`));
    who.took({ scans: 1, taps: 1 });
    await who.open("/handover");
    const out = await who.page.getByRole("region", { name: "Still out" }).getByRole("link").allInnerTexts();
    const seen = await get(yard, `/api/v1/things/roll/${roll}`);
    assert.ok(!out.includes(roll), `${roll} is still among ${out}: ${JSON.stringify(seen.body)}`);
  });

  await check(`the clerk's day showed no error${how}`, () => who.sawNothingOdd());
  await who.leave();
}
