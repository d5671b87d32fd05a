// Who plans at a desk opens a job; who fetches its rolls issues them: two scans and a tap for the first, a scan and a tap for each more.
import { check } from "../lib/checks.mjs";
import { Person } from "../lib/person.mjs";

const ahead = (hours) => new Date(Date.now() + hours * 3_600_000).toISOString();

export async function planner(browser, yard) {
  const who = await Person.at(browser, yard, { badge: "B-04" });

  await check("a job is opened: its effect is read before it is saved, 2 taps", async () => {
    await who.open("/jobs");
    await who.tap("Open a job");
    who.forget();
    await who.type("Number of the job", "J-9001");
    await who.type("Part that it makes", "P-9001");
    await who.type("Lay-up stages, with commas between", "skin");
    await who.type("Last ply down, planned", ahead(8));
    await who.type("Oven on, planned", ahead(12));
    await who.type("What it needs: one material a line, and how many metres", "PM-101 12");
    await who.tap("Show what it would change");
    await who.reads(/needs nobody else/);
    await who.tap("Save");
    await who.reads(/Job J-9001/);
    await who.reads(/It makes P-9001, skin/);
    who.took({ scans: 0, taps: 2, typed: 100 });
  });

  await check("a roll is issued to it: 1 scan and 1 tap from the job's page", async () => {
    await who.tap("Issue by scanning");
    who.forget();
    await who.scan("X-1");
    await who.reads(/Yes, for J-9001/);
    await who.tap("Issue X-1 to J-9001");
    await who.reads(/X-1: issued to J-9001/);
    who.took({ scans: 1, taps: 1 });
    await who.tap("The job J-9001");
    await who.reads(/roll X-1/);
  });

  await check("what passed its limit is not issued, and says why", async () => {
    await who.open("/issue?job=J-9001");
    await who.scan("X-STOP");
    await who.reads(/It is not issued/);
  });

  await check("the planner saw no error and asked no other server", () => who.sawNothingOdd());
  await who.leave();
}
