//! A disk that loses power. What is durable and what only looks so are kept apart, in sectors of 512 bytes and in names;
//! a power cut keeps a random part of what was not synced. A barrier can fail, and then its pages look clean although
//! they never reach the disk.

use std::{
    any::Any,
    collections::{BTreeMap, BTreeSet},
    io,
    path::{Path, PathBuf},
    sync::{Arc, Condvar, Mutex, MutexGuard},
};

use server::journal::{Disk, DiskFile};

use crate::sim_content::{Chance, Content, SECTOR};

/// Which barriers do what they say. The others say so too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Barriers {
    All,
    /// All but `sync_data`, which is the one of every group.
    NoneForGroups,
    No,
}

#[derive(Clone)]
pub(crate) struct SimDisk(Arc<(Mutex<State>, Condvar)>);

struct State {
    chance: Chance,
    barriers: Barriers,
    files: Vec<Content>,
    names: BTreeMap<PathBuf, usize>,
    durable_names: BTreeMap<PathBuf, usize>,
    dirty_names: BTreeSet<PathBuf>,
    /// Operations until the power goes, a barrier fails, or a write breaks off.
    until_cut: Option<usize>,
    until_failed_barrier: Option<usize>,
    until_failed_write: Option<usize>,
    is_off: bool,
    /// Bytes that all files together may have.
    quota: usize,
    /// Counted up by every power cut, so that a lock from before it means nothing.
    life: usize,
    locked: Option<usize>,
}

impl State {
    fn cut_power(&mut self) {
        for file in &mut self.files {
            file.land_some(&mut self.chance);
            file.bytes = file.durable.clone();
        }
        self.land_some_names(|_| true);
        self.names = self.durable_names.clone();
        self.life += 1;
        self.is_off = true;
        (self.until_cut, self.until_failed_barrier, self.until_failed_write) = (None, None, None);
    }

    fn land_name(&mut self, name: &Path) {
        match self.names.get(name) {
            Some(file) => self.durable_names.insert(name.to_owned(), *file),
            None => self.durable_names.remove(name),
        };
    }

    fn land_some_names(&mut self, among: impl Fn(&Path) -> bool) {
        for name in std::mem::take(&mut self.dirty_names) {
            if !among(&name) {
                self.dirty_names.insert(name);
            } else if self.chance.one_in(2) {
                self.land_name(&name);
            }
        }
    }

    fn set_name(&mut self, name: &Path, file: Option<usize>) {
        match file {
            Some(file) => self.names.insert(name.to_owned(), file),
            None => self.names.remove(name),
        };
        self.dirty_names.insert(name.to_owned());
    }

    fn find(&self, path: &Path) -> io::Result<usize> {
        self.names.get(path).copied().ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    /// One operation more. `Ok(true)` if the power goes in the middle of it.
    fn step(&mut self) -> io::Result<bool> {
        self.read_step()?;
        Ok(down(&mut self.until_cut))
    }

    /// The power goes now, if this step is the one.
    fn end_step(&mut self, cut: bool) -> io::Result<()> {
        if cut {
            self.cut_power();
        }
        self.read_step()
    }

    fn read_step(&self) -> io::Result<()> {
        if self.is_off { Err(io::Error::other("the power is off")) } else { Ok(()) }
    }

    fn used(&self) -> usize {
        self.names.values().map(|file| self.files[*file].bytes.len()).sum()
    }
}

/// Counts down; true once, at the end.
fn down(counter: &mut Option<usize>) -> bool {
    match counter {
        Some(0) => {
            *counter = None;
            true
        }
        Some(left) => {
            *left -= 1;
            false
        }
        None => false,
    }
}

impl SimDisk {
    pub(crate) fn new(seed: u64, barriers: Barriers) -> Self {
        let state = State {
            chance: Chance(seed),
            barriers,
            files: Vec::new(),
            names: BTreeMap::new(),
            durable_names: BTreeMap::new(),
            dirty_names: BTreeSet::new(),
            until_cut: None,
            until_failed_barrier: None,
            until_failed_write: None,
            is_off: false,
            quota: usize::MAX,
            life: 0,
            locked: None,
        };
        Self(Arc::new((Mutex::new(state), Condvar::new())))
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.0.lock().unwrap()
    }

    /// The power goes in the middle of the operation after this many.
    pub(crate) fn cut_power_after(&self, operations: usize) {
        self.state().until_cut = Some(operations);
    }

    pub(crate) fn fail_barrier_after(&self, barriers: usize) {
        self.state().until_failed_barrier = Some(barriers);
    }

    /// A write breaks off in the middle and fails.
    pub(crate) fn fail_write_after(&self, writes: usize) {
        self.state().until_failed_write = Some(writes);
    }

    /// The power goes now.
    pub(crate) fn cut_power(&self) {
        self.state().cut_power();
    }

    /// True if it was off.
    pub(crate) fn power_on(&self) -> bool {
        std::mem::take(&mut self.state().is_off)
    }

    pub(crate) fn is_off(&self) -> bool {
        self.state().is_off
    }

    pub(crate) fn set_quota(&self, bytes: usize) {
        self.state().quota = bytes;
    }

    pub(crate) fn used(&self) -> usize {
        self.state().used()
    }

    /// Waits until a file of this name is durable.
    pub(crate) fn wait_for(&self, name: &Path) {
        let state = self.0.0.lock().unwrap();
        drop(self.0.1.wait_while(state, |state| !state.durable_names.contains_key(name)).unwrap());
    }

    /// What a file holds now.
    pub(crate) fn content(&self, path: &Path) -> Vec<u8> {
        let state = self.state();
        state.files[state.find(path).unwrap()].bytes.clone()
    }

    /// Puts a durable file there.
    pub(crate) fn put(&self, path: &Path, bytes: Vec<u8>) {
        let mut state = self.state();
        let file = state.files.len();
        state.files.push(Content::durable(bytes));
        state.names.insert(path.to_owned(), file);
        state.durable_names.insert(path.to_owned(), file);
    }

    fn handle(&self, file: usize) -> Box<dyn DiskFile> {
        Box::new(SimFile { disk: self.clone(), file })
    }
}

impl Disk for SimDisk {
    fn create_dir(&self, _: &Path) -> io::Result<()> {
        self.state().read_step()
    }

    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let mut state = self.state();
        let cut = state.step()?;
        let file = match state.find(path) {
            Ok(file) => file,
            Err(_) => {
                let file = state.files.len();
                state.files.push(Content::default());
                state.set_name(path, Some(file));
                file
            }
        };
        state.end_step(cut)?;
        Ok(self.handle(file))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let state = self.state();
        state.read_step()?;
        Ok(self.handle(state.find(path)?))
    }

    fn open_to_read(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        self.open(path)
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let state = self.state();
        state.read_step()?;
        let inside = state.names.keys().filter(|path| path.parent() == Some(dir));
        Ok(inside.map(|path| path.file_name().unwrap().to_str().unwrap().to_owned()).collect())
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let mut state = self.state();
        let cut = state.step()?;
        let file = state.find(from)?;
        state.set_name(from, None);
        state.set_name(to, Some(file));
        state.end_step(cut)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        let mut state = self.state();
        let cut = state.step()?;
        state.find(path)?;
        state.set_name(path, None);
        state.end_step(cut)
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        let mut state = self.state();
        let cut = state.step()?;
        state.end_step(cut)?;
        let inside = |name: &Path| name.parent() == Some(dir);
        if down(&mut state.until_failed_barrier) {
            state.land_some_names(inside);
            return Err(io::Error::other("a barrier failed"));
        }
        if state.barriers != Barriers::No {
            for name in state.dirty_names.iter().filter(|name| inside(name)).cloned().collect::<Vec<_>>() {
                state.dirty_names.remove(&name);
                state.land_name(&name);
            }
        }
        self.0.1.notify_all();
        Ok(())
    }

    fn lock(&self, _: &Path) -> io::Result<Box<dyn Any + Send + Sync>> {
        let mut state = self.state();
        state.read_step()?;
        if state.locked == Some(state.life) {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        state.locked = Some(state.life);
        Ok(Box::new(Lock { disk: self.clone(), life: state.life }))
    }

    fn is_locked(&self, _: &Path) -> io::Result<bool> {
        let state = self.state();
        Ok(state.locked == Some(state.life))
    }
}

struct Lock {
    disk: SimDisk,
    life: usize,
}

impl Drop for Lock {
    fn drop(&mut self) {
        self.disk.state().locked.take_if(|life| *life == self.life);
    }
}

struct SimFile {
    disk: SimDisk,
    file: usize,
}

impl SimFile {
    fn sync(&self, kept: bool) -> io::Result<()> {
        let mut state = self.disk.state();
        let state = &mut *state;
        let cut = state.step()?;
        state.end_step(cut)?;
        if down(&mut state.until_failed_barrier) {
            state.files[self.file].land_some(&mut state.chance);
            return Err(io::Error::other("a barrier failed"));
        }
        if kept {
            state.files[self.file].sync();
        }
        Ok(())
    }

    fn barriers(&self) -> Barriers {
        self.disk.state().barriers
    }
}

impl DiskFile for SimFile {
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        let mut state = self.disk.state();
        let at = usize::try_from(offset).unwrap();
        let cut = state.step()?;
        let growth = (at + bytes.len()).saturating_sub(state.files[self.file].bytes.len());
        if state.used() + growth > state.quota {
            return Err(io::ErrorKind::StorageFull.into());
        }
        if down(&mut state.until_failed_write) {
            // A kernel takes a write page by page, so what breaks off does so between sectors.
            let sectors = (at + bytes.len()) / SECTOR - at / SECTOR;
            let written = (state.chance.below(sectors + 1) * SECTOR).min(bytes.len());
            state.files[self.file].write(&bytes[..written], at);
            return Err(io::Error::other("a write broke off"));
        }
        state.files[self.file].write(bytes, at);
        state.end_step(cut)
    }

    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        let state = self.disk.state();
        state.read_step()?;
        let bytes = state.files[self.file].bytes.get(usize::try_from(offset).unwrap()..).unwrap_or_default();
        let count = bytes.len().min(into.len());
        into[..count].copy_from_slice(&bytes[..count]);
        Ok(count)
    }

    fn sync_data(&self) -> io::Result<()> {
        self.sync(self.barriers() == Barriers::All)
    }

    fn sync_all(&self) -> io::Result<()> {
        self.sync(self.barriers() != Barriers::No)
    }

    fn set_len(&self, bytes: u64) -> io::Result<()> {
        let mut state = self.disk.state();
        let cut = state.step()?;
        state.files[self.file].set_len(usize::try_from(bytes).unwrap());
        state.end_step(cut)
    }

    fn size(&self) -> io::Result<u64> {
        let state = self.disk.state();
        state.read_step()?;
        Ok(state.files[self.file].bytes.len() as u64)
    }
}
