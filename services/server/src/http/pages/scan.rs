//! The scan screen: scan a code, read the answer from a metre, take out, put away.

use super::{answer, assets::Assets, badge, page, screen, screen::Screen};
use crate::http::{ask, origin, problems::Fault};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::When;
use serde::Deserialize;
use shared_types::{Code, Entry, Kind, ThingName};

#[derive(Deserialize, Default)]
pub(crate) struct ScanQuery {
    /// What was scanned or typed.
    #[serde(default)]
    code: String,
    /// The thing that was scanned before: a job scanned next asks about that thing for the job.
    #[serde(default)]
    last: String,
    /// One of several things that a label may mean.
    #[serde(default)]
    thing: String,
    #[serde(default)]
    job: String,
    /// What is asked for, instead of what comes next; of a part, for which stage.
    #[serde(default)]
    act: String,
    #[serde(default)]
    stage: String,
    /// The entry that was written just now.
    #[serde(default)]
    done: Option<u64>,
    /// All places, because more than two are declared.
    #[serde(default)]
    places: Option<String>,
}

#[derive(Template)]
#[template(path = "scan.html")]
struct ScanPage {
    assets: Assets,
    badge: Option<String>,
    signs_in: bool,
    shows: Shows,
}

enum Shows {
    /// Nothing was scanned yet, or a badge.
    Ready {
        hello: Option<String>,
    },
    /// One sentence about what was scanned, and what to do about it.
    Sentence {
        say: String,
        cure: &'static str,
    },
    /// The label may mean several things.
    Choice {
        code: String,
        things: Vec<Choice>,
        /// What was scanned before.
        last: String,
    },
    Thing(Box<Screen>),
    Places {
        screen: Box<Screen>,
        form: screen::Form,
        places: Vec<screen::Button>,
        /// What was scanned is no place.
        nothing: bool,
    },
}

struct Choice {
    address: String,
    label: String,
}

impl ScanPage {
    fn title(&self) -> String {
        match &self.shows {
            Shows::Ready { .. } => "Scan".to_owned(),
            Shows::Sentence { say, .. } => say.clone(),
            Shows::Choice { code, .. } => format!("Which {code}?"),
            Shows::Thing(screen) | Shows::Places { screen, .. } => match screen.big.first() {
                Some(big) => format!("{}: {big}", screen.name),
                None => screen.name.clone(),
            },
        }
    }

    /// What the field says while it can be scanned into.
    fn ready(&self) -> &'static str {
        match &self.shows {
            Shows::Places { .. } => "Ready. Scan the place.",
            _ => "Ready. Scan.",
        }
    }

    fn last(&self) -> &str {
        match &self.shows {
            Shows::Thing(screen) | Shows::Places { screen, .. } => &screen.thing,
            Shows::Choice { last, .. } => last,
            Shows::Ready { .. } | Shows::Sentence { .. } => "",
        }
    }
}

#[route("/", method = "GET", method = "HEAD")]
pub(crate) async fn scan_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<ScanQuery>,
) -> HttpResponse {
    let query = query.into_inner();
    let done = written(&yard, query.done).await;
    let shown = done.and_then(|done| shows(&request, &yard, &query, done.as_ref()));
    answer(&request, shown.and_then(|(shows, badge)| render(&request, StatusCode::OK, shows, badge)))
}

/// An address of no page.
pub(super) fn no_such_page(request: &HttpRequest, status: StatusCode) -> Result<HttpResponse, Fault> {
    let say = "There is no such page. Scan or type a code.".to_owned();
    render(request, status, Shows::Sentence { say, cure: "" }, None)
}

/// Somebody was asked for a place and scanned something else.
pub(super) fn nothing_recorded(request: &HttpRequest, yard: &Yard, thing: &ThingName) -> Result<HttpResponse, Fault> {
    let mut shows = one(yard, thing, None, None, true)?;
    if let Shows::Places { nothing, .. } = &mut shows {
        *nothing = true;
    }
    render(request, StatusCode::OK, shows, None)
}

fn render(
    request: &HttpRequest,
    status: StatusCode,
    shows: Shows,
    signed_on: Option<Code>,
) -> Result<HttpResponse, Fault> {
    let remembered = || badge::remembered(request).map(|by| by.badge);
    let badge = signed_on.clone().or_else(remembered).map(|code| code.to_string());
    let signs_in = badge::signs_in(request);
    let mut answer = page(status, &ScanPage { assets: Assets::new(), badge, signs_in, shows })?;
    if let Some(badge) = &signed_on {
        badge::remember(request, &mut answer, badge)?;
    }
    Ok(answer)
}

/// The entry that was written just now, of which the address has the number.
pub(super) async fn written(yard: &web::Data<Yard>, seq: Option<u64>) -> Result<Option<Entry>, Fault> {
    let Some(seq) = seq else { return Ok(None) };
    let reader = yard.reader.clone();
    ask::beside(move || {
        let line = (1..=reader.last_seq()).contains(&seq).then(|| reader.line(seq)).transpose();
        let line =
            line.map_err(|error| Fault::went_wrong(format!("Entry {seq} could not be read from the disk: {error}.")))?;
        Ok(line.and_then(|line| Entry::read(&line).ok()))
    })
    .await
}

/// What the page shows, and the badge if one was scanned.
fn shows(
    request: &HttpRequest,
    yard: &Yard,
    query: &ScanQuery,
    done: Option<&Entry>,
) -> Result<(Shows, Option<Code>), Fault> {
    if let Ok(thing) = query.thing.parse::<ThingName>() {
        let job = Code::new(&query.job).ok();
        let asked = screen::Asked::read(&query.act, &query.stage)?;
        return Ok((asked_for(yard, &thing, job, done, query.places.is_some(), asked)?, None));
    }
    let scanned = without_symbology(&query.code);
    if scanned.is_empty() {
        return Ok((Shows::Ready { hello: None }, None));
    }
    let Ok(code) = Code::new(scanned) else {
        let say = "That is no code of a label: it has 1 to 40 printable characters and no slash.".to_owned();
        return Ok((Shows::Sentence { say, cure: LOOK_AGAIN }, None));
    };
    let (things, unknown) = ask::ask(yard, |book| {
        let things = domain::scan(book, &code).things;
        let unknown = if things.is_empty() { ask::nobody_has(book, &code) } else { String::new() };
        Ok((things, unknown))
    })?;
    let last = query.last.parse::<ThingName>().ok();
    let of_roll = |last: &ThingName| matches!(last.kind(), Kind::Roll | Kind::Kit);
    Ok(match (things.as_slice(), last) {
        ([], _) if badge::remembered(request).is_some_and(|by| by.badge == code) => (hello(&code), None),
        ([], _) => (Shows::Sentence { say: unknown, cure: LOOK_AGAIN }, None),
        ([badge], _) if badge.kind() == Kind::Badge && origin::is_foreign(request) => {
            let say = format!("A page of another site named the badge {code}. Nobody is signed on by that.");
            (Shows::Sentence { say, cure: "Scan your own badge." }, None)
        }
        ([badge], _) if badge.kind() == Kind::Badge && badge::signs_in(request) => {
            let say = format!("{code} is a badge. Its letters sign nobody in.");
            (Shows::Sentence { say, cure: "Scan the symbol on your badge at Sign in." }, None)
        }
        ([badge], _) if badge.kind() == Kind::Badge => (hello(&code), Some(code)),
        ([job], Some(last)) if job.kind() == Kind::Job && of_roll(&last) => {
            (one(yard, &last, Some(code), None, false)?, None)
        }
        ([roll], Some(last)) if of_roll(roll) && last.kind() == Kind::Job => {
            (one(yard, roll, Some(last.own_code()), None, false)?, None)
        }
        ([thing], _) => (one(yard, thing, None, None, false)?, None),
        (several, last) => {
            let things = several.iter().map(|thing| choice(thing, last.as_ref())).collect();
            let last = last.map_or_else(String::new, |last| last.to_string());
            (Shows::Choice { code: code.to_string(), things, last }, None)
        }
    })
}

const LOOK_AGAIN: &str = "Look at the label and scan it again. If it is new, receive it first.";

/// One of several things; a job and a roll belong together, whichever was scanned first.
fn choice(thing: &ThingName, last: Option<&ThingName>) -> Choice {
    let of_roll = |thing: &ThingName| matches!(thing.kind(), Kind::Roll | Kind::Kit);
    let (asked, job) = match last {
        Some(last) if thing.kind() == Kind::Job && of_roll(last) => (last, Some(thing)),
        Some(last) if of_roll(thing) && last.kind() == Kind::Job => (thing, Some(last)),
        _ => (thing, None),
    };
    let job = job.map_or_else(String::new, |job| format!("&job={}", super::in_a_query(job.code())));
    Choice {
        address: format!("/?thing={}{job}", super::in_a_query(&asked.to_string())),
        label: format!("{} {}", thing.kind(), thing.code()),
    }
}

fn hello(badge: &Code) -> Shows {
    Shows::Ready { hello: Some(format!("{badge}: now scan a roll or a kit.")) }
}

fn one(yard: &Yard, thing: &ThingName, job: Option<Code>, done: Option<&Entry>, places: bool) -> Result<Shows, Fault> {
    asked_for(yard, thing, job, done, places, screen::Asked::default())
}

fn asked_for(
    yard: &Yard,
    thing: &ThingName,
    job: Option<Code>,
    done: Option<&Entry>,
    places: bool,
    asked: screen::Asked,
) -> Result<Shows, Fault> {
    let done = done.filter(|entry| entry.thing == *thing);
    let mismatches = done.map_or_else(Vec::new, |entry| ask::mismatches(yard, entry.seq));
    let when = When::now(yard.now());
    let id = yard.clock.new_id();
    let look = screen::Look { thing, job, done, mismatches: &mismatches, when, id, asked };
    let (mut screen, all) = ask::ask(yard, |book| {
        let all = if places { screen::frozen_places(book, thing, when) } else { Vec::new() };
        Ok((screen::screen(book, &look)?, all))
    })?;
    Ok(match screen.moves.take() {
        Some(moves) if places => {
            let places = all.iter().map(screen::put_away).collect();
            Shows::Places { screen: Box::new(screen), form: moves.form, places, nothing: false }
        }
        moves => Shows::Thing(Box::new(Screen { moves, ..screen })),
    })
}

/// Scanners may say first which kind of symbol it was: `]C1`, `]d2`, `]Q1`.
pub(crate) fn without_symbology(code: &str) -> &str {
    let code = code.trim();
    match code.as_bytes() {
        [b']', kind, digit, ..] if kind.is_ascii_alphabetic() && digit.is_ascii_digit() => {
            code.get(3..).unwrap_or(code)
        }
        _ => code,
    }
}

#[cfg(test)]
mod tests {
    use super::without_symbology;

    #[test]
    fn the_kind_of_symbol_is_no_part_of_the_code() {
        assert_eq!(without_symbology("]C1R-42"), "R-42");
        assert_eq!(without_symbology(" R-42 "), "R-42");
        assert_eq!(without_symbology("]Cx"), "]Cx");
    }
}
