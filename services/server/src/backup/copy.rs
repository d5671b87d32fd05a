//! One file of a log into a backup: what is there is compared, what is new is written and read back from the disk.

use std::{fs::File, io, path::Path};

use rustix::fs::{Advice, fadvise};

use super::{BackupError, manifest::Manifest, while_doing};
use crate::journal::{Disk, DiskFile, RealDisk};

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
/// So much is read back at a time, in bytes.
const PIECE: usize = 256 << 10;

impl Copier<'_> {
    /// What a file of the log has, as it was checked.
    pub(super) fn copy(&self, name: &str, new: &[u8]) -> Result<Copied, BackupError> {
        let to = self.to.join(name);
        let known = self.before.and_then(|before| before.files.get(name)).copied();
        let there = match whole(&to) {
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
            write(&to, new).map_err(while_doing("writing", &to))?;
        }
        Ok(Copied { name: name.to_owned(), bytes: new.len() as u64, written })
    }
}

fn differs(file: &str) -> BackupError {
    BackupError::Differs { file: file.to_owned() }
}

/// All that a file holds.
pub(super) fn whole(path: &Path) -> io::Result<Vec<u8>> {
    let file = RealDisk.open_to_read(path)?;
    let mut read = vec![0; usize::try_from(file.size()?).map_err(io::Error::other)?];
    let count = file.pread(&mut read, 0)?;
    read.truncate(count);
    Ok(read)
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
    match holds(&*file, bytes)? {
        true => RealDisk.rename(part, path),
        false => Err(io::Error::other("what was read back is not what was written")),
    }
}

/// Whether these bytes are all that a file holds.
fn holds(file: &dyn DiskFile, bytes: &[u8]) -> io::Result<bool> {
    let mut piece = vec![0; PIECE];
    let mut offset = 0;
    for written in bytes.chunks(PIECE) {
        let read = file.pread(&mut piece, offset)?;
        if piece.get(..read) != Some(written) {
            return Ok(false);
        }
        offset += written.len() as u64;
    }
    Ok(file.size()? == offset)
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
