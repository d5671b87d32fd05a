//! Shapes that are no longer written. They are frozen, read for ever, and become the newest shape on reading.

use crate::{Seconds, Stamp, ThingName, bodies};
use serde::Deserialize;

/// `yard_declared.v1`: without days on which the yard is closed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct YardV1 {
    zone: String,
    spare_s: Seconds,
    #[serde(default)]
    on_call: Option<String>,
}

impl From<YardV1> for bodies::Yard {
    /// What nobody declared is not assumed: such a yard is always open.
    fn from(old: YardV1) -> Self {
        let YardV1 { zone, spare_s, on_call } = old;
        bodies::Yard { zone, spare_s, on_call, ..bodies::Yard::default() }
    }
}

/// `mismatch_settled.v1`: without the answer that something was looked into and may rest.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SettleV1 {
    mismatch: bodies::MismatchName,
    answer: SettlementV1,
    #[serde(default)]
    why: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum SettlementV1 {
    OutSince(Stamp),
    PutAwayAt(Stamp),
    WasTakeOut(bool),
    CarriedOverS(Seconds),
    AssignedS(Seconds),
    Other(ThingName),
}

impl From<SettleV1> for bodies::Settle {
    /// What was said is not said better than it was: no seconds assigned stay so.
    fn from(old: SettleV1) -> Self {
        let SettleV1 { mismatch, answer, why } = old;
        let answer = match answer {
            SettlementV1::OutSince(at) => bodies::Settlement::OutSince(at),
            SettlementV1::PutAwayAt(at) => bodies::Settlement::PutAwayAt(at),
            SettlementV1::WasTakeOut(yes) => bodies::Settlement::WasTakeOut(yes),
            SettlementV1::CarriedOverS(seconds) => bodies::Settlement::CarriedOverS(seconds),
            SettlementV1::AssignedS(seconds) => bodies::Settlement::AssignedS(seconds),
            SettlementV1::Other(thing) => bodies::Settlement::Other(thing),
        };
        bodies::Settle { mismatch, answer, why }
    }
}
