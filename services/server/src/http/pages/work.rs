//! What the pages of work share: one scan field, one answer, buttons that write one fact once.

use super::{again::Meant, assets::Assets, badge, lengths::lengths, page, scan, screen::Button, see};
use crate::http::say::sentence;
use crate::http::{
    ask,
    problems::Fault,
    refusals::{Stored, stored},
    who::By,
};
use crate::{committer::Outcome, intake, yard::Yard};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode};
use askama::Template;
use domain::{Book, RULES, When, say::Say, view::View};
use serde_json::{Value, json};
use shared_types::{Code, Entry, Kind, MayUse, ThingName, Whereabouts, Word};
use uuid::Uuid;

/// One step of a piece of work.
pub(super) struct Step {
    pub(super) address: &'static str,
    pub(super) name: String,
    /// What was scanned so far; the next scan carries it along.
    pub(super) keep: Vec<(&'static str, String)>,
    /// What the scan field asks for; nothing: there is no scan field, because something is typed.
    pub(super) ready: &'static str,
    pub(super) frame: &'static str,
    pub(super) big: Vec<String>,
    pub(super) why: Vec<String>,
    /// Addresses and what stands on them.
    pub(super) choices: Vec<(String, String)>,
    pub(super) press: Option<Press>,
    /// Where the entry that was written just now is made right.
    pub(super) undo: Vec<(String, &'static str)>,
    pub(super) caution: &'static str,
}

/// The buttons, and what the form keeps beside them.
pub(super) struct Press {
    pub(super) fields: Vec<(&'static str, String)>,
    /// What is typed, at a table in the warm.
    pub(super) typed: Vec<Typed>,
    pub(super) one_of: Option<OneOf>,
    /// A box that may be ticked: its name and its words.
    pub(super) tick: Option<(&'static str, &'static str)>,
    pub(super) buttons: Vec<Button>,
    pub(super) asks: Asks,
    /// Where to go on once somebody has scanned a badge.
    pub(super) back: String,
}

/// What the answer above the buttons is about.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Asks {
    /// What the first button records.
    First,
    /// Something else: the buttons say how it went.
    Other,
}

/// One of these is chosen, and none before somebody chose.
pub(super) struct OneOf {
    pub(super) name: &'static str,
    /// Value and words of each.
    pub(super) choices: Vec<(&'static str, &'static str)>,
    pub(super) chosen: String,
}

/// A field that is typed into.
pub(super) struct Typed {
    pub(super) name: &'static str,
    pub(super) label: String,
    pub(super) value: String,
    /// What it looks like.
    pub(super) like: &'static str,
}

#[derive(Template)]
#[template(path = "work.html")]
struct WorkPage {
    assets: Assets,
    badge: Option<String>,
    signs_in: bool,
    step: Step,
}

/// So wide are a name and what its field says on a handheld, where a letter of the name is half as wide again.
const BESIDE: usize = 50;
/// So many characters on half a handheld's width are read on two lines.
const NARROW_CHARS: usize = 16;

impl Step {
    /// A step that shows nothing yet and offers nothing to press.
    pub(super) fn at(address: &'static str, caution: &'static str) -> Step {
        Step {
            address,
            name: String::new(),
            keep: Vec::new(),
            ready: "",
            frame: "plain",
            big: Vec::new(),
            why: Vec::new(),
            choices: Vec::new(),
            press: None,
            undo: Vec::new(),
            caution,
        }
    }

    /// Its name takes a line of its own where the field would not say to its end beside it what it asks for.
    fn is_long(&self) -> bool {
        BESIDE < 3 * self.name.chars().count() + 2 * self.ready.chars().count()
    }

    /// Choices that would not fit below each other stand side by side where their words are short.
    fn is_narrow(&self) -> bool {
        3 < self.choices.len() && self.choices.iter().all(|(_, label)| label.chars().count() <= NARROW_CHARS)
    }

    /// Its first button records what the answer above does not say yes to: it says so and is drawn thinner.
    fn is_against(&self, press: &Press) -> bool {
        press.asks == Asks::First && !matches!(self.frame, "yes" | "plain")
    }

    fn title(&self) -> String {
        match self.big.first() {
            Some(big) => format!("{}: {big}", self.name),
            None => self.name.clone(),
        }
    }
}

pub(super) fn render(request: &HttpRequest, step: Step) -> Result<HttpResponse, Fault> {
    render_as(request, StatusCode::OK, step)
}

pub(super) fn render_as(request: &HttpRequest, status: StatusCode, step: Step) -> Result<HttpResponse, Fault> {
    let badge = badge::remembered(request).map(|code| code.to_string());
    page(status, &WorkPage { assets: Assets::new(), badge, signs_in: badge::signs_in(request), step })
}

/// The same step with what was typed into it, and what is wrong with that.
pub(super) fn again(mut step: Step, problem: &str, typed: &[(&str, &String)]) -> Step {
    let was_yes = step.frame == "yes";
    step.frame = "cannot";
    step.big.insert(0, sentence(problem));
    if let Some(press) = &mut step.press {
        if was_yes {
            press.asks = Asks::Other;
        }
        for field in &mut press.typed {
            let said = typed.iter().find(|(name, _)| *name == field.name);
            field.value = said.map_or_else(String::new, |(_, text)| (*text).clone());
        }
    }
    step
}

/// What is known so far, and goes along with the next scan.
pub(super) fn kept(known: &[(&'static str, &String)]) -> Vec<(&'static str, String)> {
    let known = known.iter().filter(|(_, value)| !value.is_empty());
    known.map(|(name, value)| (*name, (*value).clone())).collect()
}

/// The code of a field that a page filled in itself.
pub(super) fn code(text: &str, what: &str) -> Result<Code, Fault> {
    Code::new(text).map_err(|error| Fault::cannot_read(format!("No code of a {what}: {error}. Scan it again.")))
}

/// Goes on with what was scanned: with the one thing that it means, or by asking which, or saying why it means nothing here.
pub(super) fn go_on(
    request: &HttpRequest,
    yard: &Yard,
    code: &str,
    kinds: &[Kind],
    next: impl Fn(&ThingName) -> String,
    plain: impl FnOnce(Vec<String>) -> Step,
) -> Result<HttpResponse, Fault> {
    let things = match scanned(yard, code, kinds)? {
        Ok(things) => things,
        Err(say) => return render(request, Step { frame: "cannot", ..plain(vec![say]) }),
    };
    if let [one] = things.as_slice() {
        return Ok(see(&next(one)));
    }
    let choices = things.iter().map(|thing| (next(thing), thing.to_string())).collect();
    render(request, Step { choices, ..plain(vec![format!("Which {}?", code.trim())]) })
}

/// What a scanned label may mean here, or why it means nothing.
pub(super) fn scanned(yard: &Yard, code: &str, kinds: &[Kind]) -> Result<Result<Vec<ThingName>, String>, Fault> {
    let Ok(code) = Code::new(scan::without_symbology(code)) else {
        let say = "That is no code of a label: it has 1 to 40 printable characters and no slash. Scan it again.";
        return Ok(Err(say.to_owned()));
    };
    ask::ask(yard, |book| {
        let all = domain::scan(book, &code).things;
        let fit: Vec<ThingName> = all.iter().filter(|thing| kinds.contains(&thing.kind())).cloned().collect();
        Ok(match (fit.is_empty(), all.first()) {
            (false, _) => Ok(fit),
            (true, None) => Err(ask::nobody_has(book, &code)),
            (true, Some(other)) => Err(format!("{code} is a {}: not asked for here.", other.kind())),
        })
    })
}

/// Where what was written just now is made right, with its effect before anything is saved.
pub(super) fn undo(entry: &Entry) -> Vec<(String, &'static str)> {
    let address = |pick: &str| format!("/strike/{}?pick={pick}", entry.seq);
    let length = (!lengths(&entry.body).is_empty()).then(|| (address("length"), "Another length"));
    length.into_iter().chain([(address("never"), "It didn't happen")]).collect()
}

/// The frame whose weight repeats an answer.
pub(super) fn frame(word: Word) -> &'static str {
    match word {
        Word::Yes => "yes",
        Word::NotYet => "not-yet",
        Word::CannotSay => "cannot",
        Word::No => "no",
        Word::Stop => "stop",
    }
}

/// What the book still has in the cold is taken out first: its clock does not run for what nobody scanned.
pub(super) fn take_out_first(book: &Book, thing: &ThingName, when: When, step: &mut Step) {
    let seen = domain::thing_view(book, thing, when);
    if let Some(Whereabouts::Inside { place, .. } | Whereabouts::OnItsWay { place, .. }) =
        seen.map(|seen| seen.whereabouts)
    {
        let say = format!("{} is in {place} by the book. Scan it out first.", thing.code());
        // What may not be used at all is said before how it would come out.
        let at = if matches!(step.frame, "no" | "stop" | "cannot") { step.big.len() } else { 0 };
        step.big.insert(at, say);
        if matches!(step.frame, "yes" | "plain") {
            step.frame = "not-yet";
        }
        let address = format!("/?thing={}", super::in_a_query(&thing.to_string()));
        step.choices.insert(0, (address, format!("Take out {}", thing.code())));
    }
}

/// What does not add up since this entry was written stands on the screen, not only on a list.
pub(super) fn with_doubts(yard: &Yard, seq: Option<u64>, mut step: Step) -> Step {
    let doubts = seq.map_or_else(Vec::new, |seq| ask::mismatches(yard, seq));
    if !doubts.is_empty() {
        step.frame = "cannot";
        step.big.extend(doubts.into_iter().map(|one| one.say));
    }
    step
}

/// What the screen said, as the form keeps it.
pub(super) fn shown(answer: &MayUse, as_of_seq: u64) -> Vec<(&'static str, String)> {
    let until = answer.heating_by.map_or_else(String::new, |by| by.to_string());
    let word = frame(answer.answer).replace('-', "_");
    let word = if answer.answer == Word::CannotSay { "cannot_say".to_owned() } else { word };
    vec![("answer", word), ("until", until), ("as_of_seq", as_of_seq.to_string())]
}

/// A label that nobody has yet: the minute, and the page's own number. It stands in the form, so that a form names the
/// same thing however often it is sent.
pub(super) fn label(kind: &str, say: &Say, when: When, id: Uuid) -> String {
    let minute: String =
        say.stamp(when.now).to_string().chars().take(16).filter(char::is_ascii_digit).skip(2).collect();
    let (day, clock) = minute.split_at(minute.len().min(6));
    let own = u32::from_be_bytes(*id.as_bytes().last_chunk::<4>().unwrap_or(&[0; 4])) & 0xffff;
    format!("{kind}-{day}-{clock}-{own:04X}")
}

/// A fact that a button writes.
pub(super) struct Wish<'a> {
    /// That of the form; each button of it has an id of its own.
    pub(super) id: Uuid,
    pub(super) go: &'a str,
    pub(super) by: &'a By,
    pub(super) kind: &'a str,
    pub(super) thing: &'a ThingName,
    pub(super) shown: Option<Value>,
    pub(super) body: Value,
    /// Fields of the body that the page worked out when it was pressed: a second press may differ in them.
    pub(super) worked_out: &'static [&'static str],
}

pub(super) fn said(answer: &str, until: &str, as_of_seq: u64) -> Option<Value> {
    let until = Some(until).filter(|until| !until.is_empty());
    (!answer.is_empty()).then(|| json!({ "answer": answer, "until": until, "as_of_seq": as_of_seq, "rules": RULES }))
}

/// Writes it now, and once however often the form is sent.
pub(super) async fn write(yard: &Yard, wish: Wish<'_>) -> Result<u64, Fault> {
    let id = Uuid::new_v5(&wish.id, format!("{} {}", wish.thing, wish.go).as_bytes());
    let at = ask::ask(yard, |book| {
        let now = yard.now();
        Ok(Say::of(View::new(book, u64::MAX), now).stamp(now))
    })?;
    let fact = json!({
        "id": id, "kind": wish.kind, "thing": wish.thing, "occurred_at": at, "by": wish.by.badge,
        "shown": wish.shown, "body": wish.body,
    });
    let fact = intake::fact(&fact.to_string()).map_err(|problem| Fault::cannot_read(problem.words()))?;
    let fact = wish.by.vouch(fact)?;
    let meant = Meant::of(&fact.entry.thing, &fact.entry.body, None, wish.worked_out)?;
    match yard.committer.submit(fact).await {
        // Its time differs, but it is this page's button: it was written when it was pressed for the first time.
        Outcome::IdReused { line } => Ok(meant.same(&line)?.seq),
        outcome => Ok(match stored(outcome)? {
            Stored::Now(written) => written.seq,
            Stored::Before(entry) => entry.seq,
        }),
    }
}
