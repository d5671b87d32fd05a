// The browser, and everything in it that nobody should ever see: errors, blocked files, requests to elsewhere.
import { chromium as driver } from "playwright-core";
import { chromium } from "./places.mjs";

export const SIZES = {
  handheld: { width: 360, height: 640 },
  tablet: { width: 800, height: 1280 },
  desk: { width: 1366, height: 768 },
};

export async function launch(more = []) {
  if (!chromium) throw new Error("There is no Chromium; install Debian's package chromium.");
  return driver.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu", "--force-color-profile=srgb", ...more] });
}

/** A fresh browser profile. `seen` fills with what nobody should see. */
export async function profile(browser, yard, { size = SIZES.desk, scripts = true, badge = null, cookies = [] } = {}) {
  const context = await browser.newContext({ viewport: size, javaScriptEnabled: scripts, baseURL: yard.url, locale: "en-GB" });
  context.setDefaultTimeout(6_000);
  await context.addCookies(cookies);
  if (badge) {
    const value = Buffer.from(badge).toString("hex");
    await context.addCookies([{ name: "badge", value, url: yard.url, httpOnly: true, sameSite: "Strict" }]);
  }
  const seen = [];
  const own = new URL(yard.url).origin;
  context.on("request", (request) => {
    const url = request.url();
    if (!url.startsWith(own) && !url.startsWith("data:")) seen.push(`asked elsewhere: ${url}`);
  });
  context.on("console", (message) => {
    // The browser says so of every page whose status is an error; the status is checked on its own.
    const ofStatus = message.text().startsWith("Failed to load resource: the server responded with a status of");
    if (message.type() === "error" && !ofStatus) seen.push(`console: ${message.text()}`);
  });
  context.on("weberror", (error) => seen.push(`script: ${error.error().message}`));
  return { context, seen };
}
