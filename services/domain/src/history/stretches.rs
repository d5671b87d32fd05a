//! The union of stretches: nothing is charged twice.

use super::Stretch;
use shared_types::Instant;
use std::sync::Arc;

/// Stretches as they were found, and their union, sorted and disjoint.
#[derive(Clone, Default, Debug, PartialEq, Eq)]
pub struct Stretches {
    pub all: Arc<Vec<Stretch>>,
    union: Vec<(Instant, Instant)>,
}

impl Stretches {
    pub fn new(mut all: Vec<Stretch>) -> Stretches {
        all.retain(|stretch| stretch.from < stretch.to);
        all.sort_by_key(|stretch| (stretch.from, stretch.to));
        let mut union: Vec<(Instant, Instant)> = Vec::with_capacity(all.len());
        for stretch in &all {
            match union.last_mut() {
                Some((_, to)) if stretch.from <= *to => *to = (*to).max(stretch.to),
                Some(_) | None => union.push((stretch.from, stretch.to)),
            }
        }
        Stretches { all: Arc::new(all), union }
    }

    pub fn union(&self) -> &[(Instant, Instant)] {
        &self.union
    }

    /// The stretches of which something lies between two instants; looked for from where the part of the union begins.
    pub fn between(&self, from: Instant, to: Instant) -> impl Iterator<Item = &Stretch> {
        let begin = self.around(from).map_or(from, |(begin, _)| begin);
        let (first, end) = (self.begun_before(begin), self.begun_before(to));
        let near = self.all.get(first..end.max(first)).unwrap_or_default();
        near.iter().filter(move |stretch| from < stretch.to)
    }

    /// How many stretches begin before an instant.
    fn begun_before(&self, at: Instant) -> usize {
        self.all.partition_point(|stretch| stretch.from < at)
    }

    /// Milliseconds out within `[from, until]`.
    pub fn length(&self, from: Instant, until: Instant) -> i64 {
        let clipped = |(a, b): &(Instant, Instant)| (*b).min(until).since((*a).max(from)).max(0);
        self.union.iter().take_while(|(a, _)| *a < until).map(clipped).fold(0, i64::saturating_add)
    }

    /// Whether the clock runs at an instant: from a stretch's start up to, not at, its end.
    pub fn covers(&self, at: Instant) -> bool {
        self.around(at).is_some()
    }

    /// The part of the union an instant lies in.
    pub fn around(&self, at: Instant) -> Option<(Instant, Instant)> {
        let end = self.union.partition_point(|(from, _)| *from <= at);
        self.union.get(end.checked_sub(1)?).copied().filter(|(_, to)| at < *to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretch(from: i64, to: i64) -> Stretch {
        Stretch { from: Instant(from), to: Instant(to), from_seq: 1, to_seq: None }
    }

    #[test]
    fn overlapping_stretches_are_charged_once() {
        let union =
            Stretches::new(vec![stretch(10, 20), stretch(15, 30), stretch(30, 35), stretch(50, 60), stretch(7, 7)]);
        assert_eq!(union.length(Instant::MIN, Instant::MAX), 35);
        assert_eq!(union.length(Instant(12), Instant(55)), 28);
        let between = |from, to| union.between(Instant(from), Instant(to)).map(|one| one.from.0).collect::<Vec<_>>();
        assert_eq!((between(18, 32), between(31, 31), between(40, 51)), (vec![10, 15, 30], vec![30], vec![50]));
        assert_eq!((between(0, 10), between(35, 50), between(0, 90)), (vec![], vec![], vec![10, 15, 30, 50]));
        assert!(union.covers(Instant(10)) && union.covers(Instant(34)) && !union.covers(Instant(35)));
    }
}
