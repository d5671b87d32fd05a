//! The archive of sealed segments: their text sorted by thing, in sled, for history pages, cards and exports. It is
//! fed behind the journal and may be deleted at any time: nothing stands only here, and every answer is the same
//! without it. What it is good for is bulky text off the heap, read in few pieces.

mod feeder;
mod pages;
mod reads;
mod store;

use std::{
    collections::BTreeMap,
    io,
    path::Path,
    sync::{
        Arc, Condvar, Mutex, MutexGuard, PoisonError, RwLock,
        atomic::{AtomicBool, Ordering},
        mpsc::{self, Receiver, Sender},
    },
    thread,
    time::Duration,
};

use crate::journal::Reader;
use reads::Ask;

/// How long closing waits for sled; then it is left to itself.
const CLOSING: Duration = Duration::from_secs(5);

/// Reads back stored lines. Closed when it is dropped.
pub struct Archive {
    shared: Arc<Shared>,
    ended: Mutex<Option<Receiver<()>>>,
}

struct Shared {
    reader: Reader,
    /// Where to ask for lines, while sled is open and sound.
    reads: RwLock<Option<Sender<Ask>>>,
    /// Wakes the feeder.
    poke: Sender<u32>,
    progress: Mutex<Progress>,
    changed: Condvar,
    broken: AtomicBool,
    stopping: AtomicBool,
}

#[derive(Default)]
struct Progress {
    /// Archived segments, by their first `seq`.
    kept: BTreeMap<u64, Segment>,
    /// There is no archive, and there won't be one until the server is started again.
    off: bool,
}

#[derive(Clone, Copy)]
struct Segment {
    number: u32,
    last_seq: u64,
}

impl Archive {
    /// An archive in `folder`, opened and filled in the background. Give the sender to the journal: it tells of
    /// every segment that is sealed.
    pub fn open(folder: &Path, reader: Reader) -> io::Result<(Archive, Sender<u32>)> {
        let (archive, sealed) = Archive::new(reader);
        let (feeder, ended) = mpsc::channel();
        let (shared, folder) = (archive.shared.clone(), folder.to_owned());
        thread::Builder::new().name("archive".into()).spawn(move || {
            feeder::run(&shared, &folder, &sealed);
            // Dropped at the very end, which is the signal.
            drop(feeder);
        })?;
        *archive.ended.lock().unwrap_or_else(PoisonError::into_inner) = Some(ended);
        let poke = archive.shared.poke.clone();
        Ok((archive, poke))
    }

    /// No archive: everything is read from the journal.
    pub fn none(reader: Reader) -> Archive {
        let (archive, _) = Archive::new(reader);
        archive.shared.progress().off = true;
        archive
    }

    fn new(reader: Reader) -> (Archive, Receiver<u32>) {
        let (poke, sealed) = mpsc::channel();
        let shared = Shared {
            reader,
            reads: RwLock::default(),
            poke,
            progress: Mutex::default(),
            changed: Condvar::new(),
            broken: AtomicBool::new(false),
            stopping: AtomicBool::new(false),
        };
        (Archive { shared: Arc::new(shared), ended: Mutex::default() }, sealed)
    }

    /// The lines of these entries, in this order: from sealed pages where they are, else from the journal.
    pub fn lines(&self, seqs: &[u64]) -> io::Result<Vec<Vec<u8>>> {
        let in_pages = self.shared.in_pages(seqs);
        let line = |(kept, seq): (Option<Vec<u8>>, &u64)| kept.map_or_else(|| self.shared.reader.line(*seq), Ok);
        in_pages.into_iter().zip(seqs).map(line).collect()
    }

    /// How many entries are archived.
    pub fn entries(&self) -> u64 {
        self.shared.progress().kept.iter().map(|(first, segment)| segment.last_seq - first + 1).sum()
    }

    /// Waits until every segment that is sealed now is archived, or until it is clear that none will be.
    pub fn drained(&self) {
        let sealed = self.shared.sealed();
        let mut progress = self.shared.progress();
        while !progress.off && !sealed.iter().all(|(first, _)| progress.kept.contains_key(first)) {
            progress = self.shared.changed.wait(progress).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Stops feeding and closes sled.
    pub fn close(&self) {
        self.shared.stopping.store(true, Ordering::SeqCst);
        let _ = self.shared.poke.send(0);
        if let Some(ended) = self.ended.lock().unwrap_or_else(PoisonError::into_inner).take() {
            // Ends with an error either way: the feeder went away, or sled takes too long to care about.
            let _ = ended.recv_timeout(CLOSING);
        }
    }
}

impl Drop for Archive {
    fn drop(&mut self) {
        self.close();
    }
}

impl Shared {
    fn progress(&self) -> MutexGuard<'_, Progress> {
        self.progress.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn kept(&self, first_seq: u64, segment: Segment) {
        self.progress().kept.insert(first_seq, segment);
        self.changed.notify_all();
    }

    /// Has what is archived thrown away and made anew.
    fn report_broken(&self) {
        if !self.broken.swap(true, Ordering::SeqCst) {
            // Nobody feeds any more: then nobody makes it anew either.
            let _ = self.poke.send(0);
        }
    }

    /// Sealed segments that hold something, by their first `seq`.
    fn sealed(&self) -> Vec<(u64, Segment)> {
        let segments = self.reader.segments().into_iter();
        let sealed = segments.filter(|segment| segment.sealed && segment.last_seq >= segment.first_seq);
        sealed.map(|at| (at.first_seq, Segment { number: at.number, last_seq: at.last_seq })).collect()
    }
}

impl Progress {
    /// The archived segment that holds this entry, and the segment's first.
    fn segment_of(&self, seq: u64) -> Option<(u64, Segment)> {
        let (first, segment) = self.kept.range(..=seq).next_back()?;
        (seq <= segment.last_seq).then_some((*first, *segment))
    }
}

#[cfg(test)]
mod tests;
