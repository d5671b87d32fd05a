//! Promises about the code itself that no compiler keeps: who may know whom, sizes, words, what lies where.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

/// Lines of a product file, its tests included.
const MOST_LINES: usize = 400;
/// Product files that are longer, and why.
const LONGER: &[(&str, &str)] = &[];

/// What may lie at the top; what git ignores is left out.
const AT_THE_TOP: &[&str] = &[
    ".ci",
    ".clippy.toml",
    ".gitignore",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "openapi",
    "rustfmt.toml",
    "scripts",
    "services",
    "shared-types",
    "tests",
];
const NOT_OURS: &[&str] = &[".git", "target", "data", "node_modules", "__pycache__"];

/// Who may know whom: `tests --> server --> domain --> shared-types`.
const ARROWS: &[(&str, &[&str])] = &[
    ("shared-types", &[]),
    ("services/domain", &["shared-types"]),
    ("services/server", &["domain", "shared-types"]),
    ("tests", &["server", "shared-types"]),
];
/// What the two pure crates may use from outside: no files, no clock, no randomness, no HTTP, nothing async.
const PURE: &[(&str, &[&str])] = &[
    ("shared-types", &["chrono", "serde", "serde_json", "thiserror", "unicode-normalization", "utoipa", "uuid"]),
    ("services/domain", &["chrono", "chrono-tz", "serde_json", "thiserror", "uuid"]),
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

/// Every file of the project, by its path from the top.
fn files() -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut folders = vec![root()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let entry = entry.unwrap();
            let name = entry.file_name().into_string().unwrap();
            if NOT_OURS.contains(&name.as_str()) {
                continue;
            }
            if entry.file_type().unwrap().is_dir() {
                folders.push(entry.path());
            } else if let Ok(text) = fs::read_to_string(entry.path()) {
                let path = entry.path().strip_prefix(root()).unwrap().to_str().unwrap().to_owned();
                found.insert(path, text);
            }
        }
    }
    found
}

fn rust_files() -> impl Iterator<Item = (String, String)> {
    files().into_iter().filter(|(path, _)| Path::new(path).extension().is_some_and(|ending| ending == "rs"))
}

fn is_product(path: &str) -> bool {
    path.contains("/src/") && !path.starts_with("tests/")
}

fn dependencies(manifest: &str, section: &str) -> BTreeSet<String> {
    let manifest: toml::Table = fs::read_to_string(root().join(manifest).join("Cargo.toml")).unwrap().parse().unwrap();
    let table = manifest.get(section).and_then(|table| table.as_table());
    table.map(|table| table.keys().cloned().collect()).unwrap_or_default()
}

#[test]
fn nobody_knows_whom_they_should_not() {
    let ours: BTreeSet<&str> = ["shared-types", "domain", "server", "tests"].into();
    for (package, may) in ARROWS {
        for section in ["dependencies", "dev-dependencies", "build-dependencies"] {
            for known in dependencies(package, section).iter().filter(|name| ours.contains(name.as_str())) {
                assert!(may.contains(&known.as_str()), "{package} may not know {known}");
            }
        }
    }
    let members: toml::Table = fs::read_to_string(root().join("Cargo.toml")).unwrap().parse().unwrap();
    let members = members["workspace"]["members"].as_array().unwrap();
    assert_eq!(members.len(), ARROWS.len(), "a new package needs its arrows here");
}

#[test]
fn the_pure_crates_use_nothing_that_reaches_outside() {
    for (package, may) in PURE {
        for used in dependencies(package, "dependencies").iter().filter(|name| *name != "shared-types") {
            assert!(may.contains(&used.as_str()), "{package} uses {used}");
        }
    }
}

#[test]
fn no_file_is_too_long_and_every_file_says_what_it_is() {
    for (path, text) in rust_files() {
        assert!(text.starts_with("//! ") || path.ends_with("/tests.rs"), "{path} starts with no sentence");
        let lines = text.lines().count();
        let listed = LONGER.iter().any(|(longer, _)| *longer == path);
        let too_long = is_product(&path) && MOST_LINES < lines;
        assert_eq!(
            too_long, listed,
            "{path} has {lines} lines; more than {MOST_LINES} need a reason here, fewer need none"
        );
    }
    assert!(LONGER.iter().all(|(_, why)| !why.is_empty()));
}

#[test]
fn no_work_is_put_off_and_no_test_is_passed_over() {
    // Taken apart, so that this file does not find itself.
    let words = [concat!("TO", "DO"), concat!("FIX", "ME"), concat!("unimple", "mented!("), concat!("#[ig", "nore")];
    let waits = [concat!("thread::", "sleep("), concat!("time::", "sleep(")];
    for (path, text) in rust_files() {
        let is_test = !is_product(&path) || path.ends_with("tests.rs");
        for word in words.iter().chain(waits.iter().filter(|_| is_test)) {
            assert!(!text.contains(word), "{path} says {word}");
        }
    }
}

#[test]
fn time_and_chance_are_read_in_one_place() {
    let excused = concat!("clippy::", "disallowed_methods");
    let excused: Vec<String> =
        rust_files().filter(|(path, text)| is_product(path) && text.contains(excused)).map(|(path, _)| path).collect();
    assert_eq!(excused, ["services/server/src/clock.rs"]);
}

#[test]
fn nothing_ties_the_project_to_one_machine() {
    let places = [concat!("/ro", "ot/"), concat!("/wo", "rk/"), concat!("/ho", "me/")];
    for (path, text) in files() {
        for place in places {
            assert!(!text.contains(place), "{path} names {place}");
        }
    }
}

#[test]
fn the_top_holds_what_it_should() {
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(AT_THE_TOP.contains(&name.as_str()) || NOT_OURS.contains(&name.as_str()), "{name} lies at the top");
    }
}

#[test]
fn scripts_can_be_run() {
    use std::os::unix::fs::PermissionsExt;
    for path in [".ci/run", "scripts/demo", "scripts/test"] {
        let mode = fs::metadata(root().join(path)).unwrap().permissions().mode();
        assert_ne!(mode & 0o111, 0, "{path}");
    }
}
