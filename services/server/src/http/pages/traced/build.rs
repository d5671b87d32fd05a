//! The ruled build sheet of anything: boat, part, kit, roll, batch, and how each part was judged.

use super::super::table;
use crate::http::{fallback::in_a_path, problems::Fault};
use actix_web::HttpResponse;
use domain::sheet::{Links, Part, Source, Stands, boat_of, traced_part};
use domain::view::View;
use domain::{Book, When};
use shared_types::{Direction, Kind, ThingName, Trace};
use std::collections::BTreeSet;

/// Parts on one page; the CSV has them all.
const MOST: usize = 400;

pub(super) struct Build {
    pub(super) parts: Vec<Part>,
    /// Kits and rolls that are in no part yet.
    pub(super) loose: Vec<Source>,
}

impl Build {
    pub(super) fn shown(&self) -> &[Part] {
        self.parts.get(..MOST).unwrap_or(&self.parts)
    }

    pub(super) fn left_out(&self) -> usize {
        self.parts.len().saturating_sub(MOST)
    }
}

pub(super) fn build(book: &Book, trace: &Trace, when: When) -> Build {
    let mut whole = trace.clone();
    if trace.direction == Direction::WentInto {
        // A sheet names batch and roll also of what is asked from the middle, where only the way onwards was walked.
        let kits = trace.nodes.iter().map(|node| &node.thing).filter(|thing| {
            thing.kind() == Kind::Kit && !matches!(trace.thing.kind(), Kind::Material | Kind::Batch | Kind::Roll)
        });
        for thing in kits.chain([&trace.thing]) {
            let above = domain::trace(book, thing, Direction::MadeFrom, when);
            whole.links.extend(above.into_iter().flat_map(|above| above.links));
        }
    }
    let (view, links) = (View::new(book, when.known), Links::of(&whole));
    let all: BTreeSet<&ThingName> = trace.nodes.iter().map(|node| &node.thing).chain([&trace.thing]).collect();
    let gone_on: BTreeSet<&ThingName> = whole.links.iter().map(|link| &link.from).collect();
    let part = |name: &&ThingName| {
        let stands = match boat_of(view, name, when.at) {
            Some(_) => Stands::Installed,
            None => Stands::NotInstalled,
        };
        traced_part(view, &links, name, stands, true, when.at)
    };
    let parts = all.iter().filter(|thing| thing.kind() == Kind::Part).map(part).collect();
    let loose = all.iter().filter(|thing| matches!(thing.kind(), Kind::Kit | Kind::Roll) && !gone_on.contains(**thing));
    Build { parts, loose: loose.map(|thing| links.source(thing)).collect() }
}

/// A row for each roll of each stage.
pub(super) fn csv(build: &Build, thing: &ThingName) -> Result<HttpResponse, Fault> {
    let head = "boat,part,stage,kit,roll,batch,tack left when laid,out-life left at cure,oven run,judged";
    let head: Vec<&str> = head.split(',').collect();
    let mut rows: Vec<[String; 10]> = Vec::new();
    let mut row = |cells: [&str; 10]| rows.push(cells.map(str::to_owned));
    for part in &build.parts {
        let boat = part.boat.as_deref().unwrap_or_default();
        if part.stages.is_empty() {
            row([boat, &part.name, "", "", "", "", "", "", "", &part.note().unwrap_or_default()]);
        }
        for stage in &part.stages {
            let judged = stage.verdict.words();
            for source in &stage.sources {
                for (roll, batch) in &source.rolls {
                    let kit = source.kit.as_deref().unwrap_or_default();
                    let (tack, out, run) = (&stage.tack_when_laid, &stage.out_life_at_cure, &stage.run);
                    row([boat, &part.name, &stage.name, kit, roll, batch, tack, out, run, &judged]);
                }
            }
        }
    }
    for source in &build.loose {
        for (roll, batch) in &source.rolls {
            row(["", "", "", source.kit.as_deref().unwrap_or_default(), roll, batch, "", "", "", "in no part"]);
        }
    }
    table::whole(&format!("trace-{}", in_a_path(thing).replace(['/', '%'], "-")), &head, rows)
}
