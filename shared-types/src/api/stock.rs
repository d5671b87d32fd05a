//! Lists of things of one kind, by code, page by page.

use crate::{Code, DeliveryNote, HoldView, LimitName, StageName, Stamp, ThingName, Whereabouts};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A page of a list. All pages of one list are of one moment: the instant and the log position of the first.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Stock {
    /// At most `limit` rows. Where a filter passes over many things a page may be shorter, even empty, and still have
    /// a next one.
    pub items: Vec<StockRow>,
    /// The address of the next page; absent at the end of the list.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "/api/v1/rolls?limit=200&cursor=eyJ2IjoxfQ")]
    pub next: Option<String>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}

/// One thing in a list.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct StockRow {
    pub thing: ThingName,
    /// One sentence.
    pub say: String,
    /// Of a job: where its part is.
    pub whereabouts: Whereabouts,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub batch: Option<ThingName>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length_left_mm: Option<i64>,
    /// Jobs it was issued to or cut for; of a part, the jobs that make it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub jobs: Vec<Code>,
    /// The boat a part is in, or that a job is for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boat: Option<Code>,
    /// The limit that ends first, if things stay where they are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends_first: Option<EndsFirst>,
    pub holds: Vec<HoldView>,
    /// How many things about it do not add up and wait for an answer.
    pub mismatches: u64,
    /// Of a job: what it was planned to be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned: Option<PlannedJob>,
    /// Of a delivery with a note: what came with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub delivered: Option<Delivered>,
    /// What a declaration says of a boat, place, material or batch: the latest body, as stored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub declared: Option<serde_json::Value>,
}

/// The limit that ends first.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct EndsFirst {
    pub limit: LimitName,
    pub item: ThingName,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageName>,
    /// When it ends or passed. For a clock that stands still, absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends_at: Option<Stamp>,
    pub left_s: i64,
    pub runs: bool,
}

/// A job as it is planned now.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct PlannedJob {
    pub part: ThingName,
    /// The boat it is planned for, wherever the part is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boat: Option<Code>,
    pub lay_at: Stamp,
    pub oven_at: Stamp,
    /// What it needs, and how much of that was cut or laid for it.
    pub needs: Vec<NeedMet>,
    /// Rolls and kits that were issued to it or cut for it.
    pub issued: Vec<ThingName>,
}

/// What came with a delivery, by its notes. A receipt names no delivery: a roll stands with the notes that list it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Delivered {
    /// When its first note was written down as having come.
    pub arrived_at: Stamp,
    /// Of those of its rolls that anybody received.
    pub materials: Vec<Code>,
    pub note: DeliveryNote,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct NeedMet {
    pub material: Code,
    pub length_mm: u64,
    /// Cut for the job, or laid straight from a roll; what was cut and thrown away has to be cut again.
    pub cut_mm: u64,
}
