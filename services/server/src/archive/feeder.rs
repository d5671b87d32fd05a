//! The archive's one thread: opens it, fills it with what is sealed, and makes it anew when anything goes wrong.

use std::{
    path::Path,
    sync::{PoisonError, atomic::Ordering, mpsc::Receiver},
};

use super::{
    Segment, Shared, pages,
    store::{Store, StoreError, throw_away},
};

/// After so many failures it stays off until the next start: the journal has everything.
const MOST_FAILURES: u32 = 3;

/// Runs until it is told to stop or the journal is closed.
pub(super) fn run(shared: &Shared, folder: &Path, sealed: &Receiver<u32>) {
    let mut failures = 0;
    while failures < MOST_FAILURES {
        let ended = serve(shared, folder, sealed);
        let store = shared.store.write().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(store) = store {
            store.close();
        }
        if ended.is_ok() {
            break;
        }
        failures += 1;
        shared.progress().kept.clear();
        shared.broken.store(false, Ordering::SeqCst);
        if throw_away(folder).is_err() {
            break;
        }
    }
    shared.progress().off = true;
    shared.changed.notify_all();
}

fn serve(shared: &Shared, folder: &Path, sealed: &Receiver<u32>) -> Result<(), StoreError> {
    let store = Store::open(folder)?;
    find_kept(shared, &store)?;
    *shared.store.write().unwrap_or_else(PoisonError::into_inner) = Some(store);
    loop {
        catch_up(shared)?;
        if shared.stopping.load(Ordering::SeqCst) || sealed.recv().is_err() {
            return Ok(());
        }
        if shared.broken.load(Ordering::SeqCst) {
            return Err(StoreError::Unsound);
        }
    }
}

/// Which sealed segments are archived already. One that is another journal's does not count.
fn find_kept(shared: &Shared, store: &Store) -> Result<(), StoreError> {
    for (first_seq, segment) in shared.sealed() {
        let last_line = shared.reader.line(segment.last_seq)?;
        if pages::is_kept(store, segment.number, &last_line)? {
            shared.progress().kept.insert(first_seq, segment);
        }
    }
    Ok(())
}

fn catch_up(shared: &Shared) -> Result<(), StoreError> {
    for (first_seq, segment) in shared.sealed() {
        if shared.stopping.load(Ordering::SeqCst) {
            break;
        }
        if !shared.progress().kept.contains_key(&first_seq) {
            keep(shared, first_seq, segment)?;
        }
    }
    Ok(())
}

fn keep(shared: &Shared, first_seq: u64, segment: Segment) -> Result<(), StoreError> {
    let values = pages::values(segment.number, &shared.reader.segment_lines(segment.number)?);
    {
        let store = shared.store.write().unwrap_or_else(PoisonError::into_inner);
        let store = store.as_ref().ok_or(StoreError::Unsound)?;
        values.iter().try_for_each(|(key, value)| store.put(key, value))?;
    }
    shared.progress().kept.insert(first_seq, segment);
    shared.changed.notify_all();
    Ok(())
}
