//! What a question hands in: the time asked for, what was known, and when it is asked.

use shared_types::{Act, Code, Instant, StageName, ThingName};

/// When the history is read (`at`), up to which entry it is known (`known`), and the time of asking (`now`).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct When {
    pub at: Instant,
    /// The last entry that counts as known; `u64::MAX` for all.
    pub known: u64,
    pub now: Instant,
}

impl When {
    pub fn now(now: Instant) -> When {
        When { at: now, known: u64::MAX, now }
    }
}

/// May this be used, for which act, for which job?
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MayUseQuestion {
    pub thing: ThingName,
    pub act: Act,
    pub job: Option<Code>,
    /// May be left out while a part has one stage.
    pub stage: Option<StageName>,
    pub when: When,
}

/// Why a question can't be asked at all.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NotAsked {
    #[error("{0}")]
    UnknownThing(String),
    /// The part has several stages.
    #[error("{0}")]
    NameTheStage(String),
    #[error("{0}")]
    DoesNotFit(String),
}
