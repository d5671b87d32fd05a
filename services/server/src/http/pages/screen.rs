//! What the scan screen shows of one thing: the answer first, the reason second, then what can be done.

use crate::http::problems::Fault;
use crate::http::{ask::nobody, fallback::in_a_path};
use domain::fact::What;
use domain::say::{Say, left, so_far};
use domain::view::View;
use domain::{Book, MayUseQuestion, When};
use shared_types::{
    Act, Body, Code, Entry, HoldView, Kind, LimitName, MayUse, Mismatch, ThingName, ThingView, Whereabouts, Word,
};
use uuid::Uuid;

/// One thing, as the screen shows it.
#[derive(Default)]
pub(super) struct Screen {
    pub(super) thing: String,
    pub(super) name: String,
    /// Where it is, in few words.
    pub(super) place: String,
    /// The frame's weight repeats the answer.
    pub(super) frame: &'static str,
    pub(super) big: Vec<String>,
    pub(super) times: Vec<(&'static str, String)>,
    pub(super) why: Vec<String>,
    pub(super) ask: Option<Ask>,
    pub(super) moves: Option<Moves>,
    /// Something was written just now.
    pub(super) done: bool,
    pub(super) link: Option<(String, String)>,
}

/// A question with two answers, each one more scan.
pub(super) struct Ask {
    pub(super) question: &'static str,
    pub(super) form: Form,
    pub(super) yes: Button,
    pub(super) no: Button,
}

/// At most three buttons, the likeliest first.
pub(super) struct Moves {
    pub(super) form: Form,
    pub(super) main: Button,
    pub(super) others: Vec<Button>,
    /// There are more places than fit.
    pub(super) more: bool,
}

/// What a form keeps beside its button, so that a double post writes once.
pub(super) struct Form {
    pub(super) id: Uuid,
    pub(super) thing: String,
    pub(super) answer: String,
    pub(super) until: String,
    pub(super) as_of_seq: u64,
}

pub(super) struct Button {
    pub(super) go: String,
    pub(super) label: String,
}

/// What is asked of the book for one screen.
pub(super) struct Look<'a> {
    pub(super) thing: &'a ThingName,
    pub(super) job: Option<Code>,
    /// The entry that was written just now.
    pub(super) done: Option<&'a Entry>,
    pub(super) mismatches: &'a [Mismatch],
    pub(super) when: When,
    /// A fresh id for what may be written from this screen.
    pub(super) id: Uuid,
}

pub(super) fn screen(book: &Book, look: &Look<'_>) -> Result<Screen, Fault> {
    let say = Say::of(View::new(book, look.when.known), look.when.now);
    let seen = domain::thing_view(book, look.thing, look.when).ok_or_else(|| nobody(look.thing))?;
    let mut screen = Screen {
        thing: look.thing.to_string(),
        name: look.thing.short().to_owned(),
        place: place_words(&seen, &say, look),
        frame: "plain",
        ..Screen::default()
    };
    match look.thing.kind() {
        Kind::Roll | Kind::Kit => material(book, look, &seen, &say, &mut screen),
        Kind::Part => part(book, look, &seen, &mut screen),
        Kind::Boat => {
            screen.big.push(seen.say);
            screen.link = Some((format!("/{}", in_a_path(look.thing)), format!("What is in boat {}?", look.thing.short())));
        }
        _ => screen.big.push(seen.say),
    }
    Ok(screen)
}

fn place_words(seen: &ThingView, say: &Say, look: &Look<'_>) -> String {
    let time = |stamp: &shared_types::Stamp| say.time(stamp.at, look.when.now);
    match &seen.whereabouts {
        Whereabouts::NotReceived => "not received".to_owned(),
        Whereabouts::OnItsWay { place, since } => format!("on its way in {place} since {}", time(since)),
        Whereabouts::Inside { place, since, .. } => format!("in {place} since {}", time(since)),
        Whereabouts::Out { place: Some(place), since } => format!("out in {place} since {}", time(since)),
        Whereabouts::Out { place: None, since } => format!("out since {}", time(since)),
        Whereabouts::Consumed { since } => format!("used up {}", time(since)),
        Whereabouts::Disposed { since } => format!("thrown away {}", time(since)),
        Whereabouts::NothingLaid => "nothing laid".to_owned(),
        Whereabouts::Laid { since } => format!("laid since {}", time(since)),
        Whereabouts::InRun { run, since, .. } => format!("in run {} since {}", run.short(), time(since)),
        Whereabouts::InBoat { boat, .. } => format!("in boat {boat}"),
        Whereabouts::Standing => look.thing.kind().to_string(),
    }
}

fn is_inside(seen: &ThingView) -> bool {
    matches!(seen.whereabouts, Whereabouts::Inside { .. } | Whereabouts::OnItsWay { .. })
}

fn material(book: &Book, look: &Look<'_>, seen: &ThingView, say: &Say, screen: &mut Screen) {
    let act = if is_inside(seen) && look.done.is_none() { Act::TakeOut } else { Act::Lay };
    let question = MayUseQuestion { thing: look.thing.clone(), act, job: look.job.clone(), stage: None, when: look.when };
    let answer = domain::may_use(book, &question);
    if let Some(job) = &look.job {
        screen.name = format!("{} for {job}", look.thing.short());
    }
    match &answer {
        Ok(answer) => answered(answer, seen, say, look, screen),
        Err(why) => screen.big.push(why.to_string()),
    }
    let form = Form {
        id: look.id,
        thing: look.thing.to_string(),
        answer: answer.as_ref().map_or_else(|_| String::new(), |answer| word(answer.answer).to_owned()),
        until: answer.as_ref().ok().and_then(|answer| answer.heating_by).map_or_else(String::new, |by| by.to_string()),
        as_of_seq: seen.as_of_seq,
    };
    match look.done {
        Some(entry) => written(book, look, entry, answer.as_ref().ok(), say, form, screen),
        None => screen.moves = moves(book, look, seen, form),
    }
}

fn word(word: Word) -> &'static str {
    match word {
        Word::Yes => "yes",
        Word::NotYet => "not_yet",
        Word::CannotSay => "cannot_say",
        Word::No => "no",
        Word::Stop => "stop",
    }
}

fn answered(answer: &MayUse, seen: &ThingView, say: &Say, look: &Look<'_>, screen: &mut Screen) {
    screen.frame = match answer.answer {
        Word::Yes => "yes",
        Word::NotYet => "not-yet",
        Word::CannotSay => "cannot",
        Word::No => "no",
        Word::Stop => "stop",
    };
    let time = |stamp: shared_types::Stamp| say.time(stamp.at, look.when.now);
    match (answer.answer, answer.holds.first()) {
        (Word::No, Some(hold)) => {
            screen.big.push(format!("Do not use {}.", look.thing.short()));
            screen.why.push(held(hold, look, seen, say));
            return;
        }
        (Word::Yes | Word::NotYet, _) => {
            screen.times.extend(answer.last_ply_by.map(|by| ("Last ply by", time(by))));
            screen.times.extend(answer.heating_by.map(|by| ("Heating by", time(by))));
            if answer.answer == Word::NotYet || answer.job.is_some() || screen.times.is_empty() {
                screen.big.push(answer.say.clone());
            }
            let to_cure = answer.limits.iter().find(|row| row.limit == LimitName::LayToCure).and_then(|row| row.allowed_s);
            if let (Some(allowed_s), true) = (to_cure, answer.heating_by.is_some()) {
                screen.why.push(format!("Heating within {} of its first ply.", left(allowed_s.saturating_mul(1000))));
            }
        }
        (Word::CannotSay | Word::No | Word::Stop, _) => screen.big.push(answer.say.clone()),
    }
    if !answer.why.is_empty() {
        screen.why.push(answer.why.clone());
    }
}

fn held(hold: &HoldView, look: &Look<'_>, seen: &ThingView, say: &Say) -> String {
    let on = if hold.on == *look.thing { String::new() } else { format!(" with {}", hold.on.short()) };
    let away = if is_inside(seen) { "" } else { " Put it away." };
    format!("Held{on} since {}: {}.{away}", say.time(hold.since.at, look.when.now), hold.why.trim_end_matches('.'))
}

/// What was written just now, in the past tense with its time, and what did not add up with it.
fn written(book: &Book, look: &Look<'_>, entry: &Entry, answer: Option<&MayUse>, say: &Say, form: Form, screen: &mut Screen) {
    let name = look.thing.short();
    let at = say.time(entry.occurred_at.at, look.when.now);
    let found = |kind: &str| look.mismatches.iter().find(|mismatch| mismatch.kind == kind && mismatch.thing == *look.thing);
    screen.done = true;
    match &entry.body {
        Body::RollTakenOut(_) | Body::KitTakenOut(_) => {
            let mut big = vec![format!("{name}: taken out {at}.")];
            if found("out_while_out").is_some() {
                big.extend(out_before(book, look, entry, say).map(|before| format!("Again: also taken out {before}.")));
            }
            big.append(&mut screen.big);
            screen.big = big;
        }
        Body::RollPutAway(away) | Body::KitPutAway(away) => {
            screen.big = vec![format!("{name}: put away in {} {at}.", away.into)];
            screen.times.clear();
            let held = answer.is_some_and(|answer| !answer.holds.is_empty());
            let why = std::mem::take(&mut screen.why);
            screen.why = if held { why } else { back_inside(book, look, entry, answer) };
            if answer.is_some_and(|answer| answer.answer == Word::Yes) || !held {
                screen.frame = "plain";
            }
            if found("in_while_in").is_some() {
                screen.frame = "cannot";
                screen.ask = Some(Ask {
                    question: "The book has it inside already. Was this a take-out?",
                    form,
                    yes: Button { go: "take_out".to_owned(), label: "Yes, taken out".to_owned() },
                    no: Button { go: format!("put_away {}", away.into), label: "No, put away".to_owned() },
                });
                screen.why.clear();
            }
        }
        _ => screen.big = vec![format!("Entry {} was written {at}.", entry.seq)],
    }
    let told = ["out_while_out", "in_while_in", "acted_while_held"];
    let others = look.mismatches.iter().filter(|mismatch| !told.contains(&mismatch.kind.as_str()));
    screen.why.extend(others.map(|mismatch| format!("Doesn't add up: {}", mismatch.say)));
}

/// The last take-out before this one.
fn out_before(book: &Book, look: &Look<'_>, entry: &Entry, say: &Say) -> Option<String> {
    let view = View::new(book, look.when.known);
    let outs = view.facts(book.label(look.thing)?).filter(|fact| matches!(fact.what, What::TakenOut { .. }));
    let before = outs.filter(|fact| u64::from(fact.seq) != entry.seq && fact.at <= entry.occurred_at.at).last()?;
    Some(say.time(before.at, look.when.now))
}

fn back_inside(book: &Book, look: &Look<'_>, entry: &Entry, answer: Option<&MayUse>) -> Vec<String> {
    let card = domain::out_time_card(book, look.thing, look.when);
    let lines = card.as_ref().and_then(|card| card.cards.first()).map_or(&[][..], |card| &card.lines);
    let stretch = lines.iter().rfind(|line| line.back.is_some_and(|back| back.at == entry.occurred_at.at));
    let row = |name| answer.and_then(|answer| answer.limits.iter().find(|row| row.limit == name)).and_then(|row| row.left_s);
    let was = stretch.map(|line| format!("It was out {}.", so_far(line.interval_s.saturating_mul(1000))));
    let of = |name, words: &str| row(name).map(|left_s| format!("{} of {words} left.", left(left_s.saturating_mul(1000))));
    [was, of(LimitName::OutLife, "out-life"), of(LimitName::TackLife, "tack life")].into_iter().flatten().collect()
}

/// Take out, and put away in each frozen place: the one it was in last first, the likeliest move on top.
fn moves(book: &Book, look: &Look<'_>, seen: &ThingView, form: Form) -> Option<Moves> {
    if matches!(seen.whereabouts, Whereabouts::Consumed { .. } | Whereabouts::Disposed { .. }) {
        return None;
    }
    let mut places = frozen_places(book, look.thing, look.when);
    let more = 2 < places.len();
    places.truncate(if more { 1 } else { 2 });
    let out = Button { go: "take_out".to_owned(), label: "Take out".to_owned() };
    let mut away = places.into_iter().map(|place| put_away(&place));
    let (main, others) = match (is_inside(seen), away.next()) {
        (false, Some(first)) => (first, away.chain([out]).collect()),
        (_, first) => (out, first.into_iter().chain(away).collect()),
    };
    Some(Moves { form, main, others, more })
}

pub(super) fn put_away(place: &Code) -> Button {
    Button { go: format!("put_away {place}"), label: format!("Put away in {place}") }
}

/// The frozen places that are declared now; the one the thing was in last first.
pub(super) fn frozen_places(book: &Book, thing: &ThingName, when: When) -> Vec<Code> {
    let view = View::new(book, when.known);
    let own = book.label(thing).into_iter().flat_map(|label| view.facts(label)).filter_map(|fact| match fact.what {
        What::PutAway { into, .. } => Some(into),
        _ => None,
    });
    let last = own.last();
    let all = book.labels().filter(|label| book.kind(*label) == Kind::Place && view.frozen(*label, when.now));
    let mut places: Vec<(bool, Code)> = all.map(|label| (Some(label) != last, book.code(label))).collect();
    places.sort();
    places.into_iter().map(|(_, code)| code).collect()
}

/// A part: each stage's answer for the oven.
fn part(book: &Book, look: &Look<'_>, seen: &ThingView, screen: &mut Screen) {
    screen.big.push(seen.say.clone());
    for stage in &seen.stages {
        let stage = Some(stage.stage.clone());
        let question = MayUseQuestion { thing: look.thing.clone(), act: Act::Oven, job: None, stage: stage.clone(), when: look.when };
        if let (Ok(answer), Some(stage)) = (domain::may_use(book, &question), stage) {
            screen.why.push(format!("{stage}: {} {}", answer.say, answer.why));
        }
    }
}
