//! Throwing away a roll or a kit, or a length of a roll: the effect in words first, then one tap. It takes; nobody else is needed.

use super::work::{self, Asks, Press, Step, Typed, Wish};
use super::{answer, badge, declared::metres, in_a_query, scan, screen::Button, see};
use crate::http::{ask, problems::Fault};
use crate::import::words::typed_metres;
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::say::Say;
use domain::view::View;
use domain::{Book, MayUseQuestion, When};
use serde::Deserialize;
use serde_json::json;
use shared_types::{Act, Body, Entry, Kind, ThingName, ThingView, Whereabouts};
use uuid::Uuid;

#[derive(Deserialize, Default, Clone)]
pub(crate) struct DisposeQuery {
    #[serde(default)]
    code: String,
    #[serde(default)]
    thing: String,
    /// Why, as one of `WHY`.
    #[serde(default)]
    why: String,
    #[serde(default)]
    done: Option<u64>,
}

#[derive(Deserialize)]
pub(crate) struct DisposeForm {
    id: Uuid,
    thing: String,
    #[serde(default)]
    why: String,
    /// Of a roll: how many metres; left empty, all of it.
    #[serde(default)]
    metres: String,
    go: String,
}

/// In the address, and in words.
const WHY: &[(&str, &str)] = &[
    ("left-over", "Left over"),
    ("damaged", "Damaged"),
    ("out-of-life", "Out of life"),
    ("past-shelf-life", "Past shelf life"),
    ("trials", "Trials only"),
];

impl DisposeQuery {
    fn address(&self) -> String {
        match self.why.is_empty() {
            true => format!("/dispose?thing={}", in_a_query(&self.thing)),
            false => format!("/dispose?thing={}&why={}", in_a_query(&self.thing), in_a_query(&self.why)),
        }
    }
}

#[route("/dispose", method = "GET", method = "HEAD")]
pub(crate) async fn dispose_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<DisposeQuery>,
) -> HttpResponse {
    let query = query.into_inner();
    let shown = async {
        if !query.code.trim().is_empty() {
            let next = |thing: &ThingName| of(thing).address();
            return work::go_on(&request, &yard, &query.code, &[Kind::Roll, Kind::Kit], next, |big| plain("", big));
        }
        if query.thing.is_empty() {
            return work::render(&request, plain("", vec!["Scan the roll or kit that is thrown away.".to_owned()]));
        }
        let thing = roll_or_kit(&query.thing)?;
        let done = scan::written(&yard, query.done).await?;
        work::render(&request, step(&yard, &query, &thing, done.as_ref())?)
    };
    answer(&request, shown.await)
}

#[post("/dispose")]
pub(crate) async fn post_dispose(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Form<DisposeForm>,
) -> HttpResponse {
    let form = form.into_inner();
    let done = async {
        let thing = roll_or_kit(&form.thing)?;
        let query = DisposeQuery { why: form.why.clone(), ..of(&thing) };
        let Some(by) = badge::remembered(&request) else {
            return Ok(badge::first(&query.address()));
        };
        if form.go != "dispose" {
            return Err(Fault::cannot_read("That button is not one of this page's. Scan it again."));
        }
        let Some((_, why)) = WHY.iter().find(|(name, _)| *name == form.why) else {
            return Err(Fault::cannot_read("Why it was thrown away is missing. Go back and tap why."));
        };
        let some = thing.kind() == Kind::Roll && !form.metres.trim().is_empty();
        let length_mm = match some.then(|| typed_metres(&form.metres)).transpose() {
            Ok(length) => length.map(|mm| mm.get()),
            Err(problem) => {
                let again = step(&yard, &query, &thing, None)?;
                return work::render(&request, work::again(again, &problem, &[("metres", &form.metres)]));
            }
        };
        let body = json!({ "why": why, "length_mm": length_mm });
        let wish = Wish {
            id: form.id,
            go: &form.go,
            by: &by,
            kind: "disposed",
            thing: &thing,
            shown: None,
            body,
            worked_out: &[],
        };
        let seq = work::write(&yard, wish).await?;
        Ok(see(&format!("{}&done={seq}", of(&thing).address())))
    };
    answer(&request, done.await)
}

fn of(thing: &ThingName) -> DisposeQuery {
    DisposeQuery { thing: thing.to_string(), ..DisposeQuery::default() }
}

fn roll_or_kit(text: &str) -> Result<ThingName, Fault> {
    let thing: ThingName = text.parse().map_err(|error| Fault::cannot_read(format!("{error}. Scan it again.")))?;
    match thing.kind() {
        Kind::Roll | Kind::Kit => Ok(thing),
        _ => Err(Fault::cannot_read(format!(
            "Only rolls and kits are thrown away here, not {thing}. Scan a roll or a kit."
        ))),
    }
}

fn plain(name: &str, big: Vec<String>) -> Step {
    Step {
        name: if name.is_empty() { "Throw away".to_owned() } else { name.to_owned() },
        ready: "Ready. Scan.",
        big,
        ..Step::at("/dispose", "Uncured resin: gloves, and its own bin.")
    }
}

fn step(yard: &Yard, query: &DisposeQuery, thing: &ThingName, done: Option<&Entry>) -> Result<Step, Fault> {
    let (id, when) = (yard.clock.new_id(), When::now(yard.now()));
    ask::ask(yard, |book| {
        let name = thing.short();
        let Some(seen) = domain::thing_view(book, thing, when) else {
            return Ok(Step { frame: "cannot", ..plain(name, vec![ask::nobody_received(thing)]) });
        };
        let say = Say::of(View::new(book, when.known), when.now);
        if let Some((entry, Body::Disposed(thrown))) =
            done.filter(|entry| entry.thing == *thing).map(|entry| (entry, &entry.body))
        {
            let how_much = thrown.length_mm.map_or(String::new(), |mm| format!("{} of ", metres(mm.get())));
            let at = say.time(entry.occurred_at.at, when.now);
            let mut step =
                plain(name, vec![format!("{how_much}{name} thrown away {at}: {}.", thrown.why.to_lowercase())]);
            step.why.extend(left(&seen).map(|left| format!("{left} left.")));
            return Ok(step);
        }
        if let Whereabouts::Disposed { since } | Whereabouts::Consumed { since } = &seen.whereabouts {
            let how = if matches!(seen.whereabouts, Whereabouts::Disposed { .. }) { "thrown away" } else { "used up" };
            let big = format!("{name} was {how} {}.", say.time(since.at, when.now));
            return Ok(Step { frame: "no", ..plain(name, vec![big]) });
        }
        Ok(match WHY.iter().find(|(why, _)| *why == query.why) {
            Some((why, words)) => effect(thing, &seen, why, words, id),
            None => which_reason(book, thing, when),
        })
    })
}

fn left(seen: &ThingView) -> Option<String> {
    let gone = matches!(seen.whereabouts, Whereabouts::Disposed { .. } | Whereabouts::Consumed { .. });
    seen.length_left_mm.filter(|_| !gone).map(|mm| metres(u64::try_from(mm).unwrap_or(0)))
}

/// Out of life is no reason while only an open mismatch says so: it would be thrown away for a scan.
fn which_reason(book: &Book, thing: &ThingName, when: When) -> Step {
    let name = thing.short();
    let question = MayUseQuestion { thing: thing.clone(), act: Act::Lay, job: None, stage: None, when };
    let open = domain::may_use(book, &question).ok().and_then(|may| may.ask);
    let mut step = plain(name, vec!["Thrown away, why?".to_owned()]);
    if let Some(ask) = &open {
        step.why.push(format!("Whether it is out of life is not sure yet. {ask}"));
    }
    let sure = WHY.iter().filter(|(why, _)| open.is_none() || *why != "out-of-life");
    let address = |why: &str| DisposeQuery { why: why.to_owned(), ..of(thing) }.address();
    step.choices = sure.map(|(why, words)| (address(why), (*words).to_owned())).collect();
    step
}

fn effect(thing: &ThingName, seen: &ThingView, why: &str, words: &str, id: Uuid) -> Step {
    let name = thing.short();
    let is_roll = thing.kind() == Kind::Roll;
    let all = left(seen).filter(|_| is_roll).map_or("All".to_owned(), |left| format!("All {left}"));
    let mut step = plain(name, vec![format!("{words}. {all} of {name} counts as thrown away from now on.")]);
    step.why.push(format!("Nobody may use {name} after that."));
    let length = Typed {
        name: "metres",
        label: "Only so many metres (left empty: all)".to_owned(),
        value: String::new(),
        like: "12.5",
    };
    step.press = Some(Press {
        fields: vec![("id", id.to_string()), ("thing", thing.to_string()), ("why", why.to_owned())],
        typed: is_roll.then_some(length).into_iter().collect(),
        one_of: None,
        tick: None,
        buttons: vec![Button { go: "dispose".to_owned(), label: "Thrown away".to_owned() }],
        asks: Asks::Other,
        back: DisposeQuery { why: why.to_owned(), ..of(thing) }.address(),
    });
    step
}
