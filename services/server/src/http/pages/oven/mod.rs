//! The oven: scan what goes in and the oven, one tap when it heats; and later what its chart shows.

mod run;

use super::{answer, closed::closed_then, in_a_query, scan, screen::Button, see, work};
use crate::http::{
    ask::{ask, ask_beside},
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, route, web};
use domain::{
    Book, MayUseQuestion, When,
    fact::What,
    say::Say,
    stage::{self, Oven},
    view::View,
};
use serde::Deserialize;
use shared_types::{Act, Body, Code, Instant, Kind, StageName, ThingName, WaitsForOven, Word};
use std::collections::BTreeSet;
use work::{Asks, Press, Step};

pub(crate) use run::post_oven;

#[derive(Deserialize, Default, Clone)]
pub(crate) struct OvenQuery {
    /// What was scanned just now.
    #[serde(default)]
    code: String,
    #[serde(default)]
    oven: String,
    /// Parts and their stages, one after the other, with a slash between: no code has one.
    #[serde(default)]
    stages: String,
    /// A run that was started.
    #[serde(default)]
    run: String,
    /// A part whose stage is asked for.
    #[serde(default)]
    part: String,
    #[serde(default)]
    done: Option<u64>,
}

const CAUTION: &str = "Ovens burn, and a thick stack heats itself: exotherm. Keep to the yard's oven rules.";
/// As many are offered to be tapped.
const OFFERED: usize = 6;
/// Ovens are offered out of so many latest runs.
const LATEST_RUNS: usize = 30;

type Loaded = Vec<(Code, StageName)>;

impl OvenQuery {
    fn loaded(&self) -> Result<Loaded, Fault> {
        let words: Vec<&str> = self.stages.split('/').filter(|word| !word.is_empty()).collect();
        let read = |pair: &[&str]| match pair {
            [part, stage] => Some((Code::new(part).ok()?, StageName::new(stage).ok()?)),
            _ => None,
        };
        let loaded: Option<Loaded> = words.chunks(2).map(read).collect();
        loaded.ok_or_else(|| Fault::cannot_read("The address names no parts and stages. Begin at /oven again."))
    }

    fn with(&self, part: &Code, stage: &StageName) -> OvenQuery {
        let pair = format!("{part}/{stage}");
        let known = self.loaded().is_ok_and(|loaded| loaded.iter().any(|one| one.0 == *part && one.1 == *stage));
        let stages = match (known, self.stages.is_empty()) {
            (true, _) => self.stages.clone(),
            (false, true) => pair,
            (false, false) => format!("{}/{pair}", self.stages),
        };
        OvenQuery { stages, part: String::new(), code: String::new(), done: None, ..self.clone() }
    }

    fn address(&self) -> String {
        let mut address = "/oven?".to_owned();
        let all = [("run", &self.run), ("oven", &self.oven), ("stages", &self.stages), ("part", &self.part)];
        for (name, value) in all.into_iter().filter(|(_, value)| !value.is_empty()) {
            address.push_str(&format!("{name}={}&", in_a_query(value)));
        }
        address.pop();
        address
    }
}

#[route("/oven", method = "GET", method = "HEAD")]
pub(crate) async fn oven_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<OvenQuery>,
) -> HttpResponse {
    let query = query.into_inner();
    let shown = async {
        if !query.code.trim().is_empty() {
            return match scanned(&yard, &query)? {
                Ok(next) => Ok(see(&next.address())),
                Err(say) => work::render(&request, Step { frame: "cannot", ..plain(&query, vec![say]) }),
            };
        }
        match query.run.is_empty() {
            true => work::render(&request, loading(&yard, &query).await?),
            false => {
                let shown = run::step(&yard, &query).await?;
                work::render(&request, work::with_doubts(&yard, query.done, shown))
            }
        }
    };
    answer(&request, shown.await)
}

/// What the scan adds to the address, or why it adds nothing.
fn scanned(yard: &Yard, query: &OvenQuery) -> Result<Result<OvenQuery, String>, Fault> {
    let kept = OvenQuery { code: String::new(), done: None, run: String::new(), ..query.clone() };
    let Ok(code) = Code::new(scan::without_symbology(&query.code)) else {
        return Ok(Err(
            "That is no code of a label: it has 1 to 40 printable characters and no slash. Scan it again.".to_owned()
        ));
    };
    ask(yard, |book| {
        let things = domain::scan(book, &code).things;
        let of = |kind: Kind| things.iter().find(|thing| thing.kind() == kind);
        Ok(match (of(Kind::Part), of(Kind::Run), things.first()) {
            (Some(part), _, _) => Ok(OvenQuery { part: part.code().to_owned(), ..kept }),
            (None, Some(run), _) => Ok(OvenQuery { run: run.code().to_owned(), ..OvenQuery::default() }),
            (None, None, Some(place)) if is_frozen(book, place, yard.now()) => Err(no_oven(&code)),
            // An oven is no thing of its own: its code is whatever stands on it.
            (None, None, None) if !kept.stages.is_empty() => Ok(OvenQuery { oven: code.to_string(), ..kept }),
            (None, None, Some(place)) if place.kind() == Kind::Place => {
                Ok(OvenQuery { oven: code.to_string(), ..kept })
            }
            (None, None, None) => Err(crate::http::ask::nobody_has(book, &code)),
            (None, None, Some(other)) => Err(format!("{code} is a {}: not asked for here.", other.kind())),
        })
    })
}

fn is_frozen(book: &Book, thing: &ThingName, at: Instant) -> bool {
    thing.kind() == Kind::Place && book.label(thing).is_some_and(|place| View::new(book, u64::MAX).frozen(place, at))
}

fn no_oven(code: &Code) -> String {
    format!("{code} is a frozen place and no oven. Scan what stands on the oven.")
}

fn plain(query: &OvenQuery, big: Vec<String>) -> Step {
    Step {
        name: if query.oven.is_empty() { "Oven".to_owned() } else { query.oven.clone() },
        keep: work::kept(&[("oven", &query.oven), ("stages", &query.stages)]),
        ready: match (query.stages.is_empty(), query.oven.is_empty()) {
            (true, _) => "Ready. Scan a part.",
            (false, true) => "Ready. Scan the oven.",
            (false, false) => "Ready. Scan more.",
        },
        big,
        ..Step::at("/oven", CAUTION)
    }
}

/// Before the start: what goes in, whether it may, and in which oven.
async fn loading(yard: &web::Data<Yard>, query: &OvenQuery) -> Result<Step, Fault> {
    let when = When::now(yard.now());
    let mut query = query.clone();
    if let Ok(part) = Code::new(&query.part) {
        match ask(yard, |book| Ok(which_stage(book, &query, &part, when)))? {
            Ok(only) => query = only,
            Err(which) => return Ok(*which),
        }
    }
    let query = &query;
    let loaded = query.loaded()?;
    if loaded.is_empty() {
        return waiting(yard, query, when).await;
    }
    let mut step = may_heat(yard, query, &loaded, when)?;
    let ovens = ovens(yard).await?;
    match Code::new(&query.oven) {
        Err(_) => {
            let address = |oven: &Code| OvenQuery { oven: oven.to_string(), ..query.clone() }.address();
            step.choices = ovens.iter().map(|oven| (address(oven), oven.to_string())).collect();
        }
        // What is no oven said so already.
        Ok(oven) if step.press.is_some() && !ovens.contains(&oven) => {
            step.why.push(format!("Nobody heated anything in {oven} lately: look whether that is the oven."));
        }
        Ok(_) => {}
    }
    Ok(step)
}

/// The part's only stage, or the page that asks for one.
fn which_stage(book: &Book, query: &OvenQuery, part: &Code, when: When) -> Result<OvenQuery, Box<Step>> {
    let name = ThingName::new(Kind::Part, part);
    let view = View::new(book, when.known);
    let kept = OvenQuery { part: String::new(), ..query.clone() };
    let Some(label) = book.label(&name) else {
        let say = crate::http::ask::nobody_received(&name);
        return Err(Box::new(Step { frame: "cannot", ..plain(&kept, vec![say]) }));
    };
    let stages = stage::stages_of(view, label);
    if stages.is_empty() {
        let say = format!("Nobody has planned or laid a stage of {part}.");
        return Err(Box::new(Step { frame: "cannot", ..plain(&kept, vec![say]) }));
    }
    let oven_of = |stage: &StageName| stage::stage_life(view, label, stage).oven(when.at);
    if let [only] = stages.as_slice()
        && oven_of(only).run().is_none()
    {
        return Ok(kept.with(part, only));
    }
    let mut which = plain(&kept, vec![format!("{part}: which stage goes in?")]);
    for stage in &stages {
        let oven = oven_of(stage);
        which.choices.push(match oven.run() {
            Some(run) => {
                let heated =
                    if matches!(oven, Oven::Started(_)) && run.spoiled().is_none() { "cured in" } else { "in" };
                let run = book.code(run.run);
                let address = OvenQuery { run: run.to_string(), ..OvenQuery::default() }.address();
                (address, format!("{stage}: {heated} {run}"))
            }
            None => (kept.with(part, stage).address(), stage.to_string()),
        });
    }
    Err(Box::new(which))
}

/// Nothing is loaded yet: what waits for an oven, and the runs that nobody confirmed.
async fn waiting(yard: &web::Data<Yard>, query: &OvenQuery, when: When) -> Result<Step, Fault> {
    let waiting = ask_beside(yard, move |book| {
        let say = Say::of(View::new(book, when.known), when.now);
        let of = |one: WaitsForOven| {
            let by = one.heating_by.map_or(String::new(), |by| format!(", by {}", say.time(by.at, when.now)));
            (open_runs(book, &one, when), by, one)
        };
        Ok(domain::waiting_for_oven(book, when).into_iter().map(of).collect::<Vec<_>>())
    })
    .await?;
    let mut step = plain(query, vec!["Scan a part that goes in.".to_owned()]);
    let mut said = BTreeSet::new();
    for (runs, by, one) in &waiting {
        let part = one.part.own_code();
        if one.run.is_none() {
            step.choices.push((query.with(&part, &one.stage).address(), format!("{part} {}{by}", one.stage)));
        }
        for run in runs.iter().filter(|run| said.insert((*run).clone())) {
            let address = OvenQuery { run: run.to_string(), ..OvenQuery::default() }.address();
            step.choices.push((address, format!("{run}: what came of it?")));
        }
    }
    let only_runs = waiting.iter().all(|(_, _, one)| one.run.is_some());
    let more = step.choices.len().saturating_sub(OFFERED);
    step.choices.truncate(OFFERED);
    step.why.push(match (waiting.is_empty(), more) {
        (true, _) => "Nothing laid waits for an oven.".to_owned(),
        (false, 0) if only_runs => "Nobody has said yet what came of these runs.".to_owned(),
        (false, 0) => "These wait for it, soonest first.".to_owned(),
        (false, more) => format!("These wait for it, soonest first, and {more} more: see Handover."),
    });
    Ok(step)
}

/// Every run of a stage that nobody confirmed: one may have been started while another stood open.
fn open_runs(book: &Book, one: &WaitsForOven, when: When) -> Vec<Code> {
    let view = View::new(book, when.known);
    let life = book.label(&one.part).map(|part| stage::stage_life(view, part, &one.stage));
    let open = life.iter().flat_map(|life| &life.runs).filter(|run| matches!(run.state(when.at), Oven::Provisional(_)));
    open.map(|run| book.code(run.run)).collect()
}

fn may_heat(yard: &Yard, query: &OvenQuery, loaded: &Loaded, when: When) -> Result<Step, Fault> {
    let id = yard.clock.new_id();
    ask(yard, |book| {
        let mut step = plain(query, Vec::new());
        let mut worst: Option<shared_types::MayUse> = None;
        for (part, stage) in loaded {
            let thing = ThingName::new(Kind::Part, part);
            let question = MayUseQuestion { thing, act: Act::Oven, job: None, stage: Some(stage.clone()), when };
            match domain::may_use(book, &question) {
                Ok(may) => {
                    let text = match may.answer {
                        Word::Yes => {
                            let say = Say::of(View::new(book, when.known), when.now);
                            let closed =
                                closed_then(book, &may, &say, when).map_or(String::new(), |say| format!(" {say}"));
                            format!("{part} {stage}: {}{closed}", may.say)
                        }
                        // The one thing's answer stands in the frame.
                        _ if loaded.len() == 1 => may.why.clone(),
                        _ => format!("{part} {stage}: {} {}", may.say, may.why),
                    };
                    step.why.push(text);
                    if worst.as_ref().is_none_or(|worst| worst.answer < may.answer) {
                        worst = Some(may);
                    }
                }
                Err(why) => return Ok(Step { frame: "cannot", ..plain(query, vec![why.to_string()]) }),
            }
        }
        let Some(worst) = worst else { return Ok(step) };
        step.frame = work::frame(worst.answer);
        let names: Vec<String> = loaded.iter().map(|(part, stage)| format!("{part} {stage}")).collect();
        let into = if query.oven.is_empty() { "which oven?".to_owned() } else { format!("into {}.", query.oven) };
        step.big.extend(Some(worst.say.clone()).filter(|_| worst.answer != Word::Yes));
        step.big.push(format!("{}: {into}", names.join(", ")));
        if let Ok(oven) = Code::new(&query.oven)
            && is_frozen(book, &ThingName::new(Kind::Place, &oven), when.now)
        {
            step.frame = "cannot";
            step.big.insert(0, no_oven(&oven));
        } else if !query.oven.is_empty() {
            let started = Button { go: "started".to_owned(), label: "Heating started".to_owned() };
            let run = work::label("RUN", &Say::of(View::new(book, when.known), when.now), when, id);
            let mut fields = vec![("id", id.to_string()), ("run", run)];
            fields.extend([("oven", query.oven.clone()), ("stages", query.stages.clone())]);
            fields.extend(work::shown(&worst, book.last_seq()));
            step.press = Some(Press {
                fields,
                typed: Vec::new(),
                one_of: None,
                tick: None,
                buttons: vec![started],
                asks: Asks::First,
                back: query.address(),
            });
        }
        Ok(step)
    })
}

/// The ovens of the latest runs.
async fn ovens(yard: &web::Data<Yard>) -> Result<BTreeSet<Code>, Fault> {
    let mut seqs = ask(yard, |book| {
        let view = View::new(book, u64::MAX);
        let runs = book.labels().filter(|label| book.kind(*label) == Kind::Run);
        let started = runs.flat_map(|run| view.facts(run)).filter(|fact| matches!(fact.what, What::RunStarted(_)));
        Ok(started.map(|fact| u64::from(fact.seq)).collect::<Vec<_>>())
    })?;
    seqs.sort_unstable_by(|one, other| other.cmp(one));
    seqs.truncate(LATEST_RUNS);
    let entries = super::thing::history::entries(yard, seqs).await?;
    let ovens = entries.iter().filter_map(|entry| match &entry.body {
        Body::OvenRunStarted(run) => Some(run.oven.clone()),
        _ => None,
    });
    Ok(ovens.take(OFFERED).collect())
}
