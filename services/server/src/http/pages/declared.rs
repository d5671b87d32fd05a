//! One useful sentence about what is declared, cut or heated: places, materials, batches, jobs, nests, runs, boats.

use super::screen::{Look, Screen, held};
use domain::Book;
use domain::fact::What;
use domain::say::{Say, left};
use domain::view::View;
use serde::de::DeserializeOwned;
use shared_types::{
    Batch, BoatList, Day, DeliveryNote, Instant, Job, Kind, LayToCure, Place, Refreezes, Revision, ShelfLife,
    StatedSeconds, ThingView, Yard,
};

pub(super) fn declared(book: &Book, look: &Look<'_>, seen: &ThingView, say: &Say, screen: &mut Screen) {
    let name = look.thing.short();
    let words = match look.thing.kind() {
        Kind::Place => body(seen).map(|place| place_words(name, &place)),
        Kind::Material => body(seen).map(|revision| material_words(name, &revision)),
        Kind::Batch => body(seen).map(|batch| batch_words(look.thing.code(), &batch)),
        Kind::Job => body(seen).map(|job| job_words(name, &job, look, say)),
        Kind::Yard => body(seen).map(|yard| yard_words(&yard)),
        Kind::Boat => body(seen)
            .map(|list: BoatList| format!("{name}: {} on its list.", super::claim::number(list.parts.len(), "part"))),
        Kind::Delivery => seen.note.as_ref().map(|note| {
            screen.why.extend(long_before(note, say, look.when.now));
            seen.say.clone()
        }),
        Kind::Badge => {
            let role = if book.label(look.thing).is_some() && seen.declared.is_some() {
                seen.say.clone()
            } else {
                format!("{name} is a badge.")
            };
            Some(format!("{role} What was written with it stands in the histories, under who."))
        }
        // While nobody enrolled it and nothing came from it, there is nothing to say.
        Kind::Device => Some(seen.say.clone()).filter(|say| !say.starts_with("device ")),
        Kind::Nest => nest_words(book, look, say),
        Kind::Run => run_words(book, look, say),
        _ => None,
    };
    let entries = super::claim::number(usize::try_from(seen.entries).unwrap_or(usize::MAX), "entry");
    if words.is_some() && look.thing.kind() == Kind::Job {
        screen.next = "Now scan the roll.";
    }
    screen.big.push(words.unwrap_or_else(|| match look.thing.kind() {
        Kind::Job => format!("Nobody has opened the job {name}: {entries} about it."),
        Kind::Place | Kind::Material => {
            format!("Nobody has declared the {} {name}: {entries} about it.", look.thing.kind())
        }
        Kind::Batch => format!("Nobody has registered the batch {}: {entries} about it.", look.thing.code()),
        kind => format!("{kind} {name}: {entries} about it."),
    }));
    screen.why.extend(seen.holds.iter().map(|hold| held(hold, look, "", say)));
    if !seen.holds.is_empty() {
        screen.frame = "no";
    }
}

/// What was received before its delivery came, to be looked at.
fn long_before(note: &DeliveryNote, say: &Say, now: Instant) -> Option<String> {
    let received =
        note.received_before.iter().map(|one| format!("{} {}", one.roll.short(), say.past(one.received_at.at, now)));
    let received: Vec<String> = received.collect();
    let words = "Received before this delivery came, so look whether the label is right:";
    (!received.is_empty()).then(|| format!("{words} {}.", received.join(", ")))
}

pub(super) fn body<T: DeserializeOwned>(seen: &ThingView) -> Option<T> {
    serde_json::from_value(seen.declared.clone()?).ok()
}

fn place_words(name: &str, place: &Place) -> String {
    let kind = if place.frozen { "a frozen place" } else { "a room" };
    let highest = place
        .highest_millideg_c
        .map_or(String::new(), |highest| format!(", at most {}", domain::say::degrees(highest)));
    format!("{name}: {}, {kind}{highest}.", place.name)
}

fn material_words(name: &str, revision: &Revision) -> String {
    let clock = |stated: Option<&StatedSeconds>| match stated {
        Some(StatedSeconds::Limit(limit)) => left(limit.as_ms()),
        Some(StatedSeconds::None(_)) => "no limit".to_owned(),
        None => "not stated".to_owned(),
    };
    let to_cure = match &revision.lay_to_cure {
        Some(LayToCure::Limit(limit)) => left(limit.limit_s.as_ms()),
        Some(LayToCure::None(_)) => "no limit".to_owned(),
        None => "not stated".to_owned(),
    };
    let shelf = match &revision.shelf_life {
        Some(ShelfLife::Limit(limit)) => format!("{} months", limit.months),
        Some(ShelfLife::None(_)) => "no limit".to_owned(),
        None => "not stated".to_owned(),
    };
    let refreezes = match &revision.refreezes {
        Some(Refreezes::Limit(limit)) => limit.allowed.to_string(),
        Some(Refreezes::None(_)) => "no limit".to_owned(),
        None => "not stated".to_owned(),
    };
    format!(
        "{name}: {}, revision {}. Tack life {}, out-life {}, lay-to-cure limit {to_cure}, shelf life {shelf}, refreezes {refreezes}.",
        revision.name,
        revision.revision,
        clock(revision.tack_life_s.as_ref()),
        clock(revision.out_life_s.as_ref()),
    )
}

fn batch_words(code: &str, batch: &Batch) -> String {
    let ends = batch
        .certificate_ends
        .map_or(String::new(), |ends| format!(" Its certificate says that it keeps until {}.", day(ends)));
    format!("{code}: made {}.{ends}", day(batch.made_on))
}

pub(super) fn day(day: Day) -> String {
    day.last().map_or_else(|| day.to_string(), |day| day.format("%a %-d %b %Y").to_string())
}

fn job_words(name: &str, job: &Job, look: &Look<'_>, say: &Say) -> String {
    let time = |stamp: &shared_types::Stamp| say.time(stamp.at, look.when.now);
    let needs: Vec<String> =
        job.needs.iter().map(|need| format!("{} of {}", metres(need.length_mm.get()), need.material)).collect();
    let needs = if needs.is_empty() { String::new() } else { format!(" Needs {}.", needs.join(", ")) };
    format!("{name}: last ply {}, oven {}.{needs}", time(&job.lay_at), time(&job.oven_at))
}

pub(super) fn metres(mm: u64) -> String {
    match mm % 1000 {
        0 => format!("{} m", mm / 1000),
        rest => format!("{}.{} m", mm / 1000, format!("{rest:03}").trim_end_matches('0')),
    }
}

fn yard_words(yard: &Yard) -> String {
    let call = yard.on_call.as_ref().map_or(String::new(), |call| format!(" Call {call}."));
    format!("Times are those of {}. Spare time {}.{call}", yard.zone, left(yard.spare_s.as_ms()))
}

/// The last cut of a nest.
fn nest_words(book: &Book, look: &Look<'_>, say: &Say) -> Option<String> {
    let name = look.thing.short();
    let label = book.label(look.thing)?;
    let view = View::new(book, look.when.known);
    let cuts = view.facts(label).filter(|fact| fact.at <= look.when.at).filter_map(|fact| match &fact.what {
        What::Cut(cut) if cut.nest == label => Some((fact.at, cut)),
        _ => None,
    });
    let (at, cut) = cuts.last()?;
    let kits = cut.kits.iter().map(|kit| format!("kit {} for {}", book.code(kit.kit), book.code(kit.job)));
    let mut rolls: Vec<String> =
        cut.kits.iter().flat_map(|kit| &kit.items).map(|(roll, _)| book.code(*roll).to_string()).collect();
    rolls.sort();
    rolls.dedup();
    let kits: Vec<String> = kits.collect();
    Some(format!("{name}: cut {} into {}, from {}.", say.time(at, look.when.now), kits.join(", "), rolls.join(", ")))
}

/// What an oven run started with, and how it ended.
fn run_words(book: &Book, look: &Look<'_>, say: &Say) -> Option<String> {
    let name = look.thing.short();
    let label = book.label(look.thing)?;
    let time = |at| say.time(at, look.when.now);
    let view = View::new(book, look.when.known);
    let (mut started, mut ended) = (None, "not ended yet".to_owned());
    for fact in view.facts(label).filter(|fact| fact.at <= look.when.at) {
        match &fact.what {
            What::RunStarted(run) if run.run == label => {
                let stages: Vec<String> =
                    run.stages.iter().map(|(part, stage)| format!("{} {stage}", book.code(*part))).collect();
                started = Some(format!("{name}: started {} with {}", time(fact.at), stages.join(", ")));
            }
            What::RunEnded { cured, .. } => {
                let cured = match cured {
                    Some(true) => ", cured",
                    Some(false) => ", not cured",
                    None => "",
                };
                ended = format!("ended {}{cured}", time(fact.at));
            }
            What::RunInterrupted { .. } => ended = format!("broke off {}", time(fact.at)),
            _ => {}
        }
    }
    started.map(|started| format!("{started}; {ended}."))
}
