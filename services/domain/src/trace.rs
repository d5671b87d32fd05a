//! What something is made from and what it went into, along the links whose fact occurred by the time asked.
//! It follows the named plies only: a kit's other rolls don't come along.

use crate::book::Book;
use crate::fact::{Fact, Label, Laid, What};
use crate::kit::laid_items;
use crate::links::{How, Link};
use crate::question::When;
use crate::say::Say;
use crate::view::View;
use shared_types::{Direction, Instant, Kind, ThingName, Trace, TraceLink, TraceNode};
use std::collections::{HashMap, HashSet, VecDeque};
use std::hash::{BuildHasherDefault, Hasher};

/// From what, into what, and which entry says so.
type Found = (Label, Label, u32);

/// What is visited: a whole thing, or only one roll's plies in a kit.
#[derive(Clone, Copy)]
enum Visit {
    Thing(Label),
    Plies { kit: Label, roll: Label },
}

/// Labels are numbers that the book gave out itself: scattering them a little is enough.
#[derive(Default)]
struct Scatter(u64);

impl Hasher for Scatter {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| self.write_u32(u32::from(*byte)));
    }

    fn write_u32(&mut self, number: u32) {
        self.0 = (self.0.rotate_left(26) ^ u64::from(number)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}

type Scattered = BuildHasherDefault<Scatter>;

struct Walk<'b> {
    view: View<'b>,
    at: Instant,
    /// What is named in the answer, and whether it was visited as a whole.
    seen: HashMap<Label, bool, Scattered>,
    plies: HashSet<(Label, Label), Scattered>,
    open: VecDeque<Visit>,
    nodes: Vec<Label>,
    links: Vec<Found>,
}

impl<'b> Walk<'b> {
    fn new(view: View<'b>, at: Instant) -> Walk<'b> {
        let (seen, plies) = (HashMap::default(), HashSet::default());
        Walk { view, at, seen, plies, open: VecDeque::new(), nodes: Vec::new(), links: Vec::new() }
    }

    fn facts(&self, label: Label) -> impl Iterator<Item = &'b Fact> + use<'b> {
        let at = self.at;
        self.view.facts(label).filter(move |fact| fact.at <= at)
    }

    fn links(&self, label: Label, way: Direction) -> impl Iterator<Item = Link> + use<'b> {
        let at = self.at;
        self.view.links(label, way).filter(move |link| link.at <= at)
    }

    /// The lay-up that a link comes from.
    fn laid_by(&self, label: Label, link: Link) -> Option<(&'b Fact, &'b Laid)> {
        let fact = self.view.facts(label).find(|fact| fact.seq == link.seq)?;
        if let What::Laid(laid) = &fact.what { Some((fact, laid)) } else { None }
    }

    fn node(&mut self, label: Label) {
        self.seen.entry(label).or_insert_with(|| {
            self.nodes.push(label);
            false
        });
    }

    fn visit(&mut self, label: Label) {
        let nodes = &mut self.nodes;
        let whole = self.seen.entry(label).or_insert_with(|| {
            nodes.push(label);
            false
        });
        if !*whole {
            *whole = true;
            self.open.push_back(Visit::Thing(label));
        }
    }

    fn visit_plies(&mut self, kit: Label, roll: Label) {
        self.node(kit);
        if self.plies.insert((kit, roll)) {
            self.open.push_back(Visit::Plies { kit, roll });
        }
    }

    fn made_from(&mut self, visit: Visit) {
        let label = match visit {
            Visit::Thing(label) => label,
            Visit::Plies { kit, roll } => return self.plies_of(kit, |of| of == roll),
        };
        match self.view.book.kind(label) {
            Kind::Boat => {
                for (part, seq) in parts_in(self.view, label, self.at) {
                    self.links.push((part, label, seq));
                    self.visit(part);
                }
            }
            Kind::Part => {
                for link in self.links(label, Direction::MadeFrom) {
                    self.laid(label, link);
                }
            }
            Kind::Kit => self.plies_of(label, |_| true),
            Kind::Roll => {
                for link in self.links(label, Direction::MadeFrom) {
                    self.links.push((link.other, label, link.seq));
                    self.visit(link.other);
                }
            }
            Kind::Run => {
                for (part, link) in self.cured_in(label) {
                    self.node(part);
                    self.laid(part, link);
                }
            }
            Kind::Nest | Kind::Job => {
                for (_, roll, seq) in self.cuts(label) {
                    self.links.push((roll, label, seq));
                    self.visit(roll);
                }
            }
            _ => {}
        }
    }

    /// A kit's plies of some rolls, as far as they were cut by then.
    fn plies_of(&mut self, kit: Label, is_of: impl Fn(Label) -> bool) {
        for link in self.links(kit, Direction::MadeFrom).filter(|link| is_of(link.other)) {
            self.links.push((link.other, kit, link.seq));
            self.visit(link.other);
        }
    }

    /// What a lay-up took.
    fn laid(&mut self, part: Label, link: Link) {
        let kit = link.other;
        self.links.push((kit, part, link.seq));
        match link.how {
            How::LaidFromKit => {
                self.node(kit);
                let view = self.view;
                let cuts = || view.links(kit, Direction::MadeFrom);
                let held = |roll: Label| cuts().any(|cut| cut.other == roll && cut.at <= link.at);
                // What the kit then held; if it held nothing by the times told, what it ever held.
                let none = !cuts().any(|cut| cut.at <= link.at);
                let rolls: Vec<Label> = cuts().map(|cut| cut.other).filter(|roll| none || held(*roll)).collect();
                rolls.iter().for_each(|roll| self.visit(*roll));
                self.plies_of(kit, |roll| rolls.contains(&roll));
            }
            How::LaidNamed => {
                self.node(kit);
                let laid = self.laid_by(part, link);
                for item in laid.map_or(Vec::new(), |(fact, laid)| laid_items(self.view, fact, laid)) {
                    if item.seq == link.seq {
                        self.links.push((item.roll, kit, link.seq));
                    }
                    self.visit(item.roll);
                    self.plies_of(kit, |roll| roll == item.roll);
                }
            }
            _ => self.visit(link.other),
        }
    }

    fn went_into(&mut self, visit: Visit) {
        let label = match visit {
            Visit::Thing(label) => label,
            Visit::Plies { kit, roll } => return self.kit_went_into(kit, Some(roll)),
        };
        match self.view.book.kind(label) {
            Kind::Material => {
                let batches: Vec<Label> =
                    self.view.book.labels().filter(|batch| of_material(self.view, *batch, label)).collect();
                batches.into_iter().for_each(|batch| self.visit(batch));
            }
            Kind::Batch => {
                for link in self.links(label, Direction::WentInto) {
                    self.links.push((label, link.other, link.seq));
                    self.visit(link.other);
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
                for (part, _) in self.cured_in(label) {
                    self.visit(part);
                }
            }
            Kind::Nest | Kind::Job => {
                for (kit, _, seq) in self.cuts(label) {
                    self.links.push((label, kit, seq));
                    self.visit(kit);
                }
            }
            _ => {}
        }
    }

    fn roll_went_into(&mut self, roll: Label) {
        for link in self.links(roll, Direction::WentInto) {
            match link.how {
                How::Cut => {
                    self.links.push((roll, link.other, link.seq));
                    self.visit_plies(link.other, roll);
                }
                // Named in a lay-up from a kit, which it may never have been cut into.
                How::Named => {
                    if let Some((_, laid)) = self.laid_by(roll, link) {
                        self.links.push((laid.from, laid.part, link.seq));
                        self.node(laid.from);
                        self.visit(laid.part);
                    }
                }
                _ => {
                    self.links.push((roll, link.other, link.seq));
                    self.visit(link.other);
                }
            }
        }
    }

    /// The parts a kit was laid into; of one roll's plies only those lay-ups that used them.
    fn kit_went_into(&mut self, kit: Label, roll: Option<Label>) {
        for link in self.links(kit, Direction::WentInto) {
            if roll.is_none_or(|roll| self.used(kit, roll, link)) {
                self.links.push((kit, link.other, link.seq));
                self.visit(link.other);
            }
        }
    }

    /// Whether a lay-up from a kit used plies of this roll.
    fn used(&self, kit: Label, roll: Label, link: Link) -> bool {
        let cuts = || self.view.links(kit, Direction::MadeFrom).filter(|cut| cut.at <= link.at);
        match link.how {
            How::LaidFromKit => cuts().any(|cut| cut.other == roll) || cuts().next().is_none(),
            _ => self
                .laid_by(kit, link)
                .is_some_and(|(fact, laid)| laid_items(self.view, fact, laid).iter().any(|item| item.roll == roll)),
        }
    }

    /// The lay-ups that an oven run cured.
    fn cured_in(&self, run: Label) -> Vec<(Label, Link)> {
        let mut found = Vec::new();
        for fact in self.facts(run) {
            let What::RunStarted(started) = &fact.what else { continue };
            for (part, stage) in &started.stages {
                let laid = self.links(*part, Direction::MadeFrom);
                let of_stage = |link: &Link| self.laid_by(*part, *link).is_some_and(|(_, laid)| laid.stage == *stage);
                found.extend(laid.filter(of_stage).map(|link| (*part, link)));
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
        self.seen.insert(start, true);
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
    for link in view.links(boat, Direction::MadeFrom).filter(|link| link.at <= at) {
        match link.how {
            How::Installed => parts.push((link.other, link.seq)),
            How::Removed => parts.retain(|(other, _)| *other != link.other),
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
    for link in view.links(part, Direction::WentInto).filter(|link| link.at <= at) {
        match link.how {
            How::Installed => now = Some((link.other, link.seq)),
            How::Removed if now.is_some_and(|(is_in, _)| is_in == link.other) => now = None,
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
    let link = |(from, into, seq): &Found| TraceLink {
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
