//! A published answer that changes needs a new rules version: people must be able to say which rules an answer was given
//! by. The answers of one small yard are kept beside this file; `RIMEBOOK_BLESS=1` writes them anew.

use crate::look::*;
use crate::scene::{Scene, stamp, thing};
use domain::MayUseQuestion;
use serde_json::{Value, json};
use shared_types::*;
use std::{collections::BTreeMap, path::PathBuf};

/// A bit of everything: late, told and uncertain facts, mismatches open and settled, a strike, a hold, a kit, two
/// stages, a confirmed run and one that is not.
fn small_yard() -> Scene {
    let scene = Scene::yard_with_spare(2).job("J-1", "Thu 12:00", "Fri 12:00");
    let scene =
        scene.received("R-1", "Mon 06:00").opening(10, 1).counted_from("Mon 04:00").put_away("R-1", "F1", "Mon 07:00");
    let scene = scene.received("R-2", "Mon 06:30").coming_in("TR").put_away("R-2", "F2", "Mon 07:10").uncertain(5);
    let scene = scene.received("R-3", "Mon 06:40").no_opening().put_away("R-3", "F2", "Mon 07:20");
    let scene = scene.out("R-1", "Tue 06:00").device("D-1", 1).out("R-1", "Tue 06:08").device("D-2", 1).named("again");
    let scene = scene.settle("again", "out_while_out", Settlement::OutSince(stamp("Tue 06:00")), "Tue 06:20");
    let scene = scene.issued("R-1", "J-1", "Tue 06:30").cut("N-1", "R-1", "K-1", "Tue 08:00").put_away(
        "R-1",
        "F1",
        "Tue 08:30",
    );
    let scene = scene.put_away("K-1", "F1", "Tue 09:00").put_away("K-1", "F2", "Wed 06:00").out("K-1", "Wed 07:00");
    let scene = scene.out("R-2", "Wed 06:00").told().put_away("R-2", "F2", "Wed 06:50").told();
    let scene =
        scene.out("R-2", "Wed 05:00").named("wrong").strike("wrong", "Wed 08:00").seen("R-9", "F1", "Wed 08:10");
    let scene = scene.laid("P-1/skin", "K-1", "Wed 10:00").begun_at("Wed 08:30").completed("P-1/skin", "Wed 10:10");
    let scene =
        scene.oven("RUN-1", &["P-1/skin"], "Wed 12:00").ended("RUN-1", "Wed 20:00").committed("Wed 14:00").cured(true);
    let scene =
        scene.laid("P-1/core bond", "R-2", "Thu 06:00").length(3).oven("RUN-2", &["P-1/core bond"], "Thu 08:00");
    let scene =
        scene.hold("batch/PM-101/B-1", "Thu 07:00").by("B-3").named("hold").lift("hold", "Thu 09:00").second("B-4");
    let scene = scene.put_away("R-1", "F1", "Thu 10:00").out("R-2", "Tue 12:00").put_away("R-2", "F2", "Tue 13:00");
    scene.installed("P-1", "H-1", "Thu 20:00")
}

fn published() -> BTreeMap<String, Value> {
    let scene = small_yard();
    let book = scene.book();
    let mut answers = BTreeMap::new();
    for time in ["Mon 08:00", "Tue 08:15", "Wed 09:00", "Thu 12:00", "Fri+1 12:00"] {
        let when = when(time);
        for name in ["R-1", "R-2", "R-3", "R-9", "K-1", "P-1", "H-1", "RUN-1", "batch/PM-101/B-1"].map(thing) {
            let mut keep = |what: &str, value: Value| answers.insert(format!("{time} {name} {what}"), value);
            keep("view", json!(domain::thing_view(&book, &name, when)));
            keep("card", json!(domain::out_time_card(&book, &name, when)));
            keep("made from", json!(domain::trace(&book, &name, Direction::MadeFrom, when)));
            keep("went into", json!(domain::trace(&book, &name, Direction::WentInto, when)));
            for act in [TakeOut, Cut, Lay, Oven] {
                for job in [None, Some("J-1")] {
                    let what = format!("{act:?} for {}", job.unwrap_or("no job"));
                    let stage = (name.kind() == Kind::Part).then(|| crate::scene::stage_name("core bond"));
                    let job = job.map(crate::scene::code);
                    let asked = MayUseQuestion { thing: name.clone(), act, job, stage, when };
                    keep(&what, json!(domain::may_use(&book, &asked).map_err(|refused| refused.to_string())));
                }
            }
        }
        answers.insert(format!("{time} runs out"), json!(domain::runs_out(&book, 400, when)));
        answers.insert(format!("{time} mismatches"), json!(domain::mismatches(&book, when)));
    }
    answers
}

/// An answer with its fields by name, however the library keeps them.
fn in_order(answer: &Value) -> String {
    match answer {
        Value::Object(fields) => {
            let fields: BTreeMap<&String, String> = fields.iter().map(|(key, value)| (key, in_order(value))).collect();
            format!("{fields:?}")
        }
        Value::Array(items) => format!("{:?}", items.iter().map(in_order).collect::<Vec<_>>()),
        plain => plain.to_string(),
    }
}

/// FNV-1a of 64 bits (offset basis and prime from memory of its public definition; any fixed hash would do).
fn hash(text: &str) -> u64 {
    let step = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
    text.bytes().fold(0xcbf2_9ce4_8422_2325, step)
}

/// One line for each answer, its sentence and a hash of all of it, so that a change shows as the lines it changes.
fn written(answers: &BTreeMap<String, Value>) -> String {
    let said = |answer: &Value| answer.pointer("/Ok/say").or(answer.pointer("/say")).cloned().unwrap_or_default();
    let said = |answer: &Value| said(answer).as_str().unwrap_or_default().to_owned();
    let line = |(asked, answer): (&String, &Value)| {
        format!("{}: {}", json!(asked), json!(format!("{:016x} {}", hash(&in_order(answer)), said(answer)).trim()))
    };
    let lines = answers.iter().map(line);
    let rules = format!("\"rules\": {}", json!(domain::RULES));
    format!("{{\n{}\n}}\n", std::iter::once(rules).chain(lines).collect::<Vec<_>>().join(",\n"))
}

#[test]
fn a_published_answer_changes_only_with_the_rules_version() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/rules/golden.json");
    let now = written(&published());
    if std::env::var_os("RIMEBOOK_BLESS").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    let rules = |text: &str| serde_json::from_str::<Value>(text).unwrap()["rules"].clone();
    let changed = kept.lines().zip(now.lines()).find(|(kept, now)| kept != now);
    let Some((before, after)) = changed.or((kept != now).then_some(("fewer answers", "or more"))) else { return };
    let advice = if rules(&kept) == rules(&now) {
        "A published answer changed, and RULES did not: raise RULES, then bless with RIMEBOOK_BLESS=1"
    } else {
        "RULES was raised: bless the answers by the new rules with RIMEBOOK_BLESS=1"
    };
    panic!("{advice}.\nbefore: {before}\nafter:  {after}");
}

#[test]
fn the_kept_answers_use_every_word_that_these_rules_give() {
    let text = json!(published()).to_string();
    for word in ["\"answer\":\"yes\"", "\"answer\":\"no\"", "\"answer\":\"stop\"", "\"answer\":\"cannot_say\""] {
        assert!(text.contains(word), "{word}");
    }
}
