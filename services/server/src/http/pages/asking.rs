//! Asking for another act than the one that comes next, or for one stage of a part: links, and their answers.

use super::in_a_query;
use super::screen::{Look, Screen, answered, limit_row};
use crate::http::problems::Fault;
use domain::say::Say;
use domain::{Book, MayUseQuestion};
use shared_types::{Act, StageName, ThingView};

/// What is asked for, as the address has it.
#[derive(Default)]
pub(super) struct Asked {
    pub(super) act: Option<Act>,
    pub(super) stage: Option<StageName>,
}

const ACTS: [(Act, &str, &str); 4] = [
    (Act::TakeOut, "take_out", "take out"),
    (Act::Cut, "cut", "cut"),
    (Act::Lay, "lay", "lay"),
    (Act::Oven, "oven", "oven"),
];

impl Asked {
    pub(super) fn read(act: &str, stage: &str) -> Result<Asked, Fault> {
        let act = match act.trim() {
            "" => None,
            text => Some(ACTS.iter().find(|(_, name, _)| *name == text).map(|(act, _, _)| *act).ok_or_else(|| {
                Fault::cannot_read("What is asked for is one of take_out, cut, lay and oven. Scan it again.")
            })?),
        };
        let stage =
            match stage.trim() {
                "" => None,
                text => Some(StageName::new(text).map_err(|error| {
                    Fault::cannot_read(format!("No stage of a part: {error}. Scan the part again."))
                })?),
            };
        Ok(Asked { act, stage })
    }
}

/// The same thing for the same job, asked otherwise.
fn address(look: &Look<'_>, other: &str) -> String {
    let job = look.job.as_ref().map_or_else(String::new, |job| format!("&job={}", in_a_query(job.as_str())));
    format!("/?thing={}{job}&{other}", in_a_query(&look.thing.to_string()))
}

pub(super) fn acts(look: &Look<'_>, asked: Act) -> Vec<(Option<String>, String)> {
    let link = |name: &str| address(look, &format!("act={name}"));
    ACTS.iter().map(|(act, name, words)| ((*act != asked).then(|| link(name)), (*words).to_owned())).collect()
}

pub(super) fn stages(look: &Look<'_>, seen: &ThingView) -> Vec<(Option<String>, String)> {
    let link = |stage: &StageName| address(look, &format!("stage={}", in_a_query(stage.as_str())));
    let is_asked = |stage: &StageName| look.asked.stage.as_ref() == Some(stage);
    let all = seen.stages.iter().map(|one| ((!is_asked(&one.stage)).then(|| link(&one.stage)), one.stage.to_string()));
    all.collect()
}

/// The answer about one stage, where one was asked for.
pub(super) fn stage(book: &Book, look: &Look<'_>, seen: &ThingView, say: &Say, screen: &mut Screen) -> bool {
    let Some(stage) = &look.asked.stage else { return false };
    let question = MayUseQuestion {
        thing: look.thing.clone(),
        act: look.asked.act.unwrap_or(Act::Oven),
        job: look.job.clone(),
        stage: Some(stage.clone()),
        when: look.when,
    };
    screen.name = format!("{} {stage}", look.thing.short());
    match domain::may_use(book, &question) {
        Ok(answer) => {
            answered(&answer, seen, say, look, screen);
            screen.limits = answer.limits.iter().map(|row| limit_row(row, &answer, say, look)).collect();
        }
        Err(why) => screen.big.push(why.to_string()),
    }
    true
}
