//! One movable thing's history: when it was out of the cold, from facts that may be late, told or wrong.
//! Ordered by the nominal instant, charged the unsafe way: out at the earliest, back at the latest.

mod fold;
mod readings;
mod settle;
mod settled;
mod steps;
mod stretches;

pub use fold::{Before, Start, fold};
pub use settled::fits;
pub use steps::{Step, StepAct, step, steps};
pub use stretches::Stretches;

use crate::fact::Label;
use crate::view::View;
use shared_types::Instant;

/// A stretch out of the cold, as it is charged.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stretch {
    pub from: Instant,
    /// `Instant::MAX` while the clock runs on.
    pub to: Instant,
    pub from_seq: u32,
    pub to_seq: Option<u32>,
}

/// Hours that a person assigned to a stretch: charged whole, at its start.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Lump {
    pub at: Instant,
    /// The entry's time: what came before an opening is in the opening.
    pub until: Instant,
    pub ms: i64,
    pub seq: u32,
}

/// A return to the cold that ended a stretch. Goods-in's put-away is none.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Return {
    pub at: Instant,
    pub out_from: Instant,
    pub back: Instant,
    pub seq: u32,
    /// A kit's: it warms at once.
    pub of_kit: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Spot {
    OnItsWay(Label),
    Inside(Label),
    Out(Option<Label>),
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Puzzle {
    OutWhileOut,
    InWhileIn,
    InWhileInElsewhere,
    SeenInsideWhileOut,
    ActedWhileInside,
    PutAwayNotAfterTakeOut,
}

impl Puzzle {
    pub fn name(self) -> &'static str {
        match self {
            Puzzle::OutWhileOut => "out_while_out",
            Puzzle::InWhileIn => "in_while_in",
            Puzzle::InWhileInElsewhere => "in_while_in_elsewhere",
            Puzzle::SeenInsideWhileOut => "seen_inside_while_out",
            Puzzle::ActedWhileInside => "acted_while_inside",
            Puzzle::PutAwayNotAfterTakeOut => "put_away_not_after_take_out",
        }
    }
}

/// What did not add up, at which entry, and who settled it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Found {
    pub seq: u32,
    pub puzzle: Puzzle,
    /// Since when it was out, or last known inside.
    pub since: Instant,
    pub place: Option<Label>,
    pub settled_by: Option<u32>,
}

/// What the facts give, door to door.
#[derive(Clone, Default, Debug)]
pub struct History {
    pub stretches: Stretches,
    pub lumps: Vec<Lump>,
    /// The returns to the cold on each way on which the facts can be read.
    pub returns: Vec<Vec<Return>>,
    pub spots: Vec<(Instant, Spot)>,
    pub found: Vec<Found>,
    /// Facts that a person said were another thing's.
    pub moved_out: Vec<(u32, Label)>,
    /// Take-outs: when, and at the latest. Those only told are beside, in `takes_told`.
    pub takes: Vec<(Instant, Instant)>,
    pub takes_told: Vec<(Instant, Instant)>,
}

impl History {
    /// Out-time within `[from, until]`, in milliseconds, without any opening.
    pub fn out_ms(&self, from: Instant, until: Instant) -> i64 {
        let assigned = self.lumps.iter().filter(|lump| from <= lump.at && lump.at <= until).map(|lump| lump.ms);
        self.stretches.length(from, until).saturating_add(assigned.sum())
    }

    /// The last take-out by an instant, at its latest.
    pub fn last_take_out(&self, at: Instant) -> Option<Instant> {
        last_take_out([(self, at)])
    }

    pub fn spot(&self, at: Instant) -> Option<(Instant, Spot)> {
        let end = self.spots.partition_point(|(since, _)| *since <= at);
        self.spots.get(end.checked_sub(1)?).copied()
    }

    pub fn runs(&self, at: Instant) -> bool {
        self.stretches.covers(at)
    }
}

/// The last take-out along a way through several histories, each up to an instant, at its latest. One only told may
/// make it later, but can't be the only one.
pub fn last_take_out<'h>(way: impl IntoIterator<Item = (&'h History, Instant)>) -> Option<Instant> {
    let last = |takes: &[(Instant, Instant)], by: Instant| {
        takes.iter().rfind(|(when, _)| *when <= by).map(|(_, latest)| *latest)
    };
    let (mut sure, mut told) = (None, None);
    for (history, by) in way {
        sure = sure.max(last(&history.takes, by));
        told = told.max(last(&history.takes_told, by));
    }
    sure.map(|sure| told.map_or(sure, |told| told.max(sure)))
}

/// A kit's history begins with its first cut.
pub fn kit_history(view: View<'_>, steps: &[Step]) -> History {
    fold(view, steps, Start { from: Instant::MIN, before_first_fact: Before::Nothing, kit: true })
}
