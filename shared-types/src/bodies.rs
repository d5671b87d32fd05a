//! What each entry says, in the shapes in which it is posted and stored. A shape once written never changes:
//! a new need gets a new version in the catalogue.

use crate::{ClockTime, Code, Day, Millimetres, Seconds, StageName, Stamp, ThingName, Weekday};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// Derives what every body has; unknown fields are refused, absent and null mean the same.
macro_rules! bodies {
    ($($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident : $type:ty),* $(,)? })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
            #[serde(deny_unknown_fields)]
            pub struct $name { $($(#[$field_doc])* pub $field: $type),* }
        )*
    };
}

mod people;

pub use people::*;

bodies! {
    /// A roll was received: what it is, how much of it, and what life it had already used.
    RollReceived {
        material: Code,
        revision: Code,
        batch: Code,
        length_mm: Millimetres,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        width_mm: Option<Millimetres>,
        /// Where it came from; a frozen place (a freezer truck) keeps the clock still until the first fact.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<Code>,
        /// Out-time and refreezes already used; without it no answer about life can be given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        opening: Option<Opening>,
    }
    /// Life already used when the roll came, 0 included, as of an instant, from a certificate or a paper card.
    Opening {
        out_time_s: Seconds,
        #[serde(default)]
        refreezes: u32,
        as_of: Stamp,
        source: OpeningSource,
    }
    /// A roll or kit was put away.
    PutAway {
        into: Code,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        position: Option<Code>,
    }
    /// A roll or kit was taken out.
    TakenOut {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<Code>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<Code>,
    }
    /// A roll or kit was seen somewhere.
    Seen {
        r#in: Code,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        position: Option<Code>,
    }
    /// A nest was cut: from rolls into kits, for one or more jobs.
    NestCut {
        kits: Vec<CutKit>,
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        waste: Vec<Waste>,
    }
    /// The plies for one job that a nest gave.
    CutKit {
        kit: Code,
        job: Code,
        items: Vec<CutItem>,
    }
    /// Plies cut from one roll.
    CutItem {
        roll: Code,
        length_mm: Millimetres,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        plies: Option<u32>,
    }
    /// Length of a roll that was cut and thrown away.
    Waste {
        roll: Code,
        length_mm: Millimetres,
    }
    /// Plies were laid into a stage of a part, from a kit or straight from a roll.
    PliesLaid {
        stage: StageName,
        /// `kit/K-5` or `roll/R-42`.
        from: ThingName,
        /// The rolls whose plies were laid, when not all that the kit held.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        items: Option<Vec<Code>>,
        /// When the first of these plies was laid; the entry's own time is the last.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from_at: Option<Stamp>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        length_mm: Option<Millimetres>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        plies: Option<u32>,
    }
    /// The oven was switched on for these stages.
    OvenRunStarted {
        oven: Code,
        stages: Vec<RunStage>,
    }
    /// A stage of a part in an oven run.
    RunStage {
        part: Code,
        stage: StageName,
    }
    /// All plies of a stage are down and bagged.
    LayupCompleted { stage: StageName }
    /// An oven run ended, and what its chart or record says.
    OvenRunEnded {
        /// When the lagging thermocouple passed the temperature after which the cure counts as started.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        committed_at: Option<Stamp>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cured: Option<bool>,
        source: RunSource,
    }
    /// An oven run broke off.
    OvenRunInterrupted {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    }
    /// A part went into, or came out of, a boat.
    InBoat { boat: Code }
    /// A roll or kit, or a length of a roll, was thrown away.
    Disposed {
        why: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        length_mm: Option<Millimetres>,
    }
    /// A delivery came, and its note lists these rolls.
    DeliveryArrived { rolls: Vec<Code> }

    /// The yard: its zone, the spare time added to every plan, the number to call, and when nobody is there. What is
    /// not declared is not assumed: the yard is then always open.
    #[derive(Default)]
    Yard {
        /// An IANA zone name, such as Europe/Lisbon.
        zone: String,
        spare_s: Seconds,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        on_call: Option<String>,
        /// Days of every week on which nobody works.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        closed_weekdays: Vec<Weekday>,
        /// Other days, or whole months, on which nobody works.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        closed_on: Vec<Day>,
        /// When an open day's work begins.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shift_start: Option<ClockTime>,
        /// When an open day's work ends; not after its begin: on the next day.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shift_end: Option<ClockTime>,
    }
    /// A place material can be.
    Place {
        name: String,
        frozen: bool,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        highest_millideg_c: Option<i32>,
        /// The room a frozen place stands in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        room: Option<Code>,
        /// How much later than its scan a put-away ends, unless its position is scanned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rack_s: Option<Seconds>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        effective_from: Option<Stamp>,
    }
    /// One revision of a material's limits. A limit left out is not unlimited: what nobody stated can't be answered.
    Revision {
        revision: Code,
        name: String,
        /// What it is: prepreg, film adhesive, surfacing film, core splice ...
        form: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        storage_limit_millideg_c: Option<i32>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        valid_up_to_millideg_c: Option<i32>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shelf_life: Option<ShelfLife>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        out_life_s: Option<StatedSeconds>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tack_life_s: Option<StatedSeconds>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lay_to_cure: Option<LayToCure>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        refreezes: Option<Refreezes>,
        rate: Rate,
    }
    /// *None*, with the document that says so.
    NoneBy { none_by: String }
    /// A batch: when it was made and what its certificate says.
    Batch {
        made_on: Day,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        certificate_ends: Option<Day>,
    }
    /// The order to make one part, and its plan.
    Job {
        part: Code,
        stages: Vec<StageName>,
        #[serde(default)]
        needs: Vec<Need>,
        /// When the last ply is planned to be down.
        lay_at: Stamp,
        /// When the oven is planned to start.
        oven_at: Stamp,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        boat: Option<Code>,
    }
    /// How much of a material a job needs.
    Need {
        material: Code,
        length_mm: Millimetres,
    }
    /// A boat's list of structural parts.
    BoatList { parts: Vec<Code> }
    /// A roll or kit was given to a job.
    Issue { job: Code }
    /// A hold, and why.
    PlaceHold {
        why: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        nonconformance: Option<String>,
    }
    /// The end of a hold, named by the id of the entry that made it.
    LiftHold {
        hold: Uuid,
        why: String,
    }
    /// The entry is wrong: what it was, and why. What stands instead is the next entry.
    Strike {
        why: String,
        /// The id of the entry that stands instead.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        instead: Option<Uuid>,
    }
    /// A told fact, confirmed by somebody else.
    Confirm { entry: Uuid }
    /// A mismatch, settled in words.
    Settle {
        mismatch: MismatchName,
        answer: Settlement,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    }
    /// A mismatch: its kind and the id of its later entry.
    MismatchName {
        kind: String,
        entry: Uuid,
    }

    /// The first entry of a log that was brought in from a file.
    LogLoaded {
        file: String,
        entries: u64,
    }
    /// A group that never arrived whole was cut from the journal's end; its bytes are kept.
    LogCut {
        segment: u64,
        offset: u64,
        bytes: u64,
        kept_in: String,
    }
    /// What a device sent and nobody could read, kept as it came.
    SetAside {
        why: String,
        raw: String,
    }
    /// A person looked at the server's clock after it had jumped, and found it right.
    ClockChecked {
        behind_s: i64,
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OpeningSource {
    Certificate,
    Card,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RunSource {
    Chart,
    Record,
}

/// A limit in seconds, or none by a named document.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum StatedSeconds {
    Limit(Seconds),
    None(NoneBy),
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum ShelfLife {
    Limit(ShelfLifeLimit),
    None(NoneBy),
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum LayToCure {
    Limit(LayToCureLimit),
    None(NoneBy),
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum Refreezes {
    Limit(RefreezesLimit),
    None(NoneBy),
}

bodies! {
    /// Months from manufacture, and the act at which the date is tested (the oven where not said).
    ShelfLifeLimit {
        months: u16,
        #[serde(default)]
        tested_at: TestedAt,
    }
    /// How long a laid ply may wait for its cure, and from when.
    LayToCureLimit {
        limit_s: Seconds,
        #[serde(default)]
        from: LayToCureFrom,
    }
    /// How many returns to the cold are allowed, and how long out makes one.
    RefreezesLimit {
        allowed: u32,
        /// Default 30 min for a roll in its bag, 0 for kits.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after_s: Option<Seconds>,
    }
    /// How out-time is charged.
    Rate { model: RateModel }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TestedAt {
    TakeOut,
    Lay,
    #[default]
    Oven,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LayToCureFrom {
    #[default]
    FirstPly,
    Complete,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RateModel {
    DoorToDoor,
}

/// What really happened, where the facts did not add up. One field stands.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Settlement {
    /// It was out since then.
    OutSince(Stamp),
    /// It was put away then.
    PutAwayAt(Stamp),
    /// The scan was a take-out (`true`).
    WasTakeOut(bool),
    /// It was carried straight over, out this many seconds.
    CarriedOverS(Seconds),
    /// So many seconds are charged instead of the stretch.
    AssignedS(Seconds),
    /// It was another roll or kit.
    Other(ThingName),
    /// It was looked into and may rest (`true`), for the reason that is given: of what is no question of where a thing was.
    LookedInto(bool),
}
