//! The segments that come next are read, and their lines hashed, by a thread of its own while one is checked: half of
//! what reading a journal costs is hashing.

use std::{
    io::BufRead,
    path::Path,
    sync::{
        Arc,
        mpsc::{Receiver, sync_channel},
    },
    thread::Scope,
};

use super::{
    Disk, DiskFile, Hash,
    frame::{HEADER_BYTES, Header, whole_sectors},
    merkle::leaf,
    scan::{ScanError, file_name, io_error},
};

/// A segment's file as it was read, and the leaves of its lines.
pub(super) struct Ahead {
    pub(super) bytes: Arc<Vec<u8>>,
    pub(super) leaves: Leaves,
}

/// Leaves with where their lines begin and how long those are, in order, for as far as frames were found. Nothing was
/// checked for them: who checks a line takes its leaf from here, and hashes what is not here.
#[derive(Default)]
pub(super) struct Leaves {
    found: std::vec::IntoIter<(usize, usize, Hash)>,
}

impl Leaves {
    /// The leaf of the line that begins at `start` in the segment.
    pub(super) fn of(&mut self, start: usize, line: &[u8]) -> Hash {
        match self.found.next() {
            Some((at, length, leaf)) if at == start && length == line.len() => leaf,
            _ => leaf(line),
        }
    }
}

/// Reads these segments in order, and hands over each when the one before it was taken. Ends when nobody takes any more.
pub(super) fn read<'scope, 'env>(
    scope: &'scope Scope<'scope, 'env>,
    disk: &'env dyn Disk,
    folder: &'env Path,
    numbers: Vec<u32>,
) -> Receiver<Result<Option<Ahead>, ScanError>> {
    let (give, coming) = sync_channel(1);
    scope.spawn(move || {
        for number in numbers {
            let read = one(disk, folder, number);
            let ends = read.is_err();
            if give.send(read).is_err() || ends {
                return;
            }
        }
    });
    coming
}

/// Nothing, if the file is longer than a place in it can be told.
fn one(disk: &dyn Disk, folder: &Path, number: u32) -> Result<Option<Ahead>, ScanError> {
    let path = folder.join(file_name(number));
    let read = disk.open_to_read(&path).and_then(|file| whole(&*file));
    let bytes = read.map_err(io_error(|| format!("reading {}", path.display())))?;
    Ok(bytes.map(|bytes| Ahead { leaves: leaves(&bytes), bytes: Arc::new(bytes) }))
}

fn whole(file: &dyn DiskFile) -> std::io::Result<Option<Vec<u8>>> {
    let Ok(size) = u32::try_from(file.size()?) else { return Ok(None) };
    let mut bytes = vec![0; size as usize];
    let read = file.pread(&mut bytes, 0)?;
    bytes.truncate(read);
    Ok(Some(bytes))
}

fn leaves(bytes: &[u8]) -> Leaves {
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(rest) = bytes.get(at..)
        && let Ok(header) = Header::decode(rest)
    {
        let end = HEADER_BYTES + header.body_bytes as usize;
        let Some(body) = rest.get(HEADER_BYTES..end) else { break };
        for (start, line) in lines(at + HEADER_BYTES, body) {
            found.push((start, line.len(), leaf(line)));
        }
        at += whole_sectors(end);
    }
    Leaves { found: found.into_iter() }
}

/// The lines of a frame's body that begins at `at`, without their newlines, and where each begins.
pub(super) fn lines(at: usize, body: &[u8]) -> impl Iterator<Item = (usize, &[u8])> {
    let mut behind = body;
    let mut ahead = body;
    let mut start = at;
    std::iter::from_fn(move || {
        // `skip_until` on a slice is the standard library's fast search for a byte; it cannot fail.
        let length = behind.skip_until(b'\n').ok().filter(|length| *length > 0)?;
        let (ended, rest) = ahead.split_at_checked(length)?;
        let line = (start, ended.strip_suffix(b"\n").unwrap_or(ended));
        start += length;
        ahead = rest;
        Some(line)
    })
}
