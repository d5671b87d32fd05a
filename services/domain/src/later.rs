//! What was written after an act and may change how it is judged: only where there is any is it judged again.

use crate::fact::{Fact, Label, What};
use crate::holds;
use crate::view::View;
use shared_types::{Direction, Instant, Kind, ThingName};
use std::collections::BTreeSet;
use std::sync::Arc;

/// From which time on something counts, and the last entry in which anything was written that counts from that time or
/// earlier.
pub(crate) struct LaterWords(Vec<(Instant, u32)>);

impl LaterWords {
    pub(crate) fn of(view: View<'_>, label: Label) -> Arc<LaterWords> {
        view.kept(label, || LaterWords::found(view, label))
    }

    fn found(view: View<'_>, label: Label) -> LaterWords {
        let mut words = match view.book.kind(label) {
            Kind::Part => of_part(view, label),
            _ => of(view, holds::above(view, label, Instant::MAX), |fact| fact.earliest()),
        };
        words.sort_unstable();
        let mut last = 0;
        words.iter_mut().for_each(|(_, seq)| {
            last = last.max(*seq);
            *seq = last;
        });
        LaterWords(words)
    }

    /// Whether anything that counts by a time was written after an entry.
    pub(crate) fn spoken(&self, known: u32, at: Instant) -> bool {
        let by_then = self.0.partition_point(|(when, _)| *when <= at);
        by_then.checked_sub(1).and_then(|last| self.0.get(last)).is_some_and(|(_, seq)| known < *seq)
    }
}

/// Of a part also what is said of its runs and of the cuts of what was laid in it, whenever that was: what came of a run
/// says whether it started, and a cut that is recorded late what a kit held. What else was cut from its rolls counts from
/// when it was cut, as it does for a roll.
fn of_part(view: View<'_>, part: Label) -> Vec<(Instant, u32)> {
    let runs = view.book.all_facts(part).iter().filter_map(|fact| match &fact.what {
        What::RunStarted(started) => Some(started.run),
        _ => None,
    });
    let mut on: BTreeSet<Label> = runs.chain([part]).collect();
    let mut kits = BTreeSet::new();
    for below in below(view, part) {
        let kind = view.book.kind(below);
        kits.extend((kind == Kind::Kit).then_some(below));
        match kind {
            Kind::Roll | Kind::Kit => on.extend(holds::above(view, below, Instant::MAX)),
            _ => _ = on.insert(below),
        }
    }
    of(view, on, |fact| match &fact.what {
        What::Cut(cut) if !cut.kits.iter().any(|kit| kits.contains(&kit.kit)) => fact.earliest(),
        What::Cut(_) | What::RunEnded { .. } | What::RunInterrupted { .. } => Instant::MIN,
        _ => fact.earliest(),
    })
}

/// All that a part is made from, thing by thing, so that what it was read from is noted.
fn below(view: View<'_>, part: Label) -> BTreeSet<Label> {
    let (mut found, mut open) = (BTreeSet::new(), vec![part]);
    while let Some(label) = open.pop() {
        let made_from = view.links(label).into_iter().filter(|(link, _)| link.way == Direction::MadeFrom);
        open.extend(made_from.map(|(link, _)| link.other).filter(|other| found.insert(*other)));
    }
    found
}

fn of(view: View<'_>, mut on: BTreeSet<Label>, from: impl Fn(&Fact) -> Instant) -> Vec<(Instant, u32)> {
    on.extend(view.book.label(&ThingName::yard()));
    let mut words = Vec::new();
    let others = |fact: &&Fact| matches!(&fact.what, What::Received(received) if !on.contains(&received.roll));
    let facts = on.iter().flat_map(|label| view.book.all_facts(*label)).filter(|fact| !others(fact));
    for fact in facts.filter(|fact| fact.seq <= view.known) {
        // A first declaration reaches back, and so does what is said about an entry.
        let reaches_back = matches!(
            fact.what,
            What::ActsOn(_)
                | What::Place(_)
                | What::Yard(_)
                | What::Revised(_)
                | What::Registered(_)
                | What::Received(_)
        );
        words.push((if reaches_back { Instant::MIN } else { from(fact) }, fact.seq));
        if fact.struck_by <= view.known {
            words.push((Instant::MIN, fact.struck_by));
        }
        // A scan that was said to be this one's is kept with the other.
        if let What::ActsOn(on) = fact.what {
            let acts = view.book.acts_on(on).iter().flat_map(|act| [act.seq, act.struck_by]);
            let struck = view.book.entry(on).map(|meta| meta.struck_by);
            words.extend(acts.chain(struck).filter(|seq| *seq <= view.known).map(|seq| (Instant::MIN, seq)));
        }
    }
    words
}
