//! The entries that the committer itself puts together: of a decision that was allowed, and the log's own.

use domain::Book;
use shared_types::{Body, Code, Entry, Instant, KnownBy, NameError, Stamp};
use uuid::Uuid;

use super::device::is_told;
use crate::{fingerprint, intake::NewDecision};

/// What the log's own entries are about.
const YARD: &str = "yard/YARD";
/// The badge they are written by.
const LOG: &str = "LOG";

/// The entry of a decision that is recorded `at`, and the one that stands instead of a struck one. `now` is the clock.
pub(crate) fn decided(book: &Book, decision: &NewDecision, at: Instant, now: Instant) -> (Entry, Option<Entry>) {
    let wish = &decision.wish;
    let entry = Entry {
        seq: 0,
        recorded_at: at,
        told: false,
        id: wish.id,
        fp: decision.fp,
        thing: wish.thing.clone(),
        by: wish.by.clone(),
        by_known: wish.by_known,
        second: wish.second.clone(),
        device: decision.device.clone(),
        device_known: decision.device.as_ref().map(|_| KnownBy::Token),
        counter: None,
        device_said: None,
        // A decision occurs when it is recorded.
        occurred_at: Stamp::utc(at),
        uncertain_by_ms: 0,
        shown: decision.shown.clone(),
        based_on: wish.based_on,
        strikes: wish.strikes,
        body: wish.body.clone(),
    };
    // A strike and what replaces it are judged as one: who stood beside the strike stood beside both.
    let instead = wish.instead.clone().map(|fact| {
        let told = wish.second_person().is_none() && is_told(book, &fact, None, now);
        Entry { told, ..fact }
    });
    (entry, instead)
}

/// An entry that the log writes itself.
pub(crate) fn own_entry(id: Uuid, recorded_at: Instant, body: Body) -> Result<Entry, OwnEntryError> {
    let value = serde_json::to_value(&body)?;
    Ok(Entry {
        seq: 0,
        recorded_at,
        told: false,
        id,
        fp: fingerprint::of(&value)?,
        thing: YARD.parse()?,
        by: Code::new(LOG)?,
        by_known: KnownBy::Claimed,
        second: None,
        device: None,
        device_known: None,
        counter: None,
        device_said: None,
        occurred_at: Stamp::utc(recorded_at),
        uncertain_by_ms: 0,
        shown: None,
        based_on: None,
        strikes: None,
        body,
    })
}

#[derive(Debug, thiserror::Error)]
pub(crate) enum OwnEntryError {
    #[error(transparent)]
    Name(#[from] NameError),
    #[error(transparent)]
    Json(#[from] serde_json::Error),
}
