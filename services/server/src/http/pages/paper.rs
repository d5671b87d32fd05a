//! A day on paper: when the server or the batteries were dead, one sheet of lines is entered afterwards, with two badges
//! once. Empty, the page is the sheet that is printed and laid ready beside the freezers.

use super::{
    again::Meant,
    answer,
    assets::Assets,
    badge,
    foot::{self, Foot},
    page, see,
    thing::{history, said::said as in_words},
    typed::Said,
    wish::{self, Chosen},
};
use crate::http::{
    ask::{self, ask, nobody_has},
    fallback::in_a_path,
    problems::Fault,
    refusals::{Stored, stored},
    say::sentence,
    who::By,
};
use crate::{
    committer::{Item, Outcome},
    intake::{self, NewFact},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, post, route, web};
use askama::Template;
use domain::{Book, When, say::Say, view::View};
use serde_json::json;
use shared_types::{Code, Instant, Kind, Second, Stamp, ThingName, clear_code};
use uuid::Uuid;

/// So many lines has a sheet.
const LINES: usize = 20;
/// A time on paper is no more exact than a minute.
const UNCERTAIN_MS: u32 = 60_000;
/// What may have happened: in the form, and in words.
const WHAT: &[(&str, &str)] = &[("out", "taken out"), ("in", "put away"), ("seen", "seen")];

#[derive(Template)]
#[template(path = "paper.html")]
struct PaperPage {
    assets: Assets,
    foot: Foot,
    print: String,
    badge: Option<String>,
    signs_in: bool,
    second: String,
    id: Uuid,
    day: String,
    lines: Vec<Row>,
    places: Vec<(String, String)>,
    /// What is wrong, with the field it is about.
    faults: Vec<(String, String)>,
    written: Vec<Written>,
}

/// A line as it was typed.
#[derive(Default)]
struct Row {
    number: usize,
    time: String,
    what: String,
    code: String,
    place: String,
}

/// A line as it stands in the log.
struct Written {
    seq: u64,
    when: String,
    what: String,
    address: String,
    doubts: Vec<String>,
}

impl PaperPage {
    /// Nothing is written on it yet: printed, it is the sheet that is filled in by hand.
    fn is_blank(&self) -> bool {
        self.lines.iter().all(Row::is_empty)
    }
}

impl Row {
    fn of(said: &Said, number: usize) -> Row {
        let text = |name: &str| said.get(&format!("{name}{number}")).map_or("", |text| text.trim()).to_owned();
        Row { number, time: text("time"), what: text("what"), code: text("code"), place: text("place") }
    }

    fn is_empty(&self) -> bool {
        [&self.time, &self.what, &self.code, &self.place].iter().all(|text| text.is_empty())
    }
}

#[route("/paper", method = "GET", method = "HEAD")]
pub(crate) async fn paper_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Said>) -> HttpResponse {
    let shown = async {
        let said = query.into_inner();
        let written = match said.get("sheet").map(|sheet| sheet.parse()) {
            None => Vec::new(),
            Some(Ok(sheet)) => written(&yard, sheet).await?,
            Some(Err(_)) => return Err(Fault::cannot_read("That is no number of a sheet. Open the page again.")),
        };
        let only = |name: &str| said.get(name).map(|text| (name.to_owned(), text.clone()));
        shown(&request, &yard, &only("day").into_iter().collect(), Vec::new(), written)
    };
    answer(&request, shown.await)
}

#[post("/paper")]
pub(crate) async fn post_paper(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Said>) -> HttpResponse {
    let said = form.into_inner();
    let done = async {
        let unread = || Fault::cannot_read("The form came without its number. Open the page again.");
        let sheet: Uuid = said.get("id").and_then(|id| id.parse().ok()).ok_or_else(unread)?;
        let (lines, mut faults) = ask(&yard, |book| Ok(read(book, &yard, &said)))?;
        let badges = match wish::badges(&request, &yard, &Chosen::of(&said)).await {
            Ok((by, Some(second))) if second.by != by.badge => Some((by, second)),
            Ok((_, Some(_))) => {
                faults.push((
                    "second".to_owned(),
                    "The second badge is yours too. Somebody else has to look at the sheet.".to_owned(),
                ));
                None
            }
            Ok((_, None)) => {
                faults.push((
                    "second".to_owned(),
                    "A sheet is entered by two: scan the second person's badge.".to_owned(),
                ));
                None
            }
            Err(fault) if fault.status().is_server_error() => return Err(fault),
            Err(fault) => {
                faults.push(("second".to_owned(), fault.problem().detail.clone()));
                None
            }
        };
        let Some((by, second)) = badges.filter(|_| faults.is_empty()) else {
            return shown(&request, &yard, &said, faults, Vec::new());
        };
        write(&yard, sheet, &lines, &by, &second).await?;
        let mut back = see(&format!("/paper?sheet={sheet}"));
        badge::remember(&request, &mut back, &by)?;
        Ok(back)
    };
    answer(&request, done.await)
}

/// A line that can be written.
struct Line {
    number: usize,
    at: Stamp,
    thing: ThingName,
    kind: String,
    body: serde_json::Value,
}

/// All lines, or everything that is wrong with them: nothing is written before the whole sheet is right.
fn read(book: &Book, yard: &Yard, said: &Said) -> (Vec<Line>, Vec<(String, String)>) {
    let mut faults = Vec::new();
    let mut lines = Vec::new();
    let rows: Vec<Row> = (1..=LINES).map(|number| Row::of(said, number)).filter(|row| !row.is_empty()).collect();
    if rows.is_empty() {
        faults.push(("time1".to_owned(), "No line is filled in.".to_owned()));
    }
    let day = said.get("day").map_or("", |day| day.trim());
    for row in rows {
        let number = row.number;
        let mut fault = |field: &str, why: String| {
            faults.push((format!("{field}{number}"), format!("Line {number}: {}", sentence(&why))))
        };
        let at = wish::time(yard, &format!("{day} {}", row.time)).map_err(|why| fault("time", why)).ok();
        let at = at.filter(|at| {
            let past = at.at <= yard.now();
            if !past {
                fault("time", "that is still to come. A sheet says what happened.".to_owned());
            }
            past
        });
        let what = WHAT.iter().map(|(what, _)| *what).find(|what| *what == row.what);
        if what.is_none() {
            fault("what", "say what happened: taken out, put away or seen.".to_owned());
        }
        let thing = thing(book, &row.code).map_err(|why| fault("code", why)).ok();
        let place = match (row.place.is_empty(), what) {
            // Where it was taken out of is known by the book, or nobody knows.
            (true, Some("out")) => Some(None),
            (true, _) => {
                fault("place", "say where.".to_owned());
                None
            }
            (false, _) => place(book, &row.place, yard.now()).map(Some).map_err(|why| fault("place", why)).ok(),
        };
        if let (Some(at), Some(what), Some(thing), Some(place)) = (at, what, thing, place) {
            let word = if thing.kind() == Kind::Kit { "kit" } else { "roll" };
            let (kind, body) = match what {
                "out" => (format!("{word}_taken_out"), json!({ "from": place })),
                "in" => (format!("{word}_put_away"), json!({ "into": place })),
                _ => ("seen".to_owned(), json!({ "in": place })),
            };
            // Within a minute they happened in the order in which they were written down.
            let at = Stamp { at: at.at.plus_ms(i64::try_from(number).unwrap_or_default()), ..at };
            lines.push(Line { number, at, thing, kind, body });
        }
    }
    (lines, faults)
}

/// The roll or kit of a code as it was written down.
fn thing(book: &Book, text: &str) -> Result<ThingName, String> {
    if text.is_empty() {
        return Err("write the roll's or the kit's code.".to_owned());
    }
    if let Ok(thing) = text.parse::<ThingName>() {
        return match thing.kind() {
            Kind::Roll | Kind::Kit => Ok(thing),
            kind => Err(format!("{} is a {kind}. A sheet has rolls and kits.", thing.short())),
        };
    }
    let code = Code::new(text).map_err(|why| why.to_string())?;
    clear_code(text).map_err(|why| why.to_string())?;
    let all = domain::scan(book, &code).things;
    let fit: Vec<&ThingName> = all.iter().filter(|thing| matches!(thing.kind(), Kind::Roll | Kind::Kit)).collect();
    match (fit.as_slice(), all.first()) {
        ([one], _) => Ok((*one).clone()),
        ([], Some(other)) => Err(format!("{code} is a {}. A sheet has rolls and kits.", other.kind())),
        ([], None) => {
            Err(format!("{} If it is there all the same, write roll/{code} or kit/{code}.", nobody_has(book, &code)))
        }
        _ => Err(format!("{code} is a roll and a kit. Write roll/{code} or kit/{code}.")),
    }
}

/// A place as it was written down; one that nobody declared is a slip of the pen.
fn place(book: &Book, text: &str, now: Instant) -> Result<Code, String> {
    let code = Code::new(text).map_err(|why| why.to_string())?;
    let label = book.label(&ThingName::new(Kind::Place, &code));
    let view = View::new(book, u64::MAX);
    match label.filter(|label| view.place(*label, now).is_some()) {
        Some(label) => Ok(book.code(label)),
        None => Err(format!("nobody has declared a place {code}.")),
    }
}

/// A line of a sheet is written once, however often the form is sent.
fn line_id(sheet: Uuid, number: usize) -> Uuid {
    Uuid::new_v5(&sheet, format!("line {number}").as_bytes())
}

async fn write(yard: &Yard, sheet: Uuid, lines: &[Line], by: &By, second: &Second) -> Result<(), Fault> {
    let facts: Vec<NewFact> = lines.iter().map(|line| fact(sheet, line, by, second)).collect::<Result<_, _>>()?;
    let meant = lines
        .iter()
        .zip(&facts)
        .map(|(line, fact)| Ok(Meant::of(&fact.entry.thing, &fact.entry.body, None, &[])?.at(line.at)));
    let meant: Vec<Meant> = meant.collect::<Result<_, Fault>>()?;
    let outcomes = yard.committer.submit_all(facts.into_iter().map(Item::from).collect()).await;
    for (meant, outcome) in meant.iter().zip(outcomes) {
        match outcome {
            // With other badges; what was written first stands.
            Outcome::IdReused { line } => drop(meant.same(&line)?),
            outcome => match stored(outcome)? {
                Stored::Now(_) | Stored::Before(_) => {}
            },
        }
    }
    Ok(())
}

fn fact(sheet: Uuid, line: &Line, by: &By, second: &Second) -> Result<NewFact, Fault> {
    let item = json!({
        "id": line_id(sheet, line.number), "kind": line.kind, "thing": line.thing, "occurred_at": line.at,
        "uncertain_by_ms": UNCERTAIN_MS, "by": by.badge, "second": { "by": second.by }, "body": line.body,
    });
    let fact = intake::fact(&item.to_string())
        .map_err(|problem| Fault::cannot_read(format!("Line {}: {}", line.number, problem.words())))?;
    by.vouch_with(fact, second.by_known)
}

/// What stands in the log of a sheet.
async fn written(yard: &web::Data<Yard>, sheet: Uuid) -> Result<Vec<Written>, Fault> {
    let seqs = ask(yard, |book| Ok((1..=LINES).filter_map(|number| book.seq_of(&line_id(sheet, number))).collect()))?;
    let entries = history::entries(yard, seqs).await?;
    let now = yard.now();
    let say = ask(yard, |book| Ok(Say::of(View::new(book, u64::MAX), now)))?;
    let line = |entry: &std::sync::Arc<shared_types::Entry>| Written {
        seq: entry.seq,
        when: say.whole_time(entry.occurred_at.at),
        what: in_words(entry, &say, now),
        address: format!("/thing/{}", in_a_path(&entry.thing)),
        doubts: ask::mismatches(yard, entry.seq).into_iter().map(|one| one.say).collect(),
    };
    Ok(entries.iter().map(line).collect())
}

fn shown(
    request: &HttpRequest,
    yard: &Yard,
    said: &Said,
    faults: Vec<(String, String)>,
    written: Vec<Written>,
) -> Result<HttpResponse, Fault> {
    let when = When::now(yard.now());
    let (foot, places, today) = ask(yard, |book| {
        let view = View::new(book, when.known);
        let declared = book.in_order(Kind::Place, None);
        let named =
            |(name, label): (&ThingName, _)| Some((name.code().to_owned(), view.place(label, when.now)?.name.clone()));
        let places = declared.filter_map(named).collect();
        let day: String = super::typed::time_field(&Say::of(view, when.now), when.now).chars().take(10).collect();
        Ok((Foot::of(yard, view, when), places, day))
    })?;
    let status = if faults.is_empty() { StatusCode::OK } else { StatusCode::BAD_REQUEST };
    let typed = said.get("second").map(|typed| badge::typed_second(typed)).unwrap_or_default();
    let shown = PaperPage {
        assets: Assets::new(),
        print: foot::print("A day on paper", &foot),
        foot,
        badge: badge::remembered(request).map(|by| by.to_string()),
        signs_in: badge::signs_in(request),
        second: badge::beside(request, yard).map_or(typed, |second| second.by.to_string()),
        id: said.get("id").and_then(|id| id.parse().ok()).unwrap_or_else(|| yard.clock.new_id()),
        day: said.get("day").map_or(today, |day| day.trim().to_owned()),
        lines: (1..=LINES).map(|number| Row::of(said, number)).collect(),
        places,
        faults,
        written,
    };
    page(status, &shown)
}
