//! Proofs over a journal on the disk hold by the rules with which RFC 9162 has them checked, and by no other root.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may fail loudly")]

use std::{path::Path, sync::Arc};

use server::journal::{Hash, Journal, Options, Proofs, RealDisk, Tree, leaf, node};

/// RFC 9162, section 2.1.3.2.
fn is_included(leaf: Hash, seq: u64, size: u64, path: &[Hash], root: &Hash) -> bool {
    if size < seq || seq == 0 {
        return false;
    }
    let (mut at, mut last, mut hash) = (seq - 1, size - 1, leaf);
    for next in path {
        if last == 0 {
            return false;
        }
        if at % 2 == 1 || at == last {
            hash = node(next, &hash);
            while at.is_multiple_of(2) && at != 0 {
                at >>= 1;
                last >>= 1;
            }
        } else {
            hash = node(&hash, next);
        }
        at >>= 1;
        last >>= 1;
    }
    last == 0 && hash == *root
}

/// RFC 9162, section 2.1.4.2.
fn is_consistent(old: u64, size: u64, old_root: &Hash, root: &Hash, path: &[Hash]) -> bool {
    if old == size {
        return path.is_empty() && old_root == root;
    }
    let mut path = path.to_vec();
    if old.is_power_of_two() {
        path.insert(0, *old_root);
    }
    let Some((first, rest)) = path.split_first() else { return false };
    let (mut at, mut last) = (old - 1, size - 1);
    while at % 2 == 1 {
        at >>= 1;
        last >>= 1;
    }
    let (mut before, mut after) = (*first, *first);
    for next in rest {
        if last == 0 {
            return false;
        }
        if at % 2 == 1 || at == last {
            before = node(next, &before);
            after = node(next, &after);
            while at.is_multiple_of(2) && at != 0 {
                at >>= 1;
                last >>= 1;
            }
        } else {
            after = node(&after, next);
        }
        at >>= 1;
        last >>= 1;
    }
    last == 0 && before == *old_root && after == *root
}

fn hash(hex: &str) -> Hash {
    let bytes: Vec<u8> = (0..32).map(|at| u8::from_str_radix(&hex[at * 2..][..2], 16).unwrap()).collect();
    bytes.try_into().unwrap()
}

/// The checking itself, against a proof of others. Source: transparency-dev/merkle (Apache-2.0),
/// testdata/inclusion/1/happy-path.json: leaf 0 of 8 (base64 there).
#[test]
fn an_inclusion_proof_of_a_third_party_holds_and_no_other_place_does() {
    let path = [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ]
    .map(hash);
    let first = hash("6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d");
    let root = hash("5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328");
    for seq in 1..=8 {
        assert_eq!(is_included(first, seq, 8, &path, &root), seq == 1);
    }
}

fn journal(dir: &Path, lines: u64) -> Journal {
    let (mut journal, _) = Journal::open(Arc::new(RealDisk), dir, Options::default(), |_, _| Ok(())).unwrap();
    let all: Vec<String> = (1..=lines).map(|seq| format!("{{\"seq\":{seq}}}")).collect();
    all.chunks(100).for_each(|group| {
        journal.append(group, 0).unwrap();
    });
    journal
}

#[test]
fn every_proof_holds_for_its_root_and_fails_for_another() {
    let folder = tempfile::tempdir().unwrap();
    let lines = 1_300;
    let journal = journal(folder.path(), lines);
    let reader = journal.reader();
    let mut tree = Tree::default();
    let mut roots = vec![tree.root()];
    let leaves: Vec<Hash> = (1..=lines).map(|seq| leaf(&reader.line(seq).unwrap())).collect();
    for leaf in &leaves {
        tree.push(*leaf);
        roots.push(tree.root());
    }
    let proofs = Proofs::default();
    // Small trees whole; of large ones those around the blocks that are kept.
    let large = [255, 256, 257, 511, 512, 513, 767, 768, 1_024, 1_025, 1_279, 1_280, 1_299, 1_300];
    let mut checked = 0;
    for size in (1..40).chain(large) {
        let root = &roots[usize::try_from(size).unwrap()];
        assert_eq!(proofs.root(&reader, size).unwrap(), *root, "{size}");
        let some = (1..=size).filter(|seq| size < 40 || seq % 37 == 0 || size - seq < 2 || large.contains(seq));
        for seq in some {
            let own = leaves[usize::try_from(seq - 1).unwrap()];
            let path = proofs.inclusion(&reader, seq, size).unwrap();
            assert!(is_included(own, seq, size, &path, root), "{seq} of {size}");
            assert!(!is_included(own, seq, size, &path, &roots[0]), "{seq} of {size}");
            let old = &roots[usize::try_from(seq).unwrap()];
            let path = proofs.consistency(&reader, seq, size).unwrap();
            assert!(is_consistent(seq, size, old, root, &path), "{seq} to {size}");
            assert!(!is_consistent(seq, size, &leaves[0], root, &path) || seq == 1, "{seq} to {size}");
            checked += 1;
        }
    }
    assert!(1_000 < checked, "{checked}");
    for (seq, size) in [(0, 5), (6, 5)] {
        assert!(proofs.inclusion(&reader, seq, size).is_err() && proofs.consistency(&reader, seq, size).is_err());
    }
    assert!(proofs.root(&reader, lines + 1).is_err());
}
