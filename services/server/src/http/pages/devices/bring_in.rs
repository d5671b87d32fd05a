//! Bringing in what a device recorded and never sent: a file is chosen, its effect is read, and then it is saved.

use super::super::{answer, assets::Assets, effect, foot::Foot, page, thing::said::said};
use crate::{
    http::{
        ask::ask,
        bring_in::read,
        entries::Read,
        problems::{Fault, Kind},
    },
    yard::Yard,
};
use actix_web::{
    HttpRequest, HttpResponse,
    http::{StatusCode, header},
    post, route, web,
};
use askama::Template;
use domain::{
    Book, When,
    say::Say,
    standing::{self, Standing},
    view::View,
};
use futures_util::stream::once;
use multer::Multipart;
use shared_types::{Code, ItemResult};
use std::{
    collections::{BTreeMap, BTreeSet},
    convert::Infallible,
    future::ready,
};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "bring_in.html")]
struct BringInPage {
    assets: Assets,
    foot: Foot,
    problem: Option<String>,
    /// The facts as they were read, once a file was chosen.
    read: Option<Brought>,
}

struct Brought {
    /// What goes along until it is saved; nothing once it is.
    file: Option<String>,
    /// How many are which.
    counted: String,
    /// Which devices they name, and how those stand.
    devices: Vec<String>,
    sentences: Vec<String>,
    lines: Vec<Line>,
}

struct Line {
    what: String,
    came: String,
}

#[route("/devices/bring-in", method = "GET", method = "HEAD")]
pub(crate) async fn bring_in_page(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    answer(&request, shown(&yard, StatusCode::OK, None, None))
}

#[post("/devices/bring-in")]
pub(crate) async fn post_bring_in(request: HttpRequest, yard: web::Data<Yard>, body: web::Bytes) -> HttpResponse {
    let done = match step(&request, &yard, body).await {
        Ok(brought) => shown(&yard, StatusCode::OK, None, Some(brought)),
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => shown(&yard, fault.status(), Some(fault.problem().detail.clone()), None),
    };
    answer(&request, done)
}

/// First what it would change, then it is written.
async fn step(request: &HttpRequest, yard: &web::Data<Yard>, body: web::Bytes) -> Result<Brought, Fault> {
    let mut fields = fields(request, body).await?;
    match (fields.remove("facts"), fields.remove("file")) {
        (Some(facts), _) => save(yard, &facts).await,
        (None, Some(file)) => weigh(yard, file).await,
        (None, None) => Err(Fault::cannot_read("No file was chosen.")),
    }
}

async fn weigh(yard: &web::Data<Yard>, file: String) -> Result<Brought, Fault> {
    let read = read(&file)?;
    let named = Named::of(yard, &read)?;
    let found = read.tried(yard).await?;
    let now = yard.now();
    let say = ask(yard, |book| Ok(Say::of(View::new(book, u64::MAX), now)))?;
    let (mut sentences, _) = effect::changes(&found, &say, now);
    if sentences.is_empty() {
        sentences.push("It changes nothing else.".to_owned());
    }
    let is_new = found.results.iter().any(|one| one.status == 201);
    Ok(Brought { file: is_new.then_some(file), sentences, ..named.with(&found.results, "would be written") })
}

async fn save(yard: &web::Data<Yard>, facts: &str) -> Result<Brought, Fault> {
    let read = read(facts)?;
    let named = Named::of(yard, &read)?;
    Ok(named.with(&read.written(yard).await.results, "written"))
}

/// The facts in words, by their ids, and how the devices stand that they name.
struct Named {
    facts: BTreeMap<Uuid, String>,
    devices: Vec<String>,
}

impl Named {
    fn of(yard: &Yard, read: &Read) -> Result<Named, Fault> {
        let now = yard.now();
        ask(yard, |book| {
            let say = Say::of(View::new(book, u64::MAX), now);
            let line = |entry: &shared_types::Entry| {
                format!("{}, {}, by {}", said(entry, &say, now), say.past(entry.occurred_at.at, now), entry.by)
            };
            let facts = read.facts.iter().map(|fact| (fact.entry.id, line(&fact.entry))).collect();
            let devices: BTreeSet<&Code> = read.facts.iter().filter_map(|fact| fact.entry.device.as_ref()).collect();
            Ok(Named { facts, devices: devices.into_iter().map(|device| stands(book, device)).collect() })
        })
    }

    fn with(self, results: &[ItemResult], written: &str) -> Brought {
        let count = |is: fn(&ItemResult) -> bool| results.iter().filter(|one| is(one)).count();
        let counts = [
            (count(|one| one.status == 201), written),
            (count(|one| one.status == 200), "in already"),
            (count(|one| one.problem.is_some()), "not taken"),
        ];
        let counted: Vec<String> =
            counts.iter().filter(|(count, _)| 0 < *count).map(|(count, what)| format!("{count} {what}")).collect();
        let words = |id: Uuid| self.facts.get(&id).map(|words| format!("{words}."));
        let line = |result: &ItemResult| Line {
            what: result.id.and_then(words).unwrap_or_default(),
            came: came(result, written),
        };
        Brought {
            file: None,
            counted: format!("{}.", counted.join(", ")),
            lines: results.iter().map(line).collect(),
            devices: self.devices,
            sentences: Vec::new(),
        }
    }
}

/// What came of one of them, or would.
fn came(result: &ItemResult, written: &str) -> String {
    let is = if written == "written" { "It is written" } else { "It would be written" };
    let entry = result.seq.filter(|_| written == "written").map_or(String::new(), |seq| format!(" as entry {seq}"));
    match (&result.problem, result.status) {
        (Some(problem), _) => problem.detail.clone(),
        (None, 200) => "It is in already.".to_owned(),
        (None, _) if result.told => format!("{is}{entry}, as told: it waits until two confirm it."),
        (None, _) => format!("{is}{entry}."),
    }
}

fn stands(book: &Book, device: &Code) -> String {
    match standing::device(book, device) {
        Standing::Revoked => format!("From {device}, which was revoked."),
        Standing::NotEnrolled => format!("From {device}, which nobody enrolled."),
        Standing::Enrolled => {
            format!("From {device}, which is enrolled: what it still has it can send itself, and is believed then.")
        }
    }
}

/// The fields of a form with a file, all of them text.
async fn fields(request: &HttpRequest, body: web::Bytes) -> Result<BTreeMap<String, String>, Fault> {
    let media = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let boundary = multer::parse_boundary(media).map_err(|_| {
        Fault::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, Kind::WrongMediaType, "A file is sent as multipart/form-data.")
    })?;
    let unread = |_| Fault::cannot_read("The form could not be read. Choose the file again.");
    let mut form = Multipart::new(once(ready(Ok::<_, Infallible>(body))), boundary);
    let mut fields = BTreeMap::new();
    while let Some(field) = form.next_field().await.map_err(unread)? {
        let name = field.name().unwrap_or_default().to_owned();
        let bytes = field.bytes().await.map_err(unread)?;
        let text = String::from_utf8(bytes.to_vec());
        let text = text.map_err(|_| Fault::cannot_read("The file is not text in UTF-8. Nothing was written."))?;
        fields.insert(name, text);
    }
    Ok(fields)
}

fn shown(
    yard: &Yard,
    status: StatusCode,
    problem: Option<String>,
    read: Option<Brought>,
) -> Result<HttpResponse, Fault> {
    let when = When::now(yard.now());
    let foot = Foot::of(yard, View::new(&yard.read(), when.known), when);
    page(status, &BringInPage { assets: Assets::new(), foot, problem, read })
}
