//! A paper that came after its roll: what it says is written into the receipt, as a new entry instead of the one that had
//! none. Roll after roll of a batch with the same paper, until each has one.

use super::{Said, opening};
use crate::http::{
    ask::{ask, nobody},
    fallback::in_a_path,
    pages::{
        answer, in_a_query,
        thing::history,
        typed::Typed,
        wish::{self, Choice, Chosen, Draft, Field, WishPage},
    },
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::{
    Book,
    fact::{Fact, Label, What},
    say::Say,
    view::View,
};
use serde_json::{Value, json};
use shared_types::{Code, Entry, Instant, Kind, Opening, OpeningSource, ThingName};

/// What stands in the address from one roll of a batch to the next.
const KEPT: [&str; 4] = ["choice", "out_time", "refreezes", "as_of"];

#[route("/receive/paper/{roll}", method = "GET", method = "HEAD")]
pub(crate) async fn paper_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    roll: web::Path<String>,
    query: web::Query<Said>,
) -> HttpResponse {
    let done = async {
        let (shown, draft) = asked(&request, &yard, &roll, query.into_inner()).await?;
        wish::show(&yard, shown, draft.map(Ok)).await
    };
    answer(&request, done.await)
}

#[post("/receive/paper/{roll}")]
pub(crate) async fn post_paper(
    request: HttpRequest,
    yard: web::Data<Yard>,
    roll: web::Path<String>,
    form: web::Form<Said>,
) -> HttpResponse {
    let done = async {
        match asked(&request, &yard, &roll, form.into_inner()).await? {
            (shown, Some(draft)) => wish::save(&request, &yard, shown, Ok(draft)).await,
            (shown, None) => wish::show(&yard, shown, None).await,
        }
    };
    answer(&request, done.await)
}

/// A roll's receipts without a paper, and the next roll of the batch that has such a one.
struct Papers {
    bare: Option<u64>,
    next: Option<ThingName>,
    say: Say,
}

fn papers(book: &Book, roll: &ThingName, now: Instant) -> Result<Papers, Fault> {
    let view = View::new(book, u64::MAX);
    let label = book.label(roll).ok_or_else(|| nobody(roll))?;
    let batches = view.facts(label).filter_map(|fact| match &fact.what {
        What::Received(received) if received.roll == label => Some(received.batch),
        _ => None,
    });
    let batch = batches.last().ok_or_else(|| nobody(roll))?;
    let others = view.facts(batch).filter_map(|fact| match &fact.what {
        What::Received(received) if received.roll != label => Some(received.roll),
        _ => None,
    });
    let others = others.filter(|other| bare(view, *other).next().is_some());
    let next = others.map(|other| book.name(other)).min().cloned();
    Ok(Papers { bare: bare(view, label).next().map(|fact| u64::from(fact.seq)), next, say: Say::of(view, now) })
}

/// The receipts of a roll that state no out-time.
pub(in super::super) fn bare(view: View<'_>, roll: Label) -> impl Iterator<Item = &Fact> {
    view.facts(roll).filter(move |fact| match &fact.what {
        What::Received(received) => received.roll == roll && received.opening.is_none(),
        _ => false,
    })
}

async fn asked(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    roll: &str,
    mut said: Said,
) -> Result<(WishPage, Option<Draft>), Fault> {
    let code = Code::new(roll).map_err(|error| Fault::cannot_read(format!("{error}. Scan the roll's label.")))?;
    let (roll, now) = (ThingName::new(Kind::Roll, &code), yard.now());
    let found = ask(yard, |book| papers(book, &roll, now))?;
    let chosen = Chosen::of(&said);
    said.insert("source".to_owned(), chosen.choice.clone());
    let mut shown = WishPage::new(yard, request, chosen.clone());
    shown.asks = "What does it say?";
    shown.title = format!("A paper of roll {code} that came later");
    shown.address = format!("/receive/paper/{}", in_a_query(code.as_str()));
    shown.about = Some(roll.clone());
    if let Some(seq) = said.get("done") {
        shown.lead.push(format!("What was said of the roll before is written: entry {}.", in_a_query(seq)));
    }
    let Some(seq) = found.bare else {
        shown.lead.push(format!(
            "{code} came with its paper. If that was read wrongly, strike its receipt in its history below its page."
        ));
        return Ok((shown, None));
    };
    let receipt = history::entries(yard, vec![seq]).await?.into_iter().next();
    let receipt = receipt.ok_or_else(|| Fault::went_wrong(format!("Entry {seq} could not be read.")))?;
    let at = found.say.time(receipt.occurred_at.at, now);
    shown.lead.push(format!(
        "Received {at}, and nobody stated its out-time. Its receipt is written again with what the paper says; the first one is \
         struck and stays in its history."
    ));
    shown.then = found.next.map(|next| {
        let kept = KEPT.iter().filter_map(|name| Some(format!("{name}={}", in_a_query(said.get(*name)?))));
        format!("/receive/paper/{}?{}", in_a_query(next.code()), kept.collect::<Vec<_>>().join("&"))
    });
    let mut typed = Typed::of(&said);
    for (value, label) in [("certificate", "It stands on the certificate"), ("card", "It stands on a card")] {
        shown.choices.push(Choice { value, label: label.to_owned() });
    }
    let mut field = |name, label: &str, like| {
        let value = typed.text(name).to_owned();
        shown.fields.push(Field { name, label: label.to_owned(), value, like });
    };
    field("out_time", "Out-time before it came, in hours and minutes", "12:30");
    field("refreezes", "Times back into the cold", "0");
    field("as_of", "As of when, at the latest its receipt", "2026-05-04 06:00");
    let paper = match chosen.choice.as_str() {
        "certificate" | "card" => opening(yard, &mut typed, now).flatten(),
        _ => None,
    };
    let early = paper.filter(|paper| {
        let fits = paper.as_of.at <= receipt.occurred_at.at;
        if !fits {
            typed.faults.push(("as_of", format!("It was received {at}: say as of when at that time or before.")));
        }
        fits
    });
    shown.faults = typed.faults;
    let draft = early.filter(|_| shown.faults.is_empty()).map(|paper| draft(&receipt, &paper)).transpose()?;
    Ok((shown, draft))
}

/// The receipt again, with the paper.
fn draft(receipt: &Entry, paper: &Opening) -> Result<Draft, Fault> {
    let unread = || Fault::went_wrong("The receipt could not be written again.");
    let body = receipt.body.write().map_err(|_| unread())?;
    let mut body: Value = serde_json::from_str(body.get()).map_err(|_| unread())?;
    body.as_object_mut().ok_or_else(unread)?.insert("opening".to_owned(), json!(paper));
    let why = match paper.source {
        OpeningSource::Certificate => "its certificate came later",
        OpeningSource::Card => "its card came later",
    };
    let instead = json!({
        "kind": receipt.body.plain_kind(), "thing": receipt.thing, "occurred_at": receipt.occurred_at, "body": body,
    });
    let body = json!({ "entry": receipt.id, "why": why, "instead": instead });
    Ok(Draft { decide: "strike", thing: receipt.thing.clone(), body })
}

/// Where a paper of this roll is written in.
pub(in super::super) fn address(roll: &ThingName) -> String {
    format!("/receive/paper/{}", in_a_path(roll).trim_start_matches("roll/"))
}
