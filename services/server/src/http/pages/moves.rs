//! A button on the scan screen: the fact is written now, once, however often the form is sent.

use super::{answer, badge, own_form, scan, see};
use crate::http::{
    ask,
    problems::Fault,
    refusals::{Stored, stored},
};
use crate::{committer::Outcome, intake, yard::Yard};
use actix_web::{HttpRequest, HttpResponse, post, web};
use domain::{RULES, When, say::Say, view::View};
use serde::Deserialize;
use serde_json::{Value, json};
use shared_types::{Code, Entry, Kind, ThingName, Whereabouts};
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
        own_form(&request)?;
        let thing: ThingName =
            form.thing.parse().map_err(|error| Fault::cannot_read(format!("{error}. Scan it again.")))?;
        let Some(by) = badge else {
            return Ok(see(&format!("/badge?then={}", super::in_a_query(&thing.to_string()))));
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

async fn write(yard: &Yard, form: &MoveForm, thing: &ThingName, by: &Code) -> Result<u64, Fault> {
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
    // Each button of one page has an id of its own, so that pressing the other one later is no repeat.
    let id = Uuid::new_v5(&form.id, format!("{thing} {}", form.go).as_bytes());
    let fact = ask::ask(yard, |book| {
        let now = yard.now();
        let say = Say::of(View::new(book, u64::MAX), now);
        let from = domain::thing_view(book, thing, When::now(now)).and_then(|seen| match seen.whereabouts {
            Whereabouts::Inside { place, .. } | Whereabouts::OnItsWay { place, .. } => Some(place),
            _ => None,
        });
        let (what, body) = match &go {
            Move::TakeOut => ("taken_out", json!({ "from": from })),
            Move::PutAway(place) => ("put_away", json!({ "into": place })),
        };
        Ok(json!({
            "id": id, "kind": format!("{word}_{what}"), "thing": thing, "occurred_at": say.stamp(now), "by": by,
            "shown": shown(form), "body": body,
        }))
    })?;
    let fact = intake::fact(&fact.to_string()).map_err(|problem| Fault::cannot_read(problem.detail()))?;
    match yard.committer.submit(fact).await {
        // Its time differs, but it is this page's button: it was written when it was pressed for the first time.
        Outcome::IdReused { line } => Entry::read(&line)
            .map(|entry| entry.seq)
            .map_err(|_| Fault::went_wrong("It was written before, but the stored line can't be read.")),
        outcome => Ok(match stored(outcome)? {
            Stored::Now(written) => written.seq,
            Stored::Before(entry) => entry.seq,
        }),
    }
}

fn shown(form: &MoveForm) -> Option<Value> {
    let until = Some(&form.until).filter(|until| !until.is_empty());
    (!form.answer.is_empty())
        .then(|| json!({ "answer": form.answer, "until": until, "as_of_seq": form.as_of_seq, "rules": RULES }))
}
