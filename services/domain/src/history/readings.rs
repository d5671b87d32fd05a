//! Facts that can be read in more than one way: what was only told may not have been, and a put-away that is not surely
//! after its take-out may have counted all the same. The first reading gives nothing for such a fact; the others go on
//! beside it, and whatever any of them takes counts.

use super::fold::{Folding, State};
use super::named::Named;
use super::returns::{Return, Way, add_ways};
use super::{History, Lump, Puzzle, Step, Stretches};
use crate::fact::Label;
use shared_types::Instant;
use std::mem::{replace, take};

/// One way to read the facts so far.
#[derive(Clone)]
pub(super) struct Reading {
    pub(super) state: State,
    /// The first put-away, whatever it did: a roll's is goods-in's.
    pub(super) first_put_away: Option<(u32, Instant)>,
    /// The returns on each way that led here since there was one reading alone, the first reading's first.
    pub(super) returns: Vec<Way>,
    /// What it made of the put-aways that a person named of scans to come.
    pub(super) named: Vec<(u32, Named)>,
    /// It can't have been so.
    pub(super) gone: bool,
}

impl Default for Reading {
    fn default() -> Reading {
        Reading {
            state: State::default(),
            first_put_away: None,
            returns: vec![Way::new()],
            named: Vec::new(),
            gone: false,
        }
    }
}

/// How many readings are kept apart before those that are alike are one.
const READINGS: usize = 6;

impl Folding<'_> {
    pub(super) fn step(&mut self, step: &Step) {
        let others = take(&mut self.others);
        if step.waits() {
            // Without the scan nobody named a put-away of it.
            let named = |reading: &&Reading| reading.named.contains(&(step.seq, Named::Put));
            self.others.extend(others.iter().filter(|other| !named(other)).cloned());
            self.read_beside(self.now.clone(), step);
        } else if !step.granted {
            self.read(step);
        } else if self.is_granted_first(step) {
            self.named_first(step);
        } else {
            self.perhaps_named(step);
        }
        for other in others {
            self.read_beside(other, step);
        }
        self.others.retain(|other| !other.gone);
        if !step.granted || self.is_past(step) {
            let all = std::iter::once(&mut self.now).chain(&mut self.others);
            all.for_each(|reading| reading.named.retain(|(scan, _)| *scan != step.seq));
        }
        self.join_readings();
        if self.others.is_empty() && 1 < self.now.returns.len() {
            self.returns.push(replace(&mut self.now.returns, vec![Way::new()]));
        }
    }

    /// Reads a step in another way: it is charged and counted; what is shown stays that of the first reading.
    fn read_beside(&mut self, reading: Reading, step: &Step) {
        let (first, so_far) = (replace(&mut self.now, reading), take(&mut self.so_far));
        self.beside = true;
        match step.granted {
            true => self.named_beside(step),
            false => self.read(step),
        }
        self.beside = false;
        let (reading, beside) = (replace(&mut self.now, first), replace(&mut self.so_far, so_far));
        self.others.push(reading);
        self.so_far.take_over(beside);
    }

    /// It may have come back all the same. The clock runs on, for nothing is given for it; but it may be a return, and
    /// the next put-away into that place a take-out with the wrong placard.
    pub(super) fn perhaps_back(&mut self, step: &Step, place: Label, since: Instant, end: Instant) {
        let (out, so_far) = (self.now.clone(), take(&mut self.so_far));
        self.back(step, place, since, end);
        let back = replace(&mut self.now, out);
        self.so_far = so_far;
        self.others.push(back);
    }

    /// A put-away that a person named of a scan that may become odd only later on: from here on it may have been.
    fn perhaps_named(&mut self, step: &Step) {
        let without = self.others.len();
        self.read_beside(self.now.clone(), step);
        // What `named_beside` leaves as it was is the first reading itself.
        if 1 < self.others.len() - without {
            self.others.remove(without);
            self.now.named.push((step.seq, Named::NotPut));
        } else if let Some(same) = self.others.pop() {
            self.now.named = same.named;
        }
    }

    pub(super) fn returned(&mut self, seq: u32, out_from: Instant, at: Instant, back: Instant) {
        let of_kit = self.start.kit;
        if of_kit || self.now.first_put_away != Some((seq, at)) {
            let one = Return { at, out_from, back, seq, of_kit };
            for way in &mut self.now.returns {
                way.insert(way.partition_point(|other| other.at <= at), one);
            }
        }
    }

    /// Readings that have the thing in the same place or out of the same, since the same time, are one from then on: the
    /// worse of them. Of many also those that have it there since another time, or in which not the same was odd.
    fn join_readings(&mut self) {
        for other in take(&mut self.others) {
            if self.now.state.is_same(&other.state) && self.now.named == other.named {
                self.now.join(other);
                continue;
            }
            let few = self.others.len() < READINGS;
            let alike = |one: &&mut Reading| match few {
                true => one.state.is_same(&other.state) && one.named == other.named,
                false => one.state.is_like(&other.state),
            };
            match self.others.iter_mut().find(alike) {
                Some(same) => same.join(other),
                None => self.others.push(other),
            }
        }
    }
}

impl Reading {
    fn join(&mut self, other: Reading) {
        self.state.worsen(other.state);
        self.first_put_away = self.first_put_away.or(other.first_put_away);
        add_ways(&mut self.returns, other.returns);
        self.named.retain(|one| other.named.contains(one));
    }
}

impl State {
    fn is_same(&self, other: &State) -> bool {
        match (self, other) {
            (
                State::In { entered, last_known, .. },
                State::In { entered: other_entered, last_known: other_known, .. },
            ) => self.is_like(other) && (entered, last_known) == (other_entered, other_known),
            // What has to come after more take-outs may come back later.
            (State::Out { since, takes, .. }, State::Out { since: other_since, takes: other_takes, .. }) => {
                self.is_like(other) && (since, takes) == (other_since, other_takes)
            }
            (_, _) => self.is_like(other),
        }
    }

    /// In the same place, or out of the same: what a person says of a later scan may put it back there.
    fn is_like(&self, other: &State) -> bool {
        match (self, other) {
            (State::Unknown, State::Unknown) => true,
            (State::Out { from, .. }, State::Out { from: other, .. }) => from == other,
            (State::In { place, .. }, State::In { place: other, .. }) => place == other,
            (_, _) => false,
        }
    }

    fn worsen(&mut self, other: State) {
        match (self, other) {
            (
                State::In { entered, last_known, .. },
                State::In { entered: other_entered, last_known: other_known, .. },
            ) => {
                *entered = other_entered.min(*entered);
                *last_known = other_known.min(*last_known);
            }
            (State::Out { since, takes, .. }, State::Out { since: other_since, takes: other_takes, .. }) => {
                *since = other_since.min(*since);
                takes.extend(other_takes.into_iter().filter(|take| !takes.contains(take)).collect::<Vec<_>>());
            }
            (_, _) => {}
        }
    }
}

impl History {
    /// Of a step that was read in another way only what it charges, and what has to be asked for that.
    fn take_over(&mut self, beside: History) {
        let charged = |puzzle| matches!(puzzle, Puzzle::InWhileIn | Puzzle::InWhileInElsewhere);
        for found in beside.found.into_iter().filter(|found| charged(found.puzzle)) {
            if self.found.iter().all(|own| (own.seq, own.puzzle) != (found.seq, found.puzzle)) {
                self.found.push(found);
            }
        }
        self.add_lumps(beside.lumps);
    }

    /// Takes the worse of two readings of the same facts, this one with the take-outs that were only told and the other
    /// without.
    pub(super) fn join(&mut self, other: History, steps: &[Step]) {
        let mut all = self.stretches.all.to_vec();
        all.extend(other.stretches.all.iter().filter(|stretch| !self.stretches.all.contains(stretch)));
        self.stretches = Stretches::new(all);
        self.add_lumps(other.lumps);
        self.takes_told = replace(&mut self.takes, other.takes);
        self.found.extend(other.found);
        // In the order in which it happened: the order of arrival must not show.
        let happened = |seq: u32| steps.iter().position(|step| step.seq == seq);
        self.found.sort_by_key(|found| (happened(found.seq), found.puzzle, found.since));
        self.found.dedup_by_key(|found| (found.seq, found.puzzle));
        self.returns.join(other.returns);
    }

    /// No settlement is charged twice; in readings that have it at different times it is at the earliest.
    pub(super) fn add_lumps(&mut self, lumps: Vec<Lump>) {
        for lump in lumps {
            match self.lumps.iter_mut().find(|own| own.seq == lump.seq) {
                Some(own) => own.at = own.at.min(lump.at),
                None => self.lumps.push(lump),
            }
        }
    }
}
