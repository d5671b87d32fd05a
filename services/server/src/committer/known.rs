//! Ids are chosen by clients and global for ever: what was written before is answered again, never written again.

use std::io;

use domain::Book;
use serde::Deserialize;
use shared_types::Fingerprint;

use super::{Item, Outcome, queue::Request};
use crate::{intake::used_again, journal::Reader};

/// Answers a request whose id is known. Gives back one that is new.
pub(super) fn known(book: &Book, reader: &Reader, request: Request) -> Option<Request> {
    let Request { item, to } = request;
    match looked_up(book, |seq| reader.line(seq), item) {
        Ok(item) => Some(Request { item, to }),
        Err(outcome) => {
            Request::tell(to, outcome);
            None
        }
    }
}

/// What becomes of an item whose id is known. One that is new is given back, which it also is when a device's item is set
/// aside under another id.
pub(super) fn looked_up(book: &Book, line: impl Fn(u64) -> io::Result<Vec<u8>>, item: Item) -> Result<Item, Outcome> {
    let (id, fp, instead) = match &item {
        Item::Fact(fact) => (fact.entry.id, fact.entry.fp, None),
        Item::Decision(decision) => {
            (decision.wish.id, decision.fp, decision.wish.instead.as_ref().and_then(|entry| book.seq_of(&entry.id)))
        }
    };
    let stored = |seq| line(seq).map_err(|_| Outcome::Panicked);
    let Some(seq) = book.seq_of(&id) else {
        // The fact that should stand instead has an id that something else has.
        let Some(seq) = instead else { return Ok(item) };
        return Err(stored(seq).map_or_else(|failed| failed, |line| Outcome::IdReused { line }));
    };
    let line = stored(seq)?;
    if fingerprint_of(&line) == Some(fp) {
        return Err(Outcome::Already { line });
    }
    let aside = match &item {
        Item::Fact(fact) => used_again(fact, seq),
        Item::Decision(_) => None,
    };
    let Some(aside) = aside else { return Err(Outcome::IdReused { line }) };
    match book.seq_of(&aside.entry.id) {
        Some(seq) => Err(Outcome::Already { line: stored(seq)? }),
        None => Ok(aside.into()),
    }
}

fn fingerprint_of(line: &[u8]) -> Option<Fingerprint> {
    #[derive(Deserialize)]
    struct Stored {
        fp: Fingerprint,
    }
    serde_json::from_slice(line).ok().map(|Stored { fp }| fp)
}
