//! What is known: the unstruck entries up to a position of the log, and what they say about places and materials.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use serde_json::Value;

use super::entry::{Entry, Minute, minute, whole_minutes};
use super::life::Life;

/// The entries that count, as known at one position of the log.
pub struct Book<'log> {
    pub entries: Vec<&'log Entry>,
    /// Lives that were walked already, by thing and receipt: each is asked for many times.
    pub walked: RefCell<BTreeMap<(String, String), Rc<Life>>>,
}

/// How somebody settled a mismatch. Of two settlements of one mismatch the later counts.
#[derive(Clone, Debug)]
pub struct Settlement {
    pub id: String,
    pub seq: u64,
    pub thing: String,
    pub kind: String,
    pub entry: String,
    pub answer: Settled,
}

#[derive(Clone, Debug)]
pub enum Settled {
    OutSince(Minute),
    PutAwayAt(Minute),
    WasTakeOut,
    CarriedOver(Minute),
    AssignedSeconds(i64),
    Other(String),
    /// What can't have been: that it was a thing which nobody received or cut.
    Nothing,
}

impl<'log> Book<'log> {
    /// Takes away what came later than `known` and what was struck by then. A strike itself cannot be struck.
    pub fn known(log: &'log [Entry], known: u64) -> Self {
        let recorded: Vec<&Entry> = log.iter().filter(|entry| entry.seq <= known).collect();
        let struck: Vec<&str> =
            recorded.iter().filter(|entry| entry.kind == "strike").filter_map(|strike| strike.text("entry")).collect();
        let stands = |entry: &&Entry| entry.kind == "strike" || !struck.contains(&entry.id.as_str());
        Book { entries: recorded.iter().copied().filter(stands).collect(), walked: RefCell::default() }
    }

    pub fn of_kind<'a>(&'a self, kind: &'a str) -> impl Iterator<Item = &'log Entry> + 'a {
        self.entries.iter().copied().filter(move |entry| entry.kind == kind)
    }

    /// Nobody but the one who recorded it stands behind a told fact: no second badge on the fact, and nobody
    /// confirmed it, whenever that was done.
    pub fn only_told(&self, fact: &Entry) -> bool {
        let seconded = fact.second.as_ref().is_some_and(|second| *second != fact.by);
        let confirmed = self.of_kind("confirm").any(|confirm| confirm.text("entry") == Some(&fact.id));
        fact.told && !seconded && !confirmed
    }

    /// The declaration of a place that is in force at an instant; the first one reaches back to the beginning.
    fn place(&self, code: &str, at: Minute) -> Option<&'log Value> {
        let thing = format!("place/{code}");
        let mut declared: Vec<(Minute, &'log Entry)> = self
            .of_kind("declare_place")
            .filter(|entry| entry.thing == thing)
            .map(|entry| (entry.text("effective_from").map_or(entry.at, minute), entry))
            .collect();
        declared.sort_by_key(|(from, entry)| (*from, entry.seq));
        let in_force = declared.iter().rev().find(|(from, _)| *from <= at).or(declared.first());
        in_force.map(|(_, entry)| &entry.body)
    }

    /// A place that nobody declared is not frozen. One without readings counts as cold.
    pub fn is_frozen(&self, code: &str, at: Minute) -> bool {
        self.place(code, at).is_some_and(|place| place["frozen"] == true)
    }

    /// Without readings a frozen place is as warm as it may be: above what a material may be stored at it is no cold place.
    pub fn is_too_warm(&self, code: &str, at: Minute, limit_millideg: Option<i64>) -> bool {
        let highest = self.place(code, at).and_then(|place| place["highest_millideg_c"].as_i64());
        highest.zip(limit_millideg).is_some_and(|(highest, limit)| highest > limit)
    }

    /// When declarations of a place come into force.
    pub fn declared_at(&self, code: &str) -> Vec<Minute> {
        let thing = format!("place/{code}");
        let declared = self.of_kind("declare_place").filter(|entry| entry.thing == thing);
        declared.map(|entry| entry.text("effective_from").map_or(entry.at, minute)).collect()
    }

    /// How much later than its scan at this place's door a thing is really in the cold, in minutes.
    pub fn rack_time(&self, code: &str, at: Minute) -> Minute {
        self.place(code, at).map_or(0, |place| whole_minutes(place["rack_s"].as_i64().unwrap_or(0)))
    }

    pub fn zone(&self) -> &'log str {
        self.of_kind("declare_yard").last().and_then(|yard| yard.text("zone")).unwrap_or("UTC")
    }

    pub fn spare_s(&self) -> i64 {
        self.of_kind("declare_yard").last().and_then(|yard| yard.body["spare_s"].as_i64()).unwrap_or(0)
    }

    /// The revision of the material that the receipt names: it binds.
    pub fn material(&self, receipt: &Entry) -> Option<&'log Value> {
        let thing = format!("material/{}", receipt.text("material")?);
        let revised = self.of_kind("revise_material").filter(|entry| entry.thing == thing);
        revised.filter(|entry| entry.body["revision"] == receipt.body["revision"]).last().map(|entry| &entry.body)
    }

    pub fn batch(&self, receipt: &Entry) -> Option<&'log Value> {
        let thing = format!("batch/{}/{}", receipt.text("material")?, receipt.text("batch")?);
        self.of_kind("register_batch").filter(|entry| entry.thing == thing).last().map(|entry| &entry.body)
    }

    fn is_there(&self, thing: &str) -> bool {
        let code = thing.strip_prefix("kit/");
        let cut =
            |cut: &Entry| cut.body["kits"].as_array().into_iter().flatten().any(|kit| kit["kit"].as_str() == code);
        match code {
            Some(_) => self.of_kind("nest_cut").any(cut),
            None => self.of_kind("roll_received").any(|receipt| receipt.thing == thing),
        }
    }

    /// All settlements of a thing's mismatches, in the order in which they were made.
    pub fn settlements(&self) -> Vec<Settlement> {
        let read = self.of_kind("settle").filter_map(read_settlement);
        let can_be = |settled: Settlement| match &settled.answer {
            Settled::Other(other) if !self.is_there(other) => Settlement { answer: Settled::Nothing, ..settled },
            _ => settled,
        };
        read.map(can_be).collect()
    }
}

fn read_settlement(entry: &Entry) -> Option<Settlement> {
    let answer = &entry.body["answer"];
    let time = |key: &str| answer[key].as_str().map(minute);
    let settled = time("out_since")
        .map(Settled::OutSince)
        .or_else(|| time("put_away_at").map(Settled::PutAwayAt))
        .or_else(|| (answer["was_take_out"] == true).then_some(Settled::WasTakeOut))
        .or_else(|| answer["carried_over_s"].as_i64().map(|s| Settled::CarriedOver(whole_minutes(s))))
        .or_else(|| answer["assigned_s"].as_i64().map(Settled::AssignedSeconds))
        .or_else(|| answer["other"].as_str().map(|other| Settled::Other(other.to_owned())))?;
    Some(Settlement {
        id: entry.id.clone(),
        seq: entry.seq,
        thing: entry.thing.clone(),
        kind: entry.body["mismatch"]["kind"].as_str()?.to_owned(),
        entry: entry.body["mismatch"]["entry"].as_str()?.to_owned(),
        answer: settled,
    })
}
