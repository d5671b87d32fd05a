//! The scan strip of a delivery: one scan a roll, no tap.

use super::{Delivery, Said, delivery, query_with, roll};
use crate::http::{
    ask::ask,
    pages::{answer, assets::Assets, badge, page, scan as scanning, see, work},
    problems::Fault,
    say::sentence,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, post, route, web};
use askama::Template;
use domain::{
    Book, MayUseQuestion, When,
    say::{Say, so_far},
    view::View,
};
use shared_types::{Act, Code, Kind, Metres, ThingName, Whereabouts, Word, clear_code};

#[derive(Template)]
#[template(path = "receive_scan.html")]
struct ReceiveScan {
    assets: Assets,
    badge: Option<String>,
    signs_in: bool,
    into: String,
    /// What the next scan carries along.
    keep: Vec<(&'static str, String)>,
    frame: &'static str,
    big: String,
    why: Vec<String>,
    /// The same choices again, to change them.
    choose: String,
    /// To register the batch, where nobody has.
    register: Option<String>,
    /// This page again, when somebody has scanned a badge.
    back: String,
}

#[route("/receive/scan", method = "GET", method = "HEAD")]
pub(crate) async fn scan_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Said>) -> HttpResponse {
    let done = async {
        let said = query.into_inner();
        let delivery = match delivery(&yard, &said)? {
            Ok(delivery) => delivery,
            Err(_) => return Ok(choose_again(&said)),
        };
        let seq = said.get("done").and_then(|seq| seq.parse().ok());
        let entry = scanning::written(&yard, seq).await?;
        let text = |name: &str| said.get(name).and_then(|text| Code::new(text).ok());
        let news = match (entry.filter(|entry| entry.thing.kind() == Kind::Roll), text("before"), text("unwritten")) {
            (Some(entry), ..) => News::Received(entry.thing),
            (None, Some(code), _) => News::Before(ThingName::roll(&code)),
            (None, None, Some(code)) => News::Say(format!("{code} was not written. Scan it again.")),
            (None, None, None) => News::Nothing,
        };
        show(&request, &yard, &said, &delivery, news, StatusCode::OK)
    };
    answer(&request, done.await)
}

/// What is wrong is said beside the fields.
fn choose_again(said: &Said) -> HttpResponse {
    see(&format!("/receive?{}", query_with(said, &[("choice", "scan")])))
}

#[post("/receive/scan")]
pub(crate) async fn post_scan(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Said>) -> HttpResponse {
    let done = async {
        let said = form.into_inner();
        let delivery = match delivery(&yard, &said)? {
            Ok(delivery) => delivery,
            Err(_) => return Ok(choose_again(&said)),
        };
        let wrong = |say: String| show(&request, &yard, &said, &delivery, News::Say(say), StatusCode::BAD_REQUEST);
        let scanned = scanning::without_symbology(said.get("code").map_or("", String::as_str));
        let Ok(code) = Code::new(scanned) else {
            let say = "That is no code of a label: it has 1 to 40 printable characters and no slash. Scan it again.";
            return wrong(say.to_owned());
        };
        if let Err(why) = clear_code(scanned) {
            return wrong(format!("{} Nothing was written.", sentence(&why.to_string())));
        }
        let go_on = |other: &[(&str, &str)]| see(&format!("/receive/scan?{}", query_with(&said, other)));
        let things = ask(&yard, |book| Ok(domain::scan(book, &code).things))?;
        let is_roll = things.is_empty() || things.iter().any(|thing| thing.kind() == Kind::Roll);
        match things.first().map(ThingName::kind) {
            Some(Kind::Badge) if !is_roll => {
                let mut back = go_on(&[]);
                if badge::signs_in(&request) {
                    return wrong(format!(
                        "{code} is a badge. Sign in with it first: its symbol is scanned at Sign in."
                    ));
                }
                badge::remember(&request, &mut back, &code)?;
                return Ok(back);
            }
            // A placard: what is scanned next is put away there.
            Some(Kind::Place) if !is_roll => return Ok(go_on(&[("into", code.as_str())])),
            Some(kind) if !is_roll => return wrong(format!("{code} is a {kind}, not a roll. Nothing was written.")),
            _ => {}
        }
        let Some(by) = badge::remembered(&request) else {
            let back = format!("/receive/scan?{}", query_with(&said, &[("unwritten", code.as_str())]));
            return Ok(badge::first(&back));
        };
        let roll = ThingName::roll(&code);
        Ok(match roll::receive(&yard, &delivery, &by, &roll).await? {
            roll::Scanned::Received(seq) => go_on(&[("done", &seq.to_string())]),
            roll::Scanned::Before => go_on(&[("before", code.as_str())]),
            roll::Scanned::OpenedTooLate(say) => return wrong(say),
        })
    };
    answer(&request, done.await)
}

/// What came of the last scan.
enum News {
    Nothing,
    Received(ThingName),
    Before(ThingName),
    Say(String),
}

fn show(
    request: &HttpRequest,
    yard: &Yard,
    said: &Said,
    delivery: &Delivery,
    news: News,
    status: StatusCode,
) -> Result<HttpResponse, Fault> {
    let when = When::now(yard.now());
    let (frame, big, why, registered) = ask(yard, |book| {
        let view = View::new(book, when.known);
        let batch = ThingName::batch(&delivery.material, &delivery.batch);
        let registered = book.label(&batch).is_some_and(|batch| view.registrations(batch).next().is_some());
        let (mut frame, mut big, mut why) = told(book, delivery, &news, when);
        if let Some(note) = not_listed(book, said, &news, when) {
            frame = "cannot";
            big.push_str(&format!(" The note {note} does not list it."));
            why.insert(
                0,
                "It is taken all the same. Ask whether it belongs to this delivery, and tell quality.".to_owned(),
            );
        }
        if matches!(news, News::Nothing) {
            why.extend(costs(book, delivery, registered, when));
        }
        why.extend(roll::comes_to(book, delivery, when));
        why.extend(against_note(book, said, when));
        Ok((frame, big, why, registered))
    })?;
    let keep = super::KEPT.iter().filter_map(|name| Some((*name, said.get(*name)?.clone())));
    let here = query_with(said, &[]);
    let shown = ReceiveScan {
        assets: Assets::new(),
        badge: badge::remembered(request).map(|badge| badge.to_string()),
        signs_in: badge::signs_in(request),
        into: delivery.into.to_string(),
        keep: keep.collect(),
        frame,
        big,
        why,
        choose: format!("/receive?{here}"),
        register: (!registered).then(|| format!("/receive/batch?{here}")),
        back: format!("/receive/scan?{here}"),
    };
    page(status, &shown)
}

/// What the delivery's note lists, and what of it is missing.
fn against_note(book: &Book, said: &Said, when: When) -> Option<String> {
    let note = Code::new(said.get("note")?).ok()?;
    let delivery = domain::thing_view(book, &ThingName::new(Kind::Delivery, &note), when);
    let listed = delivery.filter(|delivery| delivery.note.is_some()).map(|delivery| delivery.say);
    Some(listed.unwrap_or_else(|| format!("Nobody has written down yet which rolls the note {note} lists.")))
}

/// The delivery's note, where it lists rolls and not the one that was received just now.
fn not_listed(book: &Book, said: &Said, news: &News, when: When) -> Option<Code> {
    let News::Received(roll) = news else { return None };
    let code = Code::new(said.get("note")?).ok()?;
    let note = domain::thing_view(book, &ThingName::new(Kind::Delivery, &code), when)?.note?;
    let listed = note.received.iter().chain(&note.missing).any(|one| one == roll);
    (!listed).then_some(code)
}

fn told(book: &Book, delivery: &Delivery, news: &News, when: When) -> (&'static str, String, Vec<String>) {
    let say = Say::of(View::new(book, when.known), when.now);
    let seen = |roll: &ThingName| domain::thing_view(book, roll, when).map_or_else(String::new, |seen| seen.say);
    let spot = |roll: &ThingName| match domain::thing_view(book, roll, when).map(|seen| seen.whereabouts) {
        Some(Whereabouts::Inside { place, since, .. }) => {
            format!("in {place} since {}", say.time(since.at, when.now))
        }
        _ => "not in the cold by the book".to_owned(),
    };
    match news {
        News::Nothing => {
            let (of, rev) = (&delivery.material, &delivery.revision);
            let length = Metres(delivery.length_mm.get());
            ("plain", format!("{of} rev. {rev}, batch {}, {length}: scan each roll.", delivery.batch), Vec::new())
        }
        News::Received(roll) => {
            let question = MayUseQuestion { thing: roll.clone(), act: Act::TakeOut, job: None, stage: None, when };
            let may = domain::may_use(book, &question).ok();
            let frame = may.as_ref().map_or("cannot", |may| work::frame(may.answer));
            let bad = may.filter(|may| Word::NotYet < may.answer).map(|may| format!("{} {}", may.say, may.why));
            (frame, format!("{}: received, {}.", roll.short(), spot(roll)), bad.into_iter().collect())
        }
        News::Before(roll) => {
            let why = format!("Nothing was written. {}", seen(roll));
            ("cannot", format!("{} was received before.", roll.short()), vec![why])
        }
        News::Say(say) => ("cannot", say.clone(), Vec::new()),
    }
}

/// What it costs that a paper is missing, before the first scan.
fn costs(book: &Book, delivery: &Delivery, registered: bool, when: When) -> Vec<String> {
    let say = Say::of(View::new(book, when.known), when.now);
    let mut costs = Vec::new();
    if !registered {
        let batch = &delivery.batch;
        costs.push(format!("Nobody has registered batch {batch}: until then its rolls can't be used."));
    }
    match (&delivery.opening, &delivery.from) {
        (None, _) => costs.push(
            "No certificate and no card: nobody knows how long they were out, so they can't be used until that is found."
                .to_owned(),
        ),
        (Some(opening), None) => costs.push(format!(
            "No freezer truck is named: the {} since {} count as out.",
            so_far(when.now.since(opening.as_of.at)),
            say.time(opening.as_of.at, when.now)
        )),
        (Some(_), Some(_)) => {}
    }
    costs
}
