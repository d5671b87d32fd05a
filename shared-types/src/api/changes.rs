//! What changed of a thing's trace between two entries of the log.

use crate::{Act, Direction, HoldView, Judgement, Stamp, ThingName, TraceLink};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What is known at one entry and was not known at another, of a thing and of what it is made from or went into.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Changes {
    pub thing: ThingName,
    pub direction: Direction,
    /// The last entry known before.
    pub from: u64,
    /// The last entry known after.
    pub to: u64,
    /// All of it in words, the answer first.
    pub say: Vec<String>,
    /// The entries after `from` and up to `to` that name any of these things, as they were written.
    pub entries: Vec<EntryBetween>,
    /// What is made from what by what is known at `to` only.
    pub links_new: Vec<TraceLink>,
    /// What is made from what by what was known at `from` only.
    pub links_gone: Vec<TraceLink>,
    /// Acts recorded by `from` that are judged otherwise, or had other limits left.
    pub judged_otherwise: Vec<ActBetween>,
    /// Holds on these things at `at` that are in force by what is known at `to` only.
    pub holds_new: Vec<HoldView>,
    /// Holds on these things at `at` that are in force by what was known at `from` only.
    pub holds_gone: Vec<HoldView>,
    pub at: Stamp,
}

/// An entry that came between.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct EntryBetween {
    pub entry: Uuid,
    pub seq: u64,
    pub kind: String,
    pub thing: ThingName,
    pub occurred_at: Stamp,
}

/// A recorded act, as it is judged by what was known before and after; left out where it was no act then.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ActBetween {
    pub thing: ThingName,
    pub entry: Uuid,
    pub seq: u64,
    pub act: Act,
    pub at: Stamp,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Judgement>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<Judgement>,
}
