//! What people and disks never sent: a corpus of what is read, changed in a few places by a seeded hand, thousands of times.
//! Whatever comes of it is said in words; nothing panics, and nothing that was changed is taken for what it was.
//! `RIMEBOOK_LONG=1` takes a hundred times as many.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may fail loudly")]

use std::{
    ffi::OsString,
    fs,
    path::{Path, PathBuf},
    sync::Arc,
};

use server::journal::{Ending, Journal, Options, RealDisk, Upkeep, verify_lines};
use shared_types::{Code, Entry, ThingName};

fn rounds(some: u64) -> u64 {
    if std::env::var_os("RIMEBOOK_LONG").is_some() { some * 100 } else { some }
}

/// Numbers that look random and are the same in each run: xorshift64 (G. Marsaglia, Xorshift RNGs, 2003; from memory).
struct Hand(u64);

impl Hand {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, most: usize) -> usize {
        usize::try_from(self.next() % most.max(1) as u64).unwrap()
    }

    /// One to four changes; never none.
    fn change(&mut self, bytes: &[u8], other: &[u8]) -> Vec<u8> {
        const EDGES: &[&[u8]] = &[
            b"\0",
            b"\n",
            b"\"",
            b"\\",
            b"{",
            b"}",
            b"[",
            b"-1",
            b"1e999",
            b"18446744073709551616",
            b"null",
            b"\xff",
            "\u{202e}".as_bytes(),
            "\u{e9}".as_bytes(),
            b"\\ud800",
            b",,",
            b"=1+1",
            b"\r",
            b"9999-12-31T23:59:60Z",
        ];
        let mut changed = bytes.to_vec();
        for _ in 0..=self.below(4) {
            let at = self.below(changed.len() + 1);
            let to = (at + self.below(24)).min(changed.len());
            match self.below(6) {
                0 if at < changed.len() => changed[at] ^= 1 << self.below(8),
                1 => drop(changed.drain(at..to)),
                2 => {
                    let twice = changed[at..to].to_vec();
                    changed.splice(at..at, twice);
                }
                3 => {
                    let from = self.below(other.len() + 1);
                    let part = other[from..(from + 24).min(other.len())].to_vec();
                    changed.splice(at..to, part);
                }
                4 => changed.truncate(at),
                _ => drop(changed.splice(at..at, EDGES[self.below(EDGES.len())].iter().copied())),
            }
        }
        changed
    }
}

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/fixtures")
}

/// A line of every shape that was ever written.
fn lines() -> Vec<Vec<u8>> {
    let mut files: Vec<PathBuf> =
        fs::read_dir(fixtures().join("entries")).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    let read = |file: &PathBuf| -> Vec<Vec<u8>> {
        fs::read(file)
            .unwrap()
            .split(|byte| *byte == b'\n')
            .filter(|line| !line.is_empty())
            .map(<[u8]>::to_vec)
            .collect()
    };
    files.iter().flat_map(read).collect()
}

#[test]
fn a_changed_line_is_an_entry_that_reads_back_the_same_or_is_none() {
    let corpus = lines();
    assert!(40 < corpus.len() && corpus.iter().all(|line| Entry::read(line).is_ok()));
    let mut hand = Hand(0x5eed_0001);
    let mut read = 0;
    for _ in 0..rounds(20_000) {
        let (line, other) = (&corpus[hand.below(corpus.len())], &corpus[hand.below(corpus.len())]);
        let changed = hand.change(line, other);
        if let Ok(entry) = Entry::read(&changed) {
            read += 1;
            let mut written = Vec::new();
            entry.write(&mut written).unwrap();
            assert_eq!(Entry::read(&written).unwrap(), entry, "{}", String::from_utf8_lossy(&changed));
        }
    }
    assert!(0 < read, "no change left an entry: the hand is too heavy");
}

#[test]
fn a_changed_code_is_a_code_that_reads_back_the_same_or_is_none() {
    let corpus =
        ["roll/R-42", "batch/PM-101/B-123", "part/P-1", "kit/K-5", "place/F1", "R-42", "RUN-0602-1", "Ö-7", "A B"];
    let mut hand = Hand(0x5eed_0002);
    for _ in 0..rounds(50_000) {
        let (one, other) = (corpus[hand.below(corpus.len())], corpus[hand.below(corpus.len())]);
        let changed = String::from_utf8_lossy(&hand.change(one.as_bytes(), other.as_bytes())).into_owned();
        if let Ok(name) = changed.parse::<ThingName>() {
            assert_eq!(name.to_string().parse::<ThingName>().unwrap(), name, "{changed:?}");
        }
        if let Ok(code) = Code::new(&changed) {
            assert_eq!(Code::new(code.as_str()).unwrap(), code, "{changed:?}");
            assert!((1..=40).contains(&code.as_str().chars().count()), "{changed:?}");
        }
    }
}

#[test]
fn a_changed_journal_is_read_up_to_the_change_and_never_as_something_else() {
    let folder = tempfile::tempdir().unwrap();
    let options = Options { upkeep: Upkeep::ByHand, ..Options::default() };
    let (mut journal, _) = Journal::open(Arc::new(RealDisk), folder.path(), options, |_, _| Ok(())).unwrap();
    let corpus = lines();
    for (number, group) in corpus.chunks(3).enumerate() {
        journal.append(group, 0).unwrap();
        if number % 4 == 0 {
            journal.rest(0).unwrap();
        }
    }
    journal.rest(0).unwrap();
    drop(journal);
    let segment = folder.path().join("journal/00000001.log");
    let whole = fs::read(&segment).unwrap();
    let used = whole.iter().rposition(|byte| *byte != 0).unwrap() + 1;
    let mut hand = Hand(0x5eed_0003);
    for round in 0..rounds(150) {
        let mut changed = hand.change(&whole[..used], &whole[..used]);
        // As long as a segment is laid down, or as the change left it.
        if round % 2 == 0 {
            changed.resize(whole.len(), 0);
        }
        fs::write(&segment, &changed).unwrap();
        let mut read = Vec::new();
        let said = verify_lines(&RealDisk, folder.path(), &mut |seq, line| read.push((seq, line.to_vec())));
        let own = (1..).zip(corpus.iter().cloned());
        assert!(read.iter().cloned().zip(own).all(|(read, own)| read == own), "round {round}: a changed line was read");
        if let Ok(report) = said {
            let is_whole = report.ending == Ending::Sound && report.entries == corpus.len() as u64;
            assert_eq!(report.entries, read.len() as u64, "round {round}");
            assert!(!is_whole || read.len() == corpus.len(), "round {round}");
            assert!(!report.to_string().is_empty());
        }
    }
}

#[test]
fn a_changed_card_or_yard_file_is_said_to_be_so_and_nothing_is_asked_of_a_server() {
    let tour = fixtures().join("../tour");
    let (cards, yard) = (fs::read(tour.join("cards.csv")).unwrap(), fs::read(tour.join("yard.toml")).unwrap());
    let folder = tempfile::tempdir().unwrap();
    let mut hand = Hand(0x5eed_0004);
    for round in 0..rounds(400) {
        let (mut own_cards, mut own_yard) = (cards.clone(), yard.clone());
        match round % 2 {
            0 => own_cards = hand.change(&cards, &yard),
            _ => own_yard = hand.change(&yard, &cards),
        }
        fs::write(folder.path().join("cards.csv"), &own_cards).unwrap();
        fs::write(folder.path().join("yard.toml"), &own_yard).unwrap();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        // Nobody listens there (RFC 863's port): a file that can be read ends in that.
        let args =
            ["rimebook", "import", folder.path().to_str().unwrap(), "--server", "http://127.0.0.1:9", "--dry-run"];
        let code = server::cli::run(args.map(OsString::from), &mut out, &mut err);
        let said = format!("{}{}", String::from_utf8_lossy(&out), String::from_utf8_lossy(&err));
        assert_eq!(code, 1, "round {round}: {said}");
        assert!(said.ends_with(['.', '\n']) && !said.trim().is_empty(), "round {round}: {said}");
    }
}
