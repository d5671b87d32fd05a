// The shop floor's day at a tablet: cut, lay up, complete, into the oven, cured. A cut takes a scan and 3 taps (or 3 scans and a tap),
// a lay-up 2 scans and a tap, the oven a scan for each part and 2 taps; only a length laid straight from a roll is typed.
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { decide, entries, fact, get } from "../lib/yard.mjs";

const hours = (count) => new Date(Date.now() + count * 3_600_000).toISOString();

export async function shop(browser, yard, code) {
  const received = {
    material: "PM-101", revision: "B", batch: code.batch.split("/")[1], length_mm: 40_000,
    opening: { out_time_s: 3600, refreezes: 0, as_of: hours(-3), source: "card" },
  };
  await fact(yard, "roll_received", "roll/X-SHOP", received, { hours: 2 });
  await fact(yard, "roll_taken_out", "roll/X-SHOP", { to: "CUT" }, { hours: 1 });
  const plan = { part: "X-P1", stages: ["skin"], needs: [{ material: "PM-101", length_mm: 12_500 }], lay_at: hours(2), oven_at: hours(6) };
  await decide(yard, "open_job", "job/X-J1", plan);
  const who = await Person.at(browser, yard, { size: SIZES.tablet });
  await who.open("/");
  await who.scan("B-17");

  let kit = null;
  await check("a nest is cut as planned: 1 scan, 3 taps, nothing typed", async () => {
    await who.tap("Cut");
    who.forget();
    await who.scan("X-SHOP");
    await who.tap(/^X-J1: 12\.5 m/);
    await who.reads(/Yes, for X-J1/);
    await who.tap(/^New kit KIT-/);
    await who.tap("Cut");
    await who.reads(/KIT-\S+ for X-J1 cut from X-SHOP/);
    kit = (await who.text()).match(/(KIT-\S+) for X-J1/)[1];
    who.took({ scans: 1, taps: 3 });
  });

  await check("its kit is laid and the lay-up is complete: 2 scans, 2 taps, nothing typed", async () => {
    await who.open("/lay");
    who.forget();
    await who.scan("X-P1");
    await who.scan(kit);
    await who.tap(`Laid from ${kit}`);
    await who.reads(/X-P1 skin: laid from .*Heating by/);
    await who.tap("Lay-up complete");
    await who.reads(/lay-up complete/);
    who.took({ scans: 2, taps: 2 });
  });

  await check("plies straight from the roll: 2 scans, 1 touch of the field, 4 keys, 1 tap", async () => {
    await who.open("/lay");
    who.forget();
    await who.scan("X-P1");
    await who.scan("X-SHOP");
    const metres = who.page.getByLabel("Metres of X-SHOP");
    await who.touch(metres);
    await metres.pressSequentially("0.75", { delay: 80 });
    who.typed += 4;
    assert.equal(await metres.inputValue(), "0.75", "the keys went elsewhere");
    await who.tap("Laid from X-SHOP");
    await who.reads(/X-P1 skin: laid from X-SHOP/);
    who.took({ scans: 2, taps: 2, typed: 4 });
    const seen = await get(yard, "/api/v1/things/roll/X-SHOP");
    assert.equal(seen.body.length_left_mm, 40_000 - 12_500 - 750);
  });

  await check("a label scanned into the field for a length writes nothing", async () => {
    await who.open("/lay?part=X-P1&stage=skin&from=roll/X-SHOP");
    const before = await entries(yard);
    await who.touch(who.page.getByLabel("Metres of X-SHOP"));
    await who.page.keyboard.type("R-51", { delay: 2 });
    await who.page.keyboard.press("Enter");
    await new Promise((done) => setTimeout(done, 300));
    assert.equal(await entries(yard), before);
  });

  await check("into the oven: 1 scan, 2 taps; nothing is confirmed by it", async () => {
    await who.open("/oven");
    who.forget();
    await who.scan("X-P1");
    await who.reads(/X-P1 skin: which oven/);
    await who.tap("OV1");
    await who.tap("Heating started");
    await who.reads(/X-P1 skin in OV1 since .*Not confirmed yet/);
    who.took({ scans: 1, taps: 2 });
    const seen = await get(yard, "/api/v1/things/part/X-P1");
    assert.equal(seen.body.stages[0].whereabouts.confirmed, false);
  });

  await check("one tap confirms no cure: what shows it, and since when, has to be said", async () => {
    await who.open("/oven?code=X-P1");
    await who.tap(/^skin: in RUN-/);
    const before = await entries(yard);
    await who.tap("Cured");
    await who.reads(/Say first what shows it/);
    await who.touch(who.page.getByLabel("By the chart"));
    await who.tap("Cured");
    await who.reads(/Type since when the chart shows the cure under way, or tick that it is now/);
    assert.equal(await entries(yard), before);
  });

  await check("its chart is read: 1 scan, 4 taps, nothing typed, and its start is confirmed", async () => {
    await who.open("/oven");
    who.forget();
    await who.scan("X-P1");
    await who.tap(/^skin: in RUN-/);
    await who.touch(who.page.getByLabel("By the chart"));
    await who.touch(who.page.getByLabel("The cure is under way only now"));
    await who.tap("Cured");
    await who.reads(/Confirmed: the cure was under way/);
    who.took({ scans: 1, taps: 4 });
    const seen = await get(yard, "/api/v1/things/part/X-P1");
    assert.equal(seen.body.stages[0].whereabouts.confirmed, true);
  });

  await check("what is left over is thrown away: 1 scan, 3 taps from the scan screen", async () => {
    await who.open("/");
    who.forget();
    await who.tap("Throw away");
    await who.scan("X-SHOP");
    await who.tap("Left over");
    await who.reads(/All 26\.75 m of X-SHOP counts as thrown away/);
    await who.tap("Thrown away");
    await who.reads(/X-SHOP thrown away .*: left over/);
    who.took({ scans: 1, taps: 3 });
  });

  await check("the shop floor saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}
