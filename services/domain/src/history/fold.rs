//! The fold itself: one state, one step at a time, and no scan is swallowed as a repeat.

use super::named::{Granted, folded};
use super::readings::Reading;
use super::returns::{Returns, Way, add_ways};
use super::settled::Settled;
use super::{Found, History, Puzzle, Spot, Step, StepAct, Stretch, Stretches, Take};
use crate::cold::Storage;
use crate::fact::Label;
use crate::view::View;
use shared_types::Instant;

/// Where the clock begins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Start {
    /// From here on it is charged on top of its opening.
    pub from: Instant,
    /// Between an opening and the first fact: out, unless it came in a frozen place.
    pub before_first_fact: Before,
    /// A roll's first put-away is goods-in's, a kit's is a return.
    pub kit: bool,
    /// The warmest that it may be stored at.
    pub storage: Option<Storage>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Before {
    Nothing,
    Out { seq: u32, since: Instant },
    OnItsWay { place: Label, since: Instant },
}

#[derive(Clone, Default)]
pub(super) enum State {
    #[default]
    Unknown,
    In {
        place: Label,
        /// When it came in there.
        entered: Instant,
        last_known: Instant,
    },
    /// Since when, by which entry, and which scans a put-away must come after.
    Out { since: Instant, seq: u32, takes: Vec<(Instant, Option<Label>)>, from: Option<Label> },
}

/// Folds the steps. A told take-out counts at once, and changes nothing inside a stretch that counts as out anyway;
/// whatever counts as out without the told take-outs counts as out with them.
pub fn fold(view: View<'_>, steps: &[Step], start: Start) -> History {
    let told = |step: &&Step| step.told && !step.waits();
    if !steps.iter().any(|step| told(&step)) {
        return folded(view, start, steps.to_vec());
    }
    let asking = |step: &Step| Step { asks: told(&step), ..*step };
    let without = folded(view, start, steps.iter().map(asking).collect());
    // By the scans alone: what was told may not have been.
    let is_scan = |step: &&Step| !step.waits();
    let scanned = steps.iter().any(Step::waits).then(|| steps.iter().filter(is_scan).map(asking).collect());
    let scanned = scanned.map(|scans| folded(view, start, scans));
    let out_anyway = |step: &Step| {
        let by_scans = scanned.as_ref().unwrap_or(&without);
        let around = by_scans.stretches.around(step.earliest);
        by_scans.asked_out.contains(&step.seq) && around.is_some_and(|(_, to)| step.latest < to)
    };
    let counts = |step: &&Step| !told(step) || !out_anyway(step);
    if steps.iter().filter(told).all(out_anyway) {
        return without;
    }
    let mut with = folded(view, start, steps.iter().filter(counts).copied().collect());
    with.join(without, steps);
    with
}

pub(super) struct Folding<'b> {
    pub(super) view: View<'b>,
    pub(super) start: Start,
    pub(super) granted: &'b [Granted],
    /// What to put into history before looking again.
    pub(super) grant: Option<(Step, Granted)>,
    /// How the facts are read first of all: what is shown, and most of what is asked, comes of it.
    pub(super) now: Reading,
    /// How else they can be read, for what that takes.
    pub(super) others: Vec<Reading>,
    /// One of those is being read.
    pub(super) beside: bool,
    stretches: Vec<Stretch>,
    /// The ways up to where there was one reading alone, part after part.
    pub(super) returns: Vec<Vec<Way>>,
    pub(super) so_far: History,
}

impl<'b> Folding<'b> {
    pub(super) fn new(view: View<'b>, start: Start, granted: &'b [Granted]) -> Folding<'b> {
        Folding {
            view,
            start,
            granted,
            grant: None,
            now: Reading::default(),
            others: Vec::new(),
            beside: false,
            stretches: Vec::new(),
            returns: Vec::new(),
            so_far: History::default(),
        }
    }

    pub(super) fn over(&mut self, steps: &[Step]) {
        // Mostly every step is a place, every second one a stretch's end.
        self.so_far.spots.reserve(steps.len() + 1);
        self.stretches.reserve(steps.len() / 2 + 1);
        let mut happens = steps.iter().filter(|step| !step.asks);
        let first = happens.clone().next();
        self.before(happens.find(|step| !step.waits()).map(|step| step.at));
        // What was told of the time before makes it not out from the beginning on.
        if matches!((&self.now.state, first), (State::Out { since, .. }, Some(first)) if first.at < *since) {
            self.others.push(Reading::default());
        }
        for step in steps {
            if step.asks {
                let out = matches!(self.now.state, State::Out { .. });
                self.so_far.asked_out.extend(Some(step.seq).filter(|_| out));
                continue;
            }
            self.step(step);
            if self.grant.is_some() {
                return;
            }
        }
    }

    pub(super) fn finish(mut self) -> History {
        self.runs_on();
        for other in std::mem::take(&mut self.others) {
            let main = std::mem::replace(&mut self.now, other);
            self.runs_on();
            let other = std::mem::replace(&mut self.now, main);
            add_ways(&mut self.now.returns, other.returns);
        }
        self.returns.push(self.now.returns);
        self.so_far.returns = Returns::new(self.returns);
        self.so_far.stretches = Stretches::new(std::mem::take(&mut self.stretches));
        self.so_far.spots.sort_by_key(|(at, _)| *at);
        self.so_far
    }

    fn runs_on(&mut self) {
        if let State::Out { since, seq, .. } = self.now.state {
            self.stretch(since, Instant::MAX, seq, None);
        }
        self.leaves(Instant::MAX);
    }

    pub(super) fn rack_ms(&self, place: Label, at: Instant) -> i64 {
        self.view.place(place, at).and_then(|place| place.rack_s).map_or(0, |rack| rack.as_ms())
    }

    fn before(&mut self, first: Option<Instant>) {
        let early = |since: Instant| first.is_none_or(|first| since <= first);
        match self.start.before_first_fact {
            Before::Out { seq, since } if early(since) => {
                self.now.state = State::Out { since, seq, takes: Vec::new(), from: None };
                self.spot(since, Spot::Out(None));
            }
            Before::OnItsWay { place, since } if early(since) => {
                self.spot(since, Spot::OnItsWay(place));
                for (from, to) in self.view.thaws(place, since, self.start.storage) {
                    self.stretch(from, to.min(first.unwrap_or(Instant::MAX)), 0, None);
                }
            }
            Before::Nothing | Before::Out { .. } | Before::OnItsWay { .. } => {}
        }
    }

    /// Reads a step on the way that is being read.
    pub(super) fn read(&mut self, step: &Step) {
        match step.act {
            StepAct::TakenOut { .. } => self.so_far.takes.push(Take::of(step)),
            StepAct::PutAway { .. } => _ = self.now.first_put_away.get_or_insert((step.seq, step.at)),
            StepAct::Received | StepAct::SeenInside { .. } | StepAct::Outside { .. } => {}
        }
        match (&self.now.state, step.act) {
            (State::Unknown, StepAct::PutAway { place, .. } | StepAct::SeenInside { place, .. }) => {
                self.inside(place, step)
            }
            (State::Unknown, StepAct::TakenOut { to, .. }) => self.out(step.earliest, step, to, Some(step)),
            // A cut joins the kit's history to its roll's at the time that was said.
            (State::Unknown, StepAct::Outside { place: None }) if self.start.kit => self.out(step.at, step, None, None),
            (State::Unknown, StepAct::Outside { place }) => self.out(step.earliest, step, place, None),
            (State::Unknown, StepAct::Received) => self.out(step.earliest, step, None, None),
            (State::In { .. } | State::Out { .. }, StepAct::Received) => {}

            (State::Out { since, takes, .. }, StepAct::PutAway { place, rack_ms }) => {
                let since = *since;
                let after = |(latest, device): &(Instant, Option<Label>)| {
                    device.is_some() && *device == step.device || *latest < step.earliest
                };
                match takes.iter().all(after) {
                    true => self.back(step, place, since, step.latest.plus_ms(rack_ms)),
                    false if self.is_granted(step) => {}
                    false => self.puzzle(Puzzle::PutAwayNotAfterTakeOut, step, since, Some(place)),
                }
            }
            (State::Out { .. }, StepAct::SeenInside { .. }) if self.is_granted(step) => {}
            (State::Out { since, .. }, StepAct::SeenInside { place, .. }) => {
                self.puzzle(Puzzle::SeenInsideWhileOut, step, *since, Some(place));
            }
            (State::Out { .. }, StepAct::TakenOut { .. }) if self.is_granted(step) => self.out_again(step),
            (State::Out { since, from, .. }, StepAct::TakenOut { .. }) => {
                self.puzzle(Puzzle::OutWhileOut, step, *since, *from);
            }
            (State::Out { .. }, StepAct::Outside { place }) => {
                if place.is_some() {
                    self.spot(step.at, Spot::Out(place));
                }
            }

            (State::In { place, .. }, StepAct::SeenInside { place: seen, .. }) if *place == seen => {
                self.seen_again(step);
            }
            (State::In { last_known, .. }, StepAct::PutAway { place, rack_ms }) if step.granted => {
                self.back(step, place, *last_known, step.latest.plus_ms(rack_ms));
            }
            // The put-away itself was put into history; this scan only shows that it was there.
            (
                State::In { place, last_known, .. },
                StepAct::PutAway { place: seen, .. } | StepAct::SeenInside { place: seen, .. },
            ) if self.is_granted(step) => match *place == seen {
                true => self.seen_again(step),
                false => self.moved_on(step, *last_known, seen),
            },
            (State::In { place, last_known, .. }, StepAct::PutAway { place: into, .. }) if *place == into => {
                self.puzzle(Puzzle::InWhileIn, step, *last_known, Some(into));
            }
            (State::In { last_known, .. }, StepAct::PutAway { place, .. } | StepAct::SeenInside { place, .. }) => {
                self.puzzle(Puzzle::InWhileInElsewhere, step, *last_known, Some(place));
            }
            (State::In { place, last_known, .. }, StepAct::TakenOut { from: Some((from, frozen)), to })
                if *place != from && !self.is_granted(step) =>
            {
                self.taken_out_elsewhere(step, *last_known, (*place, from, frozen), to);
            }
            (State::In { .. }, StepAct::TakenOut { to, .. }) => {
                self.out(step.earliest, step, to, Some(step));
            }
            (State::In { last_known, place, .. }, StepAct::Outside { .. }) => {
                self.puzzle(Puzzle::ActedWhileInside, step, *last_known, Some(*place));
            }
        }
    }

    /// What does not add up: settled as a person said, else counted the unsafe way.
    pub(super) fn puzzle(&mut self, puzzle: Puzzle, step: &Step, since: Instant, place: Option<Label>) {
        let settled = Settled::of(self.view, puzzle, step);
        let settled_by = settled.as_ref().map(|(by, _)| *by);
        self.so_far.found.push(Found { seq: step.seq, puzzle, since, place, settled_by });
        match settled {
            Some((_, Settled::PutAwayAt(at))) if self.beside => self.put_away_beside(puzzle, step, since, (at, place)),
            Some((_, settled)) => self.settle(puzzle, step, since, settled),
            None => self.unsafe_way(puzzle, step, since),
        }
    }

    pub(super) fn unsafe_way(&mut self, puzzle: Puzzle, step: &Step, since: Instant) {
        match (puzzle, step.act) {
            // It was probably a take-out with the wrong placard: the clock runs on from here.
            (Puzzle::InWhileIn, _) => self.out(since, step, None, Some(step)),
            (Puzzle::ActedWhileInside, StepAct::Outside { place }) => self.out(since, step, place, None),
            (Puzzle::InWhileInElsewhere, StepAct::PutAway { place, rack_ms }) => {
                self.back(step, place, since, step.latest.plus_ms(rack_ms));
            }
            (Puzzle::InWhileInElsewhere, StepAct::SeenInside { place, rack_ms }) => {
                self.stretch(since, step.latest.plus_ms(rack_ms), step.seq, Some(step.seq));
                self.inside(place, step);
            }
            (Puzzle::OutWhileOut, _) => self.out_again(step),
            (Puzzle::PutAwayNotAfterTakeOut, StepAct::PutAway { place, rack_ms }) => {
                self.perhaps_back(step, place, since, step.latest.plus_ms(rack_ms));
            }
            (Puzzle::PutAwayNotAfterTakeOut | Puzzle::SeenInsideWhileOut, _) => {}
            (Puzzle::ActedWhileInside | Puzzle::InWhileInElsewhere, _) => {}
        }
    }

    /// The clock runs on from the first, or from the earliest the repeat can have been; a put-away must follow both.
    pub(super) fn out_again(&mut self, step: &Step) {
        if let State::Out { since, takes, .. } = &mut self.now.state {
            *since = (*since).min(step.earliest);
            takes.push((step.latest, step.device));
        }
    }

    pub(super) fn back(&mut self, step: &Step, place: Label, since: Instant, end: Instant) {
        self.stretch(since, end, self.out_by().unwrap_or(step.seq), Some(step.seq));
        self.returned(step.seq, since, step.at, end);
        self.inside(place, step);
    }

    fn out_by(&self) -> Option<u32> {
        match &self.now.state {
            State::Out { seq, .. } => Some(*seq),
            State::Unknown | State::In { .. } => None,
        }
    }

    pub(super) fn inside(&mut self, place: Label, step: &Step) {
        self.leaves(step.at);
        self.spot(step.at, Spot::Inside(place));
        self.now.state = State::In { place, entered: step.at, last_known: step.earliest };
    }

    fn seen_again(&mut self, step: &Step) {
        if let State::In { last_known, .. } = &mut self.now.state {
            *last_known = step.earliest;
        }
    }

    pub(super) fn out(&mut self, since: Instant, step: &Step, place: Option<Label>, take: Option<&Step>) {
        self.leaves(step.at);
        let takes = take.map(|take| (take.latest, take.device)).into_iter().collect();
        self.spot(step.at, Spot::Out(place));
        let from = match &self.now.state {
            State::In { place, .. } => Some(*place),
            State::Out { from, .. } => *from,
            State::Unknown => None,
        };
        self.now.state = State::Out { since, seq: step.seq, takes, from };
    }

    fn spot(&mut self, at: Instant, spot: Spot) {
        self.so_far.spots.push((at, spot));
    }

    /// A place that is not cold enough, or stopped being so, charges what lay in it until it left.
    fn leaves(&mut self, left: Instant) {
        let State::In { place, entered, .. } = self.now.state else { return };
        for (from, to) in self.view.thaws(place, entered, self.start.storage) {
            self.stretch(from, to.min(left), 0, None);
        }
    }

    pub(super) fn stretch(&mut self, from: Instant, to: Instant, from_seq: u32, to_seq: Option<u32>) {
        if from < to {
            self.stretches.push(Stretch { from, to, from_seq, to_seq });
        }
    }
}
