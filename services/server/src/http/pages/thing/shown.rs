//! What a thing's page shows of the book: asked under the read lock, each thing folded for each question once.

use super::super::{
    effect::judged,
    screen::{Asked, Look, screen},
    work::frame,
};
use super::{facts, rows};
use crate::http::pages::{in_a_query, receive::paper};
use crate::http::{fallback::in_a_path, problems::Fault};
use domain::say::Say;
use domain::{Book, MayUseQuestion, When, view::View};
use shared_types::{Act, JudgedAgain, Kind, Mismatch, StageName, ThingName, ThingView, Whereabouts, Word};
use uuid::Uuid;

pub(super) struct Shown {
    /// The frame's weight repeats the answer.
    pub(super) frame: &'static str,
    pub(super) big: Vec<String>,
    pub(super) why: Vec<String>,
    /// Where it is and since when, where the answer does not say so.
    pub(super) place: String,
    pub(super) facts: Vec<facts::Line>,
    /// By lay-up stage for a part; one without a name for a roll or kit.
    pub(super) stages: Vec<Stage>,
    pub(super) holds: Vec<Hold>,
    pub(super) puzzles: Vec<Puzzle>,
    pub(super) judged_again: Vec<String>,
    pub(super) to_confirm: Vec<String>,
    pub(super) cards: Vec<rows::Card>,
    /// What can be opened beside it.
    pub(super) links: Vec<(String, &'static str)>,
}

pub(super) struct Stage {
    pub(super) name: Option<String>,
    pub(super) words: Vec<String>,
    pub(super) rows: Vec<rows::Row>,
    /// Whether anything could be put away.
    pub(super) away: bool,
}

pub(super) struct Hold {
    pub(super) words: String,
    /// Where it is lifted.
    pub(super) address: String,
}

pub(super) struct Puzzle {
    pub(super) say: String,
    pub(super) ask: Option<String>,
    pub(super) address: String,
    /// Somebody answered it.
    pub(super) settled: bool,
}

pub(super) fn shown(book: &Book, thing: &ThingName, when: When) -> Result<Option<Shown>, Fault> {
    let Some(seen) = domain::thing_view(book, thing, when) else { return Ok(None) };
    let say = Say::of(View::new(book, when.known), when.now);
    let mut shown = Shown {
        frame: "plain",
        big: Vec::new(),
        why: Vec::new(),
        place: String::new(),
        facts: facts::facts(&seen, &say, when.now),
        stages: Vec::new(),
        holds: holds(&seen, &say, when),
        puzzles: seen.mismatches.iter().map(puzzle).collect(),
        judged_again: judged_again(&seen.judged_again, &say, when),
        to_confirm: to_confirm(&seen, &say, when),
        cards: Vec::new(),
        links: links(book, thing, when),
    };
    match thing.kind() {
        Kind::Roll | Kind::Kit => material(book, &seen, when, &say, &mut shown),
        Kind::Part => part(book, &seen, when, &say, &mut shown),
        _ => {
            let look =
                Look { thing, job: None, done: None, mismatches: &[], when, id: Uuid::nil(), asked: Asked::default() };
            let words = screen(book, &look)?;
            (shown.frame, shown.big, shown.why) = (words.frame, words.big, words.why);
        }
    }
    if matches!(thing.kind(), Kind::Roll | Kind::Kit | Kind::Part) {
        shown.cards = cards(book, thing, when, &say);
    }
    Ok(Some(shown))
}

fn material(book: &Book, seen: &ThingView, when: When, say: &Say, shown: &mut Shown) {
    let inside = super::super::screen::is_inside(seen);
    let act = if inside { Act::TakeOut } else { Act::Lay };
    let question = MayUseQuestion { thing: seen.thing.clone(), act, job: None, stage: None, when };
    shown.place = seen.say.clone();
    let row = |row: &shared_types::LimitRow, away: Option<&shared_types::Outlook>| {
        rows::row(row, &seen.thing, away, say, when.now)
    };
    let rows = match domain::may_use(book, &question) {
        Ok(answer) => {
            shown.frame = frame(answer.answer);
            let lead = if inside && answer.answer == Word::Yes { "If it comes out now: " } else { "" };
            shown.big.push(format!("{lead}{}", answer.say));
            shown.why.extend(Some(answer.why.clone()).filter(|why| !why.is_empty()));
            shown.why.extend(answer.notes.iter().cloned());
            shown.why.extend(super::super::closed::closed_then(book, &answer, say, when));
            let away = answer.if_put_away_now.as_ref().filter(|_| !inside);
            let with = |one: &shared_types::LimitRow| rows::Row {
                first: answer.governing == Some(one.limit),
                ..row(one, away)
            };
            let rows = answer.limits.iter().filter(|row| super::super::screen::still_counts(row, seen));
            rows.map(with).collect()
        }
        Err(why) => {
            shown.big.push(why.to_string());
            seen.limits.iter().map(|one| row(one, None)).collect()
        }
    };
    shown.stages.push(Stage { name: None, words: Vec::new(), rows, away: !inside });
}

fn part(book: &Book, seen: &ThingView, when: When, say: &Say, shown: &mut Shown) {
    shown.big.push(seen.say.clone());
    for stage in &seen.stages {
        let mut first = None;
        let mut words = vec![stage_words(&stage.whereabouts, say, when)];
        if matches!(stage.whereabouts, Whereabouts::Laid { .. }) {
            let stage: Option<StageName> = Some(stage.stage.clone());
            let question = MayUseQuestion { thing: seen.thing.clone(), act: Act::Oven, job: None, stage, when };
            if let Ok(answer) = domain::may_use(book, &question) {
                words.extend([answer.say, answer.why].into_iter().filter(|words| !words.is_empty()));
                first = answer.governing;
                if Word::No <= answer.answer {
                    shown.frame = frame(answer.answer);
                }
            }
        }
        let rows = stage.limits.iter().map(|one| rows::Row {
            first: first == Some(one.limit),
            ..rows::row(one, &seen.thing, None, say, when.now)
        });
        shown.stages.push(Stage { name: Some(stage.stage.to_string()), words, rows: rows.collect(), away: false });
    }
}

fn stage_words(at: &Whereabouts, say: &Say, when: When) -> String {
    let time = |stamp: &shared_types::Stamp| say.time(stamp.at, when.now);
    match at {
        Whereabouts::InRun { run, since, confirmed: true } => {
            format!("Into the oven in run {} {}.", run.short(), time(since))
        }
        Whereabouts::InRun { run, since, confirmed: false } => {
            format!("Into the oven in run {} {}, not confirmed yet.", run.short(), time(since))
        }
        Whereabouts::Laid { since } => format!("Lay-up since {}.", time(since)),
        _ => "Nothing laid.".to_owned(),
    }
}

fn holds(seen: &ThingView, say: &Say, when: When) -> Vec<Hold> {
    let address = |hold: &shared_types::HoldView| {
        format!("/hold?thing={}&lift={}", super::super::in_a_query(&hold.on.to_string()), hold.hold)
    };
    let hold = |hold: &shared_types::HoldView| Hold {
        words: held_words(hold, &seen.thing, say, when),
        address: address(hold),
    };
    seen.holds.iter().map(hold).collect()
}

/// A hold on a thing, or on something that it stands on.
pub(in super::super) fn held_words(hold: &shared_types::HoldView, of: &ThingName, say: &Say, when: When) -> String {
    let on = if hold.on == *of { String::new() } else { format!("with {} ", hold.on.short()) };
    let number = hold.nonconformance.as_ref().map_or(String::new(), |number| format!(", {number}"));
    let since = say.time(hold.since.at, when.now);
    format!("Held {on}since {since} by {}: {}{number}.", hold.by, hold.why.trim_end_matches('.'))
}

fn puzzle(one: &Mismatch) -> Puzzle {
    Puzzle {
        say: one.say.clone(),
        ask: one.ask.clone(),
        address: super::super::puzzles::address(one),
        settled: one.settled_by.is_some(),
    }
}

pub(in super::super) fn judged_again(all: &[JudgedAgain], say: &Say, when: When) -> Vec<String> {
    let one = |one: &JudgedAgain| {
        format!(
            "{} {} (entry {}): judged then: {}; judged today: {}.",
            act_words(one.act),
            say.time(one.at.at, when.now),
            one.seq,
            judged(&one.then),
            judged(&one.now)
        )
    };
    all.iter().map(one).collect()
}

pub(in super::super) fn act_words(act: Act) -> &'static str {
    match act {
        Act::TakeOut => "Taken out",
        Act::Cut => "Cut",
        Act::Lay => "Laid",
        Act::Oven => "Put into the oven",
    }
}

fn to_confirm(seen: &ThingView, say: &Say, when: When) -> Vec<String> {
    let one = |one: &shared_types::ToConfirm| {
        format!(
            "Entry {}: {}, {}, told by {}. Until another badge confirms it, it gives nothing back.",
            one.seq,
            domain::say::entry_kind(&one.kind),
            say.time(one.occurred_at.at, when.now),
            one.by
        )
    };
    seen.to_confirm.iter().map(one).collect()
}

pub(super) fn cards(book: &Book, thing: &ThingName, when: When, say: &Say) -> Vec<rows::Card> {
    let mut cards = domain::out_time_card(book, thing, when).map_or_else(Vec::new, |card| card.cards);
    // Laid several times from one roll, it is one card.
    cards.dedup();
    cards.iter().map(|card| rows::card(card, say, when.now)).collect()
}

fn links(book: &Book, thing: &ThingName, when: When) -> Vec<(String, &'static str)> {
    let name = super::super::in_a_query(&thing.to_string());
    let mut links = vec![(format!("/hold?thing={name}"), "Hold it")];
    if matches!(thing.kind(), Kind::Roll | Kind::Kit | Kind::Part | Kind::Batch | Kind::Boat) {
        links.push((format!("/trace/{}", in_a_path(thing)), "Trace"));
    }
    if thing.kind() == Kind::Batch {
        links.push((format!("/recall/{}", in_a_path(thing)), "Where all of it is, to hold it"));
    }
    if thing.kind() == Kind::Boat {
        links.push((format!("/{}", in_a_path(thing)), "What is in this boat?"));
    }
    if matches!(thing.kind(), Kind::Roll | Kind::Kit) {
        links.push((format!("/?thing={name}"), "Take out or put away"));
    }
    let view = View::new(book, when.known);
    if book.label(thing).is_some_and(|roll| thing.kind() == Kind::Roll && paper::bare(view, roll).next().is_some()) {
        links.push((paper::address(thing), "Its paper came later"));
    }
    if thing.kind() == Kind::Delivery {
        links.push((format!("/receive?note={}", in_a_query(thing.short())), "Receive its rolls"));
    }
    if let (Kind::Batch, Some((material, batch))) = (thing.kind(), thing.code().split_once('/')) {
        let query = format!("what={}&batch={}", in_a_query(material), in_a_query(batch));
        links.push((format!("/receive/batch?{query}"), "Its certificate came later"));
    }
    links
}
