//! Why a decision is refused. Each says in a sentence what to do; the shell chooses the status.

use shared_types::{HoldView, Role, ThingName};

/// An entry that came after the answer somebody looked at.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Between {
    pub seq: u64,
    pub kind: String,
    pub thing: ThingName,
}

#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Refusal {
    #[error("{say}")]
    NotFound { say: String },
    /// A field whose value can't be meant.
    #[error("{detail}")]
    CannotRead { pointer: String, detail: String },
    #[error("name in based_on the as_of_seq of the answer you looked at")]
    BasedOnMissing,
    #[error("based_on {based_on} is beyond the log's end at {last}; look again and decide on what you see")]
    BasedOnAhead { based_on: u64, last: u64 },
    #[error("something changed since you looked; look at it, then decide again")]
    ChangedMeanwhile { based_on: u64, between: Vec<Between> },
    #[error("{say}")]
    OnHold { say: String, holds: Vec<HoldView> },
    #[error("{say}")]
    OutLifeUsedUp { say: String },
    #[error("{say}")]
    PastShelfLife { say: String },
    #[error("{say}")]
    NotEnoughLifeForJob { say: String },
    /// Not received, used up, thrown away, in a run: it can't be used.
    #[error("{say}")]
    CannotBeUsed { say: String },
    /// The missing thing is named.
    #[error("{say}")]
    CannotSay { say: String },
    /// Written before, and not to be written otherwise.
    #[error("{say}")]
    AlreadyThere { say: String },
    #[error("{say}")]
    NeedsSecondPerson { say: String, gives_back: Vec<String> },
    /// Who asks has no role for it, or has not shown who they are.
    #[error("{say}")]
    NotAllowed { say: String, needs: Vec<Role> },
}
