//! What the scan screen shows of one thing: the answer first, the reason second, then what can be done.

use super::{asking, closed::closed_then, declared::declared, done, part::part, unsure, work::frame};
use crate::http::{ask::nobody, fallback::in_a_path, problems::Fault};
use domain::fact::What;
use domain::rows::{is_not_laid, left_words};
use domain::say::{Say, limit, so_far};
use domain::view::View;
use domain::{Book, MayUseQuestion, RETURN_ENDS_IT, When, told_put_away};
use shared_types::{
    Act, Code, Day, Entry, HoldView, Kind, LimitName, LimitRow, MayUse, Mismatch, State, ThingName, ThingView,
    Whereabouts, Word,
};
use uuid::Uuid;

pub(super) use asking::Asked;

/// One thing, as the screen shows it.
#[derive(Default)]
pub(super) struct Screen {
    pub(super) thing: String,
    pub(super) name: String,
    /// Where it is, in a word for a small screen.
    pub(super) spot: String,
    /// Where it is and since when.
    pub(super) place: String,
    /// The frame's weight repeats the answer.
    pub(super) frame: &'static str,
    pub(super) big: Vec<String>,
    /// On what the times below depend.
    pub(super) lead: Option<&'static str>,
    pub(super) times: Vec<(&'static str, String)>,
    /// What belongs to the times: what also bounds the heating, the spare time.
    pub(super) under: Vec<String>,
    pub(super) why: Vec<String>,
    /// What is scanned next.
    pub(super) next: &'static str,
    /// The limits behind the answer, where there is room for them.
    pub(super) limits: Vec<Limit>,
    pub(super) ask: Option<Ask>,
    pub(super) moves: Option<Moves>,
    /// Something was written just now.
    pub(super) done: bool,
    pub(super) link: Option<(String, String)>,
    /// What else may be asked for; the one without an address is answered above.
    pub(super) acts: Vec<(Option<String>, String)>,
}

impl Screen {
    /// Its name takes a line of its own, so that the field can say beside nothing else whether it is ready.
    pub(super) fn is_long(&self) -> bool {
        8 < self.name.chars().count()
    }
}

/// A limit as a row of a form.
pub(super) struct Limit {
    /// It ends first.
    pub(super) first: bool,
    pub(super) name: &'static str,
    /// Why there are no figures: no limit, or something is missing.
    pub(super) words: Option<String>,
    pub(super) so_far: String,
    pub(super) left: String,
    pub(super) ends: String,
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
    /// None where it is already where it should be.
    pub(super) main: Option<Button>,
    pub(super) others: Vec<Button>,
    /// There are more places than fit.
    pub(super) more: bool,
    /// The other buttons are smaller than the main one, however few they are.
    pub(super) small: bool,
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
    pub(super) asked: Asked,
}

pub(super) fn screen(book: &Book, look: &Look<'_>) -> Result<Screen, Fault> {
    let say = Say::of(View::new(book, look.when.known), look.when.now);
    let seen = domain::thing_view(book, look.thing, look.when).ok_or_else(|| nobody(look.thing))?;
    let mut screen = Screen {
        thing: look.thing.to_string(),
        name: look.thing.short().to_owned(),
        spot: spot(&seen),
        place: place_words(&seen.whereabouts, look.thing, &say, look.when.now),
        frame: "plain",
        ..Screen::default()
    };
    match look.thing.kind() {
        Kind::Roll | Kind::Kit => material(book, look, &seen, &say, &mut screen),
        Kind::Part => part(book, look, &seen, &say, &mut screen),
        _ => declared(book, look, &seen, &say, &mut screen),
    }
    if look.thing.kind() == Kind::Boat {
        let text = format!("What is in boat {}?", look.thing.short());
        screen.link = Some((format!("/{}", in_a_path(look.thing)), text));
    }
    Ok(screen)
}

fn spot(seen: &ThingView) -> String {
    match &seen.whereabouts {
        Whereabouts::Inside { place, .. } | Whereabouts::OnItsWay { place, .. } => format!("in {place}"),
        Whereabouts::Out { .. } => "out".to_owned(),
        Whereabouts::NotReceived => "not received".to_owned(),
        Whereabouts::Consumed { .. } => "used up".to_owned(),
        Whereabouts::Disposed { .. } => "thrown away".to_owned(),
        Whereabouts::NothingLaid
        | Whereabouts::Laid { .. }
        | Whereabouts::InRun { .. }
        | Whereabouts::InBoat { .. }
        | Whereabouts::Standing => String::new(),
    }
}

/// Where it is and since when, beside its name.
pub(super) fn place_words(spot: &Whereabouts, of: &ThingName, say: &Say, near: shared_types::Instant) -> String {
    let time = |stamp: &shared_types::Stamp| say.time(stamp.at, near);
    match spot {
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
        Whereabouts::Standing => of.kind().to_string(),
    }
}

pub(super) fn is_inside(seen: &ThingView) -> bool {
    matches!(seen.whereabouts, Whereabouts::Inside { .. } | Whereabouts::OnItsWay { .. })
}

fn material(book: &Book, look: &Look<'_>, seen: &ThingView, say: &Say, screen: &mut Screen) {
    let next = if is_inside(seen) && look.done.is_none() { Act::TakeOut } else { Act::Lay };
    let act = look.asked.act.unwrap_or(next);
    screen.acts = asking::acts(look, act);
    let question =
        MayUseQuestion { thing: look.thing.clone(), act, job: look.job.clone(), stage: None, when: look.when };
    let answer = domain::may_use(book, &question);
    match &answer {
        Ok(answer) => {
            answered(answer, seen, say, look, screen);
            if !screen.times.is_empty() {
                screen.under.extend(closed_then(book, answer, say, look.when));
            }
            let rows = answer.limits.iter().filter(|row| still_counts(row, seen));
            screen.limits = rows.map(|row| limit_row(row, answer, say, look)).collect();
        }
        Err(why) => screen.big.push(why.to_string()),
    }
    let bad = answer.as_ref().is_ok_and(|answer| Word::No <= answer.answer);
    let form = Form {
        id: look.id,
        thing: look.thing.to_string(),
        answer: answer.as_ref().map_or_else(|_| String::new(), |answer| word(answer.answer).to_owned()),
        until: answer.as_ref().ok().and_then(|answer| answer.heating_by).map_or_else(String::new, |by| by.to_string()),
        as_of_seq: seen.as_of_seq,
    };
    match look.done {
        Some(entry) => done::written(book, look, entry, answer.as_ref().ok(), say, form, screen),
        None => {
            if bad {
                let above = [&screen.big[..], &screen.why[..]].concat();
                screen.why.extend(unsure::open(unsure::about(book, look.thing, look.when), &above));
            }
            if !is_inside(seen) {
                let view = View::new(book, look.when.known);
                let told = book.label(look.thing).and_then(|of| told_put_away(view, of, look.when.at, say));
                screen.why.extend(told);
            }
            screen.moves = moves(book, look, seen, form, bad);
        }
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

pub(super) fn answered(answer: &MayUse, seen: &ThingView, say: &Say, look: &Look<'_>, screen: &mut Screen) {
    screen.frame = frame(answer.answer);
    let time = |stamp: shared_types::Stamp| say.time(stamp.at, look.when.now);
    let return_ends_it = answer.notes.iter().find(|note| *note == RETURN_ENDS_IT);
    match (answer.answer, answer.holds.first()) {
        (Word::No, Some(hold)) => {
            screen.big.push(match answer.stage {
                Some(_) => answer.say.clone(),
                None => format!("Do not use {}.", look.thing.short()),
            });
            let away = if answer.if_put_away_now.is_some() { " Put it away." } else { "" };
            screen.why.push(held(hold, look, away, say));
            screen.why.extend(return_ends_it.cloned());
            return;
        }
        (Word::Yes, _) if answer.job.is_none() && answer.heating_by.is_some() => {
            screen.lead = (is_inside(seen) && look.done.is_none()).then_some("If it comes out now:");
            screen.times.extend(answer.last_ply_by.map(|by| ("Last ply by", time(by))));
            screen.times.extend(answer.heating_by.map(|by| ("Heating by", time(by))));
            // As the answer itself says it: of the first ply or of the lay-up's end.
            let within = answer.say.rsplit_once(", ").map(|(_, within)| within.trim_end_matches('.'));
            screen.under.extend(within.filter(|within| within.starts_with("within ")).map(str::to_owned));
            screen.under.extend(answer.notes.iter().filter(|note| note.to_lowercase().contains("spare time")).cloned());
        }
        (Word::Yes | Word::NotYet | Word::CannotSay | Word::No | Word::Stop, _) => screen.big.push(answer.say.clone()),
    }
    if !answer.why.is_empty() {
        screen.why.push(answer.why.clone());
    }
    screen.why.extend(return_ends_it.cloned());
}

/// What is used up or thrown away waits for no oven any more, laid or not.
pub(super) fn still_counts(row: &LimitRow, seen: &ThingView) -> bool {
    let ended = matches!(seen.whereabouts.state(), State::Consumed | State::Disposed);
    !(ended && row.limit == LimitName::LayToCure)
}

pub(super) fn limit_row(row: &LimitRow, answer: &MayUse, say: &Say, look: &Look<'_>) -> Limit {
    let clock = |seconds: i64, words: fn(i64) -> String| words(seconds.saturating_mul(1000));
    let so_far_words = match (row.so_far_s, row.so_far, row.allowed) {
        _ if is_not_laid(row, &answer.thing) => "not laid".to_owned(),
        (Some(seconds), ..) => clock(seconds, so_far),
        (None, Some(count), Some(allowed)) => format!("{count} of {allowed}"),
        (None, ..) => String::new(),
    };
    let words = match (&row.none_by, &row.missing) {
        (Some(document), _) => Some(format!("no limit, by {document}")),
        (None, Some(missing)) => Some(format!("missing: {missing}")),
        (None, None) => None,
    };
    let last_day = || row.ends_on.as_deref().and_then(|day| Day::parse(day).ok()).and_then(Day::last);
    let ends = row
        .ends_at
        .map(|at| say.time(at.at, look.when.now))
        .or_else(|| last_day().map(|day| day.format("%a %-d %b %Y").to_string()));
    Limit {
        first: answer.governing == Some(row.limit),
        name: limit(row.limit),
        words,
        so_far: so_far_words,
        left: left_words(row),
        ends: ends.unwrap_or_default(),
    }
}

pub(super) fn held(hold: &HoldView, look: &Look<'_>, what_now: &str, say: &Say) -> String {
    let on = if hold.on == *look.thing { String::new() } else { format!(" with {}", hold.on.short()) };
    format!("Held{on} since {}: {}.{what_now}", say.time(hold.since.at, look.when.now), hold.why.trim_end_matches('.'))
}

/// Take out, and put away in each frozen place: the one it was in last first, the likeliest move on top. What may not
/// be used is put away rather than taken out; in the cold already it can only be moved, and no button comes first.
fn moves(book: &Book, look: &Look<'_>, seen: &ThingView, form: Form, bad: bool) -> Option<Moves> {
    if matches!(seen.whereabouts, Whereabouts::Consumed { .. } | Whereabouts::Disposed { .. }) {
        return None;
    }
    let mut places = frozen_places(book, look.thing, look.when);
    let stays = bad && is_inside(seen);
    // Where it is by the book it needs no putting away; whoever did so all the same finds it among all places.
    places.retain(|place| !is_inside(seen) || seen.whereabouts.place() != Some(place));
    let more = 2 < places.len() || is_inside(seen);
    places.truncate(if more { 1 } else { 2 });
    let out = Button { go: "take_out".to_owned(), label: "Take out".to_owned() };
    let mut away = places.into_iter().map(|place| put_away(&place));
    let (main, others) = match (is_inside(seen) && !bad, away.next()) {
        (false, first) if stays => (None, first.into_iter().chain(away).chain([out]).collect()),
        (false, Some(first)) => (Some(first), away.chain([out]).collect()),
        (_, first) => (Some(out), first.into_iter().chain(away).collect()),
    };
    Some(Moves { form, main, others, more, small: bad })
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
