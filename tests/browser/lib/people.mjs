// A yard that is set up, as its administrator does it: with the code that the server left, a password and a one-time code.
import { createHmac } from "node:crypto";
import { readFileSync } from "node:fs";
import { join } from "node:path";

export const PASSWORD = "a boat on a cold slip";
const STEP_S = 30;

/** The one-time code of this half minute, or of the next (RFC 6238 on RFC 4226). */
export function digits(secret, next = 0) {
  const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
  const bits = [...secret.replace(/=+$/, "")].map((letter) => letters.indexOf(letter).toString(2).padStart(5, "0")).join("");
  const key = Buffer.from(bits.match(/.{8}/g).map((byte) => parseInt(byte, 2)));
  const counter = Buffer.alloc(8);
  counter.writeBigUInt64BE(BigInt(Math.floor(Date.now() / 1_000 / STEP_S) + next));
  const hash = createHmac("sha1", key).update(counter).digest();
  const at = hash[hash.length - 1] & 15;
  return String((hash.readUInt32BE(at) & 0x7fffffff) % 1_000_000).padStart(6, "0");
}

async function post(yard, path, body, headers = {}) {
  const answer = await fetch(yard.url + path, {
    method: "POST",
    headers: { "Content-Type": "application/json", ...headers },
    body: JSON.stringify(body),
  });
  if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
  return answer;
}

/** Makes the administrator A-1 and signs in; the session. */
export async function setUp(yard) {
  const code = readFileSync(join(yard.data, "people/set-up-code"), "utf8").trim();
  const { one_time_secret: secret } = await (await post(yard, "/api/v1/join/begin", { code })).json();
  const joins = { code, badge: "A-1", name: "Ana Example", password: PASSWORD, one_time_code: digits(secret) };
  await post(yard, "/api/v1/join", joins);
  // A code is taken once; that of the next half minute is taken too.
  const signed = await post(yard, "/api/v1/sign-in", { badge: "A-1", password: PASSWORD, one_time_code: digits(secret, 1) });
  return signed.headers.get("set-cookie").split(";")[0].split("=")[1];
}

async function grant(yard, Cookie, badge, body) {
  const seen = (await (await fetch(`${yard.url}/api/v1/mismatches`, { headers: { Cookie } })).json()).as_of_seq;
  const one = { id: crypto.randomUUID(), decide: "grant_roles", thing: `badge/${badge}`, by: "A-1", based_on: seen, body };
  await post(yard, "/api/v1/decisions", one, { Cookie });
}

/** Somebody with this role and no other, who signed in with a password and a one-time code; the session. */
export async function somebody(yard, session, badge, role) {
  const Cookie = `session=${session}`;
  await grant(yard, Cookie, badge, { roles: [role], scopes: [] });
  const { code } = await (await post(yard, "/api/v1/people/invitation", { badge }, { Cookie })).json();
  const { one_time_secret: secret } = await (await post(yard, "/api/v1/join/begin", { code })).json();
  const password = `${PASSWORD}, ${role}`;
  await post(yard, "/api/v1/join", { code, badge, name: `${role} Example`, password, one_time_code: digits(secret) });
  const signed = await post(yard, "/api/v1/sign-in", { badge, password, one_time_code: digits(secret, 1) });
  return signed.headers.get("set-cookie").split(";")[0].split("=")[1];
}

/** Gives a program a token with these scopes. */
export async function token(yard, session, scopes) {
  const Cookie = `session=${session}`;
  await grant(yard, Cookie, "X-1", { roles: ["integrator"], scopes });
  return (await (await post(yard, "/api/v1/tokens", { badge: "X-1", name: "planning", scopes }, { Cookie })).json()).token;
}
