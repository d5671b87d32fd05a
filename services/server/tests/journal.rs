//! The journal on a real disk: what is written is read back, every flipped bit is found, and the tree is RFC 9162's.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test may fail loudly"
)]

use std::{
    collections::BTreeMap,
    fs,
    os::unix::fs::FileExt,
    path::{Path, PathBuf},
    sync::{Arc, mpsc},
};

use proptest::prelude::*;
use server::journal::{
    AppendError, Ending, Fault, Hash, Journal, MAX_LINE_BYTES, OpenError, Options, RealDisk, Tree, Unfit, Upkeep, leaf,
    node, verify, verify_as,
};
use tempfile::TempDir;

const SEGMENT_BYTES: u32 = 32 << 10;

fn options() -> Options {
    Options { segment_bytes: SEGMENT_BYTES, segment_entries: 60, upkeep: Upkeep::ByHand, ..Options::default() }
}

fn open(dir: &Path, options: Options) -> Result<(Journal, Vec<Vec<u8>>), OpenError> {
    let mut lines = Vec::new();
    let (journal, _) = Journal::open(Arc::new(RealDisk), dir, options, |_, line| {
        lines.push(line.to_vec());
        Ok(())
    })?;
    Ok((journal, lines))
}

fn hash(hex: &str) -> Hash {
    let bytes: Vec<u8> = (0..32).map(|at| u8::from_str_radix(&hex[at * 2..][..2], 16).unwrap()).collect();
    bytes.try_into().unwrap()
}

fn tree_of<L: AsRef<[u8]>>(lines: &[L]) -> Tree {
    let mut tree = Tree::default();
    for line in lines {
        tree.push(leaf(line.as_ref()));
    }
    tree
}

/// The tree as RFC 9162, section 2.1.1, defines it.
fn root_by_definition(lines: &[Vec<u8>]) -> Hash {
    match lines {
        [] => hash("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        [line] => leaf(line),
        _ => {
            let (left, right) = lines.split_at(lines.len().next_power_of_two() / 2);
            node(&root_by_definition(left), &root_by_definition(right))
        }
    }
}

#[test]
fn leaves_and_nodes_are_those_of_rfc_6962() {
    // Source: transparency-dev/merkle (Apache-2.0), rfc6962/rfc6962_test.go.
    assert_eq!(leaf(b"L123456"), hash("395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"));
    // The root of one empty leaf, same project, testonly/constants.go. (The first file's example of a node joins two
    // short texts, which `node` does not take; nodes are checked by the roots and the proof below.)
    assert_eq!(leaf(b""), hash("6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"));
}

#[test]
fn roots_are_those_of_rfc_6962() {
    // Source: transparency-dev/merkle (Apache-2.0), testonly/constants.go; recomputed with hashlib.
    let leaves: [&[u8]; 8] = [
        b"",
        b"\x00",
        b"\x10",
        b"\x20\x21",
        b"\x30\x31",
        b"\x40\x41\x42\x43",
        b"\x50\x51\x52\x53\x54\x55\x56\x57",
        b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
    ];
    let roots = [
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    ];
    for (count, root) in roots.iter().enumerate() {
        assert_eq!(tree_of(&leaves[..count]).root(), hash(root), "{count} leaves");
    }
}

#[test]
fn an_inclusion_proof_of_a_third_party_fits() {
    // Source: transparency-dev/merkle (Apache-2.0), testdata/inclusion/1/happy-path.json: leaf 0 of 8 (base64 there).
    let proof = [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ];
    let first = hash("6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d");
    let root = proof.iter().fold(first, |left, right| node(&left, &hash(right)));
    assert_eq!(root, hash("5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_journal_reopened_is_the_same_journal(
        groups in prop::collection::vec(prop::collection::vec("[ -~é]{1,900}", 1..9), 0..40),
        rests in prop::collection::vec(any::<bool>(), 40),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let (mut journal, _) = open(folder.path(), options()).unwrap();
        let mut all: Vec<Vec<u8>> = Vec::new();
        for (group, rest) in groups.iter().zip(rests) {
            prop_assert_eq!(journal.append(group, 0).unwrap(), all.len() as u64 + 1);
            all.extend(group.iter().map(|line| line.clone().into_bytes()));
            if rest {
                journal.rest(0).unwrap();
            }
        }
        let reader = journal.reader();
        let (root, segments) = (reader.root(), reader.segments());
        prop_assert_eq!(root, root_by_definition(&all));
        drop(journal);
        let (journal, seen) = open(folder.path(), options()).unwrap();
        prop_assert_eq!(&seen, &all);
        let reader = journal.reader();
        prop_assert_eq!(reader.root(), root);
        prop_assert_eq!(reader.segments(), segments);
        for (seq, line) in (1..).zip(&all) {
            prop_assert_eq!(&reader.line(seq).unwrap(), line);
        }
        prop_assert!(reader.line(0).is_err() && reader.line(all.len() as u64 + 1).is_err());
        prop_assert_eq!(reader.lines(2, 7).unwrap(), all.iter().skip(1).take(7).cloned().collect::<Vec<_>>());
    }
}

/// Several segments: sealed ones with and without their zeros, an open one, one laid down.
fn yard() -> (TempDir, u64) {
    let folder = tempfile::tempdir().unwrap();
    let (mut journal, _) = open(folder.path(), options()).unwrap();
    while journal.reader().segments().len() < 4 || journal.reader().segments().last().unwrap().last_seq % 60 < 30 {
        let next = journal.next_seq();
        let group: Vec<_> =
            (0..next % 5 + 1).map(|n| format!("{{\"n\":{},\"note\":\"{}\"}}", next + n, "ab".repeat(90))).collect();
        journal.append(&group, 0).unwrap();
        if next % 7 == 0 {
            journal.rest(0).unwrap();
        }
        // Not after the last sealing: that segment keeps its zeros.
        if journal.reader().segments().len() < 4 || journal.next_seq() % 60 > 20 {
            journal.upkeep();
        }
    }
    journal.rest(0).unwrap();
    let entries = journal.next_seq() - 1;
    (folder, entries)
}

/// How many bits are flipped: more when RIMEBOOK_LONG is set.
#[expect(clippy::disallowed_methods, reason = "the long run is chosen by the caller of the tests")]
fn tries() -> usize {
    if std::env::var("RIMEBOOK_LONG").is_ok() { 20_000 } else { 1_000 }
}

fn files(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let paths = fs::read_dir(dir.join("journal")).unwrap().map(|item| item.unwrap().path());
    paths.map(|path| (path.clone(), fs::read(path).unwrap())).collect()
}

#[test]
fn one_flipped_bit_anywhere_is_found_located_and_explained_and_nothing_is_changed() {
    let (folder, entries) = yard();
    let sound = files(folder.path());
    assert_eq!(sound.len(), 5, "four segments and one laid down");
    let total: usize = sound.values().map(Vec::len).sum();
    assert!(sound.values().any(|bytes| bytes.len() < SEGMENT_BYTES as usize), "one is shortened");
    // Numbers that share no factor with the length: the tries are spread evenly, over every kind of place.
    let mut place = 12_345;
    for _ in 0..tries() {
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
        let file = fs::OpenOptions::new().write(true).open(path).unwrap();
        file.write_all_at(&[bytes[byte] ^ (1 << bit)], byte as u64).unwrap();
        let flipped = files(folder.path());

        let Err(OpenError::Damaged(damage)) = open(folder.path(), options()) else {
            panic!("bit {bit} of byte {byte} of {} was not found", path.display())
        };
        let words = damage.to_string();
        let name = path.file_name().unwrap().to_str().unwrap();
        assert!(words.contains(name), "{words}");
        let offset = usize::try_from(damage.offset).unwrap();
        assert!((offset..offset + 2_048).contains(&byte), "byte {byte}: {words}");
        assert!(damage.seq <= entries + 1);
        if damage.fault == Fault::SetBit {
            assert_eq!((offset, bytes[byte]), (byte, 0), "{words}");
        }
        assert!(words.contains("Keep a copy of the data folder"), "{words}");

        let report = verify_as(&RealDisk, folder.path(), &options()).unwrap();
        assert_eq!(report.ending, Ending::Damaged(damage.clone()));
        assert!(!report.is_sound() && report.entries < damage.seq);
        assert!(report.to_string().contains(&words));
        assert!(files(folder.path()) == flipped, "something was changed");
        file.write_all_at(&[bytes[byte]], byte as u64).unwrap();
    }
    assert_eq!(open(folder.path(), options()).unwrap().1.len() as u64, entries);
}

#[test]
fn verify_says_what_is_there_in_words() {
    let (folder, entries) = yard();
    let report = verify_as(&RealDisk, folder.path(), &options()).unwrap();
    assert!(report.is_sound() && !report.in_use);
    let words = report.to_string();
    for expected in [
        format!("{entries} entries, 1 to {entries}, in"),
        "journal/00000001.log  entries 1 to 6".to_owned(),
        "journal/00000005.log  laid down, empty".to_owned(),
        "A root in the journal covers every entry.".to_owned(),
        "The end is sound. Nothing to do.".to_owned(),
    ] {
        assert!(words.contains(&expected), "{expected} is not in: {words}");
    }
    let (journal, _) = open(folder.path(), options()).unwrap();
    assert!(verify_as(&RealDisk, folder.path(), &options()).unwrap().in_use);
    drop(journal);

    fs::write(folder.path().join("journal/cut-00000001-00000512-00000000.bin"), b"torn").unwrap();
    let report = verify_as(&RealDisk, folder.path(), &options()).unwrap();
    assert!(!report.is_sound());
    assert!(report.to_string().contains("CHANGED SINCE"));
}

#[test]
fn a_missing_or_swapped_segment_is_damage() {
    let (folder, _) = yard();
    let path = |number: u32| folder.path().join(format!("journal/{number:08}.log"));
    let damage = || match open(folder.path(), options()) {
        Err(OpenError::Damaged(damage)) => damage,
        _ => panic!("it opened"),
    };
    let aside = folder.path().join("aside");
    fs::rename(path(2), &aside).unwrap();
    let missing = damage();
    assert_eq!((missing.segment, missing.fault), (2, Fault::Missing));
    fs::copy(path(3), path(2)).unwrap();
    let swapped = damage();
    assert_eq!((swapped.segment, swapped.offset, swapped.fault), (2, 0, Fault::OtherSegment(3)));
    fs::rename(&aside, path(2)).unwrap();
    open(folder.path(), options()).unwrap();
}

/// A journal of so many segments, the last one open, everything sealed shortened. Lines of `bytes` each.
fn sealed(segments: usize, bytes: usize) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let (mut journal, _) = open(folder.path(), options()).unwrap();
    while journal.reader().segments().len() < segments {
        journal.append(&["x".repeat(bytes)], 0).unwrap();
        journal.upkeep();
    }
    folder
}

#[test]
fn the_newest_segments_cannot_get_lost_unseen() {
    // 439 bytes, a newline and a header are one sector: then 60 entries seal it. 951 are two: then it is full to its last
    // byte with 32 entries.
    for bytes in [439, 951] {
        let folder = sealed(4, bytes);
        let path = |number: u32| folder.path().join(format!("journal/{number:08}.log"));
        let damage = || match open(folder.path(), options()) {
            Err(OpenError::Damaged(damage)) => damage,
            _ => panic!("it opened"),
        };
        open(folder.path(), options()).unwrap();
        for lost in [4, 3, 2] {
            fs::remove_file(path(lost)).unwrap();
            let missing = damage();
            assert_eq!((missing.segment, missing.offset, missing.fault), (lost, 0, Fault::Missing));
            let words = missing.to_string();
            assert!(
                words.contains(&format!("journal/{lost:08}.log")) && words.contains("restore the folder"),
                "{words}"
            );
            let report = verify_as(&RealDisk, folder.path(), &options()).unwrap();
            assert_eq!(report.ending, Ending::Damaged(missing));
            assert!(!report.is_sound() && report.to_string().contains(&words));
        }
        // Zeros, or noise that looks torn, in place of it are not it.
        for (content, fault) in [(vec![0; SEGMENT_BYTES as usize], Fault::Lost), (vec![7; 512], Fault::Header)] {
            fs::write(path(2), content).unwrap();
            let lost = damage();
            assert_eq!((lost.segment, lost.fault), (2, fault));
        }
        let mut torn = vec![0; SEGMENT_BYTES as usize];
        torn[512..700].fill(b'x');
        fs::write(path(2), torn).unwrap();
        assert_eq!(damage().fault, Fault::Lost);
    }
}

#[test]
fn what_a_crash_can_leave_is_no_loss() {
    // Full to the last byte, and the next one not laid down, or laid down and never written.
    let folder = tempfile::tempdir().unwrap();
    let (mut journal, _) = open(folder.path(), Options { segment_entries: 5_000, ..options() }).unwrap();
    for _ in 0..SEGMENT_BYTES / 512 {
        journal.append(&["{}"], 0).unwrap();
    }
    drop(journal);
    assert!(verify_as(&RealDisk, folder.path(), &options()).unwrap().is_sound());
    let (journal, lines) = open(folder.path(), options()).unwrap();
    assert!(journal.upkeep());
    drop(journal);
    assert_eq!(lines.len(), SEGMENT_BYTES as usize / 512);
    let report = verify_as(&RealDisk, folder.path(), &options()).unwrap();
    assert_eq!((report.is_sound(), report.spares.as_slice()), (true, [2].as_slice()));
    // Sealed and not shortened any more: the next start does it.
    let (mut journal, _) = open(folder.path(), options()).unwrap();
    journal.append(&["{}"], 0).unwrap();
    drop(journal);
    let length = || fs::metadata(folder.path().join("journal/00000001.log")).unwrap().len();
    assert_eq!(length(), u64::from(SEGMENT_BYTES));
    let (journal, _) = open(folder.path(), options()).unwrap();
    journal.upkeep();
    drop(journal);
    assert_eq!(length(), u64::from(SEGMENT_BYTES) + 512);
    assert_eq!(open(folder.path(), options()).unwrap().1.len(), lines.len() + 1);
}

#[test]
fn a_folder_with_an_archive_and_no_journal_is_not_a_new_one() {
    let folder = tempfile::tempdir().unwrap();
    // Empty folders are nothing that could be lost.
    fs::create_dir(folder.path().join("sled")).unwrap();
    fs::create_dir(folder.path().join("journal")).unwrap();
    assert_eq!(verify(&RealDisk, folder.path()).unwrap().entries, 0);
    for (file, words) in [
        ("sled/db", "this folder has an archive (sled/) but no journal: it is not a new folder"),
        ("blobs/certificate", "this folder has documents (blobs/) but no journal"),
        ("journal/cut-00000001-00000512-00000000.bin", "(journal/cut-*.bin) but no journal"),
    ] {
        let path = folder.path().join(file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, b"x").unwrap();
        let said = |result: Result<(), OpenError>| result.unwrap_err().to_string();
        for said in
            [said(open(folder.path(), options()).map(|_| ())), said(verify(&RealDisk, folder.path()).map(|_| ()))]
        {
            assert!(said.contains(words) && said.contains("Restore the whole folder"), "{said}");
        }
        assert!(!folder.path().join("journal/00000001.log").exists());
        fs::remove_file(&path).unwrap();
    }
    open(folder.path(), options()).unwrap();
}

#[test]
fn a_segment_is_sealed_when_it_is_full_or_a_day_old_and_who_asked_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let day = Options { segment_ms: 1_000, ..options() };
    let (mut journal, _) = open(folder.path(), day).unwrap();
    let (tell, told) = mpsc::channel();
    journal.tell_sealed(tell);
    journal.append(&["{}"], 5_000).unwrap();
    journal.append(&["{}"], 5_999).unwrap();
    // The next one is not laid down yet: this only asks for it.
    journal.append(&["{}"], 6_000).unwrap();
    assert_eq!(told.try_recv().ok(), None);
    journal.upkeep();
    journal.append(&["{}"], 6_001).unwrap();
    assert_eq!(told.try_recv().ok(), Some(1));
    assert_eq!(journal.reader().segment_lines(1).unwrap().len(), 3);
    assert_eq!(journal.reader().segment_lines(2).unwrap(), [(4, b"{}".to_vec())]);
    // By bytes it does not wait for anybody.
    while journal.reader().segments().len() < 3 {
        journal.append(&["x".repeat(5_000)], 6_001).unwrap();
    }
    assert_eq!(told.try_recv().ok(), Some(2));
    let sealed: Vec<_> = journal.reader().segments().iter().map(|segment| segment.sealed).collect();
    assert_eq!(sealed, [true, true, false]);
}

#[test]
fn what_is_no_group_is_refused_and_the_longest_line_fits() {
    let folder = tempfile::tempdir().unwrap();
    let product = Options { upkeep: Upkeep::ByHand, ..Options::default() };
    let (mut journal, _) = open(folder.path(), product.clone()).unwrap();
    let mut refused = |lines: &[&[u8]]| match journal.append(lines, 0) {
        Err(AppendError::Unfit(unfit)) => unfit,
        other => panic!("{other:?}"),
    };
    let longest = vec![b'x'; MAX_LINE_BYTES];
    let longer = vec![b'x'; MAX_LINE_BYTES + 1];
    assert_eq!(refused(&[]), Unfit::NoLines);
    assert_eq!(refused(&[b"x".as_slice(); 513]), Unfit::TooManyLines);
    assert_eq!(refused(&[b"x", b""]), Unfit::EmptyLine(1));
    assert_eq!(refused(&[b"x\ny"]), Unfit::LineNotText(0));
    assert_eq!(refused(&[b"x\0y"]), Unfit::LineNotText(0));
    assert_eq!(refused(&[&longer]), Unfit::LineTooLong(0));
    assert_eq!(refused(&[&longest, &longest]), Unfit::TooLong);
    assert_eq!(journal.append(&[&longest], 0).unwrap(), 1);
    assert_eq!(journal.append(&[b"x"; 512], 0).unwrap(), 2);
    drop(journal);
    let (journal, lines) = open(folder.path(), product).unwrap();
    assert_eq!((lines.len(), &lines[0]), (513, &longest));
    assert_eq!(journal.reader().line(1).unwrap(), longest);
}

#[test]
fn a_line_that_the_caller_cannot_read_ends_opening_and_changes_nothing() {
    let (folder, _) = yard();
    let before = files(folder.path());
    let opened = Journal::open(Arc::new(RealDisk), folder.path(), options(), |seq, _| match seq {
        7 => Err("a kind of entry that this version does not know".into()),
        _ => Ok(()),
    });
    let Err(OpenError::Line { seq: 7, source }) = opened.map(|_| ()) else { panic!("it opened") };
    assert!(source.to_string().contains("does not know"));
    assert!(files(folder.path()) == before);
}
