//! Laws that the stepper itself keeps on random histories.

use tests::histories::history;
use tests::stepper::{Entry, Minute, Question, View, ask, read_log};

fn lay(log: &[Entry], thing: &str, at: Minute) -> View {
    ask(log, &Question { thing: thing.to_owned(), act: "lay".to_owned(), stage: None, job: None, at, known: u64::MAX })
}

#[test]
fn the_order_of_arrival_does_not_matter() {
    for seed in 1..=10 {
        let history = history(seed);
        let log = read_log(&history.jsonl);
        let backwards: Vec<Entry> = log.iter().rev().cloned().collect();
        for (number, (thing, _)) in history.things.iter().enumerate() {
            let at = history.instants[number * 7 % history.instants.len()];
            let (mut one, mut other) = (lay(&log, thing, at), lay(&backwards, thing, at));
            // Things held are listed as they were met.
            one.rows.retain(|row| !row.shared);
            other.rows.retain(|row| !row.shared);
            assert_eq!(one.rows, other.rows, "history {seed}, {thing}");
        }
    }
}

#[test]
fn a_told_fact_alone_gives_a_roll_nothing_back() {
    let mut compared = 0;
    for seed in 1..=15 {
        let log = read_log(&history(seed).jsonl);
        let alone = |fact: &&Entry| {
            let backed = log.iter().any(|other| other.text("entry") == Some(&fact.id));
            // A told sighting in a room counts as a scanned one does, also where it explains what came after it.
            let into = fact.text("in").or_else(|| fact.text("into"));
            let in_a_room = into.is_some_and(|place| !place.starts_with('F'));
            fact.told && fact.second.is_none() && !backed && !in_a_room && fact.kind != "roll_received"
        };
        for fact in log.iter().filter(alone).filter(|fact| fact.thing.starts_with("roll/")) {
            let without: Vec<Entry> = log.iter().filter(|entry| entry.id != fact.id).cloned().collect();
            for later in [0, 60, 600, 5000, 30_000] {
                let (with, without) =
                    (lay(&log, &fact.thing, fact.at + later), lay(&without, &fact.thing, fact.at + later));
                for row in &with.rows {
                    let before = without.row(row.limit).map_or(row.left, |row| row.left);
                    assert!(row.left <= before, "history {seed}: {} gives {} back", fact.id, row.limit);
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 300, "only {compared} compared");
}
