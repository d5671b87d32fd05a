// Every page in every state: where it is, what it is for, and what else has to stand on it.
// `hand`: read at arm's length and pressed with gloves. `desk`: read at a desk. `paper`: also printed, on so many pages.

/** Brings the made-up year into states that it does not reach by itself. Answers the codes that the pages are asked with. */
export async function prepare(yard, { fact, decide, get }) {
  const found = (pattern) => {
    const match = yard.story.match(pattern);
    if (!match) throw new Error(`the demo names nothing like ${pattern}: ${yard.story}`);
    return match[1];
  };
  const code = {
    splice: found(/Roll (\S+): core splice, out/),
    prepreg: found(/Roll (\S+): prepreg, out/),
    wrong: found(/Roll (\S+): put away twice/),
    held: found(/Roll (\S+): held/),
    kit: found(/kit\/(\S+): cut yesterday/),
    inOven: found(/Part (\S+): in oven run/),
    run: found(/in oven run run\/(\S+?),/),
    part: found(/Part (\S+): its skin is being laid/),
    job: found(/Jobs (\S+) \(tomorrow\)/),
    later: found(/\(tomorrow\) and (\S+) \(in three days\)/),
    judged: found(/Part (\S+): a take-out told/),
    nest: found(/nest\/(\S+): its first entry was struck/),
  };
  const batch = await get(yard, `/api/v1/things/roll/${code.prepreg}/trace?direction=made_from`);
  code.batch = JSON.stringify(batch.body).match(/batch\/(PM-101\/[^"/]+)/)[1];

  const roll = (out_h) => ({
    material: "PM-101", revision: "B", batch: code.batch.split("/")[1], length_mm: 50_000, width_mm: 1_270,
    opening: { out_time_s: out_h * 3600, refreezes: 0, as_of: new Date(Date.now() - 4 * 3_600_000).toISOString(), source: "card" },
  });
  await fact(yard, "roll_received", "roll/X-1", roll(1), { hours: 3 });
  await fact(yard, "roll_put_away", "roll/X-1", { into: "F1" }, { hours: 2.9 });
  await fact(yard, "roll_received", "roll/X-STOP", roll(300), { hours: 3 });
  await fact(yard, "roll_taken_out", "roll/X-STOP", { to: "CUT" }, { hours: 2 });
  await fact(yard, "roll_taken_out", "roll/X-NEVER", { to: "CUT" }, { hours: 2 });
  await fact(yard, "roll_received", "roll/X-NAMELESS", { material: "QQ-9", revision: "A", batch: "B-1", length_mm: 1_000 }, { hours: 3 });
  // As long as a code may be, and a reason that somebody wrote in full.
  code.long = `R-${"LONG".repeat(9)}-9`;
  await fact(yard, "roll_received", `roll/${code.long}`, roll(2), { hours: 3 });
  const why = "The core of the roll is crushed at one end and the backing film has come off over the first metres; nobody knows for how long, so look at all of it before any of it is cut, and ask the maker.";
  await decide(yard, "place_hold", `roll/${code.long}`, { why, nonconformance: "NC-2026-0004711" });
  return code;
}

const LISTS = ["rolls", "kits", "parts", "boats", "jobs", "batches", "materials", "places"];

/** The rows. `status` is 200 unless it says otherwise. */
export function pages(code) {
  const q = encodeURIComponent;
  return [
    { name: "scan", at: "/", kind: "hand" },
    { name: "scan-in-the-cold", at: "/?code=X-1", kind: "hand" },
    { name: "scan-out", at: `/?code=${code.splice}`, kind: "hand" },
    { name: "scan-out-with-job", at: `/?thing=roll/${code.prepreg}&job=${code.job}`, kind: "hand" },
    { name: "scan-held", at: `/?code=${code.held}`, kind: "hand" },
    { name: "scan-stop", at: "/?code=X-STOP", kind: "hand" },
    { name: "scan-never-received", at: "/?code=X-NEVER", kind: "hand" },
    { name: "scan-cannot-say", at: "/?code=X-NAMELESS", kind: "hand" },
    { name: "scan-does-not-add-up", at: `/?code=${code.wrong}`, kind: "hand" },
    { name: "scan-long", at: `/?code=${code.long}`, kind: "hand" },
    { name: "scan-kit", at: `/?code=${code.kit}`, kind: "hand" },
    { name: "scan-part", at: `/?code=${code.part}`, kind: "hand" },
    { name: "scan-part-in-oven", at: `/?code=${code.inOven}`, kind: "hand" },
    { name: "scan-boat", at: "/?code=NB-31", kind: "hand" },
    { name: "scan-place", at: "/?code=F1", kind: "hand" },
    { name: "scan-job", at: `/?code=${code.job}`, kind: "hand" },
    { name: "scan-nobody-has-it", at: "/?code=R-99999", kind: "hand" },
    { name: "scan-no-code", at: `/?code=${q("a/b")}`, kind: "hand" },
    { name: "scan-places", at: "/?thing=roll/X-1&places=all", kind: "hand" },
    { name: "badge", at: "/badge", kind: "hand" },
    { name: "no-such-page", at: "/no-such-page", kind: "hand", status: 404 },
    { name: "boat", at: "/boat/NB-31", kind: "desk", paper: true },
    { name: "boat-with-records", at: "/boat/NB-31?parts=whole", kind: "desk", paper: true },
    { name: "boat-being-built", at: "/boat/NB-32", kind: "desk", paper: true },
    { name: "boat-as-of", at: "/boat/NB-31?known=300", kind: "desk" },
    { name: "boat-nobody-has-it", at: "/boat/NB-99", kind: "hand", status: 404 },
    ...LISTS.map((list) => ({ name: `list-${list}`, at: `/${list}`, kind: "desk", paper: true })),
    { name: "list-rolls-of-nothing", at: "/rolls?material=QQ-0", kind: "desk" },
    { name: "problems", at: "/problems", kind: "desk" },
    { name: "problem", at: "/problems/cannot-read", kind: "desk" },
  ];
}

/** The same on a yard where nobody has written anything yet. */
export function emptyPages() {
  return [
    { name: "empty-scan", at: "/", kind: "hand" },
    { name: "empty-scan-nobody-has-it", at: "/?code=R-1", kind: "hand" },
    { name: "empty-badge", at: "/badge", kind: "hand" },
    ...LISTS.map((list) => ({ name: `empty-${list}`, at: `/${list}`, kind: "desk" })),
    { name: "empty-boat", at: "/boat/NB-1", kind: "hand", status: 404 },
  ];
}
