//! What a person said about a mismatch, as far as that answer can be meant for it.

use super::{Puzzle, Step};
use crate::fact::{Label, What};
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
}

impl Settled {
    pub(super) fn of(view: View<'_>, puzzle: Puzzle, step: &Step) -> Option<(u32, Settled)> {
        let Some((by, answer, other)) = view.settlement(step.thing, puzzle.name(), step.seq) else {
            return view.kindly.then(|| (step.seq, Settled::kindly(puzzle, step)));
        };
        if !fits(puzzle, answer) || !can_be(view, puzzle, step.latest, (answer, other)) {
            return None;
        }
        let settled = match answer {
            Settlement::OutSince(stamp) => Settled::OutSince(stamp.at),
            Settlement::PutAwayAt(stamp) => Settled::PutAwayAt(stamp.at),
            Settlement::WasTakeOut(_) => Settled::TakeOut,
            Settlement::CarriedOverS(seconds) => Settled::Carried(seconds.as_ms()),
            Settlement::AssignedS(seconds) => Settled::Assigned(seconds.as_ms()),
            Settlement::Other(_) => Settled::Moved(other?),
            Settlement::LookedInto(_) => return None,
        };
        Some((by, settled))
    }
}

impl Settled {
    fn kindly(puzzle: Puzzle, step: &Step) -> Settled {
        match puzzle {
            Puzzle::InWhileIn | Puzzle::InWhileInElsewhere => Settled::Carried(0),
            Puzzle::ActedWhileInside => Settled::OutSince(step.at),
            Puzzle::OutWhileOut => Settled::OutSince(step.at),
            Puzzle::SeenInsideWhileOut | Puzzle::PutAwayNotAfterTakeOut => Settled::PutAwayAt(step.at),
        }
    }
}

/// Nothing is settled by a time after the scan, nor by what nobody received or cut. Where it is the order of the scan and
/// a take-out that is in doubt, it may have been put away later than it says.
pub fn can_be(view: View<'_>, puzzle: Puzzle, scan: Instant, (answer, other): (&Settlement, Option<Label>)) -> bool {
    match answer {
        Settlement::PutAwayAt(_) if puzzle == Puzzle::PutAwayNotAfterTakeOut => true,
        Settlement::OutSince(stamp) | Settlement::PutAwayAt(stamp) => stamp.at <= scan,
        Settlement::Other(_) => other.is_some_and(|other| is_there(view, other)),
        _ => true,
    }
}

fn is_there(view: View<'_>, thing: Label) -> bool {
    view.facts(thing).any(|fact| match &fact.what {
        What::Received(received) => received.roll == thing,
        What::Cut(cut) => cut.kits.iter().any(|kit| kit.kit == thing),
        _ => false,
    })
}

/// Which answers a mismatch can have.
pub fn fits(puzzle: Puzzle, answer: &Settlement) -> bool {
    match (puzzle, answer) {
        (_, Settlement::WasTakeOut(yes)) => *yes,
        // Where a thing was is not settled by a reason alone.
        (_, Settlement::LookedInto(_)) => false,
        (
            Puzzle::SeenInsideWhileOut,
            Settlement::OutSince(_) | Settlement::CarriedOverS(_) | Settlement::AssignedS(_),
        ) => false,
        (Puzzle::OutWhileOut | Puzzle::PutAwayNotAfterTakeOut, Settlement::CarriedOverS(_)) => false,
        (Puzzle::ActedWhileInside, Settlement::PutAwayAt(_)) => false,
        (_, _) => true,
    }
}
