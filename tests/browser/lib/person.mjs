// Somebody with a scanner, a finger and as few keys as possible. Everything they do is counted.
import { assert } from "./checks.mjs";
import { profile } from "./browser.mjs";

const ANSWER_MS = 15_000;

export class Person {
  constructor(page, seen, scripts) {
    this.page = page;
    this.scripts = scripts;
    this.seen = seen;
    this.forget();
  }

  static async at(browser, yard, options) {
    const { context, seen } = await profile(browser, yard, options);
    return new Person(await context.newPage(), seen, options?.scripts ?? true);
  }

  forget() {
    this.scans = 0;
    this.taps = 0;
    this.typed = 0;
  }

  async open(address) {
    await this.page.goto(address);
  }

  /** A scanner types the label quickly and ends with Enter, into whatever has the focus. */
  async scan(code) {
    this.scans += 1;
    // Where no script keeps early keys, a person pulls the trigger once the field shows its focus.
    const keeps = this.scripts && 0 < (await this.page.locator('script[src*="/static/scan"]').count());
    if (!keeps) await this.page.locator("#code:focus").waitFor({ state: "attached", timeout: ANSWER_MS });
    await this.leads(async () => {
      await this.page.keyboard.type(code, { delay: 2 });
      await this.page.keyboard.press("Enter");
    });
  }

  /** A press on a button or a link that leads to another page. */
  async tap(name, { within = this.page } = {}) {
    this.taps += 1;
    const exact = typeof name === "string";
    const one = within.getByRole("button", { name, exact }).or(within.getByRole("link", { name, exact })).first();
    await this.leads(() => one.click());
  }

  /** A press that stays on the page: a tick, a choice, a field, a sheet that opens. */
  async touch(locator) {
    this.taps += 1;
    await locator.click();
  }

  async choose(label, option) {
    this.taps += 2;
    await this.page.getByLabel(label).selectOption(option);
  }

  async type(label, text) {
    this.typed += text.length;
    await this.page.getByLabel(label).fill(text);
  }

  async leads(act) {
    await Promise.all([this.page.waitForNavigation({ timeout: ANSWER_MS }), act()]);
    await this.page.waitForLoadState("domcontentloaded");
  }

  async text() {
    return (await this.page.locator("main").innerText()).replace(/\s+/g, " ");
  }

  /** The page says this. */
  async reads(pattern) {
    assert.match(await this.text(), pattern);
  }

  async readsNot(pattern) {
    assert.doesNotMatch(await this.text(), pattern);
  }

  /** It took no more than this, after sign-in. */
  took({ scans, taps, typed = 0 }) {
    const took = `${this.scans} scans, ${this.taps} taps, ${this.typed} characters`;
    const goal = `${scans} scans, ${taps} taps, ${typed} characters`;
    const within = this.scans <= scans && this.taps <= taps && this.typed <= typed;
    assert.ok(within, `it took ${took}; the goal is ${goal}`);
  }

  /** Nothing stood in the console and nothing was asked of another server. */
  sawNothingOdd() {
    assert.deepEqual(this.seen, []);
  }

  async leave() {
    await this.page.context().close();
  }
}
