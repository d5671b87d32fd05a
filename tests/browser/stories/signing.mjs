// A yard that becomes one where people sign in: set up at a desk, a badge and a handheld made, a shift on the handheld, two
// people at one screen, and what somebody without the right is told. Every page on the way is looked at.
import { join } from "node:path";
import { readFileSync } from "node:fs";
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { kept } from "../lib/places.mjs";
import { PASSWORD, digits } from "../lib/people.mjs";
import { Person } from "../lib/person.mjs";
import { fact } from "../lib/yard.mjs";

/** What is shown once on a sheet: a badge's symbol, a code, a token. */
const letters = (who) => who.page.locator(".code-letters code").innerText();

/** Answers the cookies of an administrator at a desk, and of two people at the handheld. */
export async function signing(browser, yard) {
  const desk = await Person.at(browser, yard, { size: SIZES.desk });
  const hand = await Person.at(browser, yard, { size: SIZES.handheld });
  const code = {};

  await check("the yard is set up at a desk with the code of its start, a password and one-time codes", async () => {
    await fact(yard, "roll_received", "roll/Z-1", { material: "PM-101", revision: "B", batch: "B-1", length_mm: 50_000,
      opening: { out_time_s: 3_600, refreezes: 0, as_of: new Date(Date.now() - 5 * 3_600_000).toISOString(), source: "card" } }, { hours: 3 });
    await fact(yard, "roll_put_away", "roll/Z-1", { into: "F1" }, { hours: 2 });
    await desk.open("/people");
    await desk.reads(/not set up/);
    await desk.tap("Set it up");
    await desk.type(/The code that the server gave/, readFileSync(join(yard.data, "people/set-up-code"), "utf8").trim());
    await desk.tap("Go on");
    code.secret = await letters(desk);
    await desk.type("Badge", "A-1");
    await desk.type("Name", "Ana Example");
    await desk.type(/A password of your own/, "123456789012");
    await desk.type("Six digits of now", digits(code.secret));
    await desk.tap("Make the administrator");
    await desk.reads(/password/);
    await desk.type(/A password of your own/, PASSWORD);
    await desk.type("Six digits of now", digits(code.secret));
    await desk.tap("Make the administrator");
    await desk.reads(/A-1 can sign in now/);
  });

  await check("a page that needs somebody leads to signing in, a wrong password says no more than that, the right one leads back", async () => {
    await desk.open("/people");
    await desk.type("Badge", "A-1");
    await desk.type("Password", "a boat on a warm slip");
    await desk.type(/One-time code/, digits(code.secret, 1));
    await desk.tap("Sign in");
    await desk.reads(/That is not right/);
    await desk.type("Badge", "A-1");
    await desk.type("Password", PASSWORD);
    await desk.type(/One-time code/, digits(code.secret, 1));
    await desk.tap("Sign in");
    await desk.reads(/People, devices, programs/);
  });

  await check("an administrator gives two people their roles and a badge each, and a handheld its code", async () => {
    code.badges = {};
    for (const [badge, name, role] of [["B-1", "Bea Example", "stores"], ["B-2", "Bo Example", "laminator"], ["B-3", "Ben Example", "reader"]]) {
      await desk.open("/people");
      const fresh = desk.page.locator("form", { hasText: "Somebody new" });
      await fresh.getByLabel("Badge").fill(badge);
      await fresh.getByLabel("Name").fill(name);
      await desk.tap("Add", { within: fresh });
      const row = () => desk.page.locator("tr", { has: desk.page.locator("code", { hasText: new RegExp(`^${badge}$`) }) }).first();
      await desk.touch(row().getByText("Change", { exact: true }));
      await desk.touch(row().getByLabel(role, { exact: true }));
      await desk.page.screenshot({ path: join(kept, "signing-people-changed.png"), fullPage: true });
      await desk.tap("Save the roles", { within: row() });
      await desk.reads(new RegExp(`${badge} has its roles`));
      await desk.touch(row().getByText("Change", { exact: true }));
      await desk.tap(/^Make a badge/, { within: row() });
      code.badges[badge] = await letters(desk);
    }
    await desk.open("/people");
    const device = desk.page.locator("form", { hasText: "Enrol a device" });
    await device.getByLabel(/Its name/).fill("H-1");
    await desk.tap("Make its code", { within: device });
    code.device = await letters(desk);
  });

  await check("a handheld is enrolled by its code, and the clerk's shift begins with one scan", async () => {
    await hand.open("/enrol");
    await hand.type(/The code that an administrator made/, code.device);
    await hand.tap("Enrol");
    await hand.reads(/This is H-1 from now on/);
    await hand.tap("Sign in");
    hand.forget();
    await hand.scan(code.badges["B-1"]);
    hand.took({ scans: 1, taps: 0 });
    assert.ok(!hand.page.url().includes(code.badges["B-1"]), "the badge's symbol stands in the address");
  });

  await check("then a roll comes out with one scan and one tap, and the entry is the badge's and the device's own", async () => {
    await hand.open("/");
    hand.forget();
    await hand.scan("Z-1");
    await hand.tap("Take out");
    await hand.reads(/Z-1: taken out/);
    hand.took({ scans: 1, taps: 1 });
    await desk.open("/thing/roll/Z-1");
    await desk.reads(/B-1/);
    await desk.reads(/H-1/);
    await desk.readsNot(/told that it was taken out/);
    // The page said what the handheld's clock shows, which here is this machine's own.
    const { devices } = await (await desk.page.request.get("/api/v1/devices")).json();
    const clock = devices.find((one) => one.device === "device/H-1").clock_ahead_ms;
    assert.ok(Math.abs(clock) < 5_000, `the clock of H-1 is ${clock} ms ahead`);
  });

  await check("a file of what a lost device had not sent is read before it is brought in, and a calendar's address is made once", async () => {
    const scan = { id: "0197a1c2-0000-7000-8000-0000000000b1", kind: "seen", thing: "roll/Z-1", device: "H-9", counter: 1, by: "B-1",
      occurred_at: new Date(Date.now() - 3_600_000).toISOString(), body: { in: "F1" } };
    await desk.open("/devices");
    await desk.tap(/^Bring in what a device/);
    const file = { name: "h9.jsonl", mimeType: "text/plain", buffer: Buffer.from(`${JSON.stringify(scan)}\n`) };
    await desk.page.getByLabel("File").setInputFiles(file);
    await desk.tap("Show what it would change");
    await desk.reads(/1 would be written.*From H-9, which nobody enrolled/);
    await desk.page.screenshot({ path: join(kept, "signing-brought-in.png"), fullPage: true });
    await desk.tap("Bring it in");
    await desk.reads(/1 written/);
    await desk.open("/runs-out");
    await desk.tap("As a calendar to subscribe to");
    await desk.type(/Where it will be used/, "office");
    await desk.tap("Make an address");
    assert.match(await letters(desk), /^http:\/\/.*\/api\/v1\/feeds\/rmc_\S+\/warnings\.ics$/);
    assert.ok(!desk.page.url().includes("rmc_"), "the token stands in the browser's history");
    await desk.page.screenshot({ path: join(kept, "signing-calendar.png"), fullPage: true });
  });

  await check("somebody who may only read is refused a decision in words, and nothing typed is lost", async () => {
    await hand.open("/sign-in");
    await hand.tap("Sign out");
    await hand.open("/sign-in");
    await hand.scan(code.badges["B-3"]);
    await hand.open("/hold?choice=ask&thing=roll/Z-1&why=the+bag+was+open");
    const save = hand.page.locator("form button.main, form button").last();
    if (await save.count()) await hand.leads(() => save.click());
    await hand.reads(/reader|may not|needs/i);
  });

  await check("a badge that is scanned on a work page signs in there, and stands in no address", async () => {
    for (const page of ["/lay", "/"]) {
      await hand.open(page);
      hand.forget();
      await hand.scan(code.badges[page === "/" ? "B-1" : "B-2"]);
      hand.took({ scans: 1, taps: 0 });
      assert.ok(!hand.page.url().includes("RMB"), hand.page.url());
      await hand.open("/sign-in");
      await hand.reads(page === "/" ? /Bea Example \(B-1\) is signed in/ : /Bo Example \(B-2\) is signed in/);
    }
  });

  await check("two badges make a sitting, and it is said on the screen who stands beside", async () => {
    await hand.open("/sign-in");
    await hand.tap("Sign out");
    await hand.open("/sign-in");
    await hand.scan(code.badges["B-1"]);
    await hand.open("/sitting");
    await hand.scan(code.badges["B-2"]);
    await hand.reads(/B-2|Bo Example/);
  });

  await check("signed out, the handheld still answers, and asks for a badge before it writes", async () => {
    await hand.open("/sign-in");
    await hand.tap("Sign out");
    await hand.open("/devices");
    await hand.open("/");
    await hand.scan("Z-1");
    assert.equal(await hand.page.getByRole("button", { name: /Take out|Put away/ }).count(), 0);
  });
  await hand.open("/sign-in");
  await hand.scan(code.badges["B-1"]);
  await hand.open("/sitting");
  await hand.scan(code.badges["B-2"]);
  for (const who of [hand, desk]) who.sawNothingOdd();
  const cookies = { hand: await hand.page.context().cookies(), desk: await desk.page.context().cookies() };
  for (const who of [hand, desk]) await who.leave();
  return cookies;
}
