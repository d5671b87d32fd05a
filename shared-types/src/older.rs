//! Shapes that are no longer written. They are frozen, read for ever, and become the newest shape on reading.

use crate::{Seconds, bodies};
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
