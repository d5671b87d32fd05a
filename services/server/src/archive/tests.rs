use super::*;
use crate::{
    committer::Outcome,
    testing::{Bench, fact, taken_out},
    yard::Yard,
};
use std::fs;
use store::Store;

/// A yard with several sealed segments of 128 KiB, about seven rolls by turns.
fn filled() -> (Bench, Yard) {
    let bench = Bench { segment_bytes: 128 << 10, archive: true, ..Bench::new() };
    let yard = bench.open();
    fill(&yard, 1..1_000);
    (bench, yard)
}

fn fill(yard: &Yard, numbers: std::ops::Range<u64>) {
    let numbers: Vec<u64> = numbers.collect();
    let item = |number: &u64| {
        let mut item = taken_out(*number, &format!("R-{}", number % 7));
        if number.is_multiple_of(200) {
            // One too long for a page, and others nearly so.
            let texts = if *number == 200 { 35 } else { 30 };
            item["device"] = serde_json::json!("H-3");
            item["body"] = serde_json::json!({"unreadable": vec!["x".repeat(1_500); texts]});
        }
        fact(&item).into()
    };
    for numbers in numbers.chunks(50) {
        let items = numbers.iter().map(item).collect();
        let outcomes = actix_web::rt::System::new().block_on(yard.committer.submit_all(items));
        assert!(outcomes.iter().all(|outcome| matches!(outcome, Outcome::Written(_))), "{outcomes:?}");
    }
}

fn all(yard: &Yard) -> Vec<Vec<u8>> {
    let seqs: Vec<u64> = (1..=yard.reader.last_seq()).collect();
    yard.entries(&seqs).unwrap()
}

fn from_journal(yard: &Yard) -> Vec<Vec<u8>> {
    yard.reader.lines(1, usize::MAX).unwrap()
}

/// Waits until everything sealed is archived.
fn archived(yard: &Yard) {
    yard.archive.drained();
    let sealed = yard.reader.segments().into_iter().filter(|segment| segment.sealed);
    let entries: u64 = sealed.map(|segment| segment.last_seq + 1 - segment.first_seq).sum();
    assert!(entries > 500, "{:?}", yard.reader.segments());
    assert_eq!(yard.archive.entries(), entries);
}

#[test]
fn sealed_segments_are_archived_and_read_back_byte_for_byte() {
    let (_bench, yard) = filled();
    archived(&yard);
    assert_eq!(all(&yard), from_journal(&yard));
    let roll = "roll/R-3".parse().unwrap();
    let seqs = yard.read().entries_of(&roll);
    let in_pages = yard.archive.shared.in_pages(&seqs);
    // What stands in the segment that is still written comes from the journal, and so does what is too long for a page.
    let kept = |seq: &u64| *seq <= yard.archive.entries() && yard.reader.line(*seq).unwrap().len() < 48 << 10;
    assert_eq!(in_pages.iter().map(Option::is_some).collect::<Vec<_>>(), seqs.iter().map(kept).collect::<Vec<_>>());
    assert!(seqs.len() > 140 && in_pages.iter().any(Option::is_none));
    let lines: Vec<Vec<u8>> = seqs.iter().map(|seq| yard.reader.line(*seq).unwrap()).collect();
    assert_eq!(yard.history(&roll).unwrap(), lines);
}

#[test]
fn what_is_archived_is_found_again_after_a_restart_and_not_made_anew() {
    let (bench, yard) = filled();
    archived(&yard);
    yard.close();
    let yard = bench.open();
    archived(&yard);
    fill(&yard, 1_000..1_500);
    archived(&yard);
    assert_eq!(all(&yard), from_journal(&yard));
}

fn damaged(damage: impl FnOnce(&Path)) {
    let (bench, yard) = filled();
    archived(&yard);
    let before = all(&yard);
    yard.close();
    damage(&bench.folder.path().join("sled"));
    let yard = bench.open();
    assert_eq!(all(&yard), before);
    yard.archive.drained();
    assert_eq!(all(&yard), before);
    // What that question found broken is made anew before the next one is asked.
    while yard.archive.shared.broken.load(Ordering::SeqCst) {
        thread::yield_now();
    }
    archived(&yard);
    assert_eq!(all(&yard), before);
}

#[test]
fn answers_are_the_same_with_the_folder_deleted() {
    damaged(|folder| fs::remove_dir_all(folder).unwrap());
}

#[test]
fn answers_are_the_same_with_the_folder_full_of_noise() {
    damaged(|folder| {
        for (seed, item) in fs::read_dir(folder).unwrap().enumerate() {
            let path = item.unwrap().path();
            if path.is_file() {
                let length = fs::metadata(&path).unwrap().len();
                fs::write(&path, noise(seed as u64 + 1, length)).unwrap();
            }
        }
    });
}

#[test]
fn answers_are_the_same_with_bits_flipped_all_over_the_folder() {
    damaged(|folder| {
        let mut data = fs::read(folder.join("db")).unwrap();
        data.iter_mut().step_by(997).for_each(|byte| *byte ^= 4);
        fs::write(folder.join("db"), data).unwrap();
    });
}

#[test]
fn answers_are_the_same_with_a_file_where_the_folder_should_be() {
    damaged(|folder| {
        fs::remove_dir_all(folder).unwrap();
        fs::write(folder, "noise").unwrap();
    });
}

#[test]
fn a_folder_whose_opening_did_not_end_is_thrown_away_unopened() {
    damaged(|folder| {
        fs::write(folder.join("opening"), "").unwrap();
        fs::write(folder.join("old"), "").unwrap();
    });
}

#[test]
fn the_archive_of_another_journal_does_not_count() {
    let (other, yard) = filled();
    archived(&yard);
    yard.close();
    let bench = Bench { segment_bytes: 128 << 10, archive: true, ..Bench::new() };
    bench.open().close();
    fs::remove_dir_all(bench.folder.path().join("sled")).unwrap();
    bench.clock.advance_ms(1);
    fs::rename(other.folder.path().join("sled"), bench.folder.path().join("sled")).unwrap();
    let yard = bench.open();
    fill(&yard, 1..1_000);
    archived(&yard);
    assert_eq!(all(&yard), from_journal(&yard));
}

#[test]
fn a_value_that_is_not_what_it_should_be_is_not_believed() {
    damaged(|folder| {
        let store = Store::open(folder).unwrap();
        for key in [[0, 0, 0, 1, 0, 0], [0, 0, 0, 2, 0, 3], [0, 0, 0, 2, 255, 255]] {
            let mut value = store.get(&key).unwrap().unwrap().to_vec();
            value[100] ^= 1;
            store.put(&key, &value).unwrap();
        }
        store.put(&[0, 0, 0, 1, 0, 1], &[]).unwrap();
    });
}

#[test]
fn who_gets_no_answer_in_time_reads_the_journal_and_it_is_made_anew() {
    let (_bench, yard) = filled();
    archived(&yard);
    // A thread that never answers.
    let (to, _never) = mpsc::channel();
    *yard.archive.shared.reads.write().unwrap() = Some(to);
    assert_eq!(all(&yard), from_journal(&yard));
    archived(&yard);
}

#[test]
fn values_stay_far_below_64_kib_and_sort_a_thing_s_entries_together() {
    let line = |seq: u64, thing: &str, length: usize| {
        format!("{{\"seq\":{seq},\"thing\":\"{thing}\",\"x\":\"{}\"}}", "y".repeat(length)).into_bytes()
    };
    let lines: Vec<Vec<u8>> =
        (0..3_000).map(|seq| line(seq + 1, &format!("roll/R-{}", seq % 50), 300 + (seq % 7) as usize)).collect();
    let values = pages::values(7, &lines.iter().map(Vec::as_slice).collect::<Vec<_>>());
    assert!(values.iter().all(|(_, value)| value.len() <= 48 << 10));
    let first = String::from_utf8_lossy(&values[0].1[4..]).into_owned();
    let things: Vec<&str> = first.lines().map(|line| line.split('"').nth(5).unwrap()).collect();
    assert_eq!((things.first(), things.iter().filter(|thing| **thing == "roll/R-0").count()), (Some(&"roll/R-0"), 60));
    assert!(things.is_sorted());
}

/// A stream that repeats exactly (xorshift).
fn noise(seed: u64, length: u64) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut byte = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.to_le_bytes()[0]
    };
    (0..length).map(|_| byte()).collect()
}
