//! The archive's one thread: opens it, fills it with what is sealed, and makes it anew when anything goes wrong.

use std::{
    path::Path,
    sync::{Arc, atomic::Ordering, mpsc::Receiver},
};

use super::{
    Shared, pages, reads,
    store::{Store, StoreError, throw_away},
};

/// After so many failures it stays off until the next start: the journal has everything.
const MOST_FAILURES: u32 = 3;

/// Runs until it is told to stop or the journal is closed.
pub(super) fn run(shared: &Arc<Shared>, folder: &Path, sealed: &Receiver<u32>) {
    for _ in 0..MOST_FAILURES {
        let Err(error) = serve(shared, folder, sealed) else { break };
        tracing::warn!(why = error.to_string(), "the archive is thrown away and made anew; the log has everything");
        shared.progress().kept.clear();
        shared.broken.store(false, Ordering::SeqCst);
        if throw_away(folder).is_err() {
            break;
        }
    }
    shared.progress().off = true;
    shared.changed.notify_all();
}

fn serve(shared: &Arc<Shared>, folder: &Path, sealed: &Receiver<u32>) -> Result<(), StoreError> {
    let store = Arc::new(Store::open(folder)?);
    let ended = feed(shared, &store, sealed);
    reads::stop(shared);
    if ended.is_err() {
        store.give_up();
    }
    store.close();
    ended
}

fn feed(shared: &Arc<Shared>, store: &Arc<Store>, sealed: &Receiver<u32>) -> Result<(), StoreError> {
    find_kept(shared, store)?;
    reads::start(shared, store)?;
    loop {
        catch_up(shared, store)?;
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
            shared.kept(first_seq, segment);
        }
    }
    Ok(())
}

fn catch_up(shared: &Shared, store: &Store) -> Result<(), StoreError> {
    for (first_seq, segment) in shared.sealed() {
        if shared.stopping.load(Ordering::SeqCst) {
            break;
        }
        if shared.progress().kept.contains_key(&first_seq) {
            continue;
        }
        let (_, lines) = shared.reader.segment(segment.number)?;
        let values = pages::values(segment.number, &lines.iter().collect::<Vec<_>>());
        {
            let _turn = store.turn()?;
            values.iter().try_for_each(|(key, value)| store.put(key, value))?;
        }
        shared.kept(first_seq, segment);
    }
    Ok(())
}
