// The program itself, on a folder of its own and a port that is free; ended by its process, never by its name.
import { spawn } from "node:child_process";
import { randomUUID } from "node:crypto";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { program } from "./places.mjs";

const STARTS_MS = 20_000;

/** Those that run: whatever ends this program ends them. */
const running = new Set();
process.on("exit", () => running.forEach((child) => child.kill("SIGKILL")));

function say(argumentsOf) {
  const child = spawn(program, argumentsOf, { stdio: ["ignore", "pipe", "pipe"] });
  running.add(child);
  child.once("exit", () => running.delete(child));
  let out = "";
  let err = "";
  child.stdout.on("data", (data) => (out += data));
  child.stderr.on("data", (data) => (err += data));
  return { child, said: () => out + err, out: () => out };
}

function ended(child) {
  return new Promise((done) => (child.exitCode === null && child.signalCode === null ? child.once("exit", done) : done()));
}

/** Serves this folder, or a new one; with a made-up year in it if `demo` is given. */
export async function open({ demo = false } = {}) {
  const folder = mkdtempSync(join(tmpdir(), "rimebook-browser-"));
  const data = join(folder, "data");
  let story = "";
  if (demo) {
    const making = say(["demo", "--data", data, "--seed", "1"]);
    await ended(making.child);
    if (making.child.exitCode !== 0) throw new Error(`the demo was not made: ${making.said()}`);
    story = making.out();
  }
  const yard = { folder, data, story };
  await start(yard, "127.0.0.1:0");
  return yard;
}

async function start(yard, listen) {
  const server = say(["serve", "--data", yard.data, "--listen", listen, "--clock-checked"]);
  yard.child = server.child;
  yard.said = server.said;
  const until = Date.now() + STARTS_MS;
  let found = null;
  while (!(found = server.out().match(/http:\/\/\S+/))) {
    if (server.child.exitCode !== null || until < Date.now()) throw new Error(`it did not start: ${server.said()}`);
    await new Promise((done) => setTimeout(done, 20));
  }
  yard.url = found[0].replace(/\/$/, "");
}

/** Ends the server; its folder stays. */
export async function stop(yard) {
  yard.child.kill("SIGTERM");
  const late = setTimeout(() => yard.child.kill("SIGKILL"), 10_000);
  await ended(yard.child);
  clearTimeout(late);
}

/** Serves the same folder at the same address again. */
export async function again(yard) {
  await start(yard, new URL(yard.url).host);
}

export async function close(yard) {
  await stop(yard);
  rmSync(yard.folder, { recursive: true, force: true });
}

export async function get(yard, path) {
  const answer = await fetch(yard.url + path);
  return { status: answer.status, body: await answer.json() };
}

async function post(yard, path, body) {
  const answer = await fetch(yard.url + path, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body),
  });
  return { status: answer.status, body: await answer.json() };
}

const ago = (hours) => new Date(Date.now() - hours * 3_600_000).toISOString();

/** A fact as another program posts it. */
export async function fact(yard, kind, thing, body, { hours = 0, by = "B-17" } = {}) {
  const one = { id: randomUUID(), kind, thing, occurred_at: ago(hours), by, body };
  const answer = await post(yard, "/api/v1/entries", { entries: [one] });
  const result = answer.body.results?.[0];
  if (!result || 300 <= result.status) throw new Error(`${kind} ${thing}: ${JSON.stringify(answer.body)}`);
  return { id: one.id, seq: result.seq };
}

/** A decision of two people. */
export async function decide(yard, what, thing, body, { by = "B-04", second = "B-05" } = {}) {
  const seen = (await get(yard, "/api/v1/mismatches")).body.as_of_seq;
  const one = { id: randomUUID(), decide: what, thing, by, second: { by: second }, based_on: seen, body };
  const answer = await post(yard, "/api/v1/decisions", one);
  if (300 <= answer.status) throw new Error(`${what} ${thing}: ${JSON.stringify(answer.body)}`);
  return { id: one.id, seq: answer.body.seq };
}

/** How many entries the log has. */
export async function entries(yard) {
  return (await get(yard, "/api/v1/mismatches")).body.as_of_seq;
}
