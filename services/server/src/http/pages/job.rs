//! A job: opening one, planning it again, and its page: the plan, what is issued to it, whether the plan holds.

use super::claim::{list, number};
use super::thing::{history, said::said};
use super::typed::{Said, Typed, time_field};
use super::wish::{self, Chosen, Draft, Field, WishPage};
use super::{answer, assets::Assets, foot::Foot, page};
use crate::http::{
    ask::{ask, ask_beside, nobody},
    fallback::in_a_path,
    problems::Fault,
};
use crate::import::words::{say_thousandths, typed_metres};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, post, route, web};
use askama::Template;
use domain::{Book, WarningsQuestion, When, fact::What, say::Say, view::View};
use serde::Deserialize;
use serde_json::json;
use shared_types::{Code, Job, Kind, Metres, Need, StageName, State, ThingName};

#[route("/job", method = "GET", method = "HEAD")]
pub(crate) async fn open_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Said>) -> HttpResponse {
    answer(&request, shown(&request, &yard, None, &query).await)
}

#[post("/job")]
pub(crate) async fn post_open(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<Said>) -> HttpResponse {
    answer(&request, saved(&request, &yard, None, &form).await)
}

#[route("/job/{code}/plan", method = "GET", method = "HEAD")]
pub(crate) async fn plan_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    query: web::Query<Said>,
) -> HttpResponse {
    answer(&request, shown(&request, &yard, Some(&code), &query).await)
}

#[post("/job/{code}/plan")]
pub(crate) async fn post_plan(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    form: web::Form<Said>,
) -> HttpResponse {
    answer(&request, saved(&request, &yard, Some(&code), &form).await)
}

async fn shown(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    code: Option<&str>,
    said: &Said,
) -> Result<HttpResponse, Fault> {
    let (shown, draft) = asked(request, yard, code, said)?;
    wish::show(yard, shown, draft.map(Ok)).await
}

async fn saved(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    code: Option<&str>,
    said: &Said,
) -> Result<HttpResponse, Fault> {
    match asked(request, yard, code, said)? {
        (shown, Some(draft)) => wish::save(request, yard, shown, Ok(draft)).await,
        (shown, None) => wish::show(yard, shown, None).await,
    }
}

fn named(code: &str) -> Result<ThingName, Fault> {
    let code = Code::new(code).map_err(|error| Fault::cannot_read(format!("{error}. Look the job up in the list.")))?;
    Ok(ThingName::new(Kind::Job, &code))
}

/// The job as it is planned now.
fn planned(book: &Book, job: &ThingName, when: When) -> Option<Job> {
    let view = View::new(book, when.known);
    Some(view.plan(book.label(job)?, when.at)?.job.clone())
}

/// The form, and what it asks for as far as it was entered and can be read.
fn asked(
    request: &HttpRequest,
    yard: &Yard,
    code: Option<&str>,
    said: &Said,
) -> Result<(WishPage, Option<Draft>), Fault> {
    let when = When::now(yard.now());
    let own = code.map(named).transpose()?;
    let (old, say) = ask(yard, |book| {
        let old = own.as_ref().map(|job| planned(book, job, when).ok_or_else(|| not_opened(book, job)));
        Ok((old.transpose()?, Say::of(View::new(book, when.known), when.now)))
    })?;
    let entered = said.contains_key("part");
    let filled = match (&old, entered) {
        (Some(job), false) => fields_of(job, &say),
        _ => said.clone(),
    };
    let mut typed = Typed::of(&filled);
    let mut shown = WishPage::new(yard, request, Chosen::of(said));
    shown.asks = "The plan";
    shown
        .lead
        .push("A plan is a wish: it changes no limit, and what does not last through it is not issued.".to_owned());
    let (thing, decide) = match &own {
        Some(job) => {
            shown.title = format!("Plan {} again", job.short());
            shown.address = format!("/{}/plan", in_a_path(job));
            shown.about = own.clone();
            (Some(job.clone()), "replan_job")
        }
        None => {
            shown.title = "Open a job".to_owned();
            shown.address = "/job".to_owned();
            let code = entered.then(|| typed.code("code", "Give the job a number, such as J-118.")).flatten();
            (code.map(|code| ThingName::new(Kind::Job, &code)), "open_job")
        }
    };
    let body = if entered { body(yard, &mut typed)? } else { None };
    shown.then = thing.as_ref().map(|job| format!("/{}", in_a_path(job)));
    let of = |name, label: &str, like| Field {
        name,
        label: label.to_owned(),
        value: filled.get(name).cloned().unwrap_or_default(),
        like,
    };
    shown.fields.extend(own.is_none().then(|| of("code", "Number of the job", "J-118")));
    shown.fields.push(of("part", "Part that it makes", "P-3"));
    shown.fields.push(of("stages", "Lay-up stages, with commas between", "skin, core bond"));
    shown.fields.push(of("lay_at", "Last ply down, planned", "2026-05-04 06:00"));
    shown.fields.push(of("oven_at", "Oven on, planned", "2026-05-04 06:00"));
    shown.fields.push(of("boat", "Boat, if it is for one", "NB-32"));
    shown.areas.push(of("needs", "What it needs: one material a line, and how many metres", "PM-101 22.5"));
    shown.faults = typed.faults;
    let draft = shown.faults.is_empty().then_some(()).and(thing).zip(body);
    Ok((shown, draft.map(|(thing, body)| Draft { decide, thing, body })))
}

fn not_opened(book: &Book, job: &ThingName) -> Fault {
    match book.label(job) {
        Some(_) => Fault::not_found(format!("Nobody has opened {}: open it first.", job.short())),
        None => nobody(job),
    }
}

/// A plan as the form has it.
fn fields_of(job: &Job, say: &Say) -> Said {
    let stages: Vec<&str> = job.stages.iter().map(StageName::as_str).collect();
    let need = |need: &Need| {
        let mm = i64::try_from(need.length_mm.get()).unwrap_or(i64::MAX);
        format!("{} {}", need.material, say_thousandths(mm))
    };
    let needs: Vec<String> = job.needs.iter().map(need).collect();
    let fields = [
        ("part", job.part.to_string()),
        ("stages", stages.join(", ")),
        ("needs", needs.join("\n")),
        ("lay_at", time_field(say, job.lay_at.at)),
        ("oven_at", time_field(say, job.oven_at.at)),
        ("boat", job.boat.as_ref().map_or_else(String::new, Code::to_string)),
    ];
    fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}

fn body(yard: &Yard, typed: &mut Typed<'_>) -> Result<Option<serde_json::Value>, Fault> {
    let part = typed.code("part", "Name the part that it makes, such as P-3.");
    let stages = typed.read("stages", stages);
    let lay_at = typed.read("lay_at", |text| wish::time(yard, text));
    let oven_at = typed.read("oven_at", |text| wish::time(yard, text));
    if let (Some(lay), Some(oven)) = (lay_at, oven_at)
        && oven.at < lay.at
    {
        let say = "The oven is on before the last ply is down. Plan the lay-up first, or the oven later.";
        typed.faults.push(("oven_at", say.to_owned()));
    }
    let boat = typed.read_if_any("boat", |text| Code::new(text).map_err(|error| error.to_string()));
    let needs = ask(yard, |book| Ok(typed.read("needs", |text| needs(book, text))))?;
    Ok(part.zip(stages).zip(needs).zip(lay_at.zip(oven_at)).map(|(((part, stages), needs), (lay_at, oven_at))| {
        json!({ "part": part, "stages": stages, "needs": needs, "lay_at": lay_at, "oven_at": oven_at, "boat": boat })
    }))
}

fn stages(text: &str) -> Result<Vec<StageName>, String> {
    let named = text.split([',', '\n']).map(str::trim).filter(|text| !text.is_empty());
    let stages: Vec<StageName> =
        named.map(StageName::new).collect::<Result<_, _>>().map_err(|error| error.to_string())?;
    match stages.is_empty() {
        true => Err("Name at least one lay-up stage, such as skin.".to_owned()),
        false => Ok(stages),
    }
}

/// One material a line: its code and metres.
fn needs(book: &Book, text: &str) -> Result<Vec<Need>, String> {
    let mut needs = Vec::new();
    for (line, text) in (1..).zip(text.lines()).filter(|(_, text)| !text.trim().is_empty()) {
        let at = |say: String| format!("Line {line}: {say}.");
        let text = text.trim().trim_end_matches('m').trim_end();
        let (code, length) = text
            .rsplit_once(char::is_whitespace)
            .ok_or_else(|| at("a material and its metres are expected, such as PM-101 22.5".to_owned()))?;
        let material = Code::new(code).map_err(|error| at(error.to_string()))?;
        let length_mm = typed_metres(length).map_err(at)?;
        // Another job's plan, or a receipt, may name what nobody has entered.
        let label = book.label(&ThingName::new(Kind::Material, &material));
        let mut facts = label.into_iter().flat_map(|label| View::new(book, u64::MAX).facts(label));
        if !facts.any(|fact| matches!(fact.what, What::Revised(_))) {
            return Err(at(format!("nobody has entered a material {material}")));
        }
        needs.push(Need { material, length_mm });
    }
    match needs.is_empty() {
        true => Err("Say what it needs: a material and its metres, such as PM-101 22.5.".to_owned()),
        false => Ok(needs),
    }
}

#[derive(Deserialize)]
pub(crate) struct JobQuery {
    #[serde(default)]
    done: Option<u64>,
    #[serde(default)]
    again: Option<u8>,
}

#[derive(Template)]
#[template(path = "job.html")]
struct JobPage {
    assets: Assets,
    foot: Foot,
    code: String,
    /// Its address within pages: `job/J-118`.
    address: String,
    done: Option<String>,
    job: Shown,
}

/// What the book says of a job.
struct Shown {
    claim: Vec<String>,
    /// Material, metres planned, metres cut.
    needs: Vec<[String; 3]>,
    issued: Vec<Issued>,
    warnings: Vec<String>,
}

/// A roll or kit that was given to it.
struct Issued {
    address: String,
    name: String,
    place: String,
    answer: String,
}

#[route("/job/{code}", method = "GET", method = "HEAD")]
pub(crate) async fn job_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    query: web::Query<JobQuery>,
) -> HttpResponse {
    let done = async {
        let job = named(&code)?;
        let (name, when) = (job.clone(), When::now(yard.now()));
        let (shown, say) = ask_beside(&yard, move |book| {
            let say = Say::of(View::new(book, when.known), when.now);
            Ok((look(book, &name, when, &say)?, say))
        })
        .await?;
        let last = yard.read().last_seq();
        let seqs: Vec<u64> = query.done.filter(|seq| (1..=last).contains(seq)).into_iter().collect();
        let entry = history::entries(&yard, seqs).await?.into_iter().find(|entry| entry.thing == job);
        let again = if query.again == Some(1) { "It was written before, once: " } else { "Written: " };
        let done = entry.map(|entry| format!("{again}{}, by {}.", said(&entry, &say, when.now), history::who(&entry)));
        let foot = Foot::of(&yard, View::new(&yard.read(), when.known), when);
        let code = job.short().to_owned();
        page(StatusCode::OK, &JobPage { assets: Assets::new(), foot, code, address: in_a_path(&job), done, job: shown })
    };
    answer(&request, done.await)
}

fn look(book: &Book, job: &ThingName, when: When, say: &Say) -> Result<Shown, Fault> {
    let row = domain::stock::one(book, job, when).ok_or_else(|| nobody(job))?;
    let Some(plan) = &row.planned else { return Err(not_opened(book, job)) };
    let code = job.own_code();
    let stages: Vec<String> =
        planned(book, job, when).into_iter().flat_map(|job| job.stages).map(|one| one.to_string()).collect();
    let stages: Vec<&str> = stages.iter().map(String::as_str).collect();
    let boat = plan.boat.as_ref().map_or_else(String::new, |boat| format!(", for boat {boat}"));
    let time = |at: shared_types::Stamp| say.time(at.at, when.now);
    let mut claim = vec![
        format!(
            "It makes {}, {}{boat}. Last ply down {}, oven on {}.",
            plan.part.short(),
            list(&stages),
            time(plan.lay_at),
            time(plan.oven_at)
        ),
        row.say.clone(),
    ];
    claim.extend(
        row.boat.as_ref().zip(plan.boat.as_ref()).filter(|(is_in, planned)| is_in != planned).map(
            |(is_in, planned)| format!("{} is in boat {is_in} and planned for boat {planned}.", plan.part.short()),
        ),
    );
    let question = WarningsQuestion { job: Some(code.clone()), ..WarningsQuestion::usual(when) };
    let warnings: Vec<String> = domain::warnings(book, &question).warnings.into_iter().map(|one| one.say).collect();
    let short = domain::short_of(book, &code, plan.lay_at.at, when);
    let warnings: Vec<String> = short.into_iter().map(|one| one.say).chain(warnings).collect();
    claim.push(match warnings.len() {
        0 => "Nothing warns of this plan.".to_owned(),
        count => format!("{} of this plan.", number(count, "warning")),
    });
    let metres = |mm: u64| Metres(mm).to_string();
    let needs = plan.needs.iter().map(|need| [need.material.to_string(), metres(need.length_mm), metres(need.cut_mm)]);
    let issued = plan.issued.iter().map(|thing| issued(book, thing, &code, when));
    Ok(Shown { claim, needs: needs.collect(), issued: issued.collect(), warnings })
}

fn issued(book: &Book, thing: &ThingName, job: &Code, when: When) -> Issued {
    let seen = domain::thing_view(book, thing, when);
    let ended = seen.as_ref().is_some_and(|seen| matches!(seen.whereabouts.state(), State::Consumed | State::Disposed));
    let may = domain::may_use(book, &domain::for_issue(thing.clone(), job, when));
    let answer = match may {
        _ if ended => String::new(),
        Ok(may) => format!("{} {}", may.say, may.why),
        Err(why) => why.to_string(),
    };
    Issued {
        address: format!("/thing/{}", in_a_path(thing)),
        name: format!("{} {}", thing.kind(), thing.short()),
        place: seen.map_or_else(String::new, |seen| seen.say),
        answer,
    }
}
