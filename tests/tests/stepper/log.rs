//! Writes small logs for cases that are worked out by hand.

use serde_json::{Value, json};
use tests::stepper::{self, Entry, Minute, Question, Row, View, minute, read_log};

/// A log in the making. The yard has two freezers, a freezer truck `T1`, a trolley freezer `F3` with a rack time of
/// 10 min, and the rooms `CUT` and `LAY`. Material PM-1 states 100 h, 50 h, 24 h from the first ply and two refreezes
/// of more than 30 min; PM-2 waits from lay-up complete, has no tack life, and tests its shelf life when taken out.
pub struct Log {
    lines: Vec<Value>,
}

/// `5 06:00` is 06:00 UTC on 5 May 2025.
pub fn time(text: &str) -> String {
    let (day, clock) = text.split_once(' ').unwrap();
    format!("2025-05-{:02}T{clock}:00.000Z", day.parse::<u32>().unwrap())
}

impl Log {
    pub fn new() -> Self {
        let mut log = Log { lines: Vec::new() };
        log.decide("declare_yard", "yard/YARD", json!({"zone": "Europe/Berlin", "spare_s": 0}));
        for (code, frozen) in [("F1", true), ("F2", true), ("T1", true), ("CUT", false), ("LAY", false)] {
            log.decide("declare_place", &format!("place/{code}"), json!({"name": code, "frozen": frozen}));
        }
        log.decide("declare_place", "place/F3", json!({"name": "F3", "frozen": true, "rack_s": 600}));
        let one = json!({
            "revision": "1", "name": "One", "form": "prepreg", "storage_limit_millideg_c": -18000,
            "valid_up_to_millideg_c": 25000, "shelf_life": {"months": 6, "tested_at": "oven"},
            "out_life_s": 360_000, "tack_life_s": 180_000, "lay_to_cure": {"limit_s": 86_400, "from": "first_ply"},
            "refreezes": {"allowed": 2, "after_s": 1800}, "rate": {"model": "door_to_door"}
        });
        let mut two = one.clone();
        two["tack_life_s"] = json!({"none_by": "DOC-7"});
        two["lay_to_cure"] = json!({"limit_s": 43_200, "from": "complete"});
        two["shelf_life"] = json!({"months": 6, "tested_at": "take_out"});
        log.decide("revise_material", "material/PM-1", one);
        log.decide("revise_material", "material/PM-2", two);
        log.decide("register_batch", "batch/PM-1/B-1", json!({"made_on": "2024-11-30"}));
        log.decide("register_batch", "batch/PM-2/B-1", json!({"made_on": "2025-01", "certificate_ends": "2025-06"}));
        log
    }

    /// Received at 06:00 on the 5th from the truck, nothing used, and put away in F1 at 06:30: 30 min of out-time.
    pub fn with_roll(code: &str) -> Self {
        let mut log = Log::new();
        log.roll(code, "PM-1");
        log
    }

    pub fn roll(&mut self, code: &str, material: &str) -> &mut Self {
        self.received(code, material, "5 06:00", Some("T1"), Some((0, 0, "5 06:00")));
        self.put(code, "5 06:30", "F1")
    }

    pub fn received(
        &mut self,
        code: &str,
        material: &str,
        at: &str,
        from: Option<&str>,
        opening: Option<(i64, i64, &str)>,
    ) -> &mut Self {
        let opening = opening.map(|(out_time_s, refreezes, as_of)| {
            json!({"out_time_s": out_time_s, "refreezes": refreezes, "as_of": time(as_of), "source": "card"})
        });
        let body = json!({"material": material, "revision": "1", "batch": "B-1", "length_mm": 50_000,
            "from": from, "opening": opening});
        self.fact("roll_received", &format!("roll/{code}"), at, body)
    }

    pub fn put(&mut self, code: &str, at: &str, into: &str) -> &mut Self {
        self.fact(&kind(code, "put_away"), &label(code), at, json!({"into": into}))
    }

    pub fn out(&mut self, code: &str, at: &str) -> &mut Self {
        self.fact(&kind(code, "taken_out"), &label(code), at, json!({"to": "CUT"}))
    }

    pub fn seen(&mut self, code: &str, at: &str, place: &str) -> &mut Self {
        self.fact("seen", &label(code), at, json!({"in": place}))
    }

    pub fn cut(&mut self, kit: &str, at: &str, rolls: &[&str]) -> &mut Self {
        let items: Vec<Value> = rolls.iter().map(|roll| json!({"roll": roll, "length_mm": 20_000})).collect();
        let kits = json!([{"kit": kit, "job": "J-1", "items": items}]);
        self.fact("nest_cut", "nest/N-1", at, json!({"kits": kits}))
    }

    pub fn laid(&mut self, from: &str, at: &str, items: &[&str]) -> &mut Self {
        let items = if items.is_empty() { Value::Null } else { json!(items) };
        let body = json!({"stage": "skin", "from": label(from), "items": items});
        self.fact("plies_laid", "part/P-1", at, body)
    }

    pub fn fact(&mut self, kind: &str, thing: &str, at: &str, body: Value) -> &mut Self {
        let id = self.next_id();
        self.lines.push(json!({"id": id, "kind": kind, "thing": thing, "occurred_at": time(at), "by": "A",
            "body": body, "recorded_at": time(at)}));
        self
    }

    pub fn decide(&mut self, decide: &str, thing: &str, body: Value) -> &mut Self {
        let id = self.next_id();
        self.lines.push(json!({"id": id, "decide": decide, "thing": thing, "by": "B", "based_on": 1, "body": body,
            "recorded_at": time("1 00:00")}));
        self
    }

    fn next_id(&self) -> String {
        format!("00000000-0000-4000-8000-{:012}", self.lines.len() + 1)
    }

    /// Adds to the last line.
    pub fn with(&mut self, key: &str, value: Value) -> &mut Self {
        self.lines.last_mut().unwrap()[key] = value;
        self
    }

    pub fn told(&mut self) -> &mut Self {
        self.with("told", json!(true))
    }

    pub fn plus_minus(&mut self, minutes: i64) -> &mut Self {
        self.with("uncertain_by_ms", json!(minutes * 60_000))
    }

    pub fn device(&mut self, device: &str) -> &mut Self {
        self.with("device", json!(device))
    }

    pub fn last_id(&self) -> String {
        self.lines.last().unwrap()["id"].as_str().unwrap().to_owned()
    }

    pub fn strike(&mut self, entry: &str) -> &mut Self {
        self.decide("strike", "roll/R-1", json!({"entry": entry, "why": "wrong"}))
    }

    /// Settles the mismatch of the last fact.
    pub fn settle(&mut self, kind: &str, answer: Value) -> &mut Self {
        let entry = self.last_id();
        let thing = self.lines.last().unwrap()["thing"].as_str().unwrap().to_owned();
        let thing = if thing.starts_with("nest/") { "roll/R-1".to_owned() } else { thing };
        self.decide("settle", &thing, json!({"mismatch": {"kind": kind, "entry": entry}, "answer": answer}))
    }

    /// As `load` counts: the first line is entry 2.
    pub fn last_seq(&self) -> u64 {
        self.lines.len() as u64 + 1
    }

    pub fn entries(&self) -> Vec<Entry> {
        let lines: Vec<String> = self.lines.iter().map(Value::to_string).collect();
        read_log(&lines.join("\n"))
    }

    pub fn ask(&self, code: &str, act: &str, at: &str) -> View {
        self.ask_known(code, act, at, u64::MAX)
    }

    pub fn ask_known(&self, code: &str, act: &str, at: &str, known: u64) -> View {
        let stage = code.starts_with("P-").then(|| "skin".to_owned());
        let question = Question { thing: label(code), act: act.to_owned(), stage, job: None, at: minute_of(at), known };
        stepper::ask(&self.entries(), &question)
    }

    /// Out-time in minutes.
    pub fn out_time(&self, code: &str, at: &str) -> i64 {
        self.row(code, "out_life", at).so_far.unwrap() / 60
    }

    pub fn runs(&self, code: &str, at: &str) -> bool {
        self.row(code, "out_life", at).runs.unwrap()
    }

    pub fn refreezes(&self, code: &str, at: &str) -> i64 {
        self.row(code, "refreezes", at).so_far.unwrap()
    }

    pub fn row(&self, code: &str, limit: &str, at: &str) -> Row {
        let view = self.ask(code, "lay", at);
        view.row(limit).unwrap_or_else(|| panic!("no {limit} in {view:?}")).clone()
    }

    pub fn mismatches(&self, code: &str) -> Vec<&'static str> {
        stepper::mismatches(&self.entries(), &label(code), u64::MAX).into_iter().map(|(_, kind)| kind).collect()
    }
}

pub fn minute_of(text: &str) -> Minute {
    minute(&time(text))
}

pub fn ms(text: &str) -> i64 {
    minute_of(text) * 60_000
}

fn label(code: &str) -> String {
    let kind = match code.split_once('-') {
        Some(("R", _)) => "roll",
        Some(("K", _)) => "kit",
        _ => "part",
    };
    format!("{kind}/{code}")
}

fn kind(code: &str, what: &str) -> String {
    format!("{}_{what}", if code.starts_with('K') { "kit" } else { "roll" })
}
