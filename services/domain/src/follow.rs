//! One thing's links while they are followed: which lead where, and which had occurred. Where a link comes from is looked
//! up only when that matters.

use crate::fact::Label;
use crate::links::{How, Link, Links, Source};
use shared_types::{Direction, Instant};
use std::hash::{BuildHasherDefault, Hasher};

/// A link, and where it comes from: the place of that in the book, or behind those among what is only thought of.
#[derive(Clone, Copy)]
pub(crate) struct Step {
    pub(crate) link: Link,
    pub(crate) source: u32,
}

/// One thing's links.
#[derive(Clone, Copy)]
pub(crate) struct Steps<'s> {
    pub(crate) steps: &'s [Step],
    pub(crate) kept: &'s Links,
    pub(crate) thought_of: &'s [Source],
    /// The time asked for, if some link occurred later.
    pub(crate) by: Option<Instant>,
}

impl<'s> Steps<'s> {
    pub(crate) fn source(self, step: Step) -> Source {
        let place = step.source as usize;
        let thought_of = || self.thought_of.get(place - self.kept.places()).copied();
        self.kept.source(place).or_else(thought_of).unwrap_or(Source { at: Instant::MAX, seq: 0, struck_by: 0 })
    }

    /// Those that lead this way.
    pub(crate) fn all(self, way: Direction) -> impl Iterator<Item = Step> + Clone + use<'s> {
        self.steps.iter().copied().filter(move |step| step.link.way == way)
    }

    /// Those that lead this way and had occurred.
    pub(crate) fn along(self, way: Direction) -> impl Iterator<Item = Step> + Clone + use<'s> {
        self.all(way).filter(move |step| self.by.is_none_or(|by| self.source(*step).at <= by))
    }

    /// The cuts of a kit that had been made when it was laid. They stand before it, or within the same instant.
    pub(crate) fn cut_by(self, laid: Step) -> impl Iterator<Item = Step> + Clone + use<'s> {
        let cuts = self.all(Direction::MadeFrom);
        cuts.filter(move |cut| cut.source < laid.source || self.source(*cut).at <= self.source(laid).at)
    }
}

pub(crate) fn place(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

/// The parts that a boat's links have put into it, each with the first entry that did. A part that was installed
/// elsewhere later is still among them.
pub(crate) fn parts_by(links: impl Iterator<Item = (Link, u32)>) -> Vec<(Label, u32)> {
    let mut parts: Vec<(Label, u32)> = Vec::new();
    for (link, seq) in links {
        match link.how {
            How::Installed => parts.push((link.other, seq)),
            How::Removed => parts.retain(|(other, _)| *other != link.other),
            _ => {}
        }
    }
    parts.sort_unstable();
    parts.dedup_by_key(|(part, _)| *part);
    parts
}

/// The boats that a part's links have put it into, the last one last, each with what came with that link. One that
/// nobody removed it from keeps it, also when it was installed in another later: a trace never loses a part.
pub(crate) fn boats_by<T>(links: impl Iterator<Item = (Link, T)>) -> Vec<(Label, T)> {
    let mut boats: Vec<(Label, T)> = Vec::new();
    for (link, with) in links.filter(|(link, _)| matches!(link.how, How::Installed | How::Removed)) {
        boats.retain(|(boat, _)| *boat != link.other);
        if link.how == How::Installed {
            boats.push((link.other, with));
        }
    }
    boats
}

/// Labels are numbers that the book gave out itself: scattering them a little is enough.
#[derive(Default)]
pub(crate) struct Scatter(u64);

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

pub(crate) type Scattered = BuildHasherDefault<Scatter>;
