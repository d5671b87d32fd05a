//! The links between things, kept beside the facts that say so and filtered alike. They are small, few and close
//! together, so that a trace through thousands of things reads little memory: a roll's hundred scans are not among them.

use crate::fact::{Fact, Label, NEVER, What};
use shared_types::{Direction, Instant, Kind};

/// One link, as it is kept with one of the two things it joins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Link {
    pub other: Label,
    /// Whether this thing is made from the other, or went into it.
    pub way: Direction,
    pub how: How,
    struck: bool,
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

/// The fact that a link comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Source {
    pub at: Instant,
    pub seq: u32,
    pub struck_by: u32,
}

/// Every thing's links, in occurred order. Where they come from lies apart: most questions need not look.
#[derive(Default, Clone)]
pub struct Links {
    spans: Vec<Span>,
    links: Vec<Link>,
    sources: Vec<Source>,
    /// Where there is room that was outgrown, by its size: 1, 2, 4 ...
    free: [Vec<u32>; 32],
    latest: Option<Instant>,
}

/// Where a thing's links stand. There is room for the next power of two.
#[derive(Clone, Copy, Default)]
struct Span {
    start: u32,
    count: u32,
}

impl Span {
    fn room(self) -> usize {
        if self.count == 0 { 0 } else { (self.count as usize).next_power_of_two() }
    }
}

impl Links {
    /// A new thing, which has none.
    pub(crate) fn add_thing(&mut self) {
        self.spans.push(Span::default());
    }

    /// A thing's links, and the place of the first one.
    pub fn of(&self, label: Label) -> (&[Link], usize) {
        let Span { start, count } = self.spans.get(label as usize).copied().unwrap_or_default();
        let (start, count) = (start as usize, count as usize);
        (self.links.get(start..start + count).unwrap_or_default(), start)
    }

    /// Looks at where the links of all these things stand, without following any: the memory is fetched for all of them
    /// at the same time then, and not for one after the other when they are read.
    pub(crate) fn fetch(&self, labels: impl Iterator<Item = Label>) {
        let first = |label: Label| {
            let start = self.spans.get(label as usize).map_or(0, |span| span.start);
            self.links.get(start as usize).map_or(0, |link| link.other)
        };
        std::hint::black_box(labels.map(first).fold(0, |all, one| all ^ one));
    }

    /// One more than the last place.
    pub fn places(&self) -> usize {
        self.sources.len()
    }

    pub fn source(&self, place: usize) -> Option<Source> {
        self.sources.get(place).copied()
    }

    /// Whether nothing that is kept here occurred later.
    pub fn all_by(&self, at: Instant) -> bool {
        self.latest.is_none_or(|latest| latest <= at)
    }

    /// Puts in what a fact says of a thing, before the links of the facts that come `later` within the same instant.
    pub(crate) fn keep(&mut self, label: Label, fact: &Fact, later: &[Fact]) {
        let mut found = Vec::new();
        each(label, fact, |link| found.push(link));
        if found.is_empty() {
            return;
        }
        let (links, start) = self.of(label);
        let sources = self.sources.get(start..start + links.len()).unwrap_or_default();
        let by_then = sources.partition_point(|source| source.at <= fact.at);
        let later = sources.iter().take(by_then).position(|source| later.iter().any(|fact| fact.seq == source.seq));
        let place = later.unwrap_or(by_then);
        for (offset, link) in found.into_iter().enumerate() {
            self.insert(label, place + offset, link, Source { at: fact.at, seq: fact.seq, struck_by: fact.struck_by });
        }
        self.latest = self.latest.max(Some(fact.at));
    }

    fn insert(&mut self, label: Label, at: usize, link: Link, source: Source) {
        let Some(span) = self.spans.get_mut(label as usize) else { return };
        let (start, count) = (span.start as usize, span.count as usize);
        let mut begin = start;
        if count == span.room() {
            let size = (count + 1).next_power_of_two();
            let reused = self.free.get_mut(size.ilog2() as usize).and_then(Vec::pop);
            begin = reused.map_or(self.links.len(), |place| place as usize);
            if reused.is_none() {
                self.links.resize(begin + size, link);
                self.sources.resize(begin + size, source);
            }
            self.links.copy_within(start..start + count, begin);
            self.sources.copy_within(start..start + count, begin);
            let outgrown = count.checked_ilog2().and_then(|size| self.free.get_mut(size as usize));
            outgrown.into_iter().for_each(|free| free.push(span.start));
            span.start = u32::try_from(begin).unwrap_or(u32::MAX);
        }
        span.count += 1;
        let end = begin + count + 1;
        if let (Some(links), Some(sources)) =
            (self.links.get_mut(begin + at..end), self.sources.get_mut(begin + at..end))
        {
            links.rotate_right(1);
            sources.rotate_right(1);
            if let (Some(to_link), Some(to_source)) = (links.first_mut(), sources.first_mut()) {
                (*to_link, *to_source) = (link, source);
            }
        }
    }

    /// The entry was struck.
    pub(crate) fn strike(&mut self, label: Label, seq: u32, by_seq: u32) {
        let Some(Span { start, count }) = self.spans.get(label as usize).copied() else { return };
        let (start, count) = (start as usize, count as usize);
        let both = self.links.iter_mut().zip(&mut self.sources);
        for (link, source) in both.skip(start).take(count).filter(|(_, source)| source.seq == seq) {
            link.struck = true;
            source.struck_by = by_seq;
        }
    }
}

impl Link {
    pub fn was_struck(self) -> bool {
        self.struck
    }

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
pub(crate) fn each(label: Label, fact: &Fact, mut give: impl FnMut(Link)) {
    use Direction::{MadeFrom, WentInto};
    let struck = fact.struck_by != NEVER;
    let mut give = |how: How, way: Direction, other: Label| give(Link { other, way, how, struck });
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fact::Marks;
    use proptest::prelude::*;

    fn installed(part: Label, at: i64, seq: u32) -> Fact {
        let what = What::Installed { part, boat: 0 };
        let at = Instant(at);
        Fact {
            at,
            uncertain_ms: 0,
            seq,
            struck_by: NEVER,
            counter: None,
            device: None,
            by: 0,
            rank: 0,
            marks: Marks::default(),
            what,
        }
    }

    proptest! {
        /// However they come and whatever is struck: each thing's links stand in the order of its facts, and nothing of
        /// what was outgrown shows.
        #[test]
        fn links_stand_as_their_facts_do(facts in prop::collection::vec((1..6_u32, 0..9_i64, any::<bool>()), 0..80)) {
            let mut links = Links::default();
            (0..6).for_each(|_| links.add_thing());
            let mut kept: Vec<Vec<Fact>> = vec![Vec::new(); 6];
            for (seq, (part, at, struck)) in (1..).zip(facts) {
                let fact = installed(part, at, seq);
                for label in [0, part] {
                    // Within one instant the later number stands first here, so that some come before what is there.
                    let facts = &mut kept[label as usize];
                    let place = facts.partition_point(|other| other.at < fact.at);
                    let later: Vec<Fact> = facts[place..].iter().take_while(|other| other.at == fact.at).cloned().collect();
                    links.keep(label, &fact, &later);
                    facts.insert(place, fact.clone());
                    if struck {
                        links.strike(label, seq, seq + 1);
                        facts[place].struck_by = seq + 1;
                    }
                }
            }
            for (label, facts) in (0..).zip(&kept) {
                let (found, first) = links.of(label);
                let found: Vec<_> = found.iter().zip(first..).map(|(link, place)| (*link, links.source(place).unwrap())).collect();
                let mut said = Vec::new();
                for fact in facts {
                    let source = Source { at: fact.at, seq: fact.seq, struck_by: fact.struck_by };
                    each(label, fact, |link| said.push((link, source)));
                }
                prop_assert_eq!(found, said);
            }
        }
    }
}
