//! The links between things, kept beside the facts that say so and filtered alike. They are small and few, so that a
//! trace through thousands of things reads little memory; a roll's hundred scans are not among them.

use crate::fact::{Fact, Label, What};
use shared_types::{Direction, Instant, Kind};

/// One link, as it is kept with one of the two things it joins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Link {
    pub at: Instant,
    pub seq: u32,
    pub struck_by: u32,
    pub other: Label,
    /// Whether this thing is made from the other, or went into it.
    pub way: Direction,
    pub how: How,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum How {
    /// A roll of a batch.
    Received,
    /// A kit's plies of a roll.
    Cut,
    /// A part, straight from a roll.
    LaidFromRoll,
    /// A part, of all that the kit then held.
    LaidFromKit,
    /// A part, of the rolls that the lay-up names. It is kept with them too, under `Named`.
    LaidNamed,
    Named,
    /// A part in a boat.
    Installed,
    Removed,
}

impl Link {
    /// The kind of the other thing.
    pub(crate) fn leads_to(self) -> Kind {
        use Direction::{MadeFrom, WentInto};
        match (self.way, self.how) {
            (MadeFrom, How::Received) => Kind::Batch,
            (MadeFrom, How::Cut | How::LaidFromRoll) | (WentInto, How::Received) => Kind::Roll,
            (MadeFrom, How::LaidFromKit | How::LaidNamed) | (WentInto, How::Cut) => Kind::Kit,
            (MadeFrom, How::Named | How::Installed | How::Removed) => Kind::Part,
            (WentInto, How::LaidFromRoll | How::LaidFromKit | How::LaidNamed | How::Named) => Kind::Part,
            (WentInto, How::Installed | How::Removed) => Kind::Boat,
        }
    }
}

/// The links that a fact makes for one of the things it names, in the fact's own order.
pub(crate) fn of(label: Label, fact: &Fact, mut give: impl FnMut(Link)) {
    use Direction::{MadeFrom, WentInto};
    let mut give = |how: How, way: Direction, other: Label| {
        give(Link { at: fact.at, seq: fact.seq, struck_by: fact.struck_by, other, way, how });
    };
    match &fact.what {
        What::Received(received) if received.roll == label => give(How::Received, MadeFrom, received.batch),
        What::Received(received) if received.batch == label => give(How::Received, WentInto, received.roll),
        What::Cut(cut) => {
            for kit in &cut.kits {
                if kit.kit == label {
                    kit.items.iter().for_each(|(roll, _)| give(How::Cut, MadeFrom, *roll));
                } else if kit.items.iter().any(|(roll, _)| *roll == label) {
                    give(How::Cut, WentInto, kit.kit);
                }
            }
        }
        What::Laid(laid) => {
            let how = match (laid.from_kit, &laid.items) {
                (false, _) => How::LaidFromRoll,
                (true, None) => How::LaidFromKit,
                (true, Some(_)) => How::LaidNamed,
            };
            if laid.part == label {
                give(how, MadeFrom, laid.from);
            } else if laid.from == label {
                give(how, WentInto, laid.part);
            } else {
                give(How::Named, WentInto, laid.part);
            }
        }
        What::Installed { part, boat } if *part == label => give(How::Installed, WentInto, *boat),
        What::Installed { part, boat } if *boat == label => give(How::Installed, MadeFrom, *part),
        What::Removed { part, boat } if *part == label => give(How::Removed, WentInto, *boat),
        What::Removed { part, boat } if *boat == label => give(How::Removed, MadeFrom, *part),
        _ => {}
    }
}
