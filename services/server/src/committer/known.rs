//! Ids are chosen by clients and global for ever: what was written before is answered again, never written again.

use domain::Book;
use serde::Deserialize;
use shared_types::Fingerprint;

use super::{Item, Outcome, queue::Request};
use crate::{intake::used_again, journal::Reader};

/// Answers a request whose id is known. Gives back one that is new, which it also is when a device's item is set
/// aside under another id.
pub(super) fn known(book: &Book, reader: &Reader, request: Request) -> Option<Request> {
    let (id, fp, instead) = match &request.item {
        Item::Fact(fact) => (fact.entry.id, fact.entry.fp, None),
        Item::Decision(decision) => {
            (decision.wish.id, decision.fp, decision.wish.instead.as_ref().and_then(|entry| book.seq_of(&entry.id)))
        }
    };
    let Some(seq) = book.seq_of(&id) else {
        // The fact that should stand instead has an id that something else has.
        let Some(seq) = instead else { return Some(request) };
        let outcome = reader.line(seq).map_or(Outcome::Panicked, |line| Outcome::IdReused { line });
        request.answer(outcome);
        return None;
    };
    let Ok(line) = reader.line(seq) else {
        request.answer(Outcome::Panicked);
        return None;
    };
    if fingerprint_of(&line) == Some(fp) {
        request.answer(Outcome::Already { line });
        return None;
    }
    let aside = match &request.item {
        Item::Fact(fact) => used_again(fact, seq),
        Item::Decision(_) => None,
    };
    let Some(aside) = aside else {
        request.answer(Outcome::IdReused { line });
        return None;
    };
    match book.seq_of(&aside.entry.id) {
        Some(seq) => {
            request.answer(reader.line(seq).map_or(Outcome::Panicked, |line| Outcome::Already { line }));
            None
        }
        None => Some(Request { item: aside.into(), to: request.to }),
    }
}

fn fingerprint_of(line: &[u8]) -> Option<Fingerprint> {
    #[derive(Deserialize)]
    struct Stored {
        fp: Fingerprint,
    }
    serde_json::from_slice(line).ok().map(|Stored { fp }| fp)
}
