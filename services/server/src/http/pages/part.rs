//! A part on the scan screen: each stage's answer for the oven or the run it is in, and what is judged otherwise today.

use super::screen::{Look, Screen, held};
use super::{asking, closed::closed_then, unsure};
use domain::fact::What;
use domain::say::Say;
use domain::view::View;
use domain::{Book, MayUseQuestion};
use shared_types::{Act, JudgedAgain, StageName, StageView, ThingView, Whereabouts, Word};

pub(super) fn part(book: &Book, look: &Look<'_>, seen: &ThingView, say: &Say, screen: &mut Screen) {
    screen.acts = asking::stages(look, seen);
    if asking::stage(book, look, seen, say, screen) {
        return;
    }
    screen.big.push(seen.say.clone());
    screen.why.extend(seen.holds.iter().map(|hold| held(hold, look, "", say)));
    for stage in &seen.stages {
        screen.why.extend(stage_words(book, look, stage, say));
        let of_stage = seen.judged_again.iter().filter(|again| is_of(book, look, again, &stage.stage));
        screen.why.extend(of_stage.map(|again| again_words(again, &stage.stage, look, say)));
    }
    let mismatches = unsure::about(book, look.thing, look.when);
    screen.why.extend(unsure::open(mismatches, &screen.big));
}

fn stage_words(book: &Book, look: &Look<'_>, stage: &StageView, say: &Say) -> Option<String> {
    let name = &stage.stage;
    match &stage.whereabouts {
        Whereabouts::InRun { run, since, confirmed: true } => {
            Some(format!("{name}: in run {} since {}.", run.short(), say.time(since.at, look.when.now)))
        }
        // It may not have started: by when it would have to be heating then.
        Whereabouts::InRun { .. } => domain::stage_waits(book, look.thing, name, look.when).map(|waits| waits.say),
        Whereabouts::NothingLaid => Some(format!("{name}: nothing laid.")),
        _ => {
            let question = MayUseQuestion {
                thing: look.thing.clone(),
                act: Act::Oven,
                job: None,
                stage: Some(name.clone()),
                when: look.when,
            };
            domain::may_use(book, &question).ok().map(|answer| {
                let closed = closed_then(book, &answer, say, look.when).map_or(String::new(), |say| format!(" {say}"));
                format!("{name}: {}{closed} {}", answer.say, answer.why)
            })
        }
    }
}

/// Whether an act was done in this stage.
fn is_of(book: &Book, look: &Look<'_>, again: &JudgedAgain, stage: &StageName) -> bool {
    let Some(label) = book.label(look.thing) else { return false };
    let fact = View::new(book, look.when.known).facts(label).find(|fact| u64::from(fact.seq) == again.seq);
    fact.is_some_and(|fact| match &fact.what {
        What::Laid(laid) => laid.stage == *stage,
        What::RunStarted(run) => run.stages.iter().any(|(part, of)| *part == label && of == stage),
        _ => false,
    })
}

fn again_words(again: &JudgedAgain, stage: &StageName, look: &Look<'_>, say: &Say) -> String {
    let act = if again.act == Act::Oven { "oven start" } else { "lay-up" };
    let at = say.time(again.at.at, look.when.now);
    let (now, then) = (judged(again.now.answer), judged(again.then.answer));
    match now == then {
        true => format!("{stage}: its {act} {at} is judged {now}, as it was then; what was left then has changed."),
        false => format!("{stage}: its {act} {at} is judged {now} now. Judged {then} then."),
    }
}

fn judged(word: Word) -> &'static str {
    match word {
        Word::Yes => "yes",
        Word::NotYet => "not yet",
        Word::CannotSay => "can't say",
        Word::No | Word::Stop => "no",
    }
}
