//! A real disk that can be filled: then no file can be made or made longer.

use server::journal::{Disk, DiskFile, RealDisk};
use std::{
    any::Any,
    io,
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
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
