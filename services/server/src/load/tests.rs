use super::*;
use crate::{
    committer::Outcome,
    testing::{Bench, START, asked, decision, fact, hold, taken_out},
};
use serde_json::{Value, json};
use shared_types::Stamp;

fn loaded(lines: &str) -> (Bench, Result<Loaded, LoadError>) {
    let bench = Bench::new();
    let files = tempfile::tempdir().unwrap();
    let file = files.path().join("history.jsonl");
    fs::write(&file, lines).unwrap();
    let result = load(&file, bench.folder.path(), &mut |_| {});
    (bench, result)
}

fn problems(lines: &str) -> Vec<(u64, String)> {
    let (bench, result) = loaded(lines);
    assert!(is_empty(bench.folder.path()).unwrap());
    match result {
        Err(LoadError::Lines { problems, more: 0 }) => {
            problems.into_iter().map(|problem| (problem.line, problem.detail)).collect()
        }
        other => panic!("{other:?}"),
    }
}

fn recorded(mut item: Value, ms: i64) -> Value {
    item["recorded_at"] = json!(Stamp::utc(START.plus_ms(ms)).to_string());
    item
}

fn entries(bench: &Bench) -> Vec<Entry> {
    let yard = bench.open();
    let lines = yard.reader.lines(1, usize::MAX).unwrap();
    lines.iter().map(|line| Entry::read(line).unwrap()).collect()
}

#[test]
fn a_moved_log_keeps_everything_and_its_positions_move_by_one() {
    let old = Bench::new();
    let yard = old.open();
    let mut shown = taken_out(1, "R-42");
    shown["shown"] = json!({"answer": "yes", "as_of_seq": 0, "rules": "2026.1"});
    yard.committer.submit_blocking(fact(&shown));
    yard.committer.submit_blocking(decision(&hold(2, "R-42", 1)));
    old.clock.advance_ms(3_600_000);
    yard.committer.submit_blocking(fact(&taken_out(3, "R-42")));
    let lines = yard.reader.lines(1, 10).unwrap();
    let text = lines.iter().map(|line| String::from_utf8_lossy(line) + "\n").collect::<String>();
    let (bench, result) = loaded(&text);
    assert_eq!(result.unwrap().entries, 4);
    let new = entries(&bench);
    assert_eq!(new[0].body, Body::LogLoaded(LogLoaded { file: "history.jsonl".into(), entries: 3 }));
    assert_eq!((new[0].recorded_at, new[0].by.as_str()), (START, "LOG"));
    for (old, new) in lines.iter().zip(&new[1..]) {
        let old = Entry::read(old).unwrap();
        let shown = old.shown.clone().map(|shown| Shown { as_of_seq: 1, ..shown });
        let based_on = old.based_on.map(|position| position + 1);
        assert_eq!(*new, Entry { seq: old.seq + 1, based_on, shown, ..old.clone() });
    }
    assert!(new[3].told);
}

use shared_types::Shown;

#[test]
fn posted_lines_become_entries_with_their_own_times_and_devices() {
    let mut scanned = recorded(taken_out(2, "R-42"), 7_200_000);
    scanned["device"] = json!("H-3");
    let mut said = scanned.clone();
    said["id"] = taken_out(3, "")["id"].clone();
    said["device_said"] = json!(Stamp::utc(START.plus_ms(1)).to_string());
    let told = |item: Value, told: bool| {
        let mut item = item;
        item["told"] = json!(told);
        item
    };
    let lines = [
        recorded(taken_out(1, "R-42"), 0),
        scanned,
        said,
        recorded(taken_out(4, "R-42"), 7_200_000),
        told(recorded(taken_out(5, "R-42"), 7_200_000), false),
        told(recorded(taken_out(6, "R-42"), 7_200_000), true),
    ];
    let (bench, result) = loaded(&lines.map(|line| line.to_string()).join("\n"));
    assert_eq!(result.unwrap().entries, 7);
    let got = entries(&bench);
    assert_eq!(
        got.iter().map(|entry| entry.told).collect::<Vec<_>>(),
        [false, false, false, false, false, false, true]
    );
    assert_eq!((got[2].device_known, got[2].scanned_by().map(|device| device.as_str())), (None, Some("H-3")));
    assert_eq!(got[2].recorded_at, START.plus_ms(7_200_000));
}

#[test]
fn sending_a_loaded_item_again_is_no_new_entry_and_a_loaded_log_takes_new_ones_at_once() {
    let (bench, result) = loaded(&(recorded(taken_out(1, "R-42"), 0).to_string() + "\n"));
    result.unwrap();
    // A year later, by the server's own clock.
    bench.clock.advance_ms(365 * 24 * 3_600_000);
    let yard = bench.open();
    let again = yard.committer.submit_blocking(fact(&taken_out(1, "R-42")));
    assert!(matches!(again, Outcome::Already { .. }), "{again:?}");
    let new = yard.committer.submit_blocking(fact(&taken_out(2, "R-42")));
    assert!(matches!(new, Outcome::Written(written) if written.seq == 3), "{new:?}");
    yard.close();
    bench.clock.advance_ms(25 * 3_600_000);
    assert!(bench.open().committer.waits().is_some());
}

#[test]
fn a_strike_is_two_entries_and_decisions_are_not_asked_about() {
    let wrong = taken_out(1, "R-42");
    let body = json!({"entry": wrong["id"], "why": "it was R-24", "instead": taken_out(2, "R-24")});
    let lines = [
        recorded(wrong, 0),
        recorded(asked(3, "strike", "roll/R-42", 99, body), 60_000),
        // Nobody opened J-9, and nobody received K-5.
        recorded(asked(4, "issue", "kit/K-5", 0, json!({"job": "J-9"})), 60_000),
    ];
    let (bench, result) = loaded(&lines.map(|line| line.to_string()).join("\r\n"));
    assert_eq!(result.unwrap().entries, 5);
    let got = entries(&bench);
    let kinds: Vec<&str> = got.iter().map(|entry| entry.body.plain_kind()).collect();
    assert_eq!(kinds, ["log_loaded", "roll_taken_out", "entry_struck", "roll_taken_out", "issued"]);
    assert_eq!((got[2].strikes, got[2].occurred_at.at), (Some(got[1].id), START.plus_ms(60_000)));
}

#[test]
fn every_problem_is_named_with_its_line_and_nothing_is_written() {
    let mut fell = recorded(taken_out(4, "R-1"), 0);
    fell["recorded_at"] = json!("2026-05-06T05:59:59.999Z");
    let mut nowhere = recorded(taken_out(5, "R-1"), 0);
    nowhere["body"] = json!({"nowhere": true});
    nowhere["device"] = json!("H-3");
    let lines = [
        recorded(taken_out(1, "R-1"), 0).to_string(),
        taken_out(2, "R-1").to_string(),
        recorded(taken_out(1, "R-2"), 0).to_string(),
        fell.to_string(),
        String::new(),
        "{".to_owned(),
        nowhere.to_string(),
        json!({"fp": "0", "seq": 4}).to_string(),
        recorded(taken_out(9, "R-1"), 1).to_string(),
    ];
    let found = problems(&lines.join("\n"));
    let expected = [
        (2, "recorded_at is missing"),
        (3, "stands in an earlier line"),
        (4, "earlier than that of the line before"),
        (5, "it is empty"),
        (6, "not JSON"),
        (7, "/body/nowhere: there is no field nowhere here"),
        (8, "not an entry"),
    ];
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for ((line, detail), (at, words)) in found.iter().zip(expected) {
        assert!(*line == at && detail.contains(words), "{line}: {detail}");
    }
}

#[test]
fn a_log_is_loaded_into_an_empty_folder_only() {
    let (bench, result) = loaded(&recorded(taken_out(1, "R-1"), 0).to_string());
    result.unwrap();
    let file = bench.folder.path().join("journal/00000001.log");
    assert!(matches!(load(&file, bench.folder.path(), &mut |_| {}), Err(LoadError::NotEmpty)));
    assert!(matches!(loaded("").1, Err(LoadError::NoLines)));
}

#[test]
fn the_same_file_makes_the_same_log() {
    let text: String = (1..600).map(|number| recorded(taken_out(number, "R-1"), 0).to_string() + "\n").collect();
    let root = || {
        let (bench, result) = loaded(&text);
        assert_eq!(result.unwrap().entries, 600);
        bench.open().reader.root()
    };
    assert_eq!(root(), root());
}
