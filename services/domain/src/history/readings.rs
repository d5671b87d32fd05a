//! Facts that can be read in more than one way: what was only told may not have been, and a put-away that is not surely
//! after its take-out may have counted all the same. The first reading gives nothing for such a fact; the others go on
//! beside it, and whatever any of them takes counts.

use super::fold::{Folding, State};
use super::{History, Lump, Puzzle, Return, Step, Stretches};
use crate::fact::Label;
use shared_types::Instant;
use std::mem::{replace, take};

/// One way to read the facts so far.
#[derive(Clone)]
pub(super) struct Reading {
    pub(super) state: State,
    /// The first put-away, whatever it did: a roll's is goods-in's.
    pub(super) first_put_away: Option<u32>,
    /// The returns on each way that led here, the first reading's first.
    pub(super) returns: Vec<Vec<Return>>,
    /// The scans of which a person named a put-away, as far as they are odd on this way too.
    pub(super) granted: Vec<u32>,
}

impl Default for Reading {
    fn default() -> Reading {
        Reading { state: State::default(), first_put_away: None, returns: vec![Vec::new()], granted: Vec::new() }
    }
}

/// How many readings are kept apart before those that are alike are one.
const READINGS: usize = 6;

/// More ways than these are counted as one on which every return of two of them was.
const WAYS: usize = 16;

impl Folding<'_> {
    pub(super) fn step(&mut self, step: &Step) {
        let others = take(&mut self.others);
        if step.waits() {
            self.others.extend(others.iter().cloned());
            self.read_beside(self.now.clone(), step);
        } else {
            self.now.granted.extend(Some(step.seq).filter(|_| step.granted));
            self.read(step);
        }
        for other in others {
            self.read_beside(other, step);
        }
        self.join_readings();
    }

    /// Reads a step in another way: it is charged and counted; what is shown stays that of the first reading.
    fn read_beside(&mut self, reading: Reading, step: &Step) {
        let (first, so_far) = (replace(&mut self.now, reading), take(&mut self.so_far));
        self.beside = true;
        if !step.granted {
            self.read(step);
        } else if let Some(step) = self.granted_beside(step) {
            self.now.granted.push(step.seq);
            self.read(&step);
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

    pub(super) fn returned(&mut self, seq: u32, out_from: Instant, at: Instant, back: Instant) {
        let of_kit = self.start.kit;
        if of_kit || self.now.first_put_away != Some(seq) {
            let one = Return { at, out_from, back, seq, of_kit };
            self.now.returns.iter_mut().for_each(|way| way.push(one));
        }
    }

    /// Readings that have the thing in the same place or out of the same, since the same time, are one from then on: the
    /// worse of them. Of many also those that have it there since another time, or in which not the same was odd.
    fn join_readings(&mut self) {
        for other in take(&mut self.others) {
            if self.now.state.is_same(&other.state) && self.now.granted == other.granted {
                self.now.join(other);
                continue;
            }
            let few = self.others.len() < READINGS;
            let alike = |one: &&mut Reading| match few {
                true => one.state.is_same(&other.state) && one.granted == other.granted,
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
        self.granted.retain(|scan| other.granted.contains(scan));
    }
}

/// Adds ways, but for those that another one covers.
pub(super) fn add_ways(ways: &mut Vec<Vec<Return>>, more: Vec<Vec<Return>>) {
    for way in more {
        if ways.iter().any(|other| covers(other, &way)) {
            continue;
        }
        let full = WAYS <= ways.len();
        match ways.last_mut().filter(|_| full) {
            Some(last) => unite(last, way),
            None => ways.push(way),
        }
    }
}

/// Whether every return of the one way is as long on the other. Mostly they differ in a few.
fn covers(other: &[Return], way: &[Return]) -> bool {
    let shared = other.iter().zip(way).take_while(|(other, own)| other == own).count();
    let (other, way) = (other.get(shared..).unwrap_or_default(), way.get(shared..).unwrap_or_default());
    let last = other.iter().rev().zip(way.iter().rev()).take_while(|(other, own)| other == own).count();
    let differ = |of: &'_ [Return]| of.len().saturating_sub(last);
    let is_as_long = |own: &Return, other: &Return| other.out_from <= own.out_from && own.back <= other.back;
    let mut other_differ = other.iter().take(differ(other));
    way.iter().take(differ(way)).all(|own| other_differ.any(|other| own.seq == other.seq && is_as_long(own, other)))
}

/// Every return of two ways, the longer where both have it.
fn unite(way: &mut Vec<Return>, other: Vec<Return>) {
    for one in other {
        match way.iter_mut().find(|own| own.seq == one.seq) {
            Some(own) => {
                own.out_from = own.out_from.min(one.out_from);
                own.back = own.back.max(one.back);
            }
            None => way.push(one),
        }
    }
    way.sort_by_key(|one| one.at);
}

impl State {
    fn is_same(&self, other: &State) -> bool {
        let since = |state: &State| match state {
            State::Unknown => None,
            State::In { entered, last_known, .. } => Some((*entered, *last_known)),
            State::Out { since, .. } => Some((*since, *since)),
        };
        self.is_like(other) && since(self) == since(other)
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
        let mut all = take(&mut self.stretches.all);
        all.extend(other.stretches.all.into_iter().filter(|stretch| !all.contains(stretch)).collect::<Vec<_>>());
        self.stretches = Stretches::new(all);
        self.add_lumps(other.lumps);
        self.takes_told = replace(&mut self.takes, other.takes);
        self.found.extend(other.found);
        // In the order in which it happened: the order of arrival must not show.
        let happened = |seq: u32| steps.iter().position(|step| step.seq == seq);
        self.found.sort_by_key(|found| (happened(found.seq), found.puzzle, found.since));
        self.found.dedup_by_key(|found| (found.seq, found.puzzle));
        // What was told makes no return undone.
        let mut ways = other.returns.into_iter();
        if let Some((own, other)) = self.returns.first_mut().zip(ways.next()) {
            unite(own, other);
        }
        add_ways(&mut self.returns, ways.collect());
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
