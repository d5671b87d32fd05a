//! A backup is the log as it was, whenever it was broken off; nothing unsound is ever put in place of something sound.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may fail loudly")]

use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread,
};

use proptest::prelude::*;
use server::{
    backup::{BackedUp, BackupError, RestoreError, backup_as, restore},
    journal::{Journal, Options, RealDisk, Upkeep},
};
use shared_types::Instant;
use tempfile::TempDir;

const SEGMENT_BYTES: u32 = 32 << 10;

fn options() -> Options {
    Options { segment_bytes: SEGMENT_BYTES, segment_entries: 60, upkeep: Upkeep::ByHand, ..Options::default() }
}

/// The journal in a folder and its lines.
fn open(dir: &Path) -> (Journal, Vec<Vec<u8>>) {
    let mut lines = Vec::new();
    let opened = Journal::open(Arc::new(RealDisk), dir, options(), |_, line| {
        lines.push(line.to_vec());
        Ok(())
    });
    (opened.unwrap().0, lines)
}

fn back_up(data: &Path, to: &Path) -> Result<BackedUp, BackupError> {
    backup_as(data, to, Instant(1_767_225_600_000), &options(), &mut |_| ())
}

/// A data folder, a place for a backup, a place to restore to.
struct Yard {
    folder: TempDir,
}

impl Yard {
    fn new(entries: u64) -> Yard {
        let yard = Yard { folder: tempfile::tempdir().unwrap() };
        yard.grow(entries);
        yard
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn grow(&self, entries: u64) {
        let (mut journal, _) = open(&self.at("data"));
        write(&mut journal, entries);
    }

    fn lines(&self, name: &str) -> Vec<Vec<u8>> {
        open(&self.at(name)).1
    }

    /// What a restore of the backup holds.
    fn restored(&self) -> Vec<Vec<u8>> {
        let _ = fs::remove_dir_all(self.at("again"));
        restore(&self.at("backup"), &self.at("again")).unwrap();
        self.lines("again")
    }
}

fn write(journal: &mut Journal, entries: u64) {
    let end = journal.next_seq() + entries;
    while journal.next_seq() < end {
        let next = journal.next_seq();
        let group: Vec<String> = (next..end.min(next + 1 + next % 5))
            .map(|seq| format!("{{\"n\":{seq},\"note\":\"{}\"}}", "ab".repeat(usize::try_from(seq % 300).unwrap())))
            .collect();
        journal.append(&group, 0).unwrap();
        if next.is_multiple_of(7) {
            journal.rest(0).unwrap();
        }
        journal.upkeep();
    }
}

fn files(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let all = fs::read_dir(dir).unwrap().map(|item| item.unwrap().path());
    let (folders, plain): (Vec<PathBuf>, Vec<PathBuf>) = all.partition(|path| path.is_dir());
    let mut found: BTreeMap<_, _> = plain.into_iter().map(|path| (path.clone(), fs::read(path).unwrap())).collect();
    folders.iter().for_each(|folder| found.extend(files(folder)));
    found
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_restored_log_is_the_log_as_it_was_backed_up(steps in prop::collection::vec(0_u64..150, 1..6)) {
        let yard = Yard::new(1);
        let mut before = 0;
        for grown in steps {
            yard.grow(grown);
            let lines = yard.lines("data");
            let done = back_up(&yard.at("data"), &yard.at("backup")).unwrap();
            prop_assert_eq!((done.entries, done.new), (lines.len() as u64, lines.len() as u64 - before));
            before = done.entries;
            prop_assert_eq!(yard.restored(), lines);
        }
        // Nothing new: nothing is written.
        let same = back_up(&yard.at("data"), &yard.at("backup")).unwrap();
        prop_assert_eq!((same.new, same.written), (0, 0));
    }
}

#[test]
fn a_backup_that_is_broken_off_leaves_the_one_before() {
    let yard = Yard::new(130);
    let (data, to) = (yard.at("data"), yard.at("backup"));
    back_up(&data, &to).unwrap();
    let (then, manifest) = (yard.lines("data"), fs::read(to.join("backup.json")).unwrap());
    yard.grow(200);
    back_up(&data, &to).unwrap();
    // As if it had ended right before the last step.
    fs::write(to.join("backup.json"), &manifest).unwrap();
    assert_eq!(yard.restored(), then);
    // And with any one file of the later one not written yet: each stands for itself.
    fs::write(to.join("journal/00000099.log.part"), b"half of it").unwrap();
    assert_eq!(yard.restored(), then);
    back_up(&data, &to).unwrap();
    assert_eq!(yard.restored(), yard.lines("data"));
    // The very first one.
    fs::remove_file(to.join("backup.json")).unwrap();
    assert!(matches!(restore(&to, &yard.at("again2")), Err(RestoreError::NoBackup)));
    back_up(&data, &to).unwrap();
    assert_eq!(yard.restored(), yard.lines("data"));
}

#[test]
fn a_flipped_bit_in_a_backup_is_found_and_nothing_is_put_in_place() {
    let yard = Yard::new(300);
    let to = yard.at("backup");
    back_up(&yard.at("data"), &to).unwrap();
    let sound = files(&to.join("journal"));
    let total: usize = sound.values().map(Vec::len).sum();
    let mut place = 4_321;
    for _ in 0..60 {
        place = (place + 104_729) % (total * 8);
        let (mut byte, bit) = (place / 8, place % 8);
        let (path, bytes) = sound
            .iter()
            .find(|(_, bytes)| {
                let here = byte < bytes.len();
                byte -= if here { 0 } else { bytes.len() };
                here
            })
            .unwrap();
        let mut flipped = bytes.clone();
        flipped[byte] ^= 1 << bit;
        fs::write(path, &flipped).unwrap();
        let refused = restore(&to, &yard.at("again"));
        assert!(refused.is_err(), "{} byte {byte} bit {bit}", path.display());
        assert!(!yard.at("again").exists());
        // Nor is it overwritten: a person has to look.
        let compared = back_up(&yard.at("data"), &to);
        assert!(matches!(compared, Err(BackupError::Differs { .. })), "{compared:?}");
        assert_eq!(fs::read(path).unwrap(), flipped);
        fs::write(path, bytes).unwrap();
    }
    assert_eq!(yard.restored(), yard.lines("data"));
}

#[test]
fn a_damaged_log_and_another_log_never_replace_a_backup() {
    let yard = Yard::new(300);
    let (data, to) = (yard.at("data"), yard.at("backup"));
    back_up(&data, &to).unwrap();
    let kept = files(&to);
    let lines = yard.lines("data");
    // A bit in the middle of the log.
    let path = data.join("journal/00000002.log");
    let sound = fs::read(&path).unwrap();
    let mut flipped = sound.clone();
    flipped[700] ^= 1;
    fs::write(&path, &flipped).unwrap();
    let refused = back_up(&data, &to);
    assert!(matches!(refused, Err(BackupError::Damaged(_) | BackupError::Differs { .. })), "{refused:?}");
    assert_eq!(files(&to), kept);
    fs::write(&path, sound).unwrap();
    // An older log, and another one.
    for (name, entries) in [("older", 90), ("other", 400)] {
        let (mut journal, _) = open(&yard.at(name));
        if name == "older" {
            write(&mut journal, entries);
        } else {
            journal.append(&["{\"another\":true}"], 0).unwrap();
            write(&mut journal, entries);
        }
        drop(journal);
        let refused = back_up(&yard.at(name), &to);
        assert!(matches!(refused, Err(BackupError::Differs { .. } | BackupError::Behind { .. })), "{refused:?}");
        assert_eq!(files(&to), kept, "{name}");
    }
    assert_eq!(yard.restored(), lines);
}

#[test]
fn only_a_folder_of_its_own_is_taken() {
    let yard = Yard::new(10);
    let data = yard.at("data");
    let refused = |to: &str| back_up(&data, &yard.at(to)).unwrap_err();
    fs::create_dir_all(yard.at("photos")).unwrap();
    fs::write(yard.at("photos/boat.jpg"), b"x").unwrap();
    assert!(matches!(refused("photos"), BackupError::Foreign(_)));
    fs::create_dir_all(data.join("backup")).unwrap();
    assert!(matches!(refused("data/backup"), BackupError::Inside(_)));
    assert!(matches!(back_up(&yard.at("nowhere"), &yard.at("backup")), Err(BackupError::NoData)));
    back_up(&data, &yard.at("backup")).unwrap();
    // Nothing is ever restored over something.
    assert!(matches!(restore(&yard.at("backup"), &data), Err(RestoreError::NotEmpty(_))));
    assert!(matches!(restore(&yard.at("backup"), &yard.at("photos")), Err(RestoreError::NotEmpty(_))));
    fs::create_dir(yard.at("empty")).unwrap();
    restore(&yard.at("backup"), &yard.at("empty")).unwrap();
    assert_eq!(yard.lines("empty"), yard.lines("data"));
    // A name that leads out of the folder is never followed.
    let text = fs::read_to_string(yard.at("backup/backup.json")).unwrap();
    fs::write(yard.at("backup/backup.json"), text.replace("00000001.log", "../../00000001.log")).unwrap();
    assert!(matches!(restore(&yard.at("backup"), &yard.at("again")), Err(RestoreError::Manifest(_))));
}

#[test]
fn a_log_at_work_is_backed_up_as_it_was_at_some_instant() {
    let yard = Yard::new(50);
    let at_work = AtomicBool::new(true);
    let mut backups = 0;
    thread::scope(|scope| {
        let writer = scope.spawn(|| {
            let (mut journal, _) = open(&yard.at("data"));
            while at_work.load(Ordering::Relaxed) && journal.next_seq() < 20_000 {
                write(&mut journal, 3);
            }
        });
        let mut before = 0;
        while backups < 12 {
            let done = back_up(&yard.at("data"), &yard.at("backup")).unwrap();
            assert!(before <= done.entries);
            before = done.entries;
            assert_eq!(yard.restored().len() as u64, done.entries);
            backups += 1;
        }
        at_work.store(false, Ordering::Relaxed);
        writer.join().unwrap();
    });
    let (lines, restored) = (yard.lines("data"), yard.restored());
    assert_eq!(lines[..restored.len()], restored);
}
