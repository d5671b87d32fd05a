//! The book as it was known at one log position: unstruck entries with `seq <= known`.

use crate::book::Book;
use crate::cold::{Storage, is_cold, too_warm};
use crate::fact::{ActsOn, Does, Fact, Label, NEVER, Planned, What};
use crate::links::{self, Link, Source};
use shared_types::{Code, Instant, Place, Revision, Settlement, Yard};
use std::any::Any;
use std::slice;
use std::sync::Arc;

/// A settlement that is only thought of.
pub struct Thought {
    pub thing: Label,
    pub on: u32,
    pub kind: String,
    pub answer: Settlement,
    pub other: Option<Label>,
}

#[derive(Clone, Copy)]
pub struct View<'b> {
    pub book: &'b Book,
    pub known: u32,
    /// Reads every open mismatch the kind way, to ask whether one of them alone makes an answer *no*.
    pub kindly: bool,
    /// What would be if a decision were taken; nothing is written.
    pub what_if: Option<&'b WhatIf>,
}

/// A decision that is only thought of.
#[derive(Default)]
pub struct WhatIf {
    pub strikes: Option<u32>,
    /// The fact that would stand instead, and the labels it would be kept under.
    pub instead: Option<(Fact, Vec<Label>)>,
    pub settles: Option<Thought>,
    pub confirms: Option<u32>,
    pub lifts: Option<(u32, Instant)>,
}

/// Facts that count: those before the one that is only thought of, that one, those after.
#[derive(Clone)]
pub struct Facts<'b> {
    view: View<'b>,
    now: slice::Iter<'b, Fact>,
    instead: Option<&'b Fact>,
    after: slice::Iter<'b, Fact>,
}

impl<'b> Iterator for Facts<'b> {
    type Item = &'b Fact;

    fn next(&mut self) -> Option<&'b Fact> {
        loop {
            if let Some(fact) = self.now.find(|fact| self.view.counts(fact.seq, fact.struck_by)) {
                return Some(fact);
            }
            self.now = std::mem::take(&mut self.after);
            match self.instead.take() {
                Some(fact) => return Some(fact),
                None if self.now.as_slice().is_empty() => return None,
                None => {}
            }
        }
    }
}

impl<'b> View<'b> {
    pub fn new(book: &'b Book, known: u64) -> View<'b> {
        let last = book.last_seq().min(u64::from(NEVER - 1));
        View { book, known: u32::try_from(known.min(last)).unwrap_or(NEVER - 1), kindly: false, what_if: None }
    }

    /// A thing's facts that count, in occurred order.
    pub fn facts(self, label: Label) -> Facts<'b> {
        let all = self.book.all_facts(label);
        let instead = self.what_if.and_then(|what_if| what_if.instead.as_ref());
        let instead = instead.filter(|(_, labels)| labels.contains(&label)).map(|(fact, _)| fact);
        let at = instead.map_or(all.len(), |fact| all.partition_point(|other| self.book.before(other, fact)));
        let (before, after) = all.split_at_checked(at).unwrap_or((all, &[]));
        Facts { view: self, now: before.iter(), instead, after: after.iter() }
    }

    /// The fact of an entry, if it counts, as it is kept with what it is about.
    pub fn fact_of(self, seq: u32) -> Option<&'b Fact> {
        let meta = self.book.entry(seq)?;
        let all = self.book.all_facts(meta.thing);
        // It is kept where it happened; only what reaches back is kept elsewhere.
        let near = all.get(all.partition_point(|fact| fact.at < meta.occurred_at)..).unwrap_or_default();
        let same = near.iter().take_while(|fact| fact.at == meta.occurred_at);
        let found = same.chain(all).find(|fact| fact.seq == seq);
        found.filter(|fact| self.counts(fact.seq, fact.struck_by))
    }

    /// Whether the fact of one entry comes before that of another.
    pub fn comes_before(self, one: u32, other: u32) -> bool {
        match (self.any_fact(one), self.any_fact(other)) {
            (Some(one), Some(other)) => self.book.before(one, other),
            (_, _) => false,
        }
    }

    /// The fact of an entry, thought of or not.
    fn any_fact(self, seq: u32) -> Option<&'b Fact> {
        let instead = self.what_if.and_then(|what_if| what_if.instead.as_ref()).map(|(fact, _)| fact);
        instead.filter(|fact| fact.seq == seq).or_else(|| self.fact_of(seq))
    }

    /// What a thing is made from and what it went into, in occurred order.
    pub fn links(self, label: Label) -> Vec<(Link, Source)> {
        let mut found = Vec::new();
        if self.is_thought_of(label) {
            for fact in self.facts(label) {
                let source = Source { at: fact.at, seq: fact.seq, struck_by: fact.struck_by };
                links::each(label, fact, |link| found.push((link, source)));
            }
            return found;
        }
        found.extend(self.book.links_of(label).filter(|(_, source)| self.counts(source.seq, source.struck_by)));
        found
    }

    /// Whether a fact that is only thought of belongs to the thing.
    pub(crate) fn is_thought_of(self, label: Label) -> bool {
        let instead = self.what_if.and_then(|what_if| what_if.instead.as_ref());
        instead.is_some_and(|(_, labels)| labels.contains(&label))
    }

    /// Whether everything in the book counts that was not struck.
    pub(crate) fn is_whole(self) -> bool {
        u64::from(self.known) == self.book.last_seq() && self.what_if.is_none_or(|what_if| what_if.strikes.is_none())
    }

    /// Whether it is read as it is: everything counts, nothing is thought of, nothing is read the kind way.
    pub(crate) fn is_plain(self) -> bool {
        self.is_whole() && self.what_if.is_none() && !self.kindly
    }

    /// What is worked out about a thing: kept by the book where it is read as it is.
    pub(crate) fn kept<T: Any + Send + Sync>(self, label: Label, work: impl FnOnce() -> T) -> Arc<T> {
        if self.is_plain() { self.book.kept(label, work) } else { Arc::new(work()) }
    }

    pub(crate) fn counts(self, seq: u32, struck_by: u32) -> bool {
        seq <= self.known && self.known < struck_by && self.what_if.is_none_or(|what_if| what_if.strikes != Some(seq))
    }

    fn acts_on(self, seq: u32) -> impl DoubleEndedIterator<Item = &'b ActsOn> {
        self.book.acts_on(seq).iter().filter(move |act| self.counts(act.seq, act.struck_by))
    }

    /// A told fact that no second person stands beside yet.
    pub fn waits(self, fact: &Fact) -> bool {
        if !fact.marks.told || fact.marks.second {
            return false;
        }
        let another = |act: &ActsOn| act.by != fact.by || act.second.is_some_and(|second| second != fact.by);
        let thought_of = self.what_if.is_some_and(|what_if| what_if.confirms == Some(fact.seq));
        !thought_of && !self.acts_on(fact.seq).any(|act| matches!(act.does, Does::Confirms) && another(act))
    }

    /// How often somebody confirmed a fact and that was struck.
    pub fn confirmations_struck(self, seq: u32) -> usize {
        let all = self.book.acts_on(seq).iter().filter(|act| matches!(act.does, Does::Confirms));
        all.filter(|act| act.struck_by <= self.known).count()
    }

    /// When a hold was lifted for the first time, if it was.
    pub fn lifted_at(self, hold: u32) -> Option<Instant> {
        let thought_of = self.what_if.and_then(|what_if| what_if.lifts).filter(|(of, _)| *of == hold).map(|(_, at)| at);
        self.acts_on(hold).filter(|act| matches!(act.does, Does::Lifts)).map(|act| act.at).chain(thought_of).min()
    }

    /// What a person said about a mismatch; of two answers the later counts.
    pub fn settlement(self, thing: Label, kind: &str, entry: u32) -> Option<(u32, &'b Settlement, Option<Label>)> {
        let thought_of = self.what_if.and_then(|what_if| what_if.settles.as_ref());
        if let Some(thought) = thought_of.filter(|one| one.thing == thing && one.on == entry && one.kind == kind) {
            return Some((self.known.saturating_add(1), &thought.answer, thought.other));
        }
        let answers = self.acts_on(entry).filter_map(|act| match &act.does {
            Does::Settles { kind: of, answer, other } if of == kind && act.thing == thing => {
                Some((act.at, act.seq, answer, *other))
            }
            Does::Settles { .. } | Does::Lifts | Does::Confirms => None,
        });
        let last = answers.max_by_key(|(at, seq, _, _)| (*at, self.book.id_of(*seq)))?;
        Some((last.1, last.2, last.3))
    }

    /// Settlements of any mismatch of an entry.
    pub fn settlements(self, entry: u32) -> impl Iterator<Item = (u32, &'b str, Option<Label>)> {
        self.acts_on(entry).filter_map(|act| match &act.does {
            Does::Settles { kind, other, .. } => Some((act.seq, kind.as_str(), *other)),
            Does::Lifts | Does::Confirms => None,
        })
    }

    /// The yard's declaration in force; the first reaches back.
    pub fn yard(self, at: Instant) -> Option<&'b Yard> {
        let label = self.book.yard()?;
        let all = self.facts(label).filter_map(|fact| match &fact.what {
            What::Yard(yard) => Some((fact.at, &**yard)),
            _ => None,
        });
        in_force(all, at)
    }

    /// A place's declaration in force; the first reaches back.
    pub fn place(self, place: Label, at: Instant) -> Option<&'b Place> {
        in_force(self.declarations(place), at)
    }

    fn declarations(self, place: Label) -> impl Iterator<Item = (Instant, &'b Place)> {
        self.facts(place).filter_map(|fact| match &fact.what {
            What::Place(place) => Some((fact.at, &**place)),
            _ => None,
        })
    }

    /// A place that nobody declared counts as out: the unknown is counted the unsafe way.
    pub fn frozen(self, place: Label, at: Instant) -> bool {
        self.place(place, at).is_some_and(|place| place.frozen)
    }

    /// From when on, after an instant, a place is not cold enough, and when it is again.
    pub fn thaws(self, place: Label, after: Instant, storage: Option<Storage>) -> Vec<(Instant, Instant)> {
        let is_warm = self.place(place, after).is_some_and(|place| too_warm(place, storage));
        // Nearly every place is declared once.
        if !is_warm && self.declarations(place).nth(1).is_none() {
            return Vec::new();
        }
        let mut changes: Vec<(Instant, bool)> =
            self.declarations(place).map(|(at, place)| (at, is_cold(place, storage))).collect();
        changes.retain(|(at, _)| after < *at);
        let mut warm_since = is_warm.then_some(after);
        let mut warm = Vec::new();
        for (at, cold) in changes {
            match (cold, warm_since) {
                (false, None) => warm_since = Some(at),
                (true, Some(since)) => {
                    warm.push((since, at));
                    warm_since = None;
                }
                (false, Some(_)) | (true, None) => {}
            }
        }
        warm.extend(warm_since.map(|since| (since, Instant::MAX)));
        warm
    }

    pub fn registrations(self, batch: Label) -> impl Iterator<Item = &'b shared_types::Batch> {
        let facts = self.book.registered(batch).iter().filter(move |fact| self.counts(fact.seq, fact.struck_by));
        facts.filter_map(|fact| match &fact.what {
            What::Registered(dates) => Some(&**dates),
            _ => None,
        })
    }

    pub fn revision(self, material: Label, revision: &Code) -> Option<&'b Arc<Revision>> {
        self.facts(material).find_map(|fact| match &fact.what {
            What::Revised(body) if body.revision == *revision => Some(body),
            _ => None,
        })
    }

    /// A job's plan in force at an instant, and whether anybody opened it at all by then.
    pub fn plan(self, job: Label, at: Instant) -> Option<&'b Arc<Planned>> {
        let plans = self.facts(job).filter_map(|fact| match &fact.what {
            What::Planned(plan) if fact.at <= at => Some(plan),
            _ => None,
        });
        plans.last()
    }
}

/// The last declaration at or before an instant; before the first one, the first.
fn in_force<'b, T>(declared: impl Iterator<Item = (Instant, &'b T)>, at: Instant) -> Option<&'b T> {
    let mut found = None;
    for (from, what) in declared {
        if found.is_none() || from <= at {
            found = Some(what);
        }
    }
    found
}
