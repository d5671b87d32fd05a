// The contract, held against tools that nobody of this project wrote: openapi-spec-validator (is it OpenAPI 3.1?), spectral
// and redocly (is it written well?), schemathesis (does the running program keep to it?).
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { assert, check, tally } from "./lib/checks.mjs";
import { kept, python, top } from "./lib/places.mjs";
import { said } from "./lib/said.mjs";
import { setUp, somebody, token } from "./lib/people.mjs";
import { close, open } from "./lib/yard.mjs";

const here = join(top, "tests/browser");
const tool = (name) => join(here, "node_modules/.bin", name);
const document = join(top, "openapi/openapi.json");
/** The same cases each time; so many for each operation that all take about a minute. */
const SEED = "20260506";
const EXAMPLES = process.env.RIMEBOOK_LONG ? "100" : "10";

const tail = (text) => text.split("\n").filter((line) => line.trim()).slice(-40).join("\n");
const ends = async (program, argumentsOf, options) => {
  const { code, text } = await said(program, argumentsOf, options);
  assert.equal(code, 0, tail(text));
};

const began = Date.now();
await check("the document is OpenAPI 3.1 (openapi-spec-validator)", () => ends(python("openapi-spec-validator"), [document]));
await check("the document is written well (spectral)", () =>
  ends(tool("spectral"), ["lint", "--ruleset", join(here, "spectral.yaml"), "--fail-severity", "warn", document]));
await check("the document is written well (redocly)", () =>
  ends(tool("redocly"), ["lint", "--config", join(here, "redocly.yaml"), document], { env: { REDOCLY_TELEMETRY: "off", REDOCLY_SUPPRESS_UPDATE_NOTICE: "true" } }));

/** Who asks, in which yard, and how that is told. */
async function keepsToIt(who, yard, config, more, env = {}) {
  await check(`the program keeps to its contract, asked by ${who} (schemathesis)`, async () => {
    const run = ["--config-file", join(here, config), "run", `${yard.url}/api/v1/openapi.json`];
    const how = ["--checks", "all", "--seed", SEED, "--max-examples", EXAMPLES, "--continue-on-failure", "--no-color", "--request-timeout", "10",
      // It leaves out how somebody shows who they are, and is sent it all the same; `tests/http/people` asks without.
      "--exclude-checks", "ignored_auth", ...more];
    const { code, text } = await said(python("schemathesis"), [...run, ...how], { seconds: process.env.RIMEBOOK_LONG ? 900 : 240, cwd: kept, env });
    writeFileSync(join(kept, `schemathesis-${who.replaceAll(" ", "-")}.txt`), text);
    const cases = Number(text.match(/(\d+) generated/)?.[1] ?? 0);
    console.log(`schemathesis, ${who}: ${cases} cases`);
    assert.equal(code, 0, tail(text));
    assert.ok(500 < cases, `only ${cases} cases were tried`);
  });
}

// Until a yard is set up nobody is asked who they are, and what is about people is refused.
const PEOPLE = "/(join|sign-in|sign-out|sittings|me|people|tokens|devices|feeds)(/|$)";
const open_yard = await open({ demo: true });
await keepsToIt("anybody before the set-up", open_yard, "schemathesis.toml", ["--exclude-path-regex", PEOPLE]);
await close(open_yard);

// What ends the session that asks is left to the tests of the server itself.
const yard = await open({ demo: true });
const session = await setUp(yard);
const reads = await token(yard, session, ["read"]);
await keepsToIt("an administrator", yard, "schemathesis-signed.toml", ["--exclude-path-regex", "/(sign-out|withdraw|sessions/end)$", "-H", `Cookie: session=${session}`]);
await keepsToIt("a program that may read", yard, "schemathesis-signed.toml", ["-H", `Authorization: Bearer ${reads}`]);
if (process.env.RIMEBOOK_LONG) {
  await keepsToIt("nobody", yard, "schemathesis-signed.toml", []);
  for (const [place, role] of ["stores", "laminator", "supervisor", "quality", "reader"].entries()) {
    const signed = await somebody(yard, session, `S-${place}`, role);
    await keepsToIt(`somebody whose role is ${role}`, yard, "schemathesis-signed.toml", ["--exclude-path-regex", "/sign-out$", "-H", `Cookie: session=${signed}`]);
  }
  const writes = await token(yard, session, ["read", "facts", "decisions"]);
  await keepsToIt("a program that may write", yard, "schemathesis-signed.toml", ["-H", `Authorization: Bearer ${writes}`]);
}
await close(yard);

console.log(`\nThe contract from outside, ${Math.round((Date.now() - began) / 1000)} s:`);
console.log(`${tally.passed} passed, ${tally.failed} failed`);
process.exit(tally.failed === 0 && 0 < tally.passed ? 0 : 1);
