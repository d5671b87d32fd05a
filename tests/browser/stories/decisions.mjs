// The quality engineer decides: an entry is struck, a question answered, a hold placed and lifted. The effect comes first.
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { entries, fact, get } from "../lib/yard.mjs";

const hours = (ago) => ({ hours: ago });

/** A roll that was put away and taken out a while ago, by its name: its entries may be struck. */
async function taken(yard, code, name) {
  const body = { material: "PM-101", revision: "B", batch: code.batch.split("/")[1], length_mm: 9_000 };
  const opening = { out_time_s: 3600, refreezes: 0, as_of: new Date(Date.now() - 4 * 3_600_000).toISOString(), source: "card" };
  await fact(yard, "roll_received", `roll/${name}`, { ...body, opening }, hours(3));
  await fact(yard, "roll_put_away", `roll/${name}`, { into: "F1" }, hours(0.2));
  return fact(yard, "roll_taken_out", `roll/${name}`, { to: "CUT" }, hours(0.1));
}

export async function decisions(browser, yard, code, { scripts = true } = {}) {
  const who = await Person.at(browser, yard, { badge: "B-04", scripts });
  const how = scripts ? "" : ", without scripts";
  const { page } = who;
  const roll = scripts ? "Y-1" : "Y-2";
  const said = async (name) => assert.match(await page.getByRole("status").allInnerTexts().then((all) => all.join(" ")), name);
  const save = () => page.getByRole("button", { name: "Save" });

  await check(`from a thing's history to its wrong entry, its effect, and a second badge${how}`, async () => {
    const { seq } = await taken(yard, code, roll);
    await who.open(`/thing/roll/${roll}`);
    who.forget();
    await who.tap(`Entry ${seq} is wrong`);
    await who.touch(page.getByLabel("It didn't happen"));
    await who.type("Why", "wrong roll");
    await who.tap("Show what it would change");
    await who.reads(new RegExp(`${roll} gets back`));
    const before = await entries(yard);
    await who.tap("Save");
    await who.reads(/second/i);
    assert.equal(await entries(yard), before, "what gives back needs a second person");
    await page.goBack();
    await who.type("Second person's badge", "B-05");
    await who.tap("Save");
    assert.equal(new URL(page.url()).pathname, `/thing/roll/${roll}`);
    assert.equal(await entries(yard), before + 1);
    await who.reads(/struck by B-04 .*: wrong roll/);
    who.took({ scans: 0, taps: 5, typed: "wrong roll".length + "B-05".length });
  });

  await check(`back after saving, and saved again: written once${how}`, async () => {
    const before = await entries(yard);
    await page.goBack();
    if (0 < (await save().count())) await who.leads(() => save().click());
    assert.equal(await entries(yard), before);
  });

  await check(`a hold is placed with its effect shown, and lifted by two${how}`, async () => {
    await who.open(`/thing/roll/${roll}`);
    await who.tap("Hold it");
    await who.type("Why", "The bag was open");
    await who.tap("Show what it would change");
    const before = await entries(yard);
    await who.tap("Save");
    assert.equal(await entries(yard), before + 1);
    await who.reads(/Do not use it\./);
    await who.reads(/Held since .*: The bag was open/);
    await who.tap("Lift it");
    await who.type("Why", "Looked at and sealed again");
    await who.tap("Show what it would change");
    await who.reads(/second/i);
    await who.type("Your badge", "B-05");
    await who.type("Second person's badge", "B-06");
    await who.tap("Save");
    assert.equal(await entries(yard), before + 2);
    await who.readsNot(/Do not use it\./);
  });

  await check(`what does not add up is answered from its list, and is not asked again${how}`, async () => {
    const name = `${roll}-T`;
    await taken(yard, code, name);
    const { id } = await fact(yard, "roll_taken_out", `roll/${name}`, { to: "CUT" }, hours(0.02));
    await who.open("/mismatches");
    const line = page.getByRole("row").filter({ hasText: `${name} was taken out` });
    await who.tap("It was put away in between. About when?", { within: line });
    await who.reads(new RegExp(`${name}: what was it\\?`));
    await who.type("The time, where one is asked for", new Date(Date.now() - 0.05 * 3_600_000).toISOString());
    await who.type("Why", "seen there");
    await who.tap("Show what it would change");
    await who.type("Your badge", "B-04");
    await who.type("Second person's badge", "B-05");
    await who.tap("Save");
    const { body } = await get(yard, "/api/v1/mismatches");
    assert.ok(!body.mismatches.some((one) => one.entry === id), "it is answered");
  });

  if (scripts) await atOnce(browser, yard, code);
  await check(`the quality engineer saw no error in deciding${how}`, () => who.sawNothingOdd());
  await who.leave();
}

/** Two people, or one with two tabs, at the same entry. */
async function atOnce(browser, yard, code) {
  const [one, other] = await Promise.all(["B-04", "B-05"].map((badge) => Person.at(browser, yard, { badge })));

  await check("two tabs strike the same entry: one is written, the other is told what came between", async () => {
    const { seq } = await taken(yard, code, "Y-3");
    const address = `/strike/${seq}?choice=never&why=scanned+twice`;
    await Promise.all([one.open(address), other.open(address)]);
    for (const who of [one, other]) await who.type("Second person's badge", "B-06");
    await one.tap("Save");
    const before = await entries(yard);
    await other.tap("Save");
    assert.equal(await entries(yard), before);
    assert.equal(await other.page.getByRole("alert").count(), 1);
    assert.ok(0 < (await other.page.getByRole("alert").innerText()).length);
    await other.reads(/already|between|since/i);
  });

  await check("the same decision posted twice is one entry", async () => {
    const { seq } = await taken(yard, code, "Y-4");
    await one.open(`/strike/${seq}?choice=never&why=scanned+twice`);
    await one.type("Second person's badge", "B-06");
    const form = await one.page.locator("form[method=post]").evaluate((form) => Object.fromEntries(new FormData(form).entries()));
    const before = await entries(yard);
    const post = () => one.page.request.post(`/strike/${seq}`, { form, maxRedirects: 0 });
    const [first, second] = [await post(), await post()];
    assert.deepEqual([first.status(), second.status()], [303, 303]);
    assert.equal(await entries(yard), before + 1);
  });
  await Promise.all([one.leave(), other.leave()]);
}
