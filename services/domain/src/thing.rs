//! One thing as a page shows it: where it is, limits, holds, what does not add up, what is judged again.

use crate::book::Book;
use crate::fact::{Fact, Label, What};
use crate::holds;
use crate::judge::{self, Judged};
use crate::kit::kit_life;
use crate::later::LaterWords;
use crate::limits::{At, Limits, kit_limits, roll_limits, stage_limits};
use crate::question::When;
use crate::roll::roll_life;
use crate::rows::rows;
use crate::say::Say;
use crate::stage::{StageLife, stage_life, stages_of};
use crate::trace::boat_of;
use crate::view::View;
use crate::whereabouts::{heated_words, sentence, stage_whereabouts, whereabouts};
use crate::{RULES, cold, devices, mismatch, rights, run_checks};
use shared_types::{
    Code, DeliveryNote, Instant, JudgedAgain, Kind, ReceivedBefore, StageView, ThingName, ThingView, ToConfirm,
    Whereabouts,
};
use std::collections::BTreeSet;
use std::sync::Arc;

pub fn thing_view(book: &Book, thing: &ThingName, when: When) -> Option<ThingView> {
    let view = View::new(book, when.known);
    let label = book.label(thing)?;
    let read = At::new(view, when.at);
    let say = Say::of(view, when.at);
    let mut shown = standing(read, label, &say).with_rows(read, &say);
    shown.entries = view.facts(label).count() as u64;
    shown.mismatches = mismatch::all_of_thing(view, label).to_vec();
    if view.book.kind(label) == Kind::Part {
        shown.mismatches.extend(run_checks::of_part(view, label, &Say::of(view, Instant::MAX)));
    }
    shown.judged_again = judged_again(view, label, &say);
    shown.to_confirm = to_confirm(view, label, &say);
    Some(shown)
}

/// How a thing stands: all but what needs its past looked at again, its limits not yet as rows of an answer.
pub(crate) struct Standing {
    pub(crate) shown: ThingView,
    pub(crate) limits: Limits,
    /// Of each stage, in the order of `shown.stages`.
    pub(crate) stages: Vec<Limits>,
}

impl Standing {
    fn with_rows(self, read: At<'_>, say: &Say) -> ThingView {
        let Standing { mut shown, limits, stages } = self;
        shown.limits = rows(read, &limits, say);
        for (stage, limits) in shown.stages.iter_mut().zip(&stages) {
            stage.limits = rows(read, limits, say);
        }
        shown
    }
}

pub(crate) fn standing(read: At<'_>, label: Label, say: &Say) -> Standing {
    let view = read.view;
    let mut shown = ThingView {
        thing: view.book.name(label).clone(),
        say: String::new(),
        whereabouts: Whereabouts::Standing,
        material: None,
        revision: None,
        batch: None,
        length_left_mm: None,
        jobs: Vec::new(),
        limits: Vec::new(),
        stages: Vec::new(),
        holds: Vec::new(),
        mismatches: Vec::new(),
        judged_again: Vec::new(),
        to_confirm: Vec::new(),
        declared: None,
        note: None,
        entries: 0,
        at: say.stamp(read.at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    };
    let (mut stages, mut limits) = (Vec::new(), Limits::default());
    match view.book.kind(label) {
        Kind::Roll => limits = roll(read, label, say, &mut shown),
        Kind::Kit => {
            let kit = kit_life(view, label);
            limits = kit_limits(read, &kit);
            shown.jobs = jobs(view, label).into_iter().map(|job| view.book.code(job)).collect();
            let cut = kit.items.iter().any(|item| item.cut_at <= read.at);
            shown.whereabouts = whereabouts(read, label, &kit.history, cut, kit.ended(read.at), say);
            shown.holds = holds::on(view, label, read.at, say);
        }
        Kind::Part => stages = part(read, label, say, &mut shown),
        kind => {
            shown.note = (kind == Kind::Delivery).then(|| note(read, label, say)).flatten();
            shown.holds = holds::in_force(view, &[label].into(), read.at, say);
            shown.declared = declared(view, label, read.at);
            // What is nowhere is told by how much is known of it.
            shown.entries = view.facts(label).count() as u64;
        }
    }
    shown.say = match view.book.kind(label) {
        Kind::Badge => rights::badge_words(view, label),
        Kind::Device => devices::words(read, label, say),
        _ => heated_words(read, &shown, &stages, say),
    }
    .unwrap_or_else(|| sentence(&shown, say, read.at));
    if let Whereabouts::Out { place: Some(place), .. } = &shown.whereabouts {
        let place = view.book.label(&ThingName::new(Kind::Place, place));
        let warm = place.and_then(|place| cold::why_out(view, label, place, read.at));
        shown.say.extend(warm.map(|why| format!(" {why}")));
    }
    let stages = stages.iter().map(|stage| stage_limits(read, stage)).collect();
    Standing { shown, limits, stages }
}

fn roll(read: At<'_>, label: Label, say: &Say, shown: &mut ThingView) -> Limits {
    let roll = roll_life(read.view, label);
    if let Some(life) = roll.lives.first() {
        shown.material = Some(read.view.book.code(life.received.material));
        shown.revision = Some(life.received.revision.clone());
        shown.batch = Some(read.view.book.name(life.received.batch).clone());
    }
    shown.jobs = roll.jobs.iter().map(|job| read.view.book.code(*job)).collect();
    shown.length_left_mm = roll.length_left_mm.map(|left| left.max(0));
    shown.whereabouts = whereabouts(read, label, &roll.history, roll.received_by(read.at), roll.ended(read.at), say);
    shown.holds = holds::on(read.view, label, read.at, say);
    roll_limits(read, &roll)
}

fn part(read: At<'_>, label: Label, say: &Say, shown: &mut ThingView) -> Vec<Arc<StageLife>> {
    let mut stages = Vec::new();
    let mut above = BTreeSet::from([label]);
    for name in stages_of(read.view, label) {
        let stage = stage_life(read.view, label, &name);
        above.extend(holds::above_stage(read.view, &stage, read.at));
        shown.holds.extend(holds::by_rule(read.view, &stage, read.at, say));
        shown.stages.push(StageView {
            stage: name,
            whereabouts: stage_whereabouts(read, &stage, say),
            limits: Vec::new(),
        });
        stages.push(stage);
    }
    shown.holds.extend(holds::in_force(read.view, &above, read.at, say));
    shown.whereabouts = match boat_of(read.view, label, read.at) {
        Some((boat, seq)) => {
            let since = read.view.book.entry(seq).map_or(read.at, |meta| meta.occurred_at);
            Whereabouts::InBoat { boat: read.view.book.code(boat), since: say.stamp(since) }
        }
        None => shown
            .stages
            .iter()
            .rev()
            .map(|stage| stage.whereabouts.clone())
            .find(|at| *at != Whereabouts::NothingLaid)
            .unwrap_or(Whereabouts::NothingLaid),
    };
    stages
}

/// The jobs that a roll or kit was issued to or cut for, in the order of their codes.
pub(crate) fn jobs(view: View<'_>, label: Label) -> Vec<Label> {
    let mut jobs: Vec<Label> = Vec::new();
    for fact in view.facts(label) {
        match &fact.what {
            What::Issued { thing, job } if *thing == label => jobs.push(*job),
            What::Cut(cut) => jobs.extend(cut.kits.iter().filter(|kit| kit.kit == label).map(|kit| kit.job)),
            _ => {}
        }
    }
    jobs.sort_by_key(|job| view.book.name(*job));
    jobs.dedup();
    jobs
}

pub(crate) fn to_confirm(view: View<'_>, label: Label, say: &Say) -> Vec<ToConfirm> {
    let own = |seq: u32| view.book.entry(seq).filter(|meta| meta.thing == label);
    let waiting = view.facts(label).filter(|fact| view.waits(fact));
    waiting
        .filter_map(|fact| {
            let meta = own(fact.seq)?;
            Some(ToConfirm {
                entry: meta.id,
                seq: u64::from(fact.seq),
                kind: meta.kind.to_owned(),
                occurred_at: say.stamp(fact.at),
                by: view.book.code(fact.by),
            })
        })
        .collect()
}

/// An act: its entry, its time, how it is judged.
pub(crate) type ActJudged = (u32, Instant, Judged);

/// The acts of a thing, each with how it is judged.
pub(crate) fn acts(view: View<'_>, label: Label) -> Vec<ActJudged> {
    acts_of(view, label, |_, _| true)
}

/// Those that are asked for, by entry and the latest time at which they were done.
fn acts_of(view: View<'_>, label: Label, asked: impl Fn(u32, Instant) -> bool) -> Vec<ActJudged> {
    let facts = || view.facts(label).filter(|fact| asked(fact.seq, fact.latest()));
    match view.book.kind(label) {
        Kind::Roll => {
            let acts = view.facts(label).filter_map(|fact| Some((fact, judge::act_of_roll(label, fact)?)));
            let mut acts = acts.filter(|(fact, _)| asked(fact.seq, fact.latest())).peekable();
            if acts.peek().is_none() {
                return Vec::new();
            }
            let life = roll_life(view, label);
            acts.map(|(fact, act)| (fact.seq, fact.at, judge::roll_act(view, &life, fact, act))).collect()
        }
        Kind::Kit => {
            let life = kit_life(view, label);
            let acts = facts().filter_map(|fact| Some((fact, judge::kit_act(view, &life, fact)?)));
            acts.map(|(fact, judged)| (fact.seq, fact.at, judged)).collect()
        }
        Kind::Part => {
            let all = judge::stage_acts(view, label);
            let asked = all.iter().filter(|act| asked(act.seq, act.at));
            asked.map(|act| (act.seq, act.at, act.judged.clone())).collect()
        }
        _ => Vec::new(),
    }
}

/// Nothing is emitted or stored: the same act, as was known right after it was written, and as is known now.
pub(crate) fn judged_again(view: View<'_>, label: Label, say: &Say) -> Vec<JudgedAgain> {
    let changed = view.kept(label, || otherwise(view, label));
    let shown = changed.iter().map(|Otherwise { seq, at, then, now }| JudgedAgain {
        entry: view.book.id_of(*seq),
        seq: u64::from(*seq),
        act: now.act,
        at: say.stamp(*at),
        then: then.shown(view),
        now: now.shown(view),
    });
    shown.collect()
}

/// An act that is judged otherwise now.
struct Otherwise {
    seq: u32,
    at: Instant,
    then: Judged,
    now: Judged,
}

fn otherwise(view: View<'_>, label: Label) -> Vec<Otherwise> {
    let mut changed = Vec::new();
    let mut then_known: Option<(u32, Vec<ActJudged>)> = None;
    let later = LaterWords::of(view, label);
    let spoken = |seq: u32, at: Instant| {
        let known = view.book.group_end(seq);
        known < view.known && later.spoken(known, at)
    };
    for (seq, at, now) in acts_of(view, label, spoken) {
        let known = view.book.group_end(seq);
        if then_known.as_ref().is_none_or(|(of, _)| *of != known) {
            let then = View::new(view.book, u64::from(known));
            then_known = Some((known, acts(then, label)));
        }
        let then =
            then_known.iter().flat_map(|(_, acts)| acts).find(|(of, _, judged)| *of == seq && judged.act == now.act);
        let Some((_, _, then)) = then.filter(|(_, _, then)| *then != now) else { continue };
        changed.push(Otherwise { seq, at, then: then.clone(), now });
    }
    changed
}

/// The latest declaration of a thing that is declared, as its body says.
fn declared(view: View<'_>, label: Label, at: Instant) -> Option<serde_json::Value> {
    let mut latest = None;
    for fact in view.facts(label).filter(|fact| fact.at <= at) {
        let body = match &fact.what {
            What::Yard(body) => serde_json::to_value(&**body),
            What::Place(body) => serde_json::to_value(&**body),
            What::Revised(body) => serde_json::to_value(&**body),
            What::Registered(body) => serde_json::to_value(&**body),
            What::Planned(plan) => serde_json::to_value(&plan.job),
            What::Granted(body) => serde_json::to_value(&**body),
            What::Enrolled(body) => serde_json::to_value(&**body),
            What::BoatList(parts) => {
                let parts: Vec<Code> = parts.iter().map(|part| view.book.code(*part)).collect();
                serde_json::to_value(shared_types::BoatList { parts })
            }
            _ => continue,
        };
        latest = body.ok();
    }
    latest
}

const DAY_MS: i64 = 86_400_000;

/// The rolls on all notes of a delivery, and which of them anybody received. Goods-in may be scanned before its note is
/// written; what was received days before is perhaps another roll.
pub(crate) fn note(read: At<'_>, delivery: Label, say: &Say) -> Option<DeliveryNote> {
    let by_then = |label: Label| read.view.facts(label).filter(move |fact| fact.at <= read.at);
    let notes = by_then(delivery).filter_map(|fact| match &fact.what {
        What::Noted(rolls) => Some((fact.at, rolls)),
        _ => None,
    });
    let came = notes.clone().map(|(at, _)| at).next()?;
    let rolls: BTreeSet<(&ThingName, Label)> =
        notes.flat_map(|(_, rolls)| rolls.iter()).map(|roll| (read.view.book.name(*roll), *roll)).collect();
    let received_at = |roll: Label| {
        let is_receipt = |fact: &&Fact| matches!(&fact.what, What::Received(received) if received.roll == roll);
        by_then(roll).find(is_receipt).map(|fact| fact.at)
    };
    let (mut received, mut missing, mut received_before) = (Vec::new(), Vec::new(), Vec::new());
    for (name, roll) in rolls {
        let at = received_at(roll);
        if at.is_some() { &mut received } else { &mut missing }.push(name.clone());
        received_before.extend(
            at.filter(|at| at.plus_ms(DAY_MS) <= came)
                .map(|at| ReceivedBefore { roll: name.clone(), received_at: say.stamp(at) }),
        );
    }
    let noted = (received.len() + missing.len()) as u64;
    (noted != 0).then_some(DeliveryNote { noted, received, missing, received_before })
}
