//! What was acknowledged is there after any power cut, failed barrier or broken write; what was not is there whole or
//! not at all; and the journal always opens. The disk keeps a random part of what was not synced.
//!
//! The model of the disk (whole sectors or nothing, pages that look clean after a failed barrier) is common practice,
//! no source; the second is described in Rebello et al., "Can Applications Recover from fsync Failures?", USENIX ATC
//! 2020 (from memory).

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test may fail loudly"
)]

mod sim_content;
mod sim_disk;
mod witness;

use std::{path::Path, sync::Arc};

use server::journal::{AppendError, Disk, Ending, Fault, Journal, OpenError, Options, RealDisk, Upkeep, verify_as};
use sim_disk::{Barriers, SimDisk};
use witness::{DIR, Events, SEGMENT_BYTES, history, options};

/// How many random histories: more when RIMEBOOK_LONG is set.
#[expect(clippy::disallowed_methods, reason = "the long run is chosen by the caller of the tests")]
fn histories() -> u64 {
    if std::env::var("RIMEBOOK_LONG").is_ok() { 5_000 } else { 200 }
}

#[test]
fn nothing_acknowledged_is_lost_changed_or_doubled_and_the_journal_opens() {
    let mut all = Events::default();
    for seed in 0..histories() {
        let survived = history(seed, Barriers::All, Upkeep::ByHand, &mut all);
        survived.unwrap_or_else(|error| panic!("history {seed}: {error}"));
    }
    println!("{all:?}");
    // It is a test only if all of these happened.
    let Events { power_cuts, failed_openings, cut_ends, stops, no_space, groups, segments, unknown_kept, unknown_lost } =
        all;
    for (happened, what) in [
        (power_cuts > 500, "power cuts"),
        (failed_openings > 100, "failed openings"),
        (cut_ends > 50, "cut ends"),
        (stops > 200, "stops"),
        (no_space > 0, "failed laying down"),
        (groups > 3_000, "groups"),
        (segments > 5, "segments"),
        (unknown_kept > 10 && unknown_lost > 10, "groups of unknown outcome"),
    ] {
        assert!(happened, "too few {what}");
    }
}

#[test]
fn the_same_holds_with_the_upkeep_in_its_thread() {
    for seed in 0..histories() / 5 {
        let survived = history(seed, Barriers::All, Upkeep::InBackground, &mut Events::default());
        survived.unwrap_or_else(|error| panic!("history {seed}: {error}"));
    }
}

#[test]
fn the_same_histories_find_the_losses_when_the_barrier_is_taken_out() {
    for barriers in [Barriers::NoneForGroups, Barriers::No] {
        let history = |seed| history(seed, barriers, Upkeep::ByHand, &mut Events::default());
        let errors: Vec<_> = (0..50).filter_map(|seed| history(seed).err()).collect();
        let lost = errors.iter().filter(|error| error.contains("acknowledged entries are missing")).count();
        println!("{barriers:?}: {} of 50 histories fail, {lost} of them by a loss", errors.len());
        assert!(lost > 25, "{barriers:?}: only {lost} of 50 histories lose something");
    }
}

/// A journal with one group of two lines, and the bytes of its segment before and after a second group.
fn before_and_after(second: &[Vec<u8>]) -> (Vec<u8>, Vec<u8>) {
    let disk = SimDisk::new(1, Barriers::All);
    let (mut journal, _) = Journal::open(Arc::new(disk.clone()), Path::new(DIR), options(), |_, _| Ok(())).unwrap();
    journal.append(&[b"{\"first\":1}", b"{\"first\":2}"], 0).unwrap();
    let path = Path::new(DIR).join("journal/00000001.log");
    let before = disk.content(&path);
    journal.append(second, 0).unwrap();
    (before, disk.content(&path))
}

#[test]
fn every_way_to_tear_the_last_group_is_cut_away_and_nothing_else() {
    let second: Vec<_> =
        (0..8).map(|line| format!("{{\"n\":{line},\"text\":\"{}\"}}", "é".repeat(180)).into_bytes()).collect();
    let (before, after) = before_and_after(&second);
    let path = Path::new(DIR).join("journal/00000001.log");
    let sectors: Vec<_> =
        (0..before.len() / 512).filter(|at| before[at * 512..][..512] != after[at * 512..][..512]).collect();
    assert_eq!(sectors.len(), 7);
    for subset in 0_u32..1 << sectors.len() {
        let mut bytes = before.clone();
        for (_, sector) in sectors.iter().enumerate().filter(|(bit, _)| subset & (1 << bit) != 0) {
            bytes[sector * 512..][..512].copy_from_slice(&after[sector * 512..][..512]);
        }
        let disk = SimDisk::new(2, Barriers::All);
        disk.put(&path, bytes.clone());
        let report = verify_as(&disk, Path::new(DIR), &options()).unwrap();
        let mut seen = 0;
        let (mut journal, recovery) = Journal::open(Arc::new(disk.clone()), Path::new(DIR), options(), |_, _| {
            seen += 1;
            Ok(())
        })
        .unwrap();
        let whole = subset == (1 << sectors.len()) - 1;
        assert_eq!(seen, if whole { 10 } else { 2 });
        match recovery.cut {
            None => {
                assert!(whole || subset == 0, "{subset:b}");
                assert_eq!(report.ending, Ending::Sound);
            }
            Some(cut) => {
                assert!(!whole && subset != 0, "{subset:b}");
                assert_eq!(report.ending, Ending::Torn { segment: 1, offset: cut.offset, bytes: cut.bytes });
                let kept = disk.content(&Path::new(DIR).join("journal").join(&cut.file));
                let from = usize::try_from(cut.offset).unwrap();
                assert_eq!(kept, bytes[from..from + kept.len()]);
                assert!(bytes[from + kept.len()..].iter().all(|byte| *byte == 0), "all that was torn is kept");
                assert_eq!(
                    disk.content(&path)[..from + 512],
                    before[..from + 512],
                    "the acknowledged group is as before"
                );
            }
        }
        assert_eq!(journal.append(&[b"{\"next\":1}"], 0).unwrap(), seen + 1);
        drop(journal);
        let (_, again) = Journal::open(Arc::new(disk), Path::new(DIR), options(), |_, _| Ok(())).unwrap();
        assert_eq!((again.entries, again.cut), (seen + 1, None));
    }
}

#[test]
fn a_last_group_without_an_empty_sector_is_damage_and_stays() {
    let second = vec![format!("{{\"text\":\"{}\"}}", "x".repeat(1_500)).into_bytes()];
    let (_, mut bytes) = before_and_after(&second);
    bytes[512 + 700] ^= 4;
    let path = Path::new(DIR).join("journal/00000001.log");
    let disk = SimDisk::new(3, Barriers::All);
    disk.put(&path, bytes.clone());
    match Journal::open(Arc::new(disk.clone()), Path::new(DIR), options(), |_, _| Ok(())) {
        Err(OpenError::Damaged(damage)) => {
            assert_eq!((damage.segment, damage.offset, damage.seq, damage.fault), (1, 512, 3, Fault::Lines(1)));
        }
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("it opened"),
    }
    assert_eq!(disk.content(&path), bytes);
}

#[test]
fn a_full_disk_stops_writing_but_not_reading_and_writing_goes_on_by_itself() {
    let disk = SimDisk::new(4, Barriers::All);
    let background = Options {
        upkeep: Upkeep::InBackground,
        retry: std::time::Duration::from_millis(1),
        segment_entries: 5_000,
        segment_ms: i64::MAX,
        ..options()
    };
    let (mut journal, _) = Journal::open(Arc::new(disk.clone()), Path::new(DIR), background, |_, _| Ok(())).unwrap();
    disk.set_quota(disk.used() + 1_000);
    let line = vec![b'x'; 400];
    let mut written = 0;
    let why = loop {
        match journal.append(&[&line], 0) {
            Ok(seq) => written = seq,
            Err(AppendError::NoSpace { why }) => break why,
            Err(other) => panic!("{other}"),
        }
    };
    assert_eq!(written, u64::from(SEGMENT_BYTES / 512), "all that was laid down is used first");
    assert!(why.contains("storage space"), "{why}");
    assert_eq!(journal.reader().line(written).unwrap(), line);
    assert!(disk.used() <= SEGMENT_BYTES as usize + 1_000, "nothing half laid down takes up space");

    disk.set_quota(usize::MAX);
    disk.wait_for(&Path::new(DIR).join("journal/00000002.log"));
    assert_eq!(journal.append(&[&line], 0).unwrap(), written + 1);
}

#[test]
fn upkeep_by_hand_tries_again_at_once() {
    let disk = SimDisk::new(5, Barriers::All);
    let (mut journal, _) = Journal::open(Arc::new(disk.clone()), Path::new(DIR), options(), |_, _| Ok(())).unwrap();
    disk.set_quota(disk.used());
    while journal.append(&[vec![b'x'; 3_000]], 0).is_ok() {}
    assert!(!journal.upkeep());
    disk.set_quota(usize::MAX);
    assert!(matches!(journal.append(&[vec![b'x'; 3_000]], 0), Err(AppendError::NoSpace { .. })));
    assert!(journal.upkeep());
    journal.append(&[vec![b'x'; 3_000]], 0).unwrap();
}

#[test]
fn a_second_server_on_the_same_folder_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let open = || Journal::open(Arc::new(RealDisk), folder.path(), options(), |_, _| Ok(()));
    let (first, _) = open().unwrap();
    let refusal = open().map(|_| ()).unwrap_err();
    assert!(matches!(refusal, OpenError::InUse));
    assert!(refusal.to_string().contains("another rimebook has this data folder open"));
    assert!(RealDisk.is_locked(&folder.path().join("lock")).unwrap());
    drop(first);
    open().unwrap();
}
