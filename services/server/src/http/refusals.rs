//! The one place that turns refusals and outcomes into HTTP, without a `_` arm: a new one does not compile until
//! somebody chose its status and name.

use super::problems::{Fault, Kind};
use crate::committer::{Outcome, Written};
use actix_web::http::StatusCode;
use domain::{Between, NotAsked, Refusal};
use serde::Serialize;
use shared_types::{Entry, ThingName};

/// An item that is in the log, now or since before.
pub(crate) enum Stored {
    Now(Written),
    Before(Box<Entry>),
}

/// What became of an item, as an answer or a problem.
pub(crate) fn stored(outcome: Outcome) -> Result<Stored, Fault> {
    match outcome {
        Outcome::Written(written) => Ok(Stored::Now(written)),
        Outcome::Already { line } => Entry::read(&line)
            .map(|entry| Stored::Before(Box::new(entry)))
            .map_err(|_| Fault::went_wrong("It was written before, but the stored line can't be read.")),
        Outcome::IdReused { line } => Err(id_reused(&line)),
        Outcome::Refused(refusal) => Err(refused(refusal)),
        Outcome::NoSpace { why } => Err(Fault::new(
            StatusCode::INSUFFICIENT_STORAGE,
            Kind::NoSpace,
            format!("Not written: the server's disk has no space. Send it again when there is some. ({why})"),
        )),
        Outcome::Stopped { why } => Err(writes_stopped(&why)),
        Outcome::ClockJumped(jump) => Err(writes_stopped(&jump.to_string())),
        Outcome::Panicked => {
            Err(Fault::went_wrong("Working this out failed. It was not written; nothing else is affected."))
        }
    }
}

fn writes_stopped(why: &str) -> Fault {
    let detail = format!(
        "Writing has stopped: {}. Tell whoever looks after the server, and do it again later: it is never written twice.",
        why.trim_end_matches('.')
    );
    Fault::new(StatusCode::SERVICE_UNAVAILABLE, Kind::WritesStopped, detail)
}

fn id_reused(line: &[u8]) -> Fault {
    let fault = |detail: String| Fault::new(StatusCode::CONFLICT, Kind::IdReused, detail);
    match Entry::read(line) {
        Ok(entry) => fault(format!(
            "The id {} is that of entry {}, which says something else. Give this one an id of its own.",
            entry.id, entry.seq
        ))
        .with("seq", entry.seq),
        Err(_) => fault("The id was used for something else. Give this one an id of its own.".to_owned()),
    }
}

#[derive(Serialize)]
struct Came<'a> {
    seq: u64,
    kind: &'a str,
    thing: &'a ThingName,
}

/// A decision's refusal.
pub(crate) fn refused(refusal: Refusal) -> Fault {
    let detail = refusal.to_string();
    let fault = |status, kind| Fault::new(status, kind, detail.clone());
    match refusal {
        Refusal::NotFound { .. } => fault(StatusCode::NOT_FOUND, Kind::NotFound),
        Refusal::CannotRead { pointer, detail: about } => {
            fault(StatusCode::BAD_REQUEST, Kind::CannotRead).field(pointer, about)
        }
        Refusal::BasedOnMissing => fault(StatusCode::BAD_REQUEST, Kind::CannotRead).field("/based_on", detail.clone()),
        Refusal::BasedOnAhead { based_on, last } => {
            fault(StatusCode::CONFLICT, Kind::AheadOfLog).with("based_on", based_on).with("last_seq", last)
        }
        Refusal::ChangedMeanwhile { based_on, between } => {
            let came = between.iter().map(|Between { seq, kind, thing }| Came { seq: *seq, kind, thing });
            let came: Vec<_> = came.collect();
            fault(StatusCode::CONFLICT, Kind::ChangedMeanwhile).with("based_on", based_on).with("between", came)
        }
        Refusal::OnHold { holds, .. } => fault(StatusCode::CONFLICT, Kind::OnHold).with("holds", holds),
        Refusal::OutLifeUsedUp { .. } => fault(StatusCode::CONFLICT, Kind::OutLifeUsedUp),
        Refusal::PastShelfLife { .. } => fault(StatusCode::CONFLICT, Kind::PastShelfLife),
        Refusal::NotEnoughLifeForJob { .. } => fault(StatusCode::CONFLICT, Kind::NotEnoughLifeForJob),
        Refusal::CannotBeUsed { .. } => fault(StatusCode::CONFLICT, Kind::CannotBeUsed),
        Refusal::CannotSay { .. } => fault(StatusCode::CONFLICT, Kind::CannotSay),
        Refusal::AlreadyThere { .. } => fault(StatusCode::CONFLICT, Kind::AlreadyThere),
        Refusal::NeedsSecondPerson { gives_back, .. } => {
            fault(StatusCode::FORBIDDEN, Kind::NeedsSecondPerson).with("gives_back", gives_back)
        }
        Refusal::NotAllowed { needs, .. } => fault(StatusCode::FORBIDDEN, Kind::NotAllowed).with("needs", needs),
    }
}

/// A question that can't be asked.
pub(crate) fn not_asked(why: NotAsked) -> Fault {
    let detail = why.to_string();
    match why {
        NotAsked::UnknownThing(_) => Fault::not_found(detail),
        NotAsked::NameTheStage(_) => Fault::cannot_read(detail.clone()).field("/stage", detail),
        NotAsked::DoesNotFit(_) => Fault::cannot_read(detail),
    }
}
