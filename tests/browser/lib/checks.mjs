// Counts what was tried, and says what went wrong where.
import assert from "node:assert/strict";

export const tally = { passed: 0, failed: 0 };

/** One check: a sentence, and what has to hold for it. The rest goes on when it does not. */
export async function check(sentence, holds) {
  try {
    await holds();
    tally.passed += 1;
    if (process.env.RIMEBOOK_TELL) console.log(`ok      ${sentence}`);
    return true;
  } catch (error) {
    tally.failed += 1;
    const why = String(error?.message ?? error).split("\n").slice(0, 14).map((line) => line.slice(0, 400)).join("\n        ");
    console.log(`FAILED  ${sentence}\n        ${why}`);
    return false;
  }
}

export { assert };
