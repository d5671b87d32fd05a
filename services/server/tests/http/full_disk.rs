//! Real disks with a fault: one that can be filled, so that no file can be made or made longer; and one that can fail: then
//! nothing that is written there stays, and it says so at the barrier, or at the write as a disk does that can only be read.

use crate::yard::{START, Server};
use server::{
    clock::SetClock,
    journal::{Disk, DiskFile, RealDisk},
    yard::Options,
};
use shared_types::Stamp;
use std::{
    any::Any,
    io,
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU8, Ordering},
    },
};

#[derive(Default)]
pub(crate) struct FullDisk {
    full: Arc<AtomicBool>,
}

impl FullDisk {
    pub(crate) fn fill(&self) {
        self.full.store(true, Ordering::SeqCst);
    }

    pub(crate) fn empty(&self) {
        self.full.store(false, Ordering::SeqCst);
    }
}

struct FullFile {
    file: Box<dyn DiskFile>,
    full: Arc<AtomicBool>,
}

impl FullFile {
    fn room_for(&self, end: u64) -> io::Result<()> {
        match self.full.load(Ordering::SeqCst) && self.file.size()? < end {
            true => Err(io::ErrorKind::StorageFull.into()),
            false => Ok(()),
        }
    }
}

impl DiskFile for FullFile {
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.room_for(offset + bytes.len() as u64)?;
        self.file.pwrite(bytes, offset)
    }
    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        self.file.pread(into, offset)
    }
    fn sync_data(&self) -> io::Result<()> {
        self.file.sync_data()
    }
    fn sync_all(&self) -> io::Result<()> {
        self.file.sync_all()
    }
    fn set_len(&self, bytes: u64) -> io::Result<()> {
        self.room_for(bytes)?;
        self.file.set_len(bytes)
    }
    fn size(&self) -> io::Result<u64> {
        self.file.size()
    }
}

impl Disk for FullDisk {
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        RealDisk.create_dir(path)
    }
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(FullFile { file: RealDisk.create(path)?, full: self.full.clone() }))
    }
    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(FullFile { file: RealDisk.open(path)?, full: self.full.clone() }))
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
        RealDisk.sync_dir(dir)
    }
    fn lock(&self, path: &Path) -> io::Result<Box<dyn Any + Send + Sync>> {
        RealDisk.lock(path)
    }
    fn is_locked(&self, path: &Path) -> io::Result<bool> {
        RealDisk.is_locked(path)
    }
}

/// Sound, until it is told to fail.
#[derive(Default, Clone)]
pub(crate) struct FailingDisk {
    how: Arc<AtomicU8>,
}

const SOUND: u8 = 0;
const BARRIERS_FAIL: u8 = 1;
const READ_ONLY: u8 = 2;

impl FailingDisk {
    /// A server on it, empty.
    pub(crate) fn serve(&self) -> Server {
        let clock = Arc::new(SetClock::new(Stamp::parse(START).unwrap().at));
        let mut options = Options::new(clock.clone());
        options.disk = Arc::new(self.clone());
        Server::with(options, clock)
    }

    /// From now on no barrier holds.
    pub(crate) fn fail(&self) {
        self.how.store(BARRIERS_FAIL, Ordering::SeqCst);
    }

    /// From now on it can only be read, as a kernel leaves a disk that it found errors on.
    pub(crate) fn turn_read_only(&self) {
        self.how.store(READ_ONLY, Ordering::SeqCst);
    }

    fn barrier(&self) -> io::Result<()> {
        match self.how.load(Ordering::SeqCst) {
            SOUND => Ok(()),
            BARRIERS_FAIL => Err(io::Error::other("the barrier failed")),
            _ => Err(io::ErrorKind::ReadOnlyFilesystem.into()),
        }
    }

    fn write(&self) -> io::Result<()> {
        match self.how.load(Ordering::SeqCst) {
            READ_ONLY => Err(io::ErrorKind::ReadOnlyFilesystem.into()),
            _ => Ok(()),
        }
    }

    fn file(&self, file: Box<dyn DiskFile>) -> Box<dyn DiskFile> {
        Box::new(FailingFile { file, disk: self.clone() })
    }
}

struct FailingFile {
    file: Box<dyn DiskFile>,
    disk: FailingDisk,
}

impl DiskFile for FailingFile {
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.disk.write().and_then(|()| self.file.pwrite(bytes, offset))
    }
    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        self.file.pread(into, offset)
    }
    fn sync_data(&self) -> io::Result<()> {
        self.disk.barrier().and_then(|()| self.file.sync_data())
    }
    fn sync_all(&self) -> io::Result<()> {
        self.disk.barrier().and_then(|()| self.file.sync_all())
    }
    fn set_len(&self, bytes: u64) -> io::Result<()> {
        self.disk.write().and_then(|()| self.file.set_len(bytes))
    }
    fn size(&self) -> io::Result<u64> {
        self.file.size()
    }
}

impl Disk for FailingDisk {
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        self.write().and_then(|()| RealDisk.create_dir(path))
    }
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        self.write().and_then(|()| Ok(self.file(RealDisk.create(path)?)))
    }
    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(self.file(RealDisk.open(path)?))
    }
    fn open_to_read(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        RealDisk.open_to_read(path)
    }
    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        RealDisk.list(dir)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.write().and_then(|()| RealDisk.rename(from, to))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.write().and_then(|()| RealDisk.remove(path))
    }
    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        self.barrier().and_then(|()| RealDisk.sync_dir(dir))
    }
    fn lock(&self, path: &Path) -> io::Result<Box<dyn Any + Send + Sync>> {
        RealDisk.lock(path)
    }
    fn is_locked(&self, path: &Path) -> io::Result<bool> {
        RealDisk.is_locked(path)
    }
}
