//! A button on the scan screen: the fact is written now, once, however often the form is sent.

use super::work::{self, Wish};
use super::{answer, badge, scan, see};
use crate::http::{ask, problems::Fault, who::By};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, web};
use domain::{When, view::View};
use serde::Deserialize;
use serde_json::json;
use shared_types::{Code, Kind, ThingName, Whereabouts};
use uuid::Uuid;

#[derive(Deserialize)]
pub(crate) struct MoveForm {
    /// Made when the page was: the same page writes the same move once.
    id: Uuid,
    thing: String,
    /// `take_out`, `put_away` and the place, or `scanned`: put away in the place whose placard was scanned.
    go: String,
    /// What was scanned.
    #[serde(default)]
    code: String,
    /// What the screen said.
    #[serde(default)]
    answer: String,
    #[serde(default)]
    until: String,
    #[serde(default)]
    as_of_seq: u64,
}

enum Move {
    TakeOut,
    PutAway(Code),
}

#[post("/moves")]
pub(crate) async fn post_move(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<MoveForm>) -> HttpResponse {
    let mut form = form.into_inner();
    let badge = badge::remembered(&request);
    let done = async {
        let thing: ThingName =
            form.thing.parse().map_err(|error| Fault::cannot_read(format!("{error}. Scan it again.")))?;
        let Some(by) = badge else {
            return Ok(badge::first(&thing.to_string()));
        };
        if form.go == "scanned" {
            match scanned_place(&yard, &form.code)? {
                Some(place) => form.go = format!("put_away {place}"),
                None => return scan::nothing_recorded(&request, &yard, &thing),
            }
        }
        let seq = write(&yard, &form, &thing, &by).await?;
        Ok(see(&format!("/?thing={}&done={seq}", super::in_a_query(&thing.to_string()))))
    };
    answer(&request, done.await)
}

/// The declared place, frozen or not, on whose placard this code stands.
fn scanned_place(yard: &Yard, code: &str) -> Result<Option<Code>, Fault> {
    let Ok(code) = Code::new(scan::without_symbology(code)) else { return Ok(None) };
    ask::ask(yard, |book| {
        let label = book.label(&ThingName::new(Kind::Place, &code));
        let view = View::new(book, u64::MAX);
        Ok(label.filter(|label| view.place(*label, yard.now()).is_some()).map(|label| book.code(label)))
    })
}

async fn write(yard: &Yard, form: &MoveForm, thing: &ThingName, by: &By) -> Result<u64, Fault> {
    let unreadable = || Fault::cannot_read("That button is not one of this page's. Scan it again.");
    let go = match form.go.split_once(' ') {
        None if form.go == "take_out" => Move::TakeOut,
        Some(("put_away", place)) => Move::PutAway(Code::new(place).map_err(|_| unreadable())?),
        _ => return Err(unreadable()),
    };
    let word = match thing.kind() {
        Kind::Roll => "roll",
        Kind::Kit => "kit",
        _ => return Err(Fault::cannot_read(format!("Only rolls and kits are taken out and put away, not {thing}."))),
    };
    let (what, body) = match &go {
        Move::TakeOut => ("taken_out", json!({ "from": inside(yard, thing)? })),
        Move::PutAway(place) => ("put_away", json!({ "into": place })),
    };
    let kind = format!("{word}_{what}");
    let shown = work::said(&form.answer, &form.until, form.as_of_seq);
    work::write(yard, Wish { id: form.id, go: &form.go, by, kind: &kind, thing, shown, body, worked_out: &["from"] })
        .await
}

/// The place in which the book has it.
fn inside(yard: &Yard, thing: &ThingName) -> Result<Option<Code>, Fault> {
    ask::ask(yard, |book| {
        let seen = domain::thing_view(book, thing, When::now(yard.now()));
        Ok(seen.and_then(|seen| match seen.whereabouts {
            Whereabouts::Inside { place, .. } | Whereabouts::OnItsWay { place, .. } => Some(place),
            _ => None,
        }))
    })
}
