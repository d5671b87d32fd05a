// Reading: nothing moves while it is read, no colour carries anything, and every key leads somewhere one can see.
import { assert, check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";
import { fact } from "../lib/yard.mjs";

const DESK = ["/today", "/runs-out", "/take-out", "/handover", "/mismatches", "/confirm", "/last", "/rolls", "/boat/NB-31", "/trace/boat/NB-31"];

export async function reading(browser, yard, code) {
  const who = await Person.at(browser, yard, { badge: "B-04" });
  const { page } = who;
  const decision = `/strike/${code.entry.out}?choice=never&why=scanned+twice`;

  await check("what others write is said in a line, and moves nothing of what is being read", async () => {
    await who.open("/thing/part/" + code.judged);
    await page.evaluate(() => scrollTo(0, 400));
    const places = () => page.evaluate(() => [scrollY, ...[...document.querySelectorAll("h1, h2, td")].map((one) => one.getBoundingClientRect().top)]);
    const before = await places();
    await fact(yard, "seen", "roll/X-HELD", { in: "CUT" });
    await page.locator("#live").getByText("Something was recorded since").waitFor();
    assert.deepEqual(await places(), before);
    assert.equal(await page.evaluate(() => document.activeElement.tagName), "BODY", "the focus went elsewhere");
  });

  for (const address of [...DESK, `/thing/roll/${code.prepreg}`, decision]) {
    await check(`${address.split("?")[0]} by keys alone: each stop is seen, in the order of the page`, () => keys(page, address));
  }

  for (const address of [`/?code=${code.held}`, "/?code=X-STOP", "/handover", "/trace/boat/NB-31?as=sheet", `/thing/roll/${code.held}`, decision]) {
    await check(`${address.split("&")[0]} says the same on a printer without colour`, () => greys(page, address));
  }

  await check("the reader saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}

/** Tab walks over everything that can be reached, in the order in which it stands, and shows where it is (WCAG 2.2, 2.4.3 and 2.4.7). */
async function keys(page, address) {
  await page.goto(address);
  await page.evaluate(() => {
    const reached = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
    const group = (one) => (one.type === "radio" ? `${one.form ? [...document.forms].indexOf(one.form) : ""} ${one.name}` : null);
    const groups = new Set();
    window.stops = [...document.querySelectorAll(reached)].filter((one) => {
      if (one.getClientRects().length === 0) return false;
      const of = group(one);
      // One stop for a group of answers: the chosen one, or its first.
      if (of && one.form.querySelector(`input[name="${one.name}"]:checked`) && !one.checked) return false;
      if (of && groups.has(of)) return false;
      groups.add(of);
      return true;
    });
    if (document.activeElement !== document.body) document.activeElement.blur();
  });
  const count = await page.evaluate(() => window.stops.length);
  for (let nth = 0; nth < count; nth += 1) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const one = document.activeElement;
      const style = getComputedStyle(one);
      const box = one.getBoundingClientRect();
      const seen = style.outlineStyle !== "none" && 2 <= parseFloat(style.outlineWidth) && box.top < innerHeight && 0 < box.bottom;
      return { nth: window.stops.indexOf(one), seen, what: one.outerHTML.slice(0, 120) };
    });
    assert.equal(at.nth, nth, `stop ${nth} of ${count} is ${at.what}`);
    assert.ok(at.seen, `nobody sees that it is at ${at.what}`);
  }
}

/** On paper every colour is a grey, and what is framed says in words what its frame means. */
async function greys(page, address) {
  await page.goto(address);
  await page.emulateMedia({ media: "print" });
  const found = await page.evaluate(() => {
    const coloured = [];
    for (const one of document.querySelectorAll("main, main *")) {
      if (one.getClientRects().length === 0) continue;
      const style = getComputedStyle(one);
      for (const name of ["color", "backgroundColor", "borderTopColor", "borderLeftColor", "textDecorationColor", "fill"]) {
        const [red, green, blue, alpha = 1] = (style[name].match(/[\d.]+/g) ?? []).map(Number);
        if (0 < alpha && (red !== green || green !== blue)) coloured.push(`${one.tagName} ${name} ${style[name]}`);
      }
    }
    return { coloured, framed: [...document.querySelectorAll(".answer")].map((one) => one.innerText.trim()) };
  });
  await page.emulateMedia({ media: null });
  assert.deepEqual(found.coloured, []);
  assert.ok(0 < found.framed.length, "nothing is framed");
  for (const text of found.framed) assert.match(text, /\w+ \w+/);
}
