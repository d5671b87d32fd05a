//! A run: started with a tap; later what its chart shows, or that it broke off.

use super::{OvenQuery, plain};
use crate::{
    http::{
        ask::ask,
        fallback::in_a_path,
        pages::{
            answer, badge, in_a_query, scan,
            screen::Button,
            see, wish,
            work::{self, Asks, OneOf, Press, Step, Typed, Wish},
        },
        problems::Fault,
    },
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, post, web};
use domain::{
    When,
    fact::What,
    run_checks::doubts,
    say::Say,
    stage::{Oven, Spoiled, stage_life},
    view::View,
};
use serde::Deserialize;
use serde_json::{Value, json};
use shared_types::{Body, Code, Entry, Kind, Stamp, ThingName};
use uuid::Uuid;

#[derive(Deserialize)]
pub(crate) struct OvenForm {
    id: Uuid,
    /// `started`, `cured`, `not_cured` or `broke_off`.
    go: String,
    #[serde(default)]
    oven: String,
    #[serde(default)]
    stages: String,
    #[serde(default)]
    run: String,
    /// By the chart or the record.
    #[serde(default)]
    committed_at: String,
    /// Ticked instead of a time: it counts from now, the latest it can have been.
    #[serde(default)]
    now: String,
    #[serde(default)]
    why: String,
    /// `chart` or `record`; empty until somebody chose.
    #[serde(default)]
    source: String,
    #[serde(default)]
    answer: String,
    #[serde(default)]
    until: String,
    #[serde(default)]
    as_of_seq: u64,
}

#[post("/oven")]
pub(crate) async fn post_oven(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<OvenForm>) -> HttpResponse {
    let form = form.into_inner();
    let done = async {
        let query = OvenQuery {
            oven: form.oven.clone(),
            stages: form.stages.clone(),
            run: if form.go == "started" { String::new() } else { form.run.clone() },
            ..OvenQuery::default()
        };
        let Some(by) = badge::remembered(&request) else {
            return Ok(badge::first(&query.address()));
        };
        let (thing, kind, body) = match form.go.as_str() {
            "started" => started(&query, &form)?,
            _ => match came_of_it(&yard, &form)? {
                Ok((kind, body)) => (ThingName::new(Kind::Run, &code(&form.run)?), kind, body),
                Err(problem) => {
                    let mut again = step(&yard, &query).await?;
                    again.frame = "cannot";
                    again.big.insert(0, problem);
                    if let Some(press) = &mut again.press {
                        press.typed.iter_mut().for_each(|field| {
                            field.value = if field.name == "why" { &form.why } else { &form.committed_at }.clone();
                        });
                        press.one_of.iter_mut().for_each(|one| one.chosen.clone_from(&form.source));
                    }
                    return work::render(&request, again);
                }
            },
        };
        let shown = work::said(&form.answer, &form.until, form.as_of_seq);
        // Where it is now, the time is that of the press.
        let worked_out: &[&str] = if form.committed_at.trim().is_empty() { &["committed_at"] } else { &[] };
        let wish = Wish { id: form.id, go: &form.go, by: &by, kind, thing: &thing, shown, body, worked_out };
        let seq = work::write(&yard, wish).await?;
        Ok(see(&format!("/oven?run={}&done={seq}", in_a_query(thing.code()))))
    };
    answer(&request, done.await)
}

type Fact = (&'static str, Value);

fn started(query: &OvenQuery, form: &OvenForm) -> Result<(ThingName, &'static str, Value), Fault> {
    let oven = Code::new(&query.oven)
        .map_err(|_| Fault::cannot_read("That is no code of an oven. Scan what stands on the oven."))?;
    let stages: Vec<Value> =
        query.loaded()?.iter().map(|(part, stage)| json!({ "part": part, "stage": stage })).collect();
    if stages.is_empty() {
        return Err(Fault::cannot_read("Nothing was scanned into the oven. Scan the parts first."));
    }
    let run = code(&form.run)?;
    Ok((ThingName::new(Kind::Run, &run), "oven_run_started", json!({ "oven": oven, "stages": stages })))
}

/// What is written of the run's end, or what is wrong with what was typed.
fn came_of_it(yard: &Yard, form: &OvenForm) -> Result<Result<Fact, String>, Fault> {
    let source = Some(form.source.as_str()).filter(|source| ["chart", "record"].contains(source));
    Ok(match (form.go.as_str(), source) {
        ("cured" | "not_cured", None) => Err("Say first what shows it: the chart or a record.".to_owned()),
        ("cured", Some(source)) => {
            let at = match under_way(yard, form, source)? {
                Ok(at) => at,
                Err(problem) => return Ok(Err(problem)),
            };
            match (at.at <= yard.now(), start_of(yard, &form.run)?) {
                (false, _) => Err("That time is still to come. Type when the chart shows it.".to_owned()),
                (true, None) => {
                    return Err(Fault::cannot_read(format!(
                        "Nobody has recorded the start of run {}, so nothing was written. Start it first.",
                        form.run
                    )));
                }
                (true, Some(start)) if at.at < start => {
                    Err("That is before the run started. Type when the chart shows it.".to_owned())
                }
                (true, _) => Ok(("oven_run_ended", json!({ "committed_at": at, "cured": true, "source": source }))),
            }
        }
        ("not_cured", source) => Ok(("oven_run_ended", json!({ "cured": false, "source": source }))),
        ("broke_off", _) => {
            let why = Some(form.why.trim()).filter(|why| !why.is_empty());
            Ok(("oven_run_interrupted", json!({ "why": why })))
        }
        _ => return Err(Fault::cannot_read("That button is not one of this page's. Scan the run or a part again.")),
    })
}

/// Since when the cure is under way: what was typed, or now where somebody said so. Left out it is asked for.
fn under_way(yard: &Yard, form: &OvenForm, source: &str) -> Result<Result<Stamp, String>, Fault> {
    Ok(match (form.committed_at.trim(), form.now.is_empty()) {
        ("", true) => {
            let shows = if source == "chart" { "the chart shows" } else { "the record says" };
            Err(format!("Type since when {shows} the cure under way, or tick that it is now."))
        }
        ("", false) => Ok(ask(yard, |book| Ok(Say::of(View::new(book, u64::MAX), yard.now()).stamp(yard.now())))?),
        (_, false) => Err("A time is typed and now is ticked. Leave one of them.".to_owned()),
        (text, true) => wish::time(yard, text),
    })
}

fn code(text: &str) -> Result<Code, Fault> {
    Code::new(text).map_err(|error| Fault::cannot_read(format!("No code of a run: {error}. Scan it again.")))
}

fn start_of(yard: &Yard, run: &str) -> Result<Option<shared_types::Instant>, Fault> {
    let name = ThingName::new(Kind::Run, &code(run)?);
    ask(yard, |book| {
        let view = View::new(book, u64::MAX);
        let mut facts = book.label(&name).into_iter().flat_map(|label| view.facts(label));
        Ok(facts.find(|fact| matches!(fact.what, What::RunStarted(_))).map(|fact| fact.at))
    })
}

/// What is known of a run, and what can be said of it.
pub(super) async fn step(yard: &web::Data<Yard>, query: &OvenQuery) -> Result<Step, Fault> {
    let name = ThingName::new(Kind::Run, &code(&query.run)?);
    let found = ask(yard, |book| {
        let view = View::new(book, u64::MAX);
        let mut facts = book.label(&name).into_iter().flat_map(|label| view.facts(label));
        Ok(facts.find(|fact| matches!(fact.what, What::RunStarted(_))).map(|fact| u64::from(fact.seq)))
    })?;
    let start = scan::written(yard, found).await?;
    let Some(Entry { body: Body::OvenRunStarted(started), occurred_at, .. }) = start else {
        let say = format!("Nobody has recorded the start of run {}.", name.code());
        return Ok(Step { frame: "cannot", ..plain(&OvenQuery::default(), vec![say]) });
    };
    let done = scan::written(yard, query.done).await?.filter(|entry| entry.thing == name);
    let (id, when) = (yard.clock.new_id(), When::now(yard.now()));
    ask(yard, |book| {
        let (view, say) = (View::new(book, when.known), Say::of(View::new(book, when.known), when.now));
        let label = book.label(&name);
        let of_stage = |of: &shared_types::RunStage| {
            let part = book.label(&ThingName::new(Kind::Part, &of.part))?;
            let life = stage_life(view, part, &of.stage);
            let run = life.runs.iter().copied().find(|run| Some(run.run) == label)?;
            let late = life.laid_after(&run, when.now).next().is_some();
            Some((run, late.then(|| format!("{} {}", of.part, of.stage))))
        };
        let (all, late): (Vec<_>, Vec<_>) = started.stages.iter().filter_map(of_stage).unzip();
        let late: Vec<String> = late.into_iter().flatten().collect();
        let names: Vec<String> = started.stages.iter().map(|of| format!("{} {}", of.part, of.stage)).collect();
        let since = say.time(occurred_at.at, when.now);
        let mut step = plain(&OvenQuery::default(), Vec::new());
        step.name = format!("Run {}", name.code());
        step.big.push(format!("{} in {} since {since}.", names.join(", "), started.oven));
        let states: Vec<Oven> = all.iter().map(|run| run.state(when.now)).collect();
        let broke_off = all.iter().any(|run| run.interrupted.is_some());
        let not_cured = all.iter().any(|run| run.not_cured.is_some());
        let (contradicting, in_two_runs) = label
            .map(|run| doubts(view, run, &say))
            .map_or_else(Default::default, |doubts| (doubts.contradictions, doubts.in_two_runs));
        let spoiled = all.iter().find_map(|run| run.spoiled());
        let held = all.iter().any(|run| run.is_held(view, when.now));
        let told = all.iter().any(|run| run.told);
        // The stage of which least is known speaks for the run.
        let open = match (states.iter().max_by_key(|state| rank(**state)), spoiled) {
            (Some(_), _) if !contradicting.is_empty() => {
                step.frame = "cannot";
                step.big.push("Its entries contradict each other.".to_owned());
                step.why.extend(contradicting);
                step.why.push("Quality has to say what holds, and strikes what is wrong.".to_owned());
                step.choices.push((format!("/thing/{}", in_a_path(&name)), "What was written of it".to_owned()));
                false
            }
            (Some(Oven::Started(_)), Some(spoiled)) => {
                step.frame = "no";
                let went = match spoiled {
                    Spoiled::BrokeOff => "It broke off",
                    Spoiled::NotCured => "It was not cured",
                };
                step.big.push(match held {
                    true => format!("{went} after the cure was under way: held."),
                    false => format!("{went} after the cure was under way; quality lifted its hold."),
                });
                false
            }
            (Some(Oven::Started(_)), None) if told => {
                step.frame = "not-yet";
                step.big.push("Cured, but its start was only told: another badge has to confirm it.".to_owned());
                false
            }
            (Some(Oven::Started(_)), None) => {
                let ends = label.into_iter().flat_map(|run| view.facts(run)).filter_map(|fact| match fact.what {
                    What::RunEnded { committed_at, .. } => committed_at,
                    _ => None,
                });
                let since = ends.last().map_or(String::new(), |at| format!(" since {}", say.time(at, when.now)));
                step.big.push(format!("Confirmed: the cure was under way{since}."));
                false
            }
            (Some(Oven::Provisional(_)), _) => {
                step.frame = "not-yet";
                step.big.push("Not confirmed yet.".to_owned());
                step.why.push("Until its chart or record is read, it may not have started.".to_owned());
                true
            }
            _ => {
                step.frame = "no";
                step.big.push(match (broke_off, not_cured) {
                    (true, _) => "It broke off: it stopped no clock.".to_owned(),
                    (false, true) => "Not cured: it stopped no clock.".to_owned(),
                    (false, false) => "Nobody confirmed it in time: it counts as not started.".to_owned(),
                });
                !broke_off && !not_cured
            }
        };
        if !late.is_empty() {
            step.frame = "cannot";
            step.big.push(format!("Plies were laid after it began: {}. It does not cure them.", late.join(", ")));
        }
        step.why.extend(in_two_runs);
        match done.as_ref().map(|entry| &entry.body) {
            Some(Body::OvenRunStarted(_)) => step.why.insert(0, "Written: heating started.".to_owned()),
            Some(Body::OvenRunEnded(_)) => step.why.insert(0, "Written: what came of it.".to_owned()),
            Some(Body::OvenRunInterrupted(_)) => step.why.insert(0, "Written: it broke off.".to_owned()),
            _ => {}
        }
        if open {
            step.ready = "";
            step.press = Some(press(query, id));
        }
        Ok(step)
    })
}

fn rank(state: Oven) -> u8 {
    match state {
        Oven::Started(_) => 0,
        Oven::Provisional(_) => 1,
        Oven::NotStarted => 2,
    }
}

fn press(query: &OvenQuery, id: Uuid) -> Press {
    let button = |go: &str, label: &str| Button { go: go.to_owned(), label: label.to_owned() };
    let typed = |name, label: &str, like| Typed { name, label: label.to_owned(), value: String::new(), like };
    Press {
        fields: vec![("id", id.to_string()), ("run", query.run.clone())],
        typed: vec![
            typed("committed_at", "Or it is under way since", "2026-05-04 21:40"),
            typed("why", "Broke off: why", ""),
        ],
        one_of: Some(OneOf {
            name: "source",
            choices: vec![("chart", "By the chart"), ("record", "By a record")],
            chosen: String::new(),
        }),
        tick: Some(("now", "The cure is under way only now")),
        buttons: vec![button("cured", "Cured"), button("not_cured", "Not cured"), button("broke_off", "It broke off")],
        asks: Asks::Other,
        back: OvenQuery { done: None, ..query.clone() }.address(),
    }
}
