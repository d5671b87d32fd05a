//! What would change if something were written: asked before doing.

use crate::{Act, ItemResult, Judgement, Mismatch, Stamp, ThingName, ThingView};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What would come of a request. Nothing was written.
#[derive(Serialize, Deserialize, Clone, PartialEq, Debug, ToSchema)]
pub struct DryRun {
    /// What would be answered, item by item: `seq` is the number it would get if nothing else came first.
    pub results: Vec<ItemResult>,
    /// Why somebody else has to stand beside it, if so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_person: Option<SecondPerson>,
    pub effect: Effect,
}

/// It gives something back, so a second person looks at it too.
#[derive(Serialize, Deserialize, Clone, PartialEq, Eq, Debug, ToSchema)]
pub struct SecondPerson {
    pub say: String,
    /// What it would give back, in words.
    pub gives_back: Vec<String>,
    /// The request names one that may stand beside it. If not, it is refused when it is meant, and `effect` is as if
    /// somebody stood there.
    pub named: bool,
}

/// What entries would change.
#[derive(Serialize, Deserialize, Clone, PartialEq, Eq, Debug, ToSchema)]
pub struct Effect {
    /// Things that would read otherwise, by name: at most 200.
    pub things: Vec<ThingChange>,
    /// How many more there are.
    pub more_things: u64,
    /// What would no longer add up.
    pub mismatches_new: Vec<Mismatch>,
    /// What would add up, or be settled.
    pub mismatches_gone: Vec<Mismatch>,
    /// Recorded acts that would be judged otherwise than now.
    pub judged_again: Vec<JudgedOtherwise>,
    pub at: Stamp,
    /// The last entry that this was worked out on; what a decision is then `based_on`.
    pub as_of_seq: u64,
    pub rules: String,
}

/// A thing as it is, and as it would be: what its own address would answer.
#[derive(Serialize, Deserialize, Clone, PartialEq, Eq, Debug, ToSchema)]
pub struct ThingChange {
    pub thing: ThingName,
    /// Left out while nobody knows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<ThingView>,
    pub after: ThingView,
}

/// A recorded act, as it is judged now and as it would be.
#[derive(Serialize, Deserialize, Clone, PartialEq, Eq, Debug, ToSchema)]
pub struct JudgedOtherwise {
    pub thing: ThingName,
    pub entry: Uuid,
    pub seq: u64,
    pub act: Act,
    pub at: Stamp,
    pub before: Judgement,
    pub after: Judgement,
}
