//! Returns to the cold, on each way on which the facts can be read.

use shared_types::Instant;

/// A return to the cold that ended a stretch. Goods-in's put-away is none.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Return {
    pub at: Instant,
    pub out_from: Instant,
    pub back: Instant,
    pub seq: u32,
    /// A kit's: it warms at once.
    pub of_kit: bool,
}

/// The returns on one way.
pub(super) type Way = Vec<Return>;

/// The ways between two times at which all of them are one again: which of them it was says nothing about the next part.
type Part = Vec<Way>;

/// Part after part; of facts that are read with what was only told and without it, once for each.
#[derive(Clone, Debug)]
pub struct Returns(Vec<Vec<Part>>);

impl Default for Returns {
    fn default() -> Returns {
        Returns::new(Vec::new())
    }
}

impl Returns {
    pub(super) fn new(parts: Vec<Part>) -> Returns {
        Returns(vec![parts])
    }

    /// Those of the same facts without what was told: it makes none undone.
    pub(super) fn join(&mut self, without: Returns) {
        let first = |parts: &Vec<Part>| parts.iter().filter_map(|part| part.first()).flatten().copied().collect();
        let firsts: Vec<Way> = self.0.first().into_iter().chain(without.0.first()).map(first).collect();
        let mut both = Way::default();
        firsts.into_iter().for_each(|way| unite(&mut both, way));
        self.0.extend(without.0);
        self.0.push(vec![vec![both]]);
    }

    /// Those up to an instant.
    pub fn clip(&mut self, at: Instant) {
        for parts in &mut self.0 {
            for part in &mut *parts {
                part.iter_mut().for_each(|way| way.retain(|one| one.at <= at));
                part.dedup();
            }
            parts.retain(|part| part.iter().any(|way| !way.is_empty()));
        }
    }

    /// Goes on with those of a kit from a cut on. A stretch in which it was cut began when the roll was taken out.
    #[must_use]
    pub fn then(&self, cut_at: Instant, out_since: Option<Instant>, next: &Returns) -> Returns {
        let since_then = |one: &Return| {
            let before = out_since.filter(|_| one.out_from <= cut_at).map(|since| since.min(one.out_from));
            Return { out_from: before.unwrap_or(one.out_from.max(cut_at)), ..*one }
        };
        let later = |way: &Way| way.iter().filter(|one| cut_at <= one.at).map(since_then).collect::<Way>();
        let later =
            |parts: &Vec<Part>| parts.iter().map(|part| part.iter().map(later).collect()).collect::<Vec<Part>>();
        let next: Vec<Vec<Part>> = next.0.iter().map(later).collect();
        let both = self.0.iter().flat_map(|own| next.iter().map(|next| [own.as_slice(), next].concat()));
        Returns(both.collect())
    }

    /// The most that count on any way. Those before an opening stand in what it states, unless more are known.
    pub fn most(&self, stated: i64, opening: Instant, counts: impl Fn(&Return) -> bool) -> i64 {
        let on = |parts: &Vec<Part>| {
            let (mut late, mut all) = (0, 0);
            for part in parts {
                let most = |since: Instant| {
                    let counted = |way: &Way| way.iter().filter(|one| since <= one.at && counts(one)).count();
                    i64::try_from(part.iter().map(counted).max().unwrap_or(0)).unwrap_or(i64::MAX)
                };
                late += most(opening);
                all += most(Instant::MIN);
            }
            all.max(late.saturating_add(stated))
        };
        self.0.iter().map(on).max().unwrap_or(stated)
    }
}

/// More ways than these are counted as one on which every return of two of them was.
const WAYS: usize = 16;

/// Adds ways, but for those that another one covers.
pub(super) fn add_ways(ways: &mut Vec<Way>, more: Vec<Way>) {
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
fn unite(way: &mut Way, other: Way) {
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
