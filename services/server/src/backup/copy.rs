//! One file of a log into a backup: what is there is compared, what is new is written and read back from the disk.

use std::{fs::File, io, path::Path};

use rustix::fs::{Advice, fadvise};

use super::{BackupError, manifest::Manifest, while_doing};
use crate::journal::{Disk, RealDisk};

/// Copies from one folder into the other.
pub(super) struct Copier<'a> {
    pub(super) from: &'a Path,
    pub(super) to: &'a Path,
    /// The backup that stands there.
    pub(super) before: Option<&'a Manifest>,
}

/// A file of the backup.
pub(super) struct Copied {
    pub(super) name: String,
    pub(super) bytes: u64,
    pub(super) written: bool,
}

const PART: &str = "part";

impl Copier<'_> {
    /// The first `bytes` of a file.
    pub(super) fn copy(&self, name: &str, bytes: u64) -> Result<Copied, BackupError> {
        let (from, to) = (self.from.join(name), self.to.join(name));
        let new = first(&from, bytes).map_err(while_doing("reading", &from))?;
        let known = self.before.and_then(|before| before.files.get(name)).copied();
        let there = match first(&to, u64::MAX) {
            Ok(there) => there,
            Err(error) if error.kind() == io::ErrorKind::NotFound && known.is_none() => Vec::new(),
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Err(differs(name)),
            Err(error) => return Err(while_doing("reading", &to)(error)),
        };
        let known = usize::try_from(known.unwrap_or(0)).unwrap_or(usize::MAX);
        // What the backup has must be what the log begins with; what a broken-off one left behind it is nobody's.
        match (there.get(..known), new.get(..known)) {
            (Some(there), Some(new)) if there == new => {}
            _ => return Err(differs(name)),
        }
        let written = there != new;
        if written {
            write(&to, &new).map_err(while_doing("writing", &to))?;
        }
        Ok(Copied { name: name.to_owned(), bytes, written })
    }
}

fn differs(file: &str) -> BackupError {
    BackupError::Differs { file: file.to_owned() }
}

/// Up to so many bytes from a file's beginning.
fn first(path: &Path, bytes: u64) -> io::Result<Vec<u8>> {
    let file = RealDisk.open_to_read(path)?;
    let size = file.size()?.min(bytes);
    let mut read = vec![0; usize::try_from(size).map_err(io::Error::other)?];
    let count = file.pread(&mut read, 0)?;
    read.truncate(count);
    match bytes != u64::MAX && (count as u64) < bytes {
        true => Err(io::ErrorKind::UnexpectedEof.into()),
        false => Ok(read),
    }
}

/// Written beside it, read back from the disk and not from memory, and only then in its place.
pub(super) fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut part = path.as_os_str().to_owned();
    part.push(".");
    part.push(PART);
    let part = Path::new(&part);
    let file = RealDisk.create(part)?;
    file.set_len(0)?;
    file.pwrite(bytes, 0)?;
    file.sync_all()?;
    // Advice that can't be taken costs only where it is read from.
    let _ = fadvise(&File::open(part)?, 0, None, Advice::DontNeed);
    if first(part, u64::MAX)? != bytes {
        return Err(io::Error::other("what was read back is not what was written"));
    }
    RealDisk.rename(part, path)
}

/// The folder holds nothing, or only what a backup that was broken off left.
pub(super) fn only_copies(folder: &Path) -> bool {
    let is_copy = |name: &String| {
        let name = name.strip_suffix(".part").unwrap_or(name);
        name.ends_with(".log") || name.starts_with("cut-")
    };
    match RealDisk.list(folder) {
        Ok(names) => names.iter().all(is_copy),
        Err(error) => error.kind() == io::ErrorKind::NotFound,
    }
}
