//! What was worked out once, kept until something that it was read from changes. What a thing was
//! worked out from is not declared but noted, by the book itself, whenever it is asked: nothing can be forgotten. What
//! can't be noted so (something that is not there yet, a question to the whole book) is not kept.
//!
//! Two questions are not noted: `last_seq`, so no sentence that is kept may name the log's end, and `ever_held`, for which
//! the first hold on anything changes all that is kept. Every other new question to the book has to note what it reads.

use crate::fact::Label;
use crate::follow::Scattered;
use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// So many are kept at most, then it begins anew: a yard looks at fewer things between two questions about everything.
const MOST: usize = 10_000;

thread_local! {
    /// What is being worked out by this thread, the innermost last.
    static NOTED: RefCell<Vec<Noted>> = const { RefCell::new(Vec::new()) };
}

/// What one answer was read from.
#[derive(Default)]
struct Noted {
    labels: Vec<Label>,
    /// Something that no label stands for.
    more: bool,
}

/// The book was asked for something that is kept under a label.
pub(crate) fn note(label: Label) {
    NOTED.with_borrow_mut(|open| {
        if let Some(noted) = open.last_mut()
            && noted.labels.last() != Some(&label)
        {
            noted.labels.push(label);
        }
    });
}

/// The book was asked for something that any entry may change.
pub(crate) fn note_more() {
    NOTED.with_borrow_mut(|open| open.iter_mut().for_each(|noted| noted.more = true));
}

/// What was worked out, by label.
pub(crate) struct Kept<T>(Mutex<HashMap<Label, One<T>, Scattered>>);

struct One<T> {
    answer: Arc<T>,
    /// The last entry that there was.
    as_of: u32,
    read: Box<[Label]>,
}

impl<T> Default for Kept<T> {
    fn default() -> Kept<T> {
        Kept(Mutex::new(HashMap::default()))
    }
}

/// A copy of a book goes another way: it begins with nothing.
impl<T> Clone for Kept<T> {
    fn clone(&self) -> Kept<T> {
        Kept::default()
    }
}

impl<T> Kept<T> {
    /// What is kept of a thing, or else what is worked out now. `changed` says which entry changed a label last.
    pub(crate) fn get(
        &self,
        label: Label,
        last: u32,
        changed: impl Fn(Label) -> u32,
        work: impl FnOnce() -> T,
    ) -> Arc<T> {
        if let Some(answer) = self.found(label, changed) {
            return answer;
        }
        let open = Open::begin();
        let answer = Arc::new(work());
        let Noted { mut labels, more } = open.end();
        if !more {
            labels.sort_unstable();
            labels.dedup();
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            if MOST <= all.len() {
                all.clear();
            }
            all.insert(label, One { answer: Arc::clone(&answer), as_of: last, read: labels.into() });
        }
        answer
    }

    fn found(&self, label: Label, changed: impl Fn(Label) -> u32) -> Option<Arc<T>> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let one = all.get(&label).filter(|one| one.read.iter().all(|read| changed(*read) <= one.as_of))?;
        one.read.iter().for_each(|read| note(*read));
        Some(Arc::clone(&one.answer))
    }
}

/// Closes what it opened, also when the work panics.
struct Open(usize);

impl Open {
    fn begin() -> Open {
        NOTED.with_borrow_mut(|open| {
            open.push(Noted::default());
            Open(open.len())
        })
    }

    /// What was noted, which whoever is working around it has read too.
    fn end(self) -> Noted {
        let noted = NOTED.with_borrow_mut(|open| open.pop()).unwrap_or(Noted { labels: Vec::new(), more: true });
        noted.labels.iter().for_each(|label| note(*label));
        noted
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        NOTED.with_borrow_mut(|open| open.truncate(self.0.saturating_sub(1)));
    }
}
