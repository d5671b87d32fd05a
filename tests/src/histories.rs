//! Random histories of a yard, as lines for `rimebook load`: the same seed gives the same lines.
//!
//! Everything that people do wrong is in them: late, told, struck and repeated facts, wrong placards, acts while the
//! book has a roll inside, uncertain instants, two devices that share no clock, clocks that are ahead, times that a device
//! does not say, second receipts, cures said to be under way too early or too late, settlements. Times are whole minutes,
//! so that a count of minutes is exact.

mod afterwards;
mod parts;
mod random;
mod scans;
mod yard;

use serde_json::{Value, json};

use crate::stepper::Minute;
use random::Random;

/// A history, and what may be asked of it.
pub struct History {
    pub jsonl: String,
    /// Rolls, kits, and parts with their stage.
    pub things: Vec<(String, Option<String>)>,
    /// Instants at which something happened to each of them.
    pub instants: Vec<Minute>,
    pub last_seq: u64,
}

/// One line before it is known where it stands in the log.
#[derive(Clone, Debug)]
struct Draft {
    recorded: Minute,
    line: Value,
}

struct Writer {
    random: Random,
    /// For what clocks and devices say, so that what happens in a history is the same without it.
    clocks: Random,
    drafts: Vec<Draft>,
    things: Vec<(String, Option<String>)>,
}

/// A whole yard: what it declares, some rolls, the kits cut from them, the parts laid from those, and what was
/// found out about all of it afterwards.
pub fn history(seed: u64) -> History {
    let (random, clocks) = (Random::new(seed), Random::new(!seed));
    let mut writer = Writer { random, clocks, drafts: Vec::new(), things: Vec::new() };
    yard::declare(&mut writer);
    let rolls = scans::rolls(&mut writer);
    let kits = parts::cut_kits(&mut writer, &rolls);
    parts::lay(&mut writer, &kits, &rolls);
    afterwards::strike_some(&mut writer);
    afterwards::confirm_some(&mut writer);
    afterwards::settle_some(&mut writer);
    afterwards::look_into_some(&mut writer);
    afterwards::strike_some(&mut writer);

    let lines = writer.lines();
    let jsonl = lines.iter().map(|line| format!("{line}\n")).collect::<String>();
    let log = crate::stepper::read_log(&jsonl);
    let instants = log.iter().filter(|entry| entry.body["zone"].is_null()).map(|entry| entry.at).collect();
    let last_seq = log.last().map_or(1, |entry| entry.seq);
    History { jsonl, things: writer.things, instants, last_seq }
}

/// A minute as it stands in a line.
pub fn time(minute: Minute) -> String {
    let instant = chrono::DateTime::from_timestamp(minute * 60, 0).unwrap_or_default();
    instant.to_rfc3339_opts(chrono::SecondsFormat::Millis, true)
}

impl Writer {
    /// A fact that happened at `at`, recorded a little or much later.
    fn fact(&mut self, kind: &str, thing: &str, at: Minute, body: Value) -> usize {
        let random = &mut self.random;
        let late = if random.chance(18) { random.between(20, 4000) } else { random.between(0, 3) };
        // By a clock that is ahead it is written before it happened.
        let late = if self.clocks.chance(2) { -self.clocks.between(1, 90) } else { late };
        let (id, by) = (random.uuid(), random.pick(&["B-1", "B-2", "B-3"]).to_owned());
        let mut line = json!({"id": id, "kind": kind, "thing": thing, "occurred_at": time(at), "by": by, "body": body});
        if random.chance(20) {
            line["uncertain_by_ms"] = json!(random.between(1, 45) * 60_000);
        }
        if random.chance(65) {
            line["device"] = json!(random.pick(&["H-1", "H-2"]));
            if self.clocks.chance(20) {
                // The device says the same time, about the same, or another one.
                let off = [0, 1, -7, 15, -15, 16, -16, 50, -50, -900][self.clocks.between(0, 9) as usize];
                line["device_said"] = json!(time(at + off));
            }
        }
        if random.chance(12) {
            line["told"] = json!(true);
            if random.chance(15) {
                line["second"] = json!({"by": random.pick(&["B-1", "B-7"])});
            }
        }
        self.drafts.push(Draft { recorded: at + late, line });
        self.drafts.len() - 1
    }

    fn decision(&mut self, decide: &str, thing: &str, recorded: Minute, body: Value) {
        let id = self.random.uuid();
        let line =
            json!({"id": id, "decide": decide, "thing": thing, "by": "B-8", "second": {"by": "B-9"}, "body": body});
        self.drafts.push(Draft { recorded, line });
    }

    /// The lines in the order of their recording, which never goes back; each device counts what it scanned.
    fn lines(&self) -> Vec<Value> {
        let mut drafts = self.drafts.clone();
        for device in ["H-1", "H-2"] {
            let mut scanned: Vec<&mut Value> =
                drafts.iter_mut().map(|draft| &mut draft.line).filter(|line| line["device"] == device).collect();
            scanned.sort_by_key(|line| line["occurred_at"].as_str().map(str::to_owned));
            for (counter, line) in scanned.into_iter().enumerate() {
                line["counter"] = json!(counter + 1);
            }
        }
        drafts.sort_by_key(|draft| draft.recorded);
        let (mut last, mut seq) = (Minute::MIN, 1);
        for draft in &mut drafts {
            // Each line is a group of its own, and a clock that was ahead counts from a whole minute.
            last = draft.recorded.max(last.saturating_add(1));
            draft.line["recorded_at"] = json!(time(last));
            if draft.line["decide"].is_string() {
                draft.line["based_on"] = json!(seq);
            }
            seq += if draft.line["body"]["instead"].is_object() { 2 } else { 1 };
        }
        drafts.into_iter().map(|draft| draft.line).collect()
    }
}
