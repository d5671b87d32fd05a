//! A backup seen as the journal that it is a copy of: the bytes that belong to it, and the empty space behind them.

use std::{any::Any, io, path::Path};

use super::manifest::Manifest;
use crate::journal::{Disk, DiskFile, RealDisk, sealed_bytes};

pub(super) struct View<'a> {
    pub(super) manifest: &'a Manifest,
}

impl View<'_> {
    /// The last segment's file: it is written on, so it is as long as it was laid down.
    fn last(&self) -> Option<&str> {
        self.manifest.files.keys().rfind(|name| name.ends_with(".log")).map(String::as_str)
    }

    /// How long the file is in a data folder.
    pub(super) fn size(&self, name: &str, bytes: u64) -> u64 {
        let laid = self.manifest.segment_bytes;
        match u32::try_from(bytes) {
            Ok(_) if !name.ends_with(".log") => bytes,
            Ok(_) if self.last() == Some(name) => u64::from(laid),
            Ok(end) => sealed_bytes(end, laid),
            Err(_) => bytes,
        }
    }
}

struct Seen {
    file: Box<dyn DiskFile>,
    bytes: u64,
    size: u64,
}

impl DiskFile for Seen {
    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        let there = usize::try_from(self.size.saturating_sub(offset)).unwrap_or(usize::MAX).min(into.len());
        let copied = usize::try_from(self.bytes.saturating_sub(offset)).unwrap_or(usize::MAX).min(there);
        let into = into.get_mut(..there).unwrap_or_default();
        let (own, empty) = into.split_at_mut(copied);
        if self.file.pread(own, offset)? != copied {
            return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the file is shorter than backup.json says"));
        }
        empty.fill(0);
        Ok(there)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.size)
    }

    fn pwrite(&self, _: &[u8], _: u64) -> io::Result<()> {
        Err(only_read())
    }

    fn sync_data(&self) -> io::Result<()> {
        Err(only_read())
    }

    fn sync_all(&self) -> io::Result<()> {
        Err(only_read())
    }

    fn set_len(&self, _: u64) -> io::Result<()> {
        Err(only_read())
    }
}

impl Disk for View<'_> {
    fn open_to_read(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        let Some(bytes) = self.manifest.files.get(name).copied() else { return Err(io::ErrorKind::NotFound.into()) };
        Ok(Box::new(Seen { file: RealDisk.open_to_read(path)?, bytes, size: self.size(name, bytes) }))
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        match dir.ends_with("journal") {
            true => Ok(self.manifest.files.keys().cloned().collect()),
            false => Err(io::ErrorKind::NotFound.into()),
        }
    }

    fn is_locked(&self, _: &Path) -> io::Result<bool> {
        Ok(false)
    }

    fn create_dir(&self, _: &Path) -> io::Result<()> {
        Err(only_read())
    }

    fn create(&self, _: &Path) -> io::Result<Box<dyn DiskFile>> {
        Err(only_read())
    }

    fn open(&self, _: &Path) -> io::Result<Box<dyn DiskFile>> {
        Err(only_read())
    }

    fn rename(&self, _: &Path, _: &Path) -> io::Result<()> {
        Err(only_read())
    }

    fn remove(&self, _: &Path) -> io::Result<()> {
        Err(only_read())
    }

    fn sync_dir(&self, _: &Path) -> io::Result<()> {
        Err(only_read())
    }

    fn lock(&self, _: &Path) -> io::Result<Box<dyn Any + Send + Sync>> {
        Err(only_read())
    }
}

fn only_read() -> io::Error {
    io::Error::new(io::ErrorKind::Unsupported, "a backup is only read")
}
