//! What would come of items, were they handed in now: the committer's own steps on a copy of the book, and nothing written.

use std::io;

use domain::{Book, Refusal, decide};
use shared_types::{Code, Entry, Instant, KnownBy, Second, SecondPerson};

use super::{
    Item, Outcome, Written,
    device::{as_enrolled, is_told},
    entries::decided,
    known::looked_up,
};
use crate::{
    intake::{NewDecision, NewFact},
    journal::Reader,
};

/// Who stands beside a decision in thought when nobody is named.
const SOMEBODY: &str = "SOMEBODY";

/// What came of the items, and what would be written.
pub(crate) struct Trial {
    /// The book as it would be.
    pub(crate) book: Book,
    pub(crate) outcomes: Vec<Outcome>,
    pub(crate) entries: Vec<Entry>,
    pub(crate) second_person: Option<SecondPerson>,
}

/// Tries the items one after the other, each on what would be durable by then.
pub(crate) fn tried(book: &Book, reader: &Reader, items: Vec<Item>, now: Instant) -> Trial {
    let mut trying = Trying {
        reader,
        now,
        recorded_at: book.last_recorded_at().map_or(now, |last| last.max(now)),
        last: book.last_seq(),
        trial: Trial { book: book.clone(), outcomes: Vec::new(), entries: Vec::new(), second_person: None },
    };
    for item in items {
        let outcome = trying.one(item);
        trying.trial.outcomes.push(outcome);
    }
    trying.trial
}

struct Trying<'r> {
    reader: &'r Reader,
    now: Instant,
    recorded_at: Instant,
    /// The last entry that is really there.
    last: u64,
    trial: Trial,
}

impl Trying<'_> {
    fn one(&mut self, item: Item) -> Outcome {
        match looked_up(&self.trial.book, |seq| self.line(seq), item) {
            Err(outcome) => outcome,
            Ok(Item::Fact(fact)) => self.fact(*fact),
            Ok(Item::Decision(decision)) => self.decision(*decision),
        }
    }

    /// A line of the log, or what one would be that was only thought of so far.
    fn line(&self, seq: u64) -> io::Result<Vec<u8>> {
        if seq <= self.last {
            return self.reader.line(seq);
        }
        let thought_of = self.trial.entries.iter().find(|entry| entry.seq == seq);
        let mut line = Vec::new();
        thought_of.ok_or(io::ErrorKind::NotFound)?.write(&mut line)?;
        Ok(line)
    }

    fn fact(&mut self, fact: NewFact) -> Outcome {
        let Ok(fact) = as_enrolled(&self.trial.book, fact) else { return Outcome::Panicked };
        let told = is_told(&self.trial.book, &fact.entry, fact.clock_ahead_ms, self.now);
        let entry = self.written(Entry { told, ..fact.entry });
        Outcome::Written(entry)
    }

    fn decision(&mut self, mut decision: NewDecision) -> Outcome {
        let judged = decide::decide(&self.trial.book, &decision.wish, self.recorded_at);
        let refused = match judged {
            Ok(()) => None,
            Err(refusal @ Refusal::NeedsSecondPerson { .. }) => Some(refusal),
            Err(refusal) => return Outcome::Refused(refusal),
        };
        let named = decision.wish.second.take();
        let alone = decide::decide(&self.trial.book, &decision.wish, self.recorded_at);
        decision.wish.second = match refused {
            None => named,
            Some(_) => Code::new(SOMEBODY).ok().map(|by| Second { by, by_known: KnownBy::Badge }),
        };
        if let Err(Refusal::NeedsSecondPerson { say, gives_back }) = alone {
            self.trial.second_person = Some(SecondPerson { say, gives_back, named: refused.is_none() });
        }
        let (entry, instead) = decided(&self.trial.book, &decision, self.recorded_at, self.now);
        let mut written = self.written(entry);
        written.instead_seq = instead.map(|entry| self.written(entry).seq);
        refused.map_or(Outcome::Written(written), Outcome::Refused)
    }

    /// Gives the entry its place behind the others.
    fn written(&mut self, entry: Entry) -> Written {
        let entry = Entry { seq: self.trial.book.last_seq() + 1, recorded_at: self.recorded_at, ..entry };
        self.trial.book.insert(&entry);
        let written = Written {
            id: entry.id,
            seq: entry.seq,
            kind: entry.body.kind(),
            recorded_at: entry.recorded_at,
            told: entry.told,
            instead_seq: None,
        };
        self.trial.entries.push(entry);
        written
    }
}
