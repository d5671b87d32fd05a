//! What is known of a thing beside its life, as lines of label and value.

use super::super::declared::{body, day, metres};
use domain::say::{Say, left};
use shared_types::{
    Batch, BoatList, Instant, Job, Kind, LayToCure, Place, Refreezes, Revision, ShelfLife, StatedSeconds, ThingView,
    Yard,
};

/// A label and what stands beside it; where it is a thing with a page, its address.
pub(super) struct Line {
    pub(super) label: &'static str,
    pub(super) value: String,
    pub(super) address: Option<String>,
}

fn line(label: &'static str, value: impl Into<String>) -> Line {
    Line { label, value: value.into(), address: None }
}

fn link(label: &'static str, kind: &str, code: &str) -> Line {
    Line { label, value: code.to_owned(), address: Some(format!("/thing/{kind}/{}", super::super::in_a_query(code))) }
}

pub(super) fn facts(seen: &ThingView, say: &Say, near: Instant) -> Vec<Line> {
    let mut lines = Vec::new();
    if let Some(material) = &seen.material {
        lines.push(link("material", "material", material.as_str()));
    }
    lines.extend(seen.revision.as_ref().map(|revision| line("revision", revision.to_string())));
    if let Some(batch) = &seen.batch {
        lines.push(Line {
            label: "batch",
            value: batch.short().to_owned(),
            address: Some(format!("/thing/{}", crate::http::fallback::in_a_path(batch))),
        });
    }
    let length = seen.length_left_mm.and_then(|left| u64::try_from(left).ok());
    lines.extend(length.map(|left| line("length left", metres(left))));
    lines.extend(seen.jobs.iter().map(|job| link("job", "job", job.as_str())));
    match seen.thing.kind() {
        Kind::Place => lines.extend(body::<Place>(seen).iter().flat_map(place)),
        Kind::Material => lines.extend(body::<Revision>(seen).iter().flat_map(revision)),
        Kind::Batch => lines.extend(body::<Batch>(seen).iter().flat_map(|batch| batch_lines(seen, batch))),
        Kind::Job => lines.extend(body::<Job>(seen).iter().flat_map(|job| job_lines(job, say, near))),
        Kind::Boat => lines.extend(
            body::<BoatList>(seen).iter().flat_map(|list| &list.parts).map(|part| link("part", "part", part.as_str())),
        ),
        Kind::Yard => lines.extend(body::<Yard>(seen).iter().flat_map(yard)),
        _ => {}
    }
    lines
}

fn place(place: &Place) -> Vec<Line> {
    let mut lines = vec![
        line("name", place.name.clone()),
        line("what it is", if place.frozen { "a frozen place" } else { "a room" }),
    ];
    lines.extend(place.highest_millideg_c.map(|highest| line("highest temperature", domain::say::degrees(highest))));
    lines.extend(place.room.as_ref().map(|room| link("stands in", "place", room.as_str())));
    lines.extend(place.rack_s.map(|rack| line("time to the rack", left(rack.as_ms()))));
    lines
}

fn stated(seconds: Option<&StatedSeconds>) -> String {
    match seconds {
        Some(StatedSeconds::Limit(limit)) => left(limit.as_ms()),
        Some(StatedSeconds::None(none)) => format!("no limit, by {}", none.none_by),
        None => "not stated".to_owned(),
    }
}

fn revision(revision: &Revision) -> Vec<Line> {
    let shelf = match &revision.shelf_life {
        Some(ShelfLife::Limit(limit)) => format!("{} months from manufacture", limit.months),
        Some(ShelfLife::None(none)) => format!("no limit, by {}", none.none_by),
        None => "not stated".to_owned(),
    };
    let to_cure = match &revision.lay_to_cure {
        Some(LayToCure::Limit(limit)) => left(limit.limit_s.as_ms()),
        Some(LayToCure::None(none)) => format!("no limit, by {}", none.none_by),
        None => "not stated".to_owned(),
    };
    let refreezes = match &revision.refreezes {
        Some(Refreezes::Limit(limit)) => limit.allowed.to_string(),
        Some(Refreezes::None(none)) => format!("no limit, by {}", none.none_by),
        None => "not stated".to_owned(),
    };
    let mut lines = vec![
        line("name", revision.name.clone()),
        line("revision", revision.revision.to_string()),
        line("form", revision.form.clone()),
        line("tack life", stated(revision.tack_life_s.as_ref())),
        line("out-life", stated(revision.out_life_s.as_ref())),
        line("lay-to-cure limit", to_cure),
        line("shelf life", shelf),
        line("refreezes", refreezes),
    ];
    lines.extend(revision.storage_limit_millideg_c.map(|limit| line("stored at most at", domain::say::degrees(limit))));
    lines.extend(revision.valid_up_to_millideg_c.map(|limit| line("limits hold up to", domain::say::degrees(limit))));
    lines
}

fn batch_lines(seen: &ThingView, batch: &Batch) -> Vec<Line> {
    let mut lines = Vec::new();
    lines.extend(seen.thing.code().split_once('/').map(|(material, _)| link("material", "material", material)));
    lines.push(line("made", day(batch.made_on)));
    lines.extend(batch.certificate_ends.map(|ends| line("keeps until, by its certificate", day(ends))));
    lines
}

fn job_lines(job: &Job, say: &Say, near: Instant) -> Vec<Line> {
    let mut lines = vec![link("part", "part", job.part.as_str())];
    let stages: Vec<&str> = job.stages.iter().map(shared_types::StageName::as_str).collect();
    lines.push(line("lay-up stages", stages.join(", ")));
    lines.extend(
        job.needs.iter().map(|need| line("needs", format!("{} of {}", metres(need.length_mm.get()), need.material))),
    );
    lines.push(line("last ply planned", say.time(job.lay_at.at, near)));
    lines.push(line("oven planned", say.time(job.oven_at.at, near)));
    lines.extend(job.boat.as_ref().map(|boat| link("boat", "boat", boat.as_str())));
    lines
}

fn yard(yard: &Yard) -> Vec<Line> {
    let mut lines = vec![line("zone", yard.zone.clone()), line("spare time", left(yard.spare_s.as_ms()))];
    lines.extend(yard.on_call.as_ref().map(|call| line("call", call.clone())));
    lines
}
