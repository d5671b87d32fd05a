//! What changed of a trace between two entries of the log: to read, to print, and for a spreadsheet.

use super::{
    answer,
    assets::Assets,
    foot::{Foot, print},
    named::Named,
    page, table,
    traced::read_known,
};
use crate::{
    http::{
        ask::ask_beside,
        changes::{ChangesQuery, found},
        fallback::in_a_path,
        problems::Fault,
    },
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, web};
use askama::Template;
use domain::{When, say::Say, view::View};
use serde::Deserialize;
use shared_types::{Changes, Direction, ThingName};

#[derive(Template)]
#[template(path = "changed.html")]
struct ChangedPage {
    assets: Assets,
    foot: Foot,
    print: String,
    thing: ThingName,
    address: String,
    /// As in the address.
    direction: &'static str,
    from: String,
    to: String,
    at: String,
    said: Option<Said>,
}

struct Said {
    first: String,
    rest: Vec<String>,
    lines: Vec<Line>,
}

struct Line {
    seq: u64,
    occurred: String,
    what: String,
    thing: ThingName,
}

/// As it stands in the address; without a first entry the page asks for it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
    #[serde(default)]
    direction: String,
    #[serde(default)]
    at: String,
    #[serde(default, rename = "as")]
    form: String,
}

#[actix_web::routes]
#[get("/changes/{kind}/{code}")]
#[get("/changes/batch/{material}/{batch}")]
#[head("/changes/{kind}/{code}")]
#[head("/changes/batch/{material}/{batch}")]
pub(crate) async fn changes_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    named: Named,
    query: web::Query<Asked>,
) -> HttpResponse {
    answer(&request, one(&yard, named, &query).await)
}

async fn one(yard: &web::Data<Yard>, named: Named, query: &Asked) -> Result<HttpResponse, Fault> {
    let thing = named.thing()?;
    let direction = super::traced::way(&query.direction, &thing)?;
    let (from, to, at) = (read_known(&query.from)?, read_known(&query.to)?, super::asked_then(yard, &query.at)?);
    let csv = match query.form.trim() {
        "" => false,
        "csv" => true,
        _ => return Err(Fault::cannot_read("Changes are shown as a page, or as csv for a spreadsheet.")),
    };
    let (shared, named) = (yard.clone(), thing.clone());
    let (changes, say, foot) = ask_beside(yard, move |book| {
        let asked = from.map(|from| ChangesQuery { from, to, direction: Some(direction), at });
        let changes = asked.map(|asked| found(&shared, book, &named, asked)).transpose()?;
        let now = shared.now();
        let when = When { at: at.map_or(now, |at| at.at), known: to.unwrap_or(u64::MAX), now };
        let view = View::new(book, when.known);
        if book.label(&named).is_none() {
            return Err(crate::http::ask::nobody(&named));
        }
        Ok((changes, Say::of(view, now), Foot::of(&shared, view, when)))
    })
    .await?;
    if let (true, Some(changes)) = (csv, &changes) {
        return as_table(changes);
    }
    let now = yard.now();
    let line = |entry: &shared_types::EntryBetween| Line {
        seq: entry.seq,
        occurred: say.time(entry.occurred_at.at, now),
        what: domain::say::entry_kind(&entry.kind),
        thing: entry.thing.clone(),
    };
    let said = changes.map(|changes| Said {
        first: changes.say.first().cloned().unwrap_or_default(),
        rest: changes.say.iter().skip(1).cloned().collect(),
        lines: changes.entries.iter().map(line).collect(),
    });
    let shown = ChangedPage {
        assets: Assets::new(),
        print: print(&format!("Changes of {} {}", thing.kind(), thing.code()), &foot),
        foot,
        address: format!("/changes/{}", in_a_path(&thing)),
        thing,
        direction: match direction {
            Direction::MadeFrom => "made_from",
            Direction::WentInto => "went_into",
        },
        from: query.from.trim().to_owned(),
        to: query.to.trim().to_owned(),
        at: query.at.trim().to_owned(),
        said,
    };
    page(StatusCode::OK, &shown)
}

/// A row for each entry that came between, then one for each thing that changed.
fn as_table(changes: &Changes) -> Result<HttpResponse, Fault> {
    let entries = changes.entries.iter().map(|entry| {
        let (seq, kind) = (entry.seq.to_string(), domain::say::entry_kind(&entry.kind));
        [seq, kind, entry.thing.to_string(), entry.occurred_at.to_string()]
    });
    let changed = changes.say.iter().skip(1).map(|line| [String::new(), line.clone(), String::new(), String::new()]);
    let name = format!("changes-{}", in_a_path(&changes.thing).replace(['/', '%'], "-"));
    table::whole(&name, &["entry", "what", "thing", "occurred"], entries.chain(changed))
}
