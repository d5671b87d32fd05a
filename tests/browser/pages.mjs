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
  await puzzling(yard, fact, roll);
  code.ovens = await ovens(yard, fact, roll);
  code.entry = await struck(yard, { fact, decide }, roll);
  await fact(yard, "roll_received", "roll/X-HELD", roll(3), { hours: 3 });
  code.hold = (await decide(yard, "place_hold", "roll/X-HELD", { why: "The bag was open." })).id;
  await fact(yard, "delivery_arrived", "delivery/DN-X", { rolls: ["X-1", "X-STOP", "X-LATE-1", "X-LATE-2"] }, { hours: 3 });
  await fact(yard, "delivery_arrived", "delivery/DN-ALL", { rolls: ["X-HELD"] }, { hours: 2 });
  code.puzzles = await puzzles(yard, get);
  return code;
}

/** What does not add up, in as many ways as a person with a scanner brings about. */
async function puzzling(yard, fact, roll) {
  const names = ["X-TWICE", "X-ELSE", "X-SEEN", "X-CUT"];
  for (const name of names) await fact(yard, "roll_received", `roll/${name}`, roll(2), { hours: 3.5 });
  // What is told long after it happened waits to be confirmed; what is scanned now counts at once.
  const now = (kind, name, body, minutes) => fact(yard, kind, `roll/${name}`, body, { hours: minutes / 60 });
  for (const name of names) await now("roll_put_away", name, { into: "F1" }, 9);
  await now("roll_put_away", "X-ELSE", { into: "F2" }, 5);
  for (const minutes of [7, 3]) await now("roll_taken_out", "X-TWICE", { to: "CUT" }, minutes);
  await now("roll_taken_out", "X-SEEN", { to: "CUT" }, 7);
  await now("seen", "X-SEEN", { in: "F1" }, 3);
  const items = [{ roll: "X-CUT", length_mm: 60_000 }];
  await fact(yard, "nest_cut", "nest/N-X", { kits: [{ kit: "K-X", job: "J-X", items }] }, { hours: 0.02 });
  await now("roll_received", "X-TWICE", roll(2), 1);
}

/** A run that was said to have cured and not to have, and a run that was started twice. Answers their numbers. */
async function ovens(yard, fact, roll) {
  await fact(yard, "roll_received", "roll/X-LAID", roll(2), { hours: 3.5 });
  const now = (kind, thing, body, minutes) => fact(yard, kind, thing, body, { hours: minutes / 60 });
  await now("roll_taken_out", "roll/X-LAID", { to: "CUT" }, 14);
  const started = { oven: "OVEN-1", stages: [{ part: "X-SHELF", stage: "skin" }] };
  await now("plies_laid", "part/X-SHELF", { stage: "skin", from: "roll/X-LAID", length_mm: 2_000 }, 13);
  for (const minutes of [12, 10]) await now("oven_run_started", "run/X-STARTS", started, minutes);
  await now("oven_run_started", "run/X-ENDS", started, 8);
  const committed_at = new Date(Date.now() - 6 * 60_000).toISOString();
  await now("oven_run_ended", "run/X-ENDS", { committed_at, cured: true, source: "chart" }, 5);
  await now("oven_run_ended", "run/X-ENDS", { cured: false, source: "record" }, 4);
  return { ends: "X-ENDS", starts: "X-STARTS" };
}

/** One entry that never happened, and one that may still be struck. Answers their numbers. */
async function struck(yard, { fact, decide }, roll) {
  await fact(yard, "roll_received", "roll/X-STRUCK", roll(2), { hours: 3.5 });
  const out = await fact(yard, "roll_taken_out", "roll/X-STRUCK", { to: "CUT" }, { hours: 3 });
  const never = await fact(yard, "roll_put_away", "roll/X-STRUCK", { into: "F1" }, { hours: 2.5 });
  await decide(yard, "strike", "roll/X-STRUCK", { entry: never.id, why: "The roll never left the bench." });
  const receipt = await fact(yard, "roll_received", "roll/X-SHORT", roll(2), { hours: 3.5 });
  const items = [2_000, 3_500].map((length_mm) => ({ roll: "X-SHORT", length_mm }));
  const kits = items.map((item, place) => ({ kit: `K-SHORT-${place + 1}`, job: "J-X", items: [item] }));
  const cut = await fact(yard, "nest_cut", "nest/N-SHORT", { kits }, { hours: 0.02 });
  return { out: out.seq, never: never.seq, receipt: receipt.seq, cut: cut.seq };
}

/** One of each kind of what does not add up: its page, and what fits to answer there. */
async function puzzles(yard, get) {
  const { body } = await get(yard, "/api/v1/mismatches");
  const first = new Map();
  for (const one of body.mismatches) if (!first.has(one.kind)) first.set(one.kind, one);
  return [...first.values()].map(({ kind, entry, thing }) => ({ kind, at: `/mismatches/${kind}/${entry}?thing=${encodeURIComponent(thing)}` }));
}

/** What a delivery's rolls are, as the address has it. */
export function delivery(code) {
  const batch = code.batch.split("/")[1];
  const choices = { delivery: "0197a1c2-0000-7000-8000-000000000001", what: "PM-101/B", batch, length: "50", from: "TRUCK", into: "F1", source: "certificate", out_time: "1:00", refreezes: "0", as_of: "2026-01-05 06:00" };
  return new URLSearchParams(choices).toString();
}

const LISTS = ["rolls", "kits", "parts", "boats", "jobs", "batches", "materials", "places"];

/** The rows. `status` is 200 unless it says otherwise; `still`: all of it fits a handheld without scrolling. */
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
    { name: "cut", at: "/cut", kind: "hand" },
    { name: "cut-which-job", at: `/cut?roll=${code.prepreg}`, kind: "hand" },
    { name: "cut-which-kit", at: `/cut?roll=${code.prepreg}&job=${code.job}`, kind: "hand" },
    { name: "cut-how-much", at: `/cut?roll=${code.prepreg}&job=${code.job}&kit=K-NEW`, kind: "hand" },
    { name: "cut-done", at: `/cut?done=${code.entry.cut}`, kind: "hand" },
    { name: "cut-held", at: `/cut?roll=${code.held}`, kind: "hand" },
    { name: "oven", at: "/oven", kind: "hand" },
    { name: "oven-which-stage", at: `/oven?part=${code.part}`, kind: "hand" },
    { name: "oven-which-oven", at: `/oven?stages=${code.part}/skin`, kind: "hand" },
    { name: "oven-may-heat", at: `/oven?stages=${code.part}/skin&oven=OVEN-1`, kind: "hand" },
    { name: "oven-run", at: `/oven?run=${code.run.replace("run/", "")}`, kind: "hand" },
    { name: "oven-ends-contradict", at: `/oven?run=${code.ovens.ends}`, kind: "hand" },
    { name: "oven-started-twice", at: `/oven?run=${code.ovens.starts}`, kind: "hand" },
    { name: "oven-no-run", at: "/oven?run=RUN-9", kind: "hand" },
    { name: "dispose", at: "/dispose", kind: "hand" },
    { name: "dispose-why", at: "/dispose?thing=roll/X-1", kind: "hand", still: true },
    { name: "dispose-roll", at: "/dispose?thing=roll/X-1&why=left-over", kind: "hand" },
    { name: "dispose-kit", at: `/dispose?thing=kit/${code.kit}&why=damaged`, kind: "hand" },
    { name: "lay-from-roll", at: `/lay?part=${code.part}&stage=skin&from=roll/${code.prepreg}`, kind: "hand" },
    { name: "badge", at: "/badge", kind: "hand" },
    { name: "no-such-page", at: "/no-such-page", kind: "hand", status: 404 },
    { name: "boat", at: "/boat/NB-31", kind: "desk", paper: true },
    { name: "boat-with-records", at: "/boat/NB-31?parts=whole", kind: "desk", paper: true },
    { name: "boat-being-built", at: "/boat/NB-32", kind: "desk", paper: true },
    { name: "boat-as-of", at: "/boat/NB-31?known=300", kind: "desk" },
    { name: "trace-batch", at: `/trace/batch/${code.batch}`, kind: "desk", paper: true },
    { name: "trace-boat-sheet", at: "/trace/boat/NB-31?as=sheet", kind: "desk", paper: true },
    { name: "changes", at: "/changes/boat/NB-31?from=300", kind: "desk", paper: true },
    { name: "changes-not-asked", at: "/changes/boat/NB-31", kind: "desk" },
    { name: "recall", at: `/recall/batch/${code.batch}`, kind: "desk", paper: true },
    { name: "recall-asked", at: `/recall/batch/${code.batch}?ask=1&why=a+bad+test&thing=roll/${code.prepreg}`, kind: "desk" },
    { name: "recall-without-a-reason", at: `/recall/batch/${code.batch}?ask=1`, kind: "desk", status: 400 },
    { name: "boat-nobody-has-it", at: "/boat/NB-99", kind: "hand", status: 404 },
    ...LISTS.map((list) => ({ name: `list-${list}`, at: `/${list}`, kind: "desk", paper: true })),
    { name: "list-rolls-of-nothing", at: "/rolls?material=QQ-0", kind: "desk" },
    ...ofTheDay(),
    ...ofOneThing(code),
    ...decisions(code),
    { name: "find-trace", at: "/trace", kind: "desk" },
    { name: "find-trace-of-nothing", at: "/trace?code=R-99999", kind: "desk", status: 404 },
    { name: "trace-boat", at: "/trace/boat/NB-31", kind: "desk", paper: true },
    { name: "trace-batch", at: `/trace/batch/${code.batch}`, kind: "desk", paper: true },
    { name: "trace-sheet", at: "/trace/boat/NB-31?as=sheet", kind: "desk", paper: true },
    { name: "trace-as-known", at: "/trace/boat/NB-31?known=300", kind: "desk" },
    { name: "lay", at: "/lay", kind: "hand" },
    { name: "lay-part", at: `/lay?part=${code.part}`, kind: "hand" },
    { name: "lay-from-roll", at: `/lay?part=${code.part}&stage=skin&from=roll/${code.prepreg}`, kind: "hand" },
    { name: "lay-from-kit", at: `/lay?part=${code.part}&stage=skin&from=kit/${code.kit}`, kind: "hand" },
    { name: "lay-in-the-oven", at: `/lay?part=${code.inOven}&stage=skin`, kind: "hand" },
    { name: "lay-in-the-oven-from-roll", at: `/lay?part=${code.inOven}&stage=skin&from=roll/${code.prepreg}`, kind: "hand" },
    { name: "lay-no-part", at: "/lay?code=F1", kind: "hand" },
    { name: "receive", at: "/receive", kind: "desk", paper: true },
    { name: "receive-wrong", at: `/receive?choice=scan&what=PM-101/B&batch=${q("a/b")}&length=-1&source=card`, kind: "desk", status: 400 },
    { name: "receive-as-of-still-to-come", at: `/receive?choice=scan&${delivery(code).replace("2026-01-05", "2030-01-05")}`, kind: "desk", status: 400 },
    { name: "receive-scan", at: `/receive/scan?${delivery(code)}`, kind: "hand" },
    { name: "receive-scan-before", at: `/receive/scan?${delivery(code)}&before=X-1`, kind: "hand" },
    { name: "receive-scan-nothing-known", at: `/receive/scan?${delivery({ batch: "PM-101/B-9999" }).replace("certificate", "nobody")}`, kind: "hand" },
    { name: "receive-note", at: "/receive/note", kind: "desk" },
    { name: "deliveries", at: "/deliveries", kind: "desk", paper: true },
    { name: "receive-paper", at: "/receive/paper/X-NAMELESS", kind: "desk" },
    { name: "receive-paper-late", at: "/receive/paper/X-NAMELESS?choice=card&out_time=2:00&refreezes=0&as_of=2030-01-01+06:00", kind: "desk", status: 400 },
    { name: "receive-batch", at: "/receive/batch?what=PM-101/B&batch=B-9999&choice=ask&made_on=2026-01", kind: "desk" },
    { name: "job-open", at: "/job", kind: "desk" },
    { name: "job-open-wrong", at: "/job?choice=ask&part=&needs=QQ-9%201", kind: "desk", status: 400 },
    { name: "job-open-effect", at: `/job?choice=ask&code=J-9001&part=P-9001&stages=skin&needs=${q("PM-101 12")}&lay_at=${q("2031-05-06 16:00")}&oven_at=${q("2031-05-06 20:00")}`, kind: "desk" },
    { name: "job", at: `/job/${code.job}`, kind: "desk", paper: true },
    { name: "job-plan", at: `/job/${code.job}/plan`, kind: "desk" },
    { name: "issue", at: "/issue", kind: "hand" },
    { name: "issue-roll", at: `/issue?job=${code.job}&thing=roll/${code.prepreg}`, kind: "hand" },
    { name: "issue-held", at: `/issue?job=${code.job}&thing=roll/${code.held}`, kind: "hand" },
    { name: "install", at: "/install", kind: "hand" },
    { name: "install-in-oven", at: `/install?part=${code.inOven}&boat=NB-32`, kind: "hand" },
    { name: "boat-list", at: "/boat/NB-32/list", kind: "desk" },
    { name: "boat-list-effect", at: `/boat/NB-32/list?choice=ask&parts=${q("P-1\nP-2")}`, kind: "desk" },
    { name: "problems", at: "/problems", kind: "desk" },
    { name: "docs", at: "/docs", kind: "desk", paper: true },
    { name: "authority", at: "/authority", kind: "desk", paper: true },
    { name: "docs-operation", at: "/docs/operations/post_decision", kind: "desk", paper: true },
    { name: "docs-question", at: "/docs/operations/may_use", kind: "desk", paper: true },
    { name: "docs-shape", at: "/docs/shapes/MayUse", kind: "desk" },
    { name: "docs-no-such-shape", at: "/docs/shapes/None", kind: "hand", status: 404 },
    { name: "problem", at: "/problems/cannot-read", kind: "desk" },
  ];
}

function ofTheDay() {
  return ["today", "runs-out", "take-out", "handover", "mismatches", "devices", "paper"].map((name) => ({ name, at: `/${name}`, kind: "desk", paper: true }));
}

/** A page of each kind of thing, and one thing in the states that look different. */
function ofOneThing(code) {
  const things = {
    roll: code.splice, kit: code.kit, part: code.judged, boat: "NB-31", job: code.job, nest: code.nest, run: code.run,
    batch: code.batch, material: "PM-101", place: "F1", badge: "B-17",
  };
  const thing = (name, path) => ({ name: `thing-${name}`, at: `/thing/${path}`, kind: "desk" });
  return [
    ...Object.entries(things).map(([kind, of]) => ({ ...thing(kind, `${kind}/${of}`), paper: true })),
    { ...thing("with-struck-entries", "roll/X-STRUCK"), paper: true },
    thing("held", "roll/X-HELD"),
    thing("does-not-add-up", `roll/${code.wrong}`),
    thing("with-a-long-name", `roll/${code.long}`),
    thing("as-known", `roll/${code.prepreg}?known=300`),
    thing("as-of", `roll/${code.splice}?at=${encodeURIComponent(new Date(Date.now() - 3_600_000).toISOString())}`),
    { ...thing("nobody-has-it", "roll/R-99999"), kind: "hand", status: 404 },
  ];
}

/** Where something is decided: as it is asked, with its effect, and as it is refused. */
function decisions(code) {
  const desk = (name, at, more) => ({ name, at, kind: "desk", ...more });
  const { out, never, receipt, cut } = code.entry;
  return [
    ...code.puzzles.map(({ kind, at }) => desk(`mismatch-${kind}`, at)),
    desk("mismatch-with-its-effect", `${code.puzzles.find(({ kind }) => kind === "in_while_in").at}&choice=take_out&why=asked`),
    desk("strike", `/strike/${out}`),
    desk("strike-with-its-effect", `/strike/${out}?choice=never&why=scanned+twice`, { paper: true }),
    desk("strike-refused", `/strike/${out}?choice=time`, { status: 400 }),
    desk("strike-of-a-receipt-for-its-length", `/strike/${receipt}?choice=length&length=40`, { paper: true }),
    desk("strike-picked", `/strike/${cut}?pick=length`),
    desk("strike-of-a-cut-asked", `/strike/${cut}`),
    desk("strike-of-a-cut-for-its-lengths", `/strike/${cut}?choice=length&length=2+35`),
    desk("strike-of-a-cut-with-a-length-missing", `/strike/${cut}?choice=length&length=2`, { status: 400 }),
    desk("strike-of-what-is-struck", `/strike/${never}`),
    desk("hold", "/hold?thing=roll/X-1"),
    desk("hold-with-its-effect", "/hold?choice=ask&thing=roll/X-1&why=crushed"),
    desk("hold-refused", "/hold?choice=ask&thing=roll/X-1", { status: 400 }),
    desk("lift", `/hold?thing=roll/X-HELD&lift=${code.hold}`),
    desk("lift-with-its-effect", `/hold?choice=ask&thing=roll/X-HELD&lift=${code.hold}&why=resealed`),
    desk("confirm", "/confirm"),
    desk("confirm-with-a-second-person", "/confirm?second=B-05"),
    desk("last", "/last"),
  ];
}

/** The same on a yard where nobody has written anything yet. */
export function emptyPages() {
  return [
    { name: "empty-scan", at: "/", kind: "hand" },
    { name: "empty-scan-nobody-has-it", at: "/?code=R-1", kind: "hand" },
    { name: "empty-badge", at: "/badge", kind: "hand" },
    ...["set-up", "sign-in", "enrol", "people"].map((page) => ({ name: `empty-${page}`, at: `/${page}`, kind: "desk" })),
    ...[...LISTS, "today", "runs-out", "take-out", "handover", "mismatches", "confirm", "last", "deliveries", "devices"].map((page) => ({ name: `empty-${page}`, at: `/${page}`, kind: "desk" })),
    { name: "empty-boat", at: "/boat/NB-1", kind: "hand", status: 404 },
  ];
}

/** What is different where people sign in, as an administrator at a desk sees it. */
export function signedPages() {
  return [
    ...["people", "sign-in", "sitting", "enrol", "set-up", "today", "devices", "paper", "confirm", "sessions", "calendar", "devices/bring-in"].map((page) => ({ name: `signed-${page.replace("/", "-")}`, at: `/${page}`, kind: "desk" })),
    { name: "signed-badge", at: "/thing/badge/B-1", kind: "desk" },
    { name: "signed-device", at: "/thing/device/H-1", kind: "desk" },
    { name: "signed-revoke", at: "/devices/revoke?thing=device/H-1", kind: "desk" },
    { name: "signed-revoke-effect", at: "/devices/revoke?choice=ask&thing=device/H-1&why=lost", kind: "desk" },
  ];
}

/** The same on an enrolled handheld, with one who is signed in and one who stands beside. */
export function handheldPages() {
  return [
    { name: "handheld-scan", at: "/", kind: "hand" },
    { name: "handheld-roll", at: "/?code=Z-1", kind: "hand" },
    { name: "handheld-sign-in", at: "/sign-in", kind: "hand" },
    { name: "handheld-sitting", at: "/sitting", kind: "hand" },
  ];
}
