//! What changed of a thing's trace between two entries of the log: the same question asked twice, as known at each, and
//! where the answers part.

mod words;

use crate::book::Book;
use crate::fact::Label;
use crate::holds;
use crate::question::When;
use crate::say::Say;
use crate::stage::{stage_life, stages_of};
use crate::thing::acts;
use crate::trace::trace;
use crate::view::View;
use shared_types::{
    Act, ActBetween, Changes, Direction, EntryBetween, HoldView, Instant, Judgement, Kind, ThingName, Trace, TraceLink,
};
use std::collections::{BTreeMap, BTreeSet};

/// Of which thing, which way along its links, and between which two entries.
pub struct ChangesQuestion {
    pub thing: ThingName,
    pub direction: Direction,
    pub from: u64,
    pub to: u64,
    pub at: Instant,
    pub now: Instant,
}

pub fn changes(book: &Book, asked: &ChangesQuestion) -> Option<Changes> {
    let start = book.label(&asked.thing)?;
    let (from, to) = (View::new(book, asked.from), View::new(book, asked.to));
    let traced = |known| {
        trace(book, &asked.thing, asked.direction, When { at: asked.at, known: u64::from(known), now: asked.now })
    };
    let (before, after) = (traced(from.known)?, traced(to.known)?);
    let named = [&before, &after].into_iter().flat_map(|trace| &trace.nodes).filter_map(|node| book.label(&node.thing));
    let things: BTreeSet<Label> = named.chain([start]).collect();
    let say = Say::of(to, asked.now);
    let held = |view| holds(view, start, &things, asked.at, &say);
    let (held_before, held_after) = (held(from), held(to));
    let mut found = Changes {
        thing: asked.thing.clone(),
        direction: asked.direction,
        from: u64::from(from.known),
        to: u64::from(to.known),
        say: Vec::new(),
        entries: entries(from, to, &things, &say),
        links_new: only_in(&after, &before),
        links_gone: only_in(&before, &after),
        judged_otherwise: things.iter().flat_map(|label| judged(from, to, *label, &say)).collect(),
        holds_new: without(&held_after, &held_before),
        holds_gone: without(&held_before, &held_after),
        at: say.stamp(asked.at),
    };
    found
        .judged_otherwise
        .sort_by(|one, other| (one.seq, &one.thing, one.act).cmp(&(other.seq, &other.thing, other.act)));
    found.say = words::sentences(&found, &say, asked.now);
    Some(found)
}

fn entries(from: View<'_>, to: View<'_>, things: &BTreeSet<Label>, say: &Say) -> Vec<EntryBetween> {
    let book = to.book;
    let all = things.iter().flat_map(|label| book.all_facts(*label)).map(|fact| fact.seq);
    let between: BTreeSet<u32> = all.filter(|seq| from.known < *seq && *seq <= to.known).collect();
    let entry = |seq: u32| {
        let meta = book.entry(seq)?;
        Some(EntryBetween {
            entry: meta.id,
            seq: u64::from(seq),
            kind: meta.kind.to_owned(),
            thing: book.name(meta.thing).clone(),
            occurred_at: say.stamp(meta.occurred_at),
        })
    };
    between.into_iter().filter_map(entry).collect()
}

fn only_in(one: &Trace, other: &Trace) -> Vec<TraceLink> {
    // Both are sorted.
    one.links.iter().filter(|link| other.links.binary_search(link).is_err()).cloned().collect()
}

/// By the entry of the act and what was done; one start may put several stages of a part into the oven.
type Acts = BTreeMap<(u32, Act), (Instant, Vec<Judgement>)>;

/// Acts that were recorded before: what came between is told by its entry.
fn judged(from: View<'_>, to: View<'_>, label: Label, say: &Say) -> Vec<ActBetween> {
    let all = |view: View<'_>| {
        let mut found = Acts::new();
        for (seq, at, act) in acts(view, label) {
            if seq <= from.known {
                let stages = &mut found.entry((seq, act.act)).or_insert_with(|| (at, Vec::new())).1;
                stages.push(act.shown(view));
            }
        }
        found
    };
    let (before, after) = (all(from), all(to));
    let keys: BTreeSet<&(u32, Act)> = before.keys().chain(after.keys()).collect();
    let mut found = Vec::new();
    for key in keys {
        let (was, is) = (before.get(key), after.get(key));
        let at = was.or(is).map_or(Instant::MIN, |(at, _)| *at);
        let (was, is) = (was.map_or(&[][..], |(_, all)| all), is.map_or(&[][..], |(_, all)| all));
        for stage in 0..was.len().max(is.len()) {
            let (before, after) = (was.get(stage), is.get(stage));
            if before != after {
                found.push(ActBetween {
                    thing: to.book.name(label).clone(),
                    entry: to.book.id_of(key.0),
                    seq: u64::from(key.0),
                    act: key.1,
                    at: say.stamp(at),
                    before: before.cloned(),
                    after: after.cloned(),
                });
            }
        }
    }
    found
}

/// The holds on any of these things, on what the first of them stands on, and those that a rule makes.
fn holds(view: View<'_>, start: Label, things: &BTreeSet<Label>, at: Instant, say: &Say) -> Vec<HoldView> {
    let mut on = holds::above(view, start, at);
    on.extend(things);
    let mut found = holds::in_force(view, &on, at, say);
    for part in things.iter().filter(|label| view.book.kind(**label) == Kind::Part) {
        for name in stages_of(view, *part) {
            found.extend(holds::by_rule(view, &stage_life(view, *part, &name), at, say));
        }
    }
    found
}

fn without(these: &[HoldView], others: &[HoldView]) -> Vec<HoldView> {
    let same = |one: &HoldView, other: &HoldView| one.hold == other.hold && one.on == other.on;
    these.iter().filter(|one| !others.iter().any(|other| same(one, other))).cloned().collect()
}
