//! Entries live for ever: a line of every kind ever written is kept here, is read, and is written again byte for byte.

use shared_types::{
    Body, Entry,
    catalogue::{KINDS, OLDER},
};
use std::{collections::BTreeSet, fs, path::PathBuf};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/entries")
}

fn lines_of(kind: &str) -> Vec<String> {
    let file = folder().join(format!("{kind}.jsonl"));
    let text = fs::read_to_string(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    text.lines().map(str::to_owned).collect()
}

#[test]
fn every_kind_ever_written_is_read_and_written_byte_for_byte() {
    for (kind, _) in KINDS {
        let lines = lines_of(kind);
        assert!(!lines.is_empty(), "{kind} has no line");
        for line in lines {
            let entry = Entry::read(line.as_bytes()).unwrap_or_else(|error| panic!("{kind}: {error}\n{line}"));
            assert_eq!(entry.body.kind(), *kind);
            let mut written = Vec::new();
            entry.write(&mut written).unwrap();
            assert_eq!(String::from_utf8(written).unwrap(), line, "{kind}");
        }
    }
}

/// An older shape says the same as its newest one: only the name that it is written under differs.
#[test]
fn every_older_shape_is_read_as_its_newest() {
    for kind in OLDER {
        let lines = lines_of(kind);
        assert!(!lines.is_empty(), "{kind} has no line");
        for line in lines {
            let entry = Entry::read(line.as_bytes()).unwrap_or_else(|error| panic!("{kind}: {error}\n{line}"));
            assert!(kind.starts_with(entry.body.plain_kind()) && entry.body.kind() != *kind, "{kind}");
            let mut written = Vec::new();
            entry.write(&mut written).unwrap();
            assert_eq!(String::from_utf8(written).unwrap(), line.replace(kind, entry.body.kind()), "{kind}");
        }
    }
    // What came with the second shape was never in the first.
    let line = lines_of("yard_declared.v1").remove(0).replace("\"spare_s\"", "\"closed_on\":[],\"spare_s\"");
    assert!(Entry::read(line.as_bytes()).is_err());
    let line = lines_of("mismatch_settled.v2").pop().unwrap();
    assert!(line.contains("looked_into") && Entry::read(line.replace(".v2", ".v1").as_bytes()).is_err());
}

#[test]
fn no_line_is_kept_for_a_kind_that_is_not_known() {
    let kinds = KINDS.iter().map(|(kind, _)| *kind).chain(OLDER.iter().copied());
    let known: BTreeSet<String> = kinds.map(|kind| format!("{kind}.jsonl")).collect();
    for file in fs::read_dir(folder()).unwrap() {
        let name = file.unwrap().file_name().into_string().unwrap();
        assert!(known.contains(&name), "{name}: a kind once written is read for ever");
    }
}

#[test]
fn a_kind_without_its_version_means_the_newest() {
    for (kind, _) in KINDS {
        let line = lines_of(kind).remove(0);
        let value: serde_json::Value = serde_json::from_str(&line).unwrap();
        let plain = kind.rsplit_once(".v").unwrap().0;
        let read = Body::read(plain, &value["body"].to_string()).unwrap();
        assert_eq!(read, Entry::read(line.as_bytes()).unwrap().body);
    }
}

#[test]
fn a_field_nobody_knows_is_refused_in_a_body() {
    let line = lines_of("seen.v1").remove(0).replace("\"in\":", "\"inn\":1,\"in\":");
    assert!(Entry::read(line.as_bytes()).is_err());
}
