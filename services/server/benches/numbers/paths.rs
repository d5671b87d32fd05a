//! Temporary folders on a real disk: a barrier on a disk that is only memory says nothing.

use std::{
    fs,
    path::{Path, PathBuf},
};

use tempfile::TempDir;

/// A folder that goes away by itself.
pub(crate) fn folder() -> TempDir {
    let within = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    fs::create_dir_all(&within).unwrap();
    let kind = file_system(&within);
    assert!(
        kind != "tmpfs" && kind != "ramfs",
        "{} is in memory ({kind}): set CARGO_TARGET_DIR to a real disk",
        within.display()
    );
    tempfile::Builder::new().prefix("numbers-").tempdir_in(within).unwrap()
}

fn file_system(path: &Path) -> String {
    let path = path.canonicalize().unwrap();
    let mounts = fs::read_to_string("/proc/mounts").unwrap_or_default();
    let mounted = mounts.lines().filter_map(|line| {
        let mut words = line.split(' ').skip(1);
        Some((words.next()?, words.next()?))
    });
    let above = mounted.filter(|(at, _)| path.starts_with(at)).max_by_key(|(at, _)| at.len());
    above.map_or(String::new(), |(_, kind)| kind.to_owned())
}
