// Runs a program to its end and keeps what it said.
import { spawn } from "node:child_process";

export function said(program, argumentsOf, { seconds = 180, env = {}, cwd } = {}) {
  return new Promise((done) => {
    const child = spawn(program, argumentsOf, { cwd, env: { ...process.env, ...env }, stdio: ["ignore", "pipe", "pipe"] });
    let text = "";
    child.stdout.on("data", (data) => (text += data));
    child.stderr.on("data", (data) => (text += data));
    const late = setTimeout(() => child.kill("SIGKILL"), seconds * 1000);
    child.once("error", (error) => done({ code: -1, text: String(error) }));
    child.once("exit", (code) => {
      clearTimeout(late);
      done({ code: code ?? -1, text });
    });
  });
}
