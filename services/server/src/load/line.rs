//! One line of a file to load: as `GET /entries` gives it, or as it would be posted, with its `recorded_at`.

use std::borrow::Cow;

use domain::Book;
use serde_json::Value;
use shared_types::{Entry, Instant, Shown, Stamp};

use crate::{
    committer::decided,
    intake::{Item, ItemProblem},
};

/// Reads line after line; the seqs it gives are those that the entries get.
#[derive(Default)]
pub(super) struct Lines {
    last_recorded_at: Option<Instant>,
    /// The last seq that was given; entry 1 says that the log was loaded.
    given: u64,
    /// Of lines that were stored before: their seq then, and now.
    moved: Vec<(u64, u64)>,
}

impl Lines {
    /// The entry of a line, or two when something stands instead of a struck entry. The error is a sentence.
    pub(super) fn read(&mut self, text: &str) -> Result<Vec<Entry>, String> {
        if text.trim().is_empty() {
            return Err("it is empty".to_owned());
        }
        let value: Value = serde_json::from_str(text).map_err(|error| format!("it is not JSON: {error}"))?;
        let first = self.given.max(1) + 1;
        let mut entries = match value.get("fp").is_some() {
            true => vec![self.stored(text, first)?],
            false => posted(value)?,
        };
        let recorded_at = entries.first().map(|entry| entry.recorded_at);
        if recorded_at < self.last_recorded_at {
            return Err("its recorded_at is earlier than that of the line before".to_owned());
        }
        self.last_recorded_at = recorded_at;
        for (entry, seq) in entries.iter_mut().zip(first..) {
            entry.seq = seq;
            self.given = seq;
        }
        Ok(entries)
    }

    /// A stored line keeps everything but the numbers of entries, which move with the entries.
    fn stored(&mut self, text: &str, seq: u64) -> Result<Entry, String> {
        let entry = Entry::read(text.as_bytes()).map_err(|error| error.to_string())?;
        if self.moved.last().is_some_and(|(then, _)| *then >= entry.seq) {
            return Err(format!("its seq {} is not after that of the line before", entry.seq));
        }
        let based_on = entry.based_on.map(|position| self.now(position));
        let shown = entry.shown.clone().map(|shown| Shown { as_of_seq: self.now(shown.as_of_seq), ..shown });
        self.moved.push((entry.seq, seq));
        Ok(Entry { based_on, shown, ..entry })
    }

    /// What was the log's end then, as a number of this log.
    fn now(&self, position: u64) -> u64 {
        let before = self.moved.partition_point(|(then, _)| *then <= position);
        before.checked_sub(1).and_then(|at| self.moved.get(at)).map_or(1, |(_, now)| *now)
    }
}

fn posted(mut value: Value) -> Result<Vec<Entry>, String> {
    let members = value.as_object_mut().ok_or("it is not an object")?;
    let recorded_at = match members.remove("recorded_at") {
        Some(Value::String(text)) => Stamp::parse(&text).map_err(|error| format!("/recorded_at: {error}"))?.at,
        Some(_) => return Err("/recorded_at: a text is expected here".to_owned()),
        None => return Err("recorded_at is missing".to_owned()),
    };
    let told = match members.remove("told") {
        Some(Value::Bool(told)) => Some(told),
        None | Some(Value::Null) => None,
        Some(_) => return Err("/told: true or false is expected here".to_owned()),
    };
    // A line's own word stands: what does not say that it was told was scanned.
    let instead_told =
        match value.pointer_mut("/body/instead").and_then(Value::as_object_mut).and_then(|of| of.remove("told")) {
            Some(Value::Bool(told)) => Some(told),
            None | Some(Value::Null) => None,
            Some(_) => return Err("/body/instead/told: true or false is expected here".to_owned()),
        };
    // The fingerprint is that of the item as it was posted then, so that sending it again is no new entry.
    let text = value.to_string();
    let item = Item::of(Cow::Owned(text), value);
    let in_words = |problem: ItemProblem| problem.detail();
    match item.value.get("decide").is_some() {
        false => {
            let fact = scanned(item.fact().map_err(in_words)?);
            Ok(vec![Entry { recorded_at, told: told.unwrap_or(false), ..fact }])
        }
        true => {
            let decision = item.decision().map_err(in_words)?;
            let (entry, instead) = decided(&Book::default(), &decision, recorded_at, recorded_at);
            let instead = instead.map(|fact| {
                let fact = scanned(fact);
                Entry { recorded_at, told: instead_told.or(told).unwrap_or(false), ..fact }
            });
            Ok([Some(entry), instead].into_iter().flatten().collect())
        }
    }
}

/// Here a device is what the line says it is.
fn scanned(fact: Entry) -> Entry {
    Entry { device_known: None, ..fact }
}
