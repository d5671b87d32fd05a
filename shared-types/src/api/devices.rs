//! The yard's devices: what came from each, and what never arrived.

use crate::{Code, DeviceIs, Stamp, ThingName};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Whether a device may record, by the log.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeviceStanding {
    /// Facts name it, and nobody enrolled it: they are only said to come from there.
    NotEnrolled,
    Enrolled,
    /// What came before stays good; what names it later is only claimed.
    Revoked,
}

/// Numbers of a device's own count that never arrived, both ends included.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Missing {
    pub from: u64,
    pub to: u64,
}

/// One device.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct DeviceView {
    pub device: ThingName,
    /// `H-3: 118 to 121 never arrived.`
    pub say: String,
    pub standing: DeviceStanding,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<DeviceIs>,
    /// Where it mostly lies.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub enrolled_at: Option<Stamp>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked_at: Option<Stamp>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked_because: Option<String>,
    /// The highest number of its own count that arrived. The next is one more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_counter: Option<u64>,
    /// What never arrived in between, at most 100 stretches, the last ones first.
    pub missing: Vec<Missing>,
    /// How many more stretches there are.
    pub more_missing: u64,
    /// How many numbers never arrived, in all.
    pub missing_count: u64,
    /// When something came from it last, by the log's own time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_seen: Option<Stamp>,
    /// Entries that came from it.
    pub entries: u64,
    /// By how much its clock was ahead of the server's (behind: negative) when it sent something last, as far as it said so since the
    /// server started.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_ahead_ms: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_measured_at: Option<Stamp>,
}

/// All devices, by name.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct DeviceList {
    pub devices: Vec<DeviceView>,
    pub at: Stamp,
    pub as_of_seq: u64,
    pub rules: String,
}
