//! What an answer says of the time to come, beside the stepper's: by when the last ply and the heat, which limit ends
//! first, and what a job leaves. Of a *yes* all of it, of any other answer the times that it still gives.

use serde_json::{Value, json};
use tests::stepper::{Ahead, Question, View};

pub fn differences(answer: &Value, view: &View, question: &Question) -> Vec<String> {
    let yes = answer["answer"] == "yes";
    let Some(ahead) = &view.ahead else { return Vec::new() };
    let mut found = Vec::new();
    for (key, ours) in [("last_ply_by", ahead.last_ply_ms), ("heating_by", ahead.heating_ms)] {
        let given = answer[key].as_str().map(|text| chrono::DateTime::parse_from_rfc3339(text).unwrap());
        let given = given.map(|instant| instant.timestamp_millis());
        if given != ours && (yes || given.is_some()) {
            found.push(format!("{key} {given:?}, the stepper {ours:?}"));
        }
    }
    if !yes {
        return found;
    }
    let names = |given: &str| ahead.first.contains(&given);
    if !answer["governing"].as_str().map_or(ahead.first.is_empty(), names) {
        found.push(format!("governing {}, the stepper {:?}", answer["governing"], ahead.first));
    }
    if question.job.is_some() {
        let ours = sentence(ahead);
        let given = answer["say"].as_str().unwrap_or_default();
        let says_from_when = ahead.too_early && given.contains(", if its first ply goes down ");
        // Of which limit that is, is said where another one ends first.
        let figure = given.split_once(" of its ").map_or(given.to_owned(), |(before, _)| format!("{before}."));
        if !says_from_when && !figure.ends_with(&ours) {
            found.push(format!("says {given}, the stepper: {ours}"));
        }
    }
    found
}

/// How a *yes* for a job ends.
fn sentence(ahead: &Ahead) -> String {
    match (ahead.too_early, ahead.left_ms) {
        (true, _) => ", if its first ply goes down ...".to_owned(),
        (false, None) => ".".to_owned(),
        (false, Some(ms)) => {
            let (hours, minutes) = (ms.div_euclid(3_600_000), ms.div_euclid(60_000).rem_euclid(60));
            let words = match (hours, minutes) {
                (0, minutes) => format!("{minutes} min"),
                (hours, 0) => format!("{hours} h"),
                (hours, minutes) => format!("{hours} h {minutes} min"),
            };
            format!("Life left when the oven starts: {words}.")
        }
    }
}

/// What a product says that knows exactly this, or so many seconds more.
pub fn mirror(answer: &mut Value, view: &View, extra_s: i64) {
    let Some(ahead) = &view.ahead else { return };
    let time = |ms: i64| {
        let instant = chrono::DateTime::from_timestamp_millis(ms + extra_s * 1000).unwrap();
        instant.to_rfc3339_opts(chrono::SecondsFormat::Millis, true)
    };
    answer["last_ply_by"] = json!(ahead.last_ply_ms.map(time));
    answer["heating_by"] = json!(ahead.heating_ms.map(time));
    answer["governing"] = json!(ahead.first.first());
    answer["say"] = json!(sentence(ahead));
}
