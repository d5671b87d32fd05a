//! What may be answered to whoever did not sign in: the answer and its limits, and nothing that people wrote or who they
//! are.

use super::guard::WithoutNames;
use actix_web::{FromRequest, HttpMessage, HttpRequest, dev};
use shared_types::{MayInstall, MayUse, ThingName};
use std::{
    cmp::Reverse,
    future::{Ready, ready},
};

/// How much may be answered here.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Answers {
    Whole,
    WithoutNames,
}

impl FromRequest for Answers {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let without = request.extensions().get::<WithoutNames>().is_some();
        ready(Ok(if without { Answers::WithoutNames } else { Answers::Whole }))
    }
}

impl Answers {
    pub(crate) fn may_use(self, mut answer: MayUse) -> MayUse {
        if self == Answers::Whole {
            return answer;
        }
        let said = answer.holds.iter().map(|hold| hold.why.trim_end_matches('.').to_owned()).collect::<Vec<_>>();
        answer.say = without(&answer.say, &said);
        answer.why = without(&answer.why, &said);
        for hold in &mut answer.holds {
            hold.by = ThingName::nobody().own_code();
            hold.why = String::new();
            hold.nonconformance = None;
        }
        answer.mismatches.clear();
        answer.notes.clear();
        answer.ask = None;
        answer
    }

    pub(crate) fn may_install(self, mut answer: MayInstall) -> MayInstall {
        if self == Answers::WithoutNames {
            for why in &mut answer.why {
                if let Some((held, _)) = why.split_once(": ").filter(|(held, _)| held.starts_with("Held")) {
                    *why = format!("{held}.");
                }
            }
            answer.notes.clear();
        }
        answer
    }
}

/// The sentence without what somebody gave as the reason of a hold.
fn without(sentence: &str, said: &[String]) -> String {
    let mut said: Vec<&String> = said.iter().filter(|why| !why.is_empty()).collect();
    // One that begins with another goes first.
    said.sort_by_key(|why| Reverse(why.len()));
    said.into_iter().fold(sentence.to_owned(), |sentence, why| sentence.replace(&format!(": {why}"), ""))
}

#[cfg(test)]
mod tests {
    use super::without;

    #[test]
    fn the_reason_of_a_hold_is_left_out() {
        let said = ["torn by Rui, ask him".to_owned(), String::new()];
        assert_eq!(
            without("Held since Wed 06:02: torn by Rui, ask him. R-4 is held.", &said),
            "Held since Wed 06:02. R-4 is held."
        );
        // One that begins like another leaves no rest of it.
        let said = ["torn".to_owned(), "torn by Rui".to_owned()];
        assert_eq!(without("Held since Wed 06:02: torn by Rui.", &said), "Held since Wed 06:02.");
    }
}
