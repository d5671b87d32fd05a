//! Between what is posted and the journal: one thread, one order, one barrier for all that waited.
//!
//! ```text
//! loop { take what waits (at most 512 entries or 1 MiB): these requests are concurrent, so their order is ours
//!   a known id?  same fingerprint -> its stored entry again; another -> set aside (device) or refused (desk)
//!   decisions first, each decided on the durable book; one that shares a thing, or what that stands on, with an
//!     earlier decision of this take waits for the next take;  then the facts, which never read state
//!   one frame, one write, one barrier; insert under a short lock; answer }
//! ```

mod device;
mod entries;
mod group;
mod known;
mod queue;
mod thread;
mod trial;

use std::{collections::VecDeque, fmt, sync::Arc};

use domain::Refusal;
use shared_types::Instant;
use tokio::sync::oneshot;
use uuid::Uuid;

use crate::{
    intake::{NewDecision, NewFact},
    journal::Room,
};
use queue::{Queue, Request};

pub(crate) use entries::{OwnEntryError, decided, own_entry};
pub(crate) use thread::Thread;
pub(crate) use trial::{Trial, tried};

/// What is handed in, read at the edge by `intake`.
#[derive(Clone, Debug)]
pub enum Item {
    Fact(Box<NewFact>),
    Decision(Box<NewDecision>),
}

impl Item {
    pub fn id(&self) -> Uuid {
        match self {
            Item::Fact(fact) => fact.entry.id,
            Item::Decision(decision) => decision.wish.id,
        }
    }
}

impl From<NewFact> for Item {
    fn from(fact: NewFact) -> Item {
        Item::Fact(Box::new(fact))
    }
}

impl From<NewDecision> for Item {
    fn from(decision: NewDecision) -> Item {
        Item::Decision(Box::new(decision))
    }
}

/// What became of one item.
#[derive(Clone, PartialEq, Debug)]
pub enum Outcome {
    /// Written, and on the disk.
    Written(Written),
    /// This very item was written before: the stored line of its entry.
    Already { line: Vec<u8> },
    /// 409 `id-reused`: the id was used for something else. The stored line of that entry.
    IdReused { line: Vec<u8> },
    /// The book does not allow the decision. It leaves no trace.
    Refused(Refusal),
    /// 507 `no-space`: nothing was written. It goes on by itself when there is space.
    NoSpace { why: String },
    /// 503 `writes-stopped`: a write or a barrier failed, now or before, or the server is stopping. Whether the item
    /// was written is unknown; asking again with the same id is safe.
    Stopped { why: String },
    /// 503 `writes-stopped`: nothing was written, and nothing will be before a person has looked at the clock.
    ClockJumped(ClockJump),
    /// 500: working it out failed, for this item alone. Nothing was written.
    Panicked,
}

/// What was written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Written {
    /// The entry's own id: derived from the item's where the item was set aside because its id was used before.
    pub id: Uuid,
    pub seq: u64,
    /// As it is stored: `entry_set_aside.v1` when it was kept aside.
    pub kind: &'static str,
    pub recorded_at: Instant,
    pub told: bool,
    /// The entry that stands instead of a struck one.
    pub instead_seq: Option<u64>,
}

/// Why the server's clock is not believed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ClockJump {
    /// Milliseconds behind the last entry.
    Behind(i64),
    /// Milliseconds ahead of the last entry, at start.
    Ahead(i64),
    /// Milliseconds ahead (back: negative) of the time that passed since the start.
    Jumped(i64),
}

impl ClockJump {
    /// What is wrong with it, in a sentence.
    pub(crate) fn what(&self) -> String {
        let length = |ms: i64| {
            let minutes = ms.unsigned_abs() / 60_000;
            format!("{} h {:02} min", minutes / 60, minutes % 60)
        };
        match self {
            ClockJump::Behind(ms) => format!("The server's clock is {} behind the last entry.", length(*ms)),
            ClockJump::Ahead(ms) => format!("The server's clock is {} ahead of the last entry.", length(*ms)),
            ClockJump::Jumped(ms) if *ms < 0 => format!("The server's clock jumped back by {}.", length(*ms)),
            ClockJump::Jumped(ms) => format!("The server's clock jumped ahead by {}.", length(*ms)),
        }
    }
}

impl fmt::Display for ClockJump {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = self.what();
        write!(
            f,
            "{what} Nothing is written until somebody has set it right and started the server with --clock-checked."
        )
    }
}

/// The way in for what is to be written. Clone it freely.
#[derive(Clone)]
pub struct Committer {
    queue: Arc<Queue>,
    room: Room,
}

impl Committer {
    /// Hands in one item, waits while too much waits already, and gives what became of it.
    pub async fn submit(&self, item: impl Into<Item>) -> Outcome {
        let (request, answer) = request(item.into());
        self.queue.push_all(VecDeque::from([request])).await;
        answered(answer.await)
    }

    /// Hands in a batch, in order and at once, so that it becomes one group where it fits; the answers come in the same
    /// order.
    pub async fn submit_all(&self, items: Vec<Item>) -> Vec<Outcome> {
        let (requests, waiting): (VecDeque<_>, Vec<_>) = items.into_iter().map(request).unzip();
        self.queue.push_all(requests).await;
        let mut outcomes = Vec::with_capacity(waiting.len());
        for answer in waiting {
            outcomes.push(answered(answer.await));
        }
        outcomes
    }

    /// The same as `submit` for a plain thread. Not to be called from async code.
    pub fn submit_blocking(&self, item: impl Into<Item>) -> Outcome {
        let (request, answer) = request(item.into());
        self.queue.push_blocking(request);
        answered(answer.blocking_recv())
    }

    /// Why nothing is written now, in a sentence, if so.
    pub fn waits(&self) -> Option<String> {
        let full = || self.room.missing().filter(|_| self.queue.is_full());
        let say = |why| {
            format!(
                "The disk has no room for the next piece of the log ({why}). It goes on by itself when there is some."
            )
        };
        self.queue.waits().or_else(|| full().map(say))
    }

    /// Why the next piece of the log can't be laid down, while what is left of this one may still take entries.
    pub(crate) fn no_room(&self) -> Option<String> {
        self.room.missing()
    }

    /// Takes nothing in any more; what waits is still written.
    pub(crate) fn close(&self) {
        self.queue.close();
    }
}

fn request(item: Item) -> (Request, oneshot::Receiver<Outcome>) {
    let (to, answer) = oneshot::channel();
    (Request { item, to }, answer)
}

fn answered(answer: Result<Outcome, oneshot::error::RecvError>) -> Outcome {
    answer.unwrap_or_else(|_| Outcome::Stopped { why: "the server is stopping".to_owned() })
}

#[cfg(test)]
mod tests;
