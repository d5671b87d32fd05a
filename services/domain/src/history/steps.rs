//! The facts of one thing that say where it was, made alike: what each shows, and how sure its time is.

use crate::fact::{Fact, Label, What};
use crate::view::View;
use shared_types::Instant;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum StepAct {
    Received,
    PutAway {
        place: Label,
        rack_ms: i64,
    },
    TakenOut {
        /// The place it is said to have been in, and whether that is a frozen one.
        from: Option<(Label, bool)>,
        to: Option<Label>,
    },
    SeenInside {
        place: Label,
        rack_ms: i64,
    },
    /// Seen, cut, kitted, laid: outside by what was done. A put-away into a room is one too.
    Outside {
        place: Option<Label>,
    },
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Step {
    pub seq: u32,
    /// Whose history it is a step of.
    pub thing: Label,
    pub at: Instant,
    pub earliest: Instant,
    pub latest: Instant,
    /// The enrolled device that scanned it.
    pub device: Option<Label>,
    /// No second person stands beside it yet. A take-out counts all the same, because it only takes; a put-away or a
    /// sighting inside for what it takes. A told cut, lay-up or sighting in a room counts as a scanned one does.
    pub told: bool,
    /// Nobody scanned it: a person named the time of a put-away.
    pub granted: bool,
    /// Nothing happens: it only asks whether the thing is out by then.
    pub asks: bool,
    pub act: StepAct,
}

impl Step {
    /// A told return to the cold: until it is confirmed it counts only where it takes.
    pub fn waits(&self) -> bool {
        self.told && matches!(self.act, StepAct::PutAway { .. } | StepAct::SeenInside { .. })
    }
}

/// The steps of a thing, in occurred order.
pub fn steps(view: View<'_>, thing: Label) -> Vec<Step> {
    let mut steps = Vec::with_capacity(view.book.all_facts(thing).len());
    steps.extend(view.facts(thing).filter_map(|fact| step(view, thing, fact)));
    steps
}

pub fn step(view: View<'_>, thing: Label, fact: &Fact) -> Option<Step> {
    let act = act(view, thing, fact)?;
    let waits = view.waits(fact);
    let moves = matches!(act, StepAct::TakenOut { .. } | StepAct::PutAway { .. } | StepAct::SeenInside { .. });
    Some(Step {
        seq: fact.seq,
        thing,
        at: fact.at,
        earliest: fact.earliest(),
        latest: fact.latest(),
        device: fact.device.filter(|_| fact.marks.device_counts),
        told: waits && moves,
        granted: false,
        asks: false,
        act,
    })
}

fn act(view: View<'_>, thing: Label, fact: &Fact) -> Option<StepAct> {
    let rack_ms = |place: Label, at_position: bool| match view.place(place, fact.at).and_then(|place| place.rack_s) {
        Some(rack) if !at_position => rack.as_ms(),
        Some(_) | None => 0,
    };
    match &fact.what {
        What::Received(_) => Some(StepAct::Received),
        What::PutAway { into, .. } if !view.frozen(*into, fact.at) => Some(StepAct::Outside { place: Some(*into) }),
        What::PutAway { into, at_position } => {
            Some(StepAct::PutAway { place: *into, rack_ms: rack_ms(*into, *at_position) })
        }
        What::TakenOut { from, to } => {
            Some(StepAct::TakenOut { from: from.map(|from| (from, view.frozen(from, fact.at))), to: *to })
        }
        What::Seen { place, .. } if !view.frozen(*place, fact.at) => Some(StepAct::Outside { place: Some(*place) }),
        What::Seen { place, at_position } => {
            Some(StepAct::SeenInside { place: *place, rack_ms: rack_ms(*place, *at_position) })
        }
        What::Cut(_) => Some(StepAct::Outside { place: None }),
        What::Laid(laid) if laid.from == thing => Some(StepAct::Outside { place: None }),
        _ => None,
    }
}
