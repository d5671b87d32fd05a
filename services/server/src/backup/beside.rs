//! What stands beside the journal: people/, whose files are replaced, and blobs/, which only grow. In a backup each file
//! is kept under the SHA-256 of what it holds, so that nothing that `backup.json` names is ever overwritten.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs, io,
    path::{Component, Path, PathBuf},
};

use sha2::{Digest, Sha256};

use super::{BackupError, RestoreError, copy, while_doing};
use crate::{
    checkpoint,
    journal::{Disk, RealDisk},
    private, tls,
};

/// Where they are in a backup.
pub(super) const FILES: &str = "files";
/// Whoever has it may begin anew.
const SET_UP_CODE: &str = "set-up-code";
const FOLDERS: [&str; 2] = ["people", "blobs"];

/// By its path in the data folder the SHA-256 of each file, in hex.
pub(super) type Beside = BTreeMap<String, String>;

/// What is not copied: the authority's key, with which anybody could pass for the yard's server; the newest checkpoint,
/// which is of the log that goes on; a code that opens
/// the yard once; and what is being written.
fn stays(path: &str) -> bool {
    let name = path.strip_prefix("people/").unwrap_or_default();
    [tls::AUTHORITY_KEY, checkpoint::KEPT, SET_UP_CODE].contains(&name) || path.ends_with(".part")
}

/// Copies what is new and compares the rest. The journal is copied before: what its entries name is there by then.
pub(super) fn back_up(data: &Path, to: &Path) -> Result<(Beside, usize), BackupError> {
    let files = to.join(FILES);
    let mut beside = Beside::new();
    let mut written = 0;
    let all: io::Result<Vec<_>> = FOLDERS.iter().map(|folder| below(data, folder)).collect();
    for path in all.map_err(while_doing("listing", data))?.concat() {
        if stays(&path) {
            continue;
        }
        let from = data.join(&path);
        // One that was replaced by nothing meanwhile is no longer there to be kept.
        let Some(bytes) = private::read(&from).map_err(while_doing("reading", &from))? else { continue };
        let hash = hash(&bytes);
        let kept = files.join(&hash);
        match private::read(&kept).map_err(while_doing("reading", &kept))? {
            Some(there) if there == bytes => {}
            Some(_) => return Err(BackupError::Differs { file: format!("{FILES}/{hash} ({path})") }),
            None => {
                private::folder(&files).map_err(while_doing("making", &files))?;
                let write = copy::write(&kept, &bytes).and_then(|()| private::keep_to_itself(&kept));
                write.map_err(while_doing("writing", &kept))?;
                written += 1;
            }
        }
        beside.insert(path, hash);
    }
    if files.is_dir() {
        RealDisk.sync_dir(&files).map_err(while_doing("keeping", &files))?;
    }
    Ok((beside, written))
}

/// Takes away what the new `backup.json` no longer names.
pub(super) fn clear(to: &Path, beside: &Beside) -> Result<(), BackupError> {
    let files = to.join(FILES);
    let named: BTreeSet<&str> = beside.values().map(String::as_str).collect();
    for name in listed(&files).map_err(while_doing("listing", &files))? {
        if !named.contains(name.as_str()) {
            fs::remove_file(files.join(&name)).map_err(while_doing("clearing", &files))?;
        }
    }
    Ok(())
}

/// One file as it was backed up, whole.
pub(super) fn kept(from: &Path, path: &str, wanted: &str) -> Result<Vec<u8>, RestoreError> {
    let file = from.join(FILES).join(wanted);
    let bytes = private::read(&file)
        .map_err(|source| RestoreError::Io { doing: format!("reading {}", file.display()), source })?;
    bytes.filter(|bytes| hash(bytes) == wanted).ok_or_else(|| RestoreError::File { path: path.to_owned() })
}

/// Puts all of them into a new data folder, for the server's own user alone.
pub(super) fn put_back(from: &Path, beside: &Beside, data: &Path) -> Result<(), RestoreError> {
    for (path, hash) in beside {
        let bytes = kept(from, path, hash)?;
        let to = data.join(path);
        let put = || {
            let mut above: Vec<&Path> = to.ancestors().skip(1).take_while(|above| *above != data).collect();
            above.reverse();
            above.into_iter().try_for_each(private::folder)?;
            private::replace(&to, &bytes)
        };
        put().map_err(|source| RestoreError::Io { doing: format!("writing {}", to.display()), source })?;
    }
    Ok(())
}

/// Paths that stay below the data folder, and hashes that are names.
pub(super) fn are_plain(beside: &Beside) -> bool {
    beside.iter().all(|(path, hash)| {
        let inside = Path::new(path).components().all(|part| matches!(part, Component::Normal(_)));
        let ours = FOLDERS.iter().any(|folder| path.strip_prefix(folder).is_some_and(|rest| rest.starts_with('/')));
        inside && ours && is_hash(hash)
    })
}

/// The folder holds nothing, or only what a backup that was broken off left.
pub(super) fn only_copies(to: &Path) -> bool {
    listed(&to.join(FILES))
        .is_ok_and(|names| names.iter().all(|name| is_hash(name.strip_suffix(".part").unwrap_or(name))))
}

fn is_hash(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|digit| matches!(digit, b'0'..=b'9' | b'a'..=b'f'))
}

fn hash(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

fn listed(folder: &Path) -> io::Result<Vec<String>> {
    match RealDisk.list(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        listed => listed,
    }
}

/// Every file in the folder and those below it, by its path in the data folder.
fn below(data: &Path, folder: &str) -> io::Result<Vec<String>> {
    let mut files = Vec::new();
    for name in listed(&data.join(folder))? {
        let path = format!("{folder}/{name}");
        match PathBuf::from(data).join(&path).is_dir() {
            true => files.extend(below(data, &path)?),
            false => files.push(path),
        }
    }
    files.sort();
    Ok(files)
}
