//! What something is made from and what it went into, along the links whose fact occurred by the time asked.
//! It follows the named plies only: a kit's other rolls don't come along.

use crate::book::Book;
use crate::fact::{Fact, Label, Laid, What};
use crate::kit::{kit_items, laid_items};
use crate::question::When;
use crate::say::Say;
use crate::view::View;
use shared_types::{Direction, Instant, Kind, ThingName, Trace, TraceLink, TraceNode};
use std::collections::{BTreeSet, VecDeque};

/// From what, into what, which entry says so, and into which fact's stage.
type Link = (Label, Label, u32);

/// What is visited: a whole thing, or only one roll's plies in a kit.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Visit {
    Thing(Label),
    Plies { kit: Label, roll: Label },
}

struct Walk<'b> {
    view: View<'b>,
    at: Instant,
    seen: Seen,
    open: VecDeque<Visit>,
    nodes: Vec<Label>,
    links: Vec<Link>,
}

/// Things visited whole are marked by label; plies in a kit are few.
struct Seen {
    things: Vec<u64>,
    nodes: Vec<u64>,
    plies: BTreeSet<(Label, Label)>,
}

fn mark(bits: &mut [u64], label: Label) -> bool {
    let bit = 1_u64 << (label % 64);
    bits.get_mut(label as usize / 64).is_some_and(|word| {
        let new = *word & bit == 0;
        *word |= bit;
        new
    })
}

impl<'b> Walk<'b> {
    fn new(view: View<'b>, at: Instant) -> Walk<'b> {
        let words = view.book.things() / 64 + 1;
        let seen = Seen { things: vec![0; words], nodes: vec![0; words], plies: BTreeSet::new() };
        Walk { view, at, seen, open: VecDeque::new(), nodes: Vec::new(), links: Vec::new() }
    }

    fn facts(&self, label: Label) -> impl Iterator<Item = &'b Fact> + use<'b> {
        let at = self.at;
        self.view.facts(label).filter(move |fact| fact.at <= at)
    }

    fn node(&mut self, label: Label) {
        if mark(&mut self.seen.nodes, label) {
            self.nodes.push(label);
        }
    }

    fn visit(&mut self, label: Label) {
        self.node(label);
        if mark(&mut self.seen.things, label) {
            self.open.push_back(Visit::Thing(label));
        }
    }

    fn visit_plies(&mut self, kit: Label, roll: Label) {
        self.node(kit);
        if self.seen.plies.insert((kit, roll)) {
            self.open.push_back(Visit::Plies { kit, roll });
        }
    }

    fn made_from(&mut self, visit: Visit) {
        match visit {
            Visit::Thing(label) => match self.view.book.kind(label) {
                Kind::Boat => {
                    for (part, seq) in parts_in(self.view, label, self.at) {
                        self.links.push((part, label, seq));
                        self.visit(part);
                    }
                }
                Kind::Part => {
                    for fact in self.facts(label) {
                        if let What::Laid(laid) = &fact.what {
                            self.laid(label, fact, laid);
                        }
                    }
                }
                Kind::Kit => {
                    let at = self.at;
                    for item in kit_items(self.view, label).into_iter().filter(|item| item.cut_at <= at) {
                        self.links.push((item.roll, label, item.seq));
                        self.visit(item.roll);
                    }
                }
                Kind::Roll => {
                    for fact in self.facts(label) {
                        if let What::Received(received) = &fact.what {
                            self.links.push((received.batch, label, fact.seq));
                            self.visit(received.batch);
                        }
                    }
                }
                Kind::Run => {
                    for (part, laid) in self.cured_in(label) {
                        self.node(part);
                        self.laid(part, laid.0, laid.1);
                    }
                }
                Kind::Nest | Kind::Job => {
                    for (_, roll, seq) in self.cuts(label) {
                        self.links.push((roll, label, seq));
                        self.visit(roll);
                    }
                }
                _ => {}
            },
            Visit::Plies { kit, roll } => {
                let at = self.at;
                for item in kit_items(self.view, kit).into_iter().filter(|item| item.roll == roll && item.cut_at <= at)
                {
                    self.links.push((roll, kit, item.seq));
                }
                self.visit(roll);
            }
        }
    }

    fn laid(&mut self, part: Label, fact: &Fact, laid: &Laid) {
        self.links.push((laid.from, part, fact.seq));
        if !laid.from_kit {
            return self.visit(laid.from);
        }
        self.node(laid.from);
        for item in laid_items(self.view, fact, laid) {
            if item.seq == fact.seq {
                self.links.push((item.roll, laid.from, fact.seq));
                self.visit(item.roll);
            }
            self.visit_plies(laid.from, item.roll);
        }
    }

    fn went_into(&mut self, visit: Visit) {
        match visit {
            Visit::Thing(label) => match self.view.book.kind(label) {
                Kind::Material => {
                    let batches: Vec<Label> =
                        self.view.book.labels().filter(|batch| of_material(self.view, *batch, label)).collect();
                    batches.into_iter().for_each(|batch| self.visit(batch));
                }
                Kind::Batch => {
                    for fact in self.facts(label) {
                        if let What::Received(received) = &fact.what {
                            self.links.push((label, received.roll, fact.seq));
                            self.visit(received.roll);
                        }
                    }
                }
                Kind::Roll => self.roll_went_into(label),
                Kind::Kit => self.kit_went_into(label, None),
                Kind::Part => {
                    if let Some((boat, seq)) = boat_of(self.view, label, self.at) {
                        self.links.push((label, boat, seq));
                        self.visit(boat);
                    }
                }
                Kind::Run => {
                    let parts: Vec<Label> = self.cured_in(label).into_iter().map(|(part, _)| part).collect();
                    parts.into_iter().for_each(|part| self.visit(part));
                }
                Kind::Nest | Kind::Job => {
                    for (kit, _, seq) in self.cuts(label) {
                        self.links.push((label, kit, seq));
                        self.visit(kit);
                    }
                }
                _ => {}
            },
            Visit::Plies { kit, roll } => self.kit_went_into(kit, Some(roll)),
        }
    }

    fn roll_went_into(&mut self, roll: Label) {
        for fact in self.facts(roll) {
            match &fact.what {
                What::Cut(cut) => {
                    let kits = cut.kits.iter().filter(|kit| kit.items.iter().any(|(of, _)| *of == roll));
                    for kit in kits {
                        self.links.push((roll, kit.kit, fact.seq));
                        self.visit_plies(kit.kit, roll);
                    }
                }
                What::Laid(laid) if laid.from == roll => {
                    self.links.push((roll, laid.part, fact.seq));
                    self.visit(laid.part);
                }
                // Named in a lay-up from a kit that it was never cut into.
                What::Laid(laid) if laid.items.iter().flatten().any(|of| *of == roll) => {
                    self.links.push((laid.from, laid.part, fact.seq));
                    self.node(laid.from);
                    self.visit(laid.part);
                }
                _ => {}
            }
        }
    }

    /// The parts a kit was laid into; of one roll's plies only those lay-ups that used them.
    fn kit_went_into(&mut self, kit: Label, roll: Option<Label>) {
        for fact in self.facts(kit) {
            let What::Laid(laid) = &fact.what else { continue };
            let used = roll.is_none_or(|roll| laid_items(self.view, fact, laid).iter().any(|item| item.roll == roll));
            if laid.from == kit && used {
                self.links.push((kit, laid.part, fact.seq));
                self.visit(laid.part);
            }
        }
    }

    /// The lay-ups that an oven run cured.
    fn cured_in(&self, run: Label) -> Vec<(Label, (&'b Fact, &'b Laid))> {
        let mut found = Vec::new();
        for fact in self.facts(run) {
            let What::RunStarted(started) = &fact.what else { continue };
            for (part, stage) in &started.stages {
                let laid = self.facts(*part).filter_map(|fact| match &fact.what {
                    What::Laid(laid) if laid.part == *part && laid.stage == *stage => Some((fact, &**laid)),
                    _ => None,
                });
                found.extend(laid.map(|laid| (*part, laid)));
            }
        }
        found
    }

    /// What a nest cut, or what was cut for a job: kit, roll, entry.
    fn cuts(&self, label: Label) -> Vec<(Label, Label, u32)> {
        let mut found = Vec::new();
        for fact in self.facts(label) {
            let What::Cut(cut) = &fact.what else { continue };
            let kits = cut.kits.iter().filter(|kit| cut.nest == label || kit.job == label);
            found.extend(kits.flat_map(|kit| kit.items.iter().map(|(roll, _)| (kit.kit, *roll, fact.seq))));
        }
        found
    }

    fn over(mut self, start: Label, direction: Direction) -> Walk<'b> {
        mark(&mut self.seen.nodes, start);
        mark(&mut self.seen.things, start);
        self.open.push_back(Visit::Thing(start));
        while let Some(next) = self.open.pop_front() {
            match direction {
                Direction::MadeFrom => self.made_from(next),
                Direction::WentInto => self.went_into(next),
            }
        }
        self
    }
}

fn of_material(view: View<'_>, batch: Label, material: Label) -> bool {
    let (batch, material) = (view.book.name(batch), view.book.name(material));
    batch.kind() == Kind::Batch && batch.code().split_once('/').is_some_and(|(of, _)| of == material.code())
}

/// The parts in a boat at an instant, each with the entry that put it there.
pub fn parts_in(view: View<'_>, boat: Label, at: Instant) -> Vec<(Label, u32)> {
    let mut parts: Vec<(Label, u32)> = Vec::new();
    for fact in view.facts(boat).filter(|fact| fact.at <= at) {
        match fact.what {
            What::Installed { part, boat: into } if into == boat => parts.push((part, fact.seq)),
            What::Removed { part, boat: from } if from == boat => parts.retain(|(other, _)| *other != part),
            _ => {}
        }
    }
    // A part that was installed elsewhere later is there now.
    parts.retain(|(part, _)| boat_of(view, *part, at).is_some_and(|(now, _)| now == boat));
    parts.sort_unstable();
    parts.dedup_by_key(|(part, _)| *part);
    parts
}

/// The boat a part is in at an instant.
pub fn boat_of(view: View<'_>, part: Label, at: Instant) -> Option<(Label, u32)> {
    let mut now = None;
    for fact in view.facts(part).filter(|fact| fact.at <= at) {
        match fact.what {
            What::Installed { part: of, boat } if of == part => now = Some((boat, fact.seq)),
            What::Removed { part: of, boat } if of == part && now.is_some_and(|(is_in, _)| is_in == boat) => now = None,
            _ => {}
        }
    }
    now
}

/// The labels a thing is made from or went into: what the answer is built on.
pub fn walk(view: View<'_>, start: Label, direction: Direction, at: Instant) -> Vec<Label> {
    Walk::new(view, at).over(start, direction).nodes
}

/// Everything that descends from a thing, whenever.
pub fn descendants(view: View<'_>, start: Label) -> Vec<Label> {
    walk(view, start, Direction::WentInto, Instant::MAX)
}

pub fn trace(book: &Book, thing: &ThingName, direction: Direction, when: When) -> Option<Trace> {
    let view = View::new(book, when.known);
    let start = book.label(thing)?;
    let walked = Walk::new(view, when.at).over(start, direction);
    let name = |label: &Label| book.name(*label).clone();
    let mut nodes: Vec<TraceNode> = walked.nodes.iter().map(|label| TraceNode { thing: name(label) }).collect();
    nodes.sort();
    let stage = |into: Label, seq: u32| {
        book.all_facts(into).iter().find(|fact| fact.seq == seq).and_then(|fact| match &fact.what {
            What::Laid(laid) if laid.part == into => Some(laid.stage.clone()),
            _ => None,
        })
    };
    let link = |(from, into, seq): &Link| TraceLink {
        from: name(from),
        into: name(into),
        stage: stage(*into, *seq),
        seq: u64::from(*seq),
    };
    let mut links: Vec<TraceLink> = walked.links.iter().map(link).collect();
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
