//! Recalling a batch: where all of it lies now, as a list to walk through the hall with, and a hold on what is ticked.
//! Each hold is a decision of its own with an id that follows from the sitting's, so that a form sent twice writes each
//! of them once.

use super::{
    answer,
    assets::Assets,
    badge,
    foot::{Foot, print},
    in_a_query,
    named::Named,
    page, see,
    thing::shown::held_words,
    wish::{self, Chosen, Draft},
};
use crate::{
    http::{
        ask::{ask_beside, nobody},
        devices::PAGE_TIME,
        fallback::in_a_path,
        problems::{Fault, Kind},
        who::By,
    },
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, web};
use askama::Template;
use domain::{
    Book, When,
    recall::{Recalled, order, recall, would_hold},
    say::Say,
    view::View,
};
use serde_json::json;
use shared_types::{NameError, ThingName};
use std::collections::BTreeSet;
use uuid::Uuid;

/// As many can be held in one sitting; the next follow when these are.
const MOST: usize = 200;

#[derive(Template)]
#[template(path = "recall.html")]
struct RecallPage {
    assets: Assets,
    foot: Foot,
    print: String,
    thing: ThingName,
    address: String,
    say: String,
    rows: Vec<Row>,
    /// How many did not fit into one sitting.
    more: usize,
    why: String,
    number: String,
    problem: Option<String>,
    results: Vec<String>,
    effect: Option<Effect>,
    badge: Option<String>,
    signs_in: bool,
}

struct Row {
    name: ThingName,
    place: String,
    say: String,
    held: String,
    /// It can be held, and whether it is ticked.
    tick: Option<bool>,
}

struct Effect {
    sentences: Vec<String>,
    things: Vec<ThingName>,
    id: Uuid,
    based_on: u64,
}

/// What the address or the form says.
#[derive(Default)]
struct Said {
    asked: bool,
    things: BTreeSet<ThingName>,
    /// Those of a sitting that were not held because something came between.
    refused: BTreeSet<ThingName>,
    sitting: Option<Uuid>,
    chosen: Chosen,
}

type Pairs = Vec<(String, String)>;

impl Said {
    fn read(pairs: Pairs) -> Result<Said, Fault> {
        let mut said = Said::default();
        let thing =
            |text: &str| text.parse::<ThingName>().map_err(|error: NameError| Fault::cannot_read(format!("{error}.")));
        let id = |text: &str| {
            Uuid::parse_str(text)
                .map_err(|_| Fault::cannot_read("The form came without its number. Open the page again."))
        };
        for (name, value) in pairs {
            match name.as_str() {
                "ask" => said.asked = true,
                "thing" => drop(said.things.insert(thing(&value)?)),
                "refused" => drop(said.refused.insert(thing(&value)?)),
                "sitting" => said.sitting = Some(id(&value)?),
                "id" => said.chosen.id = Some(id(&value)?),
                "based_on" => said.chosen.based_on = value.parse().ok(),
                "why" => said.chosen.why = value,
                "number" => said.chosen.number = value,
                "by" => said.chosen.by = value,
                // What the page's script says of the device's clock.
                PAGE_TIME => {}
                other => {
                    return Err(Fault::cannot_read(format!("There is nothing called {} here.", in_a_query(other))));
                }
            }
        }
        match said.things.len().max(said.refused.len()) <= MOST {
            true => Ok(said),
            false => Err(Fault::cannot_read(format!("At most {MOST} things are held in one sitting."))),
        }
    }

    /// What is ticked: all at first, then what was chosen, then what is still to be held.
    fn ticks(&self, thing: &ThingName) -> bool {
        match (self.asked, self.sitting.is_some()) {
            (true, _) => self.things.contains(thing),
            (false, true) => self.refused.contains(thing),
            (false, false) => true,
        }
    }
}

#[actix_web::routes]
#[get("/recall/{kind}/{code}")]
#[get("/recall/batch/{material}/{batch}")]
#[head("/recall/{kind}/{code}")]
#[head("/recall/batch/{material}/{batch}")]
pub(crate) async fn recall_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    named: Named,
    query: web::Query<Pairs>,
) -> HttpResponse {
    answer(&request, shown(&request, &yard, named, query.into_inner()).await)
}

#[actix_web::routes]
#[post("/recall/{kind}/{code}")]
#[post("/recall/batch/{material}/{batch}")]
pub(crate) async fn post_recall(
    request: HttpRequest,
    yard: web::Data<Yard>,
    named: Named,
    form: web::Form<Pairs>,
) -> HttpResponse {
    answer(&request, held(&request, &yard, named, form.into_inner()).await)
}

async fn shown(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    named: Named,
    pairs: Pairs,
) -> Result<HttpResponse, Fault> {
    let (thing, said) = (named.thing()?, Said::read(pairs)?);
    all_of_it(yard, &thing, &said.things).await?;
    let problem = said.asked.then(|| wish::why(&said.chosen).err()).flatten();
    render(request, yard, thing, said, problem.map(|say| (StatusCode::BAD_REQUEST, say))).await
}

async fn render(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    thing: ThingName,
    said: Said,
    problem: Option<(StatusCode, String)>,
) -> Result<HttpResponse, Fault> {
    let (shared, badge) = (yard.clone(), badge::remembered(request).map(|badge| badge.to_string()));
    let signs_in = badge::signs_in(request);
    let shown = ask_beside(yard, move |book| {
        let when = When::now(shared.now());
        let (view, found) = (View::new(book, when.known), recall(book, &thing, when).ok_or_else(|| nobody(&thing))?);
        let (say, foot) = (Say::of(view, when.now), Foot::of(&shared, view, when));
        // What is held already keeps no place from what is not.
        let mut held: Vec<_> = found.items.iter().filter(|item| !item.gone).collect();
        held.sort_by_key(|item| item.is_held());
        let held = held.into_iter();
        let fits: BTreeSet<&ThingName> = held.map(|item| &item.thing).take(MOST).collect();
        let row = |item: &Recalled| Row {
            tick: fits.contains(&item.thing).then(|| said.ticks(&item.thing)),
            name: item.thing.clone(),
            place: item.place.clone(),
            say: item.say.clone(),
            held: item.holds.iter().map(|hold| held_words(hold, &item.thing, &say, when)).collect::<Vec<_>>().join(" "),
        };
        let asks = said.asked && problem.is_none();
        Ok((
            problem.as_ref().map(|(status, _)| *status),
            RecallPage {
                assets: Assets::new(),
                print: print(&format!("Recall of {} {}", thing.kind(), thing.code()), &foot),
                foot,
                address: format!("/recall/{}", in_a_path(&thing)),
                say: found.say.clone(),
                rows: found.items.iter().map(row).collect(),
                more: found.items.iter().filter(|item| !item.gone).count().saturating_sub(MOST),
                why: said.chosen.why.clone(),
                number: said.chosen.number.clone(),
                problem: problem.map(|(_, say)| say),
                results: said
                    .sitting
                    .map_or_else(Vec::new, |sitting| results(book, &found.items, sitting, &said.refused)),
                effect: asks.then(|| Effect {
                    sentences: would_hold(book, &said.things, when),
                    things: said.things.iter().cloned().collect(),
                    id: shared.clock.new_id(),
                    based_on: book.last_seq(),
                }),
                badge,
                signs_in,
                thing,
            },
        ))
    })
    .await?;
    page(shown.0.unwrap_or(StatusCode::OK), &shown.1)
}

/// What came of a sitting, thing by thing.
fn results(book: &Book, items: &[Recalled], sitting: Uuid, refused: &BTreeSet<ThingName>) -> Vec<String> {
    let placed = items.iter().filter_map(|item| Some((&item.thing, book.seq_of(&hold_id(sitting, &item.thing))?)));
    let mut said: Vec<String> = placed.map(|(thing, seq)| format!("{} is held: entry {seq}.", thing.short())).collect();
    said.extend(refused.iter().map(|thing| {
        format!(
            "{} is not held: something that touches it was written after you looked. Look again, then hold it.",
            thing.short()
        )
    }));
    said
}

fn hold_id(sitting: Uuid, thing: &ThingName) -> Uuid {
    Uuid::new_v5(&sitting, thing.to_string().as_bytes())
}

/// Places the holds, one decision each, and shows what came of each.
async fn held(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    named: Named,
    pairs: Pairs,
) -> Result<HttpResponse, Fault> {
    let (thing, said) = (named.thing()?, Said::read(pairs)?);
    all_of_it(yard, &thing, &said.things).await?;
    let (by, sitting, refused) = match place(request, yard, &said).await {
        Ok(placed) => placed,
        Err(fault) if fault.status().is_server_error() => return Err(fault),
        Err(fault) => {
            let problem = (fault.status(), fault.problem().detail.clone());
            return render(request, yard, thing, Said { asked: true, ..said }, Some(problem)).await;
        }
    };
    let refused: String = refused.iter().map(|thing| format!("&refused={}", in_a_query(&thing.to_string()))).collect();
    let mut back = see(&format!("/recall/{}?sitting={sitting}{refused}", in_a_path(&thing)));
    badge::remember(request, &mut back, &by)?;
    Ok(back)
}

/// A sitting holds what the recalled thing is or went into, and nothing else.
async fn all_of_it(yard: &web::Data<Yard>, thing: &ThingName, ticked: &BTreeSet<ThingName>) -> Result<(), Fault> {
    let (shared, of, ticked) = (yard.clone(), thing.clone(), ticked.clone());
    let other = ask_beside(yard, move |book| {
        let found = recall(book, &of, When::now(shared.now())).ok_or_else(|| nobody(&of))?;
        Ok(ticked.into_iter().find(|thing| found.items.iter().all(|item| item.thing != *thing)))
    });
    match other.await? {
        None => Ok(()),
        Some(other) => Err(Fault::cannot_read(format!(
            "{other} is not made of {thing}, so it is not held with it. Nothing was written. Hold it at /hold, or open the \
             page of the recall again."
        ))),
    }
}

async fn place(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    said: &Said,
) -> Result<(By, Uuid, BTreeSet<ThingName>), Fault> {
    let unread = || Fault::cannot_read("The form came without its number. Open the page again.");
    let (sitting, based_on) = (said.chosen.id.ok_or_else(unread)?, said.chosen.based_on.ok_or_else(unread)?);
    let (by, _) = wish::badges(request, yard, &said.chosen).await?;
    let why = wish::why(&said.chosen).map_err(Fault::cannot_read)?;
    let number = Some(said.chosen.number.trim()).filter(|number| !number.is_empty());
    let mut refused = BTreeSet::new();
    for thing in order(&said.things) {
        let body = json!({ "why": why, "nonconformance": number });
        let draft = Draft { decide: "place_hold", thing: thing.clone(), body };
        match wish::submit(yard, &draft, hold_id(sitting, thing), &by, None, based_on).await {
            Ok(_) => {}
            Err(fault) if fault.status() == StatusCode::CONFLICT && !fault.is(Kind::IdReused) => {
                refused.insert(thing.clone());
            }
            Err(fault) => return Err(fault),
        }
    }
    Ok((by, sitting, refused))
}
