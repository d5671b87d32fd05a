//! Into a boat and out of it: scan the part, scan the boat, read whether it may be installed, one tap.

use super::{answer, badge, in_a_query, scan, screen::Button, see, work};
use crate::http::{ask, problems::Fault};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::say::Say;
use domain::trace::boat_of;
use domain::view::View;
use domain::{Book, When};
use serde::Deserialize;
use serde_json::json;
use shared_types::{Body, Entry, Kind, MayInstall, ThingName, Word};
use uuid::Uuid;
use work::{Asks, Press, Step, Wish};

#[derive(Deserialize, Default, Clone)]
pub(crate) struct InstallQuery {
    /// What was scanned just now.
    #[serde(default)]
    code: String,
    #[serde(default)]
    part: String,
    #[serde(default)]
    boat: String,
    /// The entry that was written just now.
    #[serde(default)]
    done: Option<u64>,
}

#[derive(Deserialize)]
pub(crate) struct InstallForm {
    id: Uuid,
    part: String,
    boat: String,
    /// `installed`, or `removed`.
    go: String,
    #[serde(default)]
    answer: String,
    #[serde(default)]
    as_of_seq: u64,
}

impl InstallQuery {
    fn address(&self) -> String {
        format!("/install?part={}&boat={}", in_a_query(&self.part), in_a_query(&self.boat))
    }

    fn with(&self, thing: &ThingName) -> InstallQuery {
        let mut next = InstallQuery { code: String::new(), done: None, ..self.clone() };
        match thing.kind() {
            Kind::Boat => next.boat = thing.code().to_owned(),
            _ => next.part = thing.code().to_owned(),
        }
        next
    }
}

#[route("/install", method = "GET", method = "HEAD")]
pub(crate) async fn install_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<InstallQuery>,
) -> HttpResponse {
    let query = query.into_inner();
    let shown = async {
        let done = scan::written(&yard, query.done).await?;
        if query.code.trim().is_empty() {
            return work::render(&request, step(&yard, &query, done.as_ref())?);
        }
        let next = |thing: &ThingName| query.with(thing).address();
        work::go_on(&request, &yard, &query.code, &[Kind::Part, Kind::Boat], next, |big| plain(&query, big))
    };
    answer(&request, shown.await)
}

#[post("/install")]
pub(crate) async fn post_install(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Form<InstallForm>,
) -> HttpResponse {
    let form = form.into_inner();
    let done = async {
        let (part, boat) = (named(Kind::Part, &form.part)?, named(Kind::Boat, &form.boat)?);
        let query =
            InstallQuery { part: part.code().to_owned(), boat: boat.code().to_owned(), ..InstallQuery::default() };
        let Some(by) = badge::remembered(&request) else {
            return Ok(badge::first(&query.address()));
        };
        let kind = match form.go.as_str() {
            "installed" => "part_installed",
            "removed" => "part_removed",
            _ => return Err(Fault::cannot_read("That button is not one of this page's. Scan the part again.")),
        };
        let shown = work::said(&form.answer, "", form.as_of_seq);
        let body = json!({ "boat": boat.own_code() });
        let wish = Wish { id: form.id, go: &form.go, by: &by, kind, thing: &part, shown, body, worked_out: &[] };
        let seq = work::write(&yard, wish).await?;
        // The next part of the same boat is the likeliest scan.
        let next = InstallQuery { part: String::new(), ..query };
        Ok(see(&format!("{}&done={seq}", next.address())))
    };
    answer(&request, done.await)
}

fn named(kind: Kind, code: &str) -> Result<ThingName, Fault> {
    Ok(ThingName::new(kind, &work::code(code, kind.as_str())?))
}

/// A step that asks for a scan and offers nothing to press.
fn plain(query: &InstallQuery, big: Vec<String>) -> Step {
    Step {
        name: "Install".to_owned(),
        keep: work::kept(&[("part", &query.part), ("boat", &query.boat)]),
        ready: if query.part.is_empty() { "Ready. Scan the part." } else { "Ready. Scan the boat." },
        big,
        ..Step::at("/install", "Nothing is lifted or climbed under without whoever is in charge of it.")
    }
}

fn step(yard: &Yard, query: &InstallQuery, done: Option<&Entry>) -> Result<Step, Fault> {
    let (id, when) = (yard.clock.new_id(), When::now(yard.now()));
    if query.part.is_empty() {
        let ask = match query.boat.is_empty() {
            true => "Scan the part.".to_owned(),
            false => format!("Boat {}: scan the part.", named(Kind::Boat, &query.boat)?.code()),
        };
        return match done {
            Some(entry) => ask::ask(yard, |book| Ok(written(book, query, entry, &ask, when))),
            None => Ok(plain(query, vec![ask])),
        };
    }
    let part = named(Kind::Part, &query.part)?;
    let boat = match query.boat.is_empty() {
        true => None,
        false => Some(named(Kind::Boat, &query.boat)?),
    };
    ask::ask(yard, |book| {
        let asked = boat.as_ref().map(ThingName::own_code);
        let Some(may) = domain::may_install(book, &part, asked.as_ref(), when) else {
            return Ok(Step { frame: "cannot", ..plain(query, vec![ask::nobody_received(&part)]) });
        };
        Ok(may_install(book, query, &part, boat.as_ref(), may, when, id))
    })
}

fn may_install(
    book: &Book,
    query: &InstallQuery,
    part: &ThingName,
    boat: Option<&ThingName>,
    may: MayInstall,
    when: When,
    id: Uuid,
) -> Step {
    let view = View::new(book, when.known);
    let is_in = book.label(part).and_then(|part| boat_of(view, part, when.at)).map(|(boat, _)| book.name(boat).clone());
    let mut big = vec![may.say];
    let why = may.why;
    let answer = may.answer;
    let mut buttons = Vec::new();
    let removes = is_in.is_some() && is_in.as_ref() == boat;
    if let Some(boat) = boat {
        if !removes {
            big.extend(may.notes);
        }
        let (go, label) = if removes { ("removed", "Removed from") } else { ("installed", "Installed in") };
        buttons.push(Button { go: go.to_owned(), label: format!("{label} {}", boat.code()) });
    } else {
        big.push("Scan the boat.".to_owned());
    }
    let mut step = plain(query, big);
    part.code().clone_into(&mut step.name);
    step.frame = work::frame(answer);
    step.why = why;
    let word = if answer == Word::CannotSay { "cannot_say" } else { step.frame };
    let fields = [
        ("id", id.to_string()),
        ("part", query.part.clone()),
        ("boat", query.boat.clone()),
        ("answer", word.replace('-', "_")),
        ("as_of_seq", book.last_seq().to_string()),
    ];
    step.press = (!buttons.is_empty()).then(|| Press {
        fields: fields.to_vec(),
        typed: Vec::new(),
        one_of: None,
        tick: None,
        buttons,
        asks: if removes { Asks::Other } else { Asks::First },
        back: query.address(),
    });
    step
}

/// What was written just now, and what it made not add up.
fn written(book: &Book, query: &InstallQuery, entry: &Entry, ask: &str, when: When) -> Step {
    let say = Say::of(View::new(book, when.known), when.now);
    let at = say.time(entry.occurred_at.at, when.now);
    let part = entry.thing.code();
    let big = match &entry.body {
        Body::PartInstalled(boat) => format!("{part}: installed in {} {at}.", boat.boat),
        Body::PartRemoved(boat) => format!("{part}: removed from {} {at}.", boat.boat),
        _ => return plain(query, vec![ask.to_owned()]),
    };
    let mut step = plain(query, vec![big]);
    step.why = domain::mismatch::of_entry(book, entry.seq, when).into_iter().map(|one| one.say).collect();
    if !step.why.is_empty() {
        step.frame = "no";
    }
    step.why.push(ask.to_owned());
    step
}
