//! A card or a history as a table for a spreadsheet (CSV, RFC 4180).

use super::super::table;
use super::{history::Line, rows::Card};
use crate::http::problems::Fault;
use actix_web::HttpResponse;
use shared_types::ThingName;

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Sheet {
    Card,
    History,
}

impl Sheet {
    pub(super) fn read(text: &str) -> Result<Option<Sheet>, Fault> {
        match text {
            "" => Ok(None),
            "card" => Ok(Some(Sheet::Card)),
            "history" => Ok(Some(Sheet::History)),
            _ => Err(Fault::cannot_read("There is a table of the card and one of the history.")
                .field("/csv", "card or history")),
        }
    }
}

pub(super) fn card(thing: &ThingName, cards: &[Card]) -> Result<HttpResponse, Fault> {
    let head = [
        "item",
        "out",
        "in",
        "interval",
        "running total",
        "tack left",
        "out-life left",
        "who",
        "note",
        "struck",
        "entries",
        "laid",
    ];
    let rows = cards.iter().flat_map(|card| {
        card.lines.iter().map(|line| {
            let entries: Vec<String> = line.entries.iter().map(u64::to_string).collect();
            let struck = if line.struck { "struck" } else { "" };
            [
                &card.item,
                &line.out,
                &line.back,
                &line.interval,
                &line.total,
                &line.tack_left,
                &line.out_life_left,
                &line.who,
                &line.note,
                struck,
                &entries.join(" "),
                card.laid.as_deref().unwrap_or_default(),
            ]
            .map(str::to_owned)
            .to_vec()
        })
    });
    table::whole(&format!("{} out-time card", thing.short()), &head, rows)
}

pub(super) fn history(thing: &ThingName, lines: &[Line]) -> Result<HttpResponse, Fault> {
    let head = ["entry", "occurred", "recorded", "who", "what", "note", "struck", "the screen had said"];
    let rows = lines.iter().map(|line| {
        vec![
            line.seq.to_string(),
            line.occurred.clone(),
            line.recorded.clone().unwrap_or_default(),
            line.who.clone(),
            line.what.clone(),
            line.notes.join("; "),
            line.struck.clone().unwrap_or_default(),
            line.shown.clone().unwrap_or_default(),
        ]
    });
    table::whole(&format!("{} history", thing.short()), &head, rows)
}
