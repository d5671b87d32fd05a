//! The sentences of an answer: until when, and why.

use crate::deadlines::Deadlines;
use crate::fact::{Label, What};
use crate::limits::{At, LimitState};
use crate::plan::PlanAnswer;
use crate::question::MayUseQuestion;
use crate::say::{Say, left, limit, limit_first};
use crate::subject::Subject;
use crate::view::View;
use shared_types::{Act, Instant, LayToCureFrom, LimitName, Outlook};

/// What is left of another limit than the one that ends first names its own.
pub(crate) fn yes_for(
    at: Instant,
    job: &str,
    plan: Option<&PlanAnswer>,
    ends_first: Option<LimitName>,
    say: &Say,
) -> String {
    match plan.map(|plan| (plan.first_ply_from, plan.life_left)) {
        Some((Some(from), _)) => format!("Yes, for {job}, if its first ply goes down {} or later.", say.time(from, at)),
        Some((None, Some((ms, name)))) => {
            let of = if ends_first == Some(name) { String::new() } else { format!(" of its {}", limit(name)) };
            format!("Yes, for {job}. Life left when the oven starts: {}{of}.", left(ms))
        }
        Some((None, None)) | None => format!("Yes, for {job}."),
    }
}

pub(crate) fn yes(
    at: Instant,
    act: Act,
    last_ply: Option<Instant>,
    heating: Option<Instant>,
    deadlines: &Deadlines,
    say: &Say,
) -> String {
    let within = deadlines
        .lay_to_cure
        .map_or(String::new(), |(ms, from)| [", within ", &left(ms), " of ", since_words(from)].concat());
    let heat = match heating {
        Some(heating) => ["Heating by ", &say.time(heating, at), &within, "."].concat(),
        None => "Nothing limits when the oven starts.".to_owned(),
    };
    match (act, last_ply) {
        (Act::Oven, _) => heat,
        (_, Some(last_ply)) => ["Last ply down by ", &say.time(last_ply, at), ". ", &heat].concat(),
        (_, None) => format!("Nothing limits when the last ply is down. {heat}"),
    }
}

fn since_words(from: LayToCureFrom) -> &'static str {
    match from {
        LayToCureFrom::FirstPly => "its first ply",
        LayToCureFrom::Complete => "lay-up complete",
    }
}

pub(crate) fn why_yes(
    read: At<'_>,
    subject: &Subject,
    governing: Option<LimitName>,
    question: &MayUseQuestion,
    say: &Say,
) -> String {
    let mut why = String::new();
    let state = governing.and_then(|name| Some((name, subject.limits.get(name)?)));
    if let Some((name, state)) = state {
        let ends = match state {
            LimitState::Clock { runs, .. } => {
                let running = match (runs, subject.out_since) {
                    (true, Some(since)) if !subject.laid => format!(", running since {}", say.time(since, read.at)),
                    (true, _) => ", running".to_owned(),
                    (false, _) => ", standing while it is in the cold".to_owned(),
                };
                [&left(state.left().unwrap_or(0)), " left", &running].concat()
            }
            LimitState::Date { last_day, .. } => format!("its last day is {}", last_day.format("%a %-d %b %Y")),
            LimitState::NotLaid { allowed, from } => [&left(*allowed), " from ", since_words(*from)].concat(),
            _ => format!("{} left", left(state.left().unwrap_or(0))),
        };
        why = [limit_first(name), " ends first: ", &ends, "."].concat();
    }
    if question.job.is_none() {
        why.push_str(if why.is_empty() { "Not checked against a job." } else { " Not checked against a job." });
    }
    why
}

/// Said where putting it away would be one return to the cold too many.
pub const RETURN_ENDS_IT: &str = "Another return to the cold ends its use.";

/// A put-away that was only told does not stop the clock: that it may be there already has to be said, unless somebody
/// took it out since.
pub fn told_put_away(view: View<'_>, label: Label, at: Instant, say: &Say) -> Option<String> {
    let moves = view.facts(label).filter(|fact| fact.at <= at);
    let last = moves.filter(|fact| matches!(fact.what, What::PutAway { .. } | What::TakenOut { .. })).last()?;
    let waits = matches!(last.what, What::PutAway { .. }) && last.marks.told && view.waits(last);
    waits.then(|| {
        let (by, when) = (view.book.code(last.by), say.time(last.at, at));
        format!("{by} told that it was put away {when}: scan it where it lies now; that counts at once.")
    })
}

/// What the cold would keep of what ends first, once it is back in its rack.
pub(crate) fn kept_words(put_away: Option<&Outlook>) -> String {
    let kept = put_away.and_then(|away| away.left_s.values().min());
    match kept {
        Some(kept_s) if 0 < *kept_s => format!(" Put it away: {} kept.", left(kept_s.saturating_mul(1000))),
        Some(_) | None => String::new(),
    }
}
