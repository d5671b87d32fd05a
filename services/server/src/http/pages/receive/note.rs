//! A delivery's note: which rolls it lists, so that goods-in can say what is missing.

use super::Said;
use crate::http::{
    fallback::in_a_path,
    pages::{
        answer,
        assets::Assets,
        badge,
        foot::Foot,
        page, see,
        typed::Typed,
        work::{self, Wish},
    },
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, post, route, web};
use askama::Template;
use domain::{When, view::View};
use serde_json::json;
use shared_types::{Code, Kind, ThingName, clear_code};
use std::collections::BTreeSet;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "note.html")]
struct NotePage {
    assets: Assets,
    foot: Foot,
    badge: Option<String>,
    id: Uuid,
    said: Said,
    faults: Vec<(&'static str, String)>,
}

impl NotePage {
    fn value(&self, name: &str) -> &str {
        self.said.get(name).map_or("", String::as_str)
    }

    fn fault(&self, name: &str) -> Option<&str> {
        self.faults.iter().find(|(of, _)| *of == name).map(|(_, say)| say.as_str())
    }
}

#[route("/receive/note", method = "GET", method = "HEAD")]
pub(crate) async fn note_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Said>) -> HttpResponse {
    answer(&request, shown(&request, &yard, query.into_inner(), Vec::new()))
}

#[post("/receive/note")]
pub(crate) async fn post_note(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Said>) -> HttpResponse {
    let done = async {
        let said = form.into_inner();
        let mut typed = Typed::of(&said);
        let note = typed.code("note", "Say which number the note has.");
        let listed = |text: &str| rolls(text).and_then(|rolls| no_other(&yard, rolls));
        let rolls = typed.read("rolls", listed);
        let id = said.get("id").and_then(|id| id.parse().ok());
        let id: Uuid =
            id.ok_or_else(|| Fault::cannot_read("The form came without its number. Open the page again."))?;
        let faults = typed.faults;
        let (Some(note), Some(rolls)) = (note, rolls) else { return shown(&request, &yard, said, faults) };
        let Some(by) = badge::remembered(&request) else {
            return Err(Fault::cannot_read("Scan your badge first, then record the delivery."));
        };
        let delivery = ThingName::new(Kind::Delivery, &note);
        let body = json!({ "rolls": rolls });
        let wish = Wish {
            id,
            go: "arrived",
            by: &by,
            kind: "delivery_arrived",
            thing: &delivery,
            shown: None,
            body,
            worked_out: &[],
        };
        let seq = work::write(&yard, wish).await?;
        Ok(see(&format!("/thing/{}?done={seq}", in_a_path(&delivery))))
    };
    answer(&request, done.await)
}

fn shown(
    request: &HttpRequest,
    yard: &Yard,
    said: Said,
    faults: Vec<(&'static str, String)>,
) -> Result<HttpResponse, Fault> {
    let when = When::now(yard.now());
    let status = if faults.is_empty() { StatusCode::OK } else { StatusCode::BAD_REQUEST };
    let id = said.get("id").and_then(|id| id.parse().ok()).unwrap_or_else(|| yard.clock.new_id());
    let shown = NotePage {
        assets: Assets::new(),
        foot: Foot::of(yard, View::new(&yard.read(), when.known), when),
        badge: badge::remembered(request).map(|badge| badge.to_string()),
        id,
        said,
        faults,
    };
    page(status, &shown)
}

/// One roll a line, each once; empty lines are nothing.
fn rolls(text: &str) -> Result<Vec<Code>, String> {
    let lines = (1..).zip(text.lines()).filter(|(_, line)| !line.trim().is_empty());
    let read = lines.map(|(at, line)| {
        if line.contains([',', ';', '\t']) {
            return Err(format!("Line {at}: write each roll on a line of its own, without commas"));
        }
        let code = Code::new(line).map_err(|why| format!("Line {at}: {why}"))?;
        clear_code(line).map(|()| code).map_err(|why| format!("Line {at}: {why}"))
    });
    let mut seen = BTreeSet::new();
    let mut rolls = read.collect::<Result<Vec<Code>, String>>()?;
    rolls.retain(|roll| seen.insert(roll.clone()));
    if rolls.is_empty() { Err("Name the rolls on the note, one a line.".to_owned()) } else { Ok(rolls) }
}

/// No line is the label of something else: named as a roll, its scan would mean two things from then on.
fn no_other(yard: &Yard, rolls: Vec<Code>) -> Result<Vec<Code>, String> {
    let book = yard.read();
    for code in &rolls {
        let things = domain::scan(&book, code).things;
        if let Some(other) = things.first().filter(|_| things.iter().all(|thing| thing.kind() != Kind::Roll)) {
            return Err(format!("{code} is a {} and no roll. Look at the note again", other.kind()));
        }
    }
    Ok(rolls)
}
