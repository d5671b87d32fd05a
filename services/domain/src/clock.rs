//! One roll's material on its way: door-to-door out-time from opening to end, through roll, kit and lay-up.

use crate::history::{History, Return, Returns, Stretch};
use shared_types::Instant;
use std::sync::Arc;

/// What a person would read off the out-time card, at any instant.
#[derive(Clone, Debug)]
pub struct Clock {
    /// From here on it is charged on top of what was used before.
    pub from: Instant,
    /// Life used before that, as it is stated; nobody knows what was not stated. Where what is known of the time before
    /// comes to more, that counts: no statement makes known facts undone.
    pub opening_ms: Option<i64>,
    pub opening_refreezes: u32,
    /// Out of the cold, before the opening too: sorted, disjoint.
    out: Vec<(Instant, Instant)>,
    /// The stretches as they were found, one for each return.
    found: Arc<Vec<Stretch>>,
    lumps: Vec<Assigned>,
    /// On each way on which the facts can be read.
    returns: Returns,
    /// Where its clock stands for good: used up, thrown away, or in the oven.
    end: Option<Instant>,
}

/// Hours that a person assigned to a stretch.
#[derive(Clone, Copy, Debug)]
struct Assigned {
    /// Where that stretch began.
    at: Instant,
    /// Where they are charged: what an opening can't hold, at the opening.
    charged: Instant,
    ms: i64,
}

impl Clock {
    pub fn of(history: &History, from: Instant, opening_ms: Option<i64>, opening_refreezes: u32) -> Clock {
        Clock {
            from,
            opening_ms,
            opening_refreezes,
            out: history.stretches.union().to_vec(),
            found: Arc::clone(&history.stretches.all),
            lumps: lumps_since(history, Instant::MIN, from).collect(),
            returns: history.returns.clone(),
            end: None,
        }
    }

    /// The clock stands from an instant on.
    pub fn ended(mut self, end: Instant) -> Clock {
        self.end = Some(self.end.map_or(end, |old| old.min(end)));
        self
    }

    /// From the cut on, the kit's history counts; the two join at the nominal instant.
    pub fn then(mut self, at: Instant, next: &History) -> Clock {
        let begun = self.found.iter().take_while(|stretch| stretch.from <= at);
        let out_since = begun.filter(|stretch| at < stretch.to).map(|stretch| stretch.from).min();
        self.clip(at);
        self.out.extend(
            next.stretches.union().iter().map(|(from, to)| ((*from).max(at), *to)).filter(|(from, to)| from < to),
        );
        self.lumps.extend(lumps_since(next, at, self.from));
        self.returns = self.returns.then(at, out_since, &next.returns);
        self.found = Arc::clone(&next.stretches.all);
        self.merge();
        self
    }

    /// From an instant on it lies in the open.
    pub fn then_out(mut self, at: Instant) -> Clock {
        self.clip(at);
        self.out.push((at, Instant::MAX));
        self.merge();
        self
    }

    fn clip(&mut self, at: Instant) {
        // What is cut out of a roll ages on, though nothing of the roll is left.
        self.end = None;
        self.out.retain_mut(|(from, to)| {
            *to = (*to).min(at);
            from < to
        });
        self.lumps.retain(|lump| lump.charged <= at);
        self.returns.clip(at);
    }

    fn merge(&mut self) {
        self.out.dedup_by(|next, before| {
            let touches = next.0 <= before.1;
            if touches {
                before.1 = before.1.max(next.1);
            }
            touches
        });
    }

    /// An instant, or the end if that came before.
    pub fn until(&self, at: Instant) -> Instant {
        self.end.map_or(at, |end| end.min(at))
    }

    fn around(&self, at: Instant) -> Option<(Instant, Instant)> {
        let after = self.out.partition_point(|(from, _)| *from <= at);
        self.out.get(after.checked_sub(1)?).copied().filter(|(_, to)| at < *to)
    }

    /// What is charged of the stretches outside on top of the opening, up to an instant.
    fn charged(&self, until: Instant) -> impl Iterator<Item = (Instant, Instant)> {
        let clipped = self.out.iter().map(move |(from, to)| ((*from).max(self.from), (*to).min(until)));
        clipped.filter(|(from, to)| from < to)
    }

    /// The same of assigned hours, in order.
    fn assigned(&self, until: Instant) -> Vec<(Instant, i64)> {
        let counts = |lump: &&Assigned| self.from <= lump.charged && lump.charged <= until;
        sorted(self.lumps.iter().filter(counts).map(|lump| (lump.charged, lump.ms)))
    }

    /// What is known of the time before the opening, up to an instant.
    fn known(&self, until: Instant) -> impl Iterator<Item = (Instant, Instant)> {
        let end = until.min(self.from);
        self.out.iter().map(move |(from, to)| (*from, (*to).min(end))).filter(|(from, to)| from < to)
    }

    fn known_assigned(&self, until: Instant) -> Vec<(Instant, i64)> {
        let counts = |lump: &&Assigned| lump.at <= until && (until < self.from || lump.charged < self.from);
        sorted(self.lumps.iter().filter(counts).map(|lump| (lump.at, lump.ms)))
    }

    fn known_ms(&self, until: Instant) -> i64 {
        let out = self.known(until).map(|(from, to)| to.since(from));
        out.chain(self.known_assigned(until).into_iter().map(|(_, ms)| ms)).fold(0, i64::saturating_add)
    }

    /// Out-time at an instant; nothing when the opening was not stated.
    pub fn so_far_ms(&self, at: Instant) -> Option<i64> {
        let until = self.until(at);
        let before = self.opening_ms?.max(self.known_ms(until));
        let out = self.charged(until).map(|(from, to)| to.since(from));
        let assigned = self.assigned(until).into_iter().map(|(_, ms)| ms);
        Some(out.chain(assigned).fold(before, i64::saturating_add))
    }

    /// What is known of the time before its opening.
    pub fn known_before_ms(&self) -> i64 {
        self.known_ms(self.until(Instant::MAX))
    }

    pub fn runs(&self, at: Instant) -> bool {
        self.end.is_none_or(|end| at < end) && self.around(at).is_some()
    }

    /// The instant at which out-time passed `allowed_ms`, where it did by `at`: where it stood exactly at the limit while
    /// the clock stood, when it ran again.
    pub fn reached(&self, allowed_ms: i64, at: Instant) -> Option<Instant> {
        let stated = self.opening_ms?;
        let until = self.until(at);
        let left = match run_out(allowed_ms, self.known(until), self.known_assigned(until)) {
            Ok(left) => left.min(allowed_ms.saturating_sub(stated)),
            Err(passed) => return Some(passed),
        };
        if left < 0 {
            return Some(self.from);
        }
        run_out(left, self.charged(until), self.assigned(until)).err()
    }

    /// Returns to the cold by an instant that ended a stretch longer than `after_ms`. Those before the opening stand in
    /// its count, unless more are known.
    pub fn refreezes(&self, at: Instant, after_ms: impl Fn(&Return) -> i64) -> i64 {
        let until = self.until(at);
        let counts = |one: &Return| one.at <= until && after_ms(one) < one.back.since(one.out_from);
        self.returns.most(i64::from(self.opening_refreezes), self.from, counts)
    }

    /// How long it has been out, if it is.
    pub fn out_since(&self, at: Instant) -> Option<Instant> {
        self.around(at).map(|(since, _)| since)
    }
}

/// Hours assigned by acts from an instant on; those of acts before an opening belong to the time before it.
fn lumps_since(history: &History, since: Instant, opening: Instant) -> impl Iterator<Item = Assigned> {
    let counts = history.lumps.iter().filter(move |lump| since <= lump.until);
    counts.map(move |lump| {
        let at = lump.at.max(since);
        let charged = if opening <= lump.until { at.max(opening) } else { at };
        Assigned { at, charged, ms: lump.ms }
    })
}

fn sorted(lumps: impl Iterator<Item = (Instant, i64)>) -> Vec<(Instant, i64)> {
    let mut lumps: Vec<(Instant, i64)> = lumps.collect();
    lumps.sort_unstable();
    lumps
}

/// What is left after stretches and assigned sums, or the instant at which nothing was.
fn run_out(
    mut left: i64,
    stretches: impl Iterator<Item = (Instant, Instant)>,
    lumps: Vec<(Instant, i64)>,
) -> Result<i64, Instant> {
    let mut lumps = lumps.into_iter().peekable();
    for (mut from, to) in stretches {
        while let Some((when, ms)) = lumps.next_if(|(when, _)| *when <= to) {
            if left < when.since(from).max(0) {
                return Err(from.plus_ms(left));
            }
            left -= when.since(from).max(0) + ms;
            if left < 0 {
                return Err(when);
            }
            from = from.max(when);
        }
        if left < to.since(from) {
            return Err(from.plus_ms(left));
        }
        left -= to.since(from);
    }
    for (when, ms) in lumps {
        left -= ms;
        if left < 0 {
            return Err(when);
        }
    }
    Ok(left)
}

/// One line of the sums.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Charge {
    pub from: Instant,
    /// Absent while it runs on.
    pub to: Option<Instant>,
    pub ms: i64,
    pub assigned: bool,
}

impl Clock {
    /// Every stretch and every assigned sum by an instant on top of the opening, in order.
    pub fn charges(&self, at: Instant) -> Vec<Charge> {
        let until = self.until(at);
        let ends = |from: Instant| {
            let (_, to) = self.around(from).unwrap_or((from, from));
            // Where its clock stands for good, that ends the line.
            if to <= until { Some(to) } else { self.end.filter(|end| *end <= at) }
        };
        let out = self.charged(until).map(|(from, to)| (from, ends(from), to.since(from)));
        lines(out, self.assigned(until))
    }

    /// What is known of the time before the opening, where it comes to more than the opening states.
    pub fn known_instead(&self, at: Instant) -> Vec<Charge> {
        let until = self.until(at);
        if self.opening_ms.is_none_or(|stated| self.known_ms(until) <= stated) {
            return Vec::new();
        }
        lines(self.known(until).map(|(from, to)| (from, Some(to), to.since(from))), self.known_assigned(until))
    }
}

/// When it left, when it came back, and how long that was; with what was assigned.
fn lines(out: impl Iterator<Item = (Instant, Option<Instant>, i64)>, assigned: Vec<(Instant, i64)>) -> Vec<Charge> {
    let out = out.map(|(from, to, ms)| Charge { from, to, ms, assigned: false });
    let assigned = assigned.into_iter().map(|(at, ms)| Charge { from: at, to: Some(at), ms, assigned: true });
    let mut all: Vec<Charge> = out.chain(assigned).collect();
    all.sort_by_key(|charge| (charge.from, charge.assigned));
    all
}
