// The laminator at the table: a tablet, a question, no sign-in. Goals of the design: one or two scans, no tap, nothing typed.
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";

/** Read from a metre: 56 px. */
const FROM_A_METRE = 56;

export async function laminator(browser, yard, code) {
  const who = await Person.at(browser, yard, { size: SIZES.tablet });

  await check("may I use it? 1 scan, no badge, an answer to be read from a metre", async () => {
    await who.open("/");
    await who.scan(code.prepreg);
    await who.reads(/Last ply by .*Heating by/);
    await who.reads(/Not checked against a job/);
    const sizes = await who.page.locator(".answer p, .answer dd").evaluateAll((all) => all.map((one) => parseFloat(getComputedStyle(one).fontSize)));
    assert.ok(FROM_A_METRE <= Math.max(...sizes), `the answer is ${Math.max(...sizes)} px`);
    who.took({ scans: 1, taps: 0 });
  });

  await check("may I use it for this job? 2 scans, whichever came first", async () => {
    who.forget();
    await who.open("/");
    await who.scan(code.prepreg);
    await who.scan(code.job);
    await who.reads(new RegExp(`(Yes, for|Do not use it for|Can't say) ?${code.job}|for ${code.job}`));
    who.took({ scans: 2, taps: 0 });
    const first = await who.text();
    await who.open("/");
    await who.scan(code.job);
    await who.scan(code.prepreg);
    const other = await who.text();
    const answer = (text) => text.match(/(Yes, for|Do not use).*?\./)?.[0];
    assert.ok(answer(first));
    assert.equal(answer(other), answer(first));
  });

  await check("past its limit: stop, call, and how long it has been over", async () => {
    await who.open("/");
    await who.scan("X-STOP");
    await who.reads(/call 4711/i);
    await who.reads(/passed its/);
    assert.equal(await who.page.locator("[role=alert]").count(), 1);
  });

  await check("the answer is kept when it is asked for as an address", async () => {
    const address = who.page.url();
    const before = await who.text();
    await who.open(address);
    assert.equal(await who.text(), before);
  });

  await check("the laminator saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}
