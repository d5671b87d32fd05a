//! One roll's material on its way: door-to-door out-time from opening to end, through roll, kit and lay-up.

use crate::history::{History, Return};
use shared_types::Instant;

/// What a person would read off the out-time card, at any instant.
#[derive(Clone, Debug)]
pub struct Clock {
    /// From here on it is charged.
    pub from: Instant,
    /// Life used before that; nobody knows what was not stated.
    pub opening_ms: Option<i64>,
    pub opening_refreezes: u32,
    /// Out of the cold, charged or not: sorted, disjoint.
    out: Vec<(Instant, Instant)>,
    lumps: Vec<(Instant, i64)>,
    returns: Vec<Return>,
    /// Where its clock stands for good: used up, thrown away, or in the oven.
    end: Option<Instant>,
}

impl Clock {
    pub fn of(history: &History, from: Instant, opening_ms: Option<i64>, opening_refreezes: u32) -> Clock {
        Clock {
            from,
            opening_ms,
            opening_refreezes,
            out: history.stretches.union().to_vec(),
            lumps: lumps_from(history, from).collect(),
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
        let out_since = self.around(at).map(|(since, _)| since);
        self.clip(at);
        self.out.extend(
            next.stretches.union().iter().map(|(from, to)| ((*from).max(at), *to)).filter(|(from, to)| from < to),
        );
        self.lumps.extend(lumps_from(next, at.max(self.from)));
        let mut returns = next.returns.iter().filter(|one| at <= one.at).copied();
        // The first return's stretch began when the roll was taken out.
        self.returns.extend(returns.next().map(|first| Return {
            out_from: out_since.map_or(first.out_from.max(at), |since| first.out_from.min(since)),
            ..first
        }));
        self.returns.extend(returns);
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
        self.lumps.retain(|(when, _)| *when <= at);
        self.returns.retain(|one| one.at <= at);
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

    /// What is charged of the stretches outside, up to an instant.
    fn charged(&self, until: Instant) -> impl Iterator<Item = (Instant, Instant)> {
        let clipped = self.out.iter().map(move |(from, to)| ((*from).max(self.from), *to));
        clipped.filter(move |(from, to)| from < to && *from < until)
    }

    /// Out-time at an instant; nothing when the opening was not stated.
    pub fn so_far_ms(&self, at: Instant) -> Option<i64> {
        let until = self.until(at);
        let out = self.charged(until).map(|(from, to)| to.min(until).since(from));
        let assigned = self.lumps.iter().filter(|(when, _)| self.from <= *when && *when <= until).map(|(_, ms)| *ms);
        Some(out.chain(assigned).fold(self.opening_ms?, i64::saturating_add))
    }

    pub fn runs(&self, at: Instant) -> bool {
        self.end.is_none_or(|end| at < end) && self.around(at).is_some()
    }

    /// The instant at which out-time passed `allowed_ms`, where it did by `at`: where it stood exactly at the limit while
    /// the clock stood, when it ran again.
    pub fn reached(&self, allowed_ms: i64, at: Instant) -> Option<Instant> {
        let mut left = allowed_ms.saturating_sub(self.opening_ms?);
        if left < 0 {
            return Some(self.from);
        }
        let until = self.until(at);
        let mut lumps = self.lumps.clone();
        lumps.sort_unstable();
        let mut lumps = lumps.into_iter().filter(|(when, _)| self.from <= *when && *when <= until).peekable();
        for (from, to) in self.charged(until) {
            let (mut from, to) = (from, to.min(until));
            while let Some((when, ms)) = lumps.next_if(|(when, _)| *when <= to) {
                if left < when.since(from).max(0) {
                    return Some(from.plus_ms(left));
                }
                left -= when.since(from).max(0) + ms;
                if left < 0 {
                    return Some(when);
                }
                from = from.max(when);
            }
            if left < to.since(from) {
                return Some(from.plus_ms(left));
            }
            left -= to.since(from);
        }
        lumps.find_map(|(when, ms)| {
            left -= ms;
            (left < 0).then_some(when)
        })
    }

    /// Returns to the cold by an instant that ended a stretch longer than `after_ms`.
    pub fn refreezes(&self, at: Instant, after_ms: impl Fn(&Return) -> i64) -> i64 {
        let until = self.until(at);
        let counts = |one: &&Return| {
            !one.goods_in && self.from <= one.at && one.at <= until && after_ms(one) < one.back.since(one.out_from)
        };
        let counted = self.returns.iter().filter(counts).count();
        i64::from(self.opening_refreezes).saturating_add(i64::try_from(counted).unwrap_or(i64::MAX))
    }

    /// How long it has been out, if it is.
    pub fn out_since(&self, at: Instant) -> Option<Instant> {
        self.around(at).map(|(since, _)| since)
    }
}

/// Assigned sums that count from an instant on.
fn lumps_from(history: &History, from: Instant) -> impl Iterator<Item = (Instant, i64)> {
    let counts = history.lumps.iter().filter(move |lump| from <= lump.until);
    counts.map(move |lump| (lump.at.max(from), lump.ms))
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
    /// Every stretch and every assigned sum by an instant, in order.
    pub fn charges(&self, at: Instant) -> Vec<Charge> {
        let until = self.until(at);
        let out = self.charged(until).map(|(from, to)| Charge {
            from,
            // Where its clock stands for good, that ends the line.
            to: if to <= until { Some(to) } else { self.end.filter(|end| *end <= at) },
            ms: to.min(until).since(from),
            assigned: false,
        });
        let assigned = self.lumps.iter().filter(|(when, _)| self.from <= *when && *when <= until);
        let assigned = assigned.map(|(when, ms)| Charge { from: *when, to: Some(*when), ms: *ms, assigned: true });
        let mut all: Vec<Charge> = out.chain(assigned).collect();
        all.sort_by_key(|charge| (charge.from, charge.assigned));
        all
    }
}
