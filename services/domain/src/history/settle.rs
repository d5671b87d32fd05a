//! What a person said about a mismatch, applied to the history.

use super::fold::{Folding, State};
use super::settled::Settled;
use super::{Lump, Puzzle, Step, StepAct, Take};
use crate::fact::Label;
use shared_types::Instant;

impl Folding<'_> {
    pub(super) fn settle(&mut self, puzzle: Puzzle, step: &Step, since: Instant, settled: Settled) {
        let (place, rack_ms) = match step.act {
            StepAct::PutAway { place, rack_ms } | StepAct::SeenInside { place, rack_ms } => (Some(place), rack_ms),
            StepAct::TakenOut { to, .. } => (to, 0),
            StepAct::Outside { place } => (place, 0),
            StepAct::Received => (None, 0),
        };
        let end = step.latest.plus_ms(rack_ms);
        match (settled, place) {
            (Settled::Moved(other), _) => {
                self.so_far.moved_out.push((step.seq, other));
                if let StepAct::TakenOut { .. } = step.act {
                    self.so_far.takes.pop();
                }
            }
            (Settled::TakeOut, _) => {
                self.so_far.takes.push(Take::of(step));
                // The placard of the cold that was scanned says where it came out of, not where it went.
                let to = match step.act {
                    StepAct::TakenOut { to, .. } => to,
                    StepAct::Outside { place } => place,
                    StepAct::PutAway { .. } | StepAct::SeenInside { .. } | StepAct::Received => None,
                };
                self.outside(step.earliest, step, to, Some(step));
            }
            (Settled::OutSince(since), Some(place)) => self.out_since(puzzle, step, since, place, end),
            (Settled::OutSince(since), None) => self.outside(since, step, None, None),
            (Settled::Carried(ms), Some(place)) if puzzle != Puzzle::ActedWhileInside => {
                self.stretch(step.earliest.minus_ms(ms), end, step.seq, Some(step.seq));
                self.inside(place, step);
            }
            (Settled::Carried(ms), place) => self.outside(step.earliest.minus_ms(ms), step, place, None),
            (Settled::PutAwayAt(at), place) => self.put_away_at(puzzle, step, since, (at, place)),
            (Settled::Assigned(ms), place) => self.assigned(puzzle, step, since, ms, place),
        }
    }

    /// Taken out of another place than the book has it in: it was seen there just before.
    pub(super) fn taken_out_elsewhere(
        &mut self,
        step: &Step,
        last_known: Instant,
        (place, from, frozen): (Label, Label, bool),
        to: Option<Label>,
    ) {
        let (puzzle, seen, shown) = match frozen {
            true => (Puzzle::InWhileInElsewhere, StepAct::SeenInside { place: from, rack_ms: 0 }, from),
            false => (Puzzle::ActedWhileInside, StepAct::Outside { place: Some(from) }, place),
        };
        self.puzzle(puzzle, &Step { act: seen, ..*step }, last_known, Some(shown));
        let moved = self.so_far.moved_out.iter().any(|(seq, _)| *seq == step.seq);
        if moved {
            self.so_far.takes.pop();
        } else if self.grant.is_none() {
            self.outside(step.earliest, step, to, Some(step));
        }
    }

    /// The put-away that a person named was put into history, but before this scan it went to another place: it came in
    /// from there, whatever that person said.
    pub(super) fn moved_on(&mut self, step: &Step, last_known: Instant, place: Label) {
        let puzzle = Puzzle::InWhileInElsewhere;
        match self.granted.iter().any(|one| one.is_of(step.seq, puzzle)) {
            true => self.unsafe_way(puzzle, step, last_known),
            false => self.puzzle(puzzle, step, last_known, Some(place)),
        }
    }

    /// Out from an instant on; what is out already stays so, and the earlier of the two counts.
    pub(super) fn outside(&mut self, since: Instant, step: &Step, place: Option<Label>, take: Option<&Step>) {
        if let State::Out { since: already, takes, .. } = &mut self.now.state {
            *already = (*already).min(since);
            takes.extend(take.map(|take| (take.latest, take.device)));
            return;
        }
        self.out(since, step, place, take);
    }

    fn out_since(&mut self, puzzle: Puzzle, step: &Step, since: Instant, place: Label, end: Instant) {
        match (puzzle, &self.now.state) {
            (Puzzle::ActedWhileInside, _) => self.outside(since, step, Some(place), None),
            (Puzzle::OutWhileOut, _) => {
                self.outside(since, step, Some(place), None);
                self.out_again(step);
            }
            (_, State::Out { since: already, .. }) => {
                let since = (*already).min(since);
                self.back(step, place, since, end);
            }
            (_, State::In { .. } | State::Unknown) => self.back(step, place, since, end),
        }
    }

    /// Hours instead of a stretch that nobody can tell: charged whole, where it was last known inside. What was surely
    /// out is charged beside them.
    fn assigned(&mut self, puzzle: Puzzle, step: &Step, since: Instant, ms: i64, place: Option<Label>) {
        self.so_far.lumps.push(Lump { at: since, until: step.at, ms, seq: step.seq });
        match (puzzle, place) {
            (Puzzle::OutWhileOut, _) => self.out_again(step),
            (Puzzle::ActedWhileInside, place) => self.out(step.earliest, step, place, None),
            (Puzzle::PutAwayNotAfterTakeOut | Puzzle::SeenInsideWhileOut, _) => {}
            (Puzzle::InWhileIn | Puzzle::InWhileInElsewhere, Some(place)) => self.inside(place, step),
            (Puzzle::InWhileIn | Puzzle::InWhileInElsewhere, None) => {}
        }
    }
}
