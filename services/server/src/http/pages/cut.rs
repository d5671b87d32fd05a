//! Cutting: scan the roll, the job and the kit's label; the length stands there as planned; one tap.

use super::{answer, badge, in_a_query, scan, screen::Button, see, work};
use crate::http::{ask, problems::Fault};
use crate::import::words::typed_metres;
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::{Book, MayUseQuestion, When, jobs_needing, say::Say, view::View};
use serde::Deserialize;
use serde_json::{Value, json};
use shared_types::{Act, Body, Code, Entry, Kind, MayUse, Metres, ThingName, Word};
use uuid::Uuid;
use work::{Asks, Press, Step, Typed, Wish};

#[derive(Deserialize, Default, Clone)]
pub(crate) struct CutQuery {
    /// What was scanned just now.
    #[serde(default)]
    code: String,
    #[serde(default)]
    roll: String,
    #[serde(default)]
    job: String,
    #[serde(default)]
    kit: String,
    /// What the nest gives so far: kit, job, roll and millimetres of each, with a slash between: no code has one.
    #[serde(default)]
    items: String,
    /// What was cut off and thrown away so far: roll and millimetres of each.
    #[serde(default)]
    wasted: String,
    #[serde(default)]
    done: Option<u64>,
}

#[derive(Deserialize)]
pub(crate) struct CutForm {
    id: Uuid,
    /// `cut`, or `more` to go on with the same nest.
    go: String,
    /// The nest's label, made when the page was.
    nest: String,
    roll: String,
    job: String,
    kit: String,
    #[serde(default)]
    items: String,
    #[serde(default)]
    wasted: String,
    /// Metres, as typed.
    #[serde(default)]
    length: String,
    #[serde(default)]
    waste: String,
    #[serde(default)]
    answer: String,
    #[serde(default)]
    until: String,
    #[serde(default)]
    as_of_seq: u64,
}

/// Plies of one roll for one kit.
struct Item {
    kit: Code,
    job: Code,
    roll: Code,
    length_mm: u64,
}

const CAUTION: &str = "Uncured resin: gloves. Keep the roll sealed until it is warm through.";
/// As many jobs are offered to be tapped.
const OFFERED: usize = 3;

impl CutQuery {
    fn address(&self) -> String {
        let mut address = "/cut?".to_owned();
        let (items, wasted) = (("items", &self.items), ("wasted", &self.wasted));
        for (name, value) in [("roll", &self.roll), ("job", &self.job), ("kit", &self.kit), items, wasted] {
            if !value.is_empty() {
                address.push_str(&format!("{name}={}&", in_a_query(value)));
            }
        }
        address.pop();
        address
    }

    fn items(&self) -> Result<Vec<Item>, Fault> {
        let words: Vec<&str> = self.items.split('/').filter(|word| !word.is_empty()).collect();
        let read = |four: &[&str]| match four {
            [kit, job, roll, mm] => Some(Item {
                kit: Code::new(kit).ok()?,
                job: Code::new(job).ok()?,
                roll: Code::new(roll).ok()?,
                length_mm: mm.parse().ok()?,
            }),
            _ => None,
        };
        let items: Option<Vec<Item>> = words.chunks(4).map(read).collect();
        items.ok_or_else(|| Fault::cannot_read("The address names no kits. Begin at /cut again."))
    }

    /// Rolls, and millimetres of each that were thrown away.
    fn wasted(&self) -> Result<Vec<(Code, u64)>, Fault> {
        let words: Vec<&str> = self.wasted.split('/').filter(|word| !word.is_empty()).collect();
        let read = |two: &[&str]| match two {
            [roll, mm] => Some((Code::new(roll).ok()?, mm.parse().ok()?)),
            _ => None,
        };
        let wasted: Option<Vec<(Code, u64)>> = words.chunks(2).map(read).collect();
        wasted.ok_or_else(|| Fault::cannot_read("The address names no waste. Begin at /cut again."))
    }
}

#[route("/cut", method = "GET", method = "HEAD")]
pub(crate) async fn cut_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<CutQuery>) -> HttpResponse {
    let query = query.into_inner();
    let shown = async {
        if !query.code.trim().is_empty() {
            return match scanned(&yard, &query)? {
                Ok(next) => Ok(see(&next.address())),
                Err(say) => work::render(&request, Step { frame: "cannot", ..plain(&query, vec![say]) }),
            };
        }
        let done = scan::written(&yard, query.done).await?;
        let shown = step(&yard, &query, done.as_ref())?;
        work::render(&request, work::with_doubts(&yard, done.map(|entry| entry.seq), shown))
    };
    answer(&request, shown.await)
}

#[post("/cut")]
pub(crate) async fn post_cut(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<CutForm>) -> HttpResponse {
    let form = form.into_inner();
    let done = async {
        let query = CutQuery {
            roll: form.roll.clone(),
            job: form.job.clone(),
            kit: form.kit.clone(),
            items: form.items.clone(),
            wasted: form.wasted.clone(),
            ..CutQuery::default()
        };
        let Some(by) = badge::remembered(&request) else {
            return Ok(badge::first(&query.address()));
        };
        let (mut items, mut wasted) = (query.items()?, query.wasted()?);
        let waste = match form.waste.trim() {
            "" => None,
            text => Some(typed_metres(text)),
        };
        let typed = typed_metres(&form.length).and_then(|length| Ok((length, waste.transpose()?)));
        let (length, waste) = match typed {
            Ok(typed) => typed,
            Err(problem) => {
                let typed = [("length", &form.length), ("waste", &form.waste)];
                return work::render(&request, work::again(step(&yard, &query, None)?, &problem, &typed));
            }
        };
        let code = |text: &str, what: &str| {
            Code::new(text).map_err(|error| Fault::cannot_read(format!("No code of a {what}: {error}. Scan it again.")))
        };
        let (kit, job) = (code(&form.kit, "kit")?, code(&form.job, "job")?);
        let roll = code(&form.roll, "roll")?;
        items.push(Item { kit, job, roll: roll.clone(), length_mm: length.get() });
        wasted.extend(waste.map(|mm| (roll, mm.get())));
        if form.go == "more" {
            let words = items.iter().map(|one| format!("{}/{}/{}/{}", one.kit, one.job, one.roll, one.length_mm));
            let items = words.collect::<Vec<_>>().join("/");
            let wasted = wasted.iter().map(|(roll, mm)| format!("{roll}/{mm}")).collect::<Vec<_>>().join("/");
            return Ok(see(&CutQuery { roll: form.roll, items, wasted, ..CutQuery::default() }.address()));
        }
        if form.go != "cut" {
            return Err(Fault::cannot_read("That button is not one of this page's. Scan the roll again."));
        }
        let nest = ThingName::new(Kind::Nest, &code(&form.nest, "nest")?);
        let waste: Vec<Value> = wasted.iter().map(|(roll, mm)| json!({ "roll": roll, "length_mm": mm })).collect();
        let body = json!({ "kits": kits(&items), "waste": waste });
        let shown = work::said(&form.answer, &form.until, form.as_of_seq);
        let wish =
            Wish { id: form.id, go: &form.go, by: &by, kind: "nest_cut", thing: &nest, shown, body, worked_out: &[] };
        let seq = work::write(&yard, wish).await?;
        Ok(see(&format!("/cut?done={seq}")))
    };
    answer(&request, done.await)
}

/// One line for each kit and job, with what each of its rolls gives.
fn kits(items: &[Item]) -> Vec<Value> {
    let mut kits: Vec<(&Code, &Code, Vec<Value>)> = Vec::new();
    for one in items {
        let item = json!({ "roll": one.roll, "length_mm": one.length_mm });
        match kits.iter_mut().find(|(kit, job, _)| **kit == one.kit && **job == one.job) {
            Some((_, _, of)) => of.push(item),
            None => kits.push((&one.kit, &one.job, vec![item])),
        }
    }
    kits.into_iter().map(|(kit, job, items)| json!({ "kit": kit, "job": job, "items": items })).collect()
}

/// What the scan adds to the address, or why it adds nothing.
fn scanned(yard: &Yard, query: &CutQuery) -> Result<Result<CutQuery, String>, Fault> {
    let kept = CutQuery { code: String::new(), done: None, ..query.clone() };
    let Ok(code) = Code::new(scan::without_symbology(&query.code)) else {
        let say = "That is no code of a label: it has 1 to 40 printable characters and no slash. Scan it again.";
        return Ok(Err(say.to_owned()));
    };
    ask::ask(yard, |book| {
        let things = domain::scan(book, &code).things;
        let of = |kind: Kind| things.iter().any(|thing| thing.kind() == kind);
        let text = code.to_string();
        Ok(match (of(Kind::Roll), of(Kind::Job), of(Kind::Kit), things.first()) {
            (true, ..) => Ok(CutQuery { roll: text, kit: String::new(), ..kept }),
            (false, true, ..) if !kept.roll.is_empty() => Ok(CutQuery { job: text, ..kept }),
            (false, false, true, _) if !kept.job.is_empty() => Ok(CutQuery { kit: text, ..kept }),
            // A kit's label is new: nobody knows it before it is cut.
            (false, false, false, None) if !kept.job.is_empty() => Ok(CutQuery { kit: text, ..kept }),
            (.., None) => Err(ask::nobody_has(book, &code)),
            (.., Some(other)) if kept.roll.is_empty() => {
                Err(format!("{code} is a {}. Scan the roll first.", other.kind()))
            }
            (.., Some(other)) => Err(format!("{code} is a {}: not asked for here.", other.kind())),
        })
    })
}

fn plain(query: &CutQuery, big: Vec<String>) -> Step {
    Step {
        name: if query.roll.is_empty() { "Cut".to_owned() } else { query.roll.clone() },
        keep: work::kept(&[
            ("roll", &query.roll),
            ("job", &query.job),
            ("items", &query.items),
            ("wasted", &query.wasted),
        ]),
        ready: match (query.roll.is_empty(), query.job.is_empty()) {
            (true, _) => "Ready. Scan a roll.",
            (false, true) => "Ready. Scan a job.",
            (false, false) => "Ready. Scan a kit.",
        },
        big,
        ..Step::at("/cut", CAUTION)
    }
}

fn step(yard: &Yard, query: &CutQuery, done: Option<&Entry>) -> Result<Step, Fault> {
    let (id, when) = (yard.clock.new_id(), When::now(yard.now()));
    let (so_far, wasted) = (query.items()?, query.wasted()?);
    let Ok(roll) = Code::new(&query.roll).map(|code| ThingName::new(Kind::Roll, &code)) else {
        return match done.map(|entry| (&entry.body, entry)) {
            Some((Body::NestCut(_), entry)) => ask::ask(yard, |book| Ok(was_cut(book, query, entry, when))),
            _ => Ok(plain(query, vec!["Scan the roll.".to_owned()])),
        };
    };
    ask::ask(yard, |book| {
        let job = Code::new(&query.job).ok();
        let question = MayUseQuestion { thing: roll.clone(), act: Act::Cut, job: job.clone(), stage: None, when };
        let may = match domain::may_use(book, &question) {
            Ok(may) => may,
            Err(why) => return Ok(Step { frame: "cannot", ..plain(query, vec![why.to_string()]) }),
        };
        let mut step = plain(query, Vec::new());
        step.frame = work::frame(may.answer);
        step.big.push(may.say.clone());
        step.why.extend(Some(may.why.clone()).filter(|why| !why.is_empty()));
        step.why.extend(nest_so_far(&so_far, &wasted));
        work::take_out_first(book, &roll, when, &mut step);
        let say = Say::of(View::new(book, when.known), when.now);
        let needing = jobs_needing(book, &roll, when);
        match (job, Code::new(&query.kit)) {
            // What may not be used is offered to no job; whoever cuts it all the same scans the job.
            (None, _) if Word::No <= may.answer => {
                step.why.push("Cut all the same? Scan the job it is for.".to_owned());
            }
            (None, _) => {
                let offer = |one: &domain::JobNeeds| {
                    let address = CutQuery { job: one.job.to_string(), ..query.clone() }.address();
                    let given = if one.given { ", issued" } else { "" };
                    let lay_at = say.time(one.lay_at, when.now);
                    (address, format!("{}{given}: {}, lay {lay_at}", one.job, Metres(one.length_mm)))
                };
                step.choices = needing.iter().take(OFFERED).map(offer).collect();
                if needing.is_empty() {
                    step.why.push("No open job still needs its material. Scan the job it is for.".to_owned());
                }
            }
            (Some(_), Err(_)) => {
                step.why.push("Scan the label for the kit, or tap for a new one.".to_owned());
                let kit = work::label("KIT", &say, when, id);
                step.choices.push((CutQuery { kit: kit.clone(), ..query.clone() }.address(), format!("New kit {kit}")));
            }
            (Some(job), Ok(kit)) => {
                let planned = needing.iter().find(|one| one.job == job).map_or(0, |one| one.length_mm);
                let taken = so_far
                    .iter()
                    .filter(|one| one.job == job)
                    .fold(0_u64, |sum, one| sum.saturating_add(one.length_mm));
                let cut = Cut { kit: &kit, job: &job, planned_mm: planned.saturating_sub(taken), id, when };
                lengths(book, query, &roll, &cut, &may, &mut step);
            }
        }
        Ok(step)
    })
}

struct Cut<'a> {
    kit: &'a Code,
    job: &'a Code,
    planned_mm: u64,
    id: Uuid,
    when: When,
}

/// How much of it: as planned, as far as the roll has it.
fn lengths(book: &Book, query: &CutQuery, roll: &ThingName, cut: &Cut<'_>, may: &MayUse, step: &mut Step) {
    let (view, when) = (View::new(book, cut.when.known), cut.when);
    let there = domain::thing_view(book, roll, when).and_then(|seen| seen.length_left_mm).unwrap_or_default();
    let there = u64::try_from(there).unwrap_or_default();
    step.name = format!("{} for {} from {}", cut.kit, cut.job, roll.code());
    step.ready = "";
    let planned = match cut.planned_mm {
        0 => format!("{} needs no more of it by its plan.", cut.job),
        mm => format!("{} still needs {}.", cut.job, Metres(mm)),
    };
    step.why.push(format!("{planned} {} has {}.", roll.code(), Metres(there)));
    if !domain::scan(book, cut.kit).things.is_empty() {
        step.why.push(format!("{} was cut before: this adds to it.", cut.kit));
    }
    // Not rounded: what is cut reads as it is.
    let exactly = |mm: u64| format!("{}.{:03}", mm / 1000, mm % 1000);
    let length = cut.planned_mm.min(there);
    let value = if length == 0 { String::new() } else { exactly(length) };
    let typed = |name, label: &str, value, like| Typed { name, label: label.to_owned(), value, like };
    let button = |go: &str, label: &str| Button { go: go.to_owned(), label: label.to_owned() };
    let nest = work::label("NEST", &Say::of(view, when.now), when, cut.id);
    let mut fields = vec![("id", cut.id.to_string()), ("nest", nest)];
    fields.extend([("roll", query.roll.clone()), ("job", query.job.clone()), ("kit", query.kit.clone())]);
    let so_far = [("items", query.items.clone()), ("wasted", query.wasted.clone())];
    fields.extend(so_far.into_iter().filter(|(_, some)| !some.is_empty()));
    fields.extend(work::shown(may, book.last_seq()));
    step.press = Some(Press {
        fields,
        typed: vec![
            typed("length", "Metres for this kit", value, "22.5"),
            typed("waste", "Metres cut off and thrown away, if any", String::new(), ""),
        ],
        one_of: None,
        tick: None,
        buttons: vec![button("cut", "Cut"), button("more", "More of this nest first")],
        asks: Asks::First,
        back: query.address(),
    });
}

fn nest_so_far(items: &[Item], wasted: &[(Code, u64)]) -> Option<String> {
    let kits =
        items.iter().map(|one| format!("{} for {}: {} of {}", one.kit, one.job, Metres(one.length_mm), one.roll));
    let waste = wasted.iter().map(|(roll, mm)| format!("thrown away: {} of {roll}", Metres(*mm)));
    let words: Vec<String> = kits.chain(waste).collect();
    (!words.is_empty()).then(|| format!("This nest so far, not written yet: {}.", words.join("; ")))
}

/// What was cut just now, and until when it has to be laid and heated.
fn was_cut(book: &Book, query: &CutQuery, entry: &Entry, when: When) -> Step {
    let say = Say::of(View::new(book, when.known), when.now);
    let mut step = plain(query, Vec::new());
    let Body::NestCut(nest) = &entry.body else { return step };
    let mut worst = None;
    for kit in &nest.kits {
        let thing = ThingName::new(Kind::Kit, &kit.kit);
        let of: Vec<&str> = kit.items.iter().map(|item| item.roll.as_str()).collect();
        let at = say.time(entry.occurred_at.at, when.now);
        step.big.push(format!("{} for {} cut from {} {at}.", kit.kit, kit.job, of.join(", ")));
        let question = MayUseQuestion { thing, act: Act::Lay, job: Some(kit.job.clone()), stage: None, when };
        if let Ok(may) = domain::may_use(book, &question) {
            step.why.push(format!("{}: {} {}", kit.kit, may.say, may.why));
            worst = worst.max(Some(may.answer));
        }
    }
    step.frame = worst.map_or("cannot", work::frame);
    step.undo = work::undo(entry);
    step
}
