//! What stands against an act, and which limits an act tests by itself.

use shared_types::{Act, Instant, LimitName, Word};

/// One reason against it.
pub(crate) struct Against {
    pub word: Word,
    pub say: String,
    pub limit: Option<LimitName>,
    /// When that limit ends, where a plan is longer.
    pub ends: Option<Instant>,
}

impl Against {
    pub(crate) fn no(say: String) -> Against {
        Against { word: Word::No, say, limit: None, ends: None }
    }
}

/// Which limits an act tests by itself; the others are looked ahead to.
pub(crate) fn tests(act: Act, name: LimitName, laid: bool) -> bool {
    match (act, name) {
        (_, LimitName::Refreezes) => true,
        (Act::Cut | Act::Lay, LimitName::TackLife) => !laid,
        (Act::Cut | Act::Lay | Act::Oven, LimitName::OutLife) => true,
        (Act::Oven, LimitName::LayToCure) => true,
        (_, _) => false,
    }
}
