//! The real disk, counted: what is written to a segment of the journal between two roll-overs, and with how many
//! barriers. And the same disk without any barrier, to fill folders with what is only read afterwards.

use std::{
    any::Any,
    io,
    path::Path,
    sync::{
        Arc, Mutex,
        atomic::{AtomicBool, Ordering},
    },
};

use server::journal::{Disk, DiskFile, RealDisk};

/// What the segments' descriptors saw once they were laid down.
#[derive(Clone, Copy, Default, Debug)]
pub(crate) struct Counts {
    pub(crate) writes: u64,
    pub(crate) bytes: u64,
    pub(crate) barriers: u64,
    /// The most bytes of a group beyond 1.1 x its lines.
    pub(crate) most_beyond: f64,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Barriers {
    Real,
    None,
}

pub(crate) struct Counting {
    counts: Arc<Mutex<Counts>>,
    barriers: Barriers,
}

impl Counting {
    pub(crate) fn new() -> Counting {
        Counting { counts: Arc::default(), barriers: Barriers::Real }
    }

    /// Nothing on it is durable.
    pub(crate) fn without_barriers() -> Counting {
        Counting { counts: Arc::default(), barriers: Barriers::None }
    }

    pub(crate) fn counts(&self) -> Arc<Mutex<Counts>> {
        self.counts.clone()
    }

    fn counted(&self, path: &Path, file: Box<dyn DiskFile>) -> Box<dyn DiskFile> {
        // A segment that is opened again was laid down by an earlier start.
        let is_laid = path.extension().is_some_and(|ending| ending == "log");
        let (counts, barriers) = (self.counts.clone(), self.barriers);
        Box::new(Counted { file, counts, barriers, is_laid: AtomicBool::new(is_laid) })
    }
}

struct Counted {
    file: Box<dyn DiskFile>,
    counts: Arc<Mutex<Counts>>,
    barriers: Barriers,
    is_laid: AtomicBool,
}

/// Where a frame's header says how long its lines are.
const BODY_BYTES_AT: usize = 12;

impl DiskFile for Counted {
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        if self.is_laid.load(Ordering::Relaxed) && bytes.starts_with(b"RbJ\n") {
            let length: [u8; 4] = bytes[BODY_BYTES_AT..BODY_BYTES_AT + 4].try_into().unwrap();
            let beyond = bytes.len() as f64 - 1.1 * f64::from(u32::from_le_bytes(length));
            let mut counts = self.counts.lock().unwrap();
            counts.writes += 1;
            counts.bytes += bytes.len() as u64;
            counts.most_beyond = counts.most_beyond.max(beyond);
        }
        self.file.pwrite(bytes, offset)
    }

    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        self.file.pread(into, offset)
    }

    fn sync_data(&self) -> io::Result<()> {
        if self.is_laid.load(Ordering::Relaxed) {
            self.counts.lock().unwrap().barriers += 1;
        }
        match self.barriers {
            Barriers::Real => self.file.sync_data(),
            Barriers::None => Ok(()),
        }
    }

    fn sync_all(&self) -> io::Result<()> {
        // Laying down ends with this; what comes later belongs to groups.
        if self.is_laid.swap(true, Ordering::Relaxed) {
            self.counts.lock().unwrap().barriers += 1;
        }
        match self.barriers {
            Barriers::Real => self.file.sync_all(),
            Barriers::None => Ok(()),
        }
    }

    fn set_len(&self, bytes: u64) -> io::Result<()> {
        // A sealed segment is cut to its frames at a roll-over; the barrier after that belongs to no group.
        self.is_laid.store(false, Ordering::Relaxed);
        self.file.set_len(bytes)
    }

    fn size(&self) -> io::Result<u64> {
        self.file.size()
    }
}

impl Disk for Counting {
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        RealDisk.create_dir(path)
    }

    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(self.counted(path, RealDisk.create(path)?))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(self.counted(path, RealDisk.open(path)?))
    }

    fn open_to_read(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        RealDisk.open_to_read(path)
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        RealDisk.list(dir)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        RealDisk.rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        RealDisk.remove(path)
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        match self.barriers {
            Barriers::Real => RealDisk.sync_dir(dir),
            Barriers::None => Ok(()),
        }
    }

    fn lock(&self, path: &Path) -> io::Result<Box<dyn Any + Send + Sync>> {
        RealDisk.lock(path)
    }

    fn is_locked(&self, path: &Path) -> io::Result<bool> {
        RealDisk.is_locked(path)
    }
}
