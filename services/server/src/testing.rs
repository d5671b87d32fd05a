//! What the tests of this crate share: a disk that can be held, filled and broken, and items to post.

use std::{
    any::Any,
    io,
    path::Path,
    sync::{
        Arc, Condvar, Mutex,
        atomic::{AtomicBool, AtomicUsize, Ordering},
    },
    time::Duration,
};

use serde_json::{Value, json};
use shared_types::{Instant, Stamp};

use crate::{
    clock::SetClock,
    intake::{self, NewDecision, NewFact},
    journal::{self, Disk, DiskFile, RealDisk, Upkeep},
    yard::{Options, Yard},
};

/// 2026-05-06T06:00:00Z.
pub(crate) const START: Instant = Instant(1_778_047_200_000);

/// The disk of this machine, with a hand on it.
#[derive(Default)]
pub(crate) struct Hand {
    pub(crate) barriers_fail: AtomicBool,
    pub(crate) is_full: AtomicBool,
    pub(crate) barriers: AtomicUsize,
    held: Mutex<Held>,
    changed: Condvar,
}

#[derive(Default)]
struct Held {
    holding: bool,
    waiting: bool,
}

impl Hand {
    /// From now on barriers wait.
    pub(crate) fn hold(&self) {
        self.held.lock().unwrap().holding = true;
    }

    /// Waits until somebody waits in a barrier.
    pub(crate) fn somebody_waits(&self) {
        let held = self.held.lock().unwrap();
        drop(self.changed.wait_while(held, |held| !held.waiting).unwrap());
    }

    pub(crate) fn let_go(&self) {
        self.held.lock().unwrap().holding = false;
        self.changed.notify_all();
    }

    fn barrier(&self, sync: impl FnOnce() -> io::Result<()>) -> io::Result<()> {
        let mut held = self.held.lock().unwrap();
        while held.holding {
            held.waiting = true;
            self.changed.notify_all();
            held = self.changed.wait(held).unwrap();
        }
        held.waiting = false;
        drop(held);
        self.barriers.fetch_add(1, Ordering::SeqCst);
        match self.barriers_fail.load(Ordering::SeqCst) {
            true => Err(io::Error::other("the barrier failed")),
            false => sync(),
        }
    }
}

/// A disk under a hand.
pub(crate) struct HeldDisk(pub(crate) Arc<Hand>);

struct HeldFile(Box<dyn DiskFile>, Arc<Hand>);

impl HeldDisk {
    fn file(&self, file: Box<dyn DiskFile>) -> Box<dyn DiskFile> {
        Box::new(HeldFile(file, self.0.clone()))
    }
}

impl Disk for HeldDisk {
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        RealDisk.create_dir(path)
    }
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        match self.0.is_full.load(Ordering::SeqCst) {
            true => Err(io::ErrorKind::StorageFull.into()),
            false => Ok(self.file(RealDisk.create(path)?)),
        }
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

impl DiskFile for HeldFile {
    fn pwrite(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.0.pwrite(bytes, offset)
    }
    fn pread(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        self.0.pread(into, offset)
    }
    fn sync_data(&self) -> io::Result<()> {
        self.1.barrier(|| self.0.sync_data())
    }
    fn sync_all(&self) -> io::Result<()> {
        self.0.sync_all()
    }
    fn set_len(&self, bytes: u64) -> io::Result<()> {
        self.0.set_len(bytes)
    }
    fn size(&self) -> io::Result<u64> {
        self.0.size()
    }
}

/// A yard in a folder of its own, with a hand on its disk and its clock.
pub(crate) struct Bench {
    pub(crate) folder: tempfile::TempDir,
    pub(crate) hand: Arc<Hand>,
    pub(crate) clock: Arc<SetClock>,
    pub(crate) segment_bytes: u32,
    pub(crate) segment_entries: u32,
    pub(crate) archive: bool,
}

impl Bench {
    pub(crate) fn new() -> Bench {
        let clock = Arc::new(SetClock::new(START));
        let (folder, hand) = (tempfile::tempdir().unwrap(), Arc::default());
        Bench { folder, hand, clock, segment_bytes: 2 << 20, segment_entries: 5_000, archive: false }
    }

    pub(crate) fn options(&self) -> Options {
        Options {
            disk: Arc::new(HeldDisk(self.hand.clone())),
            journal: journal::Options {
                segment_bytes: self.segment_bytes,
                segment_entries: self.segment_entries,
                upkeep: Upkeep::ByHand,
                ..journal::Options::default()
            },
            rest_after: Duration::from_secs(3_600),
            archive: self.archive,
            ..Options::new(self.clock.clone())
        }
    }

    pub(crate) fn open(&self) -> Yard {
        Yard::open(self.folder.path(), self.options()).unwrap()
    }
}

fn id(number: u64) -> String {
    format!("0197a1c2-0000-7000-8000-{number:012}")
}

/// A roll taken out at the start, under the id of this number, as it is posted.
pub(crate) fn taken_out(number: u64, roll: &str) -> Value {
    let at = Stamp::utc(START).to_string();
    json!({"id": id(number), "kind": "roll_taken_out", "thing": format!("roll/{roll}"), "occurred_at": at, "by": "B-17",
           "body": {"from": "F1"}})
}

pub(crate) fn fact(item: &Value) -> NewFact {
    intake::fact(&item.to_string()).unwrap()
}

/// A decision under the id of this number, as it is posted.
pub(crate) fn asked(number: u64, decide: &str, thing: &str, based_on: u64, body: Value) -> Value {
    json!({"id": id(number), "decide": decide, "thing": thing, "by": "B-17", "based_on": based_on, "body": body})
}

/// A hold on a roll.
pub(crate) fn hold(number: u64, roll: &str, based_on: u64) -> Value {
    asked(number, "place_hold", &format!("roll/{roll}"), based_on, json!({"why": "bag torn"}))
}

pub(crate) fn decision(item: &Value) -> NewDecision {
    intake::decision(&item.to_string()).unwrap()
}
