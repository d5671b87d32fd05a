//! sled, held at arm's length: every call may fail or panic, and then the folder is thrown away and made anew.

use std::{
    fs::{self, File},
    io,
    panic::{AssertUnwindSafe, catch_unwind},
    path::{Path, PathBuf},
    thread,
    time::Duration,
};

/// Stands in the folder while sled opens it. Found at a start, it means that opening did not end well.
const MARKER: &str = "opening";
const FORMAT_KEY: &[u8] = b"format";
const FORMAT: &[u8] = b"1";
const CACHE_BYTES: u64 = 32 << 20;
const FLUSH_MS: u64 = 500;
/// sled's lock may linger for a moment after the last one who had it has gone.
const LOCK_TRIES: u32 = 50;
const LOCK_PAUSE: Duration = Duration::from_millis(100);

#[derive(Debug, thiserror::Error)]
pub(super) enum StoreError {
    #[error("sled: {0}")]
    Sled(#[from] sled::Error),
    #[error("sled panicked")]
    Panicked,
    #[error("the archive does not hold what it should")]
    Unsound,
    #[error("the archive was interrupted while it was opened")]
    Interrupted,
    #[error("the archive's folder: {0}")]
    Folder(#[from] io::Error),
}

pub(super) struct Store {
    db: sled::Db,
}

impl Store {
    /// Opens the folder, or makes it. After an error throw it away.
    pub(super) fn open(folder: &Path) -> Result<Store, StoreError> {
        fs::create_dir_all(folder)?;
        let marker = folder.join(MARKER);
        if marker.try_exists()? {
            return Err(StoreError::Interrupted);
        }
        File::create(&marker)?.sync_all()?;
        File::open(folder)?.sync_all()?;
        remove_half_snapshots(folder)?;
        let db = open_when_unlocked(folder)?;
        let store = Store { db };
        match store.get(FORMAT_KEY)? {
            Some(format) if format == FORMAT => {}
            None if guard(|| Ok(store.db.is_empty()))? => store.put(FORMAT_KEY, FORMAT)?,
            Some(_) | None => return Err(StoreError::Unsound),
        }
        fs::remove_file(&marker)?;
        Ok(store)
    }

    pub(super) fn get(&self, key: &[u8]) -> Result<Option<sled::IVec>, StoreError> {
        guard(|| self.db.get(key))
    }

    /// Only the feeder calls this.
    pub(super) fn put(&self, key: &[u8], value: &[u8]) -> Result<(), StoreError> {
        guard(|| self.db.insert(key, value).map(drop))
    }

    /// Closing writes what is left, which may fail like any other call.
    pub(super) fn close(self) {
        let _ = guard(|| {
            drop(self.db);
            Ok(())
        });
    }
}

/// Removes the folder, whatever it is.
pub(super) fn throw_away(folder: &Path) -> io::Result<()> {
    let gone = match fs::symlink_metadata(folder) {
        Ok(what) if what.is_dir() => fs::remove_dir_all(folder),
        Ok(_) => fs::remove_file(folder),
        Err(error) => Err(error),
    };
    match gone {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

fn guard<T>(call: impl FnOnce() -> sled::Result<T>) -> Result<T, StoreError> {
    match catch_unwind(AssertUnwindSafe(call)) {
        Ok(answer) => Ok(answer?),
        Err(_panic) => Err(StoreError::Panicked),
    }
}

/// A snapshot that was never finished would be read as the newest one. Finished ones are left alone: without them
/// damage is not found.
fn remove_half_snapshots(folder: &Path) -> io::Result<()> {
    let half = |path: &PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        name.starts_with("snap.") && name.ends_with(".generating")
    };
    let paths = fs::read_dir(folder)?.map(|item| item.map(|item| item.path())).collect::<io::Result<Vec<_>>>()?;
    paths.iter().filter(|path| half(path)).try_for_each(fs::remove_file)
}

fn open_when_unlocked(folder: &Path) -> Result<sled::Db, StoreError> {
    let config = sled::Config::new().path(folder).cache_capacity(CACHE_BYTES).flush_every_ms(Some(FLUSH_MS));
    let mut tries = 0;
    loop {
        match guard(|| config.open()) {
            Err(StoreError::Sled(sled::Error::Io(error))) if is_locked(&error) && tries < LOCK_TRIES => {
                tries += 1;
                thread::sleep(LOCK_PAUSE);
            }
            other => return other,
        }
    }
}

/// sled says it in a text.
fn is_locked(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::WouldBlock || error.to_string().contains("could not acquire lock")
}
