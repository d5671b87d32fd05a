//! Opening: read, check, cut away a torn end (and nothing else), write the last frame again, and only then accept.

use std::{
    any::Any,
    error::Error,
    io,
    path::{Path, PathBuf},
    sync::Arc,
};

use super::{
    Cut, Disk, DiskFile, OpenError, Options, Recovery, cut,
    scan::{LastFrame, Scan, ScanError, Torn, file_name, number},
    upkeep::{Upkeep, write_zeros},
};

/// All that the writer needs to go on.
pub(super) struct Opened {
    pub(super) folder: PathBuf,
    pub(super) lock: Box<dyn Any + Send + Sync>,
    pub(super) scan: Scan,
    /// The segment that the next frame goes into, if it fits.
    pub(super) current: Arc<dyn DiskFile>,
    pub(super) upkeep: Upkeep,
    pub(super) recovery: Recovery,
}

pub(super) fn open<F>(disk: &Arc<dyn Disk>, dir: &Path, options: &Options, on_line: F) -> Result<Opened, OpenError>
where
    F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
{
    let folder = dir.join("journal");
    disk.create_dir(&folder).map_err(while_doing("making the folder"))?;
    let lock = disk.lock(&dir.join("lock")).map_err(|error| match error.kind() {
        io::ErrorKind::WouldBlock => OpenError::InUse,
        _ => while_doing("taking the lock")(error),
    })?;
    has_its_journal(&**disk, dir)?;
    let mut scan = Scan::new(options.segment_bytes);
    scan.wanted.0 = options.root_at;
    scan.run(&**disk, &folder, on_line)?;

    let cut = match &scan.torn {
        Some(torn) => Some(cut_away(&**disk, &folder, torn).map_err(while_doing("keeping what a power cut tore off"))?),
        None => None,
    };
    let upkeep = Upkeep::new(disk.clone(), &folder, options.segment_bytes);
    let current = match &scan.last {
        Some(last) => {
            let end = scan.segments.last().map_or(0, |segment| segment.end);
            let file = write_again(&**disk, &folder, last, end, options.segment_bytes);
            let file = file.map_err(while_doing("writing the last group again"))?;
            shorten_sealed(&scan, &upkeep);
            file
        }
        None => upkeep.lay_first().map_err(while_doing("laying down the first segment"))?,
    };
    let kept = cut::kept(&**disk, &folder).map_err(while_doing("listing what was cut off"))?;
    let recovery = Recovery { entries: scan.tree.size(), root_at: scan.wanted.1, cut, kept };
    Ok(Opened { folder, lock, scan, current, upkeep, recovery })
}

/// Refuses a folder that has what only comes after the first segment, and no segment: an empty log must not be begun
/// over a lost one.
pub(super) fn has_its_journal(disk: &dyn Disk, dir: &Path) -> Result<(), OpenError> {
    let names = |folder: &str| match disk.list(&dir.join(folder)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        listed => listed.map_err(while_doing(&format!("listing {folder}"))),
    };
    let journal = names("journal")?;
    if journal.iter().any(|name| number(name).is_some()) {
        return Ok(());
    }
    let found = if !names("sled")?.is_empty() {
        "an archive (sled/)"
    } else if !names("blobs")?.is_empty() {
        "documents (blobs/)"
    } else if journal.iter().any(|name| name.starts_with("cut-")) {
        "the end of a log that a power cut tore off (journal/cut-*.bin)"
    } else {
        return Ok(());
    };
    Err(OpenError::NoJournal { found })
}

/// The bytes are safe in a file of their own before the first of them is overwritten.
fn cut_away(disk: &dyn Disk, folder: &Path, torn: &Torn) -> io::Result<Cut> {
    let cut = cut::keep(disk, folder, torn)?;
    let file = disk.open(&folder.join(file_name(torn.segment)))?;
    let place = |offset| u32::try_from(offset).map_err(io::Error::other);
    write_zeros(&*file, place(torn.extent.start)?, place(torn.extent.end)?)?;
    file.sync_data()?;
    Ok(cut)
}

/// After a failed barrier the kernel may show pages that never reached the disk as if they had. So the last frame is
/// written once more, and the space behind it laid down once more, before anything relies on them. (A next segment that
/// is there already is laid down once more before it is used, for the same reason.)
fn write_again(
    disk: &dyn Disk,
    folder: &Path,
    last: &LastFrame,
    end: u32,
    segment_bytes: u32,
) -> io::Result<Arc<dyn DiskFile>> {
    let file = disk.open(&folder.join(file_name(last.segment)))?;
    let mut frame = vec![0; last.bytes.len()];
    let at = last.bytes.start as u64;
    if file.pread(&mut frame, at)? != frame.len() {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    file.pwrite(&frame, at)?;
    write_zeros(&*file, end, segment_bytes)?;
    file.sync_all()?;
    Ok(Arc::from(file))
}

/// A crash may have come between sealing a segment and shortening it. Only now is the last frame known to be durable.
fn shorten_sealed(scan: &Scan, upkeep: &Upkeep) {
    if let Some((_, sealed)) = scan.segments.split_last() {
        sealed.iter().for_each(|segment| upkeep.shorten(segment.number, segment.end));
    }
}

fn while_doing(doing: &str) -> impl FnOnce(io::Error) -> OpenError {
    let doing = doing.to_owned();
    |source| OpenError::Io { doing, source }
}

impl From<ScanError> for OpenError {
    fn from(error: ScanError) -> Self {
        match error {
            ScanError::Damaged(damage) => Self::Damaged(damage),
            ScanError::Line { seq, source } => Self::Line { seq, source },
            ScanError::Io { doing, source } => Self::Io { doing, source },
        }
    }
}
