// Where things lie.
import { existsSync, mkdirSync } from "node:fs";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";

export const top = resolve(dirname(fileURLToPath(import.meta.url)), "../../..");
const target = resolve(top, process.env.CARGO_TARGET_DIR ?? "target");
export const program = process.env.RIMEBOOK ?? join(target, "debug", "rimebook");
/** Pictures and prints of every page, to be looked at. */
export const kept = join(target, "browser");
mkdirSync(kept, { recursive: true });

const browsers = ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"];
export const chromium = process.env.CHROMIUM ?? browsers.find((path) => existsSync(path));

/** A program of the Python packages. */
export const python = (name) => join(target, "python", "bin", name);
