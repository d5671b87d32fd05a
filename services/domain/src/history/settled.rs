//! What a person said about a mismatch, as far as that answer can be meant for it.

use super::{Puzzle, Step};
use crate::fact::Label;
use crate::view::View;
use shared_types::{Instant, Settlement};

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Settled {
    OutSince(Instant),
    PutAwayAt(Instant),
    TakeOut,
    Carried(i64),
    Assigned(i64),
    Moved(Label),
    /// Taken out once, since the first.
    Once,
}

impl Settled {
    pub(super) fn of(view: View<'_>, puzzle: Puzzle, step: &Step, since: Instant) -> Option<(u32, Settled)> {
        let Some((by, answer, other)) = view.settlement(puzzle.name(), step.seq) else {
            return view.kindly.then(|| (step.seq, Settled::kindly(puzzle, step)));
        };
        if !fits(puzzle, answer) {
            return None;
        }
        let settled = match answer {
            Settlement::OutSince(_) if puzzle == Puzzle::OutWhileOut => Settled::Once,
            Settlement::OutSince(stamp) => Settled::OutSince(stamp.at.min(step.latest)),
            Settlement::PutAwayAt(stamp) => Settled::PutAwayAt(stamp.at.max(since)),
            Settlement::WasTakeOut(_) => Settled::TakeOut,
            Settlement::CarriedOverS(seconds) => Settled::Carried(seconds.as_ms()),
            Settlement::AssignedS(seconds) => Settled::Assigned(seconds.as_ms()),
            Settlement::Other(_) => Settled::Moved(other?),
        };
        Some((by, settled))
    }
}

impl Settled {
    fn kindly(puzzle: Puzzle, step: &Step) -> Settled {
        match puzzle {
            Puzzle::InWhileIn | Puzzle::InWhileInElsewhere => Settled::Carried(0),
            Puzzle::ActedWhileInside => Settled::OutSince(step.at),
            Puzzle::OutWhileOut => Settled::Once,
            Puzzle::SeenInsideWhileOut | Puzzle::PutAwayNotAfterTakeOut => Settled::PutAwayAt(step.at),
        }
    }
}

/// Which answers a mismatch can have.
pub fn fits(puzzle: Puzzle, answer: &Settlement) -> bool {
    match (puzzle, answer) {
        (_, Settlement::Other(_) | Settlement::AssignedS(_)) => true,
        (_, Settlement::WasTakeOut(false)) => false,
        (Puzzle::InWhileIn | Puzzle::InWhileInElsewhere, _) => true,
        (Puzzle::ActedWhileInside, Settlement::OutSince(_) | Settlement::WasTakeOut(_)) => true,
        (Puzzle::OutWhileOut, Settlement::OutSince(_) | Settlement::PutAwayAt(_)) => true,
        (Puzzle::SeenInsideWhileOut | Puzzle::PutAwayNotAfterTakeOut, Settlement::PutAwayAt(_)) => true,
        (_, _) => false,
    }
}
