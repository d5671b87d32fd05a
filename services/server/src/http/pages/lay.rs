//! Laying up: scan the part, scan the kit or roll, read the answer, one tap.

use super::{answer, badge, closed::closed_then, in_a_query, scan, screen::Button, see, work};
use crate::http::{ask, problems::Fault};
use crate::import::words::typed_metres;
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::fact::{Fact, Laid, What};
use domain::say::Say;
use domain::stage::{Oven, stage_life};
use domain::view::View;
use domain::{Book, MayUseQuestion, When};
use serde::Deserialize;
use serde_json::json;
use shared_types::{Act, Body, Code, Entry, Instant, Kind, MayUse, PliesLaid, StageName, ThingName};
use uuid::Uuid;
use work::{Asks, Press, Step, Wish};

#[derive(Deserialize, Default, Clone)]
pub(crate) struct LayQuery {
    /// What was scanned just now.
    #[serde(default)]
    code: String,
    #[serde(default)]
    part: String,
    #[serde(default)]
    stage: String,
    /// The kit or roll.
    #[serde(default)]
    from: String,
    /// The entry that was written just now.
    #[serde(default)]
    done: Option<u64>,
}

#[derive(Deserialize)]
pub(crate) struct LayForm {
    id: Uuid,
    part: String,
    stage: String,
    #[serde(default)]
    from: String,
    /// When part and kit had been scanned: the first ply counts from there.
    #[serde(default)]
    from_at: String,
    /// `laid`, or `complete`.
    go: String,
    /// Laid straight from a roll: how many metres of it.
    #[serde(default)]
    length: String,
    #[serde(default)]
    answer: String,
    #[serde(default)]
    until: String,
    #[serde(default)]
    as_of_seq: u64,
}

/// What is laid where, as far as it was scanned.
struct Work {
    part: ThingName,
    stage: StageName,
    job: Option<Code>,
}

const CAUTION: &str = "Uncured resin: gloves, and wash before you eat.";

impl LayQuery {
    fn address(&self) -> String {
        let mut address = "/lay?".to_owned();
        for (name, value) in [("part", &self.part), ("stage", &self.stage), ("from", &self.from)] {
            if !value.is_empty() {
                address.push_str(&format!("{name}={}&", in_a_query(value)));
            }
        }
        address.pop();
        address
    }

    fn with(&self, thing: &ThingName) -> LayQuery {
        let mut next = LayQuery { code: String::new(), done: None, ..self.clone() };
        match thing.kind() {
            Kind::Part => {
                next.part = thing.code().to_owned();
                next.stage.clear();
            }
            _ => next.from = thing.to_string(),
        }
        next
    }
}

#[route("/lay", method = "GET", method = "HEAD")]
pub(crate) async fn lay_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<LayQuery>) -> HttpResponse {
    let query = query.into_inner();
    let shown = async {
        let done = scan::written(&yard, query.done).await?;
        if query.code.trim().is_empty() {
            let shown = step(&yard, &query, done.as_ref())?;
            return work::render(&request, work::with_doubts(&yard, done.map(|entry| entry.seq), shown));
        }
        let next = |thing: &ThingName| query.with(thing).address();
        work::go_on(&request, &yard, &query.code, &[Kind::Part, Kind::Kit, Kind::Roll], next, |big| plain(&query, big))
    };
    answer(&request, shown.await)
}

#[post("/lay")]
pub(crate) async fn post_lay(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<LayForm>) -> HttpResponse {
    let form = form.into_inner();
    let done = async {
        let part = work::code(&form.part, "part").map(|code| ThingName::new(Kind::Part, &code))?;
        let stage = StageName::new(&form.stage)
            .map_err(|error| Fault::cannot_read(format!("No stage of a part: {error}. Scan the part again.")))?;
        let query = LayQuery {
            part: form.part.clone(),
            stage: stage.to_string(),
            from: form.from.clone(),
            ..LayQuery::default()
        };
        let Some(by) = badge::remembered(&request) else {
            return Ok(badge::first(&query.address()));
        };
        let from_at = Some(&form.from_at).filter(|at| !at.is_empty());
        let of_roll = form.from.parse::<ThingName>().is_ok_and(|from| from.kind() == Kind::Roll);
        let length_mm = match (form.go == "laid" && of_roll).then(|| typed_metres(&form.length)).transpose() {
            Ok(length) => length.map(|mm| mm.get()),
            Err(problem) => {
                let mut again = work::again(step(&yard, &query, None)?, &problem, &[("length", &form.length)]);
                // The range was opened by the scan, not by what was typed wrongly.
                for (_, at) in
                    again.press.iter_mut().flat_map(|press| &mut press.fields).filter(|(of, _)| *of == "from_at")
                {
                    at.clone_from(&form.from_at);
                }
                return work::render(&request, again);
            }
        };
        let (kind, body) = match form.go.as_str() {
            "laid" => {
                let body = json!({ "stage": stage, "from": form.from, "from_at": from_at, "length_mm": length_mm });
                ("plies_laid", body)
            }
            "complete" => ("layup_completed", json!({ "stage": stage })),
            _ => return Err(Fault::cannot_read("That button is not one of this page's. Scan the part again.")),
        };
        let shown = work::said(&form.answer, &form.until, form.as_of_seq);
        let wish = Wish { id: form.id, go: &form.go, by: &by, kind, thing: &part, shown, body, worked_out: &[] };
        let seq = work::write(&yard, wish).await?;
        let next = LayQuery { from: String::new(), ..query };
        Ok(see(&format!("{}&done={seq}", next.address())))
    };
    answer(&request, done.await)
}

/// A step that asks for a scan and offers nothing to press.
fn plain(query: &LayQuery, big: Vec<String>) -> Step {
    Step {
        name: "Lay up".to_owned(),
        keep: work::kept(&[("part", &query.part), ("stage", &query.stage), ("from", &query.from)]),
        ready: if query.part.is_empty() { "Ready. Scan the part." } else { "Ready. Scan a kit or roll." },
        big,
        ..Step::at("/lay", CAUTION)
    }
}

fn step(yard: &Yard, query: &LayQuery, done: Option<&Entry>) -> Result<Step, Fault> {
    if query.part.is_empty() {
        let from = query.from.parse::<ThingName>();
        let say = from.map_or("Scan the part.".to_owned(), |from| format!("From {}: now scan the part.", from.short()));
        return Ok(plain(query, vec![say]));
    }
    let part = ThingName::new(Kind::Part, &work::code(&query.part, "part")?);
    let (id, when) = (yard.clock.new_id(), When::now(yard.now()));
    ask::ask(yard, |book| {
        let view = View::new(book, when.known);
        let Some(label) = book.label(&part) else {
            return Ok(Step { frame: "cannot", ..plain(query, vec![ask::nobody_received(&part)]) });
        };
        let stages = domain::stage::stages_of(view, label);
        let stage = match (StageName::new(&query.stage), stages.as_slice()) {
            (Ok(named), _) => named,
            (Err(_), [only]) => only.clone(),
            (Err(_), []) => {
                let say = format!("Nobody has planned a stage of {}. Open a job for it first.", part.code());
                return Ok(Step { frame: "cannot", ..plain(query, vec![say]) });
            }
            (Err(_), _) => return Ok(which_stage(query, &part, &stages)),
        };
        let planned = view.facts(label).filter_map(|fact| match &fact.what {
            What::Planned(plan) if plan.part == label && plan.job.stages.contains(&stage) => book.entry(fact.seq),
            _ => None,
        });
        let job = planned.last().map(|meta| book.code(meta.thing));
        let named = LayQuery { stage: stage.to_string(), ..query.clone() };
        let work = Work { part: part.clone(), stage, job };
        match query.from.parse::<ThingName>() {
            Ok(from) => may_lay(book, &named, &work, &from, when, id),
            Err(_) => Ok(laid(book, &named, &work, done, when, id)),
        }
    })
}

fn which_stage(query: &LayQuery, part: &ThingName, stages: &[StageName]) -> Step {
    let mut which = plain(query, vec![format!("{}: which stage?", part.code())]);
    let address = |stage: &StageName| LayQuery { stage: stage.to_string(), ..query.clone() }.address();
    which.choices = stages.iter().map(|stage| (address(stage), stage.to_string())).collect();
    which
}

/// What is cured or in the oven takes no more plies: it says so, what it may be instead, and where to go.
fn in_the_oven(book: &Book, work: &Work, when: When, step: &mut Step) {
    let view = View::new(book, when.known);
    let Some(part) = book.label(&work.part) else { return };
    let oven = stage_life(view, part, &work.stage).oven(when.now);
    let Some(run) = oven.run() else { return };
    let (name, say) = (format!("{} {}", work.part.code(), work.stage), Say::of(view, when.now));
    let (code, since) = (book.code(run.run), say.time(run.scanned_at, when.now));
    let (big, why) = match oven {
        Oven::Started(_) => (
            format!("{name} is cured: it went into the oven {since}, in run {code}. Nothing more is laid onto it."),
            "A repair is a stage of its own: ask quality. Or scan another part.",
        ),
        Oven::Provisional(_) | Oven::NotStarted => (
            format!("{name} is in the oven since {since}, in run {code}. Nothing is laid onto it."),
            "If it is not in there, say first what came of that run. Or scan another part.",
        ),
    };
    step.frame = "no";
    step.big.insert(0, big);
    step.why.insert(0, why.to_owned());
    step.ready = "Ready. Scan another part.";
    step.choices.push((format!("/oven?run={}", in_a_query(code.as_str())), format!("Run {code}")));
}

fn may_lay(book: &Book, query: &LayQuery, work: &Work, from: &ThingName, when: When, id: Uuid) -> Result<Step, Fault> {
    let question = MayUseQuestion { thing: from.clone(), act: Act::Lay, job: work.job.clone(), stage: None, when };
    let may = match domain::may_use(book, &question) {
        Ok(may) => may,
        Err(why) => return Ok(Step { frame: "cannot", ..plain(query, vec![why.to_string()]) }),
    };
    let mut step = plain(query, vec![may.say.clone()]);
    step.name = format!("{} {} from {}", work.part.code(), work.stage, from.code());
    step.frame = work::frame(may.answer);
    step.why.extend(Some(may.why.clone()).filter(|why| !why.is_empty()));
    let laid = Button { go: "laid".to_owned(), label: format!("Laid from {}", from.code()) };
    let mut press = press(query, id, Asks::First, vec![laid]);
    // The scan of part and kit opens the range; whoever taps later has laid since then.
    press.fields.push(("from_at", Say::of(View::new(book, when.known), when.now).stamp(when.now).to_string()));
    press.fields.extend(work::shown(&may, book.last_seq()));
    if from.kind() == Kind::Roll {
        let label = format!("Metres of {}", from.code());
        press.typed.push(work::Typed { name: "length", label, value: String::new(), like: "12.5" });
    }
    step.press = Some(press);
    let answers = step.big.len();
    in_the_oven(book, work, when, &mut step);
    // Where nothing may be laid at all, what the roll could be laid for by itself is not said.
    step.big.truncate(answers);
    work::take_out_first(book, from, when, &mut step);
    Ok(step)
}

fn press(query: &LayQuery, id: Uuid, asks: Asks, buttons: Vec<Button>) -> Press {
    let fields = [("id", id.to_string()), ("part", query.part.clone()), ("stage", query.stage.clone())];
    let from = Some(("from", query.from.clone())).filter(|(_, from)| !from.is_empty());
    Press {
        fields: fields.into_iter().chain(from).collect(),
        typed: Vec::new(),
        one_of: None,
        tick: None,
        buttons,
        asks,
        back: query.address(),
    }
}

/// What was written just now, and until when it has to be in the oven.
fn laid(book: &Book, query: &LayQuery, work: &Work, done: Option<&Entry>, when: When, id: Uuid) -> Step {
    let say = Say::of(View::new(book, when.known), when.now);
    let view = View::new(book, when.known);
    let name = format!("{} {}", work.part.code(), work.stage);
    let at = |entry: &Entry| say.time(entry.occurred_at.at, when.now);
    let done = done.filter(|entry| entry.thing == work.part);
    let life = book.label(&work.part).map(|part| stage_life(view, part, &work.stage));
    let lies = life.as_ref().is_some_and(|life| life.lying(when.now).next().is_some());
    let cured = life.as_ref().is_some_and(|life| life.oven(when.now).run().is_some());
    let open = !cured && life.is_some_and(|life| life.completed_by(when.now).is_none());
    let mut big = Vec::new();
    match done.map(|entry| (&entry.body, at(entry))) {
        Some((Body::PliesLaid(laid), at)) => {
            big.push(format!("{name}: laid from {} {at}.", laid.from.code()));
            let before = done.and_then(|entry| laid_before(book, entry, laid, when));
            big.extend(before.map(|before| format!("Again: also laid {}.", say.time(before, when.now))));
        }
        Some((Body::LayupCompleted(_), at)) => big.push(format!("{name}: lay-up complete {at}.")),
        _ if cured => {}
        _ if lies => big.push(format!("{name}: some of it is laid. Scan the next kit or roll.")),
        _ => big.push(format!("{name}: scan the kit or roll.")),
    }
    let question = MayUseQuestion {
        thing: work.part.clone(),
        act: Act::Oven,
        job: work.job.clone(),
        stage: Some(work.stage.clone()),
        when,
    };
    let mut step = plain(query, big);
    step.name.clone_from(&name);
    step.undo = done.map(work::undo).unwrap_or_default();
    if cured {
        in_the_oven(book, work, when, &mut step);
    } else if let (true, Ok(may)) = (lies || done.is_some(), domain::may_use(book, &question)) {
        step.frame = work::frame(may.answer);
        step.big.push(heating(&may, &say, when));
        step.why.extend(closed_then(book, &may, &say, when));
        step.why.extend(Some(may.why.clone()).filter(|why| !why.is_empty()));
        if lies && open {
            let complete = Button { go: "complete".to_owned(), label: "Lay-up complete".to_owned() };
            step.press = Some(press(query, id, Asks::Other, vec![complete]));
        }
    }
    step
}

/// The last time before this that the same was laid into the same stage.
fn laid_before(book: &Book, entry: &Entry, done: &PliesLaid, when: When) -> Option<Instant> {
    let (part, from) = (book.label(&entry.thing)?, book.label(&done.from)?);
    let same = |fact: &&Fact| {
        let is_same = |laid: &Laid| laid.part == part && laid.stage == done.stage && laid.from == from;
        matches!(&fact.what, What::Laid(laid) if is_same(laid)) && u64::from(fact.seq) != entry.seq
    };
    let before = View::new(book, when.known).facts(part).filter(same).filter(|fact| fact.at <= entry.occurred_at.at);
    before.last().map(|fact| fact.at)
}

/// Until when, and because of which roll.
fn heating(may: &MayUse, say: &Say, when: When) -> String {
    let Some(by) = may.heating_by.filter(|_| may.answer <= shared_types::Word::Yes) else { return may.say.clone() };
    let row = may.limits.iter().find(|row| Some(row.limit) == may.governing);
    let because = row.filter(|row| row.item.kind() != Kind::Part);
    let because = because.map_or_else(String::new, |row| format!(", because of {}", row.item.code()));
    format!("Heating by {}{because}.", say.time(by.at, when.now))
}
