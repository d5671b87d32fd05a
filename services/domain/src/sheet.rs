//! A boat's build sheet: which parts have a record, of what, and whether it was laid and cured within life.

use crate::book::Book;
use crate::cure::{Cure, cure};
use crate::fact::{Label, What};
use crate::judge::{Judged, stage_acts};
use crate::question::When;
use crate::say::{Say, left, limit, so_far};
use crate::stage::{Oven, stage_life};
use crate::view::View;
use shared_types::{Act, Code, Direction, Instant, Kind, LimitName, StageName, ThingName, Trace, TraceLink, Word};
use std::{
    collections::{BTreeSet, HashMap},
    hash::{BuildHasherDefault, DefaultHasher},
};

/// The sheet of one boat.
pub struct Sheet {
    /// How many parts are on its list, if anybody named one.
    pub listed: Option<usize>,
    pub parts: Vec<Part>,
}

pub struct Part {
    pub name: String,
    /// The boat it is in.
    pub boat: Option<String>,
    pub on_list: bool,
    pub stands: Stands,
    pub stages: Vec<Stage>,
    /// Stages that are planned and of which nothing was laid.
    pub unlaid: Vec<String>,
    /// How far all of it is made, whatever of it is shown.
    made: Made,
}

/// Where a part is.
#[derive(PartialEq, Eq)]
pub enum Stands {
    Installed,
    /// In another boat.
    Elsewhere(String),
    NotInstalled,
}

/// How far a part is made.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Made {
    NoRecord,
    /// Something is planned of which nothing is laid.
    Begun,
    Laid,
    /// All of it is laid, and some of it cured.
    CuredInPart,
    Cured,
}

pub struct Stage {
    pub name: String,
    pub sources: Vec<Source>,
    pub tack_when_laid: String,
    pub out_life_at_cure: String,
    pub run: String,
    pub verdict: Verdict,
    first_laid: Option<Instant>,
}

/// A kit, or a roll that was laid without one.
pub struct Source {
    pub kit: Option<String>,
    /// Roll and batch, which is named with its material.
    pub rolls: Vec<(String, String)>,
}

#[derive(Clone, PartialEq, Eq)]
pub enum Verdict {
    Within,
    Over(String),
    CannotSay(String),
    NotCured(String),
}

impl Verdict {
    pub fn words(&self) -> String {
        match self {
            Verdict::Within => "within life".to_owned(),
            Verdict::Over(what) | Verdict::NotCured(what) => what.clone(),
            Verdict::CannotSay(what) => format!("can't say: {what}"),
        }
    }
}

impl Verdict {
    /// The worse, the higher.
    pub fn rank(&self) -> u8 {
        match self {
            Verdict::Within => 0,
            Verdict::NotCured(_) => 1,
            Verdict::CannotSay(_) => 2,
            Verdict::Over(_) => 3,
        }
    }
}

impl Part {
    pub fn rows(&self) -> usize {
        self.stages.iter().map(Stage::rows).sum()
    }

    /// Why there is nothing below, or what is odd.
    pub fn note(&self) -> Option<String> {
        let mut notes: Vec<String> = Vec::new();
        notes.extend((!self.on_list).then(|| "not on the boat's list".to_owned()));
        match (&self.stands, self.made()) {
            (Stands::Installed, Made::NoRecord) => notes.push("no record of what was laid".to_owned()),
            (Stands::Installed, Made::Begun | Made::Laid | Made::CuredInPart | Made::Cured) => {}
            (Stands::Elsewhere(boat), _) => notes.push(format!("in boat {boat}")),
            (Stands::NotInstalled, Made::NoRecord) => notes.push("no record".to_owned()),
            (Stands::NotInstalled, Made::Begun) => notes.push("begun, not installed".to_owned()),
            (Stands::NotInstalled, Made::Laid) => notes.push("laid, not cured, not installed".to_owned()),
            (Stands::NotInstalled, Made::CuredInPart) => {
                notes.push("laid, not cured in all its stages, not installed".to_owned());
            }
            (Stands::NotInstalled, Made::Cured) => notes.push("cured, not installed".to_owned()),
        }
        if !self.stages.is_empty() {
            notes.extend(self.unlaid.iter().map(|stage| format!("nothing laid in {stage}")));
        }
        (!notes.is_empty()).then(|| notes.join("; "))
    }

    pub fn made(&self) -> Made {
        self.made
    }

    /// The worst of its stages; one that is still to be laid is not cured.
    pub fn rank(&self) -> Option<u8> {
        let missing = (!self.unlaid.is_empty() && !self.stages.is_empty()).then_some(NOT_CURED);
        self.stages.iter().map(|stage| stage.verdict.rank()).chain(missing).max()
    }
}

/// The rank of what is not in the oven yet, or not confirmed.
pub const NOT_CURED: u8 = 1;

impl Stage {
    pub fn rows(&self) -> usize {
        self.sources.iter().map(Source::rows).sum::<usize>().max(1)
    }
}

impl Stage {
    pub fn within(&self) -> bool {
        self.verdict == Verdict::Within
    }
}

impl Source {
    pub fn rows(&self) -> usize {
        self.rolls.len().max(1)
    }
}

/// None: nobody has named the boat.
pub fn build_sheet(book: &Book, boat: &ThingName, when: When) -> Option<Sheet> {
    let view = View::new(book, when.known);
    let seen = crate::thing_view(book, boat, when)?;
    let trace = crate::trace(book, boat, Direction::MadeFrom, when)?;
    let listed = listed_parts(seen.declared.as_ref());
    let installed: BTreeSet<ThingName> =
        trace.links.iter().filter(|link| link.into == *boat).map(|link| link.from.clone()).collect();
    let all: BTreeSet<&ThingName> = listed.iter().flatten().chain(&installed).collect();
    let links = Links::of(&trace);
    let part = |name: &ThingName| {
        let elsewhere = boat_of(view, name, when.at);
        let stands = match (installed.contains(name), elsewhere) {
            (true, _) => Stands::Installed,
            (false, Some(other)) => Stands::Elsewhere(other),
            (false, None) => Stands::NotInstalled,
        };
        let on_list = listed.as_ref().is_none_or(|listed| listed.contains(name));
        // What is not in the boat has a history of its own.
        let own = (stands != Stands::Installed).then(|| crate::trace(book, name, Direction::MadeFrom, when)).flatten();
        match own {
            Some(own) => traced_part(view, &Links::of(&own), name, stands, on_list, when.at),
            None => traced_part(view, &links, name, stands, on_list, when.at),
        }
    };
    let parts: Vec<Part> = all.into_iter().map(part).collect();
    Some(Sheet { listed: listed.as_ref().map(BTreeSet::len), parts })
}

/// The stages that the jobs in force by then plan for a part.
fn planned(view: View<'_>, part: Label, at: Instant) -> Vec<String> {
    let plans = view.facts(part).filter(|fact| fact.at <= at).filter_map(|fact| match &fact.what {
        What::Planned(plan) if plan.part == part => Some(plan),
        _ => None,
    });
    let stages = plans.last().map_or(&[][..], |plan| &plan.job.stages);
    stages.iter().map(StageName::to_string).collect()
}

fn listed_parts(declared: Option<&serde_json::Value>) -> Option<BTreeSet<ThingName>> {
    let parts = declared?.get("parts")?.as_array()?;
    let codes = parts.iter().filter_map(|part| Code::new(part.as_str()?).ok());
    Some(codes.map(|code| ThingName::new(Kind::Part, &code)).collect())
}

/// What went into what, found by what it went into. It is looked up only, so no randomness comes in.
pub struct Links<'t>(HashMap<&'t ThingName, Vec<&'t TraceLink>, BuildHasherDefault<DefaultHasher>>);

impl<'t> Links<'t> {
    pub fn of(trace: &'t Trace) -> Links<'t> {
        let mut links: HashMap<_, Vec<&TraceLink>, _> = HashMap::default();
        for link in &trace.links {
            links.entry(&link.into).or_default().push(link);
        }
        Links(links)
    }

    fn into(&self, what: &ThingName) -> impl Iterator<Item = (&'t ThingName, Option<&'t StageName>)> + use<'t, '_> {
        self.0.get(what).into_iter().flatten().map(|link| (&link.from, link.stage.as_ref()))
    }

    /// The rolls of a kit or a roll itself, each with its batch; there is always a row to show.
    pub fn source(&self, from: &ThingName) -> Source {
        let with_batch = |roll: &ThingName| {
            let batches: BTreeSet<&str> = self.into(roll).map(|(batch, _)| batch.code()).collect();
            (roll.short().to_owned(), batches.into_iter().collect::<Vec<_>>().join(", "))
        };
        if from.kind() != Kind::Kit {
            return Source { kit: None, rolls: vec![with_batch(from)] };
        }
        let rolls: BTreeSet<&ThingName> =
            self.into(from).map(|(roll, _)| roll).filter(|roll| roll.kind() == Kind::Roll).collect();
        let mut rolls: Vec<_> = rolls.into_iter().map(with_batch).collect();
        if rolls.is_empty() {
            rolls.push((String::new(), String::new()));
        }
        Source { kit: Some(from.short().to_owned()), rolls }
    }
}

/// The code of the boat a part is in.
pub fn boat_of(view: View<'_>, part: &ThingName, at: Instant) -> Option<String> {
    let (boat, _) = crate::trace::boat_of(view, view.book.label(part)?, at)?;
    Some(view.book.code(boat).to_string())
}

pub fn traced_part(
    view: View<'_>,
    links: &Links<'_>,
    name: &ThingName,
    stands: Stands,
    on_list: bool,
    at: Instant,
) -> Part {
    let stages = stages(view, links, name, at);
    let (unlaid, made) = view.book.label(name).map_or((Vec::new(), Made::NoRecord), |label| made(view, label, at));
    Part { name: name.short().to_owned(), boat: boat_of(view, name, at), on_list, stands, stages, unlaid, made }
}

/// What is planned of a part and not laid, and how far all of it is made.
fn made(view: View<'_>, part: Label, at: Instant) -> (Vec<String>, Made) {
    let mut laid: BTreeSet<&StageName> = BTreeSet::new();
    for fact in view.facts(part).filter(|fact| fact.at <= at) {
        match &fact.what {
            What::Laid(by) if by.part == part => {
                laid.insert(&by.stage);
            }
            _ => {}
        }
    }
    let planned = planned(view, part, at);
    let unlaid: Vec<String> =
        planned.into_iter().filter(|stage| !laid.iter().any(|laid| laid.as_str() == stage)).collect();
    let say = Say::of(view, at);
    let cured = |stage: &StageName| cure(view, &stage_life(view, part, stage), at, &say).stands();
    let all_cured = laid.iter().filter(|stage| cured(stage)).count();
    let made = match (laid.len(), unlaid.len(), all_cured) {
        (0, ..) => Made::NoRecord,
        (_, 1.., _) => Made::Begun,
        (_, 0, 0) => Made::Laid,
        (laid, 0, cured) if cured < laid => Made::CuredInPart,
        (_, 0, _) => Made::Cured,
    };
    (unlaid, made)
}

fn stages(view: View<'_>, links: &Links<'_>, part: &ThingName, at: Instant) -> Vec<Stage> {
    let mut names: Vec<&StageName> = links.into(part).filter_map(|(_, stage)| stage).collect();
    names.sort();
    names.dedup();
    let mut stages: Vec<Stage> = names.into_iter().map(|name| stage(view, links, part, name, at)).collect();
    // In the order in which they were laid.
    stages.sort_by_key(|stage| stage.first_laid);
    stages
}

fn stage(view: View<'_>, links: &Links<'_>, part: &ThingName, name: &StageName, at: Instant) -> Stage {
    let laid = links.into(part).filter(|(_, stage)| *stage == Some(name)).map(|(from, _)| from);
    let laid: BTreeSet<&ThingName> = laid.collect();
    let sources = laid.into_iter().map(|from| links.source(from));
    let mut shown = Stage {
        name: name.to_string(),
        sources: sources.collect(),
        tack_when_laid: String::new(),
        out_life_at_cure: String::new(),
        run: String::new(),
        verdict: Verdict::CannotSay("the book does not know its acts".to_owned()),
        first_laid: None,
    };
    if let Some(label) = view.book.label(part) {
        let life = stage_life(view, label, name);
        let all = stage_acts(view, label);
        let acts: Vec<&Judged> =
            all.iter().filter(|act| act.stage == *name && act.at <= at).map(|act| &act.judged).collect();
        let cure = cure(view, &life, at, &Say::of(view, at));
        shown.first_laid = life.lying(at).map(|item| item.first_ply).min();
        shown.run = cure.oven.run().map_or_else(String::new, |run| view.book.name(run.run).short().to_owned());
        shown.tack_when_laid = least(&acts, Act::Lay, LimitName::TackLife);
        shown.out_life_at_cure = least(&acts, Act::Oven, LimitName::OutLife);
        shown.verdict = verdict(view, &acts, &cure);
    }
    shown
}

/// The least that an act left of a limit, in words.
fn least(acts: &[&Judged], act: Act, name: LimitName) -> String {
    let of_act = acts.iter().filter(|judged| judged.act == act).flat_map(|judged| &judged.limits);
    let least = of_act.filter(|limit| limit.name == name).map(|limit| limit.left).min();
    match least {
        Some(ms) if ms < 0 => format!("{} over", so_far(ms.saturating_neg())),
        Some(ms) => left(ms),
        None => String::new(),
    }
}

fn verdict(view: View<'_>, acts: &[&Judged], cure: &Cure) -> Verdict {
    let over = acts.iter().flat_map(|judged| judged.over()).min_by_key(|limit| limit.left);
    if let Some(over) = over {
        let item = view.book.name(over.item).short();
        return Verdict::Over(match over.name {
            LimitName::Refreezes => format!("{item}: too often back into the cold"),
            name => format!("{item}: {} over its {}", so_far(over.left.saturating_neg()), limit(name)),
        });
    }
    let unsure = acts.iter().find(|judged| judged.shown(view).answer == Word::CannotSay);
    if let Some((name, item, _)) = unsure.and_then(|judged| judged.missing.first()) {
        return Verdict::CannotSay(format!("{} of {}", limit(*name), view.book.name(*item).short()));
    }
    if let Some(why) = cure.in_doubt.first() {
        return Verdict::CannotSay(why.trim_end_matches('.').to_owned());
    }
    if cure.lay_up_told {
        return Verdict::CannotSay("part of its lay-up is only told".to_owned());
    }
    match (cure.held.first(), cure.oven) {
        (Some(held), _) => Verdict::NotCured(format!("held: {}", held.why)),
        (None, Oven::NotStarted) => Verdict::NotCured("not in the oven yet".to_owned()),
        (None, _) if !cure.confirmed => Verdict::NotCured("cure not confirmed yet".to_owned()),
        (None, _) => Verdict::Within,
    }
}
