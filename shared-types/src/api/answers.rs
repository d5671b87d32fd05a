//! The answer to "may I use it?" and the limits behind it.

use crate::{Code, StageName, Stamp, ThingName};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

/// What somebody wants to do with material.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    TakeOut,
    Cut,
    Lay,
    Oven,
}

/// Several apply: the later one here wins.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Word {
    Yes,
    NotYet,
    CannotSay,
    No,
    Stop,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LimitName {
    TackLife,
    OutLife,
    LayToCure,
    ShelfLife,
    Refreezes,
}

/// One limit applied to one thing. Exactly as stored: seconds so far rounded up, seconds left rounded down.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct LimitRow {
    pub limit: LimitName,
    /// What it binds: the roll, for a kit or a stage the one that is worst.
    pub item: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub allowed_s: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub so_far_s: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_s: Option<i64>,
    /// For refreezes: counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub allowed: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub so_far: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<i64>,
    /// Whether its clock runs at the time asked for.
    pub runs: bool,
    /// When it ends if the clock runs on, or when it passed.
    pub ends_at: Option<Stamp>,
    /// Shelf life: its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends_on: Option<String>,
    /// No limit, by this document.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub none_by: Option<String>,
    /// Nobody stated this limit, or what it is reckoned from: this is missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub missing: Option<String>,
    /// The oven start that stops this clock is not confirmed yet.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub not_confirmed: bool,
    /// What is left if the oven never started.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_s_if_never_started: Option<i64>,
}

/// A hold in force.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct HoldView {
    /// The id of the entry that made it; lifting names this.
    pub hold: Uuid,
    /// What is held: the thing itself, or one it stands on.
    pub on: ThingName,
    pub why: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nonconformance: Option<String>,
    pub since: Stamp,
    pub by: Code,
}

/// Facts that don't add up.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Mismatch {
    pub kind: String,
    pub thing: ThingName,
    /// The id of its later entry; settling names this.
    pub entry: Uuid,
    pub seq: u64,
    pub at: Stamp,
    /// What doesn't add up, in words.
    pub say: String,
    /// The question whose answer would settle it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ask: Option<String>,
    /// The id of the entry that settled it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled_by: Option<Uuid>,
}

/// What would be left after a move.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
pub struct Outlook {
    /// Seconds left, by limit.
    pub left_s: BTreeMap<LimitName, i64>,
    /// Returns to the cold left, where counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refreezes_left: Option<i64>,
    /// When each limit ends in this outlook, where its clock runs.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub ends_at: BTreeMap<LimitName, Stamp>,
}

/// May it be used, for which act, until when, and why.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct MayUse {
    pub answer: Word,
    pub thing: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageName>,
    pub act: Act,
    /// The sentence a screen shows.
    pub say: String,
    pub why: String,
    /// The last instant for the last ply, spare time taken off.
    pub last_ply_by: Option<Stamp>,
    /// The last instant for the oven to start, spare time taken off.
    pub heating_by: Option<Stamp>,
    pub governing: Option<LimitName>,
    pub job: Option<Code>,
    pub limits: Vec<LimitRow>,
    pub holds: Vec<HoldView>,
    pub mismatches: Vec<Mismatch>,
    pub notes: Vec<String>,
    /// The question that would settle the open mismatch which alone makes it *no*.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ask: Option<String>,
    /// If it goes back into the cold now.
    pub if_put_away_now: Option<Outlook>,
    /// If it stays out from now on.
    pub if_left_out: Option<Outlook>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

/// May a part be installed, and into this boat? Installing is a fact: it is written whatever this says.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct MayInstall {
    /// `yes`, `no` or `cannot_say`.
    pub answer: Word,
    pub part: ThingName,
    /// The boat that was asked about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boat: Option<Code>,
    /// The sentence a screen shows.
    pub say: String,
    /// Every reason for the answer, one sentence each.
    pub why: Vec<String>,
    /// What should be looked at beside a worse answer: the part was planned for another boat, is not on the boat's list,
    /// or nobody has named the boat. By itself each of them makes the answer `cannot_say`, and stands in `why`.
    pub notes: Vec<String>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}
