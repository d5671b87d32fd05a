//! Asking the book: a short read lock, no disk, and a panic in an answer ends that answer only.

use super::{
    problems::{Answer, Fault},
    say::sentence,
};
use crate::yard::Yard;
use actix_web::{
    HttpResponse,
    http::{StatusCode, header},
    web,
};
use domain::{Book, When};
use serde::{Deserialize, Deserializer, Serialize, de::Error};
use shared_types::{Code, Kind, Mismatch, Stamp, ThingName, clear_code};
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use utoipa::IntoParams;

/// When the history is read, and up to which entry it is known.
#[derive(Deserialize, IntoParams, Default, Clone, Copy)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct AtKnown {
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    pub(crate) at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known: what the book could have answered then. Default: all of them.
    #[serde(default)]
    pub(crate) known: Option<u64>,
}

/// Nothing may be asked for here.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NoParameters {}

/// A time in a query; a `+` that was not percent-encoded arrives as a blank.
pub(crate) fn stamp<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Stamp>, D::Error> {
    let text = String::deserialize(from)?;
    Stamp::parse(&text.trim().replace(' ', "+")).map(Some).map_err(D::Error::custom)
}

/// Where a page of a list goes on, and how long it is.
#[derive(Deserialize, IntoParams, Default, Clone, Copy)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Paging {
    /// The `seq` after which to go on. Default: from the beginning.
    #[serde(default)]
    #[param(format = "uint64")]
    pub(crate) after: Option<u64>,
    /// At most so many items; more than 200 counts as 200.
    #[serde(default)]
    #[param(minimum = 1, default = 200, format = "uint64")]
    pub(crate) limit: Option<u64>,
}

impl Paging {
    pub(crate) fn count(self) -> Result<usize, Fault> {
        match self.limit.unwrap_or(200) {
            0 => Err(Fault::cannot_read("limit is at least 1.").field("/limit", "at least 1")),
            limit => Ok(usize::try_from(limit.min(200)).unwrap_or(200)),
        }
    }
}

impl AtKnown {
    pub(crate) fn when(self, yard: &Yard, book: &Book) -> Result<When, Fault> {
        let now = yard.now();
        let last = book.last_seq();
        match self.known {
            Some(known) if last < known => {
                let detail = format!("The log ends at entry {last}; nothing was ever known up to {known}.");
                Err(Fault::cannot_read(detail).field("/known", "beyond the log's end").with("last_seq", last))
            }
            known => Ok(When { at: self.at.map_or(now, |stamp| stamp.at), known: known.unwrap_or(u64::MAX), now }),
        }
    }
}

/// Asks under the read lock. A panic becomes a problem; the lock is not poisoned by readers.
pub(crate) fn ask<T>(yard: &Yard, question: impl FnOnce(&Book) -> Result<T, Fault>) -> Result<T, Fault> {
    let book = yard.read();
    catch_unwind(AssertUnwindSafe(|| question(&book))).unwrap_or_else(|_| {
        Err(Fault::went_wrong(
            "Working this out failed. Nothing else is affected; tell whoever looks after this server.",
        ))
    })
}

/// What an entry made not add up. It is written already, so that a panic here takes nothing back.
pub(crate) fn mismatches(yard: &Yard, seq: u64) -> Vec<Mismatch> {
    catch_unwind(AssertUnwindSafe(|| yard.mismatches(seq))).unwrap_or_default()
}

/// Asks as `ask` does, for questions that go through the whole book: beside the workers, so that they keep nobody waiting.
pub(crate) async fn ask_beside<T: Send + 'static>(
    yard: &web::Data<Yard>,
    question: impl FnOnce(&Book) -> Result<T, Fault> + Send + 'static,
) -> Result<T, Fault> {
    let yard = yard.clone();
    beside(move || ask(&yard, question)).await
}

/// Work that may wait for the disk, beside the workers.
pub(crate) async fn beside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Fault> + Send + 'static,
) -> Result<T, Fault> {
    web::block(work).await.unwrap_or_else(|_| Err(Fault::went_wrong("The server is stopping. Ask again.")))
}

pub(crate) fn json(answer: &impl Serialize) -> Answer {
    answered(StatusCode::OK, answer)
}

/// The same of what was made.
pub(crate) fn created(answer: &impl Serialize) -> Answer {
    answered(StatusCode::CREATED, answer)
}

/// An answer as JSON.
pub(crate) fn answered(status: StatusCode, answer: &impl Serialize) -> Answer {
    let mut body = Vec::with_capacity(2048);
    match serde_json::to_writer(&mut body, answer) {
        Ok(()) => Ok(HttpResponse::build(status).insert_header((header::CONTENT_TYPE, "application/json")).body(body)),
        Err(_) => Err(Fault::went_wrong("The answer could not be written down.")),
    }
}

/// Nobody knows this thing.
pub(crate) fn nobody(thing: &ThingName) -> Fault {
    Fault::not_found(nobody_received(thing))
}

/// Only rolls are received; everything else has to be named once.
pub(crate) fn nobody_received(thing: &ThingName) -> String {
    use shared_types::Kind;
    match thing.kind() {
        Kind::Roll => format!("Nobody has received {}.", thing.short()),
        Kind::Kit => format!("Nobody has cut a kit {}.", thing.short()),
        Kind::Batch => format!("Nobody has named a batch {}.", thing.code()),
        kind => format!("Nobody has named a {kind} {}.", thing.short()),
    }
}

/// Nobody knows this code. What kind of thing it would be shows in its letters, where all codes that the book has of
/// these letters are of one kind.
pub(crate) fn nobody_has(book: &Book, code: &Code) -> String {
    if let Err(why) = clear_code(code.as_str()) {
        return sentence(&why.to_string());
    }
    let letters = code.as_str().split_once('-').map(|(letters, _)| letters);
    let named = book.labels().map(|label| book.name(label)).filter(|_| letters.is_some());
    let alike = named.filter(|thing| thing.short().split_once('-').map(|(of, _)| of) == letters);
    let kinds: BTreeSet<Kind> = alike.map(ThingName::kind).collect();
    match kinds.first().filter(|kind| kinds.len() == 1 && **kind != Kind::Batch) {
        Some(kind) => nobody_received(&ThingName::new(*kind, code)),
        None => format!("Nobody has received {code}."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{clock::SetClock, yard::Options};
    use shared_types::Instant;
    use std::sync::Arc;

    #[test]
    fn a_panic_in_an_answer_is_a_problem_and_the_next_question_is_answered() {
        let folder = tempfile::tempdir().unwrap();
        let yard = Yard::open(folder.path(), Options::new(Arc::new(SetClock::new(Instant(0))))).unwrap();
        let failed = ask(&yard, |_| -> Result<u64, Fault> { panic!("an error of the program") }).unwrap_err();
        assert_eq!(failed.status(), StatusCode::INTERNAL_SERVER_ERROR);
        assert_eq!(ask(&yard, |book| Ok(book.last_seq())).unwrap(), 0);
    }
}
