//! One fact as the book keeps it: small, in occurred order, under every label it names.

use shared_types::{
    Body, Code, EnrolDevice, Entry, GrantRoles, Instant, IssueToken, Job, KnownBy, Opening, Place, PlaceHold, Revision,
    RevokeDevice, Settlement, StageName, Yard,
};
use std::sync::Arc;
use uuid::Uuid;

/// A thing's number in the book. Facts are kept by label and never moved.
pub type Label = u32;

/// Never struck.
pub const NEVER: u32 = u32::MAX;

#[derive(Clone, Debug)]
pub struct Fact {
    pub at: Instant,
    pub uncertain_ms: u32,
    pub seq: u32,
    /// The number of the entry that strikes it, or `NEVER`.
    pub struck_by: u32,
    pub counter: Option<u64>,
    /// The device it names; missing sorts first.
    pub device: Option<Label>,
    pub by: Label,
    pub rank: u8,
    pub marks: Marks,
    pub what: What,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Marks {
    pub told: bool,
    /// Its device is enrolled, so that two of its scans follow each other for certain.
    pub device_counts: bool,
    /// A second badge stands beside it.
    pub second: bool,
    /// Its device says another time, and nothing says why.
    pub said_otherwise: bool,
}

/// What a fact means for the thing under whose label it is kept.
#[derive(Clone, Debug)]
pub enum What {
    Received(Arc<Received>),
    PutAway {
        into: Label,
        at_position: bool,
    },
    TakenOut {
        from: Option<Label>,
        to: Option<Label>,
    },
    Seen {
        place: Label,
        at_position: bool,
    },
    Cut(Arc<Cut>),
    Laid(Arc<Laid>),
    LayupCompleted(StageName),
    RunStarted(Arc<RunStarted>),
    RunEnded {
        run: Label,
        committed_at: Option<Instant>,
        cured: Option<bool>,
    },
    RunInterrupted {
        run: Label,
    },
    Installed {
        part: Label,
        boat: Label,
    },
    Removed {
        part: Label,
        boat: Label,
    },
    Disposed {
        length_mm: Option<u64>,
    },
    /// A delivery's note lists these rolls.
    Noted(Arc<Vec<Label>>),
    Yard(Arc<Yard>),
    Place(Arc<Place>),
    Revised(Arc<Revision>),
    Registered(Arc<shared_types::Batch>),
    Planned(Arc<Planned>),
    BoatList(Arc<Vec<Label>>),
    Issued {
        thing: Label,
        job: Label,
    },
    Held(Arc<PlaceHold>),
    /// Lifts, confirmations, settlements and strikes act on the entry they name, kept in the book by that; here is
    /// its number, 0 where nobody knows it.
    ActsOn(u32),
    Granted(Arc<GrantRoles>),
    Enrolled(Arc<EnrolDevice>),
    DeviceRevoked(Arc<RevokeDevice>),
    TokenIssued(Arc<IssueToken>),
    /// By the id of the entry that issued it.
    TokenRevoked(Uuid),
    SetAside,
    Note,
}

#[derive(Clone, Debug)]
pub struct Received {
    pub roll: Label,
    pub material: Label,
    pub revision: Code,
    pub batch: Label,
    pub length_mm: u64,
    pub from: Option<Label>,
    pub opening: Option<Opening>,
}

#[derive(Clone, Debug)]
pub struct Cut {
    pub nest: Label,
    pub kits: Vec<CutKit>,
    pub waste: Vec<(Label, u64)>,
}

#[derive(Clone, Debug)]
pub struct CutKit {
    pub kit: Label,
    pub job: Label,
    /// Roll and millimetres.
    pub items: Vec<(Label, u64)>,
}

#[derive(Clone, Debug)]
pub struct Laid {
    pub part: Label,
    pub stage: StageName,
    pub from: Label,
    pub from_kit: bool,
    pub items: Option<Vec<Label>>,
    pub from_at: Option<Instant>,
    pub length_mm: Option<u64>,
}

#[derive(Clone, Debug)]
pub struct RunStarted {
    pub run: Label,
    pub stages: Vec<(Label, StageName)>,
}

#[derive(Clone, Debug)]
pub struct Planned {
    pub job: Job,
    pub part: Label,
    pub opens: bool,
}

/// A decision that acts on the entry it names, whenever it was made.
#[derive(Clone, Debug)]
pub struct ActsOn {
    pub seq: u32,
    /// The thing it was said of: one cut may puzzle several rolls.
    pub thing: Label,
    pub at: Instant,
    pub struck_by: u32,
    pub by: Label,
    pub second: Option<Label>,
    pub does: Does,
}

#[derive(Clone, Debug)]
pub enum Does {
    Lifts,
    Confirms,
    Settles { kind: String, answer: Settlement, other: Option<Label> },
}

impl Fact {
    pub fn earliest(&self) -> Instant {
        self.at.minus_ms(i64::from(self.uncertain_ms))
    }

    pub fn latest(&self) -> Instant {
        self.at.plus_ms(i64::from(self.uncertain_ms))
    }
}

impl Received {
    /// As of when the opening counts: never later than the receipt.
    pub fn counts_from(&self, receipt: Instant) -> Instant {
        self.opening.as_ref().map_or(receipt, |opening| opening.as_of.at.min(receipt))
    }
}

/// A clock further off than this was wrong.
pub(crate) const DOUBTFUL_MS: i64 = 120_000;

/// Further off than this from when it was made, a fact is told.
const TOLD_MS: i64 = 900_000;

/// Whether the device that made it says another time, which neither its uncertainty nor being told of what is past
/// explains. Of an enrolled device the log compared the two when it was written, more closely, and says what was told.
pub(crate) fn said_otherwise(entry: &Entry) -> bool {
    let enrolled = entry.device_known.is_some_and(|known| known != KnownBy::Claimed);
    let Some(said) = entry.device_said.filter(|_| entry.body.is_fact() && !enrolled) else { return false };
    let ahead = entry.occurred_at.at.since(said.at);
    let far = TOLD_MS.max(i64::from(entry.uncertain_by_ms)) < ahead.saturating_abs();
    far && !(entry.told && ahead < 0)
}

/// When a fact happened: a declaration may reach back, everything else has its entry's time. Nothing that happened was
/// written before it happened: what a clock that is ahead says counts from when it was written.
pub fn takes_effect(entry: &Entry) -> Instant {
    let said = match &entry.body {
        Body::PlaceDeclared(place) => place.effective_from.map_or(entry.occurred_at.at, |from| from.at),
        _ => entry.occurred_at.at,
    };
    match entry.body.is_fact() && DOUBTFUL_MS < said.since(entry.recorded_at) {
        true => entry.recorded_at,
        false => said,
    }
}
