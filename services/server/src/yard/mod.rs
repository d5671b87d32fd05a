//! Opening a data folder: the journal is read, checked and put into the book, the committer and the archive start.

mod lately;

use std::{
    error::Error,
    io,
    panic::{AssertUnwindSafe, catch_unwind},
    path::{Path, PathBuf},
    sync::{Arc, OnceLock, PoisonError, RwLock, RwLockReadGuard},
    thread::{self, JoinHandle},
    time::Duration,
};

use domain::{Book, When, mismatch, standing::is_set_up};
use tokio::sync::{Semaphore, watch};

use shared_types::{
    BesideServer, Body, ClockChecked, DoneBeside, Entry, Instant, LineError, LogCut, Mismatch, ThingName,
};

use crate::{
    archive::Archive,
    backup::Schedule,
    checkpoint::Checkpoints,
    clock::{Clock, JUMP_MS, SystemClock},
    committer::{ClockJump, Committer, OwnEntryError, Thread, own_entry},
    journal::{self, Disk, Journal, Proofs, Reader, RealDisk},
    measured::Measured,
    people::People,
    tls::Identity,
};
use lately::Lately;

/// A clock this much ahead of the last entry at a start is not believed: 24 h, in milliseconds.
const AHEAD_MS: i64 = 24 * 60 * 60 * 1_000;

/// How a data folder is opened. `Options::default()` is what the server uses.
pub struct Options {
    pub clock: Arc<dyn Clock>,
    /// A person looked at the clock after it had jumped and found it right.
    pub clock_checked: bool,
    /// A person knows that others have seen more of this log than the folder holds.
    pub behind_is_known: bool,
    /// What is done here beside any server: the log says it before anything else.
    pub beside: Option<DoneBeside>,
    pub disk: Arc<dyn Disk>,
    pub journal: journal::Options,
    /// After so long without work a frame without lines closes the log.
    pub rest_after: Duration,
    /// Whether sealed segments are archived in `sled/`.
    pub archive: bool,
}

impl Options {
    pub fn new(clock: Arc<dyn Clock>) -> Options {
        Options {
            clock,
            clock_checked: false,
            behind_is_known: false,
            beside: None,
            disk: Arc::new(RealDisk),
            journal: journal::Options::default(),
            rest_after: Duration::from_secs(1),
            archive: true,
        }
    }
}

impl Default for Options {
    fn default() -> Self {
        Options::new(Arc::new(SystemClock::new()))
    }
}

/// Why a data folder can't be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error("entry {seq} can't be read: a newer version may have written it; start that one, nothing was changed")]
    Entry {
        seq: u64,
        #[source]
        source: Box<dyn Error + Send + Sync>,
    },
    #[error(transparent)]
    Journal(journal::OpenError),
    #[error(
        "this log has {entries} entries, and its own signed checkpoint (people/checkpoint) stands over {seen}: the newest \
         are missing, and others have seen them. Restore a newer backup. If they are lost for good, start once with \
         --behind-is-known: the log goes on from here under a new key, and devices are told"
    )]
    Behind { entries: u64, seen: u64 },
    #[error(
        "the first {size} entries are not those that this server signed (people/checkpoint): the log was changed, or is \
         another one. Restore a backup that rimebook verify finds sound; to serve it as it is, take people/checkpoint away"
    )]
    Changed { size: u64 },
    #[error("the log's key can't be read")]
    Key(#[source] io::Error),
    #[error("the server can't start its threads")]
    Threads(#[from] io::Error),
    #[error("what is kept of people can't be read from people/people.json; nothing was changed")]
    People(#[source] io::Error),
    #[error("the log's own entry can't be written")]
    Own(#[source] Box<dyn Error + Send + Sync>),
}

impl From<journal::OpenError> for OpenError {
    fn from(error: journal::OpenError) -> OpenError {
        match error {
            journal::OpenError::Line { seq, source } => OpenError::Entry { seq, source },
            other => OpenError::Journal(other),
        }
    }
}

impl From<OwnEntryError> for OpenError {
    fn from(error: OwnEntryError) -> OpenError {
        OpenError::Own(Box::new(error))
    }
}

/// Why an entry of the journal is not taken into the book.
#[derive(Debug, thiserror::Error)]
enum EntryError {
    #[error(transparent)]
    Line(#[from] LineError),
    #[error("it says that it is entry {0}")]
    Misnumbered(u64),
    #[error("it can't be put into the book; this is an error of the program")]
    Panicked,
}

/// An opened data folder. Dropping it closes it.
pub struct Yard {
    pub book: Arc<RwLock<Book>>,
    pub reader: Reader,
    pub archive: Arc<Archive>,
    pub committer: Committer,
    lately: Lately,
    pub(crate) proofs: Proofs,
    pub(crate) checkpoints: Checkpoints,
    /// Names, hashes and keys: what stands beside the log.
    pub(crate) private: PathBuf,
    pub(crate) measured: Arc<Measured>,
    identity: OnceLock<Arc<Identity>>,
    schedule: OnceLock<Schedule>,
    pub clock: Arc<dyn Clock>,
    /// The last entry in the book, for who waits for the next.
    pub(crate) tail: watch::Receiver<u64>,
    pub people: People,
    /// One dry run at a time: each has a copy of the book.
    pub(crate) dry_runs: Semaphore,
    /// One roll is received at a time, so that the second of two scans reads what the first wrote.
    pub(crate) receipts: Semaphore,
    thread: Option<JoinHandle<()>>,
}

impl Yard {
    /// Opens the folder, or makes it. A torn end of the journal becomes the next entry.
    pub fn open(data_dir: &Path, options: Options) -> Result<Yard, OpenError> {
        let Options {
            clock,
            clock_checked,
            behind_is_known,
            mut beside,
            disk,
            journal: mut layout,
            rest_after,
            archive,
        } = options;
        let checkpoints = Checkpoints::open(data_dir, clock.clone());
        let kept = checkpoints.kept().map_err(OpenError::Key)?;
        layout.root_at = kept.as_ref().map(|kept| kept.size);
        let mut book = Book::default();
        let mut loaded = 0;
        let insert = |seq, line: &[u8]| {
            let entry = insert(&mut book, seq, line)?;
            if let (1, Body::LogLoaded(said)) = (seq, &entry.body) {
                loaded = said.entries + 1;
            }
            Ok(())
        };
        let (mut journal, recovery) = Journal::open(disk, data_dir, layout, insert)?;
        match kept {
            Some(kept) if recovery.entries < kept.size && behind_is_known => {
                checkpoints.begin_anew().map_err(OpenError::Key)?;
                beside = Some(DoneBeside { what: BesideServer::WentOn, seen: Some(kept.size) });
            }
            Some(kept) if recovery.entries < kept.size => {
                return Err(OpenError::Behind { entries: recovery.entries, seen: kept.size });
            }
            Some(kept) if recovery.root_at != Some(kept.root) => return Err(OpenError::Changed { size: kept.size }),
            _ => {}
        }
        let reader = journal.reader();
        let archive = match archive {
            true => {
                let (archive, sealed) = Archive::open(&data_dir.join("sled"), reader.clone())?;
                journal.tell_sealed(sealed);
                archive
            }
            false => Archive::none(reader.clone()),
        };

        let people = People::open(data_dir, clock.clone()).map_err(OpenError::People)?;
        if is_set_up(&book) {
            people.set_up();
        }
        let now = clock.now();
        let last = book.last_recorded_at();
        // What was just loaded was recorded by another clock, some time ago.
        let just_loaded = loaded > 0 && loaded == book.last_seq();
        let jump = jump(clock.as_ref(), now, last).filter(|jump| !(just_loaded && matches!(jump, ClockJump::Ahead(_))));
        let doubted = jump.filter(|_| !clock_checked);
        let recorded_at = match (last, doubted) {
            (Some(last), Some(_)) => last,
            (last, _) => last.map_or(now, |last| last.max(now)),
        };
        let cut = recovery.cut.map(|cut| {
            let journal::Cut { segment, offset, bytes, file } = cut;
            Body::LogCut(LogCut { segment: segment.into(), offset, bytes, kept_in: file })
        });
        let checked = jump.filter(|_| clock_checked).map(|_| {
            let behind_ms = last.map_or(0, |last| last.since(now));
            Body::ClockChecked(ClockChecked { behind_s: behind_ms / 1_000 })
        });
        let own = [cut, checked, beside.map(Body::DoneBeside)].into_iter().flatten();
        let own: Vec<Entry> = own.map(|body| own_entry(clock.new_id(), recorded_at, body)).collect::<Result<_, _>>()?;

        let book = Arc::new(RwLock::new(book));
        let measured = Measured::new().map_err(|error| OpenError::Threads(io::Error::other(error)))?;
        let mut committing = Thread::new(journal, book.clone(), clock.clone(), rest_after, doubted, measured.clone());
        if jump.is_some() && clock_checked {
            committing.clock_is_right(now);
        }
        committing.say(own);
        let (committer, tail) = (committing.committer(), committing.tail());
        let thread = thread::Builder::new().name("committer".into()).spawn(move || committing.run())?;
        let archive = Arc::new(archive);
        let [dry_runs, receipts] = [(); 2].map(|()| Semaphore::new(1));
        Ok(Yard {
            book,
            reader,
            archive,
            lately: Lately::new(),
            proofs: Proofs::default(),
            checkpoints,
            private: data_dir.join("people"),
            measured,
            identity: OnceLock::new(),
            schedule: OnceLock::new(),
            committer,
            clock,
            tail,
            people,
            dry_runs,
            receipts,
            thread: Some(thread),
        })
    }

    /// The book as it is now, also after a panic elsewhere. It never waits for the disk; don't hold it for long.
    pub fn read(&self) -> RwLockReadGuard<'_, Book> {
        self.book.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// From now on says when this certificate ends.
    pub(crate) fn shows(&self, identity: Arc<Identity>) {
        // The first one stays: there is one for each server.
        let _ = self.identity.set(identity);
    }

    /// From now on backups are taken so.
    pub(crate) fn is_backed_up(&self, schedule: Schedule) {
        let _ = self.schedule.set(schedule);
    }

    pub(crate) fn schedule(&self) -> Option<&Schedule> {
        self.schedule.get()
    }

    pub(crate) fn identity(&self) -> Option<&Arc<Identity>> {
        self.identity.get()
    }

    /// Why no entry is taken now, in a sentence, if so. A clock that jumped is seen here before the committer looks at it.
    pub(crate) fn waits(&self) -> Option<String> {
        let jumped = || self.clock.jumped_ms().map(|ms| ClockJump::Jumped(ms).to_string());
        self.committer.waits().or_else(jumped)
    }

    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    /// The stored lines of everything that names the thing, in the order in which it happened.
    pub fn history(&self, thing: &ThingName) -> io::Result<Vec<Vec<u8>>> {
        let seqs = self.read().entries_of(thing);
        self.archive.lines(&seqs)
    }

    /// The stored lines of these entries.
    pub fn entries(&self, seqs: &[u64]) -> io::Result<Vec<Vec<u8>>> {
        self.archive.lines(seqs)
    }

    /// These entries, if none of them has to be read from the disk.
    pub(crate) fn at_hand(&self, seqs: &[u64]) -> Option<Vec<Arc<Entry>>> {
        self.lately.all(seqs)
    }

    /// These entries. It may wait for the disk.
    pub(crate) fn read_back(&self, seqs: &[u64]) -> io::Result<Vec<Arc<Entry>>> {
        let lines = self.archive.lines(seqs)?;
        let read = |line: &Vec<u8>| Entry::read(line).map(Arc::new).map_err(io::Error::other);
        let entries: Vec<Arc<Entry>> = lines.iter().map(read).collect::<Result<_, _>>()?;
        self.lately.keep(lines.iter().map(Vec::len).zip(&entries));
        Ok(entries)
    }

    /// What an entry made not add up.
    pub fn mismatches(&self, seq: u64) -> Vec<Mismatch> {
        mismatch::of_entry(&self.read(), seq, When::now(self.now()))
    }

    /// Writes what waits, closes the log with a root and stops the threads. Dropping does the same.
    pub fn close(self) {
        drop(self);
    }
}

impl Drop for Yard {
    fn drop(&mut self) {
        self.committer.close();
        if let Some(thread) = self.thread.take() {
            // A committer that panicked has said so, and wrote nothing since.
            let _ = thread.join();
        }
        self.archive.close();
    }
}

fn insert(book: &mut Book, seq: u64, line: &[u8]) -> Result<Entry, EntryError> {
    let entry = Entry::read(line)?;
    if entry.seq != seq {
        return Err(EntryError::Misnumbered(entry.seq));
    }
    match catch_unwind(AssertUnwindSafe(|| book.insert(&entry))) {
        Ok(()) => Ok(entry),
        Err(_panic) => Err(EntryError::Panicked),
    }
}

/// Why the clock is not believed at a start.
fn jump(clock: &dyn Clock, now: Instant, last: Option<Instant>) -> Option<ClockJump> {
    let ahead = last.map_or(0, |last| now.since(last));
    match clock.jumped_ms() {
        Some(ms) => Some(ClockJump::Jumped(ms)),
        None if ahead > AHEAD_MS => Some(ClockJump::Ahead(ahead)),
        None if ahead < -JUMP_MS => Some(ClockJump::Behind(-ahead)),
        None => None,
    }
}

#[cfg(test)]
mod tests;
