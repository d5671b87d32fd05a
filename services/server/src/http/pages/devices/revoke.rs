//! Revoking a device: what that means is read before it is saved.

use super::super::{
    answer,
    wish::{self, Chosen, Draft, Field, WishPage},
};
use crate::{
    http::{ask::ask, say::sentence},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::standing::{self, Standing};
use serde_json::json;
use shared_types::{Kind, ThingName};

#[route("/devices/revoke", method = "GET", method = "HEAD")]
pub(crate) async fn revoke_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<Chosen>,
) -> HttpResponse {
    let chosen = query.into_inner();
    let shown = asked(&request, &yard, &chosen);
    let draft = (!chosen.choice.is_empty()).then(|| draft(&chosen));
    answer(&request, wish::show(&yard, shown, draft).await)
}

#[post("/devices/revoke")]
pub(crate) async fn post_revoke(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Chosen>) -> HttpResponse {
    let chosen = form.into_inner();
    let shown = asked(&request, &yard, &chosen);
    let done = wish::save(&request, &yard, shown, draft(&chosen)).await;
    if let (Ok(_), Ok(device)) = (&done, device(&chosen)) {
        let device = device.own_code();
        if standing::device(&yard.read(), &device) == Standing::Revoked {
            yard.people.sessions.end_all(|session| session.device.as_ref() == Some(&device));
        }
    }
    answer(&request, done)
}

fn device(chosen: &Chosen) -> Result<ThingName, String> {
    let thing: ThingName = chosen.thing.parse().map_err(|error| sentence(&format!("{error}")))?;
    match thing.kind() {
        Kind::Device => Ok(thing),
        kind => Err(format!("{} is a {kind}, and only devices are revoked.", thing.short())),
    }
}

fn asked(request: &HttpRequest, yard: &Yard, chosen: &Chosen) -> WishPage {
    let mut shown = WishPage::new(yard, request, chosen.clone());
    let found = device(chosen);
    shown.title = found.as_ref().map_or("Revoke a device".to_owned(), |thing| format!("Revoke {}", thing.short()));
    if let Ok(device) = &found {
        shown.lead = meaning(yard, device);
        shown.about = Some(device.clone());
    }
    shown.address = "/devices/revoke".to_owned();
    shown.asks = "Why is it revoked?";
    let mut field = |name, label: &str, value: &str, like| {
        shown.fields.push(Field { name, label: label.to_owned(), value: value.to_owned(), like });
    };
    if found.is_err() {
        field("thing", "Which device", &chosen.thing, "device/H-3");
    }
    field("why", "Why", &chosen.why, "lost in the freezer");
    shown
}

/// What comes of it, as far as the book does not say it.
fn meaning(yard: &Yard, device: &ThingName) -> Vec<String> {
    let (name, code) = (device.short(), device.own_code());
    let when = domain::When::now(yard.now());
    let view = ask(yard, |book| {
        let all = domain::devices::devices(book, when).devices;
        Ok(all.into_iter().find(|one| one.device == *device))
    });
    let signed_in = yard.people.sessions.count(|session| session.device.as_ref() == Some(&code), yard.now());
    let mut lines: Vec<String> = view.ok().flatten().into_iter().map(|view| view.say).collect();
    lines.push(format!("From then on {name} opens and sends nothing here, and its name is never used again."));
    lines.push(match signed_in {
        0 => "Nobody is signed in on it.".to_owned(),
        1 => "The one person who is signed in on it is signed out.".to_owned(),
        count => format!("The {count} people who are signed in on it are signed out."),
    });
    lines.push(
        "What came from it before stays good. What it has not sent can be brought in from a file later, and waits then for two to confirm it."
            .to_owned(),
    );
    lines
}

fn draft(chosen: &Chosen) -> Result<Draft, String> {
    Ok(Draft { decide: "revoke_device", thing: device(chosen)?, body: json!({ "why": wish::why(chosen)? }) })
}
