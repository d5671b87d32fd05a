//! A boat's build sheet: which parts have a record, of what, and whether it was laid and cured within life.

use crate::http::{ask::nobody, problems::Fault};
use domain::judge::{Judged, stage_act};
use domain::say::{Say, left, limit};
use domain::stage::{Oven, stage_life};
use domain::view::View;
use domain::{Book, When};
use shared_types::{Act, Code, Direction, Instant, Kind, LimitName, StageName, ThingName, Trace, Word};
use std::collections::BTreeSet;

/// The sheet of one boat.
pub(super) struct Sheet {
    /// The claim and what it comes to.
    pub(super) claim: Vec<String>,
    pub(super) parts: Vec<Part>,
    /// As `Wed 6 May 2026 06:02`.
    pub(super) at: String,
    pub(super) as_of_seq: u64,
}

pub(super) struct Part {
    pub(super) name: String,
    /// Why there is nothing below, or what is odd.
    pub(super) note: Option<&'static str>,
    pub(super) stages: Vec<Stage>,
}

pub(super) struct Stage {
    pub(super) name: String,
    pub(super) sources: Vec<Source>,
    pub(super) tack_when_laid: String,
    pub(super) out_life_at_cure: String,
    pub(super) run: String,
    pub(super) verdict: Verdict,
}

/// A kit, or rolls that were laid straight.
pub(super) struct Source {
    pub(super) kit: Option<String>,
    /// Roll and batch.
    pub(super) rolls: Vec<(String, String)>,
}

#[derive(Clone, PartialEq, Eq)]
pub(super) enum Verdict {
    Within,
    Over(String),
    CannotSay(String),
    NotCured(&'static str),
}

impl Verdict {
    pub(super) fn words(&self) -> String {
        match self {
            Verdict::Within => "within life".to_owned(),
            Verdict::Over(what) => what.clone(),
            Verdict::CannotSay(what) => format!("can't say: {what}"),
            Verdict::NotCured(what) => (*what).to_owned(),
        }
    }
}

impl Verdict {
    /// The worse, the higher.
    fn rank(&self) -> u8 {
        match self {
            Verdict::Within => 0,
            Verdict::NotCured(_) => 1,
            Verdict::CannotSay(_) => 2,
            Verdict::Over(_) => 3,
        }
    }
}

impl Part {
    /// Rows of the table that it takes.
    pub(super) fn rows(&self) -> usize {
        self.stages.iter().map(Stage::rows).sum::<usize>().max(1)
    }
}

impl Stage {
    pub(super) fn rows(&self) -> usize {
        self.sources.iter().map(Source::rows).sum::<usize>().max(1)
    }
}

impl Stage {
    pub(super) fn within(&self) -> bool {
        self.verdict == Verdict::Within
    }
}

impl Source {
    pub(super) fn rows(&self) -> usize {
        self.rolls.len().max(1)
    }
}

pub(super) fn sheet(book: &Book, boat: &ThingName, when: When) -> Result<Sheet, Fault> {
    let view = View::new(book, when.known);
    let say = Say::of(view, when.now);
    let seen = domain::thing_view(book, boat, when).ok_or_else(|| nobody(boat))?;
    let trace = domain::trace(book, boat, Direction::MadeFrom, when).ok_or_else(|| nobody(boat))?;
    let listed = listed_parts(seen.declared.as_ref());
    let installed: BTreeSet<ThingName> =
        into(&trace, boat).map(|link| link.0.clone()).filter(|thing| thing.kind() == Kind::Part).collect();
    let all: BTreeSet<&ThingName> = listed.iter().flatten().chain(&installed).collect();
    let parts: Vec<Part> = all
        .into_iter()
        .map(|part| {
            let stages = if installed.contains(part) { stages(view, &trace, part, when.at) } else { Vec::new() };
            let on_list = listed.as_ref().is_none_or(|listed| listed.contains(part));
            let note = match (on_list, installed.contains(part), stages.is_empty()) {
                (_, false, _) => Some("not installed"),
                (_, true, true) => Some("no record of what was laid"),
                (false, true, false) => Some("not on the boat's list"),
                (true, true, false) => None,
            };
            Part { name: part.short().to_owned(), note, stages }
        })
        .collect();
    let claim = claim(boat.short(), listed.as_ref().map(BTreeSet::len), &parts, &trace);
    Ok(Sheet { claim, parts, at: say.whole_time(when.at), as_of_seq: seen.as_of_seq })
}

fn listed_parts(declared: Option<&serde_json::Value>) -> Option<BTreeSet<ThingName>> {
    let parts = declared?.get("parts")?.as_array()?;
    let codes = parts.iter().filter_map(|part| Code::new(part.as_str()?).ok());
    Some(codes.map(|code| ThingName::new(Kind::Part, &code)).collect())
}

fn into<'t>(trace: &'t Trace, what: &'t ThingName) -> impl Iterator<Item = (&'t ThingName, Option<&'t StageName>)> {
    trace.links.iter().filter(move |link| link.into == *what).map(|link| (&link.from, link.stage.as_ref()))
}

fn stages(view: View<'_>, trace: &Trace, part: &ThingName, at: Instant) -> Vec<Stage> {
    let mut names: Vec<&StageName> = into(trace, part).filter_map(|(_, stage)| stage).collect();
    names.sort();
    names.dedup();
    names.into_iter().map(|name| stage(view, trace, part, name, at)).collect()
}

fn stage(view: View<'_>, trace: &Trace, part: &ThingName, name: &StageName, at: Instant) -> Stage {
    let laid = into(trace, part).filter(|(_, stage)| *stage == Some(name)).map(|(from, _)| from);
    let laid: BTreeSet<&ThingName> = laid.collect();
    let with_batch = |roll: &ThingName| {
        let batches: Vec<&str> = into(trace, roll).map(|(batch, _)| batch.short()).collect();
        (roll.short().to_owned(), batches.join(", "))
    };
    let sources = laid.into_iter().map(|from| match from.kind() {
        Kind::Kit => {
            let rolls: BTreeSet<&ThingName> =
                into(trace, from).map(|(roll, _)| roll).filter(|roll| roll.kind() == Kind::Roll).collect();
            Source { kit: Some(from.short().to_owned()), rolls: rolls.into_iter().map(with_batch).collect() }
        }
        _ => Source { kit: None, rolls: vec![with_batch(from)] },
    });
    let mut shown = Stage {
        name: name.to_string(),
        sources: sources.collect(),
        tack_when_laid: String::new(),
        out_life_at_cure: String::new(),
        run: String::new(),
        verdict: Verdict::CannotSay("the book does not know its acts".to_owned()),
    };
    if let Some(label) = view.book.label(part) {
        let life = stage_life(view, label, name);
        let acts = view.facts(label).filter(|fact| fact.at <= at).filter_map(|fact| stage_act(view, &life, fact));
        let acts: Vec<Judged> = acts.collect();
        let oven = life.oven(at);
        shown.run = oven.run().map_or_else(String::new, |run| view.book.name(run.run).short().to_owned());
        shown.tack_when_laid = least(&acts, Act::Lay, LimitName::TackLife);
        shown.out_life_at_cure = least(&acts, Act::Oven, LimitName::OutLife);
        shown.verdict = verdict(view, &acts, &oven);
    }
    shown
}

/// The least that an act left of a limit, in words.
fn least(acts: &[Judged], act: Act, name: LimitName) -> String {
    let of_act = acts.iter().filter(|judged| judged.act == act).flat_map(|judged| &judged.limits);
    let least = of_act.filter(|limit| limit.name == name).map(|limit| limit.left).min();
    match least {
        Some(ms) if ms < 0 => format!("{} over", left(ms.saturating_neg())),
        Some(ms) => left(ms),
        None => String::new(),
    }
}

fn verdict(view: View<'_>, acts: &[Judged], oven: &Oven) -> Verdict {
    let over = acts.iter().flat_map(Judged::over).min_by_key(|limit| limit.left);
    if let Some(over) = over {
        let item = view.book.name(over.item).short();
        return Verdict::Over(match over.name {
            LimitName::Refreezes => format!("{item}: too often back into the cold"),
            name => format!("{item}: {} over its {}", left(over.left.saturating_neg()), limit(name)),
        });
    }
    let unsure = acts.iter().find(|judged| judged.shown(view).answer == Word::CannotSay);
    match (unsure.and_then(|judged| judged.missing.first()), oven) {
        (Some((name, item, _)), _) => {
            Verdict::CannotSay(format!("{} of {}", limit(*name), view.book.name(*item).short()))
        }
        (None, Oven::NotStarted) => Verdict::NotCured("not in the oven yet"),
        (None, Oven::Provisional(_)) => Verdict::NotCured("cure not confirmed yet"),
        (None, Oven::Started(_)) => Verdict::Within,
    }
}

/// The first sentence answers: how much of the boat has a record, and was all of that within life?
fn claim(boat: &str, listed: Option<usize>, parts: &[Part], trace: &Trace) -> Vec<String> {
    let recorded: Vec<&Part> = parts.iter().filter(|part| !part.stages.is_empty()).collect();
    let of_list = recorded.iter().filter(|part| part.note.is_none()).count();
    let count = |kind: Kind| trace.nodes.iter().filter(|node| node.thing.kind() == kind).count();
    let made_of = format!("{} of {}", number(count(Kind::Roll), "roll"), number(count(Kind::Batch), "batch"));
    let mut claim = vec![match listed {
        Some(listed) => {
            let have = if of_list == 1 { "has" } else { "have" };
            let missing = match listed.saturating_sub(of_list) {
                0 => String::new(),
                1 => " 1 has none.".to_owned(),
                many => format!(" {many} have none."),
            };
            format!(
                "{of_list} of the {} on boat {boat}'s list {have} a record: {made_of}.{missing}",
                number(listed, "part")
            )
        }
        None => {
            format!("Nobody has said which parts boat {boat} has. {} in it: {made_of}.", number(recorded.len(), "part"))
        }
    }];
    // Each part is told once, by the worst of its stages.
    let named = |rank: u8| -> Vec<&str> {
        let worst = |part: &&&Part| part.stages.iter().map(|stage| stage.verdict.rank()).max() == Some(rank);
        recorded.iter().filter(worst).map(|part| part.name.as_str()).collect()
    };
    let within = named(Verdict::Within.rank()).len();
    if !recorded.is_empty() {
        claim.push(format!("{within} {} laid and cured within life.", if within == 1 { "was" } else { "were" }));
    }
    let mut tell = |names: Vec<&str>, one: &str, many: &str| match names.len() {
        0 => {}
        1 => claim.push(format!("1 {one}: {}.", names.join(", "))),
        count => claim.push(format!("{count} {many}: {}.", names.join(", "))),
    };
    tell(named(3), "was not", "were not");
    tell(named(2), "can't be judged", "can't be judged");
    tell(named(1), "is not cured, or not confirmed", "are not cured, or not confirmed");
    let strangers = recorded.iter().filter(|part| part.note.is_some()).map(|part| part.name.as_str()).collect();
    tell(strangers, "is in it and not on its list", "are in it and not on its list");
    claim
}

fn number(count: usize, word: &str) -> String {
    match (count, word) {
        (1, _) => format!("1 {word}"),
        (_, "batch") => format!("{count} batches"),
        (_, _) => format!("{count} {word}s"),
    }
}
