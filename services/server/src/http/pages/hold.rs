//! Placing a hold on anything, lifting one, and confirming told lines in one sitting.

use super::thing::{history, said::said};
use super::wish::{self, Chosen, Draft, Field, WishPage};
use super::{answer, assets::Assets, badge, foot::Foot, in_a_query, page, see};
use crate::http::{ask::ask_beside, problems::Fault, who::By};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::{When, fact::Fact, say::Say, view::View};
use serde_json::json;
use shared_types::ThingName;
use std::collections::BTreeMap;
use uuid::Uuid;

#[route("/hold", method = "GET", method = "HEAD")]
pub(crate) async fn hold_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Chosen>) -> HttpResponse {
    let done = async {
        let chosen = query.into_inner();
        let draft = (!chosen.choice.is_empty()).then(|| draft(&chosen));
        wish::show(&yard, asked(&request, &yard, &chosen), draft).await
    };
    answer(&request, done.await)
}

#[actix_web::post("/hold")]
pub(crate) async fn post_hold(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Chosen>) -> HttpResponse {
    let chosen = form.into_inner();
    let shown = asked(&request, &yard, &chosen);
    answer(&request, wish::save(&request, &yard, shown, draft(&chosen)).await)
}

fn asked(request: &HttpRequest, yard: &Yard, chosen: &Chosen) -> WishPage {
    let mut shown = WishPage::new(yard, request, chosen.clone());
    let thing: Option<ThingName> = chosen.thing.parse().ok();
    let name = thing.as_ref().map_or("what", ThingName::short);
    let lifts = !chosen.lift.trim().is_empty();
    shown.title = if lifts { format!("Lift the hold on {name}") } else { format!("Hold {name}") };
    shown.lead.push(match lifts {
        true => "Someone else than who made it must stand beside it: both badges are asked for.".to_owned(),
        false => {
            "A hold needs nobody else. It holds all that is made from it too, and ends only by lifting.".to_owned()
        }
    });
    shown.address = "/hold".to_owned();
    shown.asks = "What, and why?";
    let mut field = |name, label: &str, value: &str, like| {
        shown.fields.push(Field { name, label: label.to_owned(), value: value.to_owned(), like });
    };
    field("thing", "What: its kind and code", &chosen.thing, "roll/R-42");
    field("why", "Why", &chosen.why, "");
    if !lifts {
        field("number", "Nonconformance number, if there is one", &chosen.number, "");
    }
    shown.about = thing;
    shown
}

fn draft(chosen: &Chosen) -> Result<Draft, String> {
    let thing: ThingName = chosen.thing.parse().map_err(|error| crate::http::say::sentence(&format!("{error}")))?;
    let why = wish::why(chosen)?;
    if chosen.lift.trim().is_empty() {
        let number = Some(chosen.number.trim()).filter(|number| !number.is_empty());
        return Ok(Draft { decide: "place_hold", thing, body: json!({ "why": why, "nonconformance": number }) });
    }
    let gone = "There is no such hold. Look at what holds it.";
    let hold: Uuid = chosen.lift.trim().parse().map_err(|_| gone.to_owned())?;
    Ok(Draft { decide: "lift_hold", thing, body: json!({ "hold": hold, "why": why }) })
}

#[derive(Template)]
#[template(path = "confirm.html")]
struct ConfirmPage {
    assets: Assets,
    foot: Foot,
    lines: Vec<Told>,
    /// That there are more than are shown.
    more: Option<String>,
    /// The badges of this sitting.
    badge: Option<String>,
    signs_in: bool,
    second: String,
    problem: Option<String>,
    /// A line was confirmed just now.
    done: Option<String>,
}

struct Told {
    id: Uuid,
    thing: String,
    entry: Uuid,
    what: String,
    when: String,
    who: String,
}

/// As many lines are shown; the next ones follow when these are confirmed.
const MOST: usize = 50;

#[route("/confirm", method = "GET", method = "HEAD")]
pub(crate) async fn confirm_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<Chosen>,
) -> HttpResponse {
    let done = async {
        let said = match query.number.parse::<u64>() {
            Ok(seq) if seq != 0 && seq <= yard.read().last_seq() => Some(format!("Confirmed: it is entry {seq}.")),
            _ => None,
        };
        confirming(&request, &yard, &second_of(&request, &yard, &query.second), None, said).await
    };
    answer(&request, done.await)
}

/// Who stands beside: of this sitting where people sign in, else as it was typed.
fn second_of(request: &HttpRequest, yard: &Yard, typed: &str) -> String {
    match badge::signs_in(request) {
        true => badge::beside(request, yard).map(|second| second.by.to_string()).unwrap_or_default(),
        false => typed.trim().to_owned(),
    }
}

async fn confirming(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    second: &str,
    problem: Option<(StatusCode, String)>,
    done: Option<String>,
) -> Result<HttpResponse, Fault> {
    let when = When::now(yard.now());
    let (found, say) = ask_beside(yard, move |book| {
        let view = View::new(book, when.known);
        let own = |seq: u32, label| book.entry(seq).is_some_and(|meta| meta.thing == label);
        let waits = |label| view.facts(label).filter(move |fact| view.waits(fact) && own(fact.seq, label));
        let struck = |fact: &Fact| (u64::from(fact.seq), view.confirmations_struck(fact.seq));
        let found: BTreeMap<u64, usize> = book.labels().flat_map(waits).map(struck).collect();
        Ok((found, Say::of(view, when.now)))
    })
    .await?;
    let seqs: Vec<u64> = found.keys().copied().take(MOST).collect();
    let more = (seqs.len() < found.len()).then(|| {
        format!("The first {} of {} that wait. The others follow as these are confirmed.", seqs.len(), found.len())
    });
    let entries = history::entries(yard, seqs).await?;
    let told = |entry: &std::sync::Arc<shared_types::Entry>| Told {
        // The same line has the same id in every sitting of a person: two taps confirm it once. Where that was struck,
        // it is confirmed anew.
        id: {
            let struck = found.get(&entry.seq).copied().unwrap_or_default();
            Uuid::new_v5(&entry.id, format!("confirm {second} {struck}").as_bytes())
        },
        thing: entry.thing.to_string(),
        entry: entry.id,
        what: said(entry, &say, when.now),
        when: say.time(entry.occurred_at.at, when.now),
        who: history::who(entry),
    };
    let lines = entries.iter().map(told).collect();
    let foot = Foot::of(yard, View::new(&yard.read(), when.known), when);
    let badge = badge::remembered(request).map(|badge| badge.to_string());
    let (status, problem) = problem.map_or((StatusCode::OK, None), |(status, say)| (status, Some(say)));
    page(
        status,
        &ConfirmPage {
            assets: Assets::new(),
            foot,
            lines,
            more,
            badge,
            signs_in: badge::signs_in(request),
            second: second.to_owned(),
            problem,
            done,
        },
    )
}

#[actix_web::post("/confirm")]
pub(crate) async fn post_confirm(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Chosen>) -> HttpResponse {
    let done = async {
        let chosen = form.into_inner();
        let written = confirm(&request, &yard, &chosen).await;
        let second = second_of(&request, &yard, &chosen.second);
        let second = second.as_str();
        match written {
            Ok((seq, by)) => {
                let mut back = see(&format!("/confirm?second={}&number={seq}", in_a_query(second)));
                badge::remember(&request, &mut back, &by)?;
                Ok(back)
            }
            Err(fault) if fault.status().is_server_error() => Err(fault),
            Err(fault) => {
                let problem = (fault.status(), fault.problem().detail.clone());
                confirming(&request, &yard, second, Some(problem), None).await
            }
        }
    };
    answer(&request, done.await)
}

async fn confirm(request: &HttpRequest, yard: &web::Data<Yard>, chosen: &Chosen) -> Result<(u64, By), Fault> {
    let (by, second) = wish::badges(request, yard, chosen).await?;
    let unread = |_| Fault::cannot_read("That line is none of this page's. Open the page again.");
    let thing: ThingName = chosen.thing.parse().map_err(|error: shared_types::NameError| unread(error.to_string()))?;
    let entry: Uuid = chosen.other.parse().map_err(|error: uuid::Error| unread(error.to_string()))?;
    let id = chosen.id.ok_or_else(|| unread(String::new()))?;
    // What is confirmed is the one line, which is never edited: what else came meanwhile does not change it.
    let based_on = yard.read().last_seq();
    let draft = Draft { decide: "confirm", thing, body: json!({ "entry": entry }) };
    let (seq, _) = wish::submit(yard, &draft, id, &by, second.as_ref(), based_on).await?;
    Ok((seq, by))
}
