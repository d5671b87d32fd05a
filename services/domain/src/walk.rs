//! Walking along the links, from a thing to all that it is made from or went into, as far as the facts occurred by the
//! time asked. It follows the named plies only: a kit's other rolls don't come along.

use crate::fact::{Fact, Label, Laid, What};
use crate::follow::{Scattered, Step, Steps, boats_by, parts_by, place};
use crate::kit::laid_items;
use crate::links::{How, Link, Source};
use crate::view::View;
use shared_types::{Direction, Instant, Kind};
use std::collections::HashMap;

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
    /// What the lay-ups in a part took from a kit; or one of them.
    TakenBy {
        part: Label,
        kit: Label,
        only: Option<u32>,
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

/// Room for so many things to begin with: what a boat or a batch comes to.
const ROOM: usize = 700;

pub(crate) struct Walk<'b> {
    view: View<'b>,
    at: Instant,
    direction: Direction,
    /// Things of this kind are named, and not gone beyond.
    last: Kind,
    /// What is named, and whether it was visited as a whole.
    seen: HashMap<Label, bool, Scattered>,
    open: Vec<Visit>,
    /// What was found, but for the start.
    pub(crate) nodes: Vec<(Kind, Label)>,
    /// The links that were followed, where they are asked for.
    pub(crate) links: Option<Vec<Found>>,
}

impl<'b> Walk<'b> {
    pub(crate) fn new(view: View<'b>, direction: Direction, at: Instant) -> Walk<'b> {
        let last = match direction {
            Direction::MadeFrom => Kind::Batch,
            Direction::WentInto => Kind::Boat,
        };
        let seen = HashMap::with_capacity_and_hasher(ROOM, Scattered::default());
        Walk { view, at, direction, last, seen, open: Vec::new(), nodes: Vec::new(), links: None }
    }

    pub(crate) fn with_links(self) -> Walk<'b> {
        Walk { links: Some(Vec::new()), ..self }
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
        let kept = self.view.book.links();
        let by = Some(self.at).filter(|at| !kept.all_by(*at));
        let (mut gathered, mut ends, mut thought_of) = (Vec::new(), Vec::new(), Vec::new());
        while !self.open.is_empty() {
            let level = std::mem::take(&mut self.open);
            gathered.clear();
            ends.clear();
            kept.fetch(level.iter().map(|visit| visit.label()));
            for visit in &level {
                self.gather(visit.label(), &mut gathered, &mut thought_of);
                ends.push(gathered.len());
            }
            let mut start = 0;
            for (visit, end) in level.into_iter().zip(&ends) {
                let steps = gathered.get(start..*end).unwrap_or_default();
                start = *end;
                let steps = Steps { steps, kept, thought_of: &thought_of, by };
                match self.direction {
                    Direction::MadeFrom => self.made_from(visit, steps),
                    Direction::WentInto => self.went_into(visit, steps),
                }
            }
        }
        self
    }

    /// A thing's links, as they are known.
    fn gather(&self, label: Label, to: &mut Vec<Step>, thought_of: &mut Vec<Source>) {
        let kept = self.view.book.links();
        if self.view.is_thought_of(label) {
            for (link, source) in self.view.links(label) {
                to.push(Step { link, source: place(kept.places() + thought_of.len()) });
                thought_of.push(source);
            }
            return;
        }
        let (links, first) = kept.of(label);
        let steps = links.iter().zip(first..).map(|(link, at)| Step { link: *link, source: place(at) });
        match self.view.is_whole() && links.iter().all(|link| !link.was_struck()) {
            true => to.extend(steps),
            false => to.extend(steps.filter(|step| {
                let source = kept.source(step.source as usize);
                source.is_some_and(|source| self.view.counts(source.seq, source.struck_by))
            })),
        }
    }

    fn facts(&self, label: Label) -> impl Iterator<Item = &'b Fact> + use<'b> {
        let at = self.at;
        self.view.facts(label).filter(move |fact| fact.at <= at)
    }

    /// The lay-up that an entry says of a thing.
    fn laid_by(&self, label: Label, seq: u32) -> Option<(&'b Fact, &'b Laid)> {
        let fact = self.view.facts(label).find(|fact| fact.seq == seq)?;
        if let What::Laid(laid) = &fact.what { Some((fact, laid)) } else { None }
    }

    /// The entry of a link, where links are asked for.
    fn seq(&self, steps: Steps<'_>, step: Step) -> u32 {
        if self.links.is_some() { steps.source(step).seq } else { 0 }
    }

    fn link(&mut self, from: Label, into: Label, seq: u32) {
        self.links.iter_mut().for_each(|links| links.push((from, into, seq)));
    }

    fn node(&mut self, kind: Kind, label: Label) {
        let nodes = &mut self.nodes;
        self.seen.entry(label).or_insert_with(|| {
            nodes.push((kind, label));
            false
        });
    }

    fn visit(&mut self, kind: Kind, label: Label) {
        let nodes = &mut self.nodes;
        let whole = self.seen.entry(label).or_insert_with(|| {
            nodes.push((kind, label));
            false
        });
        if !std::mem::replace(whole, true) && kind != self.last {
            self.open.push(Visit::Thing(kind, label));
        }
    }

    fn made_from(&mut self, visit: Visit, steps: Steps<'_>) {
        let (kind, label) = match visit {
            Visit::Thing(kind, label) => (kind, label),
            Visit::PartIn { boat, part, seq } => {
                let boats = boats_by(steps.along(Direction::WentInto).map(|step| (step.link, ())));
                if boats.iter().all(|(is_in, ())| *is_in != boat) {
                    return;
                }
                self.link(part, boat, seq);
                self.node(Kind::Part, part);
                (Kind::Part, part)
            }
            Visit::TakenBy { part, kit, only } => return self.taken_by(part, kit, only, steps),
            Visit::Plies { .. } => return,
        };
        match kind {
            Kind::Boat => {
                let parts = parts_by(steps.along(Direction::MadeFrom).map(|step| (step.link, self.seq(steps, step))));
                self.open.extend(parts.into_iter().map(|(part, seq)| Visit::PartIn { boat: label, part, seq }));
            }
            Kind::Part => {
                for step in steps.along(Direction::MadeFrom) {
                    self.laid(label, step.link, self.seq(steps, step), None);
                }
            }
            Kind::Kit | Kind::Roll => {
                for step in steps.along(Direction::MadeFrom) {
                    self.link(step.link.other, label, self.seq(steps, step));
                    self.visit(step.link.leads_to(), step.link.other);
                }
            }
            Kind::Run => {
                for (part, link, seq) in self.cured_in(label) {
                    self.node(Kind::Part, part);
                    self.laid(part, link, seq, Some(seq));
                }
            }
            Kind::Nest | Kind::Job => {
                for (_, roll, seq) in self.cuts(label) {
                    self.link(roll, label, seq);
                    self.visit(Kind::Roll, roll);
                }
            }
            _ => {}
        }
    }

    fn laid(&mut self, part: Label, link: Link, seq: u32, only: Option<u32>) {
        self.link(link.other, part, seq);
        if link.how == How::LaidFromRoll {
            return self.visit(Kind::Roll, link.other);
        }
        self.node(Kind::Kit, link.other);
        self.open.push(Visit::TakenBy { part, kit: link.other, only });
    }

    fn taken_by(&mut self, part: Label, kit: Label, only: Option<u32>, steps: Steps<'_>) {
        let into_part = steps.along(Direction::WentInto).filter(|laid| laid.link.other == part);
        for laid in into_part.filter(|laid| only.is_none_or(|only| steps.source(*laid).seq == only)) {
            if laid.link.how == How::LaidFromKit {
                // What the kit then held; if it held nothing by the times told, what it ever held.
                let none = steps.cut_by(laid).next().is_none();
                steps.cut_by(laid).for_each(|cut| self.take(cut.link.other, kit, steps));
                steps.all(Direction::MadeFrom).filter(|_| none).for_each(|cut| self.take(cut.link.other, kit, steps));
                continue;
            }
            let seq = steps.source(laid).seq;
            let Some((fact, named)) = self.laid_by(part, seq) else { continue };
            for item in laid_items(self.view, fact, named) {
                if item.seq == seq {
                    self.link(item.roll, kit, seq);
                }
                self.take(item.roll, kit, steps);
            }
        }
    }

    /// A roll's plies in a kit.
    fn take(&mut self, roll: Label, kit: Label, steps: Steps<'_>) {
        if self.links.is_some() {
            for cut in steps.along(Direction::MadeFrom).filter(|cut| cut.link.other == roll) {
                self.link(roll, kit, self.seq(steps, cut));
            }
        }
        self.visit(Kind::Roll, roll);
    }

    fn went_into(&mut self, visit: Visit, steps: Steps<'_>) {
        let (kind, label) = match visit {
            Visit::Thing(kind, label) => (kind, label),
            Visit::Plies { kit, roll } => return self.kit_went_into(kit, Some(roll), steps),
            Visit::PartIn { .. } | Visit::TakenBy { .. } => return,
        };
        match kind {
            Kind::Material => {
                let batches = self.view.book.labels().filter(|batch| self.is_of(*batch, label));
                batches.collect::<Vec<_>>().into_iter().for_each(|batch| self.visit(Kind::Batch, batch));
            }
            Kind::Batch => {
                for step in steps.along(Direction::WentInto) {
                    self.link(label, step.link.other, self.seq(steps, step));
                    self.visit(step.link.leads_to(), step.link.other);
                }
            }
            Kind::Roll => self.roll_went_into(label, steps),
            Kind::Kit => self.kit_went_into(label, None, steps),
            Kind::Part => {
                for (boat, step) in boats_by(steps.along(Direction::WentInto).map(|step| (step.link, step))) {
                    self.link(label, boat, self.seq(steps, step));
                    self.visit(Kind::Boat, boat);
                }
            }
            Kind::Run => self.cured_in(label).into_iter().for_each(|(part, ..)| self.visit(Kind::Part, part)),
            Kind::Nest | Kind::Job => {
                for (kit, _, seq) in self.cuts(label) {
                    self.link(label, kit, seq);
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

    fn roll_went_into(&mut self, roll: Label, steps: Steps<'_>) {
        for step in steps.along(Direction::WentInto) {
            match step.link.how {
                How::Cut => {
                    let kit = step.link.other;
                    self.link(roll, kit, self.seq(steps, step));
                    self.node(Kind::Kit, kit);
                    self.open.push(Visit::Plies { kit, roll });
                }
                // Named in a lay-up from a kit, which it may never have been cut into.
                How::Named => {
                    let seq = steps.source(step).seq;
                    if let Some((_, laid)) = self.laid_by(roll, seq) {
                        self.link(laid.from, laid.part, seq);
                        self.node(self.view.book.kind(laid.from), laid.from);
                        self.visit(Kind::Part, laid.part);
                    }
                }
                _ => {
                    self.link(roll, step.link.other, self.seq(steps, step));
                    self.visit(step.link.leads_to(), step.link.other);
                }
            }
        }
    }

    /// The parts a kit was laid into; of one roll's plies only those lay-ups that used them.
    fn kit_went_into(&mut self, kit: Label, roll: Option<Label>, steps: Steps<'_>) {
        for laid in steps.along(Direction::WentInto) {
            if roll.is_none_or(|roll| self.used(kit, roll, laid, steps)) {
                self.link(kit, laid.link.other, self.seq(steps, laid));
                self.visit(Kind::Part, laid.link.other);
            }
        }
    }

    fn used(&self, kit: Label, roll: Label, laid: Step, steps: Steps<'_>) -> bool {
        if laid.link.how == How::LaidFromKit {
            let mut cuts = steps.cut_by(laid).peekable();
            return cuts.peek().is_none() || cuts.any(|cut| cut.link.other == roll);
        }
        let named = self.laid_by(kit, steps.source(laid).seq);
        named.is_some_and(|(fact, laid)| laid_items(self.view, fact, laid).iter().any(|item| item.roll == roll))
    }

    /// The lay-ups that an oven run cured.
    fn cured_in(&self, run: Label) -> Vec<(Label, Link, u32)> {
        let mut found = Vec::new();
        for fact in self.facts(run) {
            let What::RunStarted(started) = &fact.what else { continue };
            for (part, stage) in &started.stages {
                let links = self.view.links(*part).into_iter();
                let by_then = links.filter(|(link, from)| link.way == Direction::MadeFrom && from.at <= self.at);
                let of_stage = |seq: u32| self.laid_by(*part, seq).is_some_and(|(_, laid)| laid.stage == *stage);
                found
                    .extend(by_then.filter(|(_, from)| of_stage(from.seq)).map(|(link, from)| (*part, link, from.seq)));
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
