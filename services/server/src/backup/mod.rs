//! `rimebook backup` and `rimebook restore`: a second copy of a data folder's journal, taken while a server may be at
//! work, and the way back.
//!
//! people/ and blobs/ are in it too (`beside.rs`), without the authority's key.
//!
//! A backup is a folder with the groups of every segment, byte for byte and without the empty space behind them, what
//! power cuts tore off, and `backup.json`, which says how many bytes of each file belong to it. A log only grows, so a
//! file only gets longer: whenever a backup is broken off, the bytes that `backup.json` names are still those of the
//! backup before. It is replaced last, after all that it names was read back from the disk.

mod beside;
mod copy;
mod manifest;
mod restore;
mod schedule;
mod view;

use std::{
    io,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError, mpsc},
    thread,
    time::Duration,
};

use shared_types::{Instant, Stamp};

use crate::journal::{self, Damage, Disk, Ending, Hash, OpenError, Options, RealDisk, Report};
use copy::{Copied, Copier};
use manifest::{FORMAT, Manifest, NAME, hex};
pub(crate) use schedule::Schedule;

pub(crate) use restore::looked_at;
pub use restore::{RestoreError, Restored, Seen, restore, restore_as};

/// Another backup into the same folder holds the lock of this file.
const LOCK: &str = "lock";
/// So many files are written at a time.
const COPIERS: usize = 4;

/// What a backup holds now.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BackedUp {
    /// The number of entries, which is the last `seq`.
    pub entries: u64,
    /// How many of them are new in it.
    pub new: u64,
    /// The root over all of them.
    pub root: Hash,
    /// Files that were written, and those that were compared and are the same as before.
    pub written: usize,
    pub same: usize,
}

/// Why there is no new backup. The one before stands.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    #[error("it is no data folder: it has no folder named journal")]
    NoData,
    #[error("{} is neither empty nor a backup; name a folder for this backup alone", .0.display())]
    Foreign(PathBuf),
    #[error("{} lies inside the data folder; a backup belongs on another disk", .0.display())]
    Inside(PathBuf),
    #[error("another backup into this folder is at work; wait until it is done")]
    InUse,
    #[error("{NAME} can't be read; look at the backup with rimebook verify")]
    Manifest(#[source] io::Error),
    #[error("the log is damaged, so it is not copied over a backup: {0}")]
    Damaged(Damage),
    #[error(
        "the backup has {backup} entries and this log {log}: it is another log, or an older one; take another folder"
    )]
    Behind { backup: u64, log: u64 },
    #[error(
        "{file} is not what the backup has of it: the backup is damaged (rimebook verify says whether), or of another log; \
         take another folder"
    )]
    Differs { file: String },
    #[error("the log can't be read")]
    Journal(#[from] OpenError),
    #[error("{doing} failed")]
    Io {
        doing: String,
        #[source]
        source: io::Error,
    },
}

fn while_doing(doing: &str, path: &Path) -> impl FnOnce(io::Error) -> BackupError + use<> {
    let doing = format!("{doing} {}", path.display());
    |source| BackupError::Io { doing, source }
}

/// Brings the backup in the folder `to` up to the end of the log in the data folder `data`. `told` hears how many
/// entries were read so far.
pub fn backup(data: &Path, to: &Path, now: Instant, told: &mut dyn FnMut(u64)) -> Result<BackedUp, BackupError> {
    backup_as(data, to, now, &Options::default(), told)
}

/// The same of a journal that is laid out in another way.
pub fn backup_as(
    data: &Path,
    to: &Path,
    now: Instant,
    options: &Options,
    told: &mut dyn FnMut(u64),
) -> Result<BackedUp, BackupError> {
    if !data.join("journal").is_dir() {
        return Err(BackupError::NoData);
    }
    let before = before(data, to)?;
    let folder = to.join("journal");
    RealDisk.create_dir(&folder).map_err(while_doing("making", &folder))?;
    let _lock = RealDisk.lock(&to.join(LOCK)).map_err(|error| match error.kind() {
        io::ErrorKind::WouldBlock => BackupError::InUse,
        _ => while_doing("locking", to)(error),
    })?;
    let copier = Copier { from: &data.join("journal"), to: &folder, before: before.as_ref() };
    let (report, mut copied) = again(|| copied(data, options, &copier, told))?;
    for cut in journal::kept(&RealDisk, &data.join("journal")).map_err(while_doing("listing", &folder))? {
        let path = copier.from.join(&cut.file);
        let bytes = copy::whole(&path).map_err(while_doing("reading", &path))?;
        copied.push(copier.copy(&cut.file, &bytes)?);
    }
    RealDisk.sync_dir(&folder).map_err(while_doing("keeping", &folder))?;
    let (beside, more) = beside::back_up(data, to)?;
    let entries = report.entries;
    let known = before.as_ref().map_or(0, |before| before.entries);
    if entries < known {
        return Err(BackupError::Behind { backup: known, log: entries });
    }
    let manifest = Manifest {
        format: FORMAT.to_owned(),
        entries,
        root: hex(&report.root),
        taken_at: Stamp::utc(now).to_string(),
        segment_bytes: options.segment_bytes,
        files: copied.iter().map(|file| (file.name.clone(), file.bytes)).collect(),
        beside,
    };
    manifest.write(to).map_err(while_doing("writing", &to.join(NAME)))?;
    beside::clear(to, &manifest.beside)?;
    let written = copied.iter().filter(|file| file.written).count() + more;
    let all = copied.len() + manifest.beside.len();
    Ok(BackedUp { entries, new: entries - known, root: report.root, written, same: all.saturating_sub(written) })
}

/// What the folder has as a backup already; nothing, where it is new or empty.
fn before(data: &Path, to: &Path) -> Result<Option<Manifest>, BackupError> {
    let whole = |path: &Path| path.canonicalize();
    if let (Ok(data), Ok(to)) = (whole(data), whole(to))
        && to.starts_with(&data)
    {
        return Err(BackupError::Inside(to));
    }
    let names = match RealDisk.list(to) {
        Ok(names) => names,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(while_doing("listing", to)(error)),
    };
    if let Some(before) = Manifest::read(to).map_err(BackupError::Manifest)? {
        return Ok(Some(before));
    }
    // A first backup that was broken off left these and nothing else.
    let ours =
        |name: &String| name == LOCK || name == manifest::UNFINISHED || name == "journal" || name == beside::FILES;
    let only_parts = names.iter().all(ours) && copy::only_copies(&to.join("journal")) && beside::only_copies(to);
    if only_parts { Ok(None) } else { Err(BackupError::Foreign(to.to_owned())) }
}

/// Of a log at work the last group may just be being written: what looks damaged then is looked at again.
fn again<T>(mut read: impl FnMut() -> Result<T, BackupError>) -> Result<T, BackupError> {
    let mut last = None;
    loop {
        match (read(), &last) {
            (Err(BackupError::Damaged(damage)), before) if before.as_ref() != Some(&damage) => last = Some(damage),
            (read, _) => return read,
        }
        thread::sleep(Duration::from_millis(200));
    }
}

/// Reads the log whole, and copies of each segment the very bytes that were checked while the next one is.
fn copied(
    data: &Path,
    options: &Options,
    copier: &Copier<'_>,
    told: &mut dyn FnMut(u64),
) -> Result<(Report, Vec<Copied>), BackupError> {
    let (to_copy, segments) = mpsc::sync_channel::<(u32, Arc<Vec<u8>>, u32)>(COPIERS);
    let segments = Arc::new(Mutex::new(segments));
    thread::scope(|scope| {
        // Most of their time is the disk's.
        let copying: Vec<_> = (0..COPIERS)
            .map(|_| {
                let segments = Arc::clone(&segments);
                let next = move || segments.lock().unwrap_or_else(PoisonError::into_inner).recv().ok();
                scope.spawn(move || {
                    std::iter::from_fn(next)
                        .map(|(number, bytes, end)| {
                            let good = bytes.get(..end as usize).unwrap_or_default();
                            copier.copy(&journal::file_name(number), good)
                        })
                        .collect::<Result<Vec<Copied>, BackupError>>()
                })
            })
            .collect();
        drop(segments);
        let report =
            journal::verify_by_segment(&RealDisk, data, options, &mut |seq, _| told(seq), &mut |number, bytes, end| {
                // Where nobody copies any longer somebody failed, and says so below.
                let _ = to_copy.send((number, Arc::clone(bytes), end));
            });
        drop(to_copy);
        let parts = copying.into_iter().map(|one| one.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        let copied: Result<Vec<Vec<Copied>>, BackupError> = parts.collect();
        let report = report?;
        match report.ending {
            Ending::Damaged(damage) => Err(BackupError::Damaged(damage)),
            Ending::Sound | Ending::Torn { .. } => Ok((report, copied?.into_iter().flatten().collect())),
        }
    })
}
