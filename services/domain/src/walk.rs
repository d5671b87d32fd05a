//! Walking along the links, from a thing to all that it is made from or went into, as far as the facts occurred by the
//! time asked. It follows the named plies only: a kit's other rolls don't come along.

use crate::fact::{Fact, Label, Laid, What};
use crate::kit::laid_items;
use crate::links::{How, Link};
use crate::view::View;
use shared_types::{Direction, Instant, Kind};
use std::collections::{HashMap, HashSet};
use std::hash::{BuildHasherDefault, Hasher};

/// From what, into what, and which entry says so.
pub(crate) type Found = (Label, Label, u32);

/// Where the walk goes on: a thing, or of a kit only the plies that matter.
#[derive(Clone, Copy)]
enum Visit {
    Thing(Kind, Label),
    /// A part that was installed in a boat by an entry, if it is still there.
    PartIn {
        boat: Label,
        part: Label,
        seq: u32,
    },
    /// What a lay-up in a part took from a kit.
    TakenBy {
        part: Label,
        kit: Label,
        link: Link,
    },
    /// Where one roll's plies went.
    Plies {
        kit: Label,
        roll: Label,
    },
}

impl Visit {
    /// The thing whose links are needed.
    fn label(self) -> Label {
        match self {
            Visit::Thing(_, label) => label,
            Visit::PartIn { part, .. } => part,
            Visit::TakenBy { kit, .. } | Visit::Plies { kit, .. } => kit,
        }
    }
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

/// Room for so many things to begin with: what a boat or a batch comes to.
const ROOM: usize = 700;

type Scattered = BuildHasherDefault<Scatter>;

pub(crate) struct Walk<'b> {
    view: View<'b>,
    at: Instant,
    direction: Direction,
    /// Things of this kind are named, and not gone beyond.
    last: Kind,
    /// What is named, and whether it was visited as a whole.
    seen: HashMap<Label, bool, Scattered>,
    plies: HashSet<(Label, Label), Scattered>,
    open: Vec<Visit>,
    /// What was found, but for the start.
    pub(crate) nodes: Vec<Label>,
    pub(crate) links: Vec<Found>,
}

impl<'b> Walk<'b> {
    pub(crate) fn new(view: View<'b>, direction: Direction, at: Instant) -> Walk<'b> {
        let last = match direction {
            Direction::MadeFrom => Kind::Batch,
            Direction::WentInto => Kind::Boat,
        };
        let seen = HashMap::with_capacity_and_hasher(ROOM, Scattered::default());
        let plies = HashSet::default();
        Walk { view, at, direction, last, seen, plies, open: Vec::new(), nodes: Vec::new(), links: Vec::new() }
    }

    /// Goes no further than to things of this kind.
    pub(crate) fn up_to(self, last: Kind) -> Walk<'b> {
        Walk { last, ..self }
    }

    /// Goes all the way. Everything at one distance is taken together, and its links are gathered before any is
    /// followed: they lie all over the memory, and so they are fetched at the same time and not one after the other.
    pub(crate) fn from(mut self, start: Label) -> Walk<'b> {
        self.seen.insert(start, true);
        self.open.push(Visit::Thing(self.view.book.kind(start), start));
        let (mut gathered, mut ends) = (Vec::new(), Vec::new());
        while !self.open.is_empty() {
            let level = std::mem::take(&mut self.open);
            gathered.clear();
            ends.clear();
            self.view.reserve_links(level.iter().map(|visit| visit.label()), &mut gathered);
            for visit in &level {
                self.view.gather_links(visit.label(), &mut gathered);
                ends.push(gathered.len());
            }
            let mut from = 0;
            for (visit, end) in level.into_iter().zip(&ends) {
                let links = gathered.get(from..*end).unwrap_or_default();
                from = *end;
                match self.direction {
                    Direction::MadeFrom => self.made_from(visit, links),
                    Direction::WentInto => self.went_into(visit, links),
                }
            }
        }
        self
    }

    /// Those of a thing's links that lead this way and had occurred.
    fn along<'l>(&self, links: &'l [Link], way: Direction) -> impl Iterator<Item = Link> + use<'l> {
        let at = self.at;
        links.iter().copied().filter(move |link| link.way == way && link.at <= at)
    }

    fn facts(&self, label: Label) -> impl Iterator<Item = &'b Fact> + use<'b> {
        let at = self.at;
        self.view.facts(label).filter(move |fact| fact.at <= at)
    }

    fn node(&mut self, label: Label) {
        let nodes = &mut self.nodes;
        self.seen.entry(label).or_insert_with(|| {
            nodes.push(label);
            false
        });
    }

    fn visit(&mut self, kind: Kind, label: Label) {
        let nodes = &mut self.nodes;
        let whole = self.seen.entry(label).or_insert_with(|| {
            nodes.push(label);
            false
        });
        if !std::mem::replace(whole, true) && kind != self.last {
            self.open.push(Visit::Thing(kind, label));
        }
    }

    fn made_from(&mut self, visit: Visit, links: &[Link]) {
        let (kind, label) = match visit {
            Visit::Thing(kind, label) => (kind, label),
            Visit::PartIn { boat, part, seq } => {
                if boat_by(links, self.at).is_none_or(|(now, _)| now != boat) {
                    return;
                }
                self.links.push((part, boat, seq));
                self.node(part);
                (Kind::Part, part)
            }
            Visit::TakenBy { part, kit, link } => return self.taken_by(part, kit, link, links),
            Visit::Plies { .. } => return,
        };
        match kind {
            Kind::Boat => {
                let parts = parts_by(links, self.at).into_iter();
                self.open.extend(parts.map(|(part, seq)| Visit::PartIn { boat: label, part, seq }));
            }
            Kind::Part => {
                for link in self.along(links, Direction::MadeFrom) {
                    self.laid(label, link);
                }
            }
            Kind::Kit | Kind::Roll => {
                for link in self.along(links, Direction::MadeFrom) {
                    self.links.push((link.other, label, link.seq));
                    self.visit(link.leads_to(), link.other);
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
                    self.visit(Kind::Roll, roll);
                }
            }
            _ => {}
        }
    }

    fn laid(&mut self, part: Label, link: Link) {
        self.links.push((link.other, part, link.seq));
        if link.how == How::LaidFromRoll {
            return self.visit(Kind::Roll, link.other);
        }
        self.node(link.other);
        self.open.push(Visit::TakenBy { part, kit: link.other, link });
    }

    fn taken_by(&mut self, part: Label, kit: Label, link: Link, links: &[Link]) {
        let named = if link.how == How::LaidNamed { self.laid_by(part, link) } else { None };
        if let Some((fact, laid)) = named {
            for item in laid_items(self.view, fact, laid) {
                if item.seq == link.seq {
                    self.links.push((item.roll, kit, link.seq));
                }
                self.take(item.roll, kit, links);
            }
            return;
        }
        // What the kit then held; if it held nothing by the times told, what it ever held.
        let cuts = || links.iter().filter(|cut| cut.way == Direction::MadeFrom);
        let none = cuts().all(|cut| link.at < cut.at);
        for cut in cuts().filter(|cut| none || cut.at <= link.at) {
            self.take(cut.other, kit, links);
        }
    }

    /// A roll's plies in a kit.
    fn take(&mut self, roll: Label, kit: Label, links: &[Link]) {
        for cut in self.along(links, Direction::MadeFrom).filter(|cut| cut.other == roll) {
            self.links.push((roll, kit, cut.seq));
        }
        self.visit(Kind::Roll, roll);
    }

    /// The lay-up that a link comes from.
    fn laid_by(&self, label: Label, link: Link) -> Option<(&'b Fact, &'b Laid)> {
        let fact = self.view.facts(label).find(|fact| fact.seq == link.seq)?;
        if let What::Laid(laid) = &fact.what { Some((fact, laid)) } else { None }
    }

    fn went_into(&mut self, visit: Visit, links: &[Link]) {
        let (kind, label) = match visit {
            Visit::Thing(kind, label) => (kind, label),
            Visit::Plies { kit, roll } => return self.kit_went_into(kit, Some(roll), links),
            Visit::PartIn { .. } | Visit::TakenBy { .. } => return,
        };
        match kind {
            Kind::Material => {
                let batches = self.view.book.labels().filter(|batch| self.is_of(*batch, label));
                batches.collect::<Vec<_>>().into_iter().for_each(|batch| self.visit(Kind::Batch, batch));
            }
            Kind::Batch => {
                for link in self.along(links, Direction::WentInto) {
                    self.links.push((label, link.other, link.seq));
                    self.visit(link.leads_to(), link.other);
                }
            }
            Kind::Roll => self.roll_went_into(label, links),
            Kind::Kit => self.kit_went_into(label, None, links),
            Kind::Part => {
                if let Some((boat, seq)) = boat_by(links, self.at) {
                    self.links.push((label, boat, seq));
                    self.visit(Kind::Boat, boat);
                }
            }
            Kind::Run => self.cured_in(label).into_iter().for_each(|(part, _)| self.visit(Kind::Part, part)),
            Kind::Nest | Kind::Job => {
                for (kit, _, seq) in self.cuts(label) {
                    self.links.push((label, kit, seq));
                    self.visit(Kind::Kit, kit);
                }
            }
            _ => {}
        }
    }

    fn is_of(&self, batch: Label, material: Label) -> bool {
        let (batch, material) = (self.view.book.name(batch), self.view.book.name(material));
        batch.kind() == Kind::Batch && batch.code().split_once('/').is_some_and(|(of, _)| of == material.code())
    }

    fn roll_went_into(&mut self, roll: Label, links: &[Link]) {
        for link in self.along(links, Direction::WentInto) {
            match link.how {
                How::Cut => {
                    let kit = link.other;
                    self.links.push((roll, kit, link.seq));
                    self.node(kit);
                    if self.plies.insert((kit, roll)) {
                        self.open.push(Visit::Plies { kit, roll });
                    }
                }
                // Named in a lay-up from a kit, which it may never have been cut into.
                How::Named => {
                    if let Some((_, laid)) = self.laid_by(roll, link) {
                        self.links.push((laid.from, laid.part, link.seq));
                        self.node(laid.from);
                        self.visit(Kind::Part, laid.part);
                    }
                }
                _ => {
                    self.links.push((roll, link.other, link.seq));
                    self.visit(link.leads_to(), link.other);
                }
            }
        }
    }

    /// The parts a kit was laid into; of one roll's plies only those lay-ups that used them.
    fn kit_went_into(&mut self, kit: Label, roll: Option<Label>, links: &[Link]) {
        let cut_by = |at: Instant| links.iter().filter(move |cut| cut.way == Direction::MadeFrom && cut.at <= at);
        for link in self.along(links, Direction::WentInto) {
            let used = roll.is_none_or(|roll| match link.how {
                How::LaidFromKit => cut_by(link.at).any(|cut| cut.other == roll) || cut_by(link.at).next().is_none(),
                _ => self
                    .laid_by(kit, link)
                    .is_some_and(|(fact, laid)| laid_items(self.view, fact, laid).iter().any(|item| item.roll == roll)),
            });
            if used {
                self.links.push((kit, link.other, link.seq));
                self.visit(Kind::Part, link.other);
            }
        }
    }

    /// The lay-ups that an oven run cured.
    fn cured_in(&self, run: Label) -> Vec<(Label, Link)> {
        let mut found = Vec::new();
        for fact in self.facts(run) {
            let What::RunStarted(started) = &fact.what else { continue };
            for (part, stage) in &started.stages {
                let mut links = Vec::new();
                self.view.gather_links(*part, &mut links);
                let of_stage = |link: &Link| self.laid_by(*part, *link).is_some_and(|(_, laid)| laid.stage == *stage);
                found.extend(self.along(&links, Direction::MadeFrom).filter(of_stage).map(|link| (*part, link)));
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
}

/// The parts that a boat's links have put into it, each with the first entry that did. A part that was installed
/// elsewhere later is still among them.
fn parts_by(links: &[Link], at: Instant) -> Vec<(Label, u32)> {
    let mut parts: Vec<(Label, u32)> = Vec::new();
    for link in links.iter().filter(|link| link.way == Direction::MadeFrom && link.at <= at) {
        match link.how {
            How::Installed => parts.push((link.other, link.seq)),
            How::Removed => parts.retain(|(other, _)| *other != link.other),
            _ => {}
        }
    }
    parts.sort_unstable();
    parts.dedup_by_key(|(part, _)| *part);
    parts
}

/// The boat that a part's links have put it into, and the entry that did.
pub(crate) fn boat_by(links: &[Link], at: Instant) -> Option<(Label, u32)> {
    let mut now = None;
    for link in links.iter().filter(|link| link.way == Direction::WentInto && link.at <= at) {
        match link.how {
            How::Installed => now = Some((link.other, link.seq)),
            How::Removed if now.is_some_and(|(is_in, _)| is_in == link.other) => now = None,
            _ => {}
        }
    }
    now
}
