//! What doesn't add up, one line each, and the page on which one is answered.

use super::table;
use super::wish::{self, Choice, Chosen, Draft, Field, WishPage};
use super::{answer, assets::Assets, foot::Foot, in_a_query, page};
use crate::http::{
    ask::{ask, ask_beside},
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::mismatch::{answer_fits, of_entry, puzzle_named};
use domain::{When, say::Say, view::View};
use serde_json::json;
use shared_types::{Code, Instant, Mismatch, Seconds, Settlement, Stamp, ThingName};
use uuid::Uuid;

/// Where one is answered.
pub(super) fn address(one: &Mismatch) -> String {
    format!("/mismatches/{}/{}?thing={}", one.kind, one.entry, in_a_query(&one.thing.to_string()))
}

#[derive(Template)]
#[template(path = "puzzles.html")]
struct PuzzlesPage {
    assets: Assets,
    foot: Foot,
    lines: Vec<Line>,
    more: usize,
}

struct Line {
    at: String,
    say: String,
    ask: String,
    answers: Vec<(String, String)>,
}

/// As many stand on the page; the CSV has all.
const MOST: usize = 300;

#[route("/mismatches", method = "GET", method = "HEAD")]
pub(crate) async fn puzzles_page(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    let done = async {
        let when = When::now(yard.now());
        let (all, say) = open(&yard, when).await?;
        let more = all.len().saturating_sub(MOST);
        let line = |one: &Mismatch| Line {
            at: say.time(one.at.at, when.now),
            say: one.say.clone(),
            ask: one.ask.clone().unwrap_or_default(),
            answers: answers(&one.kind, &one.thing)
                .into_iter()
                .take(3)
                .map(|choice| (format!("{}&choice={}", address(one), choice.value), choice.label))
                .collect(),
        };
        let lines = all.iter().rev().take(MOST).map(line).collect();
        let foot = Foot::of(&yard, View::new(&yard.read(), when.known), when);
        page(StatusCode::OK, &PuzzlesPage { assets: Assets::new(), foot, lines, more })
    };
    answer(&request, done.await)
}

#[route("/mismatches.csv", method = "GET", method = "HEAD")]
pub(crate) async fn puzzles_csv(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    let done = async {
        let when = When::now(yard.now());
        let (all, say) = open(&yard, when).await?;
        let rows = all.into_iter().map(|one| {
            let at = say.whole_time(one.at.at);
            vec![one.thing.to_string(), at, one.seq.to_string(), one.say, one.ask.unwrap_or_default(), one.kind]
        });
        table::whole("does-not-add-up", &["thing", "when", "entry", "what", "question", "kind"], rows)
    };
    answer(&request, done.await)
}

async fn open(yard: &web::Data<Yard>, when: When) -> Result<(Vec<Mismatch>, Say), Fault> {
    ask_beside(yard, move |book| {
        Ok((domain::mismatches(book, when).mismatches, Say::of(View::new(book, when.known), when.now)))
    })
    .await
}

/// The answers that fit, the likeliest first. What is no question of where a thing was is answered in words.
fn answers(kind: &str, thing: &ThingName) -> Vec<Choice> {
    if puzzle_named(kind).is_none() {
        return vec![Choice { value: "words", label: "It was looked into and may rest. Why?".to_owned() }];
    }
    let seconds = || serde_json::from_value::<Seconds>(json!(0)).ok();
    let stamp = Stamp::utc(Instant(0));
    let all = [
        ("take_out", Some(Settlement::WasTakeOut(true))),
        ("carried", seconds().map(Settlement::CarriedOverS)),
        ("put_away", Some(Settlement::PutAwayAt(stamp))),
        ("out_since", Some(Settlement::OutSince(stamp))),
        ("other", Some(Settlement::Other(thing.clone()))),
        ("assigned", seconds().map(Settlement::AssignedS)),
    ];
    let likely: &[&str] = match kind {
        "in_while_in" => &["take_out", "out_since", "other"],
        "in_while_in_elsewhere" => &["carried", "out_since", "other"],
        "acted_while_inside" => &["out_since", "other"],
        "out_while_out" | "seen_inside_while_out" | "put_away_not_after_take_out" => &["put_away", "other"],
        _ => &[],
    };
    let rank = |value: &str| likely.iter().position(|one| *one == value).unwrap_or(likely.len());
    let fitting = all.into_iter().filter(|(_, sample)| sample.as_ref().is_some_and(|sample| answer_fits(kind, sample)));
    let choice = |value: &'static str| Choice { value, label: happened(kind, value, thing) };
    let mut fitting: Vec<Choice> = fitting.map(|(value, _)| choice(value)).collect();
    fitting.sort_by_key(|choice| rank(choice.value));
    fitting
}

/// What happened, if an answer is the right one: the same answer means something else of each kind.
fn happened(kind: &str, value: &str, thing: &ThingName) -> String {
    let of = thing.kind();
    match (kind, value) {
        ("out_while_out", "put_away") => "It was put away in between. About when?".to_owned(),
        ("out_while_out", "take_out") => "It was out all the time, and was scanned twice".to_owned(),
        ("out_while_out", "out_since") => "It was out all the time, and longer. Since about when?".to_owned(),
        ("in_while_in", "take_out") => "The scan was a take-out".to_owned(),
        ("in_while_in", "carried") => "It was out for some minutes before the scan. How many?".to_owned(),
        ("in_while_in" | "in_while_in_elsewhere" | "put_away_not_after_take_out", "out_since") => {
            "It was put away with that scan. Since about when was it out?".to_owned()
        }
        ("in_while_in" | "in_while_in_elsewhere", "put_away") => {
            "It lay there already. About when was it put away?".to_owned()
        }
        ("in_while_in_elsewhere", "carried") => "It was carried straight over. How many minutes?".to_owned(),
        ("in_while_in_elsewhere", "take_out") => "It was taken out with that scan, and not put away".to_owned(),
        ("acted_while_inside", "out_since") => "It was taken out without a scan. About when?".to_owned(),
        ("acted_while_inside", "carried") => {
            "It was taken out without a scan, some minutes before. How many?".to_owned()
        }
        ("acted_while_inside", "take_out") => "It was taken out just then".to_owned(),
        ("seen_inside_while_out", "take_out") => "It is out: only its bag or its label was seen there".to_owned(),
        ("put_away_not_after_take_out", "take_out") => "The scan was a take-out: it is out".to_owned(),
        ("acted_while_inside", "other") => format!("It was another {of} that was used or seen"),
        ("seen_inside_while_out", "other") => format!("It was another {of} that was seen"),
        (_, "other") => format!("It was another {of} that was scanned"),
        (_, "put_away") => "It was put away. About when?".to_owned(),
        (_, "out_since") => "It was out. Since about when?".to_owned(),
        (_, _) => "Nobody can tell. How many minutes are charged?".to_owned(),
    }
}

#[route("/mismatches/{kind}/{entry}", method = "GET", method = "HEAD")]
pub(crate) async fn puzzle_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    path: web::Path<(String, String)>,
    query: web::Query<Chosen>,
) -> HttpResponse {
    let done = async {
        let chosen = query.into_inner();
        let (one, shown) = asked(&request, &yard, &path, &chosen)?;
        let open = shown.is_open() && complete(&chosen);
        let draft = open.then(|| draft(&yard, &one, &chosen));
        wish::show(&yard, shown, draft).await
    };
    answer(&request, done.await)
}

#[actix_web::post("/mismatches/{kind}/{entry}")]
pub(crate) async fn post_puzzle(
    request: HttpRequest,
    yard: web::Data<Yard>,
    path: web::Path<(String, String)>,
    form: web::Form<Chosen>,
) -> HttpResponse {
    let done = async {
        let chosen = form.into_inner();
        let (one, shown) = asked(&request, &yard, &path, &chosen)?;
        let draft = draft(&yard, &one, &chosen);
        wish::save(&request, &yard, shown, draft).await
    };
    answer(&request, done.await)
}

/// An answer that needs no more than itself, or that was given what it needs.
fn complete(chosen: &Chosen) -> bool {
    match chosen.choice.as_str() {
        "" => false,
        "put_away" | "out_since" => !chosen.at.trim().is_empty(),
        "carried" | "assigned" => !chosen.minutes.trim().is_empty(),
        "other" => !chosen.other.trim().is_empty(),
        "words" => !chosen.why.trim().is_empty(),
        _ => true,
    }
}

fn asked(
    request: &HttpRequest,
    yard: &Yard,
    (kind, entry): &(String, String),
    chosen: &Chosen,
) -> Result<(Mismatch, WishPage), Fault> {
    let gone = || {
        Fault::not_found("Nothing of that kind fails to add up at that entry, or not any more. Look at the list again.")
    };
    let id: Uuid = entry.parse().map_err(|_| gone())?;
    let when = When::now(yard.now());
    let (one, say) = ask(yard, |book| {
        let seq = book.seq_of(&id).ok_or_else(gone)?;
        let thing = Some(chosen.thing.trim()).filter(|thing| !thing.is_empty());
        let found = of_entry(book, seq, when).into_iter();
        let mut fits =
            found.filter(|one| one.kind == *kind && thing.is_none_or(|thing| one.thing.to_string() == thing));
        Ok((fits.next().ok_or_else(gone)?, Say::of(View::new(book, when.known), when.now)))
    })?;
    let mut shown = WishPage::new(yard, request, Chosen { thing: one.thing.to_string(), ..chosen.clone() });
    shown.title = format!("{}: what was it?", one.thing.short());
    shown.address = format!("/mismatches/{kind}/{id}");
    shown.about = Some(one.thing.clone());
    shown.lead.push(one.say.clone());
    shown.lead.extend(one.ask.clone());
    shown.lead.push(format!("Entry {}, {}.", one.seq, say.time(one.at.at, when.now)));
    if one.settled_by.is_some() {
        shown.lead.push("It is answered already. Nothing more is to be done.".to_owned());
        return Ok((one, shown));
    }
    shown.choices = answers(kind, &one.thing);
    let has = |values: &[&str]| shown.choices.iter().any(|choice| values.contains(&choice.value));
    let mut fields: Vec<Field> = Vec::new();
    let mut field = |name, label: &str, value: &str, like| {
        fields.push(Field { name, label: label.to_owned(), value: value.to_owned(), like });
    };
    if has(&["put_away", "out_since"]) {
        field("at", "The time, where one is asked for", &chosen.at, "2026-05-04 06:00");
    }
    if has(&["carried", "assigned"]) {
        field("minutes", "The minutes, where they are asked for", &chosen.minutes, "15");
    }
    if has(&["other"]) {
        field("other", "The other one: scan it, or type its code", &chosen.other, "");
    }
    field("why", "Why", &chosen.why, "");
    shown.fields = fields;
    Ok((one, shown))
}

fn draft(yard: &Yard, one: &Mismatch, chosen: &Chosen) -> Result<Draft, String> {
    let seconds = || {
        let minutes = chosen.minutes.trim().parse::<u32>();
        minutes
            .map(|minutes| u64::from(minutes) * 60)
            .map_err(|_| "Say how many minutes, as a whole number.".to_owned())
    };
    let answer = match chosen.choice.as_str() {
        "take_out" => json!({ "was_take_out": true }),
        "carried" => json!({ "carried_over_s": seconds()? }),
        "assigned" => json!({ "assigned_s": seconds()? }),
        "put_away" => json!({ "put_away_at": wish::time(yard, &chosen.at)? }),
        "out_since" => json!({ "out_since": wish::time(yard, &chosen.at)? }),
        "words" => {
            wish::why(chosen)?;
            json!({ "looked_into": true })
        }
        "other" => {
            let text = chosen.other.trim();
            let text = text.split_once('/').map_or(text, |(_, code)| code);
            let code =
                Code::new(text).map_err(|_| format!("Say which {} it was: scan its label.", one.thing.kind()))?;
            json!({ "other": ThingName::new(one.thing.kind(), &code) })
        }
        _ => return Err("Say what it was: choose one of these.".to_owned()),
    };
    let why = Some(chosen.why.trim()).filter(|why| !why.is_empty());
    let body = json!({ "mismatch": { "kind": one.kind, "entry": one.entry }, "answer": answer, "why": why });
    Ok(Draft { decide: "settle", thing: one.thing.clone(), body })
}
