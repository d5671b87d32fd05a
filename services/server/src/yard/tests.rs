use super::*;
use crate::{
    committer::Outcome,
    testing::{Bench, START, fact, taken_out},
};
use std::fs;

fn fill(yard: &Yard, numbers: std::ops::RangeInclusive<u64>) {
    for number in numbers {
        let outcome = yard.committer.submit_blocking(fact(&taken_out(number, "R-42")));
        assert!(matches!(outcome, Outcome::Written(_)), "{outcome:?}");
    }
}

#[test]
fn a_second_open_of_the_same_folder_is_refused() {
    let bench = Bench::new();
    let yard = bench.open();
    let error = Yard::open(bench.folder.path(), bench.options()).err().unwrap();
    assert!(error.to_string().contains("another rimebook has this data folder open"), "{error}");
    fill(&yard, 1..=1);
    yard.close();
    assert_eq!(bench.open().read().last_seq(), 1);
}

#[test]
fn an_entry_that_nobody_can_read_is_named_and_nothing_is_changed() {
    let bench = Bench::new();
    let yard = bench.open();
    fill(&yard, 1..=2);
    let first = yard.reader.line(1).unwrap();
    yard.close();
    let write = |line: Vec<u8>| {
        let Options { disk, journal, .. } = bench.options();
        let (mut journal, _) = Journal::open(disk, bench.folder.path(), journal, |_, _| Ok(())).unwrap();
        journal.append(&[line], START.0).unwrap();
    };
    let unknown = String::from_utf8(first).unwrap().replace("roll_taken_out.v1", "roll_flew_away.v9");
    write(unknown.replace("\"seq\":1,", "\"seq\":3,").into_bytes());
    let error = Yard::open(bench.folder.path(), bench.options()).err().unwrap();
    assert!(error.to_string().starts_with("entry 3 can't be read"), "{error}");
    assert!(error.source().unwrap().to_string().contains("roll_flew_away.v9"));
}

#[test]
fn an_entry_with_the_wrong_number_is_refused() {
    let bench = Bench::new();
    let yard = bench.open();
    fill(&yard, 1..=2);
    let first = yard.reader.line(1).unwrap();
    yard.close();
    let Options { disk, journal, .. } = bench.options();
    let (mut journal, _) = Journal::open(disk, bench.folder.path(), journal, |_, _| Ok(())).unwrap();
    journal.append(&[first], START.0).unwrap();
    drop(journal);
    let error = Yard::open(bench.folder.path(), bench.options()).err().unwrap();
    assert!(matches!(error, OpenError::Entry { seq: 3, .. }), "{error}");
}

/// Makes the last group torn: the frame that closed the log is taken away, and a sector of the group before it.
fn tear(folder: &Path) {
    let segment = folder.join("journal/00000001.log");
    let mut bytes = fs::read(&segment).unwrap();
    let frames: Vec<usize> = (0..bytes.len()).step_by(512).filter(|at| bytes[*at..].starts_with(b"RbJ\n")).collect();
    let [.., group, close] = frames[..] else { panic!("{frames:?}") };
    assert!(close - group >= 1_024, "the group has more than a sector");
    bytes[close..close + 512].fill(0);
    bytes[close - 512..close].fill(0);
    fs::write(&segment, bytes).unwrap();
}

#[test]
fn a_torn_end_is_cut_and_the_cut_is_the_next_entry() {
    let bench = Bench::new();
    let yard = bench.open();
    fill(&yard, 1..=2);
    let mut long = taken_out(3, "R-42");
    long["device"] = serde_json::json!("H-3");
    long["body"] = serde_json::json!({"unreadable": "x".repeat(1_500)});
    yard.committer.submit_blocking(fact(&long));
    yard.close();
    tear(bench.folder.path());
    bench.clock.advance_ms(5_000);
    let yard = bench.open();
    let cut = Entry::read(&yard.reader.line(3).unwrap()).unwrap();
    let Body::LogCut(said) = &cut.body else { panic!("{cut:?}") };
    assert_eq!((cut.by.as_str(), cut.thing.to_string().as_str()), ("LOG", "yard/YARD"));
    assert_eq!((said.segment, cut.recorded_at), (1, START.plus_ms(5_000)));
    assert!(bench.folder.path().join("journal").join(&said.kept_in).is_file());
    fill(&yard, 3..=3);
    yard.close();
    assert_eq!(bench.open().read().last_seq(), 4);
}

#[test]
fn a_cut_is_written_down_although_the_clock_is_doubted() {
    let bench = Bench::new();
    let yard = bench.open();
    fill(&yard, 1..=1);
    let mut long = taken_out(2, "R-42");
    long["device"] = serde_json::json!("H-3");
    long["body"] = serde_json::json!({"unreadable": "x".repeat(1_500)});
    yard.committer.submit_blocking(fact(&long));
    yard.close();
    tear(bench.folder.path());
    bench.clock.advance_ms(-3_600_000);
    let yard = bench.open();
    let cut = Entry::read(&yard.reader.line(2).unwrap()).unwrap();
    assert_eq!((cut.body.plain_kind(), cut.recorded_at), ("log_cut", START));
    assert!(yard.committer.waits().unwrap().contains("behind the last entry"));
}

#[test]
fn a_closed_log_ends_with_a_root_over_everything() {
    let bench = Bench::new();
    let yard = bench.open();
    fill(&yard, 1..=3);
    let root = yard.reader.root();
    yard.close();
    let yard = bench.open();
    assert_eq!((yard.reader.root(), yard.reader.last_seq()), (root, 3));
}

#[test]
fn after_a_while_without_work_a_root_covers_the_last_group() {
    let bench = Bench::new();
    let options = Options { rest_after: Duration::from_millis(1), ..bench.options() };
    let yard = Yard::open(bench.folder.path(), options).unwrap();
    let segment = bench.folder.path().join("journal/00000001.log");
    let frames = || {
        let bytes = fs::read(&segment).unwrap();
        bytes.chunks(512).filter(|sector| sector.starts_with(b"RbJ\n")).count()
    };
    fill(&yard, 1..=1);
    while frames() < 2 {
        thread::yield_now();
    }
    yard.close();
    assert_eq!(frames(), 2);
}
