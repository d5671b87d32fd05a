// What people do by mistake, and what the network does to them: each ends in a sentence, and nothing is written twice.
import { SIZES } from "../lib/browser.mjs";
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { again, entries, stop } from "../lib/yard.mjs";

export async function mishaps(browser, yard, code) {
  const who = await Person.at(browser, yard, { size: SIZES.handheld, badge: "B-17" });
  const { page } = who;

  await check("a button pressed twice in a hurry writes once", async () => {
    await who.open("/?code=X-1");
    const before = await entries(yard);
    await who.leads(() => page.getByRole("button", { name: "Take out" }).dblclick());
    await who.reads(/X-1: taken out/);
    assert.equal(await entries(yard), before + 1);
  });

  await check("back, and the same button again: the same entry, or no such button", async () => {
    await who.open("/?code=X-1");
    await who.tap(/^Put away in F1/);
    const after = await entries(yard);
    await page.goBack({ waitUntil: "load" });
    // A browser that kept the page sends the form of before; one that asked for it anew finds it in F1.
    const kept = 0 < (await page.getByRole("button", { name: /^Put away in F1/ }).count());
    if (kept) await who.tap(/^Put away in F1/);
    await who.reads(kept ? /X-1: put away in F1/ : /X-1 in F1/);
    assert.equal(await entries(yard), after);
  });

  await check("the very same form posted twice is one entry", async () => {
    await who.open("/?code=X-1");
    const sent = await page.locator("form.moves").evaluate((form) => {
      const fields = Object.fromEntries(new FormData(form).entries());
      return { ...fields, go: form.querySelector("button").value };
    });
    const before = await entries(yard);
    const once = await page.request.post("/moves", { form: sent, maxRedirects: 0 });
    const twice = await page.request.post("/moves", { form: sent, maxRedirects: 0 });
    assert.equal(once.status(), 303);
    assert.equal(twice.headers().location, once.headers().location);
    assert.equal(await entries(yard), before + 1);
  });

  const oddCodes = [
    ["blanks around it", "  X-1  ", /X-1/],
    ["small letters in it", "x-1", /X-1 (in F1|out)/],
    ["a slash in it", "R/1", /no code of a label|There is no such page/],
    ["a code nobody has", "R-99999", /Nobody has received R-99999/],
    ["nothing but blanks", "   ", /Scan a roll or a kit/],
    ["markup in it", "<b>R-1</b>", /no code of a label/],
    ["an accent in it", "R-\u00e9", /Nobody has received R-\u00c9/],
    ["an emoji in it", "R-\u{1f9ca}", /is not taken in a code/],
    ["a control character in it", "R-\u001d1", /no code of a label/],
    ["10 kB of it", "R".repeat(10_000), /no code of a label/],
  ];
  for (const [what, odd, says] of oddCodes) {
    await check(`a code with ${what} gets a sentence`, async () => {
      const answer = await page.goto(`/?code=${encodeURIComponent(odd)}`);
      assert.equal(answer.status(), 200);
      await who.reads(says);
    });
  }

  await check("10 kB in every field of every query and form: words, never a fault of the server", async () => {
    const long = "x".repeat(10_000);
    const asked = ["/?thing=", "/?job=", "/?last=", "/?done=", "/?places=", "/badge?then=", "/boat/", "/boat/NB-31?known=", "/boat/NB-31?at=", "/problems/"];
    for (const address of asked) {
      const answer = await page.request.get(address + long, { headers: { Accept: "text/html" } });
      assert.ok(answer.status() < 500, `${address} answered ${answer.status()}`);
      assert.match(await answer.text(), /<main>[\s\S]*\w+/);
    }
    for (const fields of [{ id: long }, { id: "x", thing: long, go: long }, { go: long }]) {
      const answer = await page.request.post("/moves", { form: fields, headers: { Accept: "text/html" } });
      assert.ok(400 <= answer.status() && answer.status() < 500, `it answered ${answer.status()}`);
      assert.match(await answer.text(), /<h1>[^<]+<\/h1>/);
    }
  });

  await check("a form that came from another site writes nothing and says so", async () => {
    const before = await entries(yard);
    const answer = await page.request.post("/moves", {
      form: { id: "0197a1c3-0000-7000-8000-00000000aaaa", thing: "roll/X-1", go: "take_out" },
      headers: { Accept: "text/html", Origin: "https://elsewhere.example" },
    });
    assert.equal(answer.status(), 403);
    assert.match(await answer.text(), /nothing was written/);
    assert.equal(await entries(yard), before);
  });

  await check("the server stops while somebody works; started again, the scan that follows is answered", async () => {
    await who.open("/");
    const before = await entries(yard);
    await stop(yard);
    await page.keyboard.type("X-1", { delay: 2 });
    await page.keyboard.press("Enter");
    await page.waitForURL(/chrome-error|\?code=/, { timeout: 6_000 }).catch(() => {});
    await again(yard);
    // On a busy machine the browser's own page about the server that was away may come in only now, and takes the place of
    // what is being opened: then it is opened once more.
    await page.waitForLoadState("load", { timeout: 6_000 }).catch(() => {});
    await who.open("/").catch(async () => {
      await page.waitForLoadState("load", { timeout: 6_000 }).catch(() => {});
      await who.open("/");
    });
    await who.scan(code.splice);
    await who.reads(new RegExp(code.splice));
    assert.equal(await entries(yard), before, "what was acknowledged is there, and nothing else");
  });
  await who.leave();
}
