//! What runs out soon, with who has to do what by when; what has to come out of the cold; what a shift hands over.

use crate::{Code, LimitName, StageName, Stamp, ThingName};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What runs out soon or will not make its plan, by when somebody must act.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Warnings {
    /// The horizon of clocks that run.
    pub within_h: u32,
    /// The horizon of shelf lives.
    pub shelf_within_h: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<Code>,
    pub warnings: Vec<Warning>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

/// One limit that ends, or one plan that will not be kept.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Warning {
    /// Made of what it is about, so that the same warning asked for again has the same name.
    pub name: String,
    pub about: WarningAbout,
    pub thing: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageName>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitName>,
    /// The roll whose material sets the limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<ThingName>,
    /// The materials it is about.
    pub materials: Vec<Code>,
    /// The jobs that are still to be made and that it was given to, cut for, or is part of.
    pub jobs: Vec<Code>,
    /// Who has to act.
    pub who: WarningWho,
    /// What is to be done.
    pub act: WarningAct,
    /// By when, less the yard's spare time, while somebody is there: never later than `ends_at`.
    pub act_by: Stamp,
    /// When the limit ends, or what was planned can't be.
    pub ends_at: Stamp,
    /// Seconds until then, rounded down; less than none when it has passed.
    pub left_s: i64,
    /// The clock runs; else a date comes nearer.
    pub runs: bool,
    /// One sentence or two: who, what, by when and why.
    pub say: String,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WarningAbout {
    /// A limit ends within the horizon.
    LimitEnds,
    /// It will not make the planned lay-up.
    MissesLayUp,
    /// It will not make the planned oven start.
    MissesOven,
    /// The planned time passed, and it was not done.
    PlanPassed,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WarningWho {
    Clerk,
    Laminator,
    Oven,
    Manager,
    Quality,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WarningAct {
    PutAway,
    Lay,
    Heat,
    /// Look whether the run that was scanned really started.
    ConfirmHeat,
    PlanFirst,
    Replan,
    Retest,
    /// Say what is to become of it.
    Decide,
}

/// What has to be out of the cold by when, for what is planned.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct TakeOutList {
    pub until: Stamp,
    pub lines: Vec<TakeOutLine>,
    /// What there is not enough of.
    pub short: Vec<ShortLine>,
    /// What the materials do not state.
    pub notes: Vec<String>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct TakeOutLine {
    pub thing: ThingName,
    pub job: Code,
    pub material: Code,
    /// Where it is by the book.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Code>,
    /// It is out already.
    pub out: bool,
    /// It was given to the job or cut for it; else it is the one whose life ends first and still makes it.
    pub given: bool,
    /// How much of it this job takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<u64>,
    /// Out by then at the latest; warming up and laying come before.
    pub out_by: Stamp,
    /// Taken out earlier it would not make the oven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_before: Option<Stamp>,
    pub lay_at: Stamp,
    pub oven_at: Stamp,
    pub say: String,
}

/// A job for which there is not enough.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ShortLine {
    pub job: Code,
    pub material: Code,
    /// What is not cut yet.
    pub needed_mm: u64,
    pub usable_mm: u64,
    pub lay_at: Stamp,
    pub say: String,
}

/// What one shift tells the next.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Handover {
    pub say: String,
    pub out: Vec<StillOut>,
    pub waiting: Vec<WaitsForOven>,
    pub to_confirm: Vec<WaitsToConfirm>,
    /// How many things don't add up and are not settled.
    pub mismatches: u64,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

/// A roll or kit that is out by the book.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct StillOut {
    pub thing: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Code>,
    pub since: Stamp,
    /// Absent, as the next one is, where it may not be used or nobody can say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_ply_by: Option<Stamp>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heating_by: Option<Stamp>,
    pub say: String,
}

/// A stage that is laid and in no oven, or in a run that nobody confirmed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct WaitsForOven {
    pub part: ThingName,
    pub stage: StageName,
    /// The run that was scanned and is not confirmed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<ThingName>,
    /// Less the spare time, while somebody is there. If that run never started, where there is one. None where quality
    /// has to say first whether it may be cured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heating_by: Option<Stamp>,
    /// When its job plans the oven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub oven_at: Option<Stamp>,
    pub say: String,
}

/// A told fact that gives nothing back until somebody else confirms it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct WaitsToConfirm {
    pub thing: ThingName,
    pub entry: Uuid,
    pub seq: u64,
    pub kind: String,
    pub occurred_at: Stamp,
    pub by: Code,
    pub say: String,
}
