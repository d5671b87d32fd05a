//! The committer's thread: the one place that writes to the journal and inserts into the book.

use std::{
    collections::{BTreeSet, HashSet, VecDeque},
    mem,
    panic::{AssertUnwindSafe, catch_unwind},
    sync::{Arc, PoisonError, RwLock},
    time::Duration,
};

use domain::{Book, Refusal, decide};
use shared_types::{Entry, Instant, ThingName};
use tokio::sync::watch;

use super::{
    ClockJump, Committer, Item, Outcome,
    device::{as_enrolled, is_told},
    entries::decided,
    group::Group,
    known::known,
    queue::{Queue, Request, Took},
};
use crate::{
    clock::{Clock, JUMP_MS},
    journal::{AppendError, Journal, MAX_GROUP_LINES, Reader},
    measured::Measured,
};

/// Everything the committer's thread owns.
pub(crate) struct Thread {
    journal: Journal,
    reader: Reader,
    book: Arc<RwLock<Book>>,
    clock: Arc<dyn Clock>,
    queue: Arc<Queue>,
    rest_after: Duration,
    last_recorded_at: Option<Instant>,
    /// Tells listeners how far the book has come. It never waits for them.
    tail: watch::Sender<u64>,
    /// The clock is not to be behind this by much: the last entry, or what a person found right.
    clock_floor: Option<Instant>,
    /// Why nothing is written, until the server is started again.
    halted: Option<Outcome>,
    /// What the log has to say itself before anything else is written.
    own: VecDeque<Entry>,
    group: Group,
    taken: VecDeque<Request>,
    facts: Vec<Request>,
    decisions: Vec<Request>,
    measured: Arc<Measured>,
}

impl Thread {
    /// A committer for an opened journal and the book of what stands in it. `jump`: why its clock is not believed.
    pub(crate) fn new(
        journal: Journal,
        book: Arc<RwLock<Book>>,
        clock: Arc<dyn Clock>,
        rest_after: Duration,
        jump: Option<ClockJump>,
        measured: Arc<Measured>,
    ) -> Thread {
        let (last_recorded_at, last_seq) = {
            let book = book.read().unwrap_or_else(PoisonError::into_inner);
            (book.last_recorded_at(), book.last_seq())
        };
        let mut thread = Thread {
            reader: journal.reader(),
            journal,
            book,
            clock,
            queue: Arc::new(Queue::default()),
            rest_after,
            last_recorded_at,
            tail: watch::Sender::new(last_seq),
            clock_floor: last_recorded_at,
            halted: None,
            own: VecDeque::new(),
            group: Group::default(),
            taken: VecDeque::new(),
            facts: Vec::new(),
            decisions: Vec::new(),
            measured,
        };
        if let Some(jump) = jump {
            thread.doubt_clock(jump);
        }
        thread
    }

    pub(crate) fn committer(&self) -> Committer {
        Committer { queue: self.queue.clone(), room: self.journal.room() }
    }

    /// The number of the last entry in the book, whenever it grows. It ends with this thread.
    pub(crate) fn tail(&self) -> watch::Receiver<u64> {
        self.tail.subscribe()
    }

    /// A person found the clock right as it is now.
    pub(crate) fn clock_is_right(&mut self, now: Instant) {
        self.clock_floor = Some(now);
    }

    /// Writes what the log itself has to say before anything else; what finds no space is tried again later.
    pub(crate) fn say(&mut self, entries: impl IntoIterator<Item = Entry>) {
        self.own.extend(entries);
        self.say_own();
    }

    /// Serves until the queue is closed and empty; then a last frame closes the log.
    pub(crate) fn run(mut self) {
        let queue = self.queue.clone();
        let _abandon = Abandon(&queue);
        loop {
            let mut taken = mem::take(&mut self.taken);
            match self.queue.take(&mut taken, MAX_GROUP_LINES, self.rest_after) {
                Took::Something => self.round(&mut taken),
                Took::Nothing => self.rest(),
                Took::Closed => break,
            }
            self.taken = taken;
        }
        self.rest();
    }

    /// After a while without work a frame without lines is written, so that a root covers the last group.
    fn rest(&mut self) {
        self.look_at_clock(self.clock.now());
        self.say_own();
        let last = self.last_recorded_at.unwrap_or_else(|| self.clock.now());
        if let Err(AppendError::Stopped { why, .. }) = self.journal.rest(last.0) {
            self.stop(why);
        }
    }

    fn round(&mut self, taken: &mut VecDeque<Request>) {
        let now = self.clock.now();
        self.look_at_clock(now);
        self.say_own();
        let recorded_at = self.recorded_at(now);
        let mut group = mem::take(&mut self.group);
        group.begin(self.journal.next_seq(), now, recorded_at);
        let mut later = self.known_first(taken);
        match self.cannot_write() {
            Some(outcome) => {
                let waiting = later.drain(..).chain(self.decisions.drain(..)).chain(self.facts.drain(..));
                waiting.for_each(|request| request.answer(outcome.clone()));
            }
            None => {
                self.decide(&mut group, recorded_at, &mut later);
                self.add_facts(&mut group, &mut later);
                self.write(&mut group, recorded_at);
            }
        }
        taken.append(&mut later);
        self.group = group;
    }

    /// Answers what was written before, and sorts the rest. The answer is what has to wait for the next take, because
    /// something else in this one has its id.
    fn known_first(&mut self, taken: &mut VecDeque<Request>) -> VecDeque<Request> {
        let mut later = VecDeque::new();
        let mut ids = HashSet::with_capacity(taken.len());
        let book = self.book.read().unwrap_or_else(PoisonError::into_inner);
        for request in taken.drain(..) {
            let request = match known(&book, &self.reader, request) {
                Some(request) => request,
                None => continue,
            };
            let instead = match &request.item {
                Item::Decision(decision) => decision.wish.instead.as_ref().map(|entry| entry.id),
                Item::Fact(_) => None,
            };
            if !ids.insert(request.item.id()) || instead.is_some_and(|id| !ids.insert(id)) {
                later.push_back(request);
                continue;
            }
            match &request.item {
                Item::Fact(_) => self.facts.push(request),
                Item::Decision(_) => self.decisions.push(request),
            }
        }
        later
    }

    /// Decides each on what is durable. One that stands on something an earlier one of this take names waits: only then
    /// could the earlier one have changed its answer.
    fn decide(&mut self, group: &mut Group, at: Instant, later: &mut VecDeque<Request>) {
        let alone = self.decisions.len() == 1;
        let mut touched: BTreeSet<ThingName> = BTreeSet::new();
        let book = self.book.read().unwrap_or_else(PoisonError::into_inner);
        for request in self.decisions.drain(..) {
            let Item::Decision(decision) = &request.item else { continue };
            let judged = catch_unwind(AssertUnwindSafe(|| {
                let free = touched.is_empty() || touched.is_disjoint(&decide::stands_on(&book, &decision.wish));
                let names = if alone || !free { BTreeSet::new() } else { decide::names(&book, &decision.wish) };
                match free {
                    true => Judged::Now(names, decide::decide(&book, &decision.wish, at)),
                    false => Judged::Later,
                }
            }));
            match judged {
                Ok(Judged::Now(names, Ok(()))) => {
                    if let Some(request) = push(&book, group, request, at) {
                        later.push_back(request);
                    } else {
                        touched.extend(names);
                    }
                }
                Ok(Judged::Now(_, Err(refusal))) => {
                    self.measured.refused.increment(1);
                    request.answer(Outcome::Refused(refusal));
                }
                Ok(Judged::Later) => later.push_back(request),
                Err(_panic) => request.answer(Outcome::Panicked),
            }
        }
    }

    fn add_facts(&mut self, group: &mut Group, later: &mut VecDeque<Request>) {
        // They are written whatever stands there; only whether their device is enrolled is looked up. Where that changes in
        // this very take, they wait for the next.
        let book = self.book.read().unwrap_or_else(PoisonError::into_inner);
        let devices = group.devices_changed();
        for Request { item, to } in self.facts.drain(..) {
            match item {
                Item::Fact(fact)
                    if group.has_room(fact.tail.len())
                        && fact.entry.device.as_ref().is_none_or(|device| !devices.contains(device)) =>
                {
                    match as_enrolled(&book, *fact) {
                        Ok(fact) => {
                            let told = is_told(&book, &fact.entry, fact.clock_ahead_ms, group.now());
                            group.push_fact(fact, told);
                            group.promise(to, false);
                        }
                        Err(_) => Request::tell(to, Outcome::Panicked),
                    }
                }
                Item::Fact(_) | Item::Decision(_) => later.push_back(Request { item, to }),
            }
        }
    }

    /// One frame, one write, one barrier; then the book learns of it, then those who asked.
    fn write(&mut self, group: &mut Group, recorded_at: Instant) {
        if group.is_empty() {
            return;
        }
        let before = self.clock.ticks_us();
        match self.journal.append(&group.lines(), recorded_at.0) {
            Ok(_first_seq) => {
                self.queue.say_full(false);
                let took = Duration::from_micros(self.clock.ticks_us().saturating_sub(before));
                self.measured.write.record(took.as_secs_f64());
                self.measured.group.record(u32::try_from(group.entries.len()).unwrap_or(u32::MAX));
                self.last_recorded_at = Some(recorded_at);
                self.insert(&group.entries);
                group.written();
            }
            Err(AppendError::NoSpace { why }) => {
                self.queue.say_full(true);
                group.failed(&Outcome::NoSpace { why });
            }
            Err(AppendError::Stopped { why, .. }) => {
                group.failed(&Outcome::Stopped { why: why.clone() });
                self.stop(why);
            }
            Err(AppendError::Unfit(_)) => group.failed(&Outcome::Panicked),
        }
    }

    /// The entries are on the disk, so a book that can't take one stops further writing and not the answer.
    fn insert(&mut self, entries: &[Entry]) {
        let inserted = catch_unwind(AssertUnwindSafe(|| {
            let mut book = self.book.write().unwrap_or_else(PoisonError::into_inner);
            entries.iter().for_each(|entry| book.insert(entry));
            self.tail.send_replace(book.last_seq());
        }));
        if inserted.is_err() {
            let seqs = entries.first().map(|entry| entry.seq).zip(entries.last().map(|entry| entry.seq));
            let (first, last) = seqs.unwrap_or_default();
            self.stop(format!("one of the entries {first} to {last} is written but can't be taken into the book"));
        }
    }

    fn say_own(&mut self) {
        while let Some(mut entry) = self.own.pop_front() {
            entry.seq = self.journal.next_seq();
            let mut line = Vec::new();
            if entry.write(&mut line).is_err() {
                continue;
            }
            match self.journal.append(&[line], entry.recorded_at.0) {
                Ok(_) => {
                    self.last_recorded_at = self.last_recorded_at.max(Some(entry.recorded_at));
                    self.insert(&[entry]);
                }
                Err(AppendError::Stopped { why, .. }) => self.stop(why),
                Err(AppendError::NoSpace { .. } | AppendError::Unfit(_)) => {
                    self.own.push_front(entry);
                    return;
                }
            }
        }
    }

    fn recorded_at(&self, now: Instant) -> Instant {
        self.last_recorded_at.map_or(now, |last| last.max(now))
    }

    fn look_at_clock(&mut self, now: Instant) {
        let behind = self.clock_floor.map_or(0, |floor| floor.since(now));
        let jump = match self.clock.jumped_ms() {
            Some(ms) => Some(ClockJump::Jumped(ms)),
            None => (behind > JUMP_MS).then_some(ClockJump::Behind(behind)),
        };
        match jump {
            Some(jump) if self.halted.is_none() => self.doubt_clock(jump),
            Some(_) => {}
            None => self.clock_floor = self.clock_floor.max(Some(now)),
        }
    }

    fn cannot_write(&self) -> Option<Outcome> {
        let own = || Outcome::NoSpace { why: "what the log has to say itself finds no room".to_owned() };
        self.halted.clone().or_else(|| (!self.own.is_empty()).then(own))
    }

    fn stop(&mut self, why: String) {
        let sentence =
            format!("Writing stopped ({why}). Reading goes on; somebody has to look at the disk and restart.");
        self.halt(Outcome::Stopped { why }, sentence);
    }

    /// Nothing is written any more, and nothing that is counted from the time can be said.
    fn doubt_clock(&mut self, jump: ClockJump) {
        self.halt(Outcome::ClockJumped(jump), jump.to_string());
        self.book.write().unwrap_or_else(PoisonError::into_inner).doubt_clock(jump.what());
    }

    fn halt(&mut self, outcome: Outcome, sentence: String) {
        tracing::error!(why = sentence, "nothing is written any more");
        self.queue.say_waits(Some(sentence));
        self.halted = Some(outcome);
    }
}

/// However the thread ends, nobody waits for it for ever.
struct Abandon<'a>(&'a Queue);

impl Drop for Abandon<'_> {
    fn drop(&mut self) {
        self.0.abandon();
    }
}

enum Judged {
    Now(BTreeSet<ThingName>, Result<(), Refusal>),
    Later,
}

/// Adds what was decided to the group. Gives the request back when there is no room.
fn push(book: &Book, group: &mut Group, request: Request, at: Instant) -> Option<Request> {
    let Item::Decision(decision) = &request.item else { return Some(request) };
    let (entry, instead) = decided(book, decision, at, group.now());
    let (before, two) = (group.mark(), instead.is_some());
    let pushed = [Some(entry), instead].into_iter().flatten().try_for_each(|entry| group.push_entry(entry));
    match pushed {
        Ok(()) if group.fits() => {
            group.promise(request.to, two);
            None
        }
        Ok(()) => {
            group.back_to(before);
            Some(request)
        }
        Err(_) => {
            group.back_to(before);
            request.answer(Outcome::Panicked);
            None
        }
    }
}
