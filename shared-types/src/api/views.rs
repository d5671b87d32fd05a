//! What is shown of a thing: where it is, its out-time card, what it is made from, what runs out.

use crate::{Act, Code, HoldView, LimitName, LimitRow, Mismatch, StageName, Stamp, ThingName, Word};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// Where a thing is by the book.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum Whereabouts {
    /// Nobody has received it.
    NotReceived,
    /// On its way since its opening, in a frozen place.
    OnItsWay {
        place: Code,
        since: Stamp,
    },
    Inside {
        place: Code,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        position: Option<Code>,
        since: Stamp,
    },
    Out {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Code>,
        since: Stamp,
    },
    /// All of it was cut or laid.
    Consumed {
        since: Stamp,
    },
    Disposed {
        since: Stamp,
    },
    /// Nothing is laid.
    NothingLaid,
    /// A stage being laid.
    Laid {
        since: Stamp,
    },
    /// A stage in an oven run, confirmed or not.
    InRun {
        run: ThingName,
        since: Stamp,
        confirmed: bool,
    },
    /// A part in a boat.
    InBoat {
        boat: Code,
        since: Stamp,
    },
    /// A thing that is not moved about: a job, a batch, a place ...
    Standing,
}

/// Where a thing is, in a word: the `state` of its whereabouts.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum State {
    NotReceived,
    OnItsWay,
    Inside,
    Out,
    Consumed,
    Disposed,
    NothingLaid,
    Laid,
    InRun,
    InBoat,
    Standing,
}

impl Whereabouts {
    pub fn state(&self) -> State {
        match self {
            Whereabouts::NotReceived => State::NotReceived,
            Whereabouts::OnItsWay { .. } => State::OnItsWay,
            Whereabouts::Inside { .. } => State::Inside,
            Whereabouts::Out { .. } => State::Out,
            Whereabouts::Consumed { .. } => State::Consumed,
            Whereabouts::Disposed { .. } => State::Disposed,
            Whereabouts::NothingLaid => State::NothingLaid,
            Whereabouts::Laid { .. } => State::Laid,
            Whereabouts::InRun { .. } => State::InRun,
            Whereabouts::InBoat { .. } => State::InBoat,
            Whereabouts::Standing => State::Standing,
        }
    }

    /// The place it is in, where the book names one.
    pub fn place(&self) -> Option<&Code> {
        match self {
            Whereabouts::OnItsWay { place, .. } | Whereabouts::Inside { place, .. } => Some(place),
            Whereabouts::Out { place, .. } => place.as_ref(),
            _ => None,
        }
    }
}

/// One thing.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ThingView {
    pub thing: ThingName,
    /// One sentence.
    pub say: String,
    pub whereabouts: Whereabouts,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub batch: Option<ThingName>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length_left_mm: Option<i64>,
    /// Jobs it was issued to or cut for.
    pub jobs: Vec<Code>,
    /// Limits of a roll or a kit; of a part, by stage.
    pub limits: Vec<LimitRow>,
    pub stages: Vec<StageView>,
    pub holds: Vec<HoldView>,
    pub mismatches: Vec<Mismatch>,
    /// Acts that are judged otherwise today than when they were recorded.
    pub judged_again: Vec<JudgedAgain>,
    /// Told facts that wait for a second person.
    pub to_confirm: Vec<ToConfirm>,
    /// What a declaration says of a job, boat, place, material, batch, run or yard: the latest body, as stored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub declared: Option<serde_json::Value>,
    /// Of a delivery: the rolls on its note, and what came of each.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<DeliveryNote>,
    pub entries: u64,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

/// What a delivery's note lists, against what was received.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct DeliveryNote {
    /// So many rolls are on the note.
    pub noted: u64,
    pub received: Vec<ThingName>,
    pub missing: Vec<ThingName>,
    /// Of those received, what came a day or more before the delivery did: perhaps its label is another roll's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub received_before: Vec<ReceivedBefore>,
}

/// A roll on a delivery's note that was received before the delivery came.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ReceivedBefore {
    pub roll: ThingName,
    /// Its first receipt.
    pub received_at: Stamp,
}

/// A stage of a part.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct StageView {
    pub stage: StageName,
    pub whereabouts: Whereabouts,
    pub limits: Vec<LimitRow>,
}

/// A told fact that waits for a second person.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ToConfirm {
    pub entry: Uuid,
    pub seq: u64,
    pub kind: String,
    pub occurred_at: Stamp,
    pub by: Code,
}

/// A past act, judged as was known then and as is known now.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct JudgedAgain {
    pub entry: Uuid,
    pub seq: u64,
    pub act: Act,
    pub at: Stamp,
    pub then: Judgement,
    pub now: Judgement,
}

/// Was everything within its life at an act?
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Judgement {
    /// `yes` within every limit, `no` over one or held, `cannot_say` when something is missing.
    pub answer: Word,
    /// Limits that were over, and by how much they were over or under: seconds left at the act.
    pub limits: Vec<LifeLeft>,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct LifeLeft {
    pub limit: LimitName,
    pub item: ThingName,
    /// Seconds, or returns to the cold for refreezes.
    pub left: i64,
}

/// The sums behind out-time, as the trade writes them.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct OutTimeCard {
    pub thing: ThingName,
    /// One card for a roll; one for each item of a kit or stage.
    pub cards: Vec<ItemCard>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ItemCard {
    pub item: ThingName,
    /// Of a part: the stage that it was laid in, and the kit that it came in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageName>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kit: Option<ThingName>,
    pub lines: Vec<CardLine>,
    pub out_time_s: Option<i64>,
    pub refreezes: Option<i64>,
}

/// One stretch out of the cold: out, in, interval, running total, left, who.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct CardLine {
    /// `opening`, `out`, `assigned`, or `struck`.
    pub line: String,
    pub out: Stamp,
    /// Absent while it is still out.
    pub back: Option<Stamp>,
    pub interval_s: i64,
    pub running_total_s: Option<i64>,
    pub tack_left_s: Option<i64>,
    pub out_life_left_s: Option<i64>,
    /// Badges of the entries behind it.
    pub who: Vec<Code>,
    /// Numbers of the entries behind it.
    pub entries: Vec<u64>,
    /// What is to be said about it: told and confirmed, struck and why, a wrong placard.
    pub note: Option<String>,
}

/// What something is made from, or what it went into.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Trace {
    pub thing: ThingName,
    pub direction: Direction,
    pub nodes: Vec<TraceNode>,
    pub links: Vec<TraceLink>,
    pub at: Stamp,
    pub as_of_seq: u64,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    MadeFrom,
    WentInto,
}

#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
pub struct TraceNode {
    pub thing: ThingName,
}

#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
pub struct TraceLink {
    /// The thing that went in.
    pub from: ThingName,
    /// What it went into.
    pub into: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageName>,
    /// The number of the entry that says so.
    pub seq: u64,
}

/// What runs out within a horizon, soonest first.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct RunsOut {
    pub within_h: u32,
    pub lines: Vec<RunsOutLine>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct RunsOutLine {
    pub thing: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageName>,
    pub limit: LimitName,
    pub item: ThingName,
    pub ends_at: Stamp,
    pub left_s: i64,
    /// The clock runs; else only a date comes nearer.
    pub runs: bool,
    pub say: String,
}

/// Which things a label may mean.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Scan {
    pub code: Code,
    pub things: Vec<ThingName>,
    pub as_of_seq: u64,
}

/// Everything that doesn't add up and is not settled.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct MismatchList {
    pub mismatches: Vec<Mismatch>,
    pub as_of_seq: u64,
}
