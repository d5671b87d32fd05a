//! Reading from sled on a thread of its own, so that nobody who asks can be made to wait for it for long: who gets
//! no answer in time reads the journal, and the archive is made anew.

use std::{
    io,
    sync::{
        Arc, PoisonError,
        mpsc::{self, RecvTimeoutError, Sender},
    },
    thread,
    time::Duration,
};

use super::{Shared, pages::Kept, store::Store};

/// How long to wait for sled.
const PATIENCE: Duration = Duration::from_secs(1);

/// The lines of these entries, please; those that are there.
pub(super) struct Ask {
    seqs: Vec<u64>,
    to: Sender<Vec<Option<Vec<u8>>>>,
}

/// Lets lines be asked for. The thread ends when nobody can ask any more.
pub(super) fn start(shared: &Arc<Shared>, store: &Arc<Store>) -> io::Result<()> {
    let (to, asked) = mpsc::channel::<Ask>();
    let (within, store) = (shared.clone(), store.clone());
    thread::Builder::new().name("archive reads".into()).spawn(move || {
        for ask in asked {
            // Who asked may have gone to the journal meanwhile.
            let _ = ask.to.send(within.read(&store, &ask.seqs));
        }
    })?;
    *shared.reads.write().unwrap_or_else(PoisonError::into_inner) = Some(to);
    Ok(())
}

/// Nobody can ask any more.
pub(super) fn stop(shared: &Shared) {
    *shared.reads.write().unwrap_or_else(PoisonError::into_inner) = None;
}

impl Shared {
    /// What the archive has of these entries.
    pub(super) fn in_pages(&self, seqs: &[u64]) -> Vec<Option<Vec<u8>>> {
        let nothing = || vec![None; seqs.len()];
        let reads = self.reads.read().unwrap_or_else(PoisonError::into_inner).clone();
        let Some(reads) = reads else { return nothing() };
        let (to, answer) = mpsc::channel();
        if reads.send(Ask { seqs: seqs.to_vec(), to }).is_err() {
            return nothing();
        }
        answer.recv_timeout(PATIENCE).unwrap_or_else(|error| {
            if error == RecvTimeoutError::Timeout {
                stop(self);
                self.report_broken();
            }
            nothing()
        })
    }

    fn read(&self, store: &Store, seqs: &[u64]) -> Vec<Option<Vec<u8>>> {
        let Some(_turn) = store.turn_now() else { return vec![None; seqs.len()] };
        let mut kept = Kept::default();
        let mut line = |seq: &u64| {
            let segment = self.progress().segment_of(*seq)?;
            match kept.line(store, segment, *seq) {
                Ok(line) => line,
                Err(_) => {
                    self.report_broken();
                    None
                }
            }
        };
        seqs.iter().map(&mut line).collect()
    }
}
