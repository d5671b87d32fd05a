//! What 64 people with handhelds post: facts about 2,000 rolls that are taken out, seen, cut and put away, and
//! decisions among them. Texts as they come over the wire, made before the clock starts.

use std::ops::Range;

use server::yard::Yard;
use shared_types::{Instant, Stamp};

pub(crate) const ROLLS: usize = 2_000;
/// A hold is lifted so many decisions after it was placed.
const HELD_FOR: usize = 150;
/// One decision in so many items.
const DECISIONS_EACH: usize = 20;

const JOBS: usize = 200;
const BATCHES: usize = 100;

const HOUR: i64 = 3_600_000;

#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mix {
    Facts,
    /// One in twenty is a decision: issue, place a hold, lift one.
    Decisions,
}

pub(crate) enum Posted<'a> {
    Fact(&'a str),
    /// All but the answer it is based on: that, and `}`, are still to come.
    Decision(&'a str),
}

/// Items in the order in which they are handed in.
pub(crate) struct Work {
    text: String,
    items: Vec<(Range<usize>, bool)>,
}

impl Work {
    /// `from`: the first item's time; each comes `step_ms` after the one before.
    pub(crate) fn new(count: usize, mix: Mix, from: Instant, per_ms: usize) -> Work {
        let mut work = Work { text: String::with_capacity(count * 230), items: Vec::with_capacity(count) };
        let (mut facts, mut decisions) = (0, 0);
        for item in 0..count {
            let at = from.plus_ms((item / per_ms.max(1)) as i64);
            let start = work.text.len();
            let decides = mix == Mix::Decisions && item % DECISIONS_EACH == 7;
            if decides {
                decision(&mut work.text, decisions, facts);
                decisions += 1;
            } else {
                fact(&mut work.text, facts, at);
                facts += 1;
            }
            work.items.push((start..work.text.len(), decides));
        }
        work
    }

    pub(crate) fn get(&self, item: usize) -> Option<Posted<'_>> {
        let (range, decides) = self.items.get(item)?;
        let text = &self.text[range.clone()];
        Some(if *decides { Posted::Decision(text) } else { Posted::Fact(text) })
    }
}

fn id(kind: u8, number: usize) -> String {
    format!("0197a1c2-{kind:04x}-7000-8000-{number:012x}")
}

fn roll(number: usize) -> String {
    format!("R-{number:05}")
}

fn fact(to: &mut String, number: usize, at: Instant) {
    let (roll, visit) = (roll(number % ROLLS), number / ROLLS);
    let thing = if visit % 8 == 1 { format!("nest/N-{number}") } else { format!("roll/{roll}") };
    let (kind, body) = match visit % 8 {
        0 | 4 => ("roll_taken_out", r#"{"from":"F1","to":"CUT"}"#.to_owned()),
        1 => {
            let items = format!(r#"[{{"roll":"{roll}","length_mm":12,"plies":4}}]"#);
            ("nest_cut", format!(r#"{{"kits":[{{"kit":"K-{number}","job":"J-1","items":{items}}}]}}"#))
        }
        5 => ("seen", r#"{"in":"CUT"}"#.to_owned()),
        2 | 6 => ("roll_put_away", r#"{"into":"F1","position":"A-12"}"#.to_owned()),
        _ => ("seen", r#"{"in":"F1","position":"A-12"}"#.to_owned()),
    };
    let (id, at, by) = (id(1, number), Stamp::utc(at), number % 40);
    to.push_str(&format!(
        r#"{{"id":"{id}","kind":"{kind}","thing":"{thing}","occurred_at":"{at}","uncertain_by_ms":0,"by":"B-{by}","body":{body}}}"#
    ));
}

/// About a roll whose facts are half a turn away. Holds stand on every fourth roll only, so that none is in the way of
/// an issue.
fn decision(to: &mut String, number: usize, facts: usize) {
    let place = |number: usize, facts: usize| (number, roll((facts + ROLLS / 2) % ROLLS / 4 * 4));
    let write = |to: &mut String, decide: &str, roll: &str, second: &str, body: &str| {
        let id = id(2, number);
        to.push_str(&format!(
            r#"{{"id":"{id}","decide":"{decide}","thing":"roll/{roll}","by":"Q-1",{second}"body":{body},"based_on":"#
        ));
    };
    let held = number.checked_sub(HELD_FOR + 1);
    match (number % 3, held) {
        (2, Some(held)) => {
            let (held, roll) = place(held, facts - (HELD_FOR + 1) * (DECISIONS_EACH - 1));
            let body = format!(r#"{{"hold":"{}","why":"the label was found"}}"#, id(2, held));
            write(to, "lift_hold", &roll, r#""second":{"by":"Q-2"},"#, &body);
        }
        (1, _) => write(to, "place_hold", &place(number, facts).1, "", r#"{"why":"its label can't be read"}"#),
        (_, _) => write(
            to,
            "issue",
            &roll(((facts + ROLLS / 2) % ROLLS) | 1),
            "",
            &format!(r#"{{"job":"J-{}"}}"#, number % JOBS),
        ),
    }
}

/// Declares the yard and receives its rolls, each put away.
pub(crate) fn receive(yard: &Yard) {
    let now = yard.now();
    for (number, (decide, thing, body)) in declared(now).into_iter().enumerate() {
        let id = id(3, number);
        let text = format!(
            r#"{{"id":"{id}","decide":"{decide}","thing":"{thing}","by":"Q-1","second":{{"by":"Q-2"}},"based_on":{number},"body":{body}}}"#
        );
        let decision = server::intake::decision(&text).unwrap_or_else(|problem| panic!("{text}: {problem:?}"));
        must_be_written(&yard.committer.submit_blocking(decision));
    }
    let facts: Vec<String> = (0..ROLLS).flat_map(|number| received(number, now.minus_ms(120_000))).collect();
    std::thread::scope(|scope| {
        for part in facts.chunks(facts.len() / 16) {
            scope.spawn(move || {
                for text in part {
                    let fact = server::intake::fact(text).unwrap_or_else(|problem| panic!("{text}: {problem:?}"));
                    must_be_written(&yard.committer.submit_blocking(fact));
                }
            });
        }
    });
}

pub(crate) fn must_be_written(outcome: &server::committer::Outcome) {
    assert!(matches!(outcome, server::committer::Outcome::Written(_)), "{outcome:?}");
}

fn received(number: usize, at: Instant) -> [String; 2] {
    let (roll, received, put_away) = (roll(number), Stamp::utc(at), Stamp::utc(at.plus_ms(60_000)));
    let opening = format!(r#"{{"out_time_s":3600,"refreezes":0,"as_of":"{received}","source":"certificate"}}"#);
    let body = format!(
        r#"{{"material":"PM-1","revision":"A","batch":"B-{}","length_mm":90000,"from":"TRUCK","opening":{opening}}}"#,
        number % BATCHES
    );
    let (first, second) = (id(4, number), id(5, number));
    let text = |id: &str, kind: &str, at: &Stamp, body: &str| {
        format!(
            r#"{{"id":"{id}","kind":"{kind}","thing":"roll/{roll}","occurred_at":"{at}","by":"B-1","body":{body}}}"#
        )
    };
    [text(&first, "roll_received", &received, &body), text(&second, "roll_put_away", &put_away, r#"{"into":"F1"}"#)]
}

/// What is decided before the first roll comes: imperative, thing, body.
fn declared(now: Instant) -> Vec<(&'static str, String, String)> {
    let (lay, oven) = (Stamp::utc(now.plus_ms(30 * HOUR)), Stamp::utc(now.plus_ms(36 * HOUR)));
    let place = |name: &str, frozen: bool| format!(r#"{{"name":"{name}","frozen":{frozen}}}"#);
    let yard = r#"{"zone":"Europe/Oslo","spare_s":3600,"on_call":"4711"}"#;
    let mut all = vec![
        ("declare_yard", "yard/YARD".to_owned(), yard.to_owned()),
        ("declare_place", "place/F1".to_owned(), place("Freezer", true)),
        ("declare_place", "place/TRUCK".to_owned(), place("Truck", true)),
        ("declare_place", "place/CUT".to_owned(), place("Cutting room", false)),
        ("revise_material", "material/PM-1".to_owned(), MATERIAL.to_owned()),
    ];
    let made = format!(r#"{{"made_on":"{}"}}"#, &Stamp::utc(now).to_string()[..10]);
    all.extend((0..BATCHES).map(|batch| ("register_batch", format!("batch/PM-1/B-{batch}"), made.clone())));
    let job = |job| format!(r#"{{"part":"P-{job}","stages":["skin"],"lay_at":"{lay}","oven_at":"{oven}"}}"#);
    all.extend((0..JOBS).map(|number| ("open_job", format!("job/J-{number}"), job(number))));
    all
}

pub(crate) const MATERIAL: &str = concat!(
    r#"{"revision":"A","name":"Carbon prepreg","form":"prepreg","shelf_life":{"months":12,"tested_at":"oven"},"#,
    r#""out_life_s":864000,"tack_life_s":576000,"lay_to_cure":{"limit_s":259200},"#,
    r#""refreezes":{"allowed":5,"after_s":1800},"rate":{"model":"door_to_door"}}"#
);
