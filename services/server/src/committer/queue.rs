//! What waits to be written. Whoever brings something while too much waits, waits too.

use std::{
    collections::VecDeque,
    sync::{
        Condvar, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use tokio::sync::{Notify, oneshot};

use super::{Item, Outcome};

/// So many may wait; it bounds memory, and is far more than one take.
const MOST_WAITING: usize = 2_048;

/// An item, and where its answer goes.
pub(super) struct Request {
    pub(super) item: Item,
    pub(super) to: oneshot::Sender<Outcome>,
}

impl Request {
    pub(super) fn answer(self, outcome: Outcome) {
        Request::tell(self.to, outcome);
    }

    pub(super) fn tell(to: oneshot::Sender<Outcome>, outcome: Outcome) {
        // Who asked may have gone away; what was written stays written.
        let _ = to.send(outcome);
    }
}

/// What a take found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Took {
    Something,
    /// Nothing came in all that time.
    Nothing,
    /// Nothing waits, and nothing will come any more.
    Closed,
}

#[derive(Default)]
pub(super) struct Queue {
    state: Mutex<State>,
    work: Condvar,
    room: Condvar,
    room_async: Notify,
    /// The last group found no room on the disk.
    full: AtomicBool,
}

#[derive(Default)]
struct State {
    waiting: VecDeque<Request>,
    /// The committer sleeps and is to be woken.
    asleep: bool,
    closed: bool,
    waits: Option<String>,
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts in all of them together. Those that find no room wait for it, and keep their order.
    pub(super) async fn push_all(&self, mut requests: VecDeque<Request>) {
        while !requests.is_empty() {
            // Asked for before looking, so that room made in between is not missed.
            let room = self.room_async.notified();
            self.put(self.lock(), &mut requests);
            if requests.is_empty() {
                return;
            }
            room.await;
        }
    }

    pub(super) fn push_blocking(&self, request: Request) {
        let mut requests = VecDeque::from([request]);
        while !requests.is_empty() {
            let mut state = self.lock();
            while state.waiting.len() >= MOST_WAITING && !state.closed {
                state = self.room.wait(state).unwrap_or_else(PoisonError::into_inner);
            }
            self.put(state, &mut requests);
        }
    }

    /// Leaves those that find no room. Once closed they are dropped, which answers them.
    fn put(&self, mut state: MutexGuard<'_, State>, requests: &mut VecDeque<Request>) {
        if state.closed {
            requests.clear();
            return;
        }
        let room = MOST_WAITING.saturating_sub(state.waiting.len()).min(requests.len());
        if room == 0 {
            return;
        }
        state.waiting.extend(requests.drain(..room));
        let wake = std::mem::take(&mut state.asleep);
        drop(state);
        if wake {
            self.work.notify_one();
        }
    }

    /// Moves what waits behind what `into` holds, up to `most` in all. Waits for something only if `into` is empty.
    pub(super) fn take(&self, into: &mut VecDeque<Request>, most: usize, patience: Duration) -> Took {
        let mut state = self.lock();
        while state.waiting.is_empty() && into.is_empty() && !state.closed {
            state.asleep = true;
            let (again, late) = self.work.wait_timeout(state, patience).unwrap_or_else(PoisonError::into_inner);
            state = again;
            state.asleep = false;
            if late.timed_out() && state.waiting.is_empty() && !state.closed {
                return Took::Nothing;
            }
        }
        let was_full = state.waiting.len() >= MOST_WAITING;
        let count = most.saturating_sub(into.len()).min(state.waiting.len());
        into.extend(state.waiting.drain(..count));
        let closed = state.closed;
        drop(state);
        if was_full {
            self.room.notify_all();
            self.room_async.notify_waiters();
        }
        match (into.is_empty(), closed) {
            (false, _) => Took::Something,
            (true, true) => Took::Closed,
            (true, false) => Took::Nothing,
        }
    }

    /// Nothing is taken in any more; what waits is still taken out.
    pub(super) fn close(&self) {
        self.lock().closed = true;
        self.work.notify_all();
        self.room.notify_all();
        self.room_async.notify_waiters();
    }

    /// Nobody takes any more: what waits is dropped, which answers it.
    pub(super) fn abandon(&self) {
        self.close();
        self.lock().waiting.clear();
    }

    pub(super) fn say_full(&self, full: bool) {
        self.full.store(full, Ordering::SeqCst);
    }

    pub(super) fn is_full(&self) -> bool {
        self.full.load(Ordering::SeqCst)
    }

    pub(super) fn waits(&self) -> Option<String> {
        self.lock().waits.clone()
    }

    pub(super) fn say_waits(&self, why: Option<String>) {
        self.lock().waits = why;
    }
}
