//! Facts and decisions as they are posted.

use crate::{Code, Mismatch, Problem, Second, Shown, Stamp, ThingName};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use utoipa::ToSchema;
use uuid::Uuid;

/// Something that already happened, in the past tense. It is never refused for disagreeing with the book.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct PostedFact {
    pub id: Uuid,
    /// With or without its version; without means the newest.
    pub kind: String,
    pub thing: ThingName,
    pub occurred_at: Stamp,
    #[serde(default)]
    pub uncertain_by_ms: Option<u32>,
    pub by: Code,
    #[serde(default)]
    pub second: Option<Second>,
    #[serde(default)]
    pub device: Option<Code>,
    #[serde(default)]
    pub counter: Option<u64>,
    #[serde(default)]
    pub device_said: Option<Stamp>,
    #[serde(default)]
    pub shown: Option<Shown>,
    pub body: Box<RawValue>,
}

/// Something the book can protect, in the imperative. It may be refused.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct PostedDecision {
    pub id: Uuid,
    pub decide: String,
    pub thing: ThingName,
    pub by: Code,
    #[serde(default)]
    pub second: Option<Second>,
    /// The `as_of_seq` of the answer the person looked at.
    #[serde(default)]
    pub based_on: Option<u64>,
    #[serde(default)]
    pub shown: Option<Shown>,
    pub body: Box<RawValue>,
}

/// What is asked for with `strike`: the wrong entry's id, why, and the fact that stands instead.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct StrikeRequest {
    pub entry: Uuid,
    pub why: String,
    #[serde(default)]
    pub instead: Option<PostedFact>,
}

/// What became of one posted fact.
#[derive(Serialize, Deserialize, Clone, PartialEq, Debug, ToSchema)]
pub struct ItemResult {
    /// The fact's id, when it had one that could be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<Uuid>,
    /// 201 written, 200 written before, 400 not read, 403 said to be by or beside somebody who did not show who they are, 409 the id was used for something else, 503 or 507 not written; in a
    /// dry run of a decision also 403, it needs a second person.
    pub status: u16,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seq: Option<u64>,
    /// The log counts it as told: it gives nothing back until a second person confirms it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub told: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mismatches: Vec<Mismatch>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub problem: Option<Problem>,
}

#[derive(Serialize, Deserialize, Clone, PartialEq, Debug, ToSchema)]
pub struct BatchResult {
    pub results: Vec<ItemResult>,
}

/// A decision that was taken.
#[derive(Serialize, Deserialize, Clone, PartialEq, Debug, ToSchema)]
pub struct Decided {
    pub id: Uuid,
    pub seq: u64,
    /// The kind it is stored under, in the past tense.
    pub kind: String,
    pub recorded_at: Stamp,
    /// The number of the entry that stands instead of a struck one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead_seq: Option<u64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mismatches: Vec<Mismatch>,
}
