//! Entries that were read back lately. An entry never changes, so that what is kept is never out of date: a page that is
//! looked at again, or shown anew because something was written, needs no disk.

use shared_types::Entry;
use std::{
    num::NonZeroUsize,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use lru::LruCache;

/// So many are kept, and none whose line is longer, in bytes: 16 MiB of lines at the most.
const MOST: NonZeroUsize = NonZeroUsize::new(4_096).unwrap();
const LONGEST: usize = 4_096;

pub(super) struct Lately(Mutex<LruCache<u64, Arc<Entry>>>);

impl Lately {
    pub(super) fn new() -> Lately {
        Lately(Mutex::new(LruCache::new(MOST)))
    }

    /// These entries, if all of them are there.
    pub(super) fn all(&self, seqs: &[u64]) -> Option<Vec<Arc<Entry>>> {
        let mut kept = self.kept();
        seqs.iter().map(|seq| kept.get(seq).cloned()).collect()
    }

    /// Keeps entries, each with its line's length.
    pub(super) fn keep<'e>(&self, entries: impl Iterator<Item = (usize, &'e Arc<Entry>)>) {
        let mut kept = self.kept();
        for (_, entry) in entries.filter(|(length, _)| *length <= LONGEST) {
            kept.put(entry.seq, Arc::clone(entry));
        }
    }

    fn kept(&self) -> MutexGuard<'_, LruCache<u64, Arc<Entry>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
