//! Laying down the next segment with zeros ahead of need, so that a full disk is met here and not by a write, and
//! giving back the end of sealed ones.

use std::{
    io, mem,
    path::{Path, PathBuf},
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use super::{
    Disk, DiskFile,
    scan::{file_name, sealed_bytes},
};

/// A segment has this name until it is laid down and durable.
const UNFINISHED: &str = "next.tmp";
const CHUNK_BYTES: usize = 1 << 20;

pub(super) struct Upkeep {
    disk: Arc<dyn Disk>,
    folder: PathBuf,
    segment_bytes: u32,
    state: Mutex<State>,
    wake: Condvar,
    /// Held while the disk works, by the thread or by whoever cannot wait for it.
    work: Mutex<()>,
}

#[derive(Default)]
struct State {
    wanted: Option<u32>,
    laid: Option<(u32, Arc<dyn DiskFile>)>,
    /// Why the last laying down failed; none is tried until this is taken away.
    failed: Option<String>,
    /// Sealed segments and what they need of their file, in bytes.
    to_shorten: Vec<(u32, u32)>,
    ending: bool,
}

impl State {
    fn is_due(&self) -> bool {
        !self.to_shorten.is_empty() || (self.wanted.is_some() && self.failed.is_none())
    }
}

impl Upkeep {
    pub(super) fn new(disk: Arc<dyn Disk>, folder: &Path, segment_bytes: u32) -> Self {
        let (state, wake, work) = (Mutex::default(), Condvar::new(), Mutex::new(()));
        Self { disk, folder: folder.to_owned(), segment_bytes, state, wake, work }
    }

    /// Asks for this segment to be laid down, if it is not already.
    pub(super) fn want(&self, segment: u32) {
        let mut state = self.state();
        if state.wanted.is_none() && state.laid.is_none() {
            state.wanted = Some(segment);
            self.wake.notify_one();
        }
    }

    /// Hands out the segment if it is laid down.
    pub(super) fn take(&self, segment: u32) -> Option<Arc<dyn DiskFile>> {
        self.state().laid.take_if(|(laid, _)| *laid == segment).map(|(_, file)| file)
    }

    /// Hands out the segment, and lays it down here and now if it is not, unless that failed lately.
    pub(super) fn take_or_lay(&self, segment: u32) -> Result<Arc<dyn DiskFile>, String> {
        self.want(segment);
        if self.state().failed.is_none() {
            self.work();
        }
        let file = self.take(segment);
        file.ok_or_else(|| self.state().failed.clone().unwrap_or_else(|| "it is not laid down yet".to_owned()))
    }

    /// The segment is sealed, and what follows it is durable.
    pub(super) fn shorten(&self, segment: u32, bytes: u32) {
        self.state().to_shorten.push((segment, bytes));
        self.wake.notify_one();
    }

    /// Does what is due, also what failed before. True if nothing is missing afterwards.
    pub(super) fn try_again(&self) -> bool {
        self.state().failed = None;
        self.work();
        self.state().failed.is_none()
    }

    /// Why the segment that is wanted is not there.
    pub(super) fn missing(&self) -> Option<String> {
        self.state().failed.clone()
    }

    pub(super) fn end(&self) {
        self.state().ending = true;
        self.wake.notify_one();
    }

    /// The thread: does what is due until `end`, and tries again what failed after each `retry`.
    pub(super) fn run(&self, retry: Duration) {
        loop {
            let mut state = self.state();
            while !state.ending && !state.is_due() {
                if state.failed.is_none() {
                    state = self.wake.wait(state).unwrap_or_else(PoisonError::into_inner);
                    continue;
                }
                let (after, wait) = self.wake.wait_timeout(state, retry).unwrap_or_else(PoisonError::into_inner);
                state = after;
                if wait.timed_out() {
                    state.failed = None;
                }
            }
            if state.ending {
                return;
            }
            drop(state);
            self.work();
        }
    }

    /// Lays the segment down as new. If its file is there, from an earlier run, it is used again, so that a full disk
    /// does no harm; but it is not trusted, because its barrier may have failed then.
    fn lay(&self, segment: u32) -> io::Result<Arc<dyn DiskFile>> {
        match self.disk.rename(&self.folder.join(file_name(segment)), &self.folder.join(UNFINISHED)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => self.make(segment),
        }
    }

    /// Lays down the first segment. If it is there, without a group, it is replaced at once and not used again: a folder
    /// without any segment is new, or has lost its journal.
    pub(super) fn lay_first(&self) -> io::Result<Arc<dyn DiskFile>> {
        self.make(1)
    }

    /// Zeros under another name, until they are durable.
    fn make(&self, segment: u32) -> io::Result<Arc<dyn DiskFile>> {
        let (unfinished, path) = (self.folder.join(UNFINISHED), self.folder.join(file_name(segment)));
        let laid = self.disk.create(&unfinished).and_then(|file| {
            write_zeros(&*file, 0, self.segment_bytes)?;
            file.set_len(u64::from(self.segment_bytes))?;
            file.sync_all()?;
            self.disk.rename(&unfinished, &path)?;
            self.disk.sync_dir(&self.folder)?;
            Ok(Arc::from(file))
        });
        if laid.is_err() {
            // What was laid down in part is given back: others need the space as well. If that fails too, it is used
            // again by the next try.
            drop(self.disk.remove(&unfinished));
        }
        laid
    }

    /// Keeps a segment that `lay` made until it is taken.
    fn put(&self, segment: u32, laid: io::Result<Arc<dyn DiskFile>>) {
        let mut state = self.state();
        match laid {
            Ok(file) => {
                state.laid = Some((segment, file));
                state.wanted = None;
            }
            Err(error) => {
                state.failed = Some(error.to_string());
                state.wanted = Some(segment);
            }
        }
    }

    fn work(&self) {
        let _working = self.work.lock().unwrap_or_else(PoisonError::into_inner);
        let (wanted, to_shorten) = {
            let mut state = self.state();
            (state.wanted.filter(|_| state.failed.is_none()), mem::take(&mut state.to_shorten))
        };
        if let Some(segment) = wanted {
            self.put(segment, self.lay(segment));
        }
        for (segment, bytes) in to_shorten {
            let file = self.disk.open(&self.folder.join(file_name(segment)));
            let length = sealed_bytes(bytes, self.segment_bytes);
            // A segment that keeps its zeros is as good, so a failure is of no interest: the next start does it again.
            // With the barrier a loss of what follows it is seen after a power cut as well.
            drop(file.and_then(|file| file.set_len(length).and_then(|()| file.sync_all())));
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Writes zeros from one place in the file to another, in bytes.
pub(super) fn write_zeros(file: &dyn DiskFile, from: u32, to: u32) -> io::Result<()> {
    let zeros = vec![0; CHUNK_BYTES.min(to.saturating_sub(from) as usize)];
    let mut at = from as usize;
    while let Some(left) = (to as usize).checked_sub(at).filter(|left| *left > 0) {
        let chunk = zeros.get(..left).unwrap_or(&zeros);
        file.pwrite(chunk, at as u64)?;
        at += chunk.len();
    }
    Ok(())
}
