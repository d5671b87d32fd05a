//! Registering a batch whose rolls are being received: what its certificate says, and what that gives.

use super::{Said, query_with};
use crate::http::pages::answer;
use crate::http::pages::typed::Typed;
use crate::http::pages::wish::{self, Chosen, Draft, Field, WishPage};
use crate::http::{ask::ask, problems::Fault};
use crate::import::words::plain_day;
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use chrono::{DateTime, Utc};
use domain::{Book, say::Say, view::View};
use serde_json::json;
use shared_types::{Batch, Code, Day, ThingName};

#[route("/receive/batch", method = "GET", method = "HEAD")]
pub(crate) async fn batch_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Said>) -> HttpResponse {
    let done = async {
        let (shown, draft) = asked(&request, &yard, &query)?;
        wish::show(&yard, shown, draft.map(Ok)).await
    };
    answer(&request, done.await)
}

#[post("/receive/batch")]
pub(crate) async fn post_batch(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Said>) -> HttpResponse {
    let done = async {
        match asked(&request, &yard, &form)? {
            (shown, Some(draft)) => wish::save(&request, &yard, shown, Ok(draft)).await,
            (shown, None) => wish::show(&yard, shown, None).await,
        }
    };
    answer(&request, done.await)
}

fn asked(request: &HttpRequest, yard: &Yard, said: &Said) -> Result<(WishPage, Option<Draft>), Fault> {
    let typed = Typed::of(said);
    let material = typed.text("what").split('/').next().unwrap_or_default();
    let named =
        Code::new(material).and_then(|material| Ok(ThingName::batch(&material, &Code::new(typed.text("batch"))?)));
    let batch = named.map_err(|_| {
        Fault::cannot_read("Choose a material and name its batch first, then register the batch from there.")
    })?;
    let registered = ask(yard, |book| Ok(registered(book, &batch)))?;
    let entered = said.contains_key("made_on");
    let mut said = said.clone();
    if let Some(known) = registered.as_ref().filter(|_| !entered) {
        said.insert("made_on".to_owned(), known.made_on.to_string());
    }
    let said = &said;
    let mut typed = Typed::of(said);
    let day = |text: &str| {
        Day::parse(&plain_day(text)?).map_err(|_| "Write the day as 2026-01-31, or the month as 2026-01.".to_owned())
    };
    let today = ask(yard, |book| {
        let now = yard.now();
        let zone = Say::of(View::new(book, u64::MAX), now).zone;
        Ok(DateTime::<Utc>::from_timestamp_millis(now.0).map(|now| now.with_timezone(&zone).date_naive()))
    })?;
    let made = |text: &str| match day(text)? {
        ahead if today < ahead.first() => Err("That day lies ahead. Say when the batch was made.".to_owned()),
        made_on => Ok(made_on),
    };
    let made_on = entered.then(|| typed.read("made_on", made)).flatten();
    let ends = typed.read_if_any("certificate_ends", day);
    let mut shown = WishPage::new(yard, request, Chosen::of(said));
    shown.asks = "What does it say?";
    shown.title = format!("Register batch {}", batch.code());
    shown.lead.push("What its certificate says. Its rolls' shelf life is reckoned from it.".to_owned());
    if let Some(known) = &registered {
        let certificate =
            known.certificate_ends.map_or("nobody said what day its certificate names".to_owned(), |day| {
                format!("its certificate names {day}")
            });
        shown.lead.push(format!(
            "It is registered as made on {}, and {certificate}. A certificate that came later is added here; of two days the \
             earlier counts.",
            known.made_on
        ));
    }
    shown.address = "/receive/batch".to_owned();
    // From goods-in back to it, from elsewhere to the batch.
    shown.then = said.contains_key("delivery").then(|| format!("/receive/scan?{}", query_with(said, &[])));
    shown.kept = super::KEPT.iter().filter_map(|name| Some((*name, said.get(*name)?.clone()))).collect();
    let mut field = |name, label: &str, like| {
        let value = typed.text(name).to_owned();
        shown.fields.push(Field { name, label: label.to_owned(), value, like });
    };
    field("made_on", "Made on", "2026-01-31");
    field("certificate_ends", "Its shelf life ends on, where the certificate says it", "2027-01-31");
    shown.faults = typed.faults;
    let draft = made_on.filter(|_| shown.faults.is_empty()).map(|made_on| Draft {
        decide: "register_batch",
        thing: batch,
        body: json!({ "made_on": made_on, "certificate_ends": ends }),
    });
    Ok((shown, draft))
}

/// What was registered of it last.
fn registered(book: &Book, batch: &ThingName) -> Option<Batch> {
    View::new(book, u64::MAX).registrations(book.label(batch)?).last().cloned()
}
