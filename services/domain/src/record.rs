//! What stands behind a part in a claim: its limits when its cure began, what confirmed that, what held it then, and
//! which of its acts are judged otherwise today.

use crate::book::Book;
use crate::cure::cure;
use crate::fact::{Fact, Label};
use crate::holds;
use crate::limits::{At, stage_limits};
use crate::question::When;
use crate::rows::rows;
use crate::say::Say;
use crate::stage::{Run, StageLife, stage_life, stages_of};
use crate::thing::judged_again;
use crate::view::View;
use shared_types::{HoldView, Instant, JudgedAgain, LimitRow, StageName, Stamp, ThingName};
use std::cmp::Ordering;
use std::sync::Arc;

pub struct PartRecord {
    pub part: ThingName,
    /// Every entry behind it in the order in which it happened, struck ones too: its own, and those of its oven runs.
    pub entries: Vec<u32>,
    /// In the order in which they were laid.
    pub stages: Vec<StageRecord>,
    pub judged_again: Vec<JudgedAgain>,
}

pub struct StageRecord {
    pub stage: StageName,
    /// Where its cure stands and what says so.
    pub say: String,
    /// The instant at which its limits and holds are read: when its oven run began, or the one asked for.
    pub at: Stamp,
    /// Whether that is when its cure began.
    pub in_oven: bool,
    /// The limits as they stood then.
    pub limits: Vec<LimitRow>,
    pub holds: Vec<HoldView>,
}

/// A part's record, as of an instant and as known at an entry. Each of its stages is folded once for it.
pub fn part_record(book: &Book, part: &ThingName, when: When) -> Option<PartRecord> {
    let view = View::new(book, when.known);
    let label = book.label(part)?;
    let say = Say::of(view, when.now).in_full();
    let lives: Vec<Arc<StageLife>> = stages_of(view, label).iter().map(|name| stage_life(view, label, name)).collect();
    let mut laid: Vec<&StageLife> = lives
        .iter()
        .map(|life| &**life)
        .filter(|life| life.lying(when.at).next().is_some() || life.oven(when.at).run().is_some())
        .collect();
    laid.sort_by_key(|life| life.lying(when.at).map(|item| item.first_ply).min());
    Some(PartRecord {
        part: part.clone(),
        entries: entries(view, label, &lives, when.at),
        stages: laid.into_iter().map(|life| stage(view, life, when, &say)).collect(),
        judged_again: judged_again(view, label, &say),
    })
}

fn stage(view: View<'_>, life: &StageLife, when: When, say: &Say) -> StageRecord {
    let oven = life.oven(when.at);
    let at = oven.run().map_or(when.at, |run| run.start);
    let read = At::new(view, at);
    let mut holds = holds::by_rule(view, life, at, say);
    holds.extend(holds::on_stage(view, life, at, say));
    StageRecord {
        stage: life.stage.clone(),
        say: cure_words(view, life, when, say),
        at: say.stamp(at),
        in_oven: oven.run().is_some(),
        limits: rows(read, &stage_limits(read, life), say),
        holds,
    }
}

/// In which run it is since when, which entry says that its cure got under way, and what speaks against that.
fn cure_words(view: View<'_>, life: &StageLife, when: When, say: &Say) -> String {
    let cure = cure(view, life, when.at, say);
    let said = match cure.oven.run() {
        None => "Not in the oven yet.".to_owned(),
        Some(run) => in_run(view, run, when, say),
    };
    let held = cure.held.iter().map(|hold| format!("Held: {}.", hold.why));
    let told = cure.lay_up_told.then(|| "Part of its lay-up was told, and nobody confirmed it yet.".to_owned());
    [said].into_iter().chain(held).chain(cure.in_doubt).chain(told).collect::<Vec<_>>().join(" ")
}

fn in_run(view: View<'_>, run: Run, when: When, say: &Say) -> String {
    let told = if run.told { " as it was told" } else { "" };
    let since =
        format!("In oven run {} since {}{told}", view.book.name(run.run).short(), say.time(run.scanned_at, when.now));
    match run.committed.and_then(|seq| view.fact_of(seq)) {
        Some(fact) if !run.told => {
            let at = say.time(fact.at, when.now);
            format!("{since}, confirmed {at} by {}, entry {}.", view.book.code(fact.by), fact.seq)
        }
        Some(_) | None => format!("{since}, not confirmed yet."),
    }
}

/// The entries that name the part or one of its runs; what names both is there once.
fn entries(view: View<'_>, part: Label, lives: &[Arc<StageLife>], at: Instant) -> Vec<u32> {
    let runs = lives.iter().flat_map(|life| &life.runs).map(|run| run.run);
    let all = runs.chain([part]).flat_map(|label| view.book.all_facts(label));
    let mut found: Vec<&Fact> = all.filter(|fact| fact.seq <= view.known && fact.at <= at).collect();
    found.sort_by(|one, other| match (view.book.before(one, other), one.seq == other.seq) {
        (_, true) => Ordering::Equal,
        (true, false) => Ordering::Less,
        (false, false) => Ordering::Greater,
    });
    found.dedup_by_key(|fact| fact.seq);
    found.into_iter().map(|fact| fact.seq).collect()
}
