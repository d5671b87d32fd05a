//! sled, held at arm's length: every call may fail or panic, and then the folder is thrown away and made anew.

use std::{
    fs::{self, File},
    io, mem,
    panic::{AssertUnwindSafe, catch_unwind},
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, MutexGuard, TryLockError,
        atomic::{AtomicBool, Ordering},
    },
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
const TRIES: u32 = 50;
const PAUSE: Duration = Duration::from_millis(100);

#[derive(Debug, thiserror::Error)]
pub(super) enum StoreError {
    #[error("sled: {0}")]
    Sled(#[from] sled::Error),
    #[error("sled panicked")]
    Panicked,
    #[error("the archive does not hold what it should")]
    Unsound,
    #[error("sled does not come back")]
    Stuck,
    #[error("the archive was interrupted while it was opened")]
    Interrupted,
    #[error("the archive's folder: {0}")]
    Folder(#[from] io::Error),
}

pub(super) struct Store {
    db: sled::Db,
    /// Reading and writing at once has been seen to hang, so they take turns.
    turn: Mutex<()>,
    given_up: AtomicBool,
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
        let store = Store { db, turn: Mutex::default(), given_up: AtomicBool::new(false) };
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

    /// Only the feeder calls this, in its turn.
    pub(super) fn put(&self, key: &[u8], value: &[u8]) -> Result<(), StoreError> {
        guard(|| self.db.insert(key, value).map(drop))
    }

    /// The turn, if nobody has it.
    pub(super) fn turn_now(&self) -> Option<MutexGuard<'_, ()>> {
        match self.turn.try_lock() {
            Ok(turn) => Some(turn),
            Err(TryLockError::Poisoned(turn)) => Some(turn.into_inner()),
            Err(TryLockError::WouldBlock) => None,
        }
    }

    /// The turn, as soon as it is free. Whoever keeps it for seconds does not come back.
    pub(super) fn turn(&self) -> Result<MutexGuard<'_, ()>, StoreError> {
        for _ in 0..TRIES {
            if let Some(turn) = self.turn_now() {
                return Ok(turn);
            }
            thread::sleep(PAUSE);
        }
        Err(StoreError::Stuck)
    }

    /// It is not sound: closing it might wait for ever.
    pub(super) fn give_up(&self) {
        self.given_up.store(true, Ordering::SeqCst);
    }

    /// Closing writes what is left, which may fail like any other call.
    pub(super) fn close(self: Arc<Self>) {
        let _ = guard(|| {
            drop(self);
            Ok(())
        });
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        if self.given_up.load(Ordering::SeqCst) {
            // One handle that is never dropped keeps sled from closing itself.
            mem::forget(self.db.clone());
        }
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
            Err(StoreError::Sled(sled::Error::Io(error))) if is_locked(&error) && tries < TRIES => {
                tries += 1;
                thread::sleep(PAUSE);
            }
            other => return other,
        }
    }
}

/// sled says it in a text.
fn is_locked(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::WouldBlock || error.to_string().contains("could not acquire lock")
}
