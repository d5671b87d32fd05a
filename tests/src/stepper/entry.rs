//! The lines of a log as plain values: what each entry says, in whole minutes.

use chrono::DateTime;
use serde_json::Value;

/// Minutes since 1970-01-01T00:00Z.
pub type Minute = i64;

/// The order in which history is read: instant, device, counter, rank of the kind, id. What is missing sorts first.
pub type Order = (Minute, Option<String>, Option<u64>, usize, String);

/// One entry of the log, fact or decision.
#[derive(Clone, Debug)]
pub struct Entry {
    pub seq: u64,
    pub id: String,
    /// `roll_taken_out`, `settle`: facts in the past tense, decisions as they are asked for; no version.
    pub kind: String,
    pub thing: String,
    pub by: String,
    /// A decision occurs when it is recorded.
    pub at: Minute,
    pub uncertain: Minute,
    pub device: Option<String>,
    /// The device is one that nobody enrolled: it orders the facts, and proves nothing about their order.
    pub device_only_claimed: bool,
    pub counter: Option<u64>,
    pub told: bool,
    pub second: Option<String>,
    pub body: Value,
}

impl Entry {
    pub fn earliest(&self) -> Minute {
        self.at - self.uncertain
    }

    pub fn latest(&self) -> Minute {
        self.at + self.uncertain
    }

    pub fn order(&self) -> Order {
        let rank = KINDS.iter().position(|kind| *kind == self.kind).unwrap_or(KINDS.len());
        (self.at, self.device.clone(), self.counter, rank, self.id.clone())
    }

    pub fn text(&self, key: &str) -> Option<&str> {
        self.body[key].as_str()
    }
}

/// Facts in the order in which they are ranked when everything else about them is equal.
const KINDS: [&str; 15] = [
    "roll_received",
    "roll_put_away",
    "kit_put_away",
    "roll_taken_out",
    "kit_taken_out",
    "seen",
    "nest_cut",
    "plies_laid",
    "oven_run_started",
    "layup_completed",
    "oven_run_ended",
    "oven_run_interrupted",
    "part_installed",
    "part_removed",
    "disposed",
];

/// Decisions as the log writes them, and as they are asked for.
const DECISIONS: [(&str, &str); 14] = [
    ("yard_declared", "declare_yard"),
    ("place_declared", "declare_place"),
    ("material_revised", "revise_material"),
    ("batch_registered", "register_batch"),
    ("job_opened", "open_job"),
    ("job_replanned", "replan_job"),
    ("boat_declared", "declare_boat"),
    ("issued", "issue"),
    ("hold_placed", "place_hold"),
    ("hold_lifted", "lift_hold"),
    ("entry_struck", "strike"),
    ("fact_confirmed", "confirm"),
    ("mismatch_settled", "settle"),
    ("shelf_life_extended", "extend_shelf_life"),
];

/// Reads a log as it is loaded: the first entry says that the log was loaded, so the first line is entry 2; what
/// replaces a struck entry is the next entry after its strike.
///
/// # Panics
/// On a line that cannot be read, or a time that is not a whole minute.
pub fn read_log(jsonl: &str) -> Vec<Entry> {
    let mut entries = Vec::new();
    let mut seq = 1;
    for line in jsonl.lines().filter(|line| !line.trim().is_empty()) {
        let value: Value = serde_json::from_str(line).unwrap_or_else(|error| panic!("{error} in {line}"));
        seq += 1;
        let entry = read_entry(&value, seq);
        let instead = &value["body"]["instead"];
        let replacement = (entry.kind == "strike" && instead.is_object()).then(|| {
            let mut fact = instead.clone();
            fact["recorded_at"] = value["recorded_at"].clone();
            let mut fact = read_entry(&fact, seq + 1);
            // A second person who agreed to the strike agreed to what replaces the entry.
            fact.told &= entry.second.is_none();
            fact
        });
        entries.push(entry);
        if let Some(fact) = replacement {
            seq += 1;
            entries.push(fact);
        }
    }
    entries
}

fn read_entry(value: &Value, seq: u64) -> Entry {
    let text = |key: &str| value[key].as_str().map(str::to_owned);
    let decided = text("decide");
    let kind = decided.or_else(|| text("kind")).unwrap_or_else(|| panic!("neither kind nor decide in {value}"));
    let kind = kind.split(".v").next().unwrap_or_default().to_owned();
    let asked = DECISIONS.iter().find(|(written, _)| *written == kind).map(|(_, asked)| (*asked).to_owned());
    let kind = asked.unwrap_or(kind);
    let is_decision = DECISIONS.iter().any(|(_, asked)| *asked == kind);
    // The instant of a decision is that of its recording, which need not be a whole minute: nothing is charged by it.
    let at = match text(if is_decision { "recorded_at" } else { "occurred_at" }) {
        Some(instant) if is_decision => milliseconds(&instant).div_euclid(60_000),
        Some(instant) => not_after_written(minute(&instant), value),
        None => panic!("no time in {value}"),
    };
    let uncertain = value["uncertain_by_ms"].as_i64().unwrap_or(0);
    assert_eq!(uncertain % 60_000, 0, "not whole minutes: {value}");
    let mut body = value["body"].clone();
    if let Some(struck) = value["strikes"].as_str() {
        body["entry"] = struck.into();
    }
    Entry {
        seq,
        id: text("id").unwrap_or_else(|| panic!("no id in {value}")),
        kind,
        thing: text("thing").unwrap_or_default(),
        by: text("by").unwrap_or_default(),
        at,
        uncertain: uncertain / 60_000,
        device: text("device"),
        device_only_claimed: value["device_known"] == "claimed",
        counter: value["counter"].as_u64(),
        told: value["told"] == true || said_otherwise(value),
        second: value["second"]["by"].as_str().map(str::to_owned),
        body,
    }
}

/// Nothing happened after it was written: what a clock says that is more than two minutes ahead counts from then.
fn not_after_written(at: Minute, value: &Value) -> Minute {
    let written = value["recorded_at"].as_str().filter(|written| milliseconds(written) + 120_000 < at * 60_000);
    written.map_or(at, minute)
}

/// The device says that it was made at another time, by more than a quarter of an hour and by more than it may be off.
fn said_otherwise(value: &Value) -> bool {
    let time = |key: &str| value[key].as_str().map(milliseconds);
    let (Some(said), Some(at)) = (time("device_said"), time("occurred_at")) else { return false };
    value["uncertain_by_ms"].as_i64().unwrap_or(0).max(900_000) < (at - said).abs()
}

/// # Panics
/// When the text is no RFC 3339 time.
pub fn milliseconds(text: &str) -> i64 {
    DateTime::parse_from_rfc3339(text).unwrap_or_else(|error| panic!("{error}: {text}")).timestamp_millis()
}

/// # Panics
/// When the time is not a whole minute.
pub fn minute(text: &str) -> Minute {
    let ms = milliseconds(text);
    assert_eq!(ms % 60_000, 0, "not a whole minute: {text}");
    ms / 60_000
}

/// `seconds` as whole minutes.
///
/// # Panics
/// When they are none.
pub fn whole_minutes(seconds: i64) -> Minute {
    assert_eq!(seconds % 60, 0, "not whole minutes: {seconds} s");
    seconds / 60
}
