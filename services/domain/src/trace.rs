//! What something is made from and what it went into, from any thing to any thing, each link with the entry that says so.

use crate::book::Book;
use crate::fact::{Label, What};
use crate::follow::boats_by;
use crate::question::When;
use crate::say::Say;
use crate::view::View;
use crate::walk::{Found, Walk};
use shared_types::{Direction, Instant, Kind, ThingName, Trace, TraceLink, TraceNode};

/// The labels of what a thing is made from or went into.
pub fn walk(view: View<'_>, start: Label, direction: Direction, at: Instant) -> Vec<Label> {
    of_kinds(Walk::new(view, direction, at).from(start), |_| true)
}

/// The labels of the rolls that a thing is made from.
pub fn rolls_in(view: View<'_>, thing: Label, at: Instant) -> Vec<Label> {
    let walked = Walk::new(view, Direction::MadeFrom, at).up_to(Kind::Roll).from(thing);
    of_kinds(walked, |kind| kind == Kind::Roll)
}

/// The labels of the parts and boats that something went into.
pub fn contained_in(view: View<'_>, thing: Label, at: Instant) -> Vec<Label> {
    let walked = Walk::new(view, Direction::WentInto, at).from(thing);
    of_kinds(walked, |kind| matches!(kind, Kind::Part | Kind::Boat))
}

fn of_kinds(walked: Walk<'_>, kinds: impl Fn(Kind) -> bool) -> Vec<Label> {
    walked.nodes.into_iter().filter(|(kind, _)| kinds(*kind)).map(|(_, label)| label).collect()
}

/// The boat a part is in at an instant, and the entry that says so; of several the one it was installed in last.
pub fn boat_of(view: View<'_>, part: Label, at: Instant) -> Option<(Label, u32)> {
    boats_of(view, part, at).pop()
}

/// The boats that a part was put into and that nobody removed it from, the last one last.
pub(crate) fn boats_of(view: View<'_>, part: Label, at: Instant) -> Vec<(Label, u32)> {
    let links =
        view.links(part).into_iter().filter(|(link, source)| link.way == Direction::WentInto && source.at <= at);
    boats_by(links.map(|(link, source)| (link, source.seq)))
}

/// Everything that descends from a thing, whenever.
pub fn descendants(view: View<'_>, start: Label) -> Vec<Label> {
    walk(view, start, Direction::WentInto, Instant::MAX)
}

pub fn trace(book: &Book, thing: &ThingName, direction: Direction, when: When) -> Option<Trace> {
    let view = View::new(book, when.known);
    let start = book.label(thing)?;
    let walked = Walk::new(view, direction, when.at).with_links().from(start);
    let name = |label: &Label| book.name(*label).clone();
    let mut nodes: Vec<TraceNode> = walked.nodes.iter().map(|(_, label)| TraceNode { thing: name(label) }).collect();
    nodes.sort();
    let stage = |into: Label, seq: u32| {
        book.all_facts(into).iter().find(|fact| fact.seq == seq).and_then(|fact| match &fact.what {
            What::Laid(laid) if laid.part == into => Some(laid.stage.clone()),
            _ => None,
        })
    };
    let link = |(from, into, seq): &Found| TraceLink {
        from: name(from),
        into: name(into),
        stage: stage(*into, *seq),
        seq: u64::from(*seq),
    };
    let mut links: Vec<TraceLink> = walked.links.iter().flatten().map(link).collect();
    links.sort();
    links.dedup();
    let say = Say::of(view, when.at);
    Some(Trace {
        thing: thing.clone(),
        direction,
        nodes,
        links,
        at: say.stamp(when.at),
        as_of_seq: u64::from(view.known),
    })
}
