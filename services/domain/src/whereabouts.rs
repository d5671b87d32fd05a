//! Where a thing is, and the sentence that says it.

use crate::cold;
use crate::fact::Label;
use crate::history::{History, Spot};
use crate::limits::At;
use crate::roll::End;
use crate::say::Say;
use crate::stage::{Oven, Run, StageLife};
use shared_types::{DeliveryNote, Instant, ThingName, ThingView, Whereabouts};
use std::sync::Arc;

pub(crate) fn stage_whereabouts(read: At<'_>, stage: &StageLife, say: &Say) -> Whereabouts {
    let oven = stage.oven(read.at);
    match (oven.run(), stage.lying(read.at).map(|item| item.first_ply).min()) {
        (Some(run), Some(_)) => Whereabouts::InRun {
            run: read.view.book.name(run.run).clone(),
            since: say.stamp(run.scanned_at),
            confirmed: matches!(oven, Oven::Started(_)) && !run.told,
        },
        (None, Some(since)) => Whereabouts::Laid { since: say.stamp(since) },
        (_, None) => Whereabouts::NothingLaid,
    }
}

pub(crate) fn whereabouts(
    read: At<'_>,
    label: Label,
    history: &History,
    received: bool,
    end: Option<End>,
    say: &Say,
) -> Whereabouts {
    if let Some(end) = end {
        let since = say.stamp(end.at);
        return if end.disposed { Whereabouts::Disposed { since } } else { Whereabouts::Consumed { since } };
    }
    let code = |place: Label| read.view.book.code(place);
    match (history.spot(read.at), history.stretches.around(read.at)) {
        // What counts as out is shown as out, whatever the last scan said.
        (Some((_, Spot::Inside(place))), Some((since, _))) => {
            let warm = cold::why_out(read.view, label, place, read.at).is_some();
            Whereabouts::Out { place: warm.then(|| code(place)), since: say.stamp(since) }
        }
        (Some((since, Spot::Inside(place))), None) => {
            Whereabouts::Inside { place: code(place), position: None, since: say.stamp(since) }
        }
        (Some((since, Spot::OnItsWay(place))), _) => {
            Whereabouts::OnItsWay { place: code(place), since: say.stamp(since) }
        }
        (Some((at, Spot::Out(place))), around) => {
            Whereabouts::Out { place: place.map(code), since: say.stamp(around.map_or(at, |(since, _)| since)) }
        }
        (None, Some((since, _))) if received => Whereabouts::Out { place: None, since: say.stamp(since) },
        (None, _) => Whereabouts::NotReceived,
    }
}

/// What was in a run whose start is confirmed: cured, unless the run broke off or somebody says that it did not cure.
pub(crate) fn heated(what: &str, run: Run, name: &str, since: &str) -> String {
    match run.spoiled() {
        None => format!("{what} was cured in run {name}, started {since}."),
        Some(_) => format!("{what} went into the oven in run {name} {since}."),
    }
}

/// The same of a part, by what lies in it that was heated last.
pub(crate) fn heated_words(read: At<'_>, shown: &ThingView, stages: &[Arc<StageLife>], say: &Say) -> Option<String> {
    let Whereabouts::InRun { run, since, confirmed: true } = &shown.whereabouts else { return None };
    let of = |stage: &&Arc<StageLife>| stage.oven(read.at).run().is_some_and(|own| read.view.book.name(own.run) == run);
    let stage = stages.iter().rev().find(of)?;
    let part = shown.thing.short();
    let what = if stages.len() == 1 { part.to_owned() } else { format!("{part} {}", stage.stage) };
    Some(heated(&what, stage.oven(read.at).run()?, run.short(), &say.time(since.at, read.at)))
}

pub(crate) fn sentence(shown: &ThingView, say: &Say, at: Instant) -> String {
    let name = shown.thing.short();
    if let Some(note) = &shown.note {
        return note_words(name, note);
    }
    let time = |stamp: shared_types::Stamp| say.time(stamp.at, at);
    match &shown.whereabouts {
        Whereabouts::NotReceived => format!("Nobody has received {name}."),
        Whereabouts::OnItsWay { place, since } => format!("{name} is on its way in {place} since {}.", time(*since)),
        Whereabouts::Inside { place, since, .. } => format!("{name} is in {place} since {}.", time(*since)),
        Whereabouts::Out { place: Some(place), since } => format!("{name} is out, in {place}, since {}.", time(*since)),
        Whereabouts::Out { place: None, since } => format!("{name} is out since {}.", time(*since)),
        Whereabouts::Consumed { since } => format!("{name} was used up {}.", time(*since)),
        Whereabouts::Disposed { since } => format!("{name} was thrown away {}.", time(*since)),
        Whereabouts::NothingLaid => format!("Nothing is laid in {name}."),
        Whereabouts::Laid { since } => format!("{name}: lay-up since {}.", time(*since)),
        Whereabouts::InRun { run, since, confirmed: true } => {
            format!("{name} went into the oven in run {} {}.", run.short(), time(*since))
        }
        Whereabouts::InRun { run, since, confirmed: false } => {
            format!("{name} went into the oven in run {} {}, not confirmed yet.", run.short(), time(*since))
        }
        Whereabouts::InBoat { boat, since } => format!("{name} is in boat {boat} since {}.", time(*since)),
        Whereabouts::Standing => format!(
            "{} {name}: {} {}.",
            shown.thing.kind(),
            shown.entries,
            if shown.entries == 1 { "entry" } else { "entries" }
        ),
    }
}

fn note_words(name: &str, note: &DeliveryNote) -> String {
    let DeliveryNote { noted, received, missing, .. } = note;
    let rolls = if *noted == 1 { "roll" } else { "rolls" };
    if missing.is_empty() {
        return format!("Delivery {name}: all {noted} {rolls} on its note received.");
    }
    let names: Vec<&str> = missing.iter().map(ThingName::short).collect();
    format!(
        "Delivery {name}: {} of {noted} {rolls} on its note received. Missing: {}.",
        received.len(),
        names.join(", ")
    )
}
