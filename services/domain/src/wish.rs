//! A decision as it is asked for, parsed: what would be written if the book allows it.

use shared_types::{Body, Code, Entry, KnownBy, Second, ThingName};
use uuid::Uuid;

#[derive(Clone, PartialEq, Debug)]
pub struct Wish {
    pub id: Uuid,
    pub thing: ThingName,
    pub by: Code,
    /// How the log knows that it is they who ask.
    pub by_known: KnownBy,
    pub second: Option<Second>,
    pub based_on: Option<u64>,
    pub body: Body,
    /// For a strike: the entry that it strikes.
    pub strikes: Option<Uuid>,
    /// For a strike: the fact that stands instead, whole but for `seq` and `recorded_at`.
    pub instead: Option<Entry>,
}

impl Wish {
    /// Whether somebody else than who asks stands beside the wish.
    pub fn second_person(&self) -> Option<&Code> {
        self.second.as_ref().map(|second| &second.by).filter(|second| **second != self.by)
    }
}
