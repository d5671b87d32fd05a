//! The file layer: what the journal asks of a disk, and the real one. Tests put a disk under it that loses power.

use std::{
    any::Any,
    fs::{self, File, OpenOptions, TryLockError},
    io,
    os::unix::fs::FileExt,
    path::Path,
};

/// A disk with folders. Names and contents are durable only after the sync that is named at each call.
pub trait Disk: Send + Sync {
    /// Makes the folder, and those above it, if they are not there; durable when this returns.
    fn create_dir(&self, path: &Path) -> io::Result<()>;
    /// Opens for reading and writing; makes an empty file if there is none. The name is durable after `sync_dir`.
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// Opens for reading and writing what is there.
    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// Opens for reading only what is there.
    fn open_to_read(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// The names in a folder, in no order. Names that are not UTF-8 are left out: none of ours is like that.
    fn list(&self, dir: &Path) -> io::Result<Vec<String>>;
    /// Replaces what has the new name. Durable after `sync_dir`.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Makes the names in the folder durable.
    fn sync_dir(&self, dir: &Path) -> io::Result<()>;
    /// Takes the exclusive lock of this file, which is made if needed, until the answer is dropped.
    /// `ErrorKind::WouldBlock` if another has it.
    fn lock(&self, path: &Path) -> io::Result<Box<dyn Any + Send + Sync>>;
    /// Whether somebody has that lock now. Changes nothing.
    fn is_locked(&self, path: &Path) -> io::Result<bool>;
}

/// An open file. All calls may come from several threads at a time.
pub trait DiskFile: Send + Sync {
    /// Writes all the bytes at this offset, making the file longer if needed.
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()>;
    /// Reads until the buffer is full or the file ends; the answer is how many bytes were read.
    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize>;
    /// The barrier: what was written, and the length if it grew, is on the disk when this returns.
    fn sync_data(&self) -> io::Result<()>;
    /// The same for everything that belongs to the file.
    fn sync_all(&self) -> io::Result<()>;
    fn set_len(&self, bytes: u64) -> io::Result<()>;
    /// The length in bytes.
    fn size(&self) -> io::Result<u64>;
}

/// The disk of this machine.
#[derive(Debug, Clone, Copy, Default)]
pub struct RealDisk;

impl Disk for RealDisk {
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        if path.as_os_str().is_empty() || path.is_dir() {
            return Ok(());
        }
        let above = match path.parent() {
            Some(above) if !above.as_os_str().is_empty() => above,
            _ => Path::new("."),
        };
        self.create_dir(above)?;
        match fs::create_dir(path) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => Err(error),
            _ => self.sync_dir(above),
        }
    }

    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        Ok(Box::new(file))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(OpenOptions::new().read(true).write(true).open(path)?))
    }

    fn open_to_read(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(File::open(path)?))
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for item in fs::read_dir(dir)? {
            names.extend(item?.file_name().into_string().ok());
        }
        Ok(names)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        File::open(dir)?.sync_all()
    }

    fn lock(&self, path: &Path) -> io::Result<Box<dyn Any + Send + Sync>> {
        let file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Box::new(file)),
            Err(TryLockError::WouldBlock) => Err(io::ErrorKind::WouldBlock.into()),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }

    fn is_locked(&self, path: &Path) -> io::Result<bool> {
        let file = match File::open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(false),
            Err(error) => return Err(error),
        };
        match file.try_lock_shared() {
            Ok(()) => Ok(false),
            Err(TryLockError::WouldBlock) => Ok(true),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }
}

impl DiskFile for File {
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.write_all_at(bytes, offset)
    }

    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        let mut done = 0;
        while let Some(rest) = into.get_mut(done..).filter(|rest| !rest.is_empty()) {
            match self.read_at(rest, offset + done as u64) {
                Ok(0) => break,
                Ok(count) => done += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(done)
    }

    fn sync_data(&self) -> io::Result<()> {
        Self::sync_data(self)
    }

    fn sync_all(&self) -> io::Result<()> {
        Self::sync_all(self)
    }

    fn set_len(&self, bytes: u64) -> io::Result<()> {
        Self::set_len(self, bytes)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.metadata()?.len())
    }
}
