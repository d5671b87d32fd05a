//! A page that is sent again: with the same words it was written before, once; with other words nothing is written.

use crate::http::problems::{Fault, Kind};
use actix_web::http::StatusCode;
use serde_json::Value;
use shared_types::{Body, Entry, Stamp, ThingName};
use uuid::Uuid;

/// What an item says, whoever sends it and when.
#[derive(PartialEq, Eq)]
pub(super) struct Meant {
    thing: ThingName,
    kind: &'static str,
    body: Value,
    strikes: Option<Uuid>,
    /// Where the time is part of what was said.
    at: Option<Stamp>,
    /// Fields of the body that the page filled in when it was sent, so that they may differ.
    worked_out: &'static [&'static str],
}

impl Meant {
    pub(super) fn of(
        thing: &ThingName,
        body: &Body,
        strikes: Option<Uuid>,
        worked_out: &'static [&'static str],
    ) -> Result<Meant, Fault> {
        let unread = |_| Fault::went_wrong("It could not be compared with what was written before.");
        let mut read = serde_json::to_value(body).map_err(unread)?;
        if let Some(fields) = read.as_object_mut() {
            fields.retain(|name, _| !worked_out.contains(&name.as_str()));
        }
        Ok(Meant { thing: thing.clone(), kind: body.kind(), body: read, strikes, at: None, worked_out })
    }

    /// The same of what says when it happened.
    pub(super) fn at(self, at: Stamp) -> Meant {
        Meant { at: Some(at), ..self }
    }

    /// The stored entry, if it says the same.
    pub(super) fn same(&self, line: &[u8]) -> Result<Entry, Fault> {
        let entry = Entry::read(line)
            .map_err(|_| Fault::went_wrong("It was written before, but the stored line can't be read."))?;
        let stored = Meant::of(&entry.thing, &entry.body, entry.strikes, self.worked_out)?;
        let stored = if self.at.is_some() { stored.at(entry.occurred_at) } else { stored };
        if stored == *self { Ok(entry) } else { Err(something_else(entry.seq)) }
    }
}

fn something_else(seq: u64) -> Fault {
    let detail = format!(
        "This page was sent before with something else, and that stands as entry {seq}. Nothing was written now. \
         Open the page again; what is wrong is struck where its entry stands."
    );
    Fault::new(StatusCode::CONFLICT, Kind::IdReused, detail).with("seq", seq)
}
