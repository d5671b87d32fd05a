//! One movable thing's history: when it was out of the cold, from facts that may be late, told or wrong.
//! Ordered by the nominal instant, charged the unsafe way: out at the earliest, back at the latest.

mod fold;
mod named;
mod readings;
mod returns;
mod settle;
mod settled;
mod steps;
mod stretches;

pub use fold::{Before, Start, fold};
pub use returns::{Return, Returns};
pub use settled::{can_be, fits};
pub use steps::{Step, StepAct, step, steps};
pub use stretches::Stretches;

use crate::cold::storage;
use crate::fact::Label;
use crate::view::View;
use shared_types::Instant;
use std::collections::BTreeSet;

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

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Take {
    pub at: Instant,
    pub latest: Instant,
    pub seq: u32,
}

impl Take {
    fn of(step: &Step) -> Take {
        Take { at: step.at, latest: step.latest, seq: step.seq }
    }
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
    pub returns: Returns,
    pub spots: Vec<(Instant, Spot)>,
    pub found: Vec<Found>,
    /// Facts that a person said were another thing's.
    pub moved_out: Vec<(u32, Label)>,
    /// Take-outs in order. Those only told are beside, in `takes_told`.
    pub takes: Vec<Take>,
    pub takes_told: Vec<Take>,
    /// The steps that only ask, at which it was out.
    pub(crate) asked_out: BTreeSet<u32>,
}

impl History {
    /// Out-time within `[from, until]`, in milliseconds, without any opening.
    pub fn out_ms(&self, from: Instant, until: Instant) -> i64 {
        let assigned = self.lumps.iter().filter(|lump| from <= lump.at && lump.at <= until).map(|lump| lump.ms);
        self.stretches.length(from, until).saturating_add(assigned.sum())
    }

    pub fn spot(&self, at: Instant) -> Option<(Instant, Spot)> {
        let end = self.spots.partition_point(|(since, _)| *since <= at);
        self.spots.get(end.checked_sub(1)?).copied()
    }

    pub fn runs(&self, at: Instant) -> bool {
        self.stretches.covers(at)
    }
}

/// Up to where a history counts.
#[derive(Clone, Copy)]
pub enum Until {
    /// An instant, inclusive.
    At(Instant),
    /// The act that joins it to the next one: of what happened at its very instant, what comes before it.
    Act { at: Instant, seq: u32 },
}

impl Until {
    fn has(self, view: View<'_>, take: &Take) -> bool {
        match self {
            Until::At(at) => take.at <= at,
            Until::Act { at, seq } => take.at < at || take.at == at && view.comes_before(take.seq, seq),
        }
    }
}

/// The last take-out along a way through several histories, at its latest. One only told may make it later, but can't
/// be the only one.
pub fn last_take_out<'h>(view: View<'_>, way: impl IntoIterator<Item = (&'h History, Until)>) -> Option<Instant> {
    let last = |takes: &[Take], until: Until| takes.iter().rfind(|take| until.has(view, take)).map(|take| take.latest);
    let (mut sure, mut told) = (None, None);
    for (history, until) in way {
        sure = sure.max(last(&history.takes, until));
        told = told.max(last(&history.takes_told, until));
    }
    sure.map(|sure| told.map_or(sure, |told| told.max(sure)))
}

/// A kit's history begins with its first cut.
pub fn kit_history(view: View<'_>, kit: Label, steps: &[Step]) -> History {
    let storage = storage(view, kit);
    fold(view, steps, Start { from: Instant::MIN, before_first_fact: Before::Nothing, kit: true, storage })
}
