//! A put-away that a person named: nobody scanned it, and it is put into history where it happened.

use super::fold::{Folding, Start, State};
use super::readings::Reading;
use super::{Found, History, Puzzle, Step, StepAct};
use crate::fact::Label;
use crate::view::View;
use shared_types::Instant;

/// A mismatch that a put-away at a named time settles.
#[derive(Clone, Copy)]
pub(super) struct Granted {
    pub(super) found: Found,
    /// When it was put away.
    at: Instant,
    /// When the scan was of which that was said. It may be before, where its clock is not sure.
    scan: Instant,
    /// It is odd only where the facts are read in another way than first of all.
    beside: bool,
}

impl Granted {
    pub(super) fn is_of(&self, seq: u32, puzzle: Puzzle) -> bool {
        (self.found.seq, self.found.puzzle) == (seq, puzzle)
    }
}

/// What a reading made of a put-away that a person named, until it comes to the scan of which that was said.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Named {
    Put,
    /// Another reading, which is the same but for that, has it.
    NotPut,
    /// It was inside at that time: what was said holds there only if it is taken out in between.
    Inside {
        last_known: Instant,
        end: Instant,
    },
}

/// A put-away that a person named is put where it happened, and everything is looked at again: it changes what comes
/// after it. Each mismatch is settled so once.
pub(super) fn folded(view: View<'_>, start: Start, mut steps: Vec<Step>) -> History {
    let mut granted: Vec<Granted> = Vec::new();
    loop {
        let mut folding = Folding::new(view, start, &granted);
        folding.over(&steps);
        let Some((step, grant)) = folding.grant.take() else {
            let mut history = folding.finish();
            for one in granted {
                if history.found.iter().all(|own| !one.is_of(own.seq, own.puzzle)) {
                    history.found.push(one.found);
                }
            }
            return history;
        };
        // It was odd on another way, and now is as the facts are read first of all: there it may be in another place.
        if granted.iter().any(|one| one.is_of(grant.found.seq, grant.found.puzzle)) {
            granted.retain(|one| !one.is_of(grant.found.seq, grant.found.puzzle));
            steps.retain(|one| !one.granted || (one.seq, one.at) != (step.seq, step.at));
        }
        steps.insert(steps.partition_point(|other| other.at < step.at), step);
        granted.push(grant);
    }
}

impl Folding<'_> {
    /// Of this scan a person named a put-away, and that is in history on the way that is being read.
    pub(super) fn is_granted(&self, step: &Step) -> bool {
        step.granted
            || match self.beside {
                true => self.now.named.contains(&(step.seq, Named::Put)),
                false => self.is_granted_first(step),
            }
    }

    /// The same, as the facts are read first of all.
    pub(super) fn is_granted_first(&self, step: &Step) -> bool {
        let is_it = |one: &Granted| one.found.seq == step.seq && (!step.granted || one.at == step.at);
        self.granted.iter().any(|one| !one.beside && is_it(one))
    }

    /// The scan of which a person named this put-away was before it.
    pub(super) fn is_past(&self, step: &Step) -> bool {
        self.granted.iter().any(|one| (one.found.seq, one.at) == (step.seq, step.at) && one.scan < one.at)
    }

    /// Comes to a put-away that a person named of a scan that is odd as the facts are read first of all. What was told in
    /// between may make that scan an ordinary one: so a reading without it goes on until that is known.
    pub(super) fn named_first(&mut self, step: &Step) {
        let without = (!self.is_past(step)).then(|| self.now.clone());
        self.now.named.push((step.seq, Named::Put));
        self.read(step);
        if let Some(without) = without {
            self.not_put(without, step);
        }
    }

    fn not_put(&mut self, mut without: Reading, step: &Step) {
        without.named.push((step.seq, Named::NotPut));
        self.others.push(without);
    }

    /// The same on another way than the first. Where what made that person name it may be odd there too, it is made, in the
    /// place where the thing was last on that way.
    pub(super) fn named_beside(&mut self, step: &Step) {
        let StepAct::PutAway { place: into, rack_ms } = step.act else { return };
        let named = self.granted.iter().find(|one| (one.found.seq, one.at) == (step.seq, step.at));
        let (Some(puzzle), is_past) = (named.map(|one| one.found.puzzle), self.is_past(step)) else { return };
        let (way, place) = match (&self.now.state, puzzle) {
            (State::In { place, .. }, Puzzle::OutWhileOut) if is_past => (Named::Put, *place),
            (State::In { .. }, _) if is_past => (Named::Put, into),
            (State::In { place, .. }, Puzzle::InWhileIn) if *place == into => (Named::Put, into),
            (State::In { place, .. }, Puzzle::InWhileInElsewhere) if *place != into => (Named::Put, into),
            (State::Unknown, _) | (State::In { .. }, Puzzle::InWhileIn | Puzzle::InWhileInElsewhere) => return,
            (State::Out { from: Some(from), .. }, Puzzle::OutWhileOut) => (Named::Put, *from),
            (State::Out { from: None, .. }, Puzzle::OutWhileOut) => return,
            (State::Out { .. }, _) => (Named::Put, into),
            (State::In { place, last_known, .. }, puzzle) => {
                let rack_ms = if puzzle == Puzzle::OutWhileOut { self.rack_ms(*place, step.at) } else { rack_ms };
                (Named::Inside { last_known: *last_known, end: step.latest.plus_ms(rack_ms) }, *place)
            }
        };
        let without = self.now.clone();
        self.now.named.push((step.seq, way));
        if way == Named::Put {
            let rack_ms = if place == into { rack_ms } else { self.rack_ms(place, step.at) };
            self.read(&Step { act: StepAct::PutAway { place, rack_ms }, ..*step });
            self.not_put(without, step);
        }
    }

    /// A put-away that nobody scanned, at a time a person named, in the scan's place or, out while out, in the last.
    pub(super) fn put_away_at(
        &mut self,
        puzzle: Puzzle,
        step: &Step,
        since: Instant,
        (at, place): (Instant, Option<Label>),
    ) {
        let last = match &self.now.state {
            State::Out { from, .. } => *from,
            State::In { place, .. } => Some(*place),
            State::Unknown => None,
        };
        let into = if puzzle == Puzzle::OutWhileOut { last } else { place };
        let Some(into) = into else { return self.unsafe_way(puzzle, step, since) };
        let act = StepAct::PutAway { place: into, rack_ms: self.rack_ms(into, at) };
        let found = self.so_far.found.pop();
        let found = found.unwrap_or(Found { seq: step.seq, puzzle, since, place, settled_by: None });
        let put_away = Step { at, earliest: at, latest: at, device: None, told: false, granted: true, act, ..*step };
        let granted = Granted { found, at, scan: step.at, beside: self.beside };
        self.grant.get_or_insert((put_away, granted));
    }

    /// The same in another reading than the first.
    pub(super) fn put_away_beside(
        &mut self,
        puzzle: Puzzle,
        step: &Step,
        since: Instant,
        (at, place): (Instant, Option<Label>),
    ) {
        let named = self.now.named.iter().find(|(seq, _)| *seq == step.seq).map(|(_, named)| *named);
        match named {
            Some(Named::NotPut) => self.now.gone = true,
            // As any put-away where it is in already: out since it was last known there.
            Some(Named::Inside { last_known, end }) => {
                self.now.first_put_away.get_or_insert((step.seq, at));
                self.stretch(last_known, end, step.seq, Some(step.seq));
                self.returned(step.seq, last_known, at, end);
                if let State::Out { since, .. } = &mut self.now.state {
                    *since = at.max(*since);
                }
                if puzzle == Puzzle::OutWhileOut {
                    self.out_again(step);
                }
            }
            _ if self.granted.iter().any(|one| one.is_of(step.seq, puzzle)) => {
                self.named_too_late(puzzle, step, since, at);
            }
            _ => self.put_away_at(puzzle, step, since, (at, place)),
        }
    }

    /// Readings were put together since that time, or what was said did not look as if it could be meant for this one: it
    /// counts as out until that time and the scan, or runs on; and as a return.
    fn named_too_late(&mut self, puzzle: Puzzle, step: &Step, since: Instant, at: Instant) {
        match (puzzle, step.act) {
            (
                Puzzle::InWhileIn | Puzzle::InWhileInElsewhere,
                StepAct::PutAway { place, rack_ms } | StepAct::SeenInside { place, rack_ms },
            ) => self.back(step, place, since, step.latest.max(at).plus_ms(rack_ms)),
            (_, _) => {
                let in_a_place = match (puzzle, &self.now.state) {
                    (Puzzle::SeenInsideWhileOut, _) => true,
                    (_, State::Out { from, .. }) => puzzle == Puzzle::OutWhileOut && from.is_some(),
                    (_, _) => false,
                };
                if in_a_place {
                    self.returned(step.seq, since, at.max(since), at.max(step.latest));
                }
                self.unsafe_way(puzzle, step, since);
            }
        }
    }
}
